"""Kinds of load and settings of a vehicle, with what is assumed where the tables leave them out."""

import re
from dataclasses import dataclass
from fractions import Fraction

__all__ = [
    "ACTIONS",
    "CHEMISTRIES",
    "IMPORTANCES",
    "INPUT_KINDS",
    "KINDS",
    "NEEDS",
    "SWITCHES",
    "Kind",
    "Settings",
    "Switch",
    "comes_on_unharmed",
    "default_drop_pct",
]


@dataclass(frozen=True, slots=True)
class Settings:
    """``settings.toml`` with defaults filled in.

    Parameters
    ----------
    system_v, reference_v : float
        Nominal voltage; voltage at which the currents in ``loads`` are stated, V.
    headroom_pct, module_headroom_pct : Fraction
        Least headroom on a channel; on banks and the whole module, per cent.
    spare_channels : int
        Channels to stay free.
    strategy : str
        ``isolate`` or ``spare``.
    module_ambient_c : float
        Around the module where its place says nothing, deg C.
    return_path : str
        ``chassis`` or ``wire``.
    wire_sizes : str
        ``metric`` or ``awg``.
    insulation_c : float
        Temperature class of the wire's insulation, deg C.
    rules : str
        Rule pack for the least wire size and the distance of the main fuse: ``general`` or ``boat``.
    lowest_ambient_c : float
        Coldest the vehicle is used at, deg C: cold copper draws most.
    wire_ambient_c : float
        Around a wire where no place says otherwise, deg C.
    bundle_wires : int
        Loaded wires in a bundle where the harness is not known.
    battery_ah : float or None
        Battery capacity, Ah.
    battery_place : str or None
        Place of the battery.
    battery_floor_pct : float
        Charge at which the battery counts as empty, per cent of battery_ah.
    battery_chemistry : str
        ``flooded``, ``agm``, ``gel`` or ``lithium``.
    battery_rate_h : float
        Time over which battery_ah is stated, h.
    peukert : float or None
        Exponent of Peukert's law, 1 to 2; None: by chemistry.
    battery_mohm : float or None
        Internal resistance of the battery, milliohm; None: estimated from its capacity.
    isolator_place, starter_place, alternator_place : str or None
        Places of battery isolator, starter motor and alternator.
    slack_pct, end_allowance_m : float
        Allowance on every wire: per cent of its route, m at each end.
    tolerance_loads : int
        How many loads at once may be at the top of their tolerance and the allocation still hold.
    time_limit_s : float
        Clock for one allocation, s.
    bus_kbit : int
        Bit rate of the bus, kbit/s.
    bus_stub_m : float
        From the trunk of the bus to each of its nodes, m; 0: the trunk passes through their connectors.
    control_unit_load : str or None
        Load that is the supply of the control units and expanders; None: the load of their name, where there is one.
    """

    system_v: float = 12.0
    reference_v: float = 12.0
    headroom_pct: Fraction = Fraction(20)
    module_headroom_pct: Fraction = Fraction(10)
    spare_channels: int = 0
    strategy: str = "isolate"
    module_ambient_c: float = 25.0
    return_path: str = "chassis"
    wire_sizes: str = "metric"
    rules: str = "general"
    lowest_ambient_c: float = -20.0
    insulation_c: float = 105.0
    wire_ambient_c: float = 30.0
    bundle_wires: int = 1
    battery_ah: float | None = None
    battery_place: str | None = None
    battery_floor_pct: float = 50.0
    battery_chemistry: str = "flooded"
    battery_rate_h: float = 20.0
    peukert: float | None = None
    battery_mohm: float | None = None
    isolator_place: str | None = None
    starter_place: str | None = None
    alternator_place: str | None = None
    slack_pct: float = 5.0
    end_allowance_m: float = 0.15
    tolerance_loads: int = 3
    time_limit_s: float = 60.0
    bus_kbit: int = 500
    bus_stub_m: float = 0.0
    control_unit_load: str | None = None


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

KEYPAD_KEYS = 8  # switches that one keypad on the bus replaces; common practice, no source
SOFT_MULTIPLE = Fraction(3, 2)  # peak over running with a soft start; common practice, no source
SOFT_MS = 300.0  # over which a soft start brings a load up; common practice, no source

# What moves, lifts, steers, feeds fuel or starts is never switched together with anything else. By kind: motors, and
# whatever a coil or a solenoid may pull in; by words in the names of load and command: the rest, and what tells others
# on the road something that would not be true.
_NEVER_JOINED_KINDS = ("motor", "fan", "solenoid", "coil")
_NEVER_JOINED_WORDS = frozenset(
    [
        *("winch", "windlass", "capstan", "crane", "hoist", "lift", "jack", "ramp", "hatch", "tailgate"),
        *("door", "window", "seat", "slide", "tilt"),
        *("steering", "rudder", "autopilot", "pilot", "thruster", "trim", "throttle", "actuator", "servo"),
        *("valve", "hydraulic", "pto", "brake", "clutch", "gear"),
        *("starter", "start", "crank", "ignition", "engine", "fuel", "pump", "injector", "compressor"),
        *("indicator", "indicate", "turn", "hazard", "flasher", "stop"),
        *("reverse", "reversing", "horn", "siren", "alarm"),
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
        False for what moves, lifts, steers, feeds fuel or starts the engine, and for what signals to others.
    """
    words = re.findall("[a-z]+", name.casefold())
    either = {*words, *(word.removesuffix("s") for word in words)}
    return kind not in _NEVER_JOINED_KINDS and not either & _NEVER_JOINED_WORDS
