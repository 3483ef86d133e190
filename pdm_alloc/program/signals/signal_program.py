"""Which signal goes on which pin: an integer program over types of signal and classes of pin."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from pdm_alloc.program.signals.signal_types import Pins, SignalType, fits_pin
from pdm_alloc.program.solver import BEST_SO_FAR, PROVEN_BEST, Clock, Program, Solution, solve_program

__all__ = ["Move", "SignalProgram", "SignalSolution", "Target", "build_signal_program", "solve_signals"]

Cost = Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Target:
    """What signals may become instead: another signal that stands for several of them, or a key on the bus.

    Parameters
    ----------
    kind : SignalType or None
        The signal that takes their place; None: no pin is taken.
    each : int
        How many of them one such signal stands for.
    most : int or None
        How many may go there altogether; None: any number.
    """

    kind: SignalType | None
    each: int = 1
    most: int | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """A type of signal, by number, that may become a target, by number."""

    kind: int
    target: int


@dataclass
class SignalProgram:
    """The program and what its variables mean, by number.

    Parameters
    ----------
    single : dict of (int, int) to int
        Type and class: signals on one pin each.
    pair : dict of (int, int) to int
        Type and pair class: signals on a pair each.
    half : dict of (int, int) to int
        Type and class: pins used by bridges.
    bridge : dict of (int, str) to int
        Type and label of the box: bridges.
    shared : dict of (int, int) to int
        Type and shared pin: signals it feeds.
    moved : dict of Move to int
        Signals that become a target.
    stand : dict of int to int
        Target: signals that stand for what was moved.
    """

    types: tuple[SignalType, ...]
    pins: Pins
    program: Program = field(default_factory=Program)
    single: dict[tuple[int, int], int] = field(default_factory=dict)
    pair: dict[tuple[int, int], int] = field(default_factory=dict)
    half: dict[tuple[int, int], int] = field(default_factory=dict)
    bridge: dict[tuple[int, str], int] = field(default_factory=dict)
    shared: dict[tuple[int, int], int] = field(default_factory=dict)
    moved: dict[Move, int] = field(default_factory=dict)
    stand: dict[int, int] = field(default_factory=dict)

    def uses(self) -> list[tuple[int, int, int]]:
        """Variable, type and class of every way to take a pin; a pair is told for each of its sides."""
        singles = [(v, t, c) for (t, c), v in (*self.single.items(), *self.half.items())]
        pairs = [(v, t, side) for (t, p), v in self.pair.items() for side in self.pins.pairs[p].sides]
        return singles + pairs

    def placed(self) -> list[tuple[int, int, str]]:
        """Variable, type and box label of every way to place a whole signal."""
        singles = [(v, t, self.pins.classes[c].box.label) for (t, c), v in self.single.items()]
        pairs = [(v, t, self.pins.pairs[p].box.label) for (t, p), v in self.pair.items()]
        return singles + pairs + [(v, t, label) for (t, label), v in self.bridge.items()]


@dataclass(frozen=True, slots=True)
class SignalSolution:
    """How the stages ended: outcome, values of all variables, cost of each stage."""

    outcome: str
    values: tuple[int, ...] = ()
    costs: tuple[int, ...] = ()


def build_signal_program(
    types: Sequence[SignalType], pins: Pins, targets: Sequence[Target] = (), moves: Sequence[Move] = ()
) -> SignalProgram:
    """The rows every assignment must keep.

    Parameters
    ----------
    types : sequence of SignalType
        What must be placed.
    pins : Pins
        Where.
    targets : sequence of Target
        What signals may become instead.
    moves : sequence of Move
        Which types may become which target.

    Returns
    -------
    SignalProgram
        Every signal once; no pin twice; halves of a bridge in one box; shared supplies and grounds within their limits.
    """
    standing = [target.kind for target in targets if target.kind is not None]
    model = SignalProgram((*types, *standing), pins)
    _add_places(model)
    _add_moves(model, targets, moves)
    _demand_rows(model, len(types), targets)
    _pin_rows(model)
    _bridge_rows(model)
    _shared_rows(model)
    return model


def _add_places(model: SignalProgram) -> None:
    for t, kind in enumerate(model.types):
        if kind.rule.labelled:
            _add_pairs(model, t, kind)
        else:
            _add_singles(model, t, kind)


def _add_pairs(model: SignalProgram, t: int, kind: SignalType) -> None:
    for p, pair in enumerate(model.pins.pairs):
        sides = [model.pins.classes[side] for side in pair.sides]
        if kind.reads(pair.box) and all(fits_pin(kind, side.functions, side.max_ma) for side in sides):
            model.pair[t, p] = model.program.variable(len(pair.pairs))


def _add_singles(model: SignalProgram, t: int, kind: SignalType) -> None:
    places = model.single if kind.rule.pins == 1 else model.half
    for c, group in enumerate(model.pins.classes):
        if kind.reads(group.box) and fits_pin(kind, group.functions, group.max_ma):
            places[t, c] = model.program.variable(len(group.pins))
            label = group.box.label
            if kind.rule.pins == 2 and (t, label) not in model.bridge:
                model.bridge[t, label] = model.program.variable(len(kind.members) or 1)


def _add_moves(model: SignalProgram, targets: Sequence[Target], moves: Sequence[Move]) -> None:
    for move in moves:
        model.moved[move] = model.program.variable(len(model.types[move.kind].members))
    for number, target in enumerate(targets):
        into = {v: 1 for move, v in model.moved.items() if move.target == number}
        if target.most is not None:
            model.program.row(into, most=target.most)
        if target.kind is not None and into:
            model.stand[number] = stand = model.program.variable(sum(model.program.most[v] for v in into))
            model.program.row({**into, stand: -target.each}, most=0)


def _demand_rows(model: SignalProgram, count: int, targets: Sequence[Target]) -> None:
    placed: dict[int, dict[int, int]] = defaultdict(dict)
    for v, t, _ in model.placed():
        placed[t][v] = 1
    for move, v in model.moved.items():
        placed[move.kind][v] = 1
    for t in range(count):
        need = len(model.types[t].members)
        model.program.row(placed[t], need, need)
    t = count
    for number, target in enumerate(targets):
        if target.kind is None:
            continue
        stand = {model.stand[number]: -1} if number in model.stand else {}
        model.program.row({**placed[t], **stand}, 0, 0)
        t += 1


def _pin_rows(model: SignalProgram) -> None:
    weights: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for v, _, c in model.uses():
        weights[c][v] += 1
    for c in sorted(weights):
        model.program.row(dict(weights[c]), most=len(model.pins.classes[c].pins))


def _bridge_rows(model: SignalProgram) -> None:
    halves: dict[tuple[int, str], dict[int, int]] = defaultdict(dict)
    for (t, c), v in model.half.items():
        halves[t, model.pins.classes[c].box.label][v] = 1
    for key, whole in model.bridge.items():
        model.program.row({**halves[key], whole: -2}, 0, 0)


def _shared_rows(model: SignalProgram) -> None:
    placed: dict[tuple[int, str], dict[int, int]] = defaultdict(dict)
    for v, t, label in model.placed():
        placed[t, label][v] = -1
    load: dict[int, dict[int, int]] = defaultdict(dict)
    for (t, label), taken in placed.items():
        kind = model.types[t]
        for word in kind.supplies:
            feeds = {s: p for s, p in enumerate(model.pins.shared) if (p.box.label, p.word) == (label, word)}
            most = sum(model.program.most[v] for v in taken)
            shares = {s: model.program.variable(most) for s in feeds}
            model.shared.update({(t, s): v for s, v in shares.items()})
            model.program.row({**dict.fromkeys(shares.values(), 1), **taken}, 0, 0)
            for s, v in shares.items():
                load[s][v] = kind.current_ma
    for s in sorted(load):
        model.program.row(load[s], most=model.pins.shared[s].pin.max_ma or 0)


def solve_signals(
    model: SignalProgram, stages: Sequence[Callable[[SignalProgram], Cost]], clock: Clock
) -> SignalSolution:
    """Minimise costs one after the other, each proved, then held.

    Parameters
    ----------
    model : SignalProgram
        From `build_signal_program`; gets a row per stage.
    stages : sequence of callable
        Each gives the cost of each variable by number, whole numbers.
    clock : Clock
        When to stop.

    Returns
    -------
    SignalSolution
        Proven best only where every stage was proved; no values where there is no answer.
    """
    solution, proved = Solution(PROVEN_BEST), True
    costs: list[int] = []
    for stage in stages:
        cost = stage(model)
        if costs and not cost:
            costs.append(0)
            continue
        step = solve_program(model.program, cost, clock)
        if not step:
            return _stopped(solution, step, costs)
        solution, proved = step, proved and step.outcome == PROVEN_BEST
        costs.append(round(step.objective))
        model.program.row(cost, most=costs[-1])
    return SignalSolution(PROVEN_BEST if proved else BEST_SO_FAR, _whole(solution.values), tuple(costs))


def _stopped(solution: Solution, step: Solution, costs: Sequence[int]) -> SignalSolution:
    """A later stage without an answer leaves that of the earlier one."""
    if not solution.values:
        return SignalSolution(step.outcome)
    return SignalSolution(BEST_SO_FAR, _whole(solution.values), tuple(costs))


def _whole(values: Sequence[float]) -> tuple[int, ...]:
    return tuple(round(value) for value in values)
