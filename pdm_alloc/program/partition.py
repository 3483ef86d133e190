"""The set partitioning program: every item in exactly one circuit, every limit kept in every state."""

from collections import defaultdict
from collections.abc import Callable, Sequence

from pdm_alloc.circuits.items import ItemType, bank_limit_ma, duty_step, running_in_state_ma, state_load, total_limit_ma
from pdm_alloc.domain.vehicle import PPM
from pdm_alloc.program.solver import Program
from pdm_alloc.program.task import Column, Task

__all__ = ["partition"]

_MOST_MA = 100_000_000


def partition(
    task: Task,
    grow: Sequence[tuple[int, str]] = (),
    limits: bool = True,
    late: Callable[[], bool] | None = None,
) -> Program:
    """Variables and rows of a task: one variable per column, in order.

    Parameters
    ----------
    task : Task
        Columns, classes and limits.
    grow : sequence of (int, str)
        Unit number and bank of limits that may grow.
    limits : bool
        False: without the rows of banks and units, which classes merged over them cannot have.
    late : callable, optional
        True stops the building.

    Returns
    -------
    Program
        Variable n counts how often column n is chosen; the variables after the columns are by how
        many mA each limit of `grow` grows, in order; later variables are auxiliary.

    Raises
    ------
    OutOfTime
        `late` said so.
    """
    program = Program(late=late)
    for column in task.columns:
        program.variable(column.most)
    grown = {place: program.variable(_MOST_MA) for place in grow}
    for add in (_every_item_once, _capacities, _spares, _locks, *((_totals, _peaks) if limits else ())):
        add(program, task)
    if limits:
        _banks(program, task, grown)
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
    found: dict[int, list[int]] = defaultdict(list)
    for v, column in enumerate(task.columns):
        found[column.channel_class].append(v)
    return found


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


def _on_channel(task: Task, command, n, unit, channel):
    for v, column in enumerate(task.columns):
        here = (unit, channel) in task.locked[column.channel_class]
        if here and column.command == command and any(m == n for m, _ in column.counts):
            yield v


def _banks(program: Program, task: Task, grown: dict[tuple[int, str], int]) -> None:
    for number, unit in enumerate(task.units):
        for bank in unit.module.bank_ma:
            halves = {}
            for v, column in enumerate(task.columns):
                own = task.classes[column.channel_class]
                share = dict(own.bank_halves).get(bank, 0) if own.unit == number else 0
                if share:
                    halves[v] = share
            limit = bank_limit_ma(task.vehicle, unit, bank)
            _limit_in_states(program, task, halves, limit, grown.get((number, bank)))


def _totals(program: Program, task: Task) -> None:
    for number, unit in enumerate(task.units):
        halves = {v: 2 for v, c in enumerate(task.columns) if task.classes[c.channel_class].unit == number}
        _limit_in_states(program, task, halves, total_limit_ma(task.vehicle, unit))


def _limit_in_states(
    program: Program, task: Task, halves: dict[int, int], limit_ma: int, grown: int | None = None
) -> None:
    """A row a state, left out where everything in the vehicle together stays within the limit."""
    tolerance_loads = task.vehicle.settings.tolerance_loads
    for s, state in enumerate(task.vehicle.states):
        most = limit_ma * PPM // duty_step(state)
        if state_load(task.all_types(), s, state, tolerance_loads) > most:
            growth: dict[int, float] = {} if grown is None else {grown: -2 * (PPM // duty_step(state))}
            _limit_in_state(program, task, halves, s, 2 * most, growth)


def _limit_in_state(program: Program, task: Task, halves, s: int, most: int, growth: dict[int, float]) -> None:
    state, step = task.vehicle.states[s], duty_step(task.vehicle.states[s])
    weights: dict[int, float] = {}
    rises: dict[tuple[str, int], dict[int, float]] = defaultdict(dict)
    for v, share in halves.items():
        column = task.columns[v]
        duty = share * state.duty_ppm.get(column.command, 0) // step
        types = task.types[column.command]
        weights[v] = duty * sum(types[n].state_ma[s] * k for n, k in column.counts)
        for n, k in column.counts:
            if duty and types[n].state_deviation_ma[s]:
                rises[column.command, n][v] = duty * types[n].state_deviation_ma[s] * k
    weights.update(_robust(program, rises, task.vehicle.settings.tolerance_loads))
    program.row({**weights, **growth}, most=most)


def _robust(program: Program, rises, at_once: int) -> dict[int, float]:
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


def _peaks(program: Program, task: Task) -> None:
    """Whole-module peak on several units; on one unit the columns have taken care of it."""
    if len(task.units) == 1:
        return
    for s in range(len(task.vehicle.states)):
        for number in range(len(task.units)):
            _peak_in_state(program, task, number, s)


def _peak_in_state(program: Program, task: Task, number: int, s: int) -> None:
    limit = task.units[number].module.total_peak_ma
    every = running_in_state_ma(task.all_types(), s)
    running: dict[int, float] = {}
    tall: dict[int, int] = {}
    for v, column in _on_in(task, number, s):
        types = task.types[column.command]
        running[v] = _sum(types, column, lambda t: t.state_ma[s])
        excess = _sum(types, column, lambda t: t.excess_ma)
        if every + excess > limit:
            tall[v] = excess
    if not tall and every <= limit:
        return
    largest = program.variable(max(tall.values(), default=0), whole=False)
    program.row({**running, largest: 1}, most=limit)
    for v, excess in tall.items():
        program.row({largest: 1, _used(program, task, v): -excess}, least=0)


def _on_in(task: Task, number: int, s: int):
    state = task.vehicle.states[s]
    for v, column in enumerate(task.columns):
        if task.classes[column.channel_class].unit == number and state.is_on(column.command):
            yield v, column


def _used(program: Program, task: Task, v: int) -> int:
    """A variable that is 1 when column v is chosen at all."""
    most = task.columns[v].most
    if most == 1:
        return v
    used = program.variable(1)
    program.row({v: 1, used: -most}, most=0)
    return used


def _sum(types: tuple[ItemType, ...], column: Column, of: Callable[[ItemType], int]) -> int:
    return sum(of(types[n]) * k for n, k in column.counts)
