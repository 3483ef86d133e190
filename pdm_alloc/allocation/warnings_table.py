"""Rules of care as a table, those on wires included."""

from collections.abc import Iterator, Sequence
from dataclasses import astuple, fields

import pandas as pd

from pdm_alloc.allocation.care import SEVERITIES, CareWarning, care
from pdm_alloc.allocation.voltages_table import voltages
from pdm_alloc.allocation.wired import WiredCircuit
from pdm_alloc.module import Unit, natural_key
from pdm_alloc.vehicle import Vehicle

__all__ = ["WARNINGS", "all_warnings", "warnings_table", "wire_warnings"]

WARNINGS = tuple(field.name for field in fields(CareWarning))


def warnings_table(vehicle: Vehicle, units: Sequence[Unit] = (), wired: Sequence[WiredCircuit] = ()) -> pd.DataFrame:
    """A row a warning, gravest first: code, severity, subject, sentence, remedy."""
    found = all_warnings(vehicle, units, wired)
    return pd.DataFrame([astuple(w) for w in found], columns=list(WARNINGS))


def all_warnings(vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit]) -> list[CareWarning]:
    """Rules of care and what the wires show, gravest first."""
    found = [*care(vehicle, units, [w.circuit for w in wired]), *wire_warnings(wired), *_starved(vehicle, wired)]
    return sorted(found, key=lambda w: (SEVERITIES.index(w.severity), w.code, natural_key(w.subject)))


def wire_warnings(wired: Sequence[WiredCircuit]) -> Iterator[CareWarning]:
    """What wires in their bundles show.

    Parameters
    ----------
    wired : sequence of WiredCircuit
        All of the harness.

    Yields
    ------
    CareWarning
        ``C16`` a bundle too full for a wire; ``C17`` a circuit that cannot be wired.
    """
    for w in wired:
        where = f"{w.circuit.unit} {w.circuit.channel}"
        if isinstance(w.made, str):
            yield CareWarning(
                "C17",
                "danger",
                where,
                "No wire and trip setting go together on this channel.",
                "Move its loads, or take another channel: see the table of wires.",
            )
        elif w.most_together > w.bundle_wires:
            yield CareWarning(
                "C16",
                "warning",
                where,
                f"It lies in a bundle of {w.most_together} loaded wires, and the wire that fits its terminal may lie "
                f"with {w.bundle_wires} at most.",
                "Split the bundle, or lead this wire apart from it.",
            )


def _starved(vehicle: Vehicle, wired: Sequence[WiredCircuit]) -> Iterator[CareWarning]:
    """Loads that the supply would satisfy in a state and the end of their wire does not."""
    for one in voltages(vehicle, wired):
        if one.enough is False and one.min_v is not None and one.module_v >= one.min_v:
            yield CareWarning(
                "C18",
                "danger" if one.importance == "vital" else "warning",
                one.load,
                f"{one.load} needs {one.min_v:g} V and has {one.load_v:.2f} V in {one.state}.",
                "Give it a lower max_drop_pct, so that its wire is thicker.",
            )
