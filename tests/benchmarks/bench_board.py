"""One frame of a drag on the board, measured in a real browser: lengths, masses, labels and drawing.

    python -m tests.benchmarks.bench_board

The demo, and a vehicle made of four demos side by side.
"""

from statistics import median, quantiles

from playwright.sync_api import sync_playwright

import pdm_alloc as pa
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.panel.answers import Answers, Question
from pdm_alloc.panel.board import Board
from tests.browser.conftest import CHROMIUM, FLAGS
from tests.browser.stage import Stage

GOAL_MS = 50
STEPS = 60


def board():
    """The board of the demo with its module under the seat."""
    vehicle, catalogue = pa.read_vehicle("data/rally_coupe"), pa.read_catalogue("data/catalogue")
    tables = vehicle_plain(vehicle)
    made = Board(lambda name: tables.get(name, []), lambda _: None, lambda _: None)
    made.show(next(Answers()(Question(vehicle, catalogue["middle-42"], catalogue, place="under seat"), lambda: False)))
    made._seeker.overtake()
    return made


def four_times(scene):
    """Four demos side by side, joined at the radiators."""

    def named(name, n):
        return f"{name} {n}" if n and name else name

    spots = [
        {
            **s,
            "name": named(s["name"], n),
            "x_m": s["x_m"] + 5 * (n % 2),
            "y_m": s["y_m"] + 2 * (n // 2),
            "rank": 100 * n + s["rank"],
        }
        for n in range(4)
        for s in scene["spots"]
    ]
    runs = [(named(a, n), named(b, n), m) for n in range(4) for a, b, m in scene["runs"]]
    joins = [("radiator", named("radiator", n), 6.0) for n in range(1, 4)]
    leads = [
        {**lead, "ends": [(named(place, n), k, m) for place, k, m in lead["ends"]]}
        for n in range(4)
        for lead in scene["leads"]
    ]
    return {**scene, "spots": spots, "runs": [*runs, *joins], "leads": leads}


def frames_ms(browser, widget):
    """Milliseconds of each frame while a place is dragged."""
    page = browser.new_page(viewport={"width": 1400, "height": 1000})
    Stage(page, widget, lambda _: None)
    box = page.locator("[data-key='place:wing%20right'] circle").last.bounding_box()
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    for n in range(STEPS):
        page.mouse.move(box["x"] + 5 + 2 * n, box["y"] + 5 + n)
        page.evaluate("new Promise(requestAnimationFrame)")
    page.mouse.up()
    return [float(ms) for ms in page.locator(".pdm-board").get_attribute("data-frame-ms").split()]


def main():
    """Print median and nine tenths of both."""
    widget = board()
    print(f"frame of a drag, ms (wanted: under {GOAL_MS})")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for name, scene in (("demo", widget.scene), ("four demos", four_times(widget.scene))):
            widget.scene = scene
            times = frames_ms(browser, widget)
            size = f"{len(scene['spots'])} places, {len(scene['runs'])} routes, {len(scene['leads'])} wires"
            tenth = quantiles(times, n=10)[-1]
            print(
                f"  {name} ({size}): median {median(times):.1f}, nine in ten under {tenth:.1f}, "
                f"longest {max(times):.1f}"
            )


if __name__ == "__main__":
    main()
