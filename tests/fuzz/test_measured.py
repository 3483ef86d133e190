"""What comes back from the bench, filled sheets and logged traces, damaged in every way."""

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from pdm_alloc.electrics.trace import TraceError, fit_inrush
from pdm_alloc.export.commissioning import commissioning
from pdm_alloc.export.paperwork import read_measurements
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.grids import csv_bytes
from pdm_alloc.files.outline import read_trace
from tests.fuzz.mutate import TOKENS, damaged, many
from tests.fuzz.refused import refused_in_words
from tests.fuzz.test_saved import MADE


def _sheet() -> bytes:
    """Filled in, every cell that can be."""
    table = commissioning(MADE)
    table["seen"] = "on"
    table["measured_a"] = 4.5
    table["measured_v"] = 13.8
    table["remark"] = "ok"
    return csv_bytes(table)


SHEET = _sheet()
TIMES = np.arange(0, 0.2, 0.002)
CURRENTS = np.where(TIMES > 0.05, 5 + 20 * np.exp(-(TIMES - 0.05) / 0.02), 0.1)
TRACE = ("time_s,current_a\n" + "".join(f"{t:.3f},{a:.3f}\n" for t, a in zip(TIMES, CURRENTS, strict=True))).encode()


@given(damaged(SHEET))
@many(150)
def test_damaged_sheet(content):
    """A filled sheet is judged, or refused; what is judged can be shown and gives a vehicle."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "commissioning.csv"
        file.write_bytes(content)
        try:
            measured = read_measurements(file, MADE)
        except InputError as error:
            refused_in_words(error)
            return
    assert len(measured.table) == len(commissioning(MADE))
    assert measured.summary()
    assert measured.loads is not None
    assert len(measured.vehicle.loads) == len(MADE.vehicle.loads)


@given(st.one_of(damaged(TRACE), st.binary(max_size=200), st.lists(TOKENS, max_size=30).map(b"".join)))
@example(TRACE)
@example(b"time_s,current_a\n")
@example(b"time_s,current_a\n0,0\n0,0\n0,0\n")
@example(b"time_s,time_s,current_a\n0,0,1\n1,1,1\n")
@example(b"time_s,current_a,\n0,0,,,,,\n1,1\n")
@example(TRACE.replace(b"0.100", b"1e300").replace(b"25.000", b"1e300"))
@many(300)
def test_damaged_trace(content):
    """A trace is read and fitted, or refused in words by one of the two."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "trace.csv"
        file.write_bytes(content)
        try:
            trace = read_trace(file)
        except InputError as error:
            refused_in_words(error)
            return
    try:
        fitted = fit_inrush(trace.time_s, trace.current_a)
    except TraceError as error:
        assert "\n" not in str(error)
        return
    assert np.isfinite([fitted.running_a, fitted.peak_a, fitted.inrush_ms]).all()
