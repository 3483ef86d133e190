"""Changes in words."""

from collections.abc import Iterable, Mapping

from pdm_alloc.tables.plain import decimal
from pdm_alloc.vehicle import Settings, Vehicle
from pdm_alloc.what_if.duty import duty_words

__all__ = ["added", "changed", "left_out", "set_to"]


def added(before: Vehicle, after: Vehicle, name: str) -> str:
    """A load put in, and where it is switched by a new command, when that is on."""
    load = after.load(name)
    known = load.command in {command.name for command in before.commands}
    switch = f"the command '{load.command}'"
    if not known:
        switch = f"the new command '{load.command}' ({duty_words(after, load.command)})"
    items = f"{load.count} x " if load.count > 1 else ""
    return f"added '{name}': {items}{load.running_ma / 1000:g} A, {load.kind}, on {switch}"


def left_out(names: Iterable[str]) -> str:
    """Loads taken out."""
    return "left out " + ", ".join(f"'{name}'" for name in dict.fromkeys(names))


def changed(before: Mapping[str, str], after: Mapping[str, str]) -> str:
    """Cells of a load that are other than before."""
    columns = [c for c in dict.fromkeys([*before, *after]) if before.get(c, "") != after.get(c, "")]
    cells = ", ".join(f"{c} {_cell(before.get(c))} to {_cell(after.get(c))}" for c in columns)
    return f"changed '{before['load']}': {cells or 'nothing'}"


def _cell(text: str | None) -> str:
    return text if text else "(empty)"


def set_to(before: Settings, after: Settings, names: Iterable[str]) -> str:
    """Settings that are other than before."""
    pairs = [(name, decimal(getattr(before, name, None)), decimal(getattr(after, name, None))) for name in names]
    parts = [f"{name} {_cell(old)} to {_cell(new)}" for name, old, new in pairs if old != new]
    return f"set {', '.join(parts) or 'nothing'}"
