"""Documents, files and everything else that leaves the tool; loaded when first used."""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pdm_alloc.export.commissioning import steps_of as steps_of
    from pdm_alloc.export.lists import write_pin_map as write_pin_map
    from pdm_alloc.export.paperwork import Measurements as Measurements
    from pdm_alloc.export.paperwork import read_measurements as read_measurements
    from pdm_alloc.export.paperwork import write_documents as write_documents
    from pdm_alloc.export.paperwork import write_rework as write_rework
    from pdm_alloc.export.read_saved import read_allocation as read_allocation
    from pdm_alloc.files.atomic import WriteError as WriteError
    from pdm_alloc.files.outline import read_trace as read_trace

_WHERE = {
    "Measurements": "export.paperwork",
    "WriteError": "files.atomic",
    "read_allocation": "export.read_saved",
    "read_measurements": "export.paperwork",
    "read_trace": "files.outline",
    "steps_of": "export.commissioning",
    "write_documents": "export.paperwork",
    "write_pin_map": "export.lists",
    "write_rework": "export.paperwork",
}

__all__ = [*_WHERE]


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        return getattr(importlib.import_module(f"pdm_alloc.{_WHERE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
