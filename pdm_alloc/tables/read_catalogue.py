"""A catalogue from its tables."""

from collections import Counter, defaultdict
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from pdm_alloc.module import Catalogue, Channel, Module, natural_key
from pdm_alloc.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.hashes import catalogue_hashes
from pdm_alloc.tables.lines import Line, read_lines
from pdm_alloc.tables.row import columns_of
from pdm_alloc.tables.source import open_source

__all__ = ["CATALOGUE_COLUMNS", "read_catalogue"]

CATALOGUE_COLUMNS: dict[str, tuple[str, ...]] = {
    table: tuple(columns_of(model)) for table, model in CATALOGUE_ROWS.items()
}
Rows = dict[str, list[Line]]


def read_catalogue(path: str | Path) -> Catalogue:
    """The catalogue in a folder of CSV files or in an XLSX workbook.

    Parameters
    ----------
    path : str or Path
        Folder with ``modules.csv``, ``channels.csv`` and whatever else there is, or a workbook with a sheet per table.

    Returns
    -------
    Catalogue
        Checked; modules and channels in natural order of their names.

    Raises
    ------
    InputError
        With every fault of every table.
    """
    faults = Faults()
    source = open_source(path, CATALOGUE_COLUMNS, faults)
    for table in ("modules", "channels"):
        if table not in source.grids and not len(faults):
            faults.add(table, None, None, None, "is missing", "a catalogue needs the tables modules and channels")
    rows = {table: read_lines(source.grids.get(table), model, faults) for table, model in CATALOGUE_ROWS.items()}
    if "modules" in source.grids and not rows["modules"]:
        faults.add("modules", None, None, None, "has no rows", "add a row for each module")
    _check(rows, faults)
    faults.raise_if_any()
    return catalogue_hashes(_build(source.name, rows))


def _check(rows: Rows, faults: Faults) -> None:
    _check_owners(rows, faults)
    for line in rows["modules"]:
        _check_module(line, faults)
    for line in rows["channels"]:
        _check_channel(line, faults)
    _check_banks(rows, faults)
    _check_pins(rows, faults)
    for label in ("bridge", "pair"):
        _check_labels(rows, label, faults)
    _check_derating(rows, faults)


def _check_owners(rows, faults):
    known = [line.values.module for line in rows["modules"] if line.values.module]
    for table in ("channels", "banks", "derating"):
        for line in rows[table]:
            if line.values.module is not None and line.values.module not in known:
                faults.unknown(
                    table, line.number, "module", line.values.module, known, "is not a module of the table modules"
                )
    owners = {line.values.module for line in rows["channels"]}
    for line in rows["modules"]:
        if line.values.module is not None and line.values.module not in owners:
            faults.add(
                "modules",
                line.number,
                "module",
                line.values.module,
                "has no channels",
                "add its channels to the table channels",
            )


def _check_module(line, faults):
    row = line.values
    if None not in (row.total_a, row.total_peak_a) and row.total_peak_a < row.total_a:
        faults.add(
            "modules",
            line.number,
            "total_peak_a",
            _amps(row.total_peak_a),
            f"is below total_a ({_amps(row.total_a)})",
            "the peak is at least the steady current",
        )
    if None not in (row.supply_min_v, row.supply_max_v) and row.supply_min_v > row.supply_max_v:
        faults.add(
            "modules",
            line.number,
            "supply_min_v",
            f"{row.supply_min_v:g}",
            f"is above supply_max_v ({row.supply_max_v:g})",
            "swap the two",
        )


def _amps(milliamps):
    return f"{milliamps / 1000:g}"


def _check_channel(line, faults):
    row = line.values
    if None not in (row.continuous_a, row.peak_a) and row.peak_a < row.continuous_a:
        faults.add(
            "channels",
            line.number,
            "peak_a",
            _amps(row.peak_a),
            f"is below continuous_a ({_amps(row.continuous_a)})",
            "the peak is at least the continuous rating",
        )


def _check_banks(rows, faults):
    limits = {(line.values.module, line.values.bank) for line in rows["banks"]}
    used = {(line.values.module, line.values.bank) for line in rows["channels"]}
    for line in rows["channels"]:
        row = line.values
        if None not in (row.module, row.bank) and (row.module, row.bank) not in limits:
            names = [bank for module, bank in limits if module == row.module and bank]
            faults.unknown(
                "channels",
                line.number,
                "bank",
                row.bank,
                names,
                "has no row in the table banks",
                "add its limit_a to the table banks",
            )
    for line in rows["banks"]:
        row = line.values
        if None not in (row.module, row.bank) and (row.module, row.bank) not in used:
            faults.add(
                "banks",
                line.number,
                "bank",
                row.bank,
                f"has no channels of {row.module}",
                "name it in the table channels, or delete the row",
            )


def _check_pins(rows, faults):
    seen: dict[tuple, int] = {}
    for line in rows["channels"]:
        row = line.values
        for pin in row.pins or ():
            key = (row.module, row.connector, pin)
            if key in seen:
                faults.add(
                    "channels",
                    line.number,
                    "pins",
                    pin,
                    f"is a pin of the channel in row {seen[key]} already",
                    "a pin belongs to one channel",
                )
            seen.setdefault(key, line.number)


def _check_labels(rows, label, faults):
    """A bridge or a pair is two channels of one module, no more and no fewer."""
    count = Counter((line.values.module, getattr(line.values, label)) for line in rows["channels"])
    told = set()
    for line in rows["channels"]:
        key = (line.values.module, getattr(line.values, label))
        if None in key or count[key] == 2 or key in told:
            continue
        told.add(key)
        number = "one channel" if count[key] == 1 else f"{count[key]} channels"
        faults.add(
            "channels",
            line.number,
            label,
            key[1],
            f"is on {number} of {key[0]}",
            f"a {label} is two channels with one label",
        )


def _check_derating(rows, faults):
    """Factors must not rise with temperature."""
    by_module = defaultdict(list)
    for line in rows["derating"]:
        if None not in (line.values.module, line.values.ambient_c, line.values.factor):
            by_module[line.values.module].append((line.values.ambient_c, line.values.factor, line.number))
    for points in by_module.values():
        points.sort()
        for (_, cool, _), (_, warm, number) in pairwise(points):
            if warm > cool:
                faults.add(
                    "derating",
                    number,
                    "factor",
                    f"{float(warm):g}",
                    f"is above the factor at a lower temperature ({float(cool):g})",
                    "a module bears less when it is warmer",
                )


def _build(name, rows: Rows) -> Catalogue:
    channels: dict[str, list[Channel]] = defaultdict(list)
    banks: dict[str, dict[str, int]] = defaultdict(dict)
    derating: dict[str, list[tuple[float, Fraction]]] = defaultdict(list)
    for line in rows["channels"]:
        channels[line.values.module].append(_channel(line))
    for line in rows["banks"]:
        banks[line.values.module][line.values.bank] = line.values.limit_a
    for line in rows["derating"]:
        derating[line.values.module].append((line.values.ambient_c, line.values.factor))
    modules = [_module(line, channels, banks, derating) for line in rows["modules"]]
    return Catalogue(name, _sorted(modules))


def _sorted(things) -> tuple:
    return tuple(sorted(things, key=lambda thing: natural_key(thing.name)))


def _module(line, channels, banks, derating) -> Module:
    row = line.values
    limits = banks[row.module]
    return Module(
        name=row.module,
        total_ma=row.total_a,
        total_peak_ma=row.total_peak_a,
        channels=_sorted(channels[row.module]),
        bank_ma={bank: limits[bank] for bank in sorted(limits, key=natural_key)},
        derating=tuple(sorted(derating[row.module])),
        mass_g=row.mass_g,
        price=row.price,
        supply_min_v=row.supply_min_v,
        supply_max_v=row.supply_max_v,
        inputs=row.inputs,
        trip_step_ma=row.trip_step_a,
        note=row.note,
        extra=line.extra,
    )


def _channel(line) -> Channel:
    row = line.values
    return Channel(
        name=row.channel,
        continuous_ma=row.continuous_a,
        peak_ma=row.peak_a,
        peak_ms=row.peak_ms,
        connector=row.connector,
        pins=row.pins,
        bank=row.bank,
        features=row.features,
        bridge=row.bridge,
        pair=row.pair,
        max_wire_mm2=row.max_wire_mm2,
        extra=line.extra,
    )
