"""The circuits of a command: every set of its loads that may share one channel of a kind."""

from collections import defaultdict
from collections.abc import Callable, Collection, Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import count
from operator import attrgetter

from pdm_alloc.circuits.classes import Rating
from pdm_alloc.circuits.draws import CircuitDraw, Wiring, rating_for, wiring_key
from pdm_alloc.circuits.items import ItemType, nameless
from pdm_alloc.domain.vehicle import PPM, Vehicle
from pdm_alloc.electrics.protection import Protected, outlasts_window, protect
from pdm_alloc.electrics.wire import Refused

__all__ = [
    *("CircuitBook", "Fit", "OutOfTime", "TooManyCircuits", "circuits_of", "fit", "is_as_strong", "may_share"),
    "raise_late",
]

Counts = tuple[tuple[int, int], ...]

Draws = dict[tuple[Counts, str | None], "_Drawn"]
"""By counts and place of the unit."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A circuit on a kind of channel.

    Parameters
    ----------
    running_ma : int
        Largest running current at any voltage it is checked at, as stated, mA.
    use_ppm : int
        Running over derated rating, parts per million.
    mass_mg : int
        Wire from channel to loads, mg; 0 where no length is known.
    made : Protected or None
        Its trip setting and wire; None: a stalled motor would burn every wire its terminal takes, so
        it is not allowed, though it may be with more on it, which trips sooner.
    """

    running_ma: int
    use_ppm: int
    mass_mg: int = 0
    made: Protected | None = None


def may_share(types: Sequence[ItemType], counts: Counts) -> bool:
    """Whether the rules of the loads, electricity apart, let them share a channel.

    Parameters
    ----------
    types : sequence of ItemType
        Of one command.
    counts : tuple of (int, int)
        Type number and how many of it, at least 1, rising.

    Returns
    -------
    bool
        False where an item is to be alone, a label would meet itself, or reversing and other loads
        would mix.
    """
    chosen = [types[n] for n, _ in counts]
    if sum(k for _, k in counts) > 1 and not all(t.share for t in chosen):
        return False
    if len({t.reversing for t in chosen}) > 1:
        return False
    labels = [t.separate for t in chosen if t.separate]
    return len(labels) == len(set(labels))


def fit(
    types: Sequence[ItemType],
    counts: Counts,
    rating: Rating,
    wiring: Wiring,
    tolerance_loads: int = 0,
    draws: Draws | None = None,
) -> Fit | None:
    """Check a circuit against a kind of channel.

    Every rule here but one only gets harder when an item is added, so a circuit that does not fit
    need not be tried with more. The one is the stalled motor, which has a result of its own.

    Parameters
    ----------
    types : sequence of ItemType
        Of one command.
    counts : tuple of (int, int)
        Type number and how many of it.
    rating : Rating
        The kind of channel.
    wiring : Wiring
        Lengths and wires of the vehicle.
    tolerance_loads : int
        How many loads at once are taken at the top of their tolerance.
    draws : dict, optional
        What circuits of these types draw and ask of a channel with this wiring, as far as known; grows.

    Returns
    -------
    Fit or None
        None: not allowed there, nor with more on it. Without `made`: not allowed as it is.
    """
    if not _suits(types, counts, rating):
        return None
    known: Draws = {} if draws is None else draws
    key = (counts, rating.place)
    if key not in known:
        known[key] = _Drawn([(types[n], k) for n, k in counts], rating, wiring, tolerance_loads)
    return known[key].on(rating_for(rating, types[counts[0][0]].headroom_pct))


class _Drawn:
    """What a circuit draws and asks of any channel of a unit in a place: worked out once."""

    def __init__(self, members: Sequence[tuple[ItemType, int]], rating: Rating, wiring: Wiring, tolerance_loads: int):
        self.draw = CircuitDraw(members, tolerance_loads)
        self.demand = wiring.demand(members, self.draw.draw_ma, rating.place)
        self.rules, self.wiring = wiring.rules_of(members, rating), wiring
        self._known: dict[Hashable, Protected] = {}
        self._passed: list[tuple[int, int, float]] = []

    def on(self, rating: Rating) -> Fit | None:
        draw = self.draw
        if draw.draw_ma > rating.usable_ma or draw.peak_ma > rating.peak_ma or not self._passes(rating):
            return None
        made, rated = self._protected(rating), rating.rated_ma
        use_ppm = -(-draw.running_ma * PPM * rated.denominator // rated.numerator)
        if isinstance(made, Refused):
            return Fit(draw.running_ma, use_ppm) if made.reason == "stall" else None
        return Fit(draw.running_ma, use_ppm, round(1000 * self.wiring.mass_g(draw.items, made, rating)), made)

    def _passes(self, rating: Rating) -> bool:
        """Whether the channel's protection lets the inrush pass, as it does where a weaker one does; `is_as_strong`."""
        usable_ma, peak_ma, peak_ms = limits = (rating.usable_ma, rating.peak_ma, rating.peak_ms)
        for usable, peak, lasting in self._passed:
            if usable <= usable_ma and peak <= peak_ma and lasting <= peak_ms:
                return True
        passes = self.draw.passes(rating)
        self._passed += [limits] if passes else []
        return passes

    def _protected(self, rating: Rating) -> Protected | Refused:
        """As `protect`; a setting that a stronger channel allows too asks for the same wire, unless a motor stalls."""
        known = self._known.get(rating.terminal)
        if known is not None and known.trip_ma <= rating.highest_ma:
            return known
        like = self._known.get(rating.kind)
        is_like = like is not None and like.trip_ma <= rating.highest_ma
        made = protect(self.demand, rating, self.rules, like if is_like else None)
        if isinstance(made, Protected):
            self._known.setdefault(rating.kind, made)
            if self.demand.stalled_ma <= 0:
                self._known[rating.terminal] = made
        return made


def _suits(types: Sequence[ItemType], counts: Counts, rating: Rating) -> bool:
    return all((rating.pwm or not types[n].pwm) and types[n].reversing == rating.reversing for n, _ in counts)


MOST_CIRCUITS = 20_000
_ASK_EVERY = 25  # circuits: of a hundred loads along routes, one takes milliseconds


class TooManyCircuits(Exception):
    """A command has so many loads that listing its circuits is hopeless."""

    def __str__(self) -> str:
        """For a person: which, and what to do."""
        why = f"the command {self.args[0]} has too many different loads to list its circuits"
        return f"{why}: split it, or merge like loads"


class OutOfTime(TooManyCircuits):
    """There was no time to list the circuits of a command."""

    def __str__(self) -> str:
        """For a person: which, and what to do."""
        return f"time ran out while the circuits of {self.args[0]} were listed: give it more (time_limit_s)"


def raise_late(late: Callable[[], bool] | None, what: str = "the vehicle") -> None:
    """Raise `OutOfTime` where the time is over."""
    if late is not None and late():
        raise OutOfTime(what)


def circuits_of(
    types: Sequence[ItemType],
    rating: Rating,
    wiring: Wiring,
    tolerance_loads: int = 0,
    late: Callable[[], bool] | None = None,
    draws: Draws | None = None,
    marks: tuple[Hashable, ...] = (),
    sure: Collection[Counts] = (),
) -> dict[Counts, Fit]:
    """Every circuit of a command that a kind of channel bears.

    Parameters
    ----------
    types : sequence of ItemType
        All of the command.
    rating : Rating
        The kind of channel.
    wiring : Wiring
        Lengths and wires of the vehicle.
    tolerance_loads : int
        How many loads at once are taken at the top of their tolerance.
    late : callable, optional
        True stops the listing; asked now and then.
    draws : dict, optional
        As of `fit`.
    marks : tuple, optional
        A mark by type: types with one mark are forms of one load, of which a circuit has one at the most.
    sure : collection of Counts
        Circuits that are not wanted: the physics is not asked of them.

    Returns
    -------
    dict
        Counts (type number and how many, rising) to `Fit`, canonical order.

    Raises
    ------
    TooManyCircuits
        There are more than `MOST_CIRCUITS`.
    OutOfTime
        `late` said so.
    """
    circuits: dict[Counts, Fit] = {}
    known: Draws = {} if draws is None else draws
    ask = _now_and_then(late, types[0].command)
    for counts, result in _grow(types, (rating, wiring, tolerance_loads, known), (), 0, ask, marks, sure):
        circuits[counts] = result
        if len(circuits) > MOST_CIRCUITS:
            raise TooManyCircuits(types[0].command)
    return circuits


def _now_and_then(late: Callable[[], bool] | None, command: str) -> Callable[[], None]:
    """Called before every circuit that is tried, borne or not: of 300 loads few of the many tried together are."""
    tried = count(1)

    def ask() -> None:
        if next(tried) % _ASK_EVERY == 0:
            raise_late(late, command)

    return ask


def _grow(
    types: Sequence[ItemType],
    asked: tuple[Rating, Wiring, int, Draws],
    counts: Counts,
    start: int,
    ask: Callable[[], None],
    marks: tuple[Hashable, ...] = (),
    sure: Collection[Counts] = (),
) -> Iterator[tuple[Counts, Fit]]:
    for n in range(start, len(types)):
        if marks and any(marks[m] == marks[n] for m, _ in counts):
            continue
        for k in range(1, types[n].count + 1):
            ask()
            more = (*counts, (n, k))
            if more in sure:
                yield from _grow(types, asked, more, n + 1, ask, marks, sure)
                continue
            known = (more, asked[0].place) in asked[3]  # only circuits that may share are
            result = fit(types, more, *asked) if known or may_share(types, more) else None
            if result is None:
                break
            if result.made is not None:
                yield more, result
            yield from _grow(types, asked, more, n + 1, ask, marks, sure)


_APART = attrgetter(
    *("reversing", "pins", "trip_step_ma", "place", "wires", "share", "trip_error_pct", "contact_ma")
)  # of a rating what makes another no stronger, but different


def is_as_strong(rating: Rating, other: Rating) -> bool:
    """Whether a rating bears whatever the other bears, wires of stalled motors apart.

    The overload that a channel bears falls with its usable limit no faster than the overload itself, for what is above
    that limit is above it for no longer than the channel bears its peak.
    """
    if _APART(rating) != _APART(other) or (other.pwm and not rating.pwm):
        return False
    wider = rating.max_wire_mm2 is None or (
        other.max_wire_mm2 is not None and rating.max_wire_mm2 >= other.max_wire_mm2
    )
    stronger = rating.rated_ma >= other.rated_ma and rating.usable_ma >= other.usable_ma
    return wider and stronger and rating.peak_ma >= other.peak_ma and rating.peak_ms >= other.peak_ms


class CircuitBook:
    """Circuits of one vehicle, worked out once a kind of channel and kept; once for commands that differ in name alone.

    Parameters
    ----------
    tolerance_loads : int
        How many loads at once are taken at the top of their tolerance.
    """

    def __init__(self, tolerance_loads: int):
        self.tolerance_loads = tolerance_loads
        self._known: dict[tuple[Hashable, ...], dict[Counts, Fit]] = {}
        self._hopeless: set[tuple[Hashable, ...]] = set()
        self._wirings: dict[Hashable, Wiring] = {}
        self._last: tuple[Vehicle, Wiring] | None = None
        self._draws: dict[tuple[tuple[ItemType, ...], Wiring], Draws] = defaultdict(dict)
        self._nameless: dict[tuple[ItemType, ...], tuple[ItemType, ...]] = {}
        self._borne: dict[tuple[Hashable, ...], set[Counts]] = {}
        self._sure: dict[tuple[Hashable, ...], set[Counts]] = {}

    def wiring(self, vehicle: Vehicle) -> Wiring:
        """Lengths and wires of a vehicle, from memory where it is wired like one before."""
        if self._last is None or self._last[0] is not vehicle:  # hashing all places and routes takes long
            key = wiring_key(vehicle)
            if key not in self._wirings:
                self._wirings[key] = Wiring(vehicle)
            self._last = vehicle, self._wirings[key]
        return self._last[1]

    def circuits(
        self,
        types: tuple[ItemType, ...],
        rating: Rating,
        wiring: Wiring,
        late: Callable[[], bool] | None = None,
        marks: tuple[Hashable, ...] = (),
        sure: Collection[Counts] = (),
    ) -> dict[Counts, Fit]:
        """As `circuits_of`, from memory where asked before; that there are too many is remembered too."""
        alike = self._alike(types)
        key, draws = (alike, rating, wiring, marks), self._draws[alike, wiring]
        if key in self._hopeless:
            raise TooManyCircuits(types[0].command)
        if key not in self._known and sure:
            return circuits_of(types, rating, wiring, self.tolerance_loads, late, draws, marks, sure)
        if key not in self._known:
            try:
                self._known[key] = circuits_of(types, rating, wiring, self.tolerance_loads, late, draws, marks)
            except OutOfTime:
                raise
            except TooManyCircuits:
                self._hopeless.add(key)
                raise
        return self._known[key]

    def borne(
        self,
        types: tuple[ItemType, ...],
        rating: Rating,
        wiring: Wiring,
        late: Callable[[], bool] | None = None,
        marks: tuple[Hashable, ...] = (),
        sure: Collection[Counts] = (),
    ) -> set[Counts]:
        """The circuits that a rating bears, from memory where asked before; of `sure` that is known.

        Types that differ in the headroom of their command alone draw the same.
        """
        key = (self._alike(types), rating, wiring, marks)
        if key not in self._borne:
            draws = self._draws_of(types, wiring)
            listed = circuits_of(types, rating, wiring, self.tolerance_loads, late, draws, marks, sure)
            self._borne[key] = {*listed, *sure}
            known = self._sure[key] = set(sure)
            for counts, result in listed.items():
                demand, made = draws[counts, rating.place].demand, result.made
                if made is not None and outlasts_window(made, demand, rating, wiring.rules.insulation_c):
                    known.add(counts)
        return self._borne[key]

    def surely(
        self, types: tuple[ItemType, ...], rating: Rating, wiring: Wiring, marks: tuple[Hashable, ...] = ()
    ) -> set[Counts]:
        """Of the circuits of `borne` those that every rating at least as strong bears too."""
        return self._sure[self._alike(types), rating, wiring, marks]

    def _draws_of(self, types: tuple[ItemType, ...], wiring: Wiring) -> Draws:
        return self._draws[tuple(replace(t, headroom_pct=None) for t in self._alike(types)), wiring]

    def _alike(self, types: tuple[ItemType, ...]) -> tuple[ItemType, ...]:
        """The types without names: what circuits are remembered by."""
        if types not in self._nameless:
            self._nameless[types] = tuple(map(nameless, types))
        return self._nameless[types]

    def one(self, types: tuple[ItemType, ...], counts: Counts, rating: Rating, wiring: Wiring) -> Fit | None:
        """What the physics says of one circuit; None where it is not allowed; without `made`: not as it is."""
        if not may_share(types, counts):
            return None
        return fit(types, counts, rating, wiring, self.tolerance_loads, self._draws[self._alike(types), wiring])

    def bears(self, types: tuple[ItemType, ...], rating: Rating, wiring: Wiring, counts: Counts = ((0, 1),)) -> bool:
        """Whether a rating bears one circuit: one item of the first type alone, unless counts are given."""
        result = self.one(types, counts, rating, wiring)
        return result is not None and result.made is not None
