"""Tables that still hold nothing but the example rows they came with, beside loads of somebody's own."""

from pdm_alloc.tables.fault import Faults
from pdm_alloc.tables.grid import Grid
from pdm_alloc.tables.guide import example_row
from pdm_alloc.tables.source import Source
from pdm_alloc.tables.text import clean, plain_header
from pdm_alloc.tables.vehicle_rows import VEHICLE_ROWS

__all__ = ["refuse_untouched"]


def refuse_untouched(source: Source, faults: Faults) -> None:
    """Note once all tables left as they came, and leave them out, so that nothing else is said of them.

    Parameters
    ----------
    source : Source
        Tables of a vehicle; those left as they came are taken out.
    faults : Faults
        Where that is noted.
    """
    loads = source.grids.get("loads")
    examples = _example_rows(loads, "loads") if loads is not None else []
    if loads is None or len(examples) == len(loads.rows):
        return
    for number in examples:
        remedy = "delete the row, or make it a load of your own"
        faults.add("loads", number, "load", example_row(VEHICLE_ROWS["loads"])["load"], "is the example row", remedy)
    untouched = [table for table, grid in source.grids.items() if _is_untouched(grid, table)]
    for table in untouched:
        source.broken.add(table)
        del source.grids[table]
    if untouched:
        first, *others = sorted(untouched)
        more = f", and so do {', '.join(others)}" if others else ""
        faults.add(
            first, None, None, None, f"holds only the example rows it came with{more}", "fill them in or delete them"
        )


def _is_untouched(grid: Grid, table: str) -> bool:
    if table == "states":
        header = [plain_header(cell) for cell in grid.header]
        return header == ["command", "running"] and [cells for _, cells in grid.rows] == [["ignition", "1"]]
    if table not in VEHICLE_ROWS or table == "loads" or not grid.rows:
        return False
    examples = len(_example_rows(grid, table))
    # The places come with a second row, for the load of the example.
    places = [clean(cells[0]) for _, cells in grid.rows] == ["dash", "tank"] if table == "places" else False
    return examples == len(grid.rows) or (places and examples == 1)


def _example_rows(grid: Grid, table: str) -> list[int]:
    """Numbers of the rows that say in every cell what the example says."""
    example = example_row(VEHICLE_ROWS[table])
    wanted = [example.get(plain_header(header), "") for header in grid.header]
    full = set(map(plain_header, grid.header)) >= {column for column, cell in example.items() if cell}
    return [number for number, cells in grid.rows if full and [clean(cell) for cell in cells] == wanted]
