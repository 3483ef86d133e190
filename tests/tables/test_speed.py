import subprocess
import sys
import time
from pathlib import Path

from pdm_alloc.tables import read_catalogue, read_vehicle

DATA = Path(__file__).parents[2] / "data"


def best_of(times, call):
    """Shortest of some runs, s: what the work takes, not what else the machine does."""

    def once():
        start = time.perf_counter()
        call()
        return time.perf_counter() - start

    return min(once() for _ in range(times))


def test_demo_is_read_in_under_60_ms():
    """Vehicle and catalogue that come with the project, from CSV."""
    read_vehicle(DATA / "rally_coupe")
    assert best_of(5, lambda: read_vehicle(DATA / "rally_coupe")) < 0.06
    assert best_of(5, lambda: read_catalogue(DATA / "catalogue")) < 0.06


def test_reading_csv_imports_neither_pandas_nor_openpyxl():
    """The command line starts fast because reading CSV needs no large library."""
    code = (
        "import sys; from pdm_alloc.tables import read_vehicle; read_vehicle(sys.argv[1]); "
        "print(*{'pandas', 'numpy', 'openpyxl', 'pulp', 'matplotlib'} & set(sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(DATA / "rally_coupe")], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == ""
