"""Allocations side by side: what each costs, weighs and leaves, and how much is rewired from the one that is built."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import pandas as pd

from pdm_alloc.result.allocation import Allocation
from pdm_alloc.studies.comparison import shifts

__all__ = ["LIMIT_KINDS", "SIDE_BY_SIDE", "side_by_side", "tightest_headroom"]

LIMIT_KINDS = ("channel", "inrush", "bank", "whole module", "whole module, peak", "voltage drop")

SIDE_BY_SIDE = (
    *("name", "modules", "places", "outcome", "price", "mass_g", "module_g", "harness_g", "channels", "spare"),
    *("moved", "added", "removed"),
)


def tightest_headroom(allocation: Allocation) -> dict[str, tuple[float, str]]:
    """The least headroom of each kind of limit, and where it is.

    Parameters
    ----------
    allocation : Allocation
        Any.

    Returns
    -------
    dict of str to (float, str)
        Kind of `LIMIT_KINDS` to headroom, per cent, and channel and loads, bank and state, or load. Kinds without a
        limit are left out: banks where there are none, voltage drops where no length is known.
    """
    uses: dict[str, list[tuple[float, str]]] = {}
    for row in _rows(allocation.channels):
        where = f"channel {row['channel']}: {row['loads']}"
        uses.setdefault("channel", []).append((row["headroom_pct"], where))
        uses.setdefault("inrush", []).append((round(100 - row["inrush_use_pct"], 1), where))
    for row in _rows(allocation.headroom):
        kind = "bank" if row["subject"].startswith("bank ") else row["subject"]
        uses.setdefault(kind, []).append((row["headroom_pct"], f"{row['subject']} in {row['state']}"))
    for row in _rows(allocation.drops.dropna(subset=["drop_pct", "limit_pct"])):
        spent = row["drop_pct"] / row["limit_pct"]
        uses.setdefault("voltage drop", []).append((round(100 * (1 - spent), 1), row["load"]))
    return {kind: min(uses[kind], key=lambda use: use[0]) for kind in LIMIT_KINDS if kind in uses}


def side_by_side(allocations: Mapping[str, Allocation], built: str | None = None) -> pd.DataFrame:
    """Allocations compared.

    Parameters
    ----------
    allocations : mapping of str to Allocation
        By name.
    built : str, optional
        Which of them is built.

    Returns
    -------
    DataFrame
        One row per allocation, in the columns `SIDE_BY_SIDE`; masses in g, harness_g wires and battery cables, empty
        where a length is not known. moved, added, removed: items of loads and
        signals to rewire from the built one, empty without one.
    """
    before = allocations.get(built) if built is not None else None
    rows = [_beside(name, allocation, before) for name, allocation in allocations.items()]
    numbers = ("price", "mass_g", "module_g", "harness_g")
    table = pd.DataFrame(rows, columns=list(SIDE_BY_SIDE)).astype(dict.fromkeys(numbers, float))
    return table.astype(dict.fromkeys(("moved", "added", "removed"), "Int64"))


def _beside(name: str, allocation: Allocation, built: Allocation | None) -> tuple[Any, ...]:
    modules = [unit.module for unit in allocation.units]
    module_g = _total(module.mass_g for module in modules)
    harness_g = _total([*allocation.wires["mass_g"], *allocation.feeds["mass_g"]])
    channels = sum(len(module.channels) for module in modules)
    return (
        *(name, " and ".join(u.label for u in allocation.units), ", ".join(u.place or "" for u in allocation.units)),
        *(allocation.outcome, _total(module.price for module in modules), _total((module_g, harness_g))),
        *(module_g, harness_g, channels, channels - sum(len(c.channels) for c in allocation.circuits)),
        *_rewired(built, allocation),
    )


def _total(values: Iterable[float | None]) -> float | None:
    known = list(values)
    return None if any(value is None or pd.isna(value) for value in known) else float(sum(filter(None, known)))


def _rewired(built: Allocation | None, allocation: Allocation) -> Iterator[int | None]:
    counts: Counter[str] = Counter()
    for shift in shifts(built, allocation) if built is not None else ():
        counts[shift.what.split()[-1]] += shift.items
    for word in ("moved", "added", "removed"):
        yield counts[word] if built is not None else None


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [dict(zip(table.columns, row, strict=True)) for row in table.itertuples(index=False)]
