"""Circuits of the rally car that tripped while cranking: their settings hold now, or the recount tells."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

import pdm_alloc as pa

FROZEN = Path(__file__).parents[1] / "data" / "rally_frozen"


@cache
def allocation(name):
    """The car on a module of the catalogue whose banks and whole are made three times as strong; starting from rest."""
    vehicle = pa.read_vehicle(FROZEN / "vehicle")
    states = tuple(replace(s, supply_top_v=12.4) if s.name == "cranking" else s for s in vehicle.states)
    module = pa.read_catalogue(FROZEN / "catalogue")[name]
    banks = {bank: 3 * ma for bank, ma in module.bank_ma.items()}
    strong = replace(module, total_ma=3 * module.total_ma, total_peak_ma=3 * module.total_peak_ma, bank_ma=banks)
    return pa.allocate(replace(vehicle, states=states), strong)


def row_of(name, load):
    settings = allocation(name).settings
    return settings[settings.loads.str.split("; ").map(lambda loads: load in loads)].iloc[0]


@pytest.mark.parametrize(
    ("name", "load", "draws", "trips"),
    [
        ("middle-36", "intercom", 1.0, 1.3),  # with the tracking unit: 0.8 A at 12 V, 1.00 A at 9.6 V; tripped at 0.9 A
        ("middle-36", "rally computer", 1.063, 1.4),  # with the map lamp: 0.85 A, 1.06 A at 9.6 V; tripped at 0.9 A
        ("large-56", "engine computer", 1.75, 2.2),  # alone: 1.4 A, 1.75 A at 9.6 V; tripped at 1.5 A
        ("large-56", "starter solenoid", 11.648, 14.6),  # 9.5 A, cold 11.272 A, at the rest voltage of 12.4 V
    ],
)
def test_what_tripped_while_cranking_holds(name, load, draws, trips):
    """The setting is 1.25 times the largest draw of the circuit in any state, at any voltage, copper cold."""
    row = row_of(name, load)
    assert (row.running_a, row.trip_a) == (draws, trips)
    assert pa.verify(allocation(name)).empty


@pytest.mark.parametrize(("load", "old"), [("intercom", 0.9), ("rally computer", 0.9)])
def test_the_recount_tells_a_draw_above_its_trip(load, old):
    """The setting of before is below what the circuit draws at 9.6 V: cranking trips it, and the recount says where."""
    made = allocation("middle-36")
    row, right = row_of("middle-36", load), made.settings
    wrong = right.copy()
    wrong.loc[wrong.channel == row.channel, "trip_a"] = old
    made.__dict__["settings"] = wrong
    try:
        found = pa.verify(made).set_index("rule")
    finally:
        made.__dict__["settings"] = right
    finding = found.loc["draw below trip"]
    assert (finding.state, finding.channel, finding.value, finding.limit) == (
        "cranking",
        row.channel,
        row.running_a,
        old,
    )


def test_a_draw_a_milliamp_below_the_trip_is_not_told():
    """At the trip itself a channel may switch off; a milliamp above the draw it does not."""
    from pdm_alloc.verify.assignment import Recount
    from pdm_alloc.verify.strength import draw_below_trip

    made = allocation("middle-36")
    recount = Recount(made.vehicle, made.units, made.circuits)
    wired = next(w for w in recount.wired if "intercom" in w.circuit.loads)
    assert [f.rule for f in draw_below_trip(recount, wired, 1_000)] == ["draw below trip"]
    assert list(draw_below_trip(recount, wired, 1_001)) == []
