"""The figures of the README, drawn from the demo data: ``python -m tests.figures.readme``."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from pdm_alloc.figures.choices import bus_wires
from pdm_alloc.figures.limits import headroom
from pdm_alloc.figures.ways_out import concessions, shortfall, states

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
    from pdm_alloc.allocator import allocate
    from pdm_alloc.diagnose.explain import explain
    from pdm_alloc.files.tables.read_catalogue import read_catalogue
    from pdm_alloc.files.tables.read_vehicle import read_vehicle
    from pdm_alloc.result.allocation import NotEnough
    from pdm_alloc.studies.signal_places import signals

    vehicle, catalogue = read_vehicle(DATA / "rally_coupe"), read_catalogue(DATA / "catalogue")
    enough = allocate(vehicle, catalogue["middle-36"])
    keys = signals(vehicle, [], keypads=catalogue.keypads).wires_by_place()
    drawn = {"headroom": headroom(enough), "states": states(enough), "bus_wires": bus_wires(keys)}
    try:
        allocate(vehicle, catalogue["compact-31"])
    except NotEnough as refusal:
        reasons = explain(refusal, time_limit_s=120.0)
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
