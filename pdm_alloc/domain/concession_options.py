"""The concessions a vehicle offers, how much each hurts, and the vehicle when one is made."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import combinations

from pdm_alloc.domain.kinds import IMPORTANCES, KEYPAD_KEYS, SOFT_MS, SOFT_MULTIPLE, SWITCHES, Switch, comes_on_unharmed
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import PPM, Load, State, Vehicle, joined

__all__ = [
    *("KINDS", "WEIGHTS", "Option", "coil_name", "coil_of", "concede", "eased", "joined_name"),
    *("joins_with_others", "options", "refitted", "softened", "switch_for", "weight_of"),
]

# (vital, needed, comfort); None: never
WEIGHTS: dict[str, tuple[int | None, int | None, int | None]] = {
    "join harmless": (None, 1, 1),
    "headroom": (6, 3, 2),
    "soft_start": (6, 3, 2),
    "relay": (9, 5, 4),
    "join": (None, 6, 4),
    "separation": (10, 8, 6),
    "leave_out": (None, None, 8),
    "margin": (3, 3, 3),
    "keypad": (3, 3, 3),
    "drop": (6, 3, 2),
    "measure": (4, 2, 2),
    "place": (3, 3, 3),
    "divide": (None, 5, 4),
    "second_module": (16, 16, 16),
}
KINDS = tuple(kind for kind in WEIGHTS if kind != "join harmless")

_COLUMN = {"vital": 0, "needed": 1, "comfort": 2}


def weight_of(vehicle: Vehicle, kind: str, subject: str, importance: str, harmless: bool = False) -> int | None:
    """Weight of a concession.

    Parameters
    ----------
    vehicle : Vehicle
        Its own weights come first: for the subject, then for all subjects (``*``).
    kind, subject : str
        A word of `KINDS`; load, command, label or keypad.
    importance : str
        Highest importance of the loads concerned.
    harmless : bool
        A join of commands that are always on together.

    Returns
    -------
    int or None
        At least 1; None: never.
    """
    weights = {c.subject: c.weight for c in vehicle.concessions if c.kind == kind}
    default = WEIGHTS["join harmless" if harmless else kind][_COLUMN[importance]]
    if default is None and importance == "vital":
        return None
    weight = weights.get(subject, weights.get("*", default))
    return None if weight is None else max(1, weight)


def switch_for(load: Load) -> Switch | None:
    """The smallest of `SWITCHES` for all items of a load, tolerance included; None: it is beyond them."""
    current_ma = load.running_ma * load.count * (1 + load.tolerance_pct / 100)
    return next((switch for switch in SWITCHES if current_ma <= 1000 * switch.most_a), None)


def joins_with_others(vehicle: Vehicle, load: Load) -> bool:
    """Whether a load may share its switching with another command: no harm is done when it comes on unasked."""
    calm = "reversing" not in load.needs and load.importance != "vital" and comes_on_unharmed(load.kind, load.name)
    return calm and comes_on_unharmed(load.kind, load.command) and vehicle.command(load.command).joins


LARGE_FROM_MA = 3000  # below it a relay or a soft start is more trouble than the channel it relieves
TRIP_HEADROOM_PCT = 20  # the trip setting, a quarter above the draw, leaves no channel less: nothing to be given up
_SOFT_KINDS = ("filament", "motor", "fan", "heater")
_DIVIDED_KINDS = ("heater", "led")  # of which two halves may be wired each by itself
_ON_OR_OFF_KINDS = ("fan", "filament", "heater", "led")  # that do without PWM, unlike a valve that is set by it


@dataclass(frozen=True, slots=True)
class Option:
    """One concession that could be made.

    Parameters
    ----------
    kind : str
        A word of `KINDS`.
    subject : str
        Command, load, label, keypad, or two commands joined with ``+``.
    weight : int
        How much it hurts.
    members : tuple of str
        The commands of a join, the switches on a keypad; otherwise the subject alone.
    harmless : bool
        A join of commands that the states always have on together.
    amount : float
        Of a drop what is allowed, per cent; otherwise 0.
    unit : Unit or None
        The module where it is moved to, or the second module.
    """

    kind: str
    subject: str
    weight: int
    members: tuple[str, ...]
    harmless: bool = False
    amount: float = 0.0
    unit: Unit | None = field(default=None, compare=False)


def options(vehicle: Vehicle, late: Callable[[], bool] | None = None) -> tuple[Option, ...]:
    """Every concession the vehicle offers, canonical order.

    Parameters
    ----------
    vehicle : Vehicle
        Locked loads are left as they are; vital loads are never left out or joined with others.
    late : callable, optional
        True ends the listing of joins, of which there are as many as pairs of commands.

    Returns
    -------
    tuple of Option
        Lightest first, then by kind and subject.
    """
    of_commands = [*_headroom(vehicle), *_joins(vehicle, late)]
    offered = [*of_commands, *_of_loads(vehicle), *_separations(vehicle), *_of_module(vehicle)]
    return tuple(sorted(offered, key=lambda o: (o.weight, o.kind, natural_key(o.subject))))


def eased(vehicle: Vehicle, load: str, drop_pct: float) -> Iterator[Option]:
    """More voltage drop allowed to a load, per cent, where that may be given up."""
    for option in _option(vehicle, "drop", load, [vehicle.load(load)]):
        yield replace(option, amount=drop_pct)


def refitted(vehicle: Vehicle, kind: str, unit: Unit, before: str = "") -> Iterator[Option]:
    """A module moved from one place to another (``place``), or one more (``second_module``), where that may be done."""
    subject = unit.label if kind == "second_module" else unit.place or ""
    for option in _option(vehicle, kind, subject, (), (before, subject)):
        yield replace(option, unit=unit)


def _of_module(vehicle: Vehicle) -> Iterator[Option]:
    if vehicle.settings.module_headroom_pct > 0:
        yield from _option(vehicle, "margin", "banks and whole module", ())

    switches = sorted((i.name for i in vehicle.inputs if i.kind == "switch"), key=natural_key)
    for first in range(0, len(switches), KEYPAD_KEYS):
        name = f"keypad {first // KEYPAD_KEYS + 1}"
        yield from _option(vehicle, "keypad", name, (), tuple(switches[first : first + KEYPAD_KEYS]))


def _option(
    vehicle: Vehicle,
    kind: str,
    subject: str,
    loads: Iterable[Load],
    members: tuple[str, ...] = (),
    harmless: bool = False,
) -> Iterator[Option]:
    importance = min((x.importance for x in loads), key=IMPORTANCES.index, default="comfort")
    weight = weight_of(vehicle, kind, subject, importance, harmless)
    if weight is not None:
        yield Option(kind, subject, weight, members or (subject,), harmless)


def _headroom(vehicle: Vehicle) -> Iterator[Option]:
    if vehicle.settings.headroom_pct > TRIP_HEADROOM_PCT:
        for name, loads in _by_command(vehicle).items():
            yield from _option(vehicle, "headroom", name, loads)


def _joins(vehicle: Vehicle, late: Callable[[], bool] | None) -> Iterator[Option]:
    by_command = {n: x for n, x in _by_command(vehicle).items() if _joinable(vehicle, x)}
    action = {command.name: command.action for command in vehicle.commands}
    for one, two in combinations(sorted(by_command, key=natural_key), 2):
        if late and late():
            return
        if action[one] == action[two]:
            harmless = vehicle.states_given and all(_together_in(state, one, two) for state in vehicle.states)
            loads = [*by_command[one], *by_command[two]]
            yield from _option(vehicle, "join", joined_name(one, two), loads, (one, two), harmless)


def _together_in(state: State, one: str, two: str) -> bool:
    """Both always on, or both off: equal shares of the time need not be the same time."""
    duties = {state.duty_ppm.get(one, 0), state.duty_ppm.get(two, 0)}
    return duties in ({0}, {PPM})


def _joinable(vehicle: Vehicle, loads: Sequence[Load]) -> bool:
    locked = {lock.load for lock in vehicle.locked}
    return all(x.share and x.name not in locked and joins_with_others(vehicle, x) for x in loads)


def _of_loads(vehicle: Vehicle) -> Iterator[Option]:
    locked = {lock.load for lock in vehicle.locked}
    for load in (x for x in vehicle.loads if x.name not in locked):
        large = load.running_ma >= LARGE_FROM_MA
        may_be_relayed = (large and (not load.needs or _does_on_or_off(vehicle, load))) or load.needs == {"reversing"}
        if may_be_relayed and switch_for(load) is not None:
            yield from _option(vehicle, "relay", load.name, [load])
        if large and load.kind in _SOFT_KINDS and softened(load) != load and "reversing" not in load.needs:
            yield from _option(vehicle, "soft_start", load.name, [load])
        if large and load.kind in _DIVIDED_KINDS and load.count == 1 and not load.needs:
            yield from _option(vehicle, "divide", load.name, [load])
        if large and load.tolerance_pct > 0:
            yield from _option(vehicle, "measure", load.name, [load])
        if load.importance == "comfort":
            yield from _option(vehicle, "leave_out", load.name, [load])


def _does_on_or_off(vehicle: Vehicle, load: Load) -> bool:
    """Whether a load that asks for PWM does without it on a relay, which no pulsed command may switch."""
    pulsed = vehicle.command(load.command).action == "pwm"
    return load.needs == {"pwm"} and load.kind in _ON_OR_OFF_KINDS and not pulsed


def _separations(vehicle: Vehicle) -> Iterator[Option]:
    labels: dict[str, list[Load]] = {}
    for load in vehicle.loads:
        if load.separate:
            labels.setdefault(load.separate, []).append(load)
    for label, loads in labels.items():
        if len({x.command for x in loads}) < len(loads):
            yield from _option(vehicle, "separation", label, loads)


def _by_command(vehicle: Vehicle) -> dict[str, list[Load]]:
    by_command: dict[str, list[Load]] = {}
    for load in vehicle.loads:
        by_command.setdefault(load.command, []).append(load)
    return by_command


def joined_name(one: str, two: str) -> str:
    """Name of two commands that are one."""
    return f"{one} + {two}"


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
    return replace(
        load, inrush_ma=peak, inrush_ms=max(load.inrush_ms, SOFT_MS), needs=load.needs | {"pwm"}, inrush_assumed=True
    )


def concede(vehicle: Vehicle, concessions: Iterable[Option]) -> Vehicle:
    """The vehicle with concessions made.

    Parameters
    ----------
    vehicle : Vehicle
        As it was wanted.
    concessions : iterable of Option
        Of this vehicle; a command is joined once at the most.

    Returns
    -------
    Vehicle
        Joins last, so that the others still find their commands.
    """
    for option in sorted(concessions, key=lambda o: (o.kind == "join", o.kind, o.subject)):
        vehicle = _MAKE[option.kind](vehicle, option)
    return vehicle


def _each_load(vehicle: Vehicle, change: Callable[[Load], Load | None]) -> Vehicle:
    changed = [change(load) for load in vehicle.loads]
    return replace(vehicle, loads=tuple(load for load in changed if load is not None))


def _less_headroom(vehicle: Vehicle, option: Option) -> Vehicle:
    half = vehicle.settings.headroom_pct / 2
    commands = tuple(replace(c, headroom_pct=half) if c.name == option.subject else c for c in vehicle.commands)
    return replace(vehicle, commands=commands)


def _relayed(vehicle: Vehicle, option: Option) -> Vehicle:
    system_v = vehicle.settings.system_v
    return _each_load(vehicle, lambda x: coil_of(x, system_v) if x.name == option.subject else x)


def _half_margin(vehicle: Vehicle, option: Option) -> Vehicle:
    settings = vehicle.settings
    return replace(vehicle, settings=replace(settings, module_headroom_pct=settings.module_headroom_pct / 2))


def _on_keypad(vehicle: Vehicle, option: Option) -> Vehicle:
    inputs = (replace(i, kind="bus", read_by="keypad") if i.name in option.members else i for i in vehicle.inputs)
    return replace(vehicle, inputs=tuple(inputs))


def _altered(vehicle: Vehicle, option: Option) -> Vehicle:
    alter = _ALTER[option.kind]
    return _each_load(vehicle, lambda x: alter(x, option) if x.name == option.subject else x)


def _joined(vehicle: Vehicle, option: Option) -> Vehicle:
    one, two = option.members
    return joined(vehicle, (one, two), option.subject, option.harmless)


_ALTER: dict[str, Callable[[Load, Option], Load | None]] = {
    "leave_out": lambda load, _: None,
    "divide": lambda x, _: replace(x, count=2, running_ma=-(-x.running_ma // 2), inrush_ma=-(-x.inrush_ma // 2)),
    "soft_start": lambda load, _: softened(load),
    "measure": lambda load, _: replace(load, tolerance_pct=Fraction(0)),
    "drop": lambda load, option: replace(load, max_drop_pct=option.amount),
}
_MAKE: dict[str, Callable[[Vehicle, Option], Vehicle]] = {
    **dict.fromkeys(_ALTER, _altered),
    "headroom": _less_headroom,
    "relay": _relayed,
    "separation": lambda vehicle, option: _each_load(
        vehicle, lambda x: replace(x, separate=None) if x.separate == option.subject else x
    ),
    "join": _joined,
    "margin": _half_margin,
    "keypad": _on_keypad,
    **dict.fromkeys(("place", "second_module"), lambda vehicle, _: vehicle),  # see `units_with`
}
