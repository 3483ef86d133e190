"""The same study in processes, and on a cluster on this machine."""

from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import pytest

import pdm_alloc as pa

DATA = Path(__file__).parents[2] / "data"


@pytest.fixture(scope="module")
def demo():
    """The demo with two modules on two of its places, which are 14 choices."""
    catalogue = pa.read_catalogue(DATA / "catalogue")
    few = replace(catalogue, modules=(catalogue["compact-31"], catalogue["middle-36"]))
    car = pa.read_vehicle(DATA / "rally_coupe")
    mounts = {"glove box", "boot"}
    return replace(car, places=tuple(replace(p, mount=p.name in mounts) for p in car.places)), few


@pytest.fixture(scope="module")
def alone(demo):
    return pa.mount(*demo, objective="front")


def same(one, other):
    """Best, its circuits, and the front agree; which choices were solved on the way may differ."""
    return (
        one.best == other.best
        and one.allocation.circuits == other.allocation.circuits
        and one.front.equals(other.front)
    )


def test_processes_give_the_same_answer(demo, alone):
    """Two processes that start afresh."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as executor:
        assert same(pa.mount(*demo, objective="front", executor=executor), alone)


@pytest.mark.once
def test_a_cluster_gives_the_same_answer(demo, alone):
    """The executor of a Dask client on a local cluster takes the place of any other."""
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        found = pa.mount(*demo, objective="front", executor=client.get_executor(), at_once=4)
    assert same(found, alone)
