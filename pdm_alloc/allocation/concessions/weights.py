"""How much each concession hurts: one table, which the vehicle's own table ``concessions`` overrides.

The weights are judgement (common practice, no source): only their order matters. A join that the
states show to be harmless costs least; what a driver would miss, or what takes away protection, most.
"""

from pdm_alloc.vehicle import Vehicle

__all__ = ["KINDS", "WEIGHTS", "weight_of"]

KINDS = ("headroom", "join", "relay", "separation", "soft_start", "leave_out")

# (vital, needed, comfort); None: never
WEIGHTS: dict[str, tuple[int | None, int | None, int | None]] = {
    "join harmless": (None, 1, 1),
    "headroom": (6, 3, 2),
    "soft_start": (6, 3, 2),
    "relay": (9, 5, 4),
    "join": (None, 6, 4),
    "separation": (10, 8, 6),
    "leave_out": (None, None, 8),
}
_COLUMN = {"vital": 0, "needed": 1, "comfort": 2}


def weight_of(vehicle: Vehicle, kind: str, subject: str, importance: str, harmless: bool = False) -> int | None:
    """Weight of a concession.

    Parameters
    ----------
    vehicle : Vehicle
        Its own weights come first: for the subject, then for all subjects (``*``).
    kind, subject : str
        A word of `KINDS`; the load, command, label or pair of commands.
    importance : str
        Highest importance of the loads concerned.
    harmless : bool
        A join of commands that are always on together.

    Returns
    -------
    int or None
        At least 1; None: never.
    """
    own = {c.subject: c.weight for c in vehicle.concessions if c.kind == kind}
    default = WEIGHTS["join harmless" if harmless else kind][_COLUMN[importance]]
    if default is None and importance == "vital":
        return None
    weight = own.get(subject, own.get("*", default))
    return None if weight is None else max(1, weight)
