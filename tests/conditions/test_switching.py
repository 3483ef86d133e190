"""One setting of the inputs: what is on, what it draws and what holds the rest off, against plain enumeration."""

from fractions import Fraction
from itertools import combinations, product
from math import ceil

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.domain.condition import Undecided, fewest_changes, parse_condition
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module, Unit
from pdm_alloc.domain.vehicle import PPM, Command, Input, Load, State, Vehicle
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.result.worst import input_names
from pdm_alloc.studies.switching import BENCH, Switchboard

NAMES = ("a", "b", "c", "d")
COMMANDS = ("one", "two", "three", "four")


def texts(names=NAMES):
    """Conditions that Python reads the same way."""
    leaf = st.sampled_from(names)
    return st.recursive(
        leaf,
        lambda inner: st.one_of(
            inner.map(lambda x: f"not ({x})"),
            st.tuples(inner, st.sampled_from(("and", "or")), inner).map(lambda t: f"({t[0]}) {t[1]} ({t[2]})"),
        ),
        max_leaves=6,
    )


def holds(text, on, names=NAMES):
    return eval(text, {"__builtins__": {}}, {name: name in on for name in names})


def settings_of(names):
    return [
        frozenset(n for n, bit in zip(names, bits, strict=True) if bit) for bits in product((0, 1), repeat=len(names))
    ]


@given(texts(), st.sets(st.sampled_from(NAMES)))
@settings(max_examples=200, deadline=None)
def test_fewest_changes_are_all_of_the_least_size(text, on):
    """Every set of inputs is tried, the smallest first; names that come twice included."""
    names = parse_condition(text).names
    every = [
        [frozenset(way) for way in combinations(names, size) if holds(text, on ^ set(way))]
        for size in range(len(names) + 1)
    ]
    expected = next((ways for ways in every if ways), [])
    ways = fewest_changes(parse_condition(text).expression, on)
    assert set(ways) == set(expected) and len(ways) == len(expected)


def test_a_long_condition_is_answered():
    """Thirty inputs in a row are as easy as three; a tangle of eleven repeated ones is left undecided."""
    names = [f"x{n}" for n in range(30)]
    assert fewest_changes(parse_condition(" and ".join(names)).expression, {"x3"}) == [frozenset(names) - {"x3"}]
    tangle = " and ".join(f"({one} or {two})" for one, two in combinations(names[:12], 2))
    with pytest.raises(Undecided):
        fewest_changes(parse_condition(tangle).expression, set())


@st.composite
def built(draw):
    """A vehicle of four commands, each on a channel of its own, with states, cycles and tolerances."""
    conditions = [draw(st.one_of(texts(), st.just(""))) for _ in COMMANDS]
    cycles = [draw(st.sampled_from(((None, None), (2.0, 8.0)))) for _ in COMMANDS]
    commands = tuple(
        Command(name, text, on_s=on, cycle_s=cycle)
        for name, text, (on, cycle) in zip(COMMANDS, conditions, cycles, strict=True)
    )
    loads = tuple(
        Load(
            f"load {name}",
            name,
            running_ma=draw(st.sampled_from((700, 2500, 4100))),
            count=draw(st.integers(1, 2)),
            kind="motor",
            inrush_ma=9000,
            inrush_ms=60.0,
            tolerance_pct=Fraction(draw(st.sampled_from((0, 20)))),
            volt_exponent=draw(st.sampled_from((-1.0, 0.0, 1.0))),
        )
        for name in COMMANDS
    )
    duties = st.fixed_dictionaries({name: st.sampled_from((0, PPM, PPM)) for name in COMMANDS})
    states = (State("day", 12.0, draw(duties), 30.0, None, 14.4, 5000), State("night", 13.5, draw(duties)))
    set_up = Settings(reference_v=12.0, tolerance_loads=draw(st.sampled_from((0, 1, 3))), battery_ah=60.0)
    vehicle = Vehicle("built", loads, commands, states, set_up, tuple(map(Input, NAMES)), states_given=True)
    channels = tuple(Channel(str(n), 20_000, 90_000, 60.0, pins=(f"p{n}",), bank="AB"[n % 2]) for n in range(4))
    module = Module(
        "box", 60_000, 200_000, channels, {"A": 30_000, "B": 30_000}, settle_s=draw(st.sampled_from((0, 5.0)))
    )
    circuits = tuple(
        PlacedCircuit("box", (str(n),), "single", load.command, tuple((load.name, k + 1) for k in range(load.count)))
        for n, load in enumerate(loads)
    )
    return pa.Allocation(vehicle, (Unit("box", module),), circuits)


def volts_ma(load, volts):
    factor = Fraction(volts).limit_denominator(1000) / 12
    return ceil(load.running_ma * factor ** int(load.volt_exponent)) * load.count


@given(built(), st.data())
@settings(max_examples=25, deadline=None)
def test_what_is_on_and_what_it_draws(allocation, data):
    """Conditions read by Python, currents by fractions: the same commands, channels, total and battery."""
    vehicle = allocation.vehicle
    names = tuple(input_names(vehicle).values())
    inputs = data.draw(st.sets(st.sampled_from(names)))
    state = data.draw(st.sampled_from((None, *vehicle.states)))
    result = pa.switching(allocation, dict.fromkeys(names, False) | dict.fromkeys(inputs, True), state and state.name)
    on = {
        c.name
        for c in vehicle.commands
        if (holds(c.condition, inputs) if c.condition else c.name in inputs) and (state is None or state.is_on(c.name))
    }
    assert result.on == on and set(result.commands.command[result.commands.on]) == on
    ends = (12.0, 12.0) if state is None else (state.span_v[0], state.span_v[-1])
    ma = [[volts_ma(load, volts) if load.command in on else 0 for load in vehicle.loads] for volts in ends]
    assert (1000 * result.channels.running_a).round().tolist() == ma[0]
    assert (1000 * result.channels.running_top_a).round().tolist() == ma[1]
    charging, other = (0, 0) if state is None else ((state.charging_a or 0), state.other_ma / 1000)
    first, last = result.supply.iloc[0], result.supply.iloc[-1]
    assert (first.supply_v, last.supply_v) == ends
    assert first.total_a == pytest.approx(sum(ma[0]) / 1000) and last.total_a == pytest.approx(sum(ma[1]) / 1000)
    assert first.battery_a == pytest.approx(charging - other - sum(ma[0]) / 1000)
    assert set(result.off.command) == {c.name for c in vehicle.commands} - on
    forbidden = {c.name for c in vehicle.commands if state is not None and not state.is_on(c.name)}
    assert set(result.off.command[result.off.state_forbids]) == forbidden


@given(built())
@settings(max_examples=6, deadline=None)
def test_the_worst_of_all_settings_is_what_worst_says(allocation):
    """Of every setting and change of one input none is above `pa.worst`, and its settings give exactly its amps."""
    vehicle = allocation.vehicle
    board = Switchboard(vehicle, allocation.units, allocation.circuits)
    worst = pa.worst(allocation)
    for row, inputs in zip(worst.table.itertuples(), worst.settings, strict=True):
        result = board.switching(inputs.inputs, inputs.state, inputs.before)
        limit = result.limits[result.limits.limit == row.limit].iloc[0]
        assert (limit.counted_a, limit.limit_a, limit.used_pct) == (row.current_a, row.limit_a, row.used_pct)
        assert ", ".join(sorted(result.switched_on)) == row.switched_on
    assert largest(board) == dict(zip(worst.table.limit, worst.table.current_a, strict=True))


def largest(board):
    """Largest amount of every limit over all settings that no state forbids, and changes of one input between them."""
    amounts: dict[str, float] = {}
    for state in board.vehicle.states:
        every = {on: frozenset(c for c in COMMANDS if board.holds(c, on)) for on in settings_of(board.inputs)}
        fine = {on: commands for on, commands in every.items() if all(map(state.is_on, commands))}
        changes = [
            (one, other) for one in fine for other in (one, *(one ^ {name} for name in board.inputs)) if other in fine
        ]
        kinds = {(fine[other], fine[other] - fine[one]): (one, other) for one, other in changes}
        for before, after in kinds.values():
            table = board.switching(after, state.name, before).limits
            for limit, amps in zip(table.limit, table.counted_a, strict=True):
                amounts[limit] = max(amounts.get(limit, 0), amps)
    return amounts


def little():
    """A starter, a lamp, and a horn that has no condition."""
    loads = {
        "load": ["starter motor", "lamp", "horn"],
        "command": ["starter", "dipped beam", "horn"],
        "running_a": [8, 4, 5],
        "kind": ["electronics", "filament", "coil"],
        "inrush_a": [20, None, None],
        "inrush_ms": [40, None, None],
    }
    conditions = ["master and start_button and clutch", "head_switch and not main_stalk", None]
    states = {"command": loads["command"], "ready": [0, 1, 1], "crank": [1, 0, 1]}
    names = ["master", "start_button", "clutch", "head_switch", "main_stalk", "horn"]
    return pa.vehicle(
        loads=pd.DataFrame(loads),
        commands=pd.DataFrame({"command": loads["command"], "condition": conditions}),
        inputs=pd.DataFrame({"input": names, "kind": "switch"}),
        states=pd.DataFrame(states),
        name="little",
    )


@pytest.fixture(scope="module")
def board():
    return Switchboard(little())


def because(board, command, inputs=(), state=None):
    table = board.switching(inputs, state).off.set_index("command")
    return tuple(table.loc[command])


def test_what_holds_a_command_off_in_words(board):
    """The least set of inputs, in the builder's words; a state that forbids it says so."""
    ready = {"master", "start_button"}
    assert because(board, "starter", ready) == ("clutch is not pressed", "clutch on", False)
    assert because(board, "starter")[0] == "master is off, start button is not pressed and clutch is not pressed"
    assert because(board, "dipped beam", {"head_switch", "main_stalk"}) == ("main stalk is on", "main stalk off", False)
    forbidden = "clutch is not pressed; state ready keeps it off as well"
    assert because(board, "starter", ready, "ready") == (forbidden, "clutch on", True)
    assert because(board, "starter", ready | {"clutch"}, "ready") == ("state ready keeps it off", "", True)
    assert because(board, "horn")[:2] == ("its own switch is off", "horn (command) on")


def test_a_command_without_condition_is_an_input_of_its_own(board):
    """An input of the same name that no condition uses switches nothing."""
    assert board.switching({"horn"}).on == frozenset()
    assert board.switching({"horn (command)"}).on == {"horn"}


def test_one_press_is_held_against_the_peak():
    """What a press switches on counts with its inrush, what stays on with its running current."""
    vehicle = little()
    channels = tuple(Channel(str(n), 20_000, 90_000, 60.0, pins=(f"p{n}",)) for n in range(3))
    unit = Unit("box", Module("box", 60_000, 200_000, channels, {}))
    circuits = tuple(
        PlacedCircuit("box", (str(n),), "single", x.command, ((x.name, 1),)) for n, x in enumerate(vehicle.loads)
    )
    allocation = pa.Allocation(vehicle, (unit,), circuits)
    ready = {"master", "start_button", "head_switch"}
    press = pa.switching(allocation, ready | {"clutch"}, before=ready).press
    assert press.current_a.tolist() == [20.0, 24.0] and press.limit_a.tolist() == [90.0, 200.0]
    assert pa.switching(allocation, ready | {"clutch"}).press.empty


def test_names_and_values_that_are_none(board):
    """One clear message each."""
    for bad, message in (
        (lambda: board.switching({"cluch"}), "no input 'cluch': did you mean 'clutch'"),
        (lambda: board.switching({}, "redy"), "no state 'redy': did you mean 'ready'"),
        (lambda: board.switching({"clutch": "yes"}), "give True"),
        (lambda: board.switching("clutch"), "give names in a set"),
    ):
        with pytest.raises(ValueError, match=message):
            bad()


def test_on_the_bench_nothing_is_forbidden(board):
    """Without a state the reference voltage counts, and every command may be on."""
    result = board.switching({"master", "start_button", "clutch"})
    assert (result.state, result.on) == (BENCH, {"starter"})
    assert result.supply.supply_v.tolist() == [board.vehicle.settings.reference_v]
    assert "1 of 3 commands on" in repr(result) and "main stalk" not in result._repr_html_()
