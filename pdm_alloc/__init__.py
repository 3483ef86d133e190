"""Which power distribution module is enough for a vehicle, and which load goes on which channel.

`read_vehicle` and `read_catalogue` read tables from files, `vehicle` and `catalogue` take DataFrames;
`size` compares the modules of a catalogue; `allocate` puts loads on channels; `explain` says what is
short where they are not enough, and what could be given up; `mount` finds where modules sit best;
`verify` recounts every limit; `what_if` tries changes.
"""

import importlib
from typing import TYPE_CHECKING

from pdm_alloc.module import Catalogue, Channel, Module, Unit
from pdm_alloc.settings import Settings
from pdm_alloc.unknown import UnknownName
from pdm_alloc.vehicle import Command, Concession, Input, Load, Lock, Place, Route, State, Vehicle

if TYPE_CHECKING:
    from pdm_alloc import electrics, export, figures, panel, tables, uncertainty
    from pdm_alloc.allocation.allocate import allocate
    from pdm_alloc.allocation.explain import Explanation, explain
    from pdm_alloc.allocation.not_enough import NotEnough, Unsolved
    from pdm_alloc.allocation.result import Allocation
    from pdm_alloc.allocation.verify import verify
    from pdm_alloc.mounting.mount import mount
    from pdm_alloc.mounting.result import Mounting
    from pdm_alloc.program.objectives import STRATEGIES
    from pdm_alloc.sizing import Sizing, size
    from pdm_alloc.tables import InputError, read_catalogue, read_vehicle
    from pdm_alloc.tables.frames import catalogue, vehicle
    from pdm_alloc.what_if import WhatIf, amps_left, compare, rework, room_left, what_if

__version__ = "0.1.0"

__all__ = [
    "STRATEGIES",
    "Allocation",
    "Catalogue",
    "Channel",
    "Command",
    "Concession",
    "Explanation",
    "Input",
    "InputError",
    "Load",
    "Lock",
    "Module",
    "Mounting",
    "NotEnough",
    "Place",
    "Route",
    "Settings",
    "Sizing",
    "State",
    "Unit",
    "UnknownName",
    "Unsolved",
    "Vehicle",
    "WhatIf",
    "allocate",
    "amps_left",
    "catalogue",
    "compare",
    "electrics",
    "explain",
    "export",
    "figures",
    "mount",
    "panel",
    "read_catalogue",
    "read_vehicle",
    "rework",
    "room_left",
    "size",
    "tables",
    "uncertainty",
    "vehicle",
    "verify",
    "what_if",
]

# Loaded when first used: help and blank tables must not wait for pandas or a solver.
_WHERE = {
    "STRATEGIES": "pdm_alloc.program.objectives",
    "Allocation": "pdm_alloc.allocation.result",
    "Explanation": "pdm_alloc.allocation.explain",
    "InputError": "pdm_alloc.tables",
    "Mounting": "pdm_alloc.mounting.result",
    "NotEnough": "pdm_alloc.allocation.not_enough",
    "Sizing": "pdm_alloc.sizing",
    "Unsolved": "pdm_alloc.allocation.not_enough",
    "WhatIf": "pdm_alloc.what_if",
    "allocate": "pdm_alloc.allocation.allocate",
    "amps_left": "pdm_alloc.what_if",
    "catalogue": "pdm_alloc.tables.frames",
    "compare": "pdm_alloc.what_if",
    "explain": "pdm_alloc.allocation.explain",
    "mount": "pdm_alloc.mounting.mount",
    "read_catalogue": "pdm_alloc.tables",
    "read_vehicle": "pdm_alloc.tables",
    "rework": "pdm_alloc.what_if",
    "room_left": "pdm_alloc.what_if",
    "size": "pdm_alloc.sizing",
    "vehicle": "pdm_alloc.tables.frames",
    "verify": "pdm_alloc.allocation.verify",
    "what_if": "pdm_alloc.what_if",
}
_ROOMS = ("electrics", "export", "figures", "panel", "tables", "uncertainty")

if not TYPE_CHECKING:  # a type checker would take every misspelt name for one that is loaded later
    globals().pop("vehicle", None)  # the room, which the import above put where the verb belongs

    def __getattr__(name):
        if name in _WHERE:
            return getattr(importlib.import_module(_WHERE[name]), name)
        if name in _ROOMS:
            return importlib.import_module(f"pdm_alloc.{name}")
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
