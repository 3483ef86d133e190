"""Ways to break one limit of an allocation that keeps them all.

Each takes an allocation and yields, as often as it applies: the rule broken, and vehicle, units and circuits.
"""

import math
from dataclasses import replace
from fractions import Fraction

from pdm_alloc.domain.vehicle import PPM, Lock
from pdm_alloc.verify.arithmetic import limit_ma
from pdm_alloc.verify.assignment import Recount


def _recount(allocation):
    return Recount(allocation.vehicle, allocation.units, allocation.circuits)


def _module(allocation, label, **changes):
    units = []
    for unit in allocation.units:
        module = replace(unit.module, **changes) if unit.label == label else unit.module
        units.append(replace(unit, module=module))
    return tuple(units)


def _load(allocation, name, **changes):
    loads = (replace(load, **changes) if load.name == name else load for load in allocation.vehicle.loads)
    return replace(allocation.vehicle, loads=tuple(loads))


def _settings(allocation, **changes):
    return replace(allocation.vehicle, settings=replace(allocation.vehicle.settings, **changes))


def _swap(allocation, old, *new):
    return tuple(c for c in allocation.circuits if c is not old) + new


def _channel(allocation, wired, **changes):
    names = wired.circuit.channels
    channels = tuple(replace(c, **changes) if c.name in names else c for c in wired.unit.module.channels)
    return _module(allocation, wired.unit.label, channels=channels)


def raised_current(allocation):
    """A load of one circuit draws more than any channel here can."""
    most = 2 * max(c.continuous_ma for unit in allocation.units for c in unit.module.channels) + 1
    for circuit in allocation.circuits:
        vehicle = _load(allocation, circuit.loads[0], running_ma=most, inrush_ma=most, volt_exponent=0.0)
        yield "continuous", vehicle, allocation.units, allocation.circuits


def weaker_channel(allocation):
    """The channel can use a milliamp less than its circuit draws."""
    recount = _recount(allocation)
    for wired in recount.wired:
        keep = 1 - recount.headroom_pct(wired) / 100
        one = math.ceil(recount.largest_draw(wired)[0] * wired.larger_pct / 100) - 1
        rating = math.floor(one / (recount.factor(wired.unit) * keep))
        yield "continuous", allocation.vehicle, _channel(allocation, wired, continuous_ma=rating), allocation.circuits


def _surge(recount, wired, volts):
    surges = recount.surges(wired, volts)
    return sum(over for over, _, _ in surges) + recount.top([lift for _, lift, _ in surges])


def lower_peak(allocation):
    """The channel trips a milliamp below the circuit's peak."""
    recount = _recount(allocation)
    for wired in recount.wired:
        peak = max(recount.draw_at(wired, v) + _surge(recount, wired, v) for v in recount.voltages(wired))
        least = math.ceil(peak * wired.larger_pct / 100) - 1
        yield "peak", allocation.vehicle, _channel(allocation, wired, peak_ma=least), allocation.circuits


def shorter_peak(allocation):
    """The channel bears no overload at all, and the circuit's inrush is one."""
    recount = _recount(allocation)
    for wired in recount.wired:
        lasting = replace(wired, counts=tuple((x, n) for x, n in wired.counts if x.inrush_ms))
        least = min(c.continuous_ma for c in wired.channels)
        usable = limit_ma(least, recount.factor(wired.unit), recount.headroom_pct(wired)) * 100 / wired.larger_pct
        peaks = (recount.draw_at(wired, v) + _surge(recount, lasting, v) for v in recount.voltages(wired))
        if max(peaks) > usable:
            yield "energy", allocation.vehicle, _channel(allocation, wired, peak_ms=0.0), allocation.circuits


def lower_bank(allocation):
    """The bank's limit is nothing, and something on it is on."""
    recount = _recount(allocation)
    for wired in recount.wired:
        on = any(state.is_on(load.command) for state in allocation.vehicle.states for load, _ in wired.counts)
        for bank in {c.bank for c in wired.channels} & set(wired.unit.module.bank_ma):
            if on:
                limits = dict(wired.unit.module.bank_ma) | {bank: 0}
                units = _module(allocation, wired.unit.label, bank_ma=limits)
                yield "bank", allocation.vehicle, units, allocation.circuits


def _most_on(recount, unit):
    """Mean and peak without tolerance, mA, in the state where each is largest: summed here once more."""
    wired, means, peaks = recount.on_unit[unit.label], [], []
    for state in recount.vehicle.states:
        parts = [(load, n, state.duty_ppm[load.command]) for w in wired for load, n in w.counts]
        means.append(sum(recount.running(x, state.supply_v) * n * Fraction(d, PPM) for x, n, d in parts))
        on = sum(recount.running(x, state.supply_v) * n for x, n, d in parts if d)
        excess = (
            sum(recount.excess(x, state.supply_v) * n * state.is_on(x.command) for x, n in w.counts) for w in wired
        )
        peaks.append(on + max(excess, default=0))
    return max(means), max(peaks)


def lower_total(allocation):
    """The whole module can use a milliamp less than the mean of the worst state."""
    recount = _recount(allocation)
    keep = 1 - allocation.vehicle.settings.module_headroom_pct / 100
    for unit in allocation.units:
        mean, _ = _most_on(recount, unit)
        if mean:
            total = math.ceil(mean / (recount.factor(unit) * keep)) - 1
            yield "total", allocation.vehicle, _module(allocation, unit.label, total_ma=total), allocation.circuits


def lower_total_peak(allocation):
    """The whole module bears a milliamp less than its largest switch-on."""
    recount = _recount(allocation)
    for unit in allocation.units:
        _, peak = _most_on(recount, unit)
        if peak:
            units = _module(allocation, unit.label, total_peak_ma=peak - 1)
            yield "total_peak", allocation.vehicle, units, allocation.circuits


def foreign_command(allocation):
    """An item moves to a channel with another command."""
    for old in allocation.circuits:
        for other in allocation.circuits:
            if other.command != old.command:
                joined = replace(other, items=tuple(sorted((*other.items, old.items[0]))))
                rest = replace(old, items=old.items[1:])
                circuits = tuple(joined if c is other else rest if c is old else c for c in allocation.circuits)
                yield "command", allocation.vehicle, allocation.units, tuple(c for c in circuits if c.items)


def item_lost(allocation):
    """An item is on no channel."""
    for old in allocation.circuits:
        kept = (replace(old, items=old.items[1:]),) if len(old.items) > 1 else ()
        yield "item", allocation.vehicle, allocation.units, _swap(allocation, old, *kept)


def item_twice(allocation):
    """An item is on two channels, or twice on one."""
    for old in allocation.circuits:
        for other in allocation.circuits:
            more = replace(other, items=tuple(sorted((*other.items, old.items[0]))))
            yield "item", allocation.vehicle, allocation.units, _swap(allocation, other, more)


def channel_twice(allocation):
    """Two circuits on one channel."""
    first, *others = allocation.circuits
    for other in others:
        moved = replace(other, unit=first.unit, channels=first.channels, use=first.use)
        yield "used twice", allocation.vehicle, allocation.units, _swap(allocation, other, moved)


def no_such_channel(allocation):
    """A circuit is on a channel that does not exist."""
    for old in allocation.circuits:
        moved = replace(old, channels=("none",), use="single")
        yield "channel", allocation.vehicle, allocation.units, _swap(allocation, old, moved)


def locked_elsewhere(allocation):
    """A load is locked to a channel it is not on."""
    spots = [(unit.label, channel.name) for unit in allocation.units for channel in unit.module.channels]
    for circuit in allocation.circuits:
        for label, channel in spots:
            if (label, channel) not in {(circuit.unit, name) for name in circuit.channels}:
                row = Lock(circuit.items[0][0], label, channel)
                vehicle = replace(allocation.vehicle, locked=(*allocation.vehicle.locked, row))
                if not any(
                    c.unit == label and channel in c.channels and row.load in c.loads for c in allocation.circuits
                ):
                    yield "locked", vehicle, allocation.units, allocation.circuits


def more_spares(allocation):
    """One more spare is wanted than stays free."""
    used = sum(len(c.channels) for c in allocation.circuits)
    free = sum(len(unit.module.channels) for unit in allocation.units) - used
    yield "spare", _settings(allocation, spare_channels=free + 1), allocation.units, allocation.circuits


def alone(allocation):
    """A load that shares its channel is not to."""
    for circuit in allocation.circuits:
        if len(circuit.items) > 1:
            yield "share", _load(allocation, circuit.loads[0], share=False), allocation.units, allocation.circuits


def kept_apart(allocation):
    """Two loads on one channel get one label."""
    for circuit in allocation.circuits:
        if len(circuit.loads) > 1:
            names = circuit.loads[:2]
            loads = tuple(replace(x, separate="new") if x.name in names else x for x in allocation.vehicle.loads)
            yield "separate", replace(allocation.vehicle, loads=loads), allocation.units, allocation.circuits


def dims(allocation):
    """A load needs pwm where the channel has none."""
    for wired in _recount(allocation).wired:
        if not all("pwm" in c.features for c in wired.channels):
            vehicle = _load(allocation, wired.counts[0][0].name, needs=wired.counts[0][0].needs | {"pwm"})
            yield "pwm", vehicle, allocation.units, allocation.circuits


def reverses(allocation):
    """A load that is on no bridge has to reverse, one that is has not."""
    for wired in _recount(allocation).wired:
        load = wired.counts[0][0]
        yield (
            "reversing",
            _load(allocation, load.name, needs=load.needs ^ {"reversing"}),
            allocation.units,
            allocation.circuits,
        )


def label_gone(allocation):
    """The two channels of a pair or bridge have no common label any more."""
    for wired in _recount(allocation).wired:
        if len(wired.channels) == 2:
            units = _channel(allocation, wired, **{wired.circuit.use: None})
            yield "together", allocation.vehicle, units, allocation.circuits


def too_much_voltage(allocation):
    """A unit does not stand the voltage of some state."""
    highest = max(state.supply_v for state in allocation.vehicle.states)
    for unit in allocation.units:
        units = _module(allocation, unit.label, supply_max_v=highest - 0.1)
        yield "supply", allocation.vehicle, units, allocation.circuits


def coarse_setting(allocation):
    """The trip setting has no step up to the rating of any channel."""
    most = 1 + max(c.continuous_ma for unit in allocation.units for c in unit.module.channels)
    for unit in allocation.units:
        if any(circuit.unit == unit.label for circuit in allocation.circuits):
            units = _module(allocation, unit.label, trip_step_ma=most)
            yield "trip", allocation.vehicle, units, allocation.circuits


def small_terminal(allocation):
    """The terminal takes no wire at all."""
    for wired in _recount(allocation).wired:
        yield "wire", allocation.vehicle, _channel(allocation, wired, max_wire_mm2=0.1), allocation.circuits


def joined(allocation):
    """A command that has several circuits is to be on one channel."""
    commands = [circuit.command for circuit in allocation.circuits]
    for name in dict.fromkeys(commands):
        if commands.count(name) > 1:
            change = (replace(c, together=c.together or c.name == name) for c in allocation.vehicle.commands)
            vehicle = replace(allocation.vehicle, commands=tuple(change))
            yield "joined", vehicle, allocation.units, allocation.circuits


BREAKERS = [
    raised_current,
    weaker_channel,
    lower_peak,
    shorter_peak,
    lower_bank,
    lower_total,
    lower_total_peak,
    foreign_command,
    item_lost,
    item_twice,
    channel_twice,
    no_such_channel,
    locked_elsewhere,
    more_spares,
    alone,
    kept_apart,
    dims,
    reverses,
    label_gone,
    too_much_voltage,
    coarse_setting,
    small_terminal,
    joined,
]
