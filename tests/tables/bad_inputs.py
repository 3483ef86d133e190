"""The corpus of bad inputs, read from the text file beside this one."""

import re
from pathlib import Path
from typing import NamedTuple

from tests.tables.good import CATALOGUE, VEHICLE, write_files

_CORPUS = Path(__file__).with_name("bad_inputs.txt")
_BLOCK = re.compile(r"^\[(.+)\]\n(.+)\n((?:.+\n)+)", re.MULTILINE)
_EDIT = re.compile(r"(\S+): (.*?) => (.*)|(\S+) = (.*)|(\S+) deleted")


class Bad(NamedTuple):
    """One bad input: its name, the edit, what must be said."""

    name: str
    edit: str
    said: str

    def write(self, folder: Path) -> tuple[Path, Path]:
        """The vehicle and the catalogue with the edit in one of them."""
        files = {"vehicle": _as_bytes(VEHICLE), "catalogue": _as_bytes(CATALOGUE)}
        _apply(self.edit, files)
        return tuple(write_files(folder / name, content) for name, content in files.items())


def bad_inputs() -> list[Bad]:
    """All of them."""
    explained, *blocks = _BLOCK.findall(_CORPUS.read_text(encoding="utf-8"))
    assert explained[0] == "name"
    return [Bad(name, edit, said.strip()) for name, edit, said in blocks]


def _as_bytes(files):
    return {name: content.encode() for name, content in files.items()}


def _apply(edit, files) -> None:
    file, old, new, added, content, deleted = _EDIT.fullmatch(edit).groups()
    name = file or added or deleted
    kind = "catalogue" if name in CATALOGUE else "vehicle"
    if deleted:
        del files[kind][name]
    elif added:
        files[kind][name] = _bytes(content)
    else:
        assert files[kind][name].count(_bytes(old)), edit
        files[kind][name] = files[kind][name].replace(_bytes(old), _bytes(new), 1)


def _bytes(text) -> bytes:
    return text.encode("latin-1").decode("unicode_escape").encode("latin-1")
