"""`allocate` and `allocate_signals`: from a vehicle and what is fitted to a checked allocation."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from pdm_alloc.circuits.columns import CircuitBook, TooManyCircuits
from pdm_alloc.domain.module import (
    INPUT_SIGNALS,
    SIGNAL_KINDS,
    Catalogue,
    FittedBox,
    Module,
    Signal,
    Unit,
    natural_key,
    units_of,
)
from pdm_alloc.domain.showing import chosen_word
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.allocation_solve import NamedCircuit, Solved, any_solved, packed_circuits, solve
from pdm_alloc.program.handout import Handed, NoSolution, PinUse, hand_out_pins
from pdm_alloc.program.signal_program import (
    SignalProgram,
    build_signal_program,
    crowded_tracks,
    pins_of,
    solve_signals,
    surplus,
    types_of,
    versatility,
    wire_cost,
)
from pdm_alloc.program.solver import BEST_SO_FAR, FAILED, NOT_ENOUGH, PROVEN_BEST, STOPPED_EMPTY, Clock
from pdm_alloc.program.stages import STRATEGIES
from pdm_alloc.result.allocation import Allocation, NotEnough, Unsolved, arithmetic_shorts, table_shorts
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.assignment import Finding
from pdm_alloc.verify.check import verify_signals, violations

__all__ = ["LIMIT_S", "Modules", "SignalAllocation", "allocate", "allocate_signals", "key_counts", "signals_of_vehicle"]

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
    wired = [(c.unit, c.channels, c.items) for c in keep.circuits] if keep else []
    clock = Clock(limit_s, stop)
    is_fed = not table_shorts(vehicle, units)
    solved = _solved(vehicle, units, clock, book, wired) if is_fed else Solved(NOT_ENOUGH)
    if solved.outcome == NOT_ENOUGH:
        raise NotEnough(vehicle, units, arithmetic_shorts(vehicle, units), book)
    return _result(vehicle, units, solved)


def any_allocation(vehicle: Vehicle, units: tuple[Unit, ...], clock: Clock, book: CircuitBook) -> Allocation | None:
    """The first allocation that keeps every limit, recounted; None: there is none, or none in time."""
    return any_or_none(vehicle, units, clock, book)[0]


def any_or_none(
    vehicle: Vehicle, units: tuple[Unit, ...], clock: Clock, book: CircuitBook
) -> tuple[Allocation | None, bool]:
    """As `any_allocation`; and whether it is proved that there is none."""
    if arithmetic_shorts(vehicle, units):
        return None, True
    vehicle = replace(vehicle, settings=replace(vehicle.settings, strategy="spare"))
    try:
        solved = any_solved(vehicle, units, clock, book)
        return _result(vehicle, units, solved) if solved.circuits else None, solved.outcome == NOT_ENOUGH
    except (TooManyCircuits, NoSolution, Unsolved):
        return None, False


def allocation_of(
    vehicle: Vehicle, units: tuple[Unit, ...], circuits: Sequence[NamedCircuit], clock: Clock, book: CircuitBook
) -> Allocation | None:
    """Circuits of a program's solution as an allocation, every limit recounted; None where it keeps not every one."""
    vehicle = replace(vehicle, settings=replace(vehicle.settings, strategy="spare"))
    try:
        solved = packed_circuits(vehicle, units, circuits, clock, book)
        return _result(vehicle, units, solved) if solved.circuits and not table_shorts(vehicle, units) else None
    except (NoSolution, Unsolved):
        return None


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
        vehicle,
        units,
        circuits,
        vehicle.settings.strategy,
        solved.outcome,
        solved.gap,
        solved.objectives,
        solved.unproved,
    )


def _placed(units: Sequence[Unit], handed: Handed) -> PlacedCircuit:
    unit, use, channels, command, items = handed
    return PlacedCircuit(units[unit].label, channels, use, command, items)


LIMIT_S = 60.0

LengthM = Callable[[str | None, str | None], float | None]

Stage = Callable[[SignalProgram], Mapping[int, int]]


@dataclass(frozen=True)
class SignalAllocation:
    """Which signal is on which pin.

    Parameters
    ----------
    outcome : str
        One of the five words; there are uses only for proven best and best so far.
    signals : tuple of Signal
        What was to be placed.
    boxes : tuple of FittedBox
        Where.
    uses : tuple of PinUse
        One per item, spare ones included.
    costs : tuple of int
        Of each stage: functions lost with the pins taken; rating beyond need, 0.1 A; wire, cm, where known; where
        there are identical vital signals, how many a sensor supply or ground feeds beyond one of each.
    findings : tuple of Finding
        What the independent recount found; an allocation with any is not given out (outcome failed).
    """

    outcome: str
    signals: tuple[Signal, ...]
    boxes: tuple[FittedBox, ...]
    uses: tuple[PinUse, ...] = ()
    costs: tuple[int, ...] = ()
    findings: tuple[Finding, ...] = ()

    def __bool__(self) -> bool:
        """Whether every signal has its pins."""
        return self.outcome in (PROVEN_BEST, BEST_SO_FAR)

    @property
    def free_pins(self) -> dict[str, int]:
        """Pins left by box, those kept free on purpose counted as left; supplies and grounds not counted."""
        kept = {signal.name for signal in self.signals if "spare" in signal.needs}
        free = {}
        for box in self.boxes:
            taken = {pin for use in self.uses if use.box == box.label and use.signal not in kept for pin in use.pins}
            free[box.label] = len([pin for pin in box.box.pins if not _is_shared(pin)]) - len(taken)
        return free

    def pin_map(self) -> pd.DataFrame:
        """One row per pin taken: box, connector, pin, signal, item, kind, place, supply, ground; by box and pin."""
        signals = {signal.name: signal for signal in self.signals}
        pins = {(box.label, pin.label): pin for box in self.boxes for pin in box.box.pins}
        rows = [
            {
                "box": use.box,
                "connector": pins[use.box, label].connector,
                "pin": pins[use.box, label].name,
                "signal": use.signal,
                "item": use.item,
                "kind": signals[use.signal].kind,
                "place": signals[use.signal].place or "",
                "supply": use.supply or "",
                "ground": use.ground or "",
            }
            for use in self.uses
            for label in use.pins
        ]
        rows.sort(key=lambda row: [natural_key(str(row[name])) for name in ("box", "connector", "pin")])
        columns = ["box", "connector", "pin", "signal", "item", "kind", "place", "supply", "ground"]
        return pd.DataFrame(rows, columns=columns)

    def shared(self) -> pd.DataFrame:
        """One row per supply and ground pin: box, pin, function, sensors, current_a, limit_a, headroom_pct."""
        rows = [_shared_row(self, box, pin) for box in self.boxes for pin in box.box.pins if _is_shared(pin)]
        columns = ["box", "pin", "function", "sensors", "current_a", "limit_a", "headroom_pct"]
        return pd.DataFrame(rows, columns=columns)


def _shared_row(allocation, box, pin) -> tuple:
    currents = {signal.name: signal.current_ma for signal in allocation.signals}
    fed = [u for u in allocation.uses if u.box == box.label and pin.label in (u.supply, u.ground)]
    current = sum(currents[use.signal] for use in fed)
    [word] = pin.functions
    return (box.label, pin.label, word, len(fed), current / 1000, pin.max_ma / 1000, 100 * (1 - current / pin.max_ma))


def _is_shared(pin) -> bool:
    return bool(pin.functions & {"supply_5v", "sensor_ground"})


def allocate_signals(
    signals: Sequence[Signal],
    boxes: Sequence[FittedBox],
    length_m: LengthM | None = None,
    time_limit_s: float = LIMIT_S,
    stages: Sequence[Stage] = (versatility, surplus),
) -> SignalAllocation:
    """Assign every signal to pins of the fitted boxes.

    Parameters
    ----------
    signals : sequence of Signal
        All of them, spare ones included; see `signals_of_vehicle`.
    boxes : sequence of FittedBox
        With labels of their own.
    length_m : callable, optional
        Place of the box and of the signal to length of wire, m, or None where not known.
    time_limit_s : float
        For everything, s.
    stages : sequence of callable
        What is minimised, in order; see `pdm_alloc.program.signal_program`. Length of wire, where known, comes then,
        and last that tracks of one vital sensor share no supply and no ground.

    Returns
    -------
    SignalAllocation
        As the stages stand: pins that can do least are taken first, then the weakest, then the nearest; each proved in
        this order. Recounted by `verify_signals`.
    """
    clock = Clock(time_limit_s)
    model = build_signal_program(types_of(signals), pins_of(boxes))
    solution = solve_signals(model, stages if length_m else (*stages, *_of_tracks(model)), clock)
    if solution.values and length_m is not None:
        unproved = replace(solution, outcome=BEST_SO_FAR)
        model, solution = _nearest(signals, boxes, length_m, stages, solution, clock) or (model, unproved)
    bare = SignalAllocation(solution.outcome, tuple(signals), tuple(boxes))
    if not bare:
        return bare
    return _checked(replace(bare, uses=hand_out_pins(model, solution.values, len(model.types)), costs=solution.costs))


def _of_tracks(model):
    """The last stage, where there are identical vital signals."""
    return (crowded_tracks,) if model.crowded else ()


def _nearest(signals, boxes, length_m, stages, solution, clock):
    """Least wire at the costs of a solution that knows no places, which are the least of any; None: no answer in time.

    Signals at different places are different here, so the program is several times larger and solved only once.
    """
    model = build_signal_program(types_of(signals, True), pins_of(boxes))
    for stage, most in zip(stages, solution.costs, strict=False):
        model.program.row(stage(model), most=most)
    step = solve_signals(model, (wire_cost(length_m), *_of_tracks(model)), clock)
    if not step.values:
        return None
    outcome = BEST_SO_FAR if BEST_SO_FAR in (solution.outcome, step.outcome) else PROVEN_BEST
    return model, replace(step, outcome=outcome, costs=(*solution.costs, *step.costs))


def _checked(allocation: SignalAllocation) -> SignalAllocation:
    """The allocation; without its uses where the recount finds anything."""
    findings = tuple(verify_signals(allocation.signals, allocation.boxes, allocation.uses))
    return replace(allocation, outcome=FAILED, uses=(), findings=findings) if findings else allocation


def signals_of_vehicle(vehicle: Vehicle) -> tuple[Signal, ...]:
    """Signals of a vehicle: the table signals, and inputs that a module or control unit reads.

    Parameters
    ----------
    vehicle : Vehicle
        Any.

    Returns
    -------
    tuple of Signal
        In natural order of their names. Keys of keypads are counted by `key_counts`.
    """
    read = [_input_signal(item) for item in vehicle.inputs if item.read_by in ("module", "control_unit")]
    return tuple(sorted([*vehicle.signals, *read], key=lambda signal: natural_key(signal.name)))


def _input_signal(item) -> Signal:
    kind = INPUT_SIGNALS[item.kind]
    current = SIGNAL_KINDS[kind].current_ma or 0
    return Signal(item.name, kind, 1, item.place, "needed", frozenset(), current, True, item.read_by)


def key_counts(vehicle: Vehicle) -> dict[str | None, int]:
    """Keys wanted at each place: the inputs that a keypad reads."""
    places = [item.place for item in vehicle.inputs if item.read_by == "keypad"]
    return {place: places.count(place) for place in sorted(set(places), key=lambda p: natural_key(p or ""))}
