"""Large vehicles for tests and benchmarks; invented."""

import math

from pdm_alloc.domain.module import Channel, Module
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle

__all__ = ["fleet"]

MA = (400, 700, 900, 1300, 1700, 2100, 2600, 3300, 4100, 5200, 6300, 7500)


def fleet(loads: int) -> tuple[Vehicle, list[Module]]:
    """A vehicle of so many loads, two a command, and its modules: as many as 1,600 loads have at 56."""
    things = tuple(
        Load(
            f"load {n}",
            f"command {n // 2}",
            MA[n * 7 % 12] + 10 * (n % 13),
            kind="heater",
            inrush_ma=9000,
            inrush_ms=20.0,
            volt_exponent=1.0,
        )
        for n in range(loads)
    )
    names = dict.fromkeys(x.command for x in things)
    states = tuple(
        State(f"state {s}", 12.0 + s / 2, {name: PPM // (1 + (n + s) % 3) for n, name in enumerate(names)})
        for s in range(3)
    )
    own = tuple(Channel(str(n + 1), 12_500, 60_000, 50.0, bank="ab"[n % 2]) for n in range(32))
    module = Module("module", 170_000, 500_000, own, {"a": 100_000, "b": 100_000})
    vehicle = Vehicle("fleet", things, tuple(map(Command, names)), states, states_given=True)
    return vehicle, [module] * math.ceil(loads * 56 / 1600)
