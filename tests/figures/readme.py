"""The figures of the README, drawn from the demo data: ``python -m tests.figures.readme``."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from pdm_alloc.figures.concessions import concessions
from pdm_alloc.figures.headroom import headroom
from pdm_alloc.figures.shortfall import shortfall
from pdm_alloc.figures.states import states

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw", "main"]

DATA = Path(__file__).resolve().parents[2] / "data"


def draw() -> dict[str, "Axes"]:
    """Draw them.

    Returns
    -------
    dict of str to matplotlib Axes
        By name of file, without ending.

    Raises
    ------
    NotEnough
        The demo data no longer fits the module the README shows.
    """
    from pdm_alloc.allocation.allocate import allocate
    from pdm_alloc.allocation.explain import explain
    from pdm_alloc.allocation.not_enough import NotEnough
    from pdm_alloc.tables import read_catalogue, read_vehicle

    vehicle, catalogue = read_vehicle(DATA / "rally_coupe"), read_catalogue(DATA / "catalogue")
    enough = allocate(vehicle, catalogue["middle-36"])
    drawn = {"headroom": headroom(enough), "states": states(enough)}
    try:
        allocate(vehicle, catalogue["compact-31"])
    except NotEnough as refusal:
        reasons = explain(refusal)
        drawn |= {"shortfall": shortfall(reasons), "concessions": concessions(reasons)}
    return drawn


def main() -> None:
    """Draw them and save them as PNG in ``data/figures``."""
    for name, axes in draw().items():
        sheet: Any = axes.figure
        sheet.savefig(DATA / "figures" / f"{name}.png", dpi=100, bbox_inches="tight", metadata={"Software": None})
        print(f"data/figures/{name}.png")


if __name__ == "__main__":
    main()
