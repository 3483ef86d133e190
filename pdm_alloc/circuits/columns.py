"""The circuits of a command: every set of its loads that may share one channel of a kind."""

from collections.abc import Callable, Iterator, Sequence

from pdm_alloc.circuits.classes import Rating
from pdm_alloc.circuits.fit import Counts, Fit, fit, may_share
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.circuits.wiring import Wiring, wiring_key
from pdm_alloc.vehicle import Vehicle

__all__ = ["CircuitBook", "OutOfTime", "TooManyCircuits", "circuits_of"]

MOST_CIRCUITS = 20_000
_ASK_EVERY = 500


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


def circuits_of(
    types: Sequence[ItemType],
    rating: Rating,
    wiring: Wiring,
    tolerance_loads: int = 0,
    late: Callable[[], bool] | None = None,
    most: int = MOST_CIRCUITS,
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
    most : int
        Stop beyond so many.

    Returns
    -------
    dict
        Counts (type number and how many, rising) to `Fit`, canonical order.

    Raises
    ------
    TooManyCircuits
        There are more than `most`.
    OutOfTime
        `late` said so.
    """
    found: dict[Counts, Fit] = {}
    for counts, result in _grow(types, (rating, wiring, tolerance_loads), (), 0):
        found[counts] = result
        if len(found) > most:
            raise TooManyCircuits(types[0].command)
        if late and len(found) % _ASK_EVERY == 0 and late():
            raise OutOfTime(types[0].command)
    return found


def _grow(types, asked, counts, start) -> Iterator[tuple[Counts, Fit]]:
    for n in range(start, len(types)):
        for k in range(1, types[n].count + 1):
            more = (*counts, (n, k))
            result = fit(types, more, *asked) if may_share(types, more) else None
            if result is None:
                break
            if result.made is not None:
                yield more, result
            yield from _grow(types, asked, more, n + 1)


class CircuitBook:
    """Circuits of one vehicle, worked out once a kind of channel and kept.

    Parameters
    ----------
    tolerance_loads : int
        How many loads at once are taken at the top of their tolerance.
    """

    def __init__(self, tolerance_loads: int):
        self.tolerance_loads = tolerance_loads
        self._known: dict[tuple[tuple[ItemType, ...], Rating, Wiring], dict[Counts, Fit]] = {}
        self._hopeless: set[tuple[tuple[ItemType, ...], Rating, Wiring]] = set()
        self._wirings: dict[tuple, Wiring] = {}

    def wiring(self, vehicle: Vehicle) -> Wiring:
        """Lengths and wires of a vehicle, from memory where it is wired like one before."""
        key = wiring_key(vehicle)
        if key not in self._wirings:
            self._wirings[key] = Wiring(vehicle)
        return self._wirings[key]

    def circuits(
        self,
        types: tuple[ItemType, ...],
        rating: Rating,
        wiring: Wiring,
        late: Callable[[], bool] | None = None,
    ) -> dict[Counts, Fit]:
        """As `circuits_of`, from memory where asked before; that there are too many is remembered too."""
        key = (types, rating, wiring)
        if key in self._hopeless:
            raise TooManyCircuits(types[0].command)
        if key not in self._known:
            try:
                self._known[key] = circuits_of(types, rating, wiring, self.tolerance_loads, late)
            except OutOfTime:
                raise
            except TooManyCircuits:
                self._hopeless.add(key)
                raise
        return self._known[key]

    def one(self, types: tuple[ItemType, ...], counts: Counts, rating: Rating, wiring: Wiring) -> Fit | None:
        """What the physics says of one circuit; None where it is not allowed; without `made`: not as it is."""
        return fit(types, counts, rating, wiring, self.tolerance_loads) if may_share(types, counts) else None
