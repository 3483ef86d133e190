"""Settings, and the tables of the bench: ground points, wire colours, parts, what is removed and fitted."""

import re
import tomllib
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, ClassVar

from pdm_alloc.domain.kinds import CHEMISTRIES, Settings
from pdm_alloc.files.cells import Name, Number, Odd, Text, Word, whole
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.grids import read_text
from pdm_alloc.files.rows import NumberCell, Row, cell_of, column, columns_of, read_lines, settle, validated

if TYPE_CHECKING:
    from pdm_alloc.files.sources import Source
from collections.abc import Callable
from typing import Any

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import SIGNAL_KINDS, natural_key
from pdm_alloc.domain.vehicle import COLOUR_RULES, GROUND_USES, PART_ITEMS, Ground, MassItem, Part, WireColour
from pdm_alloc.files.cells import milliamps
from pdm_alloc.files.rows import Line, refuse_twins
from pdm_alloc.files.tables.signal_tables import decimal, thousandths

__all__ = ["BENCH_ROWS", "SettingRow", "SettingsRow", "bench_of", "bench_plain", "check_bench", "read_settings"]

_D = Settings()

_Volts = Number("V", 0, 1_000, above=True)

_Celsius = Number("°C", -60, 200)


class SettingRow(Row):
    """One row of the table of settings: a setting and its value."""

    table: ClassVar[str] = "settings"
    key: ClassVar[tuple[str, ...]] = ("setting",)

    setting: Annotated[str, Name()] = column("name of a setting", "system_v")
    value: Annotated[str, Text()] = column("its value", "12")


class SettingsRow(Row):
    """What holds for the whole vehicle."""

    table: ClassVar[str] = "settings"

    name: Annotated[str, Name()] = column("name of the vehicle", "", "the folder's name", "")
    system_v: Annotated[float, _Volts] = column("nominal voltage", "12", "12", _D.system_v)
    reference_v: Annotated[float | None, _Volts] = column("voltage at which running_a is stated", "", "system_v")
    headroom_pct: Annotated[Fraction, Number("%", 0, 95, to=Fraction)] = column(
        "least headroom wanted on every channel", "20", "20", _D.headroom_pct
    )
    module_headroom_pct: Annotated[Fraction, Number("%", 0, 95, to=Fraction)] = column(
        "least headroom wanted on banks and the whole module", "10", "10", _D.module_headroom_pct
    )
    spare_channels: Annotated[int, Number("", 0, 10_000, to=whole)] = column("channels to stay free", "1", "0", 0)
    strategy: Annotated[str, Word(("isolate", "spare"))] = column(
        "isolate: as many circuits as possible; spare: as few channels as possible", "isolate", "isolate", _D.strategy
    )
    module_ambient_c: Annotated[float, _Celsius] = column(
        "temperature around the module where its place says nothing", "40", "25", _D.module_ambient_c
    )
    return_path: Annotated[str, Word(("chassis", "wire"))] = column(
        "how current flows back", "chassis", "chassis", _D.return_path
    )
    wire_sizes: Annotated[str, Word(("metric", "awg"))] = column(
        "sizes of wire to choose from", "metric", "metric", "metric"
    )
    rules: Annotated[str, Word(("general", "boat"))] = column(
        "rules for the least wire size and for how near the battery its fuse must be", "general", "general", _D.rules
    )
    lowest_ambient_c: Annotated[float, _Celsius] = column(
        "coldest the vehicle is used at; cold copper draws most", "-20", "-20", _D.lowest_ambient_c
    )
    insulation_c: Annotated[float, Number("°C", 40, 300)] = column(
        "temperature class of the wire's insulation", "105", "105", _D.insulation_c
    )
    wire_ambient_c: Annotated[float, _Celsius] = column(
        "temperature around a wire where no place says otherwise", "30", "30", _D.wire_ambient_c
    )
    bundle_wires: Annotated[int, Number("", 1, 1_000, to=whole)] = column(
        "loaded wires in a bundle where the harness is not known", "1", "1", _D.bundle_wires
    )
    battery_ah: Annotated[float | None, Number("Ah", 0, 100_000, above=True)] = column(
        "capacity of the battery", "60", "not known"
    )
    battery_place: Annotated[str | None, Name()] = column(
        "place of the battery, from the table places", "", "not known"
    )
    battery_floor_pct: Annotated[float, Number("%", 0, 100, below=True)] = column(
        "charge at which the battery counts as empty, of battery_ah", "50", "50", _D.battery_floor_pct
    )
    battery_chemistry: Annotated[str, Word(tuple(CHEMISTRIES))] = column(
        "kind of battery", "flooded", "flooded", _D.battery_chemistry
    )
    battery_rate_h: Annotated[float, Number("", 0, 1_000, above=True)] = column(
        "hours over which battery_ah is stated", "20", "20", _D.battery_rate_h
    )
    peukert: Annotated[float | None, Number("", 1, 2)] = column("exponent of Peukert's law", "", "by chemistry")
    battery_mohm: Annotated[float | None, Number("mΩ", 0, 100_000, above=True)] = column(
        "internal resistance of the battery", "", "estimated from its capacity"
    )
    isolator_place: Annotated[str | None, Name()] = column(
        "place of the battery isolator, from the table places", "", "not known"
    )
    starter_place: Annotated[str | None, Name()] = column(
        "place of the starter motor, from the table places", "", "not known"
    )
    alternator_place: Annotated[str | None, Name()] = column(
        "place of the alternator, from the table places", "", "not known"
    )
    slack_pct: Annotated[float, Number("%", 0, 200)] = column("added to every wire's route", "5", "5", _D.slack_pct)
    end_allowance_m: Annotated[float, Number("m", 0, 10)] = column(
        "added at each end of a wire", "0.15", "0.15", _D.end_allowance_m
    )
    tolerance_loads: Annotated[int, Number("", 0, 10_000, to=whole)] = column(
        "how many loads at once may be at the top of their tolerance", "3", "3", _D.tolerance_loads
    )
    time_limit_s: Annotated[float, Number("s", 0, 86_400)] = column(
        "clock for one allocation", "60", "60", _D.time_limit_s
    )
    bus_kbit: Annotated[int, Number("", 1, 1_000, to=whole)] = column(
        "bit rate of the bus, kbit/s", "500", "500", _D.bus_kbit
    )
    bus_stub_m: Annotated[float, Number("m", 0, 100)] = column(
        "from the trunk of the bus to each node; 0: the trunk passes through its connector", "0", "0", _D.bus_stub_m
    )
    control_unit_load: Annotated[str | None, Name()] = column(
        "the load that is the supply of control units and expanders, from the table loads",
        "",
        "the load of their name, where there is one",
    )


_TABLE = "settings"
_MOST_BYTES = 100_000

_LINE = re.compile(r"\(at line (\d+)|\(at end of document\)")


def read_settings(source: "Source", faults: Faults) -> tuple[SettingsRow, dict[str, int | None]]:
    """Settings of a vehicle, defaults filled in.

    Parameters
    ----------
    source : Source
        With a settings file, a settings table, or neither.
    faults : Faults
        Where faults are noted.

    Returns
    -------
    SettingsRow
        None in a setting at fault.
    dict of str to int
        Row of each setting given.
    """
    if source.toml is not None and _TABLE in source.grids:
        faults.add(_TABLE, None, None, None, "is there both as settings.toml and as a table", "delete one of the two")
    given = _from_toml(source.toml, faults) if source.toml else _from_table(source, faults)
    known = columns_of(SettingsRow)
    for key, (row, _) in given.items():
        if key not in known and not key.startswith("x_"):
            faults.unknown(_TABLE, row, None, key, known, "is not a setting known here")
    rows = {key: row for key, (row, _) in given.items() if key in known}
    collected = Faults()
    settings = validated(SettingsRow, {key: given[key][1] for key in rows}, _TABLE, None, collected)
    for fault in collected.all():
        faults.add(_TABLE, rows.get(fault.column or ""), fault.column, fault.value, fault.message, fault.remedy)
    return settings, rows


def _from_table(source: "Source", faults: Faults) -> dict[str, tuple[int | None, str]]:
    lines = read_lines(source.grids.get(_TABLE), SettingRow, faults)
    given = {
        line.values.setting.casefold(): (line.number, line.values.value)
        for line in lines
        if line.values.setting is not None and line.values.value is not None
    }
    return {**given, **_settled(given, faults)}


def _settled(given: Mapping[str, tuple[int | None, str]], faults: Faults) -> dict[str, tuple[int | None, str]]:
    columns = columns_of(SettingsRow)
    kinds = {key: kind for key in given if key in columns and isinstance(kind := cell_of(columns[key]), Number)}
    cells = [NumberCell(given[key][0], key, kind, given[key][1]) for key, kind in kinds.items()]
    settle(_TABLE, cells, faults)
    return {cell.column: (cell.row, cell.text) for cell in cells}


def _from_toml(path: Path, faults: Faults) -> dict[str, tuple[int | None, str]]:
    text = read_text(path, _TABLE, faults, _MOST_BYTES)
    if text is None:
        return {}
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        message, remedy = (
            f"is not TOML ({_plain(error)})",
            "write lines such as headroom_pct = 12.5, with a decimal point",
        )
        faults.add(_TABLE, _line_of(error, text), None, None, message, remedy)
        return {}
    return {key: (_row_of(key, text), _as_text(key, value)) for key, value in values.items()}


def _plain(error: Exception) -> str:
    return "nested too deeply" if isinstance(error, RecursionError) else str(error).split(" (at ")[0]


def _line_of(error: Exception, text: str) -> int | None:
    match = _LINE.search(str(error))
    if match is None:
        return None
    return int(match[1]) if match[1] else text.count("\n") + 1


def _row_of(key: str, text: str) -> int | None:
    match = re.search(rf"^[ \t]*[\"']?{re.escape(key)}[\"']?[ \t]*[=.]", text, re.MULTILINE)
    return text[: match.start()].count("\n") + 1 if match else None


def _as_text(key: str, value: object) -> str:
    """A TOML value as the text of a cell; what no setting can be keeps its own trouble."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        shown = str(value).lower() if isinstance(value, bool) else f"({type(value).__name__})"
        return Odd(
            shown,
            "is neither a number nor a word",
            "write a number, or a word in quotation marks",
        )
    info = columns_of(SettingsRow).get(key)
    if isinstance(value, str) and info is not None and isinstance(cell_of(info), Number):
        return Odd(value, "is text, not a number", f"write {key} = 12.5 without quotation marks")
    return value if isinstance(value, str) else repr(value)


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

    part: _Name = column("what it is", "battery tray")
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
