"""A catalogue from its tables, runs of channels spelled out, and modules named by a person."""

import re
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from functools import partial
from pathlib import Path

from pdm_alloc.domain.module import Catalogue, Channel, Module, Unit, natural_key, units_of
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.cells import clean, plain_header
from pdm_alloc.files.faults import Fault, Faults
from pdm_alloc.files.grids import Grid
from pdm_alloc.files.plain import catalogue_hashes
from pdm_alloc.files.rows import Line, columns_of, read_lines
from pdm_alloc.files.sources import Source, open_source
from pdm_alloc.files.tables.catalogue_rows import ASSUMED_PEAK_MS, CATALOGUE_ROWS, check_catalogue, note_assumed
from pdm_alloc.files.tables.references import refuse_untouched
from pdm_alloc.files.tables.signal_rows import check_signal_pins
from pdm_alloc.files.tables.signal_tables import boxes_of, by_name, keypads_of

__all__ = ["CATALOGUE_COLUMNS", "catalogue_of", "expand_runs", "fitted", "read_catalogue"]

LONGEST_RUN = 500

# The same letters before both numbers, or none: X1-2 is a name, a1-a12 and 1..5 are runs.
_RUN = re.compile(r"([^\W\d]*)(\d{1,6})\s*(?:-|–|\.\.|…)\s*\1(\d{1,6})")


def expand_runs(grid: Grid | None, faults: Faults) -> None:
    """Put a row for each channel in the place of a row that names a run of them.

    Parameters
    ----------
    grid : Grid or None
        The table channels; its rows are replaced, and keep their row number.
    faults : Faults
        Where runs are noted, and pins that are not as many as the channels.
    """
    headers = [plain_header(header) for header in grid.header] if grid is not None else []
    if grid is None or "channel" not in headers:
        return
    at, pins_at = headers.index("channel"), headers.index("pins") if "pins" in headers else None
    rows: list[tuple[int, list[str]]] = []
    for number, cells in grid.rows:
        names = _names(cells[at])
        if names is None:
            rows.append((number, cells))
            continue
        faults.note("channels", number, "channel", cells[at], "stands for a run of channels")
        pins = _pins(number, cells[pins_at], len(names), faults) if pins_at is not None else None
        rows += [(number, _row(cells, at, name, pins_at, pins[n] if pins else None)) for n, name in enumerate(names)]
    grid.rows = rows


def note_no_runs(grids: Mapping[str, Grid], faults: Faults) -> None:
    """Note a name that reads like a run and is none: 12-1, 1-600, and any where a row is one channel or pin.

    Where more than a few are named so, as by connector and pin, it is how things are named there.
    """
    for table, column, what in _NAMED:
        grid = grids.get(table)
        headers = [plain_header(header) for header in grid.header] if grid is not None else []
        if grid is None or column not in headers:
            continue
        words = [(number, word) for number, cells in grid.rows for word in _words(cells[headers.index(column)])]
        alike = [(number, word) for number, word in words if _RUN.fullmatch(word)]
        for number, word in alike if len(alike) <= _FEW else ():
            faults.note(table, number, column, word, f"is taken for the name of one {what}, not for a run")


_NAMED = (("channels", "channel", "channel"), ("channels", "pins", "pin"), ("signal_pins", "pin", "pin"))
_FEW = 3


def _row(cells: list[str], at: int, name: str, pins_at: int | None, pins: str | None) -> list[str]:
    row = list(cells)
    row[at] = name
    if pins is not None and pins_at is not None:
        row[pins_at] = pins
    return row


def _names(text: str) -> list[str] | None:
    """Names of a run; None where the text is no run."""
    match = _RUN.fullmatch(clean(text))
    if match is None or not int(match[2]) < int(match[3]) < int(match[2]) + LONGEST_RUN:
        return None
    return [f"{match[1]}{number}" for number in range(int(match[2]), int(match[3]) + 1)]


def _pins(number: int, text: str, count: int, faults: Faults) -> list[str]:
    """Pins of each channel: as many each, in order, from every run of pins."""
    shares: list[list[str]] = [[] for _ in range(count)]
    for word in _words(text):
        pins = _names(word) or [word]
        if len(pins) % count:
            message = f"{'is 1 pin' if len(pins) == 1 else f'are {len(pins)} pins'} for {count} channels"
            faults.add(
                "channels", number, "pins", text, message, "give a run as long as that of the channels, as a1-a12"
            )
            break
        each = len(pins) // count
        for n in range(count):
            shares[n] += pins[n * each : (n + 1) * each]
    return [" ".join(share) for share in shares]


def _words(text: str) -> list[str]:
    return [word for word in re.split(r"[\s,;/]+", clean(text)) if word]


CATALOGUE_COLUMNS: dict[str, tuple[str, ...]] = {
    table: tuple(columns_of(model)) for table, model in CATALOGUE_ROWS.items()
}

Rows = dict[str, list[Line]]


def read_catalogue(
    path: str | Path, notes: list[Fault] | None = None, late: Callable[[int], bool] | None = None
) -> Catalogue:
    """The catalogue in a folder of CSV files or in an XLSX workbook.

    Parameters
    ----------
    path : str or Path
        Folder with ``modules.csv``, ``channels.csv`` and whatever else there is, or a workbook with a sheet per table.
    notes : list of Fault, optional
        Takes what is no fault but good to know: how a doubtful cell was read, what was passed over or assumed.
    late : callable, optional
        Given how many modules and control units there are; True ends the reading of tables with many rows.

    Returns
    -------
    Catalogue
        Checked; modules and channels in natural order of their names.

    Raises
    ------
    InputError
        With every fault of every table.
    Unread
        `late` said so.
    """
    faults = Faults()
    source = open_source(path, CATALOGUE_COLUMNS, faults)
    boxes = sum(len(source.grids[table].rows) for table in ("modules", "control_units") if table in source.grids)
    faults.late = partial(late, boxes) if late else None
    refuse_untouched(source, faults, CATALOGUE_ROWS, "modules")
    return catalogue_of(source, faults, notes)


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
    note_no_runs(source.grids, faults)
    rows = {table: read_lines(source.grids.get(table), model, faults) for table, model in CATALOGUE_ROWS.items()}
    faults.ask()
    check_catalogue(rows, source.broken, faults)
    check_signal_pins(rows, source.broken, faults)
    note_assumed(rows["channels"], faults)
    faults.raise_if_any()
    faults.ask()
    if notes is not None:
        notes += faults.notes
    return catalogue_hashes(_build(source.name, rows))


def _build(name: str, rows: Rows) -> Catalogue:
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
    return Catalogue(name, by_name(modules), boxes=boxes_of(rows), keypads=keypads_of(rows["keypads"]))


def _module(
    line: Line,
    channels: Mapping[str, list[Channel]],
    banks: Mapping[str, dict[str, int]],
    derating: Mapping[str, list[tuple[float, Fraction]]],
) -> Module:
    row = line.values
    limits = banks[row.module]
    return Module(
        name=row.module,
        total_ma=row.total_a,
        total_peak_ma=row.total_peak_a,
        channels=by_name(channels[row.module]),
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


def _channel(line: Line) -> Channel:
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
        contact_c=row.contact_c,
        turn_off_mj=row.turn_off_mj,
        extra=line.extra,
    )


def fitted(
    vehicle: Vehicle, catalogue: Catalogue, names: Sequence[str], places: Sequence[str] = ()
) -> tuple[Unit, ...]:
    """Units for modules by name, each at its place.

    Parameters
    ----------
    vehicle : Vehicle
        With its places.
    catalogue : Catalogue
        With its modules.
    names : sequence of str
        Modules.
    places : sequence of str
        One a module, in the same order; empty: nothing is known of where they sit.

    Returns
    -------
    tuple of Unit

    Raises
    ------
    InputError
        A module or place of that name does not exist, no module can be mounted there, or there are
        more or fewer places than modules; everything that is wrong at once.
    """
    faults = Faults()
    modules, known = {m.name: m for m in catalogue}, {place.name: place for place in vehicle.places}
    for name in (name for name in names if name not in modules):
        faults.unknown("modules", None, "module", name, modules, "is not in the catalogue")
    for name in (name for name in places if name not in known):
        faults.unknown("places", None, "place", name, known, "is not in table places")
    for name in (name for name in places if name in known and not known[name].mount):
        faults.add(
            "places", None, "mount", "no", f"at {name}: it cannot take a module", "set mount to yes, or name another"
        )
    if places and len(places) != len(names):
        message = f"are {len(places)} places, and {len(names)} modules are named"
        faults.add("places", None, "place", ", ".join(places), message, "name one place a module, in the same order")
    faults.raise_if_any()
    units = units_of([modules[name] for name in names])
    at = dict(enumerate(places))
    return tuple(Unit(unit.label, unit.module, at.get(n)) for n, unit in enumerate(units))
