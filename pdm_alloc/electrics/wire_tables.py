"""Constants of wire: copper, sizes, ampacity, walls. Every number has its source beside it."""

from types import MappingProxyType

__all__ = [
    "AMPACITY_A",
    "AWG_NUMBERS",
    "BUNDLE_FACTORS",
    "BUNDLE_FACTOR_BEYOND",
    "CIRCULAR_MIL_MM2",
    "CLASS_5_OHM_PER_KM",
    "COPPER_DENSITY",
    "COPPER_HEAT",
    "COPPER_RESISTIVITY",
    "COPPER_ZERO_C",
    "IEC_ZERO_C",
    "INSULATION_CLASSES_C",
    "INSULATION_DENSITY",
    "SAE_CIRCULAR_MILS",
    "SAE_LEAST_SHARE",
    "SHORT_TIME_C",
    "STRAND_FILL",
    "THIN_WALL_A",
    "THIN_WALL_BUNDLE",
    "THIN_WALL_CLASS_C",
    "WALL_MM",
]

# Annealed copper at 20 deg C, ohm mm2 / m (100 % IACS; IEC 60028).
COPPER_RESISTIVITY = 0.017241

# g / cm3 (IEC 60028, from memory; published wire masses recompute to 8.887 to 8.896).
COPPER_DENSITY = 8.89

# Volumetric heat capacity, J / (K mm3) (IEC 60364-5-54, as quoted in a cable engineer's notes).
COPPER_HEAT = 3.45e-3

# Temperature at which the resistance would vanish: FAA AC 43.13-1B, section 11-66 (254.5 / (234.5 + t)).
COPPER_ZERO_C = -234.5

# The same for the factors of IEC 60228, annex: Kt = 250 / (230 + t).
IEC_ZERO_C = -230.0

# IEC 60228 class 5 (flexible, plain copper), greatest resistance at 20 deg C, ohm / km by mm2.
CLASS_5_OHM_PER_KM = MappingProxyType(
    {
        0.5: 39.0,
        0.75: 26.0,
        1.0: 19.5,
        1.5: 13.3,
        2.5: 7.98,
        4.0: 4.95,
        6.0: 3.30,
        10.0: 1.91,
        16.0: 1.21,
        25.0: 0.780,
        35.0: 0.554,
        50.0: 0.386,
        70.0: 0.272,
        95.0: 0.206,
        120.0: 0.161,
        150.0: 0.129,
        185.0: 0.106,
        240.0: 0.0801,
        300.0: 0.0641,
    }
)

# AWG sizes as numbers of ASTM B258 (1/0 is 0, 4/0 is -3), thin to thick.
AWG_NUMBERS = (22, 20, 18, 16, 14, 12, 10, 8, 6, 4, 3, 2, 1, 0, -1, -2, -3)

CIRCULAR_MIL_MM2 = 5.067075e-4  # mm2, from its definition: pi / 4 * (0.0254 mm)**2

# SAE conductors are a little thinner than nominal AWG: circular mils by AWG number (comparison table printed by a
# maker of marine wire). Sizes without a row take the least share of nominal found in it.
SAE_CIRCULAR_MILS = MappingProxyType(
    {
        18: 1537,
        16: 2336,
        14: 3702,
        12: 5833,
        10: 9343,
        8: 14810,
        6: 24538,
        4: 37360,
        2: 62450,
        1: 77790,
        0: 98980,
        -1: 125100,
        -2: 158600,
        -3: 205500,
    }
)

SAE_LEAST_SHARE = 0.893

# 33 CFR 183.425, Table 5: A at 30 deg C ambient, by AWG number and insulation class.
INSULATION_CLASSES_C = (60, 75, 80, 90, 105, 125, 200)

AMPACITY_A = MappingProxyType(
    {
        18: (10, 10, 15, 20, 20, 25, 25),
        16: (15, 15, 20, 25, 25, 30, 35),
        14: (20, 20, 25, 30, 35, 40, 45),
        12: (25, 25, 35, 40, 45, 50, 55),
        10: (40, 40, 50, 55, 60, 70, 70),
        8: (55, 65, 70, 70, 80, 90, 100),
        6: (80, 95, 100, 100, 120, 125, 135),
        4: (105, 125, 130, 135, 160, 170, 180),
        3: (120, 145, 150, 155, 180, 195, 210),
        2: (140, 170, 175, 180, 210, 225, 240),
        1: (165, 195, 210, 210, 245, 265, 280),
        0: (195, 230, 245, 245, 285, 305, 325),
        -1: (225, 265, 285, 285, 330, 355, 370),
        -2: (260, 310, 330, 330, 385, 410, 430),
        -3: (300, 360, 385, 385, 445, 475, 510),
    }
)

# Loaded wires in a bundle, up to and including, and factor: notes to the same table and UL 1426 boat cable tables.
# The regulation binds only circuits of 50 V and more; using it below is a choice on the careful side.
BUNDLE_FACTORS = ((2, 1.0), (3, 0.7), (6, 0.6), (24, 0.5))

BUNDLE_FACTOR_BEYOND = 0.4

# Thin-wall automotive cable of 105 deg C, alone in air of 30 deg C, A by mm2: sheets after ISO 6722 class B, neutral of
# maker. About a quarter below the boat table above, whose cable has a thicker wall.
THIN_WALL_A = MappingProxyType({0.5: 11.0, 1.0: 16.5, 2.5: 29.0, 6.0: 50.0, 10.0: 70.0})

THIN_WALL_CLASS_C = 105.0

# Loaded wires up to which the factors of the boat table hold for it; factor beyond: NEC 310.15(B)(3)(a), 41 and more.
THIN_WALL_BUNDLE = (40, 0.35)

# Share of a stranded conductor's circle that is metal: common practice, no source.
STRAND_FILL = 0.75

# Thin-wall insulation, mm, up to and including a conductor of so many mm2: common practice, no source.
WALL_MM = (
    (0.75, 0.30),
    (1.5, 0.32),
    (2.5, 0.35),
    (6.0, 0.40),
    (10.0, 0.60),
    (25.0, 0.65),
    (35.0, 0.80),
    (50.0, 0.90),
    (70.0, 1.00),
    (95.0, 1.10),
    (150.0, 1.30),
    (300.0, 1.60),
)

# g / cm3, up to and including an insulation class: plasticised, cross-linked, fluorinated. Common practice, no source.
INSULATION_DENSITY = ((105, 1.40), (150, 1.20), (200, 2.15))

# Conductor temperature insulation survives for at most 5 s, deg C, up to and including a class: thermoplastic 160,
# cross-linked 250 (IEC 60724 and IEC 60364-4-43, from memory).
SHORT_TIME_C = ((105, 160.0), (200, 250.0))
