"""Connector faces: the pins of a connector as a plain grid, in the order of their names."""

import re
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.extra import needed
from pdm_alloc.export.pdf.type import Type
from pdm_alloc.module import Unit, natural_key

__all__ = ["Pin", "face", "pins_of", "rows_of"]

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
