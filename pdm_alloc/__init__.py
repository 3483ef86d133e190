"""Which power distribution module is enough for a vehicle, and which load goes on which channel.

`read_vehicle` and `read_catalogue` read tables; `size` compares the modules of a catalogue;
`allocate` puts loads on channels; `verify` recounts every limit; `what_if` tries changes.
"""

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

# Loaded when first used: help and blank tables must not wait for pandas or a solver.
_WHERE = {
    "read_vehicle": "pdm_alloc.tables",
    "read_catalogue": "pdm_alloc.tables",
    "InputError": "pdm_alloc.tables",
    "allocate": "pdm_alloc.allocation.allocate",
    "Allocation": "pdm_alloc.allocation.result",
    "NotEnough": "pdm_alloc.allocation.not_enough",
    "Unsolved": "pdm_alloc.allocation.not_enough",
    "verify": "pdm_alloc.allocation.verify",
    "size": "pdm_alloc.sizing",
    "Sizing": "pdm_alloc.sizing",
    "what_if": "pdm_alloc.what_if",
    "compare": "pdm_alloc.what_if",
    "STRATEGIES": "pdm_alloc.program.objectives",
    "Unit": "pdm_alloc.module",
    "amps_left": "pdm_alloc.what_if",
    "rework": "pdm_alloc.what_if",
    "room_left": "pdm_alloc.what_if",
}
_ROOMS = ("electrics", "export", "figures", "panel", "tables", "uncertainty")

__all__ = [*_WHERE, *_ROOMS]

if TYPE_CHECKING:
    from pdm_alloc.allocation.allocate import allocate as allocate
    from pdm_alloc.allocation.not_enough import NotEnough as NotEnough
    from pdm_alloc.allocation.not_enough import Unsolved as Unsolved
    from pdm_alloc.allocation.result import Allocation as Allocation
    from pdm_alloc.allocation.verify import verify as verify
    from pdm_alloc.module import Unit as Unit
    from pdm_alloc.sizing import Sizing as Sizing
    from pdm_alloc.sizing import size as size
    from pdm_alloc.tables import InputError as InputError
    from pdm_alloc.tables import read_catalogue as read_catalogue
    from pdm_alloc.tables import read_vehicle as read_vehicle


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(importlib.import_module(_WHERE[name]), name)
    if name in _ROOMS:
        return importlib.import_module(f"pdm_alloc.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
