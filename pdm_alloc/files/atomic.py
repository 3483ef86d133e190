"""The one atomic writer: files that belong together are written whole or not at all.

The protocol, for a folder that is there already (a new one is made beside its place and renamed):

1. Hold the folder (`held`). Finish or undo what a killed writer left, and delete what it had only begun (`settle`).
2. *Stage*: every new file goes to ``.pdm-alloc-<random>/new/<number>``, every file it will replace is kept beside it as
   ``old/<number>`` (a second name of the same file, or a copy), and ``json`` lists names and numbers. All of it
   is put on the disk before the next step.
3. *Commit*: the staging folder is renamed to ``.pdm-alloc-commit``. This one rename is the switch. Before it the old
   set is valid, after it the new one.
4. *Apply*: each new file is moved to its name, outdated ones are deleted. A killed process leaves some moves undone;
   whoever reads or writes next does the remaining ones (a staged file that is gone has been moved).
5. *Close*: the committed folder gets a staging name again and is deleted.

Where a move fails (a file is open elsewhere), the committed folder is renamed to ``.pdm-alloc-undo``: from then on the
old set is valid, and the kept files are moved back in the same way, at once or at the next visit.
Only `os.replace` and `os.rename` within one folder are asked of the system, so this holds on Linux, macOS and Windows.

A set of files ends with its manifest, ``manifest.json``: the SHA-256 of every file written with it. Reading a set
compares them, so that a file from elsewhere, or one changed since, is named.
"""

import contextlib
import errno
import json
import os
import secrets
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from pdm_alloc.files.faults import InputError

__all__ = [
    "MANIFEST",
    "TEMPORARY",
    "WriteError",
    "changed_files",
    "clear",
    "exchange",
    "held",
    "is_interrupted",
    "put",
    "reading",
    "replace_files",
    "settle",
    "staging_folder",
    "to_disk",
    "write_file",
    "write_files",
    "write_new",
]

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

TEMPORARY = ".pdm-alloc-"

_COMMIT, _UNDO, _LOCK = f"{TEMPORARY}commit", f"{TEMPORARY}undo", f"{TEMPORARY}lock"

_JOURNAL = "json"


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


def _moves(record: Path) -> list[_Move]:
    try:
        return [_Move(*row) for row in json.loads((record / _JOURNAL).read_bytes())]
    except (ValueError, TypeError) as error:
        raise OSError(errno.EIO, "is damaged: write the documents into a new folder", str(record)) from error


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


def _close(folder: Path, record: Path, moves: Sequence[_Move]) -> None:
    for place in {(folder / move.name).resolve().parent for move in moves}:
        to_disk(place)
    done = folder / f"{TEMPORARY}{secrets.token_hex(6)}"
    record.rename(done)
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


MANIFEST = "manifest.json"
_FORMAT = "pdm_alloc manifest"


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


def write_file(path: str | os.PathLike[str], content: bytes, *, new: bool = False) -> Path:
    """Write a file so that a crash leaves the old one or the new one, never a part.

    Parameters
    ----------
    path : path
        Where to; its folder must exist. An existing file is replaced.
    content : bytes
        All of it.
    new : bool
        Refuse to replace a file.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    WriteError
        It could not be written; the old file is still there.
    InputError
        With `new`: there is something already.
    """
    target = Path(path)
    with _one_line(target), held(target.resolve().parent):
        if new and (target.exists() or target.is_symlink()):
            raise InputError.of(target.name, None, None, None, "is there already", "give another name")
        home = target.resolve().parent
        clear(home)
        with staging_folder(home) as staged:
            put(staged / "new", content)
            _put_new(staged / "new", target) if new else (staged / "new").replace(target.resolve())
        to_disk(home)
    return target


def _put_new(staged: Path, target: Path) -> None:
    """What another program has put there meanwhile is not overwritten, where the file system knows hard links."""
    try:
        target.hardlink_to(staged)
    except FileExistsError:
        raise
    except OSError:
        staged.rename(target)


def write_files(folder: str | os.PathLike[str], files: Mapping[str, bytes], outdated: Iterable[str] = ()) -> list[Path]:
    """Write files that belong together, in one step: the old set is valid or the new one, never parts of both.

    Whoever else writes to the folder in this way waits. What a killed writer left there is finished or deleted first.

    Parameters
    ----------
    folder : path
        Where to; made if it does not exist. Files of other names stay.
    files : mapping of str to bytes
        Path below the folder, content.
    outdated : iterable of str
        Paths below the folder of files that would mislead beside the new ones: deleted in the same step.

    Returns
    -------
    list of Path
        The files, in order; the manifest is not among them.

    Raises
    ------
    WriteError
        One could not be written; then none has been, and what was there is there again.
    """
    home, gone = Path(folder), [name for name in outdated if name not in files]
    if not _write_beside(home, {**files, MANIFEST: _manifest(files, {})}):
        with _one_line(home), held(home):
            settle(home)
            whole = {**files, MANIFEST: _manifest(files, {**_listed(home), **dict.fromkeys(gone, "")})}
            with _folders(home, whole):
                exchange(home, whole, gone)
    return [home / name for name in files]


def write_new(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Make a folder of files, whole or not at all.

    Parameters
    ----------
    folder : Path
        Does not exist, or is empty.
    files : mapping of str to bytes
        Path below the folder, content.

    Returns
    -------
    list of Path
        The files, sorted.

    Raises
    ------
    InputError
        There is something already.
    WriteError
        It cannot be written; nothing is left behind.
    """
    if folder.is_symlink() or (folder.exists() and not (folder.is_dir() and _is_empty(folder))):
        raise InputError.of(folder.name, None, None, None, "is there already", "name a folder that does not exist yet")
    if not _write_beside(folder, files):
        with _one_line(folder), held(folder):
            settle(folder)
            with _folders(folder, files):
                exchange(folder, files)
    return sorted(folder / name for name in files)


def _is_empty(folder: Path) -> bool:
    """What a killed writer left does not count."""
    return all(entry.name.startswith(TEMPORARY) for entry in folder.iterdir())


def _write_beside(folder: Path, files: Mapping[str, bytes]) -> bool:
    """A folder that does not exist, filled beside its place and renamed; False where there is one already."""
    if folder.exists() or folder.is_symlink():
        return False
    parent = folder.absolute().parent
    with _folders(parent, ()), _one_line(folder), held(parent):
        if folder.exists():
            return False
        clear(parent)
        with staging_folder(parent) as staged:
            for name, content in files.items():
                with _one_line(folder / name):
                    (staged / "all" / name).parent.mkdir(parents=True, exist_ok=True)
                    put(staged / "all" / name, content)
            (staged / "all").rename(folder)
        to_disk(parent)
    return True


@contextlib.contextmanager
def reading(folder: Path) -> Iterator[None]:
    """Hold a folder for reading, after what a killed writer left there is finished.

    Raises
    ------
    InputError
        Its writer was interrupted, and nothing can be written there to finish its work.
    """
    if is_interrupted(folder):
        try:
            with held(folder):
                settle(folder)
        except OSError as error:
            why = f"was being written when the program was stopped, and that cannot be finished ({error.strerror})"
            remedy = "copy the folder to where you may write, and read it there"
            raise InputError.of(folder.name, None, None, None, why, remedy) from error
    with held(folder, to_read=True):
        yield


def changed_files(folder: Path) -> dict[str, str] | None:
    """Compare the files of a set with its manifest.

    Parameters
    ----------
    folder : Path
        Where the set was written.

    Returns
    -------
    dict of str to str or None
        Path below the folder of each file that is not as it was written: "is missing" or "was changed". None
        where there is no manifest, or none that can be read.
    """
    listed = _listed(folder)
    if not listed:
        return None
    state = {name: _state(folder / name, digest) for name, digest in sorted(listed.items())}
    return {name: word for name, word in state.items() if word}


def _state(file: Path, digest: str) -> str:
    try:
        return "" if sha256(file.read_bytes()).hexdigest() == digest else "was changed"
    except OSError:
        return "is missing"


def _manifest(files: Mapping[str, bytes], before: Mapping[str, str]) -> bytes:
    """Hashes of all files, those of another set in the same folder kept (`before`; empty: deleted)."""
    hashes = {**before, **{name: sha256(content).hexdigest() for name, content in files.items()}}
    listed = {name: hashes[name] for name in sorted(hashes) if hashes[name]}
    content = {"format": _FORMAT, "version": 1, "sha256": listed}
    return (json.dumps(content, indent=1, ensure_ascii=False) + "\n").encode()


def _listed(folder: Path) -> dict[str, str]:
    try:
        content = json.loads((folder / MANIFEST).read_bytes())
        rows = content["sha256"] if content["format"] == _FORMAT else {}
        return {name: str(digest) for name, digest in rows.items() if _is_below(name)}
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return {}


def _is_below(name: str) -> bool:
    """True where a path cannot leave the folder it is taken from."""
    return not Path(name).is_absolute() and ".." not in Path(name).parts


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


@contextlib.contextmanager
def _one_line(path: Path) -> Iterator[None]:
    """Turn what the system says into one line."""
    try:
        yield
    except WriteError:
        raise
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        name = str(getattr(error, "filename", None) or path)
        named = path if TEMPORARY in name else name
        raise WriteError(getattr(error, "errno", None) or errno.EINVAL, _why(error), str(named)) from error


def _why(error: Exception) -> str:
    code = errno.errorcode.get(getattr(error, "errno", None) or 0, "")
    return _REMEDIES.get(code) or getattr(error, "strerror", None) or str(error)


def replace_files(
    folder: Path, files: Mapping[str, bytes], check: Callable[[], object], others: Iterable[Path] = ()
) -> None:
    """Replace files of a folder in one step, without a manifest; others stay.

    Parameters
    ----------
    folder : Path
        Must exist.
    files : mapping of str to bytes
        Path from the folder, content.
    check : callable
        Called while the folder is held, before anything is written; what it raises ends the writing.
    others : iterable of Path
        Folders outside it that some of the files are in: held as well.

    Raises
    ------
    WriteError
        One could not be written; then none has been.
    """
    with _one_line(folder), contextlib.ExitStack() as stack:
        for place in sorted({folder, *others}):  # in one order, or two writers would wait for each other
            stack.enter_context(held(place))
            settle(place)
        check()
        exchange(folder, files)
