"""Every outside thing has its room, data flows one way, and the house stays small enough to find one's way in."""

import ast
import io
import re
import tokenize
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

pytestmark = pytest.mark.once

PACKAGE = Path(__file__).parent.parent / "pdm_alloc"
FILES = sorted(PACKAGE.rglob("*.py"))

# Left to right; rooms of one tuple are neighbours that may not import each other.
ORDER = (
    ("domain",),
    ("files",),
    ("electrics",),
    ("harness",),
    ("circuits",),
    ("program",),
    ("result",),
    ("verify",),
    ("allocator",),
    ("diagnose",),
    ("studies",),
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
    "openpyxl": {"files", "export"},
    "networkx": {"harness"},
    "scipy": {"electrics"},
    "tqdm": {"printed"},
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
# The solver prints a banner to a file descriptor; the panel reads its own script and style, opens a picture in memory,
# and its page in a browser.
FILE_EXCEPTIONS = {
    "cli.py": {"open"},
    "program/solver.py": {"open"},
    "panel/page.py": {"open"},
    "panel/markup.py": {"read_text"},
    "panel/screen.py": {"open"},
}
LARGEST_FILE, LARGEST_FOLDER, MOST_FILES = 350, 20, 150


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


@cache
def nodes(path: Path):
    return tuple(ast.walk(ast.parse(path.read_text())))


def imports(path: Path):
    for node in nodes(path):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def calls(path: Path):
    for node in nodes(path):
        if isinstance(node, ast.Call):
            function = node.func
            yield function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def test_libraries_stay_in_their_rooms():
    """A solver, a plotting library or a widget outside its room could not be exchanged any more."""
    leaks = {
        f"{path.relative_to(PACKAGE)} imports {name}"
        for path in FILES
        for name in imports(path)
        if room_of(path) not in HOMES.get(name.split(".")[0], {room_of(path)})
    }
    assert not leaks


def test_nothing_imports_from_its_right():
    """The order of the rooms is the order in which data flows."""
    wrong = []
    for path in FILES:
        here = room_of(path)
        if here == "__init__":
            continue
        for name in imports(path):
            match = re.match(r"pdm_alloc\.(\w+)", name)
            if match and match[1] != here and RANK[match[1]] >= RANK[here]:
                wrong.append(f"{path.relative_to(PACKAGE)} imports {name}")
    assert not wrong


def test_files_are_touched_in_one_room_only():
    """Reading and writing have one room."""
    wrong = {
        str(path.relative_to(PACKAGE)): touched
        for path in FILES
        if room_of(path) != "files"
        and (touched := set(calls(path)) & FILE_CALLS - FILE_EXCEPTIONS.get(str(path.relative_to(PACKAGE)), set()))
    }
    assert not wrong


def test_the_independent_check_shares_nothing_with_the_program():
    """A check that borrows the program's arithmetic would agree with its mistakes."""
    rooms = {
        m[1] for p in (PACKAGE / "verify").glob("*.py") for n in imports(p) if (m := re.match(r"pdm_alloc\.(\w+)", n))
    }
    assert rooms & {"circuits", "program"} == set()


def test_functions_and_files_stay_short():
    """Short functions get read: half within 6 lines of code, nine in ten within 25; a file is a chapter."""
    lengths = sorted(n for path in FILES for n in function_lengths(path))
    assert lengths[len(lengths) // 2] <= 6
    assert lengths[len(lengths) * 9 // 10] <= 25
    assert {path.name: n for path in FILES if (n := code_lines(path)) > LARGEST_FILE} == {}


def test_the_house_stays_small():
    """Few files, few in a folder, and no name twice: the file list is the table of contents."""
    names = Counter(path.name for path in FILES if path.name not in ("__init__.py", "__main__.py"))
    folders = Counter(path.parent for path in FILES)
    assert [name for name, times in names.items() if times > 1] == []
    assert {str(folder): n for folder, n in folders.items() if n > LARGEST_FOLDER} == {}
    assert len(FILES) <= MOST_FILES


# Rooms in which a variable is the noun of its value; each of these words hides one.
NAMED, NOT_A_NOUN = ("circuits", "result", "verify", "export"), {"found", "own", "most", "some"}


def test_variables_are_nouns():
    """`found`, `own`, `most` and `some` say nothing of what they hold."""
    hidden = {
        f"{path.relative_to(PACKAGE)}: {name}"
        for path in FILES
        if room_of(path) in NAMED
        for function in nodes(path)
        if isinstance(function, ast.FunctionDef)
        for node in ast.walk(function)
        if (name := node.id if isinstance(node, ast.Name) else getattr(node, "arg", None)) in NOT_A_NOUN
    }
    assert not hidden


def function_lengths(path: Path):
    for node in nodes(path):
        if isinstance(node, ast.FunctionDef):
            body = node.body[1:] if ast.get_docstring(node) and len(node.body) > 1 else node.body
            yield body[-1].end_lineno - body[0].lineno + 1


def code_lines(path: Path) -> int:
    """Lines with code on them; docstrings, comments and blank lines are not counted."""
    source = path.read_text()
    layout = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT, tokenize.ENDMARKER}
    tokens = (t for t in tokenize.generate_tokens(io.StringIO(source).readline) if t.type not in layout)
    lines = {line for token in tokens for line in range(token.start[0], token.end[0] + 1)}
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef)
    texts = [node.body[0] for node in nodes(path) if isinstance(node, documented) and ast.get_docstring(node)]
    return len(lines - {line for text in texts for line in range(text.lineno, text.end_lineno + 1)})


def test_lines_of_code_are_counted_without_texts(tmp_path):
    """The count itself: texts, remarks and blank lines are none, a string that is a value is code on all its lines."""
    path = tmp_path / "some.py"
    written = [
        '"""Text.',
        "",
        'More."""',
        "# remark",
        'x = """a',
        'b"""',
        "",
        "def f():",
        '    """Text."""',
        "    return x  # y",
    ]
    path.write_text("\n".join(written) + "\n")
    assert code_lines(path) == 4


def test_the_scan_sees_what_it_should():
    """The scan itself: it reads imports and calls, so a rule that matches nothing is a broken rule."""
    seen = {m.split(".")[0] for path in FILES for m in imports(path)}
    assert {"pulp", "pandas", "highspy", "openpyxl"} <= seen
    assert any(set(calls(path)) & FILE_CALLS for path in FILES if room_of(path) == "files")


def test_colours_of_the_panel_are_named_in_one_place():
    """A style sheet takes its colours from the one palette, so that both themes are right everywhere."""
    sheets = {path for path in PACKAGE.rglob("*.css") if path.name != "colours.css"}
    assert sheets
    named = r"#[0-9a-fA-F]{3,8}\b|--jp-(?:ui-font-color|layout-color|border-color|brand-color)|^\s*--pdm-[a-z-]+:"
    assert {path.name: colours for path in sheets if (colours := re.findall(named, path.read_text(), re.M))} == {}
