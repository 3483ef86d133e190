"""The one atomic writer: files and folders are written whole or not at all; `journal` states the protocol.

A set of files ends with its manifest, ``manifest.json``: the SHA-256 of every file written with it. Reading a set
compares them, so that a file from elsewhere, or one changed since, is named.
"""

import contextlib
import errno
import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from hashlib import sha256
from pathlib import Path

from pdm_alloc.files import journal
from pdm_alloc.files.faults import InputError

__all__ = [
    "MANIFEST",
    "WriteError",
    "changed_files",
    "reading",
    "replace_files",
    "write_file",
    "write_files",
    "write_new",
]

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
    with _one_line(target), journal.held(target.resolve().parent):
        if new and (target.exists() or target.is_symlink()):
            raise InputError.of(target.name, None, None, None, "is there already", "give another name")
        home = target.resolve().parent
        journal.clear(home)
        with journal.staging_folder(home) as staged:
            journal.put(staged / "new", content)
            _put_new(staged / "new", target) if new else (staged / "new").replace(target.resolve())
        journal.to_disk(home)
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
        with _one_line(home), journal.held(home):
            journal.settle(home)
            whole = {**files, MANIFEST: _manifest(files, {**_listed(home), **dict.fromkeys(gone, "")})}
            with _folders(home, whole):
                journal.exchange(home, whole, gone)
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
        with _one_line(folder), journal.held(folder):
            journal.settle(folder)
            with _folders(folder, files):
                journal.exchange(folder, files)
    return sorted(folder / name for name in files)


def _is_empty(folder: Path) -> bool:
    """What a killed writer left does not count."""
    return all(entry.name.startswith(journal.TEMPORARY) for entry in folder.iterdir())


def _write_beside(folder: Path, files: Mapping[str, bytes]) -> bool:
    """A folder that does not exist, filled beside its place and renamed; False where there is one already."""
    if folder.exists() or folder.is_symlink():
        return False
    parent = folder.absolute().parent
    with _folders(parent, ()), _one_line(folder), journal.held(parent):
        if folder.exists():
            return False
        journal.clear(parent)
        with journal.staging_folder(parent) as staged:
            for name, content in files.items():
                with _one_line(folder / name):
                    (staged / "all" / name).parent.mkdir(parents=True, exist_ok=True)
                    journal.put(staged / "all" / name, content)
            (staged / "all").rename(folder)
        journal.to_disk(parent)
    return True


@contextlib.contextmanager
def reading(folder: Path) -> Iterator[None]:
    """Hold a folder for reading, after what a killed writer left there is finished.

    Raises
    ------
    InputError
        Its writer was interrupted, and nothing can be written there to finish its work.
    """
    if journal.is_interrupted(folder):
        try:
            with journal.held(folder):
                journal.settle(folder)
        except OSError as error:
            why = f"was being written when the program was stopped, and that cannot be finished ({error.strerror})"
            remedy = "copy the folder to where you may write, and read it there"
            raise InputError.of(folder.name, None, None, None, why, remedy) from error
    with journal.held(folder, to_read=True):
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
        named = path if journal.TEMPORARY in name else name
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
            stack.enter_context(journal.held(place))
            journal.settle(place)
        check()
        journal.exchange(folder, files)
