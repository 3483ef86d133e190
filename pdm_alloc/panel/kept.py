"""Allocations side by side: kept under names, compared with the present one, one of them taken as built."""

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import pandas as pd

from pdm_alloc.export.read_saved import Kept, Shelf, built_harness, harnesses, kept_file
from pdm_alloc.files.atomic import WriteError
from pdm_alloc.files.faults import InputError
from pdm_alloc.files.plain import vehicle_plain
from pdm_alloc.panel.answers import Answer, Question
from pdm_alloc.panel.markup import Html, amount, bar, plural, rows_of, said, table, tag
from pdm_alloc.result.allocation import Allocation
from pdm_alloc.result.channel_tables import LIMIT_KINDS
from pdm_alloc.studies.signal_sizing import has_signals
from pdm_alloc.studies.what_if import rework, side_by_side

__all__ = ["KeptAllocations"]


class KeptAllocations:
    """Keeps allocations under names, compares them, and says which one is built.

    Parameters
    ----------
    home : Path or None
        Folder or workbook of the vehicle; None: what is kept goes with the panel.
    answer : callable
        Gives the answer on the tables as they stand; None while it is awaited.
    go_back : callable
        Called with an allocation whose tables, module, place and settings are wanted back; what it returns is said.
    changed : callable
        Called when another allocation, or none, is built.
    lock : RLock, optional
        That of the tables, held by whoever shows an answer: no button acts on a list that is being drawn anew.

    Attributes
    ----------
    box : VBox
        The widget.
    """

    def __init__(
        self,
        home: Path | None,
        answer: Callable[[], Answer | None],
        go_back: Callable[[Allocation], str],
        changed: Callable[[], None],
        lock: "threading.RLock | None" = None,
    ):
        self._lock = threading.RLock() if lock is None else lock
        self._home, self._answer, self._go_back, self._changed = home, answer, go_back, changed
        self._notice, self._table, self._work = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self._shelf = Shelf(None)
        self._deleted: tuple[Kept, ...] = ()
        self._shown: Answer | None = None
        self._lasting = " It lasts as long as this panel."
        with self._saying():
            self._shelf = Shelf(home and kept_file(home))
            self._lasting = "" if home else self._lasting
        self._name = _text("name of the new one", "such as lamps on their own")
        self._other = _text("new name", "")
        self._chosen = _choice("kept allocation")
        self._chosen.observe(lambda _: self._choose(), "value")
        self._harness = _choice("saved in this folder")
        self._back = self._button("Bring it back", "what was deleted last", self._bring_back)
        self.box = self._laid_out()
        self._draw()

    @property
    def built(self) -> Allocation | None:
        """The allocation that is built, without its signal side; None where none is."""
        kept = self._shelf[self._shelf.built]
        return kept.allocation.with_signals(None) if kept and kept.allocation else None

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all that are kept, in the order kept."""
        return tuple(kept.name for kept in self._shelf.kept)

    def keep(self, name: str = "") -> None:
        """Keep the present allocation; the first one kept is taken as built.

        Parameters
        ----------
        name : str
            Empty: that of its module. A name that is taken gets a number.
        """
        answer = self._answer()
        allocation = _present(answer)
        if answer is None or allocation is None:
            self._say("There is no allocation to keep: the verdict is awaited, or it is not enough.", is_fault=True)
            return
        with self._saying():
            self._take(name.strip() or answer.question.module.name, allocation, not self._shelf.built)

    def show(self, answer: Answer | None) -> None:
        """Compare with an answer; None where there is none."""
        with self._saying():
            self._shelf.read()
        self._shown = answer
        self._table.remove_class("pdm-stale")
        self._draw()

    def stale(self) -> None:
        """Mark what is shown as old."""
        self._table.add_class("pdm-stale")

    def static(self) -> Html:
        """What stays of the comparison in a saved notebook; empty where nothing is kept."""
        return Html(self._table.value) if self._shelf.kept else Html("")

    def _take(self, name: str, allocation: Allocation, is_built: bool) -> None:
        self._shelf.read()
        self._shown = self._answer() or self._shown
        kept = Kept(self._shelf.free(name), allocation)
        self._put((*self._shelf.kept, kept), kept.name if is_built else self._shelf.built)
        self._name.value = ""
        self._chosen.value = kept.name
        built = f" What is built is {self._shelf.built}." if self._shelf.built else ""
        given = f" {kept.verdict.capitalize()}." if allocation.conditions else ""
        if allocation.signals is None and has_signals(allocation.vehicle):
            given += " Its signals are not in it: they were not worked out yet, or their boxes are not enough."
        self._say(f"Kept as {kept.name}.{' It counts as built.' if is_built else built}{given}{self._lasting}")

    def _put(self, kept: Sequence[Kept], built: str) -> None:
        before = self.built
        self._shelf.put(kept, built)
        self._draw()
        if self.built != before:
            self._changed()

    def _return(self) -> None:
        kept = self._selected()
        if kept is not None and kept.allocation is not None:
            self._say(f"Back to {kept.name}. {self._go_back(kept.allocation)}".strip())

    def _build(self) -> None:
        kept = self._selected()
        if kept is not None and kept.allocation is not None:
            self._put(self._shelf.kept, kept.name)
            self._say(f"{kept.name} counts as built.")

    def _unbuild(self) -> None:
        self._put(self._shelf.kept, "")
        self._say("Nothing counts as built.")

    def _rename(self) -> None:
        kept, name = self._selected(), self._other.value.strip()
        if kept is None or not name or name in self.names:
            taken = f"{name} is the name of another one." if name in self.names else "Write the new name first."
            self._say(taken, is_fault=True)
            return
        named = Kept(name, kept.allocation, kept.why, kept.document)
        built = name if self._shelf.built == kept.name else self._shelf.built
        self._put([named if one is kept else one for one in self._shelf.kept], built)
        self._chosen.value, self._other.value = name, ""
        self._say(f"{kept.name} is now {name}.")

    def _delete(self) -> None:
        kept = self._selected()
        if kept is not None:
            self._put([one for one in self._shelf.kept if one is not kept], self._shelf.built)
            self._deleted = (*self._deleted, kept)
            self._back.layout.display = ""
            self._say(f"Deleted {kept.name}.")

    def _bring_back(self) -> None:
        *rest, kept = self._deleted
        self._deleted = tuple(rest)
        self._back.layout.display = "" if rest else "none"
        again = Kept(self._shelf.free(kept.name), kept.allocation, kept.why, kept.document)
        self._put((*self._shelf.kept, again), self._shelf.built)
        self._say(f"{again.name} is back.")

    def _load(self) -> None:
        if self._home is not None and self._harness.value:
            name = self._harness.value
            self._take(name, built_harness(self._home, name), True)

    def _selected(self) -> Kept | None:
        """The one chosen, as the file has it now."""
        self._shelf.read()
        return self._shelf[self._chosen.value or ""]

    def _say(self, words: str, is_fault: bool = False) -> None:
        self._notice.value = said(words, is_fault)

    @contextmanager
    def _saying(self) -> Iterator[None]:
        """Say why files could not be read or written."""
        try:
            yield
        except (InputError, WriteError, OSError) as fault:
            self._say(str(fault), is_fault=True)

    def _button(self, words: str, tooltip: str, act: Callable[[], None]) -> widgets.Button:
        def clicked(_: object) -> None:
            with self._lock, self._saying():
                act()

        button = widgets.Button(description=words, tooltip=tooltip)
        button.layout.width = "auto"
        button.on_click(clicked)
        return button

    def _laid_out(self) -> widgets.VBox:
        self._back.layout.display = "none"
        button = self._button
        first = [self._name, button("Keep the present one", "", lambda: self.keep(self._name.value))]
        second = [
            self._chosen,
            button("Go back to it", "its tables, module, place and settings", self._return),
            button("It is built", "as few of its wires as possible are moved from now on", self._build),
            button("Nothing is built", "the allocation is free again", self._unbuild),
            button("Delete", "it can be brought back as long as the panel is open", self._delete),
            self._back,
        ]
        third = [self._other, button("Rename", "", self._rename)]
        loading = [self._harness, button("Load as built", "a saved allocation in the vehicle's folder", self._load)]
        rows = [widgets.HBox(line) for line in (first, second, third, loading)]
        self._loading = rows[-1]
        for row in rows:
            row.add_class("pdm-controls")
        return widgets.VBox([*rows, self._notice, self._table, self._work])

    def _draw(self) -> None:
        chosen = self._chosen.value
        self._chosen.options = self.names
        self._chosen.value = chosen if chosen in self.names else next(iter(self.names[-1:]), None)
        names, value = harnesses(self._home) if self._home else (), self._harness.value
        self._harness.options = [("choose one", ""), *((name, name) for name in names)]
        self._harness.value = value if value in names else ""
        self._loading.layout.display = "" if names else "none"
        self._table.value = compared(self._shelf.kept, self._shelf.built, self._shown)
        self._choose()

    def _choose(self) -> None:
        self._work.value = reworked(self._shelf[self._shelf.built], self._shelf[self._chosen.value or ""])


def _text(words: str, example: str) -> widgets.Text:
    field = widgets.Text(description=words, placeholder=example, continuous_update=False)
    field.style.description_width = "initial"
    return field


def _choice(words: str) -> widgets.Dropdown:
    choice = widgets.Dropdown(description=words)
    choice.style.description_width, choice.layout.width = "initial", "auto"
    return choice


_NOW = "now, not kept"


def _present(answer: Answer | None) -> Allocation | None:
    """The allocation of an answer, or that without margins and guesses, and its signals where boxes are enough."""
    allocation = (answer.allocation or answer.allocation_if) if answer else None
    return allocation.with_signals(answer.side) if allocation and answer and answer.side else allocation


def _alike(allocations: Mapping[str, Allocation]) -> dict[str, Allocation]:
    """With their signal sides where all have one: beside one that has none, every signal would count as rewired."""
    have_all = all(one.signals for one in allocations.values())
    return {name: one if have_all else one.with_signals(None) for name, one in allocations.items()}


def compared(kept: Sequence[Kept], built: str, answer: Answer | None) -> Html:
    """One column per allocation, the present one first: module, price, mass, spare channels, headroom, rework.

    Parameters
    ----------
    kept : sequence of Kept
        In the order shown; those that cannot be used say why.
    built : str
        Name of the one that is built; empty: none is.
    answer : Answer or None
        The latest.

    Returns
    -------
    Html
    """
    now = [Kept(_NOW, present)] if (present := _present(answer)) else []
    columns = [*now, *(one for one in kept if one.allocation is not None)]
    lost = [
        tag("p", f"\u26a0 {one.name} cannot be used: {one.why}", "pdm-refusal") for one in kept if not one.allocation
    ]
    if not kept:
        words = "Nothing is kept yet. Keep the present allocation under a name, change something, and compare."
        return Html(tag("p", words) + (_compared(columns, "", answer) if columns else ""))
    return Html("".join([*lost, _compared(columns, built, answer) if columns else ""]))


def _compared(columns: Sequence[Kept], built: str, answer: Answer | None) -> Html:
    allocations = {one.name: one.allocation for one in columns if one.allocation is not None}
    alike = _alike(allocations)
    rows = list(rows_of(side_by_side(alike, built)))
    cut = any(one.signals for one in allocations.values()) and not any(one.signals for one in alike.values())
    of = ", without control units, keypads and signal wires, which not all have" if cut else ""
    heads = ["", *(f"{one.name} (built)" if one.name == built else one.name for one in columns)]
    lines: list[list[object]] = [
        ["verdict", *(one.verdict for one in columns)],
        ["module", *(row.modules for row in rows)],
        ["mounted at", *(row.places or "not decided" for row in rows)],
        *_unit_line([_units(one) for one in allocations.values()]),
        [f"price{of}", *_scaled([row.price for row in rows], "")],
        [f"mass{of}", *_scaled([row.mass_g / 1000 for row in rows], "kg")],
        ["of which wire and cable", *_scaled([row.harness_g / 1000 for row in rows], "kg")],
        ["spare channels", *_scaled([float(row.spare) for row in rows], "")],
        *([f"least headroom: {kind}", *(_margin(one, kind) for one in columns)] for kind in LIMIT_KINDS),
        ["warnings", *(one.warnings for one in columns)],
        ["to rewire", *(_rewire(row) for row in rows)],
        ["its tables", *(_differing(one, answer.question if answer else None) for one in columns)],
    ]
    return table(heads, [[tag("strong", name), *cells] for name, *cells in lines], "pdm-kept", "allocations compared")


def _scaled(values: list[float], unit: str) -> list[object]:
    """Each value with a bar as long as it is against the largest."""
    known = [value for value in values if not pd.isna(value)]
    return [_length(value, max(known), unit) if not pd.isna(value) else "not known" for value in values]


def _length(value: float, largest: float, unit: str) -> list[Html]:
    words = amount(value, unit)
    wide = round(70 * value / largest, 1) if largest else 0
    parts = f'<title>{words}</title><rect class="pdm-free" width="70" height="7"/>'
    parts += f'<rect class="pdm-use" width="{wide}" height="7"/>'
    picture = Html(f'<svg class="pdm-bar" role="img" width="70" height="7">{parts}</svg>')
    return [tag("div", words, "pdm-amount"), picture]


def _margin(one: Kept, kind: str) -> object:
    if kind not in one.headroom:
        return "no such limit" if kind == "bank" else "not known"
    left, where = one.headroom[kind]
    words = f"{left:.0f} %"
    return [tag("div", words, "pdm-amount"), bar(100 - left, label=f"{words} left on {where}", full=70),
            tag("div", where, "pdm-soft")]  # fmt: skip


def _units(allocation: Allocation) -> str:
    """Control units, expanders and keypads, and where they are."""
    names = {unit.label for unit in allocation.units}
    nodes = allocation.signals.nodes.items() if allocation.signals else ()
    return ", ".join(f"{label} at {place}" if place else label for label, place in nodes if label not in names)


def _unit_line(cells: list[str]) -> list[list[object]]:
    return [["control units", *cells]] if any(cells) else []


def _rewire(row: Any) -> str:
    if pd.isna(row.moved):
        return "nothing is built"
    numbers = [(row.moved, "moved"), (row.added, "added"), (row.removed, "removed")]
    return ", ".join(f"{n} {word}" for n, word in numbers if n) or "nothing"


def _differing(one: Kept, question: Question | None) -> str:
    """Tables of a kept allocation that are not the present ones."""
    if one.name == _NOW or question is None or one.allocation is None:
        return "as they stand" if one.name == _NOW else ""
    now = vehicle_plain(question.vehicle)
    differ = [name for name in {**one.tables, **now} if one.tables.get(name, []) != now.get(name, [])]
    return f"{', '.join(sorted(differ))} differ from the present ones" if differ else "as they stand"


def reworked(built: Kept | None, one: Kept | None) -> Html:
    """What is to be done to get from what is built to one of those kept."""
    if built is None or one is None or not built.allocation or not one.allocation or one.allocation == built.allocation:
        return Html("")
    before, after = _alike({"built": built.allocation, "then": one.allocation}).values()
    rows = [(r.action, r.subject, r.from_channel, r.to_channel, r.before, r.after)
            for r in rows_of(rework(before, after))]  # fmt: skip
    words = f"What is to be done from the built one to {one.name}: {plural(len(rows), 'step')}"
    body = table(("what", "subject", "from channel", "to channel", "before", "after"), rows, "", "rework")
    return tag("details", [tag("summary", words), body])
