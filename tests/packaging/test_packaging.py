"""The wheel alone is enough: built, installed into an empty environment, run in an empty folder."""

import ast
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
def built(tmp_path_factory):
    """Wheel and sdist, built from what git tracks."""
    source, dist = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("dist")
    for name in tracked():
        if (ROOT / name).exists():
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            (source / name).write_bytes((ROOT / name).read_bytes())
    run = lambda *words: subprocess.run([sys.executable, "-m", *words], cwd=source, check=True)  # noqa: E731
    run("pip", "wheel", "-q", "--no-deps", "-w", str(dist), ".")
    environment = tmp_path_factory.mktemp("build")
    venv.create(environment, with_pip=True)
    python = environment / ("Scripts" if sys.platform == "win32" else "bin") / "python"
    subprocess.run([python, "-m", "pip", "install", "-q", *PROJECT["build-system"]["requires"]], check=True)
    code = f"import sys; sys.path.insert(0, '.ci'); import backend; backend.build_sdist({str(dist)!r})"
    subprocess.run([python, "-c", code], cwd=source, check=True)
    return next(dist.glob("*.whl")), next(dist.glob("*.tar.gz"))


@pytest.mark.nightly
def test_wheel_in_an_empty_folder(built, tmp_path):
    """From the wheel alone: the demo, a blank vehicle and a blank catalogue, all of which can be read."""
    with zipfile.ZipFile(built[0]) as wheel:
        assert {name.split("/")[0] for name in wheel.namelist() if ".dist-info" not in name} == {"pdm_alloc"}
    venv.create(tmp_path / "venv", with_pip=True)
    home = tmp_path / "venv" / ("Scripts" if sys.platform == "win32" else "bin")
    subprocess.run([home / "python", "-m", "pip", "install", "-q", str(built[0])], check=True)
    folder = tmp_path / "empty"
    folder.mkdir()
    run = lambda *words: subprocess.run([home / "pdm-alloc", *words], cwd=folder, check=True, capture_output=True)  # noqa: E731
    run("new", "--demo", "demo")
    run("new", "mine")
    run("new", "--catalogue", "catalogue")
    run("check", "mine")
    assert b"is the smallest that is enough" in run("size", "demo/rally_coupe").stdout


@pytest.mark.nightly
def test_sdist_is_complete(built):
    """The sdist holds everything that git does: tests, notebooks, demo and guide."""
    with tarfile.open(built[1]) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    left_out = [name for name in tracked() if name not in names and (ROOT / name).exists()]
    assert left_out == [".gitignore"]
    assert set(TOP) <= names
