"""Where results are shown: one piece of HTML a section, so that only what changed travels to the browser."""

from collections.abc import Mapping
from pathlib import Path

import ipywidgets as widgets

from pdm_alloc.allocation.care import CAUTION
from pdm_alloc.panel.views.markup import tag

__all__ = ["Screen"]

_CSS = (Path(__file__).parent / "panel.css").read_text("utf-8")
# A hatch for what is beyond a limit; figures in the page refer to it by its name.
_HATCH = (
    '<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>'
    '<pattern id="pdm-hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect class="pdm-hatch" width="3" height="5"/></pattern></defs></svg>'
)
_SECTIONS = ("others", "short", "states", "channels", "warnings", "moved")


class Screen:
    """The verdict and the sections below the table.

    Attributes
    ----------
    head : HTML
        The verdict.
    body : Box
        The sections; pale while they are out of date.
    foot : HTML
        The caution.
    """

    def __init__(self) -> None:
        self.style = widgets.HTML(f"<style>{_CSS}</style>{_HATCH}")
        self.head = widgets.HTML()
        self._sections = {name: widgets.HTML() for name in _SECTIONS}
        self.body = widgets.VBox(list(self._sections.values()))
        self.foot = widgets.HTML(tag("p", " ".join(CAUTION), "pdm-caution"))
        self.body.add_class("pdm-body")
        self.head.add_class("pdm-head")

    def show(self, head: str, sections: Mapping[str, str]) -> None:
        """Put a verdict and sections in place; sections not named stay as they are."""
        for name, section in sections.items():
            self.put(name, section)
        self.body.remove_class("pdm-stale")
        self.head.value = head

    def show_alone(self, head: str) -> None:
        """Put a verdict in place and empty all sections."""
        self.show(head, dict.fromkeys(_SECTIONS, ""))

    def put(self, name: str, section: str) -> None:
        """Put one section in place."""
        if self._sections[name].value != section:
            self._sections[name].value = section

    def stale(self, head: str) -> None:
        """Mark everything shown as out of date."""
        self.head.value = head
        self.body.add_class("pdm-stale")
