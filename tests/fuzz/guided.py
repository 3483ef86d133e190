"""Fuzzing guided by coverage, where atheris is installed: ``python -m tests.fuzz.guided TARGET -atheris_runs=100000``.

It looks for bytes that lead into code no bytes led into before; whatever escapes but `InputError` ends it.
"""

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["pdm_alloc.files", "pdm_alloc.export"]):
    from pdm_alloc.domain.condition import ConditionError, condition_names
    from pdm_alloc.export.saved_tables import from_json
    from pdm_alloc.files.faults import InputError
    from pdm_alloc.files.outline import read_trace
    from pdm_alloc.files.tables.read_catalogue import read_catalogue
    from pdm_alloc.files.tables.read_vehicle import read_vehicle

from tests.tables.good import CATALOGUE, VEHICLE, write_files

FOLDER = Path(tempfile.mkdtemp())


def _vehicle(name):
    return lambda data: read_vehicle(write_files(FOLDER, {**VEHICLE, name: data}))


def _catalogue(name):
    return lambda data: read_catalogue(write_files(FOLDER, {**CATALOGUE, name: data}))


def _trace(data):
    (FOLDER / "trace.csv").write_bytes(data)
    read_trace(FOLDER / "trace.csv")


TARGETS = {
    **{name: _vehicle(name) for name in VEHICLE},
    **{name: _catalogue(name) for name in CATALOGUE},
    "condition": lambda data: condition_names(data.decode("utf-8", "replace")),
    "json": from_json,
    "trace": _trace,
}


def main(arguments: list[str]) -> None:
    """Fuzz one target; the rest of the arguments are the fuzzer's own."""
    read = TARGETS[arguments[1]]

    def one(data: bytes) -> None:
        try:
            read(data)
        except (InputError, ConditionError) as error:
            assert str(error)

    atheris.Setup([arguments[0], *arguments[2:]], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv)
