"""Names for copies."""

import re
from collections.abc import Container

__all__ = ["free_name"]


def free_name(name: str, taken: Container) -> str:
    """The first of "name 2", "name 3", ... that is not taken; a number at the end of the name counts on.

    Parameters
    ----------
    name : str
        Name of what is copied.
    taken : container
        Names in use.

    Returns
    -------
    str
        A name that is not in use.
    """
    stem, number = _split(name)
    while f"{stem} {number}" in taken:
        number += 1
    return f"{stem} {number}"


def _split(name: str) -> tuple[str, int]:
    match = re.fullmatch(r"(.*\D) (\d{1,6})", name, re.ASCII)
    return (match[1], int(match[2]) + 1) if match else (name, 2)
