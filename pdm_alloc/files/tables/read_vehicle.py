"""A vehicle from its tables, and vehicles and catalogues from DataFrames through the same checks."""

from collections.abc import Callable, Iterable, Mapping, Set
from dataclasses import fields
from fractions import Fraction
from functools import partial
from math import ceil
from numbers import Integral, Real
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from pdm_alloc.domain.condition import quoted_condition
from pdm_alloc.domain.kinds import KINDS, Settings, default_drop_pct
from pdm_alloc.domain.module import Catalogue, natural_key
from pdm_alloc.domain.vehicle import Command, Concession, Input, Load, Lock, Place, Route, Vehicle
from pdm_alloc.files.cells import Exact
from pdm_alloc.files.faults import Fault, Faults, hint
from pdm_alloc.files.grids import Grid, grid_of
from pdm_alloc.files.plain import Plain, headers, vehicle_hashes
from pdm_alloc.files.rows import Line, Memory, columns_of, read_lines, unmistakable
from pdm_alloc.files.sources import Source, open_source
from pdm_alloc.files.tables.read_catalogue import CATALOGUE_COLUMNS, catalogue_of
from pdm_alloc.files.tables.references import check_references, check_routes, refuse_untouched
from pdm_alloc.files.tables.settings_rows import (
    BENCH_ROWS,
    SettingRow,
    SettingsRow,
    bench_of,
    check_bench,
    read_settings,
)
from pdm_alloc.files.tables.signal_rows import check_signals
from pdm_alloc.files.tables.signal_tables import by_name, decimal, messages_of, signals_of
from pdm_alloc.files.tables.states import build_states, check_supply, read_matrix
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS, LoadRow, VehicleLines, reads_the_same, watched
from pdm_alloc.files.tables.vehicle_rules import check_conditions, check_rules

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["VEHICLE_COLUMNS", "catalogue", "cell_text", "read_plain", "read_vehicle", "vehicle", "vehicle_of"]

VEHICLE_COLUMNS: dict[str, tuple[str, ...]] = {
    **{table: tuple(columns_of(model)) for table, model in VEHICLE_ROWS.items()},
    "states": ("command",),
    "settings": tuple(columns_of(SettingRow)),
}


def read_vehicle(path: str | Path, notes: list[Fault] | None = None, late: Callable[[], bool] | None = None) -> Vehicle:
    """The vehicle in a folder of CSV files or in an XLSX workbook.

    Parameters
    ----------
    path : str or Path
        Folder with ``loads.csv`` and whatever else there is, or a workbook with a sheet per table.
    notes : list of Fault, optional
        Takes what is no fault but good to know: how a doubtful cell was read, what was passed over.
    late : callable, optional
        True ends the reading of tables with many rows.

    Returns
    -------
    Vehicle
        Checked: every reference resolves, every default is filled in. Rows are in natural order of their names, states
        in the order of their columns.

    Raises
    ------
    InputError
        With every fault of every table.
    Unread
        `late` said so.
    """
    faults = Faults(late)
    source = open_source(path, VEHICLE_COLUMNS, faults)
    refuse_untouched(source, faults, VEHICLE_ROWS, "loads")
    vehicle = vehicle_of(source, faults)
    if notes is not None:
        notes += faults.notes
    return vehicle


def vehicle_of(source: Source, faults: Faults, memory: Memory | None = None) -> Vehicle:
    """The vehicle in tables wherever they came from; as `read_vehicle`.

    Parameters
    ----------
    source : Source
        The tables.
    faults : Faults
        With what has been noted so far.
    memory : Memory, optional
        Of the reading before, where a vehicle is read again and again, all its numbers exact: tables that are the same
        grids as before are not read again, and no check is done again that reads nothing else than it did.

    Returns
    -------
    Vehicle

    Raises
    ------
    InputError
        With every fault of every table.
    """
    source.require("loads", "a vehicle needs a row in the table loads for each load", faults)
    tables = _lines_of(source, faults, memory)
    for check in (check_references, check_conditions, check_rules, check_routes, check_signals, check_bench):
        faults.ask()
        if memory is None:
            check(tables, faults)
        else:
            _check_again(check, tables, faults, memory)
    faults.raise_if_any()
    faults.ask()
    return _build(source, tables, memory or Memory())


def _check_again(
    check: Callable[[VehicleLines, Faults], None], tables: VehicleLines, faults: Faults, memory: Memory
) -> None:
    """Do a check, unless the last one noted nothing and would read the same now."""
    known = memory.checked.get(check)
    if known and reads_the_same(known[1], known[0], tables):
        return
    noted = faults.said
    seen, read = watched(tables)
    check(seen, faults)
    if faults.said == noted:
        memory.checked[check] = tables, read


def _lines_of(source: Source, faults: Faults, memory: Memory | None) -> VehicleLines:
    grids, again = source.grids, memory or Memory()
    rows = {table: read_lines(grids.get(table), model, faults, memory) for table, model in VEHICLE_ROWS.items()}
    matrix = again.once("matrix", lambda: read_matrix(grids.get("states"), faults), grids.get("states"), faults=faults)
    if "states" not in source.broken:
        check_supply(matrix, rows["supply"], faults)
    settings, setting_rows = again.once(
        "settings read", lambda: read_settings(source, faults), grids.get("settings"), source.toml, faults=faults
    )
    return VehicleLines(rows, matrix, settings, setting_rows, frozenset(source.broken))


def _build(source: Source, tables: VehicleLines, memory: Memory) -> Vehicle:
    rows, once = tables.rows, memory.once
    settings = once("settings", lambda: _settings(tables.settings), tables.settings)
    used = memory.same("used", tables.names("loads", "command"))
    commands = once("commands", lambda: _commands(tables), rows["commands"], rows["inputs"], used)
    vehicle = Vehicle(
        name=tables.settings.name or source.name,
        loads=by_name(once(("load", line.number), partial(_load, line), line) for line in rows["loads"]),
        commands=commands,
        states=once(
            "built states",
            lambda: build_states(tables.matrix, rows["supply"], [c.name for c in commands], settings.reference_v),
            *(tables.matrix, rows["supply"], commands, settings),
        ),
        settings=settings,
        states_given=bool(tables.matrix.duties),
        **{name: once(("built", name), partial(make, rows[name]), rows[name]) for name, make in _BUILT.items()},
        **once("bench", lambda: bench_of(rows), *(rows[table] for table in BENCH_ROWS)),
    )
    return vehicle_hashes(vehicle, memory)


_T = TypeVar("_T")


def _in_order(lines: Iterable[Line], build: Callable[[Any], _T], key: Callable[[_T], Any]) -> tuple[_T, ...]:
    return tuple(sorted((build(line.values) for line in lines), key=key))


def _settings(row: SettingsRow) -> Settings:
    values = {item.name: getattr(row, item.name) for item in fields(Settings)}
    return Settings(**{**values, "reference_v": row.reference_v or row.system_v})


def _commands(tables: VehicleLines) -> tuple[Command, ...]:
    commands = {name: Command(name) for name in tables.names("loads", "command")}
    inputs = frozenset(tables.names("inputs", "input"))
    for line in tables.rows["commands"]:
        row = line.values
        commands[row.command] = Command(
            name=row.command,
            condition=quoted_condition(row.condition, inputs),
            action=row.action,
            note=row.note,
            headroom_pct=row.headroom_pct,
            together=row.together,
            on_s=row.on_s,
            cycle_s=row.cycle_s,
            joins=row.joins,
            extra=line.extra,
        )
    return by_name(commands.values())


def _load(line: Line) -> Load:
    row: LoadRow = line.values
    kind = KINDS[row.kind]
    peak, length, assumed = _inrush(row)
    return Load(
        name=row.load,
        command=row.command,
        running_ma=row.running_a,
        count=row.count,
        kind=row.kind,
        inrush_ma=peak,
        inrush_ms=length,
        inrush_assumed=assumed,
        needs=row.needs,
        importance=row.importance,
        share=row.share,
        separate=row.separate,
        place=row.place,
        max_drop_pct=default_drop_pct(row.importance) if row.max_drop_pct is None else row.max_drop_pct,
        tolerance_pct=row.tolerance_pct,
        length_m=row.length_m,
        min_v=row.min_v,
        volt_exponent=kind.volt_exponent if row.volt_exponent is None else row.volt_exponent,
        note=row.note,
        extra=line.extra,
    )


def _inrush(row: LoadRow) -> tuple[int, float, bool]:
    """Peak in mA, length in ms, and whether either was assumed; no excess has no length."""
    kind = KINDS[row.kind]
    peak = row.inrush_a or ceil(row.running_a * Fraction(str(kind.inrush_multiple)))
    if peak <= row.running_a:
        return row.running_a, 0.0, row.inrush_a is None
    length = kind.inrush_ms if row.inrush_ms is None else row.inrush_ms
    return peak, length, row.inrush_a is None or row.inrush_ms is None


def _input(line: Line) -> Input:
    row = line.values
    return Input(name=row.input, kind=row.kind, place=row.place, note=row.note, extra=line.extra, read_by=row.read_by)


def _place(line: Line) -> Place:
    row = line.values
    return Place(
        name=row.place,
        x_m=row.x_m,
        y_m=row.y_m,
        compartment=row.compartment,
        ambient_c=row.ambient_c,
        mount=row.mount,
        contains=row.contains,
        extra=line.extra,
    )


def _route(row: Any) -> Route:
    return Route(row.start, row.end, row.length_m)


def _lock(row: Any) -> Lock:
    return Lock(row.load, row.module, row.channel)


def _concession(row: Any) -> Concession:
    return Concession(row.kind, row.subject, row.weight)


_BUILT: dict[str, Callable[[list[Line]], Any]] = {
    "inputs": lambda lines: by_name(map(_input, lines)),
    "places": lambda lines: by_name(map(_place, lines)),
    "routes": lambda lines: _in_order(lines, _route, lambda r: (natural_key(r.start), natural_key(r.end))),
    "locked": lambda lines: _in_order(lines, _lock, lambda k: tuple(map(natural_key, (k.load, k.module, k.channel)))),
    "concessions": lambda lines: _in_order(lines, _concession, lambda c: (c.kind, natural_key(c.subject))),
    "signals": signals_of,
    "messages": messages_of,
}


def read_plain(tables: Plain, name: str) -> Vehicle:
    """The vehicle in tables of text, checked as `pdm_alloc.files.tables.read_vehicle` checks files.

    Parameters
    ----------
    tables : dict of str to list of dict of str to str
        Rows by table, cells by column, as `pdm_alloc.files.plain.vehicle_plain` makes them.
    name : str
        Name of the vehicle, where the settings give it none.

    Returns
    -------
    Vehicle
        Equal to the one the tables were made of.

    Raises
    ------
    InputError
        With every fault of every table; the header counts as row 1.
    """
    grids = {table: _grid_of_table(table, rows) for table, rows in tables.items() if rows}
    return vehicle_of(Source(name, grids), Faults())


def _grid_of_table(table: str, rows: list[dict[str, str]]) -> Grid:
    columns = headers(rows)
    cells = [(number, [_text(row.get(column, "")) for column in columns]) for number, row in enumerate(rows, start=2)]
    return Grid(table, 1, columns, cells)


def _text(value: object) -> str:
    """Text as it is; a number of a data frame with the decimal point Python gives it."""
    return value if isinstance(value, str) else Exact(value)


def vehicle(
    loads: "pd.DataFrame",
    *,
    commands: "pd.DataFrame | None" = None,
    inputs: "pd.DataFrame | None" = None,
    states: "pd.DataFrame | None" = None,
    supply: "pd.DataFrame | None" = None,
    places: "pd.DataFrame | None" = None,
    routes: "pd.DataFrame | None" = None,
    locked: "pd.DataFrame | None" = None,
    concessions: "pd.DataFrame | None" = None,
    grounds: "pd.DataFrame | None" = None,
    wire_colours: "pd.DataFrame | None" = None,
    parts: "pd.DataFrame | None" = None,
    removed: "pd.DataFrame | None" = None,
    fitted: "pd.DataFrame | None" = None,
    settings: Mapping[str, object] | None = None,
    name: str = "vehicle",
    **others: "pd.DataFrame | None",
) -> Vehicle:
    """A vehicle from DataFrames, checked as `pdm_alloc.read_vehicle` checks files.

    Parameters
    ----------
    loads : DataFrame
        Required.
    commands, inputs, states, supply, places, routes, locked, concessions : DataFrame, optional
        The other tables of the vehicle.
    grounds, wire_colours, parts, removed, fitted : DataFrame, optional
        The tables of the bench. Columns and units of all as in the files; missing values are empty cells. A named
        index counts as a column.
    settings : mapping of str to object, optional
        Values by setting, as in ``settings.toml``.
    name : str
        Name of the vehicle, where the settings give it none.
    others : DataFrame
        The further optional tables of a vehicle, by name: signals, messages and so on.

    Returns
    -------
    Vehicle
        Equal to the one read from files with the same cells.

    Raises
    ------
    InputError
        With every fault of every table; rows are counted as in the file the frame would be saved to:
        the header is row 1, the frame's first row is row 2.
    TypeError
        A table is no DataFrame, or the settings are no mapping.
    """
    tables = {
        "loads": loads,
        "commands": commands,
        "inputs": inputs,
        "states": states,
        "supply": supply,
        "places": places,
        "routes": routes,
        "locked": locked,
        "concessions": concessions,
        "grounds": grounds,
        "wire_colours": wire_colours,
        "parts": parts,
        "removed": removed,
        "fitted": fitted,
        **_known("vehicle", others, VEHICLE_ROWS),
    }
    faults = Faults()
    source = _source(name, tables, faults)
    if settings:
        source.grids["settings"] = _settings_grid(settings, faults)
    return vehicle_of(source, faults)


def catalogue(
    modules: "pd.DataFrame",
    channels: "pd.DataFrame",
    *,
    banks: "pd.DataFrame | None" = None,
    derating: "pd.DataFrame | None" = None,
    name: str = "catalogue",
    **others: "pd.DataFrame | None",
) -> Catalogue:
    """A catalogue from DataFrames, checked as `pdm_alloc.read_catalogue` checks files.

    Parameters
    ----------
    modules, channels, banks, derating : DataFrame
        Columns and units as in the files; `modules` and `channels` are required.
    name : str
        Name of the catalogue.
    others : DataFrame
        The further optional tables of a catalogue, by name: control_units, signal_pins, keypads.

    Returns
    -------
    Catalogue

    Raises
    ------
    InputError
        With every fault of every table; rows are counted as in the file the frame would be saved to.
    TypeError
        A table is no DataFrame.
    """
    tables = {
        "modules": modules,
        "channels": channels,
        "banks": banks,
        "derating": derating,
        **_known("catalogue", others, CATALOGUE_COLUMNS),
    }
    faults = Faults()
    return catalogue_of(_source(name, tables, faults), faults)


def _known(verb: str, others: Mapping[str, Any], tables: Iterable[str]) -> Mapping[str, Any]:
    names = list(tables)
    unknown = [table for table in others if table not in names]
    if unknown:
        raise TypeError(f"{verb}() knows no table {unknown[0]!r}: {hint(unknown[0], names)}")
    return others


def _source(name: str, tables: Mapping[str, Any], faults: Faults) -> Source:
    source = Source(name)
    for table, frame in tables.items():
        if frame is None:
            continue
        grid = _grid(table, frame, faults)
        if grid.partial:
            source.broken.add(table)
        if grid.header:
            source.grids[table] = grid
    return source


def _grid(table: str, frame: Any, faults: Faults) -> Grid:
    import pandas as pd

    if not isinstance(frame, pd.DataFrame):
        raise TypeError(f"{table} must be a DataFrame with one row per line of the table, not {type(frame).__name__}")
    named = [level for level in frame.index.names if level is not None]
    whole = frame.reset_index(level=named) if named else frame
    header = [cell_text(column) for column in whole.columns]
    cells = whole.itertuples(index=False, name=None)
    return grid_of(table, [header, *([_frame_cell(value) for value in row] for row in cells)], faults)


def _settings_grid(settings: Mapping[str, object], faults: Faults) -> Grid:
    if not isinstance(settings, Mapping):
        raise TypeError(f"settings must be a mapping of setting to value, not {type(settings).__name__}")
    rows = [[str(key), cell_text(value)] for key, value in settings.items() if value is not None]
    return grid_of("settings", [["setting", "value"], *rows], faults)


def cell_text(value: object) -> str:
    """The text somebody would type for a value.

    Parameters
    ----------
    value : object
        Text, number, yes or no as a bool, words as an iterable of text; None is an empty cell.

    Returns
    -------
    str
        A float as its shortest decimal, so that 0.1 is read as a tenth and not as its nearest binary fraction; one
        digit more where 1.001 could be a thousand and one.
    """
    if value is None or isinstance(value, (str, bool)):
        return decimal(value)
    if isinstance(value, Integral):
        return str(int(value))
    if isinstance(value, Real):
        return unmistakable(decimal(value if isinstance(value, Fraction) else float(value)))
    if isinstance(value, Iterable):
        words = [str(word) for word in value]
        return " ".join(sorted(words) if isinstance(value, Set) else words)
    return _yes_no(value) or str(value)


def _yes_no(value: object) -> str:
    """Of an array library's own bool, which is none of Python's."""
    return {"True": "yes", "False": "no"}.get(str(value), "")


def _frame_cell(value: object) -> str:
    """As `cell_text`, with every missing value an empty cell: a frame has no other way to leave a cell out."""
    return "" if str(value) in ("nan", "<NA>", "NaT") and not isinstance(value, str) else cell_text(value)
