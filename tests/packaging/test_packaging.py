"""The wheel alone is enough: built, installed into an empty environment, run in an empty folder."""

import ast
import os
import subprocess
import sys
import tarfile
import tomllib
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "pdm_alloc"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
TOP = ("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "MANIFEST.in", ".ci/backend.py", ".ci/run")


def tracked():
    done = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if done.returncode:
        pytest.skip("not a clone")
    return done.stdout.splitlines()


def test_every_demo_folder_is_shipped():
    """A demo folder that the build step or the command does not know would be missing from the wheel."""
    folders = {path.parent.name for path in (ROOT / "data").glob("*/*.csv")}
    backend = ast.parse((ROOT / ".ci" / "backend.py").read_text())
    shipped = next(
        ast.literal_eval(node.value)
        for node in backend.body
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "_DEMO"
    )
    from pdm_alloc.files import write_tables as new

    assert set(shipped) == set(new._DEMO_FOLDERS) == folders


def test_every_data_file_of_the_package_has_a_pattern():
    """A script or style that no pattern names would be missing from the wheel."""
    patterns = PROJECT["tool"]["setuptools"]["package-data"]["pdm_alloc"]
    covered = {path for pattern in patterns for path in PACKAGE.glob(pattern)}
    named = [ROOT / name for name in tracked() if name.startswith("pdm_alloc/") and not name.endswith(".py")]
    assert [path for path in named if path.exists() and path not in covered] == []


def test_nothing_of_this_repository_is_in_the_package():
    """The package reads nothing of the repository but the demo, and imports no test."""
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert "import tests" not in text
        assert "from tests" not in text
        assert "data/figures" not in text, path


@pytest.fixture(scope="module")
def source(tmp_path_factory):
    """What git tracks, away from the repository."""
    source = tmp_path_factory.mktemp("source")
    for name in tracked():
        if (ROOT / name).exists():
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            (source / name).write_bytes((ROOT / name).read_bytes())
    return source


@pytest.fixture(scope="module")
def wheel(source, tmp_path_factory):
    """Built as ``pip install`` builds it."""
    dist = tmp_path_factory.mktemp("dist")
    command = [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(dist), "."]
    subprocess.run(command, cwd=source, check=True)
    return next(dist.glob("*.whl"))


@pytest.fixture(scope="module")
def sdist(source, tmp_path_factory):
    """Built in an environment that has the build requirements and nothing else."""
    dist, environment = tmp_path_factory.mktemp("dist"), tmp_path_factory.mktemp("build")
    venv.create(environment, with_pip=True)
    python = environment / ("Scripts" if sys.platform == "win32" else "bin") / "python"
    subprocess.run([python, "-m", "pip", "install", "-q", *PROJECT["build-system"]["requires"]], check=True)
    code = f"import sys; sys.path.insert(0, '.ci'); import backend; backend.build_sdist({str(dist)!r})"
    subprocess.run([python, "-c", code], cwd=source, check=True)
    return next(dist.glob("*.tar.gz"))


def test_wheel_alone(wheel, tmp_path):
    """Unpacked into an empty folder, with the libraries that are here: all files in it, demo and blank tables read."""
    place, folder = tmp_path / "unpacked", tmp_path / "empty"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(place)
    folder.mkdir()
    shipped = {path.relative_to(place).as_posix() for path in place.rglob("*") if path.is_file()}
    assert {name for name in tracked() if name.startswith("pdm_alloc/") and (ROOT / name).exists()} <= shipped
    assert {name.split("/")[0] for name in shipped if ".dist-info" not in name} == {"pdm_alloc"}
    environment = {**os.environ, "PYTHONPATH": str(place)}
    python = [sys.executable, "-m", "pdm_alloc"]
    run = lambda *words: subprocess.run([*python, *words], cwd=folder, env=environment, check=True)  # noqa: E731
    where = [sys.executable, "-c", "import pdm_alloc; print(pdm_alloc.__file__)"]
    assert (
        str(place)
        in subprocess.run(where, cwd=folder, env=environment, check=True, capture_output=True).stdout.decode()
    )
    run("new", "--demo", "demo")
    run("new", "mine")
    run("check", "mine", "--catalogue", "demo/catalogue")
    run("check", "demo/rally_coupe")


@pytest.mark.nightly
def test_wheel_in_an_empty_folder(wheel, tmp_path):
    """From the wheel alone: the demo, a blank vehicle and a blank catalogue, all of which can be read."""
    with zipfile.ZipFile(wheel) as archive:
        assert {name.split("/")[0] for name in archive.namelist() if ".dist-info" not in name} == {"pdm_alloc"}
    venv.create(tmp_path / "venv", with_pip=True)
    home = tmp_path / "venv" / ("Scripts" if sys.platform == "win32" else "bin")
    subprocess.run([home / "python", "-m", "pip", "install", "-q", str(wheel)], check=True)
    folder = tmp_path / "empty"
    folder.mkdir()
    run = lambda *words: subprocess.run([home / "pdm-alloc", *words], cwd=folder, check=True, capture_output=True)  # noqa: E731
    run("new", "--demo", "demo")
    run("new", "mine")
    run("new", "--catalogue", "catalogue")
    run("check", "mine")
    assert b"is the smallest that is enough" in run("size", "demo/rally_coupe").stdout


@pytest.mark.nightly
def test_sdist_is_complete(sdist):
    """The sdist holds everything that git does: tests, notebooks, demo and guide."""
    with tarfile.open(sdist) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    left_out = [name for name in tracked() if name not in names and (ROOT / name).exists()]
    assert left_out == [".gitignore"]
    assert set(TOP) <= names
