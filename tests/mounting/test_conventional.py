"""Conventional wiring by hand."""

from dataclasses import replace

import pytest

from pdm_alloc.domain.vehicle import Command, Input, Load
from pdm_alloc.electrics.wire import WireRules, choose_wire, mass_g_per_m
from pdm_alloc.studies.alternatives import ASSUMPTIONS, FUSE_G, MAIN_FUSE_G, RELAY_G, conventional
from tests.wiring import small

LAMPS = Load("lamps", "light", 12_000, count=3, kind="heater", inrush_ma=12_000, place="left", max_drop_pct=10.0)
WINDOW = Load("window", "window", 5_000, inrush_ma=5_000, place="joint", needs=frozenset({"reversing"}))
INPUTS = (Input("master", place="source"), Input("light_key", place="joint"), Input("dim", place="source"))


def vehicle():
    """Three lamps of 12 A and a window; keys at the joint and at the source, where most inputs are."""
    wired = small.forked(LAMPS, WINDOW, battery_place="right")
    commands = (Command("light", "master and light_key"), Command("window", "master"))
    return replace(wired, inputs=INPUTS, commands=commands)


def test_every_part_by_hand():
    """Lamps on two fuses of 30 and 15 A, a relay each; the window on one with two; two control wires a command."""
    found = conventional(vehicle())
    parts = found.parts.set_index("part")
    assert found.box == "source" and found.left_out == () and found.assumptions == ASSUMPTIONS
    assert parts.number[["fuses", "relays", "main fuse"]].tolist() == [3, 4, 1]
    assert parts.mass_g[["fuses", "relays", "main fuse"]].tolist() == [3 * FUSE_G, 4 * RELAY_G, MAIN_FUSE_G]
    # the light's own key is at the joint, 2 m away; the window's only one is at the box
    thin = mass_g_per_m(0.5)
    assert parts.mass_g["wires to switches"] == pytest.approx(2 * thin * (2 * 1.05 + 0.3 + 0.3), abs=0.05)
    # 24 A, fuse 30 A, to two lamps; 12 A, fuse 15 A, to one; 5 A, fuse 7.5 A, out and back to the window
    areas = [_area(lamps) for lamps in (2, 1, 0)]
    trunk, window = 3 * 1.05 + 0.15, 2 * 1.05 + 0.3
    lamps = mass_g_per_m(areas[0]) * (trunk + 0.3) + mass_g_per_m(areas[1]) * (trunk + 0.15)
    assert parts.mass_g["wires to loads"] == pytest.approx(lamps + 2 * window * mass_g_per_m(areas[2]), abs=0.1)
    assert found.mass_g == pytest.approx(parts.mass_g.sum())


def _area(lamps):
    """Thinnest size that carries the fuse at 30 deg C and keeps the drop, found by trying the sizes in order."""
    fuse, running = {2: (30.0, 24.0), 1: (15.0, 12.0), 0: (7.5, 5.0)}[lamps]
    trunk = 3 * 1.05 + 0.15
    length, most, back = (trunk + 0.15, 10.0, "chassis") if lamps else (2 * 1.05 + 0.3, 3.0, "wire")
    amp_m = running * trunk + running / lamps * 0.15 if lamps else running * length
    rules = WireRules(ambient_c=30.0, return_path=back)
    return choose_wire(fuse, running, [(amp_m / length, length, most)], rules).size.area_mm2


def test_the_box_may_be_elsewhere():
    """Named, it is there; unknown or not to be told, one line says so."""
    assert conventional(vehicle(), "right").box == "right"
    with pytest.raises(ValueError, match="no place attic"):
        conventional(vehicle(), "attic")
    with pytest.raises(ValueError, match="name the place of the fuse box"):
        conventional(replace(vehicle(), inputs=()))


def test_what_cannot_be_weighed_is_named():
    """A load without a place, and one no fuse carries, are left out by name; the rest is still weighed."""
    strange = Load("nowhere", "light", 1_000, inrush_ma=1_000)
    huge = Load("winch", "window", 900_000, inrush_ma=900_000, place="left")
    found = conventional(replace(vehicle(), loads=(LAMPS, strange, huge)))
    assert set(found.left_out) >= {"winch", "nowhere"} and "Left out: " in found.summary()
    assert found.mass_g > 0


def test_the_summary_has_every_assumption():
    """A number without what it assumes would be a claim."""
    text = conventional(vehicle()).summary()
    assert all(line in text for line in ASSUMPTIONS)
