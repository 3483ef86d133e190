"""Pages: landscape A4, a line at the head and at the foot, an outline to find one's way on a screen."""

import io
from functools import partial
from typing import Any

from pdm_alloc.export.extra import needed
from pdm_alloc.export.pdf.type import Type

__all__ = ["WIDTH", "build"]

_PAGE = (841.89, 595.28)  # A4 landscape, points
_MARGIN = 34.0
WIDTH = _PAGE[0] - 2 * _MARGIN


def build(story: list[Any], type_: Type, title: str, line: str, caution: str) -> bytes:
    """Set a story on pages.

    Parameters
    ----------
    story : list of flowable
        Consumed.
    type_ : Type
        Fonts.
    title, line, caution : str
        Title of the document; line at the head of each page; at its foot.

    Returns
    -------
    bytes
        PDF, the same for the same story.
    """
    platypus = needed("reportlab.platypus", "writes PDF")
    content = io.BytesIO()
    document = platypus.BaseDocTemplate(
        content, pagesize=_PAGE, title=title, author="pdm_alloc", subject=line, creator="pdm_alloc", invariant=1
    )
    frame = platypus.Frame(_MARGIN, _MARGIN + 6, WIDTH, _PAGE[1] - 2 * _MARGIN - 18, 0, 0, 0, 0)
    document.addPageTemplates([platypus.PageTemplate("page", [frame])])
    document.afterFlowable = partial(_outlined, document)
    draw = partial(_draw, type_=type_, line=line, caution=caution)
    document.build(story, canvasmaker=_numbered(draw))
    return content.getvalue()


def _outlined(document: Any, flowable: Any) -> None:
    """Every heading is an entry of the outline."""
    if getattr(flowable, "style", None) is not None and flowable.style.name.startswith("heading"):
        key = f"h{document.canv.getPageNumber()}-{flowable.getPlainText()}"
        document.canv.bookmarkPage(key)
        document.canv.addOutlineEntry(flowable.getPlainText(), key, 0)


def _numbered(draw: Any) -> Any:
    """A canvas that knows how many pages there are before it finishes the first."""
    canvas = needed("reportlab.pdfgen.canvas", "writes PDF").Canvas

    class Numbered(canvas):  # type: ignore[misc, valid-type]
        def __init__(self, *args: Any, **options: Any):
            super().__init__(*args, **options)
            self._pages: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._pages.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, page in enumerate(self._pages, 1):
                self.__dict__.update(page)
                draw(self, number, len(self._pages))
                super().showPage()
            super().save()

    return Numbered


def _draw(canvas: Any, number: int, count: int, *, type_: Type, line: str, caution: str) -> None:
    canvas.setFont(type_.normal, 7)
    top, bottom, right = _PAGE[1] - _MARGIN + 4, _MARGIN - 8, _PAGE[0] - _MARGIN
    canvas.drawString(_MARGIN, top, _fitting(line, type_, 600))
    canvas.drawRightString(right, top, f"page {number} of {count}")
    canvas.drawString(_MARGIN, bottom, _fitting(caution, type_, WIDTH))
    canvas.setLineWidth(0.4)
    for y in (top - 4, bottom + 9):
        canvas.line(_MARGIN, y, right, y)


def _fitting(text: str, type_: Type, width: float) -> str:
    while text and type_.width(text) > width:
        text = text[:-2].rstrip("…") + "…"
    return text
