"""A part of the random vehicles on to paper and back, half of them by way of the command line."""

import csv
import datetime
import json
from dataclasses import replace

import pytest

import pdm_alloc as pa
from pdm_alloc.cli import main
from pdm_alloc.files.grids import unmarked
from pdm_alloc.files.write_tables import write_catalogue, write_vehicle
from tests.chain.chain import made, run, several
from tests.chain.test_chain import seeds

DATE = datetime.date(2026, 3, 1)


def pytest_generate_tests(metafunc):
    """A tenth of all seeds each."""
    first = 0 if "documents" in metafunc.function.__name__ else 5
    metafunc.parametrize("seed", [seed for seed in seeds(metafunc.config) if seed % 10 == first])


def pin_map_of(folder):
    """Header and rows, as a spreadsheet shows them."""
    with (folder / "pin_map.csv").open(newline="", encoding="utf-8-sig") as file:
        header, *rows = [[unmarked(cell) for cell in row] for row in csv.reader(file)]
    return header, rows


def check_pin_map(allocation, folder):
    table = allocation.pin_map()
    header, rows = pin_map_of(folder)
    assert header == list(table.columns)
    assert len(rows) == len(table)
    for written, row in zip(rows, table.itertuples(index=False), strict=True):
        for cell, value in zip(written, row, strict=True):
            assert cell == value if isinstance(value, str) else float(cell) == pytest.approx(value)


def check_folder(allocation, folder):
    """Read back from each of its three forms, and the pin map cell by cell."""
    books, records = sorted(folder.glob("*.xlsx")), sorted(folder.glob("*_tables.xlsx"))
    assert (len(books), len(records)) == (2, 1)
    for place in (folder, folder / "allocation.json", *records):
        assert pa.export.read_allocation(place) == allocation
    check_pin_map(allocation, folder)


def test_documents_read_back(seed, tmp_path):
    """Every document of an allocation is written, and the allocation comes back equal."""
    one = run(made(seed, tmp_path))
    for allocation in one.allocations[:1]:
        written = pa.export.write_documents(allocation, tmp_path / "out", date=DATE)
        assert all(path.stat().st_size for path in written)
        check_folder(allocation, tmp_path / "out")


def said(capsys, *words):
    code = main([str(word) for word in words])
    printed = capsys.readouterr()
    assert "Traceback" not in printed.err
    return code, printed.out, printed.err


def mountable(one, folder):
    """The same where every place takes a module, and every module has a price and a mass."""
    places = tuple(replace(place, mount=True) for place in one.vehicle.places)
    modules = [replace(m, price=m.price or 100.0 + n, mass_g=m.mass_g or 500.0) for n, m in enumerate(one.catalogue)]
    car = write_vehicle(replace(one.vehicle, places=places), folder / "placed")
    return car, f"--catalogue={write_catalogue(replace(one.catalogue, modules=tuple(modules)), folder / 'priced')}"


def check_places(seed, one, folder, capsys):
    """The study over places answers in time, or says why it does not, in words and in JSON: never a crash."""
    words = [f"--time-limit={('0', '0.5')[seed // 10 % 2]}", f"--objective={('price', 'mass', 'front')[seed % 3]}"]
    code, printed, err = said(capsys, "size", *mountable(one, folder), "--places", "--json", *words)
    study = json.loads(printed)
    if one.faults or not one.vehicle.places:
        assert code == 2
        assert study["outcome"] == "unusable input"
    else:
        assert code in (0, 1, 3)
        assert code != 0 or study["best"]
    assert err or code != 2


def test_command_line(seed, tmp_path, capsys):
    """The verbs in order: codes mean what they say, JSON is JSON, and only an allocation is written."""
    one, out = made(seed, tmp_path), tmp_path / "out"
    where = [one.paths[0], f"--catalogue={one.paths[1]}"]
    code, _, err = said(capsys, "check", *where)
    assert (code, bool(err)) == ((2, True) if one.faults else (0, False))
    code, printed, _ = said(capsys, "size", *where, "--json")
    assert code in ((2,) if one.faults else (0, 1, 3))
    study = json.loads(printed)
    check_places(seed, one, tmp_path, capsys)
    names = [] if one.faults else several(one)
    code, printed, err = said(
        capsys, "allocate", *where, *(f"--module={name}" for name in names or ["x"]), f"--out={out}"
    )
    assert code in ((2,) if one.faults else (0, 1, 3))
    assert out.exists() == (code == 0)
    if code == 0:
        allocation = pa.export.read_allocation(out)
        assert allocation.vehicle == one.vehicle
        assert pa.verify(allocation).empty
        check_folder(allocation, out)
        cut = any(row["outcome"] == "no answer in time" for row in study["verdicts"])  # by the clock
        assert len(names) > 1 or study["smallest"] is not None or cut
