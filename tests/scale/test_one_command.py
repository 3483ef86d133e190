"""One command whose circuits are priced: the same optimum as with all of them listed, and the pricing itself."""

import random
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdm_alloc.allocator import allocate
from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.domain.module import Channel, Module, Unit
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle
from pdm_alloc.program.allocation_solve import is_enough
from pdm_alloc.program.knapsack import Knapsack
from pdm_alloc.program.partition import merge
from pdm_alloc.program.solver import BEST_SO_FAR, NOT_ENOUGH, PROVEN_BEST, Clock
from pdm_alloc.result.allocation import NotEnough
from tests.scale.test_merged import way
from tests.strategies import examples

SOME = st.tuples(
    st.sampled_from((500, 900, 1234, 2000, 3100, 4000)), st.integers(1, 3), st.integers(-8, 8), st.booleans()
)
SIZES = (100, 500, 1000, 1234, 2000, 3000, 5000)


def lamp(name, ma, count=1, share=True):
    return Load(name, "on", ma, count, kind="heater", inrush_ma=ma, volt_exponent=1.0, share=share)


def vehicle_of(loads):
    return Vehicle("one", tuple(loads), (Command("on"),), (State("on", 12.0, {"on": PPM}),))


def unit_of(ratings):
    own = tuple(Channel(str(n + 1), ma, 40_000, 50.0) for n, ma in enumerate(ratings))
    return Unit("m", Module("m", 500_000, 900_000, own))


def case(seed):
    """A few loads and a few channels of two sizes; invented."""
    chance = random.Random(seed)
    loads = [lamp(f"lamp {n}", chance.choice(SIZES), chance.choice((1, 1, 2, 3))) for n in range(chance.randint(2, 7))]
    loads += [lamp("alone", chance.choice(SIZES), chance.choice((1, 2)), share=False)] if seed % 4 == 3 else []
    return vehicle_of(loads), unit_of(
        [chance.choice((8_000, 8_000, 12_000, 5_000)) for _ in range(chance.randint(2, 8))]
    )


def solved(seed, strategy):
    vehicle, unit = case(seed)
    try:
        return allocate(vehicle, unit, strategy=strategy)
    except NotEnough:
        return None


# In the first six, items that are worth nothing decide, or a cost of millions whose last digit matters.
@pytest.mark.parametrize("seed", [118, 130, 141, 226, 301, 390, *range(24)])
@pytest.mark.parametrize("strategy", ["spare", "isolate"])
def test_priced_as_listed(seed, strategy):
    """Every objective but the tie between equals."""
    with way(most_subsets=10**9):
        full = solved(seed, strategy)
    with way(most_subsets=0):
        priced = solved(seed, strategy)
    assert (full is None) == (priced is None)
    if full is not None and priced is not None:
        assert priced.outcome == "proven best"
        found = dict(priced.objectives)
        assert {name: value for name, value in full.objectives if name in found} == found


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(SOME, min_size=1, max_size=4, unique_by=lambda one: one[0]),  # equal loads are one type
    st.integers(-12, 12),
)
def test_the_best_circuit_is_found_whatever_items_are_worth(some, least):
    """Against all circuits there are: items worth nothing or less too, where they have to be somewhere."""
    vehicle = vehicle_of([lamp(f"lamp {n}", ma, count, share) for n, (ma, count, _, share) in enumerate(some)])
    book = CircuitBook(0)
    sack = Knapsack(merge(vehicle, [unit_of([10_000])]).task, "on", 0, book)
    number = {t.load: n for n, t in enumerate(sack.types)}
    worth = np.zeros(len(some))
    worth[[number[f"lamp {n}"] for n in range(len(some))]] = [w for _, _, w, _ in some]
    values = [
        sum(w * k for w, k in zip(worth, counts, strict=True))
        for counts in product(*(range(t.count + 1) for t in sack.types))
        if any(counts) and sack.fit(tuple((n, k) for n, k in enumerate(counts) if k))
    ]
    better = [value for value in values if value > least]
    none = np.zeros(len(some))
    bound, columns = sack.search(worth, none, 0.0, least)
    assert bound == max([least, *better])
    assert bool(columns) == bool(better)
    every = sack.search(worth, none, 0.0, least, every=1000)[1]
    assert len(every) == len(better)


FULL_MA = 8_000


@st.composite
def full_channels(draw):
    """Currents that fill so many channels to the last milliamp, in any order, and that number."""
    currents = []
    for _ in range(channels := draw(st.integers(2, 3))):
        cuts = draw(st.lists(st.integers(1, 15), max_size=2, unique=True))
        odd = draw(st.integers(-99, 99)) if cuts else 0
        ends = [0, *(500 * cut + odd for cut in sorted(cuts)), FULL_MA]
        currents += [right - left for left, right in pairwise(ends)]
    return draw(st.permutations(currents)), channels


def fewest(currents):
    """Fewest channels, over all ways to fill them one after the other: every subset of the loads once."""
    best = {0: (0, 0)}  # by subset: channels before the last, and what is on the last, mA
    for chosen in range(1, 2 ** len(currents)):
        ways = []
        for n, ma in enumerate(currents):
            if chosen >> n & 1:
                channels, on = best[chosen ^ 1 << n]
                ways.append((channels, on + ma) if on + ma <= FULL_MA else (channels + 1, ma))
        best[chosen] = min(ways)
    return best[2 ** len(currents) - 1][0] + 1


@settings(max_examples=examples(80, 1000), deadline=None, derandomize=True)
@given(full_channels())
def test_channels_filled_to_the_last_milliamp_are_enough(drawn):
    """Listed as priced as by brute force, and one channel fewer is proved not enough."""
    currents, channels = drawn
    assert fewest(currents) == channels
    vehicle = vehicle_of([lamp(f"lamp {n}", ma) for n, ma in enumerate(currents)])
    headroom = replace(vehicle.settings, headroom_pct=Fraction(20))
    vehicle, book = replace(vehicle, settings=headroom), CircuitBook(0)
    for most_subsets in (10**9, 0):
        with way(most_subsets=most_subsets, with_greedy=False):
            enough = is_enough(vehicle, [unit_of([10_000] * channels)], Clock(60), book)
            assert (enough.outcome in (PROVEN_BEST, BEST_SO_FAR), enough.objective) == (True, channels)
            less = is_enough(vehicle, [unit_of([10_000] * (channels - 1))], Clock(60), book)
            assert less.outcome == NOT_ENOUGH


def banked(seed):
    """A few loads, and channels in two banks that bear little more than what they draw; invented."""
    chance = random.Random(seed)
    loads = [lamp(f"lamp {n}", chance.choice(SIZES[:6]), chance.choice((1, 1, 2))) for n in range(chance.randint(3, 6))]
    own = tuple(
        Channel(str(n + 1), chance.choice((4_000, 8_000)), 40_000, 50.0, bank="AB"[n % 2])
        for n in range(chance.randint(3, 6))
    )
    limit_ma = sum(x.running_ma * x.count for x in loads) * 10 // 9  # the headroom of a module is 10 %
    first_ma = limit_ma * chance.choice((35, 40, 45, 50)) // 100
    banks = {"A": first_ma + chance.randint(20, 300), "B": limit_ma - first_ma + chance.randint(20, 300)}
    return vehicle_of(loads), [Unit("m", Module("m", 500_000, 900_000, own, banks))]


@pytest.mark.parametrize("seed", range(8))
def test_nothing_packed_of_what_was_priced_is_no_answer_yet(seed):
    """Where no circuits that were priced can be packed to banks, all are listed: enough or not is proved."""
    vehicle, units = banked(seed)
    with way(most_subsets=0, with_greedy=False):
        priced = is_enough(vehicle, units, Clock(60), CircuitBook(3))
    with way(most_subsets=10**9):
        full = is_enough(vehicle, units, Clock(60), CircuitBook(3))
    assert (priced.outcome == NOT_ENOUGH) == (full.outcome == NOT_ENOUGH)
    assert priced.outcome in (NOT_ENOUGH, BEST_SO_FAR, PROVEN_BEST)


@pytest.mark.parametrize("with_greedy", [True, False])
def test_a_listed_command_that_no_channel_bears_is_not_enough_beside_a_priced_one(with_greedy):
    """Its loads must be together and one of them alone: the relaxation took it for one whose circuits are priced."""
    own = vehicle_of([lamp("a", 100), lamp("b", 200), lamp("c", 300, share=False)])
    loads = tuple(replace(load, command="both") if load.name != "a" else load for load in own.loads)
    states = (State("on", 12.0, {"on": PPM, "both": PPM}),)
    own = replace(own, loads=loads, commands=(*own.commands, Command("both", together=True)), states=states)
    with way(most_subsets=0, with_greedy=with_greedy), pytest.raises(NotEnough):
        allocate(own, unit_of([8_000, 8_000]), strategy="spare")


@pytest.mark.once
@pytest.mark.parametrize(("strategy", "channels"), [("isolate", 11), ("spare", 7)])
def test_21_different_loads_on_11_channels_are_proved(strategy, channels):
    """After 60 s it was not proved that no allocation is better."""
    loads = [lamp(f"lamp {n}", 1000 + 137 * n, 1) for n in range(21)]
    own = tuple(Channel(str(n + 1), 10_000, 40_000, 50.0) for n in range(11))
    unit = Unit("m", Module("m", 500_000, 900_000, own))
    allocation = allocate(vehicle_of(loads), unit, strategy=strategy, time_limit_s=60)
    assert (allocation.outcome, len(allocation.circuits)) == (PROVEN_BEST, channels)
