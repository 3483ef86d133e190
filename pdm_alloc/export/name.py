"""File names made from the names people give their vehicles."""

import re
import unicodedata

__all__ = ["safe_name"]

LONGEST = 80
# Names that Windows keeps for devices, with or without an ending.
_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?$")


def safe_name(text: str, otherwise: str = "vehicle") -> str:
    """A file name, without ending, that every system takes and that stays in its folder.

    Parameters
    ----------
    text : str
        Any name.
    otherwise : str
        Used where nothing of the name is left.

    Returns
    -------
    str
        Letters, digits, ``-``, ``_`` and ``.`` inside; at most 80 bytes in UTF-8.
    """
    plain = unicodedata.normalize("NFC", text)
    name = re.sub(r"[^\w.-]+", "_", plain).strip("._- ")
    name = name.encode()[:LONGEST].decode(errors="ignore").rstrip("._- ") or otherwise
    return f"_{name}" if _DEVICES.match(name) else name
