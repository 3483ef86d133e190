"""One thing found wrong with an allocation."""

from dataclasses import astuple, dataclass, fields

import pandas as pd

__all__ = ["COLUMNS", "Finding", "findings_table"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One limit or rule that an allocation breaks.

    Parameters
    ----------
    rule : str
        Which rule, one word.
    module, channel, state, subject : str
        Label of the unit, its channel, the operating state, and the load, bank or input concerned; empty where the
        rule knows none.
    value, limit : float or None
        What was counted and what is allowed, in `unit`.
    unit : str
        ``A``, ``A2 ms``, ``V``, ``deg C`` or empty for plain numbers.
    message : str
        The same in one sentence.
    """

    rule: str
    module: str = ""
    channel: str = ""
    state: str = ""
    subject: str = ""
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    message: str = ""

    def __str__(self) -> str:
        """Where it is and what is wrong, in one line."""
        where = " of ".join(word for word in (self.channel and f"channel {self.channel}", self.module) if word)
        return f"{self.rule}: {where}: {self.message}" if where else f"{self.rule}: {self.message}"


COLUMNS = tuple(field.name for field in fields(Finding))


def findings_table(findings) -> pd.DataFrame:
    """Findings as a table, one row each.

    Parameters
    ----------
    findings : iterable of Finding
        What was found.

    Returns
    -------
    pandas.DataFrame
        Columns `COLUMNS`; no rows where nothing was found.
    """
    table = pd.DataFrame([astuple(finding) for finding in findings], columns=list(COLUMNS))
    return table.astype({"value": float, "limit": float})
