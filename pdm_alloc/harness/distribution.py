"""Power distribution: what each state takes from battery and alternator, feeds and battery cables, voltage at loads."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from pdm_alloc.domain.kinds import CHEMISTRIES, KINDS, Settings
from pdm_alloc.domain.vehicle import Load, State, Vehicle
from pdm_alloc.electrics.battery import (
    FUSE_LOADING,
    Battery,
    Leg,
    LegCharge,
    Link,
    LinkDemand,
    Source,
    as_constant_s,
    carry_charge,
    estimated_ohm,
    main_fuse_a,
    short_time_mm2,
    size_link,
)
from pdm_alloc.electrics.current import cold_copper_factor, running_at_voltage_ma, worst_excess_ma
from pdm_alloc.electrics.wire import (
    RETURNS,
    Refused,
    WireChoice,
    WireRules,
    choose_wire,
    mass_g_per_m,
    resistance_ohm_per_m,
)
from pdm_alloc.harness.paths import Lengths, lengths_of

__all__ = [
    "FEED_DROP_PCT",
    "STARTER_DROP_PCT",
    "Feeder",
    "Laid",
    "LoadVoltage",
    "MainFeed",
    "StateSupply",
    "battery_of",
    "cold_of",
    "drawn_ma",
    "feed_mass_g",
    "links",
    "load_voltages",
    "main_feed",
    "state_supply",
    "supply",
    "surges",
    "voltage_at_load",
]


def cold_of(load: Load, settings: Settings) -> tuple[Fraction, int]:
    """What copper at the lowest ambient makes of a load.

    Parameters
    ----------
    load : Load
        Its kind says which of its currents copper sets.
    settings : Settings
        With the lowest ambient.

    Returns
    -------
    factor : Fraction
        On its peak at switch-on; 1 where copper does not set it.
    running_ma : int
        Running current at the reference voltage, in the cold where it is that of a winding, mA.
    """
    copper = KINDS[load.kind].copper
    if not copper:
        return Fraction(1), load.running_ma
    cold = cold_copper_factor(settings.lowest_ambient_c)
    return cold, math.ceil(load.running_ma * cold) if copper == "running" else load.running_ma


@dataclass(frozen=True, slots=True)
class StateSupply:
    """What one operating state takes and gets.

    Parameters
    ----------
    state : str
        Its name.
    supply_v : float
        Sustained supply voltage, V.
    mean_a : float
        Sum of running currents times duty at `supply_v`, A.
    running_a : float
        Sum of running currents of everything on, without duty, at whichever end of the span of voltage it is larger, A.
    peak_a : float
        `running_a` and the largest inrush above running that one command brings, at either end, A.
    charging_a : float or None
        Charging current, A; None where the tables do not say, counted as none.
    balance_a : float
        Charging less mean current and what is drawn past the modules, A; negative: the battery gives.
    minutes : float or None
        How long the state lasts, min.
    floor_minutes : float or None
        Minutes from the start of the state until the battery is at its floor, inf where it is not drained; None:
        battery not known.
    other_a : float
        Drawn from the battery past the modules (a starter motor), A.
    start_ah, end_ah : float or None
        Charge at the start and at the end of the state, Ah; None: battery not known.
    """

    state: str
    supply_v: float
    mean_a: float
    running_a: float
    peak_a: float
    charging_a: float | None
    balance_a: float
    minutes: float | None
    floor_minutes: float | None
    other_a: float = 0.0
    start_ah: float | None = None
    end_ah: float | None = None

    @property
    def used_ah(self) -> float | None:
        """What is drawn less what is charged while the state lasts, Ah, neither Peukert nor losses counted."""
        return None if self.minutes is None else -self.balance_a * self.minutes / 60

    @property
    def carried(self) -> bool | None:
        """Whether charging, or the battery for as long as the state lasts, carries it; None: cannot be said."""
        if self.balance_a >= 0:
            return True
        if self.floor_minutes is None or self.minutes is None:
            return None
        return self.floor_minutes >= self.minutes


def battery_of(settings: Settings) -> Battery | None:
    """The battery as the settings describe it; None: its capacity is not known."""
    if settings.battery_ah is None:
        return None
    exponent = CHEMISTRIES[settings.battery_chemistry] if settings.peukert is None else settings.peukert
    return Battery(settings.battery_ah, settings.battery_floor_pct, settings.battery_rate_h, exponent)


def supply(vehicle: Vehicle, counts: Mapping[str, int] | None = None) -> tuple[StateSupply, ...]:
    """What every operating state takes and gets, one after the other: each starts with the charge the last has left.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    counts : mapping of str to int, optional
        Items by load to be counted (those of one unit, say); all of them by default.

    Returns
    -------
    tuple of StateSupply
        In the order of the vehicle's states; the battery is full before the first.
    """
    alone = [_taken(vehicle, state, counts) for state in vehicle.states]
    return _carried(battery_of(vehicle.settings), alone)


def state_supply(vehicle: Vehicle, state: State, counts: Mapping[str, int] | None = None) -> StateSupply:
    """What one operating state takes and gets, from a full battery.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    state : State
        One of its states.
    counts : mapping of str to int, optional
        Items by load to be counted; all of them by default.

    Returns
    -------
    StateSupply
    """
    return _carried(battery_of(vehicle.settings), [_taken(vehicle, state, counts)])[0]


def _carried(battery: Battery | None, states: list[StateSupply]) -> tuple[StateSupply, ...]:
    if battery is None:
        return tuple(states)
    legs = [Leg(one.state, one.mean_a + one.other_a, one.charging_a or 0.0, one.minutes) for one in states]
    return tuple(map(_charged, states, carry_charge(battery, legs)))


def _charged(one: StateSupply, leg: LegCharge) -> StateSupply:
    return replace(one, floor_minutes=leg.floor_minutes, start_ah=leg.start_ah, end_ah=leg.end_ah)


def _taken(vehicle: Vehicle, state: State, counts: Mapping[str, int] | None) -> StateSupply:
    """Currents of one state, the battery not looked at."""
    reference = vehicle.settings.reference_v
    on = [(load, _count(load, counts)) for load in vehicle.loads if state.is_on(load.command)]
    mean = sum(_running_ma(x, state.supply_v, reference) * n * state.duty_ppm[x.command] for x, n in on) / 1e9
    running = {volts: sum(_cold_ma(x, volts, vehicle.settings) * n for x, n in on) for volts in state.span_v}
    peak = max(ma + _largest_excess_ma(on, volts, vehicle.settings) for volts, ma in running.items())
    other = state.other_ma / 1000
    balance = (state.charging_a or 0.0) - mean - other
    currents = (mean, max(running.values()) / 1000, peak / 1000, state.charging_a, balance)
    return StateSupply(state.name, state.supply_v, *currents, state.minutes, None, other)


def _count(load: Load, counts: Mapping[str, int] | None) -> int:
    return load.count if counts is None else counts.get(load.name, 0)


def _running_ma(load: Load, volts: float, reference: float) -> int:
    return running_at_voltage_ma(load.running_ma, load.volt_exponent, volts, reference)


def _cold_ma(load: Load, volts: float, settings: Settings) -> int:
    return running_at_voltage_ma(cold_of(load, settings)[1], load.volt_exponent, volts, settings.reference_v)


def _largest_excess_ma(on: Iterable[tuple[Load, int]], volts: float, settings: Settings) -> int:
    """Largest inrush of one command: it switches all its loads together, whatever channels they are on."""
    excess: dict[str, int] = {}
    for load, count in on:
        cold, running = cold_of(load, settings)
        one = worst_excess_ma(load.inrush_ma, running, (volts, settings.reference_v), cold=cold)
        excess[load.command] = excess.get(load.command, 0) + one * count
    return max(excess.values(), default=0)


def surges(vehicle: Vehicle) -> tuple[tuple[int, float], ...]:
    """Inrush of every command: the most it brings above running in any state, mA, and for how long, s."""
    found: dict[str, tuple[int, float]] = {}
    for load in vehicle.loads:
        ma, seconds = found.get(load.command, (0, 0.0))
        excess = max((_excess_ma(load, state, vehicle) for state in vehicle.states), default=0)
        if excess:
            found[load.command] = (ma + excess * load.count, max(seconds, as_constant_s(load.inrush_ms / 3)))
    return tuple(found.values())


def _excess_ma(load: Load, state: State, vehicle: Vehicle) -> int:
    if not state.is_on(load.command):
        return 0
    cold, running = cold_of(load, vehicle.settings)
    return worst_excess_ma(load.inrush_ma, running, (max(state.span_v), vehicle.settings.reference_v), cold=cold)


_STEPS = 60


@dataclass(frozen=True, slots=True)
class LoadVoltage:
    """Voltage of one load in one operating state.

    Parameters
    ----------
    state, load, importance : str
        Names; importance of the load.
    supply_v, module_v, load_v : float
        At the battery; at the module; at the load, V.
    judged : bool
        Whether the resistance of the load's wire was known; if not, load_v is module_v.
    min_v : float or None
        Lowest voltage at which the load still works, V.
    """

    state: str
    load: str
    importance: str
    supply_v: float
    module_v: float
    load_v: float
    judged: bool
    min_v: float | None

    @property
    def enough(self) -> bool | None:
        """Whether the load still works; None: its lowest voltage is not known."""
        return None if self.min_v is None else self.load_v >= self.min_v


def drawn_ma(vehicle: Vehicle, state: State, counts: Mapping[str, int]) -> int:
    """What so many items of each load draw at once at a state's sustained voltage, copper cold, mA."""
    on = ((load, counts.get(load.name, 0)) for load in vehicle.loads if state.is_on(load.command))
    return sum(_cold_ma(load, state.supply_v, vehicle.settings) * count for load, count in on if count)


def load_voltages(
    vehicle: Vehicle, ohms: Mapping[str, float | None], feed_v: Mapping[tuple[str, str], float] = MappingProxyType({})
) -> tuple[LoadVoltage, ...]:
    """Voltage at every load in every operating state it is on in, cranking like any other.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    ohms : mapping of str to (float or None)
        Resistance of each load's run, way back included, ohm; of a shared run the share that counts
        for it. Loads that are missing or None are not judged.
    feed_v : mapping of (str, str) to float
        What is lost between battery and module, by state and load, V; missing: nothing.

    Returns
    -------
    tuple of LoadVoltage
        In the order of states, then loads.
    """
    return tuple(
        _row(vehicle, state, load, max(0.0, state.supply_v - feed_v.get((state.name, load.name), 0.0)), ohms)
        for state in vehicle.states
        for load in vehicle.loads
        if state.is_on(load.command)
    )


def voltage_at_load(module_v: float, ohm: float, running_a: float, exponent: float, reference_v: float) -> float:
    """Voltage at a load behind a resistance: V + ohm * I_ref * (V / V_ref)**k = module_v.

    Parameters
    ----------
    module_v : float
        Voltage at the module, V.
    ohm : float
        Resistance of the run, way back included, ohm.
    running_a : float
        Running current at `reference_v`, A.
    exponent : float
        k, no unit.
    reference_v : float
        V.

    Returns
    -------
    float
        The higher solution, V; 0 where there is none (a load of constant power the wire cannot feed).
    """
    volts = module_v
    for _ in range(_STEPS):
        if volts <= 0:
            return 0.0
        drop: float = ohm * running_a * (volts / reference_v) ** exponent
        slope = 1 + exponent * drop / volts
        if slope <= 0:
            return 0.0
        change = (volts + drop - module_v) / slope
        volts = max(volts - change, volts / 10)  # a fractional power bends so that a full step may pass zero
        if abs(change) <= 1e-12 * module_v:
            return volts
    return 0.0


def _row(vehicle: Vehicle, state: State, load: Load, module_v: float, ohms: Mapping[str, float | None]) -> LoadVoltage:
    reference, ohm, load_v = vehicle.settings.reference_v, ohms.get(load.name), module_v
    if ohm is not None:
        load_v = voltage_at_load(module_v, ohm, load.running_ma / 1000, load.volt_exponent, reference)
    return LoadVoltage(
        state.name, load.name, load.importance, state.supply_v, module_v, load_v, ohm is not None, load.min_v
    )


# Drop allowed in a main feed, per cent: ABYC E-11, panel and switchboard main feeders.
FEED_DROP_PCT = 3.0

# Drop allowed from battery to starter while it turns, per cent: 0.5 V of 12 V; common practice, no source.
STARTER_DROP_PCT = 4.0


@dataclass(frozen=True, slots=True)
class MainFeed:
    """Fuse and wire between battery and module.

    Parameters
    ----------
    state : str
        The operating state that asks most of it.
    running_a, peak_a : float
        Running and largest current in it, A.
    fuse_a : float or None
        Main fuse, A; None: no standard fuse is large enough.
    wire : WireChoice or Refused
        Its wire; or why there is none, as of `choose_wire`, or ``fuse`` where there is no fuse.
    ohm : float or None
        Resistance of the feed at its hottest, way back included, ohm; None: no length or no wire.
    """

    state: str
    running_a: float
    peak_a: float
    fuse_a: float | None
    wire: WireChoice | Refused
    ohm: float | None


def main_feed(
    states: Sequence[StateSupply], peak_s: float, length_m: float | None, rules: WireRules, conductors: int = 1
) -> MainFeed:
    """Fuse and wire for the worst of the operating states.

    The worst has the largest running current, all duties taken as 1. The fuse protects the wire, so
    the wire's ampacity is at least its rating (a fuse opens within 10 min at 1.35 times its rating,
    below the 1.45 times ampacity of IEC 60364-4-43 section 433.1).

    Parameters
    ----------
    states : sequence of StateSupply, at least one
        The operating states.
    peak_s : float
        How long the largest inrush lasts, s.
    length_m : float or None
        Battery to module, m; None: the drop is not judged.
    rules : WireRules
        Sizes, insulation, ambient, bundle, return and voltage of the feed.
    conductors : int
        Most conductors side by side.

    Returns
    -------
    MainFeed

    Raises
    ------
    ValueError
        There is no state, or the rules are outside the tables of wire.
    """
    worst = max(states, key=lambda one: (one.running_a, one.peak_a))
    peak = max(one.peak_a for one in states)
    fuse = main_fuse_a(worst.running_a, peak, peak_s)
    if fuse is None:
        return MainFeed(worst.state, worst.running_a, peak, None, Refused("fuse"), None)
    runs = [(worst.running_a, length_m, FEED_DROP_PCT)]
    wire = choose_wire(fuse, worst.running_a, runs, rules, pins=conductors)
    return MainFeed(worst.state, worst.running_a, peak, fuse, wire, _ohm(wire, length_m, rules))


def _ohm(wire: WireChoice | Refused, length_m: float | None, rules: WireRules) -> float | None:
    if length_m is None or isinstance(wire, Refused):
        return None
    hot = resistance_ohm_per_m(wire.size, rules.insulation_c)
    return hot * length_m * RETURNS[rules.return_path] / wire.parallel


@dataclass(eq=False)
class Feeder:
    """Sizes feeds in one vehicle.

    The inrush of any command of the vehicle may come on any module: a load that is moved later must
    not ask for a new feed. Feeds are laid apart from the bundles of the harness.

    Parameters
    ----------
    vehicle : Vehicle
        Its states, places, routes and settings.
    switched : sequence of (int, float)
        What one change of one input brings above running on several commands together, mA, and for how long, s.
    """

    vehicle: Vehicle
    switched: Sequence[tuple[int, float]] = ()

    def __post_init__(self) -> None:
        self.lengths: Lengths = lengths_of(self.vehicle)
        settings = self.vehicle.settings
        self.rules = WireRules(
            settings.wire_sizes,
            settings.insulation_c,
            settings.wire_ambient_c,
            1,
            settings.return_path,
            settings.system_v,
            pack=settings.rules,
        )
        self.surges = (*surges(self.vehicle), *self.switched)

    @property
    def hub(self) -> str | None:
        """Where feeds, starter and alternator cables begin: the isolator where its place is known, or the battery."""
        return self.vehicle.settings.isolator_place or self.vehicle.settings.battery_place

    def length_m(self, place: str | None) -> float | None:
        """From the isolator (or the battery) along the shortest route, allowances in, m; None: not known."""
        return self.lengths.wire_m(self.hub, place)

    def feed(self, running_ma: int, place: str | None, state: str = "") -> MainFeed:
        """Fuse and cable for a running current.

        Parameters
        ----------
        running_ma : int
            In the state in which the module's loads draw most, all duties taken as 1, mA.
        place : str or None
            Where the module sits.
        state : str
            That state, for the record.

        Returns
        -------
        MainFeed
        """
        running, (excess, seconds) = running_ma / 1000, self.worst_surge(running_ma)
        one = StateSupply(state, 0.0, running, running, running + excess / 1000, None, 0.0, None, None)
        return main_feed([one], seconds, self.length_m(place), self.rules_to(place))

    def worst_surge(self, running_ma: int) -> tuple[int, float]:
        """The largest inrush, for as long as the one lasts that asks for the largest fuse: it may be a smaller one."""

        def fuse(surge: tuple[int, float]) -> tuple[float, int, float]:
            rating = main_fuse_a(running_ma / 1000, (running_ma + surge[0]) / 1000, surge[1])
            return (math.inf if rating is None else rating, *surge)

        _, seconds = max(self.surges, key=fuse, default=(0, 0.0))
        return max((excess for excess, _ in self.surges), default=0), seconds

    def rules_to(self, place: str | None, start: str | None = None) -> WireRules:
        """What a cable from the isolator (or from `start`) to a place is chosen by: the hottest place on its way."""
        return replace(self.rules, ambient_c=self.lengths.hottest_c(start or self.hub, [place]))

    def mass_g(self, running_ma: int, place: str | None) -> float | None:
        """Mass of the feed's cable, the way back where it is a wire included, g; None: no length or no cable."""
        return feed_mass_g(self.feed(running_ma, place).wire, self.length_m(place), self.rules)


def feed_mass_g(wire: WireChoice | Refused, length_m: float | None, rules: WireRules) -> float | None:
    """Mass of a cable, the way back where it is a wire included, g; None: no length or no cable."""
    if length_m is None or isinstance(wire, Refused):
        return None
    one = mass_g_per_m(wire.size.area_mm2, rules.insulation_c)
    return one * length_m * wire.parallel * RETURNS[rules.return_path]


@dataclass(frozen=True, slots=True)
class Laid:
    """One cable past the modules, where it lies and what it is made for.

    Parameters
    ----------
    demand : LinkDemand
        Its name, currents and length.
    module : str
        Label of the module it feeds; empty for the others.
    start, end : str or None
        Places; None: not known.
    link : Link or None
        Fuse and cable; None: its current is not known.
    mass_g : float or None
        g; None: no length or no cable.
    """

    demand: LinkDemand
    module: str
    start: str | None
    end: str | None
    link: Link | None
    mass_g: float | None


def links(
    vehicle: Vehicle, feeds: Sequence[tuple[str, str | None, int]], switched: Sequence[tuple[int, float]] = ()
) -> tuple[Laid, ...]:
    """Every cable between battery, isolator, modules, starter and alternator.

    Parameters
    ----------
    vehicle : Vehicle
        Its places are in the settings; starter current and charging current in its states.
    feeds : sequence of (str, str or None, int)
        Label, place and current of each module's feed, mA.
    switched : sequence of (int, float)
        As in `Feeder`.

    Returns
    -------
    tuple of Laid
        Battery to isolator where the isolator has a place; a feed per module; starter and alternator where a place or
        a current is known. A cable that carries the starter has no fuse; all others begin at theirs.
    """
    feeder = Feeder(vehicle, switched)
    trunk = _isolator(feeder, [ma for _, _, ma in feeds]) if vehicle.settings.isolator_place else ()
    source = _behind(_battery_source(vehicle), trunk)
    made = [_feed(feeder, source, *feed) for feed in feeds]
    return (*trunk, *made, *_starter(feeder, source, trunk), *_alternator(feeder, source))


def _battery_source(vehicle: Vehicle) -> Source | None:
    settings = vehicle.settings
    if settings.battery_mohm is not None:
        ohm = settings.battery_mohm / 1000
    elif settings.battery_ah is not None:
        ohm = estimated_ohm(settings.battery_ah, settings.system_v)
    else:
        return None
    return Source(max(max(state.span_v) for state in vehicle.states), ohm, settings.lowest_ambient_c)


def _behind(source: Source | None, trunk: Sequence[Laid]) -> Source | None:
    """The source as it is past the isolator's cable."""
    ohm = sum(one.link.cold_ohm or 0.0 for one in trunk if one.link is not None)
    return None if source is None else replace(source, ohm=source.ohm + ohm)


def _laid(
    feeder: Feeder,
    source: Source | None,
    demand: LinkDemand,
    end: str | None,
    module: str = "",
    start: str | None = None,
) -> Laid:
    link = size_link(demand, feeder.rules_to(end, start), source) if demand.running_a > 0 else None
    mass = None if link is None else feed_mass_g(link.wire, demand.length_m, feeder.rules)
    return Laid(demand, module, start or feeder.hub, end, link, mass)


def _feed(feeder: Feeder, source: Source | None, label: str, place: str | None, carried_ma: int) -> Laid:
    excess, seconds = feeder.worst_surge(carried_ma)
    amps = (carried_ma / 1000, (carried_ma + excess) / 1000, seconds)
    return _laid(feeder, source, LinkDemand("feed", *amps, feeder.length_m(place), FEED_DROP_PCT), place, label)


def _isolator(feeder: Feeder, feeds_ma: Sequence[int]) -> tuple[Laid, ...]:
    """Battery to isolator: it bears all feeds, or all charging, for good, and the starter for its time."""
    settings, fed = feeder.vehicle.settings, sum(feeds_ma)
    start, end = settings.battery_place, settings.isolator_place
    length, turned = feeder.lengths.wire_m(start, end), _starting(feeder.vehicle)
    beside_a = feeder.vehicle.beside_ma / 1000
    running, (excess, seconds) = max(fed / 1000 + beside_a, _charging_a(feeder.vehicle)), feeder.worst_surge(fed)
    if turned is not None:  # without a fuse of its own the fuses behind it protect it, all of them together
        fuses = [feeder.feed(ma, None).fuse_a or 0.0 for ma in feeds_ma]
        running = max(running, FUSE_LOADING * sum(fuses) + beside_a)
    demands = [LinkDemand("isolator", running, running + excess / 1000, seconds, length, fused=turned is None)]
    demands += [] if turned is None else [_short("isolator", *turned, length, _trunk_drop_pct(feeder, length))]
    source = _battery_source(feeder.vehicle)
    made = (_laid(feeder, source, demand, end, start=start) for demand in demands)
    return (max(made, key=lambda one: math.inf if one.link is None else one.link.area_mm2),)


def _trunk_drop_pct(feeder: Feeder, length_m: float | None) -> float:
    """What the cable to the isolator may lose of what is allowed up to the starter: as much as its length's share."""
    onward_m = feeder.length_m(feeder.vehicle.settings.starter_place)
    if not length_m or not onward_m:
        return STARTER_DROP_PCT
    return STARTER_DROP_PCT * length_m / (length_m + onward_m)


def _starter(feeder: Feeder, source: Source | None, trunk: Sequence[Laid]) -> tuple[Laid, ...]:
    """Isolator to starter: what the cable to the isolator leaves of the drop, loads that are on while it turns in."""
    place, turned = feeder.vehicle.settings.starter_place, _starting(feeder.vehicle)
    if place is None and turned is None:
        return ()
    left_pct = max(0.0, STARTER_DROP_PCT - _trunk_loses_pct(feeder.vehicle, trunk))
    demand = _short("starter", *(turned or (0.0, None)), feeder.length_m(place), round(left_pct, 3))
    return (_laid(feeder, source, demand, place),)


def _trunk_loses_pct(vehicle: Vehicle, trunk: Sequence[Laid]) -> float:
    counts = {load.name: load.count for load in vehicle.loads}
    turned = [s.other_ma + drawn_ma(vehicle, s, counts) for s in vehicle.starts]
    ohm = sum(one.link.hot_ohm or 0.0 for one in trunk if one.link is not None)
    return max(turned, default=0) / 1000 * ohm * 100 / vehicle.settings.system_v


def _short(name: str, current_a: float, seconds: float | None, length_m: float | None, drop_pct: float) -> LinkDemand:
    return LinkDemand(name, current_a, current_a, 0.0, length_m, drop_pct, fused=False, seconds=seconds)


def _starting(vehicle: Vehicle) -> tuple[float, float | None] | None:
    """Current of the starter and for how long, s, of the state that asks for the thickest cable; None: none."""
    turns = [(s.other_ma / 1000, None if s.minutes is None else 60 * s.minutes) for s in vehicle.starts]
    return max(
        turns, key=lambda turn: (turn[1] is None, short_time_mm2(turn[0], turn[1] or 0.0, 20, 200)), default=None
    )


def _alternator(feeder: Feeder, source: Source | None) -> tuple[Laid, ...]:
    place, amps = feeder.vehicle.settings.alternator_place, _charging_a(feeder.vehicle)
    if place is None and not amps:
        return ()
    return (_laid(feeder, source, LinkDemand("alternator", amps, amps, 0.0, feeder.length_m(place)), place),)


def _charging_a(vehicle: Vehicle) -> float:
    return max((state.charging_a or 0.0 for state in vehicle.states), default=0.0)
