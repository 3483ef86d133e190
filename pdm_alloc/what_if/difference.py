"""What is different about the channels themselves: used or freed, command, currents, settings, wires."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.what_if.shift import Spot

__all__ = ["SET_UP", "Difference", "differences"]

SET_UP = ("command", "trip setting", "inrush window", "wire")
"""What has to be done about a channel when it is used for the first time, or no more."""

_CURRENTS = {"running_a": "current", "inrush_a": "inrush", "limit_a": "rating"}


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing about one channel that is not as before.

    Parameters
    ----------
    spot : (str, str)
        Unit and channel; channel empty: the unit itself.
    what : str
        ``channel used``, ``channel freed``, ``module``, ``place``, ``current``, ``inrush``,
        ``rating``, ``wire length`` or a word of `SET_UP`.
    subject : str
        Loads on the channel.
    before, after : str
        In words; empty: nothing.
    """

    spot: Spot
    what: str
    subject: str
    before: str
    after: str


def differences(before: Allocation, after: Allocation) -> Iterator[Difference]:
    """What is different about units and channels, each paired by name.

    Parameters
    ----------
    before, after : Allocation
        As it was; as it would be.

    Yields
    ------
    Difference
        In the order of units, then of channels.
    """
    yield from _units(before, after)
    old, new = _facts(before), _facts(after)
    for spot in dict.fromkeys([*old, *new]):
        yield from _channel(spot, old.get(spot, {}), new.get(spot, {}))


def _units(before: Allocation, after: Allocation) -> Iterator[Difference]:
    old = {unit.label: unit for unit in before.units}
    for unit in after.units:
        was = old.get(unit.label, unit)
        for what, a, b in (("module", was.module.name, unit.module.name), ("place", was.place or "", unit.place or "")):
            if a != b:
                yield Difference((unit.label, ""), what, unit.label, a, b)


def _channel(spot: Spot, old: Mapping[str, str], new: Mapping[str, str]) -> Iterator[Difference]:
    subject = new.get("loads") or old["loads"]
    if not (old and new):
        yield Difference(spot, "channel used" if new else "channel freed", subject, _loads(old), _loads(new))
    for what in dict.fromkeys([*old, *new]):
        told = what in SET_UP or (what != "loads" and old and new)
        if told and old.get(what, "") != new.get(what, ""):
            yield Difference(spot, what, subject, old.get(what, ""), new.get(what, ""))


def _loads(facts: Mapping[str, str]) -> str:
    return facts.get("loads", "")


def _facts(allocation: Allocation) -> dict[Spot, dict[str, str]]:
    """What is true of every channel in use, in words."""
    found: dict[Spot, dict[str, str]] = {}
    for row in _records(allocation.channels):
        currents = {what: _amount(row[column], "A") for column, what in _CURRENTS.items()}
        found[row["module"], row["channel"]] = {"loads": row["loads"], "command": row["command"], **currents}
    for row in _records(allocation.settings):
        set_to = {"trip setting": _amount(row["trip_a"], "A"), "inrush window": _amount(row["window_ms"], "ms")}
        found[row["module"], row["channel"]] |= set_to
    for row in _records(allocation.wires):
        found[row["module"], row["channel"]] |= {"wire": _wire(row), "wire length": _amount(row["length_m"], "m")}
    return found


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [dict(zip(table.columns, row, strict=True)) for row in table.itertuples(index=False)]


def _amount(value: float | None, unit: str) -> str:
    return "" if value is None or pd.isna(value) else f"{value:.6g} {unit}"


def _wire(row: Mapping[str, Any]) -> str:
    if pd.isna(row["size"]):
        return ""
    return f"{row['size']}" if row["parallel"] == 1 else f"{row['parallel']:.0f} x {row['size']}"
