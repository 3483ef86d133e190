"""Which return goes to which ground point: the shortest wires within what every point bears."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pdm_alloc.program.solver import Clock, Program, solve_program

__all__ = ["Point", "Return", "assign_returns"]

# Millimetres of wire that leaving one return without a point counts as: more than any vehicle has.
_UNASSIGNED_MM = 1_000_000


@dataclass(frozen=True, slots=True)
class Point:
    """Limits of a ground point: current, mA, and returns; None: not judged."""

    max_ma: int | None
    max_wires: int | None


@dataclass(frozen=True, slots=True)
class Return:
    """Identical returns.

    Parameters
    ----------
    count, wires : int
        How many there are; conductors each has.
    state_ma : tuple of int
        What one carries in each operating state, mA.
    way_mm : mapping of int to int
        Length of wire to each point it may go to, by number of the point, mm.
    """

    count: int
    wires: int
    state_ma: tuple[int, ...]
    way_mm: Mapping[int, int]


def assign_returns(
    returns: Sequence[Return], points: Sequence[Point], limit_s: float = 30.0
) -> dict[tuple[int, int], int]:
    """Assign returns to ground points: as many as can be, then with the least wire.

    Parameters
    ----------
    returns : sequence of Return
        What has to reach a point.
    points : sequence of Point
        Where it may.
    limit_s : float
        Time limit, s.

    Returns
    -------
    dict of (int, int) to int
        By number of return and point, how many of them go there; in every state no point carries more
        than it bears. What is missing from `count` found no room.
    """
    program = Program()
    taken = {(r, p): program.variable(one.count) for r, one in enumerate(returns) for p in sorted(one.way_mm)}
    left = [program.variable(one.count) for one in returns]
    for r, one in enumerate(returns):
        program.row({**{v: 1 for (a, _), v in taken.items() if a == r}, left[r]: 1}, one.count, one.count)
    for p, point in enumerate(points):
        _limit(program, returns, {r: v for (r, b), v in taken.items() if b == p}, point)
    cost = {v: _cost(returns[r], p, len(points)) for (r, p), v in taken.items()}
    cost |= {v: _UNASSIGNED_MM * (len(points) + 1) * returns[r].wires for r, v in enumerate(left)}
    solution = solve_program(program, cost, Clock(limit_s))
    return {key: round(solution.values[v]) for key, v in taken.items() if solution.values and solution.values[v] > 0.5}


def _cost(one: Return, point: int, points: int) -> int:
    """Wire first; of points equally near the first."""
    return one.way_mm[point] * one.wires * (points + 1) + point


def _limit(program: Program, returns: Sequence[Return], taken: Mapping[int, int], point: Point) -> None:
    """Sum of currents in every state, and number of returns, of one point."""
    if point.max_ma is not None:
        states = {
            tuple(returns[r].state_ma[n] for r in taken) for n in range(len(returns[0].state_ma) if returns else 0)
        }
        for row in sorted(states):
            program.row(dict(zip(taken.values(), row, strict=True)), most=point.max_ma)
    if point.max_wires is not None:
        program.row({v: returns[r].wires for r, v in taken.items()}, most=point.max_wires)
