"""What is said to be enough is enough, allocated and recounted; one step less of any part is not."""

from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest
from hypothesis import HealthCheck, assume, given, settings

import pdm_alloc as pa
import pdm_alloc.diagnose.shortfall as shortfalls
import pdm_alloc.program.growth as growths
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.growth_parts import Part, applied, in_one_phrase, one_step_less
from pdm_alloc.diagnose.shortfall import shortfall
from pdm_alloc.domain.module import Channel, units_of
from pdm_alloc.domain.vehicle import Input, Lock, Place, Route
from pdm_alloc.printed import why
from pdm_alloc.program.growth_task import NewKind
from pdm_alloc.program.solver import BEST_SO_FAR, Clock
from tests.attack.generator import tiny
from tests.attack.tables import write_tables
from tests.shortfall.conftest import LOAD, module_of, named, vehicle_of
from tests.strategies import cases, examples

SLOW = settings(max_examples=examples(25, 250), deadline=None, suppress_health_check=list(HealthCheck))


def study(vehicle, *units):
    return shortfall(vehicle, units_of(units), Clock(60), CircuitBook(vehicle.settings.tolerance_loads))


def is_enough(vehicle, units):
    try:
        return pa.verify(pa.allocate(vehicle, units, strategy="spare")).empty
    except pa.NotEnough:
        return False


def check(vehicle, units):
    """The grown units are enough; with one step less of any part they are not."""
    growth = study(vehicle, *units)
    if growth.lost:
        return
    assert growth.parts
    assert pa.verify(growth.allocation).empty
    assert is_enough(*applied(vehicle, units, growth.parts)), growth.sentence
    ratings = sorted({c.continuous_ma for unit in units for c in unit.module.channels})
    for n, part in enumerate(growth.parts):
        for less in one_step_less(part, ratings):
            fewer = [*growth.parts[:n], *([] if less is None else [less]), *growth.parts[n + 1 :]]
            assert not is_enough(*applied(vehicle, units, fewer)), (growth.sentence, less)


@pytest.mark.once
@SLOW
@given(cases())
def test_any_growth_is_enough_and_no_part_can_be_less(case):
    """Also with wires, locked rows, spares wanted and commands that must be whole on one channel."""
    vehicle, units = case
    assume(len(units) == 1)
    assume(not is_enough(vehicle, units))
    check(vehicle, units)


@pytest.mark.once
@settings(max_examples=examples(10, 100), deadline=None, suppress_health_check=list(HealthCheck))
@given(cases())
def test_paralleled_channels_are_left_out_only_where_one_of_them_does(case):
    """With many items less is listed: the growth is the same size."""
    vehicle, units = case
    assume(len(units) == 1)
    assume(not is_enough(vehicle, units))
    every = study(vehicle, *units)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("pdm_alloc.program.growth_task._MANY_ITEMS", 0)
        fewer = study(vehicle, *units)
    assert every.lost == fewer.lost
    if every.proved and fewer.proved:
        assert _price(every) == _price(fewer)


def _price(growth):
    return sum(part.new.price * part.number for part in growth.parts if part.new is not None)


@pytest.mark.parametrize(
    "seed",
    [
        *range(10),
        *(pytest.param(n, marks=pytest.mark.once) for n in range(10, 30)),
        *(pytest.param(n, marks=pytest.mark.nightly) for n in range(30, 300)),
    ],
)
def test_random_refusals_are_answered_exactly(seed, tmp_path):
    """Vehicles of a generator that knows nothing of the package, on modules cut down until they are refused."""
    tables = tiny(seed)
    tables.rows.pop("locked", None)
    write_tables(tables, tmp_path / "v", tmp_path / "c")
    vehicle, (module,) = pa.read_vehicle(tmp_path / "v"), pa.read_catalogue(tmp_path / "c")
    random = Random(seed)
    for _ in range(8):
        if not is_enough(vehicle, units_of(module)):
            break
        module = replace(
            module, total_ma=module.total_ma * 2 // 3, bank_ma={b: ma * 2 // 3 for b, ma in module.bank_ma.items()}
        )
        kept = [c for c in module.channels if c.bridge or c.pair or random.random() < 0.7] or module.channels[:1]
        module = replace(module, channels=tuple(kept)) if len(kept) < len(module.channels) else module
    else:
        pytest.skip("it cannot be cut down until it is refused")
    check(vehicle, units_of(module))


def test_a_growth_of_many_items_that_is_not_lowered_says_so(one_short, monkeypatch):
    """Above so many items a trial with less takes too long: nobody is to take the growth for the least."""
    vehicle, unit, _, words = one_short
    known = shortfalls.cheapest_growth
    monkeypatch.setattr(shortfalls, "cheapest_growth", lambda *a: replace(known(*a), outcome=BEST_SO_FAR))
    monkeypatch.setattr(shortfalls, "MANY_ITEMS", 0)
    growth = study(vehicle, unit)
    assert growth.may_be_less and not growth.proved
    assert growth.sentence.endswith("items it was not tried whether less is enough") and words in growth.sentence


def test_a_growth_that_is_the_least_of_its_kind_alone_is_not_called_the_cheapest(monkeypatch):
    """Where the first solve is not proved, a second one bounds every kind by it: another mixture may be cheaper."""
    known = growths.minimise
    first = []

    def minimise(*asked, **more):
        solutions = known(*asked, **more)
        first.append(solutions)
        return [replace(s, outcome=BEST_SO_FAR) for s in solutions] if len(first) == 1 else solutions

    monkeypatch.setattr(growths, "minimise", minimise)
    growth = study(vehicle_of(*named(5)), module_of(3))
    assert len(first) > 1 and growth.parts and not growth.proved
    monkeypatch.setattr(growths, "minimise", known)
    assert study(vehicle_of(*named(5)), module_of(3)).proved


def test_a_growth_that_there_was_no_time_to_lower_says_so(monkeypatch):
    """A trial with less that time ran out for shows nothing: nobody is to take the growth for the least."""
    strong = replace(LOAD, name="big", command="big", running_ma=20_000, inrush_ma=20_000)
    own = tuple(Channel(str(n + 1), 10_000, 40_000, 50.0) for n in range(2))
    vehicle, unit = vehicle_of(*named(2), strong), module_of(2, own=own)
    assert study(vehicle, unit).may_be_less == ""
    monkeypatch.setattr(shortfalls, "_RATINGS_S", 0.0)
    growth = study(vehicle, unit)
    assert growth.sentence.endswith("; time ran out before it was known whether less is enough")


def test_every_kind_of_limit_is_named_alone_when_only_it_is_short(one_short):
    """A module that lacks one thing is told that thing, in words with its number."""
    vehicle, unit, kind, words = one_short
    growth = study(vehicle, unit)
    assert [part.kind for part in growth.parts] == [kind]
    assert words in growth.sentence


def test_two_things_short_are_told_together(two_short):
    """What is said is enough as a whole."""
    vehicle, unit, kinds = two_short
    growth = study(vehicle, unit)
    assert {part.kind for part in growth.parts} == kinds
    check(vehicle, (unit,))


def test_a_winch_beyond_every_channel_is_told_all_that_it_takes():
    """One load of 120 A with PWM on channels of 25 A in a bank: rating, PWM and bank in one sentence, and enough."""
    own = tuple(Channel(str(n + 1), 25_000, 100_000, 50.0, bank="east") for n in range(55))
    unit = module_of(55, own=own, bank_ma={"east": 60_000})
    winch = replace(LOAD, name="winch", running_ma=120_000, inrush_ma=120_000, needs=frozenset({"pwm"}))
    growth = study(vehicle_of(winch), unit)
    assert growth.sentence.startswith("1 more channel of 150 A with PWM")
    check(vehicle_of(winch), (unit,))


def test_inputs_and_a_reversing_pair_are_told_together():
    """Given both it is enough; given one it is not."""
    turn = replace(LOAD, needs=frozenset({"reversing"}))
    vehicle = vehicle_of(turn, *named(2), inputs=tuple(Input(f"i{n}") for n in range(12)))
    unit = replace(module_of(3), module=replace(module_of(3).module, inputs=2))
    growth = study(vehicle, unit)
    assert "10 more inputs" in growth.sentence and "reversing pair" in growth.sentence
    check(vehicle, (unit,))


def test_a_drop_is_told_as_a_drop():
    """Two loads far off on thin terminals: what they would have to be allowed, and the wire that would do instead."""
    own = tuple(Channel(str(n + 1), 20_000, 80_000, 50.0, max_wire_mm2=4.0) for n in range(4))
    far = [replace(x, running_ma=9_000, inrush_ma=9_000, length_m=9.0) for x in named(2)]
    growth = study(vehicle_of(*far, LOAD), module_of(4, own=own))
    assert {part.kind for part in growth.parts} == {"drop"} and len(growth.parts) == 2
    assert "drop allowed to load 0 (3 % now; or a channel of 20 A whose terminal takes " in growth.sentence
    check(vehicle_of(*far, LOAD), (module_of(4, own=own),))


def test_a_mixture_is_told_as_a_mixture():
    """Twelve loads that need no strong channel are not told to take strong ones because one of them does."""
    own = (*(Channel(str(n), 5_000, 20_000, 50.0) for n in range(2)), Channel("s", 28_000, 120_000, 50.0))
    big = [replace(LOAD, name=f"big {n}", command=f"big {n}", running_ma=20_000, inrush_ma=20_000) for n in range(2)]
    vehicle = vehicle_of(*named(8), *big)
    growth = study(vehicle, module_of(3, own=own))
    assert growth.sentence.startswith("6 more channels of 5 A and 1 of 28 A")
    check(vehicle, (module_of(3, own=own),))


def test_channels_are_told_in_one_order_whatever_they_are_for():
    """Weak before strong, without PWM before with it, single ones before reversing pairs: counted at a glance."""
    loads = [replace(LOAD, name=f"big {n}", command=f"big {n}", running_ma=ma) for n, ma in enumerate((24_000, 12_000))]
    dim = replace(LOAD, name="dim", command="dim", needs=frozenset({"pwm"}))
    turn = replace(LOAD, name="turn", command="turn", needs=frozenset({"reversing"}))
    growth = study(vehicle_of(dim, turn, *loads, *named(3)), module_of(1))
    start = "2 more channels of 10 A, 1 of 15 A, 1 of 30 A, 1 of 10 A with PWM and 1 more reversing pair of 10 A"
    assert growth.sentence.startswith(start)


def test_spares_are_part_of_it():
    """Channels that have to stay free are counted."""
    vehicle = vehicle_of(*named(3))
    vehicle = replace(vehicle, settings=replace(vehicle.settings, spare_channels=2))
    assert study(vehicle, module_of(3)).sentence.startswith("2 more channels of 10 A")
    check(vehicle, (module_of(3),))


def test_new_channels_are_used_before_they_are_kept_spare():
    """Two channels are wanted free and two are missing: loads on the new ones spare the bank, which need not grow."""
    own = tuple(Channel(str(n + 1), 8_000, 24_000, 60.0, bank="A") for n in range(5))
    switched = replace(LOAD, volt_exponent=0.0, inrush_ms=1.0)
    vehicle = vehicle_of(
        *(replace(switched, name=f"small {n}", command="one", running_ma=100, share=n > 0) for n in range(2)),
        replace(switched, name="large", command="two", running_ma=5_000, count=2),
        replace(switched, name="middle", command="two", running_ma=2_400, count=2),
    )
    vehicle = replace(vehicle, settings=replace(vehicle.settings, spare_channels=2))
    unit = module_of(5, own=own, bank_ma={"A": 16_000})
    assert [part.kind for part in study(vehicle, unit).parts] == ["channels"]
    check(vehicle, (unit,))


def test_a_load_is_not_taken_for_borne_by_a_channel_it_has_no_use_for():
    """Two loads beyond every channel, the stronger with PWM: the other gets a channel as well, without PWM."""
    big = [replace(LOAD, name=f"big {n}", command=f"big {n}", running_ma=ma) for n, ma in enumerate((24_000, 23_000))]
    vehicle = vehicle_of(replace(big[0], needs=frozenset({"pwm"})), big[1])
    growth = study(vehicle, module_of(1))
    assert "with PWM" in growth.sentence and len(growth.parts) == 2
    check(vehicle, (module_of(1),))


def test_a_command_that_stays_together_is_told_a_channel_that_bears_all_of_it():
    """Three loads of 4 A on one channel, of which none there bears more than 8 A."""
    loads = [replace(LOAD, name=f"part {n}", command="winch") for n in range(3)]
    vehicle = vehicle_of(*loads, *named(1))
    together = (replace(c, together=c.name == "winch") for c in vehicle.commands)
    vehicle = replace(vehicle, commands=tuple(together))
    assert study(vehicle, module_of(3)).sentence.startswith("1 channel of 15 A in place of a weaker one")
    check(vehicle, (module_of(3),))


def locked_to(channel, *loads):
    return replace(vehicle_of(*loads), locked=(Lock(loads[0].name, "m", channel),))


def test_a_lock_that_no_growth_helps_past_is_told():
    """12 A on a channel of 10 A it is locked to: without the lock a stronger channel is enough, or there is one."""
    strong, light = replace(LOAD, name="strong", command="strong", running_ma=12_000, inrush_ma=12_000), named(1)
    vehicle, why = locked_to("1", strong, *light), "the lock of strong on channel 1 (the channel takes 8 A with"
    growth = study(vehicle, module_of(2))
    assert growth.sentence.startswith(f"without {why}")
    assert growth.sentence.endswith("): 1 channel of 15 A in place of a weaker one (for strong)")
    check(vehicle, (module_of(2),))
    unit = module_of(2, own=(*module_of(2).module.channels, Channel("3", 20_000, 80_000, 50.0)))
    assert study(vehicle, unit).sentence.endswith(") it is enough")
    check(vehicle, (unit,))


def test_of_locks_that_cannot_be_kept_together_one_is_told():
    """Two loads of two commands locked to one channel: one of the locks is in the way, not both."""
    vehicle = vehicle_of(*named(3))
    vehicle = replace(vehicle, locked=tuple(Lock(f"load {n}", "m", "1") for n in range(2)))
    growth = study(vehicle, module_of(4))
    assert [part.kind for part in growth.parts] == ["lock"]
    check(vehicle, (module_of(4),))


def test_several_modules_are_told_what_to_add_and_where():
    """Two modules without a common remedy are grown as one."""
    units = units_of([module_of(1).module, replace(module_of(1).module, name="n")])
    growth = study(vehicle_of(*named(4)), *units)
    assert growth.sentence.startswith("2 more channels of 10 A")
    assert " on m" in growth.sentence or " on n" in growth.sentence
    assert pa.verify(growth.allocation).empty


def test_a_load_that_no_module_bears_is_told_why_of_each():
    """Both modules are where it is too hot for the wire, one place hotter than the other: each is said as it is."""
    places = tuple(
        Place(name, x, 0.0, name, ambient_c=hot, mount=True)
        for name, x, hot in (("oven", 0.0, 130.0), ("shed", 2.0, 110.0))
    )
    big = replace(LOAD, name="big", command="big", place="shed")
    vehicle = vehicle_of(big, places=places, routes=(Route("oven", "shed", 2.0),))
    oven, shed = units_of([module_of(3).module, replace(module_of(3).module, name="n")])
    growth = study(vehicle, replace(oven, place="oven"), replace(shed, place="shed"))
    said = growth.sentence
    assert said.startswith("big has no wire: on m its wire passes 130 °C") and "; on n its wire passes 110 °C" in said
    alike = study(vehicle, replace(oven, place="shed"), replace(shed, place="shed")).sentence
    assert alike.startswith("big has no wire: its wire passes 110 °C") and "on m" not in alike


def test_what_is_missed_in_any_case_is_marked():
    """A limit that arithmetic alone misses stands in the table beside the whole."""
    few = replace(module_of(3), module=replace(module_of(3).module, total_ma=15_000))
    shorts = study(vehicle_of(*named(5)), few).shorts
    assert [s.kind for s in shorts if s.group == 0] == ["whole module"]


def test_a_channel_of_a_pair_and_of_a_bridge_is_not_counted_twice():
    """One command on channels of which two are a reversing pair or paralleled: one more pair is what it takes."""
    labels = [{"bridge": "0"}, {"bridge": "0"}, {}, {}, *[{"bridge": "4", "pair": "4"}] * 2, *[{"pair": "6"}] * 2]
    own = tuple(Channel(str(n), 30_000, 150_000, 100.0, **label) for n, label in enumerate(labels))
    turning = replace(LOAD, needs=frozenset({"reversing"}), kind="solenoid", command="a")
    vehicle = vehicle_of(
        replace(turning, name="turning", running_ma=7_000, inrush_ma=21_000, inrush_ms=5.0, count=3),
        replace(turning, name="alone", running_ma=2_000, inrush_ma=6_000, kind="fan", share=False),
        replace(LOAD, name="relays", running_ma=5_000, inrush_ma=7_500, command="a"),
        replace(LOAD, name="screens", running_ma=1_500, inrush_ma=2_250, inrush_ms=60.0, count=2, command="a"),
    )
    assert "1 more reversing pair" in study(vehicle, module_of(8, own=own)).sentence
    check(vehicle, (module_of(8, own=own),))


def test_channels_to_be_paralleled_are_added_as_one_outlet():
    """12 A on two new channels of 8 A that share a pair's label; the words give the number of channels."""
    unit = module_of(1, own=(Channel("1", 8_000, 40_000, 50.0),))
    vehicle = vehicle_of(replace(LOAD, running_ma=8_000, inrush_ma=8_000))
    kind = NewKind(0, Channel("", 8_000, 40_000, 50.0), "pair")
    part = Part("channels", 0, "m", 0, 1, kind, ("x", "y"), ("a",))
    assert not is_enough(vehicle, (unit,))
    (circuit,) = pa.allocate(*applied(vehicle, (unit,), [part])).circuits
    assert (circuit.use, circuit.channels) == ("pair", ("x", "y"))
    assert in_one_phrase([part]) == "2 more channels of 8 A that can be paralleled"


def test_no_more_drop_is_asked_for_than_the_other_parts_leave_to_be_missed():
    """A lamp on the wire that a heater of its command needs anyway: the heater's channel alone is enough."""
    own = (Channel("1", 20_000, 80_000, 50.0, max_wire_mm2=1.5),)
    far = {"length_m": 12.0, "max_drop_pct": 1.5}
    heater = replace(LOAD, name="heater", running_ma=9_000, inrush_ma=9_000, **far)
    lamp = replace(LOAD, name="lamp", running_ma=2_000, inrush_ma=2_000, **far)
    other = replace(LOAD, name="other", command="other", length_m=1.0)
    vehicle, unit = vehicle_of(heater, lamp, other), module_of(1, own=own)
    growth = study(vehicle, unit)
    assert [part.kind for part in growth.parts] == ["channels"], growth.sentence
    check(vehicle, [unit])


def test_a_trial_that_is_neither_enough_nor_proved_not_to_be_is_told(monkeypatch):
    """A solver may give up before its time is over: nobody is to take the growth for the least."""
    vehicle = vehicle_of(*named(4))
    own = tuple(Channel(str(n), 10_000, 40_000, 50.0, bank="b") for n in (1, 2, 3, 4))
    unit = module_of(4, own=own, bank_ma={"b": 10_000})
    known = shortfalls.cheapest_growth
    monkeypatch.setattr(shortfalls, "cheapest_growth", lambda *a: replace(known(*a), outcome=BEST_SO_FAR))
    assert not study(vehicle, unit).may_be_less
    monkeypatch.setattr(shortfalls, "any_or_none", lambda *a: (None, False))
    assert study(vehicle, unit).may_be_less == shortfalls._UNTIMELY


def test_a_strong_channel_made_for_one_load_is_not_asked_for_again_in_place_of_ordinary_ones():
    """Eight heaters of one command and a windlass on a module of 20 A channels: one of 60 A, the others of 20 A."""
    own = tuple(Channel(str(n), 20_000, 80_000, 50.0, max_wire_mm2=6.0) for n in (1, 2))
    heaters = [replace(LOAD, name=f"heater {n}", running_ma=7_000, inrush_ma=7_000) for n in range(8)]
    windlass = replace(LOAD, name="windlass", command="windlass", running_ma=45_000, inrush_ma=45_000)
    growth = study(vehicle_of(*heaters, windlass), module_of(2, own=own))
    numbers = {part.new.channel.continuous_ma: part.number for part in growth.parts}
    assert sorted(numbers.values()) == [1, 2] and numbers[20_000] == 2, growth.sentence


def test_a_terminal_is_named_as_the_vehicle_names_its_wires():
    """Of wires in AWG nobody buys 5.26115 mm²."""
    own = (Channel("1", 40_000, 160_000, 50.0, max_wire_mm2=0.6),)
    load = replace(LOAD, running_ma=20_000, inrush_ma=20_000)
    for system, words in (("awg", "AWG"), ("metric", "mm²")):
        settings = replace(vehicle_of(load).settings, wire_sizes=system)
        said = study(vehicle_of(load, settings=settings), module_of(1, own=own)).sentence
        assert said.split(" with a terminal for ")[1].split()[1] == words, said


def test_channels_in_place_of_weaker_ones_are_one_phrase():
    """Three ratings are told in brackets behind how many there are in all."""
    strong = [replace(LOAD, name=n, command=n, running_ma=ma, inrush_ma=ma) for n, ma in (("a", 14_000), ("b", 20_000))]
    said = study(vehicle_of(*strong, *named(1)), module_of(3)).sentence
    assert said.startswith("2 channels in place of weaker ones (1 of ") and " and 1 of " in said


def test_that_less_may_be_enough_is_told_beside_conditions_too():
    """Where the verdict is enough if, its sentence says nothing of the growth, whose rows follow."""
    guess = {"running_ma": 7_500, "inrush_ma": 7_500, "tolerance_pct": Fraction(10)}
    with pytest.raises(pa.NotEnough) as refusal:
        pa.allocate(vehicle_of(*named(1, **guess)), module_of(2))
    known, words = pa.explain(refusal.value), "time ran out before it was known whether less is enough"
    assert known.sentence().startswith("m is enough if: ") and f"  {words}" not in list(why(known, everything=True))
    unsure = replace(known, growth=replace(known.growth, may_be_less=f"; {words}"))
    assert f"  {words}" in list(why(unsure, everything=True))
