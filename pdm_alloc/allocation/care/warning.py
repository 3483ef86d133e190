"""A warning, and the caution every document carries."""

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["CAUTION", "SEVERITIES", "CareWarning", "listed"]

CAUTION = (
    "Values are for design. Check them by measurement, and have them checked by a qualified person.",
    "Local codes, event regulations and the makers' data come first.",
    "Fit a main fuse at the battery and an isolator within reach, as the rules require.",
    "Trip settings protect the wire, not the load.",
)
SEVERITIES = ("danger", "warning", "note")


@dataclass(frozen=True, slots=True)
class CareWarning:
    """One thing to look at.

    Parameters
    ----------
    code : str
        ``C01`` and so on, one a rule.
    severity : str
        A word of `SEVERITIES`.
    subject : str
        Load, circuit, place, state or module.
    sentence : str
        What is the matter.
    remedy : str
        What to do about it.
    """

    code: str
    severity: str
    subject: str
    sentence: str
    remedy: str


def listed(names: Iterable[str], most: int = 6) -> str:
    """Names as a sentence has them: ``a, b and c``; beyond `most` the rest is only counted."""
    words = list(names)
    if len(words) > most:
        words = [*words[: most - 1], f"{len(words) - most + 1} more"]
    return " and ".join(([", ".join(words[:-1])] if words[1:] else []) + words[-1:])
