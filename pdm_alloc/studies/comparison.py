"""`compare`: what changed between two allocations, item by item; `side_by_side`: several of them compared."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from pdm_alloc.domain.module import natural_key
from pdm_alloc.result.allocation import Allocation

__all__ = [
    *("COMPARISON", "SET_UP", "SIDE_BY_SIDE", "Difference", "Shift", "Spot"),
    *("compare", "differences", "shifts", "side_by_side", "spots"),
]

SIDE_BY_SIDE = (
    *("name", "modules", "places", "outcome", "price", "mass_g", "module_g", "harness_g", "channels", "spare"),
    *("moved", "added", "removed"),
)

Spot = tuple[str, str]

"""Label of a unit, and channel as tables write it; of a signal its box and pins."""


@dataclass(frozen=True, slots=True)
class Shift:
    """Items of one load or signal that left a channel or pin, came to one, or both.

    Parameters
    ----------
    load : str
        Name.
    items : int
        How many.
    before, after : (str, str) or None
        Unit and channel, or box and pins; None: not wired.
    kind : str
        ``load`` or ``signal``.
    """

    load: str
    items: int
    before: Spot | None
    after: Spot | None
    kind: str = "load"

    @property
    def what(self) -> str:
        """``load moved``, ``load added`` or ``load removed``; the same of a signal."""
        if self.before is None:
            return f"{self.kind} added"
        return f"{self.kind} moved" if self.after else f"{self.kind} removed"


def spots(allocation: Allocation) -> dict[str, Counter[Spot]]:
    """How many items of each load are on each channel.

    Parameters
    ----------
    allocation : Allocation
        Any.

    Returns
    -------
    dict of str to Counter
        By load, then by unit and channel.
    """
    counts: dict[str, Counter[Spot]] = {}
    for circuit in allocation.circuits:
        for load, _ in circuit.items:
            counts.setdefault(load, Counter())[circuit.unit, circuit.channel] += 1
    return counts


def signal_spots(allocation: Allocation) -> dict[str, Counter[Spot]]:
    """How many items of each signal are on each pin or pair of pins, by signal, then by box and pins."""
    pins: dict[tuple[str, int, str], list[str]] = {}
    for row in _records(allocation.signals.pin_map()) if allocation.signals else []:
        here = pins.setdefault((row["signal"], row["item"], row["box"]), [])
        here.append(f"{row['connector']} {row['pin']}".strip())
    on: dict[str, Counter[Spot]] = {}
    for (signal, _, box), names in pins.items():
        on.setdefault(signal, Counter())[box, ", ".join(names)] += 1
    return on


def shifts(before: Allocation, after: Allocation) -> list[Shift]:
    """What left its channel and what came to one.

    Parameters
    ----------
    before, after : Allocation
        Of one vehicle, or of two with loads of the same names.

    Returns
    -------
    list of Shift
        Loads, then signals, in natural order of names and channels; as few items as can be are moved, added or removed.
    """
    signals = _shifts(signal_spots(before), signal_spots(after))
    return [*_shifts(spots(before), spots(after)), *(replace(shift, kind="signal") for shift in signals)]


def _shifts(old: Mapping[str, Counter[Spot]], new: Mapping[str, Counter[Spot]]) -> Iterator[Shift]:
    for load in sorted({*old, *new}, key=natural_key):
        yield from _of_load(load, old.get(load, Counter()), new.get(load, Counter()))


def _of_load(load: str, old: Counter[Spot], new: Counter[Spot]) -> Iterator[Shift]:
    """Items that stay cancel; of the others as many are moved as there are on both sides."""
    left, come = _ordered(old - new), _ordered(new - old)
    width = max(len(left), len(come))
    pairs = zip(left + [None] * (width - len(left)), come + [None] * (width - len(come)), strict=True)
    for (start, end), items in Counter(pairs).items():
        yield Shift(load, items, start, end)


def _ordered(counter: Counter[Spot]) -> list[Spot | None]:
    return [*sorted(counter.elements(), key=lambda spot: tuple(map(natural_key, spot)))]


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
        ``rating``, ``wire length``, ``box``, ``bus``, ``bit rate`` or a word of `SET_UP`.
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
    yield from _boxes(before, after)
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


def _boxes(before: Allocation, after: Allocation) -> Iterator[Difference]:
    """Boxes and keypads fitted, moved or taken out, and the bus between them."""
    old, new = _fitted(before), _fitted(after)
    for label in dict.fromkeys([*old, *new]):
        if old.get(label, "") != new.get(label, ""):
            yield Difference((label, ""), "box", label, old.get(label, ""), new.get(label, ""))
    for what, a, b in zip(("bus", "bit rate"), _bus(before), _bus(after), strict=True):
        if a != b:
            yield Difference(("", ""), what, "bus", a, b)


def _fitted(allocation: Allocation) -> dict[str, str]:
    units = {unit.label for unit in allocation.units}
    nodes = allocation.signals.nodes if allocation.signals else {}
    return {n: f"fitted at {place}" if place else "fitted" for n, place in nodes.items() if n not in units}


def _bus(allocation: Allocation) -> tuple[str, str]:
    """Nodes of the trunk in their order, and the bit rate, in words; empty where there is no bus."""
    nodes = allocation.signals.trunk()["node"].tolist() if allocation.signals else []
    return (" - ".join(nodes), f"{allocation.signals.kbit} kbit/s") if nodes and allocation.signals else ("", "")


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
    facts: dict[Spot, dict[str, str]] = {}
    for row in _records(allocation.channels):
        currents = {what: _amount(row[column], "A") for column, what in _CURRENTS.items()}
        facts[row["module"], row["channel"]] = {"loads": row["loads"], "command": row["command"], **currents}
    for row in _records(allocation.settings):
        set_to = {"trip setting": _amount(row["trip_a"], "A"), "inrush window": _amount(row["window_ms"], "ms")}
        facts[row["module"], row["channel"]] |= set_to
    for row in _records(allocation.wires):
        facts[row["module"], row["channel"]] |= {"wire": _wire(row), "wire length": _amount(row["length_m"], "m")}
    return facts


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [dict(zip(table.columns, row, strict=True)) for row in table.itertuples(index=False)]


def _amount(value: float | None, unit: str) -> str:
    return "" if value is None or pd.isna(value) else f"{value:.6g} {unit}"


def _wire(row: Mapping[str, Any]) -> str:
    if pd.isna(row["size"]):
        return ""
    return f"{row['size']}" if row["parallel"] == 1 else f"{row['parallel']:.0f} x {row['size']}"


COMPARISON = ("module", "channel", "what", "subject", "items", "before", "after")


def compare(before: Allocation, after: Allocation) -> pd.DataFrame:
    """What is different, everything paired by name.

    Parameters
    ----------
    before, after : Allocation
        As it was; as it would be.

    Returns
    -------
    DataFrame
        A row a change, columns `COMPARISON`, by module and channel. `what` is one of: load moved,
        load added, load removed (subject: the load; items: how many of it; before and after: where);
        channel used, channel freed, command, current, inrush, rating, trip setting, inrush window,
        wire, wire length (subject: the loads on the channel); module, place (subject: the unit); signal moved,
        added, removed (where: box and pins); box, bus, bit rate. Before and after are words, with units. Empty
        where nothing changed. Identical items of a load are interchangeable.
    """
    rows = [*map(_shift_row, shifts(before, after)), *map(_difference_row, differences(before, after))]
    rows.sort(key=lambda row: (natural_key(row[0]), natural_key(row[1])))
    return pd.DataFrame(rows, columns=list(COMPARISON)).astype({"items": "Int64"})


def spot_text(spot: Spot | None, kind: str = "load") -> str:
    """A channel of a unit, or pins of a box, in words; empty where there is none."""
    return f"{spot[0]}, {'channel' if kind == 'load' else 'pin'} {spot[1]}" if spot else ""


def _shift_row(shift: Shift) -> tuple[Any, ...]:
    module, channel = shift.after or shift.before or ("", "")
    ends = [spot_text(spot, shift.kind) for spot in (shift.before, shift.after)]
    return (module, channel, shift.what, shift.load, shift.items, *ends)


def _difference_row(difference: Difference) -> tuple[Any, ...]:
    return (*difference.spot, difference.what, difference.subject, None, difference.before, difference.after)


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
