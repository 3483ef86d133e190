"""The signal side of `size`: which control unit is enough, why the smaller ones are not, what to buy together."""

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from math import inf

import pandas as pd

from pdm_alloc.allocator import SignalAllocation, allocate_signals, key_counts, signals_of_vehicle
from pdm_alloc.diagnose.signal_remedies import SignalRemedy, signal_remedies
from pdm_alloc.diagnose.signal_shortfall import SignalShortfall, signal_shortfall
from pdm_alloc.domain.module import Catalogue, natural_key
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.signals import Box, Keypad, Signal, fitted
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.files.faults import Fault, InputError
from pdm_alloc.program.solver import NOT_ENOUGH, STOPPED_EMPTY, Clock
from pdm_alloc.studies.signals.boxes_and_bus import BoxChoice, ModuleOption, choose_boxes, signals_for

__all__ = [
    *("MOST_UNITS", "SIGNAL_VERDICTS", "SignalSizing", "check_boxes", "check_nodes", "cheapest_units", "has_signals"),
    *("size_signals", "unit_key"),
]

SIGNAL_VERDICTS = (
    *("box", "verdict", "outcome", "pins_used", "pins", "spare", "tightest", "tightest_pct", "mass_g", "price"),
)

MOST_UNITS = 3  # control units and expanders tried together


@dataclass(frozen=True, repr=False)
class SignalSizing:
    """What each control unit of a catalogue came to.

    Parameters
    ----------
    vehicle : Vehicle
        Whose signals are read.
    boxes : tuple of Box
        Control units, smallest first.
    results : dict of str to SignalAllocation
        By control unit, each alone beside the modules.
    shortfalls : dict of str to SignalShortfall
        What is short, by control unit that is not enough.
    remedies : dict of str to list of SignalRemedy
        What would make it enough, by control unit that is not; empty lists unless asked for.
    choice : BoxChoice or None
        Modules, control units, expanders and keypads at the least cost together; None: the study was stopped.
    by : str
        ``price``, ``mass``, or ``count`` of boxes where neither is known of all: what `choice` is the least in.
    """

    vehicle: Vehicle
    boxes: tuple[Box, ...]
    results: dict[str, SignalAllocation] = field(default_factory=dict)
    shortfalls: dict[str, SignalShortfall] = field(default_factory=dict)
    remedies: dict[str, list[SignalRemedy]] = field(default_factory=dict)
    choice: BoxChoice | None = None
    by: str = "price"

    @property
    def outcome(self) -> str:
        """``enough``, ``not enough``, ``not judged`` (there is no control unit), or why there is no answer."""
        if self.smallest is not None or (self.choice is not None and self.choice.allocation):
            return "enough"
        if not self.boxes:
            return "not judged"
        return STOPPED_EMPTY if self.choice is None else self.choice.outcome

    @property
    def smallest(self) -> str | None:
        """Name of the smallest control unit that is enough by itself; None where none is."""
        return next((box.name for box in self.boxes if self.results.get(box.name)), None)

    @property
    def verdicts(self) -> pd.DataFrame:
        """One row per control unit, smallest first, in the columns `SIGNAL_VERDICTS`; pins without shared ones."""
        rows = [self._row(box) for box in self.boxes if box.name in self.results]
        table = pd.DataFrame(rows, columns=list(SIGNAL_VERDICTS))
        return table.astype({"pins_used": "Int64", "spare": "Int64"})

    def _row(self, box: Box) -> tuple[object, ...]:
        result, total = self.results[box.name], signal_pin_count(box)
        worth = (box.mass_g, box.price)
        if result:
            spare = result.free_pins[box.name]
            subject, share = _tightest(result, box.name)
            return (box.name, "enough", result.outcome, total - spare, total, spare, subject, share, *worth)
        short = self.shortfalls[box.name].sentence if box.name in self.shortfalls else ""
        return (box.name, result.outcome, result.outcome, None, total, None, short, None, *worth)

    def summary(self) -> str:
        """The smallest control unit that is enough, what larger ones would leave empty, the cheapest choice."""
        if self.outcome == "not judged":
            return "Signals are not judged: the catalogue has no control unit (tables control_units and signal_pins)."
        least = [self._least()] if self.results else []
        return " ".join([*least, *self._larger(), *self._together()])

    def sentence(self) -> str:
        """Which control unit is enough, and what larger ones would leave empty."""
        if not self.boxes or not self.results:
            return self.summary()
        return " ".join([self._least(), *self._larger()])

    def _least(self) -> str:
        if self.smallest is None:
            proved = all(result.outcome == NOT_ENOUGH for result in self.results.values())
            more = f", nor are up to {MOST_UNITS} boxes together" if self.outcome == NOT_ENOUGH else ""
            return f"No single control unit is {'' if proved else 'known to be '}enough for the signals{more}."
        spare = self.results[self.smallest].free_pins[self.smallest]
        certainty = "known to be" if self._is_open_below() else "that is"
        return (
            f"{self.smallest} is the smallest control unit {certainty} enough, with {counted(spare, 'pin')} to spare."
        )

    def _is_open_below(self) -> bool:
        names = [box.name for box in self.boxes]
        smaller = names[: names.index(self.smallest)] if self.smallest is not None else names
        return any(self.results[name].outcome != NOT_ENOUGH for name in smaller if name in self.results)

    def _larger(self) -> list[str]:
        larger = [b for b in self.boxes if b.name != self.smallest and self.results.get(b.name)]
        left = [f"{self.results[b.name].free_pins[b.name]} of its {signal_pin_count(b)} pins" for b in larger]
        return [f"{b.name} would leave {text} empty." for b, text in zip(larger, left, strict=True)]

    def _together(self) -> list[str]:
        choice = self.choice
        if choice is None or not choice.allocation:
            return []
        pads = [pad.name for pads in choice.keypads.values() for pad in pads]
        names = [name for name in (choice.modules, *(box.name for box in choice.boxes), *pads) if name]
        if not names:
            return []
        what = "fewest boxes" if self.by == "count" else f"lowest {self.by}"
        cost = "" if self.by == "count" else f" ({choice.cost:g}{' g' if self.by == 'mass' else ''})"
        return [f"For power and signals together the {what}: {', '.join(names)}{cost}."]

    def why(self, everything: bool = False) -> list[str]:
        """A line per control unit that is not enough, and per remedy that makes it so; else the first remedy alone."""
        lines = []
        for name, short in self.shortfalls.items():
            lines.append(f"{name} is not enough for the signals. {short.sentence}".strip())
            ways = self.remedies.get(name, [])
            lines += [f"  or: {remedy.sentence}" for remedy in (ways if everything else ways[:1])]
        return lines

    def __repr__(self) -> str:
        """As `summary`."""
        return self.summary()


def has_signals(vehicle: Vehicle) -> bool:
    """Whether a vehicle has a signal side: signals, or inputs with a reader."""
    return bool(signals_of_vehicle(vehicle) or key_counts(vehicle))


def signal_pin_count(box: Box) -> int:
    """Pins of a box without its sensor supplies and grounds, which sensors share."""
    return sum(not pin.functions & {"supply_5v", "sensor_ground"} for pin in box.pins)


def unit_key(box: Box) -> tuple[object, ...]:
    """Smaller first: fewer pins, then cheaper, then lighter, then by name."""
    price = float("inf") if box.price is None else box.price
    mass = float("inf") if box.mass_g is None else box.mass_g
    return (signal_pin_count(box), price, mass, natural_key(box.name))


def _tightest(result: SignalAllocation, label: str) -> tuple[str, float]:
    """Pins, supply or ground of a box with the largest share in use, and the share in per cent."""
    [box] = [b.box for b in result.boxes if b.label == label]
    total = signal_pin_count(box)
    shares = [("pins", 100 * (1 - result.free_pins[label] / total) if total else 0.0)]
    shared = result.shared()
    here = shared[shared["box"] == label]
    shares += zip(here["pin"] + ", " + here["function"], 100 - here["headroom_pct"], strict=True)
    subject, share = max(shares, key=lambda item: item[1])
    return subject, round(share, 1)


def size_signals(
    vehicle: Vehicle,
    catalogue: Catalogue,
    modules: Sequence[ModuleOption] = (),
    *,
    time_limit_s: float | None = None,
    stop: Callable[[], bool] | None = None,
    why: bool = False,
    whole: Clock | None = None,
) -> SignalSizing:
    """Judge every control unit of a catalogue by itself, and find the least cost of everything together.

    Parameters
    ----------
    vehicle : Vehicle
        With signals.
    catalogue : Catalogue
        With control units, expanders and keypads.
    modules : sequence of ModuleOption
        Modules that are enough for the power side, the smallest first: that one is taken beside each control unit.
    time_limit_s : float, optional
        For each control unit, and for the choice, s; default: the vehicle's setting.
    stop : callable, optional
        Asked between solves; True ends the study with what it has.
    why : bool
        True: every remedy for each control unit that is not enough; False: only what is short.
    whole : Clock, optional
        Of the study that this is a part of: no limit lasts longer.

    Returns
    -------
    SignalSizing
        A result for each control unit, each verified.
    """
    limit_s = vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s
    clock = whole or Clock(inf, stop)

    def left_s() -> float:
        return min(limit_s, clock.left_s)

    units = tuple(sorted((b for b in catalogue.boxes if b.role == "control_unit"), key=unit_key))
    beside = modules[0].boxes if modules else ()
    wanted = signals_of_vehicle(vehicle)
    results: dict[str, SignalAllocation] = {}
    for unit in units if wanted else ():
        if clock.is_over():
            break
        results[unit.name] = _judged(wanted, (*beside, unit), left_s())
    refused = [unit for unit in units if unit.name in results and results[unit.name].outcome == NOT_ENOUGH]
    shorts = {unit.name: _short(wanted, (*beside, unit), left_s()) for unit in refused}
    ways = {unit.name: _ways(wanted, (*beside, unit), catalogue, left_s()) if why else [] for unit in refused}
    by = _by([*catalogue.boxes, *catalogue.keypads, *modules])
    halted = not units or clock.is_over()
    together = None if halted else _choice(vehicle, catalogue, modules, by, left_s())
    return SignalSizing(vehicle, units, results, shorts, ways, together, by)


def _judged(wanted: Sequence[Signal], boxes: Sequence[Box], limit_s: float) -> SignalAllocation:
    return allocate_signals(signals_for(wanted, boxes), fitted(boxes), time_limit_s=limit_s)


def _short(wanted: Sequence[Signal], boxes: Sequence[Box], limit_s: float) -> SignalShortfall:
    return signal_shortfall(signals_for(wanted, boxes), fitted(boxes), limit_s)


def _ways(wanted: Sequence[Signal], boxes: Sequence[Box], catalogue: Catalogue, limit_s: float) -> list[SignalRemedy]:
    expanders = [box for box in catalogue.boxes if box.role == "expander"]
    return signal_remedies(signals_for(wanted, boxes), fitted(boxes), catalogue.keypads, expanders, limit_s)


def _by(things: Sequence[Box | Keypad | ModuleOption]) -> str:
    """What is known of everything that could be bought: price, or else mass; or else only how many boxes it is."""
    bought = [thing for thing in things if getattr(thing, "role", "") != "module"]
    known = [by for by in ("price", "mass_g") if all(getattr(thing, by) is not None for thing in bought)]
    return known[0].removesuffix("_g") if known else "count"


def _choice(
    vehicle: Vehicle, catalogue: Catalogue, modules: Sequence[ModuleOption], by: str, limit_s: float
) -> BoxChoice:
    """Keys are counted only where keypads are on offer; where no costs are known every box costs one."""
    units = [box for box in catalogue.boxes if box.role != "module"]
    options: Sequence[ModuleOption] = modules or (ModuleOption("", (), 0.0, 0.0),)
    keypads = catalogue.keypads
    if by == "count":
        units = [replace(unit, price=1.0) for unit in units]
        options = [replace(option, price=1.0) for option in options]
        keypads = tuple(replace(keypad, price=1.0) for keypad in keypads)
    keys = key_counts(vehicle) if keypads else {}
    measure = "price" if by == "count" else by
    wanted = signals_of_vehicle(vehicle)
    return choose_boxes(wanted, units, options, keys, keypads, measure, MOST_UNITS, limit_s)


def cheapest_units(vehicle: Vehicle, offered: Sequence[Box], beside: Sequence[Box], limit_s: float) -> list[Box]:
    """Control units that are enough beside modules at the least price, mass or number; else the one of most pins."""
    if not signals_of_vehicle(vehicle):
        return []
    options = [ModuleOption("", tuple(beside), 0.0, 0.0)]
    choice = _choice(vehicle, Catalogue("", (), boxes=tuple(offered)), options, _by(offered), limit_s)
    return list(choice.boxes) if choice.allocation else [max(offered, key=lambda box: len(box.pins))]


def check_boxes(vehicle: Vehicle, offered: Collection[str], names: Sequence[str], places: Sequence[str]) -> None:
    """Raise `InputError` where a control unit or place is not there, or there are more or fewer places than units."""
    faults = [_unknown("--control-unit", name, offered) for name in names if name not in offered]
    known = [place.name for place in vehicle.places]
    faults += [_unknown("--control-place", place, known) for place in places if place not in known]
    if places and len(places) != len(names):
        text = f"{counted(len(places), 'place')} for {counted(len(names), 'control unit')}"
        faults.append(Fault("command line", None, "--control-place", None, text, "give one place for each, or none"))
    if faults:
        raise InputError(faults)


def check_nodes(nodes: Collection[str], stubs: Iterable[str]) -> None:
    """Raise `InputError` where a stub is of no node of the bus."""
    faults = [_unknown("--bus-stub", name, nodes) for name in stubs if name and name not in nodes]
    if faults:
        raise InputError(faults)


def _unknown(option: str, name: str, known: Collection[str]) -> Fault:
    remedy = f"one of: {', '.join(known)}" if known else "the tables have none"
    return Fault("command line", None, option, name, "is not known", remedy)
