"""Names as people give them, the nasty ones included."""

import random
import re

__all__ = ["Names", "free_text"]

# What spreadsheets, file names, JSON, solvers, sentences and our own joined cells each find hard.
NASTY = (
    "=1+1",
    "+12 V feed",
    "-",
    "@home",
    "'quoted",
    "''twice",
    'lamp "A"',
    "a,b",
    "a;b",
    "lamp; pump",
    "fan + pump",
    "3+4",
    "lamp x2",
    "lamp x2; lamp",
    "lamp (coil)",
    "1.5",
    "1,5",
    "007",
    "1e5",
    "true",
    "nan",
    "None",
    "NULL",
    "x",
    "*",
    "%s %d {0}",
    "\\n",
    "C:\\cars\\van",
    "../up",
    "a/b",
    "<b>bold</b>",
    "&amp;",
    "$HOME",
    "`date`",
    "|pipe|",
    "#1 lamp",
    "Ölkühler",
    "Ärmel_x2",
    "灯",
    "👩‍🚒 siren 🚨",
    "مضخة",
    "Ωμέγα",
    "ß",
    "İ",
    "and",
    "not a",
    "(open",
    "state",
    "load",
    "all on",
    "whole module",
    "bank A",
    "L" * 100,
    "W" * 60 + " 灯" * 13,
    "very long name of a lamp that hangs somewhere at the back of the vehicle, on the left",
    "“curly”",
    "it's",
    "é",
    "0",
)
WORDS = ("lamp", "pump", "fan", "horn", "heater", "relay", "valve", "radio", "wiper", "starter", "winch", "fridge")
SIDES = ("", " left", " right", " front", " rear", " upper", " 1", " 2", " 10", "_a", "-b", ".c")
_LETTERS = "abcxyz XYZ0189äöüÅéñčżλπЖ日本語한🙂🚗+-=;,:.'\"()[]{}<>|&%$#@!?*/\\_~^`"


class Names:
    """Names that differ from each other whatever their case.

    Parameters
    ----------
    chance : random.Random
        Where they come from.
    nasty_pct : int
        How many of a hundred are of the nasty kind.
    """

    def __init__(self, chance: random.Random, nasty_pct: int):
        self._chance, self._nasty_pct = chance, nasty_pct
        self._taken: set[str] = set()

    def take(self, count: int, base: str = "") -> list[str]:
        """So many new ones; the plain ones begin with `base`."""
        return [self._one(base) for _ in range(count)]

    def _one(self, base: str) -> str:
        while True:
            name = self._nasty() if self._chance.randrange(100) < self._nasty_pct else self._plain(base)
            if _is_name(name) and name.casefold() not in self._taken:
                self._taken.add(name.casefold())
                return name

    def _plain(self, base: str) -> str:
        return f"{base or self._chance.choice(WORDS)}{self._chance.choice(SIDES)} {self._chance.randrange(1, 200)}"

    def _nasty(self) -> str:
        if self._chance.random() < 0.7:
            return self._chance.choice(NASTY)
        return _letters(self._chance, 1, 30)


def _letters(chance: random.Random, least: int, most: int) -> str:
    return "".join(chance.choice(_LETTERS) for _ in range(chance.randint(least, most)))


def _is_name(text: str) -> bool:
    """One that the tables promise to keep as it is: trimmed, single spaces, no header of a meaning of its own, no row
    commented out (# before anything but a digit)."""
    plain = " ".join(text.split()) == text and text != "" and not re.match(r"#(?!\d)", text)
    return plain and text.casefold() != "command" and not text.casefold().startswith(("x_", "x ", "x-", "#ref"))


def free_text(chance: random.Random) -> str:
    """A note or a free column's cell."""
    return chance.choice(("", "", "measured", chance.choice(NASTY), _letters(chance, 0, 40).strip()))
