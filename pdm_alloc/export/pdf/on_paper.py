"""Tables as they are printed, where paper asks for less or more than a spreadsheet."""

import pandas as pd

from pdm_alloc.export.pdf.type import BOX
from pdm_alloc.export.records import records
from pdm_alloc.export.sheets import Sheet

__all__ = ["on_paper"]

# Said elsewhere on paper, or only of use to a program.
_LEFT_OUT = {
    "Circuit wires": ("connector", "command", "area_mm2", "drop_load"),
    "Channel settings": ("command",),
}


def on_paper(sheet: Sheet) -> pd.DataFrame:
    """The table of a sheet as it is printed.

    Parameters
    ----------
    sheet : Sheet
        With at least one row.

    Returns
    -------
    DataFrame
        With boxes to tick, operating states side by side, and without columns that would crowd the page.
    """
    table = sheet.table.drop(columns=list(_LEFT_OUT.get(sheet.name, ())), errors="ignore")
    if "done" in table:
        return _to_tick(table)
    if sheet.name == "Limits by state":
        return _states_side_by_side(table)
    return table.dropna(axis="columns", how="all") if sheet.name in _LEFT_OUT else table


def _to_tick(table: pd.DataFrame) -> pd.DataFrame:
    spaces = {"found": "." * 20} if "found" in table else {}
    return table.assign(done=BOX, **spaces)


def _states_side_by_side(table: pd.DataFrame) -> pd.DataFrame:
    said = [f"{row['current_a']:.1f} A, {row['headroom_pct']:.0f} % left" for row in records(table)]
    what = ["module", "subject", "limit_a"]
    return table.assign(said=said).pivot_table("said", what, "state", aggfunc="first", sort=False).reset_index()
