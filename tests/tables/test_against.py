from dataclasses import replace

import pytest

from pdm_alloc.domain.vehicle import Lock
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.tables.references import check_against
from tests.tables.good import CATALOGUE, VEHICLE, write_files


@pytest.fixture
def vehicle(tmp_path):
    return read_vehicle(write_files(tmp_path / "car", VEHICLE))


@pytest.fixture
def catalogue(tmp_path):
    return read_catalogue(write_files(tmp_path / "all", CATALOGUE))


@pytest.mark.parametrize("channel", ["1", "1+2", "1 + 2", "3+4"])
def test_locked_channel_may_be_one_or_two_joined(vehicle, catalogue, channel):
    """A channel of the module, its pair or its bridge."""
    assert not check_against(replace(vehicle, locked=(Lock("fan", "small", channel),)), catalogue)


def test_locked_to_one_of_two_modules_of_a_name(vehicle, catalogue):
    """Where a vehicle has two modules of one name they are told apart by a number."""
    assert not check_against(replace(vehicle, locked=(Lock("fan", "small #2", "3"),)), catalogue)
    (fault,) = check_against(replace(vehicle, locked=(Lock("fan", "smal #2", "3"),)), catalogue)
    assert str(fault).endswith("did you mean 'small'?")


@pytest.mark.parametrize("channel", ["5", "2+3", "1+2+3", "1+", "+"])
def test_locked_channel_that_is_none(vehicle, catalogue, channel):
    """No channel of the module, and no two that belong together."""
    (fault,) = check_against(replace(vehicle, locked=(Lock("fan", "small", channel),)), catalogue)
    assert str(fault).startswith(f"locked, column channel: '{channel}' is not a channel of small (for fan)")


def test_ambient_is_checked_where_modules_may_sit(vehicle, catalogue):
    """A hot place counts only if a module can be mounted there, and only for modules with a derating table."""
    hot = [replace(place, ambient_c=90.0) if place.name == "nose" else place for place in vehicle.places]
    assert not check_against(replace(vehicle, places=tuple(hot)), catalogue)
    hot = [replace(place, mount=True) if place.name == "nose" else place for place in hot]
    (fault,) = check_against(replace(vehicle, places=tuple(hot)), catalogue)
    assert str(fault).startswith(
        "places, column ambient_c: '90' at nose is outside the temperatures small is rated at (0 to 60"
    )
