"""Texts of the editable table: what the clipboard brings, and names that are free."""

import csv
import io
import re
from collections.abc import Container

from pdm_alloc.panel.grid_cells import Column

__all__ = ["free_name", "heading", "read_clipboard"]


def read_clipboard(text: str) -> list[list[str]]:
    """Rows of cells from tab-separated text with quoted cells, as spreadsheets copy it.

    Parameters
    ----------
    text : str
        Cells divided by tabs, rows by line ends of any kind; a cell with a tab, a line end or a quote in it
        is quoted, quotes inside doubled.

    Returns
    -------
    list of list of str
        One list a row; a last empty line is no row.
    """
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter="\t", strict=True))
    except csv.Error:
        # A text that merely begins with a quote is no quoted cell: take it as it stands.
        rows = [line.split("\t") for line in text.splitlines()]
    return [row or [""] for row in _without_last_blank(rows)]


def _without_last_blank(rows: list[list[str]]) -> list[list[str]]:
    while rows and not any(rows[-1]):
        rows = rows[:-1]
    return rows


def heading(row: list[str], columns: tuple[Column, ...]) -> list[str | None] | None:
    """Which column each cell of a heading line names.

    Parameters
    ----------
    row : list of str
        First line of what was pasted.
    columns : tuple of Column
        Columns of the table.

    Returns
    -------
    list of str or None, or None
        Column keys, None for a cell that names no column; None if the line is no heading: fewer than two of
        its cells, or fewer than half, name a column.
    """
    known = {name.casefold(): column.key for column in columns for name in (column.key, column.title)}
    keys = [known.get(cell.strip().casefold()) for cell in row]
    found = len(keys) - keys.count(None)
    return keys if found >= 2 and found * 2 >= len(keys) else None


def free_name(name: str, taken: Container) -> str:
    """The first of "name 2", "name 3", ... that is not taken; a number at the end of the name counts on.

    Parameters
    ----------
    name : str
        Name of what is copied.
    taken : container
        Names in use.

    Returns
    -------
    str
        A name that is not in use.
    """
    stem, number = _split(name)
    while f"{stem} {number}" in taken:
        number += 1
    return f"{stem} {number}"


def _split(name: str) -> tuple[str, int]:
    match = re.fullmatch(r"(.*\D) (\d{1,6})", name, re.ASCII)
    return (match[1], int(match[2]) + 1) if match else (name, 2)
