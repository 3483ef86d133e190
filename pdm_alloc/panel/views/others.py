"""How the modules of the catalogue do, in one line."""

from pdm_alloc.allocation.not_enough import NotEnough
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.module import Catalogue
from pdm_alloc.panel.answer import Others
from pdm_alloc.panel.views.markup import Html, tag
from pdm_alloc.sizing import size_key

__all__ = ["others"]


def others(catalogue: Catalogue, others: Others) -> Html:
    """Every module with its verdict, smallest first, for the table and the wishes as they stand.

    Parameters
    ----------
    catalogue : Catalogue
        All modules.
    others : Others
        Those that have been tried.

    Returns
    -------
    Html
    """
    modules = sorted(catalogue, key=size_key)
    items = [tag("li", [tag("strong", m.name), f" {_word(others.results.get(m.name))}"]) for m in modules]
    return tag("ul", items, "pdm-others", aria_label="verdict on every module")


def _word(result) -> str:
    if isinstance(result, Allocation):
        spare = sum(len(u.module.channels) for u in result.units) - sum(len(c.channels) for c in result.circuits)
        return f"\u2713 enough, {spare} spare"
    if isinstance(result, NotEnough):
        return "\u2717 not enough"
    return "\u2026" if result is None else f"? {result.outcome}"
