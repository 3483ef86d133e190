"""Rows of a table as dictionaries."""

from typing import Any, cast

import pandas as pd

__all__ = ["Row", "records"]

Row = dict[str, Any]


def records(table: pd.DataFrame) -> list[Row]:
    """Rows of a table.

    Parameters
    ----------
    table : DataFrame
        With text for column names.

    Returns
    -------
    list of dict
        Cells by column; an empty number is None.
    """
    rows = cast(list[Row], table.to_dict("records"))
    return [{name: None if _is_nan(value) else value for name, value in row.items()} for row in rows]


def _is_nan(value: Any) -> bool:
    return value is pd.NA or (isinstance(value, float) and value != value)
