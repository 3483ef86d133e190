"""Every finding word for word and to the ninth digit: limits broken by one unit, beside the same limit just kept.

`findings.txt` holds what each case finds; written anew by ``python -m tests.verify.test_golden``, and then every line
that changed is to be read: no value in it may change unless a rule has.
"""

from pathlib import Path

import pytest

from pdm_alloc.verify.check import verify_signals, violations
from tests.signals.test_verify_signals import BOXES, BREAKS, SIGNALS, USES
from tests.verify.broken_tables import TABLES
from tests.verify.test_rules import BROKEN

GOLDEN = Path(__file__).with_name("findings.txt")


def line(finding):
    value, limit = ("" if amount is None else f"{amount:.9g}" for amount in (finding.value, finding.limit))
    where = (finding.rule, finding.module, finding.channel, finding.state, finding.subject)
    return " | ".join((*where, value, limit, finding.unit, finding.message))


def of_rules(case):
    inputs = case.values[4]
    return lambda: violations(inputs.vehicle, inputs.units, inputs.circuits)


def of_signals(changes):
    inputs = {"signals": SIGNALS, "boxes": BOXES, "uses": USES} | changes
    return lambda: verify_signals(**inputs)


CASES = {f"circuits, {case.id}": of_rules(case) for case in BROKEN}
CASES |= {f"tables, {name}": lambda make=make: make().findings() for name, make in TABLES.items()}
CASES |= {f"signals, {name}": of_signals(changes) for name, (_, changes) in BREAKS.items()}


def golden():
    """Findings of each case as the file has them."""
    blocks = GOLDEN.read_text(encoding="utf-8").split("\n\n") if GOLDEN.exists() else []
    return {block.splitlines()[0]: block.splitlines()[1:] for block in blocks}


@pytest.mark.parametrize("name", CASES)
def test_findings_are_as_written(name):
    """Rule, place, value, limit, unit and sentence of every finding, and no other finding."""
    assert [line(finding) for finding in CASES[name]()] == golden()[name]


def test_no_case_is_left_over():
    """The file has each case once and no other."""
    assert list(golden()) == list(CASES)


if __name__ == "__main__":
    texts = ("\n".join([name, *(line(finding) for finding in case())]) for name, case in CASES.items())
    GOLDEN.write_text("\n\n".join(texts) + "\n", encoding="utf-8")
