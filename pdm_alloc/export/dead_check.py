"""Checks with everything dead, before a channel is switched on for the first time."""

import pandas as pd

from pdm_alloc.allocation.result import Allocation

__all__ = ["DEAD_CHECKS", "dead_checks"]

DEAD_CHECKS = ("number", "check", "must_be", "found", "done")

# Common practice, no source.
_BEFORE = (
    ("Battery disconnected, isolator open, every other supply (charger, solar, second battery) off", "no voltage"),
    ("Vehicle chocked, out of gear; extinguisher at hand", "yes"),
    ("Main fuse at the battery: its rating, and the size of the feed wire behind it", "as designed"),
    ("Every module fixed, cooled and upright as its maker asks; its ground on clean metal", "yes"),
)
_AFTER = (
    ("Supply stud of every module to chassis, connectors unplugged", "no short"),
    ("Wire sizes, labels and lengths", "as in the wire list"),
    ("Wires held and protected where they pass metal, heat, edges or moving parts", "yes"),
    ("Grounds of all loads to battery minus", "below 0.1 ohm"),
    ("Trip settings and inrush windows entered in every module, before the first power", "as in channel settings"),
    (
        "First power through a small fuse or a current-limited supply, all commands off",
        "below 0.5 A; then the fuse",
    ),
    ("Isolator opened under power: everything dies", "yes"),
)


def dead_checks(allocation: Allocation) -> pd.DataFrame:
    """Check list to go through before the first power.

    Parameters
    ----------
    allocation : Allocation
        What was built; its connectors, spare channels and moving loads are named.

    Returns
    -------
    DataFrame
        Columns `DEAD_CHECKS`; ``found`` and ``done`` are for the person who checks.
    """
    lines = [*_BEFORE, *_connectors(allocation), *_spares(allocation), *_AFTER, *_moving(allocation)]
    rows = [(number, check, must_be, "", "") for number, (check, must_be) in enumerate(lines, 1)]
    return pd.DataFrame(rows, columns=list(DEAD_CHECKS))


def _connectors(allocation: Allocation) -> list[tuple[str, str]]:
    checks = []
    for unit in allocation.units:
        for name in dict.fromkeys(channel.connector for channel in unit.module.channels):
            where = f"{unit.label}, connector {name}" if name else unit.label
            checks.append((f"{where}: every wire from its pin to its load", "continuous, on the pin of the pin map"))
            checks.append((f"{where}: every pin to chassis and to its neighbours, loads plugged in", "no dead short"))
    return checks


def _spares(allocation: Allocation) -> list[tuple[str, str]]:
    if allocation.spare.empty:
        return []
    names = ", ".join(f"{row.module} {row.channel}" for row in allocation.spare.itertuples())
    return [(f"Spare channels ({names}): cavities plugged, wires insulated, switched off in the settings", "yes")]


def _moving(allocation: Allocation) -> list[tuple[str, str]]:
    names = [load.name for load in allocation.vehicle.loads if load.kind in ("motor", "solenoid")]
    return [(f"Hands, tools and people clear of what will move: {'; '.join(names)}", "yes")] if names else []
