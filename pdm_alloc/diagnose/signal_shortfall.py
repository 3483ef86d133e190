"""What pins are short: the least growth that makes the boxes enough, applied, solved and verified before it is said."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from pdm_alloc.allocator import LIMIT_S, SignalAllocation, allocate_signals
from pdm_alloc.domain.signals import Box, FittedBox, Signal, SignalPin
from pdm_alloc.program.signals.signal_costs import (
    NEW_CONNECTOR,
    added_current,
    added_pins,
    hand_out_pins,
    surplus,
    versatility,
)
from pdm_alloc.program.signals.signal_program import build_signal_program, solve_signals
from pdm_alloc.program.signals.signal_types import pins_of, types_of
from pdm_alloc.program.solver import PROVEN_BEST, Clock

__all__ = ["SignalShortfall", "signal_shortfall"]


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
            f"{n} {words.replace(' ', ' and ')} pin{'' if n == 1 else 's'} of {box}" for box, words, n in self.pins
        ]
        parts += [f"{n} mA of {word} of {box}" for box, word, n in self.supplies]
        return f"Short: {', '.join(parts)} (for {', '.join(self.signals)})." if parts else ""

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


def _widened(box: FittedBox, signals) -> FittedBox:
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


def _words(signal) -> tuple[str, ...]:
    return (signal.rule.function, *sorted(signal.needs & {"pwm"}))


def _grown(box: FittedBox, widened: FittedBox, uses, signals) -> FittedBox:
    """The box with those added pins that are used, and supplies no stronger than what is drawn from them."""
    used = {pin for use in uses if use.box == box.label for pin in use.pins}
    drawn = _drawn(box.label, uses, signals)
    pins = [pin for pin in widened.box.pins if pin.connector != NEW_CONNECTOR or pin.label in used]
    pins += [replace(p, max_ma=drawn[p.label]) for p in widened.box.pins if _is_added_supply(p) and p.label in drawn]
    return replace(box, box=_with(box.box, pins))


def _with(box: Box, pins) -> Box:
    return replace(box, pins=tuple(pins))


def _is_added_supply(pin) -> bool:
    return pin.connector == NEW_CONNECTOR and bool(pin.functions & {"supply_5v", "sensor_ground"})


def _drawn(label, uses, signals) -> Counter[str]:
    currents = {signal.name: signal.current_ma for signal in signals}
    drawn: Counter[str] = Counter()
    for use in uses:
        for pin in (use.supply, use.ground) if use.box == label else ():
            if pin is not None and pin.startswith(f"{NEW_CONNECTOR}-"):
                drawn[pin] += currents[use.signal]
    return drawn


def _pins(grown) -> tuple[tuple[str, str, int], ...]:
    added = [
        (box.label, " ".join(sorted(pin.functions)))
        for box in grown
        for pin in box.box.pins
        if pin.connector == NEW_CONNECTOR and not _is_added_supply(pin)
    ]
    return tuple((box, words, n) for (box, words), n in sorted(Counter(added).items()))


def _supplies(grown, uses, signals) -> tuple[tuple[str, str, int], ...]:
    drawn = [(box.label, pin, n) for box in grown for pin, n in _drawn(box.label, uses, signals).items()]
    return tuple((box, pin.removeprefix(f"{NEW_CONNECTOR}-"), n) for box, pin, n in sorted(drawn))


def _named(uses) -> tuple[str, ...]:
    prefix = f"{NEW_CONNECTOR}-"
    names = [
        use.signal for use in uses if any((pin or "").startswith(prefix) for pin in (*use.pins, use.supply, use.ground))
    ]
    return tuple(dict.fromkeys(names))
