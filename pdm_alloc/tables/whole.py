"""Files and folders written whole or not at all: made beside their place, then moved there in one step."""

import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from pdm_alloc.tables.fault import InputError

__all__ = ["write_file", "write_folder"]


def write_folder(folder: Path, fill: Callable[[Path], None]) -> list[Path]:
    """Make a folder and fill it; nothing is left behind where that fails.

    Parameters
    ----------
    folder : Path
        Does not exist, or is empty.
    fill : callable
        Writes the files into the folder it is given.

    Returns
    -------
    list of Path
        Files in it, sorted.

    Raises
    ------
    InputError
        There is something already, or it cannot be written.
    """
    if folder.is_symlink() or (folder.exists() and not (folder.is_dir() and not any(folder.iterdir()))):
        raise InputError.of(folder.name, None, None, None, "is there already", "name a folder that does not exist yet")
    _in_place(folder, lambda made: _filled(made, fill))
    return sorted(folder.iterdir())


def _filled(made, fill):
    made.mkdir()
    fill(made)


def write_file(path: Path, write: Callable[[Path], None]) -> None:
    """Write a file that does not exist yet; nothing is left behind where that fails.

    Parameters
    ----------
    path : Path
        Where to.
    write : callable
        Writes the file at the path it is given.

    Raises
    ------
    InputError
        There is something already, or it cannot be written.
    """
    if path.exists() or path.is_symlink():
        raise InputError.of(path.name, None, None, None, "is there already", "give another name")
    _in_place(path, write)


def _in_place(path: Path, make: Callable[[Path], None]) -> None:
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = Path(tempfile.mkdtemp(prefix=".pdm-alloc-", dir=path.parent))
        made = temporary / path.name
        make(made)
        _move(made, path)
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError.of(
            path.name, None, None, None, f"cannot be written ({why})", "choose a place you may write to"
        ) from error
    finally:
        if temporary is not None:
            shutil.rmtree(temporary, ignore_errors=True)


def _move(made: Path, path: Path) -> None:
    """Into place in one step; what another process has put there meanwhile is not overwritten."""
    if made.is_dir():
        if path.is_dir():
            path.rmdir()
        made.rename(path)
        return
    try:
        path.hardlink_to(made)
    except FileExistsError:
        raise
    except OSError:
        # Some file systems know no hard links.
        made.rename(path)
