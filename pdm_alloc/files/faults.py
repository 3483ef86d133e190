"""What is wrong with a table, where, and what would be right: all of it at once."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from difflib import get_close_matches

__all__ = ["Fault", "Faults", "InputError", "Unread", "hint", "merged", "nearest"]

MOST_COMPARED = 400
MOST_LISTED = 8


def nearest(word: str, names: Iterable[str], likeness: float = 0.6) -> str | None:
    """The name most like a word, whatever their upper and lower case.

    Parameters
    ----------
    word : str
        As found.
    names : iterable of str
        As known.
    likeness : float
        Least likeness that counts, 0 to 1.

    Returns
    -------
    str or None
        None where nothing is alike.
    """
    folded = {name.casefold(): name for name in list(names)[:MOST_COMPARED]}
    close = get_close_matches(word.casefold()[:100], folded, n=1, cutoff=likeness)
    return folded[close[0]] if close else None


def hint(word: str, names: Iterable[str], otherwise: str = "") -> str:
    """What to do about an unknown name: the nearest known one, or all of them if they are few.

    Parameters
    ----------
    word : str
        As found.
    names : iterable of str
        As known.
    otherwise : str
        Said where no name is near.

    Returns
    -------
    str
        A remedy, lower case, without a full stop.
    """
    known = list(dict.fromkeys(names))
    close = nearest(word, known)
    if close:
        return f"did you mean '{close}'?"
    if otherwise or not known:
        return otherwise
    more = ", ..." if len(known) > MOST_LISTED else ""
    return f"known: {', '.join(known[:MOST_LISTED])}{more}"


MOST_PER_TABLE = 500
MOST_SHOWN = 200
LEAST_MERGED = 4
MOST_ROWS_NAMED = 8
_ASK_EVERY = 250  # rows: 50 ms


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a table.

    Parameters
    ----------
    table : str
        Name of the table, or of the file or folder where no table can be told.
    row : int or None
        As the spreadsheet counts it: the header is row 1.
    column : str or None
        Header of the column; for settings, the name of the setting.
    value : str or None
        What stands there.
    message : str
        What is wrong with it.
    remedy : str
        What would be right.
    """

    table: str
    row: int | None
    column: str | None
    value: str | None
    message: str
    remedy: str = ""

    def __str__(self) -> str:
        """One line: table, row, column, value, what is wrong, what would be right."""
        where = [_shown(self.table, 300)]
        where += [f"row {self.row}"] if self.row is not None else []
        where += [f"column {_shown(self.column)}"] if self.column else []
        value = f"'{_shown(self.value)}' " if self.value else ""
        remedy = f"; {_shown(self.remedy, None)}" if self.remedy else ""
        return f"{', '.join(where)}: {value}{_shown(self.message, None)}{remedy}"


def _shown(text: str, longest: int | None = 60) -> str:
    """Text fit for one line of a terminal."""
    line = "".join(c if c.isprintable() else "?" for c in " ".join(str(text).split()))
    return line if longest is None or len(line) <= longest else line[: longest - 3] + "..."


class InputError(ValueError):
    """Tables that cannot be used, with every fault found in them.

    Parameters
    ----------
    faults : iterable of Fault
        At least one.

    Attributes
    ----------
    faults : tuple of Fault
        Sorted by table and row.
    """

    def __init__(self, faults: Iterable[Fault]):
        self.faults = tuple(sorted(dict.fromkeys(faults), key=lambda fault: (fault.table, fault.row or 0)))
        super().__init__(self.faults)

    @classmethod
    def of(
        cls, table: str, row: int | None, column: str | None, value: str | None, message: str, remedy: str = ""
    ) -> "InputError":
        """An error of one fault; arguments as `Fault`."""
        return cls([Fault(table, row, column, value, message, remedy)])

    def __reduce__(self) -> tuple[type["InputError"], tuple[tuple[Fault, ...]]]:
        """Pickled with its faults, so that it can cross from one process to another."""
        return type(self), (self.faults,)

    def __str__(self) -> str:
        """One line a fault; faults of one cause in many rows are one line."""
        lines = merged(self.faults)
        more = len(lines) - MOST_SHOWN
        lines = lines[:MOST_SHOWN]
        return "\n".join([*lines, f"... and {more} more"] if more > 0 else lines)


def merged(faults: Iterable[Fault]) -> list[str]:
    """A line a fault, or one for all rows with the same thing wrong in the same column."""
    causes: dict[tuple[str, str | None, str, str], list[Fault]] = {}
    for fault in faults:
        causes.setdefault((fault.table, fault.column, fault.message, fault.remedy), []).append(fault)
    lines: list[str] = []
    for same in causes.values():
        rows = list(dict.fromkeys(fault.row for fault in same if fault.row is not None))
        lines += [_of_one_cause(same, rows)] if len(rows) >= LEAST_MERGED else map(str, same)
    return lines


def _of_one_cause(faults: list[Fault], rows: list[int]) -> str:
    others = ", ".join(map(str, rows[1:MOST_ROWS_NAMED]))
    more = ", ..." if len(rows) > MOST_ROWS_NAMED else ""
    return f"{faults[0]} (so in {len(rows)} rows: {rows[0]}, {others}{more})"


class Unread(Exception):
    """The time was over before all rows of a table were read, or, without a table, once all tables were."""

    def __str__(self) -> str:
        """For a person: which, how far, and what to do."""
        where = "at row {1} of the table {0}".format(*self.args) if self.args else "once the tables were read"
        return f"the time limit was reached {where}: give it more"


class Faults:
    """Collects faults while tables are read; a table with very many is cut short, and says so.

    Parameters
    ----------
    late : callable, optional
        True ends the reading of a table of many rows; asked now and then.
    """

    def __init__(self, late: Callable[[], bool] | None = None) -> None:
        self.late = late
        self._faults: list[Fault] = []
        self._count: Counter[str] = Counter()
        self.notes: list[Fault] = []

    def at_row(self, table: str, number: int) -> None:
        """Ask for the time at every so many rows; `Unread` is raised where it is over."""
        if number % _ASK_EVERY == 0:
            self.ask(table, number)

    def ask(self, *row: str | int) -> None:
        """Ask for the time at a row (table, number) or after all; `Unread` is raised where it is over."""
        if self.late and self.late():
            raise Unread(*row)

    def note(
        self, table: str, row: int | None, column: str | None, value: str | None, message: str, remedy: str = ""
    ) -> None:
        """Remember how something was read that could be thought of otherwise; arguments as `Fault`."""
        self.notes.append(Fault(table, row, column, value, message, remedy))

    def add(
        self, table: str, row: int | None, column: str | None, value: str | None, message: str, remedy: str = ""
    ) -> None:
        """Note one fault; arguments as `Fault`."""
        self._count[table] += 1
        if self._count[table] <= MOST_PER_TABLE:
            self._faults.append(Fault(table, row, column, value, message, remedy))

    def unknown(
        self,
        table: str,
        row: int | None,
        column: str | None,
        value: str | None,
        names: Iterable[str],
        message: str,
        otherwise: str = "",
    ) -> None:
        """Note a name that is not among `names`, with the nearest one that is."""
        self.unknown_in(table, row, column, value, value or table, names, message, otherwise)

    def unknown_in(
        self,
        table: str,
        row: int | None,
        column: str | None,
        value: str | None,
        name: str,
        names: Iterable[str],
        message: str,
        otherwise: str = "",
    ) -> None:
        """Note a name inside a cell that is not among `names`, with the nearest one that is."""
        # The search for the nearest name is slow; a table full of faults must not make it run for hours.
        full = self._count[table] >= MOST_PER_TABLE
        self.add(table, row, column, value, message, "" if full else hint(name, names, otherwise))

    def extend(self, faults: Iterable[Fault]) -> None:
        """Note faults found elsewhere."""
        for fault in faults:
            self.add(fault.table, fault.row, fault.column, fault.value, fault.message, fault.remedy)

    def __len__(self) -> int:
        return sum(self._count.values())

    @property
    def said(self) -> int:
        """How many faults and notes there are."""
        return len(self) + len(self.notes)

    def all(self) -> tuple[Fault, ...]:
        """Every fault noted, and one line for each table that was cut short."""
        cut = {table: count - MOST_PER_TABLE for table, count in self._count.items() if count > MOST_PER_TABLE}
        rest = (
            Fault(t, None, None, None, f"has {n} faults more", "put the others right first") for t, n in cut.items()
        )
        return (*self._faults, *rest)

    def raise_if_any(self) -> None:
        """Raise InputError if anything was noted."""
        if self._faults:
            raise InputError(self.all())
