"""The fuzzer that is guided by coverage, for a while on every reader; only where atheris is installed."""

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pdm_alloc.export.saved_tables import allocation_json
from tests.fuzz.test_measured import TRACE
from tests.fuzz.test_saved import MADE
from tests.tables.good import CATALOGUE, VEHICLE

SEEDS = {
    **{name: text.encode() for name, text in {**VEHICLE, **CATALOGUE}.items()},
    "condition": b'master and not ("left door" or a_1) & ~b',
    "json": allocation_json(MADE),
    "trace": TRACE,
}
pytestmark = [
    pytest.mark.nightly,
    pytest.mark.skipif(importlib.util.find_spec("atheris") is None, reason="atheris is not installed"),
]


@pytest.mark.parametrize("target", SEEDS)
def test_nothing_but_a_refusal_escapes(target, tmp_path):
    """Bytes grown from a good file towards code that none has reached yet."""
    corpus = tmp_path / "corpus"
    corpus.mkdir()
    (corpus / "good").write_bytes(SEEDS[target])
    command = [
        sys.executable,
        "-m",
        "tests.fuzz.guided",
        target,
        "-atheris_runs=20000",
        "-max_total_time=40",
        "-seed=1",
    ]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([str(Path.cwd()), os.environ.get("PYTHONPATH", "")])}
    command += [f"-artifact_prefix={tmp_path}/", str(corpus)]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1500:]
