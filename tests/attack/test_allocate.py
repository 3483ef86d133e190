"""`allocate` against an oracle that shares nothing with the package, on random tiny vehicles."""

from collections import Counter

import pytest

from pdm_alloc.allocator import allocate
from pdm_alloc.domain.module import units_of
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.result.allocation import NotEnough
from tests.attack.check import check
from tests.attack.generator import tiny
from tests.attack.oracle import oracle
from tests.attack.simulate import simulate
from tests.attack.tables import Allocation, Circuit, Situation, read_tables, write_tables

MODULE = "module 0"


def answer_of(folder):
    """The package's allocation with the fewest channels, read from the tables; None where it says not enough."""
    vehicle, catalogue = read_vehicle(folder / "vehicle"), read_catalogue(folder / "catalogue")
    module = next(module for module in catalogue if module.name == MODULE)
    try:
        allocation = allocate(vehicle, units_of(module), strategy="spare", time_limit_s=60)
    except NotEnough:
        return None
    assert allocation.outcome == "proven best"
    return allocation


def plain(allocation, each):
    """An allocation as the oracle's tools read it; of paralleled channels the trip of each, or of both together."""
    rows = {row.channel: row for row in allocation.settings.itertuples()}
    circuits = []
    for circuit in allocation.circuits:
        row, counts = rows[circuit.channel], Counter(load for load, _ in circuit.items)
        trip = row.trip_a * (2 if circuit.use == "pair" and not each else 1)
        circuits.append(Circuit(circuit.channels, circuit.use, tuple(sorted(counts.items())), trip, row.window_ms))
    return Allocation(MODULE, tuple(circuits))


def difference(seed, folder):
    """What the package and the oracle say differently of a vehicle; empty where they agree."""
    write_tables(tiny(seed), folder / "vehicle", folder / "catalogue")
    case = Situation(read_tables(folder / "vehicle", folder / "catalogue"), MODULE)
    expected, answer = oracle(case), answer_of(folder)
    if answer is None or expected.channels is None:
        return "" if (answer is None) == (expected.channels is None) else f"oracle {expected}, package {answer}"
    used = sum(len(circuit.channels) for circuit in answer.circuits)
    faults = check(case, plain(answer, False)) + simulate(case, plain(answer, True), seed, changes=10, heats=1)
    return "" if used == expected.channels and not faults else f"oracle {expected.channels}, package {used}, {faults}"


def differences(seeds, tmp_path):
    """By seed."""
    answers = {seed: difference(seed, tmp_path / str(seed)) for seed in seeds}
    return {seed: answer for seed, answer in answers.items() if answer}


def pytest_generate_tests(metafunc):
    """Two hundred vehicles, and forty others on a second Python."""
    if metafunc.function is test_the_same_verdict_and_the_same_number_of_channels:
        second = metafunc.config.getoption("--second")
        metafunc.parametrize("first", range(200, 240, 20) if second else range(0, 200, 20))


def test_the_same_verdict_and_the_same_number_of_channels(first, tmp_path):
    """Two hundred vehicles with states, tolerances, pairs, bridges, banks, locks and combinations."""
    assert differences(range(first, first + 20), tmp_path) == {}  # a seed, and what both say


@pytest.mark.parametrize("seed", [14352, 17103])
def test_vehicles_that_once_made_a_difference(seed, tmp_path):
    """A part of a milliamp left of a bank's limit, rounded away by the program; a current of seventeen digits."""
    assert difference(seed, tmp_path) == ""


@pytest.mark.nightly
@pytest.mark.parametrize("first", range(1000, 11_000, 500))
def test_ten_thousand_vehicles_without_a_difference(first, tmp_path):
    """The long form."""
    assert differences(range(first, first + 500), tmp_path) == {}
