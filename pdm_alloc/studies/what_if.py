"""What changed between two allocations; `what_if`: a vehicle altered in code, and the rework that follows."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.cells import clean
from pdm_alloc.files.faults import Fault, InputError, hint
from pdm_alloc.files.plain import Plain
from pdm_alloc.files.tables import table_edits
from pdm_alloc.files.tables.read_vehicle import cell_text
from pdm_alloc.files.tables.signal_tables import decimal
from pdm_alloc.files.tables.table_edits import Duty, set_duty
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.studies.signal_wiring import BUS, GROUND, SIGNAL, SUPPLY

if TYPE_CHECKING:
    from pdm_alloc.studies.sizing import Sizing

__all__ = [
    "COMPARISON",
    "REWORK",
    "SET_UP",
    "SIDE_BY_SIDE",
    "Difference",
    "Shift",
    "Spot",
    "WhatIf",
    "compare",
    "differences",
    "rework",
    "shifts",
    "side_by_side",
    "spots",
    "what_if",
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
        One row per allocation, in the columns `SIDE_BY_SIDE`; price and mass_g (g) of modules, wires and battery
        cables, and with a signal side of control units, expanders, keypads and signal wires; module_g modules alone,
        harness_g wires and battery cables, empty where a length is not known. moved, added, removed: items of loads
        and signals to rewire from the built one, empty without one.
    """
    before = allocations.get(built) if built is not None else None
    rows = [_beside(name, allocation, before) for name, allocation in allocations.items()]
    numbers = ("price", "mass_g", "module_g", "harness_g")
    table = pd.DataFrame(rows, columns=list(SIDE_BY_SIDE)).astype(dict.fromkeys(numbers, float))
    return table.astype(dict.fromkeys(("moved", "added", "removed"), "Int64"))


def _beside(name: str, allocation: Allocation, built: Allocation | None) -> tuple[Any, ...]:
    modules = [unit.module for unit in allocation.units]
    module_g = _total(module.mass_g for module in modules)
    harness_g = _total([*allocation.wires["mass_g"], *allocation.feeds["mass_g"], *_signal_wires_g(allocation)])
    side = allocation.signals
    boxes_g, boxes_price = ([m for _, m, _ in side.masses], side.prices) if side else ([], [])
    channels = sum(len(module.channels) for module in modules)
    return (
        *(name, " and ".join(u.label for u in allocation.units), ", ".join(u.place or "" for u in allocation.units)),
        *(
            allocation.outcome,
            _total([m.price for m in modules] + boxes_price),
            _total((module_g, harness_g, *boxes_g)),
        ),
        *(module_g, harness_g, channels, channels - sum(len(c.channels) for c in allocation.circuits)),
        *_rewired(built, allocation),
    )


def _signal_wires_g(allocation: Allocation) -> Iterable[float]:
    """Masses of the wires of the signal side, g; none without one."""
    if allocation.signals is None:
        return []
    table = allocation.cut_list
    return table[table["role"].isin((SIGNAL, SUPPLY, GROUND, BUS))]["mass_g"]


def _total(values: Iterable[float | None]) -> float | None:
    known = list(values)
    return None if any(value is None or pd.isna(value) for value in known) else float(sum(filter(None, known)))


def _rewired(built: Allocation | None, allocation: Allocation) -> Iterator[int | None]:
    counts: Counter[str] = Counter()
    for shift in shifts(built, allocation) if built is not None else ():
        counts[shift.what.split()[-1]] += shift.items
    for word in ("moved", "added", "removed"):
        yield counts[word] if built is not None else None


@dataclass(frozen=True, slots=True)
class WhatIf:
    """A vehicle with changes tried on it; every change gives another object, this one stays as it is.

    Parameters
    ----------
    vehicle : Vehicle
        The result, checked.
    changes : tuple of str
        What was changed, in order, in edit.
    start : Vehicle
        The vehicle without the changes.
    """

    vehicle: Vehicle
    changes: tuple[str, ...] = ()
    start: Vehicle = field(kw_only=True)

    def __repr__(self) -> str:
        """Vehicle and changes, one a line."""
        return "\n  ".join([f"what if {self.vehicle.name}:", *(self.changes or ("unchanged",))])

    def add(self, *, load: str, command: str, running_a: float | str, duty: Duty = None, **columns: object) -> "WhatIf":
        """With one load more.

        Parameters
        ----------
        load, command : str
            Unique name; what switches it, known or new.
        running_a : float or str
            Steady current of one item at reference_v, A.
        duty : number, str or mapping, optional
            When a new command is on: 0 to 1 in every state, or by state (left out: off). Default: on
            in every state.
        **columns
            Other columns of the table ``loads``, in its units: ``kind="filament"`` (must be given), ``count=2``,
            ``needs=["pwm"]``, ``x_wire_label="F-7"``.

        Returns
        -------
        WhatIf

        Raises
        ------
        InputError
            With every fault, as a file with that row would bring.
        """
        tables = table_edits.tables_of(self.vehicle)
        table_edits.put_load(tables, {"load": load, "command": command, "running_a": running_a, **columns})
        self._switch(tables, clean(cell_text(command)), duty)
        vehicle = table_edits.read_back(tables, self.vehicle)
        return self._then(vehicle, _added(self.vehicle, vehicle, clean(cell_text(load))))

    def without(self, *loads: str) -> "WhatIf":
        """Without some loads, what is locked of them included.

        Parameters
        ----------
        *loads : str
            Names; all items go.

        Returns
        -------
        WhatIf
            A command that a change had brought in goes with its last load; the vehicle's own stay.

        Raises
        ------
        InputError
            A name is not known, or nothing would be left.
        """
        tables = table_edits.tables_of(self.vehicle)
        for row in [table_edits.row_named(tables, name) for name in dict.fromkeys(loads)]:
            table_edits.drop_load(tables, row)
        return self._edited(tables, _left_out(loads))

    def change(self, load: str, /, *, duty: Duty = None, **columns: object) -> "WhatIf":
        """With other values in the row of a load.

        Parameters
        ----------
        load : str
            Name. A new one goes by column: ``change("fan", load="left fan")``.
        duty : number, str or mapping, optional
            When a new command is on, as in `add`.
        **columns
            Columns of the table ``loads``, in its units; None empties a cell, so that its default counts.

        Returns
        -------
        WhatIf

        Raises
        ------
        InputError
            The name is not known, or with every fault of the row as it would be.
        """
        tables = table_edits.tables_of(self.vehicle)
        row = table_edits.row_named(tables, load)
        before = dict(row)
        table_edits.alter_load(tables, row, columns)
        if "command" in columns or duty is not None:
            self._switch(tables, clean(row["command"]), duty)
        return self._edited(tables, _changed(before, row))

    def duty(self, command: str, duty: Duty) -> "WhatIf":
        """With a command on more, or less, of the time.

        Parameters
        ----------
        command : str
            Name.
        duty : number, str or mapping
            0 to 1 in every state, or by state (left out: off).

        Returns
        -------
        WhatIf

        Raises
        ------
        InputError
            The command or a state is not known, or the duty is none.
        """
        names = [known.name for known in self.vehicle.commands]
        if command not in names:
            raise _refused(command, "is not a command of this vehicle", hint(command, names))
        tables = table_edits.tables_of(self.vehicle)
        set_duty(tables, self.vehicle, command, duty)
        vehicle = table_edits.read_back(tables, self.vehicle)
        return self._then(vehicle, f"the command '{command}' is now {_duty_words(vehicle, command)}")

    def settings(self, **values: object) -> "WhatIf":
        """With other settings, named as in ``settings.toml``; None gives back the default.

        Raises
        ------
        InputError
            A setting is not known, or a value is none it can have.
        """
        tables = table_edits.tables_of(self.vehicle)
        table_edits.alter_settings(tables, values)
        vehicle = table_edits.read_back(tables, self.vehicle)
        return self._then(vehicle, _set_to(self.vehicle.settings, vehicle.settings, values))

    def allocate(self, *modules: Any, **options: Any) -> "Allocation":
        """Allocation of the altered vehicle; arguments as `pdm_alloc.allocate`."""
        from pdm_alloc.allocator import allocate

        return allocate(self.vehicle, *modules, **options)

    def size(self, catalogue: Any, **options: Any) -> "Sizing":
        """Every module of a catalogue judged for the altered vehicle; arguments as `pdm_alloc.size`."""
        from pdm_alloc.studies.sizing import size

        return size(self.vehicle, catalogue, **options)

    def _switch(self, tables: Plain, command: str, duty: Duty) -> None:
        """A new command gets its rows; one that is known has its duties already."""
        known = {row["command"] for row in tables["commands"]}
        if command and command not in known:
            tables["commands"].append({"command": command})
            set_duty(tables, self.vehicle, command, duty)
        elif duty is not None:
            raise _refused(command, "has its duties already", "leave duty out, or change them with .duty(...)")

    def _edited(self, tables: Plain, change: str) -> "WhatIf":
        table_edits.forget_commands(tables, [command.name for command in self.start.commands])
        table_edits.forget_columns(tables, [column for load in self.start.loads for column, _ in load.extra])
        return self._then(table_edits.read_back(tables, self.vehicle), change)

    def _then(self, vehicle: Vehicle, change: str) -> "WhatIf":
        return WhatIf(vehicle, (*self.changes, change), start=self.start)


def _refused(command: str, message: str, remedy: str) -> InputError:
    return InputError([Fault("states", None, "command", command, message, remedy)])


def what_if(vehicle: Vehicle | WhatIf) -> WhatIf:
    """Begin to change a vehicle.

    Parameters
    ----------
    vehicle : Vehicle or WhatIf
        What there is; the result of earlier changes begins anew.

    Returns
    -------
    WhatIf
        Without changes: ``what_if(v).add(load="winch", command="winch", running_a=12, kind="motor").vehicle``.
    """
    whole = vehicle.vehicle if isinstance(vehicle, WhatIf) else vehicle
    return WhatIf(whole, start=whole)


REWORK = (
    *("action", "subject", "items", "from_module", "from_channel", "from_pins"),
    *("to_module", "to_channel", "to_pins", "before", "after"),
)

_WIRES = {
    f"{kind} {what}": f"{action} wire"
    for what, action in (("removed", "remove"), ("moved", "move"), ("added", "add"))
    for kind in ("load", "signal")
}

_BOXES = {"box": "fit box", "bus": "lay bus", "bit rate": "set bit rate"}

_ACTIONS = (
    *("remove wire", "remove box", "move box", "fit box", "move wire", "add wire", "lay bus", "set bit rate"),
    *(f"set {what}" if what != "wire" else "change wire" for what in SET_UP),
)


def rework(before: Allocation, after: Allocation) -> pd.DataFrame:
    """What is to be done, and nothing else.

    Parameters
    ----------
    before, after : Allocation
        As it is built; as it is to be.

    Returns
    -------
    DataFrame
        Columns `REWORK`. First the wires: remove wire, move wire, add wire (subject: the load; items:
        how many of it, or the signal; from and to where) and boxes (remove, move, fit), the bus; then what is set:
        set command, set trip setting, set inrush
        window, change wire (to: the channel; before and after: in words, currents in A). Empty where
        nothing is to be done.
    """
    old, new = _pins(before), _pins(after)
    rows = [_wire_row(shift, old, new) for shift in shifts(before, after)]
    rows += [_box_row(d) for d in differences(before, after) if d.what in _BOXES]
    rows += [_set_row(d, {**old, **new}) for d in differences(before, after) if _is_work(d)]
    rows.sort(key=lambda row: (_ACTIONS.index(row["action"]), natural_key(row["subject"])))
    return pd.DataFrame(rows, columns=list(REWORK)).astype({"items": "Int64"})


def _pins(allocation: Allocation) -> Mapping[Spot, str]:
    table = allocation.channels
    return {(m, c): pins for m, c, pins in zip(table["module"], table["channel"], table["pins"], strict=True)}


def _wire_row(shift: Shift, old: Mapping[Spot, str], new: Mapping[Spot, str]) -> dict[str, Any]:
    return {
        "action": _WIRES[shift.what],
        "subject": shift.load,
        "items": shift.items,
        **_end("from", shift.before, old),
        **_end("to", shift.after, new),
        "before": "",
        "after": "",
    }


def _end(side: str, spot: Spot | None, pins: Mapping[Spot, str]) -> dict[str, str]:
    module, channel = spot or ("", "")
    if spot is not None and spot not in pins:  # of a signal, whose spot is its pins
        return {f"{side}_module": module, f"{side}_channel": "", f"{side}_pins": channel}
    return {f"{side}_module": module, f"{side}_channel": channel, f"{side}_pins": pins[spot] if spot else ""}


def _box_row(difference: Difference) -> dict[str, Any]:
    action = _BOXES[difference.what]
    if difference.what == "box":
        action = "fit box" if not difference.before else "move box" if difference.after else "remove box"
    ends = {**_end("from", None, {}), **_end("to", None, {})}
    told = {"before": difference.before, "after": difference.after}
    return {"action": action, "subject": difference.subject, "items": None, **ends, **told}


def _is_work(difference: Difference) -> bool:
    """A wire that is new or gone is in the list of wires already."""
    return difference.what in SET_UP and (difference.what != "wire" or bool(difference.before and difference.after))


def _set_row(difference: Difference, pins: Mapping[Spot, str]) -> dict[str, Any]:
    action = "change wire" if difference.what == "wire" else f"set {difference.what}"
    ends = {**_end("from", None, pins), **_end("to", difference.spot, pins)}
    told = {"before": difference.before, "after": difference.after}
    return {"action": action, "subject": difference.subject, "items": None, **ends, **told}


def _duty_words(vehicle: Vehicle, command: str) -> str:
    """When a command is on, for a person: ``on in every state``, ``on in night (50 %) and rain``."""
    on = {state.name: state.duty_ppm[command] for state in vehicle.states if state.is_on(command)}
    if not on:
        return "on in no state"
    if len(on) == len(vehicle.states) and len(set(on.values())) == 1:
        share = _share(on.popitem()[1])
        return f"on in every state{share}"
    return "on in " + _listed(f"{name}{_share(ppm)}" for name, ppm in on.items())


def _share(ppm: int) -> str:
    return "" if ppm == 1_000_000 else f" ({ppm / 10_000:g} %)"


def _listed(words: Iterator[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def _added(before: Vehicle, after: Vehicle, name: str) -> str:
    """A load put in, and where it is switched by a new command, when that is on."""
    load = after.load(name)
    known = load.command in {command.name for command in before.commands}
    switch = f"the command '{load.command}'"
    if not known:
        switch = f"the new command '{load.command}' ({_duty_words(after, load.command)})"
    items = f"{load.count} x " if load.count > 1 else ""
    return f"added '{name}': {items}{load.running_ma / 1000:g} A, {load.kind}, on {switch}"


def _left_out(names: Iterable[str]) -> str:
    """Loads taken out."""
    return "left out " + ", ".join(f"'{name}'" for name in dict.fromkeys(names))


def _changed(before: Mapping[str, str], after: Mapping[str, str]) -> str:
    """Cells of a load that are other than before."""
    columns = [c for c in dict.fromkeys([*before, *after]) if before.get(c, "") != after.get(c, "")]
    cells = ", ".join(f"{c} {_cell(before.get(c))} to {_cell(after.get(c))}" for c in columns)
    return f"changed '{before['load']}': {cells or 'nothing'}"


def _cell(text: str | None) -> str:
    return text if text else "(empty)"


def _set_to(before: Settings, after: Settings, names: Iterable[str]) -> str:
    """Settings that are other than before."""
    pairs = [(name, decimal(getattr(before, name, None)), decimal(getattr(after, name, None))) for name in names]
    parts = [f"{name} {_cell(old)} to {_cell(new)}" for name, old, new in pairs if old != new]
    return f"set {', '.join(parts) or 'nothing'}"
