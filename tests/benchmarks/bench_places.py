"""Where to mount: the search over choices against one monolithic program on the same data.

Run it on a machine that does nothing else: ``python -m tests.benchmarks.bench_places [seconds for the monolith]``.
"""

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pdm_alloc as pa
from pdm_alloc.mounting.mount import Solving, mount
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
        mount(vehicle, catalogue, "price", Solving(executor=executor))  # both are up
        work = lambda: mount(vehicle, catalogue, "front", Solving(executor=executor))  # noqa: E731
        yield "front, two processes", *timed(work)


def main(limit_s: float = LIMIT_S) -> None:
    """Print what each takes, and the ratio."""
    vehicle, catalogue = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")
    first = None
    for name, found, seconds in searches(vehicle, catalogue):
        first = first or (found, seconds)
        print(f"{name:22} {seconds:8.2f} s  {found.outcome}: {found.best.label}, {len(found.choices)} choices")
    answer, seconds = timed(lambda: monolith(vehicle, catalogue, limit_s))
    print(f"{'mass, one program':22} {seconds:8.2f} s  {answer.outcome}: {answer.label}")
    found, quick = first
    mass = round(10 * found.choices.mass_g[0])
    print(
        f"search {mass / 10:.1f} g; one program {(answer.mass_dg or 0) / 10:.1f} g, bound {answer.bound_dg / 10:.1f} g"
    )
    print(f"one program takes {seconds / quick:.0f} times as long")


if __name__ == "__main__":
    main(*map(float, sys.argv[1:]))
