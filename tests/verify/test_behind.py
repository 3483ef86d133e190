"""Voltage at a load behind a resistance, against what is solved on paper."""

from dataclasses import replace

import pytest

from pdm_alloc.domain.vehicle import Load
from pdm_alloc.verify.battery_cables import _behind_v

LOAD = Load("x", "on", 10_000)


@pytest.mark.parametrize(
    ("exponent", "module_v", "ohm", "volts"),
    [
        (1.0, 12.0, 0.0, 12.0),
        (1.0, 12.0, 0.3, 12 / (1 + 0.3 * 10 / 12)),  # a resistance of 1.2 ohm
        (0.0, 12.0, 0.3, 9.0),  # 10 A whatever the voltage
        (0.0, 2.0, 0.3, 0.0),  # of which 0.3 ohm alone take 3 V
        (-1.0, 12.5, 0.3, (12.5 + (12.5**2 - 4 * 0.3 * 120) ** 0.5) / 2),  # 120 W
        (-1.0, 12.001, 0.3, (12.001 + (12.001**2 - 4 * 0.3 * 120) ** 0.5) / 2),
        (-1.0, 11.999, 0.3, 0.0),  # 120 W are more than a quarter of U2 / R: none
        (-1.0, 5.0, 0.3, 0.0),
        (-1.0, 12.0, 0.0, 12.0),
        (-1.0, 0.5, 0.0, 0.5),
        (1.0, 0.5, 0.3, 0.5 / 1.25),
        (1.0, 0.0, 0.3, 0.0),
        (-1.0, 0.0, 0.0, 0.0),
        (2.0, 12.0, 0.3, (2**0.5 - 1) * 24),
    ],
)
def test_voltage_behind_a_resistance(exponent, module_v, ohm, volts):
    """A linear or square equation each: V + R I (V / 12)**k is the voltage at the module."""
    load = replace(LOAD, volt_exponent=exponent)
    assert _behind_v(load, module_v, ohm, 12.0) == pytest.approx(volts, rel=1e-9, abs=1e-9)
