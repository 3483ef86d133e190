"""A vehicle written as tables that read back to the same vehicle: a folder of CSV files, or a workbook."""

import io
from pathlib import Path
from typing import TYPE_CHECKING

from pdm_alloc.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.tables.cell import Number
from pdm_alloc.tables.csv_cell import csv_line
from pdm_alloc.tables.plain import Plain, catalogue_plain, headers, vehicle_plain
from pdm_alloc.tables.row import cell_of, columns_of
from pdm_alloc.tables.vehicle_rows import VEHICLE_ROWS
from pdm_alloc.tables.whole import write_file, write_new
from pdm_alloc.vehicle import Vehicle

if TYPE_CHECKING:
    from pandas import DataFrame

    from pdm_alloc.module import Catalogue

__all__ = ["catalogue_tables", "csv_text", "vehicle_tables", "write_catalogue", "write_tables", "write_vehicle"]


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


def _frames(tables: Plain):
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


def _is_number(table, column) -> bool:
    """Whether a spreadsheet may count with the cells of a column."""
    if table == "states":
        return column != "command"
    model = VEHICLE_ROWS.get(table) or CATALOGUE_ROWS.get(table)
    info = columns_of(model).get(column) if model else None
    return info is not None and isinstance(cell_of(info), Number)


def _cell(sheet, text, number=False):
    from openpyxl.cell import WriteOnlyCell

    if text == "":
        return None
    cell = WriteOnlyCell(sheet, value=float(text) if number else text)
    # Text stays text, also where it begins like a formula.
    cell.data_type = "n" if number else "s"
    return cell
