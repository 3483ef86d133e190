"""What is wanted, as controls: module, headroom, spares, strategy, and a button that keeps the design."""

import ipywidgets as widgets

from pdm_alloc.module import Catalogue, Module
from pdm_alloc.panel.question import Wish
from pdm_alloc.sizing import size_key
from pdm_alloc.vehicle import Settings

__all__ = ["Controls"]

_STRATEGIES = (("isolate (few loads a channel)", "isolate"), ("spare (few channels)", "spare"))


class Controls:
    """Controls in a row.

    Parameters
    ----------
    catalogue : Catalogue
        Modules to choose from.
    settings : Settings
        What is wanted to begin with.
    module : str
        Module to begin with.
    """

    def __init__(self, catalogue: Catalogue, settings: Settings, module: str):
        options = [(_described(m), m.name) for m in sorted(catalogue, key=size_key)]
        self._catalogue = catalogue
        self.module = widgets.Dropdown(options=options, value=module, description="module")
        self.headroom = widgets.BoundedIntText(
            value=round(settings.headroom_pct), min=0, max=90, description="headroom, %"
        )
        self.spares = widgets.BoundedIntText(value=settings.spare_channels, min=0, max=99, description="spare channels")
        self.strategy = widgets.Dropdown(options=_STRATEGIES, value=settings.strategy, description="strategy")
        self.keep = widgets.Button(description="Keep this design", tooltip="compare what comes next with this design")
        self.hold = widgets.Checkbox(value=True, description="then move few wires", indent=False)
        self.hold.tooltip = "take the kept design as built: as few of its wires as can be are moved"
        self.box = widgets.HBox([*self._inputs[:-1], self.keep, self.hold])
        self._dress()

    @property
    def _inputs(self) -> tuple[widgets.Widget, ...]:
        return self.module, self.headroom, self.spares, self.strategy, self.hold

    @property
    def wish(self) -> Wish:
        """What is wanted now."""
        module = self._catalogue[self.module.value]
        return Wish(module, self.headroom.value, self.spares.value, self.strategy.value, self.hold.value)

    def observe(self, heard) -> None:
        """Have `heard` called when anything wanted changes."""
        for control in self._inputs:
            control.observe(lambda _: heard(), "value")

    def _dress(self) -> None:
        for control in self._inputs:
            control.style.description_width = "initial"
            control.layout.width = "auto"
        self.headroom.layout.width, self.spares.layout.width = "11em", "12em"
        self.box.add_class("pdm-controls")


def _described(module: Module) -> str:
    return f"{module.name}: {len(module.channels)} channels, {module.total_ma / 1000:g} A"
