"""Headers of a table matched to the columns it may have."""

from collections.abc import Iterable

from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.grid import Grid
from pdm_alloc.tables.text import clean, plain_header

__all__ = ["is_free", "match_header", "plain_header"]


def is_free(header: str) -> bool:
    """Whether a column travels through untouched (``x_...``)."""
    return clean(header).casefold().startswith("x_")


def match_header(grid: Grid, columns: Iterable[str], required: Iterable[str], faults: Faults) -> dict[str, int]:
    """Where each column of a table stands.

    Parameters
    ----------
    grid : Grid
        The table.
    columns : iterable of str
        Those it may have.
    required : iterable of str
        Those it must have.
    faults : Faults
        Where unknown, missing and double columns are noted.

    Returns
    -------
    dict of str to int
        Position by column; free columns (``x_...``) under their header as written.
    """
    known = tuple(columns)
    found: dict[str, int] = {}
    for position, header in enumerate(grid.header):
        plain = plain_header(header)
        name = plain if plain in known else clean(header)
        if name.casefold() in {other.casefold() for other in found}:
            faults.add(
                grid.table, grid.header_row, clean(header), None, "is there twice", "delete one of the two columns"
            )
        elif plain in known or is_free(header):
            found[name] = position
        else:
            otherwise = f"known: {', '.join(known)}; columns of your own start with x_"
            faults.unknown(
                grid.table, grid.header_row, None, clean(header), known, "is not a column of this table", otherwise
            )
    for name in required:
        if name not in found:
            faults.add(grid.table, grid.header_row, name, None, "is missing", "add this column")
    return found
