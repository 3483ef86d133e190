"""Setting and wire of every placed circuit."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.allocation.ratings import Place, place_of
from pdm_alloc.circuits.fit import rating_for, worst_rise_ma
from pdm_alloc.circuits.items import ItemType, load_types
from pdm_alloc.circuits.wiring import Wiring, stalled_ma
from pdm_alloc.electrics.protect import Protected
from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["WiredCircuit", "wire_circuits"]


@dataclass(frozen=True)
class WiredCircuit:
    """A circuit on its channel with what protects and feeds it.

    Parameters
    ----------
    circuit : PlacedCircuit
        As allocated.
    place : Place
        Unit, channels and rating, its own headroom counted.
    some : tuple of (ItemType, int)
        Its loads, each a type of its own, and how many items of each.
    running_ma : int
        Running current, tolerance included, mA.
    made : Protected or str
        Setting and wire; a reason word where there is none.
    runs : tuple of (float, float or None, float)
        As `Wiring.runs`, in the order of `some`.
    ambient_c : float
        Hottest place its wire passes, deg C.
    bundle_wires : int
        Loaded wires in the fullest bundle it is in.
    wire_m : float or None
        Trunk and branches one way, m; None: a length is not known.
    mass_g : float or None
        Of the wire, the way back included where it is a wire, g; None: a length is not known, or no wire.
    """

    circuit: PlacedCircuit
    place: Place
    some: tuple[tuple[ItemType, int], ...]
    running_ma: int
    made: Protected | str
    runs: tuple[tuple[float, float | None, float], ...]
    ambient_c: float
    bundle_wires: int
    wire_m: float | None
    mass_g: float | None

    @property
    def each(self) -> int:
        """Channels that share its current."""
        return self.place.rating.wires

    @property
    def stalled_a(self) -> float | None:
        """Current when every motor in it is stuck, A; None: it has none."""
        stalled = stalled_ma(self.some, self.running_ma)
        return stalled / 1000 if stalled else None


def wire_circuits(
    vehicle: Vehicle, units: Sequence[Unit], circuits: Sequence[PlacedCircuit], wiring: Wiring | None = None
) -> tuple[WiredCircuit, ...]:
    """Setting and wire of every circuit, in the order given.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted.
    circuits : sequence of PlacedCircuit
        Loads on channels.
    wiring : Wiring, optional
        Of the vehicle, where known.

    Returns
    -------
    tuple of WiredCircuit
    """
    wiring = Wiring(vehicle) if wiring is None else wiring
    types = {t.load: t for t in load_types(vehicle, units)}
    return tuple(_wired(vehicle, place_of(vehicle, units, c), c, types, wiring) for c in circuits)


def _wired(vehicle: Vehicle, place: Place, circuit: PlacedCircuit, types, wiring: Wiring) -> WiredCircuit:
    some = tuple((types[load], k) for load, k in Counter(load for load, _ in circuit.items).items())
    rise = worst_rise_ma([t.deviation_ma * k for t, k in some], vehicle.settings.tolerance_loads)
    running = sum(t.running_ma * k for t, k in some) + rise
    rating = rating_for(place.rating, some[0][0].headroom_pct)
    made = wiring.protect(some, rating, running)
    runs, rules = wiring.runs(some, rating.place), wiring.rules_of(some, rating)
    known = all(length is not None for _, length, _ in runs)
    return WiredCircuit(
        circuit=circuit,
        place=Place(place.unit, place.channels, rating),
        some=some,
        running_ma=running,
        made=made,
        runs=tuple(runs),
        ambient_c=rules.ambient_c,
        bundle_wires=rules.bundle_wires,
        wire_m=wiring.wire_m(some, rating.place) if known else None,
        mass_g=wiring.mass_g(some, made, rating) if known and isinstance(made, Protected) else None,
    )
