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


OWN = {
    "van/loads.csv": """load,command,running_a,count,kind,needs,importance,place,tolerance_pct,min_v
pump,engine,6,1,motor,,vital,tank,5,8
coils,engine,5,1,coil,,vital,nose,,7
front lamp,lamps,4,2,filament,,needed,nose,,
cabin light,lamps,1,1,led,,comfort,dash,20,
blower,blower,7,1,fan,pwm,needed,dash,10,
""",
    "van/commands.csv": "command,condition\nengine,key\nlamps,key and lamp switch\nblower,key and blower switch\n",
    "van/inputs.csv": "input,kind\nkey,switch\nlamp switch,switch\nblower switch,switch\n",
    "van/states.csv": "command,start,drive\nengine,1,1\nlamps,,0.5\nblower,,0.5\n",
    "van/supply.csv": "state,supply_v,charging_a,minutes,other_a\nstart,10,0,0.1,150\ndrive,13.8,50,60,\n",
    "van/places.csv": "place,x_m,y_m,ambient_c,mount\nnose,0,0,40,no\ndash,1,0,30,yes\nseat,2,0,30,yes\ntank,3,0,30,no\n",
    "van/routes.csv": "from,to\nnose,dash\ndash,seat\nseat,tank\n",
    "van/settings.toml": 'system_v = 12\nreference_v = 13.5\nbattery_ah = 70\nbattery_place = "nose"\n',
    "boxes/modules.csv": "module,total_a,total_peak_a,mass_g,price\nsmall,40,300,300,400\nlarge,90,600,500,700\n",
    "boxes/channels.csv": """module,channel,continuous_a,peak_a,peak_ms,features,pins
small,1-2,15,90,60,,a1-a2
large,1-6,15,90,60,,a1-a6
large,7-8,15,90,600,pwm,a7-a8
""",
}
OF_ONES_OWN = {"smaller": "small", "lamp": "front lamp", "unwanted": "cabin light", "command": "lamps", "pump": "pump"}
OF_ONES_OWN |= {"folder": "van", "modules": "boxes", "place": "seat"}


@pytest.mark.once
def test_it_runs_on_a_vehicle_of_ones_own(path, notebook, tmp_path):
    """With nothing but the first line of code changed, on tables that know no name of the demo's."""
    for name, text in OWN.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    cell = next(cell for cell in notebook.cells if cell.cell_type == "code")
    first, *others = cell.source.splitlines()
    names = [name.strip() for name in first.split("=")[0].split(",")]
    own = ", ".join(repr(OF_ONES_OWN.get(name, "large")) for name in names)
    cell.source = "\n".join([f"{', '.join(names)} = {own}", *others])
    NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(tmp_path)}}
    ).execute()
