"""What lies beside the tables: the outline of a vehicle, drafts of what is not saved, logged traces.

A folder holds the outline, a picture of the user's own, as ``outline.svg``, ``outline.png`` or ``outline.jpg`` with
``outline.json``: where its middle is (m), how many metres a pixel is, and by how many quarters it is turned. Beside a
workbook the names begin with its name. They are written at once and are no part of the tables: a vehicle is the same
with or without an outline.
"""

import contextlib
import io
import json
import math
import os
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import chain, count
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pdm_alloc.files.atomic import WriteError, write_file
from pdm_alloc.files.faults import Fault, InputError, hint

__all__ = [
    "Draft",
    "Outline",
    "Trace",
    "delete_outline",
    "outline_of",
    "read_outline",
    "read_trace",
    "scaled",
    "write_outline",
]

MOST_BYTES = 10_000_000
MOST_PX = 20_000
_SVG = "http://www.w3.org/2000/svg"
_HREFS = ("href", "{http://www.w3.org/1999/xlink}href")
_TYPES = {"svg": "image/svg+xml", "png": "image/png", "jpg": "image/jpeg"}
_WANTED = "choose a drawing as SVG, or a photo as PNG or JPEG"


@dataclass(frozen=True)
class Outline:
    """A picture and where it lies.

    Parameters
    ----------
    kind : str
        ``svg``, ``png`` or ``jpg``.
    content : bytes
        Of the file; of a drawing without scripts and without anything that points outside it.
    width_px, height_px : float
        Its size, pixels.
    x_m, y_m : float
        Its middle, to the rear and to the right, m.
    m_per_px : float
        Size of a pixel, m.
    turn : int
        Quarters it is turned by, clockwise.
    """

    kind: str
    content: bytes
    width_px: float
    height_px: float
    x_m: float = 0.0
    y_m: float = 0.0
    m_per_px: float = 0.01
    turn: int = 0

    @property
    def media_type(self) -> str:
        """As the web names it."""
        return _TYPES[self.kind]


def _refusal(name: str, message: str, remedy: str = _WANTED) -> InputError:
    return InputError.of(name, None, None, None, message, remedy)


def outline_of(name: str, content: bytes) -> Outline:
    """An outline from a file's content.

    Parameters
    ----------
    name : str
        Of the file, for the message.
    content : bytes
        SVG, PNG or JPEG.

    Returns
    -------
    Outline
        A drawing is freed of scripts, event handlers and links; a photo is turned upright and loses what the camera
        noted in it, such as where it was taken.

    Raises
    ------
    InputError
        It is no such picture, or too large.
    """
    if len(content) > MOST_BYTES:
        raise _refusal(name, "is larger than 10 MB", "make it smaller")
    if re.match(rb"\s*(\xef\xbb\xbf)?\s*<", content):
        return _drawing(name, content)
    return _photo(name, content)


def _photo(name: str, content: bytes) -> Outline:
    from PIL import Image, ImageOps

    try:
        with Image.open(io.BytesIO(content), formats=("PNG", "JPEG")) as picture:
            kind = "png" if picture.format == "PNG" else "jpg"
            upright = ImageOps.exif_transpose(picture)
            out = io.BytesIO()
            upright.convert("RGBA" if kind == "png" else "RGB").save(
                out, "PNG" if kind == "png" else "JPEG", quality=88
            )
            return Outline(kind, out.getvalue(), float(upright.width), float(upright.height))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        large = isinstance(error, Image.DecompressionBombError)
        raise _refusal(name, "has too many pixels" if large else "is not a picture that can be shown") from error


def _drawing(name: str, content: bytes) -> Outline:
    if b"<!ENTITY" in content:
        raise _refusal(name, "defines entities of its own", "save it as plain SVG")
    try:
        root = ET.fromstring(content)
    except (ET.ParseError, ValueError, LookupError) as error:
        raise _refusal(name, "is not a picture that can be shown") from error
    if root.tag != f"{{{_SVG}}}svg":
        raise _refusal(name, "is not a picture that can be shown")
    width, height = _size(root)
    if not (0 < width <= MOST_PX and 0 < height <= MOST_PX):
        raise _refusal(name, "states no size", "give its svg element a viewBox")
    _clean(root)
    root.attrib.setdefault("viewBox", f"0 0 {width:g} {height:g}")
    root.set("width", f"{width:g}")
    root.set("height", f"{height:g}")
    ET.register_namespace("", _SVG)
    return Outline("svg", ET.tostring(root), width, height)


_UNITS = {"": 1.0, "px": 1.0, "pt": 4 / 3, "mm": 96 / 25.4, "cm": 96 / 2.54, "in": 96.0}


def _size(root: ET.Element) -> tuple[float, float]:
    """Width and height of a drawing, pixels; 0 where it does not say."""
    box = re.split(r"[\s,]+", root.get("viewBox", "").strip())
    sides = box[2:] if len(box) == 4 else [root.get("width", ""), root.get("height", "")]
    width, height = map(_pixels, sides)
    return width, height


def _pixels(text: str) -> float:
    match = re.fullmatch(r"([0-9.]+(?:e[+-]?\d+)?)\s*([a-z]*)", text.strip().lower())
    with contextlib.suppress(ValueError):
        return float(match[1]) * _UNITS.get(match[2], 0.0) if match else 0.0
    return 0.0


_UNSAFE = {"script", "foreignobject", "iframe", "object", "embed", "audio", "video", "handler", "listener", "a"}


def _clean(element: ET.Element) -> None:
    """Without anything that runs, or that points outside the drawing."""
    for child in list(element):
        if not isinstance(child.tag, str) or _local(child.tag) in _UNSAFE:
            element.remove(child)
        else:
            _clean(child)
    for name, value in list(element.attrib.items()):
        outside = name in _HREFS and not re.match(r"#|data:image/(png|jpeg);", value.strip())
        if _local(name).startswith("on") or outside or _points_outside(value):
            del element.attrib[name]
    if _local(element.tag) == "style" and _points_outside(element.text or ""):
        element.text = ""


def _points_outside(text: str) -> bool:
    return bool(re.search(r"@import|javascript:|url\(\s*['\"]?(?!\s*#)", text, re.IGNORECASE))


def _local(name: str) -> str:
    return name.rsplit("}", 1)[-1].lower()


def scaled(outline: Outline, p: tuple[float, float], q: tuple[float, float], metres: float) -> Outline:
    """The outline scaled so that two of its points are so far apart; the first of them stays where it is.

    Parameters
    ----------
    outline : Outline
        As it lies.
    p, q : tuple of float
        The two points as they lie now, m.
    metres : float
        What is to be between them, m.

    Returns
    -------
    Outline

    Raises
    ------
    ValueError
        The points are one, or the distance is not above 0.
    """
    apart = math.dist(p, q)
    if not (0 < metres <= 1000) or apart < 1e-6:
        raise ValueError("Two points apart from one another, and a distance between 0 and 1000 m, are needed.")
    times = metres / apart
    x, y = (a + (middle - a) * times for a, middle in zip(p, (outline.x_m, outline.y_m), strict=True))
    return replace(outline, m_per_px=outline.m_per_px * times, x_m=x, y_m=y)


def _files(path: str | Path) -> tuple[Path, str]:
    """Folder, and what names begin with."""
    place = Path(path)
    return (place, "outline") if place.is_dir() else (place.parent, f"{place.stem}_outline")


def _pictures(path: str | Path) -> Iterator[tuple[str, Path]]:
    folder, stem = _files(path)
    return ((kind, folder / f"{stem}.{kind}") for kind in _TYPES)


def read_outline(path: str | Path) -> Outline | None:
    """The outline kept beside the tables of a vehicle; None where there is none that can be shown.

    Parameters
    ----------
    path : str or Path
        Folder or workbook of the vehicle.
    """
    for kind, file in _pictures(path):
        with contextlib.suppress(OSError, InputError):
            if file.is_file() and not file.is_symlink():
                outline = outline_of(file.name, file.read_bytes())
                return replace(outline, **_laid(path)) if outline.kind == kind else None
    return None


def _laid(path: str | Path) -> dict[str, Any]:
    """Where it lies; as a new one lies where that cannot be read."""
    folder, stem = _files(path)
    with contextlib.suppress(OSError, ValueError, TypeError, KeyError, RecursionError):
        given = json.loads((folder / f"{stem}.json").read_bytes())
        numbers = {name: float(given[name]) for name in ("x_m", "y_m", "m_per_px")}
        if all(map(math.isfinite, numbers.values())) and 0 < numbers["m_per_px"] < 1000:
            return {**numbers, "turn": int(given["turn"]) % 4}
    return {}


def write_outline(path: str | Path, outline: Outline) -> None:
    """Keep an outline beside the tables of a vehicle, in place of the one there was.

    Raises
    ------
    WriteError
        It cannot be written.
    """
    folder, stem = _files(path)
    write_file(folder / f"{stem}.{outline.kind}", outline.content)
    laid = {name: getattr(outline, name) for name in ("x_m", "y_m", "m_per_px", "turn")}
    write_file(folder / f"{stem}.json", json.dumps(laid, indent=1).encode() + b"\n")
    for kind, file in _pictures(path):
        if kind != outline.kind:
            _delete(file)


def delete_outline(path: str | Path) -> None:
    """Delete the outline beside the tables of a vehicle, where there is one."""
    folder, stem = _files(path)
    for _, file in _pictures(path):
        _delete(file)
    _delete(folder / f"{stem}.json")


def _delete(file: Path) -> None:
    with contextlib.suppress(OSError, WriteError):
        file.unlink(missing_ok=True)


class Draft:
    """What one window has not saved, beside the files of its vehicle; never written over what another window drafted.

    Parameters
    ----------
    home : Path
        Folder or workbook of the vehicle.
    """

    def __init__(self, home: Path):
        self._first = home / ".panel_draft.json" if home.is_dir() else home.parent / f".{home.name}.panel_draft.json"
        self._file, self._left = self._first, b""

    @property
    def others(self) -> int:
        """How many drafts there are that this window neither read nor wrote."""
        return sum(file != self._file and file.exists() for file in self._files())

    def read(self) -> dict[str, Any] | None:
        """The draft written last, this window's from now on; None where there is none that can be read."""
        for file in sorted(self._files(), key=_age):
            with contextlib.suppress(OSError):
                self._file, self._left = file, file.read_bytes()
                with contextlib.suppress(ValueError, RecursionError):
                    draft = json.loads(self._left)
                    if isinstance(draft, dict):
                        return draft
        return None

    def write(self, draft: Mapping[str, object]) -> None:
        """Keep a draft in place of this window's last one.

        Raises
        ------
        WriteError
            It cannot be written.
        """
        content = json.dumps(draft, sort_keys=True).encode()  # escaped: a browser may send half a character
        if not self._is_free(self._file):
            self._file = next(file for file in chain(self._files(), self._fresh()) if self._is_free(file))
        write_file(self._file, content)
        self._left = content

    def delete(self) -> None:
        """Delete this window's draft, where there is one."""
        with contextlib.suppress(OSError, WriteError):
            if self._file.read_bytes() == self._left:
                self._file.unlink()

    def _is_free(self, file: Path) -> bool:
        """Whether there is nothing, or what this window left there."""
        try:
            return file.read_bytes() == self._left and file == self._file
        except OSError:
            return True

    def _files(self) -> list[Path]:
        return [self._first, *self._first.parent.glob(f"{self._first.stem}_*.json")]

    def _fresh(self) -> Iterator[Path]:
        return (self._first.with_stem(f"{self._first.stem}_{n}") for n in count(2))


def _age(file: Path) -> float:
    try:
        return -file.stat().st_mtime
    except OSError:
        return 0.0


LARGEST_BYTES = 200_000_000

_SCALES = {"us": 1e-6, "ms": 1e-3, "s": 1.0, "ma": 1e-3, "a": 1.0}

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """A logged current.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times, s.
    current_a : ndarray, shape (n,)
        Currents, A.
    """

    time_s: Array
    current_a: Array


def read_trace(path: str | os.PathLike[str], time: str = "time_s", current: str = "current_a") -> Trace:
    """Read a trace from a CSV file with a header row.

    Comma, semicolon or tab between the columns; decimal point or comma; other columns are left alone.

    Parameters
    ----------
    path : path
        The file.
    time, current : str
        Headers of the two columns. An ending ``_us``, ``_ms``, ``_ma`` tells the unit; without one it
        is s and A.

    Returns
    -------
    Trace
        As logged.

    Raises
    ------
    InputError
        The file, a column or a cell cannot be used; names all of them.
    """
    file = Path(path)
    table = _table(file)
    missing = [name for name in (time, current) if name not in table.columns]
    if missing:
        raise InputError(_missing(file, name, table) for name in missing)
    times, time_faults = _numbers(file, table, time)
    currents, current_faults = _numbers(file, table, current)
    if time_faults or current_faults:
        raise InputError([*time_faults, *current_faults])
    return Trace(times, currents)


def _table(file: Path) -> pd.DataFrame:
    text = _text(file)
    header = text.partition("\n")[0]
    separator = max("\t;,", key=header.count)
    try:
        table = pd.read_csv(io.StringIO(text), sep=separator, dtype=str, keep_default_na=False, skip_blank_lines=False)
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        why = " ".join(str(error).split())
        raise InputError([Fault(file.name, None, None, None, "is no table", f"{why}; export it as CSV")]) from error
    table.columns = [str(name).strip() for name in table.columns]
    return table


def _text(file: Path) -> str:
    try:
        if file.stat().st_size > LARGEST_BYTES:
            remedy = f"cut it down to {LARGEST_BYTES // 1_000_000} MB around the switch-on"
            raise InputError([Fault(file.name, None, None, None, "is too large", remedy)])
        return file.read_bytes().decode("utf-8-sig").rstrip() + "\n"
    except OSError as error:
        raise InputError([Fault(file.name, None, None, None, f"cannot be read ({error.strerror})")]) from error
    except UnicodeDecodeError as error:
        raise InputError([Fault(file.name, None, None, None, "is not UTF-8 text", "export it as CSV UTF-8")]) from error


def _missing(file: Path, name: str, table: pd.DataFrame) -> Fault:
    return Fault(file.name, 1, name, None, "is missing", hint(name, list(table.columns)))


def _numbers(file: Path, table: pd.DataFrame, name: str) -> tuple[Array, list[Fault]]:
    cells = table[name].astype(str).str.strip().str.replace(",", ".", regex=False)
    values = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=float)
    bad = np.flatnonzero(~np.isfinite(values))
    remedy = "give a number, such as 4.5"
    faults = [
        Fault(file.name, int(i) + 2, name, str(table[name].iloc[i]), "is not a number", remedy) for i in bad[:100]
    ]
    return values * _SCALES.get(name.lower().rpartition("_")[2], 1.0), faults
