"""Two modules together where one is not enough, or where two are cheaper or lighter than one."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations_with_replacement
from math import inf
from typing import TypeVar

import pandas as pd

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.module import Module, natural_key
from pdm_alloc.program.lightest import PASSED_OVER

Verdict = TypeVar("Verdict")

__all__ = ["PAIRS", "Pair", "judge_pairs", "pairs_of", "pairs_table"]

PAIRS = ("modules", "outcome", "channels_used", "channels", "spare", "price", "mass_g", "beats")


@dataclass(frozen=True)
class Pair:
    """Two modules of the catalogue, the same one twice included."""

    modules: tuple[Module, Module]

    @property
    def label(self) -> str:
        """``compact-31 and middle-36``."""
        return " and ".join(module.name for module in self.modules)

    @property
    def channels(self) -> int:
        """Of both."""
        return sum(len(module.channels) for module in self.modules)

    @property
    def price(self) -> float:
        """Of both; inf where one is not known."""
        return sum(inf if m.price is None else m.price for m in self.modules)

    @property
    def mass_g(self) -> float:
        """Of both, g; inf where one is not known."""
        return sum(inf if m.mass_g is None else m.mass_g for m in self.modules)

    def beats(self, other: "Module | Pair | None") -> tuple[str, ...]:
        """In what it is better than a module or another pair: ``price``, ``mass``; in ``channels`` than nothing."""
        if other is None:
            return ("channels",)
        price, mass = (inf if v is None else v for v in (other.price, other.mass_g))
        return ("price",) * (self.price < price) + ("mass",) * (self.mass_g < mass)


def pairs_of(modules: Iterable[Module]) -> list[Pair]:
    """All pairs, cheapest first, then lightest, then fewest channels, then by name."""
    found = [
        Pair(both) for both in combinations_with_replacement(sorted(modules, key=lambda m: natural_key(m.name)), 2)
    ]
    return sorted(found, key=lambda p: (p.price, p.mass_g, p.channels, natural_key(p.label)))


def judge_pairs(
    pairs: Iterable[Pair],
    smallest: Module | None,
    judge: Callable[[Pair], Verdict],
    stop: Callable[[], bool] | None = None,
) -> dict[str, Verdict]:
    """Judge the pairs that would be better in price or mass than the smallest single module that is enough.

    Parameters
    ----------
    pairs : iterable of Pair
        In the order of `pairs_of`.
    smallest : Module or None
        None: no single module is enough, and every pair is a step ahead.
    judge : callable
        Gives an `Allocation`, or why there is none.
    stop : callable, optional
        Asked between pairs; True ends the work.

    Returns
    -------
    dict of str to Allocation, NotEnough or Unsolved
        By label. A pair that is neither cheaper nor lighter than one found to be enough is left out.
    """
    results: dict[str, Verdict] = {}
    enough: list[Pair] = []
    for pair in pairs:
        if stop is not None and stop():
            break
        if pair.beats(smallest) and all(pair.beats(other) for other in enough):
            results[pair.label] = judge(pair)
            if isinstance(results[pair.label], Allocation):
                enough.append(pair)
    return results


def pairs_table(pairs: Iterable[Pair], smallest: Module | None, results: Mapping[str, object]) -> pd.DataFrame:
    """A row a pair, in the columns `PAIRS`, those that were judged first.

    beats tells in what it is better than the smallest single module that is enough: price, mass, or
    channels where none is. Pairs that beat nothing are ``passed over`` unjudged.
    """
    ordered = sorted(pairs, key=lambda pair: pair.label not in results)
    table = pd.DataFrame([_row(p, smallest, results.get(p.label)) for p in ordered], columns=list(PAIRS))
    return table.astype({"channels_used": "Int64", "spare": "Int64"})


def _row(pair: Pair, smallest: Module | None, result) -> tuple:
    used = sum(len(c.channels) for c in result.circuits) if isinstance(result, Allocation) else None
    spare = None if used is None else pair.channels - used
    outcome = PASSED_OVER if result is None else result.outcome
    price, mass = (None if value == inf else value for value in (pair.price, pair.mass_g))
    return (pair.label, outcome, used, pair.channels, spare, price, mass, " and ".join(pair.beats(smallest)))
