"""How well a time limit is kept: the whole command, reading included, by size, verb and limit.

    python -m tests.benchmarks.bench_clock [--sizes 100 5000 ...] [--verbs size ...] [--limits 0 1 5 20] [--wall]

A limit holds within a fifth and two seconds; `size` has it once per module. Each command runs in a process of its own
whose clock counts its processor time, so that other work on the machine does not count (``--wall``: the clock on the
wall). Beside it stands the wall time and what came of it: exit code, last line said. All vehicles are invented.
"""

import argparse
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

__all__ = ["SIZES", "VERBS", "Case", "allowed_s", "write_case"]

KINDS = ("heater", "motor", "filament", "electronics", "led", "solenoid")
RATINGS = ((10, 70), (15, 100), (20, 140))
WORDS = "import sys, time\n{clock}from pdm_alloc.cli import program\nprogram()"
CODES = (0, 1, 3)
BY_PROCESSOR = "time.monotonic = time.process_time\n"


@dataclass(frozen=True)
class Case:
    """Loads of a vehicle, loads of one command, items of one load, channels and number of modules."""

    loads: int
    per_command: int
    count: int
    channels: int
    modules: int = 1


SIZES = {
    "100": Case(100, 2, 1, 70),
    "1000": Case(1000, 2, 1, 650),
    "5000": Case(5000, 2, 1, 3000),
    "one-command": Case(300, 300, 1, 150),
    "500-modules": Case(20, 2, 1, 14, 500),
    "count-10000": Case(1, 1, 10_000, 200),
}

# A verb: its words, M for a module that is enough, m for one that is not; and whether it is judged module by module.
VERBS = {
    "size": (["size", "CAR"], True),
    "size --why": (["size", "CAR", "--why"], True),
    "size --places": (["size", "PLACED", "--places"], True),
    "allocate": (["allocate", "CAR", "--module", "M0"], False),
    "explain": (["allocate", "CAR", "--module", "short"], False),
    "documents": (["allocate", "CAR", "--module", "M0", "--out", "OUT"], False),
}


def _loads(case: Case, placed: bool):
    yield "load,command,running_a,count,kind" + (",place" if placed else "")
    for n in range(case.loads):
        amps = 0.1 if case.count > 1 else 0.4 + (n * 7 % 12) * 0.5 + (n * 0.01 if case.per_command > 2 else 0)
        place = f",{('nose', 'dash', 'tail')[n % 3]}" if placed else ""
        yield f"load {n},command {n // case.per_command},{amps:.2f},{case.count},{KINDS[n % len(KINDS)]}{place}"


def _commands(case: Case):
    """Half of the commands are behind a key and a switch; the others are inputs of their own."""
    yield "command,condition"
    for n in range(_command_count(case)):
        yield f"command {n}," + (f"key and switch_{n // 2 % 400}" if n % 2 else "")


def _command_count(case: Case) -> int:
    return -(-case.loads // case.per_command)


def _states(case: Case):
    yield "command,idle,drive,night"
    for n in range(_command_count(case)):
        yield f"command {n}," + ",".join(("1", "0.5", "0.33")[(n + s) % 3] for s in range(3))


def _modules(case: Case):
    names = [f"M{n}" for n in range(case.modules)]
    fewer = max(1, case.channels // 3)
    return [(name, case.channels + n % 3, n) for n, name in enumerate(names)] + [("short", fewer, 0)]


def _catalogue(case: Case, folder: Path) -> None:
    modules = _modules(case)
    rows = [f"{m},{channels * 12},{min(99_000, channels * 60)},{300 + n},{100 + n}" for m, channels, n in modules]
    (folder / "modules.csv").write_text("\n".join(["module,total_a,total_peak_a,mass_g,price", *rows]) + "\n")
    channels = [
        f"{m},{n + 1},{RATINGS[n % 3][0]},{RATINGS[n % 3][1]},50" for m, count, _ in modules for n in range(count)
    ]
    (folder / "channels.csv").write_text("\n".join(["module,channel,continuous_a,peak_a,peak_ms", *channels]) + "\n")


def _vehicle(case: Case, folder: Path, placed: bool) -> None:
    inputs = ["input,kind", "key,switch", *(f"switch_{n},switch" for n in range(400))]
    tables = {"loads": _loads(case, placed), "commands": _commands(case), "states": _states(case), "inputs": inputs}
    tables["supply"] = ["state,supply_v,supply_top_v,minutes", "idle,12.5,,10", "drive,13.5,14.2,60", "night,14,,30"]
    if placed:
        tables["places"] = ["place,x_m,y_m,mount", "nose,0,0,yes", "dash,-1.2,0,yes", "tail,-3.4,0.4,yes"]
        tables["routes"] = ["from,to,length_m", "nose,dash,1.4", "dash,tail,2.4"]
    for name, lines in tables.items():
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n")


def write_case(case: Case, folder: Path) -> None:
    """Write a case as the folders car, placed (the same with places) and catalogue.

    Parameters
    ----------
    case : Case
        How large.
    folder : Path
        Empty.
    """
    for name in ("car", "placed", "catalogue"):
        (folder / name).mkdir()
    _vehicle(case, folder / "car", False)
    _vehicle(case, folder / "placed", True)
    _catalogue(case, folder / "catalogue")


def allowed_s(limit_s: float, boxes: int) -> float:
    """Longest a whole command may take, s."""
    return 1.2 * limit_s * boxes + 2


def _run(words, limit, wall, most_s) -> tuple[int | None, float, float, str]:
    """Exit code (None: ended from here), processor and wall time, s, and the last line said."""
    code = WORDS.format(clock="" if wall else BY_PROCESSOR)
    command = [sys.executable, "-c", code, *words, "--time-limit", str(limit)]
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    how = {"capture_output": True, "text": True, "env": {**os.environ, "MPLBACKEND": "Agg"}, "timeout": most_s}
    try:
        done = subprocess.run(command, check=False, **how)
        ended, said = done.returncode, (done.stdout.strip() or done.stderr.strip()).splitlines()
    except subprocess.TimeoutExpired:
        ended, said = None, [f"ended from here after {most_s:.0f} s"]
    after, wall_s = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic() - start
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    told = next((line for line in said if re.search(r"proven best|best so far|is the smallest|enough", line)), "")
    return ended, spent, wall_s, (told or (said[-1] if said else ""))[:90]


def _measured(name: str, verb: str, limits, folder: Path, wall: bool):
    case, (words, by_module) = SIZES[name], VERBS[verb]
    boxes = case.modules + 1 if by_module else 1
    for limit in limits:
        most = allowed_s(limit, boxes)
        at = {"CAR": folder / "car", "PLACED": folder / "placed", "OUT": folder / f"out{limit}"}
        code, spent, wall_s, told = _run([str(at.get(w, w)) for w in words], limit, wall, 6 * most + 60)
        kept = "kept" if (wall_s if wall else spent) <= most and code in CODES else "over"
        yield f"| {name} | {verb} | {limit:g} | {most:.1f} | {spent:.1f} | {wall_s:.1f} | {kept} | {code} | {told} |"


def main() -> None:
    """Print the table, row by row."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sizes", nargs="+", default=list(SIZES), choices=list(SIZES))
    parser.add_argument("--verbs", nargs="+", default=list(VERBS), choices=list(VERBS))
    parser.add_argument("--limits", nargs="+", type=float, default=[0.0, 1.0, 5.0, 20.0])
    parser.add_argument("--wall", action="store_true", help="the limit counts wall time, as it does for users")
    options = parser.parse_args()
    print("| size | verb | limit, s | allowed | processor, s | wall | | code | said |", flush=True)
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |", flush=True)
    for name in options.sizes:
        with tempfile.TemporaryDirectory() as folder:
            write_case(SIZES[name], Path(folder))
            for verb in options.verbs:
                for row in _measured(name, verb, options.limits, Path(folder), options.wall):
                    print(row, flush=True)


if __name__ == "__main__":
    main()
