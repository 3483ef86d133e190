"""Sets of concessions: minimal, distinct, in order, and none cheaper is missed."""

from dataclasses import replace
from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.allocator import allocate
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.concession_sets import ConcessionSet, _kind_of_set, concession_sets, concession_study
from pdm_alloc.diagnose.concession_sets import offered as on_offer
from pdm_alloc.diagnose.explain import alternatives, concessions_table, in_words
from pdm_alloc.domain.concession_options import Option, coil_of, concede, options, switch_for
from pdm_alloc.domain.module import Channel
from pdm_alloc.domain.vehicle import Input, Place, Route
from pdm_alloc.panel.views import _ways
from pdm_alloc.printed import refusal_json, why
from pdm_alloc.result.allocation import NotEnough
from pdm_alloc.verify.check import violations
from tests.shortfall.conftest import LOAD, module_of, vehicle_of
from tests.strategies import cases, examples

MOST_OPTIONS = 9


def enough(vehicle, units):
    try:
        allocate(vehicle, units)
    except NotEnough:
        return False
    return True


def allowed(vehicle, made):
    """A command is joined once at the most, and then takes no other concession; a load is altered once."""
    altered = [o.subject for o in made if o.kind in ("relay", "soft_start", "measure", "drop", "leave_out", "divide")]
    if len(altered) > len(set(altered)):
        return False
    joined = [name for o in made if o.kind == "join" for name in o.members]
    if len(joined) > len(set(joined)):
        return False
    commands = {load.name: load.command for load in vehicle.loads}
    others = [o for o in made if o.kind not in ("join", "separation", "margin", "keypad")]
    return not any(commands.get(o.subject, o.subject) in joined for o in others)


def exhaustive(vehicle, units, offered):
    """Every minimal set that is enough, by trying all sets, cheapest first."""
    found = []
    every = [s for n in range(1, len(offered) + 1) for s in combinations(offered, n)]
    for made in sorted(every, key=lambda s: sum(o.weight for o in s)):
        if any(set(smaller) <= set(made) for smaller in found) or not allowed(vehicle, made):
            continue
        if enough(concede(vehicle, made), units):
            found.append(made)
    return found


@pytest.mark.once
@settings(max_examples=examples(40, 400), deadline=None, suppress_health_check=list(HealthCheck))
@given(cases(most_loads=4, most_items=6, most_channels=5), st.sampled_from([0, 300]))
def test_no_cheaper_set_exists_and_none_has_a_member_too_many(case, ordered):
    """The sets found weigh what the cheapest minimal sets of an exhaustive search weigh, in a large program too."""
    vehicle, units = case
    assume(len(units) == 1)
    with pytest.MonkeyPatch.context() as patch:
        for name in ("_ORDERED", "_FIRST_ORDERED"):
            patch.setattr(f"pdm_alloc.program.concession_program.{name}", ordered)
        _check_against_all(vehicle, units)


@pytest.mark.once
@settings(max_examples=examples(40, 400), deadline=None, suppress_health_check=list(HealthCheck))
@given(cases(most_loads=4, most_items=6, most_channels=5), st.sampled_from([0, 1, 2]))
def test_no_set_of_so_few_members_is_missed(case, members):
    """With a limit of members the sets are those of an exhaustive search that keep it; where none does, it is told."""
    vehicle, units = case
    assume(len(units) == 1)
    with pytest.MonkeyPatch.context() as patch:
        for room in ("program.concession_program", "diagnose.concession_sets"):
            patch.setattr(f"pdm_alloc.{room}.MOST_MEMBERS", members)
        study = _check_against_all(vehicle, units, members)
    assert bool(study.why_none) == (not study.sets)


def _check_against_all(vehicle, units, members=MOST_OPTIONS):
    offered = on_offer(vehicle, units, CircuitBook(vehicle.settings.tolerance_loads))
    assume(len(offered) <= MOST_OPTIONS and not enough(vehicle, units))
    study = concession_study(vehicle, units)
    sets = study.sets
    every = [s for s in exhaustive(vehicle, units, offered) if sum(not o.harmless for o in s) <= members]
    best = list({_kind_of_set(vehicle, made): made for made in reversed(every)}.values())
    assert [s.weight for s in sets] == sorted(sum(o.weight for o in made) for made in best)[: len(sets)]
    assert len(sets) == min(5, len(best))
    for one in sets:
        assert not violations(one.vehicle, one.allocation.units, one.allocation.circuits)
        assert set(one.made) in [set(made) for made in every]
        assert all(enough(concede(vehicle, made), units) for made in one.alike)
        for option in one.made:
            assert not enough(concede(vehicle, [o for o in one.made if o != option]), units)
    return study


@pytest.mark.once
@settings(max_examples=examples(40, 400), deadline=None, suppress_health_check=list(HealthCheck))
@given(cases())
def test_sets_are_distinct_and_in_order(case):
    """No set contains another, and none is cheaper than the one before it."""
    vehicle, units = case
    assume(len(units) == 1 and not enough(vehicle, units))
    sets = concession_sets(vehicle, units)
    assert [s.weight for s in sets] == sorted(s.weight for s in sets)
    assert not any(set(a.made) <= set(b.made) for a, b in combinations(sets, 2))
    assert not any(set(b.made) <= set(a.made) for a, b in combinations(sets, 2))


@pytest.mark.parametrize(
    ("load", "joins"),
    [
        (pa.Load("anchor light", "lights", 800, kind="led"), True),
        (pa.Load("windlass", "anchor", 60_000, kind="motor"), False),
        (pa.Load("windlass control", "up", 500, kind="electronics"), False),
        (pa.Load("relay", "horn", 200, kind="coil"), False),
        (pa.Load("pump", "bilge", 4_000, kind="electronics"), False),
        (pa.Load("lamp", "engine start", 800, kind="led"), False),
        (pa.Load("cabin lamp", "cabin", 800, kind="filament", importance="vital"), False),
        (pa.Load("autopilot", "pilot", 8_000, kind="electronics"), False),
        (pa.Load("rudder control", "helm", 2_000, kind="electronics"), False),
        (pa.Load("roof lamp", "roof", 800, kind="led"), True),
        (pa.Load("front lamp", "indicators left", 1_800, kind="filament"), False),
        (pa.Load("reversing lamp", "rear", 1_800, kind="filament"), False),
    ],
)
def test_what_moves_or_starts_is_never_joined(load, joins):
    """An anchor light on one channel with a windlass would start the winch, a beacon signal a turn."""
    other = pa.Load("reading lamp", "reading", 500, kind="led")
    commands = tuple(pa.Command(name) for name in (load.command, other.command))
    vehicle = pa.Vehicle("v", (load, other), commands, (pa.State("on", 12.0, {c.name: 1_000_000 for c in commands}),))
    assert any(o.kind == "join" for o in options(vehicle)) == joins
    forbidden = replace(vehicle, commands=(replace(commands[0], joins=False), commands[1]))
    assert not any(o.kind == "join" for o in options(forbidden))


def test_a_relay_is_chosen_by_rating():
    """A relay up to 40 A, a contactor beyond, nothing beyond the largest; the coil grows with it."""
    sizes = {a: switch_for(pa.Load("x", "c", a * 1000)) for a in (40, 41, 400, 401)}
    assert [s and (s.name, s.most_a) for s in sizes.values()] == [
        ("relay", 40), ("contactor", 100), ("contactor", 400), None
    ]  # fmt: skip
    assert coil_of(pa.Load("x", "c", 400_000), 12.0).running_ma == 1_000
    starter = pa.Vehicle(
        "v", (pa.Load("starter", "c", 401_000),), (pa.Command("c"),), (pa.State("on", 12.0, {"c": 1}),)
    )
    assert not any(o.kind == "relay" for o in options(starter))


def refused(vehicle, unit):
    with pytest.raises(pa.NotEnough) as why:
        allocate(vehicle, unit)
    return pa.explain(why.value)


def remedies(study):
    """Kinds of each set; every one applied by hand is enough and none of it can be left out."""
    for one in study.concession_sets:
        wanted, units = study.refusal.vehicle, study.refusal.units
        assert enough(concede(wanted, one.made), units)
        for option in one.made:
            assert not enough(concede(wanted, [o for o in one.made if o != option]), units)
    return [tuple(o.kind for o in one.made) for one in study.concession_sets]


def test_a_reversing_load_goes_on_two_change_over_relays():
    """A window motor on a module without reversing channels: the commonest remedy, its coils on two channels."""
    window = replace(LOAD, name="window", command="window", kind="motor", needs=frozenset({"reversing"}))
    study = refused(vehicle_of(window), module_of(2))
    assert remedies(study) == [("relay",)]
    assert "window on two change-over relays of 40 A" in study.concessions["detail"].iloc[0]
    assert "on channels 1 and 2" in study.concessions["detail"].iloc[0]


def test_switches_beyond_the_inputs_go_on_a_keypad():
    """Twelve switches and two inputs: two keypads; five switches and two inputs: one, told with its switches."""
    few = replace(module_of(3), module=replace(module_of(3).module, inputs=2))
    many = vehicle_of(LOAD, inputs=tuple(Input(f"i{n}") for n in range(12)))
    assert remedies(refused(many, few)) == [("keypad", "keypad")]
    study = refused(replace(many, inputs=many.inputs[:5]), few)
    assert remedies(study) == [("keypad",)]
    assert study.concessions["detail"].iloc[0] == "5 keys of a keypad on the bus in place of i0, i1, i2, i3, i4"


def test_a_wire_that_drops_too_much_is_allowed_more():
    """A load far off on a thin terminal: the drop that would do, and that it does."""
    own = (Channel("1", 20_000, 80_000, 50.0, max_wire_mm2=4.0),)
    far = replace(LOAD, running_ma=9_000, inrush_ma=9_000, length_m=9.0, max_drop_pct=3.0)
    study = refused(vehicle_of(far), module_of(1, own=own))
    assert ("drop",) in remedies(study)
    assert "of its voltage in its wire, where 3 % was wanted" in " ".join(study.concessions["detail"])


def test_a_guess_may_be_measured_and_a_module_margin_given_up():
    """18.4 A at the top of a guess do not fit where 16 A do; 9.5 A in a bank of 10 A do with half the margin."""
    own = tuple(Channel(str(n), 22_625, 90_000, 50.0) for n in (1, 2))
    guess = replace(LOAD, running_ma=16_000, inrush_ma=16_000, tolerance_pct=Fraction(15))
    assert ("measure",) in remedies(refused(vehicle_of(guess), module_of(2, own=own)))
    tight = module_of(
        2, own=tuple(Channel(str(n), 20_000, 80_000, 50.0, bank="b") for n in (1, 2)), bank_ma={"b": 10_000}
    )
    assert ("margin",) in remedies(refused(vehicle_of(replace(LOAD, running_ma=9_500, inrush_ma=9_500)), tight))


def _comforts(*names, **more):
    """Loads of 5 A each on a command of its own, comfort and never on one channel with another."""
    return tuple(
        replace(LOAD, name=n, command=n, running_ma=5_000, inrush_ma=5_000, importance="comfort", share=False, **more)
        for n in names
    )


@pytest.mark.parametrize("number", [2, 3])
def test_equal_loads_are_one_set_that_names_each_of_them(number):
    """Four equal lamps on fewer channels: one set, any so many of the four, and every such choice is enough."""
    vehicle, unit = vehicle_of(*_comforts("a", "b", "c", "d")), module_of(number)
    study = refused(vehicle, unit)
    given = [s for s in study.concession_sets if {o.kind for o in s.made} == {"leave_out"}]
    assert len(given) == 1
    said = alternatives(given[0])
    assert said == f"any {4 - number} of a, b, c, d left out"
    offers = {o.subject: o for o in options(vehicle) if o.kind == "leave_out"}
    for names in combinations("abcd", 4 - number):
        assert enough(concede(vehicle, [offers[n] for n in names]), (unit,))
    assert said in "\n".join(why(study, everything=True))
    rank = f"rank == {given[0].rank}"
    assert set(study.concessions.query(rank)["likewise"]) == {said}
    assert said in {row["likewise"] for row in refusal_json(study)["concessions"]}
    assert said in _ways(study.concessions, "") and said in study._repr_html_()


def test_like_loads_that_do_not_help_are_not_named():
    """Two of three lamps sit in a bank that is too weak: the third, though equal, is no alternative."""
    own = tuple(Channel(str(n), 10_000, 40_000, 50.0, bank="w" if n < 3 else "e") for n in (1, 2, 3))
    unit = module_of(3, own=own, bank_ma={"w": 6_000, "e": 20_000})
    lamps = _comforts("a", "b", "c")
    where = (("a", "1"), ("b", "2"), ("c", "3"))
    vehicle = vehicle_of(*lamps, locked=tuple(pa.Lock(n, "m", c) for n, c in where if n == "c"))
    study = refused(vehicle, unit)
    given = [s for s in study.concession_sets if [o.kind for o in s.made] == ["leave_out"]]
    assert len(given) == 1 and alternatives(given[0]) == "any 1 of a, b left out"


def test_of_sets_that_weigh_the_same_the_tables_decide_which_come_first():
    """Nine loads on five channels, many sets of equal weight and equal order: these five, in every solver's version."""
    told = "5000 led c8, 5000 heater c7, 500 filament c7, 1500 motor c3, 5000 motor c7, 1500 led c3, 4200 heater c0"
    rows = [row.split() for row in f"{told}, 5000 filament c0, 3500 motor c7".split(", ")]
    loads = [
        replace(LOAD, name=f"l{n}", command=c, kind=kind, running_ma=int(ma), inrush_ma=int(ma), importance="comfort")
        for n, (ma, kind, c) in enumerate(rows)
    ]
    loads = [replace(load, importance="needed") if load.command == "c0" else load for load in loads]
    sets = concession_sets(vehicle_of(*loads), (module_of(5),))
    taken = [" ".join(sorted(o.subject for o in s.made)) for s in sets]
    assert {o.kind for s in sets for o in s.made} == {"relay"}
    assert taken == ["l1 l4", "l4 l8", "l1 l6", "l4 l6", "l1 l7"]


def _lamps(number):
    return tuple(
        replace(
            LOAD, name=f"lamp {n}", command=f"lamp {n}", running_ma=ma, inrush_ma=ma, importance="comfort", kind="led"
        )
        for n, ma in enumerate(range(400, 400 + 100 * number, 100))
    )


def test_a_peak_that_is_missed_is_cured_by_what_lowers_it():
    """Four fans switched at once pass the module's peak, and nothing about five lamps helps: two fans go on relays."""
    fans = tuple(
        replace(LOAD, name=f"fan {n}", command="fans", kind="fan", inrush_ma=20_000 + 2_000 * n, inrush_ms=1.0)
        for n in range(4)
    )
    unit = replace(module_of(10), module=replace(module_of(10).module, total_peak_ma=56_000))
    study = refused(vehicle_of(*fans, *_lamps(5)), unit)
    assert remedies(study)[0] == ("relay", "relay") and study.left_open == ""
    assert {o.subject[:3] for s in study.concession_sets for o in s.made} == {"fan"}


def test_a_bank_that_is_missed_is_cured_by_what_takes_load_off_it():
    """Heaters of 5 to 6.5 A in banks of 12 and 9 A: a margin with a relay, or two relays, and never a lamp alone."""
    own = tuple(Channel(str(n), 10_000, 40_000, 50.0, bank="a" if n < 5 else "b") for n in range(10))
    unit = module_of(10, own=own, bank_ma={"a": 12_000, "b": 9_000})
    heaters = tuple(
        replace(LOAD, name=f"heater {n}", command=f"h{n}", running_ma=ma, inrush_ma=ma)
        for n, ma in enumerate((5_000, 5_500, 6_000, 6_500))
    )
    vehicle = vehicle_of(*heaters, *_lamps(5))
    sets = concession_sets(vehicle, (unit,), most=2)
    assert [tuple(o.kind for o in s.made) for s in sets] == [("margin", "relay"), ("relay", "relay")]
    for one in sets:
        assert not any(enough(concede(vehicle, [o for o in one.made if o != option]), unit) for option in one.made)


def _boat():
    """A windlass in the bow, a module in the stern whose terminals take thin wire; the bow locker has fuel in it."""
    places = tuple(
        Place(name, x, 0.0, compartment, mount=True, contains=frozenset({"fuel"} if name == "bow locker" else ()))
        for name, x, compartment in (("mast", 6.0, "hull"), ("bow", 9.0, "bow"), ("bow locker", 9.5, "locker"))
    )
    places += (Place("stern", 0.0, 0.0, "stern", mount=True),)
    routes = tuple(Route(*ends) for ends in (("stern", "mast"), ("mast", "bow"), ("bow", "bow locker")))
    heater = replace(LOAD, name="bow heater", command="heat", running_ma=9_000, inrush_ma=9_000, place="bow")
    own = tuple(Channel(str(n), 20_000, 80_000, 50.0, max_wire_mm2=2.5) for n in (1, 2, 3))
    vehicle = vehicle_of(replace(heater, max_drop_pct=3.0), places=places, routes=routes)
    return vehicle, replace(module_of(3, own=own), place="stern")


def test_a_module_is_moved_nearer_to_its_loads():
    """Nine metres of thin wire drop too much: at mast or bow the module is enough, each tried; never beside fuel."""
    vehicle, unit = _boat()
    study = refused(vehicle, unit)
    (moved,) = (s for s in study.concession_sets if s.made[0].kind == "place")
    assert moved.allocation.units == (replace(unit, place="bow"),)
    assert alternatives(moved) == "the module at any 1 of bow, mast"
    assert not violations(vehicle, moved.allocation.units, moved.allocation.circuits)
    assert enough(vehicle, (replace(unit, place="mast"),)) and not enough(vehicle, (unit,))
    assert "m at bow in place of stern: its wires then weigh" in "\n".join(why(study, everything=True))
    wired = replace(vehicle, locked=(pa.Lock("bow heater", "m", "1"),))
    never = replace(vehicle, concessions=(pa.Concession("place", "*", None),))
    for other in (wired, never):
        assert not any(o.kind == "place" for s in concession_sets(other, (unit,)) for o in s.made)


def test_a_second_small_module_is_the_cheapest_that_is_enough():
    """Five vital motors on three channels: a module of one channel is too small, one of two is told with its price."""
    small = [
        pa.Module(f"small-{n}", 30_000, 90_000, module_of(n).module.channels, mass_g=100.0 * n, price=60.0 * n)
        for n in (3, 2, 1)
    ]
    motors = tuple(
        replace(
            LOAD, name=n, command=n, kind="motor", importance="vital", running_ma=5_000, inrush_ma=5_000, share=False
        )
        for n in "abcde"
    )
    vehicle, unit = vehicle_of(*motors), module_of(3)
    (one,) = concession_study(vehicle, (unit,), most=1, catalogue=pa.Catalogue("c", tuple(small))).sets
    second = one.made[0].unit
    assert one.made[0].kind == "second_module" and second.label == "small-2"
    assert not violations(vehicle, (unit, second), one.allocation.circuits)
    told = concessions_table([one])["detail"].iloc[0]
    assert told.startswith("small-2 as a second module: 200 g and a price of 120 more; on it ")
    assert [c.loads for c in one.allocation.circuits if c.unit == "small-2"] and len(one.allocation.circuits) == 5


def test_that_not_every_second_module_was_tried_is_said(monkeypatch):
    """Where trying them takes longer than there is for it, nobody is to believe that there is none."""
    vehicle, unit = vehicle_of(*_comforts("a", "b")), module_of(1)
    catalogue = pa.Catalogue("c", (module_of(2).module,))
    assert not concession_study(vehicle, (unit,), catalogue=catalogue).left_open
    monkeypatch.setattr("pdm_alloc.diagnose.concession_sets.REFIT_S", 0.0)
    said = concession_study(vehicle, (unit,), catalogue=catalogue).left_open
    assert said == "time ran out before every second module was tried"


def test_that_not_every_place_was_tried_is_said(monkeypatch):
    """As of second modules: where time ran out, nobody is to believe that no other place helps."""
    vehicle, unit = _boat()
    assert not concession_study(vehicle, (unit,)).left_open
    monkeypatch.setattr("pdm_alloc.diagnose.concession_sets.REFIT_S", 0.0)
    said = concession_study(vehicle, (unit,)).left_open
    assert said == "time ran out before every other place for the module was tried"


def test_a_set_that_was_not_tried_to_the_end_leaves_the_search_open(monkeypatch):
    """Where there is no time to see whether a set is enough, nobody is told that there is none."""
    monkeypatch.setattr("pdm_alloc.diagnose.concession_sets.allocation_of", lambda *_: None)
    vehicle, unit = vehicle_of(*_comforts("a", "b")), module_of(1)

    def in_vain(vehicle, units, clock, book):
        while not clock.is_over():
            pass

    monkeypatch.setattr("pdm_alloc.diagnose.concession_sets.any_allocation", in_vain)
    monkeypatch.setattr("pdm_alloc.diagnose.concession_sets._TRIED_S", 0.01)
    study = concession_study(vehicle, (unit,), time_limit_s=2)
    assert study.sets == ()
    assert study.left_open == "time ran out before a set of at most 8 concessions was found: there may be one"


def test_a_heated_screen_that_no_channel_bears_is_divided():
    """13 A on channels of 8 A: two halves of 6.5 A on two channels, or a relay; a motor is not divided."""
    screen = replace(LOAD, name="screen", command="screen", running_ma=13_000, inrush_ma=13_000)
    study = refused(vehicle_of(screen, *_lamps(1)), module_of(4))
    assert set(remedies(study)) == {("divide",), ("relay",)}
    (said,) = (row.detail for row in study.concessions.itertuples() if row.kind == "divide")
    assert said == "screen wired as two halves of 6.5 A each, if it can be divided, on channels 1 and 2"
    motor = vehicle_of(replace(screen, kind="motor"))
    assert not any(o.kind == "divide" for o in options(motor))


def test_like_concessions_are_told_together():
    """Ten lamps left out and four commands joined are two phrases, not fourteen."""
    lamps = [Option("leave_out", f"lamp {n}", 8, (f"lamp {n}",)) for n in range(10)]
    joins = [Option("join", " + ".join(names), 4, names) for names in (("a", "b"), ("c", "d"))]
    made = (*joins, *lamps, Option("relay", "fan", 5, ("fan",)))
    said = in_words(ConcessionSet(1, made, vehicle_of(LOAD), None, None, ()))
    assert said == (
        "lamp 0, lamp 1, lamp 2, lamp 3, lamp 4 and 5 more left out; fan on an external relay or contactor; "
        "two by two on one channel each: a with b, c with d"
    )


def test_two_swaps_in_one_are_not_told_beside_each_of_them():
    """A relay for one heater or another, a lamp or another left out: two swaps are told, their combination is not."""
    relays, lamps = (
        [Option(kind, n, 5, (n,)) for n in names] for kind, names in (("relay", "ab"), ("leave_out", "cd"))
    )
    made, *alike = [(r, lamp) for r in relays for lamp in lamps]
    one = ConcessionSet(1, made, vehicle_of(LOAD), None, None, tuple(alike))
    assert alternatives(one) == "d left out in place of c left out / " + " in place of ".join(
        f"{n} on an external relay or contactor" for n in "ba"
    )


def test_which_keypad_is_not_told_apart():
    """Of two sets that differ in the switches on a keypad alone one is told, beside another lamp both are not mixed."""
    first, second = (Option("keypad", f"keypad {n}", 9, (f"switch {n}",)) for n in (1, 2))
    lamps = [Option("leave_out", n, 5, (n,)) for n in "cd"]
    made = (first, lamps[0])
    alike = ((second, lamps[0]), (first, lamps[1]), (second, lamps[1]))
    assert alternatives(ConcessionSet(1, made, vehicle_of(LOAD), None, None, alike[:1])) == ""
    several = ConcessionSet(1, made, vehicle_of(LOAD), None, None, alike)
    assert alternatives(several) == "d left out in place of c left out"


def test_circuits_of_the_program_are_allocated_without_another_solve(monkeypatch):
    """A relay takes a motor off channels too weak for it: the program's own circuits keep every limit as they are."""
    monkeypatch.setattr("pdm_alloc.diagnose.concession_sets.any_allocation", lambda *_: None)
    motor = replace(LOAD, name="motor", command="motor", running_ma=13_000, inrush_ma=13_000, kind="motor")
    vehicle, unit = vehicle_of(motor, *_lamps(2)), module_of(4)
    sets = concession_sets(vehicle, (unit,))
    assert [[o.kind for o in s.made] for s in sets] == [["relay"]]
    assert not violations(sets[0].vehicle, (unit,), sets[0].allocation.circuits)


def test_that_no_set_is_enough_is_said_with_why():
    """Inputs, current, a load without a channel, too many channels and too many concessions: each by its numbers."""
    vital = {"importance": "vital", "share": False}
    motors = [
        replace(LOAD, name=n, command=n, kind="motor", running_ma=5_000, inrush_ma=5_000, **vital) for n in "abcd"
    ]
    lamps = _comforts(*(f"lamp {n}" for n in range(20)))
    senders = tuple(Input(f"s{n}", kind="analog") for n in range(3))
    small = replace(module_of(30).module, total_ma=10_000)
    ignition = replace(motors[0], name="coil", kind="electronics", running_ma=2_000, needs=frozenset({"pwm"}))
    cases = (
        (vehicle_of(LOAD, inputs=senders), replace(module_of(3).module, inputs=2), "of 3 switches and senders no more"),
        (vehicle_of(replace(ignition, running_ma=9_900)), small, "A are still on at once, and"),
        (vehicle_of(ignition), module_of(2).module, "none of them gives coil a channel"),
        (vehicle_of(*motors), module_of(2).module, "with all of them there are still too few channels"),
        (vehicle_of(*lamps), module_of(2).module, "the channels take 18 at least"),
        (vehicle_of(*lamps), small, "the current of the whole module takes"),
    )
    for vehicle, module, words in cases:
        study = refused(vehicle, pa.Unit("m", module))
        assert study.concession_sets == () and study.left_open == "" and words in study.why_none, study.why_none
        assert f"  {study.why_none}" in list(why(study, everything=True))
        assert refusal_json(study)["why_no_concessions"] == study.why_none


def test_a_fan_that_no_channel_with_pwm_bears_goes_on_a_relay_without_it():
    """Told with what is lost; never a valve, which PWM sets, nor a command that is pulsed itself, nor a small lamp."""
    fan = replace(LOAD, name="fan", command="fan", kind="fan", running_ma=17_000, inrush_ma=17_000)
    fan = replace(fan, needs=frozenset({"pwm"}), volt_exponent=1.65)
    study = refused(vehicle_of(fan, *_lamps(1)), module_of(3))
    assert remedies(study) == [("relay",)]
    (told,) = study.concessions["detail"]
    assert told.endswith("no trip setting for the load itself, which is on or off without PWM")
    pulsed = vehicle_of(fan)
    pulsed = replace(pulsed, commands=(replace(pulsed.commands[0], action="pwm"),))
    for other in (pulsed, vehicle_of(replace(fan, kind="solenoid")), vehicle_of(replace(fan, running_ma=2_000))):
        assert not any(o.kind == "relay" for o in options(other))
