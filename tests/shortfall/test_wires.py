"""Loads that no channel can feed are told by name, with why."""

from dataclasses import replace

import pytest

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.diagnose.shortfall import shortfall
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.program.solver import Clock
from tests.shortfall.conftest import LOAD, module_of, named, vehicle_of

FAR = replace(LOAD, name="mast light", length_m=800.0, max_drop_pct=1.0)
NEAR = replace(LOAD, name="anchor light", length_m=8.0, max_drop_pct=3.0)


def study(vehicle, unit):
    return shortfall(vehicle, (unit,), Clock(60), CircuitBook(vehicle.settings.tolerance_loads))


HOT = Settings(wire_ambient_c=110.0, insulation_c=105.0)


@pytest.mark.parametrize(
    ("loads", "settings", "said"),
    [
        ([NEAR, FAR], Settings(), ["mast light has no wire: no wire size keeps the drop within 1 % over 800 m"]),
        ([NEAR], HOT, ["anchor light has no wire: its wire passes 110 °C, and its insulation is rated to 105 °C"]),
        ([NEAR], Settings(), []),
    ],
)
def test_said_by_name(loads, settings, said):
    narrow = module_of(1, own=tuple(replace(c, max_wire_mm2=1.0) for c in module_of(1).module.channels))
    shorts = [s for s in study(vehicle_of(*loads, settings=settings), narrow).shorts if s.kind == "wire"]
    assert [s.sentence for s in shorts] == said
    assert all((s.have, s.need) == (0, 1) for s in shorts)


def test_a_load_that_a_thicker_wire_cures_is_not_told_so():
    """Only what nothing cures."""
    vehicle = vehicle_of(*named(2), replace(LOAD, length_m=20.0, max_drop_pct=3.0))
    narrow = module_of(6, own=tuple(replace(c, max_wire_mm2=1.0) for c in module_of(6).module.channels))
    shorts = study(vehicle, narrow).shorts
    assert shorts and all(s.kind != "wire" for s in shorts)
