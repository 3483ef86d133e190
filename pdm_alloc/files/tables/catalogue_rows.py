"""The tables of a catalogue: a row model each, and what the rows must keep to beyond one cell."""

import math
import re
from collections import Counter, defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Annotated, ClassVar

from pdm_alloc.files.cells import Cell, CellError, Name, Number, Text, Words, clean, milliamps, whole
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.rows import Line, Row, column
from pdm_alloc.files.tables.signal_rows import SIGNAL_CATALOGUE_ROWS

__all__ = [
    "ASSUMED_PEAK_MS",
    "CATALOGUE_ROWS",
    "BankRow",
    "ChannelRow",
    "DeratingRow",
    "ModuleRow",
    "check_catalogue",
    "note_assumed",
]

ASSUMED_PEAK_MS = 50.0  # common practice, no source


def milliamps_down(value: Fraction) -> int:
    """Amperes of a limit to whole milliamps, rounded down; CellError below one."""
    if value * 1000 < 1:
        raise CellError("is too small", "give at least 0.001 A")
    return math.floor(value * 1000)


_Name = Annotated[str, Name()]

_Amps = Number("A", 0, 100_000, above=True, to=milliamps)

_Volts = Number("V", 0, 1_000, above=True)


@dataclass(frozen=True)
class Pins(Cell):
    """Names of pins."""

    def accepts(self) -> str:
        """Pins, in words."""
        return "names of pins, separated by spaces"

    def read(self, text: str) -> tuple[str, ...]:
        """The pins in order."""
        return tuple(pin for pin in re.split(r"[\s,;/]+", clean(text)) if pin)


class ModuleRow(Row):
    """One module."""

    table: ClassVar[str] = "modules"
    key: ClassVar[tuple[str, ...]] = ("module",)

    module: _Name = column("unique name", "module A")
    total_a: Annotated[int, _Amps] = column("current of the whole module", "60")
    total_peak_a: Annotated[int, _Amps] = column("peak current of the whole module", "150")
    mass_g: Annotated[float | None, Number("g", 0, 1_000_000)] = column("mass", "350", "not known")
    price: Annotated[float | None, Number("", 0, 100_000_000)] = column("price in any currency", "400", "not known")
    supply_min_v: Annotated[float | None, _Volts] = column("lowest supply voltage it works at", "6", "not known")
    supply_max_v: Annotated[float | None, _Volts] = column("highest supply voltage it works at", "18", "not known")
    inputs: Annotated[int | None, Number("", 0, 10_000, to=whole)] = column("inputs it has", "8", "not known")
    trip_step_a: Annotated[int, Number("A", 0, 1_000, above=True, to=milliamps)] = column(
        "step of the trip setting", "0.1", "0.1", 100
    )
    trip_error_pct: Annotated[Fraction, Number("%", 0, 50, to=Fraction)] = column(
        "how far its own current reading may be off", "3", "0", Fraction(0)
    )
    settle_s: Annotated[float, Number("s", 0, 100_000)] = column(
        "time constant with which banks and module heat up", "60", "0: every current counts in full", 0.0
    )
    quiescent_ma: Annotated[float | None, Number("mA", 0, 1_000_000)] = column(
        "current it draws with every output off", "2", "not known"
    )
    note: Annotated[str, Text()] = column("free text", "invented", "nothing", "")


class ChannelRow(Row):
    """One output of a module."""

    table: ClassVar[str] = "channels"
    key: ClassVar[tuple[str, ...]] = ("module", "channel")

    module: _Name = column("a module", "module A")
    channel: _Name = column("name, unique in the module", "1")
    connector: Annotated[str, Name()] = column("connector it comes out on", "X1", "none", "")
    pins: Annotated[tuple[str, ...], Pins()] = column("its pins on that connector", "3", "none", ())
    bank: Annotated[str | None, Name()] = column("bank whose limit it shares", "left", "none")
    continuous_a: Annotated[int, _Amps] = column("continuous rating", "10")
    peak_a: Annotated[int, _Amps] = column("current above which it trips at once", "40")
    peak_ms: Annotated[float | None, Number("ms", 0, 60_000, above=True)] = column(
        "how long it bears peak_a", "100", f"{ASSUMED_PEAK_MS:g}, assumed"
    )
    features: Annotated[frozenset[str], Words(("pwm",))] = column("what it can do", "pwm", "nothing", frozenset())
    bridge: Annotated[str | None, Name()] = column("two channels with one label form a reversing pair", "", "none")
    pair: Annotated[str | None, Name()] = column("two channels with one label may be paralleled", "", "none")
    max_wire_mm2: Annotated[float | None, Number("mm²", 0, 500, above=True)] = column(
        "largest conductor its terminal takes", "2.5", "not judged"
    )
    share_pct: Annotated[Fraction, Number("%", 50, 100, to=Fraction)] = column(
        "largest share of the current of two paralleled channels that one of them carries", "", "60", Fraction(60)
    )
    contact_a: Annotated[int | None, Number("A", 0, 100_000, above=True, to=milliamps_down)] = column(
        "current one pin bears", "", "not known: every pin has its own wire"
    )
    on_mohm: Annotated[float | None, Number("mΩ", 0, 10_000)] = column(
        "resistance of the closed output", "", "not known: its heat is not judged"
    )
    contact_c: Annotated[float | None, Number("°C", 20, 300)] = column(
        "temperature its contact bears", "", "not known: not judged"
    )
    turn_off_mj: Annotated[float | None, Number("mJ", 0, 1_000_000)] = column(
        "energy a coil may give back to it at turn-off", "", "not known: not judged"
    )


class BankRow(Row):
    """Channels of one module that share a limit."""

    table: ClassVar[str] = "banks"
    key: ClassVar[tuple[str, ...]] = ("module", "bank")

    module: _Name = column("a module", "module A")
    bank: _Name = column("a bank, as in the table channels", "left")
    limit_a: Annotated[int, _Amps] = column("current of all its channels together", "35")


class DeratingRow(Row):
    """What remains of a module's ratings at a temperature."""

    table: ClassVar[str] = "derating"
    key: ClassVar[tuple[str, ...]] = ("module", "ambient_c")

    module: _Name = column("a module", "module A")
    ambient_c: Annotated[float, Number("°C", -60, 200)] = column("temperature around it", "40")
    factor: Annotated[Fraction, Number("", 0, 1, above=True, to=Fraction)] = column(
        "what remains of every rating; linear between rows", "0.8"
    )


CATALOGUE_ROWS: dict[str, type[Row]] = {
    m.table: m for m in (ModuleRow, ChannelRow, BankRow, DeratingRow)
} | SIGNAL_CATALOGUE_ROWS


Rows = dict[str, list[Line]]


def check_catalogue(rows: Rows, broken: Collection[str], faults: Faults) -> None:
    """Note every row of a catalogue that contradicts itself or another.

    Parameters
    ----------
    rows : dict of str to list of Line
        By table.
    broken : collection of str
        Tables that are there but could not be read; nothing is said about what refers to them.
    faults : Faults
        Where faults are noted.
    """
    for line in rows["modules"]:
        _check_module(line, faults)
    for line in rows["channels"]:
        _check_channel(line, faults)
    if not {"modules", "channels"} & set(broken):
        _check_owners(rows, faults)
        _check_ownerless(rows, faults)
    if rows["channels"] and not {"channels", "banks"} & set(broken):
        _check_banks(rows, faults)
    _check_joined_names(rows["channels"], faults)
    _check_pins(rows, faults)
    for label in ("bridge", "pair"):
        _check_labels(rows["channels"], label, faults)
    _check_derating(rows["derating"], faults)


def note_assumed(lines: list[Line], faults: Faults) -> None:
    """Note how many channels leave peak_ms to be assumed.

    Parameters
    ----------
    lines : list of Line
        Of the table channels.
    faults : Faults
        Where it is noted.
    """
    empty = [line for line in lines if line.values.peak_ms is None]
    if empty:
        message = f"is empty for {len(empty)} channels: {ASSUMED_PEAK_MS:g} ms is assumed"
        faults.note("channels", empty[0].number, "peak_ms", None, message)


def _check_module(line: Line, faults: Faults) -> None:
    row = line.values
    if None not in (row.total_a, row.total_peak_a) and row.total_peak_a < row.total_a:
        message, remedy = f"is below total_a ({_amps(row.total_a)})", "the peak is at least the steady current"
        faults.add("modules", line.number, "total_peak_a", _amps(row.total_peak_a), message, remedy)
    if None not in (row.supply_min_v, row.supply_max_v) and row.supply_min_v > row.supply_max_v:
        message = f"is above supply_max_v ({row.supply_max_v:g})"
        faults.add("modules", line.number, "supply_min_v", f"{row.supply_min_v:g}", message, "swap the two")


def _amps(milliamps: int) -> str:
    return f"{milliamps / 1000:.9g}"


def _check_channel(line: Line, faults: Faults) -> None:
    row = line.values
    if None not in (row.continuous_a, row.peak_a) and row.peak_a < row.continuous_a:
        message, remedy = f"is below continuous_a ({_amps(row.continuous_a)})", "the peak is at least the rating"
        faults.add("channels", line.number, "peak_a", _amps(row.peak_a), message, remedy)


def _check_owners(rows: Rows, faults: Faults) -> None:
    known = {line.values.module: None for line in rows["modules"] if line.values.module}
    for table in ("channels", "banks", "derating") if known else ():
        for line in rows[table]:
            name = line.values.module
            if name is not None and name not in known:
                faults.unknown(table, line.number, "module", name, known, "is not in table modules")


def _check_ownerless(rows: Rows, faults: Faults) -> None:
    owners = {line.values.module for line in rows["channels"]}
    for line in rows["modules"] if owners - {None} else ():
        name = line.values.module
        if name is not None and name not in owners:
            faults.add(
                "modules", line.number, "module", name, "has no channels", "add rows for them to the table channels"
            )


def _check_banks(rows: Rows, faults: Faults) -> None:
    limits, used = (_banks_of(rows[table]) for table in ("banks", "channels"))
    for line in rows["channels"]:
        module, bank = line.values.module, line.values.bank
        if None not in (module, bank) and bank not in limits[module]:
            remedy = "add its limit_a to the table banks"
            faults.unknown(
                "channels", line.number, "bank", bank, limits[module], "has no row in the table banks", remedy
            )
    for line in rows["banks"]:
        module, bank = line.values.module, line.values.bank
        if None not in (module, bank) and bank not in used[module]:
            remedy = "name it in the table channels, or delete the row"
            faults.unknown("banks", line.number, "bank", bank, used[module], f"has no channels of {module}", remedy)


def _banks_of(lines: list[Line]) -> dict[str, dict[str, None]]:
    banks: dict[str, dict[str, None]] = defaultdict(dict)
    for line in lines:
        if line.values.bank is not None:
            banks[line.values.module][line.values.bank] = None
    return banks


def _check_joined_names(lines: list[Line], faults: Faults) -> None:
    """1+2 is what the channels 1 and 2 are called when they are joined."""
    names: dict[str, set[str]] = defaultdict(set)
    for line in lines:
        names[line.values.module].add(line.values.channel)
    for line in lines:
        name = line.values.channel or ""
        parts = [part.strip() for part in name.split("+")]
        if len(parts) > 1 and set(parts) <= names[line.values.module]:
            message = f"is what the channels {' and '.join(parts)} are called when they are joined"
            faults.add("channels", line.number, "channel", name, message, "give the channel another name")


def _check_pins(rows: Rows, faults: Faults) -> None:
    seen: dict[tuple[str | None, str | None, str], int] = {}
    for line in rows["channels"]:
        row = line.values
        for pin in row.pins or ():
            key = (row.module, row.connector, pin)
            if key in seen:
                remedy = "a pin belongs to one channel"
                faults.add("channels", line.number, "pins", pin, f"is already a pin in row {seen[key]}", remedy)
            seen.setdefault(key, line.number)


def _check_labels(lines: list[Line], label: str, faults: Faults) -> None:
    """A bridge or a pair is two channels of one module, no more and no fewer."""
    keys = [(line.values.module, getattr(line.values, label)) for line in lines]
    count = Counter(keys)
    for line, key in zip(lines, keys, strict=True):
        if None in key or count[key] == 2:
            continue
        number = "one channel" if count[key] == 1 else f"{count[key]} channels"
        remedy = f"a {label} is two channels with one label"
        faults.add("channels", line.number, label, key[1], f"is on {number} of {key[0]}", remedy)
        # Told once is enough.
        count[key] = 2


def _check_derating(lines: list[Line], faults: Faults) -> None:
    """Factors must not rise with temperature."""
    points = defaultdict(list)
    for line in lines:
        row = line.values
        if None not in (row.module, row.ambient_c, row.factor):
            points[row.module].append((row.ambient_c, row.factor, line.number))
    for module in points.values():
        for (low, cool, _), (high, warm, number) in pairwise(sorted(module)):
            if warm > cool and high > low:
                message = f"is above the factor at a lower temperature ({float(cool):g})"
                remedy = "a module bears less when it is warmer"
                faults.add("derating", number, "factor", f"{float(warm):g}", message, remedy)
