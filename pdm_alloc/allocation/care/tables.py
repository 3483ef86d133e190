"""Rules of care that the tables and the places of modules show, before anything is allocated."""

import re
from collections.abc import Iterator, Sequence

from pdm_alloc.allocation.care.warning import CareWarning, listed
from pdm_alloc.electrics.supply import supply
from pdm_alloc.harness.lengths import lengths_of
from pdm_alloc.kinds import KINDS
from pdm_alloc.module import Unit, natural_key
from pdm_alloc.vehicle import Place, Vehicle

__all__ = ["UNIT_RULES", "VEHICLE_RULES", "ambient_c"]

_GUESSED_PCT = 15  # tolerance from which a current counts as guessed; ours
_GUESS = re.compile(r"\b(guess\w*|estimat\w*|assum\w*)\b", re.IGNORECASE)


def ambient_c(vehicle: Vehicle, unit: Unit) -> float:
    """Ambient around a unit: that of its place, or the setting, deg C."""
    place = vehicle.place(unit.place) if unit.place else None
    return vehicle.settings.module_ambient_c if place is None or place.ambient_c is None else place.ambient_c


def _fuel_and_battery(vehicle: Vehicle) -> Iterator[CareWarning]:
    batteries, tanks = _compartments(vehicle, "battery"), _compartments(vehicle, "fuel")
    for compartment in sorted(batteries & tanks, key=natural_key):
        yield CareWarning(
            "C01",
            "danger",
            compartment,
            f"Battery and fuel tank are in one compartment, {compartment}.",
            "Move one of them, or part them by a sealed bulkhead and vent the battery outside.",
        )


def _compartments(vehicle: Vehicle, what: str) -> set[str]:
    places = [p for p in vehicle.places if what in p.contains or _holds_battery(vehicle, p, what)]
    return {place.compartment for place in places if place.compartment}


def _holds_battery(vehicle: Vehicle, place: Place, what: str) -> bool:
    return what == "battery" and place.name == vehicle.settings.battery_place


def _hot_places(vehicle: Vehicle) -> Iterator[CareWarning]:
    limit = vehicle.settings.insulation_c
    for place in vehicle.places:
        if place.ambient_c is not None and place.ambient_c >= limit:
            yield CareWarning(
                "C06",
                "danger",
                place.name,
                f"{place.name} is at {place.ambient_c:g} deg C, and the wire's insulation is made for {limit:g} deg C.",
                "Use wire of a higher class there, shield the run from the heat, or lead it another way.",
            )


def _assumed_inrush(vehicle: Vehicle) -> Iterator[CareWarning]:
    for kind in KINDS.values():
        names = [load.name for load in vehicle.loads if load.kind == kind.name and load.inrush_assumed]
        if names and kind.inrush_multiple > 1:
            yield CareWarning(
                "C08",
                "note",
                kind.name,
                f"The inrush of {listed(names)} is taken from the kind {kind.name} "
                f"({kind.inrush_multiple:g} times running for {kind.inrush_ms:g} ms), not measured.",
                "Measure peak and length with a current clamp, the largest loads first, and enter them.",
            )


def _guessed_current(vehicle: Vehicle) -> Iterator[CareWarning]:
    for load in vehicle.loads:
        if load.tolerance_pct >= _GUESSED_PCT or _GUESS.search(load.note):
            yield CareWarning(
                "C09",
                "warning",
                load.name,
                f"The running current of {load.name}, {load.running_ma / 1000:g} A, is a guess by its own row.",
                "Measure it at the reference voltage before the module is ordered.",
            )


def _too_low(vehicle: Vehicle) -> Iterator[CareWarning]:
    for load in vehicle.loads:
        states = [s for s in vehicle.states if s.is_on(load.command)]
        low = [s.name for s in states if load.min_v is not None and s.supply_v < load.min_v]
        if low:
            yield CareWarning(
                "C12",
                "danger" if load.importance == "vital" else "warning",
                load.name,
                f"{load.name} needs {load.min_v:g} V and the supply is below that in {listed(low)}.",
                "Feed it otherwise in that state, fit a stronger battery, or take a load that works on less.",
            )


def _not_carried(vehicle: Vehicle) -> Iterator[CareWarning]:
    for row in supply(vehicle) if vehicle.states_given else ():
        drained = row.carried is None and row.charging_a
        if row.carried is False or drained:
            ends = (
                "" if drained else f": the battery is at its floor after {row.floor_minutes:.0f} of {row.minutes:g} min"
            )
            yield CareWarning(
                "C13",
                "warning",
                row.state,
                f"In {row.state} {-row.balance_a:.1f} A more are drawn than charged{ends}.",
                "Shorten the state, switch loads off in it, or fit a larger battery or alternator.",
            )


def _lowest_unknown(vehicle: Vehicle) -> Iterator[CareWarning]:
    low = min(vehicle.states, key=lambda s: s.supply_v)
    if low.supply_v >= vehicle.settings.reference_v:
        return
    names = [x.name for x in vehicle.loads if x.importance == "vital" and x.min_v is None and low.is_on(x.command)]
    if names:
        yield CareWarning(
            "C15",
            "note",
            low.name,
            f"Whether {listed(names)} still work at the {low.supply_v:g} V of {low.name} is not known.",
            "Enter min_v from the makers' data.",
        )


def _hot_units(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[CareWarning]:
    for unit in units:
        table, ambient = unit.module.derating, ambient_c(vehicle, unit)
        if table and ambient > table[-1][0]:
            yield CareWarning(
                "C07",
                "danger",
                unit.label,
                f"{unit.label} sits at {ambient:g} deg C, and its ratings are known up to {table[-1][0]:g} deg C.",
                "Mount it in a cooler place.",
            )


def _drop_not_judged(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[CareWarning]:
    known = lengths_of(vehicle)
    names = [x.name for x in vehicle.loads if any(known.wire_m(u.place, x.place, x.length_m) is None for u in units)]
    if names:
        yield CareWarning(
            "C11",
            "note",
            f"{len(names)} of {len(vehicle.loads)} loads",
            f"The voltage drop to {listed(names)} is not judged: the length of the wire is not known.",
            "Give places to loads and modules and the routes between them, or enter length_m.",
        )


VEHICLE_RULES = (
    _fuel_and_battery,
    _hot_places,
    _assumed_inrush,
    _guessed_current,
    _too_low,
    _not_carried,
    _lowest_unknown,
)
UNIT_RULES = (_hot_units, _drop_not_judged)
