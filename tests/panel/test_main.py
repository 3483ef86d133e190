"""The command that serves the panel as a page: what it refuses, and what it hands on."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("voila", reason="the extra 'notebook' is not installed")

import pdm_alloc.panel
from pdm_alloc.panel import page
from pdm_alloc.panel import page as command

DATA = Path(__file__).parents[2] / "data"
HERE = Path(pdm_alloc.panel.__file__).parent


@pytest.fixture
def served(monkeypatch):
    """What the page server is started with, without starting it."""
    from pdm_alloc.panel.page import PageServer

    found = []
    monkeypatch.setattr(PageServer, "launch_instance", lambda argv: found.append(argv))
    for name in (page.VARIABLE, "JUPYTER_PATH"):
        monkeypatch.setenv(name, "")
    return found


def test_tables_that_cannot_be_used_are_told_before_anything_starts(capsys, served):
    """A wrong path is one line on the error stream and exit code 2; no server, no traceback."""
    assert command.main(["no/such/car"]) == 2
    assert "does not exist" in capsys.readouterr().err
    assert served == []


def test_unknown_module_is_told_with_the_known_ones(capsys, served):
    """A slip in the name of the module names those there are."""
    assert command.main([str(DATA / "rally_coupe"), "--module", "midle-36"]) == 2
    assert "'midle-36' is no module of the catalogue: compact-31, " in capsys.readouterr().err
    assert served == []


def test_page_gets_vehicle_catalogue_and_module(served):
    """The one cell of the page reads what was named on the command line, by absolute paths."""
    assert (
        command.main([os.path.relpath(DATA / "rally_coupe"), "--module", "middle-36", "--port", "8999", "--dark"]) == 0
    )
    named = json.loads(os.environ[page.VARIABLE])
    assert named == {"vehicle": str(DATA / "rally_coupe"), "catalogue": None, "module": "middle-36"}
    assert {"--port=8999", "--theme=dark", "--template=pdm_alloc"} <= set(served[0])
    assert Path(served[0][0]).is_file()


def test_cell_of_the_page_makes_the_panel(monkeypatch):
    """What the page shows is the panel of the vehicle that was named."""
    named = {"vehicle": str(DATA / "rally_coupe"), "catalogue": None, "module": "middle-36"}
    monkeypatch.setenv(page.VARIABLE, json.dumps(named))
    (top,) = [part for part in page.page().children if "pdm-top" in part._dom_classes]
    assert "middle-36 carries" in top.children[-1].value


@pytest.mark.parametrize("file", sorted((HERE / "share").rglob("*.*")), ids=lambda file: file.name)
def test_template_names_no_other_machine(file):
    """Nothing in our part of the page is fetched from the network; the rest is watched in the browser test."""
    assert not re.search(r"https?:|//cdn|@import", file.read_text())


def test_notebook_of_the_page_has_no_outputs():
    """What is delivered is the empty page."""
    cells = json.loads((HERE / "page.ipynb").read_text())["cells"]
    assert [(cell["outputs"], cell["execution_count"]) for cell in cells] == [([], None)]


def test_missing_extra_is_one_line():
    """Without the extra the panel says what to install, and everything else still works."""
    code = (
        "import sys; sys.modules['anywidget'] = None\n"
        "import pdm_alloc as pa\n"
        "try: pa.panel.Panel\n"
        "except ImportError as missing: print(missing)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "the panel needs anywidget: pip install 'pdm_alloc[notebook]'\n"
