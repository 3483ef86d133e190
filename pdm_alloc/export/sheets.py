"""The tables that make up the documents, each with its title and what to say about it."""

from dataclasses import dataclass

import pandas as pd

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.assumption import assumptions
from pdm_alloc.export.commissioning import commissioning, trials
from pdm_alloc.export.dead_check import dead_checks
from pdm_alloc.export.input_list import input_list
from pdm_alloc.export.wire_list import wire_list

__all__ = ["COVER", "SHEETS", "Sheet", "sheets"]

COVER = "Cover"
_NOTES = {
    "Pin map": "A row a circuit, as it leaves the module. Currents at the highest voltage it is on at.",
    "Wire list": "A row a load on its channel, with the label for both ends. Measure before cutting.",
    "Circuit wires": "A row a circuit: its wire, trunk and branches together, and the worst voltage drop on it.",
    "Channel settings": "To be entered in the module before the first power. They protect the wire, not the load.",
    "Input list": "Switches and senders take an input of the module; bus inputs arrive as messages.",
    "Command steps": "The fewest steps that show that every input of a command matters.",
    "Supply check": "What every operating state takes from battery and alternator.",
    "Limits by state": "Current of every bank and of the whole module in every operating state, against its limit.",
    "Warnings": "To be looked at before a wire is cut.",
    "Spares": "Channels that stay free.",
    "Assumptions": "Settings in force, and values nobody has measured yet.",
    "Dead circuit checks": "With everything dead, before the first power. Tick each.",
    "Commissioning": "One channel at a time. Currents are those at the reference voltage: note the voltage too.",
}
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
        One for each name of `SHEETS` but the cover.
    """
    tables = {
        "Pin map": allocation.pin_map(),
        "Wire list": wire_list(allocation),
        "Circuit wires": allocation.wires,
        "Channel settings": allocation.settings,
        "Input list": input_list(allocation.vehicle),
        "Command steps": _command_steps(allocation),
        "Supply check": allocation.supply,
        "Limits by state": allocation.headroom,
        "Warnings": allocation.warnings,
        "Spares": allocation.spare,
        "Assumptions": assumptions(allocation),
        "Dead circuit checks": dead_checks(allocation),
        "Commissioning": commissioning(allocation),
    }
    return tuple(Sheet(name, tables[name], note) for name, note in _NOTES.items())


def _command_steps(allocation: Allocation) -> pd.DataFrame:
    rows = [
        (command.name, command.condition, command.action, number, trial.set, "on" if trial.on else "off")
        for command in allocation.vehicle.commands
        for number, trial in enumerate(trials(command), 1)
    ]
    return pd.DataFrame(rows, columns=["command", "condition", "action", "step", "set", "expected"])
