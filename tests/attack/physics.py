"""What one circuit asks of one slot (a channel, a paralleled pair, a bridge), straight from DESIGN's limits."""

import heapq
import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tests.attack.tables import milliamps, number, text_of

__all__ = ["Slot", "circuit_faults", "inrush_integral", "slots_of", "worst_rise"]

POINTS = 4001


@dataclass(frozen=True)
class Slot:
    """A channel alone, two paralleled, or two as a bridge."""

    channels: tuple
    use: str


def slots_of(situation):
    """Every channel alone, every pair and every bridge."""
    slots = [Slot((name,), "single") for name in situation.channels]
    for use in ("pair", "bridge"):
        labels = {}
        for name, row in situation.channels.items():
            if text_of(row, use):
                labels.setdefault(text_of(row, use), []).append(name)
        slots += [Slot(tuple(names), use) for names in labels.values() if len(names) == 2]
    return slots


def share_of(situation, slot):
    """The largest part of the circuit's current that one channel of the slot may carry."""
    if slot.use != "pair":
        return Fraction(1)
    return max(number(situation.channels[name], "share_pct", 60) for name in slot.channels) / 100


def worst_rise(rises, at_once):
    """Sum of the largest deviations, as many as may come together."""
    return sum(heapq.nlargest(at_once, rises))


def at_once(situation):
    return int(situation.settings.get("tolerance_loads", 3))


def running_ma(situation, counts, volts):
    """Running current of items of loads with the tolerance that is guarded against, mA."""
    loads = [(situation.loads[name], count) for name, count in counts]
    stated = sum(load.running_ma(volts, situation.reference) * n for load, n in loads)
    rises = [load.rise_ma(volts, situation.reference) * n for load, n in loads]
    return stated + worst_rise(rises, at_once(situation))


def largest_ma(situation, counts):
    """Largest running current at both voltages of every state in which the command may be on, mA."""
    command = situation.loads[counts[0][0]].command
    return max(running_ma(situation, counts, volts) for volts in situation.volts_of(command))


def excess_terms(situation, counts, volts):
    """(excess A, time constant ms) of every load of a circuit, at the top of its tolerance for the loads guarded."""
    terms, rises = [], []
    for name, n in counts:
        load = situation.loads[name]
        excess = load.excess_ma(volts, situation.reference)
        terms.append([excess * n, load.tau_ms])
        rises.append((math.ceil(excess * load.tolerance / 100) * n, len(rises)))
    for rise, at in heapq.nlargest(at_once(situation), rises):
        terms[at][0] += rise
    return [(ma / 1000, tau) for ma, tau in terms]


def inrush_integral(running, terms, limit):
    """Integral of i^2 - limit^2 while i is above the limit, A^2 ms; by bisection and Simpson's rule."""
    terms = [(excess, tau) for excess, tau in terms if excess > 0 and tau > 0]
    if running > limit:
        return math.inf
    if not terms or running + sum(excess for excess, _ in terms) <= limit:
        return 0.0
    if running == limit:
        end = 40 * max(tau for _, tau in terms)
    else:
        low, end = 0.0, 60 * max(tau for _, tau in terms)
        for _ in range(80):
            middle = (low + end) / 2
            above = running + sum(e * math.exp(-middle / tau) for e, tau in terms) > limit
            low, end = (middle, end) if above else (low, middle)
    t = np.linspace(0, end, POINTS)
    current = running + sum(e * np.exp(-t / tau) for e, tau in terms)
    y, h = current**2 - limit**2, end / (POINTS - 1)
    return float(h / 3 * (y[0] + y[-1] + 4 * y[1:-1:2].sum() + 2 * y[2:-1:2].sum()))


def circuit_faults(situation, slot, counts):
    """Words of the limits that items of loads on a slot break; empty: the slot bears them."""
    counts = [(name, n) for name, n in counts if n]
    faults = set(_rules(situation, slot, counts))
    return faults or set(_strength(situation, slot, counts))


def _rules(situation, slot, counts):
    loads = [situation.loads[name] for name, _ in counts]
    if len({load.command for load in loads}) > 1:
        yield "command"
    if sum(n for _, n in counts) > 1 and not all(load.share for load in loads):
        yield "share"
    labels = [load.separate for load in loads if load.separate]
    if len(labels) != len(set(labels)):
        yield "separate"
    features = [set(text_of(situation.channels[name], "features").split()) for name in slot.channels]
    dims = any("pwm" in load.needs or situation.commands[load.command].dims for load in loads)
    if dims and not all("pwm" in each for each in features):
        yield "pwm"
    if any(("reversing" in load.needs) != (slot.use == "bridge") for load in loads):
        yield "reversing"


def _strength(situation, slot, counts):
    rows = [situation.channels[name] for name in slot.channels]
    share = share_of(situation, slot)
    rated = min(milliamps(row, "continuous_a") for row in rows) * situation.factor
    headroom = Fraction(str(situation.settings.get("headroom_pct", 20)))
    usable = math.floor(rated * (1 - headroom / 100))
    largest = largest_ma(situation, counts)
    if largest * share > usable:
        yield "running"
        return
    step = int(number(situation.module, "trip_step_a", Fraction(1, 10)) * 1000)
    least = Fraction(5, 4) * largest * share / (1 - situation.trip_error)
    if math.ceil(least / step) * step > rated:
        yield "trip"
    peak = min(milliamps(row, "peak_a") for row in rows)
    length = min(float(number(row, "peak_ms")) for row in rows)
    for volts in situation.volts_of(situation.loads[counts[0][0]].command):
        running = float(running_ma(situation, counts, volts) * share) / 1000
        terms = [(float(e * float(share)), tau) for e, tau in excess_terms(situation, counts, volts)]
        if round(running + sum(e for e, _ in terms), 9) > peak / 1000:
            yield "peak"
        elif inrush_integral(running, terms, usable / 1000) > ((peak / 1000) ** 2 - (usable / 1000) ** 2) * length:
            yield "energy"
