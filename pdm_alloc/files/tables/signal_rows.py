"""The tables of the signal side: a row model each, with units, ranges, meanings and an example."""

from typing import Annotated, ClassVar

from pdm_alloc.domain.kinds import IMPORTANCES
from pdm_alloc.domain.signals import FUNCTIONS, SIGNAL_KINDS, SIGNAL_NEEDS
from pdm_alloc.files.cells import Name, Number, Text, Word, Words, YesNo, milliamps, whole
from pdm_alloc.files.rows import Row, column

__all__ = [
    "SIGNAL_CATALOGUE_ROWS",
    "SIGNAL_VEHICLE_ROWS",
    "ControlUnitRow",
    "KeypadRow",
    "MessageRow",
    "SignalPinRow",
    "SignalRow",
]

_Name = Annotated[str, Name()]

_Text = Annotated[str, Text()]


def thousandths_down(value) -> int:
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
    kind: Annotated[str, Word(tuple(SIGNAL_KINDS))] = column("what it is electrically", "voltage")
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
    note: _Text = column("free text", "invented", "nothing", "")


class MessageRow(Row):
    """One message on the bus."""

    table: ClassVar[str] = "messages"
    key: ClassVar[tuple[str, ...]] = ("message",)

    message: _Name = column("unique name", "engine speed")
    bytes: Annotated[int, Number("", 0, 8, to=whole)] = column("data bytes", "8")
    period_ms: Annotated[int, _Time] = column("shortest time from one to the next", "10")
    priority: Annotated[int, Number("", 0, 2**29 - 1, to=whole)] = column(
        "identifier; the lower, the sooner; above 2,047 it is a long one", "256"
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
