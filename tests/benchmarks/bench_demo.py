"""What the demo costs: the command line from a cold start, and each step once imported.

Run it on a machine that does nothing else: ``python -m tests.benchmarks.bench_demo``.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pdm_alloc as pa
from pdm_alloc.electrics.wire import WireRules, choose_wire
from pdm_alloc.export.paperwork import write_documents
from pdm_alloc.studies.risk import allocation_risk
from pdm_alloc.studies.room_left import room_left
from pdm_alloc.studies.what_if import compare, rework
from pdm_alloc.verify.check import violations

DATA = Path(__file__).parents[2] / "data"
FIVE = ("filament", "led", "motor", "heater", "electronics")


def best_of(times: int, work) -> float:
    """Shortest of some runs, s: what the work takes, not what else the machine does."""

    def once():
        start = time.perf_counter()
        work()
        return time.perf_counter() - start

    return min(once() for _ in range(times))


def command_line():
    """From a cold start, as a person meets it."""
    for words in (["--help"], ["check", DATA / "rally_coupe"], ["size", DATA / "rally_coupe"]):
        command = [sys.executable, "-m", "pdm_alloc", *map(str, words)]
        yield f"pdm-alloc {words[0]}, cold", best_of(3, lambda c=command: subprocess.run(c, capture_output=True))


def steps():
    """Each step once everything is imported."""
    car, catalogue = pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue")
    yield "read the vehicle", best_of(5, lambda: pa.read_vehicle(DATA / "rally_coupe"))
    yield "read the catalogue", best_of(5, lambda: pa.read_catalogue(DATA / "catalogue"))
    for module in ("middle-36", "middle-42", "large-50", "large-56"):
        for strategy in pa.STRATEGIES:
            work = lambda m=module, s=strategy: pa.allocate(car, catalogue[m], strategy=s)  # noqa: E731
            yield f"allocate on {module}, {strategy}", best_of(3, work)
    yield "size, five modules", best_of(3, lambda: pa.size(car, catalogue))
    yield "shortfall of the compact module", best_of(3, lambda: pa.explain(refusal(car, catalogue), sets=0))
    yield "shortfall and five sets of concessions", best_of(3, lambda: pa.explain(refusal(car, catalogue)))
    yield from after(car, catalogue)


def refusal(car, catalogue):
    try:
        pa.allocate(car, catalogue["compact-31"])
    except pa.NotEnough as refused:
        return refused
    raise AssertionError("the compact module of the demo is not enough")


def after(car, catalogue):
    """With a design in hand."""
    built = pa.allocate(car, catalogue["middle-42"])
    yield "recount of every limit", best_of(5, lambda: violations(car, built.units, built.circuits))
    yield "a load added", best_of(5, lambda: with_lamp(car))
    more = with_lamp(car)
    kept = more.allocate(catalogue["middle-42"], keep=built)
    yield "allocate, the design kept", best_of(3, lambda: more.allocate(catalogue["middle-42"], keep=built))
    yield "compare and rework list", best_of(3, lambda: (compare(built, kept), rework(built, kept)))
    yield "room left, five kinds", best_of(3, lambda: room_left(car, catalogue["middle-42"], FIVE))
    yield "100,000 draws over the tolerances", best_of(3, lambda: allocation_risk(built, 100_000))
    with tempfile.TemporaryDirectory() as folder:
        yield "every document", best_of(2, lambda: write_documents(built, Path(folder)))
    rules = WireRules("metric", 105.0, 30.0, 1, "chassis", 12.0)
    thousand = lambda: [choose_wire(10 + n / 1000, 8, [(4, 3, 3.0)], rules, 6.0) for n in range(1000)]  # noqa: E731
    yield "choice of 1,000 wires", best_of(3, thousand)


def with_lamp(car):
    return pa.what_if(car).add(load="bug lamp", command="side lamps", running_a=0.42, kind="filament")


def main() -> None:
    """Print a line a measurement."""
    for what, seconds in (*command_line(), *steps()):
        print(f"{what:40s} {1000 * seconds:9.1f} ms", flush=True)


if __name__ == "__main__":
    main()
