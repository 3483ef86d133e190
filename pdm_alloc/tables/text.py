"""Text as it comes out of spreadsheets, made plain: odd spaces, invisible characters, spellings of one letter."""

import re
import unicodedata

__all__ = ["clean", "has_controls", "one_line", "plain_header"]

# Fillers and blanks that are letters or symbols by their class; the rest are the format characters of Unicode.
_BLANK = "\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0"
_FORMAT = (chr(code) for code in range(0x80, 0x10000) if unicodedata.category(chr(code)) == "Cf")
_INVISIBLE = dict.fromkeys(map(ord, (*_BLANK, *_FORMAT)))
_JOINTS = re.compile(r"[\s_-]+")
_SPACES = re.compile(r"\s+")
_CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


def clean(text: str) -> str:
    """Without invisible characters, with plain single spaces and none at the ends (non-breaking ones too).

    Parameters
    ----------
    text : str
        Of a cell or a header.

    Returns
    -------
    str
        In Unicode normal form C, so that one letter has one spelling.
    """
    if text.isascii():
        return _SPACES.sub(" ", text).strip()
    plain = unicodedata.normalize("NFC", text.translate(_INVISIBLE))
    return _SPACES.sub(" ", plain).strip()


def one_line(text: str) -> bool:
    """Whether the text, its ends aside, has no line break in it."""
    return len(text.strip().splitlines()) <= 1


def has_controls(text: str) -> bool:
    """Whether the text has control characters, or code points that no file can hold."""
    return _CONTROLS.search(text) is not None


def plain_header(text: str) -> str:
    """A header in lower case, words joined by underscores: ``Running_A `` and ``running a`` are ``running_a``."""
    return _JOINTS.sub("_", clean(text).casefold())
