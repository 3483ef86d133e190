"""Tables to start from: blank ones with an example row each and a column guide, and the demo."""

from importlib.resources import files
from pathlib import Path

from pdm_alloc.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.tables.guide import column_guide, example_row
from pdm_alloc.tables.row import cell_of, columns_of
from pdm_alloc.tables.settings_row import SettingsRow
from pdm_alloc.tables.vehicle_rows import VEHICLE_ROWS, PlaceRow
from pdm_alloc.tables.whole import write_new
from pdm_alloc.tables.write import csv_text

__all__ = ["new_catalogue", "new_demo", "new_tables"]

_STATES = """An operating state a column: how long each command is on in it.

The first column is `command`; every command of the loads has a row. Every other column is a state, and its cells are
duties: 0 to 1, or per cent with the sign (`50 %`); empty is 0. Without this table there is one state, everything on at
reference_v."""
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
    guide = column_guide("Column guide", models, {"states.csv": _STATES})
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
    guide = column_guide("Column guide of a catalogue", models, {}, first="modules.csv` and `channels.csv")
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
