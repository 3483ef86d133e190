"""An edited vehicle saved into the files it came from, with its catalogue where that was edited too."""

import csv
import io
import json
import os
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pdm_alloc.files.atomic import replace_files
from pdm_alloc.files.cells import plain_header
from pdm_alloc.files.faults import Faults, InputError
from pdm_alloc.files.grids import Grid, csv_line, decimal_commas, marked, read_text, records, split_directive
from pdm_alloc.files.plain import Plain, headers
from pdm_alloc.files.rows import columns_of
from pdm_alloc.files.sources import digest, number_columns, open_source, table_files
from pdm_alloc.files.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.files.tables.read_catalogue import CATALOGUE_COLUMNS
from pdm_alloc.files.tables.read_vehicle import VEHICLE_COLUMNS
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS

__all__ = ["ChangedMeanwhile", "Edit", "in_file_order", "in_order", "save_back", "save_together"]

_COLUMNS = {**VEHICLE_COLUMNS, **CATALOGUE_COLUMNS}
_ROWS = {**VEHICLE_ROWS, **CATALOGUE_ROWS}
_KEYS = {"states": ("command",), "settings": ("setting",), "routes": ("from", "to")}
Texts = Mapping[str, str]


class ChangedMeanwhile(InputError):
    """Files on disk are not those that were read."""


def in_file_order(path: str | Path, tables: Plain) -> Plain:
    """Rows of tables in the order in which they stand in the files; rows that are in none come last."""
    grids = open_source(path, _known(tables), Faults()).grids
    return {name: _ordered(name, rows, grids.get(name)) for name, rows in tables.items()}


def _known(tables: Plain) -> dict[str, tuple[str, ...]]:
    if "loads" not in tables:
        return CATALOGUE_COLUMNS
    return _COLUMNS if "modules" in tables else VEHICLE_COLUMNS


def in_order(tables: Plain, orders: Plain) -> Plain:
    """Tables with their rows in the order of others; rows that are not there come last, as they stand."""
    return {table: _sorted(table, rows, orders.get(table, [])) for table, rows in tables.items()}


def _sorted(table: str, rows: list[dict[str, str]], order: Iterable[Texts]) -> list[dict[str, str]]:
    keys = _keys(table, rows)
    place = {_key(_bare(table, row), keys): n for n, row in enumerate(order)}
    return sorted(rows, key=lambda row: place.get(_key(_bare(table, row), keys), len(place)))


def _bare(table: str, row: Texts) -> Texts:
    """A row with nothing where it says what an empty cell means, as files have it; tables that are edited say it."""
    model = _ROWS.get(table)
    meant = {name: info.default for name, info in columns_of(model).items()} if model else {}
    return {name: "" if text and text == meant.get(name) else text for name, text in row.items()}


def _ordered(table: str, rows: list[dict[str, str]], grid: Grid | None) -> list[dict[str, str]]:
    return rows if grid is None else _sorted(table, rows, _lines(grid))


def _keys(table: str, rows: Iterable[Texts]) -> tuple[str, ...]:
    """Columns that tell rows of a table apart; all of them where no column does."""
    model = _ROWS.get(table)
    return _KEYS.get(table) or (model.key if model else ()) or tuple(headers(rows))


def _key(row: Texts, keys: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(" ".join(row.get(key, "").split()).casefold() for key in keys)


def _names(grid: Grid) -> list[str]:
    return [name if grid.table == "states" and n else plain_header(name) for n, name in enumerate(grid.header)]


def _lines(grid: Grid) -> Iterator[dict[str, str]]:
    for _, cells in grid.rows:
        yield dict(zip(_names(grid), cells, strict=False))


@dataclass(frozen=True)
class _Line:
    """A row of a table as it is to stand: number of the row it was, None for a new one; cells to put, by column."""

    number: int | None
    cells: dict[str, str]


def _merged(grid: Grid, before: list[dict[str, str]], after: list[dict[str, str]]) -> list[_Line]:
    """Rows of a file after an edit: those unchanged as they were, changed cells alone in those changed."""
    keys = _keys(grid.table, [*before, *after])
    was = {_key(row, keys): row for row in before}
    there = {_key(line, keys): number for (number, _), line in zip(grid.rows, _lines(grid), strict=True)}
    _refuse_runs(grid, {key: row for key, row in was.items() if key not in there}, {_key(r, keys): r for r in after})
    lines = []
    for row in after:
        old = was.get(_key(row, keys), {})
        cells = {name: row.get(name, "") for name in {**old, **row} if row.get(name, "") != old.get(name, "")}
        number = there.get(_key(row, keys))
        if number is not None or cells:  # what was nowhere on disk and has not changed is a default
            lines.append(_Line(number, cells if number is not None else {**row}))
    for number in (number for key, number in there.items() if key not in was):  # such as the vehicle's name
        later = (n for n, line in enumerate(lines) if line.number is not None and line.number > number)
        lines.insert(next(later, len(lines)), _Line(number, {}))
    return lines


def _refuse_runs(grid: Grid, before: Mapping[Any, Texts], after: Mapping[Any, Texts]) -> None:
    """A channel that the file names only as one of a run cannot be changed by itself."""
    changed = [key for key, row in before.items() if after.get(key) != row] if grid.table == "channels" else []
    if changed:
        message, remedy = "is one of a run in the file, as 1-12", "write the run out there, one row per channel"
        raise InputError.of("channels", None, "channel", " ".join(changed[0]), message, remedy)


def save_back(path: str | Path, before: Plain, after: Plain, expected: str) -> list[str]:
    """Save an edited vehicle into the files it came from, whole or not at all.

    Parameters
    ----------
    path : str or Path
        Folder or workbook.
    before, after : dict of str to list of dict
        Tables as they were read and as they are to be, as `vehicle_plain` gives them.
    expected : str
        `digest` of the files when they were read.

    Returns
    -------
    list of str
        Tables written. Of the others not a byte changes; of these, rows that are the same keep their spelling, remarks,
        order and further columns. A workbook keeps formats and remarks; charts and pictures in it are lost.

    Raises
    ------
    ChangedMeanwhile
        The files are no longer those that were read; nothing is written.
    WriteError
        They cannot be written; nothing has changed.
    """
    return save_together([Edit(Path(path), before, after, expected)])


@dataclass(frozen=True)
class Edit:
    """Tables of one folder or workbook; as `save_back` takes them."""

    path: Path
    before: Plain
    after: Plain
    expected: str

    @property
    def changed(self) -> list[str]:
        """Tables that are to be written."""
        return [n for n in {**self.before, **self.after} if self.before.get(n, []) != self.after.get(n, [])]

    def files(self) -> dict[Path, bytes]:
        """Content of each file that changes."""
        place, before, after = self.path, self.before, self.after
        grids = open_source(place, _known({**before, **after}), Faults()).grids
        news = {n: _merged(grids.get(n) or Grid(n), before.get(n, []), after.get(n, [])) for n in self.changed}
        if not place.is_dir():
            return {place: _workbook(place, grids, news)}
        return dict(_file_of(place, n, grids.get(n), lines, after.get(n, [])) for n, lines in news.items())


def save_together(edits: Iterable[Edit]) -> list[str]:
    """Save tables of several folders or workbooks, all or none; the tables written. Raises as `save_back`.

    The journal lies in the first folder: whoever reads that next finishes what a killed writer left.
    """
    edits = [replace(edit, path=edit.path.resolve()) for edit in _joined(edits) if edit.changed]
    if not edits:
        return []
    home, *others = dict.fromkeys(edit.path if edit.path.is_dir() else edit.path.parent for edit in edits)
    files = {os.path.relpath(file, home): content for edit in edits for file, content in edit.files().items()}
    replace_files(home, files, lambda: _refuse_changed(edits), others)
    return [table for edit in edits for table in edit.changed]


def _joined(edits: Iterable[Edit]) -> Iterable[Edit]:
    """One edit for each path: a workbook may hold vehicle and catalogue."""
    by_path: dict[Path, Edit] = {}
    for edit in edits:
        first = by_path.get(edit.path, edit)
        by_path[edit.path] = Edit(
            edit.path, {**first.before, **edit.before}, {**first.after, **edit.after}, edit.expected
        )
    return by_path.values()


def _refuse_changed(edits: Iterable[Edit]) -> None:
    """Raise ChangedMeanwhile where the `digest` of files is not the one expected."""
    message = "was changed on disk since it was opened; nothing is saved"
    remedy = "open it again, or save anyway to put what you changed into the file as it now is"
    for edit in edits:
        if digest(edit.path) != edit.expected:
            raise ChangedMeanwhile.of(edit.path.name, None, None, None, message, remedy)


def _file_of(at: Path, table: str, grid: Grid | None, lines: list[_Line], rows: Iterable[Texts]) -> tuple[Path, bytes]:
    files = {plain_header(file.stem): file for file in table_files(at)}
    if table == "settings" and (table not in files or files[table].suffix.lower() == ".toml"):
        file = files.get(table, at / "settings.toml")
        return file, _toml(file.read_bytes() if file.exists() else b"", lines)
    if grid is None or table not in files:
        columns = headers(rows)
        return at / f"{table}.csv", "".join(map(csv_line, [columns, *_texts(rows, columns)])).encode("utf-8-sig")
    return files[table], _csv(files[table], grid, lines)


def _texts(rows: Iterable[Texts], columns: list[str]) -> Iterator[list[str]]:
    return ([row.get(column, "") for column in columns] for row in rows)


def _toml(content: bytes, lines: list[_Line]) -> bytes:
    """Settings with the values of some replaced where they stand, remarks behind them kept; new ones at the end."""
    text = content.decode("utf-8-sig")
    for line in (line for line in lines if "value" in line.cells):
        name, value = line.cells.get("setting", ""), line.cells["value"]
        written = value if re.fullmatch(r"-?\d+(\.\d+)?", value) else json.dumps(value, ensure_ascii=False)
        pattern = re.compile(rf"^(\s*{re.escape(name)}\s*=\s*)(\"[^\"]*\"|'[^']*'|[^\s#]+)", re.MULTILINE)
        text, times = pattern.subn(r"\g<1>" + written.replace("\\", r"\\"), text, count=1)
        text = text if times else f"{text.rstrip()}\n{name} = {written}\n".lstrip()
    return text.encode()


def _csv(file: Path, grid: Grid, lines: list[_Line]) -> bytes:
    data = file.read_bytes()
    text = read_text(file, grid.table, Faults()) or ""
    body, separator = split_directive(text, _COLUMNS[grid.table])
    pieces = list(records(body, separator))
    columns = [*_names(grid), *_further(grid, lines)]
    writer = _Writer(separator, columns, decimal_commas(separator, body), number_columns(grid.table), grid.table)
    out = "".join(_put_lines(grid, pieces, lines, writer))
    whole = text[: len(text) - len(body)] + out
    mark = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig" if data[:3] == b"\xef\xbb\xbf" else ""
    ends = "\r\n" if b"\r\n" in data else "\n"
    return whole.replace("\n", ends).encode(mark or "utf-8")


def _further(grid: Grid, lines: list[_Line]) -> list[str]:
    names = _names(grid)
    return [name for name in headers([line.cells for line in lines]) if name not in names
            and any(line.cells.get(name) for line in lines)]  # fmt: skip


@dataclass(frozen=True)
class _Writer:
    separator: str
    columns: list[str]
    commas: bool
    numbers: frozenset[str]
    table: str

    def line(self, cells: list[str]) -> str:
        out = io.StringIO()
        csv.writer(out, delimiter=self.separator, lineterminator="\n").writerow(cells)
        return out.getvalue()

    def cell(self, column: str, text: str) -> str:
        number = column in self.numbers or (self.table == "states" and column != "command")
        return text.replace(".", ",") if number and self.commas else text if number else marked(text)

    def put(self, cells: list[str], line: _Line) -> str:
        full = [*cells, *[""] * (len(self.columns) - len(cells))]
        pairs = zip(self.columns, full, strict=False)
        return self.line([self.cell(c, line.cells[c]) if c in line.cells else text for c, text in pairs])


def _put_lines(grid: Grid, pieces: list[tuple[str, list[str]]], lines: list[_Line], writer: _Writer) -> Iterator[str]:
    """Text of the table: each kept row with the remarks above it; remarks above rows that are gone go with them."""
    wider, numbers = len(writer.columns) > len(grid.header), [number for number, _ in grid.rows]
    above = dict(zip(numbers, [grid.header_row, *numbers], strict=False))
    yield from (raw for raw, _ in pieces[: grid.header_row - 1])
    raw, head = pieces[grid.header_row - 1]
    yield writer.line([*head[: len(grid.header)], *writer.columns[len(grid.header) :]]) if wider else _ended(raw)
    for line in lines:
        if line.number is None:
            yield writer.put([], line)
            continue
        yield from (_ended(raw) for raw, _ in pieces[above[line.number] : line.number - 1])
        raw, cells = pieces[line.number - 1]
        yield writer.put(cells, line) if line.cells or wider else _ended(raw)
    yield from (_ended(raw) for raw, _ in pieces[numbers[-1] if numbers else grid.header_row :])


def _ended(raw: str) -> str:
    return raw if raw.endswith("\n") else raw + "\n"


def _workbook(place: Path, grids: Mapping[str, Grid], news: Mapping[str, list[_Line]]) -> bytes:
    from openpyxl import load_workbook

    book = load_workbook(place)
    for table, lines in news.items():
        sheet = next((s for s in book.worksheets if plain_header(s.title) == table), None)
        grid = grids.get(table)
        if sheet is None or grid is None:
            sheet, grid = book.create_sheet(table), Grid(table, 1, headers([line.cells for line in lines]))
            _put_cells(sheet, 1, grid.header, dict(zip(grid.header, grid.header, strict=True)), frozenset())
        _put_rows(sheet, grid, lines)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _put_rows(sheet: Any, grid: Grid, lines: list[_Line]) -> None:
    columns = [*_names(grid), *_further(grid, lines)]
    for n, name in enumerate(columns[len(grid.header) :], len(grid.header) + 1):
        sheet.cell(grid.header_row, n, name)
    stay = {line.number for line in lines}
    rows = [number for number, _ in grid.rows]
    shift, last = 0, grid.header_row
    moved = {}
    for number in rows:
        if number in stay:
            moved[number] = number - shift
        else:
            sheet.delete_rows(number - shift)
            shift += 1
    extra = 0
    numbers = number_columns(grid.table) or frozenset(columns[1:] if grid.table == "states" else ())
    for line in lines:
        if line.number is None:
            sheet.insert_rows(last + 1)
            extra, last = extra + 1, last + 1
        else:
            last = moved[line.number] + extra
        _put_cells(sheet, last, columns, line.cells, numbers)


def _put_cells(sheet: Any, row: int, columns: list[str], cells: Texts, numbers: frozenset[str]) -> None:
    for n, name in enumerate(columns, 1):
        if name in cells:
            cell, text = sheet.cell(row, n), cells[name]
            cell.value = None if text == "" else float(text) if name in numbers else text
            if cell.data_type == "f":
                cell.data_type = "s"  # text stays text, also where it begins like a formula
