"""What a circuit takes of the limits of banks and units, by state: whole numbers."""

from dataclasses import dataclass

import numpy as np

from pdm_alloc.circuits.limits import duty_step
from pdm_alloc.program.task import Column, Task

__all__ = ["Draw", "draw_of"]


@dataclass(frozen=True)
class Draw:
    """A circuit's part of every limit.

    Parameters
    ----------
    mean : array of int, shape (states,)
        Running current times duty, mA x steps of `duty_step`.
    rises : dict of (str, int) to array of int
        What each of its loads may add at the top of its tolerance, same unit, by command and type.
    on : array of int, shape (states,)
        Running current where its command is on, whatever the duty, mA.
    excess : array of int, shape (states,)
        Inrush above running where its command is on, mA.
    """

    mean: np.ndarray
    rises: dict[tuple[str, int], np.ndarray]
    on: np.ndarray
    excess: np.ndarray


def draw_of(task: Task, column: Column) -> Draw:
    """What a circuit takes, wherever it is."""
    types = task.types[column.command]
    times = np.array([s.duty_ppm.get(column.command, 0) // duty_step(s) for s in task.vehicle.states], np.int64)
    on = np.zeros(len(times), np.int64)
    rises, excess = {}, 0
    for n, k in column.counts:
        on += np.array(types[n].state_ma, np.int64) * k
        excess += types[n].excess_ma * k
        rise = times * np.array(types[n].state_deviation_ma, np.int64) * k
        if rise.any():
            rises[column.command, n] = rise
    return Draw(times * on, rises, on, excess * (times > 0))
