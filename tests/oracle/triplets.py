"""Bin-packing instances whose optimum is known because it was built: each channel is filled exactly by three items."""

import random
from fractions import Fraction

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Channel, Module
from pdm_alloc.domain.vehicle import PPM, Command, Load, State, Vehicle

FULL_MA = 10_000
RATED_MA = FULL_MA * 5 // 4  # the trip setting stands a quarter above the draw and within the rating


def triplet(rng):
    """Three currents, each above a quarter and below a half of a channel, that fill it to the milliamp."""
    while True:
        first = rng.randrange(FULL_MA // 4 + 1, FULL_MA // 2)
        second = rng.randrange(FULL_MA // 4 + 1, FULL_MA // 2)
        third = FULL_MA - first - second
        if FULL_MA // 4 < third < FULL_MA // 2:
            return first, second, third


def triplet_vehicle(number, seed):
    """Loads of one command that fill `number` channels exactly, no fewer: four of them can never share a channel, and
    their sum is that of so many full channels.
    """
    rng = random.Random(seed)
    currents = [ma for _ in range(number) for ma in triplet(rng)]
    rng.shuffle(currents)
    return packing_vehicle(currents)


def packing_vehicle(currents_ma):
    """One load a current, all of one command, with no inrush, no headroom and no change with voltage or cold."""
    loads = [
        Load(f"load {n:02}", "on", ma, kind="solenoid", inrush_ma=ma, volt_exponent=0.0)
        for n, ma in enumerate(currents_ma)
    ]
    settings = Settings(
        headroom_pct=Fraction(0),
        module_headroom_pct=Fraction(0),
        strategy="spare",
        lowest_ambient_c=20.0,
        time_limit_s=900,
    )
    return Vehicle("packing", tuple(loads), (Command("on"),), (State("all on", 12.0, {"on": PPM}),), settings)


def triplet_module(channels):
    """Equal channels, each for `FULL_MA`, and no other limit."""
    ratings = {"continuous_ma": RATED_MA, "peak_ma": 5 * FULL_MA, "peak_ms": 50.0}
    every = tuple(Channel(str(n), **ratings) for n in range(1, channels + 1))
    return Module("equal", channels * FULL_MA, channels * 5 * FULL_MA, every)
