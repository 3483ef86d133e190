"""What a concession makes of a load or of a vehicle: a relay's coil, a soft start, a measured current, a keypad."""

from dataclasses import replace
from fractions import Fraction

from pdm_alloc.domain.kinds import SWITCHES, Switch
from pdm_alloc.domain.vehicle import Load, Vehicle

__all__ = [
    "KEYPAD_KEYS",
    "MARGINS",
    "SOFT_MULTIPLE",
    "coil_name",
    "coil_of",
    "measured",
    "on_keypad",
    "softened",
    "switch_for",
    "without_margins",
]

KEYPAD_KEYS = 8  # switches that one keypad on the bus replaces; common practice, no source

SOFT_MULTIPLE = Fraction(3, 2)  # peak over running with a soft start; common practice, no source

SOFT_MS = 300.0  # over which a soft start brings a load up; common practice, no source


def switch_for(load: Load) -> Switch | None:
    """The smallest of `SWITCHES` for all items of a load, tolerance included; None: it is beyond them."""
    current_ma = load.running_ma * load.count * (1 + load.tolerance_pct / 100)
    return next((switch for switch in SWITCHES if current_ma <= 1000 * switch.most_a), None)


def coil_name(load: str) -> str:
    """Name of what is left on the module of a load on a relay."""
    return f"{load} (relay coil)"


def coil_of(load: Load, system_v: float) -> Load:
    """The coil of an external relay in place of a load: what is left of it on the module.

    A load that turns both ways takes two change-over relays, whose coils are on channels of their own.
    """
    switch = switch_for(load)
    if switch is None:
        raise ValueError(f"no relay or contactor switches {load.name}")
    coil_ma = round(1000 * switch.coil_w / system_v)
    both_ways = "reversing" in load.needs
    return Load(
        name=coil_name(load.name),
        command=load.command,
        running_ma=coil_ma,
        kind="coil",
        count=2 if both_ways else 1,
        share=not both_ways,
        inrush_ma=coil_ma,
        importance=load.importance,
        place=load.place,
        length_m=load.length_m,
        max_drop_pct=load.max_drop_pct,
        volt_exponent=1.0,
        note=f"external {switch.name} with its own fuse for {load.name}",
        extra=load.extra,
    )


def softened(load: Load) -> Load:
    """The load soft-started by the channel's PWM: less peak, for longer."""
    peak = -(-load.running_ma * SOFT_MULTIPLE.numerator // SOFT_MULTIPLE.denominator)
    if load.inrush_ma <= peak:
        return load
    length = max(load.inrush_ms, SOFT_MS)
    return replace(load, inrush_ma=peak, inrush_ms=length, needs=load.needs | {"pwm"}, inrush_assumed=True)


def measured(load: Load) -> Load:
    """The load with its current measured and as guessed: nothing is left to be off."""
    return replace(load, tolerance_pct=Fraction(0))


def on_keypad(vehicle: Vehicle, names: tuple[str, ...]) -> Vehicle:
    """The vehicle with some switches on a keypad on the bus: they take no input of a module."""
    inputs = (replace(i, kind="bus", read_by="keypad") if i.name in names else i for i in vehicle.inputs)
    return replace(vehicle, inputs=tuple(inputs))


MARGINS = ("tolerance", "module headroom", "headroom")


def without_margins(vehicle: Vehicle, margins: frozenset[str]) -> Vehicle:
    """The vehicle with some of `MARGINS` taken as nothing: no rating is touched."""
    settings = vehicle.settings
    if "module headroom" in margins:
        settings = replace(settings, module_headroom_pct=Fraction(0))
    if "headroom" in margins:
        settings = replace(settings, headroom_pct=Fraction(0))
    if "tolerance" in margins:
        loads = tuple(replace(load, tolerance_pct=Fraction(0)) for load in vehicle.loads)
        vehicle = replace(vehicle, loads=loads)
    return replace(vehicle, settings=settings)
