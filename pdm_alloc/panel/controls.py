"""What is wanted of the module: the controls above the table, and loads locked to channels by hand."""

import json
import threading
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from fractions import Fraction
from typing import Any

import anywidget
import ipywidgets as widgets
import traitlets
from traitlets import TraitError

from pdm_alloc.diagnose.explain import LockReason, lock_reasons, slots_of
from pdm_alloc.domain.kinds import Settings
from pdm_alloc.domain.module import Catalogue, Unit, natural_key
from pdm_alloc.domain.vehicle import Lock, Vehicle
from pdm_alloc.files.rows import cell_of, columns_of
from pdm_alloc.files.tables.settings_rows import SettingsRow
from pdm_alloc.panel.answers import Answer, Wish
from pdm_alloc.panel.markup import BadCell, Column, amount, plain_number, read_cell, script_or_style
from pdm_alloc.panel.screen import Stop, Worker
from pdm_alloc.result.allocation import Allocation, NotEnough
from pdm_alloc.studies.signal_sizing import has_signals
from pdm_alloc.studies.sizing import size_key

__all__ = ["Controls", "LocksByHand", "beginning", "settings_shown"]

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
        self._catalogue = catalogue
        self._quiet = False
        self.module = widgets.Dropdown(options=_modules(catalogue), value=module, description="module")
        self.place = widgets.Dropdown(options=[("not decided", "")], description="mounted at")
        self.unit = widgets.Dropdown(options=[_CHEAPEST], description="control unit")
        self._sites = widgets.Text(value="{}")  # places of control units put somewhere, by label; never shown
        self.headroom = _number("headroom, %", plain_number(settings.headroom_pct))
        self.spares = _number("spare channels", str(settings.spare_channels))
        self.strategy = widgets.Dropdown(options=_STRATEGIES, value=settings.strategy, description="strategy")
        self.keep = widgets.Button(
            description="Keep this allocation", tooltip="under a name, to compare with and go back to; tab Compare"
        )
        self.hold = widgets.Checkbox(value=True, description="keep existing wiring where possible", indent=False)
        self.hold.tooltip = "of the built allocation as few wires as possible are moved; tab Compare says which it is"
        self.box = widgets.HBox([*self._inputs[:-2], self.keep, self.hold])
        self.faults: tuple[str, ...] = ()
        self._good = {"headroom_pct": self.headroom.value, "spare_channels": self.spares.value}
        self._dress()
        self.offer(catalogue, [place.name for place in vehicle.places if place.mount], has_signals(vehicle))
        self._start: dict[str, str] = {}
        self._start = self.state

    @property
    def _inputs(self) -> tuple[widgets.Widget, ...]:
        return self.module, self.place, self.unit, self.headroom, self.spares, self.strategy, self._sites, self.hold

    @property
    def wish(self) -> Wish:
        """What is wanted now."""
        faults = [self._take("headroom_pct", self.headroom), self._take("spare_channels", self.spares)]
        self.faults = tuple(filter(None, faults))
        headroom, spares = Fraction(self._good["headroom_pct"]), int(self._good["spare_channels"])
        module, place = self._catalogue[self.module.value], self.place.value or None
        fit = (place, self.unit.value, tuple(sorted(self.sites.items())))
        return Wish(module, headroom, spares, self.strategy.value, self.hold.value, *fit)

    @property
    def sites(self) -> dict[str, str]:
        """Place of each control unit that is put somewhere, by its label."""
        with suppress(ValueError):
            sites = json.loads(self._sites.value)
            return {str(label): str(place) for label, place in sites.items()} if isinstance(sites, dict) else {}
        return {}

    @property
    def state(self) -> dict[str, str]:
        """The controls that are not as they were to begin with, as texts, for a draft."""
        texts = {name: getattr(self, name).value for name in _KEPT}
        return {name: text for name, text in texts.items() if text != self._start.get(name)}

    def restore(self, state: Mapping[str, object]) -> None:
        """Put the controls as a draft has them; what is no longer there to choose stays as it is."""
        for name in _KEPT:
            with suppress(TraitError):
                getattr(self, name).value = state.get(name, getattr(self, name).value)

    def begin(self, settings: Settings) -> None:
        """Begin with the settings of the vehicle, which were read again."""
        self.restore(settings_shown(settings))
        self._start.update(settings_shown(settings))

    def offer(self, catalogue: Catalogue, mounts: list[str], signals: bool = True) -> None:
        """Offer the modules, control units (with signals) and mounting places there now are; one that is gone is no
        longer chosen.
        """
        self._catalogue = catalogue
        units = [(box.name, box.name) for box in catalogue.boxes if box.role == "control_unit"]
        self._reoffer(self.unit, [_CHEAPEST, *units])
        self.unit.layout.display = "" if signals and units else "none"
        self._reoffer(self.module, _modules(catalogue))
        self._reoffer(self.place, [("not decided", ""), *((place, place) for place in mounts)])
        self.place.layout.display = "" if mounts else "none"

    def mount(self, place: str) -> None:
        """Choose a place for the module; one that cannot be chosen changes nothing."""
        with suppress(TraitError):
            self.place.value = place

    def put_unit(self, label: str, place: str) -> None:
        """Choose a place for a control unit or expander; empty: where its wires are lightest."""
        sites = {**self.sites, label: place}
        self._sites.value = json.dumps({name: at for name, at in sorted(sites.items()) if at})

    def take(self, allocation: Allocation) -> str:
        """Put the controls as an allocation has them; what is not there to choose is said."""
        settings, unit = allocation.vehicle.settings, allocation.units[0]
        fit = {"module": unit.module.name, "place": unit.place or "", **_boxes_shown(allocation)}
        self.restore({**settings_shown(settings), **fit})
        if len(allocation.units) > 1:
            return "It has several modules, and the panel looks at one: the first of them is chosen."
        if self.module.value != unit.module.name:
            return f"{unit.module.name} is not in the catalogue, so {self.module.value} stays."
        if self._catalogue[unit.module.name] != unit.module:
            return f"{unit.module.name} is not as it was: the catalogue has changed since."
        return "" if self.place.value == (unit.place or "") else f"Nothing can be mounted at {unit.place} any more."

    def observe(self, heard: Callable[[], None]) -> None:
        """Have `heard` called when anything wanted changes."""
        for control in self._inputs:
            control.observe(lambda _: None if self._quiet else heard(), "value")

    def _reoffer(self, control: widgets.Dropdown, options: list[tuple[str, str]]) -> None:
        if list(control.options) == options:
            return
        chosen, self._quiet = control.value, True
        control.options = options
        with suppress(TraitError):
            control.value = chosen
        self._quiet = False

    def _take(self, setting: str, control: widgets.Text) -> str:
        """Take the number of a control; where it cannot be taken, mark it and say why."""
        title, cell = control.description.split(",")[0], cell_of(columns_of(SettingsRow)[setting])
        column = Column(setting, title, cell, required=True)
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
        self.box.add_class("pdm-controls")


def beginning(vehicle: Vehicle, catalogue: Catalogue) -> str:
    """Name of the module to begin with: the smallest with a channel for each command, or the largest there is."""
    modules = sorted(catalogue, key=size_key)
    wide = [module for module in modules if len(module.channels) >= len(vehicle.commands)]
    return (wide or modules[-1:])[0].name


_KEPT = ("module", "place", "unit", "headroom", "spares", "strategy", "_sites")

_CHEAPEST = ("cheapest that is enough", "")


def _boxes_shown(allocation: Allocation) -> dict[str, str]:
    """Control unit and places of all boxes as an allocation has them; nothing where it has no signal side."""
    boxes = [box for box in allocation.signals.boxes if box.box.role != "module"] if allocation.signals else []
    sites = {box.label: box.place for box in boxes if box.place}
    unit = boxes[0].box.name if len(boxes) == 1 else ""
    return {"unit": unit, "_sites": json.dumps(sites, sort_keys=True)} if boxes else {}


def _modules(catalogue: Catalogue) -> list[tuple[str, str]]:
    modules = sorted(catalogue, key=size_key)
    return [(f"{m.name}: {len(m.channels)} channels, {m.total_ma / 1000:g} A", m.name) for m in modules]


def _number(description: str, value: str) -> widgets.Text:
    """A field that holds what is typed, right or wrong."""
    return widgets.Text(value=value, description=description, continuous_update=False)


def settings_shown(settings: Settings) -> dict[str, str]:
    """Settings as the controls show them."""
    headroom, spares = plain_number(settings.headroom_pct), str(settings.spare_channels)
    return {"headroom": headroom, "spares": spares, "strategy": settings.strategy}


Texts = Mapping[str, str]

_ONLY_LOCKED = "There is no allocation: only loads that are locked are shown."


class _ChannelList(anywidget.AnyWidget):
    """The channels of a module with the loads on them, to be dragged and locked."""

    _esm = script_or_style("locks.js")

    channels: traitlets.List = traitlets.List().tag(sync=True)
    targets: traitlets.List = traitlets.List().tag(sync=True)
    loads: traitlets.List = traitlets.List().tag(sync=True)
    locks: traitlets.List = traitlets.List().tag(sync=True)
    reasons: traitlets.List = traitlets.List().tag(sync=True)
    notice = traitlets.Unicode().tag(sync=True)
    old = traitlets.Bool().tag(sync=True)


class LocksByHand:
    """Loads locked to channels: by dragging them, or from two lists.

    Parameters
    ----------
    locked : callable
        Gives the rows of the table ``locked``, column to text.
    edit : callable
        Called with ``locked`` and the rows it is to have.
    lock : RLock, optional
        That of the tables, held by whoever shows an answer: reasons of an older one are never said beside it.

    Attributes
    ----------
    box : Widget
        The widget.
    """

    def __init__(
        self,
        locked: Callable[[], Sequence[Texts]],
        edit: Callable[[str, list[Texts]], None],
        lock: "threading.RLock | None" = None,
    ):
        self._locked, self._edit = locked, edit
        self._answer: Answer | None = None
        self.box = _ChannelList()
        self.box.on_msg(lambda _, message, __: self.act(message))
        self._worker: Worker[Answer] = Worker(_reasons, self._say, lock=lock)

    def show(self, answer: Answer | None) -> None:
        """Show an answer; without one, what is locked can be unlocked all the same."""
        if answer and self._answer and answer.result is self._answer.result and not self.box.old:
            self._answer = answer  # of which only more is known: reasons stay, or their buttons would go under a hand
            return
        self._worker.overtake()
        self._answer = answer or self._answer
        with self.box.hold_sync():
            self.box.old = answer is None
            self.box.locks = [_words(row) for row in self._locked()]
            self.box.reasons = []
            self.box.notice = "" if answer and answer.allocation else _ONLY_LOCKED
            if answer is not None:
                self._fill(answer)
        if answer is not None and isinstance(answer.result, NotEnough) and answer.question.vehicle.locked:
            self._worker.ask(answer)

    def stale(self) -> None:
        """Mark what is shown as old."""
        self.box.old = True

    def act(self, message: Mapping[str, Any]) -> None:
        """Do what a message from the browser asks.

        Parameters
        ----------
        message : mapping
            ``op`` lock (with ``load``, ``to`` a channel, ``origin`` the channel it is dragged from, or empty), unlock
            (with ``load``, and ``channel`` or empty for all its channels) or unlock all.
        """
        with self._worker.lock:
            rows, op = list(self._locked()), message.get("op")
            if op == "lock" and self._answer is not None:
                rows = self._with_lock(rows, self._answer, message)
            elif op == "unlock":
                rows = [row for row in rows if not _is_meant(row, message)]
            elif op == "unlock all":
                rows = []
            if rows != list(self._locked()):
                self._edit("locked", rows)

    def _with_lock(self, rows: list[Texts], answer: Answer, message: Mapping[str, Any]) -> list[Texts]:
        """Of a load on several channels the one dragged changes, the others are locked where they are."""
        vehicle, unit = answer.question.vehicle, _unit(answer)
        load, to = str(message.get("load")), _slot(vehicle, unit, str(message.get("load")), str(message.get("to")))
        now = [c.channel for c in answer.allocation.circuits if load in c.loads] if answer.allocation else []
        origin = message.get("origin") or (now[0] if len(now) == 1 else "")
        channels = [to if channel == origin else channel for channel in now] if origin in now else [to]
        others = [row for row in rows if row["load"] != load or row["module"] not in _names(unit)]
        fresh = [{"load": load, "module": unit.label, "channel": channel} for channel in dict.fromkeys(channels)]
        also = f"; its other items are locked to {', '.join(c for c in channels if c != to)}" if len(fresh) > 1 else ""
        self.box.notice = f"{load} is locked to channel {to}{also}."
        return [*others, *fresh]

    def _fill(self, answer: Answer) -> None:
        vehicle, unit = answer.question.vehicle, _unit(answer)
        locks = [lock for lock in vehicle.locked if lock.module in _names(unit)]
        self.box.channels = _channels(answer, unit, locks)
        self.box.targets = list(slots_of(vehicle, unit))
        self.box.loads = [load.name for load in vehicle.loads]

    def _say(self, reasons: object) -> None:
        if isinstance(reasons, list):
            self.box.reasons = [{"load": r.load, "channel": r.channel, "words": r.words} for r in reasons]


def _unit(answer: Answer) -> Unit:
    if answer.allocation is not None:
        return answer.allocation.units[0]
    question = answer.question
    return Unit(question.module.name, question.module, question.place)


def _names(unit: Unit) -> tuple[str, str]:
    return unit.label, unit.module.name


def _slot(vehicle: Vehicle, unit: Unit, load: str, to: str) -> str:
    """Where a load goes that is put on a channel: a load that reverses takes the other half of the bridge as well."""
    if "reversing" not in vehicle.load(load).needs:
        return to
    return next((t for t, (use, slot) in slots_of(vehicle, unit).items() if use == "bridge" and to in (t, *slot)), to)


def _channels(answer: Answer, unit: Unit, locks: Sequence[Lock]) -> list[dict[str, Any]]:
    """One entry per circuit and per free channel: channel, pins, rating, and its loads with how many items."""
    locked = {(lock.load, lock.channel) for lock in locks}
    vehicle = answer.question.vehicle
    if answer.allocation is not None:
        used = {c.channel: Counter(name for name, _ in c.items) for c in answer.allocation.circuits}
    else:  # what is locked is all that is known
        used = {lock.channel: Counter() for lock in locks}
        for lock in locks:
            used[lock.channel][lock.load] = vehicle.load(lock.load).count
    taken = {name for channel in used for name in channel.split("+")} - set(used)
    names = [*used, *(c.name for c in unit.module.channels if c.name not in {*used, *taken})]
    slots = slots_of(vehicle, unit)
    return [
        {
            "channel": name,
            "rating": _rating(unit, slots.get(name, ("", (name,)))[1]),
            "spare": answer.allocation is not None and name not in used,
            "loads": [{"load": x, "items": n, "locked": (x, name) in locked} for x, n in used.get(name, {}).items()],
        }
        for name in sorted(names, key=natural_key)
    ]


def _rating(unit: Unit, names: Sequence[str]) -> str:
    channels = [channel for channel in unit.module.channels if channel.name in names]
    return " + ".join(amount(channel.continuous_ma / 1000, "A") for channel in channels)


def _words(row: Texts) -> dict[str, str]:
    return {name: row.get(name, "") for name in ("load", "module", "channel")}


def _is_meant(row: Texts, message: Mapping[str, Any]) -> bool:
    return row["load"] == message.get("load") and message.get("channel") in ("", None, row["channel"])


def _reasons(answer: Answer, stop: Stop) -> Iterator[list[LockReason]]:
    return lock_reasons(answer.question.vehicle, _unit(answer), stop)
