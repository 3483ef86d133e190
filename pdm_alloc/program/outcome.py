"""Our own words for how a solve ended."""

__all__ = ["BEST_SO_FAR", "FAILED", "NOT_ENOUGH", "OUTCOMES", "PROVEN_BEST", "STOPPED_EMPTY"]

PROVEN_BEST = "proven best"
BEST_SO_FAR = "best so far"
NOT_ENOUGH = "not enough"
STOPPED_EMPTY = "no answer in time"
FAILED = "failed"
OUTCOMES = (PROVEN_BEST, BEST_SO_FAR, NOT_ENOUGH, STOPPED_EMPTY, FAILED)
