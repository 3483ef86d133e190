import subprocess
import sys
from functools import cache

import pytest
from matplotlib.figure import Figure

from pdm_alloc.figures import drawing as style
from tests.figures.look import DRAWINGS, collisions, lightness, words


@cache
def drawn(name):
    """A figure by itself, drawn once for all that only look at it."""
    return DRAWINGS[name]()


@pytest.mark.once
@pytest.mark.parametrize("name", DRAWINGS)
def test_no_two_texts_of_a_figure_collide(name):
    """A label that covers another cannot be read at the bench, however many channels or long names there are."""
    assert collisions(drawn(name)) == []


@pytest.mark.once
@pytest.mark.parametrize("name", DRAWINGS)
def test_no_text_is_too_small_to_read_on_paper(name):
    """A4 takes about 7.5 inches across, so that text shrinks by the width of the sheet; 6 points are the least."""
    axes = drawn(name)
    assert words(axes)
    shrink = min(1.0, 7.5 / axes.figure.get_tightbbox().width)
    sizes = {
        t.get_fontsize() * shrink for t in axes.figure.findobj(lambda a: hasattr(a, "get_fontsize")) if t.get_text()
    }
    assert min(sizes) >= 6.0


@pytest.mark.parametrize("name", DRAWINGS)
def test_a_figure_is_drawn_on_the_axes_it_is_given(name):
    """Figures are put side by side by their user, so each must keep to the axes it gets and return them."""
    sheet = Figure(figsize=(12, 9))
    left, right = sheet.subplots(1, 2)
    assert DRAWINGS[name](left) is left
    assert not right.has_data()
    assert left.has_data()


@pytest.mark.once
@pytest.mark.parametrize("name", DRAWINGS)
def test_a_figure_has_a_title_and_words(name):
    """A figure on the workshop wall must say what it is."""
    axes = drawn(name)
    assert axes.get_title(loc="left")
    assert len(words(axes)) > 3


def test_running_inrush_over_and_free_differ_on_a_grey_printer():
    """Colours that stand side by side must differ in lightness, not in hue alone."""
    greys = [lightness(c) for c in (style.RUNNING, style.INRUSH, style.FREE)]
    assert min(abs(a - b) for n, a in enumerate(greys) for b in greys[:n]) >= 15
    modules, wires, feed = (lightness(c) for c in (style.STEPS[0], style.STEPS[2], style.STEPS[1]))
    assert min(wires - modules, wires - feed) >= 15


def test_text_is_dark_enough_on_white():
    """Small grey text is the first thing to vanish on paper: contrast of at least 4.5 (WCAG 2, from memory)."""
    for colour in (style.INK, style.MUTED):
        y = ((lightness(colour) + 16) / 116) ** 3
        assert 1.05 / (y + 0.05) >= 4.5


def test_importing_the_figures_imports_no_matplotlib():
    """Command line and panel start fast only if matplotlib waits until something is drawn."""
    code = "import sys, pdm_alloc.figures; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_drawing_never_loads_pyplot():
    """pyplot keeps figures alive and opens windows; a library that draws must leave it alone."""
    code = (
        "import sys, pandas as pd, pdm_alloc.figures as f;"
        "f.room(pd.DataFrame({'kind': ['lamp'], 'more': [3]})).figure.png();"
        "sys.exit('matplotlib.pyplot' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_without_matplotlib_one_line_says_what_to_install():
    """A builder without the extra gets a remedy, not a traceback about somebody's module."""
    code = (
        "import sys; sys.modules['matplotlib'] = None\n"
        "import pandas as pd, pdm_alloc.figures as f\n"
        "try: f.room(pd.DataFrame({'kind': ['lamp'], 'more': [3]}))\n"
        "except ImportError as error: print(error)"
    )
    out = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, text=True)
    assert out.stdout.strip() == "figures need matplotlib: pip install 'pdm_alloc[figures]'"


def test_a_sheet_shows_itself_in_a_notebook_and_as_text():
    """Without pyplot a notebook shows a figure only if it says how it looks; SVG must not change from run to run."""
    sheet = DRAWINGS["room"]().figure
    assert sheet._repr_png_().startswith(b"\x89PNG")
    svg = DRAWINGS["room"]().figure.svg()
    assert svg.rstrip().endswith("</svg>")
    assert svg == DRAWINGS["room"]().figure.svg()
