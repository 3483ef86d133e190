"""Limits that any allocation misses: plain arithmetic on one unit, before anything is solved."""

from collections.abc import Iterator, Sequence

from pdm_alloc.allocation.not_enough import Short
from pdm_alloc.circuits.items import ItemType, item_types
from pdm_alloc.circuits.limits import duty_step, inputs_wanted, running_in_state_ma, state_load, total_limit_ma
from pdm_alloc.module import Unit
from pdm_alloc.vehicle import PPM, State, Vehicle

__all__ = ["amps", "arithmetic_shorts", "plural"]


def arithmetic_shorts(vehicle: Vehicle, units: Sequence[Unit]) -> list[Short]:
    """Limits that are missed whichever load goes on which channel.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted; whole-module currents are judged only where there is one.

    Returns
    -------
    list of Short
        Empty where arithmetic alone has no objection.
    """
    shorts = [*_inputs(vehicle, units), *_supply(vehicle, units)]
    if len(units) == 1:
        types = [t for own in item_types(vehicle, units).values() for t in own]
        shorts += [*_totals(vehicle, units[0], types), *_peaks(vehicle, units[0], types)]
    return shorts


def _inputs(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[Short]:
    counts = [u.module.inputs for u in units]
    if any(n is None for n in counts):
        return
    have, need = sum(n for n in counts if n is not None), inputs_wanted(vehicle)
    if need > have:
        text = f"{plural(need - have, 'more input')} ({need} switches and senders against {have})"
        yield Short("inputs", "inputs", "", have, need, "inputs", text)


def _supply(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[Short]:
    for unit in units:
        for state in vehicle.states:
            volt, low, high = state.supply_v, unit.module.supply_min_v, unit.module.supply_max_v
            if low is not None and volt < low:
                yield _volts(unit, state, low, f"works down to {low:g} V")
            elif high is not None and volt > high:
                yield _volts(unit, state, high, f"works up to {high:g} V")


def _volts(unit: Unit, state: State, limit: float, what: str) -> Short:
    text = f"{unit.label} {what}, and {state.name} has {state.supply_v:g} V"
    return Short("supply voltage", unit.label, state.name, limit, state.supply_v, "V", text)


def _totals(vehicle: Vehicle, unit: Unit, types: list[ItemType]) -> Iterator[Short]:
    have = total_limit_ma(vehicle, unit)
    for number, state in enumerate(vehicle.states):
        need = _up(state_load(types, number, state, vehicle.settings.tolerance_loads) * duty_step(state))
        if need > have:
            yield _amps("whole module", unit, state.name, have, need)


def _peaks(vehicle: Vehicle, unit: Unit, types: list[ItemType]) -> Iterator[Short]:
    """The largest single inrush cannot be less than that of the largest item."""
    have = unit.module.total_peak_ma
    for number, state in enumerate(vehicle.states):
        excess = max((t.excess_ma for t in types if state.is_on(t.command)), default=0)
        need = running_in_state_ma(types, number) + excess
        if need > have:
            yield _amps("whole module peak", unit, state.name, have, need)


def _amps(kind: str, unit: Unit, state: str, have: int, need: int) -> Short:
    more = "more peak" if "peak" in kind else "more"
    text = f"{amps(need - have)} {more} in the state {state} ({amps(need)} against {amps(have)})"
    return Short(kind, unit.label, state, have / 1000, need / 1000, "A", text)


def amps(milliamps: int) -> str:
    """As a person writes it, rounded up to a tenth above 1 A: ``12 A``, ``0.35 A``."""
    tenths = -(-milliamps // 100)
    return f"{tenths / 10:g} A" if milliamps >= 1000 else f"{milliamps / 1000:g} A"


def _up(ma_ppm: int) -> int:
    return -(-ma_ppm // PPM)


def plural(number: int, what: str) -> str:
    """``1 channel``, ``2 channels``."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
