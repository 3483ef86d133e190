"""The worst combination of every limit of an allocation, in the builder's words."""

import math
from collections import deque
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pandas as pd

from pdm_alloc.circuits.items import ItemType, Scene, load_types, scenes_of
from pdm_alloc.domain.condition import condition_names
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.showing import headline_table
from pdm_alloc.domain.vehicle import State, Vehicle
from pdm_alloc.electrics.battery import as_constant_s
from pdm_alloc.electrics.current import running_at_voltage_ma, worst_excess_ma
from pdm_alloc.harness.distribution import cold_of
from pdm_alloc.program.condition_rows import fewest_on, own_input
from pdm_alloc.program.largest import Extremes
from pdm_alloc.program.solver import Clock
from pdm_alloc.program.sums import Limit, Loading, Sums, Types, Worst, conditions_of, limits_of
from pdm_alloc.result.placed import PlacedCircuit

if TYPE_CHECKING:
    from pdm_alloc.result.allocation import Allocation

__all__ = [
    "COLUMNS",
    "Surge",
    "WorstCombinations",
    "WorstSetting",
    "at_once_a",
    "change_in_words",
    "input_names",
    "inputs_in_words",
    "limit_name",
    "loadings_of",
    "spoken",
    "sums_of",
    "surges_of",
    "worst",
    "worst_sums",
]

COLUMNS = (
    "module",
    "limit",
    "state",
    "supply_v",
    "current_a",
    "limit_a",
    "used_pct",
    "combination",
    "changed",
    "switched_on",
)

_TIME_LIMIT_S = 10.0  # of the search for fewer inputs, one limit


@dataclass(frozen=True, slots=True)
class WorstSetting:
    """Inputs that are on in a worst combination; of a peak before and after the change of one.

    Parameters
    ----------
    state : str
        Operating state.
    before, inputs : frozenset of str
        Names as `input_names` gives them; the same where nothing changes.
    """

    state: str
    before: frozenset[str]
    inputs: frozenset[str]


@dataclass(frozen=True)
class WorstCombinations:
    """The worst combination of every limit on banks and whole modules.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per unit and limit, most used first: module, limit (``bank west``, ``whole module`` or ``whole module,
        peak``), state, supply_v (V), current_a and limit_a (A), used_pct (per cent of the limit), combination (inputs
        that are on; for a peak before the change), changed (which input changes, for a peak) and switched_on
        (commands it switches on).
    settings : tuple of WorstSetting
        State and inputs of each row by name, for `pdm_alloc.switching`.
    """

    table: pd.DataFrame = field(repr=False)
    settings: tuple[WorstSetting, ...] = field(default=(), repr=False)

    def __repr__(self) -> str:
        """The limit that is used most, and by what."""
        if self.table.empty:
            return "<WorstCombinations: no limits>"
        row = self.table.iloc[0]
        change = f", {row.changed}" if row.changed else ""
        amps = f"{row.current_a:.1f} A of {row.limit_a:g} A in {row.state}"
        return f"<WorstCombinations: {row.module} {row.limit} {amps}: {row.combination}{change}>"

    def _repr_html_(self) -> str:
        rows = [tuple(row) for row in self.table.itertuples(index=False)]
        return headline_table(repr(self).strip("<>"), tuple(name.replace("_", " ") for name in COLUMNS), rows)


def worst(allocation: "Allocation") -> WorstCombinations:
    """The combination of inputs under which each bank and module bears most.

    Duties do not matter here: what counts is what the conditions let be on at once, which is what air standards
    ask of a supply ("probable combinations" for "probable durations", ASTM F2490; 14 CFR 23.1351(a)(2), from memory).

    Parameters
    ----------
    allocation : Allocation
        With its vehicle, units and circuits.

    Returns
    -------
    WorstCombinations
        One row per unit and limit, in its worst state and at its worst voltage; of equally bad combinations the one
        with the fewest inputs on.

    Raises
    ------
    Unanswered
        A combination was not found in time.
    """
    sums, loadings = sums_of(allocation.vehicle, allocation.units, allocation.circuits)
    gravest = []
    for limit in sums.limits:
        ends = (sums.worst(limit, loadings[limit], scene) for scene in scenes_of(allocation.vehicle))
        worst = max((w for w in ends if w is not None), key=lambda w: w.amount_ma, default=None)
        if worst is not None:
            gravest.append(fewest_inputs(sums, loadings[limit], worst))
    rows = [_row(allocation.vehicle, allocation.units, clear) for clear in gravest]
    table = pd.DataFrame(rows, columns=list(COLUMNS)).sort_values("used_pct", ascending=False, kind="stable")
    settings = tuple(_setting(allocation.vehicle, gravest[n]) for n in table.index)
    return WorstCombinations(table.reset_index(drop=True), settings)


def _setting(vehicle: Vehicle, clear: Worst) -> WorstSetting:
    names = input_names(vehicle)
    after = clear.inputs if clear.changed is None else clear.inputs ^ {clear.changed}
    before, inputs = (frozenset(names[name] for name in setting) for setting in (clear.inputs, after))
    return WorstSetting(clear.scene.state, before, inputs)


def input_names(vehicle: Vehicle) -> dict[Any, str]:
    """All inputs of a vehicle and a name for each that no other one has.

    Parameters
    ----------
    vehicle : Vehicle
        Its table ``inputs``, the names in its conditions, and its commands without a condition, which are inputs of
        their own.

    Returns
    -------
    dict
        Name in the table, or what `own_input` makes of a command, to name: that of the command, with
        ``(command)`` behind it where an input has the same one.
    """
    conditions = [(command.name, condition_names(command.condition)) for command in vehicle.commands]
    listed = [item.name for item in vehicle.inputs]
    names: dict[Any, str] = {
        name: name for name in (*listed, *(n for _, names_of in conditions for n in sorted(names_of)))
    }
    for command, names_of in conditions:
        if not names_of:
            names[own_input(command)] = _free(command, names.values())
    return names


def _free(name: str, taken: Collection[str]) -> str:
    while name in taken:
        name += " (command)"
    return name


def _row(vehicle: Vehicle, units: Sequence[Unit], clear: Worst) -> tuple[object, ...]:
    limit = clear.limit
    return (
        units[limit.unit].label,
        limit_name(limit),
        clear.scene.state,
        clear.scene.volts,
        clear.amount_ma / 1000,
        limit.most_ma / 1000,
        round(100 * clear.amount_ma / max(1, limit.most_ma), 1),
        inputs_in_words(vehicle, clear.inputs),
        change_in_words(clear),
        ", ".join(sorted(clear.cut.switched_on or ())),
    )


def limit_name(limit: Limit) -> str:
    """``bank west``, ``whole module`` or ``whole module, peak``."""
    if limit.bank is not None:
        return f"bank {limit.bank}"
    return "whole module, peak" if limit.is_peak else "whole module"


def change_in_words(gravest: Worst) -> str:
    """``main stalk on``; empty where nothing changes."""
    if gravest.changed is None:
        return ""
    return f"{spoken(gravest.changed)} {'off' if gravest.changed in gravest.inputs else 'on'}"


def inputs_in_words(vehicle: Vehicle, inputs: Iterable[Any]) -> str:
    """``head switch, main stalk and horn button on``; commands without a condition by their name."""
    order = {item.name: n for n, item in enumerate(vehicle.inputs)}
    ranked = sorted(inputs, key=lambda name: (order.get(name, len(order)), str(name)))
    words = [spoken(name) for name in ranked]
    if not words:
        return "every input off"
    return f"{', '.join(words[:-1])}{' and ' if words[1:] else ''}{words[-1]} on"


def spoken(name: Any) -> str:
    """``head switch`` for the input ``head_switch``."""
    return (name if isinstance(name, str) else name[1]).replace("_", " ")


def worst_sums(
    vehicle: Vehicle, units: Sequence[Unit], circuits: Sequence[PlacedCircuit]
) -> Iterator[tuple[Unit, Limit, str, int]]:
    """Unit, limit, state and the worst sum in it, mA: for every state of the vehicle that has a combination."""
    sums, loadings = sums_of(vehicle, units, circuits)
    by_state: dict[str, list[Scene]] = {}
    for scene in scenes_of(vehicle):
        by_state.setdefault(scene.state, []).append(scene)
    for state, scenes in by_state.items():
        for limit in sums.limits:
            ends = (sums.worst(limit, loadings[limit], scene) for scene in scenes)
            yield units[limit.unit], limit, state, max((w.amount_ma for w in ends if w is not None), default=0)


def sums_of(
    vehicle: Vehicle, units: Sequence[Unit], circuits: Sequence[PlacedCircuit]
) -> tuple[Sums, dict[Limit, dict[tuple[str, int], int]]]:
    """Limits of the units with their combinations, and what circuits put on each."""
    types, loadings = loadings_of(vehicle, units, circuits)
    return Sums(vehicle, units, types), loadings


def loadings_of(
    vehicle: Vehicle, units: Sequence[Unit], circuits: Sequence[PlacedCircuit]
) -> tuple[Types, dict[Limit, dict[tuple[str, int], int]]]:
    """Item types by command, each load a type of its own, and what circuits put on every limit of the units."""
    types: dict[str, tuple[ItemType, ...]] = {}
    place: dict[str, tuple[str, int]] = {}
    for t in load_types(vehicle):
        known = types.get(t.command, ())
        place[t.load], types[t.command] = (t.command, len(known)), (*known, t)
    loadings: dict[Limit, dict[tuple[str, int], int]] = {limit: {} for limit in limits_of(vehicle, units)}
    for circuit in circuits:
        for limit in loadings:
            portions = _portions(units[limit.unit], circuit, limit)
            for name, _ in circuit.items if portions else ():
                key = place[name]
                loadings[limit][key] = loadings[limit].get(key, 0) + portions
    return types, loadings


def _portions(unit: Unit, circuit: PlacedCircuit, limit: Limit) -> int:
    """Portions of every milliamp of a circuit that count against a limit of a unit."""
    if circuit.unit != unit.label:
        return 0
    channels = [unit.module.channel(name) for name in circuit.channels]
    if limit.bank is not None and limit.bank not in {channel.bank for channel in channels}:
        return 0
    if limit.bank is None or circuit.use != "pair" or len({channel.bank for channel in channels}) == 1:
        return limit.whole
    return math.ceil(limit.whole * max(channel.share_pct for channel in channels) / 100)


def fewest_inputs(sums: Sums, loading: Loading, gravest: Worst, limit_s: float = _TIME_LIMIT_S) -> Worst:
    """The same sum with the fewest inputs on; as it is where that takes too long."""
    problem = sums.problem(gravest, loading)
    inputs = fewest_on(*problem, Clock(limit_s))
    return gravest if inputs is None else sums.under(gravest, inputs)


@dataclass(frozen=True, slots=True)
class Surge:
    """What one change of one input brings above running current on everything it switches on.

    Parameters
    ----------
    state : str
        Operating state.
    excess_ma : int
        Sum of the inrush above running, copper cold, at the top of the state's span, mA.
    seconds : float
        For which the peak, held, heats a fuse as much: `as_constant_s` of its loads, weighted with their excess, s.
    """

    state: str
    excess_ma: int
    seconds: float


_SURGES: deque[tuple[Vehicle, tuple[Surge, ...]]] = deque(maxlen=8)


def surges_of(vehicle: Vehicle) -> tuple[Surge, ...]:
    """In every state the largest surge that one change of one input brings, and the one that heats most.

    One or two per state; none where no combination is possible in it or nothing has an inrush.
    """
    known = next((surges for other, surges in list(_SURGES) if other is vehicle), None)
    if known is None:
        extremes = Extremes(conditions_of(vehicle.commands))
        known = tuple(surge for state in vehicle.states for surge in _surges_in(vehicle, state, extremes))
        _SURGES.append((vehicle, known))
    return known


def _surges_in(vehicle: Vehicle, state: State, extremes: Extremes) -> Iterator[Surge]:
    excess, heat = _excesses(vehicle, state)
    for weights in (excess, heat):
        amounts = {command: (ma, ()) for command, ma in weights.items() if ma}
        change = extremes.change(frozenset(excess), {}, amounts, 0, 0)
        _, before, name = change or (0, frozenset[Any](), None)
        if name is not None:
            new = extremes.on(before ^ {name}) - extremes.on(before)
            total = sum(excess[command] for command in new)
            yield Surge(state.name, total, sum(heat[command] for command in new) / 1e6 / total)


def _excesses(vehicle: Vehicle, state: State) -> tuple[dict[str, int], dict[str, int]]:
    """Inrush above running of every command that may be on, mA, and that times its duration, mA us."""
    excess = dict.fromkeys((c.name for c in vehicle.commands if state.is_on(c.name)), 0)
    heat = dict(excess)
    for load in vehicle.loads:
        if load.command in excess:
            cold, running = cold_of(load, vehicle.settings)
            volts = (max(state.span_v), vehicle.settings.reference_v)
            ma = load.count * worst_excess_ma(load.inrush_ma, running, volts, cold=cold)
            excess[load.command] += ma
            heat[load.command] += math.ceil(ma * as_constant_s(load.inrush_ms / 3) * 1e6)
    return excess, heat


def at_once_a(vehicle: Vehicle) -> dict[str, tuple[float, float]]:
    """What the whole vehicle draws at its worst in every state: steady, and at one change of one input, A.

    Over every combination of inputs that conditions and the state allow, at whichever end of its span is worse, in
    full and as stated, copper cold. States in which no combination is possible are left out.
    """
    extremes = Extremes(conditions_of(vehicle.commands))
    largest: dict[str, tuple[float, float]] = {}
    for state in vehicle.states:
        ends = [ends_ma for volts in state.span_v if (ends_ma := _at_once_ma(vehicle, state, volts, extremes))]
        if ends:
            steady, momentary = (max(each) / 1000 for each in zip(*ends, strict=True))
            largest[state.name] = (steady, momentary)
    return largest


def _at_once_ma(vehicle: Vehicle, state: State, volts: float, extremes: Extremes) -> tuple[int, int] | None:
    running = dict.fromkeys((c.name for c in vehicle.commands if state.is_on(c.name)), 0)
    inrush = dict(running)
    for load in vehicle.loads:
        if load.command in running:
            cold, cold_ma = cold_of(load, vehicle.settings)
            reference = vehicle.settings.reference_v
            steady = load.count * running_at_voltage_ma(cold_ma, load.volt_exponent, volts, reference)
            excess = load.count * worst_excess_ma(load.inrush_ma, cold_ma, (volts, reference), cold=cold)
            running[load.command] += steady
            inrush[load.command] += steady + excess
    amounts, peaks = ({name: (ma, ()) for name, ma in each.items()} for each in (running, inrush))
    steady_sum, change = extremes.sum(running, amounts, 0), extremes.change(running, amounts, peaks, 0)
    return None if steady_sum is None or change is None else (steady_sum[0], change[0])
