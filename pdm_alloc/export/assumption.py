"""What the documents rest on: settings, and values nobody measured."""

from dataclasses import fields

import pandas as pd

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.kinds import KINDS, Kind
from pdm_alloc.tables.plain import decimal
from pdm_alloc.vehicle import Vehicle

__all__ = ["ASSUMPTIONS", "assumptions"]

ASSUMPTIONS = ("subject", "assumed", "applies_to", "source")


def assumptions(allocation: Allocation) -> pd.DataFrame:
    """Settings in force, and values taken from the kind of a load because its row has none.

    Parameters
    ----------
    allocation : Allocation
        What is documented.

    Returns
    -------
    DataFrame
        Columns `ASSUMPTIONS`.
    """
    vehicle = allocation.vehicle
    rows = [*_inrush(vehicle), *_tolerances(vehicle), *_states(vehicle), *_settings(vehicle)]
    return pd.DataFrame(rows, columns=list(ASSUMPTIONS))


def _inrush(vehicle: Vehicle) -> list[tuple[str, str, str, str]]:
    rows = []
    for kind in KINDS.values():
        loads = [load.name for load in vehicle.loads if load.inrush_assumed and load.kind == kind.name]
        if loads:
            rows.append((f"inrush of {kind.name}", _said(kind), "; ".join(loads), kind.source))
    return rows


def _said(kind: Kind) -> str:
    if kind.inrush_multiple <= 1:
        return "none"
    return f"{kind.inrush_multiple:g} times running, 5 % of the excess left after {kind.inrush_ms:g} ms"


def _tolerances(vehicle: Vehicle) -> list[tuple[str, str, str, str]]:
    return [
        ("running current", f"may be off by {decimal(load.tolerance_pct)} %", load.name, "table loads, tolerance_pct")
        for load in vehicle.loads
        if load.tolerance_pct
    ]


def _states(vehicle: Vehicle) -> list[tuple[str, str, str, str]]:
    if vehicle.states_given:
        return []
    return [("operating states", "one: everything on at the reference voltage", "all loads", "no table states")]


def _settings(vehicle: Vehicle) -> list[tuple[str, str, str, str]]:
    values = [(item.name, getattr(vehicle.settings, item.name)) for item in fields(vehicle.settings)]
    return [(name, decimal(value), "whole vehicle", "settings") for name, value in values if value is not None]
