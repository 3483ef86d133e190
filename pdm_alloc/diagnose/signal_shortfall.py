"""What pins are short, and what would make the boxes enough: each applied, solved and verified before it is said."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import pandas as pd

from pdm_alloc.allocator import LIMIT_S, SignalAllocation, allocate_signals
from pdm_alloc.domain.module import RELAY_COIL_MA, Box, FittedBox, Keypad, Signal, SignalPin, natural_key
from pdm_alloc.electrics.signal_lines import MOST_SWITCHES, Ladder, design_ladder
from pdm_alloc.program.handout import PinUse, hand_out_pins
from pdm_alloc.program.signal_program import (
    NEW_CONNECTOR,
    Move,
    SignalProgram,
    SignalType,
    Target,
    added_current,
    added_pins,
    build_signal_program,
    moved_signals,
    on_expanders,
    pins_of,
    solve_signals,
    surplus,
    types_of,
    versatility,
)
from pdm_alloc.program.solver import PROVEN_BEST, Clock

__all__ = ["SignalRemedy", "SignalShortfall", "signal_remedies", "signal_shortfall"]


Signals = Sequence[Signal]
Boxes = Sequence[FittedBox]
Types = tuple[SignalType, ...]
Items = Sequence[tuple[str, int]]
"""Names of signals and numbers of their items."""


@dataclass(frozen=True)
class SignalShortfall:
    """The least growth that makes the boxes enough.

    Parameters
    ----------
    outcome : str
        One of the five words, for the growth: proven best where no smaller one is enough.
    pins : tuple of (str, str, int)
        Box label, functions as words, and how many pins of them are short.
    supplies : tuple of (str, str, int)
        Box label, ``supply_5v`` or ``sensor_ground``, and how many mA are short.
    signals : tuple of str
        Signals on the added pins.
    allocation : SignalAllocation or None
        On the boxes as grown, verified.
    """

    outcome: str
    pins: tuple[tuple[str, str, int], ...] = ()
    supplies: tuple[tuple[str, str, int], ...] = ()
    signals: tuple[str, ...] = ()
    allocation: SignalAllocation | None = None

    @property
    def sentence(self) -> str:
        """What is short in one sentence; empty where nothing is."""
        parts = [
            f"{n} {words.replace(' ', ' and ')} pin{'' if n == 1 else 's'} of {box}{self._bearing(box, words)}"
            for box, words, n in self.pins
        ]
        parts += [f"{n} mA of {word} of {box}" for box, word, n in self.supplies]
        return f"Short: {', '.join(parts)} (for {', '.join(self.signals)})." if parts else ""

    def _bearing(self, box: str, words: str) -> str:
        """What added outputs must carry, in words: pins of less may be free."""
        allocation = self.allocation
        if allocation is None:
            return ""
        added = {
            pin.label
            for one in allocation.boxes
            for pin in one.box.pins
            if one.label == box and pin.connector == NEW_CONNECTOR and " ".join(sorted(pin.functions)) == words
        }
        outputs = {signal.name: signal.current_ma for signal in allocation.signals if signal.rule.is_output}
        drawn = [outputs.get(use.signal, 0) for use in allocation.uses if use.box == box and added & set(use.pins)]
        return f" that bears {max(drawn) / 1000:g} A" if any(drawn) else ""

    def table(self) -> pd.DataFrame:
        """One row per box and function: box, function, short, unit."""
        rows = [(box, words, n, "pins") for box, words, n in self.pins]
        rows += [(box, word, n, "mA") for box, word, n in self.supplies]
        return pd.DataFrame(rows, columns=["box", "function", "short", "unit"])


def signal_shortfall(
    signals: Sequence[Signal], boxes: Sequence[FittedBox], time_limit_s: float = LIMIT_S
) -> SignalShortfall:
    """The least growth of the boxes that gives every signal its pins.

    Parameters
    ----------
    signals : sequence of Signal
        All of them.
    boxes : sequence of FittedBox
        At least one.
    time_limit_s : float
        For everything, s.

    Returns
    -------
    SignalShortfall
        Fewest pins, then least current of supplies and grounds, then pins that can do least. Empty where nothing is
        short; without an allocation where no growth helps (a signal for a kind of box that is not fitted).
    """
    clock = Clock(time_limit_s)
    model = build_signal_program(types_of(signals), pins_of([_widened(box, signals) for box in boxes]))
    solution = solve_signals(model, (added_pins, added_current, versatility, surplus), clock)
    if not solution.values:
        return SignalShortfall(solution.outcome)
    uses = hand_out_pins(model, solution.values, len(model.types))
    grown = tuple(_grown(box, _widened(box, signals), uses, signals) for box in boxes)
    allocation = allocate_signals(signals, grown, time_limit_s=max(0.1, clock.left_s))
    if not allocation:
        return SignalShortfall(allocation.outcome)
    outcome = PROVEN_BEST if solution.outcome == PROVEN_BEST else solution.outcome
    return SignalShortfall(outcome, _pins(grown), _supplies(grown, uses, signals), _named(uses), allocation)


def _widened(box: FittedBox, signals: Signals) -> FittedBox:
    """The box with as many added pins of every function as the signals could take."""
    pins: list[SignalPin] = []
    for words in sorted({_words(signal) for signal in signals}):
        alike = [signal for signal in signals if _words(signal) == words]
        count = sum(signal.count * signal.rule.pins for signal in alike)
        rating = max(signal.current_ma for signal in alike) or None
        labels = [f"{NEW_CONNECTOR} {words} {n // 2}" if alike[0].rule.labelled else None for n in range(count)]
        name = " ".join(words)
        pins += [
            SignalPin(f"{name} {n + 1}", NEW_CONNECTOR, frozenset(words), rating, label)
            for n, label in enumerate(labels)
        ]
    drawn = sum(signal.count * signal.current_ma for signal in signals)
    pins += [SignalPin(word, NEW_CONNECTOR, frozenset({word}), drawn) for word in ("supply_5v", "sensor_ground")]
    return replace(box, box=replace(box.box, pins=(*box.box.pins, *pins)))


def _words(signal: Signal) -> tuple[str, ...]:
    return (signal.rule.function, *sorted(signal.needs & {"pwm"}))


def _grown(box: FittedBox, widened: FittedBox, uses: Sequence[PinUse], signals: Signals) -> FittedBox:
    """The box with those added pins that are used, and supplies no stronger than what is drawn from them."""
    used = {pin for use in uses if use.box == box.label for pin in use.pins}
    drawn = _drawn(box.label, uses, signals)
    pins = [pin for pin in widened.box.pins if pin.connector != NEW_CONNECTOR or pin.label in used]
    pins += [replace(p, max_ma=drawn[p.label]) for p in widened.box.pins if _is_added_supply(p) and p.label in drawn]
    return replace(box, box=_with(box.box, pins))


def _with(box: Box, pins: Iterable[SignalPin]) -> Box:
    return replace(box, pins=tuple(pins))


def _is_added_supply(pin: SignalPin) -> bool:
    return pin.connector == NEW_CONNECTOR and bool(pin.functions & {"supply_5v", "sensor_ground"})


def _drawn(label: str, uses: Sequence[PinUse], signals: Signals) -> Counter[str]:
    currents = {signal.name: signal.current_ma for signal in signals}
    drawn: Counter[str] = Counter()
    for use in uses:
        for pin in (use.supply, use.ground) if use.box == label else ():
            if pin is not None and pin.startswith(f"{NEW_CONNECTOR}-"):
                drawn[pin] += currents[use.signal]
    return drawn


def _pins(grown: Boxes) -> tuple[tuple[str, str, int], ...]:
    added = [
        (box.label, " ".join(sorted(pin.functions)))
        for box in grown
        for pin in box.box.pins
        if pin.connector == NEW_CONNECTOR and not _is_added_supply(pin)
    ]
    return tuple((box, words, n) for (box, words), n in sorted(Counter(added).items()))


def _supplies(grown: Boxes, uses: Sequence[PinUse], signals: Signals) -> tuple[tuple[str, str, int], ...]:
    drawn = [(box.label, pin, n) for box in grown for pin, n in _drawn(box.label, uses, signals).items()]
    return tuple((box, pin.removeprefix(f"{NEW_CONNECTOR}-"), n) for box, pin, n in sorted(drawn))


def _named(uses: Sequence[PinUse]) -> tuple[str, ...]:
    prefix = f"{NEW_CONNECTOR}-"
    names = [
        use.signal for use in uses if any((pin or "").startswith(prefix) for pin in (*use.pins, use.supply, use.ground))
    ]
    return tuple(dict.fromkeys(names))


LADDER_MA = 5  # 5 V across a pull-up of 1 kohm with every switch closed

_SWITCHES = ("switch_to_ground", "switch_to_battery")

_Bought = TypeVar("_Bought", Keypad, Box)


@dataclass(frozen=True)
class SignalRemedy:
    """One way to make it fit.

    Parameters
    ----------
    kind : str
        ``ladder``, ``keypad``, ``expander`` or ``relay``.
    moved : tuple of str
        Signals that change, once per item.
    sentence : str
        What to do, in one sentence.
    proved : bool
        True: fewer moved signals are not enough with this kind of remedy alone, and keypads where these are.
    allocation : SignalAllocation
        With the remedy applied, verified.
    ladders : tuple of (str, tuple of str, Ladder)
        Signal that stands for the switches, the switches in order of their resistors, the ladder.
    bought : tuple of str
        Keypads and expanders it takes.
    """

    kind: str
    moved: tuple[str, ...]
    sentence: str
    proved: bool
    allocation: SignalAllocation
    ladders: tuple[tuple[str, tuple[str, ...], Ladder], ...] = ()
    bought: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Plan:
    """What a kind of remedy lets signals become, for the program."""

    types: tuple[SignalType, ...]
    targets: tuple[Target, ...]
    moves: tuple[Move, ...]


def signal_remedies(
    signals: Sequence[Signal],
    boxes: Sequence[FittedBox],
    keypads: Iterable[Keypad] = (),
    expanders: Iterable[Box] = (),
    time_limit_s: float = LIMIT_S,
) -> list[SignalRemedy]:
    """Every kind of remedy that alone makes the boxes enough, with the fewest signals moved.

    Vital signals and those kept spare are never moved.

    Parameters
    ----------
    signals : sequence of Signal
        All of them.
    boxes : sequence of FittedBox
        Not enough as they are.
    keypads : iterable of Keypad
        To choose from: one at one place, the cheapest that is enough; or else one at each place.
    expanders : iterable of Box
        To choose one from, in the same way.
    time_limit_s : float
        For everything, s.

    Returns
    -------
    list of SignalRemedy
        Each allocated and verified; empty where none is enough.
    """
    clock = Clock(time_limit_s)
    types = _movable(signals)
    remedies = [_by_ladders(signals, boxes, types, clock), _by_relays(signals, boxes, types, clock)]
    connection = _connection(signals, boxes)
    joined, listed = [*signals, *connection], "; and list the bus connection (kind bus)" if connection else ""
    on_bus = _movable(joined)
    over = [
        _first(_by_keypad(joined, boxes, on_bus, *choice, clock) for choice in _choices(keypads, on_bus)),
        _first(_by_expander(joined, boxes, expander, clock) for expander in _cheapest(expanders)),
    ]
    remedies += [replace(remedy, sentence=remedy.sentence + listed) for remedy in over if remedy is not None]
    return [remedy for remedy in remedies if remedy is not None]


def _choices(keypads: Iterable[Keypad], types: Types) -> Iterator[tuple[Keypad, list[str | None]]]:
    """Keypads and the places they sit at, one keypad first, then one at every place; in both the cheapest first."""
    places = list(dict.fromkeys(kind.place for kind in types if kind.kind in _SWITCHES))
    yield from ((keypad, [place]) for keypad in _cheapest(keypads) for place in places)
    yield from ((keypad, places) for keypad in _cheapest(keypads) if len(places) > 1)


def _connection(signals: Signals, boxes: Boxes) -> list[Signal]:
    """A bus connection where none is wired yet: what comes over the bus must get into a box that has pins for it."""
    roles = {box.box.role for box in boxes for pin in box.box.pins if "bus" in pin.functions}
    if not roles or any(signal.kind == "bus" and "spare" not in signal.needs for signal in signals):
        return []
    reader = next(role for role in ("control_unit", "module", "expander") if role in roles)
    return [Signal(_free_name("bus connection", signals), "bus", reader=reader)]


def _first(remedies: Iterable[SignalRemedy | None]) -> SignalRemedy | None:
    return next((remedy for remedy in remedies if remedy is not None), None)


def _cheapest(things: Iterable[_Bought]) -> list[_Bought]:
    return sorted(things, key=lambda t: (t.price is None, t.price or 0, t.mass_g or 0, natural_key(t.name)))


def _movable(signals: Signals) -> tuple[SignalType, ...]:
    """Types with spare signals in types of their own, so that these are not moved."""
    wired = types_of([s for s in signals if "spare" not in s.needs], True)
    return (*wired, *types_of([s for s in signals if "spare" in s.needs], True))


def _may_move(kind: SignalType, spare: set[str]) -> bool:
    return not kind.vital and kind.members[0][0] not in spare


def _spare(signals: Signals) -> set[str]:
    return {signal.name for signal in signals if "spare" in signal.needs}


def _solve(plan: _Plan, boxes: Boxes, clock: Clock) -> tuple[SignalProgram, tuple[int, ...], bool] | None:
    model = build_signal_program(plan.types, pins_of(boxes), plan.targets, plan.moves)
    solution = solve_signals(model, (moved_signals, versatility), clock)
    return (model, solution.values, solution.outcome == PROVEN_BEST) if solution.values else None


def _moved(model: SignalProgram, values: tuple[int, ...], signals: Signals) -> dict[int, list[tuple[str, int]]]:
    """Items that go to each target: comfort before needed, then the last of their type."""
    comfort = {signal.name for signal in signals if signal.importance == "comfort"}
    taken: dict[int, list[tuple[str, int]]] = defaultdict(list)
    left = {t: sorted(kind.members, key=lambda m: m[0] not in comfort) for t, kind in enumerate(model.types)}
    for move, v in model.moved.items():
        for _ in range(values[v]):
            taken[move.target].append(left[move.kind].pop(0))
    return taken


def _without(signals: Signals, items: Items) -> list[Signal]:
    """Signals with some items taken out."""
    out: dict[str, int] = defaultdict(int)
    for name, _ in items:
        out[name] += 1
    fewer = [replace(signal, count=signal.count - out[signal.name]) for signal in signals]
    return [signal for signal in fewer if signal.count]


def _names(items: Items) -> tuple[str, ...]:
    return tuple(sorted((name for name, _ in items), key=natural_key))


def _shown(names: Iterable[str], signals: Signals) -> str:
    """Names of moved signals, once each, with how many of identical ones."""
    counts, moved = {signal.name: signal.count for signal in signals}, Counter(names)
    return ", ".join(name + _of_all(n, counts[name]) for name, n in moved.items())


def _of_all(n: int, count: int) -> str:
    if count == 1:
        return ""
    return f" (all {count})" if n == count else f" ({n} of {count})"


def _by_ladders(signals: Signals, boxes: Boxes, types: Types, clock: Clock) -> SignalRemedy | None:
    each = max((n for n in range(1, MOST_SWITCHES + 1) if design_ladder(n)), default=0)
    plan = _ladder_plan(signals, types, each)
    solved = _solve(plan, boxes, clock) if plan.moves else None
    if solved is None:
        return None
    model, values, proved = solved
    moved = _moved(model, values, signals)
    groups = [
        (plan.targets[number].kind, taken[at : at + each])
        for number, taken in sorted(moved.items())
        for at in range(0, len(taken), each)
    ]
    items = [item for _, group in groups for item in group]
    names = [_free_name(f"ladder {n + 1}", signals) for n in range(len(groups))]
    ladders = tuple(_ladder(name, group) for name, (_, group) in zip(names, groups, strict=True))
    standing = [_standing(name, kind) for name, (kind, _) in zip(names, groups, strict=True) if kind is not None]
    sentence = "; ".join(
        _ladder_words([_shown([key], signals) for key in keys], ladder, kind)
        for (_, keys, ladder), (kind, _) in zip(ladders, groups, strict=True)
    )
    after = [*_without(signals, items), *standing]
    return _checked("ladder", items, sentence, proved, after, boxes, clock, ladders=ladders)


def _ladder_plan(signals: Signals, types: Types, each: int) -> _Plan:
    """Switches of one place may share a ladder, on a pin with its own pull-up or with a pull-up from the 5 V supply."""
    switches = [t for t, k in enumerate(types) if k.kind == "switch_to_ground" and _may_move(k, _spare(signals))]
    targets: list[Target] = []
    moves: list[Move] = []
    for place, reader in dict.fromkeys((types[t].place, types[t].reader) for t in switches):
        at = [t for t in switches if (types[t].place, types[t].reader) == (place, reader)]
        for kind, supplies in (("resistance", ("sensor_ground",)), ("voltage", ("supply_5v", "sensor_ground"))):
            moves += [Move(t, len(targets)) for t in at]
            targets.append(Target(SignalType(kind, (), supplies, LADDER_MA, place, reader, False), each))
    return _Plan(types, tuple(targets), tuple(moves))


def _ladder(name: str, group: Items) -> tuple[str, tuple[str, ...], Ladder]:
    ladder = design_ladder(len(group))
    if ladder is None:
        raise ValueError(f"no ladder of {len(group)} switches can be told apart")
    return name, tuple(key for key, _ in group), ladder


def _ladder_words(keys: Sequence[str], ladder: Ladder, kind: SignalType | None) -> str:
    """What to solder, and how far apart the readings stay with resistors of 1 % and what the pin misreads."""
    ohms = ", ".join(f"{ohm:g}" for ohm in ladder.resistors_ohm)
    own = kind is None or kind.kind == "resistance"
    pull_up = (
        f"a pull-up in the pin of {ladder.pull_up_ohm:g} ohm, to be checked"
        if own
        else f"{ladder.pull_up_ohm:g} ohm to the 5 V"
    )
    parts = f"each through its own resistor of {ohms} ohm, 1 %, in this order, with {pull_up}"
    gap = f"readings at least {100 * ladder.gap:.1f} % of full scale apart"
    return f"{', '.join(keys)} on one analog pin through a resistor ladder ({parts}: {gap})"


def _free_name(name: str, signals: Signals) -> str:
    taken = {signal.name for signal in signals}
    while name in taken:
        name += "'"
    return name


def _standing(name: str, kind: SignalType) -> Signal:
    return Signal(
        name, kind.kind, 1, kind.place, "needed", frozenset(kind.supplies), kind.current_ma, True, kind.reader
    )


def _by_relays(
    signals: Sequence[Signal], boxes: Sequence[FittedBox], types: tuple[SignalType, ...], clock: Clock
) -> SignalRemedy | None:
    weak = [t for t, k in enumerate(types) if _can_relay(k) and _may_move(k, _spare(signals))]
    coils = [SignalType("low_side", (), (), RELAY_COIL_MA, types[t].place, types[t].reader, False) for t in weak]
    plan = _Plan(types, tuple(map(Target, coils)), tuple(Move(t, n) for n, t in enumerate(weak)))
    solved = _solve(plan, boxes, clock) if weak else None
    if solved is None:
        return None
    model, values, proved = solved
    moved = sorted(_moved(model, values, signals).items())
    labels = [(f"relay of {name} {item}", coils[n]) for n, taken in moved for name, item in taken]
    coil_signals = [_standing(_free_name(label, signals), coil) for label, coil in labels]
    items = [item for _, taken in moved for item in taken]
    sentence = f"{_shown(_names(items), signals)} through a relay each, its coil ({RELAY_COIL_MA} mA) on a low-side pin"
    return _checked("relay", items, sentence, proved, [*_without(signals, items), *coil_signals], boxes, clock)


def _can_relay(kind: SignalType) -> bool:
    return kind.kind in ("low_side", "high_side") and not kind.qualifiers


def _by_keypad(
    signals: Signals, boxes: Boxes, types: Types, keypad: Keypad, places: Sequence[str | None], clock: Clock
) -> SignalRemedy | None:
    """Keys of one such keypad at each of the places, for the switches there."""
    switches = [t for t, k in enumerate(types) if k.kind in _SWITCHES and _may_move(k, _spare(signals))]
    moves = tuple(Move(t, places.index(types[t].place)) for t in switches if types[t].place in places)
    plan = _Plan(types, tuple(Target(None, most=keypad.keys) for _ in places), moves)
    solved = _solve(plan, boxes, clock) if moves else None
    if solved is None:
        return None
    model, values, proved = solved
    moved = sorted(_moved(model, values, signals).items())
    items = [item for _, taken in moved for item in taken]
    each = [(_shown(_names(taken), signals), _at(places[number])) for number, taken in moved]
    sentence = f"{', '.join(f'{names} to keys of one {keypad.name}{at}' for names, at in each)} on the bus"
    after, bought = _without(signals, items), (keypad.name,) * len(moved)
    return _checked("keypad", items, sentence, proved, after, boxes, clock, bought=bought)


def _at(place: str | None) -> str:
    return f" at {place}" if place else ""


def _by_expander(
    signals: Sequence[Signal], boxes: Sequence[FittedBox], expander: Box, clock: Clock
) -> SignalRemedy | None:
    label = expander.name
    while label in {box.label for box in boxes}:
        label += "'"
    stages = (on_expanders, versatility, surplus)
    fitted = [*boxes, FittedBox(label, expander)]
    allocation = allocate_signals(signals, fitted, time_limit_s=max(0.1, clock.left_s), stages=stages)
    if not allocation:
        return None
    names = _names([(use.signal, use.item) for use in allocation.uses if use.box == label])
    sentence = f"{_shown(names, signals)} to one {expander.name} on the bus"
    proved = allocation.outcome == PROVEN_BEST
    return SignalRemedy("expander", names, sentence, proved, allocation, bought=(expander.name,))


def _checked(
    kind: str,
    items: Sequence[tuple[str, int]],
    sentence: str,
    proved: bool,
    signals: Sequence[Signal],
    boxes: Sequence[FittedBox],
    clock: Clock,
    **more: Any,
) -> SignalRemedy | None:
    """The remedy, if the altered signals are enough and the recount agrees."""
    allocation = allocate_signals(signals, boxes, time_limit_s=max(0.1, clock.left_s))
    return SignalRemedy(kind, _names(items), sentence, proved, allocation, **more) if allocation else None
