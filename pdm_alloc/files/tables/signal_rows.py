"""The tables of the signal side: a row model each, with units, ranges, meanings and an example; and their rules."""

from collections import defaultdict
from collections.abc import Collection
from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, ClassVar

from pdm_alloc.domain.kinds import IMPORTANCES
from pdm_alloc.domain.module import FUNCTIONS, QUALIFIERS, SIGNAL_KINDS, SIGNAL_NEEDS, SUPPLIES, SWITCHED_LOW
from pdm_alloc.files.cells import Name, Number, Text, Word, Words, YesNo, milliamps, whole
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.rows import Line, Row, column

if TYPE_CHECKING:
    from pdm_alloc.files.tables.vehicle_rows import VehicleLines

__all__ = [
    "SIGNAL_CATALOGUE_ROWS",
    "SIGNAL_VEHICLE_ROWS",
    "ControlUnitRow",
    "KeypadRow",
    "MessageRow",
    "SignalPinRow",
    "SignalRow",
    "check_signal_pins",
    "check_signals",
]

_Name = Annotated[str, Name()]

_Text = Annotated[str, Text()]


Rows = dict[str, list[Line]]


def thousandths_down(value: Fraction) -> int:
    """Amperes or milliseconds to whole thousandths, rounded down, as a limit is."""
    return int(value * 1000)


_Time = Number("ms", 0.001, 3_600_000, to=thousandths_down)

_Mass = Annotated[float | None, Number("g", 0, 1_000_000)]

_Price = Annotated[float | None, Number("", 0, 100_000_000)]

_Quiescent = Annotated[float | None, Number("mA", 0, 100_000)]


class SignalRow(Row):
    """One sensor or actuator, or several identical ones."""

    table: ClassVar[str] = "signals"
    key: ClassVar[tuple[str, ...]] = ("signal",)

    signal: _Name = column("unique name", "oil pressure")
    kind: Annotated[str, Word(tuple(SIGNAL_KINDS))] = column("what it is electrically: see Kinds of signals", "voltage")
    count: Annotated[int, Number("", 1, 10_000, to=whole)] = column("identical ones", "1", "1", 1)
    place: Annotated[str | None, Name()] = column("where it sits, from the table places", "dash", "not known")
    importance: Annotated[str, Word(IMPORTANCES)] = column("how badly it is needed", "needed", "needed", "needed")
    needs: Annotated[frozenset[str], Words(SIGNAL_NEEDS)] = column(
        "what else the box must give; spare: pins of this kind to keep free",
        "supply_5v sensor_ground",
        "nothing",
        frozenset(),
    )
    current_a: Annotated[int | None, Number("A", 0, 1_000, to=milliamps)] = column(
        "what one takes: a sensor from its supply, an actuator through its pin",
        "0.01",
        "the kind's current; must be given for an actuator",
    )
    fed_by: Annotated[str | None, Name()] = column(
        "of a low_side or injector: the load whose channel feeds it, from the table loads",
        "",
        "the load of its own name, where there is one",
    )
    note: _Text = column("free text", "invented", "nothing", "")


class MessageRow(Row):
    """One message on the bus."""

    table: ClassVar[str] = "messages"
    key: ClassVar[tuple[str, ...]] = ("message",)

    message: _Name = column("unique name", "engine speed")
    bytes: Annotated[int, Number("", 0, 8, to=whole)] = column("data bytes", "8")
    period_ms: Annotated[int, _Time] = column("shortest time from one to the next", "10")
    priority: Annotated[int, Number("", 0, 2**29 - 1, to=whole)] = column(
        "identifier; the lower, the sooner; above 2,047 it is a long one, and its first 11 bits count first", "256"
    )
    deadline_ms: Annotated[int | None, _Time] = column("latest arrival after it was due", "", "period_ms")
    jitter_ms: Annotated[int, Number("ms", 0, 3_600_000, to=milliamps)] = column(
        "how late it may be queued", "", "0", 0
    )
    note: _Text = column("free text", "invented", "nothing", "")


class ControlUnitRow(Row):
    """One control unit or bus expander."""

    table: ClassVar[str] = "control_units"
    key: ClassVar[tuple[str, ...]] = ("box",)

    box: _Name = column("unique name, also among the modules", "unit A")
    expander: Annotated[bool, YesNo()] = column("yes: it only reads and sends on the bus", "no", "no", False)
    mass_g: _Mass = column("mass", "400", "not known")
    price: _Price = column("price in any currency", "900", "not known")
    quiescent_ma: _Quiescent = column("current drawn when parked", "0.5", "not known")
    note: _Text = column("free text", "invented", "nothing", "")


class SignalPinRow(Row):
    """One signal pin of a control unit or a module."""

    table: ClassVar[str] = "signal_pins"
    key: ClassVar[tuple[str, ...]] = ("box", "connector", "pin")

    box: _Name = column("a control unit, or a module", "unit A")
    pin: _Name = column("its name on the connector", "A1")
    connector: Annotated[str, Name()] = column("connector it is on", "A", "none", "")
    functions: Annotated[frozenset[str], Words(tuple(FUNCTIONS))] = column(
        "what it can do, one at a time", "voltage_input resistance_input"
    )
    max_a: Annotated[int | None, Number("A", 0.001, 1_000, to=thousandths_down)] = column(
        "what it may carry", "", "not judged; must be given for outputs, supplies and grounds"
    )
    pair: Annotated[str | None, Name()] = column("two pins with one label work as a pair", "", "none")


class KeypadRow(Row):
    """One keypad on the bus."""

    table: ClassVar[str] = "keypads"
    key: ClassVar[tuple[str, ...]] = ("keypad",)

    keypad: _Name = column("unique name", "keypad A")
    keys: Annotated[int, Number("", 1, 1_000, to=whole)] = column("keys", "8")
    wires: Annotated[int, Number("", 2, 100, to=whole)] = column("wires to it, supply and bus", "4", "4", 4)
    bus_nodes: Annotated[int, Number("", 1, 100, to=whole)] = column("nodes of the bus it counts as", "1", "1", 1)
    mass_g: _Mass = column("mass", "120", "not known")
    price: _Price = column("price in any currency", "180", "not known")
    quiescent_ma: _Quiescent = column("current drawn when parked", "0.2", "not known")
    note: _Text = column("free text", "invented", "nothing", "")


SIGNAL_VEHICLE_ROWS: dict[str, type[Row]] = {m.table: m for m in (SignalRow, MessageRow)}

SIGNAL_CATALOGUE_ROWS: dict[str, type[Row]] = {m.table: m for m in (ControlUnitRow, SignalPinRow, KeypadRow)}

DRIVEN = ("high_side", "half_bridge", "full_bridge")  # kinds that a box feeds

_PWM_KINDS = ("low_side", "high_side", "half_bridge", "full_bridge")

_PAIRED = tuple(sorted({kind.function for kind in SIGNAL_KINDS.values() if kind.labelled}))


def check_signals(tables: "VehicleLines", faults: Faults) -> None:
    """Note every signal, message and reader of an input that contradicts itself or another row.

    Parameters
    ----------
    tables : VehicleLines
        All rows.
    faults : Faults
        Where faults are noted.
    """
    for line in tables.rows["signals"]:
        _check_current(line, faults)
        _check_needs(line, faults)
        _check_feed(line, tables, faults)
    for line in tables.rows["inputs"]:
        _check_reader(line, faults)
    _check_names(tables, faults)
    _check_priorities(tables.rows["messages"], faults)


def _check_current(line: Line, faults: Faults) -> None:
    row = line.values
    if row.kind is None or row.needs is None or row.current_a is not None or "spare" in row.needs:
        return
    if SIGNAL_KINDS[row.kind].current_ma is None:
        message = f"is empty, and nothing is assumed for the current of a {row.kind}"
        faults.add("signals", line.number, "current_a", None, message, "give its current")


def _check_needs(line: Line, faults: Faults) -> None:
    row = line.values
    if row.kind is None or row.needs is None:
        return
    if "pwm" in row.needs and row.kind not in _PWM_KINDS:
        message, remedy = f"is not for a {row.kind}", f"it is for {', '.join(_PWM_KINDS)}; leave it out"
        faults.add("signals", line.number, "needs", "pwm", message, remedy)
    for word in SUPPLIES if SIGNAL_KINDS[row.kind].is_output else ():
        if word in row.needs:
            message = f"is for sensors, and a {row.kind} is an output"
            faults.add("signals", line.number, "needs", word, message, "leave it out")


def _check_feed(line: Line, tables: "VehicleLines", faults: Faults) -> None:
    """An actuator switched to ground may be a load too, whose channel feeds it; one that a box feeds may not."""
    row, loads = line.values, tables.known("loads", "load")
    if row.kind is None or row.needs is None or loads is None:
        return
    if row.fed_by is not None and (row.kind not in SWITCHED_LOW or "spare" in row.needs):
        message = f"is for {' and '.join(SWITCHED_LOW)}, whose other end is fed"
        faults.add("signals", line.number, "fed_by", row.fed_by, message, "leave it out")
    elif row.fed_by is not None and row.fed_by not in loads:
        faults.unknown("signals", line.number, "fed_by", row.fed_by, loads, "is not in table loads")
    elif row.kind in SWITCHED_LOW:
        _check_same_count(line, tables, faults)
    elif row.kind in DRIVEN and row.signal in loads and "spare" not in row.needs:
        message = f"is a load too, and a {row.kind} feeds it as well as a channel does"
        faults.add("signals", line.number, "signal", row.signal, message, "name them apart, or list it once")


def _check_same_count(line: Line, tables: "VehicleLines", faults: Faults) -> None:
    row = line.values
    load = next((other for other in tables.rows["loads"] if other.values.load == (row.fed_by or row.signal)), None)
    if load is None or None in (load.values.count, row.count) or load.values.count == row.count:
        return
    message = (
        f"is not the count of the load '{load.values.load}' that feeds it ({load.values.count}, row {load.number})"
    )
    faults.add("signals", line.number, "count", str(row.count), message, "every item is fed by one channel")


def _check_reader(line: Line, faults: Faults) -> None:
    row = line.values
    if row.read_by in ("module", "control_unit") and row.kind == "bus":
        message = "is for inputs with a wire, and this one is a message on the bus"
        remedy = "leave it empty, write keypad for a key, or correct the kind"
        faults.add("inputs", line.number, "read_by", row.read_by, message, remedy)
    elif row.read_by == "keypad" and row.kind == "analog":
        message = "reads keys, and this input is analog"
        faults.add("inputs", line.number, "read_by", "keypad", message, "write module or control_unit")


def _check_names(tables: "VehicleLines", faults: Faults) -> None:
    """An input that is read by a pin is a signal too, so both names stand on one pin map."""
    read = {line.values.input: line.number for line in tables.rows["inputs"] if line.values.read_by}
    for line in tables.rows["signals"]:
        name = line.values.signal
        if name is not None and name in read:
            message = f"is already an input with a reader (inputs, row {read[name]})"
            faults.add("signals", line.number, "signal", name, message, "list it once")


def _check_priorities(lines: list[Line], faults: Faults) -> None:
    seen: dict[int, int] = {}
    for line in lines:
        row = line.values
        if row.priority is not None and row.priority in seen:
            message = f"is already the priority of row {seen[row.priority]}"
            faults.add("messages", line.number, "priority", str(row.priority), message, "every identifier is sent once")
        seen.setdefault(row.priority, line.number)
        if None not in (row.deadline_ms, row.period_ms) and row.deadline_ms > row.period_ms:
            message, remedy = "is after the next one", "a deadline is at most period_ms"
            faults.add("messages", line.number, "deadline_ms", f"{row.deadline_ms / 1000:g}", message, remedy)


def check_signal_pins(rows: Rows, broken: Collection[str], faults: Faults) -> None:
    """Note every row of the catalogue's signal tables that contradicts itself or another.

    Parameters
    ----------
    rows : dict of str to list of Line
        By table.
    broken : collection of str
        Tables that are there but could not be read.
    faults : Faults
        Where faults are noted.
    """
    for line in rows["signal_pins"]:
        _check_limit(line, faults)
        _check_functions(line, faults)
    _check_pin_pairs(rows["signal_pins"], faults)
    if not {"modules", "control_units", "signal_pins"} & set(broken):
        _check_boxes(rows, faults)


def _check_limit(line: Line, faults: Faults) -> None:
    row = line.values
    limited = sorted(word for word in row.functions or () if FUNCTIONS[word].limited)
    if limited and row.max_a is None and row.functions is not None:
        message = f"is empty, and a pin with {limited[0]} has a limit"
        faults.add("signal_pins", line.number, "max_a", None, message, "give what it may carry")


def _check_functions(line: Line, faults: Faults) -> None:
    words = line.values.functions or frozenset()
    shown = " ".join(sorted(words))
    if words & set(SUPPLIES) and len(words) > 1:
        message = "has a supply or ground beside another function"
        faults.add("signal_pins", line.number, "functions", shown, message, "such a pin does nothing else")
    if words & set(QUALIFIERS) and not words & {"low_side", "high_side", "half_bridge"}:
        message, remedy = "has pwm and no output", "add low_side, high_side or half_bridge"
        faults.add("signal_pins", line.number, "functions", shown, message, remedy)


def _check_pin_pairs(lines: list[Line], faults: Faults) -> None:
    pairs = defaultdict(list)
    for line in lines:
        row = line.values
        if row.pair is not None:
            pairs[row.box, row.pair].append(line)
        for word in sorted(set(row.functions or ()) & set(_PAIRED)) if row.pair is None else ():
            message = f"is empty, and {word} works on two pins"
            faults.add("signal_pins", line.number, "pair", None, message, "give both pins one label")
    for (box, label), twins in pairs.items():
        if len(twins) != 2:
            message = f"is on {len(twins)} pin{'' if len(twins) == 1 else 's'} of {box}"
            faults.add("signal_pins", twins[0].number, "pair", label, message, "a pair is two pins with one label")


def _check_boxes(rows: Rows, faults: Faults) -> None:
    modules = [line.values.module for line in rows["modules"] if line.values.module]
    units = [line.values.box for line in rows["control_units"] if line.values.box]
    known = dict.fromkeys([*units, *modules])
    pinned = {line.values.box for line in rows["signal_pins"]}
    for line in rows["signal_pins"]:
        if line.values.box is not None and line.values.box not in known:
            message = "is neither a control unit nor a module"
            remedy = "add a row for it to the table control_units"
            faults.unknown("signal_pins", line.number, "box", line.values.box, known, message, remedy)
    folded = {module.casefold() for module in modules}
    for line in rows["control_units"]:
        _check_unit(line, folded, pinned, faults)


def _check_unit(line: Line, modules: set[str], pinned: set[str | None], faults: Faults) -> None:
    name = line.values.box
    if name is None:
        return
    if name.casefold() in modules:
        faults.add("control_units", line.number, "box", name, "is a module already", "give it another name")
    if name not in pinned and None not in pinned:
        remedy = "add rows for them to the table signal_pins"
        faults.add("control_units", line.number, "box", name, "has no signal pins", remedy)
