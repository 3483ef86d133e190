"""What a builder can give up so that a module becomes enough: the cheapest sets, each re-solved and checked."""

from pdm_alloc.allocation.concessions.option import Option, options
from pdm_alloc.allocation.concessions.search import ConcessionSet, ConcessionStudy, concession_sets, concession_study
from pdm_alloc.allocation.concessions.table import CONCESSIONS, concessions_table, in_words

__all__ = [
    "CONCESSIONS",
    "ConcessionSet",
    "ConcessionStudy",
    "Option",
    "concession_sets",
    "concession_study",
    "concessions_table",
    "in_words",
    "options",
]
