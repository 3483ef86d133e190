"""The ten steps in DEVELOPERS.md, from a load's row to its pin, are the ones an allocation goes through."""

import re
import sys
from pathlib import Path

import pytest

import pdm_alloc as pa

ROOT = Path(__file__).parents[2]
PACKAGE = Path(pa.__file__).parent
STEP = re.compile(r"^\d+\. `(?P<file>[\w/]+\.py)` `(?P<function>\w+)`:", re.MULTILINE)


def steps():
    """File and function of each step, in order."""
    return [(step["file"], step["function"]) for step in STEP.finditer((ROOT / "DEVELOPERS.md").read_text())]


def calls(work):
    """The steps among the calls that some work makes, in order."""
    passed, wanted = [], {(str(PACKAGE / file), name): (file, name) for file, name in steps()}

    def note(frame, event, _):
        step = event == "call" and wanted.get((frame.f_code.co_filename, frame.f_code.co_name))
        if step and passed[-1:] != [step]:
            passed.append(step)

    sys.setprofile(note)
    try:
        work()
    finally:
        sys.setprofile(None)
    return passed


@pytest.mark.once
def test_the_ten_steps_are_passed_in_order():
    """Traced from reading the demo's tables to its pin map: each step comes after the one before it."""
    module = pa.read_catalogue(ROOT / "data/catalogue")["large-56"]
    long_s = 600  # tracing is slow, and what is not listed in half the time is priced
    folder = ROOT / "data/rally_coupe"
    passed = iter(calls(lambda: pa.allocate(pa.read_vehicle(folder), module, time_limit_s=long_s)))
    assert len(steps()) == 10
    assert [step for step in steps() if step not in passed] == []
