"""What each operating state takes from battery and alternator, and the voltage left at each load."""

from collections.abc import Mapping
from dataclasses import dataclass

from pdm_alloc.domain.vehicle import Load, State, Vehicle
from pdm_alloc.electrics.battery import battery_minutes
from pdm_alloc.electrics.voltage import inrush_excess_ma, running_at_voltage_ma

__all__ = ["LoadVoltage", "StateSupply", "load_voltages", "state_supply", "supply", "voltage_at_load"]


@dataclass(frozen=True, slots=True)
class StateSupply:
    """What one operating state takes and gets.

    Parameters
    ----------
    state : str
        Its name.
    supply_v : float
        Supply voltage, V.
    mean_a : float
        Sum of running currents times duty, A.
    running_a : float
        Sum of running currents of everything on, without duty, A.
    peak_a : float
        `running_a` and the largest inrush above running that one command brings, A.
    charging_a : float or None
        Charging current, A; None where the tables do not say, counted as none.
    balance_a : float
        Charging less mean current, A; negative: the battery gives.
    minutes : float or None
        How long the state lasts, min.
    floor_minutes : float or None
        Minutes until a full battery is at its floor, inf where it is not drained; None: battery not known.
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

    @property
    def used_ah(self) -> float | None:
        """Charge the battery gives while the state lasts, Ah (negative: takes); None: length not known."""
        return None if self.minutes is None else -self.balance_a * self.minutes / 60

    @property
    def carried(self) -> bool | None:
        """Whether charging, or the battery for as long as the state lasts, carries it; None: cannot be said."""
        if self.balance_a >= 0:
            return True
        if self.floor_minutes is None or self.minutes is None:
            return None
        return self.floor_minutes >= self.minutes


def supply(vehicle: Vehicle, counts: Mapping[str, int] | None = None) -> tuple[StateSupply, ...]:
    """What every operating state takes and gets, in the order of the vehicle's states.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    counts : mapping of str to int, optional
        Items by load to be counted (those of one unit, say); all of them by default.

    Returns
    -------
    tuple of StateSupply
    """
    return tuple(state_supply(vehicle, state, counts) for state in vehicle.states)


def state_supply(vehicle: Vehicle, state: State, counts: Mapping[str, int] | None = None) -> StateSupply:
    """What one operating state takes and gets.

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
    reference = vehicle.settings.reference_v
    on = [(load, _count(load, counts)) for load in vehicle.loads if state.is_on(load.command)]
    running = {load.name: _running_ma(load, state, reference) * count for load, count in on}
    mean = sum(running[load.name] * state.duty_ppm[load.command] for load, _ in on) / 1e9
    total = sum(running.values())
    peak = total + _largest_excess_ma(on, state, reference)
    balance = (state.charging_a or 0.0) - mean
    minutes = _floor_minutes(vehicle.settings, -balance)
    return StateSupply(
        state.name,
        state.supply_v,
        mean,
        total / 1000,
        peak / 1000,
        state.charging_a,
        balance,
        state.minutes,
        minutes,
    )


def _floor_minutes(settings, draw_a):
    if settings.battery_ah is None:
        return None
    return battery_minutes(settings.battery_ah, settings.battery_floor_pct, draw_a)


def _count(load: Load, counts):
    return load.count if counts is None else counts.get(load.name, 0)


def _running_ma(load: Load, state: State, reference):
    return running_at_voltage_ma(load.running_ma, load.volt_exponent, state.supply_v, reference)


def _largest_excess_ma(on, state, reference):
    """Largest inrush of one command: it switches all its loads together, whatever channels they are on."""
    excess: dict[str, int] = {}
    for load, count in on:
        one = inrush_excess_ma(load.inrush_ma, load.running_ma, state.supply_v, reference)
        excess[load.command] = excess.get(load.command, 0) + one * count
    return max(excess.values(), default=0)


_STEPS = 60


@dataclass(frozen=True, slots=True)
class LoadVoltage:
    """Voltage of one load in one operating state.

    Parameters
    ----------
    state, load, importance : str
        Names; importance of the load.
    module_v, load_v : float
        At the module; at the load, V.
    judged : bool
        Whether the resistance of the load's wire was known; if not, load_v is module_v.
    min_v : float or None
        Lowest voltage at which the load still works, V.
    """

    state: str
    load: str
    importance: str
    module_v: float
    load_v: float
    judged: bool
    min_v: float | None

    @property
    def enough(self) -> bool | None:
        """Whether the load still works; None: its lowest voltage is not known."""
        return None if self.min_v is None else self.load_v >= self.min_v


def load_voltages(vehicle: Vehicle, ohms: Mapping[str, float | None], feed_ohm: float = 0.0) -> tuple[LoadVoltage, ...]:
    """Voltage at every load in every operating state it is on in, cranking like any other.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    ohms : mapping of str to (float or None)
        Resistance of each load's run, way back included, ohm; of a shared run the share that counts
        for it. Loads that are missing or None are not judged.
    feed_ohm : float
        Resistance between the point where supply_v is stated and the module, ohm; 0: at the module.

    Returns
    -------
    tuple of LoadVoltage
        In the order of states, then loads.
    """
    rows = []
    for state in vehicle.states:
        module_v = max(0.0, state.supply_v - feed_ohm * state_supply(vehicle, state).running_a)
        on = (load for load in vehicle.loads if state.is_on(load.command))
        rows += [_row(vehicle, state, load, module_v, ohms.get(load.name)) for load in on]
    return tuple(rows)


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
        drop = ohm * running_a * (volts / reference_v) ** exponent
        slope = 1 + exponent * drop / volts
        if slope <= 0:
            return 0.0
        change = (volts + drop - module_v) / slope
        volts = max(volts - change, volts / 10)  # a fractional power bends so that a full step may pass zero
        if abs(change) <= 1e-12 * module_v:
            return volts
    return 0.0


def _row(vehicle: Vehicle, state: State, load: Load, module_v: float, ohm: float | None):
    reference = vehicle.settings.reference_v
    load_v = module_v
    if ohm is not None:
        load_v = voltage_at_load(module_v, ohm, load.running_ma / 1000, load.volt_exponent, reference)
    return LoadVoltage(state.name, load.name, load.importance, module_v, load_v, ohm is not None, load.min_v)
