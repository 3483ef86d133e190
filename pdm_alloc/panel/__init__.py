"""The panel for notebooks: the tables of a vehicle with the verdict, the board and the switches beside them."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__all__ = ["Panel", "plan_of_harness"]

if TYPE_CHECKING:
    from pdm_alloc.panel.board_scene import plan_of_harness as plan_of_harness
    from pdm_alloc.panel.panel import Panel as Panel

_WHERE = {"Panel": "pdm_alloc.panel.panel", "plan_of_harness": "pdm_alloc.panel.board_scene"}


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    try:
        return getattr(import_module(_WHERE[name]), name)
    except ModuleNotFoundError as missing:
        if (missing.name or "").startswith("pdm_alloc"):
            raise
        raise ImportError(f"the panel needs {missing.name}: pip install 'pdm_alloc[notebook]'") from None
