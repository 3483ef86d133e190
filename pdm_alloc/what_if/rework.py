"""`rework`: the list of what is to be done at the vehicle to get from one allocation to another."""

from collections.abc import Mapping

import pandas as pd

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.module import natural_key
from pdm_alloc.what_if.difference import SET_UP, Difference, differences
from pdm_alloc.what_if.shift import Shift, Spot, shifts

__all__ = ["REWORK", "rework"]

REWORK = (
    *("action", "subject", "items", "from_module", "from_channel", "from_pins"),
    *("to_module", "to_channel", "to_pins", "before", "after"),
)
_WIRES = {"load removed": "remove wire", "load moved": "move wire", "load added": "add wire"}
_ACTIONS = (*_WIRES.values(), *(f"set {what}" if what != "wire" else "change wire" for what in SET_UP))


def rework(before: Allocation, after: Allocation) -> pd.DataFrame:
    """What is to be done, and nothing else.

    Parameters
    ----------
    before, after : Allocation
        As it is built; as it is to be.

    Returns
    -------
    DataFrame
        Columns `REWORK`. First the wires: remove wire, move wire, add wire (subject: the load; items:
        how many of it; from and to where); then what is set: set command, set trip setting, set inrush
        window, change wire (to: the channel; before and after: in words, currents in A). Empty where
        nothing is to be done.
    """
    old, new = _pins(before), _pins(after)
    rows = [_wire_row(shift, old, new) for shift in shifts(before, after)]
    rows += [_set_row(d, {**old, **new}) for d in differences(before, after) if _is_work(d)]
    rows.sort(key=lambda row: (_ACTIONS.index(row["action"]), natural_key(row["subject"])))
    return pd.DataFrame(rows, columns=list(REWORK)).astype({"items": "Int64"})


def _pins(allocation: Allocation) -> Mapping[Spot, str]:
    table = allocation.channels
    return {(m, c): pins for m, c, pins in zip(table["module"], table["channel"], table["pins"], strict=True)}


def _wire_row(shift: Shift, old: Mapping[Spot, str], new: Mapping[Spot, str]) -> dict:
    return {
        "action": _WIRES[shift.what],
        "subject": shift.load,
        "items": shift.items,
        **_end("from", shift.before, old),
        **_end("to", shift.after, new),
        "before": "",
        "after": "",
    }


def _end(side: str, spot: Spot | None, pins: Mapping[Spot, str]) -> dict[str, str]:
    module, channel = spot or ("", "")
    return {f"{side}_module": module, f"{side}_channel": channel, f"{side}_pins": pins[spot] if spot else ""}


def _is_work(difference: Difference) -> bool:
    """A wire that is new or gone is in the list of wires already."""
    return difference.what in SET_UP and (difference.what != "wire" or bool(difference.before and difference.after))


def _set_row(difference: Difference, pins: Mapping[Spot, str]) -> dict:
    action = "change wire" if difference.what == "wire" else f"set {difference.what}"
    ends = {**_end("from", None, pins), **_end("to", difference.spot, pins)}
    told = {"before": difference.before, "after": difference.after}
    return {"action": action, "subject": difference.subject, "items": None, **ends, **told}
