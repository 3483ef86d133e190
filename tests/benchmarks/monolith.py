"""Modules, places and allocation in one integer program: the yardstick for the search over choices."""

from dataclasses import dataclass, replace

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.circuits.draws import at_once_ma, draws_ma
from pdm_alloc.domain.module import Unit
from pdm_alloc.program.lightest import wire_costs
from pdm_alloc.program.partition import Task, partition, task_of
from pdm_alloc.program.solver import Clock, Program, solve_program
from pdm_alloc.studies.alternatives import choices, mount_places
from pdm_alloc.studies.mounting_bounds import Bounds
from pdm_alloc.studies.mounting_search import module_dg


@dataclass(frozen=True)
class Answer:
    """How it ended; mass of modules, wires and feeds and its proved bound, tenths of a gram; what is chosen."""

    outcome: str
    mass_dg: float | None
    bound_dg: float
    label: str = ""


def monolith(vehicle, catalogue, limit_s: float) -> Answer:
    """The lightest choice of one or two modules, by one program over all choices at once."""
    book = CircuitBook(vehicle.settings.tolerance_loads)
    bounds = Bounds(vehicle, book)
    possible = [c for c in choices(catalogue, mount_places(vehicle)) if bounds.harness_dg(c.units) is not None]
    units = _units(possible)
    task = task_of(replace(vehicle, settings=replace(vehicle.settings, spare_channels=0)), units, book)
    program = partition(task)
    chosen = {program.variable(1): choice for choice in possible}
    program.row(dict.fromkeys(chosen, 1), 1, 1)
    _only_on_chosen(program, task, units, chosen)
    _spares(program, task, chosen, vehicle.settings.spare_channels)
    _feeds(program, task, units, chosen, bounds)
    cost = wire_costs(task) | {v: float(module_dg(c) + bounds.feeds(c.units)[1]) for v, c in chosen.items()}
    solution = solve_program(program, cost, Clock(limit_s))
    if not solution:
        return Answer(solution.outcome, None, 0.0)
    label = next(c.label for v, c in chosen.items() if round(solution.values[v]))
    return Answer(solution.outcome, solution.objective, solution.bound, label)


def _spot(unit: Unit, number: int) -> tuple:
    return unit.module.name, unit.place, number


def _spots(choice):
    """Module, place and how many like it came before, for each unit of a choice."""
    seen: list[tuple] = []
    for unit in choice.units:
        number = sum(s[:2] == (unit.module.name, unit.place) for s in seen)
        seen.append(_spot(unit, number))
        yield seen[-1], unit


def _units(possible) -> "_Units":
    """A unit for every module at every place, and a second one where two may be there."""
    return _Units({spot: unit for choice in possible for spot, unit in _spots(choice)})


class _Units(tuple):
    """Units with unique labels, and the number of each spot."""

    def __new__(cls, by_spot):
        made = super().__new__(
            cls, (Unit(f"{m} at {p} {n}", unit.module, unit.place) for (m, p, n), unit in by_spot.items())
        )
        made.number = {spot: n for n, spot in enumerate(by_spot)}
        return made


def _only_on_chosen(program: Program, task: Task, units, chosen) -> None:
    """A class is used no more often than it has slots, and not at all where its unit is not chosen."""
    for number, own in enumerate(task.classes):
        uses = {v: 1.0 for v, c in enumerate(task.columns) if c.channel_class == number}
        if uses:
            there = {v: -float(len(own.slots)) for v, c in chosen.items() if own.unit in _numbers(units, c)}
            program.row({**uses, **there}, most=0)


def _numbers(units, choice):
    return {units.number[spot] for spot, _ in _spots(choice)}


def _spares(program: Program, task: Task, chosen, wanted: int) -> None:
    widths = {v: float(task.classes[c.channel_class].width) for v, c in enumerate(task.columns)}
    room = {v: wanted - sum(len(u.module.channels) for u in c.units) for v, c in chosen.items()}
    program.row({**widths, **room}, most=0)


def _feeds(program: Program, task: Task, units, chosen, bounds: Bounds) -> None:
    """What a unit's loads draw at once stays within what the feed of the chosen choice bears."""
    every = draws_ma(task.vehicle, task.all_types())
    carried = {
        v: dict(zip((s for s, _ in _spots(c)), bounds.feeds(c.units)[0], strict=True)) for v, c in chosen.items()
    }
    for spot, number in units.number.items():
        room = {v: at_once_ma(ma[spot]) for v, ma in carried.items() if spot in ma}
        for state, drawn in enumerate(every):
            if any(drawn > most for most in room.values()):
                own = _drawn(task, number, state)
                program.row({**own, **{v: -float(min(most, drawn)) for v, most in room.items()}}, most=0)


def _drawn(task: Task, number: int, state: int):
    return {
        v: float(sum(task.types[c.command][n].state_ma[state] * k for n, k in c.counts))
        for v, c in enumerate(task.columns)
        if task.classes[c.channel_class].unit == number
    }
