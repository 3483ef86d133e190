"""Numbers and text as people type them in any locale, and the kinds of cell they become.

Each kind sits in the annotation of a field of a row model; pydantic calls it to validate. Reading a whole table, the
faults are collected (see `Collected`) so that one bad cell does not hide the next.
"""

import math
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import core_schema

from pdm_alloc.files.faults import hint

__all__ = [
    "Cell",
    "CellError",
    "Collected",
    "Exact",
    "Name",
    "Number",
    "Odd",
    "Text",
    "Weight",
    "Word",
    "Words",
    "YesNo",
    "clean",
    "has_controls",
    "is_unit",
    "milliamps",
    "one_line",
    "plain_header",
    "read_number",
    "whole",
]

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


LONGEST_NAME = 100
LONGEST_TEXT = 10_000

_SPREADSHEET_ERROR = re.compile(r"#[A-ZÄÖÜ0-9/]+[!?]|#N/A|#NV|Err:\d+")


class Odd(str):
    """Text of a workbook's cell that cannot be taken as it stands (a date, a formula never calculated)."""

    message: str
    remedy: str

    def __new__(cls, text: str, message: str, remedy: str) -> "Odd":
        """Text with what is wrong with it and what would be right."""
        odd = super().__new__(cls, text)
        odd.message, odd.remedy = message, remedy
        return odd


class Exact(str):
    """A number with a decimal point and no thousands marked, of a cell that holds a number and not its text."""


@dataclass
class Collected:
    """Cells of one row that could not be read: field, text, error."""

    errors: list[tuple[str, str, CellError]] = field(default_factory=list)


@dataclass(frozen=True)
class Cell:
    """A kind of cell; `accepts` says in words what may stand in it."""

    def accepts(self) -> str:
        """What may stand in the cell, for the column guide."""
        raise NotImplementedError

    def read(self, text: str) -> Any:
        """The value; CellError where there is none."""
        raise NotImplementedError

    @staticmethod
    def check_text(text: str) -> str:
        """The text of any cell; CellError where it is none that can be kept."""
        if has_controls(text):
            raise CellError("has a control character in it", "retype the cell")
        if len(text) > LONGEST_TEXT:
            raise CellError(f"is longer than {LONGEST_TEXT:,} characters", "shorten it")
        return text

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """How pydantic validates a field of this kind."""
        return core_schema.with_info_plain_validator_function(self._validate)

    def _validate(self, text: str, info: core_schema.ValidationInfo) -> Any:
        try:
            return self.read(_usable(text))
        except CellError as error:
            if info.context is None:
                raise
            info.context.errors.append((info.field_name, text, error))
            return None


def _usable(text: str) -> str:
    if text == "":
        raise CellError("is empty")
    if isinstance(text, Odd):
        raise CellError(text.message, text.remedy)
    if _SPREADSHEET_ERROR.fullmatch(text.strip()):
        raise CellError("is an error of the spreadsheet", "put the formula right, or type the value")
    return Cell.check_text(text)


def milliamps(value: Fraction) -> int:
    """Amperes to whole milliamps, rounded up."""
    return math.ceil(value * 1000)


def whole(value: Fraction) -> int:
    """A whole number; CellError for a fraction."""
    if value.denominator != 1:
        raise CellError("is not a whole number", "give a whole number")
    return int(value)


@dataclass(frozen=True)
class Number(Cell):
    """A number in a unit, in a range, converted to what the domain wants.

    Parameters
    ----------
    unit : str
        Empty: none.
    least, most : float
        Both allowed, unless `above` or `below` is set.
    above, below : bool
        `least` (`most`) itself is not allowed.
    to : callable
        Fraction to value.
    """

    unit: str = ""
    least: float = 0
    most: float = math.inf
    above: bool = False
    below: bool = False
    to: Callable[[Fraction], Any] = float

    def accepts(self) -> str:
        """The range in words."""
        low = f"above {self.least:,}, up to" if self.above else f"from {self.least:,} to"
        high = f"below {self.most:,}" if self.below else f"{self.most:,}"
        kind = "whole number" if self.to is whole else "number"
        return f"a {kind} {low} {high}{_spaced(self.unit)}"

    def read(self, text: str) -> Any:
        """The value; CellError where it is no number, in another unit or out of range."""
        return _remembered(self, text) if len(text) <= _LONGEST else self.value_of(text)

    def value_of(self, text: str) -> Any:
        """As `read`, each time anew."""
        value = read_number(text, self.unit, "3" if self.to is whole else "4.5")
        if value < 0 <= self.least:
            raise CellError("is negative", f"give {self.accepts()}")
        if value < self.least or (self.above and value == self.least):
            raise CellError("is too small", f"give {self.accepts()}")
        if value > self.most or (self.below and value == self.most):
            raise CellError("is too large", f"give {self.accepts()}")
        return self.to(value)


@lru_cache(maxsize=8192, typed=True)
def _remembered(kind: Number, text: str) -> Any:
    """The same few numbers fill a catalogue: to read each once takes a third of the time. Errors are not kept."""
    return kind.value_of(text)


def _spaced(unit: str) -> str:
    return f" {unit}" if unit else ""


@dataclass(frozen=True)
class Name(Cell):
    """A name: one line, no longer than 100 characters."""

    def accepts(self) -> str:
        """A name, in words."""
        return "a name"

    def read(self, text: str) -> str:
        """The name with plain single spaces."""
        if not one_line(text):
            raise CellError("has a line break in it", "write it on one line; is a quotation mark left open above?")
        name = clean(text)
        if not name:
            raise CellError("has invisible characters only", "retype the name")
        if len(name) > LONGEST_NAME:
            raise CellError(f"is longer than {LONGEST_NAME} characters", "give a shorter name")
        return name


@dataclass(frozen=True)
class Text(Cell):
    """Free text, no longer than 10,000 characters.

    Parameters
    ----------
    plain : bool
        Made plain as names are, so that a name in it is the name in another table.
    """

    plain: bool = False

    def accepts(self) -> str:
        """Free text, in words."""
        return "any text"

    def read(self, text: str) -> str:
        """The text, its ends trimmed."""
        return clean(text) if self.plain else text.strip()


@dataclass(frozen=True)
class Word(Cell):
    """One word of a few; `examples`, one for each word or none, say what the words stand for."""

    words: tuple[str, ...] = ()
    examples: tuple[str, ...] = ()

    def accepts(self) -> str:
        """The words, each with its example where there are examples."""
        options = [f"{word} ({example})" for word, example in zip(self.words, self.examples, strict=False)]
        options = options or list(self.words)
        return f"{', '.join(options[:-1])} or {options[-1]}"

    def read(self, text: str) -> str:
        """The word in lower case."""
        word = clean(text).casefold()
        if word not in self.words:
            raise CellError("is not a word known here", hint(word, self.words))
        return word


@dataclass(frozen=True)
class Words(Cell):
    """Any number of words of a few, separated by spaces, commas or semicolons."""

    words: tuple[str, ...] = ()

    def accepts(self) -> str:
        """The words."""
        return f"{' and/or '.join(self.words)}, separated by spaces" if len(self.words) > 1 else self.words[0]

    def read(self, text: str) -> frozenset[str]:
        """The words in lower case."""
        words = [word for word in re.split(r"[\s,;/+]+", clean(text).casefold()) if word]
        if not words:
            raise CellError("has no word in it", "retype the cell, or leave it empty")
        for word in words:
            if word not in self.words:
                raise CellError(
                    "is not a word known here" if len(words) == 1 else f"has '{word}' in it, not known here",
                    hint(word, self.words),
                )
        return frozenset(words)


@dataclass(frozen=True)
class YesNo(Cell):
    """Yes or no."""

    def accepts(self) -> str:
        """Both words."""
        return "yes or no"

    def read(self, text: str) -> bool:
        """True for yes."""
        word = clean(text).casefold()
        if word in ("yes", "y", "true", "1", "x"):
            return True
        if word in ("no", "n", "false", "0"):
            return False
        raise CellError("is neither yes nor no", "write yes or no")


@dataclass(frozen=True)
class Weight(Cell):
    """A whole number, or the word never."""

    most: int = 1_000_000

    def accepts(self) -> str:
        """The range and the word."""
        return f"a whole number from 0 to {self.most:,}, or never"

    def read(self, text: str) -> int | None:
        """The weight; None for never."""
        if clean(text).casefold() == "never":
            return None
        try:
            weight: int = Number("", 0, self.most, to=whole).read(text)
            return weight
        except CellError as error:
            raise CellError(error.message, f"give {self.accepts()}") from None
