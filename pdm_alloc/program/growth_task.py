"""What a growth is made of: new kinds of channel, the task they are columns of, and the growth read from circuits."""

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from pdm_alloc.circuits.classes import ChannelClass, rating_of, unit_ambient_c
from pdm_alloc.domain.module import Channel
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.thermal import derating_factor
from pdm_alloc.program.handout import Handed, in_columns
from pdm_alloc.program.partition import loadings_of
from pdm_alloc.program.sums import Limit, Sums
from pdm_alloc.program.task import Column, Merged, Task

__all__ = ["CHANNEL_PRICE", "Added", "Growth", "GrowthTask", "NewKind", "read_growth", "with_kinds"]

# What a new channel costs, in whole numbers: so much, and 1 for each step of its rating.
CHANNEL_PRICE = 300
_PWM = 10
_STEP_MA = 100
_OFF = 1e-6  # by which floating point may be off


@dataclass(frozen=True, slots=True)
class NewKind:
    """A kind of channel that may be added to a unit, outside its banks.

    Parameters
    ----------
    unit : int
        Number of the unit.
    channel : Channel
        Its ratings; its name and labels mean nothing.
    use : str
        ``single``, or ``bridge`` for two such channels that form a reversing pair.
    """

    unit: int
    channel: Channel
    use: str = "single"

    @property
    def width(self) -> int:
        """Channels it takes."""
        return 1 if self.use == "single" else 2

    @property
    def price(self) -> int:
        """Cost in the program, no unit: steps of rating beside a price for each channel."""
        own = self.channel
        strength = (own.continuous_ma + own.peak_ma // 100) // _STEP_MA + (_PWM if "pwm" in own.features else 0)
        return self.width * (CHANNEL_PRICE + strength) + (0 if own.max_wire_mm2 is None else round(own.max_wire_mm2))


@dataclass(frozen=True, slots=True)
class Added:
    """Channels of a kind by name, two for each reversing pair, and the loads on them."""

    kind: NewKind
    names: tuple[str, ...]
    loads: tuple[str, ...] = ()


@dataclass(frozen=True)
class Growth:
    """Result of the program.

    Parameters
    ----------
    outcome : str
        One of the five words; proven best: no cheaper growth is enough.
    added : tuple of Added
        Channels by kind.
    spares : int
        Channels to stay free that have to be added.
    over : tuple of (Limit, int)
        Limits of banks, of several units also those of the whole of each, that the circuits are beyond, and the usable
        limit it takes, mA.
    circuits : tuple of Handed
        The vehicle on the channels there are and the new ones.
    is_listed : bool
        False: some command has more circuits than were looked at.
    """

    outcome: str
    added: tuple[Added, ...] = ()
    spares: int = 0
    over: tuple[tuple[Limit, int], ...] = ()
    circuits: tuple[Handed, ...] = ()
    is_listed: bool = True


@dataclass(frozen=True)
class GrowthTask:
    """The program's task: classes merged and the new kinds after them."""

    merged: Merged
    kinds: Sequence[NewKind]
    task: Task
    sums: Sums
    vehicle: Vehicle

    @property
    def spares(self) -> int:
        """Channels that have to stay free."""
        return self.vehicle.settings.spare_channels

    @property
    def old(self) -> int:
        """Number of the merged classes."""
        return len(self.merged.task.classes)

    @property
    def shift(self) -> int:
        """By how much the numbers of the new kinds rise where nothing is merged."""
        return len(self.merged.fine.classes) - self.old

    @cached_property
    def fine(self) -> Task:
        """Classes before merging and the new kinds after them."""
        return with_kinds(self.merged.fine, self.kinds)

    def there(self, columns: Sequence[Column]) -> list[Column]:
        """Those on channels that are there."""
        return [c for c in columns if c.channel_class < self.old]

    def new(self, columns: Sequence[Column]) -> list[Column]:
        """Those on new kinds, by the numbers of `fine`."""
        return [replace(c, channel_class=c.channel_class + self.shift) for c in columns if c.channel_class >= self.old]

    def grown(self, growth: Growth) -> int:
        """By how many steps of their ratings limits grow in all."""
        usable = self.steps()
        total = 0
        for limit, need_ma in growth.over:
            base, step = usable.get((limit.unit, limit.bank or ""), (limit.most_ma, _STEP_MA))
            total += math.ceil((need_ma - base) / step - _OFF)
        return total

    def steps(self) -> dict[tuple[int, str], tuple[float, float]]:
        """Of every bank its usable limit and by how much a step of its rating raises it, mA, neither rounded."""
        margin = 1 - self.vehicle.settings.module_headroom_pct / 100
        factors = [
            derating_factor(u.module.derating, unit_ambient_c(self.vehicle, u)) * margin for u in self.fine.units
        ]
        return {
            (n, bank): (float(ma * factors[n]), float(_STEP_MA * factors[n]))
            for n, unit in enumerate(self.fine.units)
            for bank, ma in unit.module.bank_ma.items()
        }


def with_kinds(task: Task, kinds: Sequence[NewKind]) -> Task:
    """A task with a class for each new kind."""
    items = sum(t.count for t in task.all_types())
    new = tuple(_class_of(task.vehicle, task.units, n, kind, items) for n, kind in enumerate(kinds))
    return replace(task, classes=(*task.classes, *new), locked=(*task.locked, *(frozenset() for _ in new)))


def _class_of(vehicle, units, number: int, kind: NewKind, items: int) -> ChannelClass:
    rating = rating_of(vehicle, units[kind.unit], [kind.channel] * kind.width, kind.use)
    names = tuple(tuple(f" new {number + 1}-{n + 1}{side}" for side in "ab"[: kind.width]) for n in range(items))
    return ChannelClass(kind.unit, kind.use, rating, (), names)


def read_growth(case: GrowthTask, columns: Sequence[Column], growth: Growth) -> Growth:
    """A growth with its circuits, the new channels by kind, and what the circuits put on limits beyond them."""
    times = Counter(columns)
    task = replace(case.fine, columns=tuple(times))
    names: dict[int, list[str]] = defaultdict(list)
    loads: dict[int, dict[str, None]] = defaultdict(dict)
    handed = in_columns(task, tuple(times.values()))
    first = len(task.classes) - len(case.kinds)
    for v, circuit in handed:
        at = task.columns[v].channel_class - first
        if at >= 0:
            names[at] += circuit.channels
            loads[at].update(dict.fromkeys(load for load, _ in circuit.items))
    added = tuple(Added(case.kinds[at], tuple(names[at]), tuple(loads[at])) for at in sorted(names))
    over = tuple(_over(task, case.sums, times.items()))
    return replace(growth, added=added, circuits=tuple(circuit for _, circuit in handed), over=over)


def _over(task: Task, sums: Sums, times: Iterable[tuple[Column, int]]) -> Iterator[tuple[Limit, int]]:
    """Limits that circuits are beyond, and what it takes to bear them, mA."""
    for limit, loading in loadings_of(task, sums, times).items():
        beyond = [worst.amount_ma for worst in sums.broken_by(limit, loading)]
        if beyond:
            yield limit, max(beyond)
