"""Loads that no channel can feed, however strong: there is no wire for them."""

from collections.abc import Iterator

from pdm_alloc.allocation.not_enough import Short
from pdm_alloc.allocation.shortfall.trial import Trial
from pdm_alloc.circuits.classes import Rating, channel_classes
from pdm_alloc.circuits.fit import rating_for
from pdm_alloc.circuits.items import ItemType
from pdm_alloc.module import Unit

__all__ = ["WIRE", "unwired"]

WIRE = "wire"


def unwired(trial: Trial, opened: Unit) -> list[Short]:
    """Loads that cannot be wired even alone and on the best of channels.

    Parameters
    ----------
    trial : Trial
        The vehicle.
    opened : Unit
        With no limit of its own.

    Returns
    -------
    list of Short
        One a load, in the order of the loads; `have` and `need` count wires.
    """
    classes, _ = channel_classes(trial.vehicle, [opened])
    ratings = list(dict.fromkeys(c.rating for c in classes))
    return [short for t in trial.types() for short in _short(trial, t, ratings)]


def _short(trial: Trial, t: ItemType, ratings: list[Rating]) -> Iterator[Short]:
    wiring = trial.book.wiring(trial.vehicle)
    highest = t.running_ma + (t.deviation_ma if trial.book.tolerance_loads else 0)
    own = [rating_for(r, t.headroom_pct) for r in ratings if r.reversing == t.reversing and highest <= r.usable_ma]
    made = [wiring.protect([(t, 1)], rating, highest) for rating in own]
    reasons = [reason for reason in made if isinstance(reason, str)]
    if reasons and len(reasons) == len(made):
        text = f"{t.load} has no wire: {_because(trial, t, own, reasons)}"
        yield Short(WIRE, t.load, "", 0, 1, "wires", text, t.load)


def _because(trial: Trial, t: ItemType, ratings: list[Rating], reasons: list[str]) -> str:
    """Why, by the channel on which it comes nearest to having one."""
    reason, rating = reasons[-1], ratings[-1]
    wiring = trial.book.wiring(trial.vehicle)
    if reason == "drop":
        ((_, length_m, most_pct),) = wiring.runs([(t, 1)], rating.place)
        return f"no size keeps the drop within {most_pct:g} % over {length_m or 0:.3g} m"
    rules = wiring.rules_of([(t, 1)], rating)
    if reason == "heat":
        return f"its way passes {rules.ambient_c:g} °C, and its insulation bears {rules.insulation_c:g} °C"
    return f"no size bears what flows before the channel trips, at {rules.ambient_c:g} °C"
