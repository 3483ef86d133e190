"""`allocate`: from a vehicle and what is fitted to a checked allocation."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from pdm_alloc.allocation.arithmetic import arithmetic_shorts
from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.allocation.not_enough import NotEnough, Unsolved
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.allocation.verify import violations
from pdm_alloc.circuits.columns import CircuitBook, TooManyCircuits
from pdm_alloc.module import Catalogue, Module, Unit, units_of
from pdm_alloc.program.handout import Handed
from pdm_alloc.program.objectives import STRATEGIES
from pdm_alloc.program.outcome import FAILED, NOT_ENOUGH, STOPPED_EMPTY
from pdm_alloc.program.solve import Solved, solve
from pdm_alloc.program.solver import Clock
from pdm_alloc.unknown import chosen_word
from pdm_alloc.vehicle import Vehicle

__all__ = ["Modules", "allocate"]

_TAKES = "modules must be a Module, a Unit, or a sequence of these"
_FOR_EXAMPLE = 'catalogue["name"]'
NO_TIME = "the time limit was reached before any allocation was found: raise time_limit_s"
Wired = tuple[str, tuple[str, ...], tuple[tuple[str, int], ...]]  # module, channels, items
Modules = Module | Unit | Sequence[Module | Unit]


def allocate(
    vehicle: Vehicle,
    modules: Modules,
    *,
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
    modules : Module, Unit, or sequence of these
        What is fitted: ``catalogue["middle-36"]``, or a Unit where its place is known.
    strategy : str, optional
        ``isolate`` or ``spare``; default: the vehicle's setting.
    time_limit_s : float, optional
        Time limit, s; default: the vehicle's setting.
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
        Proved: no allocation keeps every limit; `pdm_alloc.explain` says what is short.
    Unsolved
        Stopped before an allocation was found, or the recount disagreed.
    TypeError
        What is fitted is none of these: a name, or a whole catalogue.
    UnknownName
        Unknown strategy (a KeyError and a ValueError).
    ValueError
        An ambient outside a derating table.
    """
    units = units_of(_fitted(modules))
    settings = vehicle.settings
    if strategy is not None:
        word = chosen_word("strategy", strategy, STRATEGIES)
        vehicle = replace(vehicle, settings=replace(settings, strategy=word))
    limit_s = settings.time_limit_s if time_limit_s is None else time_limit_s
    book = CircuitBook(settings.tolerance_loads) if book is None else book
    shorts = arithmetic_shorts(vehicle, units)
    wired = [(c.unit, c.channels, c.items) for c in keep.circuits] if keep else []
    clock = Clock(limit_s, stop)
    solved = Solved(NOT_ENOUGH) if shorts else _solved(vehicle, units, clock, book, wired)
    if solved.outcome == NOT_ENOUGH:
        raise NotEnough(vehicle, units, shorts)
    return _result(vehicle, units, solved)


def _solved(
    vehicle: Vehicle, units: tuple[Unit, ...], clock: Clock, book: CircuitBook, wired: Sequence[Wired]
) -> Solved:
    try:
        return solve(vehicle, units, vehicle.settings.strategy, clock, book, wired)
    except TooManyCircuits as why:
        raise Unsolved(STOPPED_EMPTY, str(why)) from None


def _fitted(modules: object) -> tuple[Module | Unit, ...]:
    if isinstance(modules, (Module, Unit)):
        return (modules,)
    if isinstance(modules, Catalogue):
        raise TypeError(f"{_TAKES}, not a whole catalogue: take one from it by name, {_FOR_EXAMPLE}")
    if isinstance(modules, str) or not isinstance(modules, Iterable):
        raise TypeError(f"{_TAKES}, not {modules!r}: take it from a catalogue, {_FOR_EXAMPLE}")
    things = tuple(modules)
    strange = [thing for thing in things if not isinstance(thing, (Module, Unit))]
    if strange or not things:
        what = f"{strange[0]!r} among them" if strange else "none at all"
        raise TypeError(f"{_TAKES}, not {what}: take them from a catalogue, {_FOR_EXAMPLE}")
    return things


def _result(vehicle: Vehicle, units: tuple[Unit, ...], solved: Solved) -> Allocation:
    if solved.outcome == STOPPED_EMPTY:
        raise Unsolved(STOPPED_EMPTY, NO_TIME)
    if solved.outcome == FAILED:
        raise Unsolved(FAILED, "the solver failed on this program")
    circuits = tuple(_placed(units, handed) for handed in solved.circuits)
    findings = violations(vehicle, units, circuits)
    if findings:
        raise Unsolved(FAILED, f"the independent check refused the solver's answer: {findings[0].message}")
    return Allocation(
        vehicle, units, circuits, vehicle.settings.strategy, solved.outcome, solved.gap, solved.objectives
    )


def _placed(units: Sequence[Unit], handed: Handed) -> PlacedCircuit:
    unit, use, channels, command, items = handed
    return PlacedCircuit(units[unit].label, channels, use, command, items)
