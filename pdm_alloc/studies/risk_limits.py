"""Every limit of a fixed allocation as a sum of load currents that must not pass a number."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pdm_alloc.circuits.items import ItemType, load_types
from pdm_alloc.circuits.scenes import scenes_of
from pdm_alloc.domain.module import natural_key
from pdm_alloc.electrics.inrush import inrush_use
from pdm_alloc.program.sums import Loading, Sums, Worst, item_ma
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit, place_of
from pdm_alloc.result.worst import limit_name, sums_of

__all__ = ["Limits", "limits_of"]

LimitRow = tuple[str, dict[str, float], float]  # what it limits, share of each load, the limit, mA


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
    rows = [*_channels(allocation, types), *_sums(allocation)]
    table = np.array([[share.get(name, 0.0) for name in names] for _, share, _ in rows])
    tolerance = np.array([float(allocation.vehicle.load(name).tolerance_pct) / 100 for name in names])
    most = np.array([limit for _, _, limit in rows], dtype=float)
    return Limits(names, tolerance, tuple(subject for subject, _, _ in rows), table, most)


def _channels(allocation: Allocation, types: dict[str, ItemType]) -> Iterator[LimitRow]:
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


def _sums(allocation: Allocation) -> Iterator[LimitRow]:
    """Banks and modules under the combination that is worst when every guess is right, in every state."""
    sums, loadings = sums_of(allocation.vehicle, allocation.units, allocation.circuits)
    for scene in scenes_of(allocation.vehicle):
        for limit in sums.limits:
            worst = sums.worst(limit, loadings[limit], scene)
            if worst is not None:
                where = f"{allocation.units[limit.unit].label} {limit_name(limit)} in {scene.state}"
                yield where, *_row(sums, loadings[limit], worst)


def _row(sums: Sums, loading: Loading, worst: Worst) -> tuple[dict[str, float], float]:
    """Running currents of what is on, and the limit less the inrush of what is switched on, which the table says."""
    share: dict[str, float] = {}
    most = float(worst.limit.most_ma)
    for (command, n), portions in loading.items():
        t = sums.types[command][n]
        ma, draw = item_ma(t, worst.cut, worst.limit.settle_s)[0], t.draws[worst.scene.number]
        is_new = command in (worst.cut.switched_on or ())
        share[t.load] = portions * (draw.running_ma if is_new else ma) / worst.limit.whole
        most -= portions * draw.excess_ma / worst.limit.whole if is_new else 0
    return share, most
