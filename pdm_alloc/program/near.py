"""All plans of a command that are near enough to its cheapest one to be in a better solution than the one in hand."""

import math
from collections.abc import Callable

from pdm_alloc.program.group import Group, Plan

__all__ = ["TooManyPlans", "near_plans"]

_MOST = 5_000  # plans and parts of plans of one command
_MOST_STEPS = 2_000_000  # from part to part, tried
_SLACK = 1e-9

Labels = dict[int, tuple[float, tuple]]


class TooManyPlans(Exception):
    """So many plans are near that listing them is hopeless."""


def near_plans(group: Group, j: int, slack: float, key_of: Callable[[int, int], int]) -> list[Plan]:
    """Plans that cost at most `slack` more than the cheapest, one for each sum of keys.

    Labels run from all items left to none left; a label is dropped as soon as the least cost of what
    is left takes it beyond the slack, and where two have the same items left and the same sum of
    keys, the cheaper stays.

    Parameters
    ----------
    group : Group
        Priced.
    j : int
        Number of the command in it.
    slack : float
        How much more a plan may cost; below 0: no plan is near.
    key_of : callable
        From state and place of the class to all weights of a circuit in rows that commands share, as one number.

    Returns
    -------
    list of Plan
        Cheapest first.

    Raises
    ------
    TooManyPlans
        Listing them would take too long.
    """
    full = group.shape.size - 1
    most = float(group.least[full, j])
    most += slack + _SLACK * (1 + abs(most))
    waiting: dict[int, Labels] = {full: {0: (0.0, ())}}
    seen = steps = 0
    while waiting.keys() - {0}:
        state = max(waiting)
        labels = waiting.pop(state)
        seen += len(labels)
        if seen > _MOST:
            raise TooManyPlans
        floor = min((cost for cost, _ in labels.values()), default=math.inf)
        moves = group.moves(state, j, most - floor).tolist()
        steps += len(moves) * len(labels) * group.classes.shape[1]
        if steps > _MOST_STEPS:
            raise TooManyPlans
        for move in moves:
            target = waiting.setdefault(state - move, {})
            _extend(group, j, move, labels, target, most - float(group.least[state - move, j]), key_of)
    done = sorted(waiting.get(0, {}).items(), key=lambda item: (item[1][0], item[0]))
    return [_unwound(chain) for _, (_, chain) in done]


def _extend(group: Group, j: int, move: int, labels: Labels, target: Labels, most: float, key_of) -> None:
    for i, step in enumerate(group.total[move, j].tolist()):
        if step == math.inf:
            continue
        own_key = key_of(move, i)
        for key, (cost, chain) in labels.items():
            total = cost + step
            old = target.get(key + own_key)
            if total <= most and (old is None or total < old[0]):
                target[key + own_key] = (total, ((move, i), chain))


def _unwound(chain) -> Plan:
    found = []
    while chain:
        step, chain = chain
        found.append(step)
    return tuple(sorted(found))
