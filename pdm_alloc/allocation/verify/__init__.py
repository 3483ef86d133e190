"""The independent check: every limit recounted from the vehicle and the modules, without the program or its columns."""

from pdm_alloc.allocation.verify.finding import COLUMNS, Finding
from pdm_alloc.allocation.verify.verify import RULES, verify, violations

__all__ = ["COLUMNS", "RULES", "Finding", "verify", "violations"]
