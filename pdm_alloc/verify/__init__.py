"""The independent check: every limit recounted from the vehicle and the modules, without the program or its columns."""

import sys
from types import ModuleType

from pdm_alloc.verify.check import RULES, verify, violations
from pdm_alloc.verify.recount import COLUMNS, Finding

__all__ = ["COLUMNS", "RULES", "Finding", "verify", "violations"]


class _Verb(ModuleType):
    """Importing anything from here makes ``pdm_alloc.verify`` this module; it must still do as the verb."""

    def __call__(self, *arguments, **options):
        return verify(*arguments, **options)


sys.modules[__name__].__class__ = _Verb
