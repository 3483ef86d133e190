"""Loads as the texts of their table; what the table would assume anyway stays empty."""

from pdm_alloc.kinds import KINDS, NEEDS, default_drop_pct
from pdm_alloc.panel.cell import plain_number
from pdm_alloc.vehicle import Load

__all__ = ["load_texts"]


def load_texts(load: Load) -> dict[str, str]:
    """One row of the table ``loads``.

    Parameters
    ----------
    load : Load
        A checked load.

    Returns
    -------
    dict of str to str
        Column to text, the ``x_`` columns included. Reading it gives an equal load.
    """
    return {
        "load": load.name,
        "command": load.command,
        "running_a": plain_number(load.running_ma / 1000),
        "count": str(load.count),
        "kind": load.kind,
        **_inrush(load),
        "needs": " ".join(word for word in NEEDS if word in load.needs),
        "importance": load.importance,
        "share": "yes" if load.share else "no",
        "separate": load.separate or "",
        "place": load.place or "",
        **_rarer(load),
        "note": load.note,
        **dict(load.extra),
    }


def _inrush(load: Load) -> dict[str, str]:
    kind = KINDS[load.kind]
    assumed_peak = load.inrush_assumed and load.inrush_ma == round(load.running_ma * kind.inrush_multiple)
    assumed_ms = load.inrush_assumed and load.inrush_ms == kind.inrush_ms
    return {
        "inrush_a": "" if assumed_peak else plain_number(load.inrush_ma / 1000),
        "inrush_ms": "" if assumed_ms else plain_number(load.inrush_ms),
    }


def _rarer(load: Load) -> dict[str, str]:
    return {
        "max_drop_pct": _unless(load.max_drop_pct, default_drop_pct(load.importance)),
        "tolerance_pct": _unless(load.tolerance_pct, 0),
        "length_m": _unless(load.length_m, None),
        "min_v": _unless(load.min_v, None),
        "volt_exponent": _unless(load.volt_exponent, KINDS[load.kind].volt_exponent),
    }


def _unless(value, assumed) -> str:
    return "" if value is None or value == assumed else plain_number(value)
