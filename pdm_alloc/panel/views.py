"""What the panel shows of an answer: as HTML, and in parts that have a tab of their own."""

from collections.abc import Iterator, Sequence
from typing import Protocol

import ipywidgets as widgets
import pandas as pd

from pdm_alloc.allocator import key_counts
from pdm_alloc.domain.vehicle import State, Vehicle
from pdm_alloc.electrics.current import running_at_voltage_ma
from pdm_alloc.panel.answers import Answer
from pdm_alloc.panel.markup import Html, amount, bar, plural, rows_of, section, table, tag
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.care_rules import CareWarning
from pdm_alloc.studies.signal_side import SignalSide
from pdm_alloc.studies.signal_sizing import SignalSizing, has_signals, signal_pin_count

__all__ = [
    *("Part", "Parts", "Signals", "channels", "may_be_on", "short", "signal_sections", "signal_verdict", "states"),
    *("volts_text", "warnings"),
]


class Part(Protocol):
    """What has a tab of its own beside the answer.

    Attributes
    ----------
    box : Widget
        What is shown.
    """

    box: widgets.Widget

    def show(self, answer: Answer | None) -> None:
        """Show an answer; None where there is none."""

    def stale(self) -> None:
        """Mark what is shown as old, as another answer is awaited."""


class Parts:
    """Parts by the title of their tab; one that is not looked at is told nothing."""

    def __init__(self) -> None:
        self._parts: dict[str, Part] = {}
        self._told: dict[str, Answer | None] = {}

    def add(self, title: str, part: Part) -> None:
        """Have a part told of answers while its tab is looked at."""
        self._parts[title] = part

    def show(self, title: str, answer: Answer | None) -> None:
        """Show an answer in the part of a tab, where it is not shown already."""
        if title in self._parts and (title not in self._told or self._told[title] is not answer):
            self._told[title] = answer
            self._parts[title].show(answer)

    def stale(self, title: str) -> None:
        """Mark what the part of a tab shows as old."""
        if title in self._parts:
            self._parts[title].stale()


_CHANNELS_HEADINGS = ("channel", "pins", "command", "loads", "running ", "limit ", "used of the limit", "headroom ")


def channels(allocation: Allocation) -> Html:
    """One row per circuit: where it is, what is on it, its running current and inrush against what the channel bears.

    Parameters
    ----------
    allocation : Allocation
        Of one module.

    Returns
    -------
    Html
    """
    wanted = float(allocation.vehicle.settings.headroom_pct)
    rows = [_row(row, wanted) for row in rows_of(allocation.channels)]
    legend = tag("p", _legend(wanted), "pdm-legend")
    body = table(_CHANNELS_HEADINGS, rows, "pdm-channels", "what is on each channel")
    return section("Channels", [legend, body, _spare(allocation)])


def _legend(wanted: float) -> list[Html]:
    keys = [("use", "running current, % of the channel's limit"), ("inrush", "inrush, % of what the channel allows")]
    marks = [Html(f'<svg class="pdm-key" width="14" height="10"><rect class="pdm-{c}" width="14" height="10"/></svg>')
             for c, _ in keys]  # fmt: skip
    words = [tag("span", [mark, " ", text], "pdm-item") for mark, (_, text) in zip(marks, keys, strict=True)]
    return [*words, tag("span", f"dotted line: {wanted:g} % headroom begins", "pdm-item")]


def _row(row, wanted: float) -> list[object]:
    use = 100 - row.headroom_pct
    label = f"running {use:.0f} % of the limit, inrush {row.inrush_use_pct:.0f} % of what the channel allows"
    return [
        tag("strong", row.channel),
        tag("span", row.pins, "pdm-amount"),
        row.command,
        row.loads,
        amount(row.running_a, "A"),
        amount(row.limit_a, "A"),
        bar(use, 100 - wanted, row.inrush_use_pct, label),
        f"{row.headroom_pct:.0f} %",
    ]


def _spare(allocation: Allocation) -> Html:
    free = [f"{row.channel} ({amount(row.continuous_a, 'A')})" for row in rows_of(allocation.spare)]
    words = f"{plural(len(free), 'channel')} spare: {', '.join(free)}" if free else "no channel is spare"
    return tag("p", words, "pdm-legend")


_FULL = 90


def states(allocation: Allocation) -> Html:
    """One row per state, one column per limit: how much of it is used.

    Parameters
    ----------
    allocation : Allocation
        Of one module.

    Returns
    -------
    Html
    """
    used = {(row.state, row.subject): row for row in rows_of(allocation.headroom)}
    subjects = list(dict.fromkeys(subject for _, subject in used))
    rows = [[tag("strong", state.name), *_cells(used, state.name, subjects)] for state in allocation.vehicle.states]
    return section("States against limits", table(("state", *subjects), rows, "pdm-states", "current in each state"))


def _cells(used: dict, state: str, subjects: list[str]) -> list[object]:
    return [_cell(used[state, subject]) if (state, subject) in used else "" for subject in subjects]


def _cell(row) -> list[Html]:
    pct = 100 * row.current_a / row.limit_a
    words = f"{amount(row.current_a)} of {amount(row.limit_a, 'A')}"
    return [bar(pct, label=f"{words}, {pct:.0f} %", full=_FULL), tag("div", words, "pdm-amount")]


_SIGNS = {"danger": "\u26a0 danger", "warning": "\u26a0 warning", "note": "\u2139 note"}


def warnings(found: Sequence[CareWarning]) -> Html:
    """One line per warning, gravest first, with what to do about it.

    Parameters
    ----------
    found : sequence of CareWarning
        As `care` gives them.

    Returns
    -------
    Html
    """
    lines = [tag("li", _line(warning), f"pdm-{warning.severity}") for warning in found]
    body = tag("ul", lines, "pdm-warnings") if lines else tag("p", "none")
    return section(f"Warnings ({len(found)})", body)


def _line(warning: CareWarning) -> list[object]:
    return [tag("strong", f"{_SIGNS[warning.severity]} {warning.code}"), f" {warning.sentence} ",
            tag("em", warning.remedy)]  # fmt: skip


_WAIT = "\u2026 being worked out"

_SHORT_HEADINGS = ("", "what is short", "there is ", "it takes ", "used of the limit", "needed by")


def short(answer: Answer) -> Html:
    """Shortfall by kind of limit, and the ways to make it fit; a word where they are still being worked out.

    Parameters
    ----------
    answer : Answer
        Of a module that is not enough.

    Returns
    -------
    Html
    """
    lacking = tag("p", _WAIT) if answer.shortfall is None else _shortfall(answer.shortfall)
    ways = (
        tag("p", _WAIT) if answer.concessions is None else _ways(answer.concessions, answer.left_open, answer.why_none)
    )
    parts = [
        section("What is short", lacking, "pdm-shortfall"),
        section("Ways to make it fit", ways, "pdm-concessions"),
    ]
    return Html("".join(parts))


def _shortfall(frame: pd.DataFrame) -> Html:
    if frame.empty:
        return tag("p", "No growth of its limits was found that would be enough.")
    joins = ["", *map(_join, frame["set"].iloc[1:])]
    rows = [_short_row(join, row) for join, row in zip(joins, rows_of(frame), strict=True)]
    return table(_SHORT_HEADINGS, rows, "", "limits that are short")


def _join(group: int) -> str:
    """Group 0 is what is missed whatever else grows; all others belong together."""
    return "and" if group else "alone"


def _short_row(join: str, row) -> list[object]:
    pct = 100 * row.need / row.have if row.have else 200
    picture = bar(pct, label=f"{pct:.0f} % of what there is")
    unit = "" if row.unit == "channels" else f" {row.unit}"
    return [join, row.sentence, f"{row.have:g}{unit}", f"{row.need:g}{unit}", picture, row.needed_by]


def _ways(frame: pd.DataFrame, left_open: str, why_none: str = "") -> Html:
    more = _sentence(left_open)
    if frame.empty:
        return more or _sentence(why_none) or tag("p", "None was found: take a larger module.")
    return Html(tag("ol", [_way(part) for _, part in frame.groupby("rank", sort=True)], "pdm-ways") + more)


def _sentence(words: str) -> Html:
    return tag("p", f"{words[:1].upper()}{words[1:]}.") if words else Html("")


def _way(frame: pd.DataFrame) -> Html:
    likewise, weight = frame["likewise"].iloc[0], f"total weight {frame['set_weight'].iloc[0]}"
    also = [tag("p", f"Likewise: {likewise}", "pdm-likewise")] if likewise else []
    members = tag("ul", [tag("li", row.detail) for row in rows_of(frame)])
    return tag("li", [members, *also, tag("p", weight, "pdm-legend")])


def may_be_on(vehicle: Vehicle) -> Html:
    """What may be on in every operating state, and what it draws at the lowest voltage: a table that needs no script.

    Parameters
    ----------
    vehicle : Vehicle
        With its states.

    Returns
    -------
    Html
    """
    rows = [
        (c.name, c.condition, *(_drawn(vehicle, c.name, state) for state in vehicle.states)) for c in vehicle.commands
    ]
    names = ("command", "condition", *(f"{state.name}, {volts_text(state.span_v)} " for state in vehicle.states))
    return section("What may be on in each state", table(names, rows, "pdm-may", "running current in each state"))


def _drawn(vehicle: Vehicle, command: str, state: State) -> str:
    """Running current of a command in a state, A; empty where the state keeps it off."""
    if not state.is_on(command):
        return ""
    own = [load for load in vehicle.loads if load.command == command]
    at = (state.supply_v, vehicle.settings.reference_v)
    ma = sum(running_at_voltage_ma(x.running_ma, x.volt_exponent, *at) * x.count for x in own)
    return amount(ma / 1000, "A")


def volts_text(volts: tuple[float, ...]) -> str:
    """``12.4 to 12.7 V``, or the one voltage."""
    return f"{' to '.join(amount(v) for v in volts)} V"


def signal_verdict(answer: Answer) -> tuple[str, str, str] | None:
    """How the control units do.

    Parameters
    ----------
    answer : Answer
        Of a vehicle with signals.

    Returns
    -------
    tuple of str or None
        Class of the style sheet, sign, and the verdict in words. None: the vehicle has no signal side.
    """
    if not has_signals(answer.question.vehicle):
        return None
    side = answer.side
    if side is None:
        return "working", "\u2026", "Signals: being worked out."
    if side.allocation is None:
        return "short", "?", "Signals: not judged. The catalogue has no control unit."
    names = ", ".join(f"{box.label} at {box.place}" if box.place else box.label for box in side.boxes)
    if not side:
        word = "not enough" if side.outcome == "not enough" else side.outcome
        return "short", "\u2717", f"Signals: {word}. {names or 'No box'}: {side.short or 'no answer in time'}".strip()
    return _signals_fit(side, names)


def _signals_fit(side: SignalSide, names: str) -> tuple[str, str, str]:
    unread = _unread(side)
    if unread:
        return "short", "\u2717", f"Signals: not enough. {unread}"
    number = sum(signal.count for signal in side.signals_placed)
    pads = ", ".join(f"{label} at {place}" if place else label for label, place, _ in side.pads())
    keys = f"{plural(sum(key_counts(side.vehicle).values()), 'key')} on {pads}" if pads else ""
    spare = ", ".join(_pins_left(side)) or "none"
    items = f"{plural(number, 'signal')} on the pins of {names}, spare: {spare}" if number else ""
    words = "; ".join(filter(None, (items, keys)))
    return "enough", "\u2713", f"Signals: enough. {words[:1].upper()}{words[1:]} ({side.outcome})."


def _unread(side: SignalSide) -> str:
    bare = {place: n for place, n in key_counts(side.vehicle).items() if not side.keypads.get(place)}
    places = ", ".join(place or "no place" for place in bare)
    return f"{plural(sum(bare.values()), 'key')} at {places} without a keypad: the catalogue has none." if bare else ""


def _pins_left(side: SignalSide) -> Iterator[str]:
    left = side.allocation.free_pins if side.allocation else {}
    for box in side.boxes:
        yield f"{left.get(box.label, 0)} of {signal_pin_count(box.box)}" + (f" of {box.label}" if len(left) > 1 else "")


_PIN_HEADINGS = (*("signal", "kind", "at", "box and pin", "wire, mm\u00b2", "length, m ", "5 V", "ground"),)


def signal_sections(side: SignalSide) -> Html:
    """Signals and their pins, supplies, keys, bus, what is drawn when parked, and warnings.

    Parameters
    ----------
    side : SignalSide
        Boxes fitted.

    Returns
    -------
    Html
    """
    parts = [_pin_section(side), *_key_section(side), *_supply_section(side), *_bus_section(side)]
    return Html("".join([*parts, _parked_section(side), warnings(side.care())]))


def _pin_section(side: SignalSide) -> Html:
    rows = [_pin_row(row) for row in rows_of(side.pin_map())]
    body = table(_PIN_HEADINGS, rows, "pdm-pins", "pin and wire of each signal") if rows else tag("p", "none")
    return section(f"Signals on pins ({len(rows)})", body)


def _pin_row(row) -> list[object]:
    item = "" if row.item == 1 else f" #{row.item}"
    wire = row.wire if pd.isna(row.size_mm2) else f"{row.size_mm2:g} {row.wire}"
    pins = (f"{row.box} {row.connector} {row.pin}".replace("  ", " "), row.supply, row.ground)
    pin, supply, ground = (tag("span", text, "pdm-amount") for text in pins)
    kind = str(row.kind).replace("_", " ")
    return [tag("strong", f"{row.signal}{item}"), kind, row.place, pin, wire, _metres(row.length_m), supply, ground]


def _key_section(side: SignalSide) -> list[Html]:
    keys = [(tag("strong", name), key) for name, key in side.keys().items()]
    saved = side.saved_wires
    words = f"{saved.with_bus} wires to the keypads instead of {saved.one_per_switch}, one per key." if saved else ""
    return [section("Keys", [table(("input", "keypad"), keys), tag("p", words, "pdm-legend")])] if keys else []


def _supply_section(side: SignalSide) -> list[Html]:
    rows = [
        [row.box, row.pin, str(row.function).replace("_", " "), row.sensors, amount(row.current_a, "A"),
         "not known" if pd.isna(row.limit_a) else amount(row.limit_a, "A")]
        for row in rows_of(side.supplies())
    ]  # fmt: skip
    heads = ("box", "pin", "function", "sensors ", "current ", "limit ")
    return [section("Sensor supplies and grounds", table(heads, rows))] if rows else []


def _bus_section(side: SignalSide) -> list[Html]:
    if side.bus is None:
        return []
    rows = [[tag("strong", row.node), _metres(row.section_m), _metres(row.stub_m), _ohm(row.terminator_ohm)]
            for row in rows_of(side.trunk())]  # fmt: skip
    heads = ("node", "to the next, m ", "stub, m ", "terminator")
    trunk = f"{side.kbit} kbit/s, trunk {side.bus.trunk.length_m:.2f} m, {side.bus.mass_g:.0f} g."
    return [section("Bus", [tag("p", f"{trunk} {_bus_load(side)}".strip()), table(heads, rows), *_messages(side)])]


def _bus_load(side: SignalSide) -> str:
    assert side.bus is not None
    if side.bus.load is None:
        return "Its load is not known: the table messages is empty."
    return f"Load {100 * side.bus.load:.1f} % with worst-case bit stuffing."


def _messages(side: SignalSide) -> list[Html]:
    rows = [
        [tag("strong", row.message), f"{row.transmission_ms:.2f}", "no bound" if pd.isna(row.response_ms)
         else f"{row.response_ms:.2f}", f"{row.deadline_ms:g}", "yes" if row.in_time else "\u26a0 no"]
        for row in rows_of(side.messages())
    ]  # fmt: skip
    heads = ("message", "on the bus, ms ", "worst response, ms ", "deadline, ms ", "in time")
    return [table(heads, rows, "", "worst-case response times")] if rows else []


def _metres(value: float | None) -> str:
    return "" if value is None or pd.isna(value) else f"{value:.2f}"


def _ohm(value: float | None) -> str:
    return "" if value is None or pd.isna(value) else f"{value:g} \u03a9"


def _parked_section(side: SignalSide) -> Html:
    rows = [
        [tag("strong", row[0]), "not known" if pd.isna(row.draw_ma) else amount(row.draw_ma, "mA"),
         "" if pd.isna(row.days) else f"{row.days:.0f} days", row.note]
        for row in rows_of(side.parked())
    ]  # fmt: skip
    return section("Drawn when parked", table(("box or load", "draws ", "to the battery's floor ", "note"), rows))


class Signals:
    """The part behind the tab Pins and bus.

    Attributes
    ----------
    box : Widget
        Verdict, the choice of boxes, and the tables.
    """

    def __init__(self) -> None:
        self._verdict, self._choice, self._tables = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.box = widgets.VBox([self._verdict, self._choice, self._tables])
        self.box.add_class("pdm-body")

    def show(self, answer: Answer | None) -> None:
        """Show an answer; what is still being worked out stays pale."""
        said = signal_verdict(answer) if answer else None
        if answer is None or said is None:
            words = "No table signals, and no input says what reads it (read_by): there is no signal side."
            self._fill(tag("p", words) if answer else Html(""), Html(""))
        elif answer.side is not None:
            self._fill(tag("p", f"{said[1]} {said[2]}", f"pdm-beside pdm-{said[0]}"), signal_sections(answer.side))

    def _fill(self, verdict: Html, tables: Html) -> None:
        self._verdict.value, self._tables.value = verdict, tables
        self.box.remove_class("pdm-stale")

    def weigh(self, study: SignalSizing | None) -> None:
        """Show what every control unit came to, and the choice of modules, control units and keypads together."""
        self._choice.value = "" if study is None else tag("p", study.summary(), "pdm-signals")

    def stale(self) -> None:
        """Mark what is shown as of other tables."""
        self.box.add_class("pdm-stale")
