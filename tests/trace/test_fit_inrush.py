"""Fits recover what a synthetic trace was made from, say how sure they are, and refuse what shows nothing."""

import sys
import warnings

import numpy as np
import pytest

from pdm_alloc.electrics.trace import TraceError, fit_inrush
from tests.trace.synthetic_trace import make_trace


@pytest.fixture(autouse=True)
def _no_warnings():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield


@pytest.mark.parametrize("before", [0.0, 17.0])
@pytest.mark.parametrize(
    ("running", "peak", "inrush_ms", "noise"),
    [(4.6, 55.0, 60.0, 0.2), (10.0, 60.0, 45.0, 0.3), (2.0, 12.0, 30.0, 0.05), (20.0, 90.0, 25.0, 0.3)],
)
def test_recovers_within_two_per_cent(running, peak, inrush_ms, noise, before):
    """Running, peak and decay come back within 2 %, whatever else was flowing before."""
    for seed in range(5):
        fit = fit_inrush(*make_trace(running, peak, inrush_ms, noise, before=before, seed=seed))
        assert fit.running_a == pytest.approx(running, rel=0.02)
        assert fit.peak_a == pytest.approx(peak, rel=0.02)
        assert fit.inrush_ms == pytest.approx(inrush_ms, rel=0.02)
        assert fit.before_a == pytest.approx(before, abs=4 * noise / np.sqrt(200))
        assert fit.quality == "good"


@pytest.mark.parametrize("case", [(4.6, 55, 60, 0.5), (1, 3, 2, 0.05), (10, 30, 20, 1.0)])
def test_stated_errors_are_honest(case):
    """Over many traces the deviations are as large as stated: their ratio has a spread near 1 and no outliers."""
    ratios = []
    for seed in range(60):
        start = 0.02 + 1e-4 * (seed * 0.618 % 1)  # anywhere between two samples
        fit = fit_inrush(*make_trace(*case, seed=seed, start=start))
        found = np.array([fit.running_a, fit.peak_a, fit.inrush_ms])
        ratios.append((found - case[:3]) / [fit.running_error_a, fit.peak_error_a, fit.inrush_error_ms])
    spread = np.sqrt(np.mean(np.square(ratios), axis=0))
    assert np.all((spread > 0.7) & (spread < 1.35))
    assert np.max(np.abs(ratios)) < 4.5


def test_noise_that_hangs_together_widens_the_errors():
    """With noise correlated from sample to sample the stated error still covers the deviation."""
    ratios = []
    for seed in range(60):
        t, clean = make_trace(4.6, 55, 60, 0.0)
        rng = np.random.default_rng(seed)
        noise = np.zeros(t.size)
        for i in range(1, t.size):
            noise[i] = 0.8 * noise[i - 1] + rng.normal(0, 0.2)
        fit = fit_inrush(t, clean + noise)
        ratios.append((fit.running_a - 4.6) / fit.running_error_a)
    assert np.sqrt(np.mean(np.square(ratios))) < 1.5


def test_load_without_inrush():
    """A step without excess has its running current for a peak, and no length."""
    fit = fit_inrush(*make_trace(5.0, 5.0, 1.0, 0.05))
    assert fit.running_a == fit.peak_a == pytest.approx(5.0, rel=0.02)
    assert fit.inrush_ms == 0
    assert fit.quality == "good"


def test_step_without_noise():
    """A perfect step, as a simulation gives, is read exactly."""
    fit = fit_inrush(*make_trace(5.0, 5.0, 1.0, 0.0))
    assert fit.running_a == pytest.approx(5.0, abs=1e-9)


def test_solenoid_that_rises_slowly():
    """A coil's current rises to running: no inrush is made of that."""
    t = np.arange(2000) * 1e-4
    rise = np.where(t > 0.02, 2 * (1 - np.exp(-(t - 0.02) / 0.03)), 0)
    fit = fit_inrush(t, rise + np.random.default_rng(0).normal(0, 0.01, t.size))
    assert fit.running_a == fit.peak_a == pytest.approx(2.0, rel=0.02)
    assert fit.inrush_ms == 0


def test_slow_rise_of_the_meter_is_left_out():
    """Samples during the rise do not spoil the decay; the peak is within its stated error."""
    t, clean = make_trace(4.6, 55, 60, 0.0)
    since = np.maximum(t - 0.02034, 0)
    seen = clean * (1 - np.exp(-since / 3e-4)) + np.random.default_rng(3).normal(0, 0.3, t.size)
    fit = fit_inrush(t, seen)
    assert fit.running_a == pytest.approx(4.6, rel=0.02)
    assert fit.inrush_ms == pytest.approx(60, rel=0.02)
    assert abs(fit.peak_a - 55) < 4 * fit.peak_error_a


def test_switched_off_again():
    """Only the time the load is on is used."""
    t, i = make_trace(4.6, 55, 60, 0.3)
    i[1200:] = np.random.default_rng(1).normal(0, 0.3, 800)
    fit = fit_inrush(t, i)
    assert fit.running_a == pytest.approx(4.6, rel=0.02)
    assert fit.samples == pytest.approx(1200 - 204, abs=4)


def test_second_load_is_not_called_good():
    """A trace in which something else joins later is no exponential decay, and the quality says so."""
    t, i = make_trace(4.6, 55, 60, 0.3)
    assert fit_inrush(t, i + np.where(t > 0.12, 3.0, 0)).quality != "good"


def test_coarse_meter():
    """A meter with a coarse resolution hides its noise; the errors still cover the deviation."""
    t, i = make_trace(4.6, 55, 60, 0.3)
    fit = fit_inrush(t, np.round(i / 0.5) * 0.5)
    assert abs(fit.running_a - 4.6) < 4 * fit.running_error_a
    assert abs(fit.inrush_ms - 60) < 4 * fit.inrush_error_ms


def test_curve_goes_through_its_own_numbers():
    """The curve starts at the peak, falls to 5 % of the excess after inrush_ms, and is flat before."""
    fit = fit_inrush(*make_trace(4.6, 55, 60, 0.2, before=3.0))
    before, start, late = fit.current([fit.start_s - 1e-6, fit.start_s, fit.start_s + fit.inrush_ms / 1000])
    assert before == fit.before_a
    assert start == pytest.approx(fit.before_a + fit.peak_a)
    left = (late - fit.before_a - fit.running_a) / (fit.peak_a - fit.running_a)
    assert left == pytest.approx(np.exp(-3))


def _refused():
    t, i = make_trace(4.6, 55, 60, 0.3)
    rng = np.random.default_rng(0)
    glitch = rng.normal(0, 0.1, t.size)
    glitch[700:702] = 5
    yield "flat", t, rng.normal(0, 0.1, t.size), "never rises"
    yield "zero", t, 0 * t, "never rises"
    yield "reversed", t, -i, "turn the clamp round"
    yield "already on", t[300:], i[300:], "only falls"
    yield "starts on", t[202:], i[202:], "starts with the load on"
    yield "glitch", t, glitch, "only 2 samples with the load on"
    yield "cut off at once", t[:230], i[:230], "has not settled"
    yield "cut off early", t[:400], i[:400], "has not settled"
    yield "ramp", t, 10 * t, "has not settled"
    yield "charge pulse", *make_trace(0, 55, 20, 0.3), "no steady current"
    yield "few samples", t[:5], i[:5], "too few"
    yield "not a number", t, np.where(t > 0.1, np.nan, i), "sample 1002 is not a number"
    yield "time stands still", np.where(t > 0.1, 0.1, t), i, "time does not rise"
    yield "lengths differ", t, i[1:], "one length"
    yield "slow", t[::40], make_trace(4.6, 55, 3, 0.001)[1][::40], "sampled too slowly|has not settled"


@pytest.mark.parametrize(("name", "t", "i", "said"), list(_refused()), ids=lambda x: x if isinstance(x, str) else "")
def test_refusals(name, t, i, said):
    """A trace that shows no switch-on is refused in one line that says what to log instead."""
    with pytest.raises(TraceError, match=said) as caught:
        fit_inrush(t, i)
    assert "\n" not in str(caught.value)


def test_missing_scipy_is_one_clear_line(monkeypatch):
    """Without scipy the message names the extra."""
    monkeypatch.setitem(sys.modules, "scipy.optimize", None)
    with pytest.raises(ModuleNotFoundError, match=r"pdm_alloc\[documents\]"):
        fit_inrush(*make_trace(4.6, 55, 60, 0.3))
