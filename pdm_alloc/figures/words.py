"""Text that fits: shortened or broken into lines, never cut by the edge of a figure."""

import textwrap

__all__ = ["clip", "number", "wrap"]


def clip(text: str, width: int) -> str:
    """The text, or its beginning and an ellipsis, at most `width` characters."""
    return text if len(text) <= width else text[: max(width - 1, 0)].rstrip(" ,;") + "…"


def wrap(text: str, width: int) -> str:
    """The text broken into lines of at most `width` characters; a longer word is broken too."""
    return "\n".join(textwrap.wrap(text, width)) or text


def number(value: float) -> str:
    """Three figures at most, two places at most, no idle zeros: 0.34, 6.1, 12.5, 117."""
    places = 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if places else text
