from collections import Counter

import pytest

from pdm_alloc.files.faults import InputError
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.tables.references import check_against
from tests.tables.bad_inputs import bad_inputs
from tests.tables.good import CATALOGUE, VEHICLE, write_files

CORPUS = bad_inputs()


def faults_of(vehicle_path, catalogue_path):
    """All faults of a vehicle and a catalogue, and only where there are none, those of both together."""
    faults, read = [], []
    for reader, path in ((read_vehicle, vehicle_path), (read_catalogue, catalogue_path)):
        try:
            read.append(reader(path))
        except InputError as error:
            faults += error.faults
    return faults or check_against(*read)


def test_good_input_has_no_fault(tmp_path):
    """The files every bad input is made from have no fault of their own."""
    assert not faults_of(write_files(tmp_path / "vehicle", VEHICLE), write_files(tmp_path / "catalogue", CATALOGUE))


def test_corpus_is_large_and_distinct():
    """The corpus has at least 80 bad inputs, no two with the same name, edit or message."""
    assert len(CORPUS) >= 80
    for part in ("name", "edit"):
        assert not [twin for twin, count in Counter(getattr(bad, part) for bad in CORPUS).items() if count > 1]


@pytest.mark.parametrize("bad", CORPUS, ids=lambda bad: bad.name)
def test_everything_wrong_is_said_and_nothing_else(bad, tmp_path):
    """One edit brings exactly the lines it should, with table, row, column, value and remedy."""
    assert str(InputError(faults_of(*bad.write(tmp_path)))) == bad.said


@pytest.mark.parametrize("bad", CORPUS, ids=lambda bad: bad.name)
def test_every_line_says_where_and_what_to_do(bad, tmp_path):
    """No fault lacks a table or a remedy, and none runs over more than one line."""
    for fault in faults_of(*bad.write(tmp_path)):
        assert fault.table and fault.remedy, fault
        assert "\n" not in str(fault)
        assert fault.row is None or fault.row >= 1
