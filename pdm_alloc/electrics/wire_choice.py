"""Choice of a circuit's wire: the smallest that carries the trip setting, keeps the drops and fits the terminal."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np

from pdm_alloc.electrics.ampacity import RULE_PACKS, segments_ampacity_a
from pdm_alloc.electrics.wire import WireSize, mass_g_per_m, resistance_ohm_per_m, wire_sizes

Amount = TypeVar("Amount", float, np.ndarray[Any, Any])

__all__ = ["RETURNS", "WireChoice", "WireRules", "choose_wire", "conductor_c", "drop_pct", "voltage_drop_v"]

# Lengths of wire the current passes for one length of run: out only, or out and back.
RETURNS = {"chassis": 1, "wire": 2}


def voltage_drop_v(
    current_a: Amount, length_m: Amount, ohm_per_m: Amount, return_path: str = "chassis", parallel: int = 1
) -> Amount:
    """Voltage lost along a run: current times resistance of the way out, and of the way back by wire.

    Parameters
    ----------
    current_a, length_m, ohm_per_m : float or ndarray, shapes that broadcast
        Current, A; length one way, m; resistance of one conductor at its temperature, ohm / m.
    return_path : str
        ``chassis`` (its own resistance is neglected) or ``wire`` (as long and as thick as the way out).
    parallel : int
        Conductors side by side.

    Returns
    -------
    float or ndarray, broadcast shape
        V.

    Raises
    ------
    KeyError
        The return path is another word.
    """
    drop: Amount = current_a * length_m * ohm_per_m * RETURNS[return_path] / parallel
    return drop


def drop_pct(drop_v: Amount, system_v: float) -> Amount:
    """Drop as tables state it.

    Parameters
    ----------
    drop_v : float or ndarray
        Drop, V.
    system_v : float
        Nominal voltage, V.

    Returns
    -------
    float or ndarray
        Per cent of `system_v`.
    """
    return 100.0 * drop_v / system_v


def conductor_c(ambient_c: float, insulation_c: float, current_a: float, ampacity: float) -> float:
    """Estimated temperature of a loaded conductor: T1 + (TR - T1) * sqrt(I2 / Imax).

    FAA AC 43.13-1B, section 11-66 (variables seen, expression from memory). The square root makes it
    an upper estimate at part load, where the true rise goes with the square of the current.

    Parameters
    ----------
    ambient_c, insulation_c : float
        Ambient T1; temperature class of the insulation TR, deg C.
    current_a, ampacity : float
        Current I2; allowable current Imax in that ambient and bundle, A.

    Returns
    -------
    float
        deg C; the higher of the two temperatures where the ampacity is 0.
    """
    if ampacity <= 0:
        return max(ambient_c, insulation_c)
    return ambient_c + (insulation_c - ambient_c) * math.sqrt(max(0.0, current_a) / ampacity)


Run = tuple[float, float | None, float]

_TERMINAL_ROUNDING = 1.01  # a terminal for "5.3 mm2" takes 10 AWG; no two sizes are this close


@dataclass(frozen=True, slots=True)
class WireRules:
    """What a wire is chosen by, the same for many circuits.

    Parameters
    ----------
    sizes : str
        ``metric`` or ``awg``.
    insulation_c, ambient_c : float
        Temperature class of the insulation, 60 to 200; hottest ambient on the way, deg C.
    bundle_wires : int
        Loaded wires in the bundle, where no segments are known.
    return_path : str
        ``chassis`` or ``wire``.
    system_v : float
        Voltage the drops are per cent of, V.
    cable : str
        Table of ampacity, a word of `pdm_alloc.electrics.ampacity.CABLES`.
    pack : str
        Rule pack, a word of `pdm_alloc.electrics.ampacity.RULE_PACKS`: thinner sizes are not chosen.
    segments : tuple of (float, int)
        Ambient, deg C, and loaded wires of each segment of the way, none hotter than `ambient_c`; empty: one segment,
        of `ambient_c` and `bundle_wires`.
    """

    sizes: str = "metric"
    insulation_c: float = 105.0
    ambient_c: float = 30.0
    bundle_wires: int = 1
    return_path: str = "chassis"
    system_v: float = 12.0
    cable: str = "thin_wall"
    pack: str = "general"
    segments: tuple[tuple[float, int], ...] = ()

    def ampacity_a(self, area_mm2: float) -> float:
        """Ampacity of one conductor along the whole way, A."""
        segments = self.segments or ((self.ambient_c, self.bundle_wires),)
        return segments_ampacity_a(area_mm2, self.insulation_c, segments, self.cable)


@dataclass(frozen=True, slots=True)
class WireChoice:
    """The wire of a circuit.

    Parameters
    ----------
    size : WireSize
        Size of each conductor.
    parallel : int
        Conductors side by side, one a pin.
    ampacity_a : float
        Of all conductors together, A.
    drops_pct : tuple of (float or None)
        Drop of each run in the order given, per cent of the system voltage; None: no length, not judged.
    mass_g : float or None
        Mass of all runs, with the way back where it is a wire, g; None where a length is missing.
    """

    size: WireSize
    parallel: int
    ampacity_a: float
    drops_pct: tuple[float | None, ...]
    mass_g: float | None


def choose_wire(
    trip_a: float,
    running_a: float,
    runs: Sequence[Run],
    rules: WireRules,
    max_wire_mm2: float | None = None,
    pins: int = 1,
    least_mm2: float = 0.0,
    step: int = 1,
    least: int = 1,
) -> WireChoice | str:
    """Smallest wire that serves a circuit; conductors side by side only where one does not suffice.

    Conductors side by side share the trip setting: they are taken to carry equal currents, so they
    must be alike and equally long.

    Parameters
    ----------
    trip_a : float
        Trip setting the wire must carry for ever, A.
    running_a : float
        Running current of the circuit, A; it warms the conductor for the drop.
    runs : sequence of (float, float or None, float)
        For each load: current in its run, A; length one way, m, or None; drop allowed, per cent of
        the system voltage. For a shared trunk give the load's ampere-metres over its length.
    rules : WireRules
        Sizes, insulation, ambient, bundle, return and voltage.
    max_wire_mm2 : float or None
        Largest conductor the terminal takes, mm2; None: not judged.
    pins : int
        Pins of the channel, the most conductors side by side.
    least_mm2 : float
        Area all conductors must have together for other reasons (a stalled load), mm2.
    step : int
        Conductors come in whole multiples of it (2 where two channels feed the circuit).
    least : int
        Conductors side by side there must be: one for each pin that the current takes.

    Returns
    -------
    WireChoice or str
        The wire; or a reason word: ``heat`` (the ambient is not below the insulation class),
        ``ampacity`` (no size carries the trip setting), ``drop`` (no size keeps a drop), ``terminal``
        (a size would, but its terminal does not take it).

    Raises
    ------
    ValueError
        The rules are outside the tables of wire.
    """
    ladder = _ladder(rules)
    if not ladder:
        return "heat"
    most = math.inf if max_wire_mm2 is None else max_wire_mm2 * _TERMINAL_ROUNDING
    allowed = _ohm_allowed(runs, rules)
    for parallel in range(max(step, least), pins + 1, step):
        for rung in ladder:
            if rung.area_mm2 > most:
                break
            if rung.carries(parallel, trip_a, least_mm2) and _keeps_drops(rung, parallel, running_a, allowed):
                return _choice(rung, parallel, running_a, runs, rules)
    carrying = [rung for rung in ladder if rung.carries(pins, trip_a, least_mm2)]
    return _reason(carrying, pins, running_a, allowed)


@dataclass(frozen=True, slots=True)
class _Rung:
    """A size under given rules: resistance is `ohm_cool` + `ohm_rise` * sqrt(current / ampacity), ohm / m."""

    size: WireSize
    area_mm2: float
    ampacity_a: float
    ohm_cool: float
    ohm_rise: float
    g_per_m: float

    def carries(self, parallel: int, trip_a: float, least_mm2: float) -> bool:
        return self.ampacity_a * parallel >= trip_a and self.area_mm2 * parallel >= least_mm2

    def ohm_per_m(self, parallel: int, running_a: float) -> float:
        return self.ohm_cool + self.ohm_rise * math.sqrt(running_a / (self.ampacity_a * parallel))


@lru_cache(maxsize=512)
def _ladder(rules: WireRules) -> tuple[_Rung, ...]:
    if rules.ambient_c >= rules.insulation_c:
        return ()
    pack = RULE_PACKS[rules.pack]
    return tuple(_rung(size, rules) for size in wire_sizes(rules.sizes) if pack.allows(size.area_mm2, size.awg))


def _rung(size: WireSize, rules: WireRules) -> _Rung:
    cool = resistance_ohm_per_m(size, rules.ambient_c)
    hot = resistance_ohm_per_m(size, rules.insulation_c)
    ampacity = rules.ampacity_a(size.area_mm2)
    return _Rung(size, size.area_mm2, ampacity, cool, hot - cool, mass_g_per_m(size.area_mm2, rules.insulation_c))


def _ohm_allowed(runs: Sequence[Run], rules: WireRules) -> float:
    """Largest resistance per metre that every run allows: one number decides all drops."""
    returns, volts = RETURNS[rules.return_path], rules.system_v / 100
    allowed = math.inf
    for current, length, most_pct in runs:
        amp_metres = current * length * returns if length else 0.0
        if amp_metres > 0:
            allowed = min(allowed, most_pct * volts / amp_metres)
    return allowed


def _keeps_drops(rung: _Rung, parallel: int, running_a: float, allowed: float) -> bool:
    return rung.ohm_cool <= allowed * parallel and rung.ohm_per_m(parallel, running_a) <= allowed * parallel


def _choice(rung: _Rung, parallel: int, running_a: float, runs: Sequence[Run], rules: WireRules) -> WireChoice:
    returns = RETURNS[rules.return_path]
    per_amp_metre = rung.ohm_per_m(parallel, running_a) * returns / parallel * 100 / rules.system_v
    drops = tuple(None if length is None else current * length * per_amp_metre for current, length, _ in runs)
    mass = None
    lengths = [length for _, length, _ in runs if length is not None]
    if len(lengths) == len(runs):
        mass = sum(lengths) * rung.g_per_m * returns * parallel
    return WireChoice(rung.size, parallel, rung.ampacity_a * parallel, drops, mass)


def _reason(carrying: Sequence[_Rung], pins: int, running_a: float, allowed: float) -> str:
    if not carrying:
        return "ampacity"
    return "terminal" if any(_keeps_drops(rung, pins, running_a, allowed) for rung in carrying) else "drop"
