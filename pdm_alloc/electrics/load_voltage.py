"""Voltage that is left at each load in each operating state."""

from collections.abc import Mapping
from dataclasses import dataclass

from pdm_alloc.electrics.supply import state_supply
from pdm_alloc.vehicle import Load, State, Vehicle

__all__ = ["LoadVoltage", "load_voltages", "voltage_at_load"]

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
