"""Processor time of size, why, allocate, an edit and the room left on vehicles that nobody tuned to.

Run: python -m tests.benchmarks.bench_realistic [HOW MANY VEHICLES]
"""

import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from statistics import median

import pdm_alloc as pa
from pdm_alloc.circuits.columns import CircuitBook
from tests.attack.generator import REALISTIC, realistic
from tests.attack.tables import write_tables


def read(body, seed):
    """Vehicle and catalogue; lengths of routes are left to the straight distance."""
    tables = realistic(body, seed)
    for row in tables.table("routes"):
        row["length_m"] = ""
    folder = Path(tempfile.mkdtemp())
    write_tables(tables, folder / "vehicle", folder / "catalogue")
    return pa.read_vehicle(folder / "vehicle"), pa.read_catalogue(folder / "catalogue")


def timed(times, step, work):
    """The result of some work, its processor time noted in s; None where there is no answer."""
    start = time.process_time()
    try:
        return work()
    except (pa.NotEnough, pa.Unsolved) as refusal:
        return refusal
    finally:
        times[step].append(time.process_time() - start)


def measure(times, vehicle, catalogue):
    """Every step on every module."""
    timed(times, "size", lambda: pa.size(vehicle, catalogue))
    for module in catalogue:
        book = CircuitBook(vehicle.settings.tolerance_loads)
        result = timed(times, "allocate", lambda m=module, b=book: pa.allocate(vehicle, m, book=b))
        if isinstance(result, pa.NotEnough):
            timed(times, "why", lambda r=result: pa.explain(r))
        first, *others = vehicle.loads
        edited = replace(vehicle, loads=(replace(first, running_ma=first.running_ma + 100), *others))
        timed(times, "edit", lambda m=module, b=book, v=edited: pa.allocate(v, m, book=b))
        if isinstance(result, pa.Allocation):
            timed(times, "room left", lambda r=result: pa.amps_left(vehicle, r.units))


def main(most):
    """Print median, nine in ten and worst of each step."""
    times = defaultdict(list)
    for body, seed in REALISTIC[:most]:
        measure(times, *read(body, seed))
    print(f"{'step':<12}{'times':>6}{'median s':>10}{'p90 s':>10}{'worst s':>10}")
    for step, values in times.items():
        values.sort()
        p90 = values[min(len(values) - 1, int(0.9 * len(values)))]
        print(f"{step:<12}{len(values):>6}{median(values):>10.2f}{p90:>10.2f}{values[-1]:>10.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else len(REALISTIC))
