"""400 signals on six control units: time of assignment and recount. ``python -m tests.benchmarks.bench_signals``."""

import time
import tracemalloc
from pathlib import Path

import pdm_alloc as pa
from pdm_alloc.allocator import SignalAllocation, allocate_signals
from pdm_alloc.domain.module import SIGNAL_KINDS, FittedBox, Signal, fitted
from pdm_alloc.verify.check import verify_signals

DATA = Path(__file__).resolve().parents[2] / "data"

KINDS = {kind.function: kind.name for kind in SIGNAL_KINDS.values() if kind.pins == 1}


def case(count: int = 400, units: int = 6) -> tuple[list[Signal], tuple[FittedBox, ...]]:
    """Signals as many as fill nine tenths of six large control units of the demo, in the mix of their pins."""
    [large] = [box for box in pa.read_catalogue(DATA / "catalogue").boxes if box.name == "control-76"]
    kinds = [KINDS[word] for pin in large.pins for word in sorted(pin.functions & KINDS.keys())[:1]]
    return [_signal(n, kinds[n % len(kinds)]) for n in range(count)], fitted([large] * units)


def _signal(n: int, kind: str) -> Signal:
    """Outputs draw different currents; sensors of voltage are fed by the box."""
    needs = frozenset(("sensor_ground",)) if kind == "voltage" else frozenset()
    current = 50 + n % 7 if SIGNAL_KINDS[kind].is_output else 1
    return Signal(f"signal {n}", kind, needs=needs, current_ma=current)


def measured(count: int) -> tuple[SignalAllocation, float, float]:
    """The assignment, processor time of it and of the recount alone, s."""
    signals, boxes = case(count)
    start = time.process_time()
    allocation = allocate_signals(signals, boxes)
    middle = time.process_time()
    assert verify_signals(signals, boxes, allocation.uses) == [] or not allocation
    return allocation, middle - start, time.process_time() - middle


def main() -> None:
    """Print a row per number of signals."""
    measured(10)  # imports
    print("signals  boxes  outcome       assignment s  recount s")
    for count in (50, 100, 200, 400):
        allocation, solve_s, recount_s = measured(count)
        print(f"{count:7}  {6:5}  {allocation.outcome:12}  {solve_s:12.2f}  {recount_s:9.3f}")
    tracemalloc.start()
    measured(400)
    print(f"memory at 400: {tracemalloc.get_traced_memory()[1] / 1e6:.0f} MB")


if __name__ == "__main__":
    main()
