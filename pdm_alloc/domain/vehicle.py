"""The vehicle as its tables describe it, and what the bench adds: frozen objects, whole milliamps.

Objects here are already checked (see ``tables/``); nothing to the right checks them again. Change a
vehicle by making an altered copy (`dataclasses.replace`).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Message, Signal
from pdm_alloc.domain.showing import counted, headline_table, named

__all__ = [
    "COLOUR_RULES",
    "GROUND_USES",
    "MARGINS",
    "PART_ITEMS",
    "Command",
    "Concession",
    "Ground",
    "Input",
    "Load",
    "Lock",
    "MassItem",
    "Part",
    "Place",
    "Route",
    "Settings",
    "State",
    "Vehicle",
    "WireColour",
    "colour_of",
    "joined",
    "part_for",
    "signal_colour",
    "without_margins",
]

GROUND_USES = ("power", "sensor")

# Nearest rule first: a colour for one load stands above that of its command, and so on.
COLOUR_RULES = ("load", "command", "signal", "kind", "return", "feed", "supply_5v", "sensor_ground", "all")

PAIR_SIGN = " + "  # between the colours of the two wires of a pair

PART_ITEMS = ("connector", "terminal", "seal", "load_terminal", "ring", "splice", "fuse_holder", "sleeve")


@dataclass(frozen=True, slots=True)
class Ground:
    """One row of the table ``grounds``: a stud where returns meet the vehicle's metal or the negative bus.

    Parameters
    ----------
    name, place : str
        Unique name; the place it is at.
    use : str
        ``power`` or ``sensor``: the two are kept apart.
    stud : str
        Its thread, as the table writes it (``M8``).
    max_ma : int or None
        Current it bears for long, mA; None: not judged.
    max_wires : int or None
        Returns it takes; None: not judged.
    """

    name: str
    place: str
    use: str = "power"
    stud: str = ""
    max_ma: int | None = None
    max_wires: int | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class WireColour:
    """One row of the table ``wire_colours``: `by` a word of `COLOUR_RULES`, the name it is about, the colour."""

    by: str
    subject: str
    colour: str


@dataclass(frozen=True, slots=True)
class Part:
    """One row of the table ``parts``.

    Parameters
    ----------
    item : str
        A word of `PART_ITEMS`.
    at : str
        Connector, load or ground point it is for; ``*``: any.
    least, most : float or None
        Range it takes: conductors in mm2 (of a splice: all conductors of one side together), a fuse
        in A, a bundle in mm. None: no limit.
    part : str
        Part number.
    """

    item: str
    at: str
    least: float | None
    most: float | None
    part: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class MassItem:
    """One row of the tables ``removed`` and ``fitted``: a part, mass of one in g, how many."""

    part: str
    mass_g: float
    count: int = 1
    note: str = ""


def colour_of(colours: Iterable[WireColour], loads: "Iterable[Load]", role: str = "") -> str:
    """Colour of a wire by the rules of the table ``wire_colours``.

    Parameters
    ----------
    colours : iterable of WireColour
        The rules.
    loads : iterable of Load
        What the wire feeds, or returns from; may be empty.
    role : str
        ``return`` or ``feed``; empty: from a channel to its loads.

    Returns
    -------
    str
        Empty where no rule applies. A rule for its role stands above those for its loads.
    """
    rules = {(c.by, c.subject): c.colour for c in colours}
    listed = list(loads)
    keys = [(role, "*")] if role else []
    keys += [("load", x.name) for x in listed] + [("command", x.command) for x in listed]
    keys += [("kind", x.kind) for x in listed] + [("all", "*")]
    return next((rules[key] for key in keys if key in rules), "")


def signal_colour(colours: Iterable[WireColour], name: str, kind: str, wire: int = 0) -> str:
    """Colour of a wire of the signal side by the rules of the table ``wire_colours``.

    Parameters
    ----------
    colours : iterable of WireColour
        The rules.
    name : str
        Signal on the wire; empty: none, as on the trunk of the bus and on shared supplies and grounds.
    kind : str
        Kind of signal; ``supply_5v`` or ``sensor_ground`` of a wire that sensors share.
    wire : int
        0 or 1: which wire of a pair.

    Returns
    -------
    str
        Empty where no rule applies. A colour written as two with a plus between them gives each wire of a pair its own.
    """
    rules = {(c.by, c.subject): c.colour for c in colours}
    keys = (("signal", name), ("kind", kind), (kind, "*"), ("all", "*"))
    colour = next((rules[key] for key in keys if key in rules), "")
    both = colour.split(PAIR_SIGN)
    return both[wire].strip() if len(both) == 2 else colour


def part_for(parts: Iterable[Part], item: str, at: str, size: float | None) -> str:
    """Part number for an end, a splice, a fuse or a bundle.

    Parameters
    ----------
    parts : iterable of Part
        The table.
    item : str
        A word of `PART_ITEMS`.
    at : str
        Connector, load or ground point.
    size : float or None
        mm2, A or mm; None: any row does.

    Returns
    -------
    str
        Of a row for that place before one for any; of several the one whose range ends first. Empty: none.
    """
    fitting = [p for p in parts if p.item == item and p.at in (at, "*") and _takes(p, size)]
    best = min(fitting, key=lambda p: (p.at == "*", float("inf") if p.most is None else p.most, p.part), default=None)
    return "" if best is None else best.part


_ROUNDING = 1.01  # gauge sizes are rounded where parts are sold


def _takes(part: Part, size: float | None) -> bool:
    if size is None:
        return True
    return (part.least or 0.0) <= size * _ROUNDING and (part.most is None or size <= part.most * _ROUNDING)


PPM = 1_000_000

# What tells a starter motor from what else is wired past the modules; common practice, no source.
STARTING_MINUTES = 1.0
STARTING_SAG = 0.8  # of the voltage at rest: 9.6 V of 12 V


@dataclass(frozen=True, slots=True)
class Load:
    """One row of the table ``loads``: one consumer, or `count` identical ones.

    Parameters
    ----------
    name, command : str
        Unique name; what switches it on.
    running_ma : int
        Steady current of one item at the reference voltage, mA.
    count : int
        Identical items.
    kind : str
        A word of `pdm_alloc.domain.kinds.KINDS`.
    inrush_ma : int
        Peak current of one item just after switch-on at the reference voltage, running included, mA.
    inrush_ms : float
        Time until the excess over running has fallen to 5 %, ms; 0 when there is no excess.
    inrush_assumed : bool
        True where peak or length came from the kind and not from the table.
    needs : frozenset of str
        ``pwm``, ``reversing``.
    importance : str
        vital, needed or comfort.
    share : bool
        False: every item is alone on its channel.
    separate : str or None
        Loads with one label never share a channel.
    place : str or None
        Name of a place.
    max_drop_pct : float
        Voltage drop allowed from module to load, per cent of system_v.
    tolerance_pct : Fraction
        How far running_a may be off, per cent of it.
    length_m : float or None
        Wire from module to load, m, where there are no places.
    min_v : float or None
        Lowest voltage at which it still works, V.
    volt_exponent : float
        k in I = I_ref * (V / V_ref)**k.
    note : str
        Free text.
    extra : tuple of (str, str)
        The ``x_`` columns, untouched, in table order.
    """

    name: str
    command: str
    running_ma: int
    count: int = 1
    kind: str = "electronics"
    inrush_ma: int = 0
    inrush_ms: float = 0.0
    inrush_assumed: bool = False
    needs: frozenset[str] = frozenset()
    importance: str = "needed"
    share: bool = True
    separate: str | None = None
    place: str | None = None
    max_drop_pct: float = 3.0
    tolerance_pct: Fraction = Fraction(0)
    length_m: float | None = None
    min_v: float | None = None
    volt_exponent: float = -1.0
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Command:
    """What switches loads on.

    Parameters
    ----------
    name, condition, action : str
        Unique name; boolean expression over inputs; ``steady``, ``flash`` or ``pwm``.
    headroom_pct : Fraction or None
        Headroom wanted on its channels where it is not the vehicle's, per cent.
    together : bool
        True: all its loads are on one channel (two commands that were joined).
    on_s : float or None
        Longest time on in one go, s, above 0; None: on for good.
    cycle_s : float or None
        Shortest time from one switch-on to the next, s, at least `on_s`; None: not known.
    joins : bool
        False: never on one channel with another command.
    """

    name: str
    condition: str = ""
    action: str = "steady"
    note: str = ""
    headroom_pct: Fraction | None = None
    together: bool = False
    on_s: float | None = None
    cycle_s: float | None = None
    joins: bool = True
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Input:
    """A switch, analog sender or bus message that conditions refer to.

    `read_by` is ``module``, ``control_unit``, ``keypad`` or None: not said.
    """

    name: str
    kind: str = "switch"
    place: str | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()
    read_by: str | None = None


@dataclass(frozen=True, slots=True)
class State:
    """An operating state: the supply voltage in it and how long each command is on.

    Parameters
    ----------
    name : str
        Unique name.
    supply_v : float
        Sustained voltage at the module, V.
    duty_ppm : mapping of str to int
        Duty of each command, parts per million; every command of the vehicle is a key.
    charging_a : float or None
        Charging current available, A; None where the tables do not say.
    minutes : float or None
        How long the state lasts, min; None where the tables do not say.
    supply_top_v : float or None
        Highest voltage at the module in this state, V, at least `supply_v`; None: the same.
    other_ma : int
        Current drawn from the battery past the modules (a starter motor, or what has a fuse of its own), mA.
    """

    name: str
    supply_v: float
    duty_ppm: Mapping[str, int]
    charging_a: float | None = None
    minutes: float | None = None
    supply_top_v: float | None = None
    other_ma: int = 0

    @property
    def span_v(self) -> tuple[float, ...]:
        """Both ends of the state's span of voltage, V, lowest first; one voltage where they are the same."""
        top = self.supply_v if self.supply_top_v is None else self.supply_top_v
        return (self.supply_v,) if top == self.supply_v else (self.supply_v, top)

    def is_on(self, command: str) -> bool:
        """Whether the command is on at all in this state."""
        return self.duty_ppm.get(command, 0) > 0


@dataclass(frozen=True, slots=True)
class Place:
    """A named point of the vehicle: coordinates in m, compartment, ambient in deg C, whether a module can sit there."""

    name: str
    x_m: float | None = None
    y_m: float | None = None
    compartment: str = ""
    ambient_c: float | None = None
    mount: bool = False
    contains: frozenset[str] = frozenset()
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Route:
    """A run of harness between two places, m; None: the straight distance between them."""

    start: str
    end: str
    length_m: float | None = None


@dataclass(frozen=True, slots=True)
class Lock:
    """A load already wired to a channel of a module: it never moves.

    One row: every item of the load is on that channel. Several rows for one load: its items are on
    those channels only, at least one on each.
    """

    load: str
    module: str
    channel: str


@dataclass(frozen=True, slots=True)
class Concession:
    """A weight of the user's own for a kind of concession, on one subject or on all (``*``); None forbids it."""

    kind: str
    subject: str
    weight: int | None


@dataclass(frozen=True, slots=True)
class Vehicle:
    """All tables of one vehicle, checked, with every cross-reference resolved.

    `states` is never empty: without a table there is one state, everything on at reference_v
    (`states_given` is False then). `commands` has every command, also those only ``loads`` names.
    """

    name: str
    loads: tuple[Load, ...]
    commands: tuple[Command, ...]
    states: tuple[State, ...]
    settings: Settings = field(default_factory=Settings)
    inputs: tuple[Input, ...] = ()
    places: tuple[Place, ...] = ()
    routes: tuple[Route, ...] = ()
    locked: tuple[Lock, ...] = ()
    concessions: tuple[Concession, ...] = ()
    states_given: bool = False
    table_hashes: tuple[tuple[str, str], ...] = ()
    signals: tuple[Signal, ...] = ()
    messages: tuple[Message, ...] = ()
    grounds: tuple[Ground, ...] = ()
    wire_colours: tuple[WireColour, ...] = ()
    parts: tuple[Part, ...] = ()
    removed: tuple[MassItem, ...] = ()
    fitted: tuple[MassItem, ...] = ()

    def load(self, name: str) -> Load:
        """The load of that name; `UnknownName`, a KeyError, where there is none."""
        return named("load", self.loads, name)

    def command(self, name: str) -> Command:
        """The command of that name; `UnknownName`, a KeyError, where there is none."""
        return named("command", self.commands, name)

    def place(self, name: str) -> Place:
        """The place of that name; `UnknownName`, a KeyError, where there is none."""
        return named("place", self.places, name)

    @property
    def starts(self) -> tuple[State, ...]:
        """States in which the starter motor turns: nothing charges, and it is short or the battery sags under it."""
        return tuple(state for state in self.states if state.other_ma and self._is_start(state))

    @property
    def beside_ma(self) -> int:
        """Largest current drawn past the modules while the starter stands still, mA."""
        return max((state.other_ma for state in self.states if not self._is_start(state)), default=0)

    @property
    def items(self) -> int:
        """How many items its loads are together."""
        return sum(load.count for load in self.loads)

    def _is_start(self, state: State) -> bool:
        is_short = state.minutes is not None and state.minutes <= STARTING_MINUTES
        top = max(self.settings.system_v, *state.span_v)
        return not state.charging_a and (is_short or state.supply_v <= STARTING_SAG * top)

    def __repr__(self) -> str:
        """One line: how much of everything there is."""
        items = self.items
        more = f" ({items} items)" if items != len(self.loads) else ""
        parts = [f"{counted(len(self.loads), 'load')}{more} on {counted(len(self.commands), 'command')}"]
        parts += [counted(len(self.states), "operating state")] if self.states_given else []
        given = (("input", self.inputs), ("place", self.places), ("route", self.routes))
        parts += [counted(len(rows), noun) for noun, rows in given if rows]
        parts += [f"{len(self.locked)} locked"] if self.locked else []
        return f"<Vehicle {self.name}: {', '.join(parts)}>"

    def _repr_html_(self) -> str:
        columns = ("load", "command", "count", "kind", "running A", "inrush A", "importance", "place")
        rows = [
            (x.name, x.command, x.count, x.kind, x.running_ma / 1000, x.inrush_ma / 1000, x.importance, x.place)
            for x in self.loads
        ]
        return headline_table(repr(self).strip("<>"), columns, rows)


MARGINS = ("tolerance", "module headroom", "headroom")


def without_margins(vehicle: Vehicle, margins: frozenset[str]) -> Vehicle:
    """The vehicle with some of `MARGINS` taken as nothing: no rating is touched."""
    settings = vehicle.settings
    if "module headroom" in margins:
        settings = replace(settings, module_headroom_pct=Fraction(0))
    if "headroom" in margins:
        settings = replace(settings, headroom_pct=Fraction(0))
    if "tolerance" in margins:
        loads = tuple(replace(load, tolerance_pct=Fraction(0)) for load in vehicle.loads)
        vehicle = replace(vehicle, loads=loads)
    return replace(vehicle, settings=settings)


def joined(vehicle: Vehicle, members: tuple[str, str], name: str, harmless: bool) -> Vehicle:
    """The vehicle with two commands made one that must be whole on one channel; harmless: always on together anyway."""
    one, two = (vehicle.command(member) for member in members)
    condition = f"({one.condition}) or ({two.condition})" if one.condition and two.condition else ""
    headroom = _stricter(one, two, vehicle.settings.headroom_pct)
    command = Command(name, condition, one.action, "two commands on one channel", headroom, together=True)
    return replace(
        vehicle,
        loads=tuple(replace(x, command=name) if x.command in members else x for x in vehicle.loads),
        commands=(*(c for c in vehicle.commands if c.name not in members), command),
        states=tuple(_joined_state(state, members, name, harmless) for state in vehicle.states),
    )


def _stricter(one: Command, two: Command, wanted: Fraction) -> Fraction | None:
    both = [wanted if c.headroom_pct is None else c.headroom_pct for c in (one, two)]
    return None if max(both) == wanted else max(both)


def _joined_state(state: State, members: tuple[str, str], name: str, harmless: bool) -> State:
    """Either command switches both: unless they are always on together, their times on may add up."""
    duties = {c: d for c, d in state.duty_ppm.items() if c not in members}
    on = [state.duty_ppm.get(member, 0) for member in members]
    duties[name] = max(on) if harmless else min(PPM, sum(on))
    return replace(state, duty_ppm=duties)
