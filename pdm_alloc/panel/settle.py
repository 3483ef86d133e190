"""Taking drafts over as values wherever nothing speaks against it."""

from pdm_alloc.panel.column import Column
from pdm_alloc.panel.row import Row

__all__ = ["settled", "twin_of"]


def settled(rows: tuple[Row, ...], columns: tuple[Column, ...]) -> tuple[Row, ...]:
    """Rows in which every acceptable draft has become the value.

    Parameters
    ----------
    rows : tuple of Row
        Rows with drafts.
    columns : tuple of Column
        Columns of the table.

    Returns
    -------
    tuple of Row
        Same rows, same order; the drafts left are refused ones.
    """
    for column in columns:
        if any(column.key in row.drafts for row in rows):
            rows = _settle_column(rows, column)
    return rows


def twin_of(rows: tuple[Row, ...], row: Row, column: Column) -> str:
    """Why a readable draft is refused: the row that already holds its value.

    Parameters
    ----------
    rows : tuple of Row
        All rows.
    row : Row
        The row with the draft.
    column : Column
        Column of the draft.

    Returns
    -------
    str
        A message.
    """
    wanted = row.wanted(column)
    numbers = [i for i, other in enumerate(rows, 1) if other.key != row.key and other.values[column.key] == wanted]
    where = f"row {numbers[0]}" if numbers else "another row"
    return f"'{wanted}' is already in {where}; each {column.title} only once"


def _settle_column(rows: tuple[Row, ...], column: Column) -> tuple[Row, ...]:
    taken = {row.key for row in rows if row.readable(column)}
    if column.unique:
        taken -= _clashing(rows, column, taken)
    return tuple(row.with_value(column.key, row.wanted(column)) if row.key in taken else row for row in rows)


def _clashing(rows: tuple[Row, ...], column: Column, taken: set[int]) -> set[int]:
    """Keys of drafts to refuse so that no value comes twice.

    Drafts are looked at together: pasting a sorted table over itself swaps names, and one by one each of
    them would clash with a name about to move away.
    """
    refused: set[int] = set()
    while clash := _clash(rows, column, taken - refused):
        refused |= clash
    return refused


def _clash(rows: tuple[Row, ...], column: Column, taken: set[int]) -> set[int]:
    holders: dict[str, int] = {}
    found = set()
    for row in sorted(rows, key=lambda row: row.key in taken):
        value = row.wanted(column) if row.key in taken else row.values[column.key]
        if value and holders.setdefault(value, row.key) != row.key:
            found.add(row.key)
    return found & taken
