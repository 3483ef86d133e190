"""What a growth is made of: new kinds of channel, the task they are columns of, and the growth read from circuits."""

import math
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property, lru_cache

from pdm_alloc.circuits.classes import ChannelClass, Rating, rating_of, unit_ambient_c
from pdm_alloc.circuits.columns import Counts
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.domain.module import Channel, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.electrics.current import derating_factor
from pdm_alloc.program.handout import Handed, in_columns
from pdm_alloc.program.partition import Column, Merged, Task, loadings_of
from pdm_alloc.program.solver import Program
from pdm_alloc.program.sums import Limit, Sums

__all__ = [
    "Added",
    "Flow",
    "Growth",
    "GrowthTask",
    "Limits",
    "NewKind",
    "as_asked",
    "kinds_there",
    "plain",
    "read_growth",
    "singles_of",
    "suits",
    "with_kinds",
]

# What a new channel costs, in whole numbers: so much, and 1 for each step of its rating.
CHANNEL_PRICE = 300
_PWM = 10
_COMPUTED = 150  # for one that the module has not: made for one load, it is not to bear what those it has would do for
SHARE_PCT = Fraction(60)
"""How unevenly new channels that are paralleled may share, per cent: the default of the table."""

_MANY_ITEMS = 150
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
        ``single``; ``bridge`` for two such channels that form a reversing pair, ``pair`` for two that are paralleled.
    is_computed : bool
        Whether the unit has no such channel.
    """

    unit: int
    channel: Channel
    use: str = "single"
    is_computed: bool = False

    @property
    def width(self) -> int:
        """Channels it takes."""
        return 1 if self.use == "single" else 2

    @property
    def price(self) -> int:
        """Cost in the program, no unit: steps of rating beside a price for each channel."""
        own = self.channel
        strength = (own.continuous_ma + own.peak_ma // 100) // _STEP_MA + (_PWM if "pwm" in own.features else 0)
        each = CHANNEL_PRICE + strength + (_COMPUTED if self.is_computed else 0)
        return self.width * each + (0 if own.max_wire_mm2 is None else round(own.max_wire_mm2))


def plain(channel: Channel) -> Channel:
    """A channel's ratings and the number of its pins, without names and labels."""
    pins = ("",) * len(channel.pins)
    return replace(channel, name="", connector="", pins=pins, bank=None, bridge=None, pair=None, extra=(), on_mohm=None)


def _rated(channel: Channel) -> Channel:
    """What a single channel or a bridge is judged by: kinds that nothing else tells apart cost a column each."""
    return replace(plain(channel), features=frozenset(), share_pct=SHARE_PCT, contact_c=None, turn_off_mj=None)


def kinds_there(units: Sequence[Unit], types: Sequence[ItemType]) -> Iterator[NewKind]:
    """The channels there are, with PWM and as reversing pairs where an item asks for it."""
    for number, unit in enumerate(units):
        channels = list(dict.fromkeys(map(_rated, unit.module.channels)))
        channels.sort(key=lambda c: (c.continuous_ma, c.peak_ma))
        if any(t.pwm for t in types):
            channels += [replace(c, features=frozenset({"pwm"})) for c in channels]
        yield from (NewKind(number, c) for c in channels)
        if any(t.reversing for t in types):
            yield from (NewKind(number, c, "bridge") for c in channels)


def suits(kind: NewKind, types: Iterable[ItemType]) -> bool:
    """Whether a kind is no dearer than items of a command have a use for."""
    wants = [t for t in types if t.reversing == (kind.use == "bridge")]
    return bool(wants) and ("pwm" not in kind.channel.features or any(t.pwm for t in wants))


@dataclass(frozen=True, slots=True)
class Added:
    """Channels of a kind by name, two for each reversing pair, and the loads on them."""

    kind: NewKind
    names: tuple[str, ...]
    loads: tuple[str, ...] = ()


Limits = tuple[tuple[Limit, int], ...]
"""Limits with what it takes to bear the circuits, mA."""


@dataclass(frozen=True)
class Growth:
    """Result of the program.

    Parameters
    ----------
    outcome : str
        One of the five words; proven best: no part of it can be less.
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
    is_cheapest : bool
        True: no cheaper channels are enough, whatever banks grow.
    hint : tuple of (Limit, int) or None
        As `over`, where fractions of circuits were allowed: what banks might do with; None: not known.
    """

    outcome: str
    added: tuple[Added, ...] = ()
    spares: int = 0
    over: Limits = ()
    circuits: tuple[Handed, ...] = ()
    is_listed: bool = True
    is_cheapest: bool = False
    hint: Limits | None = None


def as_asked(rating: Rating, types: Iterable[ItemType]) -> Rating:
    """A rating as items ask for it: PWM that none of them needs changes no circuit."""
    return _without_pwm(rating) if rating.pwm and not any(t.pwm for t in types) else rating


@lru_cache(maxsize=1_024)
def _without_pwm(rating: Rating) -> Rating:
    return replace(rating, pwm=False)


def singles_of(merged: Merged) -> dict[int, list[int]]:
    """Of merged classes of paralleled channels in one bank those that these channels are in by themselves.

    What each of those bears takes one channel there in place of two. Nothing of several units, nothing locked, and
    nothing where there are few items: listing all of it then takes less time than it takes to pack fewer circuits.
    """
    if sum(t.count for t in merged.task.all_types()) < _MANY_ITEMS:
        return {}
    classes, locked, fine = merged.task.classes, merged.task.locked, merged.fine.classes
    home = {name: n for n, own in enumerate(classes) if own.use == "single" for (name,) in own.slots}
    pairs = [n for n, own in enumerate(classes) if own.use == "pair" and len(merged.task.units) == 1]
    in_one_bank = [n for n in pairs if all(len(fine[m].bank_portions) <= 1 for m in merged.members[n])]
    on = {n: sorted({home.get(name, -1) for slot in classes[n].slots for name in slot}) for n in in_one_bank}
    return {n: at for n, at in on.items() if not any(m < 0 or locked[m] for m in (n, *at))}


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

    @cached_property
    def spare_kind(self) -> int:
        """Number of the new kind of which idle ones are the cheapest."""
        return min((n for n, k in enumerate(self.kinds) if k.use == "single"), key=lambda n: self.kinds[n].price)

    @property
    def old(self) -> int:
        """Number of the merged classes."""
        return len(self.merged.task.classes)

    @cached_property
    def singles(self) -> dict[int, list[int]]:
        """As `singles_of`."""
        return singles_of(self.merged)

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

    def with_steps(self, steps: Mapping[tuple[int, str], float]) -> Iterator[tuple[Limit, int]]:
        """Limits of banks raised by so many steps, rounded up, and what each then bears, mA."""
        usable = self.steps()
        for limit in self.sums.limits:
            base, step = usable.get((limit.unit, limit.bank or ""), (0.0, 0.0))
            number = math.ceil(steps.get((limit.unit, limit.bank or ""), 0.0) - _OFF)
            if number > 0 and not limit.is_peak:
                yield limit, math.floor(base + number * step + _OFF)

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


def _class_of(vehicle: Vehicle, units: Sequence[Unit], number: int, kind: NewKind, items: int) -> ChannelClass:
    rating = rating_of(vehicle, units[kind.unit], [kind.channel] * kind.width, kind.use)
    names = tuple(tuple(f" new {number + 1}-{n + 1}{side}" for side in "ab"[: kind.width]) for n in range(items))
    return ChannelClass(kind.unit, kind.use, rating, (), names)


class Flow:
    """Circuits of a task, counted, and how many of those that may be on the same classes are on each of them.

    Without limits of banks nothing else tells such circuits apart on a channel, so that a variable for each circuit
    and one for each such group and class do in place of one for each circuit on each class.

    Parameters
    ----------
    case : GrowthTask
        With its columns.
    """

    def __init__(self, case: GrowthTask):
        self.case, self.program = case, Program()
        self._at: dict[tuple[str, Counts], dict[int, Column]] = defaultdict(dict)
        for column in case.task.columns:
            self._at[column.command, column.counts][column.channel_class] = column
        self._number = {key: self.program.variable(max(c.most for c in at.values())) for key, at in self._at.items()}
        self._alike: dict[Hashable, list[tuple[str, Counts]]] = defaultdict(list)
        held = {number for number, spots in enumerate(case.task.locked) if spots}
        for key, at in self._at.items():
            self._alike[(frozenset(at), key if held & set(at) else None)].append(key)
        self._on = {
            (group, number): self.program.variable(sum(self.program.most[self._number[key]] for key in keys))
            for group, keys in self._alike.items()
            for number in sorted(self._at[keys[0]])
        }
        self._add_rows()

    def _add_rows(self) -> None:
        items: dict[tuple[str, int], dict[int, float]] = defaultdict(dict)
        for (command, counts), v in self._number.items():
            for n, k in counts:
                items[command, n][v] = k
        for command, types in self.case.task.types.items():
            for n, t in enumerate(types):
                self.program.row(items[command, n], t.count, t.count)
                self._add_locks(command, n, t)
        for group, keys in self._alike.items():
            here = {v: -1.0 for (other, _), v in self._on.items() if other == group}
            self.program.row({self._number[key]: 1.0 for key in keys} | here, 0, 0)
        for capacity in self.case.task.capacities:
            weights = {v: w for number, w in capacity.weights for v in self.on(number)}
            self.program.row(weights, most=capacity.most)

    def _add_locks(self, command: str, n: int, t: ItemType) -> None:
        for spot in ((unit, channel) for unit, channels in t.locked for channel in channels):
            weights = {
                v: 1.0
                for (group, number), v in self._on.items()
                if spot in self.case.task.locked[number] and self._holds(self._alike[group], command, n)
            }
            self.program.row(weights, least=1)

    def _holds(self, keys: Sequence[tuple[str, Counts]], command: str, n: int) -> bool:
        return any(other == command and any(m == n for m, _ in counts) for other, counts in keys)

    def on(self, number: int) -> list[int]:
        """Variables of a class."""
        return self._by_class.get(number, [])

    @cached_property
    def _by_class(self) -> dict[int, list[int]]:
        numbers: dict[int, list[int]] = defaultdict(list)
        for (_, number), v in self._on.items():
            numbers[number].append(v)
        return numbers

    def chosen(self, values: Sequence[float]) -> list[Column]:
        """The columns of a solution, each as often as it is chosen."""
        columns = []
        for group, keys in self._alike.items():
            circuits = [key for key in keys for _ in range(round(values[self._number[key]]))]
            classes = [n for n in sorted(self._at[keys[0]]) for _ in range(round(values[self._on[group, n]]))]
            columns += [replace(self._at[key][n], most=1) for key, n in zip(circuits, classes, strict=True)]
        return columns


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
