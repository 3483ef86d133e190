"""Circuits of a connector as drawings, the commissioning sheet and tables as printed, and drawings as files."""

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import pandas as pd

from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.electrics.wire import NOT_KNOWN
from pdm_alloc.export.commissioning import commissioning, trials
from pdm_alloc.export.drawings import INK, PALE, Pen, board_pages, ground_drawing, one_line, plan_drawing
from pdm_alloc.export.lists import Row, heading, records, shown
from pdm_alloc.export.pdf_grid import BOX, HEAD, LINES, TableRow, Type, is_blank, paged
from pdm_alloc.export.sheets import Sheet, needed
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.cut_list import Cut
from pdm_alloc.studies.alternatives import weight_ledger

__all__ = [
    "circuit_drawings",
    "drawing_files",
    "label_pages",
    "label_rows",
    "ledger_drawing",
    "on_paper",
    "sheet_of_trials",
]

_ROW = 9.5

_HIGHEST = 460.0  # points, under a heading

_NAMES = 120.0  # points for names of loads beside their lines

_PINS = 52.0  # points for names of pins


@dataclass(frozen=True)
class _Tree:
    """Pieces of one run by their start, and where it starts."""

    root: Cut
    following: dict[str, list[Cut]]

    def leaves(self, name: str) -> int:
        return sum(self.leaves(cut.end.name) for cut in self.following.get(name, ())) or 1


def circuit_drawings(
    allocation: Allocation, unit: Unit, connector: str, width: float, most_high: float, font: str = "Helvetica"
) -> list[Any]:
    """The circuits of one connector from pin to load over their splices; several where one page does not hold them.

    Parameters
    ----------
    allocation : Allocation
        With its cut list.
    unit : Unit
        One of its units.
    connector : str
        Of its module.
    width, most_high : float
        Room of each, points; 0: a drawing per circuit.
    font : str
        Known to reportlab.

    Returns
    -------
    list of reportlab.graphics.shapes.Drawing
    """
    drawings: list[Any] = []
    page: list[_Tree] = []
    rows = 0
    for tree in _trees(allocation, unit, connector):
        count = tree.leaves(tree.root.end.name)
        if page and (rows + count) * _ROW > most_high:
            drawings.append(_drawn(page, rows, width, font))
            page, rows = [], 0
        page, rows = [*page, tree], rows + count
    return [*drawings, _drawn(page, rows, width, font)] if page else drawings


def _trees(allocation: Allocation, unit: Unit, connector: str) -> list[_Tree]:
    pieces = [cut for cut in allocation.cuts if cut.module == unit.label and cut.role == "circuit"]
    following: dict[str, list[Cut]] = {}
    for cut in pieces:
        if cut.start.kind == "splice" and all(cut.end != other.end for other in following.get(cut.start.name, ())):
            following.setdefault(cut.start.name, []).append(cut)
    roots = [cut for cut in pieces if cut.start.kind == "pin" and cut.start.at == connector]
    return [_Tree(cut, following) for cut in sorted(roots, key=lambda cut: natural_key(cut.start.name))]


def _drawn(trees: Sequence[_Tree], rows: int, width: float, font: str) -> Any:
    pen = Pen(width, rows * _ROW, font)
    top = rows * _ROW
    deepest = max(_depth(tree, tree.root) for tree in trees)
    step = (width - _PINS - _NAMES) / max(1, deepest)
    for tree in trees:
        used = tree.leaves(tree.root.end.name) * _ROW
        y = top - used / 2
        name = tree.root.start.name
        pen.text(0, y - 2.5, name, min(7.0, 1.7 * _PINS / len(name)))
        _run(pen, tree, tree.root, (_PINS, y), top, step, width)
        top -= used
    if pen.drawing.height > _HIGHEST:  # one circuit with more loads than a page has rows
        pen.drawing.renderScale = _HIGHEST / pen.drawing.height
    return pen.drawing


def _depth(tree: _Tree, cut: Cut) -> int:
    return 1 + max((_depth(tree, after) for after in tree.following.get(cut.end.name, ())), default=0)


def _run(pen: Pen, tree: _Tree, cut: Cut, start: tuple[float, float], top: float, step: float, width: float) -> None:
    """One piece and all behind it, in the rows from `top` downwards."""
    high = tree.leaves(cut.end.name) * _ROW
    y, leaf = top - high / 2, cut.end.kind != "splice"
    x = width - _NAMES if leaf else start[0] + step
    pen.line(start[0], start[1], start[0], y, 0.8)
    pen.line(start[0], y, x, y, 0.8)
    length = "" if cut.length_m is None else f" {cut.length_m:.2f} m"
    size = "size not known" if cut.size.name == NOT_KNOWN else cut.size.name.removesuffix(" mm2")
    words = f"{cut.label}  {size} {cut.colour}{length}"
    pen.text(start[0] + 3, y + 1.5, words, min(5.4, 1.75 * (x - start[0] - 6) / len(words)))
    if leaf:
        words = f"{cut.end.name}{', ' if cut.end.place else ''}{cut.end.place}"
        pen.text(x + 4, y - 2.5, words, min(7.0, 1.75 * _NAMES / len(words)))
        return
    pen.dot(x, y)
    for after in tree.following.get(cut.end.name, ()):
        _run(pen, tree, after, (x, y), top, step, width)
        top -= tree.leaves(after.end.name) * _ROW


_BAR = 9.2


def ledger_drawing(table: pd.DataFrame, width: float, font: str = "Helvetica") -> Any:
    """The weight ledger as bars about zero: fitted to the right, removed to the left, kg.

    Parameters
    ----------
    table : DataFrame
        As of `weight_ledger`.
    width : float
        Points.
    font : str
        Known to reportlab.

    Returns
    -------
    reportlab.graphics.shapes.Drawing
    """
    rows = records(table.dropna(subset=["mass_g"]))
    pen = Pen(width, _BAR * len(rows) + 4, font)
    masses = [row["mass_g"] for row in rows]
    low, high = min([0.0, *masses]), max([0.0, *masses])
    scale = (width - 230) / ((high - low) or 1.0)
    zero = 155 - low * scale
    for n, row in enumerate(rows):
        y = _BAR * (len(rows) - n) - 7.5
        end = zero + row["mass_g"] * scale
        tone = {"net": INK, "conventional wiring": "#FFFFFF"}.get(row["part"], PALE)
        pen.box(min(zero, end), y, abs(end - zero), 7, tone)
        name = f"{row['part']} x{row['count']}" if row["count"] > 1 else str(row["part"])
        pen.text(0, y + 1.5, name, min(7.0, 250 / len(name)))
        before = row["mass_g"] < 0
        pen.text(end + (-4 if before else 4), y + 1.5, f"{row['mass_g'] / 1000:.2f}", 7, "end" if before else "start")
    pen.line(zero, 0, zero, _BAR * len(rows) + 2, 0.8)
    return pen.drawing


def drawing_files(allocation: Allocation, font: str = "Helvetica") -> dict[str, bytes]:
    """Drawings as files: SVG and PDF of each, and the harness board.

    Parameters
    ----------
    allocation : Allocation
        What is drawn.
    font : str
        Known to reportlab.

    Returns
    -------
    dict of str to bytes
        By file name.
    """
    files = {"harness_board.pdf": board_pages(allocation, font=font)}
    for name, drawing in _every(allocation, font):
        files[f"{name}.svg"] = needed("reportlab.graphics.renderSVG", "draws").drawToString(drawing).encode()
        files[f"{name}.pdf"] = _pdf(drawing)
    return files


def label_pages(allocation: Allocation, type_: Type, width: float) -> Any:
    """Labels to be printed and cut, two for every piece of wire: its label, and what its other end is.

    Parameters
    ----------
    allocation : Allocation
        With its cut list.
    type_ : Type
        Fonts.
    width : float
        Of the page between its margins, points.

    Returns
    -------
    reportlab.platypus.Table
    """
    texts = [(row["label"], row["to"]) for row in label_rows(allocation)]
    cells: list[Any] = [
        [type_.paragraph(label, "large", bold=True), type_.paragraph(f"to {other}", "small")] for label, other in texts
    ]
    rows = [cells[n : n + _LABELS_ACROSS] for n in range(0, len(cells), _LABELS_ACROSS)]
    rows = [row + [""] * (_LABELS_ACROSS - len(row)) for row in rows]
    style = [("GRID", (0, 0), (-1, -1), 0.3, "#777777"), ("VALIGN", (0, 0), (-1, -1), "TOP")]
    return paged([TableRow(cells) for cells in rows], [width / _LABELS_ACROSS] * _LABELS_ACROSS, style)


_LABELS_ACROSS = 8


def label_rows(allocation: Allocation) -> list[Row]:
    """Two labels for every piece of wire, one an end: label, end, to (the other end)."""
    rows = []
    for cut in allocation.cuts:
        rows += [{"label": cut.label, "end": cut.start.name, "to": cut.end.name}]
        rows += [{"label": cut.label, "end": cut.end.name, "to": cut.start.name}]
    return rows


def _pdf(drawing: Any) -> bytes:
    """A page as large as the drawing; the same bytes every time."""
    content = io.BytesIO()
    size = (drawing.width + 20, drawing.height + 20)
    canvas = needed("reportlab.pdfgen.canvas", "draws").Canvas(content, pagesize=size, invariant=1)
    needed("reportlab.graphics.renderPDF", "draws").draw(drawing, canvas, 10, 10)
    canvas.save()
    return content.getvalue()


def _every(allocation: Allocation, font: str) -> Iterator[tuple[str, Any]]:
    yield "supply", one_line(allocation, 760, font)
    plan = plan_drawing(allocation, 760, 480, font)
    if plan is not None:
        yield "plan", plan
    grounds = ground_drawing(allocation, 760, 480, font)
    if grounds is not None:
        yield "ground_plan", grounds
    yield "weight_ledger", ledger_drawing(weight_ledger(allocation), 480, font)
    number = 0
    for unit in allocation.units:
        for connector in sorted({c.connector for c in unit.module.channels}, key=natural_key):
            for drawing in circuit_drawings(allocation, unit, connector, 760, 480, font):
                number += 1
                yield f"circuits_{number}", drawing


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
    head = [type_.paragraph(heading(name), bold=True) for name in _COLUMNS]
    made: list[TableRow] = []
    rows = sorted(records(commissioning(allocation)), key=lambda row: row["command"].casefold())
    for command, steps in groupby(rows, key=lambda row: row["command"]):
        made.append(TableRow([_steps(allocation, command, type_), *[""] * (len(_COLUMNS) - 1)], _block))
        for _, lines in groupby(steps, key=lambda row: (row["module"], row["channel"])):
            made.append(TableRow(_line(list(lines), type_), _room))
    share = width / sum(_COLUMNS.values())
    return paged(made, [share * part for part in _COLUMNS.values()], (*LINES, *HEAD), head)


def _block(at: int) -> list[tuple[Any, ...]]:
    """The line of a command: across all columns, and never alone at the foot of a page."""
    whole = ((0, at), (-1, at))
    return [("SPAN", *whole), ("LINEABOVE", *whole, 0.8, "#000000"), ("NOSPLIT", (0, at), (-1, at + 1))]


def _room(at: int) -> list[tuple[Any, ...]]:
    """The line of a channel: high enough, and framed, for a hand to write in."""
    whole = ((0, at), (-1, at))
    return [("TOPPADDING", *whole, 4), ("BOTTOMPADDING", *whole, 4), ("GRID", (-2, at), (-1, at), 0.6, "#000000")]


def _steps(allocation: Allocation, name: str, type_: Type) -> list[Any]:
    command = allocation.vehicle.command(name)
    said = f"{name}  ({command.action})" + (f":  {command.condition}" if command.condition else "")
    lines = [f"{n}: {trial.set}  =  {'ON' if trial.on else 'off'}" for n, trial in enumerate(trials(command), 1)]
    return [type_.paragraph(said, bold=True), type_.paragraph(";   ".join(line.replace(" ", _TIE) for line in lines))]


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


_SETTINGS_A_ROW = 10

# Said elsewhere on paper, or only of use to a program.
_LEFT_OUT = {
    "Cut list": ("role", "module", "channel", "mass_g", "loads"),
    "Battery cables": (
        "seconds",
        "area_mm2",
        "limit_pct",
        "opens_s",
        "end_fault_a",
        "parallel",
        "ampacity_a",
        "mass_g",
    ),
    "Shopping list": ("note",),
    "Ground plan": ("note", "use", "max_wires"),
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
    whole = _narrow(sheet.table) if sheet.name == "Cut list" else sheet.table
    table = whole.drop(columns=list(_LEFT_OUT.get(sheet.name, ())), errors="ignore")
    if "done" in table:
        return _to_tick(table)
    if sheet.name == "Assumptions":
        return _settings_together(table)
    if sheet.name == "Limits by state":
        return _states_side_by_side(table)
    return table.loc[:, [not is_blank(table[name]) for name in table]] if sheet.name in _LEFT_OUT else table


def _narrow(table: pd.DataFrame) -> pd.DataFrame:
    """Ends with their place and note, size and colour in one; battery cables have a sheet of their own."""
    rows = records(table)
    made = {
        "from": [_at(row["from"], row["from_place"] if row["role"] == "feed" else "") for row in rows],
        "to": [_at(row["to"], row["to_place"]) + _noted(row) for row in rows],
        "size": [f"{row['size'].removesuffix(' mm2')} {row['colour']}".strip() for row in rows],
    }
    narrow = table.assign(**made).drop(columns=["note", "colour", "from_place", "to_place"])
    return narrow.set_axis(["wire" if name == "size" else name for name in narrow], axis="columns")


def _noted(row: Row) -> str:
    return f" ({row['note']})" if row["note"] and row["role"] != "feed" else ""


def _at(name: str, place: str) -> str:
    """An end of a wire and its place, where the name does not say it already; pins are all at their module."""
    return f"{name}, {place}" if place and place not in name else name


def _settings_together(table: pd.DataFrame) -> pd.DataFrame:
    """Settings in a few rows: name and value of each."""
    is_setting = table["source"] == "settings"
    texts = [f"{row['subject']} {row['assumed']}" for row in records(table[is_setting])]
    parts = ["; ".join(texts[n : n + _SETTINGS_A_ROW]) for n in range(0, len(texts), _SETTINGS_A_ROW)]
    rows = [("settings", text, "whole vehicle", "settings") for text in parts]
    return pd.concat([table[~is_setting], pd.DataFrame(rows, columns=table.columns)], ignore_index=True)


def _to_tick(table: pd.DataFrame) -> pd.DataFrame:
    spaces = {"found": "." * 20} if "found" in table else {}
    return table.assign(done=BOX, **spaces)


def _states_side_by_side(table: pd.DataFrame) -> pd.DataFrame:
    said = [f"{row['current_a']:.1f} A, {row['headroom_pct']:.0f} % left" for row in records(table)]
    what = ["module", "subject", "limit_a"]
    return table.assign(said=said).pivot_table("said", what, "state", aggfunc="first", sort=False).reset_index()
