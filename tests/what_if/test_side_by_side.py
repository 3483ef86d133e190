"""Allocations side by side: what each costs, weighs, leaves, and how much is to be rewired."""

import pdm_alloc as pa
from pdm_alloc.domain.module import Unit
from pdm_alloc.result.channel_tables import tightest_headroom
from pdm_alloc.studies.signal_places import signals_beside
from pdm_alloc.studies.what_if import side_by_side
from tests.what_if.builds import lamp, module, unit, vehicle, wired


def test_numbers_by_hand():
    """Two lamps on two channels of 10 A, one of them moved: spare, price, headroom and rework worked out by hand."""
    car = vehicle(lamp("a", "x", 2.0), lamp("b", "y", 4.0))
    box = [unit("box", module(10, 10, 10, price=100.0, mass_g=500.0))]
    first = wired(car, box, ("box", "1", "x", {"a": [1]}), ("box", "2", "y", {"b": [1]}))
    second = wired(car, box, ("box", "1", "x", {"a": [1]}), ("box", "3", "y", {"b": [1]}))
    table = side_by_side({"built": first, "other": second}, "built").set_index("name")
    assert table["spare"].tolist() == [1, 1]
    assert table["price"].tolist() == [100.0, 100.0]
    assert table[["moved", "added", "removed"]].to_numpy().tolist() == [[0, 0, 0], [1, 0, 0]]
    assert table["mass_g"].isna().all()  # no place, so no length
    assert tightest_headroom(first)["channel"] == (60.0, "channel 2: b")
    assert "bank" not in tightest_headroom(first) and "voltage drop" not in tightest_headroom(first)
    assert side_by_side({"a": first})[["moved", "added", "removed"]].isna().all(axis=None)


def test_price_and_mass_are_of_all_that_is_fitted():
    """With places, mass is module, wires and battery cables, to the gram; with signals their boxes and wires too."""
    from pathlib import Path

    data = Path(__file__).parents[2] / "data"
    car, catalogue = pa.read_vehicle(data / "rally_coupe"), pa.read_catalogue(data / "catalogue")
    allocation = pa.allocate(car, Unit("middle-42", catalogue["middle-42"], "boot"))
    [row] = side_by_side({"a": allocation}).itertuples(index=False)
    harness = allocation.wires["mass_g"].sum() + allocation.feeds["mass_g"].sum()
    assert abs(row.harness_g - harness) < 1e-6 and harness > 1000
    assert row.mass_g == catalogue["middle-42"].mass_g + row.harness_g
    least = (100 * (1 - allocation.drops["drop_pct"] / allocation.drops["limit_pct"])).min()
    assert tightest_headroom(allocation)["voltage drop"][0] == round(least, 1)
    worst = allocation.headroom[allocation.headroom.subject.str.startswith("bank ")].headroom_pct.min()
    assert tightest_headroom(allocation)["bank"][0] == worst
    assert row.price == catalogue["middle-42"].price
    side = signals_beside(car, catalogue, allocation.units)
    [whole] = side_by_side({"a": allocation.with_signals(side)}).itertuples(index=False)
    bought = [box.box for box in side.boxes if box.box.role != "module"] + [pad for _, _, pad in side.pads()]
    assert whole.price == row.price + sum(one.price for one in bought) and len(bought) > 1
    roles = {"signal", "bus", "5 V supply", "sensor ground"}
    cuts = [cut for cut in allocation.with_signals(side).cut_list.itertuples() if cut.role in roles]
    assert len(cuts) > 50 and {cut.role for cut in cuts} == roles
    wires_g = sum(cut.mass_g for cut in cuts)
    assert abs(whole.harness_g - row.harness_g - wires_g) < 1e-6
    assert abs(whole.mass_g - row.mass_g - wires_g - sum(one.mass_g for one in bought)) < 1e-6
