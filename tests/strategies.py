"""Random small vehicles, modules and both together, for property tests.

`cases` gives a vehicle and units of which about half are enough; `tests/oracle/test_mix.py` measures that.
"""

import os
from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

from pdm_alloc.domain.kinds import KINDS, Settings
from pdm_alloc.domain.module import Channel, Module, Unit, natural_key, units_of
from pdm_alloc.domain.vehicle import PPM, Command, Load, Lock, Place, Route, State, Vehicle

__all__ = ["cases", "examples", "harnesses", "locked_cases", "modules", "settings_tables", "vehicles"]

MOST_ITEMS = 9
RUNNING_MA = (100, 300, 500, 800, 1000, 1500, 2000, 2400, 3000, 4000, 5000, 7000)
VOLTS = (9.0, 12.0, 13.5, 13.8, 14.4)
DUTIES = (0, 0, PPM // 4, PPM // 2, 333_333, PPM, PPM)
# Ratings in A, peak over rating, ms of peak: invented, spread so that current, peak and energy each bind at times.
RATINGS = ((4, 4, 30.0), (8, 3, 60.0), (8, 5, 40.0), (12, 4, 60.0), (12, 6, 120.0), (20, 4, 80.0), (30, 5, 100.0))


def examples(short, long):
    """How many examples a property is tried on: few in CI, a quarter on its second Python, many with --nightly.

    The options are those of `tests/conftest.py`.
    """
    if os.environ.get("SECOND_RUN"):
        return max(1, short // 4)
    return long if os.environ.get("FUZZ_TIMES", "1") != "1" else short


def rarely(draw, per_cent):
    """True in about so many per cent of draws, False when shrunk."""
    return draw(st.integers(0, 99)) >= 100 - per_cent


@st.composite
def loads(draw, name, commands, most_items=3, tolerant=False, places=()):
    """One load of a few items."""
    kind = KINDS[draw(st.sampled_from(sorted(KINDS)))]
    running = draw(st.sampled_from(RUNNING_MA))
    multiple = draw(st.sampled_from((1.0, 1.5, 3.0, kind.inrush_multiple)))
    excess = multiple > 1
    wire = _wire_of(draw, places) if places else {}
    return Load(
        name=name,
        command=draw(st.sampled_from(commands)),
        running_ma=running,
        count=draw(st.integers(1, max(1, min(3, most_items)))),
        kind=kind.name,
        inrush_ma=round(running * multiple),
        inrush_ms=draw(st.sampled_from((kind.inrush_ms, 5.0, 60.0, 150.0))) if excess else 0.0,
        needs=_needs(draw),
        share=not rarely(draw, 12),
        separate=draw(st.sampled_from(("left-right", "twins"))) if rarely(draw, 20) else None,
        tolerance_pct=Fraction(draw(st.sampled_from((0, 10, 25, 33)))) if tolerant else Fraction(0),
        volt_exponent=kind.volt_exponent,
        **wire,
    )


def _wire_of(draw, places):
    return {
        "place": draw(st.sampled_from(places)),
        "length_m": draw(st.sampled_from((None, None, 2.0, 7.5, 20.0))),
        "max_drop_pct": draw(st.sampled_from((3.0, 3.0, 10.0, 0.5))),
    }


def _needs(draw):
    words = [word for word, per_cent in (("pwm", 8), ("reversing", 8)) if rarely(draw, per_cent)]
    return frozenset(words)


@st.composite
def commands_of(draw, name):
    """A command, now and then for dimming, with a headroom of its own, or joined on one channel."""
    return Command(
        name,
        action="pwm" if rarely(draw, 6) else "steady",
        headroom_pct=Fraction(draw(st.sampled_from((0, 5, 40)))) if rarely(draw, 8) else None,
        together=rarely(draw, 4),
    )


@st.composite
def states_of(draw, commands, reference_v=12.0):
    """None to three operating states; without any, everything is on at the reference voltage."""
    names = [f"state {n}" for n in range(1, draw(st.integers(0, 3)) + 1)]
    if not names:
        return (State("all on", reference_v, dict.fromkeys(commands, PPM)),)
    duties = st.fixed_dictionaries({command: st.sampled_from(DUTIES) for command in commands})
    return tuple(State(name, draw(st.sampled_from(VOLTS)), draw(duties)) for name in names)


@st.composite
def harnesses(draw):
    """Places and the routes between them, with ways that are equally long; or, mostly, none of it."""
    if not rarely(draw, 30):
        return (), ()
    spots = ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0), (4.0, 1.0))
    places = tuple(
        Place(f"place {n}", x, y, ambient_c=draw(st.sampled_from((None, 25.0, 60.0)))) for n, (x, y) in enumerate(spots)
    )
    every = [(0, 1), (0, 2), (1, 3), (2, 3), (3, 4), (0, 3)]
    kept = draw(st.lists(st.sampled_from(every), min_size=2, max_size=6, unique=True))
    metres = st.sampled_from((None, None, 1.0, 2.5))
    return places, tuple(Route(f"place {a}", f"place {b}", draw(metres)) for a, b in kept)


@st.composite
def settings_tables(draw, wires=False):
    """Headroom, spares and tolerance settings, and those of wires where asked; the rest as it is by default."""
    wire = {
        "return_path": ("chassis", "wire"),
        "wire_sizes": ("metric", "awg"),
        "bundle_wires": (1, 4, 30),
        "insulation_c": (105.0, 70.0),
    }
    return Settings(
        headroom_pct=Fraction(draw(st.sampled_from((20, 0, 10, 25)))),
        module_headroom_pct=Fraction(draw(st.sampled_from((10, 0)))),
        spare_channels=draw(st.sampled_from((0, 0, 0, 1, 2))),
        tolerance_loads=draw(st.sampled_from((3, 1, 2))),
        **({name: draw(st.sampled_from(values)) for name, values in wire.items()} if wires else {}),
    )


@st.composite
def vehicles(draw, most_loads=8, most_items=MOST_ITEMS, wires=False):
    """A vehicle of one to eight loads on one to four commands.

    Parameters
    ----------
    most_loads, most_items : int
        Loads; items of all of them together.
    wires : bool
        Places, routes, lengths and drops too.
    """
    commands = [f"command {n}" for n in range(1, draw(st.integers(1, 4)) + 1)]
    places, routes = draw(harnesses()) if wires else ((), ())
    names = (None, *(place.name for place in places)) if wires else ()
    tolerant, wanted, chosen, left = rarely(draw, 25), draw(st.integers(1, most_loads)), [], most_items
    while len(chosen) < wanted and left > 0:
        chosen.append(draw(loads(f"load {len(chosen) + 1}", commands, left, tolerant, names)))
        left -= chosen[-1].count
    switched = tuple(draw(commands_of(name)) for name in commands)
    states = draw(states_of(commands))
    settings = draw(settings_tables(wires))
    given = states[0].name != "all on"
    return Vehicle("random", tuple(chosen), switched, states, settings, (), places, routes, states_given=given)


@st.composite
def modules(draw, name="random module", most_channels=10, wires=False):
    """A module of two to ten channels in one to three ratings, with banks, pairs, bridges, pwm and derating.

    Parameters
    ----------
    name : str
        Its name.
    most_channels : int
        Channels.
    wires : bool
        Terminals, pins and steps of the setting too.
    """
    ratings = draw(st.lists(st.sampled_from(RATINGS), min_size=1, max_size=3, unique=True))
    number = draw(st.integers(2, most_channels))
    banks = draw(st.sampled_from(((), ("A",), ("A", "B"), ("A", "B"))))
    channels = [_channel(draw, str(n), draw(st.sampled_from(ratings)), banks, wires) for n in range(1, number + 1)]
    channels = _label(draw, channels)
    sum_ma = sum(channel.continuous_ma for channel in channels)
    return Module(
        name,
        total_ma=sum_ma * draw(st.sampled_from((90, 70, 40))) // 100,
        total_peak_ma=sum_ma * draw(st.sampled_from((400, 250, 120))) // 100,
        channels=tuple(channels),
        bank_ma={bank: sum_ma * draw(st.sampled_from((60, 40, 25))) // 100 for bank in banks},
        derating=draw(st.sampled_from(((), (), ((20.0, Fraction(1)), (85.0, Fraction(1, 2)))))),
        supply_max_v=draw(st.sampled_from((None, 16.0, 32.0))),
        trip_step_ma=draw(st.sampled_from((100, 100, 250, 700))) if wires else 100,
    )


def _channel(draw, name, rating, banks, wires):
    amps, multiple, peak_ms = rating
    return Channel(
        name,
        continuous_ma=amps * 1000,
        peak_ma=amps * multiple * 1000,
        peak_ms=peak_ms,
        pins=(f"p{name}a", f"p{name}b") if wires and draw(st.booleans()) else (f"p{name}",),
        max_wire_mm2=draw(st.sampled_from((None, 6.0, 2.5, 1.0, 0.5))) if wires else None,
        bank=draw(st.sampled_from(banks)) if banks else None,
        features=frozenset({"pwm"} if rarely(draw, 35) else ()),
    )


def _label(draw, channels):
    """Give neighbours labels as a pair, a bridge or both."""
    labelled = list(channels)
    for first in range(0, len(channels) - 1, 2):
        words = [word for word, per_cent in (("pair", 35), ("bridge", 30)) if rarely(draw, per_cent)]
        for n in (first, first + 1):
            labelled[n] = replace(labelled[n], **{word: f"{word} {first}" for word in words})
    return labelled


@st.composite
def cases(draw, most_loads=8, most_items=MOST_ITEMS, most_channels=10, wires=False):
    """A vehicle and the units fitted to it: one module, now and then two; with wires or without."""
    vehicle = draw(vehicles(most_loads, most_items, wires))
    fitted = [draw(modules(most_channels=most_channels, wires=wires))]
    if rarely(draw, 15):
        fitted.append(draw(modules("second module", max(2, most_channels // 2), wires)))
    units = units_of(fitted)
    if vehicle.places:
        names = [place.name for place in vehicle.places]
        units = tuple(replace(unit, place=draw(st.sampled_from(names))) for unit in units)
    return vehicle, units


@st.composite
def locked_cases(draw, **sizes):
    """As `cases`, with one or two loads already wired to a channel."""
    vehicle, units = draw(cases(**sizes))
    spots = [(unit, channel.name) for unit in units for channel in unit.module.channels]
    spots += [(unit, name) for unit in units for name in _doubles(unit.module)]
    names = draw(st.lists(st.sampled_from([load.name for load in vehicle.loads]), min_size=1, max_size=2, unique=True))
    rows = [_lock(draw, name, spots) for name in names]
    return replace(vehicle, locked=tuple(rows)), units


def _doubles(module):
    """Names of the channels that can be used two together, ``1+2``."""
    for label_of in (lambda c: c.pair, lambda c: c.bridge):
        for label in sorted({label_of(c) for c in module.channels} - {None, ""}):
            yield "+".join(sorted((c.name for c in module.channels if label_of(c) == label), key=natural_key))


def _lock(draw, load, spots: list[tuple[Unit, str]]):
    unit, channel = draw(st.sampled_from(spots))
    return Lock(load, unit.label, channel)
