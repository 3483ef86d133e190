"""Rows of the table channels that stand for a run of channels: ``1-12``, pins ``a1-a12``."""

import re

from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.grid import Grid
from pdm_alloc.tables.text import clean, plain_header

__all__ = ["expand_runs"]

LONGEST_RUN = 500
# The same letters before both numbers, or none: X1-2 is a name, a1-a12 and 1..5 are runs.
_RUN = re.compile(r"([^\W\d]*)(\d{1,4})\s*(?:-|–|\.\.|…)\s*\1(\d{1,4})")


def expand_runs(grid: Grid | None, faults: Faults) -> None:
    """Put a row for each channel in the place of a row that names a run of them.

    Parameters
    ----------
    grid : Grid or None
        The table channels; its rows are replaced, and keep their row number.
    faults : Faults
        Where runs are noted, and pins that are not as many as the channels.
    """
    headers = [plain_header(header) for header in grid.header] if grid is not None else []
    if grid is None or "channel" not in headers:
        return
    at, pins_at = headers.index("channel"), headers.index("pins") if "pins" in headers else None
    rows: list[tuple[int, list[str]]] = []
    for number, cells in grid.rows:
        names = _names(cells[at])
        if names is None:
            rows.append((number, cells))
            continue
        faults.note("channels", number, "channel", cells[at], f"stands for {len(names)} channels")
        pins = _pins(number, cells[pins_at], len(names), faults) if pins_at is not None else None
        rows += [(number, _row(cells, at, name, pins_at, pins and pins[n])) for n, name in enumerate(names)]
    grid.rows = rows


def _row(cells, at, name, pins_at, pins) -> list[str]:
    row = list(cells)
    row[at] = name
    if pins is not None:
        row[pins_at] = pins
    return row


def _names(text: str) -> list[str] | None:
    """Names of a run; None where the text is no run."""
    match = _RUN.fullmatch(clean(text))
    if match is None or not int(match[2]) < int(match[3]) < int(match[2]) + LONGEST_RUN:
        return None
    return [f"{match[1]}{number}" for number in range(int(match[2]), int(match[3]) + 1)]


def _pins(number: int, text: str, count: int, faults: Faults) -> list[str]:
    """Pins of each channel: as many each, in order, from every run of pins."""
    shares: list[list[str]] = [[] for _ in range(count)]
    for word in re.split(r"[\s,;/]+", clean(text)):
        pins = _names(word) or ([word] if word else [])
        if len(pins) % count:
            message = f"{'is 1 pin' if len(pins) == 1 else f'are {len(pins)} pins'} for {count} channels"
            faults.add(
                "channels", number, "pins", text, message, "give a run as long as that of the channels, as a1-a12"
            )
            break
        each = len(pins) // count
        for n in range(count):
            shares[n] += pins[n * each : (n + 1) * each]
    return [" ".join(share) for share in shares]
