"""Load of the bus and worst-case response times of its messages.

R. I. Davis, A. Burns, R. J. Bril, J. J. Lukkien, "Controller Area Network (CAN) schedulability analysis: Refuted,
revisited and revised", Real-Time Systems 35 (2007): the busy period of a priority may hold several instances of a
message, and the first need not be the worst. Times are whole nanoseconds, so that no step of the recurrence is lost.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from pdm_alloc.signals import Message

__all__ = ["MessageTime", "bus_load", "frame_bits", "response_times", "worst_response_ns"]

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
    ordered = sorted(messages, key=lambda message: message.priority)
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
