"""Modules, boxes and keypads as the catalogue describes them, units fitted to a vehicle, and signals on their pins."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm

from pdm_alloc.domain.showing import UnknownName, counted, headline_table, named

__all__ = [
    "FUNCTIONS",
    "INPUT_SIGNALS",
    "MOST_PORTIONS",
    "QUALIFIERS",
    "READERS",
    "RELAY_COIL_MA",
    "SIGNAL_KINDS",
    "SIGNAL_NEEDS",
    "SUPPLIES",
    "SWITCHED_LOW",
    "Box",
    "Catalogue",
    "Channel",
    "FittedBox",
    "Keypad",
    "Message",
    "Module",
    "PinFunction",
    "Signal",
    "SignalKind",
    "SignalPin",
    "Unit",
    "fitted",
    "natural_key",
    "portions_of",
    "units_of",
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
        A word of `pdm_alloc.domain.module.SIGNAL_KINDS`.
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
        Words of `pdm_alloc.domain.module.FUNCTIONS`; it does one of them at a time.
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


_NAMED = 8


@dataclass(frozen=True, slots=True)
class Channel:
    """One protected output of a module.

    Parameters
    ----------
    name, connector : str
        Name, unique in the module; connector it comes out on.
    pins : tuple of str
        Its pins, in order.
    bank : str or None
        Bank whose limit it shares.
    continuous_ma, peak_ma : int
        Continuous rating; current above which it trips at once, mA.
    peak_ms : float
        How long it bears peak_ma, ms.
    features : frozenset of str
        ``pwm`` or nothing.
    bridge, pair : str or None
        Label shared by the two channels of a reversing pair; of a pair that may be paralleled.
    max_wire_mm2 : float or None
        Largest conductor its terminal takes, mm2; None: not known, not judged.
    share_pct : Fraction
        Largest share of the current of two paralleled channels that flows through one of them, per cent, 50 to 100.
    contact_ma : int or None
        Current one pin bears, mA; None: not known, so every pin has its own wire.
    on_mohm : float or None
        Resistance of the closed output, milliohm; None: not known, its heat is not judged.
    contact_c : float or None
        Temperature its contact bears, deg C; None: not known, not judged.
    turn_off_mj : float or None
        Energy a coil may give back to it at turn-off, mJ; None: not known, not judged.
    """

    name: str
    continuous_ma: int
    peak_ma: int
    peak_ms: float
    connector: str = ""
    pins: tuple[str, ...] = ()
    bank: str | None = None
    features: frozenset[str] = frozenset()
    bridge: str | None = None
    pair: str | None = None
    max_wire_mm2: float | None = None
    share_pct: Fraction = Fraction(60)
    contact_ma: int | None = None
    on_mohm: float | None = None
    contact_c: float | None = None
    turn_off_mj: float | None = None
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Module:
    """One module of the catalogue.

    Parameters
    ----------
    name : str
        Unique name.
    total_ma : int
        Whole-module current, mA.
    total_peak_ma : int
        Whole-module peak current, mA.
    channels : tuple of Channel
        In natural order of their names.
    bank_ma : mapping of str to int
        Limit of each bank, mA.
    derating : tuple of (float, Fraction)
        Ambient in deg C and factor, rising ambient; empty: no derating.
    mass_g, price : float or None
        Mass, g; price in any currency.
    supply_min_v, supply_max_v : float or None
        Supply voltage it works in, V.
    inputs : int or None
        Inputs it has; None: not known, not judged.
    trip_step_ma : int
        Step of the trip setting, mA.
    trip_error_pct : Fraction
        How far the module's own current reading may be off, per cent, below 100.
    settle_s : float
        Time constant with which banks and module heat up, s; 0: not known, so every current counts in full.
    quiescent_ma : float or None
        Current it draws with every output off, mA; None: not known.
    """

    name: str
    total_ma: int
    total_peak_ma: int
    channels: tuple[Channel, ...]
    bank_ma: Mapping[str, int] = field(default_factory=dict)
    derating: tuple[tuple[float, Fraction], ...] = ()
    mass_g: float | None = None
    price: float | None = None
    supply_min_v: float | None = None
    supply_max_v: float | None = None
    inputs: int | None = None
    trip_step_ma: int = 100
    trip_error_pct: Fraction = Fraction(0)
    settle_s: float = 0.0
    quiescent_ma: float | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    @property
    def portions(self) -> int:
        """Portions of a milliamp in which what its banks and it bear is counted, so that all shares are whole.

        2, or more where two channels in different banks share a current unevenly: 5 at 60 per cent. At most
        `MOST_PORTIONS`: finer shares are rounded up.
        """
        return portions_of([_whole(a, b) for a, b in _pairs(self.channels) if a.bank != b.bank])

    def channel(self, name: str) -> Channel:
        """The channel of that name; `UnknownName`, a KeyError, where there is none."""
        return named(f"channel of {self.name}", self.channels, name)

    def __repr__(self) -> str:
        """One line: channels, ratings, mass and price."""
        mass = "" if self.mass_g is None else f", {self.mass_g:g} g"
        price = "" if self.price is None else f", price {self.price:g}"
        amps = f"{self.total_ma / 1000:g} A in all"
        return f"<Module {self.name}: {counted(len(self.channels), 'channel')}, {amps}{mass}{price}>"

    def _repr_html_(self) -> str:
        columns = ("channel", "connector", "bank", "continuous A", "peak A", "features")
        amps = [(c.continuous_ma / 1000, c.peak_ma / 1000) for c in self.channels]
        rows = [
            (c.name, c.connector, c.bank, *ma, " ".join(sorted(c.features)))
            for c, ma in zip(self.channels, amps, strict=True)
        ]
        return headline_table(repr(self).strip("<>"), columns, rows)


MOST_PORTIONS = 100


def portions_of(numbers: Iterable[int]) -> int:
    """Least number that 2 and all of some numbers divide; `MOST_PORTIONS` where that is less."""
    return min(MOST_PORTIONS, lcm(2, *numbers))


def _whole(a: Channel, b: Channel) -> int:
    return (max(a.share_pct, b.share_pct) / 100).denominator


def _pairs(channels: Iterable[Channel]) -> Iterator[tuple[Channel, Channel]]:
    by_label: dict[str, list[Channel]] = {}
    for channel in channels:
        if channel.pair:
            by_label.setdefault(channel.pair, []).append(channel)
    yield from ((two[0], two[1]) for two in by_label.values() if len(two) == 2)


@dataclass(frozen=True, slots=True)
class Unit:
    """A module fitted to the vehicle: a label unique in the vehicle, the module, the place it sits at (or None)."""

    label: str
    module: Module
    place: str | None = None

    def __repr__(self) -> str:
        """Label, module and place."""
        at = "" if self.place is None else f" at {self.place}"
        return f"<Unit {self.label}: {self.module.name}{at}>"


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Modules to choose from, in natural order of their names."""

    name: str
    modules: tuple[Module, ...]
    table_hashes: tuple[tuple[str, str], ...] = ()
    boxes: tuple[Box, ...] = ()
    keypads: tuple[Keypad, ...] = ()

    def __getitem__(self, name: str) -> Module:
        """The module of that name; `UnknownName`, a KeyError, where there is none."""
        for module in self.modules:
            if module.name == name:
                return module
        raise UnknownName("module", name, [module.name for module in self.modules])

    def __iter__(self) -> Iterator[Module]:
        """Over the modules."""
        return iter(self.modules)

    @property
    def to_judge(self) -> int:
        """Modules and control units: each has the time limit once."""
        return len(self) + sum(box.role == "control_unit" for box in self.boxes)

    def __len__(self) -> int:
        """How many modules."""
        return len(self.modules)

    def __repr__(self) -> str:
        """One line: how many modules, and the first of them by name."""
        names = ", ".join(module.name for module in self.modules[:_NAMED])
        more = ", ..." if len(self.modules) > _NAMED else ""
        return f"<Catalogue {self.name}: {counted(len(self.modules), 'module')}: {names}{more}>"

    def _repr_html_(self) -> str:
        columns = ("module", "channels", "total A", "peak A", "inputs", "mass g", "price", "note")
        rows = [
            (m.name, len(m.channels), m.total_ma / 1000, m.total_peak_ma / 1000, m.inputs, m.mass_g, m.price, m.note)
            for m in self.modules
        ]
        return headline_table(f"Catalogue {self.name}: {counted(len(self.modules), 'module')}", columns, rows)


def natural_key(name: str) -> tuple[object, ...]:
    """Sort key that puts 2 before 10, and the same whatever order rows came in.

    Parameters
    ----------
    name : str
        Any name.

    Returns
    -------
    tuple
        Comparable with every other natural key.
    """
    parts = re.split(r"(\d+)", name)
    keys = ((1, int(p), "") if p.isdigit() and p.isascii() else (0, 0, p.casefold()) for p in parts)
    return (*keys, (0, 0, name))


def units_of(modules: "Module | Unit | Iterable[Module | Unit]") -> tuple[Unit, ...]:
    """Units for one module, or several: labels are the modules' names, numbered where a name comes twice.

    Parameters
    ----------
    modules : Module, Unit, or iterable of these
        What is fitted.

    Returns
    -------
    tuple of Unit
        Same order.
    """
    things: list[Module | Unit] = [modules] if isinstance(modules, (Module, Unit)) else list(modules)
    names = [t.module.name if isinstance(t, Unit) else t.name for t in things]
    seen: dict[str, int] = {}
    units = []
    for thing, name in zip(things, names, strict=True):
        if isinstance(thing, Unit):
            units.append(thing)
            continue
        seen[name] = seen.get(name, 0) + 1
        units.append(Unit(f"{name} #{seen[name]}" if names.count(name) > 1 else name, thing))
    return tuple(units)
