"""From an edit to the new verdict on the screen, measured in a real browser in a real JupyterLab, on the demo.

    python -m tests.benchmarks.bench_panel [--edits 20] [--module middle-42]

The clock runs in the page, from the key that ends the edit to the frame after the new verdict has been painted.
"""

import argparse
import re
import tempfile
from pathlib import Path
from statistics import median, quantiles

from playwright.sync_api import sync_playwright

from tests.browser.conftest import CHROMIUM, FLAGS, started_lab, watched

STOPWATCH = (Path(__file__).parents[1] / "browser" / "stopwatch.js").read_text()
CELL = """
import pdm_alloc as pa
vehicle, catalogue = pa.read_vehicle("../data/rally_coupe"), pa.read_catalogue("../data/catalogue")
panel = pa.panel.Panel(vehicle, catalogue, {module!r})
panel
"""
GOAL_MS = 400


def edits(number):
    """So many edits of running currents: row, column, text; every row in turn, every value new to its cell."""
    return [(3 * n % 40, "running_a", f"{0.6 + 0.01 * n:.2f}") for n in range(number)]


def measure(page, number):
    """Milliseconds of each edit and of its solve; between edits a pause as of somebody who reads the verdict."""
    times = []
    for edit in edits(number):
        whole = page.evaluate(STOPWATCH, list(edit))
        solve = 1000 * float(re.search(r"([\d.]+) s$", page.locator(".pdm-head .pdm-run").inner_text())[1])
        times.append((whole, solve))
        page.wait_for_timeout(600)
    return times


def main():
    """Print median and nine tenths."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--edits", type=int, default=20)
    parser.add_argument("--module", default="middle-42")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, started_lab(Path(folder)) as lab, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        with watched(browser) as page:
            lab.open(page, lab.write("bench.ipynb", CELL.format(module=given.module)))
            lab.run(page)
            page.locator(".pdm-head .pdm-run[data-run='1']").wait_for()
            times = measure(page, given.edits)
        browser.close()
    whole, solves = zip(*times, strict=True)
    worst = f"nine in ten under {quantiles(whole, n=10)[-1]:.0f}, longest {max(whole):.0f}"
    print(f"edit to verdict on {given.module}, {given.edits} edits, ms: median {median(whole):.0f}, {worst}")
    print(f"of which the solve: median {median(solves):.0f}; goal: edit to verdict, median under {GOAL_MS}")
    if median(whole) >= GOAL_MS:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
