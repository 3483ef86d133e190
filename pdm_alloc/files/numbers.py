"""Numbers and text as people type them and as spreadsheets of any locale export them."""

import re
import unicodedata
from fractions import Fraction

__all__ = ["CellError", "clean", "has_controls", "is_unit", "one_line", "plain_header", "read_number"]

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


_NUMBER = re.compile(r"([+-]?)(\d*)(?:[.,](\d+))?(e[+-]?\d{1,2}(?![\d.,]))?", re.ASCII | re.IGNORECASE)

_THOUSANDS = re.compile(r"[+-]?\d{1,3}([., ']\d{3})+([.,]\d+)?\D*", re.ASCII)

_LONGEST = 40
_ONE_MARK = "write it with one decimal point or comma, as 1234.5"

_MILLI, _KILO = Fraction(1, 1000), Fraction(1000)

_FACTORS = {
    ("mA", "A"): _MILLI,
    ("A", "mA"): _KILO,
    ("kA", "A"): _KILO,
    ("mV", "V"): _MILLI,
    ("kV", "V"): _KILO,
    ("mAh", "Ah"): _MILLI,
    ("mm", "m"): _MILLI,
    ("cm", "m"): Fraction(1, 100),
    ("km", "m"): _KILO,
    ("kg", "g"): _KILO,
    ("s", "ms"): _KILO,
    ("ms", "s"): _MILLI,
    ("min", "s"): Fraction(60),
    ("h", "min"): Fraction(60),
    ("µs", "ms"): _MILLI,
    ("us", "ms"): _MILLI,
    ("s", "min"): Fraction(1, 60),
}

# Spellings of the units our columns have, and of others that people write by mistake.
_SPELLINGS = {
    "A": ("a", "amp", "amps"),
    "V": ("v", "volt", "volts"),
    "ms": ("ms",),
    "s": ("s", "sec"),
    "min": ("min", "mins", "minutes"),
    "%": ("%", "pct", "percent"),
    "m": ("m",),
    "°C": ("°c", "c", "degc", "deg c"),
    "mm²": ("mm²", "mm2", "mm^2"),
    "g": ("g",),
    "Ah": ("ah",),
    "mΩ": ("mω", "mohm", "mohms"),
    "mA": ("ma",),
}

_FOREIGN = (
    *("mA", "kA", "uA", "µA", "W", "kW", "mV", "kV", "us", "µs", "h", "cm", "mm", "km", "ft", "in", "inch"),
    *("kg", "lb", "oz", "°F", "F", "K", "AWG", "ga", "mAh", "Wh", "Hz", "ohm", "Ω"),
)

_UNIT_OF = {word: unit for unit, words in _SPELLINGS.items() for word in words}

_UNIT_OF |= {word.casefold(): word for word in _FOREIGN}


class CellError(ValueError):
    """A cell that cannot be read: what is wrong with it, and what would be right."""

    def __init__(self, message: str, remedy: str = ""):
        super().__init__(message, remedy)
        self.message, self.remedy = message, remedy


def is_unit(text: str) -> bool:
    """Whether the text is a unit that a number may carry, the column's own or another."""
    return text.casefold() in _UNIT_OF


def read_number(text: str, unit: str = "", example: str = "4.5") -> Fraction:
    """The number in a cell.

    Parameters
    ----------
    text : str
        With a decimal point or comma, and possibly the column's own unit.
    unit : str
        The column's unit; empty where it has none.
    example : str
        Shown where the cell is not a number.

    Returns
    -------
    Fraction
        Rounded to 9 decimals, so that what floating point leaves behind (0.30000000000000004) is not taken for a digit.

    Raises
    ------
    CellError
        Not one unambiguous number in that unit.
    """
    cell = clean(text).replace("−", "-")  # the typographic minus
    match = _NUMBER.match(cell)
    if len(cell) > _LONGEST or match is None or not (match[2] or match[3]):
        raise CellError("is not a number", _wanted(unit, example))
    _refuse_rest(cell, cell[match.end() :].strip(), unit, example)
    sign, whole, decimals, power = match.groups()
    return round(Fraction(f"{sign}{whole or 0}.{decimals or 0}{power or ''}"), 9)


def _refuse_rest(cell: str, rest: str, unit: str, example: str) -> None:
    if not rest:
        return
    if rest[0] in ".,'0123456789" and _THOUSANDS.fullmatch(cell):
        raise CellError("may or may not have thousands marked", _ONE_MARK)
    stated = _UNIT_OF.get(rest.casefold())
    if stated is None:
        raise CellError("is not a number", _wanted(unit, example))
    if stated != unit:
        raise CellError(f"is in {stated}", _converted(cell, rest, stated, unit))


def _converted(cell: str, rest: str, stated: str, unit: str) -> str:
    """The same in the column's unit, where one is a multiple of the other."""
    if not unit:
        return "this column has no unit"
    factor = _FACTORS.get((stated, unit))
    if factor is None:
        return f"this column is in {unit}"
    value = read_number(cell.removesuffix(rest)) * factor
    return f"this column is in {unit}: write {float(value):.9g}"


def _wanted(unit: str, example: str) -> str:
    return f"give a number in {unit}, such as {example}" if unit else f"give a number, such as {example}"
