"""The wire list: a labelled run from its channel to each load, to cut and to mark by."""

from string import ascii_lowercase

import pandas as pd

from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.records import Row, records

__all__ = ["WIRE_LIST", "labels", "wire_list"]

WIRE_LIST = (
    *("label", "module", "connector", "pins", "channel", "load", "items", "place"),
    *("wire", "length_m", "drop_pct", "limit_pct"),
)


def wire_list(allocation: Allocation) -> pd.DataFrame:
    """Runs from channels to loads.

    Parameters
    ----------
    allocation : Allocation
        What is wired.

    Returns
    -------
    DataFrame
        A row a load and circuit, columns `WIRE_LIST` and the loads' ``x_`` columns; lengths one way,
        m, empty where they are not known; drop in per cent of the system voltage.
    """
    drops = {(row["load"], row["module"], row["channel"]): row for row in records(allocation.drops)}
    places = {(row["module"], row["channel"]): row for row in records(allocation.channels)}
    marks = labels(allocation)
    rows = []
    for circuit in allocation.circuits:
        for load in circuit.loads:
            key = (circuit.unit, circuit.channel)
            run = drops.get((load, *key), {})
            rows.append({**places[key], **run, "label": marks[(*key, load)], **_load(allocation, circuit, load)})
    extra = dict.fromkeys(name for load in allocation.vehicle.loads for name, _ in load.extra)
    return pd.DataFrame(rows, columns=[*WIRE_LIST, *extra])


def _load(allocation: Allocation, circuit: PlacedCircuit, name: str) -> Row:
    load = allocation.vehicle.load(name)
    items = sum(own == name for own, _ in circuit.items)
    return {"load": name, "items": items, "place": load.place or "", **dict(load.extra)}


def labels(allocation: Allocation) -> dict[tuple[str, str, str], str]:
    """What to write on each wire.

    Parameters
    ----------
    allocation : Allocation
        What is wired.

    Returns
    -------
    dict of (str, str, str) to str
        By unit, channel and load: the channel, with a letter where several loads share it, and with the
        number of the unit in front where there are several: ``12``, ``12b``, ``2-12b``. No two alike.
    """
    numbers = {unit.label: f"{n}-" for n, unit in enumerate(allocation.units, 1)} if len(allocation.units) > 1 else {}
    return {
        (circuit.unit, circuit.channel, load): f"{numbers.get(circuit.unit, '')}{circuit.channel}{letter}"
        for circuit in allocation.circuits
        for load, letter in zip(circuit.loads, _letters(len(circuit.loads)), strict=True)
    }


def _letters(count: int) -> list[str]:
    """Nothing for one, a letter each for up to 26, numbers beyond."""
    if count == 1:
        return [""]
    return list(ascii_lowercase[:count]) if count <= len(ascii_lowercase) else [f".{n}" for n in range(1, count + 1)]
