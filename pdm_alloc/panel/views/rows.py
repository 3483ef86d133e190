"""Rows of a table one by one."""

from collections.abc import Iterator
from typing import Any

import pandas as pd

__all__ = ["rows_of"]


def rows_of(frame: pd.DataFrame) -> Iterator[Any]:
    """Each row as an object with the columns as attributes, of whatever type the table has there."""
    yield from frame.itertuples(index=False)
