"""Every limit of a fixed allocation as a sum of load currents that must not pass a number."""

from dataclasses import dataclass
from functools import partial

import numpy as np

from pdm_alloc.circuits.items import ItemType, bank_limit_ma, load_types, total_limit_ma
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import PPM, State
from pdm_alloc.electrics.inrush import inrush_use
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit, place_of

__all__ = ["Limits", "limits_of"]


@dataclass(frozen=True)
class Limits:
    """Limits of an allocation, linear in what each load draws.

    Parameters
    ----------
    loads : tuple of str
        Loads, in the order of the columns of `weights`.
    tolerance : ndarray, shape (loads,)
        How far each may be off, as a fraction of its running current.
    subjects : tuple of str
        What each limit is of, in the order of the rows.
    weights : ndarray, shape (limits, loads)
        Current of each load in each limit when its guess is right, mA.
    most : ndarray, shape (limits,)
        The limit, mA.
    """

    loads: tuple[str, ...]
    tolerance: np.ndarray
    subjects: tuple[str, ...]
    weights: np.ndarray
    most: np.ndarray


def limits_of(allocation: Allocation) -> Limits:
    """Limits of every channel (running and inrush), bank and module in every state.

    Parameters
    ----------
    allocation : Allocation
        Stays as it is.

    Returns
    -------
    Limits
    """
    types = {t.load: t for t in load_types(allocation.vehicle)}
    names = tuple(sorted(types, key=natural_key))
    rows = [*_channels(allocation, types), *_sums(allocation, types)]
    table = np.array([[share.get(name, 0.0) for name in names] for _, share, _ in rows])
    tolerance = np.array([float(allocation.vehicle.load(name).tolerance_pct) / 100 for name in names])
    most = np.array([limit for _, _, limit in rows], dtype=float)
    return Limits(names, tolerance, tuple(subject for subject, _, _ in rows), table, most)


def _channels(allocation: Allocation, types: dict[str, ItemType]):
    for circuit in allocation.circuits:
        share = _largest_share(circuit, types)
        where = f"{circuit.unit} channel {circuit.channel}"
        usable = place_of(allocation.vehicle, allocation.units, circuit).rating.usable_ma
        yield f"{where}, running", share, usable
        borne = most_running_ma(allocation, circuit)
        if borne < usable:
            yield f"{where}, inrush", share, borne


def _largest_share(circuit: PlacedCircuit, types: dict[str, ItemType]) -> dict[str, float]:
    """Current of each load at the voltage at which the circuit draws most, mA."""
    number = {name: sum(n == name for n, _ in circuit.items) for name in circuit.loads}
    at = max(
        range(len(types[circuit.loads[0]].volt_ma)),
        key=lambda v: sum(types[name].volt_ma[v] * k for name, k in number.items()),
    )
    return {name: float(types[name].volt_ma[at] * k) for name, k in number.items()}


def most_running_ma(allocation: Allocation, circuit: PlacedCircuit) -> float:
    """Running current up to which a channel bears the inrush of its circuit, mA: above it, it trips.

    The inrush above running is what the table says; what is uncertain is the running current below
    it. What the channel bears only falls as that rises, so bisection finds the one crossing.
    """
    vehicle = allocation.vehicle
    rating = place_of(vehicle, allocation.units, circuit).rating
    types = {t.load: t for t in load_types(vehicle)}
    waves = [types[name].surge_ma / 1000 for name, _ in circuit.items]
    tau = [types[name].tau_ms for name, _ in circuit.items]

    def bears(running_ma: float) -> bool:
        channel = (rating.usable_ma / 1000, rating.peak_ma / 1000, rating.peak_ms)
        return inrush_use(running_ma / 1000, waves, tau, *channel).passes

    low, high = 0.0, float(rating.usable_ma)
    if bears(high):
        return high
    while high - low > 0.5:
        middle = (low + high) / 2
        low, high = (middle, high) if bears(middle) else (low, middle)
    return low


def _sums(allocation: Allocation, types: dict[str, ItemType]):
    for s, state in enumerate(allocation.vehicle.states):
        for unit in allocation.units:
            own = [c for c in allocation.circuits if c.unit == unit.label and state.is_on(c.command)]
            yield from _sums_in_state(allocation, unit, own, types, s, state)


def _sums_in_state(allocation: Allocation, unit: Unit, own: list[PlacedCircuit], types, s: int, state: State):
    where = f"{unit.label} %s in {state.name}"
    for bank in unit.module.bank_ma:
        share = _shares(own, types, s, state, partial(_in_bank, unit, bank))
        yield where % f"bank {bank}", share, bank_limit_ma(allocation.vehicle, unit, bank)
    yield where % "whole module", _shares(own, types, s, state, lambda c: 1.0), total_limit_ma(allocation.vehicle, unit)
    on = {name: sum(n == name for c in own for n, _ in c.items) * types[name].state_ma[s] for name in types}
    largest = max((sum(types[n].excess_ma for n, _ in c.items) for c in own), default=0)
    yield where % "whole module, peak", on, unit.module.total_peak_ma - largest


def _shares(own: list[PlacedCircuit], types, s: int, state: State, part) -> dict[str, float]:
    share: dict[str, float] = {}
    for circuit in own:
        factor = part(circuit) * state.duty_ppm[circuit.command] / PPM
        for name, _ in circuit.items:
            share[name] = share.get(name, 0.0) + factor * types[name].state_ma[s]
    return share


def _in_bank(unit: Unit, bank: str, circuit: PlacedCircuit) -> float:
    inside = [unit.module.channel(name).bank == bank for name in circuit.channels]
    return sum(inside) / 2 if circuit.use == "pair" else float(any(inside))
