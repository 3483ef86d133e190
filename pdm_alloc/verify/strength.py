"""Rules on currents: running, inrush and trip setting of a circuit, and sums over every combination of inputs."""

import math
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from functools import lru_cache, partial
from itertools import combinations

from pdm_alloc.domain.condition import And, Expression, Not, Variable, parse_condition
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Command, Load, State
from pdm_alloc.verify import arithmetic
from pdm_alloc.verify.arithmetic import Condition, Ma, largest_change, largest_sum, limit_ma, shared_ma
from pdm_alloc.verify.assignment import Finding, Recount, Surge, Wired

__all__ = [
    "bank_current",
    "contact_ma",
    "crossing_ms",
    "draw_below_trip",
    "inrush_energy",
    "inrush_peak",
    "least_trip_ma",
    "overload",
    "overloaded",
    "pins_each",
    "protection",
    "rated_ma",
    "reads_ma",
    "running_current",
    "step_ma",
    "terminal_mm2",
    "total_current",
    "total_peak",
    "trip_exists",
    "usable_ma",
    "widest_ma",
    "wired_pins",
]

# Exponentials and the crossing are floats, so the energy carries their rounding, some 1e-15 per term. 1e-9 is above
# any sum of such errors and below anything that could be measured on a vehicle.
RELATIVE = 1e-9

Wave = tuple[float, float]
"""Excess at switch-on, A, and time constant, ms."""

Amount = tuple[Ma, tuple[Ma, ...]]
"""Current of a command and the rise of each of its loads at the top of its tolerance, half milliamps."""

MOST_CHOICES = 500  # of loads that are off together; beyond, all are


def usable_ma(recount: Recount, wired: Wired) -> int:
    """What the circuit's channel can use; of a pair, both together, mA."""
    weakest = min(channel.continuous_ma for channel in wired.channels)
    one = limit_ma(weakest, recount.factor(wired.unit), recount.headroom_pct(wired))
    return shared_ma(one, wired.larger_pct)


def _peak_ma(wired: Wired) -> int:
    return shared_ma(min(channel.peak_ma for channel in wired.channels), wired.larger_pct)


def running_current(recount: Recount) -> Iterator[Finding]:
    """The circuit's largest draw, at any voltage of any state it may be on in, is within what the channel can use."""
    for wired in recount.wired:
        value, volts = recount.largest_draw(wired)
        limit = usable_ma(recount, wired)
        if value > limit:
            message = f"{value / 1000:g} A at {volts:g} V, usable are {limit / 1000:g} A"
            yield Finding(
                "continuous", **wired.where, value=value / 1000, limit=limit / 1000, unit="A", message=message
            )


def inrush_peak(recount: Recount) -> Iterator[Finding]:
    """The peak of the circuit's inrush is within the channel's peak at every voltage."""
    for wired in recount.wired:
        value, volts = max((_circuit_peak(recount, wired, volts), volts) for volts in recount.voltages(wired))
        limit = _peak_ma(wired)
        if value > limit:
            message = f"{value / 1000:g} A at switch-on at {volts:g} V, the channel trips at {limit / 1000:g} A"
            yield Finding("peak", **wired.where, value=value / 1000, limit=limit / 1000, unit="A", message=message)


def _circuit_peak(recount: Recount, wired: Wired, volts: float) -> int:
    surges = recount.surges(wired, volts)
    stated = recount.draw_at(wired, volts) + sum(over for over, _, _ in surges)
    return stated + recount.top([lift for _, lift, _ in surges])


def inrush_energy(recount: Recount) -> Iterator[Finding]:
    """The inrush above the usable limit is over before the channel trips, at every voltage.

    A circuit that runs above the usable limit never stops overloading it; the rule on running current says so.
    """
    for wired in recount.wired:
        usable, peak = usable_ma(recount, wired), _peak_ma(wired)
        borne_ms = min(channel.peak_ms for channel in wired.channels)
        limit = max(0, peak**2 - usable**2) / 1e6 * borne_ms
        values = [_energy_at(recount, wired, volts, usable, limit) for volts in recount.voltages(wired)]
        if max(values) > limit * (1 + RELATIVE):
            value = max(values)
            message = f"{value:.4g} A2 ms above the usable limit at switch-on, the channel trips at {limit:.4g}"
            yield Finding("energy", **wired.where, value=value, limit=limit, unit="A2 ms", message=message)


def _energy_at(recount: Recount, wired: Wired, volts: float, usable: int, limit: float) -> float:
    """Overload at a voltage, A2 ms, of the loads that may be off together the worst; 0 where running is too much."""
    running, surges = recount.draw_at(wired, volts), recount.surges(wired, volts)
    if running > usable:
        return 0.0
    off = [n for n, (_, lift, _) in enumerate(surges) if lift]
    at_once = recount.vehicle.settings.tolerance_loads
    worst = _energy_of(running, surges, off, usable)
    if worst <= limit or len(off) <= at_once or math.comb(len(off), at_once) > MOST_CHOICES:
        return worst
    return max(_energy_of(running, surges, together, usable) for together in combinations(off, at_once))


def _energy_of(running: int, surges: Iterable[Surge], off: Collection[int], usable: int) -> float:
    waves = [((over + lift * (n in off)) / 1000, tau) for n, (over, lift, tau) in enumerate(surges)]
    return overload(running / 1000, waves, usable / 1000)


def overload(running_a: float, waves: Iterable[Wave], usable_a: float) -> float:
    """Integral of i**2 - c**2 while i is above c, i a constant and decaying exponentials.

    Parameters
    ----------
    running_a : float
        Running current, A, no more than usable_a.
    waves : iterable of (float, float)
        Excess at switch-on in A and time constant in ms of each exponential.
    usable_a : float
        c, A.

    Returns
    -------
    float
        A**2 ms. With E = sum of e_j exp(-t / tau_j), i**2 - c**2 = (r**2 - c**2) + 2 r E + E**2, and each term has
        an antiderivative in elementary functions.
    """
    waves = [(excess, tau) for excess, tau in waves if excess > 0 and tau > 0]
    if running_a + sum(excess for excess, _ in waves) <= usable_a:
        return 0.0
    end = crossing_ms(running_a, waves, usable_a)
    linear = sum(2 * running_a * e * _area(tau, end) for e, tau in waves)
    square = sum(e * f * _area(tau * rho / (tau + rho), end) for e, tau in waves for f, rho in waves)
    constant = (running_a**2 - usable_a**2) * end if end < math.inf else 0.0
    return constant + linear + square


def _area(tau: float, end: float) -> float:
    return -tau * math.expm1(-end / tau)


def protection(recount: Recount, wired: Wired) -> tuple[float, float, float]:
    """Usable limit, A, peak, A, and how long it bears the peak, ms, of a circuit's channel."""
    borne_ms = min(channel.peak_ms for channel in wired.channels)
    return usable_ma(recount, wired) / 1000, _peak_ma(wired) / 1000, borne_ms


def crossing_ms(running_a: float, waves: Sequence[Wave], usable_a: float) -> float:
    """When running current and decaying exponentials are down to a level, ms; inf where they never are."""
    if running_a >= usable_a:
        return math.inf
    # Newton from t = 0 on a falling convex curve climbs to the root from the left and never passes it.
    at, step = 0.0, math.inf
    while step > 1e-13 * at:
        parts = [(e * math.exp(-at / tau), tau) for e, tau in waves]
        over = running_a + sum(part for part, _ in parts) - usable_a
        step = over / sum(part / tau for part, tau in parts)
        at += max(step, 0.0)
    return at


def bank_current(recount: Recount) -> Iterator[Finding]:
    """Every bank bears its effective currents under every combination, at both voltages of every state."""
    members: dict[tuple[str, str | None], dict[str, Ma]] = defaultdict(lambda: defaultdict(int))
    for wired in recount.wired:
        for bank, halves in _banks(wired).items():
            for load, count in wired.counts:
                members[wired.unit.label, bank][load.name] += halves * count
    for (label, bank), amounts in members.items():
        unit = recount.units[label]
        if bank is not None and bank in unit.module.bank_ma:
            yield from _over(recount, "bank", unit, bank, amounts, unit.module.bank_ma[bank])


def _banks(wired: Wired) -> dict[str | None, Ma]:
    """Halves of the circuit's current in each bank: over two banks a pair may put its larger share in either, a bridge
    puts all in both.
    """
    banks = tuple(dict.fromkeys(channel.bank for channel in wired.channels))
    halves: Ma = 2 * wired.larger_pct / 100 if len(banks) == 2 and wired.circuit.use == "pair" else 2
    return dict.fromkeys(banks, halves)


def total_current(recount: Recount) -> Iterator[Finding]:
    """Every unit bears its effective currents under every combination, at both voltages of every state."""
    for label, circuits in recount.on_unit.items():
        unit = recount.units[label]
        yield from _over(recount, "total", unit, "", _halves(circuits), unit.module.total_ma)


def _halves(circuits: Iterable[Wired]) -> dict[str, Ma]:
    halves: dict[str, Ma] = defaultdict(int)
    for wired in circuits:
        for load, count in wired.counts:
            halves[load.name] += 2 * count
    return halves


def _over(
    recount: Recount, rule: str, unit: Unit, subject: str, halves: Mapping[str, Ma], rated_ma: int
) -> Iterator[Finding]:
    limit = arithmetic.limit_ma(rated_ma, recount.factor(unit), recount.vehicle.settings.module_headroom_pct)
    for state, volts, allowed in _ends(recount):
        amounts = _amounts(recount, halves, allowed, partial(_effective, recount, unit, volts))
        if _everything(recount, amounts) <= 2 * limit:
            continue
        worst = largest_sum(
            conditions_of(recount.vehicle.commands), allowed, amounts, recount.vehicle.settings.tolerance_loads
        )
        if worst is not None and worst[0] > 2 * limit:
            amps = float(worst[0]) / 2000
            message = f"{amps:g} A at once in {state.name} at {volts:g} V, usable are {limit / 1000:g} A"
            message += f" ({_in_words(worst[1])})"
            yield Finding(rule, unit.label, "", state.name, subject, amps, limit / 1000, "A", message)


def total_peak(recount: Recount) -> Iterator[Finding]:
    """Every unit bears what stays on and the inrush of what is switched on, at every change of one input."""
    for label, circuits in recount.on_unit.items():
        unit, halves = recount.units[label], _halves(circuits)
        for state, volts, allowed in _ends(recount):
            yield from _peak_at(recount, unit, halves, state, volts, allowed)


def _peak_at(
    recount: Recount, unit: Unit, halves: Mapping[str, Ma], state: State, volts: float, allowed: frozenset[str]
) -> Iterator[Finding]:
    limit, at_once = unit.module.total_peak_ma, recount.vehicle.settings.tolerance_loads
    running = _amounts(recount, halves, allowed, partial(_running, recount, volts))
    inrush = _amounts(recount, halves, allowed, partial(_inrush, recount, volts))
    if _everything(recount, inrush) <= 2 * limit:
        return
    worst = largest_change(conditions_of(recount.vehicle.commands), allowed, running, inrush, 2 * limit, at_once)
    if worst is not None:
        amps = float(worst[0]) / 2000
        change = "with nothing switched" if worst[2] is None else f"when {_name(worst[2])} changes"
        message = f"{amps:g} A {change} in {state.name} at {volts:g} V, the module bears {limit / 1000:g} A"
        yield Finding("total_peak", unit.label, "", state.name, "", amps, limit / 1000, "A", message)


def _ends(recount: Recount) -> Iterator[tuple[State, float, frozenset[str]]]:
    """Every state at both ends of its span, with the commands that may be on."""
    for state in recount.vehicle.states:
        allowed = frozenset(name for name in recount.commands if state.duty_ppm.get(name, 0) > 0)
        top = state.supply_v if state.supply_top_v is None else state.supply_top_v
        for volts in sorted({state.supply_v, top}):
            yield state, volts, allowed


def _amounts(
    recount: Recount,
    halves: Mapping[str, Ma],
    allowed: Collection[str],
    current: Callable[[Load], tuple[int, int]],
) -> dict[str, Amount]:
    """Current and rises of each command, in half milliamps."""
    stated: dict[str, Ma] = defaultdict(int)
    rises: dict[str, list[Ma]] = defaultdict(list)
    for name, share in halves.items():
        load = recount.loads[name]
        if load.command in allowed:
            ma, rise = current(load)
            stated[load.command] += share * ma
            if rise:
                rises[load.command].append(share * rise)
    return {command: (ma, tuple(rises[command])) for command, ma in stated.items()}


def _everything(recount: Recount, amounts: Mapping[str, Amount]) -> Ma:
    rises = [rise for _, command_rises in amounts.values() for rise in command_rises]
    return sum(ma for ma, _ in amounts.values()) + recount.top(rises)


def _running(recount: Recount, volts: float, load: Load) -> tuple[int, int]:
    stated = recount.running(load, volts)
    return stated, arithmetic.deviation(stated, load.tolerance_pct)


def _inrush(recount: Recount, volts: float, load: Load) -> tuple[int, int]:
    excess = recount.excess(load, volts)
    running, rise = _running(recount, volts, load)
    return running + excess, rise + arithmetic.deviation(excess, load.tolerance_pct)


def _effective(recount: Recount, unit: Unit, volts: float, load: Load) -> tuple[int, int]:
    """What a load counts against heating: less than its current where it is known to come and go."""
    command, tau = recount.commands[load.command], unit.module.settle_s
    running, rise = _running(recount, volts, load)
    if not tau or command.on_s is None or command.cycle_s is None or command.on_s == command.cycle_s:
        return running, rise
    share = math.sqrt(math.expm1(-command.on_s / tau) / math.expm1(-command.cycle_s / tau))
    return math.ceil(running * share), math.ceil(rise * share)


@lru_cache(maxsize=64)
def conditions_of(commands: tuple[Command, ...]) -> dict[str, Condition | None]:
    """Condition of every command as plain data; None where it has none."""
    return {c.name: _tree(parse_condition(c.condition).expression) if c.condition else None for c in commands}


def _tree(node: Expression) -> Condition:
    if isinstance(node, Variable):
        return node.name
    if isinstance(node, Not):
        return ("not", _tree(node.operand))
    return ("and" if isinstance(node, And) else "or", *map(_tree, node.operands))


def _in_words(inputs: Collection[Condition]) -> str:
    """The inputs that are on, commands of their own by their name."""
    return ", ".join(sorted(map(_name, inputs))) + " on" if inputs else "nothing on"


def _name(item: Condition) -> str:
    return item if isinstance(item, str) else _name(item[1])


TERMINAL = 1.01  # a terminal for 5.3 mm2 takes 10 AWG


def trip_exists(recount: Recount) -> Iterator[Finding]:
    """A setting 1.25 times the largest draw over (1 - error of the module's reading) is within the derated rating.

    That quarter and the headroom are one margin: of a circuit without its headroom the rule on running current tells.
    """
    for wired in recount.wired:
        least, upper = least_trip_ma(recount, wired), rated_ma(recount, wired)
        if least > upper and widest_ma(recount, wired) <= usable_ma(recount, wired):
            one, rated = least / wired.shares / 1000, float(upper) / wired.shares / 1000
            message = f"the trip setting has to be {one:g} A, the rating is {rated:g} A"
            yield Finding("trip", **wired.where, value=one, limit=rated, unit="A", message=message)


def widest_ma(recount: Recount, wired: Wired) -> int:
    """Largest draw of the circuit at any voltage of any state it may be on in, mA."""
    return recount.largest_draw(wired)[0]


def rated_ma(recount: Recount, wired: Wired) -> Fraction:
    """Derated rating of the circuit's channel; of a pair twice that of the weaker channel, mA."""
    weakest = min(channel.continuous_ma for channel in wired.channels)
    return wired.shares * weakest * recount.factor(wired.unit)


def step_ma(wired: Wired) -> int:
    """Step of the setting; a pair has two settings, one a channel, which go up together, mA."""
    return wired.shares * wired.unit.module.trip_step_ma


def least_trip_ma(recount: Recount, wired: Wired) -> int:
    """Least setting that holds, of a pair of both channels together, mA."""
    reads = 1 - Fraction(wired.unit.module.trip_error_pct) / 100
    carried = widest_ma(recount, wired) * wired.larger_pct / 100
    step = wired.unit.module.trip_step_ma
    return wired.shares * step * max(1, math.ceil(carried * 5 / 4 / reads / step))


def reads_ma(wired: Wired, setting_ma: float) -> float:
    """Least current of the circuit at which a channel with a setting (of a pair, both) may trip, mA."""
    reads = 1 - Fraction(wired.unit.module.trip_error_pct) / 100
    return float(Fraction(setting_ma) / wired.shares * reads / (wired.larger_pct / 100))


def draw_below_trip(recount: Recount, wired: Wired, setting_ma: float) -> Iterator[Finding]:
    """In every state the circuit may be on in, at both voltages, it draws less than what its setting may trip at.

    Parameters
    ----------
    recount : Recount
        The vehicle.
    wired : Wired
        The circuit.
    setting_ma : float
        Its setting, of a pair of both channels together, mA.

    Yields
    ------
    Finding
        One at most: the state and voltage at which it is passed most.
    """
    ends = [(s.name, v) for s in recount.states_on(wired) for v in (s.supply_v, s.supply_top_v) if v is not None]
    ends = ends or [("", recount.vehicle.settings.reference_v)]
    value, (state, volts) = max((recount.draw_at(wired, end[1]), end) for end in ends)
    limit = reads_ma(wired, setting_ma)
    if value >= limit:
        message = f"it draws {value / 1000:g} A at {volts:g} V and may trip at {limit / 1000:g} A"
        amps, bears = value / 1000, limit / 1000
        yield Finding("draw below trip", **wired.where, state=state, value=amps, limit=bears, unit="A", message=message)


def pins_each(wired: Wired) -> int:
    """Pins of each channel of a circuit that can be wired."""
    return min(max(1, len(channel.pins)) for channel in wired.channels)


def contact_ma(wired: Wired) -> int | None:
    """What one pin bears, mA; None: some channel does not say."""
    known = [channel.contact_ma for channel in wired.channels if channel.contact_ma is not None]
    return min(known) if len(known) == len(wired.channels) else None


def wired_pins(wired: Wired, trip_ma: int) -> int:
    """Pins of each channel that need a wire: as many as bear its setting, all where nobody knows what one bears."""
    bears = contact_ma(wired)
    return pins_each(wired) if bears is None else max(1, math.ceil(Fraction(trip_ma) / (wired.shares * bears)))


def terminal_mm2(wired: Wired) -> float:
    """Largest conductor its terminals take, mm2; inf where none states it."""
    return min((c.max_wire_mm2 for c in wired.channels if c.max_wire_mm2 is not None), default=math.inf) * TERMINAL


def overloaded(wired: Wired, one_ma: float) -> Finding:
    """That the pins of a circuit do not bear its least setting."""
    bears = (contact_ma(wired) or 0) * pins_each(wired)
    message = f"its pins bear {bears / 1000:g} A together, the least setting of the channel is {one_ma / 1000:g} A"
    return Finding("contact", **wired.where, value=one_ma / 1000, limit=bears / 1000, unit="A", message=message)
