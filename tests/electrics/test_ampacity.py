"""Ampacity against the published tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.electrics import wire_tables
from pdm_alloc.electrics.wire import ambient_factor, ampacity_a, awg_name, base_ampacity_a, bundle_factor, wire_sizes

AREA = {one.name.split()[0]: one.area_mm2 for one in wire_sizes("awg")}
ZEROS = {"0": "1/0", "00": "2/0", "000": "3/0", "0000": "4/0"}


def area(name):
    return AREA[ZEROS.get(name, name)]


@pytest.mark.parametrize("insulation", wire_tables.INSULATION_CLASSES_C)
def test_33_cfr_183_425_table_5(published, insulation):
    """Every cell of the table comes back exactly at 30 deg C."""
    for row in published("ampacity_33cfr183_425"):
        assert ampacity_a(area(row["awg"]), insulation, cable="boat") == pytest.approx(
            float(row[f"A_{insulation}C"]), rel=1e-12
        )


@pytest.mark.parametrize(("awg", "insulation", "amps"), [("14", 105, 35), ("10", 60, 40), ("4/0", 200, 510)])
def test_cells_read_by_eye(awg, insulation, amps):
    """Three cells of 33 CFR 183.425 Table 5, as printed."""
    assert ampacity_a(AREA[awg], insulation, cable="boat") == pytest.approx(amps)


def test_engine_space_factors(published):
    """Note 1 of the table, 50 deg C: the square-root law within 0.01; at 200 deg C the note says 1, we do not."""
    for row in published("engine_space_factors"):
        insulation, printed = float(row["insulation_temp_C"]), float(row["engine_space_factor"])
        ours = ambient_factor(insulation, 50)
        assert ours == pytest.approx(printed, abs=0.01) if insulation < 200 else ours == pytest.approx(0.939, abs=1e-3)


def test_engine_space_ampacity(published):
    """The 105 C column inside an engine space, as reprinted: 0.856 printed as 0.85, and the result rounded down."""
    for row in published("engine_space_105C"):
        inside = ampacity_a(area(row["awg"]), 105, 50, cable="boat")
        assert inside == pytest.approx(float(row["A_inside_engine_space"]), rel=0.018, abs=0.5)


def test_bundled_boat_cable(published):
    """UL 1426 boat cable, 105 C: every size, bundle and space, to the rounding of 0.85 for 0.856."""
    loaded = {"1-2": 2, "3": 3, "4-6": 6, "7-24": 24, "25+": 25}
    for row in published("bundled_105C"):
        ambient = 30 if row["engine_space"] == "outside" else 50
        ours = ampacity_a(AREA[row["awg"]], 105, ambient, loaded[row["bundled_conductors"]], "boat")
        assert ours == pytest.approx(float(row["allowable_A"]), rel=0.012), row


def test_nec_ambient_factors(published):
    """NEC 310.15(B), base 30 deg C: all 39 factors are sqrt((Tr - Ta) / (Tr - 30)) at the top of their band."""
    checked = 0
    for row in published("nec_ambient_factors"):
        for insulation in (60, 75, 90):
            if printed := row[f"f_{insulation}C"]:
                assert ambient_factor(insulation, float(row["upper_C"])) == pytest.approx(float(printed), abs=0.006)
                checked += 1
    assert checked == 42 - 3


@pytest.mark.parametrize(
    ("loaded", "factor"), [(1, 1), (2, 1), (3, 0.7), (4, 0.6), (6, 0.6), (7, 0.5), (24, 0.5), (25, 0.4), (500, 0.4)]
)
def test_bundle(loaded, factor):
    """1, 0.7, 0.6, 0.5, 0.4 for up to 2, 3, 6, 24 and more loaded wires (notes to 33 CFR 183.425)."""
    assert bundle_factor(loaded, "boat") == factor


def test_worked_bundle():
    """10 AWG, five in a bundle, engine space: 60 * 0.6 * 0.85 = 30.6 A in print, 30.8 A by the law."""
    assert ampacity_a(AREA["10"], 105, 50, 5, "boat") == pytest.approx(30.6, abs=0.3)


@pytest.mark.parametrize("ambient", [105, 105.1, 400])
def test_too_hot_is_nothing(ambient):
    """A wire in an ambient of its own class carries nothing."""
    assert ampacity_a(2.5, 105, ambient) == 0


@given(st.floats(60, 200), st.floats(-20, 200), st.integers(1, 40), st.sampled_from(["metric", "awg"]))
def test_monotone(insulation, ambient, loaded, system):
    """Ampacity never falls with area or insulation class, and never rises with ambient or bundle."""
    amps = [ampacity_a(one.area_mm2, insulation, ambient, loaded) for one in wire_sizes(system)]
    assert amps == sorted(amps)
    for one in wire_sizes(system):
        here = ampacity_a(one.area_mm2, insulation, ambient, loaded)
        assert ampacity_a(one.area_mm2, insulation, ambient + 5, loaded) <= here
        assert ampacity_a(one.area_mm2, insulation, ambient, loaded + 5) <= here
        assert (
            base_ampacity_a(one.area_mm2, min(200.0, insulation + 5))
            >= base_ampacity_a(one.area_mm2, insulation) - 1e-9
        )


def test_metric_lies_between_its_neighbours():
    """2.5 mm2 is between 14 and 12 AWG (2.08 and 3.31 mm2), 16 mm2 between 6 and 4 AWG."""
    assert 35 < ampacity_a(2.5, 105, cable="boat") < 45
    assert 120 < ampacity_a(16, 105, cable="boat") < 160


def test_beyond_the_table_is_below_its_trend():
    """Thinner than 18 AWG keeps its current density, thicker than 4/0 goes with the root of the area."""
    assert ampacity_a(AREA["18"] / 2, 105, cable="boat") == pytest.approx(10)
    assert ampacity_a(4 * AREA["4/0"], 105, cable="boat") == pytest.approx(890)
    trend = (445 / 385) ** 2  # what two steps of the table would give for 1.59 times the area
    assert ampacity_a(AREA["4/0"] ** 2 / AREA["2/0"], 105, cable="boat") < 445 * trend


def test_above_the_faa_harness_table(published):
    """FAA AC 43.13-1B table 11-9 (many wires, altitude) is far below the open-wire table, as it must be."""
    for row in published("faa_table_11_9"):
        if ZEROS.get(row["awg"], row["awg"]) in AREA:
            assert float(row["A_105C"]) < ampacity_a(area(row["awg"]), 105)


@pytest.mark.parametrize(
    "call",
    [
        lambda: ampacity_a(2.5, 59),
        lambda: ampacity_a(2.5, 201),
        lambda: ampacity_a(0, 105),
        lambda: bundle_factor(0),
        lambda: ambient_factor(30, 20),
    ],
)
def test_refused(call):
    """Classes, areas and bundles the tables say nothing about raise."""
    with pytest.raises(ValueError):
        call()


def test_names_of_table_rows():
    """Every row of the ampacity table is a size on offer."""
    assert {awg_name(number) for number in wire_tables.AMPACITY_A} <= {one.name for one in wire_sizes("awg")}
