"""Processes to solve choices in."""

from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import AbstractContextManager, nullcontext
from multiprocessing import get_context

__all__ = ["workers"]


def workers(jobs: int) -> AbstractContextManager[Executor | None]:
    """An executor of so many processes, or none at all for one job.

    They start afresh: a solver that has run is not to be forked.
    """
    return nullcontext() if jobs == 1 else ProcessPoolExecutor(jobs, mp_context=get_context("spawn"))
