"""The set partitioning program: every item in exactly one circuit, every limit kept under every combination."""

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, NamedTuple

from pdm_alloc.program.solver import Clock, Program
from pdm_alloc.program.sums import Cut, Limit, Sums, item_ma
from pdm_alloc.program.task import Column, Task

__all__ = ["LateRows", "Raised", "add_sum", "loadings_of", "partition", "portions_on"]

_NONE: Mapping[Any, Any] = MappingProxyType({})
_MOST_STEPS = 1_000_000


class Raised(NamedTuple):
    """A limit that may grow: the variable of its steps, the usable limit without any and what a step adds, mA."""

    steps: int
    base_ma: float
    step_ma: float

    def usable_ma(self, steps: float) -> int:
        """The limit with so many steps, rounded down, mA."""
        return math.floor(self.base_ma + self.step_ma * round(steps) + _OFF)


_OFF = 1e-6  # by which floating point may be off

Item = tuple[str, int]
"""Command, and number of the item type within it."""


def partition(
    task: Task,
    grow: Mapping[tuple[int, str], tuple[float, float]] = _NONE,
    limits: bool = True,
    late: Callable[[], bool] | None = None,
    sums: Sums | None = None,
) -> Program:
    """Variables and rows of a task: one variable per column, in order.

    Parameters
    ----------
    task : Task
        Columns, classes and limits.
    grow : mapping of (int, str) to (float, float)
        Unit number and bank of limits that may grow: the usable limit before it is rounded, and by how much a step of
        the rating raises it, mA.
    limits : bool
        False: without the rows of banks and units, which classes merged over them cannot have.
    late : callable, optional
        True stops the building.
    sums : Sums, optional
        Combinations known so far; None: those of everything together.

    Returns
    -------
    Program
        Variable n counts how often column n is chosen; the variables after the columns are by how
        many steps each limit of `grow` grows, in order; later variables are auxiliary. `minimise` adds the
        combinations that its solutions break.

    Raises
    ------
    OutOfTime
        `late` said so.
    """
    program = Program(late=late)
    for column in task.columns:
        program.variable(column.most)
    grown: dict[tuple[int, str | None], Raised] = {
        place: Raised(program.variable(_MOST_STEPS), *values) for place, values in grow.items()
    }
    for add in (_every_item_once, _capacities, _spares, _locks):
        add(program, task)
    if limits:
        known = Sums(task.vehicle, task.units, task.types) if sums is None else sums
        _totals(program, task, known)
        _peaks(program, task, known)
        _banks(program, task, known, grown)
        program.late_rows = LateRows(task, known, grown)
    return program


def _every_item_once(program: Program, task: Task) -> None:
    weights: dict[tuple[str, int], dict[int, float]] = defaultdict(dict)
    for v, column in enumerate(task.columns):
        for n, k in column.counts:
            weights[column.command, n][v] = k
    for command, types in task.types.items():
        for n, t in enumerate(types):
            program.row(weights[command, n], t.count, t.count)


def _capacities(program: Program, task: Task) -> None:
    by_class = _by_class(task)
    for capacity in task.capacities:
        weights = {v: w for number, w in capacity.weights for v in by_class[number]}
        program.row(weights, most=capacity.most)


def _by_class(task: Task) -> dict[int, list[int]]:
    numbers: dict[int, list[int]] = defaultdict(list)
    for v, column in enumerate(task.columns):
        numbers[column.channel_class].append(v)
    return numbers


def _spares(program: Program, task: Task) -> None:
    wanted = task.vehicle.settings.spare_channels
    if wanted:
        widths = {v: task.classes[c.channel_class].width for v, c in enumerate(task.columns)}
        program.row(widths, most=task.channels() - wanted)


def _locks(program: Program, task: Task) -> None:
    """Every locked row has an item of its load on its channel."""
    for command, types in task.types.items():
        for n, t in enumerate(types):
            for unit, channels in t.locked:
                for channel in channels:
                    program.row(dict.fromkeys(_on_channel(task, command, n, unit, channel), 1), least=1)


def _on_channel(task: Task, command: str, n: int, unit: int, channel: str) -> Iterator[int]:
    """Columns with an item of a type on the class that has a locked channel."""
    for v, column in enumerate(task.columns):
        here = (unit, channel) in task.locked[column.channel_class]
        if here and column.command == command and any(m == n for m, _ in column.counts):
            yield v


def _banks(program: Program, task: Task, sums: Sums, grown: Mapping[tuple[int, str | None], Raised]) -> None:
    """Every bank under the combinations known to matter to it."""
    for cut, limit in _known(sums, "bank"):
        add_sum(program, task, cut, limit, enumerate(task.columns), grown)


def _totals(program: Program, task: Task, sums: Sums) -> None:
    """Every whole module, effective currents."""
    for cut, limit in _known(sums, "total"):
        add_sum(program, task, cut, limit, enumerate(task.columns))


def _peaks(program: Program, task: Task, sums: Sums) -> None:
    """Every whole module, what stays on and the inrush of what one input switches on."""
    for cut, limit in _known(sums, "peak"):
        add_sum(program, task, cut, limit, enumerate(task.columns))


def _known(sums: Sums, kind: str) -> Iterator[tuple[Cut, Limit]]:
    for cut, limits in sums.cuts.items():
        yield from ((cut, limit) for limit in sums.limits if limit in limits and limit.kind == kind)


def add_sum(
    program: Program,
    task: Task,
    cut: Cut,
    limit: Limit,
    columns: Iterable[tuple[int, Column]],
    grown: Mapping[tuple[int, str | None], Raised] = _NONE,
) -> None:
    """One combination within one limit, in portions of a milliamp; left out where everything together keeps it."""
    item = {
        (command, n): item_ma(t, cut, limit.settle_s)
        for command, types in task.types.items()
        for n, t in enumerate(types)
    }
    if _together(task, item) <= limit.most_ma:
        return
    weights: dict[int, float] = {}
    rises: dict[tuple[str, int], dict[int, float]] = defaultdict(dict)
    for v, column in columns:
        portions = portions_on(task, column, limit)
        for n, k in column.counts if portions else ():
            ma, rise = item[column.command, n]
            weights[v] = weights.get(v, 0) + portions * k * ma
            if rise:
                rises[column.command, n][v] = portions * k * rise
    weights.update(_robust(program, rises, task.vehicle.settings.tolerance_loads))
    more = None if limit.is_peak else grown.get((limit.unit, limit.bank))
    if more is None:
        program.row(weights, most=limit.whole * limit.most_ma)
    else:
        program.row(weights | {more.steps: -limit.whole * more.step_ma}, most=limit.whole * more.base_ma + _OFF)


def _together(task: Task, item: Mapping[tuple[str, int], tuple[int, int]]) -> int:
    counts = {(command, n): t.count for command, types in task.types.items() for n, t in enumerate(types)}
    rises = sorted((k * item[key][1] for key, k in counts.items()), reverse=True)
    return sum(k * item[key][0] for key, k in counts.items()) + sum(rises[: task.vehicle.settings.tolerance_loads])


def portions_on(task: Task, column: Column, limit: Limit) -> int:
    """Portions of a column's every milliamp that count against a limit."""
    channel_class = task.classes[column.channel_class]
    if channel_class.unit != limit.unit:
        return 0
    return limit.whole if limit.bank is None else dict(channel_class.bank_portions).get(limit.bank, 0)


def loadings_of(task: Task, sums: Sums, columns: Iterable[tuple[Column, int]]) -> dict[Limit, dict[Item, int]]:
    """What columns, each so many times, put on every limit."""
    loadings: dict[Limit, dict[Item, int]] = {limit: defaultdict(int) for limit in sums.limits}
    by_unit: dict[int, list[Limit]] = defaultdict(list)
    for limit in sums.limits:
        by_unit[limit.unit].append(limit)
    for column, times in columns:
        for limit in by_unit[task.classes[column.channel_class].unit]:
            portions = portions_on(task, column, limit)
            for n, k in column.counts if portions and times else ():
                loadings[limit][column.command, n] += portions * k * times
    return loadings


@dataclass
class LateRows:
    """Lazy constraints: rows of combinations, added once a solution violates them.

    Parameters
    ----------
    task : Task
        Its columns are the first variables of the program.
    sums : Sums
        Combinations known so far.
    grown : mapping of (int, str or None) to Raised
        Banks that may grow, by unit number and bank; without a bank the whole module.
    active : tuple of int or None
        Numbers, in the program of `task`, of the variables of the program asked about; None: it is that program.
    size : int
        Variables of the program of `task`, where `active` is given.
    """

    task: Task
    sums: Sums
    grown: Mapping[tuple[int, str | None], Raised]
    active: tuple[int, ...] | None = None
    size: int = 0

    def narrowed(self, active: Sequence[int], size: int) -> "LateRows":
        """The same for a program with some of the variables of this one's, which has `size`."""
        if self.active is not None:
            active, size = [self.active[v] if v < len(self.active) else -1 for v in active], self.size
        return replace(self, active=tuple(active), size=size)

    def add(self, program: Program, numbers: Sequence[int], values: Sequence[float], clock: Clock) -> bool:
        """Add a row for every limit a solution breaks.

        Parameters
        ----------
        program : Program
            Grows; auxiliary variables are put at its end.
        numbers : sequence of int
            Number of each of its variables in the program of `task`.
        values : sequence of float
            Of that program's variables.
        clock : Clock
            When to stop.

        Returns
        -------
        bool
            False: nothing is broken.
        """
        if self.active is not None:
            wide = dict(zip(self.active, values, strict=False))
            values = [wide.get(v, 0.0) for v in range(self.size)]
            numbers = [self.active[n] if 0 <= n < len(self.active) else -1 for n in numbers]
        chosen = ((column, round(values[v])) for v, column in enumerate(self.task.columns))
        loadings, broken = loadings_of(self.task, self.sums, chosen), False
        here = {number: new for new, number in enumerate(numbers)}
        columns = [(here[v], column) for v, column in enumerate(self.task.columns) if v in here]
        grown = {
            place: more._replace(steps=here[more.steps]) for place, more in self.grown.items() if more.steps in here
        }
        for limit in self.sums.limits:
            more = None if limit.is_peak else self.grown.get((limit.unit, limit.bank))
            raised = limit if more is None else replace(limit, most_ma=more.usable_ma(values[more.steps]))
            for worst in self.sums.broken_by(raised, loadings[limit], clock):
                broken = True
                self.sums.add(replace(worst, limit=limit))
                add_sum(program, self.task, worst.cut, limit, columns, grown)
        return broken


def _robust(program: Program, rises: Mapping[Item, Mapping[int, float]], at_once: int) -> dict[int, float]:
    """Terms that add the `at_once` largest rises to a sum, whichever they are.

    The largest sum of so many terms is the least of at_once * z + sum(p) with z + p >= rise for
    each, so a row that keeps the latter within the limit keeps the former.
    """
    if not rises or not at_once:
        return {}
    limit = 10**12
    z = program.variable(limit, whole=False)
    terms: dict[int, float] = {z: at_once}
    for rise in rises.values():
        p = program.variable(limit, whole=False)
        terms[p] = 1
        program.row({z: 1, p: 1, **{v: -w for v, w in rise.items()}}, least=0)
    return terms
