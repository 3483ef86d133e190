"""Tables that an object works out once and hands out as copies."""

from collections.abc import Callable
from typing import Any, overload

import pandas as pd

__all__ = ["handed_out"]


class handed_out:
    """Property with a DataFrame that is worked out at the first access; every access gives a copy.

    A caller who changes what was handed out does not change what the next one gets.

    Parameters
    ----------
    work_out : callable
        Method that makes the table.
    """

    def __init__(self, work_out: Callable[[Any], pd.DataFrame]):
        self._work_out = work_out
        self._key = f"_{work_out.__name__}_frame"
        self.__doc__ = work_out.__doc__

    @overload
    def __get__(self, instance: None, owner: type) -> "handed_out": ...

    @overload
    def __get__(self, instance: object, owner: type) -> pd.DataFrame: ...

    def __get__(self, instance: object | None, owner: type) -> "handed_out | pd.DataFrame":
        if instance is None:
            return self
        kept = instance.__dict__
        if self._key not in kept:
            kept[self._key] = self._work_out(instance)
        table: pd.DataFrame = kept[self._key].copy()
        return table
