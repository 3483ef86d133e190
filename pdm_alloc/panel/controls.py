"""What is wanted of the module: the controls above the table."""

from collections.abc import Callable, Mapping
from contextlib import suppress
from fractions import Fraction

import ipywidgets as widgets
from traitlets import TraitError

from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Catalogue, Module
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.rows import cell_of, columns_of
from pdm_alloc.files.tables.settings_rows import SettingsRow
from pdm_alloc.panel.answers import Wish
from pdm_alloc.panel.grid_cells import BadCell, Column, plain_number, read_cell
from pdm_alloc.studies.sizing import size_key

__all__ = ["Controls", "beginning", "settings_shown"]

_STRATEGIES = (("isolate (few loads per channel)", "isolate"), ("spare (few channels)", "spare"))


class Controls:
    """Controls in a row.

    Parameters
    ----------
    catalogue : Catalogue
        Modules to choose from.
    vehicle : Vehicle
        Its settings are what is wanted to begin with; its places are where the module may be mounted.
    module : str
        Module to begin with.

    Attributes
    ----------
    faults : tuple of str
        What is wrong with a number that was typed; it stays as typed, and the last good one counts.
    """

    def __init__(self, catalogue: Catalogue, vehicle: Vehicle, module: str):
        settings = vehicle.settings
        options = [(_described(m), m.name) for m in sorted(catalogue, key=size_key)]
        self._catalogue = catalogue
        self.module = widgets.Dropdown(options=options, value=module, description="module")
        self.place = widgets.Dropdown(options=_mounts(vehicle), description="mounted at")
        self.headroom = _number("headroom, %", plain_number(settings.headroom_pct))
        self.spares = _number("spare channels", str(settings.spare_channels))
        self.strategy = widgets.Dropdown(options=_STRATEGIES, value=settings.strategy, description="strategy")
        self.keep = widgets.Button(
            description="Keep this allocation", tooltip="compare what comes next with this allocation"
        )
        self.hold = widgets.Checkbox(value=True, description="keep existing wiring where possible", indent=False)
        self.hold.tooltip = "the kept allocation counts as built: as few of its wires as possible are moved"
        self.box = widgets.HBox([*self._inputs[:-1], self.keep, self.hold])
        self.faults: tuple[str, ...] = ()
        self._good = {"headroom_pct": self.headroom.value, "spare_channels": self.spares.value}
        self._dress()

    @property
    def _inputs(self) -> tuple[widgets.Widget, ...]:
        return self.module, self.place, self.headroom, self.spares, self.strategy, self.hold

    @property
    def wish(self) -> Wish:
        """What is wanted now."""
        faults = [self._take("headroom_pct", self.headroom), self._take("spare_channels", self.spares)]
        self.faults = tuple(filter(None, faults))
        headroom, spares = Fraction(self._good["headroom_pct"]), int(self._good["spare_channels"])
        module, place = self._catalogue[self.module.value], self.place.value or None
        return Wish(module, headroom, spares, self.strategy.value, self.hold.value, place)

    @property
    def state(self) -> dict[str, str]:
        """The controls as texts, for a draft."""
        return {name: getattr(self, name).value for name in _KEPT}

    def restore(self, state: Mapping[str, object]) -> None:
        """Put the controls as a draft has them; what is no longer there to choose stays as it is."""
        for name in _KEPT:
            with suppress(TraitError):
                getattr(self, name).value = state.get(name, getattr(self, name).value)

    def offer(self, vehicle: Vehicle) -> None:
        """Offer the places of a vehicle for the module; one that can no longer be chosen is not decided."""
        options, now = _mounts(vehicle), self.place.value
        if tuple(options) != tuple(self.place.options):
            with self.place.hold_trait_notifications():
                self.place.options = options
                self.place.value = now if (now, now) in options else ""
            self._show_place()

    def mount(self, place: str) -> None:
        """Choose a place for the module; one that cannot be chosen changes nothing."""
        with suppress(TraitError):
            self.place.value = place

    def observe(self, heard: Callable[[], None]) -> None:
        """Have `heard` called when anything wanted changes."""
        for control in self._inputs:
            control.observe(lambda _: heard(), "value")

    def _take(self, setting: str, control: widgets.Text) -> str:
        """Take the number of a control; where it cannot be taken, mark it and say why."""
        column = Column(
            setting, control.description.split(",")[0], cell_of(columns_of(SettingsRow)[setting]), required=True
        )
        try:
            self._good[setting] = read_cell(column, control.value)
        except BadCell as bad:
            control.add_class("pdm-refused")
            return f"\u26a0 {column.title}: {bad}; until then {self._good[setting]} counts."
        control.remove_class("pdm-refused")
        return ""

    def _dress(self) -> None:
        for control in self._inputs:
            control.style.description_width = "initial"
            control.layout.width = "auto"
        self.headroom.layout.width, self.spares.layout.width = "11em", "12em"
        self._show_place()
        self.box.add_class("pdm-controls")

    def _show_place(self) -> None:
        self.place.layout.display = "" if len(self.place.options) > 1 else "none"


def beginning(vehicle: Vehicle, catalogue: Catalogue) -> str:
    """Name of the module to begin with: the smallest with a channel for each command, or the largest there is."""
    modules = sorted(catalogue, key=size_key)
    wide = [module for module in modules if len(module.channels) >= len(vehicle.commands)]
    return (wide or modules[-1:])[0].name


def _mounts(vehicle: Vehicle) -> list[tuple[str, str]]:
    return [("not decided", ""), *((place.name, place.name) for place in vehicle.places if place.mount)]


_KEPT = ("module", "place", "headroom", "spares", "strategy")


def _number(description: str, value: str) -> widgets.Text:
    """A field that holds what is typed, right or wrong."""
    return widgets.Text(value=value, description=description, continuous_update=False)


def _described(module: Module) -> str:
    return f"{module.name}: {len(module.channels)} channels, {module.total_ma / 1000:g} A"


def settings_shown(settings: Settings) -> dict[str, str]:
    """Settings as the controls show them."""
    headroom, spares = plain_number(settings.headroom_pct), str(settings.spare_channels)
    return {"headroom": headroom, "spares": spares, "strategy": settings.strategy}
