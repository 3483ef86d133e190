"""Every outside thing has its room, and data flows one way: nothing to the left imports from the right."""

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "pdm_alloc"
FILES = sorted(PACKAGE.rglob("*.py"))

# Left to right; rooms of one tuple are neighbours that may not import each other.
ORDER = (
    ("frames", "kinds", "settings", "shown", "unknown"),
    ("kinds", "settings", "signal_kinds"),
    ("signals",),
    ("module",),
    ("vehicle",),
    ("tables",),
    ("electrics",),
    ("harness",),
    ("circuits",),
    ("program",),
    ("allocation",),
    ("mounting", "pairs"),
    ("sizing", "uncertainty"),
    ("what_if",),
    ("export", "figures"),
    ("panel",),
    ("printed",),
    ("commands",),
    ("cli",),
    ("__main__",),
)
RANK = {room: rank for rank, rooms in enumerate(ORDER) for room in rooms}
HOMES = {
    "pulp": {"program"},
    "highspy": {"program"},
    "matplotlib": {"figures", "export"},
    "ipywidgets": {"panel"},
    "anywidget": {"panel"},
    "IPython": {"panel"},
    "reportlab": {"export"},
    "xlsxwriter": {"export"},
    "openpyxl": {"tables", "export"},
    "networkx": {"harness"},
    "scipy": {"electrics"},
    "tqdm": {"commands"},
}
FILE_CALLS = {
    "open",
    "read_text",
    "write_text",
    "read_bytes",
    "write_bytes",
    "mkdir",
    "unlink",
    "rename",
    "replace_file",
    "rmtree",
    "read_csv",
    "to_csv",
    "read_excel",
    "to_excel",
    "mkstemp",
    "mkdtemp",
}
# The solver greets on a file descriptor; the panel reads its own script and style, and opens a picture in memory.
FILE_ROOMS = {"tables", "export"}
FILE_EXCEPTIONS = {
    "cli.py": {"open"},
    "program/solver.py": {"open"},
    "panel/load_grid.py": {"read_text"},
    "panel/screen.py": {"read_text"},
    "panel/static.py": {"open"},
}


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imports(path: Path):
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def calls(path: Path):
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Call):
            function = node.func
            yield function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_libraries_stay_in_their_rooms(path):
    """A solver, a plotting library or a widget outside its room could not be exchanged any more."""
    leaks = {m for m in imports(path) for library, homes in HOMES.items() if m.split(".")[0] == library} & {
        m for m in imports(path) if room_of(path) not in HOMES.get(m.split(".")[0], {room_of(path)})
    }
    assert not leaks


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_nothing_imports_from_its_right(path):
    """The order of the rooms is the order in which data flows."""
    here = room_of(path)
    if here == "__init__":
        return
    for name in imports(path):
        match = re.match(r"pdm_alloc\.(\w+)", name)
        if match and match[1] != here:
            assert RANK[match[1]] < RANK[here], f"{here} imports {name}"


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_files_are_touched_in_two_rooms_only(path):
    """Reading is in tables, writing in export."""
    if room_of(path) in FILE_ROOMS:
        return
    touched = set(calls(path)) & FILE_CALLS
    assert touched <= FILE_EXCEPTIONS.get(str(path.relative_to(PACKAGE)), set())


@pytest.mark.parametrize("path", sorted((PACKAGE / "allocation" / "verify").glob("*.py")), ids=lambda p: p.name)
def test_the_independent_check_shares_nothing_with_the_program(path):
    """A check that borrows the program's arithmetic would agree with its mistakes."""
    rooms = {m[1] for name in imports(path) if (m := re.match(r"pdm_alloc\.(\w+)", name))}
    assert not rooms & {"circuits", "program"}


def test_functions_and_files_stay_short():
    """Short functions get read: half within 6 lines of code, nine in ten within 25, files within 350."""
    lengths = sorted(n for path in FILES for n in function_lengths(path))
    assert lengths[len(lengths) // 2] <= 6
    assert lengths[len(lengths) * 9 // 10] <= 25
    assert {p.name: n for p in FILES if (n := len(p.read_text().splitlines())) > 350} == {}


def function_lengths(path: Path):
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.FunctionDef):
            body = node.body[1:] if ast.get_docstring(node) and len(node.body) > 1 else node.body
            yield body[-1].end_lineno - body[0].lineno + 1


def test_the_scan_sees_what_it_should():
    """The scan itself: it reads imports and calls, so a rule that matches nothing is a broken rule."""
    seen = {m.split(".")[0] for path in FILES for m in imports(path)}
    assert {"pulp", "pandas", "highspy", "openpyxl"} <= seen
    assert any(set(calls(path)) & FILE_CALLS for path in FILES if room_of(path) in FILE_ROOMS)
