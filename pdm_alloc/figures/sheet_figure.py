"""The sheet a figure is drawn on: a matplotlib Figure without pyplot that a notebook can show by itself."""

import io
from typing import Any

from matplotlib import rc_context
from matplotlib.figure import Figure

__all__ = ["Sheet"]


class Sheet(Figure):
    """A white Figure with room made for every label.

    pyplot keeps every figure it makes in a list of its own and draws twice in notebooks; a plain Figure is not shown
    at all. This one says how it looks as a PNG.
    """

    def __init__(self, **options: Any) -> None:
        look: dict[str, Any] = {"facecolor": "white", "layout": "constrained", **options}
        super().__init__(**look)

    def _repr_png_(self) -> bytes:
        return self.png()

    def png(self, dpi: float = 110) -> bytes:
        """The picture as PNG, dots per inch as asked."""
        return self._written("png", dpi=dpi)

    def svg(self) -> str:
        """The picture as SVG text, the same for the same drawing (no date, no random names in it)."""
        return self._written("svg", metadata={"Date": None}).decode()

    def _written(self, form: str, **options: Any) -> bytes:
        buffer = io.BytesIO()
        with rc_context({"svg.hashsalt": "pdm_alloc"}):
            self.savefig(buffer, format=form, bbox_inches="tight", pad_inches=0.15, **options)
        return buffer.getvalue()
