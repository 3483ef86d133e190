"""Options of the whole suite."""

import locale
import os
from collections import defaultdict

import pytest
from hypothesis import HealthCheck, settings

# Timings differ from machine to machine: speed is measured by the benchmarks, never by a deadline here. Examples are
# the same in every run, so that what fails fails again, and new ones in the long form.
settings.register_profile("fresh", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("same", settings.get_profile("fresh"), derandomize=True, database=None)
settings.load_profile("same")


def pytest_addoption(parser):
    parser.addoption("--nightly", action="store_true", help="run the long form of the tests that have one")
    parser.addoption(
        "--second", action="store_true", help="on a second Python: without browser and `once`, sweeps shorter"
    )


@pytest.fixture(scope="session")
def nightly(request):
    """Whether the long form was asked for."""
    return request.config.getoption("--nightly")


@pytest.fixture(scope="session")
def second(request):
    """Whether everything was tested on another Python already."""
    return request.config.getoption("--second")


# Files that take longest, those first: a long one begun last would keep one worker busy alone.
_LONG = (
    "tests/what_if/test_keep.py",
    "tests/browser/",
    "tests/chain/test_chain.py",
    "tests/mounting/",
    "tests/oracle/test_same_table_same_pin_map.py",
    "tests/tables/test_hostile.py",
    "tests/notebooks/",
    "tests/panel/",
    "tests/export/",
    "tests/cli/",
    "tests/data/",
    "tests/api/",
)


def _turn(item):
    return next((turn for turn, name in enumerate(_LONG) if item.nodeid.startswith(name)), len(_LONG))


_MANY = 8  # cases of one test


def _of_sweep(items):
    """Cases that a second Python leaves out of the tests with many: all but every fourth."""
    cases = defaultdict(list)
    for item in items:
        cases[item.nodeid.split("[")[0]].append(item)
    return {item for sweep in cases.values() if len(sweep) >= _MANY for n, item in enumerate(sweep) if n % 4}


def pytest_collection_modifyitems(config, items):
    items.sort(key=_turn)  # stable: within a file nothing moves
    if config.getoption("--second"):
        left_out = {item for item in items if {"once", "browser"} & set(item.keywords)}
        left_out |= _of_sweep([item for item in items if item not in left_out])
        config.hook.pytest_deselected(items=list(left_out))
        items[:] = [item for item in items if item not in left_out]
    if config.getoption("--nightly"):
        return
    skip = pytest.mark.skip(reason="long form: run with --nightly")
    for item in items:
        if "nightly" in item.keywords:
            item.add_marker(skip)


def pytest_configure(config):
    if config.getoption("--nightly"):
        settings.load_profile("fresh")
    config.option.loadscopereorder = False  # xdist would begin with the files of most tests, which are quick ones
    os.environ.setdefault("MPLBACKEND", "Agg")
    if "LC_ALL" in os.environ:  # decimal commas in the C library too, as a host program may have set them
        locale.setlocale(locale.LC_ALL, "")
    if config.getoption("--nightly"):
        os.environ.setdefault("FUZZ_TIMES", "100")  # workers of xdist inherit it
    if config.getoption("--second"):
        os.environ["SECOND_RUN"] = "1"
