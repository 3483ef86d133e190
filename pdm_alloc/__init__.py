"""Which power distribution module is enough for a vehicle, and which load goes on which channel.

`read_vehicle` and `read_catalogue` read tables from files, `vehicle` and `catalogue` take DataFrames;
`size` compares the modules of a catalogue; `allocate` puts loads on channels; `explain` says what is
short where they are not enough, and what could be given up; `mount` finds where modules sit best;
`verify` recounts every limit; `what_if` tries changes; `switching` tries the switches.
"""

import importlib
from typing import TYPE_CHECKING

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Catalogue, Channel, Module, Unit
from pdm_alloc.domain.showing import UnknownName
from pdm_alloc.domain.vehicle import Command, Concession, Input, Load, Lock, Place, Route, State, Vehicle

if TYPE_CHECKING:
    from pdm_alloc import electrics, export, figures, panel
    from pdm_alloc.allocator import allocate
    from pdm_alloc.diagnose.bearing import Why, why
    from pdm_alloc.diagnose.explain import Explanation, explain
    from pdm_alloc.files.faults import InputError
    from pdm_alloc.files.tables.read_catalogue import read_catalogue
    from pdm_alloc.files.tables.read_vehicle import catalogue, read_vehicle, vehicle
    from pdm_alloc.program.stages import STRATEGIES
    from pdm_alloc.result.allocation import Allocation, NotEnough, Unsolved
    from pdm_alloc.result.worst import WorstCombinations, worst
    from pdm_alloc.studies.mounting import Mounting, mount
    from pdm_alloc.studies.risk import allocation_risk, module_risk
    from pdm_alloc.studies.room_left import amps_left, room_left
    from pdm_alloc.studies.signal_places import signals
    from pdm_alloc.studies.signal_side import SignalSide
    from pdm_alloc.studies.sizing import Sizing, size
    from pdm_alloc.studies.switching import Switching, switching
    from pdm_alloc.studies.what_if import WhatIf, compare, rework, what_if
    from pdm_alloc.verify.check import verify

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
    "SignalSide",
    "Sizing",
    "State",
    "Switching",
    "Unit",
    "UnknownName",
    "Unsolved",
    "Vehicle",
    "WhatIf",
    "Why",
    "WorstCombinations",
    "allocate",
    "allocation_risk",
    "amps_left",
    "catalogue",
    "compare",
    "electrics",
    "explain",
    "export",
    "figures",
    "module_risk",
    "mount",
    "panel",
    "read_catalogue",
    "read_vehicle",
    "rework",
    "room_left",
    "signals",
    "size",
    "switching",
    "vehicle",
    "verify",
    "what_if",
    "why",
    "worst",
]

# Loaded when first used: help and blank tables must not wait for pandas or a solver.
_WHERE = {
    "STRATEGIES": "pdm_alloc.program.stages",
    "Allocation": "pdm_alloc.result.allocation",
    "Explanation": "pdm_alloc.diagnose.explain",
    "InputError": "pdm_alloc.files.faults",
    "Mounting": "pdm_alloc.studies.mounting",
    "NotEnough": "pdm_alloc.result.allocation",
    "SignalSide": "pdm_alloc.studies.signal_side",
    "Sizing": "pdm_alloc.studies.sizing",
    "Switching": "pdm_alloc.studies.switching",
    "Unsolved": "pdm_alloc.result.allocation",
    "WhatIf": "pdm_alloc.studies.what_if",
    "Why": "pdm_alloc.diagnose.bearing",
    "WorstCombinations": "pdm_alloc.result.worst",
    "allocate": "pdm_alloc.allocator",
    "allocation_risk": "pdm_alloc.studies.risk",
    "amps_left": "pdm_alloc.studies.room_left",
    "catalogue": "pdm_alloc.files.tables.read_vehicle",
    "compare": "pdm_alloc.studies.what_if",
    "explain": "pdm_alloc.diagnose.explain",
    "module_risk": "pdm_alloc.studies.risk",
    "mount": "pdm_alloc.studies.mounting",
    "read_catalogue": "pdm_alloc.files.tables.read_catalogue",
    "read_vehicle": "pdm_alloc.files.tables.read_vehicle",
    "rework": "pdm_alloc.studies.what_if",
    "room_left": "pdm_alloc.studies.room_left",
    "signals": "pdm_alloc.studies.signal_places",
    "size": "pdm_alloc.studies.sizing",
    "switching": "pdm_alloc.studies.switching",
    "vehicle": "pdm_alloc.files.tables.read_vehicle",
    "verify": "pdm_alloc.verify",
    "what_if": "pdm_alloc.studies.what_if",
    "why": "pdm_alloc.diagnose.bearing",
    "worst": "pdm_alloc.result.worst",
}
_ROOMS = ("electrics", "export", "figures", "panel")

if not TYPE_CHECKING:  # a type checker would take every misspelt name for one that is loaded later

    def __getattr__(name):
        if name in _WHERE:
            return getattr(importlib.import_module(_WHERE[name]), name)
        if name in _ROOMS:
            return importlib.import_module(f"pdm_alloc.{name}")
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
