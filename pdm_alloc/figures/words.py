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
    """Three figures and no exponent, no idle zeros: 0.42, 6.1, 12.5, 117."""
    if abs(value) >= 100:
        return f"{value:.0f}"
    return f"{value:.3g}" if abs(value) >= 0.01 else f"{value:.3f}".rstrip("0").rstrip(".")
