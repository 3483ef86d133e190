"""Type: the fonts of the document and its styles of paragraph."""

import importlib.util
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from pdm_alloc.export.extra import needed

__all__ = ["BOX", "Type", "set_type"]

BOX = "\N{BALLOT BOX}"
_SIZES = {"title": 18, "heading": 12, "body": 9, "caution": 9.5, "large": 8.5, "cell": 7, "small": 6}
_KEPT = "\n\N{NO-BREAK SPACE}"
_LONGEST = 500  # characters of a cell: more would not fit a page, and stand in the workbook
_FAMILY = {"normal": "DejaVuSans", "bold": "DejaVuSans-Bold"}


class Type:
    """Paragraphs in the styles of the document.

    Parameters
    ----------
    normal, bold : str
        Names of fonts known to reportlab.
    unicode : bool
        Whether they have letters beyond Western European.
    """

    def __init__(self, normal: str, bold: str, unicode: bool):
        self.normal, self.bold, self.unicode = normal, bold, unicode
        self._styles: dict[tuple[str, bool, str], Any] = {}

    def paragraph(self, text: str, style: str = "cell", bold: bool = False, align: str = "left") -> Any:
        """Text of any content as a paragraph.

        Parameters
        ----------
        text : str
            Plain text; line ends are kept, and more than 500 characters are cut with an ellipsis.
        style : str
            ``title``, ``heading``, ``body``, ``caution``, ``large``, ``cell`` or ``small``.
        bold : bool
            Bold type.
        align : str
            ``left``, ``right`` or ``center``.

        Returns
        -------
        reportlab.platypus.Paragraph
        """
        paragraph = needed("reportlab.platypus", "writes PDF").Paragraph
        return paragraph(self.marked_up(text), self._style(style, bold, align))

    def marked_up(self, text: str) -> str:
        """Plain text as a paragraph's markup, without characters the font or the markup cannot have."""
        shown = text if len(text) <= _LONGEST else text[: _LONGEST - 2].rstrip() + " …"
        plain = "".join(c if c.isprintable() or c in _KEPT else " " for c in shown)
        if not self.unicode:
            plain = plain.replace(BOX, "[ ]").replace("…", "...").encode("latin-1", "replace").decode("latin-1")
        return escape(plain).replace("\n", "<br/>")

    def width(self, text: str, style: str = "cell", bold: bool = False) -> float:
        """Width of a line of text, points."""
        metrics = needed("reportlab.pdfbase.pdfmetrics", "writes PDF")
        return float(metrics.stringWidth(text, self.bold if bold else self.normal, _SIZES[style]))

    def _style(self, name: str, bold: bool, align: str) -> Any:
        key = (name, bold, align)
        if key not in self._styles:
            styles = needed("reportlab.lib.styles", "writes PDF")
            size = _SIZES[name]
            self._styles[key] = styles.ParagraphStyle(
                f"{name}{bold}{align}",
                fontName=self.bold if bold or name in ("title", "heading") else self.normal,
                fontSize=size,
                leading=size * 1.25,
                alignment={"left": 0, "center": 1, "right": 2}[align],
                spaceBefore=size * 0.8 if name == "heading" else 0,
                spaceAfter=size * 0.4 if name in ("title", "heading", "body") else 0,
            )
        return self._styles[key]


@cache
def set_type() -> Type:
    """The fonts of the document: those that come with matplotlib, or the plain ones every PDF reader has.

    Returns
    -------
    Type
        Registered with reportlab.
    """
    files = _font_files()
    if not files:
        return Type("Helvetica", "Helvetica-Bold", unicode=False)
    metrics = needed("reportlab.pdfbase.pdfmetrics", "writes PDF")
    fonts = needed("reportlab.pdfbase.ttfonts", "writes PDF")
    for name, file in files.items():
        metrics.registerFont(fonts.TTFont(name, str(file)))
    metrics.registerFontFamily(_FAMILY["normal"], **{k: _FAMILY[k] for k in ("normal", "bold")})
    return Type(_FAMILY["normal"], _FAMILY["bold"], unicode=True)


def _font_files() -> dict[str, Path]:
    """Font files of matplotlib, found without importing it, which would take a second."""
    spec = importlib.util.find_spec("matplotlib")
    if spec is None or not spec.origin:
        return {}
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    files = {name: folder / f"{name}.ttf" for name in _FAMILY.values()}
    return files if all(file.is_file() for file in files.values()) else {}
