"""What each operating state takes from battery and alternator, and the voltage left at each load."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from pdm_alloc.domain.kinds import CHEMISTRIES, KINDS, Settings
from pdm_alloc.domain.vehicle import Load, State, Vehicle
from pdm_alloc.electrics.battery import Battery, Leg, LegCharge, carry_charge
from pdm_alloc.electrics.links import as_constant_s
from pdm_alloc.electrics.voltage import cold_copper_factor, running_at_voltage_ma, worst_excess_ma

__all__ = [
    "LoadVoltage",
    "StateSupply",
    "battery_of",
    "cold_of",
    "drawn_ma",
    "load_voltages",
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
