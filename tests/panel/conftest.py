"""The panel without a browser."""

import pytest

from pdm_alloc.panel import answers


@pytest.fixture(autouse=True)
def nobody_types(monkeypatch):
    """The other modules are tried at once: no test is typing on, as a person would be."""
    monkeypatch.setattr(answers, "_PAUSE_S", 0.0)
