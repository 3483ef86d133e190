"""Where to mount: the search over choices against one monolithic program on the same data.

Run it on a machine that does nothing else: ``python -m tests.benchmarks.bench_places [seconds for the monolith]``.
"""

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import pdm_alloc as pa
from pdm_alloc.studies.mounting import mount
from tests.benchmarks.monolith import monolith

DATA = Path(__file__).parents[2] / "data"
LIMIT_S = 600.0


def timed(work):
    """What it gives, and how long it takes by the clock, s."""
    start = time.perf_counter()
    result = work()
    return result, time.perf_counter() - start


def searches(vehicle, catalogue):
    """The search for each objective, alone and in two processes."""
    for objective in ("mass", "price", "front"):
        yield f"{objective}, one process", *timed(lambda o=objective: mount(vehicle, catalogue, o))
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as executor:
        mount(vehicle, catalogue, "price", executor=executor)  # both are up
        work = lambda: mount(vehicle, catalogue, "front", executor=executor)  # noqa: E731
        yield "front, two processes", *timed(work)


def few(vehicle, catalogue):
    """Two modules on two places: as much as one program proves while somebody waits."""
    places = tuple(replace(p, mount=p.name in ("boot", "bulkhead")) for p in vehicle.places)
    modules = tuple(m for m in catalogue if m.name in ("compact-31", "middle-42"))
    return replace(vehicle, places=places), replace(catalogue, modules=modules)


def against_one_program(vehicle, catalogue, limit_s):
    """Search and one program on the same data, and how many times as long the latter takes."""
    found, quick = timed(lambda: mount(vehicle, catalogue, "mass"))
    answer, seconds = timed(lambda: monolith(vehicle, catalogue, limit_s))
    mass = round(10 * found.choices.mass_g[0])
    print(f"{len(found.choices)} choices: search {mass / 10:.1f} g, {found.outcome}, {quick:.2f} s: {found.best.label}")
    print(f"  one program {(answer.mass_dg or 0) / 10:.1f} g, {answer.outcome}, {seconds:.2f} s: {answer.label}")
    print(f"  its bound is {answer.bound_dg / 10:.1f} g; it takes {seconds / quick:.0f} times as long")


def main(limit_s: float = LIMIT_S) -> None:
    """Print what each takes, and the ratio."""
    vehicle, catalogue = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")
    for name, found, seconds in searches(vehicle, catalogue):
        print(f"{name:22} {seconds:8.2f} s  {found.outcome}: {found.best.label}, {len(found.choices)} choices")
    against_one_program(*few(vehicle, catalogue), limit_s)
    against_one_program(vehicle, catalogue, limit_s)


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
