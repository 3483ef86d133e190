"""What the panel asks: a vehicle as it stands in the table, a module, and what is wanted of it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from pdm_alloc.allocation.result import Allocation
from pdm_alloc.module import Module
from pdm_alloc.panel.with_loads import new_commands, with_loads
from pdm_alloc.vehicle import Vehicle

__all__ = ["Question", "Wish", "question_of"]


@dataclass(frozen=True, slots=True)
class Wish:
    """What is wanted.

    Parameters
    ----------
    module : Module
        The module looked at.
    headroom_pct : int
        Least headroom on a channel, per cent.
    spare_channels : int
        Channels to stay free.
    strategy : str
        ``isolate`` or ``spare``.
    hold : bool
        Whether a kept design is taken as built: as few of its wires as can be are moved.
    """

    module: Module
    headroom_pct: int
    spare_channels: int
    strategy: str
    hold: bool = True


@dataclass(frozen=True, slots=True)
class Question:
    """A vehicle to be put on a module.

    Parameters
    ----------
    vehicle : Vehicle
        With the loads of the table and the settings wanted.
    module : Module
        The module looked at.
    guessed : tuple of str
        Commands that no table knows, taken as always on.
    kept : Allocation or None
        Design to compare with.
    hold : bool
        Whether as few wires of `kept` as can be are moved.
    """

    vehicle: Vehicle
    module: Module
    guessed: tuple[str, ...] = ()
    kept: Allocation | None = None
    hold: bool = True


def question_of(
    vehicle: Vehicle, rows: Iterable[tuple[int, Mapping[str, str]]], wish: Wish, kept: Allocation | None = None
) -> Question:
    """The question that a table and the controls make.

    Parameters
    ----------
    vehicle : Vehicle
        As it was read.
    rows : iterable of (int, mapping)
        Number and texts of each row that counts.
    wish : Wish
        What is wanted.
    kept : Allocation, optional
        Design to compare with.

    Returns
    -------
    Question
        To be answered.

    Raises
    ------
    InputError
        The table contradicts itself.
    """
    changed = with_loads(vehicle, rows)
    settings = replace(
        changed.settings,
        headroom_pct=Fraction(wish.headroom_pct),
        spare_channels=wish.spare_channels,
        strategy=wish.strategy,
    )
    return Question(replace(changed, settings=settings), wish.module, new_commands(vehicle, changed), kept, wish.hold)
