"""What channels bear: whether units are enough, whether each item has a channel, and `why`, step by step for a load."""

from bisect import bisect_left
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice
from math import ceil, isclose
from typing import Any

import pandas as pd

from pdm_alloc.allocator import Modules
from pdm_alloc.circuits.classes import Rating, channel_classes, rating_of, unit_ambient_c
from pdm_alloc.circuits.columns import CircuitBook, TooManyCircuits
from pdm_alloc.circuits.draws import CircuitDraw, rating_for
from pdm_alloc.circuits.items import ItemType, check_voltages, item_types, load_type
from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Channel, Unit, natural_key, units_of
from pdm_alloc.domain.showing import handed_out, headline_table
from pdm_alloc.domain.vehicle import Lock, Vehicle
from pdm_alloc.electrics.current import derating_factor
from pdm_alloc.electrics.protection import Protected, trip_setting_ma
from pdm_alloc.electrics.wire import Refused, WireSize, fits_terminal, wire_sizes
from pdm_alloc.program.allocation_solve import is_enough
from pdm_alloc.program.solver import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST, Clock
from pdm_alloc.result.allocation import Allocation, amps, arithmetic_shorts, plural
from pdm_alloc.result.care_rules import listed
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.check import objections

__all__ = [
    "Unproved",
    "Why",
    "extras",
    "is_enough_for",
    "limit_for",
    "locks_in_the_way",
    "locks_on",
    "objection",
    "size_words",
    "slots_of",
    "thick_wires",
    "unborne",
    "why",
    "why_unborne",
    "with_rating",
    "without_locks",
]


class Unproved(Exception):
    """The clock ran out before an answer was proved."""


def is_enough_for(vehicle: Vehicle, units: Sequence[Unit], clock: Clock, book: CircuitBook) -> bool:
    """Whether units are enough for a vehicle.

    Raises
    ------
    Unproved
        Neither was proved in time.
    """
    if arithmetic_shorts(vehicle, units) or any(unborne(vehicle, units, book)):
        return False
    if clock.is_over():
        raise Unproved
    try:
        outcome = is_enough(vehicle, units, clock, book).outcome
    except TooManyCircuits as why:
        raise Unproved from why
    if outcome in (PROVEN_BEST, BEST_SO_FAR):
        return True
    if outcome == NOT_ENOUGH:
        return False
    raise Unproved


def unborne(vehicle: Vehicle, units: Sequence[Unit], book: CircuitBook) -> Iterator[ItemType]:
    """Items that may be alone and that no channel of the units bears even so."""
    classes, _ = channel_classes(vehicle, units)
    ratings, wiring = tuple(dict.fromkeys(c.rating for c in classes)), book.wiring(vehicle)
    types = (t for own in item_types(vehicle).values() for t in own if not t.together)
    return (t for t in types if not any(book.bears((t,), rating, wiring) for rating in ratings))


def with_rating(channel: Channel, continuous_ma: int, peak_ma: int, max_wire_mm2: float | None) -> Channel:
    """A channel of other ratings, with as many pins more as its contacts need to bear the rating."""
    needed = -(-continuous_ma // channel.contact_ma) if channel.contact_ma else 1
    pins = (*channel.pins, *("",) * (needed - len(channel.pins)))
    return replace(channel, continuous_ma=continuous_ma, peak_ma=peak_ma, max_wire_mm2=max_wire_mm2, pins=pins)


_STRONGER = 4  # times the draw of a load, and that times its peak: what a channel tried for the cause bears
_STEP_MA = 100
_MOST_LOCKS = 12  # tried one by one


def why_unborne(vehicle: Vehicle, unit: Unit, t: ItemType, channel: Channel, book: CircuitBook) -> str:
    """Why an item has no wire even on a channel much stronger than any there is, and what would cure it if tried.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    unit : Unit
        Where the channel would be.
    t : ItemType
        The item.
    channel : Channel
        As of the unit; its ratings are raised far above what the item draws.
    book : CircuitBook
        Asked for the physics.

    Returns
    -------
    str
        The limit that is not kept with its numbers, and a remedy only where the item was borne with it.
    """
    drawn_ma, own = t.running_ma + t.deviation_ma, _much_stronger(vehicle, unit, t, channel)
    strong_ma, rating, wiring = _STRONGER * drawn_ma, rating_for(own, t.headroom_pct), book.wiring(vehicle)
    rules = wiring.rules_of([(t, 1)], rating)
    if rules.ambient_c >= rules.insulation_c:
        cause = f"its wire passes {rules.ambient_c:g} °C, and its insulation is rated to {rules.insulation_c:g} °C"
        return cause + _would_do(_wire_cures(vehicle, t, [own], book))
    made = wiring.protect([(t, 1)], rating, drawn_ma)
    if not isinstance(made, Refused):
        peak_a, lasting = (drawn_ma + t.excess_ma) / 1000, f"{3 * t.tau_ms:.3g} ms"
        return f"its inrush of {peak_a:.3g} A for {lasting} passes what a channel of {strong_ma / 1000:.3g} A bears"
    if made.reason == "drop":
        ((_, length_m, upper_pct),) = wiring.runs([(t, 1)], rating.place)
        return f"no wire size keeps the drop within {upper_pct:g} % over {length_m or 0:.3g} m"
    amps = f"{drawn_ma / 1000:.3g} A, at {rules.ambient_c:g} °C, on a channel of {strong_ma / 1000:.3g} A"
    cures = _wire_cures(vehicle, t, [own], book) if made.reason == "ampacity" else ()
    return f"{_REASONS[made.reason]} for {amps}" + _would_do(cures)


def _would_do(cures: Iterable[str]) -> str:
    said = list(cures)
    return f"; what would do: {', or '.join(said)}" if said else ""


_REASONS = {
    "rating": "the derated rating leaves no trip setting",
    "contact": "the contacts leave no trip setting",
    "ampacity": "no wire size carries the trip setting",
    "terminal": "the terminal takes no wire that carries the trip setting",
    "stall": "no wire size bears its stalled current until the channel trips",
}


def _much_stronger(vehicle: Vehicle, unit: Unit, t: ItemType, channel: Channel) -> Rating:
    """A channel like one of the unit, far stronger than an item asks for, whose terminal takes any wire."""
    strong_ma = _STRONGER * (t.running_ma + t.deviation_ma)
    strong = with_rating(channel, strong_ma, _STRONGER * (strong_ma + t.excess_ma), None)
    return rating_of(vehicle, unit, [strong] * (2 if t.reversing else 1), "bridge" if t.reversing else "single")


@dataclass(frozen=True, slots=True)
class WireAsked:
    """The wire that an item asks for when it is alone on a channel.

    Parameters
    ----------
    size : WireSize
        The smallest that will do.
    cause : str
        What sets it, in words.
    is_too_thick : bool
        Whether no terminal of the unit takes it.
    """

    size: WireSize
    cause: str
    is_too_thick: bool


def wire_asked(vehicle: Vehicle, unit: Unit, t: ItemType, book: CircuitBook) -> WireAsked | None:
    """The wire that one item asks of a unit's channels, and whether ampacity, drop or a stalled motor sets its size.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    unit : Unit
        Whose trip steps, terminals and place count.
    t : ItemType
        The item.
    book : CircuitBook
        Asked for the physics.

    Returns
    -------
    WireAsked or None
        None: no wire will do.
    """
    own = _much_stronger(vehicle, unit, t, unit.module.channels[0])
    rating, wiring = rating_for(own, t.headroom_pct), book.wiring(vehicle)
    drawn_ma = CircuitDraw([(t, 1)], vehicle.settings.tolerance_loads).draw_ma

    def made_for(item: ItemType) -> Protected | Refused:
        return wiring.protect([(item, 1)], rating, drawn_ma)

    made, rules = made_for(t), wiring.rules_of([(t, 1)], rating)
    if isinstance(made, Refused):
        return None
    ((_, length_m, upper_pct),) = wiring.runs([(t, 1)], rating.place)
    easier = (
        (replace(t, max_drop_pct=_ANY_PCT), f"at most {upper_pct:g} % drop over {length_m or 0:.3g} m"),
        (replace(t, stalls=False), "it must outlast a stalled motor until the channel trips"),
    )
    trips = f"{made.trip_ma / 1000:g} A at {rules.ambient_c:g} °C among {plural(rules.bundle_wires, 'loaded wire')}"
    wires = [c.max_wire_mm2 for c in unit.module.channels if c.max_wire_mm2 is not None]
    area = made.wire.size.area_mm2
    cause = next((words for item, words in easier if _is_thinner(made_for(item), area)), trips)
    is_limited = len(wires) == len(unit.module.channels)
    return WireAsked(made.wire.size, cause, is_limited and not fits_terminal(area, max(wires)))


def _is_thinner(made: Protected | Refused, area_mm2: float) -> bool:
    return not isinstance(made, Refused) and made.wire.size.area_mm2 < area_mm2


_ANY_PCT = 100.0


def thick_wires(vehicle: Vehicle, unit: Unit, loads: Iterable[str], book: CircuitBook) -> Iterator[str]:
    """Loads that no channel of a unit bears since no terminal takes their wire: what sets its size, what would do.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    unit : Unit
        What is fitted.
    loads : iterable of str
        Looked at.
    book : CircuitBook
        Asked for the physics.

    Yields
    ------
    str
        A sentence a load; each cure in it was tried with the channels there are.
    """
    ratings = tuple(dict.fromkeys(c.rating for c in channel_classes(vehicle, [unit])[0]))
    for name in loads:
        t = load_type(vehicle, vehicle.load(name))
        asked = wire_asked(vehicle, unit, t, book)
        if asked is not None and asked.is_too_thick:
            yield f"{name} asks for {_size(asked)}" + _would_do(_wire_cures(vehicle, t, ratings, book))


def _size(asked: WireAsked) -> str:
    return f"{asked.size.name.replace(' mm2', ' mm²')}: {asked.cause}"


def limit_for(vehicle: Vehicle, unit: Unit, is_peak: bool, usable_ma: int) -> int:
    """Least limit of a bank or a whole module, in steps of 0.1 A, that bears so much, mA; peaks count as they stand."""
    if not is_peak:
        factor = derating_factor(unit.module.derating, unit_ambient_c(vehicle, unit))
        usable_ma = ceil(Fraction(usable_ma) / (factor * (1 - vehicle.settings.module_headroom_pct / 100)))
    return -(-usable_ma // _STEP_MA) * _STEP_MA


def extras(vehicle: Vehicle, channel: Channel, unit: Unit) -> Iterator[str]:
    """What a new channel must bear that its rating does not say, nor those of the unit that are rated alike."""
    there = unit.module.channels
    alike = [c for c in there if c.continuous_ma == channel.continuous_ma]
    ratio = max(c.peak_ma / c.continuous_ma for c in there)
    weak = [c for c in there if c.continuous_ma >= channel.continuous_ma]
    usual = bool(alike) and all(c.peak_ma >= channel.peak_ma and c.peak_ms >= channel.peak_ms for c in alike)
    if not usual and (weak or channel.peak_ma > ceil(channel.continuous_ma * ratio)):
        yield f"a peak of {channel.peak_ma / 1000:g} A for {channel.peak_ms:g} ms"
    wires = [c.max_wire_mm2 for c in there if c.max_wire_mm2 is not None]
    usual_mm2 = min((c.max_wire_mm2 for c in alike if c.max_wire_mm2 is not None), default=max(wires, default=0.0))
    if channel.max_wire_mm2 is not None and channel.max_wire_mm2 > usual_mm2:
        yield f"a terminal for {size_words(vehicle, channel.max_wire_mm2)}"
    if channel.contact_ma is not None and len(channel.pins) > max(len(c.pins) for c in there):
        yield f"{len(channel.pins)} pins of {channel.contact_ma / 1000:g} A"


def size_words(vehicle: Vehicle, area_mm2: float) -> str:
    """A conductor size as the vehicle's wires are called: ``6 mm²``, ``8 AWG``."""
    sizes = wire_sizes(vehicle.settings.wire_sizes)
    name = next((s.name for s in sizes if s.awg is not None and isclose(s.area_mm2, area_mm2)), "")
    return name or f"{area_mm2:g} mm²"


def locks_on(vehicle: Vehicle, unit: Unit) -> tuple[Lock, ...]:
    """Locks that count for a unit: those of its label, and those of its module."""
    return tuple(lock for lock in vehicle.locked if lock.module in (unit.label, unit.module.name))


def slots_of(vehicle: Vehicle, unit: Unit) -> dict[str, tuple[str, tuple[str, ...]]]:
    """Channels and twos of channels a circuit can be on, with their use, as the table ``locked`` writes them."""
    slots = {"+".join(slot): (c.use, slot) for c in channel_classes(vehicle, [unit])[0] for slot in c.slots}
    return dict(sorted(slots.items(), key=lambda pair: (len(pair[1][1]), natural_key(pair[0]))))


def objection(vehicle: Vehicle, unit: Unit, lock: Lock) -> str:
    """What speaks against a load on its channel even if it were alone there; empty: nothing."""
    use, names = slots_of(vehicle, unit).get(lock.channel, ("", ()))
    if not use:
        return f"{unit.label} has no such channel"
    load = vehicle.load(lock.load)
    several = sum(other.load == lock.load and other.module == lock.module for other in vehicle.locked) > 1
    items = tuple((load.name, n + 1) for n in range(1 if several or not load.share else load.count))
    for finding in objections(vehicle, [unit], PlacedCircuit(unit.label, names, use, load.command, items)):
        if finding.rule == "continuous":
            return f"the channel takes {finding.limit:g} A with the headroom wanted, the load draws {finding.value:g} A"
        return finding.message
    return ""


def locks_in_the_way(
    vehicle: Vehicle, units: Sequence[Unit], suffices: Callable[[Vehicle], bool]
) -> list[tuple[Lock, int, str]]:
    """Locks without which some growth of the units is enough, where none is with them.

    Parameters
    ----------
    vehicle : Vehicle
        With locks.
    units : sequence of Unit
        What is fitted, and no growth is enough.
    suffices : callable
        Asked of the vehicle without some of its locks: True if some growth is enough.

    Returns
    -------
    list of (Lock, int, str)
        No member idle: the number of its unit, and what speaks against it by itself, empty where nothing does.
        Empty where the locks are not the cause.
    """
    number = {lock: n for n in reversed(range(len(units))) for lock in locks_on(vehicle, units[n])}
    why = {lock: objection(vehicle, units[n], lock) for lock, n in number.items()}
    gone = [lock for lock in vehicle.locked if why.get(lock)]
    if not gone or not suffices(without_locks(vehicle, gone)):
        others = [lock for lock in vehicle.locked if lock in number and lock not in gone]
        if not suffices(without_locks(vehicle, [*gone, *others])):
            return []
        for lock in others[:_MOST_LOCKS]:
            fewer = [other for other in others if other != lock]
            others = fewer if suffices(without_locks(vehicle, [*gone, *fewer])) else others
        gone += others
    return [(lock, number[lock], why[lock]) for lock in gone]


def without_locks(vehicle: Vehicle, locks: Collection[Lock]) -> Vehicle:
    """The vehicle without some of its locks."""
    return replace(vehicle, locked=tuple(lock for lock in vehicle.locked if lock not in locks))


@dataclass(frozen=True, repr=False)
class Why:
    """What a load asks of a channel, step by step.

    Parameters
    ----------
    load : str
        Its name.
    steps : tuple of (str, str)
        What is reckoned with, and what comes of it, in order.
    """

    load: str
    steps: tuple[tuple[str, str], ...]

    @handed_out
    def table(self) -> pd.DataFrame:
        """One row per step: step, value."""
        return pd.DataFrame(self.steps, columns=["step", "value"])

    def __repr__(self) -> str:
        """A line per step."""
        return "\n".join([f"{self.load}:", *(f"  {step}: {value}" for step, value in self.steps)])

    def _repr_html_(self) -> str:
        return headline_table(self.load, ["step", "value"], self.steps)


def why(subject: Allocation | Vehicle, load: str, modules: Modules | None = None) -> Why:
    """The chain from a load's row in the table to the channels that bear it.

    Parameters
    ----------
    subject : Allocation or Vehicle
        What is wired; with an allocation the chain ends at the load's channel.
    load : str
        Its name.
    modules : Module, Unit, or sequence of these, optional
        What is fitted, for a vehicle.

    Returns
    -------
    Why

    Raises
    ------
    UnknownName
        There is no such load (a KeyError).
    """
    vehicle = subject.vehicle if isinstance(subject, Allocation) else subject
    units = subject.units if isinstance(subject, Allocation) else units_of(modules) if modules is not None else ()
    t = load_type(vehicle, vehicle.load(load))
    steps = [*_asked(vehicle, t), *(step for unit in units for step in _given(vehicle, unit, t))]
    if isinstance(subject, Allocation):
        steps += [*_as_laid(subject, load), ("it is on", _where(subject, load))]
    return Why(load, tuple(steps))


def _asked(vehicle: Vehicle, t: ItemType) -> Iterator[tuple[str, str]]:
    row, settings = vehicle.load(t.load), vehicle.settings
    each = " each" if row.count > 1 else ""
    yield "table", f"{row.running_ma / 1000:g} A{each} at {settings.reference_v:g} V, kind {row.kind}"
    yield "voltage", f"{t.running_ma / 1000:g} A {_at_worst(vehicle, t)}"
    draw = CircuitDraw([(t, 1)], settings.tolerance_loads)
    top = draw.draw_ma
    if row.tolerance_pct:
        yield "tolerance", f"{top / 1000:g} A at the top of {float(row.tolerance_pct):g} %"
    wanted = settings.headroom_pct if t.headroom_pct is None else t.headroom_pct
    yield "headroom", f"{float(top / (1 - wanted / 100)) / 1000:.3g} A of derated rating, {float(wanted):g} % headroom"
    if t.excess_ma:
        yield "inrush", f"{draw.peak_ma / 1000:g} A at its worst, over after {3 * t.tau_ms:g} ms"
    needs = [*sorted(row.needs), *([] if t.share else ["a channel of its own"])]
    if needs:
        yield "needs", ", ".join(needs).replace("pwm", "PWM")


def _at_worst(vehicle: Vehicle, t: ItemType) -> str:
    """Where an item draws most: voltage, states, and whether its copper is cold there."""
    row, settings = vehicle.load(t.load), vehicle.settings
    volts = check_voltages(row.command, vehicle.states, settings.reference_v)[t.volt_ma.index(t.running_ma)]
    states = [state.name for state in vehicle.states if state.is_on(row.command) and volts in state.span_v]
    where = f" of {listed(states)}" if vehicle.states_given and states else ""
    cold = f", copper at {settings.lowest_ambient_c:g} °C" if KINDS[row.kind].copper == "running" else ""
    return f"at the {volts:g} V{where}, where it draws most (exponent {row.volt_exponent:g}{cold})"


def _given(vehicle: Vehicle, unit: Unit, t: ItemType) -> Iterator[tuple[str, str]]:
    ambient, module = unit_ambient_c(vehicle, unit), unit.module
    factor = derating_factor(module.derating, ambient)
    wanted = vehicle.settings.headroom_pct if t.headroom_pct is None else t.headroom_pct
    top = CircuitDraw([(t, 1)], vehicle.settings.tolerance_loads).draw_ma
    setting = trip_setting_ma(top, _ANY_MA, module.trip_step_ma, module.trip_error_pct)
    assert not isinstance(setting, Refused)  # no rating refuses it
    error = f", its reading off by {float(module.trip_error_pct):g} %" if module.trip_error_pct else ""
    words = f"{setting / 1000:g} A: 1.25 times the current{error}; one margin with the headroom, the larger counts"
    yield f"trip setting of {unit.label}", words
    asked = amps(ceil(max(Fraction(setting), top / (1 - wanted / 100)) / factor))
    yield f"derating of {unit.label}", f"{float(factor):g} at {ambient:g} °C: a channel of at least {asked}"
    book = CircuitBook(vehicle.settings.tolerance_loads)
    wire = wire_asked(vehicle, unit, t, book)
    if wire is not None:
        thick = "; no terminal takes it" if wire.is_too_thick else ""
        yield f"wire of {unit.label}", _size(wire) + thick
    yield f"channels of {unit.label}", _channels(vehicle, unit, t, book) or "none bears it"


_ANY_MA = Fraction(10**9)  # a rating above every setting


def _channels(vehicle: Vehicle, unit: Unit, t: ItemType, book: CircuitBook) -> str:
    """Channels that bear one item alone, by current, inrush, trip setting, wire and needs."""
    wiring = book.wiring(vehicle)
    names = []
    for own in channel_classes(vehicle, [unit])[0]:
        if book.bears((t,), own.rating, wiring):
            names += ["+".join(slot) for slot in own.slots]
    return ", ".join(sorted(names, key=natural_key))


def _as_laid(allocation: Allocation, load: str) -> Iterator[tuple[str, str]]:
    """The wires of its circuits, chosen with all others beside them: `wire_asked` is of the load alone."""
    wires = {w.circuit.channels: w for w in allocation.wired if load in w.circuit.loads and w.wire_m is not None}
    sizes = ((w, w.made.wire) for w in wires.values() if isinstance(w.made, Protected))
    words = [f"{made.size.name} among {plural(w.bundle_wires, 'loaded wire')}" for w, made in sizes]
    if words:
        yield "its wire as laid", "; ".join(dict.fromkeys(words))


def _where(allocation: Allocation, load: str) -> str:
    circuits: Sequence[PlacedCircuit] = [c for c in allocation.circuits if load in c.loads]
    return "; ".join(
        f"{'+'.join(c.channels)} of {c.unit}"
        + (f" with {', '.join(x for x in c.loads if x != load)}" if len(c.loads) > 1 else "")
        for c in circuits
    )


_CLASSES_C = (125.0, 150.0, 200.0)  # higher classes of insulation tried, deg C
_COOLER_C = range(20, 200, 5)  # ambients tried for a cooler way


def _wire_cures(vehicle: Vehicle, t: ItemType, ratings: Collection[Rating], book: CircuitBook) -> Iterator[str]:
    """What gives a wire to an item whose wire is too hot or too thick, in words; each was tried.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    t : ItemType
        One item of a load that has no wire.
    ratings : collection of Rating
        Channels it would be on, one of them.
    book : CircuitBook
        Asked for the physics.

    Yields
    ------
    str
        The lowest class of insulation that will do, the most wires in its bundle, the hottest way, and two circuits of
        half the current each.
    """
    settings = vehicle.settings

    def has_wire(changed: Vehicle, item: ItemType = t) -> bool:
        wiring = book.wiring(changed)
        return any(book.bears((item,), rating, wiring) for rating in ratings)

    def with_setting(**changes: Any) -> Vehicle:
        return replace(vehicle, settings=replace(settings, **changes))

    better = (c for c in _CLASSES_C if c > settings.insulation_c and has_wire(with_setting(insulation_c=c)))
    yield from (f"insulation rated to {c:g} °C (insulation_c of the settings)" for c in islice(better, 1))
    fewer = bisect_left(
        range(settings.bundle_wires), True, key=lambda n: not has_wire(with_setting(bundle_wires=n + 1))
    )
    if fewer:
        yield f"at most {fewer} loaded wires in its bundle (bundle_wires of the settings)"
    cooler = bisect_left(_COOLER_C, True, key=lambda c: not has_wire(_cooled(vehicle, c)))
    if cooler:
        yield f"a way and a place of at most {_COOLER_C[cooler - 1]} °C"
    load = vehicle.load(t.load)
    half = replace(load, running_ma=-(-load.running_ma // 2), inrush_ma=-(-load.inrush_ma // 2))
    if has_wire(vehicle, load_type(vehicle, half)):
        yield f"two circuits of {half.running_ma / 1000:.3g} A each, where the load can be divided"


def _cooled(vehicle: Vehicle, most_c: float) -> Vehicle:
    """The vehicle with no place and no way hotter than so much, deg C."""
    places = tuple(
        replace(p, ambient_c=None if p.ambient_c is None else min(p.ambient_c, most_c)) for p in vehicle.places
    )
    settings = replace(vehicle.settings, wire_ambient_c=min(vehicle.settings.wire_ambient_c, most_c))
    return replace(vehicle, places=places, settings=settings)
