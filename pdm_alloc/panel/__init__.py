"""The what-if panel for notebooks: an editable table of loads with the verdict beside it."""

from typing import TYPE_CHECKING, Any

__all__ = ["Panel"]

if TYPE_CHECKING:
    from pdm_alloc.panel.panel import Panel as Panel


def __getattr__(name: str) -> Any:
    if name != "Panel":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    try:
        from pdm_alloc.panel.panel import Panel
    except ModuleNotFoundError as missing:
        if (missing.name or "").startswith("pdm_alloc"):
            raise
        raise ImportError(f"the panel needs {missing.name}: pip install 'pdm_alloc[notebook]'") from None
    return Panel
