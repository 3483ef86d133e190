"""Rules of care: what to look at before a wire is cut."""

from collections.abc import Sequence

from pdm_alloc.allocation.care import CareWarning
from pdm_alloc.panel.views.markup import Html, section, tag

__all__ = ["warnings"]

_SIGNS = {"danger": "\u26a0 danger", "warning": "\u26a0 warning", "note": "\u2139 note"}


def warnings(found: Sequence[CareWarning]) -> Html:
    """A line a warning, gravest first, with what to do about it.

    Parameters
    ----------
    found : sequence of CareWarning
        As `care` gives them.

    Returns
    -------
    Html
    """
    lines = [tag("li", _line(warning), f"pdm-{warning.severity}") for warning in found]
    body = tag("ul", lines, "pdm-warnings") if lines else tag("p", "none")
    return section(f"Warnings ({len(found)})", body)


def _line(warning: CareWarning) -> list[object]:
    return [tag("strong", f"{_SIGNS[warning.severity]} {warning.code}"), f" {warning.sentence} ",
            tag("em", warning.remedy)]  # fmt: skip
