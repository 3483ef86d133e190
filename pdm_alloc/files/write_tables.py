"""Tables written: a vehicle, a catalogue, blank tables to start from, and the column guide."""

import io
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic.fields import FieldInfo

from pdm_alloc.domain.module import FUNCTIONS, SIGNAL_KINDS, Catalogue, SignalKind
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.vehicle import PPM, State, Vehicle
from pdm_alloc.files.atomic import write_file, write_new
from pdm_alloc.files.cells import Number
from pdm_alloc.files.grids import csv_line
from pdm_alloc.files.plain import Plain, catalogue_plain, headers, vehicle_plain
from pdm_alloc.files.rows import Row, cell_of, columns_of
from pdm_alloc.files.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.files.tables.settings_rows import SettingsRow
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS, PlaceRow

if TYPE_CHECKING:
    from pandas import DataFrame

    from pdm_alloc.domain.module import Catalogue

__all__ = [
    "catalogue_tables",
    "column_guide",
    "csv_text",
    "example_row",
    "new_catalogue",
    "new_demo",
    "new_tables",
    "vehicle_summary",
    "vehicle_tables",
    "write_catalogue",
    "write_tables",
    "write_vehicle",
]


def column_guide(title: str, models: dict[str, type[Row]], more: dict[str, str], first: str = "") -> str:
    """A column guide in Markdown.

    Parameters
    ----------
    title : str
        First line.
    models : dict of str to type of Row
        Row model by file name.
    more : dict of str to str
        Text for tables that have no model of their own, by file name.
    first : str
        Files to fill in first, all of which must be there; default: those of a vehicle.

    Returns
    -------
    str
        With a section a table.
    """
    beginning = f"Fill in `{first}` first; they must be there." if first else _FIRST_LOADS
    sections = [f"# {title}", f"{beginning} {_PREFACE}", *(_section(name, model) for name, model in models.items())]
    sections += [f"## {name}\n\n{text}" for name, text in more.items()]
    return "\n\n".join(sections) + "\n"


_FIRST_LOADS = "Fill in `loads.csv` first; it is the only table that must be there."
_PREFACE = """Delete the tables you do not need.

- The first row is the header; the order of rows and columns does not matter, and blank rows are skipped.
- Comma, semicolon or tab between cells; decimal point or comma. A number may carry its column's own unit (`1.5 A`).
- A column that must not be empty says so below. An empty cell in any other means what stands under "empty".
- Columns whose names start with `x_` are yours (part number, wire colour, ...): they go along untouched.
- The same tables may be the sheets of one XLSX workbook; the settings are then a sheet with columns setting and value.

The rows in these files are examples, and invented. Values are for design, to be checked by measurement and by a
qualified person."""


def _section(name: str, model: type[Row]) -> str:
    lines = [
        f"## {name}",
        "",
        f"{model.__doc__}",
        "",
        "| column | may hold | empty | meaning | example |",
        "| --- | --- | --- | --- | --- |",
    ]
    return "\n".join([*lines, *(_line(header, info) for header, info in columns_of(model).items())])


def _line(header: str, info: FieldInfo) -> str:
    empty = "must not be" if info.is_required() else _otherwise(info)
    return f"| {header} | {cell_of(info).accepts()} | {empty} | {info.description} | {_example(info)} |"


def _otherwise(info: FieldInfo) -> str:
    more = info.json_schema_extra
    return str(more["otherwise"]) if isinstance(more, dict) else ""


def _example(info: FieldInfo) -> str:
    return str(info.examples[0]) if info.examples else ""


def example_row(model: type[Row]) -> dict[str, str]:
    """The example of each column of a table.

    Parameters
    ----------
    model : type of Row
        The table's model.

    Returns
    -------
    dict of str to str
        Cells by column.
    """
    return {header: _example(info) for header, info in columns_of(model).items()}


def vehicle_summary(vehicle: Vehicle, catalogue: Catalogue | None = None) -> str:
    """A vehicle in a few lines.

    Parameters
    ----------
    vehicle : Vehicle
        As read.
    catalogue : Catalogue, optional
        As read.

    Returns
    -------
    str
        Several lines, without a line break at the end.
    """
    lines = [f"{vehicle.name}: no fault found.", _loads(vehicle), _assumed(vehicle), *_states(vehicle), _more(vehicle)]
    lines += [_signals(vehicle)]
    lines += [f"catalogue {catalogue.name}: {', '.join(module.name for module in catalogue)}"] if catalogue else []
    boxes = [box.name for box in catalogue.boxes if box.role != "module"] if catalogue else []
    lines += [f"control units and expanders: {', '.join(boxes)}"] if boxes else []
    return "\n".join(line for line in lines if line)


def _signals(vehicle: Vehicle) -> str:
    """What there is for control units, keypads and the bus; empty where there is none."""
    keys = sum(item.read_by == "keypad" for item in vehicle.inputs)
    inputs = sum(item.read_by == "control_unit" for item in vehicle.inputs)
    items = sum(signal.count for signal in vehicle.signals)
    counts = ((items + inputs, "signal"), (keys, "key"), (len(vehicle.messages), "message"))
    words = [_number(count, word) for count, word in counts if count]
    return f"signal side: {', '.join(words)}" if words else ""


def _loads(vehicle: Vehicle) -> str:
    items = vehicle.items
    commands = len({load.command for load in vehicle.loads})
    total = sum(load.running_ma * load.count for load in vehicle.loads) / 1000
    return (
        f"{_number(len(vehicle.loads), 'load')} ({_number(items, 'item')}) on {_number(commands, 'command')}, "
        f"{total:.1f} A if all were on at {vehicle.settings.reference_v:g} V"
    )


def _number(count: int, word: str) -> str:
    return f"{count:,} {word}{'' if count == 1 else 's'}"


def _assumed(vehicle: Vehicle) -> str:
    assumed = sum(load.inrush_assumed for load in vehicle.loads)
    return (
        f"inrush estimated from the kind of load for {assumed} of {_number(len(vehicle.loads), 'load')}"
        if assumed
        else ""
    )


def _states(vehicle: Vehicle) -> list[str]:
    if not vehicle.states_given:
        return ["no table states: whatever the conditions allow may be on at once"]
    return [_state(vehicle, state) for state in vehicle.states]


def _state(vehicle: Vehicle, state: State) -> str:
    on = sum(duty > 0 for duty in state.duty_ppm.values())
    mean = sum(load.running_ma * load.count * state.duty_ppm[load.command] for load in vehicle.loads) / PPM / 1000
    return (
        f"state {state.name}: {state.supply_v:g} V, {_number(on, 'command')} that may be on, "
        f"{mean:.1f} A average (at {vehicle.settings.reference_v:g} V)"
    )


def _more(vehicle: Vehicle) -> str:
    counts: dict[str, tuple[object, ...]] = {
        "input": vehicle.inputs,
        "place": vehicle.places,
        "route": vehicle.routes,
        "locked wire": vehicle.locked,
    }
    known = [_number(len(things), word) for word, things in counts.items() if things]
    return ", ".join(known)


def vehicle_tables(vehicle: Vehicle) -> "dict[str, DataFrame]":
    """Tables of a vehicle, with the columns they are read with.

    Parameters
    ----------
    vehicle : Vehicle
        Any.

    Returns
    -------
    dict of str to DataFrame
        Cells are text as somebody would type it; tables with nothing in them are left out.
    """
    return _frames(vehicle_plain(vehicle))


def catalogue_tables(catalogue: "Catalogue") -> "dict[str, DataFrame]":
    """Tables of a catalogue, as `vehicle_tables`."""
    return _frames(catalogue_plain(catalogue))


def _frames(tables: Plain) -> "dict[str, DataFrame]":
    import pandas as pd

    return {table: pd.DataFrame(rows, columns=headers(rows), dtype=str).fillna("") for table, rows in tables.items()}


def write_vehicle(vehicle: Vehicle, path: str | Path) -> Path:
    """Write a vehicle so that `read_vehicle` gives it back.

    Parameters
    ----------
    vehicle : Vehicle
        Any.
    path : str or Path
        A workbook if it ends in ``.xlsx``, a folder otherwise; must not exist yet.

    Returns
    -------
    Path
        What was written.

    Raises
    ------
    InputError
        There is something already.
    WriteError
        It cannot be written; nothing is left behind.
    """
    place = Path(path)
    tables = vehicle_plain(vehicle)
    if vehicle.name != (place.stem if place.suffix.lower() == ".xlsx" else place.resolve().name):
        tables["settings"] = [{"setting": "name", "value": vehicle.name}, *tables["settings"]]
    return write_tables(tables, place)


def write_catalogue(catalogue: "Catalogue", path: str | Path) -> Path:
    """Write a catalogue so that `read_catalogue` gives it back; arguments and errors as `write_vehicle`."""
    return write_tables(catalogue_plain(catalogue), Path(path))


def write_tables(tables: Plain, place: Path) -> Path:
    """Write tables of text as a workbook or a folder of CSV files, whole or not at all."""
    if place.suffix.lower() == ".xlsx":
        place.absolute().parent.mkdir(parents=True, exist_ok=True)
        write_file(place, _workbook(tables), new=True)
    else:
        write_new(place, {f"{table}.csv": csv_text(headers(rows), rows) for table, rows in tables.items()})
    return place


def csv_text(columns: list[str], rows: list[dict[str, str]]) -> bytes:
    """One table as CSV; text outside ASCII gets the mark by which spreadsheets know UTF-8."""
    lines = [columns, *([row.get(column, "") for column in columns] for row in rows)]
    text = "".join(csv_line(line) for line in lines)
    return text.encode("utf-8" if text.isascii() else "utf-8-sig")


def _workbook(tables: Plain) -> bytes:
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    for table, rows in tables.items():
        sheet = book.create_sheet(table)
        sheet.freeze_panes = "A2"
        columns = headers(rows)
        sheet.append([_cell(sheet, column) for column in columns])
        numbers = [_is_number(table, column) for column in columns]
        for row in rows:
            cells = zip(columns, numbers, strict=True)
            sheet.append([_cell(sheet, row.get(column, ""), number) for column, number in cells])
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _is_number(table: str, column: str) -> bool:
    """Whether a spreadsheet may count with the cells of a column."""
    if table == "states":
        return column != "command"
    model = VEHICLE_ROWS.get(table) or CATALOGUE_ROWS.get(table)
    info = columns_of(model).get(column) if model else None
    return info is not None and isinstance(cell_of(info), Number)


def _cell(sheet: Any, text: str, number: bool = False) -> Any:
    from openpyxl.cell import WriteOnlyCell

    if text == "":
        return None
    cell = WriteOnlyCell(sheet, value=float(text) if number else text)
    # Text stays text, also where it begins like a formula.
    cell.data_type = "n" if number else "s"
    return cell


_STATES = """An operating state a column: how long each command is on in it.

The first column is `command`; every command of the loads has a row. Every other column is a state, and its cells are
duties: 0 to 1, or per cent with the sign (`50 %`); empty is 0. Without this table there is one state, everything on at
reference_v."""


def _signal_words() -> dict[str, str]:
    """Kinds of signals and functions of pins, each a table in Markdown by its heading."""
    kinds = [(kind.name, _taken(kind), _drawn(kind)) for kind in SIGNAL_KINDS.values()]
    functions = [
        (f.name, f.meaning, "must be given" if f.limited else "not judged if empty") for f in FUNCTIONS.values()
    ]
    return {
        "Kinds of signals": _markdown(("kind in signals", "takes", "current_a where the table gives none"), kinds),
        "Functions of pins": _markdown(("word in functions", "meaning", "max_a"), functions),
    }


def _taken(kind: SignalKind) -> str:
    how = ", of one pair label" if kind.labelled else ", both of one box" if kind.pins > 1 else ""
    return f"{counted(kind.pins, 'pin')} with {kind.function}{how}"


def _drawn(kind: SignalKind) -> str:
    return kind.source if kind.current_ma is None else f"{kind.current_ma / 1000:g} A ({kind.source})"


def _markdown(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    lines = [heads, ("---",) * len(heads), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


_DEMO_FOLDERS = ("catalogue", "expedition_truck", "rally_coupe")


def new_tables(folder: str | Path) -> list[Path]:
    """Write blank tables of a vehicle, with one example row each, settings and a column guide.

    Parameters
    ----------
    folder : str or Path
        Must not exist yet, or be empty.

    Returns
    -------
    list of Path
        Files written, sorted. They make a vehicle that can be read.

    Raises
    ------
    InputError
        There is something already.
    WriteError
        It cannot be written; nothing is left behind.
    """
    tables = {
        f"{table}.csv": csv_text(list(columns_of(VEHICLE_ROWS[table]) if table in VEHICLE_ROWS else rows[0]), rows)
        for table, rows in _examples().items()
    }
    models = {f"{table}.csv": model for table, model in VEHICLE_ROWS.items()} | {"settings.toml": SettingsRow}
    guide = column_guide("Column guide", models, {"states.csv": _STATES, **_signal_words()})
    return write_new(Path(folder), {**tables, "settings.toml": _settings().encode(), "columns.md": guide.encode()})


def new_catalogue(folder: str | Path) -> list[Path]:
    """Write blank tables of a catalogue, with one example row each and a column guide.

    Parameters
    ----------
    folder : str or Path
        Must not exist yet, or be empty.

    Returns
    -------
    list of Path
        Files written, sorted. They make a catalogue that can be read.

    Raises
    ------
    InputError
        There is something already.
    WriteError
        It cannot be written; nothing is left behind.
    """
    tables = {
        f"{table}.csv": csv_text(list(columns_of(model)), [example_row(model)])
        for table, model in CATALOGUE_ROWS.items()
    }
    models = {f"{table}.csv": model for table, model in CATALOGUE_ROWS.items()}
    guide = column_guide("Column guide of a catalogue", models, _signal_words(), first="modules.csv` and `channels.csv")
    return write_new(Path(folder), {**tables, "columns.md": guide.encode()})


def new_demo(folder: str | Path) -> list[Path]:
    """Write the demo: two vehicles and the catalogue beside them, all invented.

    Parameters
    ----------
    folder : str or Path
        Must not exist yet, or be empty.

    Returns
    -------
    list of Path
        Files written, sorted.

    Raises
    ------
    InputError
        There is something already.
    WriteError
        It cannot be written; nothing is left behind.
    """
    demo = demo_folder()
    tables = [file for name in _DEMO_FOLDERS for file in sorted((demo / name).iterdir())]
    return write_new(Path(folder), {file.relative_to(demo).as_posix(): file.read_bytes() for file in tables})


def demo_folder() -> Path:
    """Where the demo is: in the installed package, or in the repository the package is run from."""
    package = Path(str(files("pdm_alloc")))
    shipped = package / "demo"
    return shipped if shipped.is_dir() else package.parent / "data"


def _examples() -> dict[str, list[dict[str, str]]]:
    rows = {table: [example_row(model)] for table, model in VEHICLE_ROWS.items()}
    rows["states"] = [{"command": "ignition", "running": "1"}]
    # A route has two ends; the second place is the load's.
    rows["places"].append(
        {**example_row(PlaceRow), "place": "tank", "x_m": "2.9", "y_m": "0", "compartment": "boot", "mount": "no"}
    )
    # What is locked must be in the catalogue, and nobody knows yet which catalogue that will be.
    rows["locked"] = []
    return rows


def _settings() -> str:
    lines = ["# Settings of the vehicle. A line that starts with # has no effect; its value is what holds without it."]
    for name, info in columns_of(SettingsRow).items():
        extra, example = info.json_schema_extra, (info.examples or [""])[0]
        assert isinstance(extra, dict)
        value = example or '""'
        value = value if value.removeprefix("-").replace(".", "").isdigit() or value == '""' else f'"{value}"'
        lines += [
            "",
            f"# {info.description}: {cell_of(info).accepts()}. Without it: {extra['otherwise']}.",
            f"{'' if example else '# '}{name} = {value}",
        ]
    return "\n".join(lines) + "\n"
