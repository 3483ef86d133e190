"""Tables written the way some spreadsheet in some country saves them."""

import random
from pathlib import Path

from tests.chain.vehicles import Tables
from tests.tables.variant import Variant, write_workbook

__all__ = ["write_as_somewhere"]


def write_as_somewhere(chance: random.Random, tables: Tables, place: Path) -> Path:
    """The tables as a folder of CSV files or a workbook, in one of many forms.

    Parameters
    ----------
    chance : random.Random
        The same seed gives the same form.
    tables : dict
        Rows by table.
    place : Path
        Where to, without extension.

    Returns
    -------
    Path
        Folder or workbook.
    """
    if chance.random() < 0.25:
        return write_workbook(tables, place.with_name(f"{place.name}.xlsx"), chance.random() < 0.5)
    variant = _variant(chance)
    plain = {table: rows for table, rows in tables.items() if table != "settings"}
    folder = variant.write(plain, place)
    if "settings" in tables:
        _write_settings(chance, tables["settings"], variant, folder)
    return folder


def _variant(chance):
    decimal = chance.choice(".,")
    return Variant(
        separator=chance.choice(";\t" if decimal == "," else ",;\t"),
        decimal=decimal,
        line_end=chance.choice(("\n", "\r\n", "\r")),
        encoding=chance.choice(("utf-8", "utf-8-sig", "utf-16")),
        quoted=chance.random() < 0.3,
        blanks=chance.random() < 0.3,
    )


def _write_settings(chance, rows, variant, folder):
    """As a file of settings, or as one more table."""
    if chance.random() < 0.5:
        local = [{**row, "value": _local(row["value"], variant.decimal)} for row in rows]
        variant.write({"settings": local}, folder / "x_later")
        (folder / "x_later" / "settings.csv").rename(folder / "settings.csv")
        (folder / "x_later").rmdir()
    else:
        (folder / "settings.toml").write_text("".join(map(_toml, rows)), encoding="utf-8")


def _local(value, decimal):
    return value.replace(".", decimal) if _is_number(value) else value


def _is_number(value):
    return value.replace(".", "", 1).isdigit()


def _toml(row):
    value = row["value"]
    if row["setting"] in ("name", "battery_place") or not _is_number(value):
        value = '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return f"{row['setting']} = {value}\n"
