"""Item types: what may be on with each, what one draws, and the limits of banks and modules they count against."""

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import chain, groupby
from typing import Any, Generic, NamedTuple, TypeVar

from pdm_alloc.circuits.classes import unit_ambient_c
from pdm_alloc.domain.kinds import KINDS, Settings
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import Load, State, Vehicle
from pdm_alloc.electrics.current import (
    derating_factor,
    inrush_excess_ma,
    running_at_voltage_ma,
    usable_ma,
    worst_excess_ma,
)
from pdm_alloc.harness.distribution import cold_of

__all__ = [
    "Draw",
    "ItemType",
    "Scene",
    "bank_limit_ma",
    "check_voltages",
    "draws_of",
    "held_channels",
    "inputs_wanted",
    "item_types",
    "load_type",
    "load_types",
    "locked_channels",
    "nameless",
    "rise_ma",
    "scenes_of",
    "total_limit_ma",
    "undominated",
]

_Made = TypeVar("_Made")


class Draw(NamedTuple):
    """What one item draws at one end of a state's span of voltage, mA; all 0 where the state keeps it off.

    Parameters
    ----------
    running_ma, rise_ma : int
        Running current as stated; how much more at the top of its tolerance, mA.
    excess_ma, excess_rise_ma : int
        Inrush above running as stated; how much more at the top of its tolerance, mA.
    """

    running_ma: int = 0
    rise_ma: int = 0
    excess_ma: int = 0
    excess_rise_ma: int = 0


@dataclass(frozen=True, slots=True)
class Scene:
    """One end of a state's span of voltage, and what may be on in it.

    Parameters
    ----------
    number : int
        Place in `ItemType.draws`.
    state : str
        Name of the state.
    volts : float
        V.
    allowed : frozenset of str
        Commands with a duty above 0.
    """

    number: int
    state: str
    volts: float
    allowed: frozenset[str]


def scenes_of(vehicle: Vehicle) -> tuple[Scene, ...]:
    """Both ends of every state's span of voltage, in the order of the states, lowest voltage first."""
    ends = [(state, volts) for state in vehicle.states for volts in state.span_v]
    allowed = {
        state.name: frozenset(c.name for c in vehicle.commands if state.is_on(c.name)) for state in vehicle.states
    }
    return tuple(Scene(n, state.name, volts, allowed[state.name]) for n, (state, volts) in enumerate(ends))


def draws_of(load: Load, vehicle: Vehicle) -> tuple[Draw, ...]:
    """What one item of a load draws in each scene of `scenes_of`; rises only where any tolerance is guarded against."""
    tolerance = load.tolerance_pct if vehicle.settings.tolerance_loads else 0
    return tuple(
        _draw(load, volts, tolerance, vehicle.settings) if state.is_on(load.command) else Draw()
        for state in vehicle.states
        for volts in state.span_v
    )


def _draw(load: Load, volts: float, tolerance_pct: int | Fraction, settings: Settings) -> Draw:
    running = running_at_voltage_ma(load.running_ma, load.volt_exponent, volts, settings.reference_v)
    excess = inrush_excess_ma(load.inrush_ma, load.running_ma, volts, settings.reference_v)
    return Draw(running, rise_ma(running, tolerance_pct), excess, rise_ma(excess, tolerance_pct))


def rise_ma(ma: int, tolerance_pct: int | Fraction) -> int:
    """How much more a current is at the top of its tolerance, rounded up, mA."""
    return -(-ma * tolerance_pct.numerator // (100 * tolerance_pct.denominator))


def check_voltages(command: str, states: Sequence[State], reference_v: float) -> tuple[float, ...]:
    """Voltages at which a circuit of this command is checked, V.

    Parameters
    ----------
    command : str
        Its name.
    states : sequence of State
        Of the vehicle.
    reference_v : float
        V.

    Returns
    -------
    tuple of float
        Both ends of the span of every state in which it may be on, rising; `reference_v` alone if it may in none.
    """
    return tuple(sorted({v for s in states if s.is_on(command) for v in s.span_v})) or (reference_v,)


def undominated(points: Sequence[tuple[int, ...]]) -> list[int]:
    """Numbers of the points that no other one reaches or exceeds in every coordinate; of equal ones the last."""
    last = {point: n for n, point in enumerate(points)}
    return [n for p, n in last.items() if not any(q != p and all(map(int.__le__, p, q)) for q in last)]


@dataclass(frozen=True, slots=True)
class ItemType:
    """Identical items of one command: same currents, rules and place, told apart by name only.

    Parameters
    ----------
    command : str
        What switches them.
    items : tuple of (str, int)
        Load and item number from 1, canonical order.
    running_ma, excess_ma, deviation_ma : int
        Largest of one item at any of the voltages it is checked at: running, inrush above running, rise of running at
        the top of its tolerance, mA.
    surge_ma : int
        Largest inrush above running with its tolerance, mA.
    volt_ma, volt_deviation_ma, volt_excess_ma, volt_surge_ma : tuple of int
        The same at each voltage of `check_voltages`, mA; of `item_types` only at those that can decide a limit: one at
        which no item of the command draws more by any of the four than at some other one is left out.
    tau_ms : float
        Time constant of the inrush, ms.
    window_ms : float
        Least inrush time of its channel, ms; above 0 for a pulsed load.
    state_ma : tuple of int
        Running current of one item in each state at the worse end of its span, 0 where the command is off, mA.
    share, reversing, pwm, vital : bool
        Rules of the load.
    separate : str or None
        Label; items of different loads with one label never share.
    place, length_m, max_drop_pct
        Where it sits, or how far it is; voltage drop allowed.
    locked : tuple of (int, tuple of str)
        Unit number and channels its load is wired to; empty where it is free.
    headroom_pct : Fraction or None
        Headroom its command wants where that is not the vehicle's, per cent.
    together : bool
        True: on one channel with everything of its command.
    stalls : bool
        A motor: its inrush lasts for ever when it is stuck.
    draws : tuple of Draw
        What one item draws in each scene of `scenes_of`.
    on_s, cycle_s : float or None
        Longest time on in one go, shortest from one switch-on to the next, s; None: not known.
    switched_low : bool
        True: returns are wires, and its own goes to the pin of a box that switches it to ground, not to its module.
    """

    command: str
    items: tuple[tuple[str, int], ...]
    running_ma: int
    excess_ma: int
    deviation_ma: int
    surge_ma: int
    volt_ma: tuple[int, ...]
    volt_deviation_ma: tuple[int, ...]
    volt_excess_ma: tuple[int, ...]
    volt_surge_ma: tuple[int, ...]
    tau_ms: float
    window_ms: float
    state_ma: tuple[int, ...]
    share: bool
    reversing: bool
    pwm: bool
    vital: bool
    separate: str | None
    place: str | None
    length_m: float | None
    max_drop_pct: float
    locked: tuple[tuple[int, tuple[str, ...]], ...] = ()
    headroom_pct: Fraction | None = None
    together: bool = False
    stalls: bool = False
    draws: tuple[Draw, ...] = ()
    on_s: float | None = None
    cycle_s: float | None = None
    switched_low: bool = False

    def __hash__(self) -> int:
        """Of what tells most types apart: listings ask for it more often than for anything else."""
        return hash((self.command, self.items, self.running_ma, self.surge_ma))

    @property
    def count(self) -> int:
        """How many items there are."""
        return len(self.items)

    @property
    def load(self) -> str:
        """Its first load; its only one where the rules need the loads told apart."""
        return self.items[0][0]


def nameless(t: ItemType) -> ItemType:
    """The type without its names and without what sums alone ask for: of two that are then equal circuits are too."""
    unasked = {"state_ma": (), "draws": (), "on_s": None, "cycle_s": None}
    return replace(t, command="", items=(("", t.count),), **unasked)  # type: ignore[arg-type]


def locked_channels(vehicle: Vehicle, units: Sequence[Unit]) -> dict[str, tuple[tuple[int, str], ...]]:
    """Unit number and channel each locked load is wired to, for the modules that are fitted.

    Parameters
    ----------
    vehicle : Vehicle
        With its locked rows.
    units : sequence of Unit
        Fitted; a row names a unit's label, or its module.

    Returns
    -------
    dict of str to tuple of (int, str)
        By load; sorted.
    """
    channels: dict[str, set[tuple[int, str]]] = {}
    for lock in vehicle.locked:
        unit = _unit_number(lock.module, units)
        if unit is not None:
            channels.setdefault(lock.load, set()).add((unit, _channel_name(lock.channel, units[unit])))
    return {load: tuple(sorted(places)) for load, places in channels.items()}


def held_channels(vehicle: Vehicle, units: Sequence[Unit]) -> set[tuple[int, str]]:
    """Unit number and name of every channel that a locked row names, alone or joined with another.

    Parameters
    ----------
    vehicle, units : Vehicle, sequence of Unit
        With its locked rows; fitted.

    Returns
    -------
    set of (int, str)
    """
    spots = {spot for spots in locked_channels(vehicle, units).values() for spot in spots}
    return {(number, name) for number, spot in spots for name in _channels_named(spot, units[number])}


def _channels_named(name: str, unit: Unit) -> list[str]:
    """The channel of that name, or else the two that it joins with a plus sign, in natural order."""
    if any(channel.name == name for channel in unit.module.channels):
        return [name]
    return sorted((part.strip() for part in name.split("+")), key=natural_key)


def _channel_name(name: str, unit: Unit) -> str:
    """The name as circuits have it: of two channels joined, the first in natural order first."""
    return "+".join(_channels_named(name, unit))


def _unit_number(name: str, units: Sequence[Unit]) -> int | None:
    labels = [u.label for u in units]
    if name in labels:
        return labels.index(name)
    modules = [u.module.name for u in units]
    return modules.index(name) if name in modules else None


def item_types(vehicle: Vehicle, units: Sequence[Unit] = ()) -> dict[str, tuple[ItemType, ...]]:
    """Item types of every command, in an order that depends on what loads draw and only last on names.

    Parameters
    ----------
    vehicle, units : Vehicle, sequence of Unit
        With loads and states; what is fitted, at which only locked rows look.

    Returns
    -------
    dict of str to tuple of ItemType
        By command, commands in natural order.
    """
    return dict(_TYPES.of(vehicle, units, lambda: _item_types(vehicle, units)))


def _item_types(vehicle: Vehicle, units: Sequence[Unit]) -> dict[str, tuple[ItemType, ...]]:
    single = load_types(vehicle, units)
    merged: dict[str, list[ItemType]] = {}
    for _, group in groupby(single, key=_identity):
        same = list(group)
        whole = replace(same[0], items=tuple(item for t in same for item in t.items))
        merged.setdefault(whole.command, []).append(whole)
    return {command: _at_decisive_voltages(types) for command, types in merged.items()}


def load_types(vehicle: Vehicle, units: Sequence[Unit] = ()) -> list[ItemType]:
    """As `item_types` in one list, each load a type of its own, at every voltage."""
    return list(_SINGLE_TYPES.of(vehicle, units, lambda: _load_types(vehicle, units)))


def load_type(vehicle: Vehicle, load: Load) -> ItemType:
    """The type of one load by itself, locked nowhere, as `load_types`; it need not be one of the vehicle's."""
    (alone,) = _load_types(replace(vehicle, loads=(load,)), ())
    return alone


def _load_types(vehicle: Vehicle, units: Sequence[Unit]) -> tuple[ItemType, ...]:
    locks = locked_channels(vehicle, units)
    to_pins = {s.load for s in vehicle.signals} if vehicle.settings.return_path == "wire" else set()
    types = (_one_type(x, vehicle, locks.get(x.name, ()), x.name in to_pins) for x in vehicle.loads)
    return tuple(sorted(types, key=_in_order_of(vehicle)))


class _Recent(Generic[_Made]):
    """What was made of the last few vehicles; the very object is looked for, as hashing a vehicle takes long."""

    def __init__(self, number: int):
        self._last: deque[tuple[Vehicle, Any, _Made]] = deque(maxlen=number)

    def of(self, vehicle: Vehicle, units: Sequence[Unit], make: Callable[[], _Made]) -> _Made:
        """What is made of a vehicle and the channels its loads are locked to on these units, from memory if it is."""
        locks = locked_channels(vehicle, units)
        known = next((made for other, held, made in list(self._last) if other is vehicle and held == locks), None)
        if known is None:
            known = make()
            self._last.append((vehicle, locks, known))
        return known


_TYPES = _Recent[dict[str, tuple[ItemType, ...]]](16)
_SINGLE_TYPES = _Recent[tuple[ItemType, ...]](4)


def _in_order_of(vehicle: Vehicle) -> Callable[[ItemType], tuple[Any, ...]]:
    loads = {load.name: load for load in vehicle.loads}
    return lambda t: (natural_key(t.command), _order(t), _told(loads[t.load]), natural_key(t.load))


def _at_decisive_voltages(types: Sequence[ItemType]) -> tuple[ItemType, ...]:
    """Types of one command without the voltages at which none of them draws more, by any measure, than at another."""
    points = [tuple(chain(*four)) for four in zip(*map(_by_voltage, types), strict=True)]
    decisive = undominated(points)
    return tuple(_at_voltages(t, decisive) for t in types)


def _by_voltage(t: ItemType) -> Iterator[tuple[int, int, int, int]]:
    return zip(t.volt_ma, t.volt_deviation_ma, t.volt_excess_ma, t.volt_surge_ma, strict=True)


def _at_voltages(t: ItemType, numbers: Sequence[int]) -> ItemType:
    volts, deviations, excesses, surges = zip(*(list(_by_voltage(t))[n] for n in numbers), strict=True)
    return replace(t, volt_ma=volts, volt_deviation_ma=deviations, volt_excess_ma=excesses, volt_surge_ma=surges)


def _one_type(load: Load, vehicle: Vehicle, locks: Sequence[tuple[int, str]], to_pin: bool) -> ItemType:
    settings, command = vehicle.settings, vehicle.command(load.command)
    volts = check_voltages(load.command, vehicle.states, settings.reference_v)
    tolerance = load.tolerance_pct if settings.tolerance_loads else 0
    cold, running = cold_of(load, settings)
    at = tuple(running_at_voltage_ma(running, load.volt_exponent, v, settings.reference_v) for v in volts)
    by_volts = dict(zip(volts, at, strict=True))
    in_states = tuple(max(by_volts[v] for v in s.span_v) if s.is_on(load.command) else 0 for s in vehicle.states)
    rises = tuple(rise_ma(ma, tolerance) for ma in at)
    excess = tuple(worst_excess_ma(load.inrush_ma, running, (v, settings.reference_v), cold=cold) for v in volts)
    surges = tuple(ma + rise_ma(ma, tolerance) for ma in excess)
    by_unit = {u: tuple(c for v, c in locks if v == u) for u in dict.fromkeys(u for u, _ in locks)}
    return ItemType(
        command=load.command,
        items=tuple((load.name, n + 1) for n in range(load.count)),
        running_ma=max(at),
        excess_ma=max(excess),
        deviation_ma=max(rises),
        surge_ma=max(surges),
        volt_ma=at,
        volt_deviation_ma=rises,
        volt_excess_ma=excess,
        volt_surge_ma=surges,
        tau_ms=load.inrush_ms / 3,
        window_ms=KINDS[load.kind].pulse_ms,
        state_ma=in_states,
        share=load.share,
        reversing="reversing" in load.needs,
        pwm="pwm" in load.needs or command.action == "pwm",
        vital=load.importance == "vital",
        separate=load.separate,
        place=load.place,
        length_m=load.length_m,
        max_drop_pct=load.max_drop_pct,
        locked=tuple(sorted(by_unit.items())),
        headroom_pct=command.headroom_pct,
        together=command.together,
        stalls=KINDS[load.kind].copper == "inrush",
        draws=draws_of(load, vehicle),
        on_s=command.on_s,
        cycle_s=command.cycle_s,
        switched_low=to_pin and "reversing" not in load.needs,
    )


def _order(t: ItemType) -> tuple[Any, ...]:
    """What a load is, without its name; unknowns sort first."""
    return (
        -t.running_ma,
        -t.excess_ma,
        -t.tau_ms,
        -t.deviation_ma,
        -t.surge_ma,
        t.volt_ma,
        t.volt_deviation_ma,
        t.volt_excess_ma,
        t.volt_surge_ma,
        t.window_ms,
        t.state_ma,
        t.share,
        t.reversing,
        t.pwm,
        t.vital,
        t.separate or "",
        t.place or "",
        -1.0 if t.length_m is None else t.length_m,
        t.max_drop_pct,
        t.stalls,
        t.locked,
        t.draws,
        t.switched_low,
    )


def _told(load: Load) -> tuple[Any, ...]:
    """What the table says of a load and no rule asks: it tells loads apart that are alike in all else, before names."""
    return (
        load.kind,
        load.importance,
        load.count,
        load.running_ma,
        load.inrush_ma,
        load.inrush_ms,
        load.inrush_assumed,
        load.tolerance_pct,
        load.volt_exponent,
        -1.0 if load.min_v is None else load.min_v,
    )


def _identity(t: ItemType) -> tuple[Any, ...]:
    """Loads are told apart where a rule counts loads and not items: labels, tolerance and locks."""
    apart = t.load if t.separate or t.deviation_ma or _rises(t) or t.locked else ""
    return (t.command, *_order(t), apart)


def _rises(t: ItemType) -> bool:
    return any(draw.rise_ma or draw.excess_rise_ma for draw in t.draws)


def total_limit_ma(vehicle: Vehicle, unit: Unit) -> int:
    """Whole-module limit at its ambient, less the module headroom, rounded down, mA."""
    return _limit(vehicle, unit, unit.module.total_ma)


def bank_limit_ma(vehicle: Vehicle, unit: Unit, bank: str) -> int:
    """Limit of a bank at the unit's ambient, less the module headroom, rounded down, mA."""
    return _limit(vehicle, unit, unit.module.bank_ma[bank])


def _limit(vehicle: Vehicle, unit: Unit, limit_ma: int) -> int:
    factor = derating_factor(unit.module.derating, unit_ambient_c(vehicle, unit))
    return usable_ma(limit_ma, factor, vehicle.settings.module_headroom_pct)


def inputs_wanted(vehicle: Vehicle) -> int:
    """Inputs of a module that switches and senders take; what arrives on the bus or goes to another box needs none."""
    return sum(i.kind in ("switch", "analog") and i.read_by in (None, "module") for i in vehicle.inputs)
