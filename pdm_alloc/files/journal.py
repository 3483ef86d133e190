"""Files that belong together, exchanged in one step: the old set or the new one, whenever the process is killed.

The protocol, for a folder that is there already (a new one is made beside its place and renamed):

1. Hold the folder (`held`). Finish or undo what a killed writer left, and delete what it had only begun (`settle`).
2. *Stage*: every new file goes to ``.pdm-alloc-<random>/new/<number>``, every file it will replace is kept beside it as
   ``old/<number>`` (a second name of the same file, or a copy), and ``journal.json`` lists names and numbers. All of it
   is put on the disk before the next step.
3. *Commit*: the staging folder is renamed to ``.pdm-alloc-commit``. This one rename is the switch. Before it the old
   set is valid, after it the new one.
4. *Apply*: each new file is moved to its name, outdated ones are deleted. A killed process leaves some moves undone;
   whoever reads or writes next does the remaining ones (a staged file that is gone has been moved).
5. *Close*: the committed folder gets a staging name again and is deleted.

Where a move fails (a file is open elsewhere), the committed folder is renamed to ``.pdm-alloc-undo``: from then on the
old set is valid, and the kept files are moved back in the same way, at once or at the next visit.
Only `os.replace` and `os.rename` within one folder are asked of the system, so this holds on Linux, macOS and Windows.
"""

import contextlib
import errno
import json
import os
import secrets
import shutil
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

__all__ = ["TEMPORARY", "clear", "exchange", "held", "is_interrupted", "put", "settle", "staging_folder", "to_disk"]

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

TEMPORARY = ".pdm-alloc-"

_COMMIT, _UNDO, _LOCK = f"{TEMPORARY}commit", f"{TEMPORARY}undo", f"{TEMPORARY}lock"

_JOURNAL = "journal.json"


@dataclass(frozen=True, slots=True)
class _Move:
    """One file of the set: its path below the folder, whether it is written, whether there was one before."""

    name: str
    new: bool
    old: bool


@contextlib.contextmanager
def held(folder: Path, to_read: bool = False) -> Iterator[None]:
    """Hold a folder: whoever else wants it waits. Where the system cannot lock, nobody does.

    Parameters
    ----------
    folder : Path
        Exists. The system frees it when the process ends, however that happens.
    to_read : bool
        Other readers need not wait.
    """
    with contextlib.ExitStack() as stack:
        with contextlib.suppress(OSError):
            _lock(stack, folder, to_read)
        yield


def _lock(stack: contextlib.ExitStack, folder: Path, to_read: bool) -> None:
    if fcntl is not None:
        handle = os.open(folder, os.O_RDONLY)
        stack.callback(os.close, handle)
        fcntl.flock(handle, fcntl.LOCK_SH if to_read else fcntl.LOCK_EX)
    elif not to_read:  # Windows cannot lock a folder, but a file in it
        import msvcrt

        windows: Any = msvcrt
        file = stack.enter_context((folder / _LOCK).open("wb"))
        windows.locking(file.fileno(), windows.LK_LOCK, 1)


def is_interrupted(folder: Path) -> bool:
    """True where a writer was killed after its commit and some files are not yet in their place."""
    return (folder / _COMMIT).is_dir() or (folder / _UNDO).is_dir()


def settle(folder: Path) -> None:
    """Finish what a killed writer has committed, undo what it was undoing, delete what it had only begun.

    Parameters
    ----------
    folder : Path
        Exists, and is held.

    Raises
    ------
    OSError
        A file cannot be moved.
    """
    if (folder / _COMMIT).is_dir():
        _apply(folder, folder / _COMMIT)
    if (folder / _UNDO).is_dir():
        _undo(folder, folder / _UNDO)
    clear(folder)


def clear(folder: Path) -> None:
    """Delete what killed writers had begun and not committed; the folder is held."""
    for left in folder.glob(f"{TEMPORARY}*"):
        if left.name in (_COMMIT, _UNDO, _LOCK):
            continue
        if left.is_dir() and not left.is_symlink():
            shutil.rmtree(left, ignore_errors=True)
        else:
            with contextlib.suppress(OSError):
                left.unlink()


@contextlib.contextmanager
def staging_folder(home: Path) -> Iterator[Path]:
    """A folder for what is not yet valid; gone at the end."""
    folder = home / f"{TEMPORARY}{secrets.token_hex(6)}"
    try:
        folder.mkdir()
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def exchange(folder: Path, files: Mapping[str, bytes], outdated: Sequence[str] = ()) -> None:
    """Replace a set of files in one step.

    Parameters
    ----------
    folder : Path
        Exists, is held and settled; so do the folders below it that the files go to.
    files : mapping of str to bytes
        Path below the folder, content.
    outdated : sequence of str
        Paths below the folder of files to delete in the same step.

    Raises
    ------
    OSError
        The old set is valid; `filename` is the file that could not be written.
    """
    with staging_folder(folder) as staged:
        _stage(folder, staged, files, [name for name in outdated if name not in files])
        staged.rename(folder / _COMMIT)
    try:
        to_disk(folder)
        _apply(folder, folder / _COMMIT)
    except OSError:
        (folder / _COMMIT).rename(folder / _UNDO)
        _undo(folder, folder / _UNDO)
        raise
    except BaseException:  # interrupted, and committed: the new set it is
        settle(folder)
        raise


def _stage(folder: Path, staged: Path, files: Mapping[str, bytes], outdated: Sequence[str]) -> None:
    for part in ("new", "old"):
        (staged / part).mkdir()
    moves = [_kept(folder, staged, n, name, name in files) for n, name in enumerate((*files, *outdated))]
    for n, (name, content) in enumerate(files.items()):
        with _named(folder / name):
            put(staged / "new" / str(n), content)
    put(staged / _JOURNAL, json.dumps([[move.name, move.new, move.old] for move in moves]).encode())
    for place in (staged / "new", staged / "old", staged):
        to_disk(place)


def _kept(folder: Path, staged: Path, number: int, name: str, new: bool) -> _Move:
    """Keep the file that is there now, by a second name where the file system knows such, else as a copy."""
    target, old = folder / name, staged / "old" / str(number)
    with _named(target):
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, "is a folder", str(target))
        if not target.exists():
            return _Move(name, new, False)
        try:
            old.hardlink_to(target.resolve())
        except OSError:
            put(old, target.read_bytes())
    return _Move(name, new, True)


def _moves(journal: Path) -> list[_Move]:
    try:
        return [_Move(*row) for row in json.loads((journal / _JOURNAL).read_bytes())]
    except (ValueError, TypeError) as error:
        raise OSError(errno.EIO, "is damaged: write the documents into a new folder", str(journal)) from error


def _apply(folder: Path, commit: Path) -> None:
    moves = _moves(commit)
    for n, move in enumerate(moves):
        target = folder / move.name
        with _named(target):
            if move.new:
                _move(commit / "new" / str(n), target)
            else:
                target.unlink(missing_ok=True)
    _close(folder, commit, moves)


def _undo(folder: Path, undo: Path) -> None:
    moves = _moves(undo)
    for n, move in enumerate(moves):
        target = folder / move.name
        with _named(target):
            if move.old:
                _move(undo / "old" / str(n), target)
            else:
                target.resolve().unlink(missing_ok=True)
    _close(folder, undo, moves)


def _move(staged: Path, target: Path) -> None:
    """Move a staged file to its name, through a link if the name is one; nothing to do where it has been moved."""
    if not staged.exists():
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        staged.replace(target.resolve())
    except OSError as error:
        if error.errno != errno.EXDEV:  # a link to another disk
            raise
        part = target.resolve().with_name(f"{TEMPORARY}{secrets.token_hex(6)}")
        put(part, staged.read_bytes())
        part.replace(target.resolve())
        staged.unlink()


def _close(folder: Path, journal: Path, moves: Sequence[_Move]) -> None:
    for place in {(folder / move.name).resolve().parent for move in moves}:
        to_disk(place)
    done = folder / f"{TEMPORARY}{secrets.token_hex(6)}"
    journal.rename(done)
    shutil.rmtree(done, ignore_errors=True)


def put(file: Path, content: bytes) -> None:
    """Write a file that does not exist, and put it on the disk."""
    with file.open("xb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def to_disk(folder: Path) -> None:
    """Put the names in a folder on the disk, where the system can open a folder."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def _named(target: Path) -> Iterator[None]:
    """Errors name the file that is written, not its temporary name."""
    try:
        yield
    except OSError as error:
        raise OSError(error.errno or errno.EIO, error.strerror or str(error), str(target)) from error
