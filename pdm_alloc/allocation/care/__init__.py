"""Rules of care: what a person should look at before a wire is cut, as warnings with a code of our own."""

from collections.abc import Sequence

from pdm_alloc.allocation.care.circuits import CIRCUIT_RULES
from pdm_alloc.allocation.care.tables import UNIT_RULES, VEHICLE_RULES
from pdm_alloc.allocation.care.warning import CAUTION, SEVERITIES, CareWarning
from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.module import Unit, natural_key
from pdm_alloc.vehicle import Vehicle

__all__ = ["CAUTION", "SEVERITIES", "CareWarning", "care"]


def care(
    vehicle: Vehicle, units: Sequence[Unit] = (), circuits: Sequence[PlacedCircuit] = ()
) -> tuple[CareWarning, ...]:
    """All warnings of a vehicle, and of its units and circuits where there are any.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    units : sequence of Unit
        Modules fitted.
    circuits : sequence of PlacedCircuit
        Circuits on their channels; empty: only what the tables alone show.

    Returns
    -------
    tuple of CareWarning
        Gravest first, then by code and subject.
    """
    found = [warning for rule in VEHICLE_RULES for warning in rule(vehicle)]
    found += [warning for rule in UNIT_RULES for warning in rule(vehicle, units)]
    if circuits:
        found += [warning for rule in CIRCUIT_RULES for warning in rule(vehicle, units, circuits)]
    return tuple(sorted(found, key=lambda w: (SEVERITIES.index(w.severity), w.code, natural_key(w.subject))))
