"""Sizes, resistance, diameter and mass of wire."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.electrics import wire_tables
from pdm_alloc.electrics.wire import (
    awg_diameter_mm,
    awg_name,
    mass_g_per_m,
    outer_diameter_mm,
    resistance_ohm_per_m,
    temperature_factor,
    wire_sizes,
)

MILS = {name: number for number in wire_tables.AWG_NUMBERS for name in (awg_name(number).split()[0],)}


def size(name):
    return next(one for system in ("metric", "awg") for one in wire_sizes(system) if one.name == name)


def test_class_5_resistances(published):
    """Every metric size has the greatest resistance of IEC 60228 class 5, plain copper."""
    table = {float(row["mm2"]): float(row["class5_plain"]) for row in published("iec60228_resistance")}
    assert {one.area_mm2: pytest.approx(one.ohm_per_m * 1000) for one in wire_sizes("metric")} == table


def test_class_5_is_copper(published):
    """Resistance times area lies 4 to 20 % above 17.241 ohm mm2 / km, as strands and tolerance make it."""
    for row in published("iec60228_resistance"):
        product = float(row["class5_plain"]) * float(row["mm2"])
        assert 1.04 < product / (wire_tables.COPPER_RESISTIVITY * 1000) < 1.20


def test_kt_of_iec_60228(published):
    """The reciprocal of the temperature factor of metric sizes is IEC 60228's Kt to its three digits."""
    for row in published("iec60228_kt"):
        assert 1 / temperature_factor(float(row["temp_C"]), wire_tables.IEC_ZERO_C) == pytest.approx(
            float(row["Kt"]), abs=6e-4
        )
    assert resistance_ohm_per_m(size("2.5 mm2"), 70) * 0.833 == pytest.approx(7.98e-3, rel=1e-3)


def test_copper_constants(published):
    """0.017241 ohm mm2 / m, 0.00393 / K, -234.5 deg C and 8.89 g / cm3 are one consistent copper."""
    value = {row["quantity"]: float(row["value"]) for row in published("copper_constants")}
    assert value["resistivity IACS annealed copper 20C"] == wire_tables.COPPER_RESISTIVITY * 1000
    assert value["inferred-zero temperature copper"] == wire_tables.COPPER_ZERO_C
    assert value["density of annealed copper"] == wire_tables.COPPER_DENSITY
    slope = (temperature_factor(21) - temperature_factor(20)) / temperature_factor(20)
    assert slope == pytest.approx(value["temperature coefficient copper 20C"], rel=2e-3)


def test_one_kilometre_of_copper():
    """1 km of 1 mm2 weighs 8.89 kg and has 17.241 ohm: the two constants by hand (IEC 60028)."""
    bare = math.pi / 4 * awg_diameter_mm(10) ** 2
    sae = wire_tables.SAE_CIRCULAR_MILS[10] * wire_tables.CIRCULAR_MIL_MM2
    assert size("10 AWG").ohm_per_m * 1000 * sae == pytest.approx(17.241)
    assert mass_g_per_m(bare) > 8.89 * bare


@pytest.mark.parametrize(
    ("number", "mm2"), [(18, 0.823), (14, 2.08), (12, 3.31), (10, 5.26), (8, 8.37), (4, 21.15), (0, 53.5), (-3, 107.2)]
)
def test_awg_formula(number, mm2):
    """ASTM B258: 0.127 mm * 92**((36 - n) / 39) gives the areas every wire table prints (from memory)."""
    assert math.pi / 4 * awg_diameter_mm(number) ** 2 == pytest.approx(mm2, rel=2e-3)
    assert awg_diameter_mm(36) == 0.127


def test_awg_circular_mils(published):
    """The formula gives the printed AWG circular mils within their rounding to hundreds."""
    for row in published("sae_circular_mils"):
        mils = (awg_diameter_mm(MILS[row["awg"]]) / 0.0254) ** 2
        assert mils == pytest.approx(float(row["awg_cm_area"]), rel=0.025)


def test_sae_areas(published):
    """The SAE conductors in use are the printed ones, none below the share assumed where there is no row."""
    for row in published("sae_circular_mils"):
        number = MILS[row["awg"]]
        assert wire_tables.SAE_CIRCULAR_MILS[number] == int(row["sae_cm_area"])
        assert int(row["sae_cm_area"]) >= wire_tables.SAE_LEAST_SHARE * (awg_diameter_mm(number) / 0.0254) ** 2
    assert len(published("sae_circular_mils")) == len(wire_tables.SAE_CIRCULAR_MILS)


def test_bare_copper_is_below_the_faa_maximum(published):
    """FAA AC 43.13-1B table 11-9 gives maxima for tin plated strands: bare copper of its areas is 10 to 25 % below."""
    for row in published("faa_table_11_9"):
        if row["awg"] in ("24", "00", "000", "0000"):
            continue  # 24 AWG is finer than any wire here; the largest sizes are printed to one digit
        metal = float(row["nominal_circ_mils"]) * wire_tables.CIRCULAR_MIL_MM2
        bare = wire_tables.COPPER_RESISTIVITY / metal * 304.8
        assert 0.75 < bare / float(row["max_ohm_per_1000ft_20C_tin_plated"]) < 0.9


def test_names_and_order():
    """Sizes come thin to thick, and resistance falls all the way."""
    assert [one.name for one in wire_sizes("awg")][-4:] == ["1/0 AWG", "2/0 AWG", "3/0 AWG", "4/0 AWG"]
    assert [one.name for one in wire_sizes("metric")][:5] == ["0.5 mm2", "0.75 mm2", "1 mm2", "1.5 mm2", "2.5 mm2"]
    for system in ("metric", "awg"):
        sizes = wire_sizes(system)
        assert list(sizes) == sorted(sizes, key=lambda one: one.area_mm2)
        assert list(sizes) == sorted(sizes, key=lambda one: -one.ohm_per_m)


@given(st.sampled_from(wire_sizes("metric") + wire_sizes("awg")), st.floats(-40, 200), st.floats(0.1, 50))
def test_hotter_is_more_resistance(one, conductor, rise):
    """Copper always gains resistance with temperature, and has its table value at 20 deg C."""
    assert resistance_ohm_per_m(one, conductor + rise) > resistance_ohm_per_m(one, conductor)
    assert resistance_ohm_per_m(one, 20) == pytest.approx(one.ohm_per_m)


def test_diameter_and_mass_grow_with_area():
    """Thicker wire is thicker outside and heavier, in both systems, and mostly copper when thick."""
    areas = sorted(one.area_mm2 for system in ("metric", "awg") for one in wire_sizes(system))
    assert [outer_diameter_mm(a) for a in areas] == sorted(outer_diameter_mm(a) for a in areas)
    assert [mass_g_per_m(a) for a in areas] == sorted(mass_g_per_m(a) for a in areas)
    assert 0.6 < 0.5 * 8.89 / mass_g_per_m(0.5) < 0.85
    assert 0.9 < 300 * 8.89 / mass_g_per_m(300) < 0.97


def test_mass_by_hand():
    """1 mm2 of copper in a 0.32 mm wall: strands of 1.303 mm, a tube of 1.63 mm2, 8.89 g + 1.63 * 1.40 g."""
    strand = math.sqrt(4 / (math.pi * 0.75))
    tube = math.pi * 0.32 * (strand + 0.32)
    assert outer_diameter_mm(1.0) == pytest.approx(strand + 0.64)
    assert mass_g_per_m(1.0) == pytest.approx(8.89 + 1.40 * tube)
    assert mass_g_per_m(1.0, 200) == pytest.approx(8.89 + 2.15 * tube)


@pytest.mark.parametrize("call", [lambda: wire_sizes("bsi"), lambda: mass_g_per_m(0), lambda: outer_diameter_mm(301)])
def test_outside_the_tables(call):
    """Unknown systems and areas nobody has a wall for are refused, not guessed."""
    with pytest.raises(ValueError):
        call()
