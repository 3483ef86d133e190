"""Small pieces of HTML."""

from collections.abc import Iterable
from html import escape

__all__ = ["Html", "amount", "plural", "section", "table", "tag"]


def tag(name: str, content: object, css: str = "", **attributes: object) -> "Html":
    """An element around escaped text, or around pieces that are HTML already.

    Parameters
    ----------
    name : str
        Name of the element.
    content : str or Html
        Text is escaped; what this module made is not.
    css : str
        Classes.
    attributes : object
        Further attributes, ``data_x`` for ``data-x``.

    Returns
    -------
    Html
    """
    more = {"class": css, **{key.replace("_", "-"): value for key, value in attributes.items()}}
    written = "".join(f' {key}="{escape(str(value))}"' for key, value in more.items() if value != "")
    return Html(f"<{name}{written}>{_safe(content)}</{name}>")


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


def _safe(content: object) -> str:
    if isinstance(content, (list, tuple)):
        return "".join(_safe(piece) for piece in content)
    return content if isinstance(content, Html) else escape(str(content))


def table(headings: Iterable[str], rows: Iterable[Iterable[object]], css: str = "", caption: str = "") -> Html:
    """A table with a heading line.

    Parameters
    ----------
    headings : iterable of str
        One a column; a heading that ends with a space marks numbers, set to the right.
    rows : iterable of iterable
        Cells, text or HTML.
    css : str
        Classes of the table.
    caption : str
        For screen readers.

    Returns
    -------
    Html
    """
    names = list(headings)
    sides = ["pdm-right" if name.endswith(" ") else "" for name in names]
    head = tag("tr", [tag("th", name.strip(), side, scope="col") for name, side in zip(names, sides, strict=True)])
    body = [tag("tr", [tag("td", cell, side) for cell, side in zip(row, sides, strict=True)]) for row in rows]
    parts = [tag("caption", caption)] if caption else []
    return tag("table", [*parts, tag("thead", head), tag("tbody", body)], f"pdm-table {css}".strip())


def section(title: str, content: object, css: str = "") -> Html:
    """A heading and what belongs under it."""
    return tag("section", [tag("h3", title), content], f"pdm-section {css}".strip())


def amount(value: float, unit: str = "") -> str:
    """A number as a person writes it: three digits that matter.

    Parameters
    ----------
    value : float
        The number.
    unit : str
        Written after it.

    Returns
    -------
    str
    """
    text = f"{value:.0f}" if abs(value) >= 99.95 else f"{value:.1f}" if abs(value) >= 9.995 else f"{value:.2f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}".rstrip()


def plural(number: int, word: str) -> str:
    """``1 channel``, ``2 channels``."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
