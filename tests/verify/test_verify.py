"""What people call: an allocation, or a vehicle with a table of assignments."""

from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.domain.module import Channel, Module
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.assignment import COLUMNS, Finding
from pdm_alloc.verify.check import objections, verify, violations
from tests.verify import case
from tests.verify.case import MODULE, UNIT, VEHICLE, wired


def assignments(circuits=None):
    """The case's circuits as a table."""
    rows = [(load, n, c.unit, c.channel) for c in circuits or wired() for load, n in c.items]
    return pd.DataFrame(rows, columns=["load", "item", "module", "channel"])


def test_an_allocation_with_nothing_wrong_gives_an_empty_table():
    """Empty, with its columns, so that it can be read and exported like any other."""
    found = verify(Allocation(VEHICLE, (UNIT,), wired(), "isolate", "proven best"))
    assert found.empty
    assert tuple(found.columns) == COLUMNS


def test_an_allocation_with_something_wrong_gives_a_row():
    """One row, in the unit it says."""
    found = verify(Allocation(case.settings(spare_channels=2), (UNIT,), wired(), "isolate", "proven best"))
    assert found[["rule", "value", "limit"]].to_dict("records") == [{"rule": "spare", "value": 1.0, "limit": 2.0}]


@pytest.mark.parametrize("modules", [MODULE, UNIT, [MODULE], (UNIT,)])
def test_a_table_is_read_as_the_same_circuits(modules):
    """Pairs and bridges are told by what is on them; a module, a unit or several may be given."""
    assert verify(VEHICLE, modules, assignments()).empty


def test_order_of_rows_and_columns_does_not_matter():
    """A table sorted otherwise says the same."""
    table = assignments().sample(frac=1, random_state=1)[["channel", "item", "load", "module"]]
    assert verify(VEHICLE, MODULE, table).empty


def test_channels_and_items_may_come_as_numbers_or_text():
    """A spreadsheet turns channel 3 into a number and item 1 into text."""
    rows = assignments()
    singles = rows[~rows["channel"].str.contains("+", regex=False)]
    found = verify(
        VEHICLE, MODULE, singles.assign(channel=singles["channel"].astype(int), item=singles["item"].astype(str))
    )
    assert sorted(found["subject"]) == ["heater", "window"]  # on doubles, left out above


def test_a_row_missing_is_found():
    """An item without a row is on no channel."""
    found = verify(VEHICLE, MODULE, assignments().iloc[1:])
    assert found[["rule", "subject"]].to_numpy().tolist() == [["item", "lamp left"]]


def test_a_load_on_a_foreign_channel_is_found():
    """The command of the others on the channel is not its own."""
    table = assignments()
    table.loc[table["load"] == "radio", "channel"] = "4"
    found = verify(VEHICLE, MODULE, table)
    assert found[["rule", "subject", "channel"]].to_numpy().tolist() == [["command", "radio", "4"]]


def test_a_missing_column_is_named():
    """Nothing is guessed."""
    with pytest.raises(ValueError, match="channel, item"):
        verify(VEHICLE, MODULE, assignments()[["load", "module"]])


def test_a_vehicle_alone_is_not_enough():
    """There is nothing to check."""
    for fitted in ((), (MODULE,)):
        with pytest.raises(TypeError, match=r"^verify takes an allocation, or a vehicle with modules and assignments$"):
            verify(VEHICLE, *fitted)


def plus_named(*names, pair=None):
    channels = tuple(Channel(name, 10000, 60000, 60.0, pair=pair) for name in names)
    vehicle = Vehicle(
        "v", (Load("fan", "go", 1000, inrush_ma=1000),), (Command("go"),), (State("all", 12.0, {"go": PPM}),)
    )
    return vehicle, Module("m", 60000, 90000, channels)


def test_a_plus_in_the_name_of_a_channel_is_no_pair():
    """Names are the user's: the channel called 1+2 exists, and so may the pair of A+ and B."""
    vehicle, module = plus_named("1", "2", "1+2")
    assert verify(
        vehicle, module, pd.DataFrame([("fan", 1, "m", "1+2")], columns=["load", "item", "module", "channel"])
    ).empty
    vehicle, module = plus_named("A+", "B", pair="p")
    assert verify(
        vehicle, module, pd.DataFrame([("fan", 1, "m", "A++B")], columns=["load", "item", "module", "channel"])
    ).empty


def test_a_pair_written_the_other_way_round_is_the_same_pair():
    """6+5 is 5+6."""
    table = assignments()
    table["channel"] = table["channel"].replace({"5+6": "6+5"})
    assert verify(VEHICLE, MODULE, table).empty


def test_a_finding_reads_as_one_line():
    """Where first, then what."""
    finding = Finding("bank", "front", "3+4", message="too much")
    assert str(finding) == "bank: channel 3+4 of front: too much"
    assert str(replace(finding, channel="", module="")) == "bank: too much"


def test_circuits_that_name_nothing_known_are_findings_not_tracebacks():
    """Everything can be wrong at once."""
    odd = PlacedCircuit("nowhere", (), "ring", "never", (("ghost", 7),))
    found = verify(Allocation(VEHICLE, (UNIT,), (odd,), "isolate", "proven best"))
    assert {"item", "channel"} <= set(found["rule"])


def test_objections_are_of_the_circuit_alone():
    """A pump on a channel 1 mA too weak: what is wrong with it there, whatever else is locked, spare or wired."""
    vehicle = replace(case.locked(("pump", "compact", "9"), ("radio", "compact", "1")))
    vehicle = replace(vehicle, settings=replace(vehicle.settings, spare_channels=10))
    weak = case.channels("3", continuous_ma=9712)
    (finding,) = objections(vehicle, weak, case.CIRCUITS["pump"])
    assert (finding.rule, finding.channel, finding.value, finding.limit) == ("continuous", "3", 7.77, 7.769)
    assert objections(vehicle, (UNIT,), case.CIRCUITS["pump"]) == []
    half = replace(case.CIRCUITS["left"], items=(("marker", 1),))
    assert objections(vehicle, (UNIT,), half) == []  # that its other items are nowhere speaks not against the channel


def test_a_row_of_a_load_or_module_nobody_knows_is_found():
    """A ghost on a channel, a channel of a module that is not fitted: named, and no traceback."""
    rows = assignments()
    ghost = pd.concat([rows, pd.DataFrame([("ghost", 1, "compact", "10")], columns=rows.columns)])
    found = verify(VEHICLE, MODULE, ghost)
    assert found[["rule", "subject"]].to_numpy().tolist() == [["item", "ghost"]] or set(found["rule"]) >= {"item"}
    away = rows.assign(module=rows["module"].where(rows["load"] != "engine ECU", "other"))
    assert verify(VEHICLE, MODULE, away)[["rule", "module", "channel"]].to_numpy().tolist() == [
        ["channel", "other", "9"]
    ]


def test_channels_of_a_pair_are_in_their_natural_order():
    """10+9 is 9+10, and what is wrong with it says so."""
    vehicle, module = plus_named("9", "10", pair="p")
    table = pd.DataFrame([("fan", 1, "m", "10+9")], columns=["load", "item", "module", "channel"])
    assert verify(vehicle, module, table).empty
    short = replace(module, channels=tuple(replace(c, peak_ma=500) for c in module.channels))
    assert verify(vehicle, short, table)["channel"].unique().tolist() == ["9+10"]


def test_two_of_a_bridge_are_a_pair_where_nothing_reverses():
    """Channels that could be a bridge, and may be paralleled too, are taken for what their load asks."""
    vehicle, module = plus_named("1", "2", pair="p")
    both = replace(module, channels=tuple(replace(c, bridge="b") for c in module.channels))
    table = pd.DataFrame([("fan", 1, "m", "1+2")], columns=["load", "item", "module", "channel"])
    assert verify(vehicle, both, table).empty
    turns = replace(vehicle, loads=(replace(vehicle.loads[0], needs=frozenset({"reversing"})),))
    assert verify(turns, both, table).empty
    assert set(verify(turns, module, table)["rule"]) == {"reversing"}


_CHANGES = st.one_of(
    st.integers(1, 16).map(lambda amps: {"running_ma": 1000 * amps, "inrush_ma": 4000 * amps}),
    st.floats(1.0, 500.0).map(lambda ms: {"inrush_ms": ms}),
    st.floats(0.1, 60.0).map(lambda metres: {"length_m": metres, "max_drop_pct": 2.0}),
    st.integers(1, 5).map(lambda number: {"count": number}),
    st.sampled_from([{"command": "lights"}, {"needs": frozenset({"pwm"})}, {"name": "another"}, {"share": False}]),
)
_EDITS = st.lists(st.tuples(st.sampled_from([load.name for load in VEHICLE.loads]), _CHANGES), max_size=4)


@given(_EDITS, st.booleans())
def test_circuits_touched_by_edits_are_all_that_needs_recounting(edits, is_colder):
    """Whatever loads are edited, and whether more than loads is, the findings are those of a recount of everything."""
    edited = case.in_the_cold(VEHICLE) if is_colder else VEHICLE
    for name, changes in edits:
        loads = tuple(replace(load, **changes) if load.name == name else load for load in edited.loads)
        edited = replace(edited, loads=loads)
    assert violations(edited, [UNIT], wired(), since=VEHICLE) == violations(edited, [UNIT], wired())
