import datetime

import openpyxl
import pytest

from pdm_alloc.files.faults import InputError
from pdm_alloc.files.tables.read_catalogue import read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from tests.tables.good import CATALOGUE, write_files
from tests.tables.raw_workbook import make_workbook, row, sheet

LOADS = [["load", "command", "running_a", "kind", "x_part"], ["pump", "ignition", 6.5, "motor", "P-1"]]


def workbook(path, **sheets):
    """A workbook of these sheets, each a list of rows."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for cells in rows:
            sheet.append(cells)
    book.save(path)
    return path


def fault_of(path):
    """What reading says."""
    with pytest.raises(InputError) as refusal:
        read_vehicle(path)
    return str(refusal.value)


@pytest.mark.parametrize(
    ("value", "milliamps"),
    [(6.5, 6500), (7, 7000), (0.1 + 0.2, 300), ("6,5 A", 6500), (1e-3, 1), (0.0015, 2), (2.0000000001, 2000)],
)
def test_numbers_are_read_as_typed(value, milliamps, tmp_path):
    """What floating point leaves behind is not taken for a digit; finer than a milliamp is rounded up."""
    path = workbook(tmp_path / "car.xlsx", loads=[LOADS[0], ["pump", "ignition", value, "motor"]])
    assert read_vehicle(path).load("pump").running_ma == milliamps


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (datetime.datetime(2024, 5, 6), "'2024-05-06' is a date"),
        (datetime.time(6, 30), "'06:30:00' is a date"),
        (True, "'TRUE' is not a number"),
        ("#REF!", "'#REF!' is an error of the spreadsheet"),
        ("=1+1", "'=1+1' is a formula without a value"),
        ("six", "'six' is not a number"),
    ],
)
def test_cell_that_is_no_number_is_refused(value, said, tmp_path):
    """Dates, truth values, errors, formulas never calculated and text are faults in a number cell."""
    path = workbook(tmp_path / "car.xlsx", loads=[LOADS[0], ["pump", "ignition", value, "motor"]])
    assert fault_of(path).startswith(f"loads, row 2, column running_a: {said}; ")


def test_date_in_a_name_is_refused(tmp_path):
    """A name that the spreadsheet has turned into a date is a fault; in a free column it goes along as text."""
    day = datetime.datetime(2024, 3, 4)
    assert "column load: '2024-03-04' is a date" in fault_of(
        workbook(tmp_path / "car.xlsx", loads=[LOADS[0], [day, "ignition", 1, "motor"]])
    )
    vehicle = read_vehicle(workbook(tmp_path / "van.xlsx", loads=[LOADS[0], ["pump", "ignition", 1, "motor", day]]))
    assert vehicle.load("pump").extra == (("x_part", "2024-03-04"),)


def test_numbers_as_names_have_no_decimal_point(tmp_path):
    """A load called 7 and a channel called 1 are 7 and 1, though spreadsheets hold them as numbers."""
    loads = [LOADS[0], [7, "ignition", 1, "motor"]]
    path = workbook(tmp_path / "car.xlsx", loads=loads, locked=[["load", "module", "channel"], [7.0, "small", 1]])
    vehicle = read_vehicle(path)
    assert (vehicle.loads[0].name, vehicle.locked[0].load, vehicle.locked[0].channel) == ("7", "7", "1")


def test_cell_shown_in_per_cent_is_per_cent(tmp_path):
    """A cell that shows 50 % holds 0.5: a duty of 0.5, a tolerance of 50 %."""
    path = workbook(
        tmp_path / "car.xlsx",
        loads=[["load", "command", "running_a", "tolerance_pct", "kind"], ["pump", "ignition", 1, 0.5, "motor"]],
        states=[["command", "ready"], ["ignition", 0.5]],
    )
    book = openpyxl.load_workbook(path)
    book["loads"]["D2"].number_format = book["states"]["B2"].number_format = "0%"
    book.save(path)
    vehicle = read_vehicle(path)
    assert vehicle.load("pump").tolerance_pct == 50
    assert vehicle.states[0].duty_ppm["ignition"] == 500_000


def test_formula_is_read_by_the_value_the_spreadsheet_left(tmp_path):
    """A formula counts with its cached value; beside it, one without a value is a fault."""
    header = row(1, "load", "command", "kind", "running_a")
    first = row(2, "pump", "ignition", "motor").replace("</row>", '<c r="D2"><f>3*2</f><v>6</v></c></row>')
    second = row(3, "fan", "ignition", "fan").replace("</row>", '<c r="D3"><f>3*2</f></c></row>')
    assert read_vehicle(make_workbook(tmp_path / "car.xlsx", header + first)).load("pump").running_ma == 6000
    assert fault_of(make_workbook(tmp_path / "van.xlsx", header + first + second)) == (
        "loads, row 3, column running_a: '=3*2' is a formula without a value; "
        "open the workbook in a spreadsheet and save it"
    )


def test_rows_count_as_the_spreadsheet_counts_them(tmp_path):
    """Blank rows above the header and between rows count, and blank columns do not matter."""
    header, cells = [None, "load", None, "command", "running_a", "kind"], [None, "pump", None, "ignition", -1, "motor"]
    rows = [[], header, [], [], cells]
    assert fault_of(workbook(tmp_path / "car.xlsx", loads=rows)).startswith("loads, row 5, column running_a: '-1'")


def test_size_a_sheet_states_is_not_believed(tmp_path):
    """A sheet that says it is one cell large is read whole."""
    text = row(1, *LOADS[0]) + row(2, "pump", "ignition", 6.5, "motor") + row(3, "fan", "ignition", 2.0, "fan")
    parts = {"xl/worksheets/sheet1.xml": sheet(text, '<dimension ref="A1:A1"/>')}
    path = make_workbook(tmp_path / "car.xlsx", "", parts)
    assert len(read_vehicle(path).loads) == 2


def test_row_number_far_beyond_the_sheet_is_refused(tmp_path):
    """A row that says it is the billionth is a fault, not a billion blank rows."""
    path = make_workbook(tmp_path / "car.xlsx", row(1, *LOADS[0]) + row(999_999_999, "pump", "ignition", 1.0))
    assert "is beyond the last row of a spreadsheet" in fault_of(path)


def test_sheets_are_tables_by_name(tmp_path):
    """Names of sheets forgive case and spaces; blank sheets and those named x_ are left unread; others are refused."""
    path = workbook(tmp_path / "car.xlsx", **{" Loads ": LOADS, "Sheet2": [], "x_notes": [["anything"], ["at all"]]})
    assert len(read_vehicle(path).loads) == 1
    assert fault_of(workbook(tmp_path / "van.xlsx", loads=LOADS, plases=[["place"], ["dash"]])) == (
        "plases: is not a table known here; did you mean 'places'?"
    )


def test_settings_are_a_sheet(tmp_path):
    """A workbook has its settings in a sheet of settings and values, with numbers as numbers or as text."""
    rows = [["setting", "value"], ["system_v", 24], ["headroom_pct", "12,5 %"], ["strategy", "Spare"]]
    settings = read_vehicle(workbook(tmp_path / "car.xlsx", loads=LOADS, settings=rows)).settings
    assert (settings.system_v, settings.reference_v, settings.strategy) == (24, 24, "spare")
    assert float(settings.headroom_pct) == 12.5
    rows += [["headroom", 20], ["spare_channels", 1.5]]
    assert fault_of(workbook(tmp_path / "van.xlsx", loads=LOADS, settings=rows)).splitlines() == [
        "settings, row 5: 'headroom' is not a setting known here; did you mean 'headroom_pct'?",
        "settings, row 6, column spare_channels: '1.5' is not a whole number; give a whole number",
    ]


def test_catalogue_is_a_workbook_too(tmp_path):
    """A catalogue as workbook equals the same catalogue as folder."""
    tables = {
        name.removesuffix(".csv"): [line.split(",") for line in text.splitlines()] for name, text in CATALOGUE.items()
    }
    folder = read_catalogue(write_files(tmp_path / "all", CATALOGUE))
    assert read_catalogue(workbook(tmp_path / "all.xlsx", **tables)) == folder


def test_vehicle_and_catalogue_may_share_a_workbook(tmp_path):
    """One workbook can hold all tables: each reader takes its own."""
    tables = {
        name.removesuffix(".csv"): [line.split(",") for line in text.splitlines()] for name, text in CATALOGUE.items()
    }
    path = workbook(tmp_path / "all.xlsx", loads=LOADS, **tables)
    assert len(read_vehicle(path).loads) == 1
    assert len(read_catalogue(path)) == 2


@pytest.mark.parametrize(
    ("content", "name", "said"),
    [
        (b"", "car.xlsx", "is not an XLSX workbook; save it as .xlsx, without a password"),
        (b"PK\x03\x04 and no more", "car.xlsx", "is not an XLSX workbook; save it as .xlsx, without a password"),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" * 99,
            "car.xlsx",
            "is not an XLSX workbook; save it as .xlsx, without a password",
        ),
        (
            b"load,command\n",
            "car.xls",
            "is not an XLSX workbook; save it as .xlsx; give a folder of CSV files, or an XLSX workbook",
        ),
        (
            b"load,command\n",
            "loads.csv",
            "is not an XLSX workbook; save it as .xlsx; give a folder of CSV files, or an XLSX workbook",
        ),
    ],
    ids=["empty", "cut off", "password", "old format", "one CSV file"],
)
def test_file_that_is_no_workbook(content, name, said, tmp_path):
    """Empty, cut off, protected, of another format: one line with the path as given."""
    path = tmp_path / name
    path.write_bytes(content)
    assert fault_of(path) == f"{path}: {said}"


def test_workbook_without_sheets_or_parts(tmp_path):
    """A zip file with parts missing or damaged is a fault that names the file."""
    for parts in ({"xl/workbook.xml": "not xml"}, {"[Content_Types].xml": ""}, {"xl/worksheets/sheet1.xml": "<a"}):
        path = make_workbook(tmp_path / "car.xlsx", "", parts)
        assert fault_of(path).startswith(f"{path}: cannot be read as a workbook (")
