"""Kinds of load and the values assumed for each when the load table leaves them out.

One labelled table, so that every assumption can be read, questioned and changed in one place.
"""

from dataclasses import dataclass

__all__ = ["ACTIONS", "IMPORTANCES", "INPUT_KINDS", "KINDS", "NEEDS", "Kind", "default_drop_pct"]


@dataclass(frozen=True, slots=True)
class Kind:
    """What is assumed of a kind of load.

    Parameters
    ----------
    name : str
        Word used in the column ``kind`` of the table ``loads``.
    volt_exponent : float
        k in I = I_ref * (V / V_ref)**k, no unit.
    inrush_multiple : float
        Peak current over running current, no unit.
    inrush_ms : float
        Time until the excess over running has fallen to 5 %, ms.
    source : str
        Where the values come from.
    """

    name: str
    volt_exponent: float
    inrush_multiple: float
    inrush_ms: float
    source: str


_ALL = (
    Kind(
        "filament",
        0.55,
        12.0,
        60.0,
        "exponent: lamp rerating, Standard Handbook for Electrical Engineers, 11th edition, section 22; "
        "inrush: statements of 10 to 15 times, near nominal after 50 to 100 ms",
    ),
    Kind("led", -1.0, 3.0, 1.0, "constant power behind a filter capacitor; common practice, no source"),
    Kind(
        "motor",
        1.0,
        6.0,
        150.0,
        "stalled winding, V/R: textbook examples of 4 to 12 times; length: common practice, no source",
    ),
    Kind("solenoid", 1.0, 1.0, 0.0, "inductive rise, no current above running; common practice, no source"),
    Kind("heater", 1.0, 1.4, 400.0, "mild rise of resistance with heat; common practice, no source"),
    Kind("electronics", -1.0, 3.0, 2.0, "constant power behind a filter capacitor; common practice, no source"),
    Kind("coil", 1.0, 1.0, 0.0, "relay coil, no current above running; common practice, no source"),
)
KINDS: dict[str, Kind] = {kind.name: kind for kind in _ALL}

IMPORTANCES = ("vital", "needed", "comfort")
NEEDS = ("pwm", "reversing")
ACTIONS = ("steady", "flash", "pwm")
INPUT_KINDS = ("switch", "analog", "bus")

_DROP_PCT = {"vital": 3.0, "needed": 3.0, "comfort": 10.0}


def default_drop_pct(importance: str) -> float:
    """Voltage drop allowed from module to load when the table is silent.

    Parameters
    ----------
    importance : str
        One of `IMPORTANCES`.

    Returns
    -------
    float
        Per cent of the system voltage: 3 for vital and needed loads, 10 for comfort loads (the two
        classes of drop in small-craft practice).

    Raises
    ------
    KeyError
        The word is not an importance.
    """
    return _DROP_PCT[importance]
