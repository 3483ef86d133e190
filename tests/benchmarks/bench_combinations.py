"""Worst combination and worst change of one input: 60 commands over 40 inputs, every limit of a module.

Run: python -m tests.benchmarks.bench_combinations
"""

import random
import time

from pdm_alloc.program.largest import Extremes
from pdm_alloc.verify.arithmetic import largest_change, largest_sum

BANKS, STATES, SEEDS = 4, 7, 10


def vehicle(seed, commands=60, inputs=40):
    """Conditions as vehicles have them: a few master switches in most, keys of their own, some exclusions."""
    random_ = random.Random(seed)
    names = [f"input {n:02}" for n in range(inputs)]
    masters, keys = names[:4], names[4:]

    def one():
        parts = [random_.choice(keys)]
        if random_.random() < 0.7:
            parts.append(random_.choice(masters))
        if random_.random() < 0.3:
            parts.append(("not", random_.choice(keys)))
        if random_.random() < 0.25:
            parts[0] = ("or", parts[0], random_.choice(keys))
        return ("and", *parts) if len(parts) > 1 else parts[0]

    conditions = {f"command {n:02}": one() for n in range(commands)}
    running = {name: random_.randint(300, 15_000) for name in conditions}
    inrush = {name: round(ma * random_.choice((1, 1.4, 3, 6, 12))) for name, ma in running.items()}
    banks = [{c: ma for c, ma in running.items() if random_.randrange(BANKS) == 0} for _ in range(BANKS)]
    states = [{c for c in conditions if random_.random() < random_.choice((0.5, 0.8, 1))} for _ in range(STATES)]
    return names, conditions, running, inrush, banks, states


def limits_of(seed):
    """Seconds of processor time of every limit solved: in full (nothing skipped by a bound), and recounted."""
    _, conditions, running, inrush, banks, states = vehicle(seed)
    start = time.process_time()
    extremes = Extremes(conditions)
    sums, changes = [], []
    for allowed in states:
        for volts in (1.0, 1.1):  # both ends of the span
            ends = [{c: (round(ma * volts), ()) for c, ma in amounts.items()} for amounts in (*banks, running)]
            sums += [(allowed, amounts, extremes.sum(allowed, amounts, 0)) for amounts in ends]
            peak = {c: (round(ma * volts), ()) for c, ma in inrush.items()}
            changes.append((allowed, ends[-1], peak, extremes.change(allowed, ends[-1], peak, 0)))
    solved = time.process_time()
    for allowed, amounts, worst in sums:
        recount = largest_sum(conditions, allowed, amounts)
        assert (recount and recount[0]) == (worst and worst[0])
    summed = time.process_time()
    for allowed, amounts, peak, worst in changes:
        recount = largest_change(conditions, allowed, amounts, peak)
        assert (recount and recount[0]) == (worst and worst[0])
    return solved - start, summed - solved, time.process_time() - summed


def main():
    """Print the table."""
    print(
        f"60 commands, 40 inputs, {STATES} states at 2 voltages, {BANKS} banks, whole module, peak; processor time, s"
    )
    print("seed   worst combinations   recount of sums   recount of changes")
    for seed in range(SEEDS):
        print("{:4}   {:18.2f}   {:15.2f}   {:18.2f}".format(seed, *limits_of(seed)))


if __name__ == "__main__":
    main()
