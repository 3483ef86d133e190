"""Settings from ``settings.toml`` or from a table of settings and values."""

import re
import tomllib
from pathlib import Path

from pdm_alloc.files.cells import Number, Odd
from pdm_alloc.files.csv_file import read_text
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.rows import NumberCell, cell_of, columns_of, read_lines, settle, validated
from pdm_alloc.files.sources import Source
from pdm_alloc.files.tables.settings_rows import SettingRow, SettingsRow

__all__ = ["read_settings"]

_TABLE = "settings"
_MOST_BYTES = 100_000

_LINE = re.compile(r"\(at line (\d+)|\(at end of document\)")


def read_settings(source: Source, faults: Faults) -> tuple[SettingsRow, dict[str, int | None]]:
    """Settings of a vehicle, defaults filled in.

    Parameters
    ----------
    source : Source
        With a settings file, a settings table, or neither.
    faults : Faults
        Where faults are noted.

    Returns
    -------
    SettingsRow
        None in a setting at fault.
    dict of str to int
        Row of each setting given.
    """
    if source.toml is not None and _TABLE in source.grids:
        faults.add(_TABLE, None, None, None, "is there both as settings.toml and as a table", "delete one of the two")
    given = _from_toml(source.toml, faults) if source.toml else _from_table(source, faults)
    known = columns_of(SettingsRow)
    for key, (row, _) in given.items():
        if key not in known and not key.startswith("x_"):
            faults.unknown(_TABLE, row, None, key, known, "is not a setting known here")
    rows = {key: row for key, (row, _) in given.items() if key in known}
    collected = Faults()
    settings = validated(SettingsRow, {key: given[key][1] for key in rows}, _TABLE, None, collected)
    for fault in collected.all():
        faults.add(_TABLE, rows.get(fault.column or ""), fault.column, fault.value, fault.message, fault.remedy)
    return settings, rows


def _from_table(source, faults) -> dict[str, tuple[int | None, str]]:
    lines = read_lines(source.grids.get(_TABLE), SettingRow, faults)
    given = {
        line.values.setting.casefold(): (line.number, line.values.value)
        for line in lines
        if line.values.setting is not None and line.values.value is not None
    }
    return {**given, **_settled(given, faults)}


def _settled(given, faults) -> dict[str, tuple[int | None, str]]:
    columns = columns_of(SettingsRow)
    kinds = {key: kind for key in given if key in columns and isinstance(kind := cell_of(columns[key]), Number)}
    cells = [NumberCell(given[key][0], key, kind, given[key][1]) for key, kind in kinds.items()]
    settle(_TABLE, cells, faults)
    return {cell.column: (cell.row, cell.text) for cell in cells}


def _from_toml(path: Path, faults) -> dict[str, tuple[int | None, str]]:
    text = read_text(path, _TABLE, faults, _MOST_BYTES)
    if text is None:
        return {}
    try:
        values = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        message, remedy = (
            f"is not TOML ({_plain(error)})",
            "write lines such as headroom_pct = 12.5, with a decimal point",
        )
        faults.add(_TABLE, _line_of(error, text), None, None, message, remedy)
        return {}
    return {key: (_row_of(key, text), _as_text(key, value)) for key, value in values.items()}


def _plain(error):
    return "nested too deeply" if isinstance(error, RecursionError) else str(error).split(" (at ")[0]


def _line_of(error, text):
    match = _LINE.search(str(error))
    if match is None:
        return None
    return int(match[1]) if match[1] else text.count("\n") + 1


def _row_of(key, text):
    match = re.search(rf"^[ \t]*[\"']?{re.escape(key)}[\"']?[ \t]*[=.]", text, re.MULTILINE)
    return text[: match.start()].count("\n") + 1 if match else None


def _as_text(key, value) -> str:
    """A TOML value as the text of a cell; what no setting can be keeps its own trouble."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        shown = str(value).lower() if isinstance(value, bool) else f"({type(value).__name__})"
        return Odd(
            shown,
            "is neither a number nor a word",
            "write a number, or a word in quotation marks",
        )
    info = columns_of(SettingsRow).get(key)
    if isinstance(value, str) and info is not None and isinstance(cell_of(info), Number):
        return Odd(value, "is text, not a number", f"write {key} = 12.5 without quotation marks")
    return value if isinstance(value, str) else repr(value)
