"""What stands in the title block of every document."""

import datetime
from dataclasses import dataclass, field

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.module import Catalogue
from pdm_alloc.tables.hashes import catalogue_hashes

__all__ = ["Issue", "title_block"]

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
        What, and its value; the hashes tell whether two documents were made from the same tables.
    """
    fitted = (f"{u.label} at {u.place}" if u.place else u.label for u in allocation.units)
    return [
        ("vehicle", allocation.vehicle.name),
        ("revision", issue.revision or "none given"),
        ("date", issue.date.isoformat()),
        ("modules", ", ".join(fitted)),
        ("result", allocation.summary()),
        ("strategy", allocation.strategy),
        ("vehicle tables", _hashes(allocation.vehicle.table_hashes)),
        ("module tables", _hashes(_module_hashes(allocation))),
    ]


def _hashes(hashes: tuple[tuple[str, str], ...]) -> str:
    return ", ".join(f"{table} {digest[:_DIGITS]}" for table, digest in hashes) or "none"


def _module_hashes(allocation: Allocation) -> tuple[tuple[str, str], ...]:
    modules = {unit.module.name: unit.module for unit in allocation.units}
    return catalogue_hashes(Catalogue("", tuple(modules.values()))).table_hashes
