"""Waveform and overload integral of an inrush."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdm_alloc.electrics.protection import inrush_current, overload_integral, time_above

amps = st.floats(0, 200, allow_subnormal=False)
terms = st.lists(st.tuples(st.floats(1e-3, 300), st.floats(0.1, 500)), min_size=1, max_size=6)
NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)


def numeric(running, excess, tau, limit):
    """Panel-wise Gauss-Legendre of the positive part of i**2 - limit**2, its end found by bisection."""
    low, high = 0.0, 60 * max(tau) + 1
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if inrush_current(middle, running, excess, tau) > limit else (low, middle)
    edges = np.concatenate([[0], np.minimum(np.geomspace(1e-3 * min(tau), 61 * max(tau), 400), low)])
    half, centre = np.diff(edges)[:, None] / 2, (edges[1:] + edges[:-1])[:, None] / 2
    i = inrush_current(centre + half * NODES, running, excess, tau)
    return float(((i - limit) * (i + limit) * half * WEIGHTS).sum())


@settings(max_examples=150, deadline=None)
@given(amps, terms, st.floats(0, 1))
def test_integral_is_exact(running, pairs, share):
    """The closed form equals fine numerical integration to 1e-6 on random circuits."""
    excess, tau = zip(*pairs, strict=True)
    limit = running + share * sum(excess)
    expected = numeric(running, excess, tau, limit) if share < 1 else 0.0
    scale = 1e-9 * limit**2 * min(time_above(running, excess, tau, limit), 60 * max(tau))
    assert overload_integral(running, excess, tau, limit) == pytest.approx(expected, rel=1e-6, abs=scale + 1e-12)


@given(amps, terms)
def test_running_at_the_limit_is_the_whole_tail(running, pairs):
    """A running current exactly at the limit leaves the integral to infinity, which is finite."""
    excess, tau = map(np.array, zip(*pairs, strict=True))
    pair = tau[:, None] * tau / (tau[:, None] + tau)
    whole = 2 * running * (excess * tau).sum() + (excess[:, None] * excess * pair).sum()
    assert overload_integral(running, list(excess), list(tau), running) == pytest.approx(whole, rel=1e-12)


def test_single_exponential_by_hand():
    """One lamp, 5 A running and 55 A more with tau 20 ms, against 10 A: the textbook integral."""
    end = 20 * math.log(55 / 5)
    by_hand = (25 - 100) * end + 2 * 5 * 55 * 20 * (1 - 5 / 55) + 55**2 * 10 * (1 - (5 / 55) ** 2)
    assert overload_integral(5, [55], [20], 10) == pytest.approx(by_hand, rel=1e-12)
    assert time_above(5, [55], [20], 10) == pytest.approx(end, rel=1e-12)


@pytest.mark.parametrize(
    ("running", "excess", "tau", "limit", "expected"),
    [
        (5, [], [], 10, 0.0),
        (5, [5], [20], 10, 0.0),
        (10.001, [5], [20], 10, math.inf),
        (10, [], [], 10, 0.0),
        (5, [100], [0], 10, 0.0),
        (0, [0, 0], [1, 0], 0, 0.0),
    ],
)
def test_edges(running, excess, tau, limit, expected):
    """No excess, peak at the limit, running above it, running at it, a peak without length."""
    assert overload_integral(running, excess, tau, limit) == expected


@given(amps, terms, st.floats(0, 1), st.floats(1.01, 3))
def test_more_limit_never_means_more_overload(running, pairs, share, factor):
    """The integral falls when the limit rises, and rises when an inrush grows or lasts longer."""
    excess, tau = zip(*pairs, strict=True)
    limit = running + share * sum(excess)
    here = overload_integral(running, excess, tau, limit)
    noise = 1e-9 * (here + limit**2) + 1e-9
    assert overload_integral(running, excess, tau, limit * factor + 1e-3) <= here + noise
    assert overload_integral(running, [e * factor for e in excess], tau, limit) >= here - noise
    assert overload_integral(running, excess, [t * factor for t in tau], limit) >= here - noise


def test_order_and_splitting_of_items_changes_nothing():
    """Two lamps as one item of double excess, in any order, are the same circuit."""
    whole = overload_integral(4, [20, 30], [20, 50], 9)
    assert overload_integral(4, [30, 10, 10], [50, 20, 20], 9) == pytest.approx(whole, rel=1e-12)


@pytest.mark.parametrize(("excess", "tau"), [([-1], [5]), ([1], [-5]), ([1, 2], [5])])
def test_impossible_inrush_is_refused(excess, tau):
    """Negative values and sequences of unequal length raise."""
    with pytest.raises(ValueError):
        overload_integral(1, excess, tau, 1.5)


def test_waveform_falls_to_running():
    """Starts at the sum of the peaks, has 5 % of the excess left after three time constants, ends at running."""
    current = inrush_current([0, 60, 1e6], 5, [55], [20])
    assert current[0] == 60
    assert current[1] == pytest.approx(5 + 55 * math.exp(-3))
    assert math.exp(-3) == pytest.approx(0.05, abs=0.0003)
    assert current[2] == 5
    assert inrush_current(np.zeros((2, 3)), 5, [55], [0]).tolist() == [[60] * 3] * 2
