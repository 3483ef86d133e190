"""Choice of a wire."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.electrics.wire import (
    Refused,
    WireRules,
    ampacity_a,
    choose_wire,
    conductor_c,
    drop_pct,
    mass_g_per_m,
    resistance_ohm_per_m,
    voltage_drop_v,
    wire_sizes,
)

RULES = WireRules()
runs = st.lists(st.tuples(st.floats(0.01, 40), st.one_of(st.none(), st.floats(0, 12)), st.sampled_from([3.0, 10.0])))
any_rules = st.builds(
    WireRules,
    st.sampled_from(["metric", "awg"]),
    st.sampled_from([60.0, 85.0, 105.0, 150.0]),
    st.floats(20, 59),
    st.integers(1, 30),
    st.sampled_from(["chassis", "wire"]),
    st.sampled_from([12.0, 24.0]),
)


def serves(one, parallel, trip, running, loads, rules, most):
    """Whether a size serves, recomputed from the plain functions without the ladder."""
    amps = ampacity_a(one.area_mm2, rules.insulation_c, rules.ambient_c, rules.bundle_wires) * parallel
    ohm = resistance_ohm_per_m(one, conductor_c(rules.ambient_c, rules.insulation_c, running, amps))
    drops = [
        drop_pct(voltage_drop_v(current, length, ohm, rules.return_path, parallel), rules.system_v)
        <= limit * (1 + 1e-12)
        for current, length, limit in loads
        if length is not None
    ]
    return amps >= trip and all(drops) and (most is None or one.area_mm2 <= most * 1.01)


@given(st.floats(0.5, 200), runs, any_rules, st.one_of(st.none(), st.floats(0.5, 50)), st.integers(1, 3))
def test_smallest_that_serves(trip, loads, rules, most, pins):
    """The choice is the first of all sizes, single before parallel, that passes every rule by itself; or none does."""
    running = trip / 1.25
    every = [(n, one) for n in range(1, pins + 1) for one in wire_sizes(rules.sizes)]
    first = next(((n, one) for n, one in every if serves(one, n, trip, running, loads, rules, most)), None)
    choice = choose_wire(trip, running, loads, rules, most, pins)
    assert (None if isinstance(choice, Refused) else (choice.parallel, choice.size)) == first


@given(st.floats(0.5, 100), runs, any_rules)
def test_what_is_reported(trip, loads, rules):
    """Drops are within their limits and None where there is no length; mass counts every run and the way back."""
    choice = choose_wire(trip, trip / 1.25, loads, rules)
    if isinstance(choice, Refused):
        return
    assert choice.ampacity_a >= trip
    for drop, (_, length, limit) in zip(choice.drops_pct, loads, strict=True):
        assert drop is None if length is None else drop <= limit * (1 + 1e-9)
    if any(length is None for _, length, _ in loads):
        assert choice.mass_g is None
    else:
        metres = sum(length for _, length, _ in loads) * (2 if rules.return_path == "wire" else 1)
        assert choice.mass_g == pytest.approx(metres * mass_g_per_m(choice.size.area_mm2, rules.insulation_c))


@pytest.mark.parametrize(
    ("trip", "loads", "rules", "most", "pins", "reason"),
    [
        (10, [(8, 3, 3.0)], WireRules(ambient_c=105), None, 1, "heat"),
        (2000, [], RULES, None, 1, "ampacity"),
        (10, [(8, 900, 0.1)], RULES, None, 1, "drop"),
        (60, [], RULES, 2.5, 1, "terminal"),
        (10, [(8, 9, 3.0)], RULES, 2.5, 1, "terminal"),
    ],
)
def test_reasons(trip, loads, rules, most, pins, reason):
    """Too hot, too much current, too long, or a terminal too small: each by its own word."""
    assert choose_wire(trip, trip / 1.25, loads, rules, most, pins) == Refused(reason)


def test_parallel_only_where_one_does_not_do():
    """45 A through terminals for 2.5 mm2: two pins help, a single wire is taken where it serves."""
    assert choose_wire(45, 36, [], RULES, 2.5, 2).parallel == 2
    assert choose_wire(28, 22, [], RULES, 2.5, 2).parallel == 1


def test_terminal_is_named_as_the_trade_rounds_it():
    """A terminal for 5.3 mm2 takes 10 AWG (5.26 mm2); one for 5.2 does not."""
    rules = WireRules("awg")
    assert choose_wire(45, 30, [], rules, 5.3).size.name == "10 AWG"
    assert choose_wire(45, 30, [], rules, 5.2) == Refused("terminal")


def test_nothing_to_judge():
    """A circuit whose loads have no length gets its wire from the trip setting alone, and says the drop is open."""
    choice = choose_wire(10, 8, [(4, None, 3.0), (4, None, 3.0)], RULES)
    assert choice.size.name == "0.5 mm2" and choice.drops_pct == (None, None) and choice.mass_g is None
