"""What every row model shares, and how a column is described."""

from functools import cache
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, Field
from pydantic.fields import FieldInfo

from pdm_alloc.tables.cell import Cell

__all__ = ["Row", "cell_of", "column", "columns_of"]


class Row(BaseModel):
    """One row of a table: a field a column, each with its kind of cell, its meaning and an example."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    table: ClassVar[str] = ""
    key: ClassVar[tuple[str, ...]] = ()


def column(meaning: str, example: str = "", otherwise: str | None = None, default: Any = None, name: str | None = None):
    """A field of a row model.

    Parameters
    ----------
    meaning : str
        For the column guide.
    example : str
        For the example row of the blank table.
    otherwise : str, optional
        What an empty cell means, for the column guide; None: the cell must not be empty.
    default : object
        Value of an empty cell.
    name : str, optional
        Header, where the field's own name is none Python allows.
    """
    more: dict[str, Any] = {"otherwise": otherwise or ""}
    if otherwise is None:
        return Field(description=meaning, examples=[example], json_schema_extra=more, alias=name)
    return Field(default, description=meaning, examples=[example], json_schema_extra=more, alias=name)


@cache
def columns_of(model: type[Row]) -> dict[str, FieldInfo]:
    """Fields of a row model by the header of their column.

    Parameters
    ----------
    model : type of Row
        One table's model.

    Returns
    -------
    dict of str to FieldInfo
        In the order a table has them.
    """
    return {info.alias or name: info for name, info in model.model_fields.items()}


def cell_of(info: FieldInfo) -> Cell:
    """The kind of cell of a field."""
    return next(item for item in info.metadata if isinstance(item, Cell))
