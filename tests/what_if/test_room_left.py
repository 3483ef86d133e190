"""Room left is exact: as many fit as it says, one more does not, and the reason it gives is the reason."""

import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, note, settings
from hypothesis import strategies as st

import pdm_alloc as pa
import pdm_alloc.studies.room_left as room
from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Channel, units_of
from pdm_alloc.studies.room_left import AMPS_LEFT, ROOM_LEFT, TYPICAL_W, amps_left, room_left
from pdm_alloc.studies.what_if import what_if
from tests.strategies import cases, examples
from tests.what_if import builds
from tests.what_if.builds import FREE, QUIET, enough, lamp, tabled, vehicle

DATA = Path(__file__).parents[2] / "data"
ONE = {"running_a": 1, "kind": "solenoid"}
NINE = vehicle(lamp("a", "x", 9.0))


def module(*amps, **more):
    """Channels that bear so many amps: the trip setting must stand a quarter above them and within the rating."""
    return builds.module(*(math.ceil(12.5 * a) / 10 for a in amps), **more)


def only(table):
    """The single row."""
    assert len(table) == 1
    return next(table.itertuples())


def test_counted_by_hand():
    """Channels of 5 and 3 A are free: eight loads of 1 A fit, and the ninth finds no channel."""
    row = only(room_left(NINE, module(10, 5, 3), [ONE]))
    assert (row.more, row.at_least, row.limited_by) == (8, False, "no free channel that bears it")
    assert (row.kind, row.running_a) == ("solenoid", 1.0)


def test_on_a_command_that_is_there():
    """On the command of the load that is there, its channel has room for one more."""
    car = vehicle(lamp("a", "x", 9.0))
    row = only(room_left(car, module(10, 5, 3), [ONE], command="x"))
    assert (row.subject, row.more) == ("x", 9)


def test_more_of_the_very_same():
    """Items like those that are there, on their command: only those that come are counted."""
    car = vehicle(lamp("a", "x", 1.0, count=2))
    assert only(room_left(car, module(10, 5), ["a"], command="x")).more == 13


def test_amps_by_hand():
    """The strongest load that still fits: the strongest channel others can leave, or what the shared one has left."""
    car = vehicle(lamp("a", "x", 4.0), lamp("b", "y", 9.95))
    alone = only(amps_left(car, module(10, 5, 10), kinds=["solenoid"]))
    assert tuple(alone._fields[1:]) == AMPS_LEFT
    assert (alone.more_a, alone.at_least) == (10.0, False)  # a goes to the channel of 5 A
    weak = vehicle(lamp("a", "x", 9.0), lamp("b", "y", 9.95))
    assert only(amps_left(weak, module(10, 5, 10), kinds=["solenoid"])).more_a == 5.0
    shared = only(amps_left(car, module(10, 10), "x", kinds=["solenoid"]))
    assert (shared.subject, shared.more_a) == ("x", 6.0)
    # 12.45 A is no step of 0.1 A
    assert only(amps_left(vehicle(lamp("a", "x")), module(2, 12.45), kinds=["solenoid"])).more_a == 12.4


def test_other_circuits_make_room():
    """What is there may move: the weak load goes to the weak channel so that the strong one fits."""
    car = vehicle(lamp("a", "x", 2.0), lamp("b", "x", 2.0))
    row = only(room_left(car, module(10, 4, 4), [{"running_a": 8, "kind": "solenoid"}]))
    assert row.more == 1


REASONS = [
    (module(10, 10), "no free channel that bears it"),
    (
        module(10, 40, total=13),
        "whole module: 1 A more in the state all on (14 A against 13 A: something new and x on)",
    ),
    (replace(module(10, 20), channels=(Channel("1", 12_500, 50_000, 100.0),)), "no free channel that bears it"),
]


@pytest.mark.parametrize(("box", "reason"), REASONS)
def test_the_reason_is_the_reason(box, reason):
    """Channels, and the whole module, each named where it is what stops the next load."""
    row = only(room_left(vehicle(lamp("a", "x", 9.0)), box, [ONE]))
    assert row.limited_by == reason


def test_a_bank_is_named():
    """Where a bank is full while channels are free, it is the bank that is named."""
    car = vehicle(lamp("a", "x", 9.0))
    channels = tuple(Channel(str(n), 12_500, 50_000, 100.0, bank="west") for n in range(1, 5))
    box = replace(module(1), channels=channels, bank_ma={"west": 12_000})
    row = only(room_left(car, box, [ONE]))
    assert (row.more, row.limited_by) == (3, "the limit of bank west")


def test_no_channel_bears_one():
    """A load stronger than every channel is told as that, with no room for it."""
    row = only(room_left(vehicle(lamp("a", "x")), module(10, 10), [{"running_a": 30, "kind": "solenoid"}]))
    assert (row.more, row.limited_by) == (0, "no channel bears one")


def test_spares_wanted_are_no_room():
    """Channels that are to stay free are not counted as room."""
    car = vehicle(lamp("a", "x", 9.0), settings=replace(FREE, spare_channels=1))
    assert only(room_left(car, module(10, 5, 3), [ONE])).more == 5


@pytest.mark.once
def test_duty_is_for_the_battery_alone():
    """A command that is on half of the time may be on with all others: it takes all of its current from the module."""
    car = pa.read_vehicle(DATA / "rally_coupe")
    box = pa.read_catalogue(DATA / "catalogue")["large-56"]
    always, half = (only(room_left(car, box, ["solenoid"], duty=duty)) for duty in (1, 0.5))
    assert half.more == always.more > 0


def test_counting_stops_where_told():
    """At `most` counting stops, says so, and gives no reason."""
    row = only(room_left(vehicle(lamp("a", "x")), module(10, 10, 10), [ONE], most=5))
    assert (row.more, row.at_least, row.limited_by) == (5, True, "")


@pytest.mark.once
def test_one_more_of_what_is_there():
    """A load of the vehicle can be named: one more like it, whatever it is to be kept apart from."""
    car = pa.read_vehicle(DATA / "rally_coupe")
    box = pa.read_catalogue(DATA / "catalogue")["middle-42"]
    table = room_left(car, box, ["dipped beam left", {"load": "work light", "running_a": 3, "kind": "led"}])
    assert table["kind"].tolist() == ["dipped beam left", "work light"]
    assert table["running_a"].tolist() == [4.4, 3.0]
    assert (table["more"] > 0).all()


def test_every_kind_has_a_typical_load():
    """Every kind can be asked for; its typical load draws half as much at twice the voltage."""
    assert TYPICAL_W.keys() == KINDS.keys()
    low, high = (vehicle(lamp("a", "x"), settings=replace(FREE, reference_v=v, system_v=v)) for v in (12.0, 24.0))
    amps = [room_left(car, module(10, 10), ["filament"])["running_a"][0] for car in (low, high)]
    assert amps == [1.75, 0.88]  # 21 W


def test_what_is_wrong_is_said():
    """A kind nobody knows, and a row at fault, are refused with the nearest name."""
    car = vehicle(lamp("fan", "x"))
    with pytest.raises(pa.InputError, match="did you mean 'motor'"):
        room_left(car, module(10, 10), ["moter"])
    with pytest.raises(pa.InputError, match="running_a"):
        room_left(car, module(10, 10), [{"running_a": -1}])


def test_a_module_that_is_not_enough_has_no_room():
    """Where the vehicle does not fit as it is, that is said, with what is short."""
    with pytest.raises(pa.NotEnough):
        room_left(vehicle(lamp("a", "x"), lamp("b", "y")), module(10), ["led"])
    with pytest.raises(pa.NotEnough) as refused:
        room_left(vehicle(lamp("a", "x", 9.0)), module(10, total=5), ["led"])
    assert refused.value.shorts


def test_no_time_no_claim():
    """Wherever it is stopped: nothing is claimed, the count is marked as open, or it and its reason are true."""
    with pytest.raises(pa.Unsolved):
        room_left(NINE, module(10, 5, 3), [ONE], time_limit_s=0)
    asked = []
    room_left(NINE, module(10, 5, 3), [ONE], stop=lambda: asked.append(True))
    last = len(asked)
    claims = [_stopped_after(n) for n in (1, *range(4, last, last // 6), last - 3, last)]
    assert claims == sorted(claims, key=(None, "open", "reason open", "whole").index)  # more time never claims less
    assert {None, "open", "whole"} <= set(claims)


def _stopped_after(count):
    """What is claimed of eight loads at most, if the work is stopped when it asks so many times."""
    asked = iter(range(count))
    try:
        row = only(room_left(NINE, module(10, 5, 3), [ONE], stop=lambda: next(asked, None) is None))
    except pa.Unsolved:
        return None
    if row.at_least:
        assert row.limited_by == "" and row.more <= 8
        return "open"
    assert row.more == 8
    if row.limited_by == "time ran out before it was known which limit":
        return "reason open"
    assert row.limited_by == "no free channel that bears it"
    return "whole"


def one_more(car, units, name, n, **row):
    """Whether n items of a load fit, by `allocate` and its recount alone."""
    added = what_if(car).add(load=name, command="something new", count=n, **row).vehicle
    return enough(added, units) is not None


@pytest.mark.once
@settings(max_examples=examples(15, 100), suppress_health_check=list(HealthCheck), **QUIET)
@given(
    case=cases(most_loads=5, most_items=6, most_channels=6),
    amps=st.sampled_from((0.5, 1.0, 2.5)),
    kind=st.sampled_from(("solenoid", "led", "filament")),
)
def test_so_many_fit_and_one_more_does_not(case, amps, kind):
    """On random vehicles `allocate` finds room for exactly as many."""
    car, units = tabled(case[0]), case[1]
    assume(enough(car, units) is not None)
    row = only(room_left(car, units, [{"running_a": amps, "kind": kind}], most=40))
    note(repr((car, units, row)))
    assert row.more == 0 or one_more(car, units, "new", row.more, running_a=amps, kind=kind)
    assert row.at_least == (row.more == 40)
    assert row.at_least or not one_more(car, units, "new", row.more + 1, running_a=amps, kind=kind)


@pytest.mark.once
@settings(max_examples=examples(10, 60), suppress_health_check=list(HealthCheck), **QUIET)
@given(case=cases(most_loads=5, most_items=6, most_channels=6), kind=st.sampled_from(("solenoid", "motor")))
def test_so_many_amps_fit_and_a_tenth_more_does_not(case, kind):
    """On random vehicles `allocate` takes a load so strong and none stronger."""
    car, units = tabled(case[0]), case[1]
    assume(enough(car, units) is not None)
    row = only(amps_left(car, units, kinds=[kind]))
    note(repr((car, units, row)))
    ms = {"inrush_ms": KINDS[kind].inrush_ms} if KINDS[kind].inrush_multiple > 1 else {}
    assert row.more_a == 0 or one_more(car, units, "new", 1, running_a=row.more_a, kind=kind, **ms)
    assert not one_more(car, units, "new", 1, running_a=round(row.more_a + 0.1, 1), kind=kind, **ms)


def test_columns_are_those_of_the_figure():
    """The table is what the figure of room left takes."""
    table = room_left(vehicle(lamp("a", "x")), module(10, 10, 10), ["led", "solenoid"])
    assert tuple(table.columns) == ROOM_LEFT
    pytest.importorskip("matplotlib")
    from pdm_alloc.figures.limits import room

    assert len(room(table).patches) == 2


def test_two_units_count_together():
    """Room on two modules is the room of both."""
    car = vehicle(lamp("a", "x", 9.0), settings=FREE)
    units = units_of([module(10, 3, name="one"), module(4, 2, name="two")])
    assert only(room_left(car, units, [ONE])).more == 9


@pytest.mark.parametrize("study", [room_left, amps_left])
def test_no_arithmetic_once_the_time_is_over(study, monkeypatch):
    """Of 1,000 loads a third of a second each time: a limit of 1 s became 19 s."""
    late = []
    asked = []
    known = room.arithmetic_shorts

    def counted(*of):
        asked.append(bool(late))
        if len(asked) == 3:
            late.append(True)
        return known(*of)

    monkeypatch.setattr(room, "arithmetic_shorts", counted)
    table = study(NINE, module(10, 5, 3), kinds=[ONE, {"running_a": 2, "kind": "led"}], stop=lambda: bool(late))
    assert len(asked) == 3 and not any(asked)
    assert table.at_least.all() and len(table) == 2
