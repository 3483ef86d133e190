"""One random vehicle through the whole chain: written, read, sized, allocated, recounted, documented, read back."""

import random
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import pdm_alloc as pa
from pdm_alloc.domain.module import Catalogue
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.export.saved_tables import allocation_json, from_json
from pdm_alloc.files.cells import clean
from pdm_alloc.files.faults import Fault
from pdm_alloc.files.tables.references import check_against
from tests.chain.catalogues import catalogue_tables, locked_rows
from tests.chain.spreadsheet import write_as_somewhere
from tests.chain.vehicles import vehicle_tables

__all__ = ["Run", "check_allocation", "check_refusal", "made", "run", "several"]

STRATEGIES = ("isolate", "spare")
TABLES = ("channels", "assignments", "spare", "headroom", "wires", "settings", "drops", "supply", "warnings")
HARNESS = ("segments", "feeds", "links", "heat", "parked")


@dataclass
class Run:
    """A vehicle and a catalogue on disk and in memory, and how often each outcome came up."""

    seed: int
    paths: tuple[Path, Path]
    vehicle: Vehicle
    catalogue: Catalogue
    faults: tuple[Fault, ...]
    allocations: list[pa.Allocation] = field(default_factory=list)
    refusals: list[pa.NotEnough] = field(default_factory=list)
    outcomes: Counter = field(default_factory=Counter)


def made(seed: int, folder: Path) -> Run:
    """The vehicle and the catalogue of a seed, written to a folder and read.

    Parameters
    ----------
    seed : int
        The same seed gives the same files.
    folder : Path
        Empty.

    Returns
    -------
    Run
        Nothing allocated yet.
    """
    chance = random.Random(seed)
    vehicle = vehicle_tables(chance)
    catalogue = catalogue_tables(chance, vehicle)
    if chance.random() < 0.15 and (rows := locked_rows(chance, vehicle, catalogue)):
        vehicle["locked"] = rows
        held = {row["load"] for row in rows}
        vehicle["loads"] = [{**row, "share": "" if row["load"] in held else row["share"]} for row in vehicle["loads"]]
    if not _can_be(vehicle, folder):  # a state of chance may ask for what its conditions rule out
        vehicle["commands"] = [{**row, "condition": ""} for row in vehicle["commands"]]
    paths = (
        write_as_somewhere(chance, vehicle, folder / "car"),
        write_as_somewhere(chance, catalogue, folder / "catalogue"),
    )
    read = pa.read_vehicle(paths[0]), pa.read_catalogue(paths[1])
    assert sorted(x.name for x in read[0].loads) == sorted(clean(row["load"]) for row in vehicle["loads"])
    assert sorted(x.name for x in read[1]) == sorted(clean(row["module"]) for row in catalogue["modules"])
    return Run(seed, paths, *read, check_against(*read))


def _can_be(vehicle, folder: Path) -> bool:
    """True if every command can be on where it may be."""
    if "commands" not in vehicle:
        return True
    path = write_as_somewhere(random.Random(0), vehicle, folder / "trial")
    try:
        pa.read_vehicle(path)
    except pa.InputError as error:
        words = ("can never be", "cannot be", "contradicts itself")
        return not any(word in fault.message for fault in error.faults for word in words)
    return True


def run(one: Run) -> Run:
    """Size and allocate; every answer is checked.

    Parameters
    ----------
    one : Run
        As `made`.

    Returns
    -------
    Run
        The same, with what came of it.
    """
    if one.faults:
        one.outcomes["does not go with the catalogue"] += 1
        return one
    study = pa.size(one.vehicle, one.catalogue)
    assert set(study.results) == {module.name for module in one.catalogue}
    assert study.summary()
    if one.seed % 4 == 0:  # what is short takes longer to find out than all the rest
        assert len(study.verdicts) == len(one.catalogue)
    for result in (*study.results.values(), *study.pair_results.values()):
        _check(one, result)
    names = several(one)
    result = _allocated(one, names, "isolate")
    if len(names) == 1:
        _agree(study.results[names[0]], result)
    return one


def several(one: Run) -> list[str]:
    """Names of one to three modules, one of them perhaps twice."""
    chance = random.Random(-one.seed)
    return [chance.choice(one.catalogue.modules).name for _ in range(chance.choice((1, 1, 2, 3)))]


def _allocated(one: Run, names: list[str], strategy: str):
    try:
        result = pa.allocate(one.vehicle, [one.catalogue[name] for name in names], strategy=strategy)
    except (pa.NotEnough, pa.Unsolved) as refusal:
        result = refusal
    _check(one, result)
    return result


def _agree(first, second) -> None:
    """The strategy decides what is best, not whether the module is enough."""
    proved = [isinstance(r, pa.Allocation) for r in (first, second) if not isinstance(r, pa.Unsolved)]
    assert len(set(proved)) <= 1, (str(first), str(second))


def _check(one: Run, result) -> None:
    one.outcomes[result.outcome] += 1
    if isinstance(result, pa.Allocation):
        one.allocations.append(result)
        check_allocation(result)
    elif isinstance(result, pa.NotEnough):
        one.refusals.append(result)
    else:
        # The only way to have no answer is the clock: anything else is a solver and a recount that disagree.
        assert result.outcome == "no answer in time", str(result)


def check_allocation(allocation: pa.Allocation) -> None:
    """No limit is broken, by either road into the recount; every table can be made; JSON gives it back.

    Parameters
    ----------
    allocation : Allocation
        As solved.
    """
    found = pa.verify(allocation)
    assert found.empty, list(found.message)
    found = pa.verify(allocation.vehicle, allocation.units, allocation.assignments)
    assert found.empty, list(found.message)
    assert len(allocation.channels) == len(allocation.circuits)
    assert len(allocation.assignments) == sum(load.count for load in allocation.vehicle.loads)
    assert len(allocation.spare) >= allocation.vehicle.settings.spare_channels
    assert (allocation.headroom.headroom_pct >= 0).all()
    for name in (*TABLES, *HARNESS):
        assert list(getattr(allocation, name).columns)
    assert "nan" not in allocation.summary().split(": ")[-1]
    assert from_json(allocation_json(allocation)) == allocation


def check_refusal(refusal: pa.NotEnough) -> None:
    """What is short can be told, and what is offered in its place is enough.

    Parameters
    ----------
    refusal : NotEnough
        As raised.
    """
    reasons = pa.explain(refusal)
    assert reasons.sentence().count("\n") == str(refusal).count("\n") == 0
    assert (reasons.shortfall.short > 0).all()
    for chosen in reasons.concession_sets:
        found = pa.verify(chosen.allocation)
        assert found.empty, list(found.message)
    assert reasons.concessions["rank"].nunique() == len(reasons.concession_sets)
    # One set takes less time than five: the time limit may cut them short.
    alone = pa.explain(refusal, every_limit=False, sets=1)
    assert reasons.left_open or bool(alone.cheapest) == bool(reasons.concession_sets)
