import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.figures.drawing import clip, number, wrap


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "0"), (0.339, "0.34"), (0.4, "0.4"), (6.1, "6.1"), (6.514, "6.51"), (10.78, "10.8"), (24.0, "24"),
     (100, "100"), (116.6, "117"), (1440.0, "1440"), (-3.25, "-3.25"), (0.004, "0")],
)  # fmt: skip
def test_numbers_are_as_short_as_a_meter_shows_them(value, text):
    """Three figures are what a clamp meter gives; more only fill the figure."""
    assert number(value) == text


@given(st.text(max_size=60), st.integers(2, 40))
def test_clipped_text_fits_and_says_that_it_was_clipped(text, width):
    """A long load name must not push the figure apart, and a reader must see that something is missing."""
    short = clip(text, width)
    assert len(short) <= width
    assert short == text if len(text) <= width else short.endswith("…")


@given(st.text(st.characters(categories=("L", "N")), min_size=1, max_size=80), st.integers(1, 30))
def test_wrapped_lines_fit_and_lose_nothing(text, width):
    """A single long word is broken rather than cut."""
    lines = wrap(text, width).split("\n")
    assert max(map(len, lines)) <= width
    assert "".join(lines) == text
