"""Limits that are passed by little, one each, with value and limit worked out by hand."""

import math
from dataclasses import replace
from fractions import Fraction

from pdm_alloc.domain.vehicle import PPM
from tests.verify import case
from tests.verify.breaking import broken
from tests.verify.case import VEHICLE

LAST = 0.23 / 27.6  # what is left of the excess when the pump's circuit is down to the usable 8 A
ENERGY = (7.77**2 - 8**2) * 50 * math.log(1 / LAST) + 2 * 7.77 * 27.6 * 50 * (1 - LAST) + 27.6**2 * 25 * (1 - LAST**2)

OFF = case.loose("ignition", 10, tolerance_loads=1)
OFF = replace(
    OFF, loads=tuple(replace(x, inrush_ma=9000, inrush_ms=90.0) if x.name == "radio" else x for x in OFF.loads)
)

LIMITS = [
    # Limits are one milliampere below what is on them, as near as rounding down lets them be.
    # pump 6 A and radio 1 A at 13.8 V: 6.9 + ceil(869.56...) = 7.77 A against 9.712 A less 20 %
    broken("continuous", "channel 3 too weak", 7.77, 7.769, units=case.channels("3", continuous_ma=9712), where="3"),
    broken(
        "continuous",
        "headroom",
        7.77,
        7.7,
        vehicle=case.settings(headroom_pct=Fraction(23)),
        units=case.units(
            channels=tuple(
                replace(c, continuous_ma=10000 if c.name == "3" else 30000, peak_ma=180000)
                for c in case.MODULE.channels
            )
        ),
        where="3",
    ),
    # 20 % of ceil(6900) and of ceil(869.56) is 1380 + 174 mA; with one load at once only the 1380 mA count
    broken(
        "continuous",
        "tolerance of two",
        9.324,
        8.0,
        vehicle=case.loose("ignition", 20),
        where="3",
    ),
    broken(
        "continuous",
        "tolerance, one at once",
        9.15,
        8.0,
        vehicle=case.loose("ignition", 20, tolerance_loads=1),
        where="3",
    ),
    # the heater draws 14 A * 13.8 / 12 = 16.1 A; twice the weaker of 10.062 A and 12 A, less 20 %, is 16.098 A
    broken(
        "continuous", "half a pair too weak", 16.1, 16.098, units=case.channels("6", continuous_ma=10062), where="5+6"
    ),
    # at 70 deg C the derating is 4/5: usable are 10 A * 4/5 * 0.8 = 6.4 A on channel 3
    broken(
        "continuous",
        "derating",
        7.77,
        6.4,
        vehicle=replace(case.at_place(70.0), settings=VEHICLE.settings),
        units=case.units(
            "bulkhead",
            total_ma=80000,
            bank_ma={"A": 60000, "B": 60000},
            channels=tuple(
                replace(c, continuous_ma=10000 if c.name == "3" else 30000, peak_ma=180000)
                for c in case.MODULE.channels
            ),
        ),
        where="3",
    ),
    broken(
        "continuous",
        "headroom of its own",
        7.77,
        7.7,
        vehicle=case.command("ignition", headroom_pct=Fraction(23)),
        where="3",
    ),
    # 1.25 x 7.77 A = 9.7125 A, up to the step 9.8 A: a rating of 9.799 A has no setting that holds
    broken(
        "trip",
        "no step from a quarter above running to the rating",
        9.8,
        9.799,
        vehicle=case.settings(headroom_pct=Fraction(0)),
        units=case.channels("3", continuous_ma=9799),
        where="3",
    ),
    # a reading that may be 1 % off: 9.7125 A / 0.99 = 9.811 A, up to 9.9 A
    broken(
        "trip",
        "the module's reading is off",
        9.9,
        9.899,
        vehicle=case.settings(headroom_pct=Fraction(0)),
        units=case.units(
            trip_error_pct=Fraction(1),
            channels=tuple(
                replace(c, continuous_ma=9899 if c.name == "3" else 30000, peak_ma=180000) for c in case.MODULE.channels
            ),
        ),
        where="3",
    ),
    # of 16.1 A one channel of two that share 67 to 33 carries 10.787 A of 9.6 A: both together bear 14.328 A
    broken(
        "continuous",
        "the larger share of a pair",
        16.1,
        14.328,
        units=case.channels("5", share_pct=Fraction(67)),
        where="5+6",
    ),
    # engine ECU, 2 A at 12 V, at 9 V, the bottom of a span: 2 x 12 / 9 = 2.667 A; a channel of 2.7 A bears 2.16 A
    broken(
        "continuous",
        "constant power at the bottom of a span",
        2.667,
        2.16,
        vehicle=case.span(9.0, 12.0),
        units=case.channels("9", continuous_ma=2700),
        where="9",
    ),
    # the heater at the top of a span, 14 A x 14.3 / 12 = 16.684 A; a pair of 10.4 A and 12 A bears twice 8.32 A
    broken(
        "continuous",
        "a heater at the top of a span",
        16.684,
        16.64,
        vehicle=case.span(13.8, 14.3),
        units=case.channels("5", continuous_ma=10400),
        where="5+6",
    ),
    # copper at -20 deg C: (30 x 254.5 / 214.5 - 6) x 13.8 / 12 = 34.034 A beside 7.77 A
    broken(
        "peak",
        "a motor in the cold",
        41.804,
        41.803,
        vehicle=case.settings(lowest_ambient_c=-20.0),
        units=case.channels("3", peak_ma=41803, peak_ms=600.0),
        where="3",
    ),
    # 10 % of the pump's excess of 27.6 A and of its running 6.9 A: 7.77 + 0.69 + 27.6 + 2.76 A
    broken(
        "peak",
        "tolerance of the inrush",
        38.82,
        38.819,
        vehicle=case.load("pump", tolerance_pct=Fraction(10)),
        units=case.units(
            channels=tuple(
                replace(c, continuous_ma=30000, peak_ma=38819 if c.name == "3" else 180000, peak_ms=600.0)
                for c in case.MODULE.channels
            )
        ),
        where="3",
    ),
    # pump 6.9 A + radio 0.87 A + excess 24 A * 13.8 / 12 = 27.6 A
    broken(
        "peak",
        "channel 3 trips at once",
        35.37,
        35.369,
        units=case.channels("3", peak_ma=35369, peak_ms=600.0),
        where="3",
    ),
    # 6.9 A and 27.6 A as above, tau 50 ms, usable 8 A: above it until t = 50 ln(27.6 / 0.23) ms
    broken(
        "energy",
        "channel 3 bears too short a peak",
        ENERGY,
        (60**2 - 8**2) * 8.0,
        units=case.channels("3", peak_ms=8.0),
        where="3",
    ),
    # in ready, bank A has 2 lamps, 4 markers, pump, radio, dash light: 8 + 2 + 6 + 1 + 1 A;
    # 19.999 A less 10 % is 17.999 A
    broken("bank", "bank A", 18.0, 17.999, vehicle=case.still(), units=case.banks(19999, 40000)),
    # half of the heater's 14 A moves into bank A with one channel of its pair
    broken("bank", "half of a pair", 25.0, 24.999, vehicle=case.still(), units=case.banks(27777, 40000, "6")),
    # with both channels in bank B all of it counts there: 14 A and the engine ECU's 2 A
    broken("bank", "a pair within one bank", 16.0, 15.999, vehicle=case.still(), units=case.banks(30000, 17777)),
    # all of the window's 5 A counts in both banks of its bridge: 18 + 5 A
    broken(
        "bank",
        "a bridge over two banks",
        23.0,
        22.999,
        vehicle=case.still(case.in_ready(window=PPM)),
        units=case.banks(25555, 40000, "8"),
    ),
    # 10 % of a lamp is 0.4 A, of four markers 0.2 A; the two that matter most are the lamps
    broken(
        "bank",
        "tolerance of two",
        18.8,
        18.799,
        vehicle=case.still(case.loose("lights", 10, tolerance_loads=2)),
        units=case.banks(20888, 40000),
    ),
    # in ready all but the window: 18 + 2 + 14 A
    broken("total", "in ready", 34.0, 33.999, vehicle=case.still(), units=case.units(total_ma=37777)),
    # in driving, 13.8 V, rounded up to milliamps: lamps 8, markers 2, pump 6.9, radio 0.87, ECU 1.74, window 4.348,
    # dash light 0.87, heater 16.1 A, together 40.828 A
    broken(
        "total", "whatever the duty", 40.828, 40.827, vehicle=case.driving(900_000), units=case.units(total_ma=45364)
    ),
    # and both lamps, 36 A of excess each, switched on by light_switch: 2 x 41.4 A at 13.8 V
    broken("total_peak", "more than it bears at once", 123.628, 123.627, units=case.units(total_peak_ma=123627)),
    broken(
        "total_peak",
        "off counts nothing",
        106.0,
        105.999,
        vehicle=case.driving(0),
        units=case.units(total_peak_ma=105999),
    ),
    # with 10 % on both lamps the peak has 2 x (0.4 + ceil(3.6)) A more: 106 + 0.8 + 7.2 A
    broken(
        "total_peak",
        "tolerance of running and inrush",
        114.0,
        113.999,
        vehicle=case.still(case.loose("lights", 10, tolerance_loads=2)),
        units=case.units(total_peak_ma=113999),
    ),
    # 14 A of the heater, 10 s in 40 s on a body of 1000 s: 14 sqrt((1 - e^-0.01) / (1 - e^-0.04)) = 7.053 A
    broken(
        "total",
        "effective current",
        27.053,
        27.052,
        vehicle=case.still(case.command("demist", on_s=10.0, cycle_s=40.0)),
        units=case.units(total_ma=30058, settle_s=1000.0),
    ),
    # what 13.8 V brings above counts though ready holds 12 V most of the time
    broken(
        "total",
        "at the top of the span",
        36.48,
        36.479,
        vehicle=case.still(case.spanning(12.0, 13.8)),
        units=case.units(total_ma=40533, bank_ma={"A": 60000, "B": 60000}),
    ),
    # a solenoid of 14 A, as stated whatever the cold, beside 20 A; 37.777 A less 10 % is 33.999 A
    broken(
        "total",
        "a solenoid as stated",
        34.0,
        33.999,
        vehicle=case.still(case.in_the_cold(case.load("heater", kind="solenoid"))),
        units=case.units(total_ma=37777),
    ),
    # conditions with or, not, and none at all; all of the 34 A in ready can be on together
    broken(
        "total",
        "a condition of two parts",
        34.0,
        33.999,
        vehicle=case.still(case.command("demist", condition="not key or light_switch")),
        units=case.units(total_ma=37777),
    ),
    broken(
        "total",
        "a command of its own",
        34.0,
        33.999,
        vehicle=case.still(case.command("demist", condition="")),
        units=case.units(total_ma=37777),
    ),
    broken(
        "total",
        "with every input off",
        34.0,
        33.999,
        vehicle=case.still(
            replace(
                VEHICLE,
                commands=tuple(
                    replace(c, condition=f"not {c.name}_off and not (key or dash_level)") for c in VEHICLE.commands
                ),
            )
        ),
        units=case.units(total_ma=37777),
    ),
    # without any inrush a change brings no more than what is on already
    broken(
        "total_peak",
        "of what is on",
        34.0,
        33.999,
        vehicle=case.still(replace(VEHICLE, loads=tuple(replace(x, inrush_ma=x.running_ma) for x in VEHICLE.loads))),
        units=case.units(total_peak_ma=33999),
    ),
    # 7.77 A are what 9.713 A leave, less 20 %; the setting of 9.8 A is above them
    broken("trip", "at the usable limit exactly", 9.8, 9.713, units=case.channels("3", continuous_ma=9713), where="3"),
    # half of 16.1 A, a quarter more, up to a step: 10.1 A on each channel of the pair
    broken(
        "trip",
        "of a pair",
        10.1,
        10.08,
        units=case.units(
            channels=tuple(replace(c, continuous_ma=10080) if c.pair else c for c in case.MODULE.channels)
        ),
        where="5+6",
    ),
    # of pump and radio one at a time is 10 % off: what both together bring is not asked of the channel
    broken(
        "energy", "one of two off", vehicle=OFF, units=case.channels("3", continuous_ma=12_000, peak_ms=17.3), where="3"
    ),
    broken("supply", "too low", 8.9, 9.0, vehicle=case.at_volts(8.9)),
    broken("supply", "too high", 16.1, 16.0, vehicle=case.at_volts(16.1)),
    broken(
        "derating",
        "hotter than the table",
        100.5,
        100.0,
        vehicle=case.at_place(100.5),
        units=case.units(
            "bulkhead",
            total_ma=160000,
            bank_ma={"A": 90000, "B": 90000},
            channels=tuple(replace(c, continuous_ma=60000, peak_ma=360000) for c in case.MODULE.channels),
        ),
    ),
    broken("derating", "colder than the table", -0.5, 0.0, vehicle=case.settings(module_ambient_c=-0.5)),
    # key, kill switch, light_switch and dash_level; window_up comes on the bus
    broken("inputs", "too few", 4, 3, units=case.units(inputs=3)),
]
