"""What `import pdm_alloc as pa` shows."""

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest
from mypy import api as mypy

import pdm_alloc as pa
from pdm_alloc.domain.showing import UnknownName, percent
from pdm_alloc.domain.vehicle import Load, Vehicle

ROOT = Path(__file__).parents[2]
DOMAIN = (
    *("Vehicle", "Load", "Command", "Input", "State", "Place", "Route", "Lock", "Concession", "Settings"),
    *("Catalogue", "Module", "Channel", "Unit"),
)


def test_dir_shows_public_names_only():
    """A newcomer who presses tab sees what there is, and nothing of how it is loaded."""
    assert dir(pa) == sorted([*pa.__all__, "__version__"])
    assert not [name for name in pa.__all__ if name.startswith("_")]


@pytest.mark.parametrize("name", pa.__all__)
def test_every_name_is_there(name):
    """A name that is promised and cannot be loaded would fail at the user's desk."""
    value = getattr(pa, name)
    assert inspect.getdoc(value) or name == "STRATEGIES"


@pytest.mark.parametrize("name", DOMAIN)
def test_the_domain_classes_are_public(name):
    """What a vehicle and a catalogue are made of can be built and compared by name."""
    assert inspect.isclass(getattr(pa, name)) and name in pa.__all__


@pytest.mark.once
def test_a_checker_sees_every_name_and_no_other(tmp_path, monkeypatch):
    """Types are worth having only where they are the real ones: none is Any, and a misspelt name is an error."""
    lines = ["import pdm_alloc as pa", *(f"reveal_type(pa.{name})" for name in pa.__all__), "pa.alocate"]
    (tmp_path / "snippet.py").write_text("\n".join(lines) + "\n")
    monkeypatch.chdir(tmp_path)  # so that errors of the package, for which mypy is run by itself, go by another name
    monkeypatch.setenv("MYPYPATH", str(ROOT))  # an editable install is a hook of the import, which mypy does not run
    cache = ["--cache-dir", str(ROOT / ".mypy_cache")]  # what an earlier run of mypy has made of the package is used
    told, error, _ = mypy.run(["snippet.py", "--config-file", str(ROOT / "pyproject.toml"), *cache])
    assert not error
    lines = [line for line in told.splitlines() if line.startswith("snippet.py")]
    revealed = [line for line in lines if "Revealed type" in line]
    assert len(revealed) == len(pa.__all__), told
    assert not [line for line in revealed if '"Any"' in line]
    errors = [line for line in lines if "error:" in line]
    assert len(errors) == 1 and 'has no attribute "alocate"' in errors[0], told


def test_an_unknown_attribute_is_refused():
    """Names that are loaded later must not swallow those that are wrong."""
    with pytest.raises(AttributeError, match="alocate"):
        pa.alocate


def test_the_import_is_light():
    """Neither pandas nor a solver is loaded before it is needed, and the verb `vehicle` is a verb all the same."""
    code = (
        "import sys, pdm_alloc as pa; pa.Vehicle, pa.Load; "
        "print(*{'pandas', 'numpy', 'pulp', 'matplotlib', 'networkx', 'pydantic'} & set(sys.modules)); "
        "import pdm_alloc.files.tables.read_vehicle; print(pa.vehicle.__name__, callable(pa.vehicle))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.splitlines() == ["", "vehicle True"]


@pytest.mark.once
def test_the_readme_snippet_runs(monkeypatch):
    """What stands in the readme is what people type first: every line of it runs."""
    monkeypatch.chdir(ROOT)
    text = (ROOT / "README.md").read_text()
    snippets = [part.split("```")[0] for part in text.split("```python\n")[1:]]
    assert snippets
    for snippet in snippets:
        names = {node.id for node in ast.walk(ast.parse(snippet)) if isinstance(node, ast.Name)}
        assert "pa" in names
        exec(compile(snippet, "README.md", "exec"), {})


def test_names_in_long_tables_are_looked_up_like_those_in_short_ones():
    """Thousands of loads have an index: the same load, never that of another vehicle, and near names still."""
    many = tuple(Load(f"load {n}", "run", n + 1) for n in range(100))
    first, second = (Vehicle("v", loads, (), ()) for loads in (many, many[::-1][:50]))
    assert all(first.load(load.name) is load for load in many)
    assert second.load("load 99") is many[99]
    with pytest.raises(UnknownName, match="did you mean"):
        second.load("load 9")


@pytest.mark.parametrize(
    ("share", "text"), [(0, "0.0 %"), (1, "100.0 %"), (0.0512, "5.1 %"), (0.0004, "0.04 %"), (1 / 31549, "0.003 %")]
)
def test_no_gap_reads_as_if_it_were_none(share, text):
    """A single unit of the last objective is a gap: it is said with as many digits as it takes."""
    assert percent(share) == text
