"""`allocate` against the textbook model on the demo: same instance, same solver, same machine, one run each.

    python -m tests.benchmarks.bench_textbook [--vehicle DIR] [--catalogue DIR] [--module NAME ...] [--seconds 60]

`allocate` proves all its objectives in order, the textbook model only the first, so the ratio is on the low side.
"""

import argparse
import time
from pathlib import Path

import pdm_alloc as pa
from pdm_alloc.domain.module import units_of
from pdm_alloc.verify.check import violations
from tests.benchmarks.pulp_textbook import IMPOSSIBLE, PROVED, PulpTextbook

DATA = Path(__file__).parents[2] / "data"
HEADER = ("module", "strategy", "allocate_s", "value", "textbook_s", "value", "bound", "ratio", "textbook")


def timed_allocate(vehicle, units, strategy):
    """Seconds, and the value of the first objective; None where it is not enough."""
    start = time.perf_counter()
    try:
        found = pa.allocate(vehicle, units, strategy=strategy)
    except pa.NotEnough:
        return time.perf_counter() - start, None
    took = time.perf_counter() - start
    assert found.outcome == "proven best", found.outcome
    return took, sum(len(c.channels) for c in found.circuits) if strategy == "spare" else len(found.circuits)


def compare(vehicle, module, strategy, seconds):
    """One row of the table, as text."""
    units = units_of(module)
    own_s, own = timed_allocate(vehicle, units, strategy)
    run = PulpTextbook(vehicle, units, strategy).run(seconds)
    if run.circuits:
        findings = violations(vehicle, units, run.circuits)
        assert not findings, [str(finding) for finding in findings]
    if run.verdict in (PROVED, IMPOSSIBLE):
        assert run.value == own, (run, own)
    sign = "" if run.verdict in (PROVED, IMPOSSIBLE) else "more than "
    ratio = f"{sign}{run.seconds / own_s:.0f}"
    size = f"{run.verdict}; {run.variables} variables, {run.rows} rows"
    cells = (module.name, strategy, f"{own_s:.3f}", own, f"{run.seconds:.2f}", run.value, run.bound, ratio, size)
    return tuple("-" if cell is None else str(cell) for cell in cells)


def main():
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--vehicle", type=Path, default=DATA / "rally_coupe")
    parser.add_argument("--catalogue", type=Path, default=DATA / "catalogue")
    parser.add_argument("--module", action="append", help="a module of the catalogue; default: all")
    parser.add_argument("--strategy", action="append", choices=("isolate", "spare"))
    parser.add_argument("--seconds", type=float, default=60.0, help="clock of the textbook model")
    options = parser.parse_args()
    vehicle, catalogue = pa.read_vehicle(options.vehicle), pa.read_catalogue(options.catalogue)
    items = sum(load.count for load in vehicle.loads)
    timed_allocate(vehicle, units_of(list(catalogue)[-1]), "spare")  # imports and the solver's first start
    print(f"{vehicle.name}: {len(vehicle.loads)} loads, {items} items, {len(vehicle.states)} states")
    print("  ".join(HEADER))
    for module in catalogue:
        if not options.module or module.name in options.module:
            for strategy in options.strategy or ("spare", "isolate"):
                print("  ".join(compare(vehicle, module, strategy, options.seconds)), flush=True)


if __name__ == "__main__":
    main()
