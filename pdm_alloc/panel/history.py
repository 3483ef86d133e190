"""Undo and redo over values that never change."""

from dataclasses import dataclass
from typing import Generic, TypeVar

__all__ = ["History"]

T = TypeVar("T")
_DEPTH = 200


@dataclass(frozen=True, slots=True)
class History(Generic[T]):
    """A present value with the values before and after it.

    Parameters
    ----------
    present : object
        The value now.
    past, future : tuple
        Values before it, oldest first; values undone, nearest first.
    """

    present: T
    past: tuple[T, ...] = ()
    future: tuple[T, ...] = ()

    def then(self, value: T) -> "History[T]":
        """History with a new present; what was undone is gone. An equal value changes nothing."""
        if value == self.present:
            return self
        return History(value, (*self.past, self.present)[-_DEPTH:])

    def undo(self) -> "History[T]":
        """History one step back, itself at the beginning."""
        if not self.past:
            return self
        return History(self.past[-1], self.past[:-1], (self.present, *self.future))

    def redo(self) -> "History[T]":
        """History one step forward, itself at the end."""
        if not self.future:
            return self
        return History(self.future[0], (*self.past, self.present), self.future[1:])
