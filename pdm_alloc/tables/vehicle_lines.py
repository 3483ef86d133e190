"""All tables of a vehicle as rows, before they are a vehicle."""

from dataclasses import dataclass, field

from pdm_alloc.tables.lines import Line
from pdm_alloc.tables.settings_row import SettingsRow
from pdm_alloc.tables.states import Matrix

__all__ = ["VehicleLines"]


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
