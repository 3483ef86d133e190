"""The tables of a vehicle in the panel: texts in, a vehicle out."""

from collections.abc import Callable, Collection, Iterable, Mapping

from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.faults import Faults
from pdm_alloc.files.grids import Grid
from pdm_alloc.files.plain import Plain, headers
from pdm_alloc.files.sources import Source
from pdm_alloc.files.tables.read_vehicle import vehicle_of
from pdm_alloc.panel.grid_cells import load_columns
from pdm_alloc.panel.load_grid import LoadGrid

__all__ = ["Tables", "fitting", "vehicle_in"]

Texts = Mapping[str, str]


class Tables:
    """Every table of a vehicle.

    Parameters
    ----------
    vehicle : Vehicle
        Its names are offered in the cells.
    tables : dict of str to list of dict
        Its tables as texts, rows in the order shown.

    Attributes
    ----------
    loads : LoadGrid
        The editable table of loads.
    """

    def __init__(self, vehicle: Vehicle, tables: Plain):
        self._name = vehicle.name
        self.loads = LoadGrid(tables.get("loads", []), load_columns(vehicle))
        self._take(tables)
        self._heard: list[Callable[[str], None]] = []
        self.loads.observe(lambda _: self._tell("loads"), "rows")

    def texts(self, table: str) -> tuple[Texts, ...]:
        """Texts of the rows of a table that count, in the order shown; empty where there is no such table."""
        return self.loads.complete if table == "loads" else self._rest.get(table, ())

    def put(self, table: str, rows: Iterable[Texts]) -> None:
        """Put other rows in place of all rows of a table, as one step that undo takes back."""
        fresh = tuple(dict(row) for row in rows)
        if table == "loads":
            self.loads.replace(fresh)
        elif fresh != self._rest.get(table, ()):
            self._rest[table] = fresh
            self._tell(table)

    def put_all(self, changes: Mapping[str, Iterable[Texts]]) -> None:
        """Put other rows into several tables that belong together; nobody hears of it before all of them are there."""
        heard, self._heard = self._heard, []
        try:
            for table, rows in changes.items():
                self.put(table, rows)
        finally:
            self._heard = heard
        for table in changes:
            self._tell(table)

    def begin(self, tables: Plain, drafts: Iterable[tuple[int, str, str]] = ()) -> None:
        """Begin with other tables; nothing before it can be undone."""
        self._take(tables)
        self.loads.begin(tables.get("loads", []), drafts)

    def observe(self, heard: Callable[[str], None]) -> None:
        """Have `heard` called with the name of a table whenever texts of it have changed."""
        self._heard.append(heard)

    @property
    def plain(self) -> Plain:
        """Texts of every table, as they stand."""
        return {"loads": list(self.texts("loads")), **{table: list(rows) for table, rows in self._rest.items()}}  # type: ignore[arg-type]

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle as it stands in the tables.

        Raises
        ------
        InputError
            With every fault, by the row numbers shown.
        """
        return vehicle_in(self._name, fitting(self.plain, self._loads), {"loads": self.loads.sheet.numbered})

    def _take(self, tables: Plain) -> None:
        self._rest = {table: tuple(rows) for table, rows in tables.items() if table != "loads"}
        self._loads = frozenset(row["load"] for row in tables.get("loads", []))

    def _tell(self, table: str) -> None:
        for heard in self._heard:
            heard(table)


def vehicle_in(name: str, tables: Plain, numbered: Mapping[str, Iterable[tuple[int, Texts]]]) -> Vehicle:
    """The vehicle in tables of text.

    Parameters
    ----------
    name : str
        Of the vehicle, where the settings give it none.
    tables : dict of str to list of dict
        Rows by table, counted from 2.
    numbered : mapping of str to iterable of (int, mapping)
        Rows of tables that have numbers of their own.

    Returns
    -------
    Vehicle

    Raises
    ------
    InputError
        With every fault of every table.
    """
    counted = {table: list(enumerate(rows, 2)) for table, rows in tables.items()}
    counted.update({table: [(n, dict(row)) for n, row in rows] for table, rows in numbered.items()})
    return vehicle_of(Source(name, {table: _grid(table, rows) for table, rows in counted.items() if rows}), Faults())


def _grid(table: str, numbered: list[tuple[int, dict[str, str]]]) -> Grid:
    columns = headers(texts for _, texts in numbered)
    return Grid(table, 1, columns, [(number, [texts.get(c, "") for c in columns]) for number, texts in numbered])


def fitting(tables: Plain, before: Collection[str] = ()) -> Plain:
    """The other tables made to fit loads that came or went.

    Parameters
    ----------
    tables : dict of str to list of dict
        Every table of a vehicle, as texts.
    before : collection of str
        Loads there were to begin with.

    Returns
    -------
    dict of str to list of dict
        A command that only a load names is on all the time in every state, the careful guess. What is locked or
        conceded for a load that is gone is gone as well.
    """
    loads = tables.get("loads", [])
    gone = set(before) - {texts["load"] for texts in loads}
    fit = dict(tables)
    for table, column in (("locked", "load"), ("concessions", "subject")):
        fit[table] = [texts for texts in tables.get(table, []) if texts.get(column) not in gone]
    for table in ("commands", "states"):
        if tables.get(table):
            fresh = _unknown(tables[table], loads)
            fit[table] = [*tables[table], *(_on_always(table, tables[table], name) for name in fresh)]
    return {table: rows for table, rows in fit.items() if rows}


def _on_always(table: str, rows: list[dict[str, str]], command: str) -> dict[str, str]:
    return {**dict.fromkeys(headers(rows), "1" if table == "states" else ""), "command": command}


def _unknown(rows: list[dict[str, str]], loads: list[dict[str, str]]) -> list[str]:
    known = {texts["command"] for texts in rows}
    return [name for name in dict.fromkeys(texts["command"] for texts in loads) if name not in known]
