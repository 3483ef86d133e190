"""The concessions a vehicle offers, how much each hurts, and the vehicle when one is made."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations

from pdm_alloc.domain.concession_changes import KEYPAD_KEYS, coil_of, measured, on_keypad, softened, switch_for
from pdm_alloc.domain.kinds import IMPORTANCES, comes_on_unharmed
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle

__all__ = [
    "KINDS",
    "WEIGHTS",
    "Option",
    "concede",
    "eased",
    "joined_name",
    "joins_with_others",
    "options",
    "weight_of",
]

KINDS = ("headroom", "join", "relay", "separation", "soft_start", "leave_out", "margin", "keypad", "drop", "measure")

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
}

_COLUMN = {"vital": 0, "needed": 1, "comfort": 2}


def weight_of(vehicle: Vehicle, kind: str, subject: str, importance: str, harmless: bool = False) -> int | None:
    """Weight of a concession.

    Parameters
    ----------
    vehicle : Vehicle
        Its own weights come first: for the subject, then for all subjects (``*``).
    kind, subject : str
        A word of `KINDS`; the load, command, label or pair of commands.
    importance : str
        Highest importance of the loads concerned.
    harmless : bool
        A join of commands that are always on together.

    Returns
    -------
    int or None
        At least 1; None: never.
    """
    own = {c.subject: c.weight for c in vehicle.concessions if c.kind == kind}
    default = WEIGHTS["join harmless" if harmless else kind][_COLUMN[importance]]
    if default is None and importance == "vital":
        return None
    weight = own.get(subject, own.get("*", default))
    return None if weight is None else max(1, weight)


def joins_with_others(vehicle: Vehicle, load: Load) -> bool:
    """Whether a load may share its switching with another command: no harm is done when it comes on unasked."""
    calm = "reversing" not in load.needs and load.importance != "vital" and comes_on_unharmed(load.kind, load.name)
    return calm and comes_on_unharmed(load.kind, load.command) and vehicle.command(load.command).joins


LARGE_FROM_MA = 3000  # below it a relay or a soft start is more trouble than the channel it relieves

TRIP_HEADROOM_PCT = 20  # the trip setting, a quarter above the draw, leaves no channel less: nothing to be given up

_SOFT_KINDS = ("filament", "motor", "fan", "heater")


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
    """

    kind: str
    subject: str
    weight: int
    members: tuple[str, ...]
    harmless: bool = False
    amount: float = 0.0


def options(vehicle: Vehicle) -> tuple[Option, ...]:
    """Every concession the vehicle offers, canonical order.

    Parameters
    ----------
    vehicle : Vehicle
        Locked loads are left as they are; vital loads are never left out or joined with others.

    Returns
    -------
    tuple of Option
        Lightest first, then by kind and subject.
    """
    offered = [*_headroom(vehicle), *_joins(vehicle), *_of_loads(vehicle), *_separations(vehicle)]
    offered += [*_margin(vehicle), *_keypads(vehicle)]
    return tuple(sorted(offered, key=lambda o: (o.weight, o.kind, natural_key(o.subject))))


def eased(vehicle: Vehicle, load: str, drop_pct: float) -> Iterator[Option]:
    """More voltage drop allowed to a load, per cent, where that may be given up."""
    for option in _option(vehicle, "drop", load, [vehicle.load(load)]):
        yield replace(option, amount=drop_pct)


def _margin(vehicle: Vehicle) -> Iterator[Option]:
    if vehicle.settings.module_headroom_pct > 0:
        yield from _option(vehicle, "margin", "banks and whole module", ())


def _keypads(vehicle: Vehicle) -> Iterator[Option]:
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


def _joins(vehicle: Vehicle) -> Iterator[Option]:
    by_command = {n: x for n, x in _by_command(vehicle).items() if _joinable(vehicle, x)}
    for one, two in combinations(sorted(by_command, key=natural_key), 2):
        if vehicle.command(one).action == vehicle.command(two).action:
            harmless = vehicle.states_given and all(_together_in(state, one, two) for state in vehicle.states)
            loads = [*by_command[one], *by_command[two]]
            yield from _option(vehicle, "join", joined_name(one, two), loads, (one, two), harmless)


def _together_in(state: State, one: str, two: str) -> bool:
    """Both always on, or both off: equal shares of the time need not be the same time."""
    duties = {state.duty_ppm.get(one, 0), state.duty_ppm.get(two, 0)}
    return duties in ({0}, {PPM})


def _joinable(vehicle: Vehicle, loads: Sequence[Load]) -> bool:
    locked = {lock.load for lock in vehicle.locked}
    wired = any(x.name in locked or not x.share for x in loads)
    return not wired and all(joins_with_others(vehicle, x) for x in loads)


def _of_loads(vehicle: Vehicle) -> Iterator[Option]:
    locked = {lock.load for lock in vehicle.locked}
    for load in vehicle.loads:
        if load.name in locked:
            continue
        large = load.running_ma >= LARGE_FROM_MA
        if ((large and not load.needs) or load.needs == {"reversing"}) and switch_for(load) is not None:
            yield from _option(vehicle, "relay", load.name, [load])
        if large and load.kind in _SOFT_KINDS and softened(load) != load and "reversing" not in load.needs:
            yield from _option(vehicle, "soft_start", load.name, [load])
        if large and load.tolerance_pct > 0:
            yield from _option(vehicle, "measure", load.name, [load])
        if load.importance == "comfort":
            yield from _option(vehicle, "leave_out", load.name, [load])


def _separations(vehicle: Vehicle) -> Iterator[Option]:
    labels: dict[str, list[Load]] = {}
    for load in vehicle.loads:
        if load.separate:
            labels.setdefault(load.separate, []).append(load)
    for label, loads in labels.items():
        if len({x.command for x in loads}) < len(loads):
            yield from _option(vehicle, "separation", label, loads)


def _by_command(vehicle: Vehicle) -> dict[str, list[Load]]:
    found: dict[str, list[Load]] = {}
    for load in vehicle.loads:
        found.setdefault(load.command, []).append(load)
    return found


def joined_name(one: str, two: str) -> str:
    """Name of two commands that are one."""
    return f"{one} + {two}"


def concede(vehicle: Vehicle, made: Iterable[Option]) -> Vehicle:
    """The vehicle with concessions made.

    Parameters
    ----------
    vehicle : Vehicle
        As it was wanted.
    made : iterable of Option
        Of this vehicle; a command is joined once at the most.

    Returns
    -------
    Vehicle
        Joins last, so that the others still find their commands.
    """
    for option in sorted(made, key=lambda o: (o.kind == "join", o.kind, o.subject)):
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


def _left_out(vehicle: Vehicle, option: Option) -> Vehicle:
    return _each_load(vehicle, lambda x: None if x.name == option.subject else x)


def _soft(vehicle: Vehicle, option: Option) -> Vehicle:
    return _each_load(vehicle, lambda x: softened(x) if x.name == option.subject else x)


def _together(vehicle: Vehicle, option: Option) -> Vehicle:
    return _each_load(vehicle, lambda x: replace(x, separate=None) if x.separate == option.subject else x)


def _known(vehicle: Vehicle, option: Option) -> Vehicle:
    return _each_load(vehicle, lambda x: measured(x) if x.name == option.subject else x)


def _more_drop(vehicle: Vehicle, option: Option) -> Vehicle:
    return _each_load(vehicle, lambda x: replace(x, max_drop_pct=option.amount) if x.name == option.subject else x)


def _half_margin(vehicle: Vehicle, option: Option) -> Vehicle:
    settings = vehicle.settings
    return replace(vehicle, settings=replace(settings, module_headroom_pct=settings.module_headroom_pct / 2))


def _joined(vehicle: Vehicle, option: Option) -> Vehicle:
    one, two = (vehicle.command(name) for name in option.members)
    name = joined_name(one.name, two.name)
    condition = f"({one.condition}) or ({two.condition})" if one.condition and two.condition else ""
    headroom = _stricter(one, two, vehicle.settings.headroom_pct)
    command = Command(name, condition, one.action, "two commands on one channel", headroom, together=True)
    vehicle = _each_load(vehicle, lambda x: replace(x, command=name) if x.command in option.members else x)
    commands = (*(c for c in vehicle.commands if c.name not in option.members), command)
    states = tuple(_joined_state(state, option, name) for state in vehicle.states)
    return replace(vehicle, commands=commands, states=states)


def _stricter(one: Command, two: Command, wanted: Fraction) -> Fraction | None:
    pair = [wanted if c.headroom_pct is None else c.headroom_pct for c in (one, two)]
    return None if max(pair) == wanted else max(pair)


def _joined_state(state: State, option: Option, name: str) -> State:
    """Either command switches both: unless they are always on together, their times on may add up."""
    duties = {c: d for c, d in state.duty_ppm.items() if c not in option.members}
    own = [state.duty_ppm.get(member, 0) for member in option.members]
    duties[name] = max(own) if option.harmless else min(PPM, sum(own))
    return replace(state, duty_ppm=duties)


_MAKE = {
    "headroom": _less_headroom,
    "relay": _relayed,
    "leave_out": _left_out,
    "soft_start": _soft,
    "separation": _together,
    "join": _joined,
    "margin": _half_margin,
    "keypad": lambda vehicle, option: on_keypad(vehicle, option.members),
    "drop": _more_drop,
    "measure": _known,
}
