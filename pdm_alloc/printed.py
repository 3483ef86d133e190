"""What the commands print: aligned tables and sentences for people, JSON for machines."""

import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Progress",
    "care",
    "control_json",
    "control_placing",
    "control_site_lines",
    "counts",
    "dangers",
    "found",
    "next_step",
    "placing",
    "print_json",
    "reason_lines",
    "records",
    "refusal_json",
    "signal_code",
    "signal_lines",
    "study_json",
    "study_lines",
    "text",
    "why",
    "written",
]


EVERY_S = 15.0  # between lines of progress where there is no terminal


def study_lines(study, everything: bool):
    """The table, the answer, and why each module and control unit that is not enough is not."""
    table = study.verdicts if study.signals is None else study.answers
    yield from (text(table), "") if len(table) else ()  # none where no module was tried in time
    yield study.summary()
    for explanation in study.explanations.values():
        yield from ("", *why(explanation, everything))
    lines = [] if study.signals is None else study.signals.why(everything)
    yield from ("", *lines) if lines else ()


def counts(vehicle, catalogue) -> dict:
    """How much there is in a vehicle and a catalogue (or None)."""
    return {
        "loads": len(vehicle.loads),
        "items": sum(x.count for x in vehicle.loads),
        "commands": len({x.command for x in vehicle.loads}),
        "states": [s.name for s in vehicle.states],
        "modules": [m.name for m in catalogue] if catalogue else [],
    }


def study_json(study, everything: bool) -> dict:
    """A study over a catalogue as plain values; with everything, why each module that is not enough is not."""
    plain = {"smallest": study.smallest, "verdicts": records(study.verdicts), "pairs": records(study.pairs)}
    if everything:
        plain["refusals"] = {name: refusal_json(e) for name, e in study.explanations.items()}
    return plain if study.signals is None else plain | {"signals": signal_study_json(study.signals)}


def allocation_json(allocation, side) -> dict:
    """An allocation as plain values, with the signal side where there is one."""
    plain = {
        "outcome": allocation.outcome,
        "gap": allocation.gap,
        "modules": [{"module": unit.label, "place": unit.place} for unit in allocation.units],
        "channels": records(allocation.channels),
        "assignments": records(allocation.assignments),
        "spare": records(allocation.spare),
        "warnings": records(allocation.warnings),
    }
    return plain if side is None else plain | {"signals": side.as_plain()}


def signal_lines(side):
    """The pin map of the signal side, and what is to be said of it; nothing where there is none."""
    if side is None:
        return
    if side:
        yield from ("", text(side.pin_map()[["box", "connector", "pin", "signal", "item", "kind", "place", "wire"]]))
    yield from ("", side.summary())
    broken = [w for w in side.care() if w.subject.startswith("bus, ")]
    yield from (f"{w.severity}, {w.code}: {w.sentence} {w.remedy}" for w in broken)
    if len(side.messages()):
        yield from ("", text(side.messages()))


def control_placing(side) -> str:
    """Where control units are taken to sit because no place was given."""
    at = [f"{box.label} at {box.place}" for box in side.boxes if box.box.role != "module" and box.place]
    if not at:
        return "no place for the control units: lengths of their wires are not known; give --control-place"
    whose = "its" if len(at) == 1 else "their"
    return f"{', '.join(at)}, where {whose} wires are lightest; --control-place names another"


def control_json(together, side, sites) -> dict:
    """The signal side of a study of places as plain values: what is best together, wires by place, and the side."""
    plain = {"control_places": None if sites is None else records(sites), "signals": side.as_plain()}
    if together is None:
        return plain
    modules = [{"module": unit.module.name, "place": unit.place} for unit in together.choice.units]
    pads = [{"keypad": pad.name, "place": place} for _, place, pad in together.side.pads()]
    boxes = [b for b in plain["signals"]["boxes"] if b["box"] not in {unit["module"] for unit in modules}]
    chosen = {"modules": modules, "boxes": boxes, "keypads": pads, "outcome": together.outcome}
    return {"together": {**chosen, "price": together.price, "mass_g": together.mass_g}, **plain}


def control_site_lines(together, side, sites):
    """What is best together, and what the wires of the signal side weigh at each place; nothing where there is none."""
    if side is None:
        return
    yield from ("", side.summary())
    yield from ("", str(together)) if together is not None else ()
    if sites is not None and len(sites):
        yield from ("", text(sites.head(_SITES)))
        best = sites.iloc[0]
        grams = f"{best.mass_g:.0f} g with a trunk of {best.trunk_m:.1f} m"
        yield from ("", f"Wires of the signal side are lightest with {best.boxes} at {best.places}: {grams}.")


_SITES = 8


def reason_lines(reasons):
    """Why choices are not enough, a line per cause; nothing where all are."""
    if len(reasons):
        yield from ("", "Why choices are not enough, what most of them lack first:")
        yield from (f"  {row.number} ({row.where}): {row.cause}" for row in reasons.itertuples())


def signal_code(side) -> int:
    """Exit code of the signal side: 0 enough, none or not judged; 1 not enough; 3 no answer in time."""
    if side is None or side or side.outcome == "not judged":
        return 0
    return 1 if side.outcome == "not enough" else 3


def signal_study_json(signals) -> dict:
    """A study over control units as plain values, with what is short and every remedy that was looked for."""
    choice = signals.choice
    plain = {"outcome": signals.outcome, "smallest": signals.smallest, "verdicts": records(signals.verdicts)}
    plain["together"] = None if choice is None or not choice.allocation else _choice_json(choice, signals.by)
    plain["shortfalls"] = {name: records(short.table()) for name, short in signals.shortfalls.items()}
    ways = {name: [_remedy_json(remedy) for remedy in some] for name, some in signals.remedies.items()}
    return plain | {"remedies": ways}


def _choice_json(choice, by: str) -> dict:
    pads = [{"keypad": pad.name, "place": place} for place, pads in choice.keypads.items() for pad in pads]
    boxes = [box.name for box in choice.boxes]
    return {"modules": choice.modules, "boxes": boxes, "keypads": pads, by: choice.cost, "outcome": choice.outcome}


def _remedy_json(remedy) -> dict:
    ladders = [
        {"switches": list(keys), "resistors_ohm": list(ladder.resistors_ohm), "pull_up_ohm": ladder.pull_up_ohm}
        | {"steps": [{"closed": [keys[n] for n in step.closed], "low": step.low, "high": step.high} for step in steps]}
        for _, keys, ladder in remedy.ladders
        for steps in [ladder.steps]
    ]
    plain = {"kind": remedy.kind, "do": remedy.sentence, "moved": list(remedy.moved), "bought": list(remedy.bought)}
    return plain | ({"ladders": ladders} if ladders else {})


def refusal_json(explanation) -> dict:
    """Why units are not enough, as plain values."""
    tables = {"shortfall": records(explanation.shortfall), "concessions": records(explanation.concessions)}
    tables["wires"] = list(explanation.wires)
    tables |= {"concessions_left_open": explanation.left_open, "why_no_concessions": explanation.why_none}
    verdict = {"verdict": explanation.verdict, "conditions": list(explanation.conditions)}
    return {"outcome": explanation.outcome, **verdict, "why": explanation.why(), **tables}


def why(explanation, everything: bool):
    """What is short and what could be given up: a line each, or all of it."""
    if not everything:
        yield explanation.summary()
        return
    yield explanation.sentence()
    yield from _shortfall_lines(explanation.shorts)
    if explanation.conditions and explanation.growth.may_be_less:  # the sentence told the conditions alone
        yield f"  {explanation.growth.may_be_less.removeprefix('; ')}"
    yield from (f"  its wire: {words}" for words in explanation.wires)
    yield from _concession_lines(explanation)


def _shortfall_lines(shorts):
    for short in shorts:
        label = "if everything else were met" if short.group == 0 else "enough with all of"
        by = f" (for {short.needed_by})" if short.needed_by else ""
        yield f"  {label}: {short.sentence}{by}"


def _concession_lines(explanation):
    if not explanation.concession_sets and not explanation.left_open:
        yield f"  {explanation.why_none or 'no set of concessions on offer makes it enough'}"
    table = explanation.concessions
    for rank, rows in table.groupby("rank"):
        yield f"  or give up, set {rank} (weight {rows.set_weight.iloc[0]}):"
        yield from (f"    {row.kind}: {row.detail}" for row in rows.itertuples())
        likewise = rows.likewise.iloc[0]
        yield from [f"    likewise: {likewise}"] if likewise else []
    if explanation.left_open:
        yield f"  {explanation.left_open}"


def chain(vehicle, load: str, units, as_json: bool) -> None:
    """Print what a load asks of a channel; `InputError` where there is no such load."""
    from pdm_alloc.diagnose.bearing import why
    from pdm_alloc.domain.showing import UnknownName
    from pdm_alloc.files.faults import Fault, InputError

    try:
        steps = why(vehicle, load, units)
    except UnknownName as error:
        raise InputError([Fault("loads", None, "load", load, str(error))]) from None
    print_json(records(steps.table)) if as_json else print(steps)


def care(warnings: "pd.DataFrame"):
    """Every danger, and how many warnings and notes there are beside."""
    for row in warnings[warnings.severity == "danger"].itertuples():
        yield f"danger, {row.code}: {row.sentence} {row.remedy}"
    counts = [(name, int((warnings.severity == name).sum())) for name in ("warning", "note")]
    said = " and ".join(f"{n} {name}{'s' * (n != 1)}" for name, n in counts if n)
    if said:
        yield f"{said}: in the documents (--out) and in --json. Have a qualified person check the wiring."


def dangers(warnings):
    """Every danger among rules of care, a line each."""
    return [f"danger, {w.code}: {w.sentence} {w.remedy}" for w in warnings if w.severity == "danger"]


def written(paths: list[Path], folder: Path) -> str:
    """The files a builder opens, and how many more there are."""
    first = sorted(p.name for p in paths if p.parent == folder)
    return f"Wrote {len(paths)} files to {folder}: {', '.join(first)} and, in folders, every table."


def records(table: "pd.DataFrame") -> list[dict]:
    """A row a dict."""
    return json.loads(table.to_json(orient="records"))


def print_json(value) -> None:
    """Print plain values, escaped where the terminal has no letters for them."""
    unicode = "utf" in (getattr(sys.stdout, "encoding", None) or "utf-8").lower()
    print(json.dumps(value, indent=2, ensure_ascii=not unicode))


def text(table: "pd.DataFrame") -> str:
    """A table in aligned columns."""
    shown = table.astype(object).where(table.notna(), "-")
    return shown.to_string(index=False, max_colwidth=60)


def found(allocation) -> str:
    """What was found, before documents are written that take long."""
    number = len(allocation.circuits)
    return f"found {number} circuits ({allocation.outcome}); their documents take a while, pages most of it"


def placing(search) -> str:
    """Where units are taken to be mounted because no place was given, or what stays open without one."""
    places = list(dict.fromkeys(unit.place for choice in search.choices for unit in choice.units))
    named = ", ".join(places)
    if search.best is None:
        tried = f"at none of its places ({named}) is it known to be enough"
        return f"{tried}; lengths and voltage drops are not judged: give --place to see what is short"
    from pdm_alloc.studies.mounting_search import unreached

    least = "lightest of those judged in time" if any(search.undecided()) else "lightest"
    apart = unreached(search.vehicle, search.best.units)
    doubt = f"; not to be relied on: {apart}; give routes" if apart else ""
    return f"{search.best.label}, where the harness is {least} (of {named}); --place names another{doubt}"


def next_step(options, folder: Path) -> str:
    """What to do with the tables that were written."""
    if options.demo:
        return f"try pdm-alloc size {folder / 'rally_coupe'}"
    tables = "modules.csv and channels.csv" if options.catalogue else "loads.csv"
    return f"fill in {tables} first; columns.md explains every column."


class Progress:
    """A bar on standard error while someone is watching; otherwise a line now and then once it takes long."""

    def __init__(self, total: int | None, quiet: bool, unit: str = "module", every_s: float = EVERY_S):
        self._quiet, self._shown = quiet, not quiet and sys.stderr.isatty()
        self._total, self._unit, self._every_s = total, unit, every_s
        self._count, self._said_s = 0, time.monotonic()
        self._bar: Any = None

    def __enter__(self):
        if self._shown:
            from tqdm import tqdm

            self._bar = tqdm(total=self._total, unit=self._unit, leave=False)
        return self._step

    def _step(self, what: str) -> None:
        if self._bar is not None:
            self._bar.set_description(what)
            self._bar.update()
        elif not self._quiet and time.monotonic() - self._said_s >= self._every_s:
            print(f"pdm-alloc: {self._at()}{what}", file=sys.stderr, flush=True)
            self._said_s = time.monotonic()
        self._count += 1

    def _at(self) -> str:
        """Which one it is; nothing for pairs and reasons, of which it is not known beforehand how many there are."""
        if self._total is None:
            return f"{self._unit} {self._count + 1}: "
        return f"{self._unit} {self._count + 1} of {self._total}: " if self._count < self._total else ""

    def __exit__(self, *_):
        if self._bar is not None:
            self._bar.close()
