"""What is on the pages, in which order."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pandas as pd

from pdm_alloc.allocation.care import CAUTION
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.extra import needed
from pdm_alloc.export.issue import Issue, title_block
from pdm_alloc.export.pdf.face import face, pins_of
from pdm_alloc.export.pdf.grid import LINES, grid
from pdm_alloc.export.pdf.on_paper import on_paper
from pdm_alloc.export.pdf.page import WIDTH, build
from pdm_alloc.export.pdf.sheet_of_trials import sheet_of_trials
from pdm_alloc.export.pdf.type import Type, set_type
from pdm_alloc.export.records import records
from pdm_alloc.export.sheets import Sheet, sheets
from pdm_alloc.module import Unit, natural_key

__all__ = ["pdf_bytes", "sheets_pdf"]

_FACE_NOTE = "Pins in the order of their names: a plain grid, not the shape of the connector. See the maker's drawing."
_ROOM_FOR_A_START = 110.0  # points: heading, note, headings of the table and two rows
_AFTER_PIN_MAP = (
    *("Wire list", "Circuit wires", "Channel settings", "Input list", "Spares"),
    *("Supply check", "Limits by state", "Assumptions", "Dead circuit checks"),
)
# These go on where the one before them ends, if there is room.
_GO_ON = ("Spares", "Supply check", "Limits by state")


def pdf_bytes(allocation: Allocation, issue: Issue) -> bytes:
    """The document of an allocation for the wall and the binder.

    Parameters
    ----------
    allocation : Allocation
        What is documented.
    issue : Issue
        Revision and date.

    Returns
    -------
    bytes
        PDF on landscape A4, black and white; the same for the same allocation, revision and date.

    Raises
    ------
    ModuleNotFoundError
        reportlab is not installed; names the extra that brings it.
    """
    needed("reportlab", "writes PDF")
    type_ = set_type()
    title = f"Wiring of {allocation.vehicle.name}"
    made = {sheet.name: sheet for sheet in sheets(allocation)}
    story = [
        *_front(title, title_block(allocation, issue), type_),
        *_section(made["Warnings"], type_),
        *_connectors(allocation, type_),
        *_tables(made, type_),
        *_trials(allocation, made["Commissioning"], type_),
    ]
    return _built(story, title, allocation.vehicle.name, issue, type_)


def sheets_pdf(
    title: str, made: Sequence[Sheet], vehicle: str, block: Sequence[tuple[str, str]], issue: Issue
) -> bytes:
    """Sheets on paper, behind a front page.

    Parameters
    ----------
    title : str
        Of the document.
    made : sequence of Sheet
        The first starts on the front page.
    vehicle : str
        Its name.
    block : sequence of (str, str)
        Title block.
    issue : Issue
        Revision and date.

    Returns
    -------
    bytes
        PDF.
    """
    needed("reportlab", "writes PDF")
    type_ = set_type()
    story = [*_front(title, block, type_), *(part for sheet in made for part in _section(sheet, type_))]
    return _built(story, title, vehicle, issue, type_)


def _built(story: list[Any], title: str, vehicle: str, issue: Issue, type_: Type) -> bytes:
    return build(story, type_, title, f"{title.split()[0]}: {issue.line(vehicle)}", f"{CAUTION[0]} {CAUTION[-1]}")


def _front(title: str, block: Sequence[tuple[str, str]], type_: Type) -> Iterator[Any]:
    platypus = needed("reportlab.platypus", "writes PDF")
    yield type_.paragraph(title, "title")
    cautions = [[type_.paragraph(text, "caution", bold=True)] for text in CAUTION]
    frame = [("BOX", (0, 0), (-1, -1), 1.5, "#000000"), ("LEFTPADDING", (0, 0), (-1, -1), 8)]
    yield platypus.Table(cautions, colWidths=[WIDTH], style=frame)
    yield platypus.Spacer(1, 10)
    signed = [*block, ("checked by, date", ""), ("built by, date", "")]
    lines = [[type_.paragraph(what, "body", bold=True), type_.paragraph(value, "body")] for what, value in signed]
    style = [*LINES, ("BOX", (0, 0), (-1, -1), 0.8, "#000000"), ("TOPPADDING", (0, -2), (-1, -1), 9)]
    yield platypus.Table(lines, colWidths=[110, WIDTH - 110], style=style)


def _section(sheet: Sheet, type_: Type) -> Iterator[Any]:
    # A heading alone at the foot of a page is looked for on the next.
    yield needed("reportlab.platypus", "writes PDF").CondPageBreak(_ROOM_FOR_A_START)
    yield type_.paragraph(sheet.name, "heading")
    yield type_.paragraph(sheet.note if len(sheet.table) else "None.", "body")
    if len(sheet.table):
        yield grid(on_paper(sheet), type_, WIDTH, "large" if "done" in sheet.table else "cell")


def _connectors(allocation: Allocation, type_: Type) -> Iterator[Any]:
    platypus = needed("reportlab.platypus", "writes PDF")
    for unit in allocation.units:
        names = sorted({channel.connector for channel in unit.module.channels}, key=natural_key)
        for name in names:
            pins = pins_of(allocation, unit, name)
            yield platypus.PageBreak()
            yield type_.paragraph(_connector(unit, name, len(pins)), "heading")
            if pins:
                yield face(pins, type_, WIDTH)
                yield platypus.Spacer(1, 3)
                yield type_.paragraph(_FACE_NOTE, "body")
            yield grid(_pin_map(allocation, unit, name), type_, WIDTH, "large")


def _connector(unit: Unit, connector: str, pins: int) -> str:
    where = f"{unit.label} at {unit.place}" if unit.place else unit.label
    return f"Pin map: {where}, connector {connector or 'without a name'} ({pins} pins)"


def _pin_map(allocation: Allocation, unit: Unit, connector: str) -> pd.DataFrame:
    """Circuits and spares with a pin on this connector, in the order of its pins."""
    table = allocation.pin_map().drop(columns="connector")
    spare = allocation.spare[["module", "channel", "pins"]].assign(command="spare")
    both = pd.concat([table, spare], ignore_index=True) if len(spare) else table
    here = {c.name for c in unit.module.channels if c.connector == connector}
    ours = [row["module"] == unit.label and not here.isdisjoint(_names(unit, row["channel"])) for row in records(both)]
    order = both[ours].sort_values("pins", key=lambda pins: pins.map(natural_key), kind="stable")
    return order.drop(columns="module").reset_index(drop=True)


def _names(unit: Unit, channel: str) -> list[str]:
    return [channel] if any(c.name == channel for c in unit.module.channels) else channel.split("+")


def _tables(made: Mapping[str, Sheet], type_: Type) -> Iterator[Any]:
    platypus = needed("reportlab.platypus", "writes PDF")
    for name in _AFTER_PIN_MAP:
        if name not in _GO_ON:
            yield platypus.PageBreak()
        yield from _section(made[name], type_)


def _trials(allocation: Allocation, sheet: Sheet, type_: Type) -> Iterator[Any]:
    yield needed("reportlab.platypus", "writes PDF").PageBreak()
    yield type_.paragraph(sheet.name, "heading")
    yield type_.paragraph(sheet.note, "body")
    yield sheet_of_trials(allocation, type_, WIDTH)
