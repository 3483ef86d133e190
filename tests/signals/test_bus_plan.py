import math

import pytest

from pdm_alloc.allocator import allocate_signals
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Box, Keypad, Message, Signal, SignalPin, fitted
from pdm_alloc.domain.vehicle import Place, Route, Vehicle
from pdm_alloc.electrics.battery import parked
from pdm_alloc.studies.signal_sizing import plan_bus, wires_saved

PLACES = (Place("nose"), Place("dash"), Place("boot"), Place("attic"))
ROUTES = (Route("nose", "dash", 2.0), Route("dash", "boot", 3.0))


def _vehicle(**more):
    return Vehicle("v", (), (), (), Settings(slack_pct=0, end_allowance_m=0.1), (), PLACES, ROUTES, **more)


def test_the_trunk_runs_along_the_routes_with_the_allowances_of_any_wire():
    """Boot, dash, nose: 5 m of route and two ends a section; the attic has no route and is told."""
    plan = plan_bus(_vehicle(), {"a": "nose", "b": "boot", "c": "dash", "d": None, "e": "attic"})
    assert plan.trunk.nodes == ("a", "c", "b")
    assert plan.trunk.length_m == pytest.approx(5.4)
    assert (plan.unplaced, plan.warnings, plan.load, plan.times) == (("d", "e"), (), None, ())


def test_a_long_stub_is_told_and_messages_are_timed():
    """At 500 kbit/s 0.7 m of stub is over 0.6 m; one message of 8 bytes every 10 ms is 2.7 % of the bus."""
    vehicle = _vehicle(messages=(Message("rpm", 8, 10_000, 1),))
    plan = plan_bus(vehicle, {"a": "nose", "b": "dash"}, 500, {"b": 0.7})
    assert [w.rule for w in plan.warnings] == ["stub"]
    assert plan.load == pytest.approx(0.027)
    assert plan.times[0].response_us == 270


def test_no_node_with_a_place_is_refused():
    """There is no trunk through nothing."""
    with pytest.raises(ValueError, match="distinct"):
        plan_bus(_vehicle(), {"a": None})


def test_the_bus_saves_a_wire_a_key_less_those_of_the_keypads():
    """Eleven keys on two keypads of four wires: three wires fewer."""
    pads = {"dash": (Keypad("p", 8),), None: (Keypad("q", 4),)}
    assert wires_saved({"dash": 8, None: 3}, pads).saved == 3


def test_days_parked_are_worked_by_hand():
    """60 Ah down to half at 25 mA: 1,200 h, 50 days; a box that states nothing is named."""
    answer = parked({"a": 15.0, "b": 10.0, "c": None}, 60.0, 50.0)
    assert (answer.total_ma, answer.unknown) == (25.0, ("c",))
    assert answer.days == pytest.approx(50)
    assert parked({}, 60.0, 50.0).days == math.inf
    assert parked({"a": 1.0}, None, 50.0).days is None


def test_current_of_each_supply_is_counted():
    """Three sensors of 10 mA on 40 mA: 30 mA, 25 % left."""
    pins = [SignalPin(str(n), "A", frozenset(("voltage_input",))) for n in range(3)]
    supply = SignalPin("4", "A", frozenset(("supply_5v",)), 40)
    sensors = Signal("s", "voltage", 3, needs=frozenset(("supply_5v",)), current_ma=10)
    [row] = allocate_signals([sensors], fitted([Box("u", (*pins, supply))])).shared().itertuples(index=False)
    assert tuple(row) == ("u", "A-4", "supply_5v", 3, 0.03, 0.04, pytest.approx(25))
