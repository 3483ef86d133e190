"""Sets of concessions as a table, each concession with what follows from it."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

import pandas as pd

from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.allocation.concessions.option import Option
from pdm_alloc.allocation.concessions.search import ConcessionSet
from pdm_alloc.allocation.ratings import place_of
from pdm_alloc.circuits.fit import worst_rise_ma
from pdm_alloc.circuits.items import load_types

__all__ = ["CONCESSIONS", "RELAY_MASS_G", "concessions_table", "detail", "in_words"]

CONCESSIONS = ("rank", "set_weight", "kind", "subject", "weight", "detail")
RELAY_MASS_G = 60  # relay, base, fuse and holder; common practice, no source


def concessions_table(sets: Iterable[ConcessionSet]) -> pd.DataFrame:
    """One row per concession, in the columns `CONCESSIONS`."""
    rows = [(s.rank, s.weight, o.kind, o.subject, o.weight, detail(s, o)) for s in sets for o in s.made]
    return pd.DataFrame(rows, columns=list(CONCESSIONS))


def in_words(chosen: ConcessionSet) -> str:
    """A set in one line, heaviest first."""
    made = sorted(chosen.made, key=lambda o: (-o.weight, o.kind, o.subject))
    return "; ".join(_SHORT[o.kind].format(o.subject, *o.members) for o in made)


def detail(chosen: ConcessionSet, option: Option) -> str:
    """What follows from a concession, in words and numbers.

    Parameters
    ----------
    chosen : ConcessionSet
        With its allocation.
    option : Option
        One of its concessions.

    Returns
    -------
    str
        One sentence without a full stop.
    """
    return _DETAIL[option.kind](chosen, option)


def _headroom(chosen: ConcessionSet, option: Option) -> str:
    wanted = float(chosen.vehicle.settings.headroom_pct)
    own = [c for c in chosen.allocation.circuits if option.subject in c.command.split(" + ")]
    least = min(_headroom_pct(chosen, circuit) for circuit in own)
    return (
        f"headroom of {option.subject} cut from {wanted:g} % to {least:.0f} % "
        "at the highest current its tolerance allows"
    )


def _headroom_pct(chosen: ConcessionSet, circuit: PlacedCircuit) -> float:
    """Of a circuit with its loads at the top of their tolerance."""
    vehicle, units = chosen.vehicle, chosen.allocation.units
    loads = tuple(vehicle.load(name) for name in circuit.loads)
    types = load_types(replace(vehicle, loads=loads))
    number = Counter(name for name, _ in circuit.items)
    rise = worst_rise_ma([t.deviation_ma * number[t.load] for t in types], vehicle.settings.tolerance_loads)
    running = sum(t.running_ma * number[t.load] for t in types)
    return 100 * (1 - (running + rise) / float(place_of(vehicle, units, circuit).rating.rated_ma))


def _join(chosen: ConcessionSet, option: Option) -> str:
    one, two = option.members
    circuit = next(c for c in chosen.allocation.circuits if c.command == option.subject)
    where = f"{one} and {two} on channel {circuit.channel}"
    if option.harmless:
        return f"{where}: no loss: both are on in the same states"
    return f"{where}: they can no longer be switched separately"


def _relay(chosen: ConcessionSet, option: Option) -> str:
    coil = next(x for x in chosen.vehicle.loads if x.name.startswith(f"{option.subject} ("))
    circuit = next(c for c in chosen.allocation.circuits if coil.name in c.loads)
    return (
        f"{option.subject} on an external relay with its own fuse: about {RELAY_MASS_G} g more, "
        f"its coil ({coil.running_ma / 1000:g} A) on channel {circuit.channel}, no trip setting for the load itself"
    )


def _separation(chosen: ConcessionSet, option: Option) -> str:
    return f"loads marked {option.subject} may share a channel: one fault takes out both"


def _soft_start(chosen: ConcessionSet, option: Option) -> str:
    circuit = next(c for c in chosen.allocation.circuits if option.subject in c.loads)
    return f"{option.subject} soft-started by PWM on channel {circuit.channel}"


def _leave_out(chosen: ConcessionSet, option: Option) -> str:
    return f"{option.subject} is left out"


_SHORT = {
    "headroom": "less headroom on {0}",
    "join": "{1} and {2} on one channel",
    "relay": "{0} on an external relay",
    "separation": "{0} no longer kept apart",
    "soft_start": "soft start for {0}",
    "leave_out": "{0} left out",
}
_DETAIL = {
    "headroom": _headroom,
    "join": _join,
    "relay": _relay,
    "separation": _separation,
    "soft_start": _soft_start,
    "leave_out": _leave_out,
}
