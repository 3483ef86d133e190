"""A typical load of each kind, for asking how many more of them there is room for."""

from pdm_alloc.kinds import KINDS
from pdm_alloc.vehicle import Vehicle

__all__ = ["TYPICAL_W", "typical"]

# Power of one item, W; common practice, no source.
TYPICAL_W: dict[str, float] = {
    "filament": 21.0,
    "led": 6.0,
    "motor": 60.0,
    "solenoid": 18.0,
    "heater": 96.0,
    "electronics": 12.0,
    "coil": 1.8,
}
assert TYPICAL_W.keys() == KINDS.keys()


def typical(vehicle: Vehicle, kind: str) -> dict[str, object]:
    """Columns of the table ``loads`` for a typical load of a kind; the rest as the kind has it.

    Parameters
    ----------
    vehicle : Vehicle
        For its voltage: the same power draws half the current at twice the voltage.
    kind : str
        A word of `pdm_alloc.kinds.KINDS`.

    Returns
    -------
    dict
        running_a in A at reference_v, rounded to 0.01 A.

    Raises
    ------
    KeyError
        The word is no kind.
    """
    return {"kind": kind, "running_a": round(TYPICAL_W[kind] / vehicle.settings.reference_v, 2)}
