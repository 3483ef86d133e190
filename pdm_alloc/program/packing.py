"""Circuits packed to banks and units."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pdm_alloc.circuits.classes import ChannelClass
from pdm_alloc.circuits.columns import Counts
from pdm_alloc.program.condition_rows import Unanswered
from pdm_alloc.program.partition import Column, Merged, loadings_of
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.sums import Sums, item_ma

__all__ = ["Bins", "Draw", "pack", "room", "spread", "unbroken"]

_NEVER = 2**62  # limit of the row that stands where a class has no more rows of its own


@dataclass(frozen=True)
class Draw:
    """Load of one circuit under every combination known to matter, one row per time constant of heating.

    Parameters
    ----------
    stated : array of int, shape (time constants, combinations)
        What it adds as stated, mA.
    rises : dict of (str, int) to array of int
        What each of its loads may add at the top of its tolerance, same shape, by command and type.
    """

    stated: np.ndarray
    rises: dict[tuple[str, int], np.ndarray]


class Bins:
    """Channels, banks and units of a vehicle, and the load on each.

    Rows are the units' totals (and peaks, under changes of one input), the banks, and one that is never
    full; a class weighs on the total of its unit and on its banks, counted in portions of a milliamp.

    Parameters
    ----------
    merged : Merged
        Classes before and after merging.
    sums : Sums
        Combinations known to matter; those that come later count from the next `clear` on.
    """

    def __init__(self, merged: Merged, sums: Sums):
        self.merged, self.sums = merged, sums
        units, vehicle = merged.task.units, merged.task.vehicle
        self._bank_rows: dict[tuple[int, str], int] = {}
        for n, unit in enumerate(units):
            for bank in unit.module.bank_ma:
                self._bank_rows[n, bank] = len(units) + len(self._bank_rows)
        self._settles = list(dict.fromkeys(unit.module.settle_s for unit in units))
        self.settle = np.array([self._settles.index(unit.module.settle_s) for unit in units])
        self.limit = self._limits()
        self.unit = np.array([own.unit for own in merged.fine.classes])
        self.rows, self.portions = _padded([self._weights(own) for own in merged.fine.classes], len(self.limit) - 1)
        capacities: list[list[tuple[int, int]]] = [[] for _ in merged.fine.classes]
        for k, capacity in enumerate(merged.fine.capacities):
            for n, weight in capacity.weights:
                capacities[n].append((k, weight))
        self.capacities, self.widths = _padded(capacities, len(merged.fine.capacities))
        self.at_once = vehicle.settings.tolerance_loads
        self._draws: dict[tuple[str, Counts], Draw] = {}
        self.clear()

    def draw(self, command: str, counts: Counts) -> Draw:
        """Load of a circuit on the limits of banks and units."""
        if (command, counts) not in self._draws:
            self._draws[command, counts] = self._drawn(command, counts)
        return self._draws[command, counts]

    def _drawn(self, command: str, counts: Counts) -> Draw:
        stated = np.zeros((len(self._settles), self.limit.shape[1]), np.int64)
        rises = {}
        for n, k in counts:
            t = self.merged.task.types[command][n]
            pairs = [[item_ma(t, cut, settle) for cut in self.sums.cuts] for settle in self._settles]
            both = k * np.array(pairs, np.int64).reshape(*stated.shape, 2)
            stated += both[:, :, 0]
            if both[:, :, 1].any():
                rises[command, n] = both[:, :, 1]
        return Draw(stated, rises)

    def _limits(self) -> np.ndarray:
        """Portions of a milliamp by row and combination; never full where a combination says nothing of a row."""
        limits = np.full((len(self.merged.task.units) + len(self._bank_rows) + 1, len(self.sums.cuts)), _NEVER)
        for limit in self.sums.limits:
            row = limit.unit if limit.bank is None else self._bank_rows[limit.unit, limit.bank]
            for c, cut in enumerate(self.sums.cuts):
                if (cut.switched_on is not None) == limit.is_peak:
                    limits[row, c] = limit.whole * limit.most_ma
        return limits

    def _weights(self, channel_class: ChannelClass) -> list[tuple[int, int]]:
        unit, whole = channel_class.unit, self.sums.limits[0].whole
        banks = [(self._bank_rows.get((unit, bank)), share) for bank, share in channel_class.bank_portions]
        return [(unit, whole), *((row, share) for row, share in banks if row is not None)]

    def clear(self) -> None:
        """Remove every circuit."""
        if self.limit.shape[1] != len(self.sums.cuts):
            self.limit, self._draws = self._limits(), {}
        self._divisor = np.maximum(self.limit, 1)
        self.load = np.zeros_like(self.limit)
        self.free = np.array([capacity.most for capacity in self.merged.fine.capacities] + [_NEVER], np.int64)
        self.rises: list[dict[tuple[str, int], np.ndarray]] = [{} for _ in self.limit]

    def use(self, numbers: np.ndarray, draw: Draw) -> np.ndarray:
        """Highest share of any limit in use with a circuit on each of some classes; inf where no channel is free."""
        rows, stated = self.rows[numbers], draw.stated[self.settle[self.unit[numbers]]]
        load = (self.load[rows] + self.portions[numbers][:, :, None] * stated[:, None, :]) / self._divisor[rows]
        free = (self.free[self.capacities[numbers]] >= self.widths[numbers]).all(axis=1)
        return np.where(free, load.max(axis=(1, 2), initial=0.0), np.inf)

    def bears(self, number: int, draw: Draw) -> bool:
        """Whether a class with a free channel takes a circuit within every limit, tolerance included."""
        rows, portions, settle = self.rows[number], self.portions[number], self.settle[self.unit[number]]
        worst = np.stack([self._worst(row, share, draw, settle) for row, share in zip(rows, portions, strict=True)])
        return bool((self.load[rows] + portions[:, None] * draw.stated[settle] + worst <= self.limit[rows]).all())

    def _worst(self, row: int, portions: int, draw: Draw, settle: int) -> np.ndarray:
        """Sum of the largest rises on a row with a circuit added."""
        together = dict(self.rises[row])
        for load, rise in draw.rises.items():
            together[load] = together.get(load, 0) + portions * rise[settle]
        if not together or not self.at_once:
            return np.zeros(self.limit.shape[1], np.int64)
        largest: np.ndarray = np.sort(np.stack(list(together.values())), axis=0)[-self.at_once :]
        return np.asarray(largest.sum(axis=0))

    def put(self, number: int, draw: Draw) -> None:
        """Put a circuit on a class."""
        self._move(number, draw, 1)

    def take(self, number: int, draw: Draw) -> None:
        """Take a circuit off a class."""
        self._move(number, draw, -1)

    def _move(self, number: int, draw: Draw, sign: int) -> None:
        rows, portions, settle = self.rows[number], self.portions[number], self.settle[self.unit[number]]
        self.load[rows] += sign * portions[:, None] * draw.stated[settle]
        self.free[self.capacities[number]] -= sign * self.widths[number]
        for row, share in zip(rows.tolist(), portions.tolist(), strict=True):
            for load, rise in draw.rises.items() if share else ():
                self.rises[row][load] = self.rises[row].get(load, 0) + sign * share * rise[settle]


def _padded(pairs: list[list[tuple[int, int]]], filler: int) -> tuple[np.ndarray, np.ndarray]:
    """Lists of (number, weight) as two rectangular arrays, padded with weight 0."""
    width = max((len(own) for own in pairs), default=0)
    full = [[*own, *[(filler, 0)] * (width - len(own))] for own in pairs]
    both = np.array(full, np.int64).reshape(len(pairs), width, 2)
    return both[:, :, 0], both[:, :, 1]


_ROUNDS = 12


def pack(bins: Bins, columns: Sequence[Column], clock: Clock) -> tuple[Column, ...] | None:
    """Assign circuits on merged classes to classes before merging, best-fit decreasing.

    What finds no place comes first the next time.

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
    bins.clear()
    draws = [bins.draw(c.command, c.counts) for c in columns]
    order = _by_size(bins, columns, draws)
    for _ in range(_ROUNDS):
        places, homeless = _place(bins, columns, draws, order, clock)
        if not homeless:
            return tuple(replace(c, channel_class=places[n], most=1) for n, c in enumerate(columns))
        if clock.is_over():
            break
        order = [*homeless, *(n for n in order if n not in set(homeless))]
    return None


def spread(bins: Bins, columns: Sequence[Column]) -> tuple[Column, ...] | None:
    """Assign circuits on merged classes to classes before merging, beyond limits where there is no way within them.

    Parameters
    ----------
    bins : Bins
        Channels, banks and units; emptied.
    columns : sequence of Column
        Circuits on merged classes, one a channel or double.

    Returns
    -------
    tuple of Column or None
        Each where it leaves the fullest limit least full; None where a channel is missing.
    """
    draws, places = [bins.draw(c.command, c.counts) for c in columns], {}
    order = _by_size(bins, columns, draws)
    bins.clear()
    for n in order:
        members = bins.merged.members[columns[n].channel_class]
        use = bins.use(np.array(members), draws[n])
        at = int(np.argmin(use))
        if use[at] == np.inf:
            return None
        places[n] = members[at]
        bins.put(members[at], draws[n])
    return tuple(replace(c, channel_class=places[n], most=1) for n, c in enumerate(columns))


def _by_size(bins: Bins, columns: Sequence[Column], draws: Sequence[Draw]) -> list[int]:
    """Doubles first, for singles can take any channel that is left; then by the share of a limit they would take."""
    bins.clear()
    members = bins.merged.members
    size = [-float(bins.use(np.array(members[c.channel_class]), d).min()) for c, d in zip(columns, draws, strict=True)]
    width = [-bins.merged.task.classes[c.channel_class].width for c in columns]
    return sorted(range(len(columns)), key=lambda n: (width[n], size[n], n))


def _place(
    bins: Bins, columns: Sequence[Column], draws: Sequence[Draw], order: Sequence[int], clock: Clock
) -> tuple[dict[int, int], list[int]]:
    """Class of each circuit that found one, and the circuits that found none; all of them where time ran out."""
    bins.clear()
    places: dict[int, int] = {}
    homeless = []
    for n in order:
        if clock.is_over():
            return places, list(order)
        number = room(bins, bins.merged.members[columns[n].channel_class], draws[n])
        if number is None:
            homeless.append(n)
        else:
            places[n] = number
            bins.put(number, draws[n])
    return places, homeless


def room(bins: Bins, members: Sequence[int], draw: Draw) -> int | None:
    """The feasible class whose highest utilisation with the circuit is least; None if no class is feasible."""
    numbers = np.array(members)
    use = bins.use(numbers, draw)
    for at in np.argsort(use, kind="stable").tolist():
        if use[at] > 1:
            return None
        number = int(numbers[at])
        if bins.bears(number, draw):
            return number
    return None


_ATTEMPTS = 12


def unbroken(attempt: Callable[[], Sequence[Column] | None], bins: Bins, clock: Clock) -> Sequence[Column] | None:
    """Repeat a heuristic, adding the combinations it violates, until it violates none; None if it fails."""
    for _ in range(_ATTEMPTS):
        columns = attempt()
        if columns is None:
            return None
        try:
            loadings = loadings_of(bins.merged.fine, bins.sums, ((column, 1) for column in columns))
            if not bins.sums.broken(loadings):
                return columns
        except Unanswered:
            return None
        if clock.is_over():
            return None
    return None
