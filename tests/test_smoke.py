"""The main job on the demo, end to end, in a second: what must hold after every change."""

import pdm_alloc as pa


def test_the_demo_is_sized_allocated_and_recounted():
    """Read, size, allocate, recount: one module of the demo is not enough, a larger one is."""
    vehicle, catalogue = pa.read_vehicle("data/rally_coupe"), pa.read_catalogue("data/catalogue")
    study = pa.size(vehicle, catalogue)
    assert study.smallest is not None
    assert study.refusals
    allocation = pa.allocate(vehicle, catalogue[study.smallest])
    assert pa.verify(allocation).empty
    assert len(allocation.pin_map())
