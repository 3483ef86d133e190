"""Sensors, actuators, boxes and keypads, and the trade words for kinds of signal and functions of a pin."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

__all__ = [
    "FUNCTIONS",
    "INPUT_SIGNALS",
    "QUALIFIERS",
    "READERS",
    "RELAY_COIL_MA",
    "SIGNAL_KINDS",
    "SIGNAL_NEEDS",
    "SUPPLIES",
    "SWITCHED_LOW",
    "Box",
    "FittedBox",
    "Keypad",
    "Message",
    "PinFunction",
    "Signal",
    "SignalKind",
    "SignalPin",
    "fitted",
]


@dataclass(frozen=True, slots=True)
class PinFunction:
    """What a pin of a box can do.

    Parameters
    ----------
    name : str
        Word used in the column ``functions`` of the table ``signal_pins``.
    meaning : str
        What it is electrically.
    limited : bool
        True: the pin drives or feeds something, so its ``max_a`` must be known.
    """

    name: str
    meaning: str
    limited: bool = False


_FUNCTIONS = (
    PinFunction("voltage_input", "measures a voltage against sensor ground; high resistance, no pull-up"),
    PinFunction("resistance_input", "measures a resistance to sensor ground through its own pull-up to 5 V"),
    PinFunction("switch_to_ground", "reads a switch that closes to ground; own pull-up"),
    PinFunction("switch_to_battery", "reads a switch that closes to battery voltage; own pull-down"),
    PinFunction("frequency", "counts edges of a single-ended signal"),
    PinFunction("frequency_pair", "one half of a differential input; two pins with one pair label count edges"),
    PinFunction("low_side", "switches a load to ground", True),
    PinFunction("high_side", "switches a load to battery voltage", True),
    PinFunction("half_bridge", "drives high or low; two of one box make a full bridge", True),
    PinFunction("ignition_trigger", "logic output to an ignition coil's driver", True),
    PinFunction("injector_driver", "low side with a clamp for an injector", True),
    PinFunction("bus", "one wire of the bus; two pins with one pair label make a connection"),
    PinFunction("supply_5v", "feeds sensors with 5 V; sensors may share it up to max_a", True),
    PinFunction("sensor_ground", "clean ground of sensors; they may share it up to max_a", True),
    PinFunction("pwm", "beside low_side, high_side or half_bridge: can be switched by PWM"),
)

FUNCTIONS: dict[str, PinFunction] = {function.name: function for function in _FUNCTIONS}

SUPPLIES = ("supply_5v", "sensor_ground")

QUALIFIERS = ("pwm",)


@dataclass(frozen=True, slots=True)
class SignalKind:
    """What a kind of signal takes.

    Parameters
    ----------
    name : str
        Word used in the column ``kind`` of the table ``signals``.
    function : str
        Function each of its pins must have.
    pins : int
        Pins it takes: 1, or 2.
    labelled : bool
        True: its two pins must share a pair label. False with two pins: any two of one box.
    current_ma : int or None
        Current assumed where the table says none, mA: of a sensor on its supply and ground, of an actuator on its pin;
        None: nothing is assumed, ``current_a`` must be given.
    source : str
        Where the current comes from.
    """

    name: str
    function: str
    pins: int = 1
    labelled: bool = False
    current_ma: int | None = 0
    source: str = "no current but a leak"

    @property
    def is_output(self) -> bool:
        """Whether its pins carry its current."""
        return FUNCTIONS[self.function].limited


_COMMON = "common practice, no source"

_KINDS = (
    SignalKind("voltage", "voltage_input", current_ma=10, source=_COMMON),
    SignalKind("resistance", "resistance_input", current_ma=5, source="5 V across a pull-up of 1 kohm"),
    SignalKind("switch_to_ground", "switch_to_ground", current_ma=5, source=_COMMON),
    SignalKind("switch_to_battery", "switch_to_battery"),
    SignalKind("frequency", "frequency", current_ma=15, source=_COMMON),
    SignalKind("frequency_pair", "frequency_pair", pins=2, labelled=True),
    SignalKind("low_side", "low_side", current_ma=None, source="must be given"),
    SignalKind("high_side", "high_side", current_ma=None, source="must be given"),
    SignalKind("half_bridge", "half_bridge", current_ma=None, source="must be given"),
    SignalKind("full_bridge", "half_bridge", pins=2, current_ma=None, source="must be given"),
    SignalKind("ignition_trigger", "ignition_trigger", current_ma=20, source=_COMMON),
    SignalKind("injector", "injector_driver", current_ma=None, source="must be given"),
    SignalKind("bus", "bus", pins=2, labelled=True),
)

SIGNAL_KINDS: dict[str, SignalKind] = {kind.name: kind for kind in _KINDS}

SIGNAL_NEEDS = ("pwm", "supply_5v", "sensor_ground", "spare")

# Kinds whose other end is fed: by a channel of a module, which the table of signals may name.
SWITCHED_LOW = ("low_side", "injector")

# What reads an input of the vehicle, and as which kind of signal.
READERS = ("module", "control_unit", "keypad")

INPUT_SIGNALS = {"switch": "switch_to_ground", "analog": "voltage"}

RELAY_COIL_MA = 150  # a small 12 V relay of 80 to 100 ohm; common practice, no source


@dataclass(frozen=True, slots=True)
class Signal:
    """One row of the table ``signals``: one sensor or actuator, or `count` identical ones.

    Parameters
    ----------
    name : str
        Unique name.
    kind : str
        A word of `pdm_alloc.domain.signals.SIGNAL_KINDS`.
    count : int
        Identical ones.
    place : str or None
        Name of a place.
    importance : str
        vital, needed or comfort.
    needs : frozenset of str
        ``pwm``; ``supply_5v``, ``sensor_ground``: it shares such a pin of the box that reads it; ``spare``: pins to
        keep free for a signal of this kind.
    current_ma : int
        What one takes: a sensor from its supply and into its ground, an actuator through its pin, mA.
    current_assumed : bool
        True where it came from the kind and not from the table.
    reader : str or None
        Kind of box it must be on: ``module`` or ``control_unit``; None: any.
    fed_by : str or None
        Of an actuator that is switched to ground: the load whose channel feeds it, that is itself as the power side
        has it. None: the load of its own name, where there is one.
    note : str
        Free text.
    extra : tuple of (str, str)
        The ``x_`` columns, untouched, in table order.
    """

    name: str
    kind: str
    count: int = 1
    place: str | None = None
    importance: str = "needed"
    needs: frozenset[str] = frozenset()
    current_ma: int = 0
    current_assumed: bool = False
    reader: str | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()
    fed_by: str | None = None

    @property
    def load(self) -> str | None:
        """Name of the load that it would be on the power side; None: nothing of it is switched to ground."""
        return (self.fed_by or self.name) if self.kind in SWITCHED_LOW and "spare" not in self.needs else None

    @property
    def rule(self) -> SignalKind:
        """What its kind takes."""
        return SIGNAL_KINDS[self.kind]

    @property
    def supplies(self) -> tuple[str, ...]:
        """The shared supplies it needs, in order; none for pins kept free."""
        return () if "spare" in self.needs else tuple(word for word in SUPPLIES if word in self.needs)


@dataclass(frozen=True, slots=True)
class SignalPin:
    """One pin of a box.

    Parameters
    ----------
    name, connector : str
        Name, unique on its connector; the connector.
    functions : frozenset of str
        Words of `pdm_alloc.domain.signals.FUNCTIONS`; it does one of them at a time.
    max_ma : int or None
        What it may carry, mA; None: not judged.
    pair : str or None
        Two pins of a box with one label work as a pair.
    """

    name: str
    connector: str
    functions: frozenset[str]
    max_ma: int | None = None
    pair: str | None = None
    extra: tuple[tuple[str, str], ...] = ()

    @property
    def label(self) -> str:
        """Connector and pin, as on a pin map."""
        return f"{self.connector}-{self.name}" if self.connector else self.name


@dataclass(frozen=True, slots=True)
class Box:
    """A box with signal pins: a control unit, a bus expander, or a module of the catalogue.

    Parameters
    ----------
    name : str
        Unique name.
    pins : tuple of SignalPin
        In natural order of connector and name.
    role : str
        ``control_unit``, ``expander`` or ``module``.
    mass_g, price : float or None
        Mass, g; price in any currency.
    quiescent_ma : float or None
        Current drawn when parked, mA; None: not known.
    """

    name: str
    pins: tuple[SignalPin, ...]
    role: str = "control_unit"
    mass_g: float | None = None
    price: float | None = None
    quiescent_ma: float | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Keypad:
    """A keypad of the catalogue: how many keys, its wires, how many nodes of the bus it counts as."""

    name: str
    keys: int
    wires: int = 4
    bus_nodes: int = 1
    mass_g: float | None = None
    price: float | None = None
    quiescent_ma: float | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class FittedBox:
    """A box in the vehicle: a label unique in the vehicle, the box, the place it sits at (or None)."""

    label: str
    box: Box
    place: str | None = None


@dataclass(frozen=True, slots=True)
class Message:
    """A message on the bus.

    Parameters
    ----------
    name : str
        Unique name.
    size : int
        Data bytes, 0 to 8.
    period_us : int
        Shortest time from one to the next, us.
    priority : int
        The identifier: the lower, the sooner.
    deadline_us : int or None
        Latest arrival after it was due, us; None: `period_us`.
    jitter_us : int
        How late it may be queued, us.
    """

    name: str
    size: int
    period_us: int
    priority: int
    deadline_us: int | None = None
    jitter_us: int = 0
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()


def fitted(boxes: Iterable[Box], places: Mapping[str, str] | None = None) -> tuple[FittedBox, ...]:
    """Boxes as fitted to a vehicle: labels are their names, numbered where a name comes twice.

    Parameters
    ----------
    boxes : iterable of Box
        In any order.
    places : mapping of str to str, optional
        Place by label.

    Returns
    -------
    tuple of FittedBox
        Same order.
    """
    boxes = list(boxes)
    names = [box.name for box in boxes]
    labels = [
        f"{name} #{names[: at + 1].count(name)}" if names.count(name) > 1 else name for at, name in enumerate(names)
    ]
    return tuple(FittedBox(label, box, (places or {}).get(label)) for label, box in zip(labels, boxes, strict=True))
