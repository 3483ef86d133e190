"""One name spelled in two ways, which would count as two."""

from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.lines import Line

__all__ = ["refuse_two_spellings"]


def refuse_two_spellings(lines: list[Line], table: str, column: str, faults: Faults) -> None:
    """Note names of a column that differ from an earlier one in upper and lower case alone.

    Parameters
    ----------
    lines : list of Line
        Rows of the table.
    table, column : str
        Where the names stand.
    faults : Faults
        Where faults are noted.
    """
    seen: dict[str, tuple[str, int]] = {}
    for line in lines:
        name = getattr(line.values, column)
        if not name:
            continue
        first, row = seen.setdefault(name.casefold(), (name, line.number))
        if name != first:
            faults.add(table, line.number, column, name, f"is written '{first}' in row {row}", "spell a name one way")
