"""The panel in a real JupyterLab: what a builder does, and what the panel says to it."""

import pytest
from playwright.sync_api import expect

CELL = """
import pdm_alloc as pa
vehicle, catalogue = pa.read_vehicle("../data/rally_coupe"), pa.read_catalogue("../data/catalogue")
panel = pa.panel.Panel(vehicle, catalogue, "middle-42")
panel
"""


@pytest.fixture
def panel(lab, page):
    lab.run(page, lab.write("panel.ipynb", CELL))
    answered(page, 1)
    return page


def answered(page, number):
    """Wait for the verdict that is the number-th."""
    expect(page.locator(".pdm-head .pdm-run")).to_have_attribute("data-run", str(number), timeout=30_000)


def test_look(panel):
    """Pictures."""
    panel.wait_for_timeout(6000)
    panel.set_viewport_size({"width": 1400, "height": 2600})
    panel.wait_for_timeout(500)
    panel.shoot("panel_light")
    panel.evaluate("window.jupyterapp.commands.execute('apputils:change-theme', {theme: 'JupyterLab Dark'})")
    panel.wait_for_timeout(1500)
    panel.shoot("panel_dark")
