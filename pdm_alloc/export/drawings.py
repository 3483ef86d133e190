"""Vector drawings: the supply as a one-line diagram, the plan, the harness board; what a font can show."""

import io
import math
from collections.abc import Container, Sequence
from functools import cache
from typing import Any

from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.showing import shown_in, unshown
from pdm_alloc.export.lists import records
from pdm_alloc.export.sheets import Issue, needed, title_block
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.result.allocation import Allocation

__all__ = [
    *("BOARD_SCALE", "INK", "PALE", "Pen", "board_pages", "front_block", "glyphs"),
    *("ground_drawing", "one_line", "plan_drawing"),
]

INK, SOFT, PALE = "#000000", "#777777", "#9FB4C8"

BOARD_SCALE = 10.0  # metres of harness over metres of paper, where nobody asks for another

_MM = 72 / 25.4


@cache
def glyphs(font: str) -> Container[int]:
    """Code points a font of reportlab has; its standard fonts have those of Western Europe."""
    face = needed("reportlab.pdfbase.pdfmetrics", "writes PDF").getFont(font).face
    return getattr(face, "charToGlyph", range(256))


class Pen:
    """A drawing to which lines and words are added.

    Parameters
    ----------
    width, height : float
        Points.
    font : str
        Of its words, known to reportlab.
    """

    def __init__(self, width: float, height: float, font: str = "Helvetica"):
        self._shapes = needed("reportlab.graphics.shapes", "draws")
        self.drawing = self._shapes.Drawing(width, height)
        self.font = font

    def line(self, x0: float, y0: float, x1: float, y1: float, width: float = 0.8, colour: str = INK) -> None:
        """A straight line, points."""
        line = self._shapes.Line(x0, y0, x1, y1, strokeWidth=width, strokeColor=self._colour(colour), strokeLineCap=1)
        self.drawing.add(line)

    def box(self, x: float, y: float, width: float, height: float, fill: str = "#FFFFFF") -> None:
        """A filled box with a frame, its lower left corner given."""
        paint, ink = self._colour(fill), self._colour(INK)
        self.drawing.add(self._shapes.Rect(x, y, width, height, fillColor=paint, strokeColor=ink, strokeWidth=0.8))

    def dot(self, x: float, y: float, radius: float = 2.2) -> None:
        """A filled dot."""
        self.drawing.add(self._shapes.Circle(x, y, radius, fillColor=self._colour(INK), strokeWidth=0))

    def text(self, x: float, y: float, words: str, size: float = 7, anchor: str = "start", colour: str = INK) -> None:
        """Words on one line; `anchor` start, middle or end."""
        shown = shown_in("".join(c if c.isprintable() else " " for c in words), glyphs(self.font))
        string = self._shapes.String(
            x, y, shown, fontName=self.font, fontSize=size, textAnchor=anchor, fillColor=self._colour(colour)
        )
        self.drawing.add(string)

    @staticmethod
    def _colour(code: str) -> Any:
        return needed("reportlab.lib.colors", "draws").HexColor(code)


def one_line(allocation: Allocation, width: float, font: str = "Helvetica") -> Any:
    """The supply as a one-line diagram: battery, isolator, fuses, cables, modules, starter, alternator.

    Parameters
    ----------
    allocation : Allocation
        With its table `links`.
    width : float
        Points.
    font : str
        Known to reportlab.

    Returns
    -------
    reportlab.graphics.shapes.Drawing
    """
    rows = records(allocation.links)
    isolator = next((row for row in rows if row["link"] == "battery to isolator"), None)
    others = [row for row in rows if row is not isolator]
    height = max(1, len(others)) * 36 + 10
    pen = Pen(width, height, font)
    settings = allocation.vehicle.settings
    middle = height / 2
    capacity = "" if settings.battery_ah is None else f"{settings.battery_ah:g} Ah"
    _labelled(pen, 0, middle, 96, ["battery", capacity, settings.battery_place or ""])
    bus = 130.0
    if isolator is not None:
        pen.line(96, middle, 200, middle, 2)
        pen.text(148, middle + 4, _cable(isolator), 6.5, "middle")
        _labelled(pen, 200, middle, 80, ["isolator", str(isolator["to"] or "")])
        bus = 310.0
    pen.line(280 if isolator is not None else 96, middle, bus, middle, 2)
    ys = [height - 23 - 36 * n for n in range(len(others))]
    if ys:
        pen.line(bus, min([*ys, middle]), bus, max([*ys, middle]), 2.5)
    for y, row in zip(ys, others, strict=True):
        _branch(pen, bus, y, width, row)
    return pen.drawing


def _branch(pen: Pen, bus: float, y: float, width: float, row: dict[str, Any]) -> None:
    pen.line(bus, y, width - 150, y, 2)
    if row["fuse_a"] is not None:
        pen.box(bus + 22, y - 6, 40, 12)
        pen.text(bus + 42, y - 2.5, f"{row['fuse_a']:g} A", 7, "middle")
    pen.text(bus + 76, y + 4, _cable(row), 6.5)
    if row["running_a"] is not None:
        pen.text(bus + 76, y - 9, f"carries {row['running_a']:.1f} A, peak {row['peak_a']:.0f} A", 6.5, colour=SOFT)
    name = {"module feed": row["module"]}.get(row["link"], row["link"])
    _labelled(pen, width - 150, y, 150, [name, str(row["to"] or "")])


def _cable(row: dict[str, Any]) -> str:
    if not isinstance(row["size"], str) or not row["size"]:
        return "not sized: see the table of battery cables"  # its note is longer than the line
    if row["length_m"] is None:
        return f"size {row['size']}"
    many = "" if row["parallel"] in (None, 1) else f"{row['parallel']:g} x "
    return f"{many}{row['size']}, {row['length_m']:.2f} m"


def _labelled(pen: Pen, x: float, middle: float, width: float, lines: Sequence[str]) -> None:
    words = [line for line in lines if line]
    height = 10 * len(words) + 6
    pen.box(x, middle - height / 2, width, height)
    for n, line in enumerate(words):
        size = min(8.0 if n == 0 else 6.5, 1.6 * width / max(1, len(line)))
        pen.text(x + width / 2, middle + height / 2 - 10 - 10 * n, line, size, "middle")


def plan_drawing(allocation: Allocation, width: float, most_high: float, font: str = "Helvetica") -> Any | None:
    """The vehicle from above, front to the left: bundles with their diameter in mm; None: no coordinates.

    Parameters
    ----------
    allocation : Allocation
        With places and routes.
    width, most_high : float
        Room, points.
    font : str
        Known to reportlab.

    Returns
    -------
    reportlab.graphics.shapes.Drawing or None
    """
    spots, height = _seen_from_above(allocation, width, most_high)
    rows = [row for row in records(allocation.segments) if row["start"] in spots and row["end"] in spots]
    if not rows:
        return None
    pen = Pen(width, height, font)
    for row in rows:
        _bundle(pen, spots[row["start"]], spots[row["end"]], row)
    nodes = allocation.signals.nodes if allocation.signals else {}
    fitted: dict[str, str] = {}
    for label, place in ({unit.label: unit.place for unit in allocation.units} | dict(nodes)).items():
        if place:
            fitted[place] = f"{fitted[place]}, {label}" if place in fitted else label
    for name, (x, y) in spots.items():
        _mark(pen, x, y, name in fitted)
    taken = [(x - 6, y - 6, x + 6, y + 6) for x, y in spots.values()]
    taken += [_number_at(spots[row["start"]], spots[row["end"]]) for row in rows if row["bundle_mm"]]
    for name in sorted(spots, key=lambda name: name not in fitted):
        _name(pen, *spots[name], f"{name}: {fitted[name]}" if name in fitted else name, taken)
    return pen.drawing


def _seen_from_above(
    allocation: Allocation, width: float, most_high: float
) -> tuple[dict[str, tuple[float, float]], float]:
    """Where places are drawn, and how high the drawing is; none where fewer than two have coordinates."""
    at = {p.name: (p.x_m, p.y_m) for p in allocation.vehicle.places if p.x_m is not None and p.y_m is not None}
    if len(at) < 2:
        return {}, 0.0
    low = [min(p[k] for p in at.values()) for k in (0, 1)]
    span = [max(max(p[k] for p in at.values()) - low[k], 0.1) for k in (0, 1)]
    scale = min((width - 120) / span[0], (most_high - 50) / span[1])
    height = span[1] * scale + 50
    left = (width - span[0] * scale) / 2
    return {n: (left + (x - low[0]) * scale, height - 25 - (y - low[1]) * scale) for n, (x, y) in at.items()}, height


def ground_drawing(allocation: Allocation, width: float, most_high: float, font: str = "Helvetica") -> Any | None:
    """Ground points seen from above: lines to the places whose returns they take, worst current against rating.

    Parameters
    ----------
    allocation : Allocation
        With the table ``grounds``, and places.
    width, most_high : float
        Room, points.
    font : str
        Known to reportlab.

    Returns
    -------
    reportlab.graphics.shapes.Drawing or None
        None: no ground point is at a place with coordinates.
    """
    spots, height = _seen_from_above(allocation, width, most_high)
    points = [row for row in records(allocation.ground_points) if row["place"] in spots and row["stud"] != "pin"]
    if not points:
        return None
    pen = Pen(width, height, font)
    ways = {(row["place"], row["ground_place"], row["use"]) for row in records(allocation.ground_plan)}
    for start, end, use in sorted(ways):
        if start in spots and end in spots:
            pen.line(*spots[start], *spots[end], 1.2, SOFT if use == "power" else "#C0C0C0")
    for name, (x, y) in spots.items():
        pen.dot(x, y, 1.6)
        pen.text(x, y + 5, name, 6, "middle", SOFT)
    taken = [(x - 2 * len(name), y - 2, x + 2 * len(name), y + 11) for name, (x, y) in spots.items()]
    for row in points:
        _stud(pen, *spots[row["place"]], row, taken)
    return pen.drawing


_Box = tuple[float, float, float, float]  # left, low, right, high


def _stud(pen: Pen, x: float, y: float, row: dict[str, Any], taken: list[_Box]) -> None:
    limit = "" if row["max_a"] is None else f" of {row['max_a']:g}"
    words = f"{row['ground']} {row['stud']}: {row['returns']}, {row['current_a']:.1f}{limit} A"
    half = 1.9 * len(words) + 4
    middle = min(max(x, half), pen.drawing.width - half)
    beside = [(x + half + 6, y - 5), (x - half - 6, y - 5)]
    spots = [(middle, y - 14), *beside, *((middle, low) for low in (y - 26, y + 12, y - 38, y + 24))]
    inside = [(at, low) for at, low in spots if half <= at <= pen.drawing.width - half]
    box = _freest([(at - half, low, at + half, low + 11) for at, low in inside], taken)
    taken += [box] * 2  # a name may be covered rather than a stud
    pen.box(box[0], box[1], 2 * half, 11)
    pen.text((box[0] + box[2]) / 2, box[1] + 3, words, 6.5, "middle")


def _freest(boxes: Sequence[_Box], taken: list[_Box]) -> _Box:
    """Of some boxes the first that covers least of what is taken; it is taken then, too."""
    met = [sum(a < d and b < e and c > f and g > h for f, h, d, e in taken) for a, b, c, g in boxes]
    box = boxes[met.index(min(met))]
    taken.append(box)
    return box


def _number_at(start: tuple[float, float], end: tuple[float, float]) -> _Box:
    x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    return x - 5, y - 4, x + 5, y + 4


def _bundle(pen: Pen, start: tuple[float, float], end: tuple[float, float], row: dict[str, Any]) -> None:
    used = bool(row["bundle_mm"])
    pen.line(*start, *end, max(0.5, 0.45 * row["bundle_mm"]), PALE if used else "#CCCCCC")
    if used:
        x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
        pen.text(x, y - 2.5, f"{row['bundle_mm']:.0f}", 7, "middle")


def _mark(pen: Pen, x: float, y: float, is_box: bool) -> None:
    (pen.box(x - 6, y - 6, 12, 12) if is_box else pen.dot(x, y))


def _name(pen: Pen, x: float, y: float, words: str, taken: list[_Box]) -> None:
    """Words beside a point, on the side where they cover least of what is taken; they are taken then, too."""
    half = 1.9 * len(words)
    sides = [(x, y + 8), (x, y - 14), (x + half + 9, y - 2), (x - half - 9, y - 2), (x, y + 17), (x, y - 23)]
    left, low, right, _ = _freest([(at - half, low - 2, at + half, low + 6) for at, low in sides], taken)
    pen.text((left + right) / 2, low + 2, words, 6.5, "middle", INK if ":" in words else SOFT)


def board_pages(allocation: Allocation, scale: float = BOARD_SCALE, font: str = "Helvetica") -> bytes:
    """The harness board at a scale, split over landscape A4 pages: every branch as long as its wire lies.

    Parameters
    ----------
    allocation : Allocation
        With places and routes.
    scale : float
        Metres of harness over metres of paper, above 0: 1 is full size.
    font : str
        Known to reportlab.

    Returns
    -------
    bytes
        PDF; pages row by row, each with its row and column, the same cross at the corners of neighbours; without a
        module on a place, or routes, one page that says so.
    """
    content = io.BytesIO()
    canvas = needed("reportlab.pdfgen.canvas", "draws").Canvas(content, pagesize=(842, 595), invariant=1)
    edges, spots = _board(allocation)
    factor = 1000 * _MM / scale
    wide, high = 842 - 80, 595 - 80
    xs, ys = [x * factor for x, _ in spots.values()] or [0.0], [y * factor for _, y in spots.values()] or [0.0]
    across, down = (math.ceil((max(v) - min(v) + 80) / room) for v, room in ((xs, wide), (ys, high)))
    for row in range(down):
        for column in range(across):
            canvas.setFont(font, 8)
            told = f"harness board 1:{scale:g}, row {row + 1} of {down}, column {column + 1} of {across}"
            canvas.drawString(40, 20, told)
            canvas.rect(40, 40, wide, high, stroke=1)
            left, top = min(xs) - 40 + column * wide, max(ys) + 40 - row * high
            moved = {n: (x * factor - left + 40, y * factor - top + 555) for n, (x, y) in spots.items()}
            _tile(canvas, edges, moved, font)
            canvas.showPage()
    canvas.save()
    return content.getvalue()


def _tile(
    canvas: Any, edges: Sequence[tuple[str, str, float]], spots: dict[str, tuple[float, float]], font: str
) -> None:
    canvas.saveState()
    path = canvas.beginPath()
    path.rect(40, 40, 842 - 80, 595 - 80)
    canvas.clipPath(path, stroke=0)
    for start, end, metres in edges:
        canvas.line(*spots[start], *spots[end])
        x, y = ((a + b) / 2 for a, b in zip(spots[start], spots[end], strict=True))
        canvas.setFont(font, 6)
        canvas.drawCentredString(x, y + 3, f"{1000 * metres:.0f} mm")
    for name, (x, y) in spots.items():
        canvas.circle(x, y, 2, fill=1)
        canvas.setFont(font, 7)
        canvas.drawString(x + 4, y + 4, shown_in(name, glyphs(font)))
    canvas.restoreState()


def _board(allocation: Allocation) -> tuple[list[tuple[str, str, float]], dict[str, tuple[float, float]]]:
    """Branches with their length, m, and where places lie on the board: the plan's directions, true lengths."""
    source = next((unit.place for unit in allocation.units if unit.place), None)
    tree = lengths_of(allocation.vehicle).tree(source)
    if source is None or tree is None:
        return [], {}
    at = {p.name: (p.x_m or 0.0, -(p.y_m or 0.0)) for p in allocation.vehicle.places}
    spots, edges = {source: (0.0, 0.0)}, []
    for name in sorted(tree.above, key=lambda n: (len(tree.way(n)), natural_key(n))):
        before, metres = tree.above[name], tree.metres[name]
        dx, dy = at[name][0] - at[before][0], at[name][1] - at[before][1]
        long = math.hypot(dx, dy) or 1.0
        x, y = spots[before]
        spots[name] = (x + dx / long * metres, y + dy / long * metres if (dx or dy) else y + metres)
        edges.append((before, name, metres))
    return edges, spots


def front_block(allocation: Allocation, issue: Issue, font: str) -> list[tuple[str, str]]:
    """Title block of the binder, with the names that its font cannot show in full."""
    vehicle = allocation.vehicle
    named = (vehicle.loads, vehicle.commands, vehicle.inputs, vehicle.places, vehicle.states, vehicle.grounds)
    names = [vehicle.name, *(one.name for group in named for one in group), *(unit.label for unit in allocation.units)]
    return [*title_block(allocation, issue), *unshown(names, glyphs(font))]
