"""Traces made up for the tests."""

import numpy as np


def make_trace(running, peak, inrush_ms, noise, *, n=2000, dt=1e-4, start=0.02034, before=0.0, seed=0):
    """A switch-on with an exponential inrush and normal noise."""
    t = np.arange(n) * dt
    since = t - start
    decay = np.exp(-np.maximum(since, 0) * 3000 / inrush_ms)
    clean = before + np.where(since >= 0, running + (peak - running) * decay, 0)
    return t, clean + np.random.default_rng(seed).normal(0, noise, n)
