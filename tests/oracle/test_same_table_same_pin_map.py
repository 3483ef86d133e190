"""The pin map is a function of what the tables say, not of how they are sorted, saved or spelt."""

import csv
import random
from dataclasses import replace
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import pdm_alloc as pa
from pdm_alloc.domain.module import units_of
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.write_tables import vehicle_tables
from tests.strategies import cases, examples
from tests.what_if.builds import lamp, module, vehicle

DATA = Path(__file__).parents[2] / "data"
MODULE = "middle-36"


def rows_of(path):
    """Header and rows of a CSV file, as text."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        header, *rows = csv.reader(file)
    return header, rows


def mixed(header, rows, rng):
    """Rows and columns in another order; the first column of a matrix stays the first."""
    order = [0, *rng.sample(range(1, len(header)), len(header) - 1)]
    if header[0] != "command":
        rng.shuffle(order)
    rows = rng.sample(rows, len(rows))
    return [header[n] for n in order], [[row[n] for n in order] for row in rows]


def as_folder(source, folder, rng, separator=","):
    """The tables of a folder, mixed, as CSV."""
    folder.mkdir(parents=True)
    for path in sorted(source.iterdir()):
        if path.suffix == ".csv":
            header, rows = mixed(*rows_of(path), rng)
            with (folder / path.name).open("w", encoding="utf-8-sig", newline="") as file:
                csv.writer(file, delimiter=separator).writerows([header, *rows])
        elif path.suffix == ".toml":
            (folder / path.name).write_bytes(path.read_bytes())
    return folder


def as_workbook(source, path, rng):
    """The tables of a folder, mixed, as one workbook with a sheet a table; numbers as numbers."""
    path.parent.mkdir(parents=True, exist_ok=True)
    book = openpyxl.Workbook()
    book.remove(book.active)
    for table, frame in vehicle_tables(pa.read_vehicle(source)).items():
        header, rows = mixed(list(frame.columns), frame.to_numpy().tolist(), rng)
        sheet = book.create_sheet(table)
        for row in [header, *rows]:
            sheet.append([number(cell) for cell in row])
    book.save(path)
    return path


def number(text):
    try:
        return float(text)
    except ValueError:
        return text or None


def pin_map(vehicle, catalogue):
    return pa.allocate(vehicle, catalogue[MODULE]).pin_map()


@pytest.fixture(scope="module")
def plain():
    """The demo's pin map from its tables as they are."""
    return pin_map(pa.read_vehicle(DATA / "rally_coupe"), pa.read_catalogue(DATA / "catalogue"))


@pytest.mark.parametrize("seed", [1, *(pytest.param(n, marks=pytest.mark.nightly) for n in (2, 3))])
def test_order_of_rows_and_columns_of_every_table(plain, tmp_path, seed):
    """Vehicle and catalogue shuffled, with another separator: the same pin map to the last cell."""
    rng = random.Random(seed)
    vehicle = pa.read_vehicle(as_folder(DATA / "rally_coupe", tmp_path / "rally_coupe", rng, ";"))
    catalogue = pa.read_catalogue(as_folder(DATA / "catalogue", tmp_path / "catalogue", rng, "\t"))
    pd.testing.assert_frame_equal(pin_map(vehicle, catalogue), plain)


def test_a_workbook_says_the_same(plain, tmp_path):
    """CSV or XLSX is no difference."""
    vehicle = pa.read_vehicle(as_workbook(DATA / "rally_coupe", tmp_path / "rally_coupe.xlsx", random.Random(4)))
    pd.testing.assert_frame_equal(pin_map(vehicle, pa.read_catalogue(DATA / "catalogue")), plain)


def wiring(allocation):
    """Unit and channel of every item."""
    return {item: (c.unit, c.channel) for c in allocation.circuits for item in c.items}


def allocated(vehicle, units):
    try:
        return pa.allocate(vehicle, units)
    except pa.NotEnough:
        return None


@settings(max_examples=examples(20, 200), deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(case=cases(), rng=st.randoms(use_true_random=False))
def test_order_of_objects_in_code(case, rng):
    """The same for those who build a vehicle in code, channels of the module in any order too."""
    vehicle, units = case
    other = replace(
        vehicle,
        loads=tuple(rng.sample(vehicle.loads, len(vehicle.loads))),
        commands=tuple(rng.sample(vehicle.commands, len(vehicle.commands))),
        states=tuple(rng.sample(vehicle.states, len(vehicle.states))),
    )
    turned = tuple(
        replace(u, module=replace(u.module, channels=tuple(rng.sample(u.module.channels, len(u.module.channels)))))
        for u in units
    )
    first, second = allocated(vehicle, units), allocated(other, turned)
    assert (first is None) == (second is None)
    if first is not None:
        assert wiring(second) == wiring(first)


def alike(load):
    """All of a load that says where it can go: loads alike in it can only be told apart by name."""
    return replace(load, name="", note="", extra=())


def renamed(vehicle: Vehicle, old, new):
    return replace(vehicle, loads=tuple(replace(x, name=new) if x.name == old else x for x in vehicle.loads))


def moves_nothing(vehicle, units, old, new):
    """Rename one load: everything is where it was, but that loads alike in all but name may have changed places."""
    first, second = allocated(vehicle, units), allocated(renamed(vehicle, old, new), units)
    assert (first is None) == (second is None)
    if first is None:
        return
    kind = {load.name: alike(load) for load in vehicle.loads}
    twins = [name for name in kind if kind[name] == kind[old]]
    back = {((old if name == new else name), n): spot for (name, n), spot in wiring(second).items()}
    before = wiring(first)
    assert {i: s for i, s in back.items() if i[0] not in twins} == {
        i: s for i, s in before.items() if i[0] not in twins
    }
    assert sorted(s for i, s in back.items() if i[0] in twins) == sorted(s for i, s in before.items() if i[0] in twins)


@settings(max_examples=examples(20, 200), deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(case=cases(), new=st.sampled_from(("a new name", "zz", "load 10", "LOAD 1")), data=st.data())
def test_renaming_a_load_moves_nothing_else(case, new, data):
    """A name decides nothing but between loads that are alike in everything else."""
    vehicle, units = case
    moves_nothing(vehicle, units, data.draw(st.sampled_from([load.name for load in vehicle.loads])), new)


def test_what_the_table_says_tells_loads_apart_before_their_names():
    """Of two loads alike to every rule the comfort load stays where it is, whatever it is called."""
    car = vehicle(lamp("b", "x", importance="comfort"), lamp("c", "x"), lamp("fan", "y"))
    for new in ("a", "d"):
        moves_nothing(car, units_of(module(10, 10, 10)), "b", new)


@pytest.mark.parametrize("n", [0, 9, 23, 37])
@pytest.mark.parametrize("new", ["0 first", "zz last"])
def test_renaming_a_load_of_the_demo_moves_nothing_else(n, new):
    """The same on a vehicle of real size."""
    vehicle = pa.read_vehicle(DATA / "rally_coupe")
    module = pa.read_catalogue(DATA / "catalogue")[MODULE]
    moves_nothing(vehicle, units_of(module), vehicle.loads[n].name, new)
