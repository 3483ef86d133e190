"""How much more fits beside a solution whose other circuits stay as they are: a few variables, so it is quick.

What is found this way does fit; that no more fits has to be proved by the whole program.
"""

from collections import Counter
from collections.abc import Callable, Collection, Hashable, Sequence
from dataclasses import dataclass, replace

from pdm_alloc.circuits.classes import Rating
from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, OutOfTime
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.circuits.wiring import Wiring
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.partition import partition
from pdm_alloc.program.solver import STOPPED_EMPTY, Clock, Program
from pdm_alloc.program.stages import channels_used, minimise, packed, strength_used
from pdm_alloc.program.task import Column, Task, task_of

__all__ = ["Base", "base_of", "fits_beside", "lifted", "most_beside", "task_beside", "without_banks"]

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
