"""The document for the workshop wall and the binder, as PDF."""

import io
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import Any

import pandas as pd

from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.export.lists import records
from pdm_alloc.export.pdf_grid import BOX, LINES, Type, grid, set_type
from pdm_alloc.export.pdf_sheets import face, pins_of, sheet_of_trials
from pdm_alloc.export.sheets import Issue, Sheet, needed, sheets, title_block
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.care_rules import CAUTION

__all__ = ["WIDTH", "build", "on_paper", "pdf_bytes", "sheets_pdf"]

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


_PAGE = (841.89, 595.28)  # A4 landscape, points

_MARGIN = 34.0

WIDTH = _PAGE[0] - 2 * _MARGIN


def build(story: list[Any], type_: Type, title: str, line: str, caution: str) -> bytes:
    """Set a story on pages.

    Parameters
    ----------
    story : list of flowable
        Consumed.
    type_ : Type
        Fonts.
    title, line, caution : str
        Title of the document; line at the head of each page; at its foot.

    Returns
    -------
    bytes
        PDF, the same for the same story.
    """
    platypus = needed("reportlab.platypus", "writes PDF")
    content = io.BytesIO()
    document = platypus.BaseDocTemplate(
        content, pagesize=_PAGE, title=title, author="pdm_alloc", subject=line, creator="pdm_alloc", invariant=1
    )
    frame = platypus.Frame(_MARGIN, _MARGIN + 6, WIDTH, _PAGE[1] - 2 * _MARGIN - 18, 0, 0, 0, 0)
    document.addPageTemplates([platypus.PageTemplate("page", [frame])])
    document.afterFlowable = partial(_outlined, document)
    draw = partial(_draw, type_=type_, line=line, caution=caution)
    document.build(story, canvasmaker=_numbered(draw))
    return content.getvalue()


def _outlined(document: Any, flowable: Any) -> None:
    """Every heading is an entry of the outline."""
    if getattr(flowable, "style", None) is not None and flowable.style.name.startswith("heading"):
        key = f"h{document.canv.getPageNumber()}-{flowable.getPlainText()}"
        document.canv.bookmarkPage(key)
        document.canv.addOutlineEntry(flowable.getPlainText(), key, 0)


def _numbered(draw: Any) -> Any:
    """A canvas that knows how many pages there are before it finishes the first."""
    canvas = needed("reportlab.pdfgen.canvas", "writes PDF").Canvas

    class Numbered(canvas):  # type: ignore[misc, valid-type]
        def __init__(self, *args: Any, **options: Any):
            super().__init__(*args, **options)
            self._pages: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._pages.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, page in enumerate(self._pages, 1):
                self.__dict__.update(page)
                draw(self, number, len(self._pages))
                super().showPage()
            super().save()

    return Numbered


def _draw(canvas: Any, number: int, count: int, *, type_: Type, line: str, caution: str) -> None:
    canvas.setFont(type_.normal, 7)
    top, bottom, right = _PAGE[1] - _MARGIN + 4, _MARGIN - 8, _PAGE[0] - _MARGIN
    canvas.drawString(_MARGIN, top, _fitting(line, type_, 600))
    canvas.drawRightString(right, top, f"page {number} of {count}")
    canvas.drawString(_MARGIN, bottom, _fitting(caution, type_, WIDTH))
    canvas.setLineWidth(0.4)
    for y in (top - 4, bottom + 9):
        canvas.line(_MARGIN, y, right, y)


def _fitting(text: str, type_: Type, width: float) -> str:
    while text and type_.width(text) > width:
        text = text[:-2].rstrip("…") + "…"
    return text


_FACE_NOTE = "Pins in the order of their names: a plain grid, not the shape of the connector. See the maker's drawing."
_ROOM_FOR_A_START = 110.0  # points: heading, note, headings of the table and two rows

_AFTER_PIN_MAP = (
    *("Wire list", "Circuit wires", "Channel settings", "Input list", "Spares"),
    *("Supply check", "Battery cables", "Parked", "Limits by state", "Assumptions", "Dead circuit checks"),
)

# These go on where the one before them ends, if there is room.
_GO_ON = ("Spares", "Supply check", "Battery cables", "Parked", "Limits by state")


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
