"""Connector faces and the commissioning sheet on paper."""

import re
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.export.commissioning import commissioning, trials
from pdm_alloc.export.lists import Row, heading, records, shown
from pdm_alloc.export.pdf_grid import BOX, HEAD, LINES, Type
from pdm_alloc.export.sheets import needed
from pdm_alloc.result.allocation import Allocation

__all__ = ["Pin", "face", "pins_of", "rows_of", "sheet_of_trials"]

MOST_IN_A_ROW = 8

_LETTERS = re.compile(r"([^\W\d_]+)(\d+)")


@dataclass(frozen=True, slots=True)
class Pin:
    """One pin of a connector.

    Parameters
    ----------
    name, channel : str
        Its name; the channel, or both channels, of its circuit.
    text : str
        What is wired to it; ``spare`` where nothing is.
    """

    name: str
    channel: str
    text: str


def pins_of(allocation: Allocation, unit: Unit, connector: str) -> list[Pin]:
    """Pins of a connector and what is wired to them, in natural order of their names.

    Parameters
    ----------
    allocation : Allocation
        What is wired.
    unit : Unit
        One of its units.
    connector : str
        Of its module.

    Returns
    -------
    list of Pin
    """
    circuits = {(c.unit, name): c for c in allocation.circuits for name in c.channels}
    found = []
    for channel in unit.module.channels:
        circuit = circuits.get((unit.label, channel.name))
        text = "; ".join(circuit.loads) if circuit else "spare"
        label = circuit.channel if circuit else channel.name
        found += [Pin(pin, label, text) for pin in channel.pins if channel.connector == connector]
    return sorted(found, key=lambda pin: natural_key(pin.name))


def rows_of(pins: list[Pin]) -> list[list[Pin]]:
    """Pins in rows: one for each leading letter where names have several, and no more than 8 in a row.

    Parameters
    ----------
    pins : list of Pin
        In natural order.

    Returns
    -------
    list of list of Pin
    """
    matches = [_LETTERS.fullmatch(pin.name) for pin in pins]
    letters = [match[1] if match else "" for match in matches]
    lettered = len(set(letters)) > 1 and all(matches)
    groups = [list(own) for _, own in groupby(pins, key=lambda p: letters[pins.index(p)])] if lettered else [pins]
    return [part for group in groups for part in _even(group)]


def _even(pins: list[Pin]) -> list[list[Pin]]:
    """Rows as equal as can be: 21 pins are three rows of seven."""
    rows = -(-len(pins) // MOST_IN_A_ROW)
    length = -(-len(pins) // rows) if rows else 1
    return [pins[at : at + length] for at in range(0, len(pins), length)]


def face(pins: list[Pin], type_: Type, width: float) -> Any:
    """A connector face as a flowable.

    Parameters
    ----------
    pins : list of Pin
        Of one connector, at least one.
    type_ : Type
        Fonts.
    width : float
        Of the page between its margins, points.

    Returns
    -------
    reportlab.platypus.Table
        Pins of one circuit that lie side by side have one heavy frame around them.
    """
    rows = rows_of(pins)
    columns = max(len(row) for row in rows)
    cells = [[_cell(pin, type_) for pin in row] + [""] * (columns - len(row)) for row in rows]
    style = [("VALIGN", (0, 0), (-1, -1), "TOP"), *_paddings(), *_frames(rows)]
    make = needed("reportlab.platypus", "writes PDF").Table
    return make(cells, colWidths=[width / max(columns, 5)] * columns, hAlign="LEFT", style=style)


def _cell(pin: Pin, type_: Type) -> list[Any]:
    spare = pin.text == "spare"
    head = f"{pin.name}" if spare else f"{pin.name}   ch {pin.channel}"
    return [type_.paragraph(head, "large", bold=True), type_.paragraph(f"({pin.text})" if spare else pin.text)]


def _paddings() -> list[tuple]:
    sides = {"LEFTPADDING": 3, "RIGHTPADDING": 3, "TOPPADDING": 2, "BOTTOMPADDING": 3}
    return [(name, (0, 0), (-1, -1), size) for name, size in sides.items()]


def _frames(rows: list[list[Pin]]) -> list[tuple]:
    lines: list[tuple] = []
    for y, row in enumerate(rows):
        lines.append(("GRID", (0, y), (len(row) - 1, y), 0.3, "#777777"))
        at = 0
        for _, run in groupby(row, key=lambda pin: (pin.channel, pin.text)):
            length = len(list(run))
            if length > 1:
                lines.append(("BOX", (at, y), (at + length - 1, y), 1.6, "#000000"))
            at += length
    return lines


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
