"""A catalogue from its tables."""

from collections import defaultdict
from fractions import Fraction
from pathlib import Path

from pdm_alloc.module import Catalogue, Channel, Module, natural_key
from pdm_alloc.tables.catalogue_rows import ASSUMED_PEAK_MS, CATALOGUE_ROWS
from pdm_alloc.tables.catalogue_rules import check_catalogue, note_assumed
from pdm_alloc.tables.fault import Fault, Faults
from pdm_alloc.tables.hashes import catalogue_hashes
from pdm_alloc.tables.lines import Line, read_lines
from pdm_alloc.tables.read_signals import boxes_of, keypads_of
from pdm_alloc.tables.row import columns_of
from pdm_alloc.tables.runs import expand_runs
from pdm_alloc.tables.signal_rules import check_signal_pins
from pdm_alloc.tables.source import Source, open_source

__all__ = ["CATALOGUE_COLUMNS", "catalogue_of", "read_catalogue"]

CATALOGUE_COLUMNS: dict[str, tuple[str, ...]] = {
    table: tuple(columns_of(model)) for table, model in CATALOGUE_ROWS.items()
}
Rows = dict[str, list[Line]]


def read_catalogue(path: str | Path, notes: list[Fault] | None = None) -> Catalogue:
    """The catalogue in a folder of CSV files or in an XLSX workbook.

    Parameters
    ----------
    path : str or Path
        Folder with ``modules.csv``, ``channels.csv`` and whatever else there is, or a workbook with a sheet per table.
    notes : list of Fault, optional
        Takes what is no fault but good to know: how a doubtful cell was read, what was passed over or assumed.

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
    return catalogue_of(open_source(path, CATALOGUE_COLUMNS, faults), faults, notes)


def catalogue_of(source: Source, faults: Faults, notes: list[Fault] | None = None) -> Catalogue:
    """The catalogue in tables wherever they came from; as `read_catalogue`.

    Parameters
    ----------
    source : Source
        The tables.
    faults : Faults
        With what has been noted so far.
    notes : list of Fault, optional
        Filled with what was assumed or passed over.

    Returns
    -------
    Catalogue

    Raises
    ------
    InputError
        With every fault of every table.
    """
    for table in ("modules", "channels"):
        source.require(table, "a catalogue needs the tables modules and channels, with a row for each", faults)
    expand_runs(source.grids.get("channels"), faults)
    rows = {table: read_lines(source.grids.get(table), model, faults) for table, model in CATALOGUE_ROWS.items()}
    check_catalogue(rows, source.broken, faults)
    check_signal_pins(rows, source.broken, faults)
    note_assumed(rows["channels"], faults)
    faults.raise_if_any()
    if notes is not None:
        notes += faults.notes
    return catalogue_hashes(_build(source.name, rows))


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
    return Catalogue(name, _sorted(modules), boxes=boxes_of(rows), keypads=keypads_of(rows["keypads"]))


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
        trip_error_pct=row.trip_error_pct,
        settle_s=row.settle_s,
        quiescent_ma=row.quiescent_ma,
        note=row.note,
        extra=line.extra,
    )


def _channel(line) -> Channel:
    row = line.values
    return Channel(
        name=row.channel,
        continuous_ma=row.continuous_a,
        peak_ma=row.peak_a,
        peak_ms=ASSUMED_PEAK_MS if row.peak_ms is None else row.peak_ms,
        connector=row.connector,
        pins=row.pins,
        bank=row.bank,
        features=row.features,
        bridge=row.bridge,
        pair=row.pair,
        max_wire_mm2=row.max_wire_mm2,
        share_pct=row.share_pct,
        contact_ma=row.contact_a,
        on_mohm=row.on_mohm,
        extra=line.extra,
    )
