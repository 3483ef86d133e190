"""One broken thing as a parameter of a test."""

from types import SimpleNamespace

import pytest

from tests.verify.case import UNIT, VEHICLE, wired


def broken(rule, why, value=None, limit=None, vehicle=VEHICLE, units=(UNIT,), circuits=None, where=""):
    """Rule that should find it, value and limit it should say, channel it should name; and what to check."""
    inputs = SimpleNamespace(vehicle=vehicle, units=units, circuits=wired() if circuits is None else circuits)
    return pytest.param(rule, value, limit, where, inputs, id=f"{rule}: {why}")
