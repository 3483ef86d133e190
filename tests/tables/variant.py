"""One set of tables written as spreadsheets of different locales, and different programs, export them."""

import csv
import io
from dataclasses import dataclass
from pathlib import Path

import openpyxl

from pdm_alloc.files.grids import marked
from tests.tables.random_tables import is_number

__all__ = ["Variant", "write_workbook"]


@dataclass(frozen=True)
class Variant:
    """How CSV is written.

    Parameters
    ----------
    separator, decimal, line_end, encoding : str
        Of the locale.
    quoted : bool
        Every cell in quotation marks.
    blanks : bool
        Blank rows, trailing empty columns and stray spaces, some of them non-breaking.
    units : bool
        Numbers carry their column's unit where it has one.
    """

    separator: str = ","
    decimal: str = "."
    line_end: str = "\n"
    encoding: str = "utf-8"
    quoted: bool = False
    blanks: bool = False

    def write(self, tables, folder: Path) -> Path:
        """The tables as a folder."""
        folder.mkdir(parents=True)
        for table, rows in tables.items():
            (folder / f"{table}.csv").write_bytes(self._text(table, rows).encode(self.encoding))
        return folder

    def _text(self, table, rows):
        columns = list(dict.fromkeys(column for row in rows for column in row))
        body = [[self._cell(table, column, row.get(column, "")) for column in columns] for row in rows]
        out = io.StringIO()
        quoting = csv.QUOTE_ALL if self.quoted else csv.QUOTE_MINIMAL
        writer = csv.writer(out, delimiter=self.separator, lineterminator=self.line_end, quoting=quoting)
        writer.writerows(self._padded([[marked(column) for column in columns], *body]))
        return out.getvalue()

    def _cell(self, table, column, text):
        if text and is_number(table, column):
            return text.replace(".", self.decimal)
        return marked(text)

    def _padded(self, lines):
        """Headers keep their spaces too, but a free column's cells are left untouched."""
        if not self.blanks:
            return lines
        free = [column.startswith(("x_", "note")) for column in lines[0]]
        padded = [[cell if loose else f" {cell}\xa0" for cell, loose in zip(line, free, strict=True)] for line in lines]
        return [line for pair in ((line, []) for line in padded) for line in ([*pair[0], "", " "], pair[1])]


def write_workbook(tables, path: Path, typed: bool) -> Path:
    """The tables as a workbook; `typed`: numbers are numbers, otherwise every cell is text."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for table, rows in tables.items():
        sheet = book.create_sheet(table)
        columns = list(dict.fromkeys(column for row in rows for column in row))
        for at, column in enumerate(columns, 1):
            _put(sheet.cell(1, at), column, False)
            for number, row in enumerate(rows, 2):
                _put(sheet.cell(number, at), row.get(column, ""), typed and is_number(table, column))
    book.save(path)
    return path


def _put(cell, text, as_number):
    if text:
        cell.value = float(text) if as_number else text
        cell.data_type = "n" if as_number else "s"
