"""The cheapest sets of concessions, each tried in full before it is shown."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import accumulate, product
from math import ceil, inf

from pdm_alloc.allocator import allocation_of, any_allocation
from pdm_alloc.circuits.classes import Rating, channel_classes
from pdm_alloc.circuits.columns import CircuitBook, OutOfTime, TooManyCircuits, raise_late
from pdm_alloc.circuits.items import ItemType, inputs_wanted, item_types, load_type, load_types, total_limit_ma
from pdm_alloc.diagnose.growth_parts import joined_words
from pdm_alloc.diagnose.new_channels import Offer, offer_of
from pdm_alloc.domain.concession_options import Option, concede, eased, options, refitted
from pdm_alloc.domain.module import Module, Unit, natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.allocation_solve import NamedCircuit
from pdm_alloc.program.concession_program import (
    MOST_MEMBERS,
    Model,
    concession_model,
    forms_of_loads,
    within_banks,
)
from pdm_alloc.program.solver import NOT_ENOUGH, PROVEN_BEST, Clock
from pdm_alloc.program.sums import Sums, item_ma
from pdm_alloc.result.allocation import Allocation, amps, arithmetic_shorts
from pdm_alloc.result.care_rules import fuel_beside

__all__ = ["MOST_SETS", "ConcessionSet", "ConcessionStudy", "concession_sets", "concession_study"]

MOST_SETS = 5
_MOST_TRIES = 40
_TRIED_S = 0.5  # of processor time at least, for one set: most that are enough are seen to be in a tenth of it
_FAILED = 3  # sets refused before banks count in the program, which makes it several times as large
REFIT_S = 1.0  # of processor time, for another place and again for a second module
SMALL_MA = 3_000  # loads in the same step of so much are alike to whoever gives one up; ours


@dataclass(frozen=True)
class ConcessionSet:
    """Concessions that together make a module enough.

    Parameters
    ----------
    rank : int
        1 for the cheapest.
    made : tuple of Option
        The concessions; none of them can be dropped.
    vehicle : Vehicle
        With the concessions made.
    allocation : Allocation
        Of that vehicle on the module, checked.
    wanted : Vehicle or None
        Before any concession.
    alike : tuple of tuple of Option
        Sets that differ from `made` only in which of like loads they concern; each was allocated and checked too.
    """

    rank: int
    made: tuple[Option, ...]
    vehicle: Vehicle
    allocation: Allocation
    wanted: Vehicle | None = None
    alike: tuple[tuple[Option, ...], ...] = ()

    @property
    def weight(self) -> int:
        """Sum of the weights."""
        return sum(option.weight for option in self.made)


@dataclass(frozen=True)
class ConcessionStudy:
    """Result of the search for concessions.

    Parameters
    ----------
    sets : tuple of ConcessionSet
        Cheapest first, of at most `MOST_MEMBERS` each; no set contains another.
    left_open : str
        Why there may be more sets than were found; empty where that is proved not to be, or as many were
        found as were asked for.
    why_none : str
        That there is no set, and why as far as that is known; empty where there are some, or there may be.
    """

    sets: tuple[ConcessionSet, ...] = ()
    left_open: str = ""
    why_none: str = ""


def concession_sets(
    vehicle: Vehicle,
    units: tuple[Unit, ...],
    most: int = MOST_SETS,
    time_limit_s: float | None = None,
    stop: Callable[[], bool] | None = None,
) -> tuple[ConcessionSet, ...]:
    """The cheapest distinct sets of concessions that make a unit enough, in order: those of `concession_study`."""
    return concession_study(vehicle, units, most, time_limit_s, stop).sets


def concession_study(
    vehicle: Vehicle,
    units: tuple[Unit, ...],
    most: int = MOST_SETS,
    time_limit_s: float | None = None,
    stop: Callable[[], bool] | None = None,
    book: CircuitBook | None = None,
    offer: Offer | None = None,
    catalogue: Iterable[Module] = (),
) -> ConcessionStudy:
    """Search for the cheapest distinct sets of concessions that make a unit enough, in order.

    Parameters
    ----------
    vehicle : Vehicle
        As it is wanted.
    units : tuple of Unit
        One unit that is not enough; for several there are no sets.
    most : int
        How many sets at the most.
    time_limit_s : float, optional
        Clock, s; default: the vehicle's setting.
    stop : callable, optional
        True ends the search with the sets found so far.
    book : CircuitBook, optional
        Circuits of this vehicle known from an earlier call.
    offer : Offer, optional
        As `offer_of` gives it, where it is known.
    catalogue : iterable of Module, optional
        From which a second module may be taken.

    Returns
    -------
    ConcessionStudy
        Without sets where nothing on offer helps, with why as far as that is known.
    """
    if len(units) != 1:
        return ConcessionStudy(left_open="concessions are looked for on one module at a time")
    if any(s.kind == "supply voltage" for s in arithmetic_shorts(vehicle, units)):
        return ConcessionStudy(why_none=f"{_NONE}: none of them changes the range of supply voltage")
    clock = Clock(vehicle.settings.time_limit_s if time_limit_s is None else time_limit_s, stop)
    book = CircuitBook(vehicle.settings.tolerance_loads) if book is None else book
    refits = (_moved(vehicle, units[0]), _second(vehicle, units[0], catalogue))  # before the search, which takes long
    tried = [_first_enough(vehicle, units[0], choices, clock, book) for choices in refits]
    one_each = [one for sets, _ in tried for one in sets]
    untried = "; ".join(said for (_, is_over), said in zip(tried, (_MOVES_OPEN, _SECOND_OPEN), strict=True) if is_over)
    try:
        options_there = offered(vehicle, units, book, offer, clock.is_over)
        study = _Search(vehicle, units[0], options_there, most, clock, book).run()
    except TooManyCircuits as why:
        study = ConcessionStudy(left_open=f"concessions were not looked for: {why}")
    sets = sorted([*one_each, *study.sets], key=lambda s: s.weight)[:most]
    left_open = "; ".join(filter(None, (untried, study.left_open)))
    ranked = tuple(replace(s, rank=n) for n, s in enumerate(sets, 1))
    return ConcessionStudy(ranked, left_open, "" if sets or left_open else study.why_none)


_MOVES_OPEN = "time ran out before every other place for the module was tried"
_SECOND_OPEN = "time ran out before every second module was tried"


def _first_enough(
    vehicle: Vehicle, unit: Unit, choices: Iterable[Sequence[Option]], clock: Clock, book: CircuitBook
) -> tuple[list[ConcessionSet], bool]:
    """The first of the choices of which one is enough, with all of this choice that are; the lightest wires first.

    Also True where time ran out before one was, or before all of it was tried.
    """
    clock = clock.soon(REFIT_S)
    for choice in choices:
        results = [(o, any_allocation(vehicle, units_with([unit], [o]), clock, book)) for o in choice]
        good = [(o, result) for o, result in results if result is not None]
        if good:
            good.sort(key=lambda pair: float(pair[1].wires["mass_g"].sum()))
            (option, result), *others = good
            alike = tuple((o,) for o, _ in others)
            return [ConcessionSet(0, (option,), vehicle, result, vehicle, alike)], clock.is_over()
        if clock.is_over():
            return [], True
    return [], False


def _moved(vehicle: Vehicle, unit: Unit) -> Iterator[list[Option]]:
    """The unit at any other place it can be mounted at, where it has a place and nothing is wired to it yet."""
    is_wired = any(lock.module in (unit.label, unit.module.name) for lock in vehicle.locked)
    places = [] if unit.place is None or is_wired else [p for p in _places(vehicle) if p != unit.place]
    options = [o for p in places for o in refitted(vehicle, "place", replace(unit, place=p), unit.place or "")]
    for weight in sorted({o.weight for o in options}):
        yield [o for o in options if o.weight == weight]


def _second(vehicle: Vehicle, unit: Unit, catalogue: Iterable[Module]) -> Iterator[list[Option]]:
    """A second module beside the unit, the cheapest first, then at other places."""
    modules = sorted(catalogue, key=lambda m: (_or_inf(m.price), _or_inf(m.mass_g), natural_key(m.name)))
    places = [unit.place, *(p for p in _places(vehicle) if unit.place not in (None, p))]
    for place, module in product(places, modules):
        label = module.name if module.name != unit.label else f"{module.name} #2"
        yield from ([option] for option in refitted(vehicle, "second_module", Unit(label, module, place)))


def _places(vehicle: Vehicle) -> list[str]:
    """Places a module can be mounted at; none in one compartment with fuel."""
    dry = [p.name for p in vehicle.places if p.mount and not fuel_beside(vehicle, p)]
    return sorted(dry, key=natural_key)


def _or_inf(value: float | None) -> float:
    return inf if value is None else value


def units_with(units: Iterable[Unit], concessions: Iterable[Option]) -> tuple[Unit, ...]:
    """What is fitted once modules are moved and added."""
    fitted = {unit.label: unit for unit in units}
    return tuple((fitted | {o.unit.label: o.unit for o in concessions if o.unit is not None}).values())


def offered(
    vehicle: Vehicle,
    units: tuple[Unit, ...],
    book: CircuitBook,
    offer: Offer | None = None,
    late: Callable[[], bool] = lambda: False,
) -> tuple[Option, ...]:
    """Concessions on offer: those of the vehicle that these units have a use for, and more drop where a wire needs it.

    A soft start or a measured current is one only where a kind of channel then bears the load that did not before.

    Raises
    ------
    OutOfTime
        `late` said so: they are not all known.
    """
    drops = [o for r in (offer or offer_of(vehicle, units, book)).relaxed for o in eased(vehicle, r.load, r.need_pct)]
    ratings = {c.rating for c in channel_classes(vehicle, units)[0]}
    there = options(vehicle, late)
    raise_late(late)
    useful = []
    for option in there:
        raise_late(late)
        if option.kind not in _OPENERS or _opens(vehicle, option, ratings, book):
            useful.append(option)
    return tuple(sorted((*useful, *drops), key=lambda o: (o.weight, o.kind, natural_key(o.subject))))


_OPENERS = ("soft_start", "measure", "divide")


@dataclass
class _Search:
    """A search for sets on its way: those that were enough, and those that were not."""

    vehicle: Vehicle
    unit: Unit
    options: tuple[Option, ...]
    most: int
    clock: Clock
    book: CircuitBook
    sets: list[ConcessionSet] = field(default_factory=list)
    known: dict[tuple[object, ...], int] = field(default_factory=dict)
    taken: list[tuple[bool, list[int]]] = field(default_factory=list)
    least: int = 0
    is_open: bool = False

    def run(self) -> ConcessionStudy:
        """Sets as they come, cheapest first; banks count once sets have failed, which may be for one of them."""
        try:
            return self._searched()
        except OutOfTime:
            return self._stopped()

    def _stopped(self) -> ConcessionStudy:
        """What there is where time ran out."""
        return ConcessionStudy(tuple(self.sets), _ENDED if self.sets else _NOT_FOUND)

    def _searched(self) -> ConcessionStudy:
        """As `run`; `OutOfTime` where the clock ran out while a program was built."""
        why = _why_none(self.vehicle, self.unit, self.options, self.book, self.clock.is_over)
        if why:
            return ConcessionStudy(why_none=why)
        model = self._model(False)
        for _ in range(_MOST_TRIES):
            if len(self.sets) == self.most:
                return ConcessionStudy(tuple(self.sets))
            solution = model.cheapest(self.clock)
            if solution.outcome == NOT_ENOUGH:
                if self.is_open:
                    return self._stopped()
                return ConcessionStudy(tuple(self.sets), why_none="" if self.sets else _NO_FEW)
            if solution.outcome != PROVEN_BEST:
                break
            numbers = [n for n, v in enumerate(model.chosen) if round(solution.values[v])]
            made = tuple(self.options[n] for n in numbers)
            is_enough = self._tried(made, tuple(model.circuits(solution.values)))
            self.taken.append((is_enough, numbers))
            self._risen(model, sum(option.weight for option in made))
            failed = sum(not good for good, _ in self.taken)
            if not is_enough and failed == _FAILED and self.unit.module.bank_ma:
                model = self._model(True)
            else:
                model.refuse(numbers, is_enough)
        return self._stopped()

    def _model(self, banked: bool) -> Model:
        stop = self.clock.is_over
        model = concession_model(self.vehicle, self.unit, self.options, self.book, stop, banked)
        for is_enough, numbers in self.taken:
            model.refuse(numbers, is_enough)
        model.at_least(self.least)
        return model

    def _risen(self, model: Model, weight: int) -> None:
        """The least weight of a set that is left, where it is more than was known."""
        if weight > self.least:
            self.least = weight
            model.at_least(weight)

    def _tried(self, made: tuple[Option, ...], circuits: Sequence[NamedCircuit]) -> bool:
        """Whether a set is enough, the program's circuits tried first: recounted, and noted where it is."""
        asked = concede(self.vehicle, made), (self.unit,)
        clock = self.clock.soon(max(_TRIED_S, self.clock.left_s / _MOST_TRIES))
        result = allocation_of(*asked, circuits, clock, self.book) or any_allocation(*asked, clock, self.book)
        if result is None:
            self.is_open = self.is_open or clock.is_over()
            return False
        at = self.known.setdefault(_kind_of_set(self.vehicle, made), len(self.sets))
        if at < len(self.sets):
            self.sets[at] = replace(self.sets[at], alike=(*self.sets[at].alike, made))
        else:
            self.sets.append(ConcessionSet(len(self.sets) + 1, made, result.vehicle, result, self.vehicle))
        return True


_ENDED = "time ran out before the search for concessions was through: there may be more"
_NOT_FOUND = f"time ran out before a set of at most {MOST_MEMBERS} concessions was found: there may be one"


def _kind_of_set(vehicle: Vehicle, made: tuple[Option, ...]) -> tuple[object, ...]:
    """What a set gives up, whichever of like things: mirror twins and equal small loads are one set."""
    return tuple(sorted((o.kind, o.weight, tuple(sorted(_likeness(vehicle, m) for m in o.members))) for o in made))


def _likeness(vehicle: Vehicle, name: str) -> str:
    """Of a load, or of all loads of a command; a label is itself."""
    if any(i.name == name for i in vehicle.inputs):
        return "switch"
    loads = [x for x in vehicle.loads if name in (x.name, x.command)]
    if not loads:
        return name
    return str(sorted((x.kind, x.importance, x.running_ma * x.count // SMALL_MA) for x in loads))


def _opens(vehicle: Vehicle, option: Option, ratings: Iterable[Rating], book: CircuitBook) -> bool:
    """Whether a kind of channel bears an item of a load only when the option is taken."""
    wiring = book.wiring(vehicle)
    alone = replace(vehicle, loads=(vehicle.load(option.subject),))
    before, after = (load_type(v, v.loads[0]) for v in (alone, concede(alone, [option])))

    return any(book.bears((after,), r, wiring) and not book.bears((before,), r, wiring) for r in ratings)


Forms = Mapping[str, Sequence[ItemType]]


def _why_none(
    vehicle: Vehicle, unit: Unit, offered: Sequence[Option], book: CircuitBook, late: Callable[[], bool]
) -> str:
    """Why no set is enough, where arithmetic or a single channel tells; empty: perhaps one is.

    Inputs or the whole module are missed with every concession made, or take too many, or a load is borne in no form.
    """
    keys = sum(len(o.members) for o in offered if o.kind == "keypad")
    wanted = inputs_wanted(vehicle)
    if unit.module.inputs is not None and wanted - unit.module.inputs > keys:
        return f"{_NONE}: of {wanted} switches and senders no more than {keys} can go on a keypad"
    forms: dict[str, list[ItemType]] = defaultdict(list)  # the first of each load is as wanted
    for form in (form for each in forms_of_loads(vehicle, unit, offered, late).values() for form in each):
        forms[form.load].append(form.item)
    left_out = {o.subject for o in offered if o.kind == "leave_out"}
    needed = {load: types for load, types in forms.items() if load not in left_out}
    return (
        _drawn_words(vehicle, unit, offered, forms, left_out)
        or _unborne_words(vehicle, unit, offered, needed, book, late)
        or _crowded_words(vehicle, unit, offered)
    )


def _drawn_words(
    vehicle: Vehicle, unit: Unit, offered: Sequence[Option], forms: Forms, left_out: Collection[str]
) -> str:
    """That every concession together leaves the whole module beyond its limit, or so many of them are needed."""
    eased = concede(vehicle, [o for o in offered if o.kind == "margin"])
    limit, raised = (total_limit_ma(v, within_banks(unit)) for v in (vehicle, eased))
    needed = 0
    for cut in Sums(vehicle, [unit], item_types(vehicle, [unit])).cuts:
        if cut.switched_on is not None:
            continue
        drawn = {load: [t.count * item_ma(t, cut, unit.module.settle_s)[0] for t in ts] for load, ts in forms.items()}
        saved = [own[0] - (0 if load in left_out else min(own)) for load, own in drawn.items()]
        over = sum(own[0] for own in drawn.values()) - limit
        sums = [0, *accumulate(sorted((*saved, raised - limit), reverse=True))]
        if sums[-1] < over:
            least, most = amps(limit + over - sums[-1] + raised - limit), amps(raised)
            return f"{_NONE}: with all of them {least} are still on at once, and the module may bear {most}"
        needed = max(needed, next(n for n, total in enumerate(sums) if total >= over))
    return f"{_NO_FEW}: the current of the whole module takes {needed} at least" if needed > MOST_MEMBERS else ""


def _unborne_words(
    vehicle: Vehicle,
    unit: Unit,
    offered: Sequence[Option],
    forms: Forms,
    book: CircuitBook,
    late: Callable[[], bool],
) -> str:
    """Loads that no kind of channel bears in any form, with half the headroom where that is on offer."""
    less, half = {o.subject for o in offered if o.kind == "headroom"}, vehicle.settings.headroom_pct / 2
    ratings, wiring = {kind.rating for kind in channel_classes(vehicle, [unit])[0]}, book.wiring(vehicle)
    loads = []
    for load, types in forms.items():
        raise_late(late)
        eased = [replace(t, headroom_pct=half) for t in types if t.command in less]
        tried = ((t, rating) for t in (*types, *eased) for rating in ratings)
        if not types[0].together and not any(book.bears((t,), rating, wiring) for t, rating in tried):
            loads.append(load)
    return f"{_NONE}: none of them gives {joined_words(loads)} a channel" if loads else ""


def _crowded_words(vehicle: Vehicle, unit: Unit, offered: Sequence[Option]) -> str:
    """That channels alone take too many: a load frees what it takes by itself at most, a join all but one."""
    classes, _ = channel_classes(vehicle, [unit])
    strongest = max(kind.rating.rated_ma / kind.width for kind in classes)
    by_command: dict[str, list[ItemType]] = defaultdict(list)
    for t in load_types(vehicle):
        by_command[t.command].append(t)
    taken = {command: _fewest_channels(types, strongest) for command, types in by_command.items()}
    joins = [o for o in offered if o.kind == "join"]
    unharmed = {command for o in joins if o.harmless for command in o.members}
    over = sum(taken.values()) - sum(taken[command] for command in unharmed)
    over -= len(unit.module.channels) - vehicle.settings.spare_channels
    gone, relayed = ({o.subject for o in offered if o.kind == kind} for kind in ("leave_out", "relay"))
    freed = []
    for types in by_command.values():
        coil = int(len(types) == 1)  # of a command's only load: it takes a channel too
        freed += [_fewest_channels([t], strongest) for t in types if t.load in gone]
        freed += [_fewest_channels([t], strongest) - coil for t in types if t.load in relayed - gone]
    freed += [sum(taken[command] for command in o.members) - 1 for o in joins if not o.harmless]
    sums = [0, *accumulate(sorted(freed, reverse=True))]
    if sums[-1] < over:
        return f"{_NONE}: with all of them there are still too few channels"
    needed = next(n for n, total in enumerate(sums) if total >= over)
    return f"{_NO_FEW}: the channels take {needed} at least" if needed > MOST_MEMBERS else ""


def _fewest_channels(types: Iterable[ItemType], strongest_ma: Fraction) -> int:
    """Channels that items of one command take at least, whatever the headroom; two for each circuit that reverses."""
    number = 0
    for is_both_ways in (False, True):
        own = [t for t in types if t.reversing == is_both_ways]
        if own:
            drawn = max(map(sum, zip(*([t.count * ma for ma in t.volt_ma] for t in own), strict=True)))
            circuits = max(1, sum(t.count for t in own if not t.share))
            number += 2 * circuits if is_both_ways else max(circuits, ceil(drawn / strongest_ma))
    return number


_NONE = "no set of concessions on offer makes it enough"
_NO_FEW = f"no set of at most {MOST_MEMBERS} concessions makes it enough"
