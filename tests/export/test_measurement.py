"""Filled sheets taken back: from CSV and XLSX, judged, and turned into a load table."""

import datetime
import io
import warnings
from dataclasses import replace
from fractions import Fraction

import openpyxl
import pandas as pd
import pytest

from pdm_alloc.electrics.current import running_at_voltage_ma
from pdm_alloc.export.commissioning import commissioning
from pdm_alloc.export.paperwork import read_measurements
from pdm_alloc.export.pdf_grid import workbook_bytes
from pdm_alloc.export.sheets import Issue
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.grids import csv_bytes
from tests.export.made_up import solved

DEMO = ("rally_coupe", "middle-36")


@pytest.fixture(scope="module")
def allocation():
    """One demonstration allocation."""
    return solved(*DEMO)


def _filled(allocation, readings, separator=",", decimal="."):
    """The sheet as CSV with readings by (channel, step) filled in."""
    sheet = commissioning(allocation).astype(object)
    for (channel, step), values in readings.items():
        row = (sheet.channel == channel) & (sheet.step == step)
        assert row.sum() == 1
        for name, value in values.items():
            sheet.loc[row, name] = value
    text = csv_bytes(sheet).decode("utf-8-sig")
    table = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
    if decimal != ".":
        table = table.apply(lambda column: column.str.replace(r"^(\d+)\.(\d+)$", rf"\1{decimal}\2", regex=True))
    return table.to_csv(index=False, sep=separator)


def _read(allocation, tmp_path, readings, **options):
    (tmp_path / "commissioning.csv").write_text(_filled(allocation, readings, **options))
    return read_measurements(tmp_path / "commissioning.csv", allocation)


def _measured_step(allocation, channel):
    sheet = commissioning(allocation)
    return int(sheet[(sheet.channel == channel) & sheet.expected_a.notna()].step.iloc[0])


def _channel_of(allocation, load):
    return next(c.channel for c in allocation.circuits if load in c.loads)


def _on(allocation, load):
    channel = _channel_of(allocation, load)
    return channel, _measured_step(allocation, channel)


def test_empty_sheet_measures_nothing(allocation, tmp_path):
    """A sheet nobody wrote on changes nothing."""
    found = _read(allocation, tmp_path, {})
    assert set(found.table.verdict) == {"not measured"}
    assert found.outside.empty
    assert found.loads.empty
    assert found.vehicle == allocation.vehicle
    assert found.summary().startswith(f"0 of {len(allocation.circuits)} channels measured")


@pytest.mark.parametrize("options", [{}, {"separator": ";", "decimal": ","}, {"separator": "\t"}])
def test_what_agrees_and_what_does_not(allocation, tmp_path, options):
    """A reading as expected is within, one 40 % above is outside, in a sheet saved by a spreadsheet of any locale."""
    main, fan = _on(allocation, "main fuel pump"), _on(allocation, "cooling fan")
    found = _read(allocation, tmp_path, {main: {"measured_a": 6.5}, fan: {"measured_a": 21.0}}, **options)
    verdicts = {
        (row.channel, row.step): row.verdict for row in found.table.itertuples() if row.verdict != "not measured"
    }
    assert verdicts == {main: "within", fan: "outside"}
    assert found.outside.deviation_pct.tolist() == [40.0]
    assert found.loads.load.tolist() == ["cooling fan"]
    assert found.loads.measured_a.tolist() == [21.0]
    assert "2 of 34 channels measured, 1 readings do not agree, 1 loads to change" in found.summary()


def test_voltage_is_allowed_for(allocation, tmp_path):
    """A lamp reading that is right at the voltage measured is within, though not at the reference voltage."""
    spot = _on(allocation, "spot lamp")
    load = allocation.vehicle.load("spot lamp")
    amps = 2 * running_at_voltage_ma(load.running_ma, load.volt_exponent, 9.6, 12.0) / 1000
    low = _read(allocation, tmp_path, {spot: {"measured_a": amps, "measured_v": 9.6}})
    assert low.outside.empty
    wrong = _read(allocation, tmp_path, {spot: {"measured_a": amps}})
    assert wrong.outside.verdict.tolist() == ["outside"]


def test_proposal_is_at_the_reference_voltage(allocation, tmp_path):
    """A load measured 50 % high at another voltage is proposed 50 % high at the reference voltage."""
    spot = _on(allocation, "spot lamp")
    load = allocation.vehicle.load("spot lamp")
    amps = 1.5 * 2 * running_at_voltage_ma(load.running_ma, load.volt_exponent, 13.5, 12.0) / 1000
    found = _read(allocation, tmp_path, {spot: {"measured_a": amps, "measured_v": 13.5}})
    assert found.loads.change_pct.tolist() == [50.0]
    changed = found.vehicle.load("spot lamp")
    assert changed.running_ma == pytest.approx(1.5 * load.running_ma, abs=2)
    assert changed.inrush_ma == pytest.approx(12 * changed.running_ma, abs=1)
    assert found.vehicle.load("wide lamp") == allocation.vehicle.load("wide lamp")


def test_stated_inrush_stays(allocation, tmp_path):
    """An inrush somebody stated is not changed by a running current, unless that has passed it."""
    fan = _on(allocation, "cooling fan")
    stated = allocation.vehicle.load("cooling fan").inrush_ma
    assert _read(allocation, tmp_path, {fan: {"measured_a": 21}}).vehicle.load("cooling fan").inrush_ma == stated
    assert _read(allocation, tmp_path, {fan: {"measured_a": 99}}).vehicle.load("cooling fan").inrush_ma == 99_000


def test_guess_is_replaced_though_within(allocation, tmp_path):
    """A load whose current was a guess takes the measured one even when it is within its tolerance."""
    blower = _on(allocation, "heater blower")
    found = _read(allocation, tmp_path, {blower: {"measured_a": 8.9}})
    assert found.outside.empty
    assert found.loads.why.tolist() == ["was a guess"]
    assert found.vehicle.load("heater blower").running_ma == 8900


def test_loads_on_one_channel_change_in_proportion(allocation, tmp_path):
    """One reading cannot tell loads of one channel apart: they change alike, and the proposal says so."""
    circuit = next(c for c in allocation.circuits if len(c.loads) > 2)
    expected = sum(allocation.vehicle.load(name).running_ma for name, _ in circuit.items) / 1000
    key = (circuit.channel, _measured_step(allocation, circuit.channel))
    found = _read(allocation, tmp_path, {key: {"measured_a": 2 * expected}})
    assert set(found.loads.load) == set(circuit.loads)
    assert found.loads.how.str.contains("in proportion").all()


def test_load_split_over_channels_is_weighed_by_items():
    """Items on several channels: the mean over items counts, and only channels that were measured."""
    allocation = solved("expedition_truck", "middle-42")
    own = [c for c in allocation.circuits if "body lamp" in c.loads]
    assert len(own) > 1
    from pdm_alloc.export.paperwork import Measurements, Reading

    one = allocation.vehicle.load("body lamp").running_ma / 1000
    readings = tuple(
        Reading(c.unit, c.channel, _measured_step(allocation, c.channel), "on", factor * one * len(c.items), None, "")
        for c, factor in zip(own[:2], (2, 3), strict=True)
    )
    found = Measurements(allocation, readings)
    items = [len(c.items) for c in own[:2]]
    mean = Fraction(2 * items[0] + 3 * items[1], sum(items))
    assert found.loads.measured_a.tolist() == pytest.approx([float(mean) * one], abs=0.0011)


def test_on_where_it_should_be_off(allocation, tmp_path):
    """A channel seen on in an off step, or taking current there, is wrong; a little leakage is not."""
    channel, step = _on(allocation, "starter solenoid")
    off = [1, 3] if step == 2 else [2, 3]
    found = _read(allocation, tmp_path, {(channel, off[0]): {"seen": "on"}, (channel, off[1]): {"measured_a": 0.3}})
    assert found.outside.verdict.tolist() == ["wrong", "wrong"]
    fine = _read(allocation, tmp_path, {(channel, off[0]): {"seen": "off"}, (channel, off[1]): {"measured_a": 0.02}})
    assert fine.outside.empty
    dark = _read(allocation, tmp_path, {(channel, step): {"seen": "off", "measured_a": 0}})
    assert dark.outside.verdict.tolist() == ["wrong"]
    assert dark.loads.empty


def test_workbook_takes_readings(allocation, tmp_path):
    """The workbook, filled in and saved by another program, gives the same as the CSV file."""
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes(allocation, Issue("B", datetime.date(2026, 3, 1)))))
    page = book["Commissioning"]
    columns = {cell.value: cell.column for cell in page[1]}
    channel, step = _on(allocation, "cooling fan")
    for row in range(2, page.max_row + 1):
        if (page.cell(row, columns["channel"]).value, page.cell(row, columns["step"]).value) == (channel, step):
            page.cell(row, columns["measured, A"]).value = 21
            page.cell(row, columns["measured, V"]).value = 12.0
            page.cell(row, columns["seen"]).value = "On"
            page.cell(row, columns["remark"]).value = "noisy"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book.save(tmp_path / "filled.xlsx")
    found = read_measurements(tmp_path / "filled.xlsx", allocation)
    assert found.outside.channel.tolist() == [channel]
    assert found.outside.remark.tolist() == ["noisy"]
    assert found.loads.measured_a.tolist() == [21.0]


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"measured_a": "lots"}, "is not a number"),
        ({"measured_a": "6500 mA"}, "is in mA"),
        ({"measured_a": "-6.5"}, "turn the clamp round"),
        ({"measured_v": "0"}, "cannot be"),
        ({"seen": "perhaps"}, "neither on nor off"),
    ],
)
def test_bad_readings_are_located(allocation, tmp_path, values, said):
    """A reading that is none is refused with its row, column and value."""
    with pytest.raises(InputError, match=said) as caught:
        _read(allocation, tmp_path, {_on(allocation, "cooling fan"): values})
    (fault,) = caught.value.faults
    assert fault.column == next(iter(values))
    assert fault.row > 1


def test_all_faults_at_once(allocation, tmp_path):
    """Every bad reading is named in one go."""
    readings = {
        _on(allocation, "cooling fan"): {"measured_a": "x", "seen": "y"},
        _on(allocation, "horn"): {"measured_v": "z"},
    }
    with pytest.raises(InputError) as caught:
        _read(allocation, tmp_path, readings)
    assert len(caught.value.faults) == 3


def test_sheet_of_another_allocation_is_refused(allocation, tmp_path):
    """A sheet printed before the wiring changed is not taken for this one."""
    one, two = allocation.circuits[0], allocation.circuits[1]
    swapped = (replace(one, command=two.command, items=two.items), replace(two, command=one.command, items=one.items))
    (tmp_path / "commissioning.csv").write_text(_filled(allocation, {}))
    with pytest.raises(InputError, match="of another allocation"):
        read_measurements(
            tmp_path / "commissioning.csv", replace(allocation, circuits=(*swapped, *allocation.circuits[2:]))
        )


def test_files_that_are_no_sheet(allocation, tmp_path):
    """A file that does not exist, one without the columns, one with a row twice: refused in words."""
    with pytest.raises(InputError):
        read_measurements(tmp_path / "none.csv", allocation)
    (tmp_path / "other.csv").write_text("a,b\n1,2\n")
    with pytest.raises(InputError, match="measured_a: is missing"):
        read_measurements(tmp_path / "other.csv", allocation)
    text = _filled(allocation, {})
    (tmp_path / "twice.csv").write_text(text + text.splitlines()[1] + "\n")
    with pytest.raises(InputError, match="appears twice"):
        read_measurements(tmp_path / "twice.csv", allocation)
    (tmp_path / "bomb.xlsx").write_bytes(b"PK\x03\x04 nothing")
    with pytest.raises(InputError):
        read_measurements(tmp_path / "bomb.xlsx", allocation)
