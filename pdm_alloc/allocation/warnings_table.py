"""Rules of care as a table."""

from collections.abc import Sequence
from dataclasses import astuple, fields

import pandas as pd

from pdm_alloc.allocation.care import CareWarning, care
from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.module import Unit
from pdm_alloc.vehicle import Vehicle

__all__ = ["WARNINGS", "warnings_table"]

WARNINGS = tuple(field.name for field in fields(CareWarning))


def warnings_table(
    vehicle: Vehicle, units: Sequence[Unit] = (), circuits: Sequence[PlacedCircuit] = ()
) -> pd.DataFrame:
    """A row a warning, gravest first: code, severity, subject, sentence, remedy."""
    return pd.DataFrame([astuple(w) for w in care(vehicle, units, circuits)], columns=list(WARNINGS))
