"""What the verbs of the command line do."""

import argparse
import contextlib
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from pdm_alloc import printed
from pdm_alloc.domain.module import Catalogue, Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.cells import clean
from pdm_alloc.files.faults import InputError, Unread, merged
from pdm_alloc.files.sources import is_catalogue
from pdm_alloc.files.tables.read_catalogue import fitted, read_catalogue
from pdm_alloc.files.tables.read_vehicle import read_vehicle
from pdm_alloc.files.tables.references import check_against

if TYPE_CHECKING:
    from pdm_alloc.program.solver import Clock

__all__ = ["run"]

DONE, SHORT, UNUSABLE, NO_ANSWER = 0, 1, 2, 3
TERMINATED = 143  # as the shell numbers this signal
_SEARCH = 0.75  # of the time of a study of places for the search itself, the rest for signals and reasons
_MANY = 300  # circuits: their documents take ten seconds and more, without a word until then
_SHOWN = 12  # choices of modules and places
_ENDING_S = 0.5  # to say that there is no answer, and to end
_LOADING_S = 1.2  # of processor time, to load what solves, on a busy machine
_AFTER_READING = 3.0  # times as long as reading what follows an answer takes: 5,000 loads, 2.9 s and 8.6 s


def run(options: argparse.Namespace) -> int:
    """Run the verb; every fault of the input ends as lines on standard error and exit code 2."""
    verbs = {"check": _check, "size": _size, "allocate": _allocate, "compare": _compare, "panel": _panel, "new": _new}
    try:
        return verbs[options.verb](options)
    except InputError as error:
        return _refuse(options, error)
    except Unread as why:
        return _no_answer(options, why, "no answer in time")
    except OSError as error:
        if error.filename is None:  # no file, but what is printed to
            raise
        print(f"pdm-alloc: {error.filename}: {error.strerror}", file=sys.stderr)
        return UNUSABLE
    except ModuleNotFoundError as error:
        if "pip install" not in str(error):  # not an extra that is left out, but a broken installation
            raise
        print(f"pdm-alloc: {error}", file=sys.stderr)
        return UNUSABLE


def _refuse(options, error: InputError) -> int:
    print(error, file=sys.stderr)
    if getattr(options, "json", False):
        printed.print_json({"outcome": "unusable input", "faults": [_fault_row(f) for f in error.faults]})
    return UNUSABLE


def _fault_row(fault) -> dict:
    return {name: getattr(fault, name) for name in ("table", "row", "column", "value", "message", "remedy")}


def _inputs(options, needed: bool, notes: list | None = None) -> tuple[Vehicle, Catalogue | None]:
    """Both, with the faults of both at once."""
    path = _catalogue_path(options, needed)
    faults: list = []
    others: list = []
    noted: list = []
    catalogue = _read(read_catalogue, path, others, noted, _too_late(options)) if path else None
    boxes = 1 if catalogue is None else catalogue.to_judge
    late = _too_late(options)
    vehicle = _read(read_vehicle, Path(options.vehicle), faults, notes, late and partial(late, boxes))
    faults += others
    if notes is not None:
        notes += noted
    if vehicle is not None and catalogue is not None:
        faults += check_against(vehicle, catalogue)
    if faults or vehicle is None:
        raise InputError(faults)
    return vehicle, catalogue


def _read(reader, path, faults, notes, late):
    try:
        return reader(path, notes, late)
    except InputError as error:
        faults.extend(error.faults)
        return None


def _catalogue_path(options, needed: bool) -> Path | None:
    if options.catalogue:
        return Path(options.catalogue)
    beside = Path(options.vehicle).resolve().parent / "catalogue"
    found = next((p for p in (beside, beside.with_suffix(".xlsx")) if p.exists()), None)
    return beside if found is None and needed else found


def _check(options) -> int:
    from pdm_alloc.files.write_tables import vehicle_summary

    if is_catalogue(options.vehicle):
        return _check_catalogue(options)
    notes: list = []
    vehicle, catalogue = _inputs(options, needed=False, notes=notes)
    if options.json:
        counts = {"vehicle": vehicle.name, **printed.counts(vehicle, catalogue)}
        printed.print_json({"outcome": "usable", **counts, "notes": [_fault_row(note) for note in notes]})
        return DONE
    print(vehicle_summary(vehicle, catalogue), *_note_lines(notes), sep="\n")
    return DONE


def _check_catalogue(options) -> int:
    notes: list = []
    catalogue = read_catalogue(Path(options.vehicle), notes)
    modules = [module.name for module in catalogue]
    if options.json:
        printed.print_json({"outcome": "usable", "modules": modules, "notes": [_fault_row(note) for note in notes]})
        return DONE
    print(f"catalogue {catalogue.name}: no fault found.", ", ".join(modules), *_note_lines(notes), sep="\n")
    return DONE


def _note_lines(notes) -> list[str]:
    return [f"note: {line}" for line in merged(notes)]


def _noted_inputs(options) -> tuple[Vehicle, Catalogue]:
    """Both; what was passed over or read in one of several ways is told on standard error."""
    notes: list = []
    before = time.monotonic()
    vehicle, catalogue = _inputs(options, needed=True, notes=notes)
    assert catalogue is not None
    if not options.json:
        for line in _note_lines(notes):
            print(line, file=sys.stderr)
    options.reading = time.monotonic() - before
    if options.time_limit is not None and _left_s(options, catalogue.to_judge) < _least_s(options.reading):
        raise Unread
    return vehicle, catalogue


def _least_s(reading_s: float) -> float:
    """Processor time without which nothing need be begun: to load what solves, look at every load, and end."""
    return _ENDING_S + reading_s + (0 if "pdm_alloc.allocator" in sys.modules else _LOADING_S)


def _too_late(options) -> Callable[[int], bool] | None:
    """Whether a command has had its limit, a fifth and two seconds, for so many boxes; None where it has no limit."""
    if getattr(options, "time_limit", None) is None:
        return None
    return lambda boxes: _left_s(options, boxes) < _ENDING_S


def _left_s(options, boxes: int) -> float:
    """What is left of the limit, a fifth and two seconds, s."""
    return 1.2 * _whole_limit_s(options, boxes) + 2.0 - (time.monotonic() - options.started)


def _whole_limit_s(options, boxes: int) -> float:
    """The limit given: `size` has it for each module and control unit."""
    return options.time_limit * (boxes if options.verb == "size" else 1)


def _solving_s(options, limit_s: float) -> float:
    """What is left of a limit once the tables are read.

    A limit holds within a fifth and two seconds for the whole command: what reading takes beyond that comes off, and
    what recounting, warnings and the pin map will take, about three times as long, where that leaves half of it.
    """
    left_s = 1.2 * limit_s + 2.0 - (time.monotonic() - options.started)
    after_s = _AFTER_READING * options.reading
    return max(0.0, min(limit_s, max(limit_s / 2, left_s - after_s), left_s - _ENDING_S))


def _size(options) -> int:
    vehicle, catalogue = _noted_inputs(options)
    from pdm_alloc.studies.sizing import size

    if options.places:
        return _size_places(options, vehicle, catalogue)
    with printed.Progress(len(catalogue), options.json) as bar:
        how = {"strategy": options.strategy, "time_limit_s": options.time_limit, "why": options.why}
        whole = _whole(options, catalogue)
        study = size(vehicle, catalogue, progress=bar, stop=None if whole is None else whole.is_over, **how)
    if options.json:
        printed.print_json(printed.study_json(study, options.why))
        return _code(study)
    print(*printed.study_lines(study, options.why), sep="\n")
    return _code(study)


def _whole(options, catalogue: Catalogue) -> "Clock | None":
    """The clock of a whole study, where a limit was given."""
    if options.time_limit is None:
        return None
    from pdm_alloc.program.solver import Clock

    return Clock(_solving_s(options, _whole_limit_s(options, catalogue.to_judge)))


def _limit_left_s(options, whole: "Clock | None") -> float | None:
    """The limit given, or what is left of the whole study where that is less."""
    return None if whole is None else min(options.time_limit, whole.left_s)


def _code(study) -> int:
    if study.is_enough:
        return DONE
    return SHORT if study.is_proved_short else NO_ANSWER


def _size_places(options, vehicle: Vehicle, catalogue: Catalogue) -> int:
    from pdm_alloc.result.allocation import Unsolved
    from pdm_alloc.studies.mounting import mounted, search_places
    from pdm_alloc.studies.mounting_search import workers

    try:
        with workers(options.jobs) as run, printed.Progress(None, options.json, "choice") as bar:
            whole = _whole(options, catalogue)
            stop = None if whole is None else whole.part(_SEARCH).is_over
            how = {"time_limit_s": options.time_limit, "stop": stop}
            search = search_places(vehicle, catalogue, options.objective, executor=run, progress=bar, **how)
            study = mounted(search)
    except ValueError as error:
        return _no_answer(options, error, "unusable input", UNUSABLE)
    except Unsolved as refusal:
        return _no_answer(options, refusal, refusal.outcome)
    together, side, sites = _control_sites(search, study, catalogue, lambda: _limit_left_s(options, whole))
    reasons = study.reasons(_limit_left_s(options, whole))
    if options.json:
        plain = {"choices": printed.records(study.choices), "reasons": printed.records(reasons)}
        plain |= {"warnings": [asdict(w) for w in study.warnings]}
        signals = {} if side is None else printed.control_json(together, side, sites)
        printed.print_json({"best": study.best and study.best.label, **plain, **signals})
    else:
        print(printed.text(study.choices.head(_SHOWN)), study.summary(), sep="\n\n")
        print(*printed.reason_lines(reasons), sep="\n")
        print(*printed.dangers(study.warnings), "", study.conventional_summary(), sep="\n")
        print(*printed.control_site_lines(together, side, sites), sep="\n")
    short = SHORT if study.outcome == "not enough" else NO_ANSWER
    return printed.signal_code(side) if study.is_enough else short


def _control_sites(search, study, catalogue, limit_s: Callable[[], float | None]):
    """What is best together, the signal side of it (or beside the best modules alone), and its wires by place."""
    from pdm_alloc.studies.signal_places import choose_together, control_places, signals_beside

    if not study.best:
        return None, None, None
    together, best = choose_together(search, catalogue, limit_s()), study.best.units
    side = together.side if together else signals_beside(search.vehicle, catalogue, best, time_limit_s=limit_s())
    return together, side, control_places(side) if side else None


def _allocate(options) -> int:
    vehicle, catalogue = _noted_inputs(options)
    from pdm_alloc.allocator import allocate
    from pdm_alloc.program.solver import Clock
    from pdm_alloc.result.allocation import NotEnough, Unsolved
    from pdm_alloc.studies.signal_sizing import has_signals

    for words in (options.module, options.place, options.control_unit, options.control_place):
        words[:] = [clean(word) for word in words]  # as names are read: pasted ones bring spaces that nobody sees
    units = fitted(vehicle, catalogue, options.module, options.place)
    if options.why:
        printed.chain(vehicle, options.why, units, options.json)
        return DONE
    limit_s = vehicle.settings.time_limit_s if options.time_limit is None else options.time_limit
    clock = Clock(_solving_s(options, limit_s))
    units = _at_places(options, vehicle, units, clock.part(0.5).left_s)
    before_signals = clock.part(0.9 if has_signals(vehicle) else 1)
    try:
        allocation = allocate(vehicle, units, strategy=options.strategy, time_limit_s=before_signals.left_s)
    except NotEnough as refusal:
        return _not_enough(options, refusal, catalogue, None if options.time_limit is None else clock.left_s)
    except Unsolved as refusal:
        return _no_answer(options, refusal, refusal.outcome)
    return _deliver(options, allocation, _signals(options, vehicle, catalogue, units, clock.left_s))


def _at_places(options, vehicle: Vehicle, units: tuple[Unit, ...], limit_s: float) -> tuple[Unit, ...]:
    """Units where the harness is lightest, if no place was given and places are known; said on standard error."""
    from pdm_alloc.circuits.columns import TooManyCircuits
    from pdm_alloc.studies.mounting_search import lightest_places

    if options.place or not any(place.mount for place in vehicle.places):
        return units
    try:
        search = lightest_places(vehicle, units, limit_s)
    except TooManyCircuits as why:
        print(f"pdm-alloc: no place chosen: {why}; or name it with --place", file=sys.stderr)
        return units
    print(f"pdm-alloc: {printed.placing(search)}", file=sys.stderr)
    return search.best.units if search.best else units


def _signals(options, vehicle, catalogue, units, limit_s):
    from pdm_alloc.studies.signal_places import signals_beside

    names, places, stubs = options.control_unit, options.control_place, dict(options.bus_stub)
    side = signals_beside(vehicle, catalogue, units, names, places, limit_s, options.bus_kbit, stubs)
    if side and side.boxes and not places:
        print(f"pdm-alloc: {printed.control_placing(side)}", file=sys.stderr)
    return side


def _no_answer(options, refusal: Exception, outcome: str, code: int = NO_ANSWER) -> int:
    print(f"pdm-alloc: {outcome}: {refusal}", file=sys.stderr)
    if options.json:
        printed.print_json({"outcome": outcome, "why": str(refusal)})
    return code


def _not_enough(options, refusal, catalogue: Catalogue, limit_s: float | None) -> int:
    from pdm_alloc.diagnose.explain import explain

    explanation = explain(refusal, time_limit_s=limit_s, catalogue=catalogue)
    if options.json:
        printed.print_json(printed.refusal_json(explanation))
    else:
        print(*printed.why(explanation, everything=True), sep="\n")
    return SHORT


def _deliver(options, allocation, side) -> int:
    from pdm_alloc.export.paperwork import write_documents

    allocation = allocation.with_signals(side)
    if options.out and len(allocation.circuits) > _MANY:
        print(f"pdm-alloc: {printed.found(allocation)}", file=sys.stderr, flush=True)
    with _ended_cleanly():
        written = write_documents(allocation, options.out) if options.out else []
    if options.json:
        printed.print_json(printed.allocation_json(allocation, side) | {"written": [str(p) for p in written]})
        return printed.signal_code(side)
    print(printed.text(allocation.pin_map()), allocation.summary(), sep="\n\n")
    print(*printed.care(allocation.warnings), *printed.signal_lines(side), sep="\n")
    if written:
        print(printed.written(written, Path(options.out)))
    return printed.signal_code(side)


def _compare(options) -> int:
    from pdm_alloc.export.paperwork import write_rework
    from pdm_alloc.export.read_saved import read_allocation
    from pdm_alloc.studies.what_if import rework

    old, new = read_allocation(options.old), read_allocation(options.new)
    todo = rework(old, new)
    with _ended_cleanly():
        written = write_rework(old, new, options.out) if options.out else []
    if options.json:
        printed.print_json({"rework": printed.records(todo), "written": [str(p) for p in written]})
        return DONE
    print(printed.text(todo) if len(todo) else "Nothing to change: the wiring and all settings stay as they are.")
    if written:
        print(printed.written(written, Path(options.out)))
    return DONE


def _panel(options) -> int:
    from pdm_alloc.panel.page import main

    given = [("--catalogue", options.catalogue), ("--module", options.module), ("--port", options.port)]
    words = [word for name, value in given if value is not None for word in (name, str(value))]
    flags = [f"--{name.replace('_', '-')}" for name in ("dark", "no_browser") if getattr(options, name)]
    return main([*words, *flags, "--", options.vehicle])


def _new(options) -> int:
    from pdm_alloc.files.write_tables import new_catalogue, new_demo, new_tables

    folder = Path(options.folder)
    with _ended_cleanly():
        written = (new_demo if options.demo else new_catalogue if options.catalogue else new_tables)(folder)
    print(f"Wrote {len(written)} files to {folder}: {printed.next_step(options, folder)}")
    return DONE


@contextlib.contextmanager
def _ended_cleanly() -> Iterator[None]:
    """While files are written, being told to end (SIGTERM) is an exit that tidies up, with code 143.

    Elsewhere there is nothing to tidy up, and the system ends the process at once, also while a solver is at work.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, lambda *_: sys.exit(TERMINATED))
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
