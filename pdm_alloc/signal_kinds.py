"""Kinds of signal and functions of a pin: trade words with one meaning each, and what each needs electrically.

One labelled table, so that every assumption can be read, questioned and changed in one place.
"""

from dataclasses import dataclass

__all__ = [
    "FUNCTIONS",
    "INPUT_SIGNALS",
    "QUALIFIERS",
    "READERS",
    "RELAY_COIL_MA",
    "SIGNAL_KINDS",
    "SIGNAL_NEEDS",
    "SUPPLIES",
    "PinFunction",
    "SignalKind",
]


@dataclass(frozen=True, slots=True)
class PinFunction:
    """What a pin of a box can do.

    Parameters
    ----------
    name : str
        Word used in the column ``functions`` of the table ``signal_pins``.
    meaning : str
        What it is electrically.
    limited : bool
        True: the pin drives or feeds something, so its ``max_a`` must be known.
    """

    name: str
    meaning: str
    limited: bool = False


_FUNCTIONS = (
    PinFunction("voltage_input", "measures a voltage against sensor ground; high resistance, no pull-up"),
    PinFunction("resistance_input", "measures a resistance to sensor ground through its own pull-up to 5 V"),
    PinFunction("switch_to_ground", "reads a switch that closes to ground; own pull-up"),
    PinFunction("switch_to_battery", "reads a switch that closes to battery voltage; own pull-down"),
    PinFunction("frequency", "counts edges of a single-ended signal"),
    PinFunction("frequency_pair", "one half of a differential input; two pins with one pair label count edges"),
    PinFunction("low_side", "switches a load to ground", True),
    PinFunction("high_side", "switches a load to battery voltage", True),
    PinFunction("half_bridge", "drives high or low; two of one box make a full bridge", True),
    PinFunction("ignition_trigger", "logic output to an ignition coil's driver", True),
    PinFunction("injector_driver", "low side with a clamp for an injector", True),
    PinFunction("bus", "one wire of the bus; two pins with one pair label make a connection"),
    PinFunction("supply_5v", "feeds sensors with 5 V; sensors may share it up to max_a", True),
    PinFunction("sensor_ground", "clean ground of sensors; they may share it up to max_a", True),
    PinFunction("pwm", "beside low_side, high_side or half_bridge: can be switched by PWM"),
)
FUNCTIONS: dict[str, PinFunction] = {function.name: function for function in _FUNCTIONS}
SUPPLIES = ("supply_5v", "sensor_ground")
QUALIFIERS = ("pwm",)


@dataclass(frozen=True, slots=True)
class SignalKind:
    """What a kind of signal takes.

    Parameters
    ----------
    name : str
        Word used in the column ``kind`` of the table ``signals``.
    function : str
        Function each of its pins must have.
    pins : int
        Pins it takes: 1, or 2.
    labelled : bool
        True: its two pins must share a pair label. False with two pins: any two of one box.
    current_ma : int or None
        Current assumed where the table says none, mA: of a sensor on its supply and ground, of an actuator on its pin;
        None: nothing is assumed, ``current_a`` must be given.
    source : str
        Where the current comes from.
    """

    name: str
    function: str
    pins: int = 1
    labelled: bool = False
    current_ma: int | None = 0
    source: str = "no current but a leak"

    @property
    def is_output(self) -> bool:
        """Whether its pins carry its current."""
        return FUNCTIONS[self.function].limited


_COMMON = "common practice, no source"
_KINDS = (
    SignalKind("voltage", "voltage_input", current_ma=10, source=_COMMON),
    SignalKind("resistance", "resistance_input", current_ma=5, source="5 V across a pull-up of 1 kohm"),
    SignalKind("switch_to_ground", "switch_to_ground", current_ma=5, source=_COMMON),
    SignalKind("switch_to_battery", "switch_to_battery"),
    SignalKind("frequency", "frequency", current_ma=15, source=_COMMON),
    SignalKind("frequency_pair", "frequency_pair", pins=2, labelled=True),
    SignalKind("low_side", "low_side", current_ma=None, source="must be given"),
    SignalKind("high_side", "high_side", current_ma=None, source="must be given"),
    SignalKind("half_bridge", "half_bridge", current_ma=None, source="must be given"),
    SignalKind("full_bridge", "half_bridge", pins=2, current_ma=None, source="must be given"),
    SignalKind("ignition_trigger", "ignition_trigger", current_ma=20, source=_COMMON),
    SignalKind("injector", "injector_driver", current_ma=None, source="must be given"),
    SignalKind("bus", "bus", pins=2, labelled=True),
)
SIGNAL_KINDS: dict[str, SignalKind] = {kind.name: kind for kind in _KINDS}
SIGNAL_NEEDS = ("pwm", "supply_5v", "sensor_ground", "spare")

# What reads an input of the vehicle, and as which kind of signal.
READERS = ("module", "control_unit", "keypad")
INPUT_SIGNALS = {"switch": "switch_to_ground", "analog": "voltage"}

RELAY_COIL_MA = 150  # a small 12 V relay of 80 to 100 ohm; common practice, no source
