"""By how much a module misses: for each kind of limit, the least growth that makes it enough."""

from pdm_alloc.allocation.shortfall.study import first_short, shortfall

__all__ = ["first_short", "shortfall"]
