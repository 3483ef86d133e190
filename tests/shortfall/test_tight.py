"""Every shortfall is tight: with that growth the module is enough, with one unit less it is not."""

from dataclasses import replace
from itertools import combinations

from hypothesis import HealthCheck, assume, given, settings

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.short_channels import BRIDGES, CHANNELS, PWM, STRENGTH, _dimming, _more, _strong, _strongest
from pdm_alloc.diagnose.short_limits import (
    BANK,
    INPUTS,
    INRUSH,
    PEAK,
    SUPPLY,
    TERMINALS,
    WHOLE,
    _banks,
    _higher,
    _wider,
)
from pdm_alloc.diagnose.short_trial import Trial, with_channels, with_module
from pdm_alloc.diagnose.shortfall import KINDS, growths
from pdm_alloc.domain.settings import Settings
from pdm_alloc.domain.vehicle import PPM, State
from pdm_alloc.electrics.wire import wire_sizes
from pdm_alloc.program.solver import Clock
from tests.strategies import cases

SLOW = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


def trial_of(vehicle):
    return Trial(vehicle, CircuitBook(vehicle.settings.tolerance_loads), Clock(60))


def one_less(trial, unit, short):
    """Every way to grow the unit by one unit less of a kind than was said to be needed."""
    names = [c.name for c in unit.module.channels]
    number = round(short.need - short.have) - 1
    if short.kind == CHANNELS:
        yield _more(unit, _strongest(unit), number)
    elif short.kind == STRENGTH:
        yield from (_strong(unit, some, 10_000_000) for some in combinations(names, number))
    elif short.kind == PWM:
        plain = [c.name for c in unit.module.channels if "pwm" not in c.features]
        yield from (_dimming(unit, some) for some in combinations(plain, number))
    elif short.kind == INRUSH:
        yield _higher(unit, round(1000 * (short.need - short.have)) - 100)
    elif short.kind == BANK and "," not in short.subject:
        yield _banks(unit, {short.subject: round(1000 * short.need) - 1})
    elif short.kind == WHOLE:
        yield with_module(unit, total_ma=round(1000 * short.need) - 1)
    elif short.kind == PEAK:
        yield with_module(unit, total_peak_ma=round(1000 * short.need) - 1)
    elif short.kind == TERMINALS:
        smaller = [s.area_mm2 for s in wire_sizes(trial.vehicle.settings.wire_sizes) if s.area_mm2 < short.need]
        yield _wider(unit, smaller[-1])
    elif short.kind == INPUTS:
        yield with_module(unit, inputs=round(short.need) - 1)


@SLOW
@given(cases())
def test_growth_by_exactly_so_much_is_enough_and_one_unit_less_is_not(case):
    """What a shortfall says is neither too little nor too much."""
    vehicle, units = case
    assume(len(units) == 1)
    trial, unit = trial_of(vehicle), units[0]
    assume(not trial.enough(unit))
    groups = growths(trial, unit)
    for group in groups:
        grown = unit
        for growth in group:
            grown = growth.grow(grown)
        assert trial.enough(grown)
    for (growth,) in [g for g in groups if len(g) == 1]:
        assert growth.short.need != growth.short.have
        for less in one_less(trial, unit, growth.short):
            assert not trial.enough(less), growth.short


@SLOW
@given(cases())
def test_no_kind_that_would_do_alone_is_left_out(case):
    """A kind of limit that makes the module enough when unlimited has a shortfall of its own."""
    vehicle, units = case
    assume(len(units) == 1)
    trial, unit = trial_of(vehicle), units[0]
    assume(not trial.enough(unit))
    found = {g.short.kind for group in growths(trial, unit) if len(group) == 1 for g in group}
    would_do = {k.name for k in KINDS if k.relevant(trial, unit) and trial.enough(k.opened(trial, unit))}
    assert found == would_do


def test_every_kind_of_limit_is_named_alone_when_only_it_is_short(one_short):
    """A module that lacks one thing is told that thing, in words with its number."""
    vehicle, unit, kind, words = one_short
    groups = growths(trial_of(vehicle), unit)
    by_kind = {group[0].short.kind: group[0].short for group in groups if len(group) == 1}
    assert kind in by_kind
    assert words in by_kind[kind].sentence


def test_two_things_short_are_a_pair(two_short):
    """Where no kind alone is enough the smallest pair is given, and together it is enough."""
    vehicle, unit, kinds = two_short
    trial = trial_of(vehicle)
    groups = growths(trial, unit)
    assert len(groups) == 1
    assert {g.short.kind for g in groups[0]} == kinds
    assert trial.enough(groups[0][1].grow(groups[0][0].grow(unit)))
    assert not any(trial.enough(g.grow(unit)) for g in groups[0])


def test_what_more_channels_cannot_cure_ends():
    """Spares are looked for only where channels can help: they do nothing about a voltage."""
    from tests.shortfall.conftest import LOAD, module_of, named, vehicle_of

    crank = (State("cranking", 7.0, {"c": PPM}),)
    vehicle = vehicle_of(*named(1), LOAD, states=crank, settings=Settings(spare_channels=2))
    groups = growths(trial_of(vehicle), module_of(1, supply_min_v=8.0))
    assert [[g.short.kind for g in group] for group in groups] == [[SUPPLY, CHANNELS]]
    (alone, *_) = growths(trial_of(vehicle), module_of(4, supply_min_v=8.0))
    assert [g.short.kind for g in alone] == [SUPPLY]


def test_a_pair_is_told_in_the_terms_of_the_real_module():
    """More channels are found with every other kind open, but said, and counted, as the module has them."""
    from tests.shortfall.conftest import LOAD, module_of, named, vehicle_of

    tall = replace(LOAD, name="tall", command="tall", inrush_ma=45_000, inrush_ms=1.0)
    vehicle, unit = vehicle_of(*named(3), tall), module_of(3)
    ((more, peak),) = growths(trial_of(vehicle), unit)
    assert (more.short.sentence, peak.short.have) == ("1 more channel of at least 10 A", 40)
    assert "5 A more inrush" in peak.short.sentence
    assert max(c.peak_ma for c in more.grow(unit).module.channels) == 40_000


def test_names_of_the_table_are_never_taken_for_new_channels():
    """A channel that is called new is there already."""
    from tests.shortfall.conftest import LOAD, module_of, named, vehicle_of

    own = tuple(replace(c, name=f"new {c.name}") for c in module_of(3).module.channels)
    (first, *_) = growths(trial_of(vehicle_of(*named(4), LOAD)), module_of(3, own=own))
    assert first[0].short.sentence == "2 more channels of at least 10 A"


def test_helpers_are_what_they_say():
    """Growth never weakens: a stronger channel keeps what it had."""
    from tests.shortfall.conftest import module_of

    unit = module_of(3)
    assert all(c.continuous_ma == 10_000 for c in _strong(unit, ["1"], 5_000).module.channels)
    assert BRIDGES and SUPPLY and with_channels(unit, lambda c: replace(c, bank=None)) == unit
