"""Try the switches: every input as a switch, key or slider, and what that switches on, draws and keeps off."""

import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import anywidget
import traitlets

from pdm_alloc.domain.vehicle import Command, Input, Vehicle
from pdm_alloc.export.commissioning import SheetStep, sheet_steps, trials
from pdm_alloc.panel.answers import Answer
from pdm_alloc.panel.markup import amount, rows_of, script_or_style
from pdm_alloc.panel.screen import Failure, Stop, Worker
from pdm_alloc.panel.views import volts_text
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.worst import WorstCombinations, spoken, worst
from pdm_alloc.studies.switching import BENCH, Switchboard, Switching

__all__ = ["Switches"]


_NO_CHANNELS = "The module is not enough: no load has a channel, so only commands and the supply are shown."

_MOST_PEAKS = 4  # told of one press

_MODEL = (
    "A model of the conditions in your tables: it knows no module's own program, no delays, and nothing latches. "
    "An analog input is on or off, as the conditions use it."
)


class SwitchBoard(anywidget.AnyWidget):
    """Switches, lamps and bars in the browser; what the user does comes as messages.

    Attributes
    ----------
    fixed : dict
        What does not depend on the setting: ``groups`` of inputs, names of ``states``, number of ``steps``.
    shown : dict
        What does: inputs that are on, state, lamps, bars, sentences.
    is_old : bool
        Whether a newer vehicle is being worked out.
    """

    _esm = script_or_style("make.js", "switches.js")
    _css = script_or_style("colours.css", "switches.css")

    fixed: traitlets.Dict = traitlets.Dict().tag(sync=True)
    shown: traitlets.Dict = traitlets.Dict().tag(sync=True)
    is_old = traitlets.Bool(False).tag(sync=True)


@dataclass(frozen=True)
class Setting:
    """What the switches stand at.

    Parameters
    ----------
    inputs : frozenset of str
        Inputs that are on.
    state : str or None
        Operating state; None: on the bench.
    before : frozenset of str or None
        Inputs that were on before the last press; None: nothing was pressed since.
    step : int
        Number of the commissioning step shown, from 1; 0: none.
    """

    inputs: frozenset[str] = frozenset()
    state: str | None = None
    before: frozenset[str] | None = None
    step: int = 0


class Switches:
    """The switches of a vehicle, to be pressed.

    Attributes
    ----------
    box : SwitchBoard
        The widget.
    result : Switching or None
        What the present setting does; None before there is a vehicle.
    """

    def __init__(self) -> None:
        self.box = SwitchBoard()
        self.result: Switching | None = None
        self._board: Switchboard | None = None
        self._result: object = None
        self._allocation: Allocation | None = None
        self._setting = Setting()
        self._steps: tuple[SheetStep, ...] | None = None
        self._worst: WorstCombinations | None = None
        self._wanted = ""
        self._lock = threading.RLock()
        self._worker: Worker[Allocation] = Worker(_worst_of, self._deliver, lock=self._lock)
        self.box.on_msg(lambda _, message, __: self.act(message))

    def show(self, answer: Answer | None) -> None:
        """Take the vehicle and the allocation of an answer; inputs that it still has stay as they are."""
        if answer is None:
            self.stale()
            return
        self.box.is_old = False
        if answer.result is self._result:  # of which only more is known
            return
        with self._lock:
            self._result, design = answer.result, answer.allocation
            self._allocation, self._steps, self._worst = design, None, None
            vehicle = design.vehicle if design else answer.question.vehicle
            self._board = Switchboard(vehicle, design.units, design.circuits) if design else Switchboard(vehicle)
            state = self._setting.state if self._setting.state in [s.name for s in vehicle.states] else None
            self._setting = Setting(self._setting.inputs & frozenset(self._board.inputs), state)
            self.box.fixed = _fixed(self._board, design)
            self._work_out()

    def stale(self) -> None:
        """Mark what is shown as out of date."""
        self.box.is_old = self.result is not None

    def act(self, message: Mapping[str, Any]) -> None:
        """Do what a message from the browser asks.

        Parameters
        ----------
        message : mapping
            ``op`` (press, state, off, worst, step) and ``name`` of the input or state, ``limit`` or ``number`` of the
            step; with ``on`` a press leaves the input on or off, whatever it was. A message about something that is
            gone changes nothing.
        """
        with self._lock:
            if self._board is not None and message.get("op") in _OPS:
                _OPS[message["op"]](self, message)

    def _press(self, message: Mapping[str, Any]) -> None:
        inputs, name = self._setting.inputs, message.get("name")
        if name in self.board.inputs and message.get("on") is not (name in inputs):
            self._set(inputs=inputs ^ {name}, before=inputs, step=0)

    def _state(self, message: Mapping[str, Any]) -> None:
        known = message.get("name") in [state.name for state in self.board.vehicle.states]
        self._set(state=message["name"] if known else None, before=None, step=0)

    def _off(self, message: Mapping[str, Any]) -> None:
        self._set(inputs=frozenset(), before=None, step=0)

    def _to_worst(self, message: Mapping[str, Any]) -> None:
        self._wanted = str(message.get("limit"))
        if self._worst is None and self._allocation is not None:
            self.box.shown = {**self.box.shown, "press": "Looking for the worst combination."}
            return self._worker.ask(self._allocation)
        return self._take_worst()

    def _deliver(self, part: object) -> None:
        with self._lock:
            if isinstance(part, Failure):
                self.box.shown = {**self.box.shown, "press": f"No worst combination: {part.exception}"}
            elif isinstance(part, tuple) and part[0] is self._allocation:
                self._worst = part[1]
                self._take_worst()

    def _take_worst(self) -> None:
        rows = [] if self._worst is None else list(rows_of(self._worst.table))
        for row, worst_setting in zip(rows, self._worst.settings if self._worst else (), strict=True):
            if self._of(row.module, row.limit) == self._wanted:
                before = worst_setting.before if worst_setting.before != worst_setting.inputs else None
                state = worst_setting.state if self.board.vehicle.states_given else self._setting.state
                self._set(inputs=worst_setting.inputs, state=state, before=before, step=0)

    def _step(self, message: Mapping[str, Any]) -> None:
        if self._allocation is not None and self._steps is None:
            self._steps = sheet_steps(self._allocation)
        steps = self._steps or ()
        number = min(max(1, int(message.get("number", 1))), len(steps))
        if steps:
            names = {command: name for name, command in self.board.own.items()}
            step = steps[number - 1]
            inputs = frozenset(names.get(name, name) if name == step.command else name for name in step.inputs)
            self._set(inputs=inputs, state=None, before=None, step=number)

    @property
    def board(self) -> Switchboard:
        """The switchboard of the present vehicle."""
        assert self._board is not None
        return self._board

    def _set(self, **changes: Any) -> None:
        self._setting = replace(self._setting, **changes)
        self._work_out()

    def _work_out(self) -> None:
        at = self._setting
        self.result = self.board.switching(at.inputs, at.state, at.before)
        channels = rows_of(self.result.channels)
        self.box.shown = {
            "on": sorted(at.inputs),
            "state": at.state or "",
            "lamps": _lamps(self.result, self.board.vehicle),
            "limits": [_bar(self._of(row.module, row.limit), row) for row in rows_of(self.result.limits)],
            "channels": [_bar(f"{self._of(row.module, row.channel)}: {row.loads}", row) for row in channels if row.on],
            "supply": _supply(self.result, self.board.vehicle),
            "off": [[row.command, row.because] for row in rows_of(self.result.off)],
            "press": self._pressed(self.result),
            "step": self._step_shown(),
        }

    def _of(self, module: str, subject: str) -> str:
        """A part of a module; named with the module where there are several."""
        return f"{module} {subject}" if len(self.board.units) > 1 else subject

    def _pressed(self, result: Switching) -> str:
        """What the last press did, and how far its inrush uses momentary limits."""
        at = self._setting
        if at.before is None:
            return "Press a switch: what it switches on is said here."
        changed = sorted(at.before ^ at.inputs)
        words = " and ".join(f"{spoken(name)} {'on' if name in at.inputs else 'off'}" for name in changed)
        forbidden = ", ".join(result.off.command[result.off.state_forbids & (result.off.change == "")])
        barred = f" State {result.state} keeps off: {forbidden}." if forbidden else ""
        if not result.switched_on:
            return f"{words}: switches nothing on.{barred}"
        surges = list(rows_of(result.press.sort_values("used_pct", ascending=False, kind="stable")))
        peaks = [
            f"{self._of(row.module, row.subject)}: {amount(row.current_a)} of {amount(row.limit_a, 'A')}"
            for row in surges[:_MOST_PEAKS]
        ]
        peak = f" Inrush: {'; '.join(peaks)}{'; others use less' if surges[_MOST_PEAKS:] else ''}." if peaks else ""
        return f"{words}: switches on {', '.join(sorted(result.switched_on))}.{peak}{barred}"

    def _step_shown(self) -> dict[str, Any]:
        if not (self._setting.step and self._steps and self.result):
            return {"number": 0}
        step = self._steps[self._setting.step - 1]
        is_right = (step.command in self.result.on) is step.on
        expected = [
            f"{self._of(c.unit, f'channel {c.channel}')}: {amount(x.expected_ma / 1000, 'A')} "
            f"({amount(x.least_ma / 1000)} to {amount(x.most_ma / 1000)})"
            for c, x in step.expected
        ]
        must = f"must be on: {'; '.join(expected)}" if step.on else "must be off"
        words = f"{step.command}, {step.number} of {step.count}: {spoken(step.set)}; {must}."
        return {"number": self._setting.step, "words": words, "right": is_right}


_OPS: dict[str, Callable[[Switches, Mapping[str, Any]], None]] = {
    "press": Switches._press,
    "state": Switches._state,
    "off": Switches._off,
    "worst": Switches._to_worst,
    "step": Switches._step,
}


def _worst_of(allocation: Allocation, stop: Stop) -> Iterator[object]:
    yield allocation, worst(allocation)


def _fixed(board: Switchboard, design: Allocation | None) -> dict[str, Any]:
    vehicle = board.vehicle
    groups: dict[str, list[dict[str, str]]] = {}
    listed = {item.name: item for item in vehicle.inputs}
    for name in board.inputs:
        item = listed.get(name, Input(name)) if name not in board.own else None
        groups.setdefault(_group(item), []).append(_control(name, item))
    circuits = design.circuits if design else ()
    return {
        "model": _MODEL if design else f"{_MODEL} {_NO_CHANNELS}",
        "groups": [{"title": title, "inputs": inputs} for title, inputs in groups.items()],
        "states": [[state.name, volts_text(state.span_v)] for state in vehicle.states if vehicle.states_given],
        "bench": f"{BENCH}, {amount(vehicle.settings.reference_v)} V, nothing forbidden",
        "steps": sum(len(trials(vehicle.command(c))) for c in dict.fromkeys(x.command for x in circuits)),
        "judged": design is not None,
    }


def _group(item: Input | None) -> str:
    if item is None:
        return "Commands without a condition"
    place = item.place or "No place given"
    return f"{place}: keypad" if item.read_by == "keypad" else place


def _control(name: str, item: Input | None) -> dict[str, str]:
    if item is None:
        return {"name": name, "label": spoken(name), "control": "switch", "kind": "command"}
    control = "key" if item.read_by == "keypad" else "slider" if item.kind == "analog" else "switch"
    return {"name": name, "label": spoken(name), "control": control, "kind": item.kind}


def _lamps(result: Switching, vehicle: Vehicle) -> list[dict[str, Any]]:
    cycles = {command.name: command for command in vehicle.commands}
    return [_lamp(row, cycles[row.command]) for row in rows_of(result.commands)]


def _lamp(row: Any, command: Command) -> dict[str, Any]:
    amps = max(row.running_a, row.running_top_a)
    cycle = command.cycle_s if row.action == "flash" else None
    return {
        "name": row.command,
        "on": bool(row.on),
        "action": row.action,
        "amps": amount(amps, "A"),
        "cycle": cycle or 0,
    }


def _bar(label: str, row: Any) -> dict[str, Any]:
    words = f"{amount(row.counted_a)} of {amount(row.limit_a, 'A')}"
    return {"label": label, "words": words, "pct": float(row.used_pct)}


def _supply(result: Switching, vehicle: Vehicle) -> dict[str, Any]:
    """Voltage, currents and battery in words, and as parts of the largest of them."""
    first, last = result.supply.iloc[0], result.supply.iloc[-1]
    volts = volts_text(tuple(dict.fromkeys((float(first.supply_v), float(last.supply_v)))))
    least = min(first.battery_a, last.battery_a)
    lines = [
        ("supply", volts, 0.0),
        ("modules", _ends(first.total_a, last.total_a), max(first.total_a, last.total_a)),
        *([("past the modules", amount(first.other_a, "A"), first.other_a)] if first.other_a else []),
        ("charging", "not given" if first.isna().charging_a else amount(first.charging_a, "A"), first.charging_a),
        (
            "battery gives" if least < 0 else "battery takes",
            amount(abs(least), "A") + _minutes(first, least),
            abs(least),
        ),
    ]
    largest = max(1.0, *(float(value) for _, _, value in lines if value == value))
    bars = [{"label": n, "words": w, "pct": 100 * float(v) / largest if v == v else 0.0} for n, w, v in lines]
    low = vehicle.settings.system_v * 2 / 3  # a bar from there to a third above the system voltage
    bars[0]["pct"] = max(0.0, min(100.0, 100 * (float(first.supply_v) - low) / low))
    return {"bars": bars, "gives": bool(least < 0)}


def _ends(first: float, last: float) -> str:
    words = dict.fromkeys((amount(min(first, last)), amount(max(first, last))))
    return f"{' to '.join(words)} A"


def _minutes(first: Any, battery_a: float) -> str:
    minutes = first.floor_minutes  # not a number where the battery is not known
    return f", at its floor from full in {minutes:.0f} min" if battery_a < 0 and 0 <= minutes < float("inf") else ""
