"""Changes tried before they are made: an altered vehicle, what moves, what has to be reworked, what room is left."""

import sys
from types import ModuleType

from pdm_alloc.what_if.change import WhatIf, what_if
from pdm_alloc.what_if.compare import compare
from pdm_alloc.what_if.rework import rework
from pdm_alloc.what_if.room_left import amps_left, room_left

__all__ = ["WhatIf", "amps_left", "compare", "rework", "room_left", "what_if"]


class _Verb(ModuleType):
    """Importing anything from here makes ``pdm_alloc.what_if`` this module; it must still do as the verb."""

    def __call__(self, vehicle):
        return what_if(vehicle)


sys.modules[__name__].__class__ = _Verb
