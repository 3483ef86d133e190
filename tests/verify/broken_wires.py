"""Circuits for which there is no wire, each for one reason, with values worked out by hand."""

import math
from dataclasses import replace

from pdm_alloc.domain.vehicle import Place, Route
from tests.verify import case
from tests.verify.breaking import broken

PLACES = (Place("bulkhead", 0, 0), Place("tail", 40, 0))


def away(name, **changes):
    """The vehicle with one load at the far end of a route of 40 m."""
    vehicle = case.load(name, place="tail", **changes)
    return replace(vehicle, places=PLACES, routes=(Route("tail", "bulkhead"),))


def only(name, place=None, **changes):
    """The unit with one channel altered."""
    return both(name, name, place, **changes)


def both(one, other, place=None, **changes):
    """The unit with two channels altered."""
    altered = (replace(c, **changes) if c.name in (one, other) else c for c in case.MODULE.channels)
    return case.units(place, channels=tuple(altered))


# 2 A of ECU at 12 V, more than at 13.8 V, warm 1 mm2, which carries 16.5 A by its sheet, from 30 by 75 deg C x root of
# the share.
CARRIES_1 = 16.5
OHM_1 = 0.0195 * (30 + 75 * math.sqrt(2 / CARRIES_1) + 230) / 250
WINDOW_A = 4.348  # 5 A at 12 V, of constant power, on in driving alone
OHM_WINDOW = 0.0195 * (30 + 75 * math.sqrt(WINDOW_A / CARRIES_1) + 230) / 250
# 40 m of route, 5 % of slack, 0.15 m at both ends.
WIRE_M = 42.3
BRIDGE_PCT = WINDOW_A * 2 * WIRE_M * OHM_WINDOW / 0.12
# 7.77 A of pump and radio, set to 9.8 A; 27.6 A more when it starts, falling with 20 s, so above 9.8 A for 52.2 s.
WINDOW_MS = 78_300
# Amperes squared and milliseconds that 1 mm2 takes from 105 to 160 deg C.
BORNE = 1000 * 3.45e-3 * 254.5 / 1.7241e-5 * math.log(394.5 / 339.5)

WIRES = [
    # lamp and two markers are 5 A, so 6.3 A is the least setting; 0.5 mm2 carries 11 A alone, half in a bundle of seven
    broken(
        "wire",
        "more than 0.5 mm2 carries in its bundle",
        6.3,
        11 / 2,
        vehicle=case.settings(bundle_wires=7),
        units=case.channels("1", max_wire_mm2=0.5),
        where="1",
    ),
    # the same 6.3 A through one contact that bears 1 mA less
    broken("contact", "more than its pin bears", 6.3, 6.299, units=case.channels("1", contact_ma=6299), where="1"),
    broken(
        "wire",
        "more drop than the load bears on 1 mm2",
        2 * WIRE_M * OHM_1 / 0.12,
        3.0,
        vehicle=away("engine ECU", max_drop_pct=3.0),
        units=only("9", "bulkhead", max_wire_mm2=1.0),
        where="9",
    ),
    # 4.348 A of window motor, out and back on the wires of its bridge: one way alone loses half of that
    broken(
        "wire",
        "drop there and back on a bridge",
        BRIDGE_PCT,
        0.9999 * BRIDGE_PCT,
        vehicle=away("window", max_drop_pct=0.9999 * BRIDGE_PCT),
        units=both("7", "8", "bulkhead", max_wire_mm2=1.0),
        where="7+8",
    ),
    broken(
        "wire",
        "a stalled motor outlasts 0.75 mm2",
        35.37 * math.sqrt(WINDOW_MS / BORNE),
        0.75,
        vehicle=case.load("pump", inrush_ms=60_000.0),
        units=only("3", peak_ms=100_000.0, max_wire_mm2=0.75),
        where="3",
    ),
    broken(
        "wire", "none thin enough for its terminal", 6.3, 0.0, units=case.channels("1", max_wire_mm2=0.3), where="1"
    ),
    # the rating itself is a setting, and still has to have its wire
    broken(
        "wire",
        "set to its rating",
        6.3,
        11 / 2,
        vehicle=case.settings(bundle_wires=7),
        units=case.channels("1", continuous_ma=6300, max_wire_mm2=0.5),
        where="1",
    ),
    # half of 16.1 A, a quarter more: 10.1 A through each channel of the pair
    broken("contact", "of a pair", 10.1, 10.099, units=both("5", "6", contact_ma=10_099), where="5+6"),
    # of two loads as far away the one that may lose least decides, whatever the other loses
    broken(
        "wire",
        "two loads of other limits",
        vehicle=replace(
            away("pump"),
            loads=tuple(
                replace(x, place="tail", max_drop_pct={"pump": 40.0, "radio": 10.0}[x.name])
                if x.name in ("pump", "radio")
                else x
                for x in case.VEHICLE.loads
            ),
        ),
        units=only("3", "bulkhead", max_wire_mm2=1.0),
        where="3",
    ),
]
