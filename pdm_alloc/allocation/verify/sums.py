"""Rules on sums over a bank and over the whole module, in every operating state."""

from collections import defaultdict

from pdm_alloc.allocation.verify.arithmetic import limit_ma
from pdm_alloc.allocation.verify.finding import Finding
from pdm_alloc.vehicle import PPM

__all__ = ["bank_current", "total_current", "total_peak"]


def bank_current(recount):
    """In every state the mean current of every bank is within its limit."""
    members: dict = defaultdict(lambda: defaultdict(int))
    for wired in recount.wired:
        for bank, halves in _banks(wired).items():
            for load, count in wired.counts:
                members[wired.unit.label, bank][load.name] += halves * count
    for (label, bank), halves in members.items():
        unit = recount.units[label]
        if bank in unit.module.bank_ma:
            yield from _over(recount, "bank", unit, bank, halves, unit.module.bank_ma[bank])


def _banks(wired):
    """Halves of the circuit's current in each bank: a pair puts one in each channel's, a bridge all in both."""
    if wired.circuit.use == "pair":
        names = [channel.bank for channel in wired.channels]
        return {bank: names.count(bank) for bank in names}
    return dict.fromkeys((channel.bank for channel in wired.channels), 2)


def total_current(recount):
    """In every state the mean current of every unit is within its limit."""
    for label, circuits in recount.on_unit.items():
        halves: dict[str, int] = defaultdict(int)
        for wired in circuits:
            for load, count in wired.counts:
                halves[load.name] += 2 * count
        unit = recount.units[label]
        yield from _over(recount, "total", unit, "", halves, unit.module.total_ma)


def _over(recount, rule, unit, subject, halves, rated_ma):
    limit = limit_ma(rated_ma, recount.factor(unit), recount.vehicle.settings.module_headroom_pct)
    for state in recount.vehicle.states:
        value = _mean(recount, state, halves)
        if value > limit * PPM * 2:
            amps = value / PPM / 2000
            message = f"{amps:g} A in {state.name}, usable are {limit / 1000:g} A"
            yield Finding(rule, unit.label, "", state.name, subject, amps, limit / 1000, "A", message)


def _mean(recount, state, halves):
    """Mean current in a state, in half milliamps times a million, with the deviations that are guarded against."""
    total, over = 0, []
    for name, share in halves.items():
        load = recount.loads[name]
        duty = state.duty_ppm.get(load.command, 0)
        if not duty:
            continue
        total += duty * share * recount.running(load, state.supply_v)
        if load.tolerance_pct:
            over.append(duty * share * recount.rise(load, state.supply_v))
    return total + recount.top(over)


def total_peak(recount):
    """In every state all that is on, and one circuit switching on, is within the unit's peak."""
    for label, circuits in recount.on_unit.items():
        for state in recount.vehicle.states:
            yield from _peak_in(recount, recount.units[label], state, circuits)


def _peak_in(recount, unit, state, circuits):
    value = sum(_on(recount.running, state, wired) for wired in circuits)
    value += max((_on(recount.excess, state, wired) for wired in circuits), default=0)
    limit = unit.module.total_peak_ma
    if value > limit:
        message = f"{value / 1000:g} A at a switch-on in {state.name}, the module bears {limit / 1000:g} A"
        yield Finding("total_peak", unit.label, "", state.name, "", value / 1000, limit / 1000, "A", message)


def _on(current, state, wired):
    return sum(current(load, state.supply_v) * n for load, n in wired.counts if state.is_on(load.command))
