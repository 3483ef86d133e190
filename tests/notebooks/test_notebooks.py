import ast
import re
from pathlib import Path
from statistics import median

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"
PATHS = sorted(FOLDER.glob("*.ipynb"))
NAMES = [path.stem for path in PATHS]
DEFINES = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda)


# One of them on a second Python too.
@pytest.fixture(params=[PATHS[0], *(pytest.param(p, marks=pytest.mark.once) for p in PATHS[1:])], ids=NAMES)
def path(request):
    return request.param


@pytest.fixture
def notebook(path):
    return nbformat.read(path, as_version=4)


def _cells(notebook, kind):
    return [cell.source for cell in notebook.cells if cell.cell_type == kind and cell.source.strip()]


def _lines(source):
    return [line for line in source.splitlines() if line.strip() and not line.strip().startswith("#")]


def test_there_are_notebooks():
    """The tests below pass on an empty folder; this one does not."""
    assert "01_is_the_smaller_module_enough" in NAMES


def test_it_runs_from_top_to_bottom(path, notebook):
    """A notebook that stops half-way teaches nothing: all cells run, in their folder, with no error and no warning."""
    NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(FOLDER)}}
    ).execute()
    outputs = [output for cell in notebook.cells if cell.cell_type == "code" for output in cell.outputs]
    assert [o for o in outputs if o.output_type == "stream" and o.name == "stderr" and "Warning" in o.text] == []
    assert any("image/png" in o.get("data", {}) for o in outputs)


def test_it_is_stored_without_outputs(notebook):
    """Outputs in the repository go stale and make every change unreadable."""
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert [cell.outputs for cell in code if cell.outputs] == []
    assert {cell.execution_count for cell in code} == {None}


def test_nothing_is_defined_in_it(notebook):
    """The package works, the notebook teaches: no function, class or lambda."""
    nodes = [node for source in _cells(notebook, "code") for node in ast.walk(ast.parse(source))]
    assert [node for node in nodes if isinstance(node, DEFINES)] == []


def test_half_of_it_is_prose(notebook):
    """For each cell of code at least one of words, and more words than code."""
    prose, code = _cells(notebook, "markdown"), _cells(notebook, "code")
    assert len(prose) >= len(code)
    assert sum(map(len, prose)) >= sum(map(len, code))


def test_a_cell_has_about_three_lines_of_code(notebook):
    """Longer cells are programs, and programs live in the package."""
    lengths = [len(_lines(source)) for source in _cells(notebook, "code")]
    assert median(lengths) <= 3
    assert max(lengths) <= 6


def test_it_opens_with_a_title_and_closes_with_the_caution(notebook):
    """The first cell says what a builder wants to know, the last what he must not rely on."""
    assert notebook.cells[0].cell_type == "markdown"
    assert notebook.cells[0].source.startswith("# ")
    last = notebook.cells[-1]
    assert last.cell_type == "markdown"
    assert "Caution" in last.source
    assert re.search("main fuse", last.source)
    assert "a qualified person" in last.source


def test_it_names_no_machine(notebook):
    """Paths are relative to the folder of the notebooks, so that it runs on anybody's machine."""
    sources = "\n".join(cell.source for cell in notebook.cells)
    assert not re.search(r"(^|[\s\"'(])(/[a-z]+/|[A-Z]:\\|~/)", sources)


MODULES = re.compile(r"""["'](?:compact|middle|large)-[0-9]+["']""")


def test_one_line_at_its_top_says_whose_vehicle(notebook):
    """Folder, catalogue and modules stand in the first line of code and nowhere else, so that a reader changes that."""
    first, *others = [line for source in _cells(notebook, "code") for line in _lines(source)]
    assert first.startswith("folder, modules") and first.count("../data/") == 2
    assert [line for line in others if "../data" in line or MODULES.search(line)] == []
