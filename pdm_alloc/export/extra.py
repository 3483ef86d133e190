"""Libraries of the extra ``documents``, loaded when first used."""

import importlib
from typing import Any

__all__ = ["available", "needed"]


def needed(module: str, use: str) -> Any:
    """A library that only documents need.

    Parameters
    ----------
    module : str
        Its name.
    use : str
        What it does, for the message.

    Returns
    -------
    module
        Imported.

    Raises
    ------
    ModuleNotFoundError
        It is not installed; names the extra that brings it.
    """
    try:
        return importlib.import_module(module)
    except ModuleNotFoundError as error:
        package = module.partition(".")[0]
        raise ModuleNotFoundError(f"{package} {use}: pip install 'pdm_alloc[documents]'", name=package) from error


def available(*modules: str) -> bool:
    """Whether all of some libraries are installed.

    Parameters
    ----------
    *modules : str
        Their names.

    Returns
    -------
    bool
    """
    return all(_found(module) for module in modules)


def _found(module: str) -> bool:
    try:
        importlib.import_module(module)
    except ModuleNotFoundError:
        return False
    return True
