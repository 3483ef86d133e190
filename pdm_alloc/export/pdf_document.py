"""The document for the workshop wall and the binder, as PDF."""

import io
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import Any

import pandas as pd

from pdm_alloc.domain.module import natural_key
from pdm_alloc.export.drawings import front_block, ground_drawing, one_line, plan_drawing
from pdm_alloc.export.lists import CONTROL_NOTE
from pdm_alloc.export.pdf_grid import LINES, Type, grids, is_blank, set_type
from pdm_alloc.export.pdf_sheets import circuit_drawings, label_pages, ledger_drawing, on_paper, sheet_of_trials
from pdm_alloc.export.sheets import BENCH_NOTE, Issue, Sheet, by_ground, grouped_warnings, needed, sheets
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.care_rules import CAUTION

__all__ = ["WIDTH", "build", "labels_pdf", "pdf_bytes", "sheets_pdf"]

_PAGE = (841.89, 595.28)  # A4 landscape, points

_MARGIN = 34.0

WIDTH = _PAGE[0] - 2 * _MARGIN

# Of a page in two columns.
COLUMN = WIDTH / 2 - 7

_COLUMNS_AT = (_MARGIN, _MARGIN + WIDTH / 2 + 7)


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
    halves = [platypus.Frame(x, _MARGIN + 6, COLUMN, _PAGE[1] - 2 * _MARGIN - 18, 0, 0, 0, 0) for x in _COLUMNS_AT]
    document.addPageTemplates([platypus.PageTemplate("page", [frame]), platypus.PageTemplate("columns", halves)])
    document.afterFlowable = partial(_outlined, document)
    draw = partial(_draw, type_=type_, line=type_.shown(line), caution=caution)
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


_ROOM_FOR_A_START = 95.0  # points: heading, note, headings of the table and two rows

_PINS_A_PAGE = 40

_KEPT_TOGETHER = 8  # rows

_LISTS = ("Cut list", "Shopping list", "Ground plan")  # the last, with the signal side's pins, across the page

_CHAPTERS = (
    *("Warnings", "Supply and battery cables", "Bench sheets", "Cut list and shopping list"),
    "Circuits from pin to load",
    *("Ground plan", "Bus", "Channel settings", "Inputs", "Dead circuit checks", "Commissioning", "Assumptions"),
)


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
    made["Ground plan"] = by_ground(made["Ground points"], made["Ground plan"])
    chapters = [name for name in _CHAPTERS if name != "Bus" or name in made]
    story = [
        *_front(title, front_block(allocation, issue, type_.normal), type_, chapters),
        *_section(Sheet("Warnings", grouped_warnings(allocation), made["Warnings"].note), type_),
        *_supply(allocation, made, type_),
        *_bench(allocation, made["Bench sheet"], type_),
        *_columns(allocation, made, _LISTS if allocation.signals is None else _LISTS[:2], type_),
        *_plan(allocation, type_),
        *_chapter(made, () if allocation.signals is None else _LISTS[2:], type_),
        *_chapter(made, ("Bus", "Bus limits", "Bus messages", "Sensor supplies"), type_),
        *_chapter(made, ("Channel settings", "Input list"), type_),
        *_chapter(made, ("Dead circuit checks",), type_),
        *_trials(allocation, made["Commissioning"], type_),
        *_chapter(made, ("Signal commissioning",), type_),
        *_chapter(made, ("Assumptions",), type_),
    ]
    return _built(story, title, allocation.vehicle.name, issue, type_)


def labels_pdf(allocation: Allocation, issue: Issue) -> bytes:
    """Labels for both ends of every piece of wire, to be printed and cut.

    Parameters
    ----------
    allocation : Allocation
        With its cut list.
    issue : Issue
        Revision and date.

    Returns
    -------
    bytes
        PDF.
    """
    type_ = set_type()
    story = [type_.paragraph("Labels", "heading"), label_pages(allocation, type_, WIDTH)]
    return _built(story, f"Labels of {allocation.vehicle.name}", allocation.vehicle.name, issue, type_)


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


def _front(title: str, block: Sequence[tuple[str, str]], type_: Type, contents: Sequence[str] = ()) -> Iterator[Any]:
    platypus = needed("reportlab.platypus", "writes PDF")
    yield type_.paragraph(title, "title")
    cautions = [[type_.paragraph(text, "caution", bold=True)] for text in CAUTION]
    frame = [("BOX", (0, 0), (-1, -1), 1.5, "#000000"), ("LEFTPADDING", (0, 0), (-1, -1), 8)]
    yield platypus.Table(cautions, colWidths=[WIDTH], style=frame)
    yield platypus.Spacer(1, 10)
    listed = [("contents", "; ".join(f"{n} {name}" for n, name in enumerate(contents, 1)))] if contents else []
    signed = [*block, *listed, ("checked by, date", ""), ("built by, date", "")]
    lines = [[type_.paragraph(what, "body", bold=True), type_.paragraph(value, "body")] for what, value in signed]
    style = [*LINES, ("BOX", (0, 0), (-1, -1), 0.8, "#000000"), ("TOPPADDING", (0, -2), (-1, -1), 9)]
    yield platypus.Table(lines, colWidths=[110, WIDTH - 110], style=style)


def _section(sheet: Sheet, type_: Type, width: float = WIDTH) -> Iterator[Any]:
    # A heading alone at the foot of a page is looked for on the next.
    platypus = needed("reportlab.platypus", "writes PDF")
    head = [type_.paragraph(sheet.name, "heading")]
    head += [type_.paragraph(sheet.note if len(sheet.table) else "None.", "body")]
    if (
        sheet.name != "Warnings" and 0 < len(sheet.table) <= _KEPT_TOGETHER
    ):  # no row of a short table is left alone on the next page
        yield platypus.KeepTogether([*head, *grids(on_paper(sheet), type_, width, _style(sheet))])
        return
    yield platypus.CondPageBreak(_ROOM_FOR_A_START)
    yield from head
    if len(sheet.table):
        yield from grids(on_paper(sheet), type_, width, _style(sheet))


def _supply(allocation: Allocation, made: Mapping[str, Sheet], type_: Type) -> Iterator[Any]:
    """One-line diagram, battery cables and what every state draws."""
    yield needed("reportlab.platypus", "writes PDF").CondPageBreak(250)
    yield type_.paragraph("Supply, one-line diagram", "heading")
    yield one_line(allocation, WIDTH, type_.normal)
    for name in ("Battery cables", "Supply check", "Parked", "Limits by state"):
        yield from _section(made[name], type_)
    head = type_.paragraph("Weight ledger, kg: fitted less removed; beside it conventional wiring", "heading")
    drawing = ledger_drawing(made["Weight ledger"].table, WIDTH, type_.normal)
    yield needed("reportlab.platypus", "writes PDF").KeepTogether([head, drawing])


def _style(sheet: Sheet) -> str:
    return "large" if "done" in sheet.table else "small" if sheet.name in _SMALL else "cell"


_SMALL = ("Cut list", "Shopping list", "Ground plan", "Channel settings", "Input list", "Assumptions")


def _bench(allocation: Allocation, sheet: Sheet, type_: Type) -> Iterator[Any]:
    """Connectors of a module in one order, whole ones together while a page holds their pins."""
    boxes = allocation.signals.boxes if allocation.signals else ()
    units = {unit.label: unit.place for unit in allocation.units}
    places = {box.label: box.place for box in boxes} | units
    for label in sheet.table["module"].unique():
        for names in _on_pages(sheet.table[sheet.table["module"] == label]):
            yield needed("reportlab.platypus", "writes PDF").PageBreak()
            here = sheet.table[(sheet.table["module"] == label) & sheet.table["connector"].isin(names)]
            where = f"{label} at {places[label]}" if places[label] else label
            named = ", ".join(name for name in names if name)
            yield type_.paragraph(f"Bench sheet: {where}{', connector ' + named if named else ''}", "heading")
            yield type_.paragraph(BENCH_NOTE if label in units else CONTROL_NOTE, "body")
            said = {} if label in units else {"loads": "signal"}
            kept = here.drop(columns="module").set_axis([said.get(name, name) for name in here][1:], axis="columns")
            yield from grids(kept.loc[:, [not is_blank(kept[name]) for name in kept]], type_, WIDTH)


def _on_pages(table: pd.DataFrame) -> list[list[str]]:
    pages: list[list[str]] = []
    held = 0
    for name, pins in table.groupby("connector", sort=False).size().items():
        if pages and held + pins <= _PINS_A_PAGE:
            pages[-1].append(str(name))
            held += pins
        else:
            pages.append([str(name)])
            held = pins
    return pages


def _columns(allocation: Allocation, made: Mapping[str, Sheet], names: Sequence[str], type_: Type) -> Iterator[Any]:
    """Long narrow lists, and the circuits of every connector from pin to load, in two columns."""
    platypus = needed("reportlab.platypus", "writes PDF")
    yield platypus.NextPageTemplate("columns")
    yield platypus.PageBreak()
    for name in names:
        yield from _section(made[name], type_, COLUMN)
    for unit in allocation.units:
        for name in sorted({channel.connector for channel in unit.module.channels}, key=natural_key):
            first, *others = circuit_drawings(allocation, unit, name, COLUMN, 0, type_.normal) or [
                platypus.Spacer(1, 1)
            ]
            title = f"Circuits of {unit.label}, connector {name or 'without a name'}"
            said = type_.paragraph(_ON_WIRES, "body")
            yield platypus.KeepTogether([type_.paragraph(title, "heading"), said, first])
            yield from others
    yield platypus.NextPageTemplate("page")


_ON_WIRES = "On each wire: its label, its size (in mm² where nothing else is said) and its length."


def _plan(allocation: Allocation, type_: Type) -> Iterator[Any]:
    """The vehicle from above: its bundles, and where returns meet the metal."""
    platypus = needed("reportlab.platypus", "writes PDF")
    drawings = {
        "Plan: front to the left; numbers are diameters of bundles, mm": plan_drawing(
            allocation, WIDTH, 230, type_.normal
        ),
        "Ground points: stud, returns, worst current; light lines are sensor returns": ground_drawing(
            allocation, WIDTH, 230, type_.normal
        ),
    }
    yield platypus.PageBreak()
    for title, drawing in drawings.items():
        if drawing is not None:
            yield platypus.KeepTogether([type_.paragraph(title, "heading"), drawing])


def _chapter(made: Mapping[str, Sheet], names: Sequence[str], type_: Type) -> Iterator[Any]:
    """Tables one after the other; empty ones say so, those of a signal side that is not there are left out."""
    for name in (name for name in names if name in made):
        yield from _section(made[name], type_)


def _trials(allocation: Allocation, sheet: Sheet, type_: Type) -> Iterator[Any]:
    yield needed("reportlab.platypus", "writes PDF").CondPageBreak(_ROOM_FOR_A_START)
    yield type_.paragraph(sheet.name, "heading")
    yield type_.paragraph(sheet.note, "body")
    yield sheet_of_trials(allocation, type_, WIDTH)
