"""How time grows with the vehicle: ours, the textbook model with HiGHS and CBC, and CP-SAT on the model.

    python -m tests.benchmarks.bench_scale [--seconds 120] [--textbook 200]

The instances are invented: loads of twelve sizes, two a command, on equal modules of 32 channels in two banks, with as
many modules as 1,600 loads have at 56. The table goes to the screen, the figure to ``tests/benchmarks/results``.
"""

import argparse
import math
import resource
import time
from pathlib import Path

from matplotlib.figure import Figure
from ortools.sat.python import cp_model

import pdm_alloc as pa
from pdm_alloc.domain.module import units_of
from pdm_alloc.domain.vehicle import Vehicle
from tests.benchmarks.pulp_textbook import PROVED, PulpTextbook, has_cbc
from tests.scale.fleet import fleet

RESULTS = Path(__file__).parent / "results"
SIZES = (100, 200, 400, 800, 1600)


def cp_sat(vehicle: Vehicle, modules, seconds: float) -> tuple[str, float, float | None]:
    """The textbook model's core: item to channel, one command a channel, continuous limit; easier than ours."""
    model = cp_model.CpModel()
    channels = range(sum(len(m.channels) for m in modules))
    commands = sorted({x.command for x in vehicle.loads})
    has = {(c, k): model.new_bool_var("") for c in channels for k in commands}
    for c in channels:
        model.add_at_most_one(has[c, k] for k in commands)
    at = {(x.name, c): model.new_bool_var("") for x in vehicle.loads for c in channels}
    volt = max(s.supply_v for s in vehicle.states) / vehicle.settings.reference_v
    for x in vehicle.loads:
        model.add_exactly_one(at[x.name, c] for c in channels)
        for c in channels:
            model.add_implication(at[x.name, c], has[c, x.command])
    for c in channels:
        model.add(sum(math.ceil(x.running_ma * volt) * at[x.name, c] for x in vehicle.loads) <= 10_000)
    model.minimize(sum(has.values()))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds, solver.parameters.num_workers = seconds, 2
    status = solver.solve(model)
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return solver.status_name(status).lower(), solver.wall_time, solver.objective_value if found else None


def ours(vehicle, modules) -> tuple[float, int, str]:
    """Seconds, channels used, outcome."""
    start = time.perf_counter()
    found = pa.allocate(vehicle, modules, strategy="spare")
    return time.perf_counter() - start, sum(len(c.channels) for c in found.circuits), found.outcome


def draw(rows) -> Path:
    """Time over size, both on log axes."""
    RESULTS.mkdir(exist_ok=True)
    figure = Figure((6, 4), layout="constrained")
    axes = figure.subplots()
    axes.loglog([n for n, _ in rows], [s for _, s in rows], "o-")
    axes.set(xlabel="loads", ylabel="time to proof, s", title="Fewest channels, proved")
    axes.grid(alpha=0.3, which="both")
    figure.savefig(RESULTS / "scale.png", dpi=150)
    return RESULTS / "scale.png"


def main() -> None:
    """Print the table, the exponent of growth and the memory; draw the figure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=120.0, help="clock of each other model")
    parser.add_argument("--textbook", type=int, default=200, help="largest size the other models are given")
    options = parser.parse_args()
    ours(*fleet(20))  # imports and the solver's first start
    rows = []
    for loads in SIZES:
        vehicle, modules = fleet(loads)
        seconds, channels, outcome = min(ours(vehicle, modules) for _ in range(2))
        rows.append((loads, seconds))
        print(
            f"{loads:5d} loads, {len(modules):2d} modules: {seconds:7.3f} s, {channels} channels, {outcome}", flush=True
        )
        if loads <= options.textbook:
            compare(vehicle, modules, seconds, options.seconds)
    first, last = rows[1], rows[-1]
    print(f"growth from {first[0]} to {last[0]} loads: exponent {math.log(last[1] / first[1], last[0] / first[0]):.2f}")
    print(
        f"memory at most {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB; figure: {draw(rows).name}"
    )


def compare(vehicle, modules, seconds: float, clock: float) -> None:
    """The other models on the same instance."""
    solvers = {"HiGHS": PulpTextbook.run} | ({"CBC": PulpTextbook.run_cbc} if has_cbc() else {})
    for name, solve in solvers.items():
        run = solve(PulpTextbook(vehicle, units_of(modules), "spare"), clock)
        ratio = f"{'' if run.verdict == PROVED else 'more than '}{run.seconds / seconds:.0f} x"
        print(f"      textbook, {name}: {run.seconds:.1f} s, {run.verdict}, {run.value} channels, {ratio}", flush=True)
    word, took, value = cp_sat(vehicle, modules, clock)
    print(
        f"      textbook core, CP-SAT on 2 cores: {took:.1f} s, {word}, {value} channels, {took / seconds:.0f} x",
        flush=True,
    )


if __name__ == "__main__":
    main()
