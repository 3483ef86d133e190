"""An allocation as tables that read back to the same allocation."""

from itertools import groupby
from typing import Any

import pandas as pd

from pdm_alloc.domain.module import Catalogue, Module, Unit, natural_key
from pdm_alloc.export.saved_json import SCHEMA_VERSION, allocation_digest
from pdm_alloc.files.write_tables import catalogue_tables, vehicle_tables
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit

__all__ = ["ASSIGNMENTS", "SETTINGS", "UNITS", "circuits_of", "saved_tables"]

SETTINGS = ("name", "value")

UNITS = ("unit", "module", "place")

ASSIGNMENTS = ("load", "item", "module", "channel", "use", "command")


def saved_tables(allocation: Allocation) -> dict[str, pd.DataFrame]:
    """Tables that hold the whole of an allocation.

    Parameters
    ----------
    allocation : Allocation
        Any whose units have no two different modules of one name.

    Returns
    -------
    dict of str to DataFrame
        ``allocation``, ``units``, ``assignments``, then the vehicle's tables as ``vehicle/loads`` and
        the modules' as ``catalogue/modules``. Cells are text or whole numbers.

    Raises
    ------
    ValueError
        Two units have different modules of one name.
    """
    vehicle = {f"vehicle/{name}": table for name, table in vehicle_tables(allocation.vehicle).items()}
    modules = {f"catalogue/{name}": table for name, table in catalogue_tables(_catalogue(allocation)).items()}
    return {
        "allocation": _settings(allocation, [*vehicle, *modules]),
        "units": pd.DataFrame([(u.label, u.module.name, u.place or "") for u in allocation.units], columns=list(UNITS)),
        "assignments": _assignments(allocation),
        **vehicle,
        **modules,
    }


def _settings(allocation: Allocation, tables: list[str]) -> pd.DataFrame:
    rows: list[tuple[str, Any]] = [
        ("version", SCHEMA_VERSION),
        ("digest", allocation_digest(allocation)),
        ("tables", " ".join(tables)),
        ("vehicle", allocation.vehicle.name),
        ("outcome", allocation.outcome),
        ("strategy", allocation.strategy),
        ("gap", repr(allocation.gap)),
    ]
    rows += [(f"objective {name}", repr(value)) for name, value in allocation.objectives]
    rows += [(f"hash {table}", digest) for table, digest in allocation.vehicle.table_hashes]
    return pd.DataFrame(rows, columns=list(SETTINGS), dtype=object)


def _catalogue(allocation: Allocation) -> Catalogue:
    modules: dict[str, Module] = {}
    for unit in allocation.units:
        if modules.setdefault(unit.module.name, unit.module) != unit.module:
            raise ValueError(f"two different modules are named {unit.module.name}: give them names of their own")
    return Catalogue("modules", tuple(modules[name] for name in sorted(modules, key=natural_key)))


def _assignments(allocation: Allocation) -> pd.DataFrame:
    rows = [
        (load, item, circuit.unit, circuit.channel, circuit.use, circuit.command)
        for circuit in allocation.circuits
        for load, item in circuit.items
    ]
    return pd.DataFrame(rows, columns=list(ASSIGNMENTS))


def circuits_of(rows: list[dict[str, str]], units: tuple[Unit, ...]) -> tuple[PlacedCircuit, ...]:
    """Circuits from the rows of the table ``assignments``, in its order.

    Parameters
    ----------
    rows : list of dict of str to str
        Cells by column.
    units : tuple of Unit
        Fitted.

    Returns
    -------
    tuple of PlacedCircuit
        One for each channel or pair of channels.
    """
    place = lambda row: (row["module"], row["channel"], row["use"], row["command"])  # noqa: E731
    first = {place(row): n for n, row in reversed(list(enumerate(rows)))}
    together = groupby(sorted(rows, key=lambda row: first[place(row)]), key=place)
    channels = {unit.label: frozenset(c.name for c in unit.module.channels) for unit in units}
    return tuple(
        PlacedCircuit(
            module,
            _channels(channel, use, channels.get(module, frozenset())),
            use,
            command,
            tuple(sorted((row["load"], int(row["item"])) for row in own)),
        )
        for (module, channel, use, command), own in together
    )


def _channels(text: str, use: str, known: frozenset[str]) -> tuple[str, ...]:
    """One channel, or two joined with ``+``, which may be in their names as well."""
    if use == "single":
        return (text,)
    parts = text.split("+")
    cuts = [("+".join(parts[:n]), "+".join(parts[n:])) for n in range(1, len(parts))]
    return next((cut for cut in cuts if known.issuperset(cut)), tuple(parts))
