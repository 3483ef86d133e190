"""Modules as the catalogue describes them, and units: modules fitted to a vehicle."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm

from pdm_alloc.domain.showing import UnknownName, counted, headline_table, named
from pdm_alloc.domain.signals import Box, Keypad

__all__ = ["MOST_PORTIONS", "Catalogue", "Channel", "Module", "Unit", "natural_key", "portions_of", "units_of"]

_NAMED = 8


@dataclass(frozen=True, slots=True)
class Channel:
    """One protected output of a module.

    Parameters
    ----------
    name, connector : str
        Name, unique in the module; connector it comes out on.
    pins : tuple of str
        Its pins, in order.
    bank : str or None
        Bank whose limit it shares.
    continuous_ma, peak_ma : int
        Continuous rating; current above which it trips at once, mA.
    peak_ms : float
        How long it bears peak_ma, ms.
    features : frozenset of str
        ``pwm`` or nothing.
    bridge, pair : str or None
        Label shared by the two channels of a reversing pair; of a pair that may be paralleled.
    max_wire_mm2 : float or None
        Largest conductor its terminal takes, mm2; None: not known, not judged.
    share_pct : Fraction
        Largest share of the current of two paralleled channels that flows through one of them, per cent, 50 to 100.
    contact_ma : int or None
        Current one pin bears, mA; None: not known, so every pin has its own wire.
    on_mohm : float or None
        Resistance of the closed output, milliohm; None: not known, its heat is not judged.
    contact_c : float or None
        Temperature its contact bears, deg C; None: not known, not judged.
    turn_off_mj : float or None
        Energy a coil may give back to it at turn-off, mJ; None: not known, not judged.
    """

    name: str
    continuous_ma: int
    peak_ma: int
    peak_ms: float
    connector: str = ""
    pins: tuple[str, ...] = ()
    bank: str | None = None
    features: frozenset[str] = frozenset()
    bridge: str | None = None
    pair: str | None = None
    max_wire_mm2: float | None = None
    share_pct: Fraction = Fraction(60)
    contact_ma: int | None = None
    on_mohm: float | None = None
    contact_c: float | None = None
    turn_off_mj: float | None = None
    extra: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Module:
    """One module of the catalogue.

    Parameters
    ----------
    name : str
        Unique name.
    total_ma : int
        Whole-module current, mA.
    total_peak_ma : int
        Whole-module peak current, mA.
    channels : tuple of Channel
        In natural order of their names.
    bank_ma : mapping of str to int
        Limit of each bank, mA.
    derating : tuple of (float, Fraction)
        Ambient in deg C and factor, rising ambient; empty: no derating.
    mass_g, price : float or None
        Mass, g; price in any currency.
    supply_min_v, supply_max_v : float or None
        Supply voltage it works in, V.
    inputs : int or None
        Inputs it has; None: not known, not judged.
    trip_step_ma : int
        Step of the trip setting, mA.
    trip_error_pct : Fraction
        How far the module's own current reading may be off, per cent, below 100.
    settle_s : float
        Time constant with which banks and module heat up, s; 0: not known, so every current counts in full.
    quiescent_ma : float or None
        Current it draws with every output off, mA; None: not known.
    """

    name: str
    total_ma: int
    total_peak_ma: int
    channels: tuple[Channel, ...]
    bank_ma: Mapping[str, int] = field(default_factory=dict)
    derating: tuple[tuple[float, Fraction], ...] = ()
    mass_g: float | None = None
    price: float | None = None
    supply_min_v: float | None = None
    supply_max_v: float | None = None
    inputs: int | None = None
    trip_step_ma: int = 100
    trip_error_pct: Fraction = Fraction(0)
    settle_s: float = 0.0
    quiescent_ma: float | None = None
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    @property
    def portions(self) -> int:
        """Portions of a milliamp in which what its banks and it bear is counted, so that all shares are whole.

        2, or more where two channels in different banks share a current unevenly: 5 at 60 per cent. At most
        `MOST_PORTIONS`: finer shares are rounded up.
        """
        return portions_of([_whole(a, b) for a, b in _pairs(self.channels) if a.bank != b.bank])

    def channel(self, name: str) -> Channel:
        """The channel of that name; `UnknownName`, a KeyError, where there is none."""
        return named(f"channel of {self.name}", self.channels, name)

    def __repr__(self) -> str:
        """One line: channels, ratings, mass and price."""
        mass = "" if self.mass_g is None else f", {self.mass_g:g} g"
        price = "" if self.price is None else f", price {self.price:g}"
        amps = f"{self.total_ma / 1000:g} A in all"
        return f"<Module {self.name}: {counted(len(self.channels), 'channel')}, {amps}{mass}{price}>"

    def _repr_html_(self) -> str:
        columns = ("channel", "connector", "bank", "continuous A", "peak A", "features")
        amps = [(c.continuous_ma / 1000, c.peak_ma / 1000) for c in self.channels]
        rows = [
            (c.name, c.connector, c.bank, *ma, " ".join(sorted(c.features)))
            for c, ma in zip(self.channels, amps, strict=True)
        ]
        return headline_table(repr(self).strip("<>"), columns, rows)


MOST_PORTIONS = 100


def portions_of(numbers: Iterable[int]) -> int:
    """Least number that 2 and all of some numbers divide; `MOST_PORTIONS` where that is less."""
    return min(MOST_PORTIONS, lcm(2, *numbers))


def _whole(a: Channel, b: Channel) -> int:
    return (max(a.share_pct, b.share_pct) / 100).denominator


def _pairs(channels: Iterable[Channel]) -> Iterator[tuple[Channel, Channel]]:
    by_label: dict[str, list[Channel]] = {}
    for channel in channels:
        if channel.pair:
            by_label.setdefault(channel.pair, []).append(channel)
    yield from ((two[0], two[1]) for two in by_label.values() if len(two) == 2)


@dataclass(frozen=True, slots=True)
class Unit:
    """A module fitted to the vehicle: a label unique in the vehicle, the module, the place it sits at (or None)."""

    label: str
    module: Module
    place: str | None = None

    def __repr__(self) -> str:
        """Label, module and place."""
        at = "" if self.place is None else f" at {self.place}"
        return f"<Unit {self.label}: {self.module.name}{at}>"


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Modules to choose from, in natural order of their names."""

    name: str
    modules: tuple[Module, ...]
    table_hashes: tuple[tuple[str, str], ...] = ()
    boxes: tuple[Box, ...] = ()
    keypads: tuple[Keypad, ...] = ()

    def __getitem__(self, name: str) -> Module:
        """The module of that name; `UnknownName`, a KeyError, where there is none."""
        for module in self.modules:
            if module.name == name:
                return module
        raise UnknownName("module", name, [module.name for module in self.modules])

    def __iter__(self) -> Iterator[Module]:
        """Over the modules."""
        return iter(self.modules)

    def __len__(self) -> int:
        """How many modules."""
        return len(self.modules)

    def __repr__(self) -> str:
        """One line: how many modules, and the first of them by name."""
        names = ", ".join(module.name for module in self.modules[:_NAMED])
        more = ", ..." if len(self.modules) > _NAMED else ""
        return f"<Catalogue {self.name}: {counted(len(self.modules), 'module')}: {names}{more}>"

    def _repr_html_(self) -> str:
        columns = ("module", "channels", "total A", "peak A", "inputs", "mass g", "price", "note")
        rows = [
            (m.name, len(m.channels), m.total_ma / 1000, m.total_peak_ma / 1000, m.inputs, m.mass_g, m.price, m.note)
            for m in self.modules
        ]
        return headline_table(f"Catalogue {self.name}: {counted(len(self.modules), 'module')}", columns, rows)


def natural_key(name: str) -> tuple[object, ...]:
    """Sort key that puts 2 before 10, and the same whatever order rows came in.

    Parameters
    ----------
    name : str
        Any name.

    Returns
    -------
    tuple
        Comparable with every other natural key.
    """
    parts = re.split(r"(\d+)", name)
    keys = ((1, int(p), "") if p.isdigit() and p.isascii() else (0, 0, p.casefold()) for p in parts)
    return (*keys, (0, 0, name))


def units_of(modules: "Module | Unit | Iterable[Module | Unit]") -> tuple[Unit, ...]:
    """Units for one module, or several: labels are the modules' names, numbered where a name comes twice.

    Parameters
    ----------
    modules : Module, Unit, or iterable of these
        What is fitted.

    Returns
    -------
    tuple of Unit
        Same order.
    """
    things: list[Module | Unit] = [modules] if isinstance(modules, (Module, Unit)) else list(modules)
    names = [t.module.name if isinstance(t, Unit) else t.name for t in things]
    seen: dict[str, int] = {}
    units = []
    for thing, name in zip(things, names, strict=True):
        if isinstance(thing, Unit):
            units.append(thing)
            continue
        seen[name] = seen.get(name, 0) + 1
        units.append(Unit(f"{name} #{seen[name]}" if names.count(name) > 1 else name, thing))
    return tuple(units)
