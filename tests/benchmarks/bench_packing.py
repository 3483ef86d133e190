"""One-dimensional packing sets: uniform items and triplets on one command and channels of one rating.

    python -m tests.benchmarks.bench_packing [--seconds 30] [--sets u120 u250 ...] [--spare 4]

The classes are those E. Falkenauer published (Journal of Heuristics 2 (1996) 5; from memory): u120 to u1000 are that
many items, whole sizes uniform on 20 to 100, in bins of 150; t60 to t501 are items of a quarter to a half of a bin of
100.0 of which three fill one exactly. The sets are drawn here with seeds of their own. A size is a tenth of an ampere.
"""

import argparse
import random
import time
from collections.abc import Iterator
from dataclasses import replace

import pdm_alloc as pa
from pdm_alloc.domain.module import Channel, Module
from pdm_alloc.domain.showing import percent
from pdm_alloc.domain.vehicle import Vehicle
from tests.oracle.triplets import packing_vehicle, triplet_vehicle

UNIFORM = {"u120": 120, "u250": 250, "u500": 500, "u1000": 1000}
TRIPLETS = {"t60": 20, "t120": 40, "t249": 83, "t501": 167}
BIN = 150


def uniform(number: int, seed: int) -> list[int]:
    """Sizes of the uniform class."""
    rng = random.Random(seed)
    return [rng.randint(20, 100) for _ in range(number)]


def equal_module(channels: int, full_ma: int) -> Module:
    """Channels that take so much each, the trip setting a quarter above it, and no other limit."""
    ratings = {"continuous_ma": full_ma * 5 // 4, "peak_ma": 5 * full_ma, "peak_ms": 50.0}
    every = tuple(Channel(str(n), **ratings) for n in range(1, channels + 1))
    return Module("equal", channels * full_ma, channels * 5 * full_ma, every, trip_step_ma=250)


def instance(name: str, seed: int) -> tuple[Vehicle, int, int]:
    """Vehicle, what a channel takes in mA, and the least number of channels that the sum of the currents asks for."""
    if name in TRIPLETS:
        return triplet_vehicle(TRIPLETS[name], seed), 10_000, TRIPLETS[name]
    sizes = uniform(UNIFORM[name], seed)
    return packing_vehicle([100 * size for size in sizes]), 100 * BIN, -(-sum(sizes) // BIN)


def runs(names: list[str], seeds: int, spare: int, seconds: float) -> Iterator[tuple]:
    """Each set with each strategy: name, seed, strategy, seconds of the clock and of the processor, allocation."""
    for name in names:
        for seed in range(1, seeds + 1):
            vehicle, full_ma, least = instance(name, seed)
            for strategy in ("spare", "isolate"):
                module = equal_module(least + spare, full_ma)
                settings = replace(vehicle.settings, strategy=strategy, time_limit_s=seconds)
                wall, spent = time.perf_counter(), time.process_time()
                answer = pa.allocate(replace(vehicle, settings=settings), module)
                yield name, seed, strategy, time.perf_counter() - wall, time.process_time() - spent, least, answer


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=30.0, help="time limit")
    parser.add_argument("--sets", nargs="+", default=[*UNIFORM, *list(TRIPLETS)[:3]], help="which")
    parser.add_argument("--seeds", type=int, default=3, help="how many of each")
    parser.add_argument("--spare", type=int, default=4, help="channels more than the sum asks for")
    options = parser.parse_args()
    for name, seed, strategy, wall, spent, least, answer in runs(
        options.sets, options.seeds, options.spare, options.seconds
    ):
        used = sum(len(c.channels) for c in answer.circuits)
        gap = f", gap {percent(answer.gap)} of {answer.unproved}" if answer.gap else ""
        print(
            f"{name:5s} seed {seed} {strategy:7s} {wall:6.1f} s, processor {spent:6.1f} s: {used} channels, by the sum"
            f" {least}, {answer.outcome}{gap}, {dict(answer.objectives)}",
            flush=True,
        )


if __name__ == "__main__":
    main()
