"""A real JupyterLab, a real Voila page and a real Chromium, private to one test run.

Environment: CHROMIUM names the browser (default /usr/bin/chromium), PDM_ALLOC_SHOTS the folder for pictures
(default tests/browser/shots). Without a browser the tests are skipped, on a build machine (CI set) they fail.
"""

import importlib
import json
import os
import re
import shutil
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import nbformat
import pytest

from tests.browser.axe import script
from tests.browser.builder import Builder
from tests.browser.server import (
    address_in_log,
    address_in_runtime_file,
    free_port,
    new_token,
    private_env,
    start,
)
from tests.browser.watch import Watch, shoot

ROOT = Path(__file__).parents[2]
CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
SHOTS = Path(os.environ.get("PDM_ALLOC_SHOTS", Path(__file__).parent / "shots"))
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIZE = {"width": 1400, "height": 1000}
LAB_SETTINGS = {
    # Cells outside the window stay in the page, or the test would not find them.
    "@jupyterlab/notebook-extension/tracker": {"windowingMode": "none"},
}
SLOW_MS = 180_000
IDLE = "window.jupyterapp?.shell.currentWidget?.sessionContext?.session?.kernel?.status === 'idle'"

IN_THEME = """(isLight) => {
  const bright = (css, of) => Number(getComputedStyle(document.querySelector(css))[of].match(/\\d+/)[0]) > 127;
  const named = document.body.dataset.jpThemeLight === String(isLight) && !document.getElementById('jupyterlab-splash');
  return named && bright('.jp-LabShell', 'backgroundColor') === isLight && bright('.pdm-verdict', 'color') !== isLight;
}"""


def pytest_collection_modifyitems(items):
    """Every test in this folder drives a browser."""
    for item in items:
        if Path(__file__).parent in Path(item.fspath).parents:
            item.add_marker(pytest.mark.browser)


def _lacking() -> str:
    if not Path(CHROMIUM).exists():
        return f"no browser at {CHROMIUM} (set CHROMIUM)"
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        return "playwright is not installed (pip install playwright; its own browsers are not needed)"
    return ""


@pytest.fixture(scope="session")
def chromium():
    """The browser."""
    lacking = _lacking()
    if lacking:
        (pytest.fail if os.environ.get("CI") else pytest.skip)(lacking)
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=60_000)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS, headless=True, timeout=SLOW_MS)
        yield browser
        browser.close()


@contextmanager
def watched(chromium):
    """A fresh page that is watched from its first request on."""
    context = chromium.new_context(viewport=SIZE)
    context.grant_permissions(["clipboard-read", "clipboard-write"])
    page = context.new_page()
    page.set_default_timeout(SLOW_MS)
    page.watch = Watch(page)
    page.shoot = partial(shoot, page, SHOTS)
    yield page
    context.close()


def leave(page, request) -> None:
    """At the end of a test the page is photographed and must have kept the rules."""
    page.shoot(re.sub(r"\W+", "_", f"{request.module.__name__.rsplit('.', 1)[-1]}_{request.node.name}"))
    page.watch.check()


@pytest.fixture
def page(chromium, request):
    """A page of the test's own."""
    with watched(chromium) as page:
        yield page
        leave(page, request)


@pytest.fixture(scope="module")
def desk(chromium, lab, request):
    """A page of JupyterLab with the notebook of a test module (its CELL), for all its tests: opening takes seconds."""
    with watched(chromium) as page:
        lab.open(page, lab.write(f"{request.module.__name__.rsplit('.', 1)[-1]}.ipynb", request.module.CELL))
        yield page
    lab.server.end_kernels()


@pytest.fixture
def run(desk, lab, request):
    """The notebook of the test module, run anew."""
    lab.run(desk)
    yield desk
    leave(desk, request)


@pytest.fixture(scope="session")
def axe(request):
    """The script of axe-core."""
    return script(request.config.cache)


class Lab:
    """JupyterLab with a folder of notebooks in it."""

    def __init__(self, server, root: Path):
        self.server, self.root = server, root

    def write(self, name: str, *cells: str) -> str:
        """Write a notebook of code cells; its name."""
        notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in cells])
        notebook.metadata.kernelspec = {"name": "python3", "display_name": "Python 3", "language": "python"}
        nbformat.write(notebook, self.root / name)
        return name

    def open(self, page, name: str) -> None:
        """Show a notebook and wait until its kernel is idle."""
        url = f"{self.server.url}lab/tree/{name}?token={self.server.token}&reset"
        page.goto(url, wait_until="domcontentloaded")
        page.wait_for_function(IDLE, timeout=SLOW_MS)

    def run(self, page) -> None:
        """Run the notebook that is shown, whole, with nothing left of an earlier run."""
        self.command(page, "notebook:clear-all-cell-outputs")
        assert page.evaluate("window.jupyterapp.commands.execute('notebook:run-all-cells')") is not False

    def command(self, page, command: str, **arguments) -> None:
        """Give JupyterLab one of its commands."""
        done = f"window.jupyterapp.commands.execute({json.dumps(command)}, {json.dumps(arguments)})"
        page.evaluate(f"{done}.then(() => null)")  # what some give back is too large to come out of the page

    def theme(self, page, is_light: bool) -> None:
        """Change the theme and wait until its colours are there, and nothing lies over them any more."""
        self.command(page, "apputils:change-theme", theme=f"JupyterLab {'Light' if is_light else 'Dark'}")
        page.wait_for_function(IN_THEME, arg=is_light, timeout=SLOW_MS)


@contextmanager
def started_lab(folder: Path):
    """A JupyterLab whose every file is in one folder, with the notebooks and the demo data of the repository."""
    importlib.import_module("matplotlib.font_manager")  # builds its cache here and not, with a word, in the notebook
    env = private_env(folder, new_token())
    _configure_lab(env)
    root = folder / "root"
    shutil.copytree(ROOT / "notebooks", root, ignore=shutil.ignore_patterns(".ipynb_checkpoints"))
    (folder / "data").symlink_to(ROOT / "data")  # notebooks find the demo beside their folder, as in the repository
    arguments = ["-m", "jupyter", "lab", "--no-browser", "--allow-root", "--ServerApp.ip=127.0.0.1"]
    arguments += ["--ServerApp.port=0", f"--ServerApp.root_dir={root}", "--LabApp.expose_app_in_browser=True"]
    server = start(arguments, env, folder, partial(address_in_runtime_file, env=env))
    try:
        yield Lab(server, root)
    finally:
        server.stop()


@pytest.fixture(scope="session")
def lab(tmp_path_factory, chromium):
    """A JupyterLab that nothing else uses."""
    with started_lab(tmp_path_factory.mktemp("lab")) as lab:
        yield lab


def _configure_lab(env: dict[str, str]) -> None:
    """No news over the page; our own settings."""
    config = Path(env["JUPYTER_CONFIG_DIR"]) / "labconfig"
    config.mkdir()
    disabled = {"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}
    (config / "page_config.json").write_text(json.dumps(disabled))
    for name, settings in LAB_SETTINGS.items():
        file = Path(env["JUPYTERLAB_SETTINGS_DIR"]) / f"{name}.jupyterlab-settings"
        file.parent.mkdir(parents=True)
        file.write_text(json.dumps(settings))


@pytest.fixture(autouse=True)
def nobody_types(monkeypatch):
    """A panel in this process tries the other modules at once: no test is typing on, as a person would be."""
    monkeypatch.setattr("pdm_alloc.panel.answers._PAUSE_S", 0.0)


class Window:
    """One window of the page for all tests: opened when first wanted, and again after one that left it otherwise."""

    def __init__(self, page, server):
        self.page, self.server = page, server
        self.is_clean = False

    def opened(self) -> Builder:
        """The panel of the demo as it is in the repository."""
        builder = Builder(self.page)
        if not self.is_clean:
            self.server.kill_kernels()
            for file in self.server.vehicle.glob(".panel_*.json"):
                file.unlink()
            shutil.copytree(ROOT / "data", self.server.vehicle.parent, dirs_exist_ok=True)
            self.page.goto(self.server.page, wait_until="domcontentloaded")
            builder.await_answer(1)
            self.page.watch.errors.clear()  # a page that is left asks for the end of its kernel once too often
        self.is_clean = False
        return builder

    def put_back(self, builder: Builder) -> None:
        """Tables, module, place and size as they were; the next test begins with it."""
        self.page.set_viewport_size(SIZE)
        self.page.get_by_role("tab", name="Answer", exact=True).click()
        builder.takes_module("middle-42")
        self.page.get_by_role("combobox", name="mounted at").select_option("not decided")
        builder.undoes_all()
        builder.says("Enough", "middle-42 carries 46 loads", "Signals: enough")
        self.is_clean = True


@pytest.fixture(scope="session")
def window(chromium, page_server):
    """A window on the page."""
    with watched(chromium) as page:
        yield Window(page, page_server)


@pytest.fixture
def builder(window, request):
    """A builder at the page; nothing a test does is left behind."""
    builder = window.opened()
    yield builder
    leave(builder.page, request)
    if "voila" not in request.fixturenames:
        window.put_back(builder)


@pytest.fixture
def voila(page_server):
    """The server of the page, for tests that change files or kill kernels: the page is opened anew after them."""
    return page_server


@pytest.fixture(scope="session")
def page_server(tmp_path_factory, chromium):
    """A server of pages that nothing else uses."""
    folder = tmp_path_factory.mktemp("voila")
    shutil.copytree(ROOT / "data", folder / "data")
    arguments = [
        "-m",
        "pdm_alloc",
        "panel",
        str(folder / "data" / "rally_coupe"),
        "--module=middle-42",  # enough: nothing is searched for at length while a test does other things
        "--no-browser",
        f"--port={free_port()}",
    ]
    server = start(arguments, private_env(folder, new_token()), folder, address_in_log)
    server.vehicle = folder / "data" / "rally_coupe"
    yield server
    server.stop()
