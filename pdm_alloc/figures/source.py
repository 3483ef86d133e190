"""What a figure is drawn from: a table, or a result that has the table."""

from typing import Any

import pandas as pd

__all__ = ["require", "rows_of", "table_of"]


def table_of(source: Any, name: str) -> pd.DataFrame:
    """The table itself, or the table of that name of a result.

    Parameters
    ----------
    source : DataFrame or object
        A table, or anything with a table as its attribute `name`.
    name : str
        Name of the attribute.

    Returns
    -------
    DataFrame
    """
    return source if isinstance(source, pd.DataFrame) else getattr(source, name)


def require(table: pd.DataFrame, *columns: str) -> pd.DataFrame:
    """The table, if it has the columns; one line that names the missing ones if not.

    Raises
    ------
    ValueError
        A column is missing.
    """
    missing = [column for column in columns if column not in table.columns]
    if missing:
        raise ValueError(f"the table for this figure lacks the columns: {', '.join(missing)}")
    return table


def rows_of(table: pd.DataFrame) -> list[Any]:
    """The rows, each with the columns as attributes; a column whose name is no Python name cannot be reached."""
    return list(table.itertuples())
