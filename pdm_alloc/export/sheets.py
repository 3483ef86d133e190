"""The sheets that make up the documents, their title block, and the libraries they need."""

import datetime
import importlib
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from pdm_alloc.diagnose.enough_if import verdict_lines
from pdm_alloc.domain.module import Catalogue
from pdm_alloc.export import lists
from pdm_alloc.export.commissioning import commissioning, dead_checks, trials
from pdm_alloc.export.lists import assumptions, records, wire_list
from pdm_alloc.files.plain import catalogue_hashes
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.studies.alternatives import weight_ledger

__all__ = [
    "BENCH_NOTE",
    "COVER",
    "READ_SHEETS",
    "SHEETS",
    "Issue",
    "Sheet",
    "available",
    "by_ground",
    "grouped_warnings",
    "needed",
    "sheets",
    "title_block",
]

COVER = "Cover"

BENCH_NOTE = "One row per pin, as it leaves the module. Length: of the piece at the pin. Inrush time: as set."

_READ = {
    "Bench sheet": BENCH_NOTE,
    "Cut list": "Every piece of wire once, allowances included. Measure first. Sizes in mm² where "
    "nothing else is said. S: splice, G: return.",
    "Shopping list": "Wire and sleeving with 10 % for waste. Part numbers are those of your table parts.",
    "Ground plan": "One row per return. Ends on clean metal; sensor grounds apart from power grounds.",
    "Battery cables": "Isolator, module feeds, starter and alternator. A fuse must be able to break the fault current.",
    "Channel settings": "To be entered in the module before the first power-up. They protect the wire, not the load. "
    "The running current is the largest of any state, tolerance and cold copper included.",
    "Commissioning": "One channel at a time. Currents are those at the reference voltage: note the voltage too.",
}

_MORE = {
    "Pin map": "One row per circuit, as it leaves the module. Running current without tolerance, inrush with it.",
    "Wire list": "One row per load and channel, with its voltage drop.",
    "Wire sizes by circuit": "One row per circuit: trunk and branches together, and the worst voltage drop on it.",
    "Ground points": "The worst current of every stud against what it bears.",
    "Input list": "Switches and sensors take an input of the module; bus inputs arrive as messages.",
    "Command steps": "The fewest steps that show that every input of a command matters.",
    "Supply check": "Average with duties; running and peak: the most that conditions let be on at once.",
    "Module heat": "Heat each module gives off: average with duties, and with everything on that may be on.",
    "Parked": "What is drawn with everything off, and how long the battery lasts.",
    "Limits by state": "Current of every bank and of the whole module in every operating state, against its limit.",
    "Warnings": "To be looked at before a wire is cut.",
    "Weight ledger": "Modules, wire and parts, fitted less removed, kg; beside it conventional wiring, loads alone.",
    "Spare channels": "Channels that stay free.",
    "Assumptions": "Settings in force, and values nobody has measured yet.",
    "Dead circuit checks": "With everything dead, before the first power-up. Tick each.",
}

_NOTES = _READ | _MORE | lists.SIGNAL_NOTES

# Sheets people read, in the workbook; the others and the saved allocation are in a file of their own.
READ_SHEETS = (COVER, *_READ, *lists.SIGNAL_READ)

SHEETS = (COVER, *_NOTES)


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """One table of the documents.

    Parameters
    ----------
    name : str
        Title, and name of its sheet in the workbook.
    table : DataFrame
        Columns named as in the tables of this package, with their unit at the end.
    note : str
        One line on how to read it.
    """

    name: str
    table: pd.DataFrame
    note: str

    @property
    def stem(self) -> str:
        """Name of its CSV file without ending."""
        return self.name.lower().replace(" ", "_")


def sheets(allocation: Allocation) -> tuple[Sheet, ...]:
    """All tables of the documents, in their order.

    Parameters
    ----------
    allocation : Allocation
        What is documented.

    Returns
    -------
    tuple of Sheet
        One for each name of `SHEETS` but the cover, and those of the signal side where there is none.
    """
    side = lists.signal_side_of(allocation)
    tables = {
        "Bench sheet": allocation.bench_sheet,
        "Cut list": allocation.cut_list.drop(columns=["from_is", "to_is"]),
        "Shopping list": allocation.shopping,
        "Ground plan": allocation.ground_plan,
        "Ground points": allocation.ground_points,
        "Pin map": allocation.pin_map(),
        "Wire list": wire_list(allocation),
        "Wire sizes by circuit": allocation.wires,
        "Channel settings": allocation.settings,
        "Input list": lists.input_list(allocation.vehicle, lists.readers_of(side)),
        "Command steps": _command_steps(allocation),
        "Supply check": allocation.supply,
        "Battery cables": allocation.links,
        "Module heat": allocation.heat,
        "Parked": allocation.parked,
        "Limits by state": allocation.headroom,
        "Warnings": allocation.warnings,
        "Weight ledger": weight_ledger(allocation),
        "Spare channels": allocation.spare,
        "Assumptions": assumptions(allocation),
        "Dead circuit checks": dead_checks(allocation),
        "Commissioning": commissioning(allocation),
    } | ({} if side is None else lists.signal_tables(side))
    notes = _NOTES | ({} if side is None else lists.WITH_SIGNALS)
    notes |= {"Cut list": f"{notes['Cut list']}{lists.not_cut(tables['Input list'])}"}
    return tuple(Sheet(name, tables[name], note) for name, note in notes.items() if name in tables)


def _command_steps(allocation: Allocation) -> pd.DataFrame:
    rows = [
        (command.name, command.condition, command.action, number, trial.set, "on" if trial.on else "off")
        for command in allocation.vehicle.commands
        for number, trial in enumerate(trials(command), 1)
    ]
    return pd.DataFrame(rows, columns=["command", "condition", "action", "step", "set", "expected"])


def grouped_warnings(allocation: Allocation) -> pd.DataFrame:
    """Warnings with those of one rule together.

    Parameters
    ----------
    allocation : Allocation
        What is documented.

    Returns
    -------
    DataFrame
        Columns severity, warning, remedy; gravest first. What one rule says in one severity with one remedy stands in
        one row, every sentence of it; sentences name their subjects.
    """
    groups: dict[tuple[str, str, str], list[str]] = {}
    for row in allocation.warnings.itertuples():
        rule = (str(row.code), str(row.severity), str(row.remedy))
        groups.setdefault(rule, []).append(str(row.sentence))
    rows = [(severity, " ".join(said), remedy) for (_, severity, remedy), said in groups.items()]
    return pd.DataFrame(rows, columns=["severity", "warning", "remedy"])


def by_ground(points: Sheet, plan: Sheet) -> Sheet:
    """The ground plan on paper: a row per stud with what returns to it; lengths and sizes are in the cut list.

    Parameters
    ----------
    points, plan : Sheet
        Ground points; returns.

    Returns
    -------
    Sheet
        Named as the plan. Returns without a ground point have a row for each reason that there is.
    """
    ends: dict[str, list[str]] = {}
    rows = records(plan.table)
    for row in rows:
        ends.setdefault(row["ground"], []).append(row["load"] + (f" x{row['items']}" if row["items"] > 1 else ""))
    table = points.table.assign(loads_and_switches=[", ".join(ends.get(name, [])) for name in points.table["ground"]])
    reasons: dict[str, list[str]] = {}
    for row in rows:
        if not row["ground"]:
            reasons.setdefault(row["note"], []).append(row["load"])
    missing = [
        {"ground": "none", "loads_and_switches": f"{', '.join(names)}: {note}"} for note, names in reasons.items()
    ]
    if missing:
        table = pd.concat([table, pd.DataFrame(missing)], ignore_index=True)
    return Sheet(plan.name, table, "The worst current of every stud. Clean metal; sensor grounds apart from power.")


def needed(module: str, use: str) -> Any:
    """A library that only documents need.

    Parameters
    ----------
    module : str
        Its name.
    use : str
        What it does, for the message.

    Returns
    -------
    module
        Imported.

    Raises
    ------
    ModuleNotFoundError
        It is not installed; names the extra that brings it.
    """
    try:
        return importlib.import_module(module)
    except ModuleNotFoundError as error:
        package = module.partition(".")[0]
        raise ModuleNotFoundError(f"{package} {use}: pip install 'pdm_alloc[documents]'", name=package) from error


def available(*modules: str) -> bool:
    """Whether all of some libraries are installed.

    Parameters
    ----------
    *modules : str
        Their names.

    Returns
    -------
    bool
    """
    return all(_found(module) for module in modules)


def _found(module: str) -> bool:
    try:
        importlib.import_module(module)
    except ModuleNotFoundError:
        return False
    return True


_DIGITS = 12  # of a table's hash: enough to tell two tables apart, short enough to compare by eye


@dataclass(frozen=True, slots=True)
class Issue:
    """Revision and date of the documents.

    Parameters
    ----------
    revision : str
        As the builder counts them; may be empty.
    date : datetime.date
        Default: today. The same allocation, revision and date give the same files.
    """

    revision: str = ""
    date: datetime.date = field(default_factory=datetime.date.today)

    def line(self, vehicle: str) -> str:
        """One line for the foot of a page.

        Parameters
        ----------
        vehicle : str
            Name of the vehicle.

        Returns
        -------
        str
            Vehicle, revision if there is one, date.
        """
        parts = (vehicle, f"revision {self.revision}" if self.revision else "", self.date.isoformat())
        return ", ".join(part for part in parts if part)


def title_block(allocation: Allocation, issue: Issue) -> list[tuple[str, str]]:
    """Lines of the title block.

    Parameters
    ----------
    allocation : Allocation
        What is documented.
    issue : Issue
        Revision and date.

    Returns
    -------
    list of (str, str)
        What, and its value, the verdict first; the hashes tell whether two documents were made from the same tables.
    """
    fitted = (f"{u.label} at {u.place}" if u.place else u.label for u in allocation.units)
    return [
        *verdict_lines(allocation),
        ("vehicle", allocation.vehicle.name),
        ("revision", issue.revision or "none given"),
        ("date", issue.date.isoformat()),
        ("modules", ", ".join(fitted)),
        ("result", allocation.summary()),
        *_signal_lines(allocation),
        ("strategy", allocation.strategy),
        ("vehicle tables", _hashes(allocation.vehicle.table_hashes)),
        ("module tables", _hashes(_module_hashes(allocation))),
    ]


def _signal_lines(allocation: Allocation) -> list[tuple[str, str]]:
    if allocation.signals is None:
        return []
    side = lists.signal_side_of(allocation)
    return [("signals", str(allocation.signals))] if side is None else lists.title_lines(side)


def _hashes(hashes: tuple[tuple[str, str], ...]) -> str:
    return ", ".join(f"{table} {digest[:_DIGITS]}" for table, digest in hashes) or "none"


def _module_hashes(allocation: Allocation) -> tuple[tuple[str, str], ...]:
    modules = {unit.module.name: unit.module for unit in allocation.units}
    side = lists.signal_side_of(allocation)
    boxes = {box.box.name: box.box for box in side.boxes} if side else {}
    pads = {pad.name: pad for _, _, pad in side.pads()} if side else {}
    fitted = Catalogue("", tuple(modules.values()), (), tuple(boxes.values()), tuple(pads.values()))
    return catalogue_hashes(fitted).table_hashes
