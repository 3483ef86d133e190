import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.write_tables import write_vehicle
from tests.strategies import examples
from tests.tables.random_tables import vehicles_as_tables
from tests.tables.variant import Variant, write_workbook

PLAIN = Variant()
variants = st.builds(
    Variant,
    separator=st.sampled_from(",;\t"),
    decimal=st.sampled_from(".,"),
    line_end=st.sampled_from(("\n", "\r\n", "\r")),
    encoding=st.sampled_from(("utf-8", "utf-8-sig", "utf-16")),
    quoted=st.booleans(),
    blanks=st.booleans(),
)


@given(vehicles_as_tables(), variants)
@settings(max_examples=examples(40, 400), deadline=None)
def test_locale_changes_nothing(tables, variant):
    """Separator, decimal mark, byte order mark, line ends, quotation and blank rows: the vehicle is the same."""
    with tempfile.TemporaryDirectory() as folder:
        plain = read_vehicle(PLAIN.write(tables, Path(folder) / "a" / "car"))
        assert read_vehicle(variant.write(tables, Path(folder) / "b" / "car")) == plain


@given(vehicles_as_tables(), st.booleans())
@settings(max_examples=examples(20, 200), deadline=None)
def test_workbook_and_folder_are_the_same_vehicle(tables, typed):
    """XLSX, with numbers or with text in its number cells, gives the vehicle that CSV gives, hashes included."""
    with tempfile.TemporaryDirectory() as folder:
        plain = read_vehicle(PLAIN.write(tables, Path(folder) / "car"))
        assert read_vehicle(write_workbook(tables, Path(folder) / "car.xlsx", typed)) == plain


@given(vehicles_as_tables(), st.randoms(use_true_random=False))
@settings(max_examples=examples(20, 200), deadline=None)
def test_order_of_rows_and_columns_changes_nothing(tables, random):
    """Shuffled rows and columns give the same vehicle and the same hashes; only states and free columns keep order."""
    mixed = {table: _mixed(table, rows, random) for table, rows in tables.items()}
    with tempfile.TemporaryDirectory() as folder:
        plain = read_vehicle(PLAIN.write(tables, Path(folder) / "a" / "car"))
        assert read_vehicle(PLAIN.write(mixed, Path(folder) / "b" / "car")) == plain


def _mixed(table, rows, random):
    rows = random.sample(rows, len(rows))
    columns = list(rows[0]) if rows else []
    return rows if table == "states" else [{c: row[c] for c in random.sample(columns, len(columns))} for row in rows]


@given(vehicles_as_tables(), st.sampled_from(("car", "car.xlsx", "another", "another.xlsx")))
@settings(max_examples=examples(30, 300), deadline=None)
def test_what_is_written_reads_back(tables, name):
    """read(write(vehicle)) is the vehicle, as folder or workbook, under its own name or another."""
    with tempfile.TemporaryDirectory() as folder:
        vehicle = read_vehicle(PLAIN.write(tables, Path(folder) / "in" / "car"))
        assert read_vehicle(write_vehicle(vehicle, Path(folder) / "out" / name)) == vehicle
