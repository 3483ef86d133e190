"""Documents, files and everything else that leaves the tool; loaded when first used."""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pdm_alloc.export.documents import write_documents as write_documents
    from pdm_alloc.export.documents import write_rework as write_rework
    from pdm_alloc.export.lists import write_pin_map as write_pin_map
    from pdm_alloc.export.measurements import Measurements as Measurements
    from pdm_alloc.export.measurements import read_measurements as read_measurements
    from pdm_alloc.export.read_saved import read_allocation as read_allocation
    from pdm_alloc.export.steps import steps_of as steps_of
    from pdm_alloc.files.atomic import WriteError as WriteError
    from pdm_alloc.files.traces import read_trace as read_trace

_WHERE = {
    "Measurements": "measurement",
    "read_allocation": "saved_file",
    "read_measurements": "measurement",
    "read_trace": "trace_file",
    "steps_of": "steps",
    "write_documents": "documents",
    "write_pin_map": "pin_map",
    "write_rework": "revision",
}

__all__ = ["WriteError", *_WHERE]


def __getattr__(name: str) -> Any:
    if name == "WriteError":
        return importlib.import_module("pdm_alloc.files.atomic").WriteError
    if name in _WHERE:
        return getattr(importlib.import_module(f"{__name__}.{_WHERE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
