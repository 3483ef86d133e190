"""What makes one allocation better than another, in order."""

from collections.abc import Callable

import numpy as np

from pdm_alloc.program.task import Column, Task
from pdm_alloc.vehicle import PPM

__all__ = ["STRATEGIES", "channels_used", "objectives", "strength_used", "unevenness"]

STRATEGIES = ("isolate", "spare")

Cost = Callable[[Task, int, Column], int]


def objectives(task: Task, strategy: str) -> list[tuple[str, dict[int, float]]]:
    """Costs to minimise in order, whole numbers.

    Parameters
    ----------
    task : Task
        Columns.
    strategy : str
        ``isolate``: as many circuits as possible, on as few channels as that takes. ``spare``: as few
        channels as possible, then the weakest ones.

    Returns
    -------
    list of (str, dict)
        Name of the objective and the cost of each column by number, zeros left out.

    Raises
    ------
    ValueError
        The word is no strategy.
    """
    if strategy not in STRATEGIES:
        raise ValueError(f"strategy {strategy!r} is none of {', '.join(STRATEGIES)}")
    first: list[tuple[str, Cost]] = [("circuits", _circuit), ("channels", _width)]
    if strategy == "spare":
        first = [("channels", _width), ("strength", _strength)]
    ordered = [*first, ("harness mass", _mass), ("even headroom", _unevenness)]
    return [(name, _each(task, cost)) for name, cost in ordered]


def channels_used(task: Task) -> dict[int, float]:
    """Channels each column takes up, by number."""
    return _each(task, _width)


def strength_used(task: Task) -> dict[int, float]:
    """Derated rating each column takes up, A/10, by number."""
    return _each(task, _strength)


def _each(task: Task, cost: Cost) -> dict[int, float]:
    costs = {v: cost(task, v, column) for v, column in enumerate(task.columns)}
    return {v: c for v, c in costs.items() if c}


def _circuit(task: Task, v: int, column: Column) -> int:
    return -1


def _width(task: Task, v: int, column: Column) -> int:
    return task.classes[column.channel_class].width


def _strength(task: Task, v: int, column: Column) -> int:
    """Derated rating taken from the channels that could have stayed free, A/10 rounded up."""
    return -(-task.classes[column.channel_class].rating.rated_ma // 100)


def _mass(task: Task, v: int, column: Column) -> int:
    """Whole grams: finer differences are below what a hand can cut."""
    return round(column.fit.mass_mg / 1000)


def _unevenness(task: Task, v: int, column: Column) -> int:
    return int(unevenness(column.fit.use_ppm))


def unevenness(use_ppm):
    """Square of the use, in thousandths: the sum is least when no channel is much fuller than it need be.

    Parameters
    ----------
    use_ppm : int or array of int
        Running over derated rating, parts per million.

    Returns
    -------
    float or array of float
        Whole numbers.
    """
    return np.rint(1000 * (use_ppm / PPM) ** 2)
