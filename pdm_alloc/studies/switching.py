"""What is on under one setting of the inputs, what it draws, and what keeps the rest off: a model of the conditions."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import pandas as pd

from pdm_alloc.circuits.draws import CircuitDraw
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.domain.condition import Condition, Undecided, condition_names, fewest_changes, parse_condition
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.showing import UnknownName, counted, headline_table, named
from pdm_alloc.domain.vehicle import PPM, State, Vehicle
from pdm_alloc.harness.distribution import state_supply
from pdm_alloc.program.condition_rows import own_input
from pdm_alloc.program.sums import Cut, Limit, Types, amounts_of, item_ma
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.channel_tables import loads_text
from pdm_alloc.result.placed import Place, PlacedCircuit, place_of
from pdm_alloc.result.worst import input_names, limit_name, loadings_of, spoken

__all__ = ["BENCH", "CHANNELS", "COMMANDS", "LIMITS", "OFF", "PRESS", "SUPPLY", "Switchboard", "Switching", "switching"]

BENCH = "on the bench"
"""Name of the state where none is chosen: nothing is forbidden, the reference voltage, no charging current."""

COMMANDS = ("command", "on", "action", "loads", "running_a", "running_top_a")
CHANNELS = (
    *("module", "channel", "bank", "command", "loads", "on"),
    *("running_a", "running_top_a", "counted_a", "limit_a", "used_pct", "headroom_a"),
)
LIMITS = ("module", "limit", "supply_v", "running_a", "counted_a", "limit_a", "used_pct", "headroom_a")
SUPPLY = ("supply_v", "total_a", "other_a", "charging_a", "battery_a", "floor_minutes")
OFF = ("command", "because", "change", "state_forbids")
PRESS = ("module", "subject", "command", "current_a", "limit_a", "used_pct")

Inputs = Mapping[str, object] | Iterable[str]


@dataclass(frozen=True)
class Switching:
    """What one setting of the inputs does.

    Parameters
    ----------
    state : str
        Operating state, or `BENCH`.
    inputs, on : frozenset of str
        Inputs that are on; commands that are on.
    switched_on : frozenset of str
        Commands that the change from the setting before switches on; empty without one.
    commands : DataFrame
        One row per command, columns `COMMANDS`: whether it is on, and what its loads draw, as stated, at the lowest and
        at the highest voltage of the state (A), 0 where it is off.
    channels : DataFrame
        One row per circuit, columns `CHANNELS`: running_a and running_top_a as in `commands`; counted_a is the larger
        one with tolerance and cold copper, as it counts against the usable limit limit_a.
    limits : DataFrame
        One row per bank and module, columns `LIMITS`, at the worse end of the state's span of voltage: running_a is the
        sum as stated, counted_a what counts against the limit (effective currents, tolerance; for the peak the
        running currents of what stays on and the inrush of what is switched on), as `pdm_alloc.worst` does.
    supply : DataFrame
        One row per end of the span of voltage, columns `SUPPLY`: what the modules draw, what is drawn past them,
        charging current and what is left for the battery (below 0: it gives), A; minutes to its floor from full.
    off : DataFrame
        One row per command that is off, columns `OFF`: what keeps it off in words, and the inputs to change.
    press : DataFrame
        What is switched on against momentary limits, columns `PRESS`: every channel's peak, then every module's.
    """

    state: str
    inputs: frozenset[str]
    on: frozenset[str]
    switched_on: frozenset[str]
    commands: pd.DataFrame = field(repr=False, compare=False)
    channels: pd.DataFrame = field(repr=False, compare=False)
    limits: pd.DataFrame = field(repr=False, compare=False)
    supply: pd.DataFrame = field(repr=False, compare=False)
    off: pd.DataFrame = field(repr=False, compare=False)
    press: pd.DataFrame = field(repr=False, compare=False)

    def __repr__(self) -> str:
        """How much is on."""
        first = self.supply.iloc[0]
        return (
            f"<Switching: {self.state}, {counted(len(self.inputs), 'input')} on: {len(self.on)} of "
            f"{counted(len(self.commands), 'command')} on, {first.total_a:.1f} A at {first.supply_v:g} V>"
        )

    def _repr_html_(self) -> str:
        because = dict(zip(self.off.command, self.off.because, strict=True))
        rows = [
            (row.command, "on" if row.on else "off", row.running_a, because.get(row.command, ""))
            for row in self.commands.itertuples()
        ]
        return headline_table(repr(self).strip("<>"), ("command", "", "running A", "off because"), rows)


def switching(
    allocation: Allocation, inputs: Inputs = (), state: str | None = None, before: Inputs | None = None
) -> Switching:
    """What is on under one setting of the inputs, and what it draws.

    A model of the conditions in the tables: it knows no module's own program, no delays and no latching.

    Parameters
    ----------
    allocation : Allocation
        With its vehicle, units and circuits.
    inputs : mapping of str to bool, or iterable of str
        Inputs and whether they are on, or those that are on; all others are off. A command without a condition is an
        input of its own. An analog input is on or off, as conditions use it.
    state : str, optional
        Operating state: which commands may be on, and the span of voltage. Default: on the bench, where nothing is
        forbidden, at the reference voltage.
    before : mapping or iterable, optional
        The setting before: what the change switches on is held against momentary limits.

    Returns
    -------
    Switching

    Raises
    ------
    UnknownName
        An input or a state that the vehicle does not have.
    ValueError
        A value that is neither on nor off.
    """
    return Switchboard(allocation.vehicle, allocation.units, allocation.circuits).switching(inputs, state, before)


class Switchboard:
    """Works out one setting after the other; what does not depend on the setting is worked out once.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted; may be empty.
    circuits : sequence of PlacedCircuit
        On their channels.

    Attributes
    ----------
    inputs : tuple of str
        Names of all inputs, in the order of the table, then of the conditions.
    """

    def __init__(self, vehicle: Vehicle, units: Sequence[Unit] = (), circuits: Sequence[PlacedCircuit] = ()):
        self.vehicle, self.units, self.circuits = vehicle, tuple(units), tuple(circuits)
        names = input_names(vehicle)
        self.inputs = tuple(names.values())
        self.own = {
            names[key]: command.name for command in vehicle.commands if (key := own_input(command.name)) in names
        }
        self._conditions = {c.name: _condition(c.condition) for c in vehicle.commands}
        self._input_of = {command: name for name, command in self.own.items()}
        self._placed = tuple((circuit, place_of(vehicle, self.units, circuit)) for circuit in circuits)
        self._scene = lru_cache(maxsize=16)(self._worked_out)

    def switching(self, inputs: Inputs = (), state: str | None = None, before: Inputs | None = None) -> Switching:
        """As `pdm_alloc.switching`."""
        on = self.setting(inputs)
        first = on if before is None else self.setting(before)
        where = self.state(state)
        commands, earlier = self.on(on, where), self.on(first, where)
        new = commands - earlier
        scene = self._scene(state)
        tables = {
            "commands": self._commands(scene, commands),
            "channels": self._channels(scene, commands),
            "limits": self._limits(scene, commands, new),
            "supply": self._supply(where, commands),
            "off": self._off(on, commands, where),
            "press": self._press(scene, commands, new),
        }
        return Switching(where.name, on, commands, new, **tables)

    def setting(self, inputs: Inputs) -> frozenset[str]:
        """Names of the inputs that are on, checked."""
        if isinstance(inputs, str):
            raise ValueError(f"inputs is the text {inputs!r}: give names in a set, such as {{{inputs!r}}}")
        values = inputs.items() if isinstance(inputs, Mapping) else ((name, True) for name in inputs)
        return frozenset(name for name, value in values if self._is_on(name, value))

    def _is_on(self, name: str, value: object) -> bool:
        if name not in self.inputs:
            raise UnknownName("input", name, self.inputs)
        if value not in (True, False):
            raise ValueError(f"input {name!r} is {value!r}: give True (on) or False (off)")
        return bool(value)

    def state(self, name: str | None) -> State:
        """The operating state of that name; None: the bench."""
        if name is None:
            duties = dict.fromkeys((c.name for c in self.vehicle.commands), PPM)
            return State(BENCH, self.vehicle.settings.reference_v, duties)
        return named("state", self.vehicle.states, name)

    def holds(self, command: str, on: Collection[str]) -> bool:
        """Whether the condition of a command holds, whatever the state."""
        condition = self._conditions[command]
        return self._input_of[command] in on if condition is None else condition.evaluate(on)

    def on(self, inputs: Collection[str], state: State) -> frozenset[str]:
        """Commands that are on: their condition holds and the state does not forbid them."""
        return frozenset(c for c in self._conditions if state.is_on(c) and self.holds(c, inputs))

    def _worked_out(self, name: str | None) -> "_Scene":
        vehicle = replace(self.vehicle, states=(self.state(name),))
        types, loadings = loadings_of(vehicle, self.units, self.circuits)
        return _Scene(vehicle.states[0].span_v, types, {t.load: t for own in types.values() for t in own}, loadings)

    def _commands(self, scene: "_Scene", on: frozenset[str]) -> pd.DataFrame:
        rows = [
            (c.name, c.name in on, c.action, len(own), *_ends_a([(t, t.count) for t in own] if c.name in on else []))
            for c in self.vehicle.commands
            for own in [scene.types.get(c.name, ())]
        ]
        return pd.DataFrame(rows, columns=list(COMMANDS))

    def _channels(self, scene: "_Scene", on: frozenset[str]) -> pd.DataFrame:
        rows = [self._channel(c, place, scene, c.command in on) for c, place in self._placed]
        return pd.DataFrame(rows, columns=list(CHANNELS))

    def _channel(self, circuit: PlacedCircuit, place: Place, scene: "_Scene", is_on: bool) -> tuple[object, ...]:
        items = scene.items(circuit) if is_on else []
        counts = CircuitDraw(items, self.vehicle.settings.tolerance_loads).draw_ma if items else 0
        first = circuit.unit, circuit.channel, place.bank, circuit.command, loads_text(self.vehicle, circuit), is_on
        return (*first, *_ends_a(items), *_against(counts, place.rating.usable_ma))

    def _limits(self, scene: "_Scene", on: frozenset[str], new: frozenset[str]) -> pd.DataFrame:
        rows = []
        for limit in scene.loadings:
            sums = [self._sum(scene, limit, number, on, new) for number in range(len(scene.span_v))]
            stated, counts, volts = max(sums, key=lambda each: each[1])
            label = self.units[limit.unit].label
            rows.append((label, limit_name(limit), volts, stated / 1000, *_against(counts, limit.most_ma)))
        return pd.DataFrame(rows, columns=list(LIMITS))

    def _sum(
        self, scene: "_Scene", limit: Limit, number: int, on: frozenset[str], new: frozenset[str]
    ) -> tuple[int, int, float]:
        """Sum as stated and as it counts, mA, at one end of the span, and its voltage."""
        cut = Cut(number, on - new, new) if limit.is_peak else Cut(number, on)
        loading = {key: halves for key, halves in scene.loadings[limit].items() if key[0] in on}
        amounts = amounts_of(scene.types, loading, lambda t: item_ma(t, cut, limit.settle_s)).values()
        rises = sorted((rise for _, own in amounts for rise in own), reverse=True)
        stated = amounts_of(scene.types, loading, lambda t: (t.draws[number].running_ma, 0)).values()
        counts = sum(ma for ma, _ in amounts) + sum(rises[: self.vehicle.settings.tolerance_loads])
        return -(-sum(ma for ma, _ in stated) // 2), -(-counts // 2), scene.span_v[number]

    def _supply(self, state: State, on: frozenset[str]) -> pd.DataFrame:
        duties = {c.name: PPM if c.name in on else 0 for c in self.vehicle.commands}
        ends = [replace(state, duty_ppm=duties, supply_v=volts, supply_top_v=None) for volts in state.span_v]
        every = [state_supply(self.vehicle, end) for end in ends]
        rows = [(x.supply_v, x.mean_a, x.other_a, x.charging_a, x.balance_a, x.floor_minutes) for x in every]
        return pd.DataFrame(rows, columns=list(SUPPLY)).astype(float)

    def _off(self, inputs: frozenset[str], on: frozenset[str], state: State) -> pd.DataFrame:
        rows = [(c, *self.off_because(c, inputs, state)) for c in self._conditions if c not in on]
        return pd.DataFrame(rows, columns=list(OFF))

    def off_because(self, command: str, inputs: frozenset[str], state: State) -> tuple[str, str, bool]:
        """What keeps a command off, the inputs to change, both in words, and whether the state forbids it."""
        forbids = not state.is_on(command)
        told = f"state {state.name} keeps it off" if forbids else ""
        if self.holds(command, inputs):
            return told, "", forbids
        because, change = self._held_off(command, inputs)
        return f"{because}; {told} as well" if forbids else because, change, forbids

    def _held_off(self, command: str, inputs: frozenset[str]) -> tuple[str, str]:
        condition = self._conditions[command]
        if condition is None:
            return "its own switch is off", f"{spoken(self._input_of[command])} on"
        try:
            ways = fewest_changes(condition.expression, inputs)
        except Undecided:
            return "its condition does not hold", ""
        if not ways:
            return "its condition never holds", ""
        rank = {name: n for n, name in enumerate(condition.names)}
        told, *others = [[(name, name in inputs) for name in sorted(way, key=rank.__getitem__)] for way in ways]
        more = f" (or {' or '.join(_changes(way) for way in others)})" if others else ""
        return _joined([_held(name, is_on) for name, is_on in told]) + more, _changes(told)

    def _press(self, scene: "_Scene", on: frozenset[str], new: frozenset[str]) -> pd.DataFrame:
        at_once, rows = self.vehicle.settings.tolerance_loads, []
        for circuit, place in self._placed:
            if circuit.command in new:
                peak = CircuitDraw(scene.items(circuit), at_once).peak_ma
                told = circuit.unit, f"channel {circuit.channel}", circuit.command
                rows.append((*told, *_against(peak, place.rating.peak_ma)[:3]))
        for limit in (limit for limit in scene.loadings if limit.is_peak and new):
            counts = max(self._sum(scene, limit, number, on, new)[1] for number in range(len(scene.span_v)))
            told = self.units[limit.unit].label, "whole module", ", ".join(sorted(new))
            rows.append((*told, *_against(counts, limit.most_ma)[:3]))
        return pd.DataFrame(rows, columns=list(PRESS))


@dataclass(frozen=True)
class _Scene:
    """One state: ends of its span of voltage, item types by command and by load, what is on every limit."""

    span_v: tuple[float, ...]
    types: Types
    by_load: dict[str, ItemType]
    loadings: dict[Limit, dict[tuple[str, int], int]]

    def items(self, circuit: PlacedCircuit) -> list[tuple[ItemType, int]]:
        """Item types of a circuit, and how many items of each."""
        return [(self.by_load[name], sum(load == name for load, _ in circuit.items)) for name in circuit.loads]


def _condition(text: str) -> Condition | None:
    return parse_condition(text) if condition_names(text) else None


def _ends_a(items: Sequence[tuple[ItemType, int]]) -> tuple[float, float]:
    """Running current as stated at the lowest and at the highest voltage, A."""
    first, last = (sum(t.draws[end].running_ma * k for t, k in items) / 1000 for end in (0, -1))
    return first, last


def _against(ma: int, limit_ma: int) -> tuple[float, float, float, float]:
    """Amount and limit in A, used per cent, what is left in A."""
    return ma / 1000, limit_ma / 1000, round(100 * ma / max(1, limit_ma), 1), (limit_ma - ma) / 1000


_PRESSED = {"button", "pedal", "clutch", "pushbutton"}


def _held(name: str, is_on: bool) -> str:
    """``clutch is not pressed``, ``main stalk is on``: what an input does that keeps a command off."""
    words = spoken(name)
    if words.rsplit(" ", 1)[-1].casefold() in _PRESSED:
        return f"{words} is {'' if is_on else 'not '}pressed"
    return f"{words} is {'on' if is_on else 'off'}"


def _changes(way: Sequence[tuple[str, bool]]) -> str:
    """``clutch on and main stalk off``: what would switch the command on."""
    return _joined([f"{spoken(name)} {'off' if is_on else 'on'}" for name, is_on in way])


def _joined(words: Sequence[str]) -> str:
    return f"{', '.join(words[:-1])}{' and ' if words[1:] else ''}{words[-1]}"
