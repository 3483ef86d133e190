"""A workbook's file looked over before anything unpacks it: sizes, number of parts, what they are made of.

A small file can hold a great deal (a thousandfold, compressed); here it is refused before it takes memory.
"""

import re
import zipfile
import zlib
from pathlib import Path

from pdm_alloc.tables.number import CellError

__all__ = ["MOST_UNPACKED", "inspect_archive"]

MOST_PACKED = 20_000_000
MOST_UNPACKED = 50_000_000
MOST_PART = 20_000_000
MOST_PARTS = 2_000
# An element or an attribute takes some 100 bytes once parsed; these many are 20,000 rows of 25 columns and more.
MOST_TAGS = 3_000_000
MOST_ATTRIBUTES = 5_000_000

_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")
_SMALLER = "a vehicle's tables are far smaller: copy them into a new workbook"


def inspect_archive(path: Path) -> bool:
    """Refuse a workbook that is none, or that would take too much memory.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    bool
        Whether any sheet has a formula.

    Raises
    ------
    CellError
        What is wrong with the file.
    """
    if path.stat().st_size > MOST_PACKED:
        raise CellError(f"is larger than {MOST_PACKED / 1e6:g} MB", _SMALLER)
    try:
        with zipfile.ZipFile(path) as archive:
            _check_sizes(archive.infolist())
            return _check_parts(archive)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        if isinstance(error, CellError):
            raise
        raise CellError("is not an XLSX workbook", "save it as .xlsx, without a password") from error


def _check_sizes(parts):
    if len(parts) > MOST_PARTS:
        raise CellError(f"has more than {MOST_PARTS:,} parts", _SMALLER)
    if sum(part.file_size for part in parts) > MOST_UNPACKED:
        raise CellError(f"unpacks to more than {MOST_UNPACKED / 1e6:g} MB", _SMALLER)
    if any(part.file_size > MOST_PART for part in parts):
        raise CellError(f"has a sheet of more than {MOST_PART / 1e6:g} MB", _SMALLER)
    if not any(part.filename == "[Content_Types].xml" for part in parts):
        raise CellError("is not an XLSX workbook", "save it as .xlsx")


def _check_parts(archive) -> bool:
    tags = attributes = 0
    formula = False
    for part in archive.infolist():
        if not part.filename.lower().endswith((".xml", ".rels")):
            continue
        data = archive.read(part)
        tags, attributes = tags + data.count(b"<"), attributes + data.count(b"=")
        if tags > MOST_TAGS or attributes > MOST_ATTRIBUTES:
            raise CellError("has too many cells", _SMALLER)
        if b"<!" in data.replace(b"\0", b"").replace(b"<!--", b""):
            raise CellError("has definitions in it that no spreadsheet writes", "save it anew from a spreadsheet")
        formula = formula or ("sheets/" in part.filename and _FORMULA.search(data) is not None)
    return formula
