"""Figures: each draws one thing on axes that are given or made, and returns them.

A figure made here shows itself in a notebook by `.figure` and is saved by `.figure.savefig(path)`. matplotlib is
imported only when something is drawn.
"""

from pdm_alloc.figures.choices import bus_wires, ledger, mass, pareto
from pdm_alloc.figures.limits import curves, curves_of, drop, headroom, inrush, room, trace, worst
from pdm_alloc.figures.vehicle_plan import grounds, loads, plan
from pdm_alloc.figures.ways_out import concessions, shortfall, states, supply

__all__ = [
    "bus_wires",
    "concessions",
    "curves",
    "curves_of",
    "drop",
    "grounds",
    "headroom",
    "inrush",
    "ledger",
    "loads",
    "mass",
    "pareto",
    "plan",
    "room",
    "shortfall",
    "states",
    "supply",
    "trace",
    "worst",
]
