"""Vehicles and catalogues turned back into tables of text, with a fingerprint of each table."""

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields, replace
from fractions import Fraction
from functools import partial
from hashlib import sha256
from math import ceil

from pdm_alloc.domain.kinds import KINDS, Settings
from pdm_alloc.domain.module import Catalogue, Channel, Module
from pdm_alloc.domain.vehicle import PPM, Command, Concession, Input, Load, Lock, Place, Route, State, Vehicle
from pdm_alloc.files.grids import is_free
from pdm_alloc.files.rows import Memory, unmistakable
from pdm_alloc.files.sources import number_columns
from pdm_alloc.files.tables.settings_rows import bench_plain
from pdm_alloc.files.tables.signal_tables import decimal, signal_catalogue_plain, signal_vehicle_plain
from pdm_alloc.files.tables.signal_tables import thousandths as _thousandths

__all__ = ["catalogue_hashes", "catalogue_plain", "decimal", "table_hashes", "vehicle_hashes", "vehicle_plain"]

_USUAL_SHARE = Channel("", 0, 0, 0.0).share_pct

Plain = dict[str, list[dict[str, str]]]


def vehicle_plain(vehicle: Vehicle) -> Plain:
    """Tables of a vehicle, reading back to the same vehicle.

    Parameters
    ----------
    vehicle : Vehicle
        Any.

    Returns
    -------
    dict of str to list of dict of str to str
        Rows by table, cells by column; tables with nothing in them left out.
    """
    tables = {table: rows for make, _ in _PARTS for table, rows in make(vehicle).items()}
    return {table: _lean(table, rows) for table, rows in tables.items() if rows}


_Part = tuple[Callable[[Vehicle], Plain], Callable[[Vehicle], tuple[object, ...]]]  # tables, what they are made of

_PARTS: tuple[_Part, ...] = (
    (lambda v: {"loads": [_load(load) for load in v.loads]}, lambda v: (v.loads,)),
    (lambda v: {"commands": _commands(v)}, lambda v: (v.commands, _are_bare(v))),
    (lambda v: {"inputs": [_input(i) for i in v.inputs]}, lambda v: (v.inputs,)),
    (lambda v: {"states": _states(v)}, lambda v: (v.states, v.states_given, v.commands)),
    (lambda v: {"supply": _supply(v)}, lambda v: (v.states, v.states_given, v.settings)),
    (lambda v: {"places": [_place(place) for place in v.places]}, lambda v: (v.places,)),
    (lambda v: {"routes": [_route(route) for route in v.routes]}, lambda v: (v.routes,)),
    (lambda v: {"locked": [_lock(lock) for lock in v.locked]}, lambda v: (v.locked,)),
    (lambda v: {"concessions": [_concession(c) for c in v.concessions]}, lambda v: (v.concessions,)),
    (lambda v: {"settings": _settings(v.settings)}, lambda v: (v.settings,)),
    (signal_vehicle_plain, lambda v: (v.signals, v.messages)),
    (bench_plain, lambda v: (v.grounds, v.wire_colours, v.parts, v.removed, v.fitted)),
)


def _route(route: Route) -> dict[str, str]:
    return {"from": route.start, "to": route.end, "length_m": decimal(route.length_m)}


def _lock(lock: Lock) -> dict[str, str]:
    return {"load": lock.load, "module": lock.module, "channel": lock.channel}


def _lean(table: str, rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """Without columns that say nothing; free columns, and states in which nothing is on, stay."""
    if table == "states":
        return rows
    kept = {column for row in rows for column, cell in row.items() if cell or is_free(column)}
    numbers = number_columns(table)
    return [
        {column: unmistakable(cell) if column in numbers else cell for column, cell in row.items() if column in kept}
        for row in rows
    ]


def _input(item: Input) -> dict[str, str]:
    return {
        "input": item.name,
        "kind": item.kind,
        "place": item.place or "",
        "read_by": item.read_by or "",
        "note": item.note,
        **dict(item.extra),
    }


def _load(load: Load) -> dict[str, str]:
    kind = KINDS[load.kind]
    cells = {
        "load": load.name,
        "command": load.command,
        "running_a": _thousandths(load.running_ma),
        "count": str(load.count),
        "kind": load.kind,
        **_inrush(load),
        "needs": decimal(load.needs),
        "importance": load.importance,
        "share": decimal(load.share),
        "separate": load.separate or "",
        "place": load.place or "",
        "max_drop_pct": decimal(load.max_drop_pct),
        "tolerance_pct": decimal(load.tolerance_pct),
        "length_m": decimal(load.length_m),
        "min_v": decimal(load.min_v),
        "volt_exponent": "" if load.volt_exponent == kind.volt_exponent else decimal(load.volt_exponent),
        "note": load.note,
    }
    return {**cells, **dict(load.extra)}


def _inrush(load: Load) -> dict[str, str]:
    """Peak and length; empty where they are the kind's and were assumed, so that they stay assumed."""
    kind = KINDS[load.kind]
    usual = ceil(load.running_ma * Fraction(str(kind.inrush_multiple)))
    peak = "" if load.inrush_assumed and load.inrush_ma == usual else _thousandths(load.inrush_ma)
    length = "" if load.inrush_assumed and load.inrush_ms in (kind.inrush_ms, 0) else decimal(load.inrush_ms)
    return {"inrush_a": peak, "inrush_ms": length}


def _commands(vehicle: Vehicle) -> list[dict[str, str]]:
    """Nothing where the loads say it all."""
    return [] if _are_bare(vehicle) else [_command(command) for command in vehicle.commands]


def _are_bare(vehicle: Vehicle) -> bool:
    used = {load.command for load in vehicle.loads}
    return all(command.name in used and command == Command(command.name) for command in vehicle.commands)


def _command(command: Command) -> dict[str, str]:
    return {
        "command": command.name,
        "condition": command.condition,
        "action": command.action,
        "headroom_pct": decimal(command.headroom_pct),
        "together": "yes" if command.together else "",
        "on_s": decimal(command.on_s),
        "cycle_s": decimal(command.cycle_s),
        "joins": "" if command.joins else "no",
        "note": command.note,
        **dict(command.extra),
    }


def _states(vehicle: Vehicle) -> list[dict[str, str]]:
    if not vehicle.states_given:
        return []
    return [
        {"command": c.name, **{s.name: _duty(s.duty_ppm.get(c.name, 0)) for s in vehicle.states}}
        for c in vehicle.commands
    ]


def _duty(ppm: int) -> str:
    return "" if ppm == 0 else _thousandths(ppm, len(str(PPM)) - 1)


def _supply(vehicle: Vehicle) -> list[dict[str, str]]:
    """Nothing where every state has what it would have without this table."""
    if not vehicle.states_given or all(_is_bare(s, vehicle.settings.reference_v) for s in vehicle.states):
        return []
    return [
        {
            "state": s.name,
            "supply_v": decimal(s.supply_v),
            "charging_a": decimal(s.charging_a),
            "minutes": decimal(s.minutes),
            "supply_top_v": decimal(s.supply_top_v),
            "other_a": _thousandths(s.other_ma or None),
        }
        for s in vehicle.states
    ]


def _is_bare(state: State, reference_v: float) -> bool:
    return state == State(state.name, reference_v, state.duty_ppm)


def _place(place: Place) -> dict[str, str]:
    return {
        "place": place.name,
        "x_m": decimal(place.x_m),
        "y_m": decimal(place.y_m),
        "compartment": place.compartment,
        "ambient_c": decimal(place.ambient_c),
        "mount": decimal(place.mount),
        "contains": decimal(place.contains),
        **dict(place.extra),
    }


def _concession(concession: Concession) -> dict[str, str]:
    weight = "never" if concession.weight is None else str(concession.weight)
    return {"kind": concession.kind, "subject": concession.subject, "weight": weight}


def _settings(settings: Settings) -> list[dict[str, str]]:
    values = {item.name: getattr(settings, item.name) for item in fields(settings)}
    texts = {name: decimal(value) for name, value in values.items() if value is not None}
    return [
        {"setting": name, "value": text if isinstance(values[name], str) else unmistakable(text)}
        for name, text in texts.items()
    ]


def catalogue_plain(catalogue: Catalogue) -> Plain:
    """Tables of a catalogue, reading back to the same catalogue.

    Parameters
    ----------
    catalogue : Catalogue
        Any.

    Returns
    -------
    dict of str to list of dict of str to str
        Rows by table, cells by column; tables with nothing in them left out.
    """
    tables: Plain = {
        "modules": [_module(module) for module in catalogue],
        "channels": [_channel(module, channel) for module in catalogue for channel in module.channels],
        "banks": [
            {"module": m.name, "bank": bank, "limit_a": _thousandths(limit)}
            for m in catalogue
            for bank, limit in m.bank_ma.items()
        ],
        "derating": [
            {"module": m.name, "ambient_c": decimal(c), "factor": decimal(factor)}
            for m in catalogue
            for c, factor in m.derating
        ],
        **signal_catalogue_plain(catalogue),
    }
    return {table: _lean(table, rows) for table, rows in tables.items() if rows}


def _module(module: Module) -> dict[str, str]:
    return {
        "module": module.name,
        "total_a": _thousandths(module.total_ma),
        "total_peak_a": _thousandths(module.total_peak_ma),
        "mass_g": decimal(module.mass_g),
        "price": decimal(module.price),
        "supply_min_v": decimal(module.supply_min_v),
        "supply_max_v": decimal(module.supply_max_v),
        "inputs": decimal(module.inputs),
        "trip_step_a": _thousandths(module.trip_step_ma),
        "trip_error_pct": decimal(module.trip_error_pct or None),
        "settle_s": decimal(module.settle_s or None),
        "quiescent_ma": decimal(module.quiescent_ma),
        "note": module.note,
        **dict(module.extra),
    }


def _channel(module: Module, channel: Channel) -> dict[str, str]:
    return {
        "module": module.name,
        "channel": channel.name,
        "connector": channel.connector,
        "pins": " ".join(channel.pins),
        "bank": channel.bank or "",
        "continuous_a": _thousandths(channel.continuous_ma),
        "peak_a": _thousandths(channel.peak_ma),
        "peak_ms": decimal(channel.peak_ms),
        "features": decimal(channel.features),
        "bridge": channel.bridge or "",
        "pair": channel.pair or "",
        "max_wire_mm2": decimal(channel.max_wire_mm2),
        "share_pct": "" if channel.share_pct == _USUAL_SHARE else decimal(channel.share_pct),
        "contact_a": _thousandths(channel.contact_ma),
        "on_mohm": decimal(channel.on_mohm),
        "contact_c": decimal(channel.contact_c),
        "turn_off_mj": decimal(channel.turn_off_mj),
        **dict(channel.extra),
    }


def headers(rows: Iterable[Mapping[str, str]]) -> list[str]:
    """Every column of some rows, in the order they come up."""
    return list(dict.fromkeys(column for row in rows for column in row))


def table_hashes(tables: Plain) -> tuple[tuple[str, str], ...]:
    """SHA-256 of the content of each table.

    Parameters
    ----------
    tables : dict of str to list of dict of str to str
        As `pdm_alloc.files.plain` makes them.

    Returns
    -------
    tuple of (str, str)
        Table and hexadecimal digest, sorted by table.
    """
    return tuple((table, _digest(rows)) for table, rows in sorted(tables.items()))


def _digest(rows: Iterable[Mapping[str, str]]) -> str:
    return _digest_of(map(_line, rows))


def _digest_of(lines: Iterable[str]) -> str:
    return sha256("\n".join(sorted(lines)).encode()).hexdigest()


def _line(row: Mapping[str, str]) -> str:
    return json.dumps({column: cell for column, cell in row.items() if cell}, sort_keys=True)


def vehicle_hashes(vehicle: Vehicle, memory: Memory | None = None) -> Vehicle:
    """The vehicle with the fingerprints of its tables as they now are.

    Parameters
    ----------
    vehicle : Vehicle
        Any.
    memory : Memory, optional
        Of the vehicle before: tables that are made of the same objects are not put into words again.

    Returns
    -------
    Vehicle
    """
    once = (memory or Memory()).once
    loads = [once(("line", n), partial(_line_of, load), load) for n, load in enumerate(vehicle.loads)]
    digests = {"loads": _digest_of(loads)} if loads else {}
    for make, of in _PARTS[1:]:
        digests |= once(("digests", make), partial(_digests, vehicle, make), *of(vehicle))
    return replace(vehicle, table_hashes=tuple(sorted(digests.items())))


def _line_of(load: Load) -> str:
    return _line(_lean("loads", [_load(load)])[0])


def _digests(vehicle: Vehicle, make: Callable[[Vehicle], Plain]) -> dict[str, str]:
    return {table: _digest(_lean(table, rows)) for table, rows in make(vehicle).items() if rows}


def catalogue_hashes(catalogue: Catalogue) -> Catalogue:
    """The catalogue with the fingerprints of its tables as they now are."""
    return replace(catalogue, table_hashes=table_hashes(catalogue_plain(catalogue)))
