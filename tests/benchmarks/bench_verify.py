"""The recount runs after every solve, so it must cost little beside it.

Run it with ``python -m tests.benchmarks.bench_verify``.
"""

from time import perf_counter

from pdm_alloc.domain.module import Channel, Module, Unit
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.check import violations


def fleet(loads, modules):
    """So many loads of 1600 commands at most, one a channel, on modules of 32 channels in two banks."""
    channels = tuple(Channel(str(n), 10000, 60000, 80.0, bank="AB"[n > 16]) for n in range(1, 33))
    module = Module("m", 200_000, 900_000, channels, {"A": 120_000, "B": 120_000}, ((0.0, 1), (85.0, 1)))
    units = tuple(Unit(f"m {n}", module) for n in range(modules))
    names = [f"load {n}" for n in range(loads)]
    things = tuple(Load(name, name, 1000 + 7 * n, 1, "filament", 5000, 60.0) for n, name in enumerate(names))
    states = tuple(State(f"s{v}", v, dict.fromkeys(names, PPM)) for v in (9.0, 12.0, 12.6, 13.2, 13.8, 14.1, 14.4))
    vehicle = Vehicle("fleet", things, tuple(Command(name) for name in names), states)
    spots = [(unit.label, channel.name) for unit in units for channel in channels]
    circuits = [PlacedCircuit(u, (c,), "single", n, ((n, 1),)) for n, (u, c) in zip(names, spots, strict=False)]
    return vehicle, units, circuits


def main() -> None:
    """Best of three, seven states: a car, and 1,600 loads on 56 modules."""
    for loads, modules in ((45, 2), (1600, 56)):
        case = fleet(loads, modules)
        times = []
        for _ in range(3):
            start = perf_counter()
            violations(*case)
            times.append(perf_counter() - start)
        print(f"recount of {loads} loads on {modules} modules: {1000 * min(times):.1f} ms")


if __name__ == "__main__":
    main()
