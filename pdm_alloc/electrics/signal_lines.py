"""Lines that carry signals: limits, load and response times of the bus, resistor ladders of switches."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from pdm_alloc.domain.module import Message

__all__ = [
    "BIT_RATES",
    "E24",
    "MOST_SWITCHES",
    "TERMINATORS_OHM",
    "TERMINATOR_OHM",
    "BusLimit",
    "BusWarning",
    "Ladder",
    "LadderStep",
    "MessageTime",
    "arbitration",
    "bus_load",
    "check_bus",
    "design_ladder",
    "frame_bits",
    "ladder_steps",
    "limit_at",
    "pair_g",
    "response_times",
    "worst_response_ns",
]


@dataclass(frozen=True, slots=True)
class BusLimit:
    """Published limits at a bit rate, kbit/s: trunk, one stub, all stubs together, m, and where each is published."""

    kbit: int
    trunk_m: float
    trunk_source: str
    stub_m: float
    stub_source: str
    stubs_m: float
    stubs_source: str


_STANDARD = "ISO 11898-2 as told in transceiver data sheets"
_NOTES = "design-rule tables of controller makers for high-speed bus lines"
_STUB_NOTES = "strictest of four open notes on high-speed bus wiring"
_ALL_STUBS = "strictest of three makers' tables of drop lines"

# At 1 Mbit/s notes give 25 m as well as the standard's 40 m. Of a stub the standard says 0.3 m; open notes by bit rate
# recommend 0.3, 0.6, 1 and 2 m from 1,000 down to 125 kbit/s, makers of bus equipment allow 1.5 or 2, 5 to 6, 6 to 11
# and 6 to 22 m; all stubs together 7.5 to 10, 25 to 39, 50 to 78 and 100 to 156 m. The strictest stands, and is kept
# for stubs at slower rates.
_PUBLISHED = (
    (1000, 25.0, f"{_NOTES}; {_STANDARD}: 40 m", 0.3, _STANDARD, 7.5),
    (500, 100.0, _NOTES, 0.6, _STUB_NOTES, 25.0),
    (250, 250.0, _NOTES, 1.0, _STUB_NOTES, 50.0),
    (125, 500.0, _NOTES, 2.0, _STUB_NOTES, 100.0),
    (50, 1000.0, _NOTES, 2.0, _STUB_NOTES, 100.0),
    (20, 2500.0, _NOTES, 2.0, _STUB_NOTES, 100.0),
    (10, 5000.0, _NOTES, 2.0, _STUB_NOTES, 100.0),
)

BIT_RATES: dict[int, BusLimit] = {row[0]: BusLimit(*row, _ALL_STUBS) for row in _PUBLISHED}

TERMINATOR_OHM = 120.0  # at each end; ISO 11898-2

TERMINATORS_OHM = (108.0, 132.0)  # as above, tolerance


@dataclass(frozen=True, slots=True)
class BusWarning:
    """A limit of the wiring that is broken: what it concerns, value, limit, unit, and one sentence."""

    rule: str
    value: float
    limit: float
    unit: str
    message: str


def limit_at(kbit: int) -> BusLimit:
    """Limits of trunk and stubs at a bit rate.

    Parameters
    ----------
    kbit : int
        Bit rate, kbit/s.

    Returns
    -------
    BusLimit
        Of the next higher rate that is published, where this one is not.

    Raises
    ------
    ValueError
        The rate is not above 0, or higher than any published.
    """
    rates = [rate for rate in BIT_RATES if rate >= kbit]
    if kbit <= 0 or not rates:
        raise ValueError(f"no limit is published for {kbit} kbit/s; give 1 to {max(BIT_RATES)}")
    return BIT_RATES[min(rates)]


def check_bus(
    kbit: int, trunk_m: float, stubs_m: dict[str, float], terminators_ohm: tuple[float, ...] = (120.0, 120.0)
) -> list[BusWarning]:
    """Every published limit that the wiring of a bus breaks.

    Parameters
    ----------
    kbit : int
        Bit rate, kbit/s.
    trunk_m : float
        From terminator to terminator, m.
    stubs_m : dict of str to float
        Stub of each node, m.
    terminators_ohm : tuple of float
        Resistance of each terminator, ohm.

    Returns
    -------
    list of BusWarning
        Empty where every limit is kept.

    Raises
    ------
    ValueError
        No limit is published for the rate.
    """
    limit, together = limit_at(kbit), sum(stubs_m.values())
    longest = [(f"the stub to {node} is", "stub", stub, limit.stub_m) for node, stub in sorted(stubs_m.items())]
    lengths = [("the trunk is", "trunk", trunk_m, limit.trunk_m), *longest]
    lengths.append(("all stubs together are", "stubs", together, limit.stubs_m))
    warnings = [
        BusWarning(rule, is_m, most_m, "m", f"{words} {is_m:.2f} m; at {kbit} kbit/s at most {most_m:g} m")
        for words, rule, is_m, most_m in lengths
        if is_m > most_m + 1e-9
    ]
    return warnings + _terminated(terminators_ohm)


def _terminated(terminators: Sequence[float]) -> list[BusWarning]:
    warnings = []
    if len(terminators) != 2:
        text = f"{len(terminators)} terminators; one at each end of the trunk, two altogether"
        warnings.append(BusWarning("terminators", len(terminators), 2, "", text))
    low, high = TERMINATORS_OHM
    for ohm in terminators:
        if not low <= ohm <= high:
            text = f"a terminator of {ohm:g} ohm; {low:g} to {high:g} ohm"
            warnings.append(BusWarning("terminators", ohm, low if ohm < low else high, "ohm", text))
    return warnings


def pair_g(length_m: float, wire_g_per_m: float, twist: float = 1.05) -> float:
    """Mass of a twisted pair.

    Parameters
    ----------
    length_m : float
        Length of the pair, m.
    wire_g_per_m : float
        Mass of one wire, g/m; see `pdm_alloc.electrics.wire.mass_g_per_m`.
    twist : float
        Wire over pair, no unit; 33 to 50 turns a metre lengthen it by about 5 %; common practice, no source.

    Returns
    -------
    float
        g.
    """
    return 2 * length_m * twist * wire_g_per_m


STANDARD_IDENTIFIERS = 2_048
_STEPS = 1_000_000


@dataclass(frozen=True, slots=True)
class Frame:
    """What the analysis needs of a message: transmission, period, jitter and deadline, ns."""

    length_ns: int
    period_ns: int
    jitter_ns: int = 0
    deadline_ns: int = 0


@dataclass(frozen=True, slots=True)
class MessageTime:
    """Timing of one message: name, longest transmission, worst response (None: without bound) and deadline, us."""

    message: str
    transmission_us: float
    response_us: float | None
    deadline_us: int

    @property
    def is_in_time(self) -> bool:
        """Whether it always arrives by its deadline."""
        return self.response_us is not None and self.response_us <= self.deadline_us


def frame_bits(size: int, long_identifier: bool = False) -> int:
    """Longest frame with worst-case bit stuffing: g + 8 s + 13 + floor((g + 8 s - 1) / 4), g of 34 or 54 bits.

    Parameters
    ----------
    size : int
        Data bytes, 0 to 8.
    long_identifier : bool
        True: 29 bits of identifier, False: 11.

    Returns
    -------
    int
        Bits, the space between frames included: 55 + 10 s, or 80 + 10 s.

    Raises
    ------
    ValueError
        The size is not 0 to 8.
    """
    if not 0 <= size <= 8:
        raise ValueError(f"a message has 0 to 8 bytes, not {size}")
    stuffed = (54 if long_identifier else 34) + 8 * size
    return stuffed + 13 + (stuffed - 1) // 4


def arbitration(identifier: int) -> tuple[int, int, int]:
    """What decides which of two messages is sent first: the smaller.

    Parameters
    ----------
    identifier : int
        Up to 2,047 of 11 bits, above of 29.

    Returns
    -------
    (int, int, int)
        The first 11 bits, whether 18 more follow (of two with the same first bits the short one is sent), and these.
        Bus specification 2.0, part B; from memory.
    """
    is_long = identifier >= STANDARD_IDENTIFIERS
    return (identifier >> 18, 1, identifier & 0x3FFFF) if is_long else (identifier, 0, 0)


def bus_load(messages: Sequence[Message], kbit: int) -> float:
    """Share of time the bus is busy with frames at their longest.

    Parameters
    ----------
    messages : sequence of Message
        All of them.
    kbit : int
        Bit rate, kbit/s.

    Returns
    -------
    float
        No unit; above 1 it cannot work.
    """
    return sum(_frame(message, kbit).length_ns / (message.period_us * 1000) for message in messages)


def _frame(message: Message, kbit: int) -> Frame:
    bits = frame_bits(message.size, message.priority >= STANDARD_IDENTIFIERS)
    length = -(-bits * 1_000_000 // kbit)
    deadline = message.period_us if message.deadline_us is None else message.deadline_us
    return Frame(length, message.period_us * 1000, message.jitter_us * 1000, deadline * 1000)


def response_times(messages: Sequence[Message], kbit: int) -> list[MessageTime]:
    """Worst-case response time of every message.

    Parameters
    ----------
    messages : sequence of Message
        All that are on the bus, priorities distinct.
    kbit : int
        Bit rate, kbit/s.

    Returns
    -------
    list of MessageTime
        By priority, the first to be sent first.

    Raises
    ------
    ValueError
        The bit rate is not above 0.
    """
    if kbit <= 0:
        raise ValueError(f"a bit rate is above 0 kbit/s, not {kbit}")
    ordered = sorted(messages, key=lambda message: arbitration(message.priority))
    frames = [_frame(message, kbit) for message in ordered]
    bit = -(-1_000_000 // kbit)
    times = []
    for n, message in enumerate(ordered):
        response = worst_response_ns(frames, n, bit)
        us = None if response is None else response / 1000
        times.append(MessageTime(message.name, frames[n].length_ns / 1000, us, frames[n].deadline_ns // 1000))
    return times


def worst_response_ns(frames: Sequence[Frame], at: int, bit_ns: int) -> int | None:
    """Worst response of one message over all its instances in the busy period of its priority.

    Parameters
    ----------
    frames : sequence of Frame
        By priority.
    at : int
        Which of them.
    bit_ns : int
        Time of one bit, ns.

    Returns
    -------
    int or None
        ns; None where the busy period does not end (load of 1 or more).
    """
    frame, higher = frames[at], frames[:at]
    blocking = max((lower.length_ns for lower in frames[at + 1 :]), default=0)
    busy = _fixed_point(blocking, [*higher, frame], frame.length_ns, 0)
    if busy is None:
        return None
    responses = []
    for instance in range(-(-(busy + frame.jitter_ns) // frame.period_ns)):
        start = _fixed_point(blocking + instance * frame.length_ns, higher, 0, bit_ns)
        if start is None:
            return None
        responses.append(frame.jitter_ns + start - instance * frame.period_ns + frame.length_ns)
    return max(responses)


def _fixed_point(base: int, frames: Sequence[Frame], start: int, bit_ns: int) -> int | None:
    """Least w with w = base + sum of ceil((w + jitter + bit) / period) x length; None: it grows without end."""
    if sum(frame.length_ns / frame.period_ns for frame in frames) >= 1:
        return None
    time = max(base, start)
    for _ in range(_STEPS):
        longer = base + sum(-(-(time + f.jitter_ns + bit_ns) // f.period_ns) * f.length_ns for f in frames)
        if longer <= time:
            return longer
        time = longer
    return None


# Preferred values of resistors with 5 %, also sold with 1 %: IEC 60063, series E24.
E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)

MOST_SWITCHES = 4

_DECADES = (10, 100, 1000)


@dataclass(frozen=True, slots=True)
class LadderStep:
    """One combination of switches and what the pin reads.

    Parameters
    ----------
    closed : tuple of int
        Numbers of the closed switches, from 0.
    nominal, low, high : float
        Reading over full scale, no unit: as designed, and the least and most with tolerances and reading error.
    """

    closed: tuple[int, ...]
    nominal: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Ladder:
    """Resistors in series with each switch, ohm, and the steps from the highest reading down."""

    resistors_ohm: tuple[float, ...]
    pull_up_ohm: float
    steps: tuple[LadderStep, ...]

    @property
    def gap(self) -> float:
        """Least distance between two neighbouring steps over full scale; negative where two overlap."""
        return min(above.low - below.high for above, below in pairwise(self.steps))


def ladder_steps(
    resistors_ohm: Sequence[float],
    pull_up_ohm: float,
    tolerance_pct: float = 1.0,
    pull_up_tolerance_pct: float = 1.0,
    reading_error_pct: float = 0.5,
) -> Ladder:
    """What a pin with a pull-up reads for each combination of switches, each to ground through its own resistor.

    Reading over full scale = 1 / (1 + R_pull_up x sum of 1 / R_i of the closed switches), ratiometric to the pull-up's
    supply. It falls as the product grows, so tolerances are worst all one way.

    Parameters
    ----------
    resistors_ohm : sequence of float
        One for each switch, ohm.
    pull_up_ohm : float
        Pull-up, ohm.
    tolerance_pct, pull_up_tolerance_pct : float
        Of the resistors and of the pull-up, per cent.
    reading_error_pct : float
        Of the pin's converter, per cent of full scale, either way.

    Returns
    -------
    Ladder
        With all 2^n steps, highest nominal reading first.

    Raises
    ------
    ValueError
        A resistance is not above 0.
    """
    if min(*resistors_ohm, pull_up_ohm) <= 0:
        raise ValueError("resistances of a ladder are above 0 ohm")
    more = (1 + pull_up_tolerance_pct / 100) / (1 - tolerance_pct / 100)
    less = (1 - pull_up_tolerance_pct / 100) / (1 + tolerance_pct / 100)
    error = reading_error_pct / 100
    steps = []
    for mask in range(1 << len(resistors_ohm)):
        closed = tuple(n for n in range(len(resistors_ohm)) if mask >> n & 1)
        ratio = pull_up_ohm * sum(1 / resistors_ohm[n] for n in closed)
        low, high = 1 / (1 + ratio * more) - error, 1 / (1 + ratio * less) + error
        steps.append(LadderStep(closed, 1 / (1 + ratio), low, high))
    steps.sort(key=lambda step: -step.nominal)
    return Ladder(tuple(resistors_ohm), pull_up_ohm, tuple(steps))


def design_ladder(
    switches: int, pull_up_ohm: float = 1000.0, least_gap: float = 0.005, **errors: float
) -> Ladder | None:
    """The ladder whose steps are furthest apart, its resistors each about twice the one before, of preferred values.

    Parameters
    ----------
    switches : int
        At least 1.
    pull_up_ohm : float
        Pull-up of the pin, ohm.
    least_gap : float
        Distance wanted between neighbouring steps with everything at its worst, over full scale.
    errors : float
        ``tolerance_pct``, ``pull_up_tolerance_pct``, ``reading_error_pct`` as in `ladder_steps`.

    Returns
    -------
    Ladder or None
        None: no such ladder can be told apart.

    Raises
    ------
    ValueError
        There is no switch.
    """
    if switches < 1:
        raise ValueError("a ladder has at least one switch")
    if switches > MOST_SWITCHES:
        return None
    values = [value * decade for decade in _DECADES for value in E24]
    sets = [[_preferred(first * 2**n, values) for n in range(switches)] for first in values]
    ladders = [ladder_steps(chosen, pull_up_ohm, **errors) for chosen in sets if len(set(chosen)) == switches]
    widest = max(ladders, key=lambda ladder: ladder.gap)
    return widest if widest.gap >= least_gap else None


def _preferred(ohm: float, values: Sequence[int]) -> int:
    return min(values, key=lambda value: abs(value - ohm))
