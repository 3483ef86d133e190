"""The independent check: every limit recounted from the vehicle and the modules, without the program or its columns."""

import sys
from collections.abc import Iterable
from types import ModuleType

import pandas as pd

from pdm_alloc.domain.module import Module, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.verify.assignment import COLUMNS, Finding
from pdm_alloc.verify.check import RULES, Placed, verify, violations

__all__ = ["COLUMNS", "RULES", "Finding", "verify", "violations"]


class _Verb(ModuleType):
    """Importing anything from here makes ``pdm_alloc.verify`` this module; it must still do as the verb."""

    def __call__(
        self,
        subject: Placed | Vehicle,
        modules: Module | Unit | Iterable[Module | Unit] | None = None,
        assignments: pd.DataFrame | None = None,
    ) -> pd.DataFrame:
        return verify(subject, modules, assignments)


sys.modules[__name__].__class__ = _Verb
