"""Circuits packed to banks and units."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pdm_alloc.circuits.columns import Counts
from pdm_alloc.circuits.items import bank_limit_ma, duty_step, total_limit_ma
from pdm_alloc.domain.vehicle import PPM
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.task import Column, Merged

__all__ = ["Bins", "Draw", "pack", "room"]

_NEVER = 2**62  # limit of the row that stands where a class has no more rows of its own


@dataclass(frozen=True)
class Draw:
    """Load of one circuit on the limits of banks and units, by state.

    Parameters
    ----------
    mean : array of int, shape (states,)
        Running current times duty, mA x steps of `duty_step`.
    rises : dict of (str, int) to array of int
        What each of its loads may add at the top of its tolerance, same unit, by command and type.
    on : array of int, shape (states,)
        Running current where its command is on, whatever the duty, mA.
    excess : array of int, shape (states,)
        Inrush above running where its command is on, mA.
    """

    mean: np.ndarray
    rises: dict[tuple[str, int], np.ndarray]
    on: np.ndarray
    excess: np.ndarray


class Bins:
    """Channels, banks and units of a vehicle, and the load on each.

    Rows are the units' totals, the banks, and one that is never full; a class weighs on the total of
    its unit and on its banks, counted in halves of its current.

    Parameters
    ----------
    merged : Merged
        Classes before and after merging.
    """

    def __init__(self, merged: Merged):
        self.merged = merged
        units, vehicle = merged.task.units, merged.task.vehicle
        self._bank_rows: dict[tuple[int, str], int] = {}
        for n, unit in enumerate(units):
            for bank in unit.module.bank_ma:
                self._bank_rows[n, bank] = len(units) + len(self._bank_rows)
        self.limit = self._limits()
        self._divisor = np.maximum(self.limit, 1)
        self.peak = np.array([unit.module.total_peak_ma for unit in units], np.int64)[:, None]
        self.unit = np.array([own.unit for own in merged.fine.classes])
        self.rows, self.halves = _padded([self._weights(own) for own in merged.fine.classes], len(self.limit) - 1)
        capacities: list[list[tuple[int, int]]] = [[] for _ in merged.fine.classes]
        for k, capacity in enumerate(merged.fine.capacities):
            for n, weight in capacity.weights:
                capacities[n].append((k, weight))
        self.capacities, self.widths = _padded(capacities, len(merged.fine.capacities))
        self.at_once = vehicle.settings.tolerance_loads
        self._draws: dict[tuple[str, Counts], Draw] = {}
        self._steps = {
            command: np.array([s.duty_ppm.get(command, 0) // duty_step(s) for s in vehicle.states], np.int64)
            for command in merged.task.types
        }
        self.clear()

    def draw(self, command: str, counts: Counts) -> Draw:
        """Load of a circuit on the limits of banks and units."""
        if (command, counts) not in self._draws:
            self._draws[command, counts] = self._drawn(command, counts)
        return self._draws[command, counts]

    def _drawn(self, command: str, counts: Counts) -> Draw:
        types, times = self.merged.task.types[command], self._steps[command]
        on = np.zeros(len(times), np.int64)
        rises, excess = {}, 0
        for n, k in counts:
            on += np.array(types[n].state_ma, np.int64) * k
            excess += types[n].excess_ma * k
            rise = times * np.array(types[n].state_deviation_ma, np.int64) * k
            if rise.any():
                rises[command, n] = rise
        return Draw(times * on, rises, on, excess * (times > 0))

    def _limits(self) -> np.ndarray:
        units, vehicle = self.merged.task.units, self.merged.task.vehicle
        ma = [total_limit_ma(vehicle, unit) for unit in units]
        ma += [bank_limit_ma(vehicle, units[n], bank) for n, bank in self._bank_rows]
        steps = [PPM // duty_step(state) for state in vehicle.states]
        limits = 2 * np.outer(np.array(ma, np.int64), np.array(steps, np.int64))
        return np.vstack([limits, np.full((1, len(steps)), _NEVER)])

    def _weights(self, own) -> list[tuple[int, int]]:
        banks = [(self._bank_rows.get((own.unit, bank)), share) for bank, share in own.bank_halves]
        return [(own.unit, 2), *((row, share) for row, share in banks if row is not None)]

    def clear(self) -> None:
        """Take everything off."""
        units, states = len(self.peak), self.limit.shape[1]
        self.load = np.zeros_like(self.limit)
        self.on = np.zeros((units, states), np.int64)
        self.tallest = np.zeros((units, states), np.int64)
        self.free = np.array([capacity.most for capacity in self.merged.fine.capacities] + [_NEVER], np.int64)
        self.held: list[list[Draw]] = [[] for _ in range(units)]
        self.rises: list[dict[tuple[str, int], np.ndarray]] = [{} for _ in self.limit]

    def use(self, numbers: np.ndarray, draw: Draw) -> np.ndarray:
        """Highest share of any limit in use with a circuit on each of some classes; inf where no channel is free."""
        rows, unit = self.rows[numbers], self.unit[numbers]
        load = (self.load[rows] + self.halves[numbers][:, :, None] * draw.mean) / self._divisor[rows]
        peak = (self.on[unit] + draw.on + np.maximum(self.tallest[unit], draw.excess)) / self.peak[unit]
        free = (self.free[self.capacities[numbers]] >= self.widths[numbers]).all(axis=1)
        return np.where(free, np.maximum(load.max(axis=(1, 2)), peak.max(axis=1)), np.inf)

    def bears(self, number: int, draw: Draw) -> bool:
        """Whether a class with a free channel takes a circuit within every limit, tolerance included."""
        rows, halves = self.rows[number], self.halves[number]
        worst = np.stack([self._worst(row, share, draw) for row, share in zip(rows, halves, strict=True)])
        load = self.load[rows] + halves[:, None] * draw.mean + worst
        unit = self.unit[number]
        peak = self.on[unit] + draw.on + np.maximum(self.tallest[unit], draw.excess)
        return bool((load <= self.limit[rows]).all() and (peak <= self.peak[unit]).all())

    def _worst(self, row: int, halves: int, draw: Draw) -> np.ndarray:
        """Sum of the largest rises on a row with a circuit added."""
        together = dict(self.rises[row])
        for load, rise in draw.rises.items():
            together[load] = together.get(load, 0) + halves * rise
        if not together or not self.at_once:
            return np.zeros(self.limit.shape[1], np.int64)
        return np.sort(np.stack(list(together.values())), axis=0)[-self.at_once :].sum(axis=0)

    def put(self, number: int, draw: Draw) -> None:
        """Put a circuit on a class."""
        unit = self.unit[number]
        self.held[unit].append(draw)
        self.tallest[unit] = np.maximum(self.tallest[unit], draw.excess)
        self._move(number, draw, 1)

    def take(self, number: int, draw: Draw) -> None:
        """Take a circuit off a class."""
        held = self.held[self.unit[number]]
        held.pop(next(n for n, other in enumerate(held) if other is draw))
        self.tallest[self.unit[number]] = np.max([other.excess for other in held], axis=0, initial=0)
        self._move(number, draw, -1)

    def _move(self, number: int, draw: Draw, sign: int) -> None:
        unit, rows, halves = self.unit[number], self.rows[number], self.halves[number]
        self.load[rows] += sign * halves[:, None] * draw.mean
        self.on[unit] += sign * draw.on
        self.free[self.capacities[number]] -= sign * self.widths[number]
        for row, share in zip(rows.tolist(), halves.tolist(), strict=True):
            for load, rise in draw.rises.items() if share else ():
                self.rises[row][load] = self.rises[row].get(load, 0) + sign * share * rise


def _padded(pairs: list[list[tuple[int, int]]], filler: int) -> tuple[np.ndarray, np.ndarray]:
    """Numbers and weights in two rectangular arrays, short lists filled up with a number of weight 0."""
    width = max((len(own) for own in pairs), default=0)
    full = [[*own, *[(filler, 0)] * (width - len(own))] for own in pairs]
    both = np.array(full, np.int64).reshape(len(pairs), width, 2)
    return both[:, :, 0], both[:, :, 1]


_ROUNDS = 12


def pack(bins: Bins, columns: Sequence[Column], clock: Clock) -> tuple[Column, ...] | None:
    """Assign circuits on merged classes to classes before merging: first-fit decreasing with repair.

    Parameters
    ----------
    bins : Bins
        Channels, banks and units; emptied.
    columns : sequence of Column
        Circuits on merged classes, one a channel or double.
    clock : Clock
        When to stop.

    Returns
    -------
    tuple of Column or None
        The circuits in order, on classes before merging; None where the heuristic failed, which proves nothing.
    """
    merged, draws = bins.merged, [bins.draw(c.command, c.counts) for c in columns]
    order = _by_size(bins, columns, draws)
    for _ in range(_ROUNDS):
        places, homeless = _place(bins, merged, columns, draws, order, clock)
        if not homeless:
            return tuple(replace(c, channel_class=places[n], most=1) for n, c in enumerate(columns))
        if clock.is_over():
            break
        order = [*homeless, *(n for n in order if n not in set(homeless))]
    return None


def _by_size(bins: Bins, columns: Sequence[Column], draws: Sequence[Draw]) -> list[int]:
    """Doubles first, for singles can take any channel that is left; then by the share of a limit they would take."""
    bins.clear()
    members = bins.merged.members
    size = [-float(bins.use(np.array(members[c.channel_class]), d).min()) for c, d in zip(columns, draws, strict=True)]
    width = [-bins.merged.task.classes[c.channel_class].width for c in columns]
    return sorted(range(len(columns)), key=lambda n: (width[n], size[n], n))


def _place(bins: Bins, merged: Merged, columns, draws, order, clock: Clock) -> tuple[dict[int, int], list[int]]:
    """Class of each circuit that found one, and the circuits that found none; all of them where time ran out."""
    bins.clear()
    places: dict[int, int] = {}
    homeless = []
    for n in order:
        if clock.is_over():
            return places, list(order)
        number = room(bins, merged.members[columns[n].channel_class], draws[n])
        if number is None:
            number = _made_room(bins, merged, columns, draws, places, n)
        if number is None:
            homeless.append(n)
        else:
            places[n] = number
            bins.put(number, draws[n])
    return places, homeless


def room(bins: Bins, members: Sequence[int], draw: Draw) -> int | None:
    """The class on which a circuit leaves the fullest limit least full."""
    numbers = np.array(members)
    use = bins.use(numbers, draw)
    for at in np.argsort(use, kind="stable").tolist():
        if use[at] > 1:
            return None
        number = int(numbers[at])
        if bins.bears(number, draw):
            return number
    return None


def _made_room(bins: Bins, merged: Merged, columns, draws, places: dict[int, int], n: int) -> int | None:
    """A class for a circuit after another was moved away from its unit or bank."""
    members = np.array(merged.members[columns[n].channel_class])
    units = list(dict.fromkeys(bins.unit[members[np.argsort(bins.use(members, draws[n]), kind="stable")]].tolist()))
    for unit in units:
        own = tuple(m for m in members.tolist() if bins.unit[m] == unit)
        for other in sorted(m for m, place in places.items() if bins.unit[place] == unit):
            number = _swapped(bins, merged, columns, draws, places, other, own, draws[n])
            if number is not None:
                return number
    return None


def _swapped(bins: Bins, merged: Merged, columns, draws, places, other: int, own, draw: Draw) -> int | None:
    """One of a unit's classes for a circuit, if one comes free by moving another circuit and that finds room too."""
    old = places[other]
    bins.take(old, draws[other])
    number, new = room(bins, own, draw), None
    if number is not None:
        bins.put(number, draw)
        new = room(bins, merged.members[columns[other].channel_class], draws[other])
        bins.take(number, draw)
    places[other] = old if new is None else new
    bins.put(places[other], draws[other])
    return number if new is not None else None
