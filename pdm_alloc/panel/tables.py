"""The tables of a vehicle and of its catalogue in the panel: texts in, vehicle and catalogue out."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import partial
from threading import RLock
from typing import Any

from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.cells import Exact
from pdm_alloc.files.faults import Fault, Faults, InputError
from pdm_alloc.files.grids import Grid
from pdm_alloc.files.plain import Plain, catalogue_plain, headers, vehicle_plain
from pdm_alloc.files.rows import Memory
from pdm_alloc.files.rows import Row as TableRow
from pdm_alloc.files.save_back import in_order
from pdm_alloc.files.sources import Source, number_columns
from pdm_alloc.files.tables.catalogue_rows import CATALOGUE_ROWS
from pdm_alloc.files.tables.read_catalogue import catalogue_of
from pdm_alloc.files.tables.read_vehicle import vehicle_of
from pdm_alloc.files.tables.settings_rows import SettingRow
from pdm_alloc.files.tables.vehicle_rows import VEHICLE_ROWS
from pdm_alloc.panel.markup import Column, columns_for, plural, state_columns
from pdm_alloc.panel.screen import Tabs
from pdm_alloc.panel.sheet import Sheet, sheet_of
from pdm_alloc.panel.table_grid import Book, Sheets, TableGrid, brought_along

__all__ = ["SHOWN", "Tables"]

Texts = Mapping[str, str]

_MODELS: dict[str, type[TableRow]] = {**VEHICLE_ROWS, "settings": SettingRow}

SHOWN = (
    *("loads", "commands", "inputs", "states", "supply", "places", "routes", "signals", "messages", "locked"),
    *("modules", "channels", "banks", "control_units", "signal_pins", "keypads"),
)

"""Tables with a tab of their own, in order."""


class Tables:
    """Every table of a vehicle and its catalogue; those that are edited in the panel have a tab each.

    Parameters
    ----------
    name : str
        Of the vehicle, where its settings give it none.
    tables : dict of str to list of dict
        Tables of the vehicle as texts, rows in the order shown; those of the catalogue may be among them.
    catalogue : Catalogue
        Modules to choose from.

    Attributes
    ----------
    grids : dict of str to TableGrid
        Editable tables by name.
    tabs : Tabs
        A tab for each.
    catalogue_faults : tuple of Fault
        Why the catalogue as it stands in its tables cannot be used; the last good one counts until then.
    """

    def __init__(self, name: str, tables: Plain, catalogue: Catalogue):
        self._name, self._catalogue = name, catalogue
        self._book = Book(brought_along, self._look, self._stepped)
        self._heard: list[Callable[[str], None]] = []
        self._watching: list[Callable[[], None]] = []
        self.catalogue_faults: tuple[Fault, ...] = ()
        self.grids: dict[str, TableGrid] = {}
        self.tabs = Tabs("tables of the vehicle")
        self._outcome: Vehicle | InputError | None = None
        self._memory = Memory()
        self._on_disk: Sheets = {}
        full = {**catalogue_plain(catalogue), **tables}
        for table in dict.fromkeys((*SHOWN, *_MODELS, *CATALOGUE_ROWS)):
            self._open(table, full.get(table, []))
        self._book.begin({})
        self.saved()

    def _open(self, table: str, rows: list[dict[str, str]]) -> None:
        columns = _columns(table, rows)
        if table not in SHOWN:
            self._book.add(table, sheet_of(rows, columns))
            return
        grid = self.grids[table] = TableGrid(rows, columns, table, self._book)
        self.tabs.add(_title(table), grid)

    @property
    def lock(self) -> "RLock":
        """Held while a step is taken, and by whoever reads tables meanwhile."""
        return self._book.lock

    @property
    def loads(self) -> TableGrid:
        """The editable table of loads."""
        return self.grids["loads"]

    def texts(self, table: str) -> tuple[Texts, ...]:
        """Texts of the rows of a table that count, in its order; empty where there is no such table."""
        sheet = self._book.sheets.get(table)
        return sheet.complete if sheet else ()

    def put(self, table: str, rows: Iterable[Texts]) -> None:
        """Put other rows in place of those of a table that count, as one step that undo takes back.

        Parameters
        ----------
        table : str
            Name of the table; KeyError where there is none.
        rows : iterable of mapping
            Texts, column to text. A row of the same name as before is the same row.
        """
        self.put_all({table: rows})

    def put_all(self, changes: Mapping[str, Iterable[Texts]]) -> None:
        """Put other rows into several tables that belong together, as one step; each as `put`."""
        with self._book.lock:
            sheets = {table: _put(table, self._book.sheets[table], rows) for table, rows in changes.items()}
            self._book.then(next(iter(changes)), sheets, "changed")

    def take(self, vehicle: Vehicle) -> None:
        """Put the tables of another vehicle in place of these, as one step; rows known here keep their order."""
        plain = in_order(vehicle_plain(vehicle), self.orders)
        self.put_all({table: plain.get(table, []) for table in (*_MODELS, "states")})

    def undo(self) -> None:
        """Take the last step back, in whatever tables it was."""
        with self._book.lock:
            self._book.undo("")

    def begin(self, tables: Plain, catalogue: Catalogue | None = None, drafts: Mapping[str, Any] | None = None) -> None:
        """Begin with other tables, and refused texts by table; nothing before it can be undone."""
        drafts = drafts or {}
        rest = catalogue_plain(catalogue) if catalogue else {}
        full = {**dict.fromkeys((*_MODELS, *(CATALOGUE_ROWS if catalogue else ())), ()), "states": (), **rest, **tables}
        with self._book.lock:
            sheets = {table: self._fresh(table, list(rows), drafts.get(table, ())) for table, rows in full.items()}
            self._catalogue = catalogue or self._catalogue
            self._book.begin(sheets)
            self.saved()

    def _fresh(self, table: str, rows: list[dict[str, str]], drafts: Iterable[tuple[int, str, str]]) -> Sheet:
        old = self._book.sheets[table]
        return sheet_of(rows, _columns(table, rows) if table == "states" else old.columns, old.next_key).drafted(drafts)

    def restore(self, draft: Mapping[str, Any]) -> None:
        """Begin with a `draft` in place of the tables it holds."""
        known = {table: rows for table, rows in draft["tables"].items() if table in self._book.sheets}
        disk = dict(self._on_disk)
        with self._book.lock:
            drafts = draft["drafts"]
            self._book.begin({table: self._fresh(table, rows, drafts.get(table, ())) for table, rows in known.items()})
            self._on_disk = disk

    def observe(self, heard: Callable[[str], None]) -> None:
        """Have `heard` called with the name of a table whenever texts of it have changed."""
        self._heard.append(heard)

    def watch(self, seen: Callable[[], None]) -> None:
        """Have `seen` called after every step, also one that leaves every good text as it was."""
        self._watching.append(seen)

    def saved(self) -> None:
        """Take the tables as they stand for those that are on disk."""
        self._on_disk = self._book.sheets

    @property
    def changed(self) -> dict[str, Sheet]:
        """Tables that are not as on disk."""
        return {t: s for t, s in self._book.sheets.items() if _values(s) != _values(self._on_disk[t]) or s.drafts}

    @property
    def draft(self) -> dict[str, Any]:
        """What is not on disk, as plain values: rows and refused texts of changed tables."""
        sheets = self.changed
        rows = {table: [dict(row.values) for row in sheet.rows] for table, sheet in sheets.items()}
        return {"tables": rows, "drafts": {table: sheet.drafts for table, sheet in sheets.items()}}

    @property
    def sheets(self) -> tuple[Sheet, ...]:
        """Every table."""
        return tuple(self._book.sheets.values())

    @property
    def orders(self) -> Plain:
        """Rows of every table in their order."""
        return {table: [row.values for row in sheet.rows] for table, sheet in self._book.sheets.items()}

    @property
    def mounts(self) -> list[str]:
        """Places where a module can be mounted."""
        return [row["place"] for row in self.texts("places") if row["mount"] == "yes"]

    @property
    def left_out(self) -> str:
        """What is in the tables and would not be in the files, in words; empty where all would be."""
        sheets = self.sheets
        rows = sum(len(sheet.rows) - len(sheet.numbered) for sheet in sheets)
        cells = sum(len(row.drafts) for s in sheets for row in s.rows if not row.missing(s.columns))
        left = [plural(n, word) for n, word in ((rows, "unfilled row"), (cells, "refused cell")) if n]
        return f" Not saved: {', '.join(left)}." if left else ""

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle as it stands in the tables.

        Raises
        ------
        InputError
            With every fault, by the row numbers shown; each is shown at its cell, too.
        """
        outcome = self._judge()
        if isinstance(outcome, InputError):
            raise outcome
        return outcome

    @property
    def catalogue(self) -> Catalogue:
        """The catalogue as it stands in the tables; the last good one where they contradict themselves."""
        self._judge()
        return self._catalogue

    def _judge(self) -> Vehicle | InputError:
        with self._book.lock:
            if self._outcome is None:
                self._outcome = self._read(
                    self._name, partial(vehicle_of, memory=self._memory), _MODELS.keys() | {"states"}
                )
                faults = self._outcome.faults if isinstance(self._outcome, InputError) else ()
                self._point((*faults, *self.catalogue_faults))
            return self._outcome

    def _read_catalogue(self) -> None:
        outcome = self._read(self._catalogue.name, catalogue_of, CATALOGUE_ROWS.keys())
        self.catalogue_faults = outcome.faults if isinstance(outcome, InputError) else ()
        self._catalogue = self._catalogue if isinstance(outcome, InputError) else outcome

    def _read(self, name: str, build: Callable[[Source, Faults], Any], tables: Iterable[str]) -> Any:
        grids = {table: self._grid(table, self._book.sheets[table]) for table in tables}
        try:
            return build(Source(name, {table: grid for table, grid in grids.items() if grid.rows}), Faults())
        except InputError as error:
            return error

    def _grid(self, table: str, sheet: Sheet) -> Grid:
        """Of one sheet always the same grid, so that nothing of it is read twice; of one row the same cells."""
        return self._memory.once(("grid", table), partial(_grid, table, sheet, self._memory), sheet)

    def _point(self, faults: tuple[Fault, ...]) -> None:
        """Show faults at their cells and count them on the tabs."""
        for table, grid in self.grids.items():
            sheet = self._book.sheets[table]
            grid.faults = [_pointed(fault, sheet) for fault in faults if fault.table == table]
        self._count()

    def _count(self) -> None:
        refused = Counter({t: sum(len(row.drafts) for row in s.rows) for t, s in self._book.sheets.items()})
        refused.update({table: len(grid.faults) for table, grid in self.grids.items()})
        self.tabs.count({_title(table): number for table, number in refused.items()})

    def _look(self, tables: list[str]) -> None:
        shown = [table for table in SHOWN if table in tables]
        if shown and self.tabs.chosen not in map(_title, shown):
            self.tabs.choose(_title(shown[0]))

    def _stepped(self, before: Sheets, after: Sheets) -> None:
        differing = [t for t, sheet in after.items() if t in before and sheet is not before[t]]
        changed = [t for t in differing if _values(after[t]) != _values(before[t])]
        if changed:
            self._outcome = None
        if any(table in CATALOGUE_ROWS for table in changed):
            self._read_catalogue()
        self._count()
        for table in changed:
            for heard in self._heard:
                heard(table)
        for seen in self._watching:
            seen()


def _title(table: str) -> str:
    return table.capitalize().replace("_", " ")


def _columns(table: str, rows: list[dict[str, str]]) -> tuple[Column, ...]:
    if table == "states":
        return state_columns(name for name in headers(rows) if name != "command")
    model = _MODELS.get(table) or CATALOGUE_ROWS[table]
    return columns_for(model, headers(rows))


def _put(table: str, sheet: Sheet, rows: Iterable[Texts]) -> Sheet:
    rows = list(rows)
    if table == "states" and rows and headers(rows) != [column.key for column in sheet.columns]:
        sheet = replace(sheet, columns=state_columns(name for name in headers(rows) if name != "command"))
    waiting = [row.values for row in sheet.rows if row.missing(sheet.columns)]
    return sheet.with_texts([*rows, *waiting])


def _values(sheet: Sheet) -> tuple[object, ...]:
    return tuple(row.values for row in sheet.rows), tuple(column.key for column in sheet.columns)


def _grid(table: str, sheet: Sheet, memory: Memory) -> Grid:
    """Rows that count, numbered as shown; a number is exact, whatever marks it has."""
    numbers = number_columns(table)
    keys = [column.key for column in sheet.columns]
    exact = [key in numbers or (table == "states" and key != "command") for key in keys]
    kinds = memory.same(("kinds", table), tuple(zip(keys, exact, strict=True)))
    rows = [(n, memory.once(("cells", table, n), partial(_cells, row, kinds), row, kinds)) for n, row in sheet.numbered]
    return Grid(table, 1, keys, rows)


def _cells(row: Texts, kinds: Iterable[tuple[str, bool]]) -> list[str]:
    return [Exact(row[key]) if is_exact else row[key] for key, is_exact in kinds]


def _pointed(fault: Fault, sheet: Sheet) -> dict[str, Any]:
    at = fault.row is not None and 1 <= fault.row <= len(sheet.rows)
    column = fault.column if at and fault.column in {c.key for c in sheet.columns} else ""
    text = str(replace(fault, table="", row=None, column=None)).removeprefix(": ")
    return {"key": sheet.rows[fault.row - 1].key if at and fault.row else None, "column": column, "text": text}
