"""One writer at a time in a folder, and no reader meanwhile."""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

try:
    import fcntl
except ImportError:  # no such locks on Windows
    fcntl = None  # type: ignore[assignment]

__all__ = ["locked"]


@contextlib.contextmanager
def locked(folder: Path, to_read: bool = False) -> Iterator[None]:
    """Hold the folder: whoever else wants it waits. Where the system cannot lock a folder, nobody does.

    Parameters
    ----------
    folder : Path
        Exists. The system frees it when the process ends, however that happens.
    to_read : bool
        Other readers need not wait.
    """
    handle = None
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        if fcntl is not None:
            fcntl.flock(handle, fcntl.LOCK_SH if to_read else fcntl.LOCK_EX)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)
