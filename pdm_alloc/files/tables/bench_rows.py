"""The tables of the bench: ground points, wire colours, parts, what is removed and fitted; rows, checks, and back."""

from collections.abc import Callable
from typing import Annotated, Any, ClassVar

from pdm_alloc.domain.bench import COLOUR_RULES, GROUND_USES, PART_ITEMS, Ground, MassItem, Part, WireColour
from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.signals import SIGNAL_KINDS
from pdm_alloc.files.cells import Name, Number, Text, Word, milliamps, whole
from pdm_alloc.files.rows import Line, Row, column, refuse_twins
from pdm_alloc.files.tables.signal_tables import decimal, thousandths

__all__ = ["BENCH_ROWS", "bench_of", "bench_plain", "check_bench"]

_Name = Annotated[str, Name()]

_Text = Annotated[str, Text()]

_Size = Annotated[float | None, Number("", 0, 10_000)]


class GroundRow(Row):
    """A stud where returns meet the vehicle's metal or the negative bus bar."""

    table: ClassVar[str] = "grounds"
    key: ClassVar[tuple[str, ...]] = ("ground",)

    ground: _Name = column("unique name", "G1")
    place: _Name = column("where it is, from the table places", "dash")
    use: Annotated[str, Word(GROUND_USES)] = column(
        "power, or sensor: sensor returns are kept apart from power returns", "power", "power", "power"
    )
    stud: _Text = column("its thread", "M8", "not said", "")
    max_a: Annotated[int | None, Number("A", 0, 10_000, above=True, to=milliamps)] = column(
        "current it bears for long", "80", "not judged"
    )
    max_wires: Annotated[int | None, Number("", 1, 1_000, to=whole)] = column("returns it takes", "8", "not judged")
    note: _Text = column("free text", "clean metal, sealed after fitting", "nothing", "")


class WireColourRow(Row):
    """A colour for the wires of a load, a command, a signal or a kind of either; the nearest rule stands."""

    table: ClassVar[str] = "wire_colours"
    key: ClassVar[tuple[str, ...]] = ()

    by: Annotated[str, Word(COLOUR_RULES)] = column("what the rule is about", "kind", "all", "all")
    subject: _Name = column("name of the load, command or signal, or the kind", "motor", "all of them", "*")
    colour: _Name = column("as you write it on the wire list; two for a pair: yellow + green", "blue/white")


class PartRow(Row):
    """A part number of your own for ends, splices, fuse holders or sleeves."""

    table: ClassVar[str] = "parts"
    key: ClassVar[tuple[str, ...]] = ()

    item: Annotated[str, Word(PART_ITEMS)] = column("what it is", "terminal")
    at: _Name = column("connector, load or ground point it is for", "", "any", "*")
    least: _Size = column("smallest conductor in mm², fuse in A or bundle in mm it takes", "0.5", "no limit")
    most: _Size = column("largest", "1.5", "no limit")
    part: _Name = column("part number", "T-0515")
    note: _Text = column("free text", "invented", "nothing", "")


class _MassRow(Row):
    key: ClassVar[tuple[str, ...]] = ()

    part: _Name = column("what it is", "old fuse box")
    mass_g: Annotated[float, Number("g", 0, 10_000_000)] = column("mass of one", "1850")
    count: Annotated[int, Number("", 1, 10_000, to=whole)] = column("how many", "1", "1", 1)
    note: _Text = column("free text", "weighed", "nothing", "")


class RemovedRow(_MassRow):
    """A part taken out of the vehicle."""

    table: ClassVar[str] = "removed"


class FittedRow(_MassRow):
    """A part fitted beside modules, wires and feeds, such as a bracket or a keypad."""

    table: ClassVar[str] = "fitted"


BENCH_ROWS: dict[str, type[Row]] = {
    model.table: model for model in (GroundRow, WireColourRow, PartRow, RemovedRow, FittedRow)
}


def check_bench(tables: Any, faults: Any) -> None:
    """Note rows of the bench tables that contradict themselves or another table.

    Parameters
    ----------
    tables : VehicleLines
        All rows.
    faults : Faults
        Where faults are noted.
    """
    for line in tables.rows["wire_colours"]:
        _check_subject(tables, line, faults)
    refuse_twins(tables.rows["wire_colours"], ("by", "subject"), "wire_colours", faults)
    for line in tables.rows["parts"]:
        _check_range(line, faults)


def _check_subject(tables: Any, line: Line, faults: Any) -> None:
    by, subject = line.values.by, line.values.subject
    if None in (by, subject):
        return
    if by in ("return", "feed", "supply_5v", "sensor_ground", "all"):
        if subject != "*":
            faults.add("wire_colours", line.number, "subject", subject, f"has no meaning by {by}", "leave it empty")
        return
    known = _subjects(tables, by)
    if known is not None and subject not in known:
        faults.unknown("wire_colours", line.number, "subject", subject, known, f"is not a {by} of this vehicle")


def _subjects(tables: Any, by: str) -> Any:
    """Names a rule may be about; None: the table that has them could not be read."""
    if by == "signal":
        both = (tables.known("signals", "signal"), tables.known("inputs", "input"))
        return None if None in both else [name for names in both for name in names]
    return {"load": tables.known("loads", "load"), "command": tables.commands(), "kind": [*KINDS, *SIGNAL_KINDS]}[by]


def _check_range(line: Line, faults: Any) -> None:
    row = line.values
    if row.least is not None and row.most is not None and row.least > row.most:
        faults.add("parts", line.number, "most", f"{row.most:g}", f"is below least ({row.least:g})", "swap the two")


def _ground(line: Line) -> Ground:
    r = line.values
    return Ground(r.ground, r.place, r.use, r.stud, r.max_a, r.max_wires, r.note, line.extra)


def _mass(line: Line) -> MassItem:
    r = line.values
    return MassItem(r.part, r.mass_g, r.count, r.note)


def _colour(line: Line) -> WireColour:
    return WireColour(line.values.by, line.values.subject, line.values.colour)


def _part(line: Line) -> Part:
    r = line.values
    return Part(r.item, r.at, r.least, r.most, r.part, r.note)


_MADE: dict[str, tuple[Callable[[Line], Any], Callable[[Any], Any]]] = {
    "grounds": (_ground, lambda g: natural_key(g.name)),
    "wire_colours": (_colour, lambda c: (COLOUR_RULES.index(c.by), natural_key(c.subject))),
    "parts": (_part, lambda p: (PART_ITEMS.index(p.item), natural_key(p.at), p.most or 0.0, natural_key(p.part))),
    "removed": (_mass, lambda m: natural_key(m.part)),
    "fitted": (_mass, lambda m: natural_key(m.part)),
}


def bench_of(rows: dict[str, list[Line]]) -> dict[str, tuple[Any, ...]]:
    """Objects of the bench tables by the vehicle's field, in natural order of their names."""
    return {name: tuple(sorted(map(make, rows[name]), key=key)) for name, (make, key) in _MADE.items()}


def bench_plain(vehicle: Any) -> dict[str, list[dict[str, str]]]:
    """Rows of the bench tables as text, reading back to the same objects."""
    return {
        "grounds": [_ground_cells(g) for g in vehicle.grounds],
        "wire_colours": [{"by": c.by, "subject": _any(c.subject), "colour": c.colour} for c in vehicle.wire_colours],
        "parts": [_part_cells(p) for p in vehicle.parts],
        "removed": [_mass_cells(m) for m in vehicle.removed],
        "fitted": [_mass_cells(m) for m in vehicle.fitted],
    }


def _any(name: str) -> str:
    return "" if name == "*" else name


def _ground_cells(g: Ground) -> dict[str, str]:
    amps = "" if g.max_ma is None else thousandths(g.max_ma)
    cells = {"ground": g.name, "place": g.place, "use": g.use, "stud": g.stud, "max_a": amps}
    return {**cells, "max_wires": decimal(g.max_wires), "note": g.note, **dict(g.extra)}


def _part_cells(p: Part) -> dict[str, str]:
    sizes = {"least": decimal(p.least), "most": decimal(p.most)}
    return {"item": p.item, "at": _any(p.at), **sizes, "part": p.part, "note": p.note}


def _mass_cells(m: MassItem) -> dict[str, str]:
    return {"part": m.part, "mass_g": decimal(m.mass_g), "count": str(m.count), "note": m.note}
