"""An allocation played in time: random combinations, changes of one input, voltages, duties and tolerances.

Currents at 1 ms steps over the whole inrush of every circuit, at the top of its tolerance, and after changes of one
input; heating of banks and module over several time constants with
commands that come and go. Says what trips or passes its limit; an allocation called enough must give no word at all.
"""

import random

import numpy as np

from tests.attack.check import shares_in
from tests.attack.physics import Slot, at_once, share_of
from tests.attack.tables import milliamps, number

__all__ = ["PULSED", "simulate"]

PULSED = {"coil", "solenoid"}  # what is switched on and off in pulses needs a time in which its channel lets them pass

STEP_MS = 1.0
LENGTH_MS = 1500  # over seven time constants of the slowest inrush there is
SETTLED_MS, SWING_MS = 800, 150  # when the voltage begins to swing, and how long it takes
ROUNDING = 1.0005  # whole milliamps are rounded up for loads, down for limits: never the other way
STEP_ERROR = 1.02  # of the heating, whose steps are not infinitely short
MOST_STEPS = 6000
FEW = 12  # settings of which the one that draws most is played, every other time


class _Play:
    """One allocation and a source of chance."""

    def __init__(self, situation, allocation, seed):
        self.s, self.allocation, self.random = situation, allocation, random.Random(seed)
        self.slots = [Slot(tuple(c.channels), c.use) for c in allocation.circuits]
        # the first instant, then the middle of every step: of a curve that falls ever slower that is never too much
        self.time = np.concatenate(([0.0], np.arange(STEP_MS / 2, LENGTH_MS, STEP_MS)))
        self.width = np.concatenate(([0.0], np.full(self.time.size - 1, STEP_MS)))

    def chosen(self):
        """Settings of a state with a combination, one of them, and both ends of its span."""
        states = [(state, self.s.combinations(state)) for state in self.s.states]
        state, settings = self.random.choice([pair for pair in states if pair[1]] or [(None, None)])
        if state is None:
            return None
        ends = min(state.volts), max(state.volts)
        tried = self.random.choices(list(settings), k=self.random.choice((1, FEW)))
        return settings, max(tried, key=lambda on: self.amps(settings[on])), ends

    def amps(self, names):
        """What commands draw together, A, about: for a choice of what is hard."""
        return sum(float(x.running) * x.count for x in self.s.loads.values() if x.command in names)

    def tops(self):
        """How far every load is off, as a share: as many as are guarded against at the top, the rest as stated."""
        loads = [name for name, load in self.s.loads.items() if load.tolerance]
        number = min(len(loads), at_once(self.s))
        largest = sorted(loads, key=lambda name: -self.s.loads[name].running * self.s.loads[name].count)
        off = self.random.choice((self.random.sample(loads, number), largest[:number]))
        return {name: 1 + float(self.s.loads[name].tolerance) / 100 for name in off}

    def running_a(self, load, volts, tops):
        amps = float(load.running) * (volts / float(self.s.reference)) ** load.exponent
        return amps * tops.get(load.name, 1.0)

    def wave(self, circuit, volts, tops, is_new, loads):
        """Current of a circuit over time, A: its inrush decays to running if it was just switched on.

        A command that flashes is switched on again and again, each time from cold.
        """
        command = self.s.commands[loads[circuit.items[0][0]].command]
        period, lit = self.flashes(command) if is_new and command.flashes else (None, None)
        since = self.time if period is None else self.time % period
        current = np.zeros_like(self.time)
        for name, n in circuit.items:
            load = loads[name]
            current += n * self.running_a(load, volts, tops)
            if is_new and load.inrush > load.running:
                excess = float(load.inrush - load.running) * max(1.0, float(volts[0] / self.s.reference))
                decay = np.exp(-since / load.tau_ms) if load.tau_ms else (since == 0)
                current += n * excess * tops.get(name, 1.0) * decay
        return current if period is None else current * (since < lit)

    def flashes(self, command):
        """Period and time lit, ms; of what stands still longer than is played, one flash."""
        on, cycle = command.on_s or 0.4, command.cycle_s or 0.8
        return round(1000 * cycle), round(1000 * on)

    def supply(self, low, high):
        """Volts over time: steady at either end or between, or a swing between the ends once inrush is over."""
        steady = self.random.choice((low, high, low + (high - low) * self.random.randint(1, 9) / 10))
        if self.random.random() < 0.7:
            return np.full_like(self.time, float(steady))
        late = np.clip((self.time - SETTLED_MS) / SWING_MS, 0, 1)
        return float(steady) + (float(self.random.choice((low, high))) - float(steady)) * late

    def change(self):
        """Play one change of one input; words of what it breaks."""
        picked = self.chosen()
        if picked is None:
            return
        settings, on, ends = picked
        volts = self.supply(*ends)
        flips = [name for name in self.s.inputs() if on ^ {name} in settings]
        tried = self.random.choices(flips, k=self.random.choice((1, FEW))) if flips else []
        after = max((settings[on ^ {name}] for name in tried), key=self.amps, default=settings[on])
        new, tops = after - settings[on], self.tops()
        total = np.zeros_like(self.time)
        for slot, circuit in zip(self.slots, self.allocation.circuits, strict=True):
            command = self.s.loads[circuit.items[0][0]].command
            if command in after:
                current = self.wave(circuit, volts, tops, command in new, self.s.loads)
                total += self.wave(circuit, volts, tops, command in new, self.s.stated)
                steady = self.wave(circuit, volts, tops, False, self.s.loads).max()
                yield from self.channel(slot, circuit, current, steady)
        if total.max() * 1000 > self.s.total_peak_ma * ROUNDING:
            yield "module peak"

    def every_switch_on(self):
        """Play the whole inrush of every circuit at both ends of every state, its own loads at their top."""
        for slot, circuit in zip(self.slots, self.allocation.circuits, strict=True):
            loads = [self.s.loads[name] for name, _ in circuit.items]
            loose = sorted((x for x in loads if x.tolerance), key=lambda x: -(x.inrush * x.count * x.tolerance))
            tops = {x.name: 1 + float(x.tolerance) / 100 for x in loose[: at_once(self.s)]}
            for volts in self.s.volts_of(loads[0].command):
                supply = np.full_like(self.time, float(volts))
                current = self.wave(circuit, supply, tops, True, self.s.loads)
                steady = self.wave(circuit, supply, tops, False, self.s.loads).max()
                yield from self.channel(slot, circuit, current, steady, float(share_of(self.s, slot)))

    def channel(self, slot, circuit, current, steady, part=None):
        """Whether a channel of the slot trips, one of them with `part` of the current."""
        share = float(share_of(self.s, slot))
        if part is None:
            part = self.random.choice((share, 1 - share, self.random.uniform(1 - share, share))) if share < 1 else 1.0
        parts = (part, 1 - part) if slot.use == "pair" else (1.0,) * len(slot.channels)
        for name, of_all in zip(slot.channels, parts, strict=True):
            yield from self.protection(self.s.channels[name], current * of_all, steady * of_all, circuit)

    def protection(self, row, current, steady, circuit):
        peak, length = milliamps(row, "peak_a") / 1000, float(number(row, "peak_ms"))
        headroom = float(self.s.settings.get("headroom_pct", 20)) / 100
        limit = milliamps(row, "continuous_a") / 1000 * float(self.s.factor) * (1 - headroom)
        if current.max() > peak * ROUNDING:
            yield "peak"
        square = (current**2 - limit**2) * self.width
        over = max([square[a:b].sum() for a, b in runs(current > limit)], default=0)
        if steady > limit * ROUNDING + 0.002:
            yield "running"
        elif over > (peak**2 - limit**2) * length * ROUNDING:
            yield "energy"
        if circuit.trip_a is not None:
            times = runs(current * (1 + float(self.s.trip_error)) > circuit.trip_a)
            if any(self.width[a:b].sum() - STEP_MS > (circuit.inrush_ms or 0) for a, b in times):
                yield "trip"
            if not circuit.inrush_ms and any(self.s.loads[name].kind in PULSED for name, _ in circuit.items):
                yield "window"

    def heat(self):
        """Play duties over a combination; words of the limits on heating that are passed."""
        picked = self.chosen()
        if picked is None:
            return
        settings, on, (low, high) = picked
        volts = float(self.random.choice((low, high, low + (high - low) * self.random.randint(1, 9) / 10)))
        tops = self.tops()
        limits = [("bank", bank, ma) for bank, ma in self.s.bank_ma.items()]
        circuits = [(slot, c.items) for slot, c in zip(self.slots, self.allocation.circuits, strict=True)]
        grid, step = self.grid(settings[on])
        pattern = {name: self.duty(name, grid) for name in settings[on]}
        for word, bank, rated in [*limits, ("total", None, milliamps(self.s.module, "total_a"))]:
            current = np.zeros_like(grid)
            for share in shares_in(self.s, circuits, bank):
                command = self.s.loads[share.load].command
                if command in pattern:
                    amps = self.running_a(self.s.stated[share.load], volts, tops) * share.count * float(share.part)
                    current += amps * pattern[command]
            limit = (
                float(rated * self.s.factor) / 1000 * (1 - float(self.s.settings.get("module_headroom_pct", 10)) / 100)
            )
            if self.warmest(current, step) > limit * (STEP_ERROR if self.s.settle_s else ROUNDING) + 0.002:
                yield word

    def grid(self, names):
        """Times, s, over several time constants, fine enough for the shortest time on."""
        tau = self.s.settle_s or 60.0
        times = [self.s.commands[name].on_s for name in names if self.s.commands[name].on_s]
        step = max(min([tau / 100, *(t / 4 for t in times)]), 6 * tau / MOST_STEPS)
        return np.arange(0, 6 * tau, step), step

    def duty(self, name, grid):
        """1 while the command is on: from time to time, no longer and no oftener than its row says."""
        command = self.s.commands[name]
        if not command.on_s or not command.cycle_s:
            return np.ones_like(grid)
        cycle = command.cycle_s * self.random.choice((1, 1, self.random.uniform(1, 2)))
        return ((grid + self.random.uniform(0, cycle)) % cycle < command.on_s).astype(float)

    def warmest(self, current, step):
        """Largest current equal in heat, A, that a body with the time constant of the module comes to."""
        if not self.s.settle_s:
            return current.max()
        keep, heat, top = float(np.exp(-step / self.s.settle_s)), 0.0, 0.0
        for square in current**2:
            heat = heat * keep + square * (1 - keep)
            top = max(top, heat)
        return top**0.5


def runs(above):
    """Where a row of true values begins and ends, again and again."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], above.astype(int), [0]))))
    return list(zip(edges[::2], edges[1::2], strict=True))


def simulate(situation, allocation, seed=0, changes=50, heats=5):
    """Sorted words of all that trips or passes its limit.

    Every circuit switched on at its worst and `changes` random changes of one input at 1 ms steps, `heats` random
    plays of duties; `allocation` is a list of circuits with channels, items, trip setting and inrush time.
    """
    play = _Play(situation, allocation, seed)
    words = set(play.every_switch_on())
    for _ in range(changes):
        words |= set(play.change())
    for _ in range(heats):
        words |= set(play.heat())
    return sorted(words)
