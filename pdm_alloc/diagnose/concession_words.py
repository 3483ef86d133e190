"""Sets of concessions in words, and as a table: what is lost, what it costs and weighs, what would do likewise."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from math import comb

import pandas as pd

from pdm_alloc.circuits.draws import CircuitDraw
from pdm_alloc.circuits.items import load_types
from pdm_alloc.diagnose.concession_sets import ConcessionSet
from pdm_alloc.diagnose.growth_parts import joined_words
from pdm_alloc.domain.concession_options import Option, coil_name, switch_for
from pdm_alloc.domain.module import natural_key
from pdm_alloc.domain.vehicle import Load
from pdm_alloc.result.placed import PlacedCircuit, place_of
from pdm_alloc.result.refusals import plural

__all__ = ["CONCESSIONS", "alternatives", "concessions_table", "detail", "in_words"]


def _wanted(chosen: ConcessionSet, load: str) -> Load:
    """The load as it stood before the concession."""
    assert chosen.wanted is not None
    return chosen.wanted.load(load)


CONCESSIONS = ("rank", "set_weight", "kind", "subject", "weight", "detail", "likewise")


def concessions_table(sets: Iterable[ConcessionSet]) -> pd.DataFrame:
    """One row per concession, in the columns `CONCESSIONS`; `likewise` is of the whole set, as `alternatives`."""
    told = [(s, alternatives(s)) for s in sets]
    rows = [(s.rank, s.weight, o.kind, o.subject, o.weight, detail(s, o), also) for s, also in told for o in s.made]
    return pd.DataFrame(rows, columns=list(CONCESSIONS))


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
    draw = CircuitDraw([(t, number[t.load]) for t in types], vehicle.settings.tolerance_loads).draw_ma
    return 100 * (1 - draw / float(place_of(vehicle, units, circuit).rating.rated_ma))


def _join(chosen: ConcessionSet, option: Option) -> str:
    one, two = option.members
    circuit = next(c for c in chosen.allocation.circuits if c.command == option.subject)
    where = f"{one} and {two} on channel {circuit.channel}"
    if option.harmless:
        return f"{where}: no loss: both are on in the same states"
    return f"{where}: they can no longer be switched separately"


def _relay(chosen: ConcessionSet, option: Option) -> str:
    load = _wanted(chosen, option.subject)
    coils = [c for c in chosen.allocation.circuits if coil_name(option.subject) in c.loads]
    coil = chosen.vehicle.load(coil_name(option.subject))
    switch = switch_for(load)
    assert switch is not None
    many = coil.count > 1
    kind = f"two change-over {switch.name}s" if many else f"an external {switch.name}"
    where = f"channel{'s' if len(coils) > 1 else ''} {' and '.join(str(c.channel) for c in coils)}"
    return (
        f"{option.subject} on {kind} of {switch.most_a:g} A with {'their' if many else 'its'} own fuse: about "
        f"{switch.mass_g * coil.count} g and a price of {switch.price * coil.count} more, "
        f"{'their coils' if many else 'its coil'} ({coil.running_ma / 1000:g} A{' each' if many else ''}) on {where}, "
        "no trip setting for the load itself"
    )


def _separation(chosen: ConcessionSet, option: Option) -> str:
    return f"loads marked {option.subject} may share a channel: one fault takes out both"


def _soft_start(chosen: ConcessionSet, option: Option) -> str:
    circuit = next(c for c in chosen.allocation.circuits if option.subject in c.loads)
    return f"{option.subject} soft-started by PWM on channel {circuit.channel}"


def _leave_out(chosen: ConcessionSet, option: Option) -> str:
    return f"{option.subject} is left out"


def _margin(chosen: ConcessionSet, option: Option) -> str:
    left = float(chosen.vehicle.settings.module_headroom_pct)
    return f"headroom of banks and of the whole module cut from {2 * left:g} % to {left:g} %; every rating is kept"


def _keypad(chosen: ConcessionSet, option: Option) -> str:
    return f"{plural(len(option.members), 'key')} of a keypad on the bus in place of {', '.join(option.members)}"


def _drop(chosen: ConcessionSet, option: Option) -> str:
    before = _wanted(chosen, option.subject).max_drop_pct
    return f"{option.subject} may lose {option.amount:g} % of its voltage in its wire, where {before:g} % was wanted"


def _measure(chosen: ConcessionSet, option: Option) -> str:
    load = _wanted(chosen, option.subject)
    return (
        f"{option.subject} is measured and draws no more than {load.running_ma / 1000:g} A: nothing is kept for the "
        f"{float(load.tolerance_pct):g} % it may be off"
    )


def _divide(chosen: ConcessionSet, option: Option) -> str:
    half_a = chosen.vehicle.load(option.subject).running_ma / 1000
    channels = [str(c.channel) for c in chosen.allocation.circuits if option.subject in c.loads]
    where = f"channel{'s' if len(channels) > 1 else ''} {' and '.join(channels)}"
    return f"{option.subject} wired as two halves of {half_a:g} A each, if it can be divided, on {where}"


def _place(chosen: ConcessionSet, option: Option) -> str:
    [unit], wires = chosen.allocation.units, chosen.allocation.wires
    kg = f"{wires['mass_g'].sum() / 1000:.2f} kg"
    return f"{unit.label} at {option.subject} in place of {option.members[0]}: its wires then weigh {kg}"


def _second_module(chosen: ConcessionSet, option: Option) -> str:
    unit = option.unit
    assert unit is not None
    costs = [
        *([] if unit.module.mass_g is None else [f"{unit.module.mass_g:g} g"]),
        *([] if unit.module.price is None else [f"a price of {unit.module.price:g}"]),
    ]
    loads = list(dict.fromkeys(load for c in chosen.allocation.circuits if c.unit == unit.label for load in c.loads))
    at = f" at {unit.place}" if unit.place else ""
    more = f": {' and '.join(costs)} more" if costs else ""
    return f"{unit.label} as a second module{at}{more}; on it {joined_words(loads, _NAMED)}"


_NAMED = 4  # loads on a second module told by name

_DETAIL = {
    "headroom": _headroom,
    "join": _join,
    "relay": _relay,
    "separation": _separation,
    "soft_start": _soft_start,
    "leave_out": _leave_out,
    "margin": _margin,
    "keypad": _keypad,
    "drop": _drop,
    "measure": _measure,
    "place": _place,
    "divide": _divide,
    "second_module": _second_module,
}


def in_words(chosen: ConcessionSet) -> str:
    """A set in one line, heaviest first, with what may be given up instead of like things."""
    also = alternatives(chosen)
    return "; ".join(map(_short, _heaviest_first(chosen.made))) + (f" (likewise: {also})" if also else "")


def alternatives(chosen: ConcessionSet) -> str:
    """What may be given up instead of like things: ``any 2 of a, b, c left out``; empty where nothing is known.

    Every alternative named was allocated and checked; there may be others.
    """
    sets = [frozenset(made) for made in (chosen.made, *chosen.alike)]
    common = frozenset.intersection(*sets)
    varying = frozenset.union(*sets) - common
    number, kinds = len(sets[0] - common), {option.kind for option in varying}
    whole = comb(len(varying), number) == len(set(sets))
    if len(sets) > 1 and whole and len(kinds) == 1 and not kinds & {"join", "keypad"}:
        names = ", ".join(sorted((option.subject for option in varying), key=natural_key))
        return _SHORT[kinds.pop()].format(f"any {number} of {names}")
    others = [s for s in sets[1:] if not any(less - sets[0] < s - sets[0] for less in sets[1:])]  # no two swaps in one
    swaps = [_swap(sets[0], other) for other in others[:_ALIKE]]
    more = f"; {len(others) - _ALIKE} more like these" if len(others) > _ALIKE else ""
    return f"{' / '.join(swaps)}{more}" if swaps else ""


_ALIKE = 3  # alternatives told in full


def _swap(made: frozenset[Option], other: frozenset[Option]) -> str:
    come, gone = (", ".join(map(_short, _heaviest_first(part))) for part in (other - made, made - other))
    return f"{come} in place of {gone}"


def _heaviest_first(made: Iterable[Option]) -> list[Option]:
    return sorted(made, key=lambda o: (-o.weight, o.kind, natural_key(o.subject)))


def _short(option: Option) -> str:
    return _SHORT[option.kind].format(option.subject, *option.members)


_SHORT = {
    "headroom": "less headroom on {0}",
    "join": "{1} and {2} on one channel",
    "relay": "{0} on an external relay or contactor",
    "separation": "{0} no longer kept apart",
    "soft_start": "soft start for {0}",
    "leave_out": "{0} left out",
    "margin": "less headroom on banks and whole module",
    "keypad": "{0} on the bus in place of switches",
    "drop": "more voltage drop allowed to {0}",
    "measure": "{0} measured and within its guess",
    "place": "the module at {0}",
    "divide": "{0} divided into two circuits",
    "second_module": "{0} as a second module",
}
