import subprocess
import sys
from pathlib import Path

DATA = Path(__file__).parents[2] / "data"


def test_reading_csv_imports_neither_pandas_nor_openpyxl():
    """The command line starts fast because reading CSV needs no large library."""
    code = (
        "import sys; from pdm_alloc.files.tables.read_vehicle import read_vehicle; read_vehicle(sys.argv[1]); "
        "print(*{'pandas', 'numpy', 'openpyxl', 'pulp', 'matplotlib'} & set(sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(DATA / "rally_coupe")], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == ""
