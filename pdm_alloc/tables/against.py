"""A vehicle checked against a catalogue: what is locked exists, and modules are rated at its temperatures."""

import re
from collections.abc import Iterator

from pdm_alloc.module import Catalogue, Module
from pdm_alloc.tables.fault import Fault, Faults
from pdm_alloc.vehicle import Lock, Vehicle

__all__ = ["check_against"]

_NUMBERED = re.compile(r" #\d+$")


def check_against(vehicle: Vehicle, catalogue: Catalogue) -> tuple[Fault, ...]:
    """Faults that show only with vehicle and catalogue side by side.

    Parameters
    ----------
    vehicle : Vehicle
        As read.
    catalogue : Catalogue
        As read.

    Returns
    -------
    tuple of Fault
        Empty where they go together. Rows are not known any more; the names tell.
    """
    faults = Faults()
    for lock in vehicle.locked:
        _check_lock(lock, catalogue, faults)
    for module in catalogue:
        _check_ambient(vehicle, module, faults)
    return faults.all()


def _check_lock(lock: Lock, catalogue: Catalogue, faults: Faults) -> None:
    modules = {module.name: module for module in catalogue}
    # Of two modules of one name the first is "name #1", the second "name #2".
    name = lock.module if lock.module in modules else _NUMBERED.sub("", lock.module)
    if name not in modules:
        faults.unknown(
            "locked", None, "module", lock.module, modules, f"is not a module of the catalogue (for {lock.load})"
        )
        return
    known = [channel.name for channel in modules[name].channels]
    if lock.channel in known or _is_joined(lock.channel, modules[name]):
        return
    faults.unknown(
        "locked", None, "channel", lock.channel, known, f"is not a channel of {lock.module} (for {lock.load})"
    )


def _is_joined(name: str, module: Module) -> bool:
    """Whether a name such as 3+4 is a pair or a bridge of the module."""
    channels = {channel.name: channel for channel in module.channels}
    parts = [part.strip() for part in name.split("+")]
    if len(parts) != 2 or not set(parts) <= set(channels):
        return False
    one, other = (channels[part] for part in parts)
    return any(label and label == theirs for label, theirs in ((one.pair, other.pair), (one.bridge, other.bridge)))


def _check_ambient(vehicle: Vehicle, module: Module, faults: Faults) -> None:
    if not module.derating:
        return
    low, high = module.derating[0][0], module.derating[-1][0]
    for table, column, subject, ambient in _ambients(vehicle):
        if not low <= ambient <= high:
            faults.add(
                table,
                None,
                column,
                f"{ambient:g}",
                f"{subject}is outside the temperatures {module.name} is rated at ({low:g} to {high:g} °C)",
                "add rows to the table derating of the catalogue, or give another temperature",
            )


def _ambients(vehicle: Vehicle) -> Iterator[tuple[str, str, str, float]]:
    """Temperatures a module may be at: the setting's, and those of the places it can be mounted at."""
    yield "settings", "module_ambient_c", "", vehicle.settings.module_ambient_c
    for place in vehicle.places:
        if place.mount and place.ambient_c is not None:
            yield "places", "ambient_c", f"at {place.name} ", place.ambient_c
