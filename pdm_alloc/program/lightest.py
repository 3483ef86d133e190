"""A solution altered: the lightest wiring of a given place, and how much more fits beside what stays.

What is found this way does fit; that no more fits has to be proved by the whole program.
"""

import math
from collections import Counter
from collections.abc import Callable, Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

from pdm_alloc.circuits.classes import Rating
from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, OutOfTime
from pdm_alloc.circuits.draws import Wiring, at_once_ma, draws_ma
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.greedy import greedy
from pdm_alloc.program.handout import Handed, hand_out
from pdm_alloc.program.packing import Bins, unbroken
from pdm_alloc.program.partition import Column, Task, merge, partition, task_of
from pdm_alloc.program.solver import BEST_SO_FAR, PROVEN_BEST, STOPPED_EMPTY, Clock, Program, Solution, solve_program
from pdm_alloc.program.stages import channels_used, minimise, objectives, packed, strength_used
from pdm_alloc.program.sums import Sums

__all__ = [
    "PASSED_OVER",
    "Base",
    "Lightest",
    "Point",
    "Return",
    "assign_returns",
    "base_of",
    "fits_beside",
    "keep_within_feeds",
    "lifted",
    "lightest",
    "most_beside",
    "task_beside",
    "wire_costs",
    "without_banks",
]

Chosen = Counter[tuple[str, Counts, int]]

_NO_LIMIT = 10**9


@dataclass(frozen=True)
class Base:
    """Solutions to put more beside.

    Parameters
    ----------
    outcome : str
        How the first solve ended.
    chosen : tuple of Counter
        For each solution how often each circuit is on each class; none where the outcome has none.
    """

    outcome: str
    chosen: tuple[Chosen, ...] = ()


def base_of(vehicle: Vehicle, units: Sequence[Unit], clock: Clock, book: CircuitBook) -> Base:
    """Solutions that leave much free: one the fewest channels, one the strongest channels.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    clock : Clock
        When to stop.
    book : CircuitBook
        Circuits of this vehicle known so far.

    Returns
    -------
    Base
    """
    try:
        task = task_of(vehicle, units, book, late=clock.is_over)
    except OutOfTime:
        return Base(STOPPED_EMPTY)
    few, weak = channels_used(task), strength_used(task)
    solutions = [minimise(partition(task), [packed([few, weak], task.channels())[0]], clock)[0]]
    if solutions[0]:
        solutions.append(minimise(partition(task), [weak], clock)[0])
    return Base(solutions[0].outcome, tuple(_chosen(task, s.values) for s in solutions if s))


def _chosen(task: Task, values: Sequence[float]) -> Chosen:
    chosen: Chosen = Counter()
    for column, value in zip(task.columns, values, strict=False):
        chosen[_key(column)] += round(value)
    return +chosen


class _Narrow(CircuitBook):
    """A book that knows of other commands only the circuits that some solution has."""

    def __init__(self, whole: CircuitBook, base: Base, command: str):
        super().__init__(whole.tolerance_loads)
        self._whole, self._command = whole, command
        keys = dict.fromkeys(key[:2] for chosen in base.chosen for key in chosen)
        self._wanted = {name: [c for n, c in keys if n == name] for name in dict.fromkeys(n for n, _ in keys)}

    def wiring(self, vehicle: Vehicle) -> Wiring:
        """As the whole book has it."""
        return self._whole.wiring(vehicle)

    def circuits(
        self,
        types: tuple[ItemType, ...],
        rating: Rating,
        wiring: Wiring,
        late: Callable[[], bool] | None = None,
        marks: tuple[Hashable, ...] = (),
        sure: Collection[Counts] = (),
    ) -> dict[Counts, Fit]:
        """Those of the free command, and those of others that are in use."""
        every = self._whole.circuits(types, rating, wiring, late, marks, sure)
        if types[0].command == self._command:
            return every
        return {counts: every[counts] for counts in self._wanted.get(types[0].command, ()) if counts in every}


def task_beside(vehicle: Vehicle, units: Sequence[Unit], book: CircuitBook, base: Base, command: str) -> Task:
    """The task of a vehicle in which only one command may be wired otherwise than in the base.

    Parameters
    ----------
    vehicle : Vehicle
        With more loads on that command than the base has.
    units : sequence of Unit
        What is fitted.
    book : CircuitBook
        Circuits of this vehicle known so far.
    base : Base
        Solutions for all other commands.
    command : str
        Its name.

    Returns
    -------
    Task
        For `most_beside`, `fits_beside` and `lifted`.

    Raises
    ------
    TooManyCircuits
        The command has too many different loads to list its circuits.
    """
    return task_of(vehicle, units, _Narrow(book, base, command))


def _key(column: Column) -> tuple[str, Counts, int]:
    return column.command, column.counts, column.channel_class


def most_beside(task: Task, base: Base, load: str, clock: Clock) -> int:
    """How many items of one load fit while the circuits of all other commands stay.

    Parameters
    ----------
    task : Task
        As `task_beside` makes it, with as many items of the load as may be asked for.
    base : Base
        Of the vehicle without that load.
    load : str
        Its name.
    clock : Clock
        When to stop.

    Returns
    -------
    int
        As many do fit; more may, if other circuits change.
    """
    return max((_most_beside(task, chosen, load, clock) for chosen in base.chosen), default=0)


def _most_beside(task: Task, chosen: Chosen, load: str, clock: Clock) -> int:
    small = _beside(task, chosen, load)
    if small is None:
        return 0
    program, columns = small
    command, number = _type_of(task, load)
    t = task.types[command][number]
    items = {v: dict(c.counts).get(number, 0) for v, c in columns.items() if c.command == command}
    weights = {v: float(k) for v, k in items.items() if k}
    old = sum(name != load for name, _ in t.items)
    program.rows = [
        (w, old, most) if (w, least) == (weights, t.count) else (w, least, most) for w, least, most in program.rows
    ]
    solution = minimise(program, [{v: -k for v, k in weights.items()}], clock)[0]
    return round(-solution.objective) - old if solution else 0


def fits_beside(task: Task, base: Base, load: str, clock: Clock) -> bool:
    """Whether all items of a load fit while the circuits of all other commands stay; as `most_beside`."""
    programs = (small[0] for chosen in base.chosen if (small := _beside(task, chosen, load)) is not None)
    return any(minimise(program, [{}], clock)[0] for program in programs)


def lifted(task: Task) -> dict[str, Task]:
    """The task with one kind of limit out of the way at a time.

    Parameters
    ----------
    task : Task
        Any.

    Returns
    -------
    dict of str to Task
        By kind: ``channels`` (and the spares wanted), ``bank X``, ``whole module``; with several units the kinds of
        each are one.
    """
    banks = sorted({bank for unit in task.units for bank in unit.module.bank_ma})
    free = {f"bank {bank}": replace(task, units=_raised(task.units, (bank,))) for bank in banks}
    if len(banks) > 1:
        free["banks"] = replace(task, units=_raised(task.units, banks))
    whole = (replace(u, module=replace(u.module, total_ma=_NO_LIMIT, total_peak_ma=_NO_LIMIT)) for u in task.units)
    return {"channels": _without_capacities(task), **free, "whole module": replace(task, units=tuple(whole))}


def without_banks(units: Sequence[Unit]) -> tuple[Unit, ...]:
    """Units whose channels share no bank: what does not fit on them does not fit, and that is quicker to prove.

    Channels that only their bank told apart become one class.
    """
    return tuple(
        replace(
            u, module=replace(u.module, channels=tuple(replace(c, bank=None) for c in u.module.channels), bank_ma={})
        )
        for u in units
    )


def _raised(units: Sequence[Unit], banks: Sequence[str]) -> tuple[Unit, ...]:
    return tuple(
        replace(
            u,
            module=replace(
                u.module, bank_ma={b: _NO_LIMIT if b in banks else ma for b, ma in u.module.bank_ma.items()}
            ),
        )
        for u in units
    )


def _without_capacities(task: Task) -> Task:
    vehicle = replace(task.vehicle, settings=replace(task.vehicle.settings, spare_channels=0))
    columns = tuple(
        replace(c, most=min(task.types[c.command][n].count // k for n, k in c.counts)) for c in task.columns
    )
    return replace(task, vehicle=vehicle, columns=columns, capacities=())


def _type_of(task: Task, load: str) -> tuple[str, int]:
    return next((command, n) for command, types in task.types.items() for n, t in enumerate(types) if _has(t, load))


def _has(t: ItemType, load: str) -> bool:
    return any(name == load for name, _ in t.items)


def _beside(task: Task, chosen: Chosen, load: str) -> tuple[Program, dict[int, Column]] | None:
    """The program of one command, all else as in the base, and its columns by variable; None: that is impossible."""
    command, _ = _type_of(task, load)
    columns = [c for c in task.columns if c.command == command or chosen[_key(c)]]
    fixed = {v: chosen[_key(c)] for v, c in enumerate(columns) if c.command != command}
    if sum(fixed.values()) != sum(times for (name, _, _), times in chosen.items() if name != command):
        return None
    program = partition(replace(task, columns=tuple(columns)))
    for v, times in fixed.items():
        program.row({v: 1}, times, times)
    return program, {v: column for v, column in enumerate(columns) if v not in fixed}


PASSED_OVER = "passed over"
_ROUNDING = 1e-6
_LISTING = 0.6  # of the time for circuits; the rest for an answer without them


@dataclass(frozen=True)
class Lightest:
    """How the search for the lightest wires ended; masses in tenths of a gram.

    Parameters
    ----------
    outcome : str
        One of the five words, or ``passed over``: it cannot be as light as was asked for.
    circuits : tuple
        As `hand_out` gives them.
    wire_dg, bound_dg : int
        Mass of the wires; below which it cannot be on these units.
    """

    outcome: str
    circuits: tuple[Handed, ...] = ()
    wire_dg: int = 0
    bound_dg: int = 0


def lightest(
    vehicle: Vehicle,
    units: Sequence[Unit],
    feeds_ma: Sequence[int],
    clock: Clock,
    book: CircuitBook,
    cutoff_dg: int | None = None,
    settle: bool = False,
    lists: bool = True,
) -> Lightest:
    """Allocate the loads so that their wires are as light as can be.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted, and where.
    feeds_ma : sequence of int
        What each unit's feed carries, as `feed_currents_ma` gives it, mA.
    clock : Clock
        When to stop.
    book : CircuitBook
        Circuits of this vehicle known so far.
    cutoff_dg : int, optional
        Heavier wires are of no interest, tenths of a gram.
    settle : bool
        Put the circuits found on the channels of their unit that make the headroom most even.
    lists : bool
        False: there is no time to list the circuits; the greedy allocation, where it is one, is the answer.

    Returns
    -------
    Lightest
        Its circuits have not been through the independent check.

    Raises
    ------
    ValueError
        A unit's ambient is outside its module's derating table.
    """
    listing = clock.part(_LISTING if lists else 0)
    try:
        task = task_of(vehicle, units, book, late=listing.is_over)
        program, cost = partition(task, late=listing.is_over), wire_costs(task)
    except OutOfTime:
        return _unlisted(vehicle, units, feeds_ma, clock, book)
    keep_within_feeds(program, task, feeds_ma)
    relaxed = solve_program(program, cost, clock, whole=False)
    if relaxed.outcome != PROVEN_BEST:
        return Lightest(relaxed.outcome)
    bound = math.ceil(relaxed.objective - _ROUNDING)
    if cutoff_dg is not None and bound > cutoff_dg:
        return Lightest(PASSED_OVER, bound_dg=bound)
    solution = minimise(program, [cost], clock)[0]
    if not solution:
        return Lightest(solution.outcome, bound_dg=bound)
    values = _evened(task, program, cost, solution, clock) if settle else solution.values
    return _answer(task, values, solution, cost, bound)


def _unlisted(
    vehicle: Vehicle, units: Sequence[Unit], feeds_ma: Sequence[int], clock: Clock, book: CircuitBook
) -> Lightest:
    """The greedy allocation, its wires as they come, where there was no time to list the circuits."""
    merged = merge(vehicle, units)
    bins = Bins(merged, Sums(vehicle, units, merged.fine.types))
    columns = unbroken(lambda: greedy(bins, book, clock, alone=False), bins, clock)
    if columns is None:
        return Lightest(STOPPED_EMPTY)
    times = Counter(columns)
    task, values = replace(merged.fine, columns=tuple(times)), tuple(times.values())
    if not _bear(task, values, feeds_ma):
        return Lightest(STOPPED_EMPTY)
    return _answer(task, values, Solution(BEST_SO_FAR, bound=0), wire_costs(task), 0)


def _bear(task: Task, times: Sequence[int], feeds_ma: Sequence[int]) -> bool:
    """Whether the feed of each unit bears what its circuits draw, as the rows of `keep_within_feeds` ask."""
    program = Program()
    keep_within_feeds(program, task, feeds_ma)
    return all(sum(k * times[v] for v, k in weights.items()) <= most for weights, _, most in program.rows)


def _evened(
    task: Task, program: Program, cost: dict[int, float], solution: Solution, clock: Clock
) -> tuple[float, ...]:
    """The same circuits on the same units, none heavier, on the channels that even out the headroom."""
    chosen = {_circuit(task, v) for v in range(len(task.columns)) if round(solution.values[v])}
    among = [v for v in range(len(program.most)) if v >= len(task.columns) or _circuit(task, v) in chosen]
    small, numbers = program.narrowed(among)
    small.row({new: cost.get(old, 0) for new, old in enumerate(numbers)}, most=solution.objective)
    wanted = [c for name, c in objectives(task, "isolate") if name == "even headroom"]
    costs = [{new: c[old] for new, old in enumerate(numbers) if c.get(old)} for c in wanted]
    solutions = [s for s in minimise(small, costs, clock) if s]
    if not solutions:
        return solution.values
    values = dict(zip(numbers, solutions[-1].values, strict=True))
    return tuple(values.get(v, 0.0) for v in range(len(program.most)))


def _circuit(task: Task, v: int) -> tuple[str, Counts, int]:
    column = task.columns[v]
    return column.command, column.counts, task.classes[column.channel_class].unit


def _answer(task: Task, values: Sequence[float], solution: Solution, cost: dict[int, float], bound: int) -> Lightest:
    times = tuple(round(v) for v in values[: len(task.columns)])
    wire = round(sum(c * times[v] for v, c in cost.items()))
    circuits = tuple(hand_out(task, times))
    if solution.outcome == PROVEN_BEST:
        return Lightest(PROVEN_BEST, circuits, wire, wire)
    return Lightest(BEST_SO_FAR, circuits, wire, max(bound, round(solution.bound)))


def wire_costs(task: Task) -> dict[int, float]:
    """Mass of each column's wire by number, tenths of a gram, zeros left out."""
    costs = {v: round(column.fit.mass_mg / 100) for v, column in enumerate(task.columns)}
    return {v: float(c) for v, c in costs.items() if c}


def keep_within_feeds(program: Program, task: Task, feeds_ma: Sequence[int]) -> None:
    """Rows that keep what each unit's loads draw at once within what its feed bears, in every state.

    Parameters
    ----------
    program : Program
        Of the task; grows.
    task : Task
        Columns.
    feeds_ma : sequence of int
        What the feed of each unit carries, mA.
    """
    for state, every in enumerate(draws_ma(task.vehicle, task.all_types())):
        for number, limit in enumerate(map(at_once_ma, feeds_ma)):
            if every > limit:
                program.row(_drawn(task, number, state), most=limit)


def _drawn(task: Task, number: int, state: int) -> dict[int, float]:
    """What each column on a unit draws in a state, all duties taken as 1, mA."""
    numbers = (v for v, c in enumerate(task.columns) if task.classes[c.channel_class].unit == number)
    return {v: _running(task, v, state) for v in numbers}


def _running(task: Task, v: int, state: int) -> float:
    types = task.types[task.columns[v].command]
    return sum(types[n].state_ma[state] * k for n, k in task.columns[v].counts)


# Millimetres of wire that leaving one return without a point counts as: more than any vehicle has.
_UNASSIGNED_MM = 1_000_000


@dataclass(frozen=True, slots=True)
class Point:
    """Limits of a ground point: current, mA, and returns; None: not judged."""

    max_ma: int | None
    max_wires: int | None


@dataclass(frozen=True, slots=True)
class Return:
    """Identical returns.

    Parameters
    ----------
    count, wires : int
        How many there are; conductors each has.
    state_ma : tuple of int
        What one carries in each operating state, mA.
    way_mm : mapping of int to int
        Length of wire to each point it may go to, by number of the point, mm.
    """

    count: int
    wires: int
    state_ma: tuple[int, ...]
    way_mm: Mapping[int, int]


def assign_returns(
    returns: Sequence[Return], points: Sequence[Point], limit_s: float = 30.0
) -> dict[tuple[int, int], int]:
    """Assign returns to ground points: as many as can be, then with the least wire.

    Parameters
    ----------
    returns : sequence of Return
        What has to reach a point.
    points : sequence of Point
        Where it may.
    limit_s : float
        Time limit, s.

    Returns
    -------
    dict of (int, int) to int
        By number of return and point, how many of them go there; in every state no point carries more
        than it bears. What is missing from `count` found no room.
    """
    program = Program()
    taken = {(r, p): program.variable(one.count) for r, one in enumerate(returns) for p in sorted(one.way_mm)}
    left = [program.variable(one.count) for one in returns]
    for r, one in enumerate(returns):
        program.row({**{v: 1 for (a, _), v in taken.items() if a == r}, left[r]: 1}, one.count, one.count)
    for p, point in enumerate(points):
        _limit(program, returns, {r: v for (r, b), v in taken.items() if b == p}, point)
    cost = {v: _cost(returns[r], p, len(points)) for (r, p), v in taken.items()}
    cost |= {v: _UNASSIGNED_MM * (len(points) + 1) * returns[r].wires for r, v in enumerate(left)}
    solution = solve_program(program, cost, Clock(limit_s))
    return {key: round(solution.values[v]) for key, v in taken.items() if solution.values and solution.values[v] > 0.5}


def _cost(one: Return, point: int, points: int) -> int:
    """Wire first; of points equally near the first."""
    return one.way_mm[point] * one.wires * (points + 1) + point


def _limit(program: Program, returns: Sequence[Return], taken: Mapping[int, int], point: Point) -> None:
    """Sum of currents in every state, and number of returns, of one point."""
    if point.max_ma is not None:
        states = {
            tuple(returns[r].state_ma[n] for r in taken) for n in range(len(returns[0].state_ma) if returns else 0)
        }
        for row in sorted(states):
            program.row(dict(zip(taken.values(), row, strict=True)), most=point.max_ma)
    if point.max_wires is not None:
        program.row({v: returns[r].wires for r, v in taken.items()}, most=point.max_wires)
