"""Greedy allocation: best-fit decreasing over channels, banks and units, every limit kept."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

import numpy as np

from pdm_alloc.circuits.classes import Rating
from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, OutOfTime
from pdm_alloc.circuits.draws import Wiring, borne_for
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.program.packing import Bins, Draw, room
from pdm_alloc.program.partition import Column, Task, circuit_on, is_allowed
from pdm_alloc.program.solver import Clock

__all__ = ["a_few", "filled", "greedy", "partly"]


def greedy(
    bins: Bins, book: CircuitBook, clock: Clock, alone: bool, wired: Sequence[Column] = ()
) -> tuple[Column, ...] | None:
    """Allocate by best-fit decreasing, the weakest classes first where the strongest first fails; no proof of anything.

    Parameters
    ----------
    bins : Bins
        Channels, banks and units; emptied.
    book : CircuitBook
        Asked for the physics of each circuit.
    clock : Clock
        When to stop.
    alone : bool
        True: an item gets a channel of its own as long as there are enough for all that follow.
    wired : sequence of Column
        Circuits to begin with, on classes before merging, as far as the limits bear them.

    Returns
    -------
    tuple of Column or None
        Circuits on classes before merging; None where the heuristic failed or time ran out.
    """
    ways = (_Heuristic(bins, book, clock, sign, alone) for sign in (-1, 1))
    complete = next((way for way in ways if way.run(wired)), None)
    return None if complete is None else tuple(column for column, _ in complete.circuits)


def partly(
    bins: Bins, book: CircuitBook, clock: Clock, spares: int
) -> tuple[tuple[Column, ...], list[tuple[str, Counts]]]:
    """Allocate what finds a channel.

    Parameters
    ----------
    bins, book, clock
        As of `greedy`.
    spares : int
        Channels that stay free.

    Returns
    -------
    tuple of Column
        Circuits on classes before merging.
    list of (str, Counts)
        Command and items that found no channel.
    """
    way = _Heuristic(bins, book, clock, 1, False)
    way.left -= spares
    over = way.unplaced()
    return tuple(column for column, _ in way.circuits), over


class _Heuristic:
    """Circuits so far, with the load of each; weakest class first with sign 1, strongest first with -1."""

    def __init__(self, bins: Bins, book: CircuitBook, clock: Clock, sign: int, alone: bool):
        self.bins, self.book, self.clock = bins, book, clock
        merged = self.merged = bins.merged
        self.task = merged.task
        self.circuits: list[tuple[Column, Draw]] = []
        self.of_command: dict[str, list[int]] = {command: [] for command in self.task.types}
        self.home = {number: m for m, numbers in enumerate(merged.members) for number in numbers}
        self.left = self.task.channels() - self.task.vehicle.settings.spare_channels
        self.alone, self.items = alone, sum(t.count for t in self.task.all_types())
        self.placed: Counter[tuple[str, int]] = Counter()
        self._known: dict[tuple[str, Counts, int], tuple[Column, Draw] | None] = {}
        self._borne: dict[tuple[int, Fraction | None], int] = {}
        classes = self.task.classes
        self.order = sorted(range(len(classes)), key=lambda m: (classes[m].width, sign * classes[m].rating.rated_ma, m))

    def run(self, wired: Sequence[Column] = ()) -> bool:
        """Place every item; False where one finds no channel."""
        self.bins.clear()
        for column in wired:
            self._begin(column, self.bins.draw(column.command, column.counts))
        return all(not self.clock.is_over() and self._place(*step) for step in self._steps())

    def unplaced(self) -> list[tuple[str, Counts]]:
        """Place what finds a channel; command and items of each step that found none."""
        self.bins.clear()
        return [step[:2] for step in self._steps() if self.clock.is_over() or not self._place(*step)]

    def _begin(self, column: Column, draw: Draw) -> None:
        number = column.channel_class
        if self.bins.use(np.array([number]), draw)[0] <= 1 and self.bins.bears(number, draw):
            self._put(column, draw)
            self.placed.update({(column.command, n): k for n, k in column.counts})
            self.items -= sum(k for _, k in column.counts)

    def _put(self, column: Column, draw: Draw) -> None:
        self.bins.put(column.channel_class, draw)
        self.of_command[column.command].append(len(self.circuits))
        self.circuits.append((column, draw))
        self.left -= self.task.classes[self.home[column.channel_class]].width

    def _steps(self) -> Iterator[tuple[str, Counts, tuple[int, str] | None]]:
        """Locked items, then whole commands that stay together, then single items, largest first."""
        singles: list[tuple[int, int, str, int]] = []
        for command, types in self.task.types.items():
            if types[0].together:
                if not self.placed[command, 0]:
                    yield command, tuple((n, t.count) for n, t in enumerate(types)), None
                continue
            for n, t in enumerate(types):
                places = [(unit, name) for unit, names in t.locked for name in names][self.placed[command, n] :]
                yield from ((command, ((n, 1),), place) for place in places)
                singles += [(*self._rank(t), command, n)] * (t.count - self.placed[command, n] - len(places))
        yield from ((command, ((n, 1),), None) for *_, command, n in sorted(singles))

    def _rank(self, t: ItemType) -> tuple[int, int]:
        ratings = [c.rating for c in self.task.classes]
        suitable = sum(
            r.reversing == t.reversing and (r.pwm or not t.pwm) and r.usable_ma >= t.running_ma for r in ratings
        )
        return suitable, -t.running_ma

    def _place(self, command: str, counts: Counts, place: tuple[int, str] | None) -> bool:
        self.items -= sum(k for _, k in counts)
        if self.alone and self.left > self.items and self._opened(command, counts, place):
            return True
        if place is None and any(self._added(at, counts) for at in self._fullest(command, counts)):
            return True
        return self._opened(command, counts, place)

    def _fullest(self, command: str, counts: Counts) -> list[int]:
        """Circuits that may bear more items, by their running currents alone, the fullest first."""
        types = self.task.types[command]
        more_ma = sum(k * min(types[n].volt_ma) for n, k in counts)  # whichever voltage a circuit draws most at
        wide = (at for at in self.of_command[command] if self._left_ma(self.circuits[at][0]) >= more_ma)
        return sorted(wide, key=lambda at: -self.circuits[at][0].fit.use_ppm)

    def _left_ma(self, column: Column) -> int:
        """Running current that a circuit's channel may bear beside it."""
        m, headroom_pct = self.home[column.channel_class], self.task.types[column.command][0].headroom_pct
        if (m, headroom_pct) not in self._borne:
            self._borne[m, headroom_pct] = borne_for(self.task.classes[m].rating, headroom_pct)
        return self._borne[m, headroom_pct] - column.fit.running_ma

    def _added(self, at: int, counts: Counts) -> bool:
        """Add items to a circuit where every limit allows it; True if added."""
        column = self.circuits[at][0]
        total = dict(column.counts)
        for n, k in counts:
            total[n] = total.get(n, 0) + k
        grown = self._circuit(column.command, tuple(sorted(total.items())), self.home[column.channel_class])
        if grown is None:
            return False
        draw, number = self.circuits[at][1], column.channel_class
        self.bins.take(number, draw)
        fits = self.bins.bears(number, grown[1])
        self.bins.put(number, grown[1] if fits else draw)
        if fits:
            self.circuits[at] = (_on(grown[0], number), grown[1])
        return fits

    def _opened(self, command: str, counts: Counts, place: tuple[int, str] | None = None) -> bool:
        """Start a circuit on a free channel; True if there was one."""
        for m in self.order:
            width = self.task.classes[m].width
            if width > self.left or (place is None) == bool(self.task.locked[m]) or not self._has(m, place):
                continue
            circuit = self._circuit(command, counts, m)
            number = None if circuit is None else room(self.bins, self.merged.members[m], circuit[1])
            if circuit is not None and number is not None:
                self._put(_on(circuit[0], number), circuit[1])
                return True
        return False

    def _has(self, m: int, place: tuple[int, str] | None) -> bool:
        return place is None or place in self.task.locked[m]

    def _circuit(self, command: str, counts: Counts, m: int) -> tuple[Column, Draw] | None:
        """A circuit on a merged class, and its load; None where it is not allowed."""
        key = (command, counts, m)
        if key not in self._known:
            column = circuit_on(self.task, command, counts, m, self.book)
            self._known[key] = None if column is None else (column, self.bins.draw(command, counts))
        return self._known[key]


def _on(column: Column, number: int) -> Column:
    return Column(column.command, column.counts, number, column.fit, 1)


def a_few(task: Task, command: str, book: CircuitBook, clock: Clock) -> Iterator[Column]:
    """A few circuits of a command: every item alone, and filled one after the other with the largest that still fit.

    Raises
    ------
    OutOfTime
        The clock ran out.
    """
    types, wiring = task.types[command], book.wiring(task.vehicle)
    for number, own in enumerate(task.classes):
        circuits: dict[Counts, Fit] = {}
        left = {n: t.count for n, t in enumerate(types)}
        while any(left.values()):
            if clock.is_over():
                raise OutOfTime(command)
            circuit = filled(types, left, own.rating, book, wiring)
            if circuit is None:
                break
            circuits[circuit[0]] = circuit[1]
            for n, k in circuit[0]:
                left[n] -= k
        for n in range(len(types)):
            alone = book.one(types, ((n, 1),), own.rating, wiring)
            if alone is not None and alone.made is not None:
                circuits[(n, 1),] = alone
        for counts, fit in sorted(circuits.items(), key=lambda pair: pair[0]):
            if is_allowed(task, command, counts, number):
                yield Column(command, counts, number, fit, task.upper(command, counts, number))


def filled(
    types: tuple[ItemType, ...], left: Mapping[int, int], rating: Rating, book: CircuitBook, wiring: Wiring
) -> tuple[Counts, Fit] | None:
    """A circuit of what is left, the first types (which draw most) first."""
    counts: dict[int, int] = {}
    best = None
    for n in sorted(left):
        for _ in range(left[n]):
            trial = tuple(sorted({**counts, n: counts.get(n, 0) + 1}.items()))
            fit = book.one(types, trial, rating, wiring)
            if fit is None or fit.made is None:
                break
            counts[n] = counts.get(n, 0) + 1
            best = (trial, fit)
    return best
