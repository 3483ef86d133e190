"""A check that leans on what it checks checks nothing."""

import ast
from pathlib import Path

import pdm_alloc.verify.check as package

ALLOWED = ("pdm_alloc.verify", "pdm_alloc.result.placed", "pdm_alloc.domain.kinds", "pdm_alloc.domain.module")
ALLOWED += (
    "pdm_alloc.domain.vehicle",
    "pdm_alloc.domain.condition",
    "pdm_alloc.domain.condition",
    "pandas",
    "math",
    "re",
    "heapq",
    "fractions",
    "functools",
    "itertools",
    "collections",
)
ALLOWED += (
    "dataclasses",
    "sys",
    "types",
    "typing",
    "pdm_alloc.domain.vehicle",
    "pdm_alloc.domain.module",
    "pdm_alloc.electrics.wire_tables",
)  # constants of wire, each with its source: no arithmetic


def imported(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        if isinstance(node, ast.ImportFrom):
            yield node.module


def test_imports_domain_objects_and_nothing_that_builds_an_allocation():
    """No electrics, circuits or program: the arithmetic is written a second time."""
    files = sorted(Path(package.__file__).parent.glob("*.py"))
    assert len(files) > 5
    foreign = {
        f"{f.name}: {n}"
        for f in files
        for n in imported(f)
        if not any(n == a or n.startswith(a + ".") for a in ALLOWED)
    }
    assert not foreign
