"""Figures: each draws one thing on axes that are given or made, and returns them.

A figure made here shows itself in a notebook by `.figure` and is saved by `.figure.savefig(path)`. matplotlib is
imported only when something is drawn.
"""

from pdm_alloc.figures.concessions import concessions
from pdm_alloc.figures.curves import curves
from pdm_alloc.figures.curves_of import curves_of
from pdm_alloc.figures.drop import drop
from pdm_alloc.figures.headroom import headroom
from pdm_alloc.figures.inrush import inrush
from pdm_alloc.figures.loads import loads
from pdm_alloc.figures.mass import mass
from pdm_alloc.figures.pareto import pareto
from pdm_alloc.figures.plan import plan
from pdm_alloc.figures.room import room
from pdm_alloc.figures.shortfall import shortfall
from pdm_alloc.figures.states import states
from pdm_alloc.figures.supply import supply
from pdm_alloc.figures.trace import trace

__all__ = [
    "concessions",
    "curves",
    "curves_of",
    "drop",
    "headroom",
    "inrush",
    "loads",
    "mass",
    "pareto",
    "plan",
    "room",
    "shortfall",
    "states",
    "supply",
    "trace",
]
