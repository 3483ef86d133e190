"""Why loads cannot be on the channels they are locked to, and what unlocking would change."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from pdm_alloc.allocator import allocate
from pdm_alloc.circuits.classes import channel_classes
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import Lock, Vehicle
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.result.refusals import NotEnough, Unsolved
from pdm_alloc.verify.check import objections

__all__ = ["LockReason", "lock_reasons", "locks_on", "slots_of"]

_CLOCK_S = 10.0
_ENOUGH = "enough"
_MOST_TRIED = 12


@dataclass(frozen=True, slots=True)
class LockReason:
    """Why a load cannot be on the channel it is locked to; load and channel empty: said of all locks together."""

    load: str
    channel: str
    words: str


def locks_on(vehicle: Vehicle, unit: Unit) -> tuple[Lock, ...]:
    """Locks that count for a unit: those of its label, and those of its module."""
    return tuple(lock for lock in vehicle.locked if lock.module in (unit.label, unit.module.name))


def slots_of(vehicle: Vehicle, unit: Unit) -> dict[str, tuple[str, tuple[str, ...]]]:
    """Channels and twos of channels a circuit can be on, with their use, as the table ``locked`` writes them."""
    slots = {"+".join(slot): (c.use, slot) for c in channel_classes(vehicle, [unit])[0] for slot in c.slots}
    return dict(sorted(slots.items(), key=lambda pair: (len(pair[1][1]), natural_key(pair[0]))))


def lock_reasons(vehicle: Vehicle, unit: Unit, stop: Callable[[], bool]) -> Iterator[list[LockReason]]:
    """Reasons why the loads of a unit that is not enough cannot be where they are locked.

    Parameters
    ----------
    vehicle : Vehicle
        With locks.
    unit : Unit
        What is fitted, and is not enough.
    stop : callable
        Asked between solves; True ends the search.

    Yields
    ------
    list of LockReason
        All that is known so far. First what speaks against each lock by itself, as `verify` recounts it; then, solved
        for each, whether the unit is enough once it is unlocked.
    """
    locks = locks_on(vehicle, unit)
    barred = [(lock, why) for lock in locks if (why := _objection(vehicle, unit, lock))]
    yield [_reason(lock, why) for lock, why in barred]
    tried: list[LockReason] = []
    asked = barred or [(lock, "cannot be kept together with all the rest") for lock in reversed(locks)]
    for lock, why in asked[:_MOST_TRIED]:
        if stop():
            return
        verdict = _verdict(vehicle, unit, (lock,), stop)
        if barred or verdict == _ENOUGH:
            tried.append(_reason(lock, f"{why}. With it unlocked {unit.label} is {verdict}"))
            yield [*tried, *(_reason(*other) for other in barred[len(tried) :])]
    is_open = not any(reason.words.endswith(f"is {_ENOUGH}.") for reason in tried)
    if is_open and (len(locks) > 1 or not tried) and not stop():
        verdict = _verdict(vehicle, unit, locks, stop)
        yield [*tried, LockReason("", "", f"With nothing locked {unit.label} is {verdict}.")]


def _reason(lock: Lock, why: str) -> LockReason:
    return LockReason(lock.load, lock.channel, f"{lock.load} on channel {lock.channel}: {why}.")


def _objection(vehicle: Vehicle, unit: Unit, lock: Lock) -> str:
    """What speaks against a load on its channel even if it were alone there; empty: nothing."""
    use, names = slots_of(vehicle, unit).get(lock.channel, ("", ()))
    if not use:
        return f"{unit.label} has no such channel"
    load = vehicle.load(lock.load)
    several = sum(other.load == lock.load and other.module == lock.module for other in vehicle.locked) > 1
    items = tuple((load.name, n + 1) for n in range(1 if several or not load.share else load.count))
    for finding in objections(vehicle, [unit], PlacedCircuit(unit.label, names, use, load.command, items)):
        if finding.rule == "continuous":
            return f"the channel takes {finding.limit:g} A with the headroom wanted, the load draws {finding.value:g} A"
        return finding.message
    return ""


def _verdict(vehicle: Vehicle, unit: Unit, unlocked: tuple[Lock, ...], stop: Callable[[], bool]) -> str:
    """What the unit is once these are unlocked."""
    others = tuple(lock for lock in vehicle.locked if lock not in unlocked)
    try:
        allocate(replace(vehicle, locked=others), unit, time_limit_s=_CLOCK_S, stop=stop)
    except NotEnough:
        return "not enough"
    except Unsolved:
        return "not judged in time"
    return _ENOUGH
