"""Packing that leaves nothing over: a method that fills channels by rule of thumb misses these optima."""

import dataclasses

import pytest

import pdm_alloc as pa
from pdm_alloc.circuits.draws import borne_for
from pdm_alloc.domain.module import units_of
from pdm_alloc.program.partition import empty_task
from tests.benchmarks.bench_packing import equal_module, instance
from tests.oracle.triplets import FULL_MA, packing_vehicle, triplet_module, triplet_vehicle

LONG = [pytest.param(*long, marks=pytest.mark.nightly) for long in ((7, 2), (9, 4))]


@pytest.mark.parametrize(("number", "seed"), [(6, 1), (8, 3), (10, 5), *LONG])
def test_constructed_optimum_is_found_and_proved(number, seed):
    """With channels to spare the fewest are exactly as many as were filled, each to the last milliamp."""
    found = pa.allocate(triplet_vehicle(number, seed), triplet_module(number + 4))
    assert found.outcome == "proven best"
    assert len(found.circuits) == number
    assert set(found.channels["running_a"]) == {FULL_MA / 1000}
    assert pa.verify(found).empty


@pytest.mark.parametrize(("number", "seed"), [(6, 6), (8, 7)])
def test_one_channel_fewer_is_proved_not_enough(number, seed):
    """The sum alone is above what the channels can take."""
    with pytest.raises(pa.NotEnough):
        pa.allocate(triplet_vehicle(number, seed), triplet_module(number - 1))


@pytest.mark.parametrize("seed", [8, 9])
def test_exactly_enough_is_enough(seed):
    """No channel to spare, so every channel must be full."""
    found = pa.allocate(triplet_vehicle(7, seed), triplet_module(7))
    assert [len(circuit.items) for circuit in found.circuits] == [3] * 7


@pytest.mark.parametrize("channels", [4, 7, 10])
def test_a_sum_that_fits_and_loads_that_do_not(channels):
    """Only two loads of just over a third fill a channel, so one load more than two a channel is proved not enough,
    though all together draw little more than two thirds of what there is.
    """
    over_a_third = [FULL_MA // 3 + 1 + n for n in range(2 * channels + 1)]
    assert sum(over_a_third) < 0.8 * channels * FULL_MA
    with pytest.raises(pa.NotEnough):
        pa.allocate(packing_vehicle(over_a_third), triplet_module(channels))
    assert len(pa.allocate(packing_vehicle(over_a_third[1:]), triplet_module(channels)).circuits) == channels


def test_a_uniform_set_is_proved_in_every_objective():
    """120 uniform items with channels to spare: as many circuits as channels, and no other way is more even."""
    vehicle, full_ma, least = instance("u120", 1)
    allocation = pa.allocate(vehicle, equal_module(least + 4, full_ma), strategy="isolate")
    assert (allocation.outcome, len(allocation.circuits)) == ("proven best", least + 4)
    assert dict(allocation.objectives)["even headroom"] == 29677
    assert pa.verify(allocation).empty


@pytest.mark.parametrize(("step_ma", "borne_ma"), [(100, 14_960), (250, 15_000), (1000, 14_400)])
def test_a_channel_bears_what_its_highest_trip_setting_leaves(step_ma, borne_ma):
    """Trip settings come in steps: the highest within 18.75 A, less its quarter, bounds what a circuit draws."""
    module = dataclasses.replace(equal_module(2, 15_000), trip_step_ma=step_ma)
    (channel_class,) = empty_task(packing_vehicle([1000]), units_of([module])).classes
    assert borne_for(channel_class.rating, None) == borne_ma
