"""A vehicle from its tables."""

from collections.abc import Callable, Iterable
from dataclasses import fields
from fractions import Fraction
from math import ceil
from pathlib import Path
from typing import Any, TypeVar

from pdm_alloc.domain.condition import quoted_condition
from pdm_alloc.domain.kinds import KINDS, Settings, default_drop_pct
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.vehicle import Command, Concession, Input, Load, Lock, Place, Route, Vehicle
from pdm_alloc.files.cells import Exact
from pdm_alloc.files.faults import Fault, Faults
from pdm_alloc.files.grids import Grid
from pdm_alloc.files.plain import Plain, headers, vehicle_hashes
from pdm_alloc.files.rows import Line, columns_of, read_lines
from pdm_alloc.files.sources import Source, open_source
from pdm_alloc.files.tables.bench_rows import bench_of, check_bench
from pdm_alloc.files.tables.references import check_references, check_routes, refuse_untouched
from pdm_alloc.files.tables.settings_rows import SettingRow, SettingsRow, read_settings
from pdm_alloc.files.tables.signal_rows import check_signals
from pdm_alloc.files.tables.signal_tables import by_name, messages_of, signals_of
from pdm_alloc.files.tables.states import build_states, check_supply, read_matrix
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS, LoadRow, VehicleLines
from pdm_alloc.files.tables.vehicle_rules import check_conditions, check_rules

__all__ = ["VEHICLE_COLUMNS", "read_plain", "read_vehicle", "vehicle_of"]

VEHICLE_COLUMNS: dict[str, tuple[str, ...]] = {
    **{table: tuple(columns_of(model)) for table, model in VEHICLE_ROWS.items()},
    "states": ("command",),
    "settings": tuple(columns_of(SettingRow)),
}


def read_vehicle(path: str | Path, notes: list[Fault] | None = None) -> Vehicle:
    """The vehicle in a folder of CSV files or in an XLSX workbook.

    Parameters
    ----------
    path : str or Path
        Folder with ``loads.csv`` and whatever else there is, or a workbook with a sheet per table.
    notes : list of Fault, optional
        Takes what is no fault but good to know: how a doubtful cell was read, what was passed over.

    Returns
    -------
    Vehicle
        Checked: every reference resolves, every default is filled in. Rows are in natural order of their names, states
        in the order of their columns.

    Raises
    ------
    InputError
        With every fault of every table.
    """
    faults = Faults()
    source = open_source(path, VEHICLE_COLUMNS, faults)
    refuse_untouched(source, faults)
    vehicle = vehicle_of(source, faults)
    if notes is not None:
        notes += faults.notes
    return vehicle


def vehicle_of(source: Source, faults: Faults) -> Vehicle:
    """The vehicle in tables wherever they came from; as `read_vehicle`.

    Parameters
    ----------
    source : Source
        The tables.
    faults : Faults
        With what has been noted so far.

    Returns
    -------
    Vehicle

    Raises
    ------
    InputError
        With every fault of every table.
    """
    source.require("loads", "a vehicle needs a row in the table loads for each load", faults)
    tables = _lines_of(source, faults)
    for check in (check_references, check_conditions, check_rules, check_routes, check_signals, check_bench):
        check(tables, faults)
    faults.raise_if_any()
    return _build(source, tables)


def _lines_of(source: Source, faults: Faults) -> VehicleLines:
    rows = {table: read_lines(source.grids.get(table), model, faults) for table, model in VEHICLE_ROWS.items()}
    matrix = read_matrix(source.grids.get("states"), faults)
    if "states" not in source.broken:
        check_supply(matrix, rows["supply"], faults)
    settings, setting_rows = read_settings(source, faults)
    return VehicleLines(rows, matrix, settings, setting_rows, frozenset(source.broken))


def _build(source: Source, tables: VehicleLines) -> Vehicle:
    settings = _settings(tables.settings)
    commands = _commands(tables)
    rows = tables.rows
    vehicle = Vehicle(
        name=tables.settings.name or source.name,
        loads=by_name(_load(line) for line in rows["loads"]),
        commands=commands,
        states=build_states(
            tables.matrix, rows["supply"], [command.name for command in commands], settings.reference_v
        ),
        settings=settings,
        inputs=by_name(_input(line) for line in rows["inputs"]),
        places=by_name(_place(line) for line in rows["places"]),
        routes=_in_order(rows["routes"], _route, lambda r: (natural_key(r.start), natural_key(r.end))),
        locked=_in_order(rows["locked"], _lock, lambda k: tuple(map(natural_key, (k.load, k.module, k.channel)))),
        concessions=_in_order(rows["concessions"], _concession, lambda c: (c.kind, natural_key(c.subject))),
        states_given=bool(tables.matrix.duties),
        signals=signals_of(rows["signals"]),
        messages=messages_of(rows["messages"]),
        **bench_of(rows),
    )
    return vehicle_hashes(vehicle)


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
    grids = {table: _grid(table, rows) for table, rows in tables.items() if rows}
    return vehicle_of(Source(name, grids), Faults())


def _grid(table: str, rows: list[dict[str, str]]) -> Grid:
    columns = headers(rows)
    cells = [(number, [_text(row.get(column, "")) for column in columns]) for number, row in enumerate(rows, start=2)]
    return Grid(table, 1, columns, cells)


def _text(value: object) -> str:
    """Text as it is; a number of a data frame with the decimal point Python gives it."""
    return value if isinstance(value, str) else Exact(value)
