"""Traces from CSV files of any locale, and the figure."""

import numpy as np
import pytest

from pdm_alloc.electrics.trace import fit_inrush
from pdm_alloc.figures.limits import trace as draw
from pdm_alloc.files import outline as trace_file
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.outline import read_trace
from tests.trace.synthetic_trace import make_trace


@pytest.mark.parametrize(
    "text",
    [
        "time_s,current_a\n0,1.5\n0.001,2.5\n",
        "\ufefftime_s;current_a\r\n0;1,5\r\n0,001;2,5\r\n",
        "x_note\ttime_s\tcurrent_a\nfirst\t0\t1.5\n\t1e-3\t2.5\n\n\n",
        '"time_s","current_a"\n"0","1.5"\n"0.001","2.5"\n',
    ],
)
def test_reads_any_locale(tmp_path, text):
    """Separators, decimal commas, a byte order mark, quotes and further columns make no difference."""
    (tmp_path / "log.csv").write_bytes(text.encode())
    trace = read_trace(tmp_path / "log.csv")
    assert trace.time_s == pytest.approx([0, 0.001])
    assert trace.current_a == pytest.approx([1.5, 2.5])


def test_units_in_the_header(tmp_path):
    """A header chosen by the user may be in ms and mA."""
    (tmp_path / "log.csv").write_text("t_ms,clamp_mA\n0,1500\n1,2500\n")
    trace = read_trace(tmp_path / "log.csv", time="t_ms", current="clamp_mA")
    assert trace.time_s == pytest.approx([0, 0.001])
    assert trace.current_a == pytest.approx([1.5, 2.5])


def test_all_faults_at_once(tmp_path):
    """Every bad cell of both columns is named with its row as the spreadsheet counts it."""
    (tmp_path / "log.csv").write_text("time_s,current_a\n0,1\nx,2\n0.2,\n")
    with pytest.raises(InputError) as caught:
        read_trace(tmp_path / "log.csv")
    assert [(f.row, f.column, f.value) for f in caught.value.faults] == [(3, "time_s", "x"), (4, "current_a", "")]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"time,current_a\n0,1\n", "time_s is missing|is missing"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b"", "is no table|is missing"),
    ],
)
def test_unusable_files(tmp_path, content, said):
    """A file without the columns, of another encoding or empty is refused in words."""
    (tmp_path / "log.csv").write_bytes(content)
    with pytest.raises(InputError, match=said):
        read_trace(tmp_path / "log.csv")


def test_missing_and_large_files(tmp_path, monkeypatch):
    """A file that is not there, or larger than memory should bear, is refused before it is read."""
    with pytest.raises(InputError, match="cannot be read"):
        read_trace(tmp_path / "none.csv")
    monkeypatch.setattr(trace_file, "LARGEST_BYTES", 10)
    (tmp_path / "log.csv").write_text("time_s,current_a\n0,1\n")
    with pytest.raises(InputError, match="too large"):
        read_trace(tmp_path / "log.csv")


def test_file_to_fit(tmp_path):
    """A trace that went through a file gives the same fit."""
    t, i = make_trace(4.6, 55, 60, 0.3)
    np.savetxt(tmp_path / "log.csv", np.c_[t, i], delimiter=",", header="time_s,current_a", comments="")
    trace = read_trace(tmp_path / "log.csv")
    assert fit_inrush(trace.time_s, trace.current_a) == fit_inrush(t, i)


def test_figure_shows_trace_and_fit():
    """The figure has the logged samples, the curve of the fit, and says the values with their errors."""
    t, i = make_trace(4.6, 55, 60, 0.3)
    fit = fit_inrush(t, i)
    axes = draw(t, i, fit)
    logged, curve = axes.lines[:2]
    assert np.array_equal(logged.get_ydata(), i)
    assert curve.get_ydata() == pytest.approx(fit.current(t))
    said = " ".join(text.get_text() for text in axes.get_legend().get_texts())
    for words in (f"running {fit.running_a:.3g}", f"peak {fit.peak_a:.3g}", f"after {fit.inrush_ms:.3g}", "fit: good"):
        assert words in said
    assert axes.get_xlabel().endswith("(ms)")
    assert axes.figure.png(dpi=50).startswith(b"\x89PNG")


def test_figure_draws_on_the_axes_given():
    """Axes that are given are drawn on, and a load without inrush has no mark of a peak."""
    from matplotlib.figure import Figure

    t, i = make_trace(5.0, 5.0, 1.0, 0.05)
    given = Figure().add_subplot()
    assert draw(t, i, fit_inrush(t, i), axes=given) is given
    assert not any("peak" in text.get_text() for text in given.get_legend().get_texts())
