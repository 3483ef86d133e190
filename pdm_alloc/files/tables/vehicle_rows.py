"""The tables of a vehicle: a row model each, and all its rows before they are a vehicle."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Annotated, Any, ClassVar, cast

from pdm_alloc.domain.concession_options import KINDS as CONCESSION_KINDS
from pdm_alloc.domain.kinds import ACTIONS, IMPORTANCES, INPUT_KINDS, KINDS, NEEDS
from pdm_alloc.domain.module import READERS
from pdm_alloc.files.cells import Name, Number, Text, Weight, Word, Words, YesNo, milliamps, whole
from pdm_alloc.files.rows import Line, Row, column
from pdm_alloc.files.tables.settings_rows import BENCH_ROWS, SettingsRow
from pdm_alloc.files.tables.signal_rows import SIGNAL_VEHICLE_ROWS
from pdm_alloc.files.tables.states import Matrix

__all__ = [
    "CONTENTS",
    "VEHICLE_ROWS",
    "CommandRow",
    "ConcessionRow",
    "InputRow",
    "LoadRow",
    "LockRow",
    "PlaceRow",
    "RouteRow",
    "SupplyRow",
    "VehicleLines",
    "reads_the_same",
    "watched",
]

CONTENTS = ("battery", "fuel")

_Name = Annotated[str, Name()]

_Text = Annotated[str, Text()]

_Volts = Number("V", 0, 1_000, above=True)

_Seconds = Number("s", 0, 10_000_000, above=True)

_Metres = Number("m", -1_000, 1_000)

_NOTE = {"otherwise": "nothing", "default": ""}


class LoadRow(Row):
    """One consumer, or several identical ones."""

    table: ClassVar[str] = "loads"
    key: ClassVar[tuple[str, ...]] = ("load",)

    load: _Name = column("unique name", "fuel pump")
    command: _Name = column(
        "what switches it on; loads can share a channel only if they have the same command", "ignition"
    )
    running_a: Annotated[int, Number("A", 0, 10_000, above=True, to=milliamps)] = column(
        "steady current of one item at reference_v", "6.5"
    )
    count: Annotated[int, Number("", 1, 10_000, to=whole)] = column("identical items", "1", "1", 1)
    kind: Annotated[str, Word(tuple(KINDS), tuple(kind.example for kind in KINDS.values()))] = column(
        "what it is; inrush, and current by voltage, follow from it", "motor"
    )
    inrush_a: Annotated[int | None, Number("A", 0, 100_000, above=True, to=milliamps)] = column(
        "peak of one item just after switch-on, running current included", "32", "the kind's multiple of running_a"
    )
    inrush_ms: Annotated[float | None, Number("ms", 0, 60_000)] = column(
        "time until the excess over running_a has fallen to 5 %", "120", "the kind's length"
    )
    needs: Annotated[frozenset[str], Words(NEEDS)] = column(
        "what the channel must be able to do", "", "nothing", frozenset()
    )
    importance: Annotated[str, Word(IMPORTANCES)] = column("how badly it is needed", "vital", "needed", "needed")
    share: Annotated[bool, YesNo()] = column("no: every item is always alone on its channel", "yes", "yes", True)
    separate: Annotated[str | None, Name()] = column("loads with the same label never share a channel", "", "no label")
    place: Annotated[str | None, Name()] = column("where it sits, from the table places", "tank", "not known")
    max_drop_pct: Annotated[float | None, Number("%", 0, 50, above=True)] = column(
        "allowed voltage drop from module to load", "3", "3 for vital and needed loads, 10 for comfort"
    )
    tolerance_pct: Annotated[Fraction, Number("%", 0, 100, to=Fraction)] = column(
        "how far running_a may be off", "10", "0", Fraction(0)
    )
    length_m: Annotated[float | None, Number("m", 0, 1_000)] = column(
        "wire from module to load, where there are no places", "", "from the routes"
    )
    min_v: Annotated[float | None, _Volts] = column("lowest voltage at which it still works", "8", "not judged")
    volt_exponent: Annotated[float | None, Number("", -3, 3)] = column(
        "k in I = running_a * (V / reference_v)^k", "", "by kind"
    )
    note: _Text = column("free text", "measured on the bench", **_NOTE)


class CommandRow(Row):
    """What switches loads on."""

    table: ClassVar[str] = "commands"
    key: ClassVar[tuple[str, ...]] = ("command",)

    command: _Name = column("unique name", "ignition")
    condition: Annotated[str, Text(plain=True)] = column(
        "boolean expression over names of inputs, with and, or, not", "ignition_switch", "none", ""
    )
    action: Annotated[str, Word(ACTIONS)] = column("how the output is driven", "steady", "steady", "steady")
    headroom_pct: Annotated[Fraction | None, Number("%", 0, 95, to=Fraction)] = column(
        "least headroom wanted on its channels", "", "headroom_pct of the settings"
    )
    together: Annotated[bool, YesNo()] = column("yes: all its loads on one channel", "", "no", False)
    on_s: Annotated[float | None, _Seconds] = column("longest time it is on in one go", "", "on for good")
    cycle_s: Annotated[float | None, _Seconds] = column(
        "shortest time from one switch-on to the next; needs on_s", "", "not known"
    )
    joins: Annotated[bool, YesNo()] = column("no: never on one channel with another command", "", "yes", True)
    note: _Text = column("free text", "", **_NOTE)


class InputRow(Row):
    """A switch, an analog sensor or a bus message."""

    table: ClassVar[str] = "inputs"
    key: ClassVar[tuple[str, ...]] = ("input",)

    input: _Name = column("unique name", "ignition_switch")
    kind: Annotated[str, Word(INPUT_KINDS)] = column("what it is", "switch", "switch", "switch")
    place: Annotated[str | None, Name()] = column("where it sits, from the table places", "dash", "not known")
    read_by: Annotated[str | None, Word(READERS)] = column("what reads its wire", "module", "not said")
    note: _Text = column("free text", "", **_NOTE)


class SupplyRow(Row):
    """The supply in one operating state."""

    table: ClassVar[str] = "supply"
    key: ClassVar[tuple[str, ...]] = ("state",)

    state: _Name = column("an operating state, from the header of the table states", "running")
    supply_v: Annotated[float, _Volts] = column("sustained voltage at the battery", "13.8")
    supply_top_v: Annotated[float | None, _Volts] = column(
        "highest voltage in this state; for cranking, the resting voltage at which the starter is switched",
        "",
        "the same as supply_v",
    )
    charging_a: Annotated[float | None, Number("A", 0, 10_000)] = column(
        "charging current available", "55", "not known"
    )
    minutes: Annotated[float | None, Number("min", 0, 1_000_000)] = column(
        "how long the state lasts", "60", "not known"
    )
    other_a: Annotated[int, Number("A", 0, 100_000, to=milliamps)] = column(
        "drawn from the battery past the modules: by the starter motor where nothing charges and the state lasts a "
        "minute at most or has a supply_v of at most four fifths of supply_top_v, else by what has fuses of its own",
        "",
        "0",
        0,
    )


class PlaceRow(Row):
    """A named point of the vehicle."""

    table: ClassVar[str] = "places"
    key: ClassVar[tuple[str, ...]] = ("place",)

    place: _Name = column("unique name", "dash")
    x_m: Annotated[float | None, _Metres] = column("from the front to the rear, from any origin", "0.6", "not known")
    y_m: Annotated[float | None, _Metres] = column("to the right from the same origin", "-0.3", "not known")
    compartment: Annotated[str, Name()] = column("compartment it belongs to", "cabin", "none", "")
    ambient_c: Annotated[float | None, Number("°C", -60, 200)] = column(
        "temperature around it", "40", "module_ambient_c"
    )
    mount: Annotated[bool, YesNo()] = column("whether a module can be mounted there", "yes", "no", False)
    contains: Annotated[frozenset[str], Words(CONTENTS)] = column("what else is there", "", "nothing", frozenset())


class RouteRow(Row):
    """A run of harness between two places."""

    table: ClassVar[str] = "routes"
    key: ClassVar[tuple[str, ...]] = ()

    start: _Name = column("a place", "dash", name="from")
    end: _Name = column("another place", "tank", name="to")
    length_m: Annotated[float | None, Number("m", 0, 1_000, above=True)] = column(
        "length of the run", "2.4", "the straight distance"
    )


class LockRow(Row):
    """A load already wired to a channel: it never moves."""

    table: ClassVar[str] = "locked"
    key: ClassVar[tuple[str, ...]] = ()

    load: _Name = column("a load", "fuel pump")
    module: _Name = column("a module of the catalogue", "module A")
    channel: _Name = column("a channel of it; 3+4 for two channels joined", "1")


class ConcessionRow(Row):
    """A weight of your own for something to be given up."""

    table: ClassVar[str] = "concessions"
    key: ClassVar[tuple[str, ...]] = ()

    kind: Annotated[str, Word(CONCESSION_KINDS)] = column("what is given up", "leave_out")
    subject: _Name = column("the load, command or separation label it is about", "fuel pump", "all of them", "*")
    weight: Annotated[int | None, Weight()] = column("how dear it is; never: not to be given up", "never")


VEHICLE_ROWS: dict[str, type[Row]] = (
    {
        model.table: model
        for model in (LoadRow, CommandRow, InputRow, SupplyRow, PlaceRow, RouteRow, LockRow, ConcessionRow)
    }
    | SIGNAL_VEHICLE_ROWS
    | BENCH_ROWS
)


@dataclass
class VehicleLines:
    """Rows by table, the states, the settings.

    Parameters
    ----------
    rows : dict of str to list of Line
        By table.
    matrix : Matrix
        States.
    settings : SettingsRow
        Settings.
    setting_rows : dict of str to int or None
        Row of each setting given.
    broken : frozenset of str
        Tables that are there but could not be read.
    """

    rows: dict[str, list[Line]]
    matrix: Matrix
    settings: SettingsRow
    setting_rows: dict[str, int | None] = field(default_factory=dict)
    broken: frozenset[str] = frozenset()

    def names(self, table: str, column: str) -> list[str]:
        """Values of a column, in order, those at fault or empty left out."""
        values = (getattr(line.values, column) for line in self.rows[table])
        return list(dict.fromkeys(value for value in values if value is not None))

    def known(self, table: str, column: str) -> list[str] | None:
        """Names a table defines; None where the table or the column is at fault, so that nothing can be said."""
        at_fault = any(getattr(line.values, column) is None for line in self.rows[table])
        missing = table == "loads" and not self.rows[table]
        return None if at_fault or missing or table in self.broken else self.names(table, column)

    def commands(self) -> list[str] | None:
        """Every command known: of the table commands and of the loads; None where that cannot be told."""
        tables = (self.known("commands", "command"), self.known("loads", "command"))
        return None if None in tables else list(dict.fromkeys(name for names in tables for name in names or ()))


ReadCells = set[tuple[str, str]]
"""Table and column; ``extra`` for the free columns, empty where only the number of rows was asked for."""


def watched(tables: VehicleLines) -> tuple[VehicleLines, ReadCells]:
    """Rows that remember which of their columns are read.

    Parameters
    ----------
    tables : VehicleLines
        All rows.

    Returns
    -------
    VehicleLines
        The same rows.
    set of (str, str)
        Table and column of everything read so far; it grows.
    """
    read: ReadCells = set()
    return replace(tables, rows=cast(Any, _WatchedRows(tables.rows, read))), read


def reads_the_same(read: ReadCells, before: VehicleLines, now: VehicleLines) -> bool:
    """Whether what reads these columns alone, and whatever it likes of states and settings, reads what it read before.

    Parameters
    ----------
    read : set of (str, str)
        As `watched` gives it.
    before, now : VehicleLines
        All rows, then and now.

    Returns
    -------
    bool
    """
    rest = before.matrix is now.matrix and before.settings is now.settings and before.broken == now.broken
    columns = defaultdict(list)
    for table, name in read:
        columns[table].append(name)
    return rest and all(_alike(before.rows[t], now.rows[t], columns[t]) for t in columns)


def _alike(before: list[Line], now: list[Line], columns: Iterable[str]) -> bool:
    if before is now:
        return True
    pairs = list(zip(before, now, strict=False))
    return len(before) == len(now) and all(a is b or _texts(a, columns) == _texts(b, columns) for a, b in pairs)


def _texts(line: Line, columns: Iterable[str]) -> list[object]:
    cells = {"": line.number, "extra": line.extra}
    return [line.number, *(cells[name] if name in cells else getattr(line.values, name) for name in columns)]


class _WatchedRows:
    def __init__(self, rows: Mapping[str, list[Line]], read: ReadCells):
        self._rows, self._read = rows, read

    def __getitem__(self, table: str) -> list["_WatchedLine"]:
        self._read.add((table, ""))
        return [_WatchedLine(line, table, self._read) for line in self._rows[table]]


class _WatchedLine:
    def __init__(self, line: Line, table: str, read: ReadCells):
        self._line, self._table, self._read = line, table, read
        self.number = line.number

    @property
    def extra(self) -> object:
        self._read.add((self._table, "extra"))
        return self._line.extra

    @property
    def values(self) -> "_WatchedValues":
        return _WatchedValues(self._line.values, self._table, self._read)


class _WatchedValues:
    def __init__(self, values: Any, table: str, read: ReadCells):
        self._values, self._table, self._read = values, table, read

    def __getattr__(self, column: str) -> Any:
        self._read.add((self._table, column))
        return getattr(self._values, column)
