"""What stays in a saved notebook, where widgets are lost: the verdict, a figure and a table."""

import base64
import io

from pdm_alloc import figures
from pdm_alloc.allocation.care import CAUTION
from pdm_alloc.panel.answer import Answer
from pdm_alloc.panel.views.markup import Html, tag

__all__ = ["static"]

_DPI = 80
_COLOURS = 48


def static(answer: Answer, head: str) -> Html:
    """A picture of an answer that needs neither kernel nor script.

    Parameters
    ----------
    answer : Answer
        What came of the question.
    head : str
        The verdict as HTML.

    Returns
    -------
    Html
        Hidden by the panel's style sheet while the panel itself is there.
    """
    caution = tag("p", " ".join(CAUTION))
    return tag("div", [Html(head), *_body(answer), caution], "pdm-static")


def _body(answer: Answer) -> list[Html]:
    if answer.allocation is not None:
        axes = figures.headroom(answer.allocation)
        return [_picture(axes.figure, "headroom by channel"), _frame(answer.allocation.pin_map())]
    if answer.shortfall is not None and len(answer.shortfall):
        return [_picture(figures.shortfall(answer.shortfall).figure, "what is short"), _frame(answer.shortfall)]
    return []


def _picture(figure, label: str) -> Html:
    code = base64.b64encode(_small_png(figure)).decode("ascii")
    return Html(f'<img alt="{label}" src="data:image/png;base64,{code}"/>')


def _small_png(figure) -> bytes:
    """PNG in few colours: the picture travels with every save of the notebook."""
    from PIL import Image

    large, small = io.BytesIO(), io.BytesIO()
    figure.savefig(large, format="png", dpi=_DPI, bbox_inches="tight")
    Image.open(large).convert("RGB").quantize(_COLOURS).save(small, format="png", optimize=True)
    return small.getvalue()


def _frame(frame) -> Html:
    return Html(frame.to_html(index=False, border=0, na_rep=""))
