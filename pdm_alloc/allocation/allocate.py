"""`allocate`: from a vehicle and what is fitted to a checked allocation."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import partial

from pdm_alloc.allocation.arithmetic import arithmetic_shorts
from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.allocation.not_enough import NotEnough, Short, Unsolved
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.allocation.shortfall import first_short, shortfall
from pdm_alloc.allocation.verify import violations
from pdm_alloc.circuits.columns import CircuitBook, TooManyCircuits
from pdm_alloc.module import Catalogue, Module, Unit, units_of
from pdm_alloc.program.handout import Handed
from pdm_alloc.program.outcome import FAILED, NOT_ENOUGH, STOPPED_EMPTY
from pdm_alloc.program.solve import Solved, solve
from pdm_alloc.program.solver import Clock
from pdm_alloc.vehicle import Vehicle

__all__ = ["allocate"]

Modules = Module | Unit | Iterable[Module | Unit]


def allocate(
    vehicle: Vehicle,
    modules: Modules | Catalogue | str,
    module: str | Sequence[str] | None = None,
    *,
    catalogue: Catalogue | None = None,
    strategy: str | None = None,
    time_limit_s: float | None = None,
    stop: Callable[[], bool] | None = None,
    book: CircuitBook | None = None,
    keep: Allocation | None = None,
) -> Allocation:
    """Allocate the loads of a vehicle to the channels of a module, or of several.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    modules : Module, Unit, iterable of these, Catalogue or str
        What is fitted. With a catalogue, `module` names what is taken from it; a name is looked up
        in `catalogue`.
    module : str or sequence of str, optional
        Name or names, where `modules` is a catalogue.
    catalogue : Catalogue, optional
        Where `modules` is a name.
    strategy : str, optional
        ``isolate`` or ``spare``; default: the vehicle's setting.
    time_limit_s : float, optional
        Clock, s; default: the vehicle's setting.
    stop : callable, optional
        Asked between solves; True ends the work with the best found so far.
    book : CircuitBook, optional
        Circuits of this vehicle known from an earlier call.
    keep : Allocation, optional
        What is built: before all else, as few of its wires as can be are moved. Units, channels and
        loads are found again by name.

    Returns
    -------
    Allocation
        Best by all objectives in order where its outcome is ``proven best``; every limit has been
        recounted by `verify`.

    Raises
    ------
    NotEnough
        Proved: no allocation keeps every limit.
    Unsolved
        Stopped before an allocation was found, or the recount disagreed.
    KeyError
        The catalogue has no module of that name.
    ValueError
        Unknown strategy, or an ambient outside a derating table.
    """
    units = units_of(_fitted(modules, module, catalogue))
    settings = vehicle.settings
    if strategy is not None:
        vehicle = replace(vehicle, settings=replace(settings, strategy=strategy))
    limit_s = settings.time_limit_s if time_limit_s is None else time_limit_s
    book = CircuitBook(settings.tolerance_loads) if book is None else book
    shorts = arithmetic_shorts(vehicle, units)
    wired = [(c.unit, c.channels, c.items) for c in keep.circuits] if keep else []
    clock = Clock(limit_s, stop)
    solved = Solved(NOT_ENOUGH) if shorts else _solved(vehicle, units, clock, book, wired)
    if solved.outcome == NOT_ENOUGH:
        first, whole = (partial(_study, f, vehicle, units, limit_s, stop, book) for f in (first_short, shortfall))
        raise NotEnough(vehicle, units, shorts, first, whole)
    return _result(vehicle, units, solved)


def _solved(vehicle: Vehicle, units: tuple[Unit, ...], clock: Clock, book: CircuitBook, wired) -> Solved:
    try:
        return solve(vehicle, units, vehicle.settings.strategy, clock, book, wired)
    except TooManyCircuits as why:
        raise Unsolved(STOPPED_EMPTY, str(why)) from None


def _fitted(modules, module, catalogue):
    if isinstance(modules, str):
        modules, module = catalogue, modules
    if not isinstance(modules, Catalogue):
        return modules
    if module is None:
        raise TypeError("a catalogue was given: name the module to take from it, allocate(vehicle, catalogue, 'name')")
    return [modules[name] for name in ([module] if isinstance(module, str) else module)]


def _result(vehicle: Vehicle, units: tuple[Unit, ...], solved: Solved) -> Allocation:
    if solved.outcome == STOPPED_EMPTY:
        raise Unsolved(STOPPED_EMPTY, "the clock ran out before any allocation was found: give it more time_limit_s")
    if solved.outcome == FAILED:
        raise Unsolved(FAILED, "the solver failed on this program")
    circuits = tuple(_placed(units, handed) for handed in solved.circuits)
    findings = violations(vehicle, units, circuits)
    if findings:
        raise Unsolved(FAILED, f"the independent check refused the solver's answer: {findings[0].message}")
    return Allocation(
        vehicle, units, circuits, vehicle.settings.strategy, solved.outcome, solved.gap, solved.objectives
    )


def _study(study, vehicle: Vehicle, units: tuple[Unit, ...], limit_s: float, stop, book: CircuitBook) -> list[Short]:
    """On several units no single limit can be named: arithmetic is all that is said of them."""
    return study(vehicle, units[0], Clock(limit_s, stop), book) if len(units) == 1 else []


def _placed(units, handed: Handed) -> PlacedCircuit:
    unit, use, channels, command, items = handed
    return PlacedCircuit(units[unit].label, channels, use, command, items)
