"""The commissioning sheet on paper: a block a command, a line a channel, boxes to tick and space to write."""

from itertools import groupby
from typing import Any

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.commissioning import commissioning, trials
from pdm_alloc.export.extra import needed
from pdm_alloc.export.heading import heading, shown
from pdm_alloc.export.pdf.grid import HEAD, LINES
from pdm_alloc.export.pdf.type import BOX, Type
from pdm_alloc.export.records import Row, records

__all__ = ["sheet_of_trials"]

_TIE = "\N{NO-BREAK SPACE}"  # a box is not parted from its step
# Column and its share of the width.
_COLUMNS = {
    "module": 7,
    "channel": 5,
    "pins": 8,
    "loads": 20,
    "trip_a": 5,
    "window_ms": 6,
    "entered": 5,
    "steps: on or off as above": 17,
    "expected_a": 11,
    "measured_a": 8,
    "measured_v": 8,
}


def sheet_of_trials(allocation: Allocation, type_: Type, width: float) -> Any:
    """The commissioning sheet as a flowable.

    Parameters
    ----------
    allocation : Allocation
        What was built.
    type_ : Type
        Fonts.
    width : float
        Of the page between its margins, points.

    Returns
    -------
    reportlab.platypus.Table
        A command's line of steps stays on the page of its first channel.
    """
    cells: list[list[Any]] = [[type_.paragraph(heading(name), bold=True) for name in _COLUMNS]]
    style: list[tuple] = [*LINES, *HEAD]
    rows = sorted(records(commissioning(allocation)), key=lambda row: row["command"].casefold())
    for command, own in groupby(rows, key=lambda row: row["command"]):
        style += _block(len(cells))
        cells.append([_steps(allocation, command, type_), *[""] * (len(_COLUMNS) - 1)])
        for _, lines in groupby(own, key=lambda row: (row["module"], row["channel"])):
            style += _room(len(cells))
            cells.append(_line(list(lines), type_))
    share = width / sum(_COLUMNS.values())
    widths = [share * part for part in _COLUMNS.values()]
    make = needed("reportlab.platypus", "writes PDF").Table
    return make(cells, colWidths=widths, repeatRows=1, hAlign="LEFT", style=style)


def _block(at: int) -> list[tuple]:
    """The line of a command: across all columns, and never alone at the foot of a page."""
    whole = ((0, at), (-1, at))
    return [("SPAN", *whole), ("LINEABOVE", *whole, 0.8, "#000000"), ("NOSPLIT", (0, at), (-1, at + 1))]


def _room(at: int) -> list[tuple]:
    """The line of a channel: high enough, and framed, for a hand to write in."""
    whole = ((0, at), (-1, at))
    return [("TOPPADDING", *whole, 4), ("BOTTOMPADDING", *whole, 4), ("GRID", (-2, at), (-1, at), 0.6, "#000000")]


def _steps(allocation: Allocation, name: str, type_: Type) -> list[Any]:
    command = allocation.vehicle.command(name)
    said = f"{name}  ({command.action})" + (f":  {command.condition}" if command.condition else "")
    lines = [f"{n}: {trial.set}  =  {'ON' if trial.on else 'off'}" for n, trial in enumerate(trials(command), 1)]
    return [type_.paragraph(said, bold=True), *(type_.paragraph(line) for line in lines)]


def _line(rows: list[Row], type_: Type) -> list[Any]:
    told = next((row for row in rows if row["expected_a"] is not None), rows[0])
    texts = {name: shown(told.get(name), name) for name in _COLUMNS}
    texts["entered"] = BOX
    texts["steps: on or off as above"] = "  ".join(f"{row['step']}{_TIE}{row['expected']}{_TIE}{BOX}" for row in rows)
    texts["expected_a"] = _expected(told)
    return [type_.paragraph(text) for text in texts.values()]


def _expected(row: Row) -> str:
    if row["expected_a"] is None:
        return ""
    limits = f"{shown(row['least_a'], 'least_a')} to {shown(row['most_a'], 'most_a')}"
    return f"{limits}\n{row['remark']}" if row["remark"] else limits
