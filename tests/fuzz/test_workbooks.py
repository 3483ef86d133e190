"""Workbooks that were good and have one of their parts damaged: read, or refused in words."""

import datetime
import io
import tempfile
import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.export.paperwork import read_measurements
from pdm_alloc.export.read_saved import read_allocation
from pdm_alloc.export.sheets import Issue
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.write_tables import write_catalogue, write_vehicle
from tests.fuzz.mutate import damaged, many
from tests.fuzz.refused import refused_in_words
from tests.fuzz.test_saved import MADE, reads_or_refuses
from tests.tables.good import CATALOGUE, VEHICLE, write_files

pytest.importorskip("xlsxwriter")

from pdm_alloc.export.pdf_grid import record_bytes


def _members(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _written(write, thing) -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        return _members(Path(write(thing, Path(folder) / "book.xlsx")).read_bytes())


def _read(reader, files, write):
    with tempfile.TemporaryDirectory() as folder:
        return _written(write, reader(write_files(Path(folder) / "good", files)))


VEHICLE_BOOK = _read(read_vehicle, VEHICLE, write_vehicle)
CATALOGUE_BOOK = _read(read_catalogue, CATALOGUE, write_catalogue)
DOCUMENT_BOOK = _members(record_bytes(MADE, Issue("A", datetime.date(2026, 3, 1))))


@st.composite
def damaged_books(draw, members: dict[str, bytes]) -> bytes:
    """A workbook with one part damaged, or lost, or there under another's name; zipped as it should be."""
    name = draw(st.sampled_from(sorted(members)))
    how = draw(st.sampled_from(("damage", "damage", "damage", "lose", "swap")))
    parts = dict(members)
    if how == "damage":
        parts[name] = draw(damaged(members[name]))
    elif how == "lose":
        del parts[name]
    else:
        parts[name] = members[draw(st.sampled_from(sorted(members)))]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for part, content in parts.items():
            archive.writestr(part, content)
    return out.getvalue()


def usable_or_refused(read, content: bytes) -> None:
    """Something, or faults of one line each."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.xlsx"
        path.write_bytes(content)
        try:
            assert read(path) is not None
        except InputError as error:
            refused_in_words(error)


@given(damaged_books(VEHICLE_BOOK))
@many(200)
def test_damaged_vehicle(content):
    """The workbook of a vehicle with every table."""
    usable_or_refused(read_vehicle, content)


@given(damaged_books(CATALOGUE_BOOK))
@many(80)
def test_damaged_catalogue(content):
    """The workbook of a catalogue."""
    usable_or_refused(read_catalogue, content)


@pytest.mark.once
@given(damaged_books(DOCUMENT_BOOK))
@many(40)
def test_damaged_documents(content):
    """The workbook of all documents, from which an allocation and a filled sheet are read back."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.xlsx"
        path.write_bytes(content)
        reads_or_refuses(read_allocation, path)
    usable_or_refused(lambda path: read_measurements(path, MADE), content)
