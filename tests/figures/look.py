"""Looking at a drawn figure by arithmetic: which words collide, how light a colour is."""

from itertools import combinations

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.text import Text

import pdm_alloc.figures as figures
from tests.figures import samples

TWO = ("compact-31 #1", "compact-31 #2")
DRAWINGS = {
    "headroom, 32 channels": lambda axes=None: figures.headroom(samples.allocation(), axes, wanted_pct=20),
    "headroom, two modules": lambda axes=None: figures.headroom(samples.channels(40, TWO), axes),
    "headroom, one channel": lambda axes=None: figures.headroom(samples.channels(1), axes),
    "loads, 32 channels": lambda axes=None: figures.loads(samples.allocation(), axes),
    "loads, two modules": lambda axes=None: figures.loads(samples.allocation(24, TWO), axes),
    "states": lambda axes=None: figures.states(samples.states(over=True), axes),
    "states, two modules": lambda axes=None: figures.states(samples.states(TWO), axes),
    "shortfall": lambda axes=None: figures.shortfall(samples.shortfall(), axes),
    "concessions": lambda axes=None: figures.concessions(samples.concessions(), axes),
    "inrush": lambda axes=None: figures.inrush(samples.curves(), axes, name="wipe fast"),
    "drop": lambda axes=None: figures.drop(samples.drops(), axes),
    "supply": lambda axes=None: figures.supply(samples.supply(), axes),
    "plan": lambda axes=None: figures.plan(*samples.plan(), axes),
    "grounds": lambda axes=None: figures.grounds(*samples.grounds(), axes),
    "ledger": lambda axes=None: figures.ledger(samples.ledger(), axes),
    "mass": lambda axes=None: figures.mass(samples.choices(), axes),
    "pareto": lambda axes=None: figures.pareto(samples.choices(), axes),
    "worst": lambda axes=None: figures.worst(samples.worst(), axes),
    "room": lambda axes=None: figures.room(samples.room(), axes),
}


def words(axes):
    """Every text that is seen, with its box in pixels, after the layout is done."""
    figure = axes.figure
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    seen = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]
    return [(t.get_text(), t.get_window_extent(renderer)) for t in seen]


def collisions(axes):
    """Pairs of texts that cover each other by more than a pixel each way."""
    pairs = combinations(words(axes), 2)
    return [(a, b) for (a, box_a), (b, box_b) in pairs if _covers(box_a, box_b)]


def _covers(a, b):
    wide = min(a.x1, b.x1) - max(a.x0, b.x0)
    high = min(a.y1, b.y1) - max(a.y0, b.y0)
    return wide > 1 and high > 1


def lightness(colour):
    """CIE L* of a colour, 0 black to 100 white (CIE 15, from memory)."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y
