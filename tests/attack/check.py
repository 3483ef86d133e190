"""An independent check of an allocation: every limit recounted from the tables over every combination of inputs."""

import math
from collections import Counter
from dataclasses import dataclass

from tests.attack.physics import Slot, at_once, circuit_faults, largest_ma, share_of, slots_of, worst_rise
from tests.attack.tables import milliamps, number, text_of

__all__ = ["Share", "check", "module_faults", "shares_in", "sums_of"]


@dataclass(frozen=True)
class Share:
    """Items of a load and the part of their current that counts against a limit."""

    load: str
    count: int
    part: object = 1


def check(situation, allocation):
    """Sorted words of everything an allocation breaks."""
    faults = set(module_faults(situation)) | set(_dealt_out(situation, allocation))
    for circuit in allocation.circuits:
        faults |= circuit_faults(situation, Slot(tuple(circuit.channels), circuit.use), circuit.items)
        faults |= set(_trip(situation, circuit))
    return sorted(faults | set(_sums(situation, allocation)))


def module_faults(situation):
    """Supply and inputs, whatever is wired where."""
    low, high = number(situation.module, "supply_min_v", 0), number(situation.module, "supply_max_v", 10**6)
    if not all(low <= volts <= high for state in situation.states for volts in state.volts):
        yield "supply"
    have = number(situation.module, "inputs")
    rows = {row["input"]: text_of(row, "kind", "switch") for row in situation.tables.table("inputs")}
    named = {name for name in situation.inputs() if isinstance(name, str)} | set(rows)
    if have is not None and sum(rows.get(name) != "bus" for name in named) > have:
        yield "inputs"


def _dealt_out(situation, allocation):
    slots = {(frozenset(slot.channels), slot.use) for slot in slots_of(situation)}
    if any((frozenset(c.channels), c.use) not in slots for c in allocation.circuits):
        yield "slot"
    used = Counter(name for circuit in allocation.circuits for name in circuit.channels)
    if max(used.values(), default=0) > 1:
        yield "channel twice"
    items = Counter()
    for circuit in allocation.circuits:
        items.update(dict(circuit.items))
    if items != Counter({load.name: load.count for load in situation.loads.values()}):
        yield "items"
    if len(situation.channels) - len(used) < int(situation.settings.get("spare_channels", 0)):
        yield "spare"
    yield from _locks(situation, allocation)


def _locks(situation, allocation):
    spots = {}
    for row in situation.tables.table("locked"):
        if row["module"] == situation.module["module"]:
            spots.setdefault(row["load"], set()).add(frozenset(row["channel"].split("+")))
    for load, wanted in spots.items():
        if {frozenset(c.channels) for c in allocation.circuits if dict(c.items).get(load)} != wanted:
            yield "lock"


def _trip(situation, circuit):
    """A trip setting that is given is above the largest draw, the error of the module's reading allowed for."""
    if circuit.trip_a is None:
        return
    if circuit.trip_a * 1000 * (1 - situation.trip_error) <= largest_ma(situation, circuit.items):
        yield "trip"


def shares_in(situation, circuits, bank=None):
    """What circuits, as (slot, items), put on a bank, or on the whole module."""
    shares = []
    for slot, items in circuits:
        banks = [text_of(situation.channels[name], "bank") for name in slot.channels]
        if bank is None or bank in banks:
            split = bank is not None and slot.use == "pair" and len(set(banks)) == 2
            part = share_of(situation, slot) if split else 1
            shares += [Share(name, n, part) for name, n in items if n]
    return shares


def sums_of(situation, shares, state, volts, names, inrush):
    """Sum and the deviations of `shares` with commands `names` on, those of `inrush` just switched on, mA; exact.

    `inrush` None: effective currents, as they count on heating; else currents as they are.
    """
    total, rises = 0, Counter()
    for share in shares:
        load = situation.stated[share.load]
        command = situation.commands[load.command]
        if load.command not in names:
            continue
        run, rise = load.running_ma(volts, situation.reference), load.rise_ma(volts, situation.reference)
        if inrush is None:
            factor = command.effective(situation.settle_s)
            run, rise = math.ceil(run * factor), math.ceil(rise * factor)
        elif load.command in inrush:
            excess = load.excess_ma(volts, situation.reference)
            run, rise = run + excess, rise + math.ceil(excess * load.tolerance / 100)
        total += run * share.count * share.part
        rises[share.load] += rise * share.count * share.part
    return total, rises


def _sums(situation, allocation):
    circuits = [(Slot(tuple(c.channels), c.use), c.items) for c in allocation.circuits]
    limits = [("bank", shares_in(situation, circuits, bank), ma) for bank, ma in situation.bank_ma.items()]
    limits.append(("total", shares_in(situation, circuits), milliamps(situation.module, "total_a")))
    for word, shares, rated in limits:
        limit = situation.usable_ma(rated)
        if any(_sum(situation, shares, *case, None) > limit for case in cases(situation)):
            yield word
    everything = shares_in(situation, circuits)
    if any(_sum(situation, everything, *case) > situation.total_peak_ma for case in changes(situation)):
        yield "module peak"


def _sum(situation, shares, state, volts, names, inrush):
    total, rises = sums_of(situation, shares, state, volts, names, inrush)
    return total + worst_rise(rises.values(), at_once(situation))


def cases(situation):
    """Every state, voltage and set of commands on together."""
    for state in situation.states:
        for names in set(situation.combinations(state).values()):
            for volts in state.volts:
                yield state, volts, names


def changes(situation):
    """Every state, voltage, set of commands on after a change of one input, and those it switched on."""
    inputs = situation.inputs()
    for state in situation.states:
        settings = situation.combinations(state)
        pairs = {(names, frozenset()) for names in settings.values()}
        for on, before in settings.items():
            for name in inputs:
                after = settings.get(on ^ {name})
                if after is not None:
                    pairs.add((after, after - before))
        for names, new in pairs:
            for volts in state.volts:
                yield state, volts, names, new
