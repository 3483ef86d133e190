"""Kinds of load and the values assumed for each when the load table leaves them out.

One labelled table, so that every assumption can be read, questioned and changed in one place.
"""

import re
from dataclasses import dataclass

__all__ = [
    "ACTIONS",
    "CHEMISTRIES",
    "IMPORTANCES",
    "INPUT_KINDS",
    "KINDS",
    "NEEDS",
    "SWITCHES",
    "Kind",
    "Switch",
    "comes_on_unharmed",
    "default_drop_pct",
]


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
    example : str
        A load of this kind.
    copper : str
        What of its current copper sets, and so is larger in the cold: ``running`` (a coil), ``inrush`` (a winding that
        stands still) or empty.
    pulse_ms : float
        Least inrush time of its channel, ms: a load that is pulsed, or whose current rises with its inductance, must
        not trip at each pulse; 0: none.
    """

    name: str
    volt_exponent: float
    inrush_multiple: float
    inrush_ms: float
    source: str
    example: str
    copper: str = ""
    pulse_ms: float = 0.0


_ALL = (
    Kind(
        "filament",
        0.55,
        12.0,
        60.0,
        "exponent: lamp rerating, Standard Handbook for Electrical Engineers, 11th edition, section 22; "
        "inrush: statements of 10 to 15 times, near nominal after 50 to 100 ms",
        "halogen headlamp",
    ),
    Kind(
        "led", -1.0, 3.0, 1.0, "constant power behind a filter capacitor; common practice, no source", "LED light bar"
    ),
    Kind(
        "motor",
        1.0,
        6.0,
        150.0,
        "stalled winding, V/R: textbook examples of 4 to 12 times; length: common practice, no source",
        "fuel pump",
        "inrush",
    ),
    Kind(
        "fan",
        1.65,
        5.0,
        500.0,
        "exponent: torque with the square of the speed behind a permanent-magnet motor, whose speed rises a little "
        "less than the voltage (no loss: 2); inrush: a 225 W radiator fan draws 80 A for about 500 ms",
        "radiator fan",
        "inrush",
    ),
    Kind(
        "solenoid",
        1.0,
        1.0,
        0.0,
        "inductive rise, no current above running; common practice, no source",
        "injector",
        "running",
        20.0,
    ),
    Kind("heater", 1.0, 1.4, 400.0, "mild rise of resistance with heat; common practice, no source", "heated screen"),
    Kind(
        "electronics",
        -1.0,
        3.0,
        2.0,
        "constant power behind a filter capacitor; common practice, no source",
        "engine computer",
    ),
    Kind(
        "coil",
        1.0,
        1.0,
        0.0,
        "relay coil, no current above running; common practice, no source",
        "relay",
        "running",
        10.0,
    ),
)

KINDS: dict[str, Kind] = {kind.name: kind for kind in _ALL}

IMPORTANCES = ("vital", "needed", "comfort")

NEEDS = ("pwm", "reversing", "twisted", "screened")

ACTIONS = ("steady", "flash", "pwm")

INPUT_KINDS = ("switch", "analog", "bus")

# Exponent of Peukert's law by chemistry: flooded 1.2 to 1.6, gel 1.1 to 1.25, AGM 1.05 to 1.15, lithium near 1
# (ranges from memory; the middle of each, the upper end for flooded being that of old cells).
CHEMISTRIES = {"flooded": 1.25, "agm": 1.1, "gel": 1.15, "lithium": 1.03}

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


@dataclass(frozen=True, slots=True)
class Switch:
    """A relay or contactor beside the module: the most it switches, A; mass with base, fuse and holder, g; coil, W."""

    name: str
    most_a: float
    mass_g: int
    coil_w: float
    price: int


# Common practice, no source.
SWITCHES = (
    Switch("relay", 40, 60, 1.8, 10),
    Switch("contactor", 100, 350, 5.0, 45),
    Switch("contactor", 200, 450, 8.0, 75),
    Switch("contactor", 400, 900, 12.0, 140),
)

# What moves, lifts, steers, feeds fuel or starts is never switched together with anything else. By kind: motors, and
# whatever a coil or a solenoid may pull in; by words in the names of load and command: the rest.
_NEVER_JOINED_KINDS = ("motor", "fan", "solenoid", "coil")
_NEVER_JOINED_WORDS = frozenset(
    [
        *(
            "winch",
            "windlass",
            "starter",
            "start",
            "crank",
            "fuel",
            "pump",
            "injector",
            "ignition",
            "engine",
            "steering",
        ),
        *("brake", "clutch", "gear", "lift", "hoist", "jack", "ramp", "door", "window", "seat", "thruster", "trim"),
        *("tilt", "crane", "capstan", "steering"),
    ]
)


def comes_on_unharmed(kind: str, name: str) -> bool:
    """Whether a load may come on when only something else was asked for.

    Parameters
    ----------
    kind : str
        A word of `KINDS`.
    name : str
        Of the load or of its command.

    Returns
    -------
    bool
        False for what moves, lifts, steers, feeds fuel or starts the engine.
    """
    words = re.findall("[a-z]+", name.casefold())
    either = {*words, *(word.removesuffix("s") for word in words)}
    return kind not in _NEVER_JOINED_KINDS and not either & _NEVER_JOINED_WORDS
