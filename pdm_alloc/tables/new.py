"""Blank tables to start a vehicle from: one example row each, and a column guide."""

from pathlib import Path

from pdm_alloc.tables.guide import column_guide, example_row
from pdm_alloc.tables.row import cell_of, columns_of
from pdm_alloc.tables.settings_row import SettingsRow
from pdm_alloc.tables.vehicle_rows import VEHICLE_ROWS, PlaceRow
from pdm_alloc.tables.whole import write_folder
from pdm_alloc.tables.write import write_csv

__all__ = ["new_tables"]

_STATES = """An operating state a column: how long each command is on in it.

The first column is `command`; every command of the loads has a row. Every other column is a state, and its cells are
duties: 0 to 1, or per cent with the sign (`50 %`); empty is 0. Without this table there is one state, everything on at
reference_v."""


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
        There is something already, or it cannot be written. Nothing is left behind.
    """
    return write_folder(Path(folder), _fill)


def _fill(folder: Path) -> None:
    for table, rows in _examples().items():
        model = VEHICLE_ROWS.get(table)
        write_csv(folder / f"{table}.csv", list(columns_of(model) if model else rows[0]), rows)
    (folder / "settings.toml").write_text(_settings(), encoding="utf-8")
    models = {f"{table}.csv": model for table, model in VEHICLE_ROWS.items()} | {"settings.toml": SettingsRow}
    (folder / "columns.md").write_text(column_guide("Column guide", models, {"states.csv": _STATES}), encoding="utf-8")


def _examples() -> dict[str, list[dict[str, str]]]:
    rows = {table: [example_row(model)] for table, model in VEHICLE_ROWS.items()}
    rows["states"] = [{"command": "ignition", "running": "1"}]
    # A route has two ends; the second place is the load's.
    rows["places"].append(
        {**example_row(PlaceRow), "place": "tank", "x_m": "-0.8", "y_m": "0", "compartment": "boot", "mount": "no"}
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
