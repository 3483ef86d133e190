"""Tables from DataFrames, and tables handed out as copies."""

import numpy as np
import pandas as pd
import pytest

import pdm_alloc as pa
from pdm_alloc.files.write_tables import catalogue_tables, vehicle_tables
from tests.api.demo import DATA, allocation, car, catalogue

LOADS = pd.DataFrame({"load": ["lamp", "horn"], "command": ["light", "horn"], "running_a": [1.5, 4], "kind": "led"})
TABLES = (
    *("channels", "assignments", "spare", "headroom", "wires", "settings", "drops"),
    *("supply", "voltages", "warnings", "segments", "feeds", "links", "heat", "parked"),
)


def test_a_vehicle_from_frames_is_the_one_from_files():
    """Frames as pandas reads them from the very files give the same vehicle, checks and defaults included."""
    frames = {path.stem: pd.read_csv(path) for path in (DATA / "rally_coupe").glob("*.csv")}
    settings = {setting: getattr(car().settings, setting) for setting in pa.Settings.__dataclass_fields__}
    vehicle = pa.vehicle(**frames, settings=settings, name="rally_coupe")
    assert vehicle == car()


def test_a_catalogue_from_frames_is_the_one_from_files():
    """The same for modules."""
    frames = {path.stem: pd.read_csv(path) for path in (DATA / "catalogue").glob("*.csv")}
    assert pa.catalogue(**frames, name="catalogue") == catalogue()


def test_what_is_handed_out_as_tables_reads_back():
    """Text frames, as a table of text becomes one, are read as well."""
    tables = {name: pd.DataFrame(rows) for name, rows in vehicle_tables(car()).items()}
    settings = dict(tables.pop("settings").itertuples(index=False)) if "settings" in tables else {}
    assert pa.vehicle(**tables, settings=settings, name="rally_coupe").loads == car().loads
    modules = {name: pd.DataFrame(rows) for name, rows in catalogue_tables(catalogue()).items()}
    assert pa.catalogue(**modules, name="catalogue").modules == catalogue().modules


def test_missing_values_are_empty_cells():
    """Every way pandas leaves a cell out is the default, also where it turned whole numbers into floats."""
    loads = LOADS.assign(count=[2, np.nan], importance=[None, "vital"], place=pd.NA, min_v=pd.array([None, 9], "Int64"))
    vehicle = pa.vehicle(loads=loads, places=pd.DataFrame({"place": ["dash"]}))
    assert [(x.name, x.count, x.importance, x.place, x.min_v) for x in vehicle.loads] == [
        ("horn", 1, "vital", None, 9.0),
        ("lamp", 2, "needed", None, None),
    ]


def test_a_named_index_is_a_column():
    """A matrix of states has its commands in the index, as a pivot table leaves them."""
    states = pd.DataFrame({"day": [0, 1], "night": [1, 0.5]}, index=pd.Index(["light", "horn"], name="command"))
    vehicle = pa.vehicle(loads=LOADS.set_index("load"), states=states)
    assert [state.name for state in vehicle.states] == ["day", "night"]
    assert vehicle.states[1].duty_ppm == {"horn": 500_000, "light": 1_000_000}


def test_every_fault_is_told_with_its_row():
    """The same InputError as from files: all at once, and rows counted as in the file the frame would be saved to."""
    loads = LOADS.assign(running_a=[-1, 4], kidn=["led", ""])
    with pytest.raises(pa.InputError) as caught:
        pa.vehicle(loads=loads, settings={"strategy": "isolte"})
    faults = {(fault.table, fault.row, fault.column) for fault in caught.value.faults}
    assert ("loads", 2, "running_a") in faults
    assert any(table == "settings" and column == "strategy" for table, _, column in faults)
    assert "did you mean 'kind'" in str(caught.value)


def test_the_same_faults_as_from_files(tmp_path):
    """Saved to files the frames bring the very same words."""
    loads = LOADS.assign(running_a=["lots", 4], importance=["vitl", "needed"])
    loads.to_csv(tmp_path / "loads.csv", index=False)
    with pytest.raises(pa.InputError) as of_file:
        pa.read_vehicle(tmp_path)
    with pytest.raises(pa.InputError) as of_frame:
        pa.vehicle(loads=loads)
    assert str(of_frame.value) == str(of_file.value)


@pytest.mark.parametrize("loads", [[{"load": "lamp"}], "loads.csv", None])
def test_what_is_no_frame_is_refused(loads):
    """A path or a list is told what is wanted; a vehicle without loads is an input error as from files."""
    with pytest.raises((TypeError, pa.InputError), match=r"must be a DataFrame|is missing or empty"):
        pa.vehicle(loads=loads)


def test_rows_that_are_missing_are_told():
    """A catalogue without channels is refused as one from files is."""
    modules = pd.DataFrame({"module": ["m"], "total_a": [10], "total_peak_a": [20]})
    with pytest.raises(pa.InputError, match="channels"):
        pa.catalogue(modules, pd.DataFrame(columns=["module", "channel"]))


def test_a_frame_is_left_as_it_is():
    """Reading a frame changes nothing in it."""
    before = LOADS.copy()
    pa.vehicle(loads=LOADS)
    pd.testing.assert_frame_equal(LOADS, before)


@pytest.mark.parametrize("name", TABLES)
def test_tables_of_an_allocation_are_copies(name):
    """Whoever changes a table in a notebook must not change what the next cell, or a document, gets."""
    first = getattr(allocation(), name)
    before = first.copy()
    first["scribbled"] = 1
    first.iloc[:, 0] = None
    pd.testing.assert_frame_equal(getattr(allocation(), name), before)


def test_tables_of_the_studies_are_copies():
    """The same for sizing and for an explanation."""
    study = pa.size(car(), pa.Catalogue("two", (catalogue()["compact-31"], catalogue()["middle-36"])))
    explained = study.explanations["compact-31"]
    for thing, name in ((study, "verdicts"), (study, "pairs"), (explained, "shortfall"), (explained, "concessions")):
        before = getattr(thing, name).copy()
        handed = getattr(thing, name)
        handed["scribbled"] = 1
        pd.testing.assert_frame_equal(getattr(thing, name), before)
