"""Which signal goes on which pin: an integer program over types of signal and classes of pin, and its objectives."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from pdm_alloc.domain.module import (
    QUALIFIERS,
    SIGNAL_KINDS,
    SUPPLIES,
    FittedBox,
    Signal,
    SignalKind,
    SignalPin,
    natural_key,
)
from pdm_alloc.program.solver import BEST_SO_FAR, PROVEN_BEST, Clock, Program, Solution, solve_program

Member = tuple[str, int]

# Kind, qualifiers, supplies, current, place, reader, and whether it is vital.
_Key = tuple[str, tuple[str, ...], tuple[str, ...], int, str | None, str | None, bool]

NEW_CONNECTOR = "added"  # connector of pins a box would have to gain

_Traits = tuple[tuple[str, ...], int, bool]  # functions and rating of a pin, mA (-1: not judged); whether it is added


@dataclass(frozen=True, slots=True)
class SignalType:
    """Signals that no rule can tell apart.

    Parameters
    ----------
    kind : str
        Kind of signal.
    qualifiers : tuple of str
        What its pin must have beside the function.
    supplies : tuple of str
        Shared supplies it needs.
    current_ma : int
        Current of one, mA.
    place, reader : str or None
        Where it sits; kind of box it must be on.
    vital : bool
        Whether it is vital.
    members : tuple of (str, int)
        Name of the signal and number of the item, from 1, in natural order.
    """

    kind: str
    qualifiers: tuple[str, ...]
    supplies: tuple[str, ...]
    current_ma: int
    place: str | None
    reader: str | None
    vital: bool
    members: tuple[Member, ...] = ()

    @property
    def rule(self) -> SignalKind:
        """What its kind takes."""
        return SIGNAL_KINDS[self.kind]

    @property
    def has_tracks(self) -> bool:
        """Whether it has several identical vital signals: tracks of one sensor, which no single fault should take."""
        return self.vital and len({name for name, _ in self.members}) < len(self.members)

    def reads(self, box: FittedBox) -> bool:
        """Whether the box is of the kind it must be on; what is vital is never on an expander of the bus."""
        if self.vital and box.box.role == "expander":
            return False
        return self.reader is None or box.box.role == self.reader


@dataclass(frozen=True, slots=True)
class PinClass:
    """Pins of one box that no rule can tell apart."""

    box: FittedBox
    functions: frozenset[str]
    max_ma: int | None
    pins: tuple[SignalPin, ...]


@dataclass(frozen=True, slots=True)
class PairClass:
    """Pairs of pins of one box that no rule can tell apart; `sides` are the numbers of the classes of their pins."""

    box: FittedBox
    pairs: tuple[tuple[SignalPin, SignalPin], ...]
    sides: tuple[int, int]


@dataclass(frozen=True, slots=True)
class SharedPin:
    """A supply or ground pin that sensors of one box share."""

    box: FittedBox
    word: str
    pin: SignalPin


@dataclass(frozen=True, slots=True)
class Pins:
    """All pins of the fitted boxes: classes, pairs and shared pins, in canonical order."""

    classes: tuple[PinClass, ...]
    pairs: tuple[PairClass, ...]
    shared: tuple[SharedPin, ...]


def types_of(signals: Iterable[Signal], placed: bool = False) -> tuple[SignalType, ...]:
    """Signals grouped into types, in an order that does not depend on their names or rows.

    Parameters
    ----------
    signals : iterable of Signal
        Any.
    placed : bool
        Whether signals at different places are different.

    Returns
    -------
    tuple of SignalType
        Types of one key are one type; its members are in natural order.
    """
    members: dict[_Key, list[Member]] = defaultdict(list)
    for signal in sorted(signals, key=lambda s: natural_key(s.name)):
        qualifiers = tuple(sorted(signal.needs & set(QUALIFIERS)))
        place = signal.place if placed else None
        key = (signal.kind, qualifiers, signal.supplies, signal.current_ma, place, signal.reader)
        members[*key, signal.importance == "vital"] += [(signal.name, n + 1) for n in range(signal.count)]
    return tuple(replace(_typed(key), members=tuple(members[key])) for key in sorted(members, key=_order))


def _typed(key: _Key) -> SignalType:
    kind, qualifiers, supplies, current, place, reader, vital = key
    return SignalType(kind, qualifiers, supplies, current, place, reader, vital)


def _order(key: _Key) -> tuple[object, ...]:
    kind, qualifiers, supplies, current, place, reader, vital = key
    return (kind, qualifiers, supplies, -current, natural_key(place or ""), reader or "", not vital)


def fits_pin(kind: SignalType, functions: frozenset[str], max_ma: int | None) -> bool:
    """Whether a pin has what one pin of the signal must have.

    Parameters
    ----------
    kind : SignalType
        The signal.
    functions : frozenset of str
        Functions of the pin.
    max_ma : int or None
        What the pin may carry, mA; None: not judged.

    Returns
    -------
    bool
        Functions and, of an output, current; a sensor's current does not go through its pin.
    """
    if kind.rule.function not in functions or not functions.issuperset(kind.qualifiers):
        return False
    return max_ma is None or not kind.rule.is_output or kind.current_ma <= max_ma


def pins_of(boxes: Sequence[FittedBox]) -> Pins:
    """Pins of fitted boxes grouped into classes, pairs and shared pins.

    Parameters
    ----------
    boxes : sequence of FittedBox
        With labels of their own.

    Returns
    -------
    Pins
        Boxes in natural order of their labels.
    """
    classes: list[PinClass] = []
    pairs: list[PairClass] = []
    shared: list[SharedPin] = []
    for box in sorted(boxes, key=lambda b: natural_key(b.label)):
        shared += _shared(box)
        _add_classes(box, classes, pairs)
    return Pins(tuple(classes), tuple(pairs), tuple(shared))


def _shared(box: FittedBox) -> list[SharedPin]:
    return [SharedPin(box, word, pin) for word in SUPPLIES for pin in box.box.pins if word in pin.functions]


def _traits(pin: SignalPin) -> _Traits:
    rating = -1 if pin.max_ma is None else pin.max_ma
    return (tuple(sorted(pin.functions)), rating, pin.connector == NEW_CONNECTOR)


def _add_classes(box: FittedBox, classes: list[PinClass], pairs: list[PairClass]) -> None:
    """Classes and pairs of one box; pins of pairs are classed by both traits of their pair."""
    couples = _couples(box)
    paired = {id(pin): tuple(sorted(map(_traits, couple))) for couple in couples for pin in couple}
    groups: dict[tuple[_Traits, tuple[_Traits, ...]], list[SignalPin]] = defaultdict(list)
    for pin in box.box.pins:
        if not pin.functions & set(SUPPLIES):
            groups[_traits(pin), paired.get(id(pin), ())].append(pin)
    numbers = {key: len(classes) + n for n, key in enumerate(sorted(groups))}
    for key in sorted(groups):
        pins = groups[key]
        classes.append(PinClass(box, pins[0].functions, pins[0].max_ma, tuple(pins)))
    alike: dict[tuple[_Traits, ...], list[tuple[SignalPin, SignalPin]]] = defaultdict(list)
    for couple in couples:
        alike[tuple(sorted(map(_traits, couple)))].append(couple)
    for traits in sorted(alike):
        sides = (numbers[traits[0], traits], numbers[traits[1], traits])
        pairs.append(PairClass(box, tuple(alike[traits]), sides))


def _couples(box: FittedBox) -> list[tuple[SignalPin, SignalPin]]:
    labels: dict[str, list[SignalPin]] = defaultdict(list)
    for pin in box.box.pins:
        if pin.pair is not None:
            labels[pin.pair].append(pin)
    couples = [(pins[0], pins[1]) for pins in labels.values() if len(pins) == 2]
    return sorted(couples, key=lambda couple: [(natural_key(p.connector), natural_key(p.name)) for p in couple])


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
    crowded : dict of (int, int) to int
        Type with identical vital signals and shared pin: how many it feeds beyond one of each signal.
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
    crowded: dict[tuple[int, int], int] = field(default_factory=dict)

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
            if kind.has_tracks and len(feeds) > 1:
                _crowd_rows(model, t, shares)
            for s, v in shares.items():
                load[s][v] = kind.current_ma
    for s in sorted(load):
        model.program.row(load[s], most=model.pins.shared[s].pin.max_ma or 0)


def _crowd_rows(model: SignalProgram, t: int, shares: Mapping[int, int]) -> None:
    """What each shared pin feeds beyond one item of each signal: with none, no two items of a signal share one."""
    signals = len({name for name, _ in model.types[t].members})
    for s, v in shares.items():
        model.crowded[t, s] = over = model.program.variable(len(model.types[t].members))
        model.program.row({v: 1, over: -1}, most=signals)


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


def versatility(model: SignalProgram) -> dict[int, int]:
    """Functions lost with every pin taken: a pin that can do more is kept free; breaking a pair counts as one more."""
    paired = {side for pair in model.pins.pairs for side in pair.sides}
    cost: dict[int, int] = {}
    for v, t, c in model.uses():
        spoilt = c in paired and not model.types[t].rule.labelled
        cost[v] = cost.get(v, 0) + len(model.pins.classes[c].functions) - 1 + spoilt
    return {v: c for v, c in cost.items() if c}


def surplus(model: SignalProgram) -> dict[int, int]:
    """Rating beyond an output's current, in steps of 0.1 A, so that strong pins stay free."""
    cost: dict[int, int] = {}
    for v, t, c in model.uses():
        rating, kind = model.pins.classes[c].max_ma, model.types[t]
        if rating is not None and kind.rule.is_output:
            cost[v] = cost.get(v, 0) + (rating - kind.current_ma) // 100
    return {v: c for v, c in cost.items() if c}


def wire_cost(length_m: Callable[[str | None, str | None], float | None]) -> Callable[[SignalProgram], dict[int, int]]:
    """Length of wire, cm.

    Parameters
    ----------
    length_m : callable
        Place of the box and of the signal to m; None: not known, counts as nothing.

    Returns
    -------
    callable
        Cost of each variable of a program.
    """

    def cost(model: SignalProgram) -> dict[int, int]:
        places = {c.box.label: c.box.place for c in model.pins.classes}
        lengths = {v: _cm(length_m(places[label], model.types[t].place)) for v, t, label in model.placed()}
        wires = {v: t for v, t, _ in model.placed()}
        cost = {v: length * model.types[wires[v]].rule.pins for v, length in lengths.items() if length}
        return {} if len(places) < 2 else cost

    return cost


def _cm(length: float | None) -> int:
    return round((length or 0) * 100)


def added_pins(model: SignalProgram) -> dict[int, int]:
    """Pins a box does not have yet."""
    cost: dict[int, int] = {}
    for v, _, c in model.uses():
        if model.pins.classes[c].pins[0].connector == NEW_CONNECTOR:
            cost[v] = cost.get(v, 0) + 1
    return cost


def added_current(model: SignalProgram) -> dict[int, int]:
    """Current of sensors on supplies and grounds a box does not have yet, mA."""
    return {
        v: model.types[t].current_ma
        for (t, s), v in model.shared.items()
        if model.pins.shared[s].pin.connector == NEW_CONNECTOR and model.types[t].current_ma
    }


def moved_signals(model: SignalProgram) -> dict[int, int]:
    """Signals that become something else."""
    return dict.fromkeys(model.moved.values(), 1)


def crowded_tracks(model: SignalProgram) -> dict[int, int]:
    """Identical vital signals that a shared supply or ground feeds beyond one of each."""
    return dict.fromkeys(model.crowded.values(), 1)


def on_expanders(model: SignalProgram) -> dict[int, int]:
    """Signals that are on an expander of the bus."""
    roles = {c.box.label: c.box.box.role for c in model.pins.classes}
    return {v: 1 for v, _, label in model.placed() if roles[label] == "expander"}
