"""Files written whole or not at all."""

import contextlib
import errno
import os
import secrets
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from pdm_alloc.export.lock import locked

__all__ = ["WriteError", "write_file", "write_files"]


class WriteError(OSError):
    """A file could not be written; the message is one line and says which, why and what to do.

    Parameters
    ----------
    number : int
        The system's number of the error.
    why : str
        Why, and what to do.
    path : str
        Which file.
    """

    def __init__(self, number: int, why: str, path: str):
        super().__init__(number, why, path)

    def __str__(self) -> str:
        """One line."""
        return f"cannot write {self.filename}: {self.strerror}"


_REMEDIES = {
    "ENOSPC": "the disk is full: make room",
    "EDQUOT": "the disk quota is used up: make room",
    "EROFS": "the disk is read-only: choose another folder",
    "EACCES": "not allowed: close the file where it is open, or choose another folder",
    "EPERM": "not allowed: close the file where it is open, or choose another folder",
    "EISDIR": "there is a folder of that name: choose another name",
    "ENOTDIR": "a part of the path is a file: choose another folder",
    "ENOENT": "the folder does not exist: make it first",
    "ENAMETOOLONG": "the name is too long: choose a shorter one",
}


def write_file(path: str | os.PathLike[str], content: bytes) -> Path:
    """Write a file so that a crash leaves the old one or the new one, never a part.

    Parameters
    ----------
    path : path
        Where to; its folder must exist. An existing file is replaced.
    content : bytes
        All of it.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    WriteError
        It could not be written; the old file is still there.
    """
    target = Path(path)
    with _one_line(target), _beside(target) as part:
        _put(part, content)
        _replace(part, target)
    return target


def write_files(folder: str | os.PathLike[str], files: Mapping[str, bytes], outdated: Iterable[str] = ()) -> list[Path]:
    """Write files that belong together: all are on the disk before the first takes its place.

    Whoever else writes to the folder in this way waits, so that files of two sets are never mixed.

    Parameters
    ----------
    folder : path
        Where to; made if it does not exist. Files of other names stay.
    files : mapping of str to bytes
        Path below the folder, content.
    outdated : iterable of str
        Paths below the folder of files that would mislead beside the new ones: removed at the end.

    Returns
    -------
    list of Path
        The files, in order.

    Raises
    ------
    WriteError
        One could not be written; then none has been, and what was there is there again.
    """
    home = Path(folder)
    with _folders(home, files), locked(home), contextlib.ExitStack() as stack:
        parts = [(_staged(stack, home / name, content), home / name) for name, content in files.items()]
        _exchange(stack, parts)
        _remove(home / name for name in outdated if name not in files)
    return [target for _, target in parts]


@contextlib.contextmanager
def _folders(home: Path, files: Iterable[str]) -> Iterator[None]:
    """Folders made where they are missing; gone again, where they are empty, if it was for nothing."""
    places = dict.fromkeys(folder for name in ("x", *files) for folder in reversed((home / name).parents))
    missing = [place for place in places if not place.exists()]
    try:
        for place in missing:
            with _one_line(place):
                place.mkdir(exist_ok=True)
        yield
    except BaseException:
        for place in reversed(missing):
            with contextlib.suppress(OSError):
                place.rmdir()
        raise


def _exchange(stack: contextlib.ExitStack, parts: Iterable[tuple[Path, Path]]) -> None:
    """Every finished file to its name, or all old ones back."""
    done: list[tuple[Path, Path | None]] = []
    try:
        for part, target in parts:
            with _one_line(target):
                done.append((target, _kept(stack, target)))
                _replace(part, target)
    except BaseException:
        for target, old in reversed(done):
            with contextlib.suppress(OSError):
                _replace(old, target) if old else target.resolve().unlink(missing_ok=True)
        raise


def _kept(stack: contextlib.ExitStack, target: Path) -> Path | None:
    """A second name for the old file, gone at the end; None where there is no old file."""
    if not target.exists():
        return None
    old = stack.enter_context(_beside(target))
    try:
        old.hardlink_to(target.resolve())
    except OSError:  # some file systems know no hard links
        _put(old, target.read_bytes())
    return old


def _remove(files: Iterable[Path]) -> None:
    for file in files:
        with _one_line(file):
            file.unlink(missing_ok=True)


def _staged(stack: contextlib.ExitStack, target: Path, content: bytes) -> Path:
    with _one_line(target):
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, "is a folder", str(target))
        part = stack.enter_context(_beside(target))
        _put(part, content)
    return part


@contextlib.contextmanager
def _beside(target: Path) -> Iterator[Path]:
    """A name for the unfinished file, in the same folder so that it can be moved in one step; gone at the end."""
    part = target.resolve().with_name(f".{target.name[:100]}.{secrets.token_hex(6)}.part")
    try:
        yield part
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def _put(part: Path, content: bytes) -> None:
    with part.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _replace(part: Path, target: Path) -> None:
    """Move the finished file to its name, through a link if the name is one, and put the folder on the disk."""
    part.replace(target.resolve())
    with contextlib.suppress(OSError):  # not every system can open a folder
        handle = os.open(part.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def _one_line(path: Path) -> Iterator[None]:
    """Turn what the system says into one line."""
    try:
        yield
    except WriteError:
        raise
    except (OSError, ValueError) as error:
        raise WriteError(getattr(error, "errno", None) or errno.EINVAL, _why(error), str(path)) from error


def _why(error: Exception) -> str:
    code = errno.errorcode.get(getattr(error, "errno", None) or 0, "")
    return _REMEDIES.get(code) or getattr(error, "strerror", None) or str(error)
