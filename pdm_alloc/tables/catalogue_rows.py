"""The tables of a catalogue: a row model each, with units, ranges, meanings and an example."""

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, ClassVar

from pdm_alloc.tables.cell import Cell, Name, Number, Text, Words, milliamps, whole
from pdm_alloc.tables.number import CellError
from pdm_alloc.tables.row import Row, column
from pdm_alloc.tables.signal_rows import SIGNAL_CATALOGUE_ROWS
from pdm_alloc.tables.text import clean

__all__ = ["ASSUMED_PEAK_MS", "CATALOGUE_ROWS", "BankRow", "ChannelRow", "DeratingRow", "ModuleRow"]

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
    ambient_c: Annotated[float, Number("°C", -60, 200)] = column("temperature around it", "60")
    factor: Annotated[Fraction, Number("", 0, 1, above=True, to=Fraction)] = column(
        "what remains of every rating; linear between rows", "0.8"
    )


CATALOGUE_ROWS: dict[str, type[Row]] = {
    m.table: m for m in (ModuleRow, ChannelRow, BankRow, DeratingRow)
} | SIGNAL_CATALOGUE_ROWS
