"""The program that finds the cheapest concessions: circuits of altered loads beside those of the loads as wanted."""

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType

from pdm_alloc.circuits.classes import Capacity, ChannelClass, Rating
from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, is_as_strong, may_share, raise_late
from pdm_alloc.circuits.draws import Wiring
from pdm_alloc.circuits.items import Draw, ItemType, inputs_wanted, item_types, load_types
from pdm_alloc.domain.concession_options import Option, coil_name, concede
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.allocation_solve import NamedCircuit
from pdm_alloc.program.growth_task import as_asked, singles_of
from pdm_alloc.program.partition import Column, LateRows, Raised, Task, add_sum, merge
from pdm_alloc.program.solver import PROVEN_BEST, Clock, Program, Solution
from pdm_alloc.program.stages import AT_ONCE, LARGEST, minimise
from pdm_alloc.program.sums import Cut, Limit, Loading, Sums, Worst, limits_of

__all__ = ["MOST_MEMBERS", "Form", "Model", "concession_model", "forms_of_loads", "within_banks"]

MOST_MEMBERS = 8
"""Concessions of a set at most, joins without loss not counted: more than these nobody acts on; ours."""

_VARIANTS = ("relay", "soft_start", "drop", "measure", "divide")  # a load takes one of them

Borne = dict[Rating, set[Counts]]
"""Circuits of a command by what bears them."""

Kinds = Sequence[ChannelClass]

_NO_FIT = Fit(0, 0)  # rows of sums ask for none
_USUAL = 64  # weight of a set
# Variables above which no set, or only the first, is told apart from equals: that takes several times as long.
_FIRST_ORDERED, _ORDERED = 1_000, 300
_PRIME, _ROOT = 131_071, 3  # powers of a primitive root: equal sums of numbers have different sums of these


@dataclass(frozen=True, slots=True)
class Form:
    """A load as wanted (option None), or what a concession makes of it."""

    item: ItemType
    load: str
    option: int | None


Forms = Mapping[str, Sequence[Form]]
"""By command."""


@dataclass
class Model:
    """A program and the numbers of its variables.

    Parameters
    ----------
    program : Program
        Variables and rows.
    options : tuple of Option
        Concessions offered.
    chosen : list of int
        Variable that is 1 when an option is taken, by option.
    wiring : Wiring
        Lengths and wires of the vehicle.
    book : CircuitBook
        Circuits of this vehicle known so far.
    late : callable, optional
        True stops the listing of circuits.
    is_banked : bool
        Whether a circuit has a variable for each class that bears it; otherwise those that the same classes bear are
        counted together on each class.
    singles : mapping of int to sequence of int
        Classes of paralleled channels, and those that these are in by themselves; empty where banks count.
    """

    program: Program
    options: tuple[Option, ...]
    chosen: list[int]
    wiring: Wiring
    book: CircuitBook
    late: Callable[[], bool] | None = None
    is_banked: bool = False
    singles: Mapping[int, Sequence[int]] = field(default_factory=dict)
    cover: dict[tuple[str, int | None], dict[int, float]] = field(default_factory=lambda: defaultdict(dict))
    needs: dict[tuple[int, str], dict[int, float]] = field(default_factory=lambda: defaultdict(dict))
    uses: dict[int, list[int]] = field(default_factory=lambda: defaultdict(list))
    alike: dict[tuple[int, ...], list[int]] = field(default_factory=lambda: defaultdict(list))
    columns: list[Column] = field(default_factory=list)
    forms: dict[str, Sequence[Form]] = field(default_factory=dict)
    homes: dict[int, int] = field(default_factory=dict)
    spread: dict[tuple[int, ...], list[int]] = field(default_factory=dict)
    rows: set[tuple[Cut, Limit]] = field(default_factory=set)
    is_asked: bool = False

    def listed(
        self, types: tuple[ItemType, ...], marks: tuple[str, ...], kinds: Kinds, sure: "Borne"
    ) -> tuple["Borne", "Borne"]:
        """Circuits of a command that each rating bears, and those of them that are sure on a stronger one.

        Those with two forms of one load are left out, and on paralleled channels what either of them bears alone.
        What a weaker rating bears, or what is known to be sure, is not asked of the physics again.
        """
        ways = {t.reversing for t in types}
        asked = {kind.rating: as_asked(kind.rating, types) for kind in kinds if kind.rating.reversing in ways}
        pairs = [(kinds[n].rating, at) for n, at in self.singles.items() if kinds[n].rating in asked]
        alone = {asked[rating]: [asked[kinds[m].rating] for m in at] for rating, at in pairs}
        borne: Borne = {}
        surely: Borne = {}
        for rating in sorted(set(asked.values()), key=lambda r: (r.wires, _strength(r))):
            known = (surely[r] for r in surely if is_as_strong(rating, r))
            already = sure.get(rating, set()).union(*known)
            one_does = [borne[single] for single in alone.get(rating, ())]
            if one_does:
                either = set.intersection(*one_does)
                listed = self.book.circuits(types, rating, self.wiring, self.late, marks, either)
                borne[rating] = set(listed) - either
                continue
            borne[rating] = self.book.borne(types, rating, self.wiring, self.late, marks, already)
            surely[rating] = self.book.surely(types, rating, self.wiring, marks)
        return {rating: borne[like] for rating, like in asked.items()}, surely

    def variable(self, command: str, counts: Counts, number: int, upper: float) -> int:
        """Number of a new variable; it counts in sums as so many items on a class."""
        self.columns.append(Column(command, counts, number, _NO_FIT, round(upper)))
        return self.program.variable(upper)

    def bearing(self, types: Sequence[ItemType], counts: Counts, kinds: Kinds) -> list[int]:
        """Kinds of channel that bear one circuit; paralleled ones where neither of them does alone."""
        asked = {n: as_asked(k.rating, types) for n, k in enumerate(kinds) if k.rating.reversing == types[0].reversing}
        borne = {rating: self.book.bears(tuple(types), rating, self.wiring, counts) for rating in {*asked.values()}}
        on = {number for number, rating in asked.items() if borne[rating]}
        return sorted(n for n in on if not (n in self.singles and on.issuperset(self.singles[n])))

    def cheapest(self, clock: Clock) -> Solution:
        """The cheapest set that is left.

        Of a small program's sets that weigh the same it is one and the same, whichever solver is asked, and of a larger
        one's that are asked for first: the earlier of equals are preferred, by a cost that rises by number in
        pseudo-random steps.
        """
        weights = self._weights
        order = _order(len(self.chosen))
        numbers = dict(zip(self.chosen, map(float, order), strict=True))
        self._keep_rows()
        more = 1 + sum(order)
        joint = {v: more * weight + numbers[v] for v, weight in weights.items()}
        costs = [joint] if more * _USUAL < LARGEST else [weights, numbers]
        if len(self.program.most) > (_ORDERED if self.is_asked else _FIRST_ORDERED):
            costs = [weights]
        self.is_asked = True
        stages = minimise(self.program, costs, clock, few=AT_ONCE)
        return next((s for s in reversed(stages) if s.outcome == PROVEN_BEST), stages[0])

    def at_least(self, weight: int) -> None:
        """No set that is left weighs less: one that weighs so much is proved the cheapest as soon as it is found."""
        self.program.row(self._weights, least=weight)

    @property
    def _weights(self) -> dict[int, float]:
        return {v: float(o.weight) for v, o in zip(self.chosen, self.options, strict=True)}

    def circuits(self, values: Sequence[float]) -> Iterator[NamedCircuit]:
        """The circuits of a solution by the loads they are of, each on a class that bears it."""
        for classes, variables in self.alike.items():
            uses = self.spread.get(classes, ())
            on = [k for k, v in zip(classes, uses, strict=False) for _ in range(round(values[v]))]
            chosen = [v for v in variables for _ in range(round(values[v]))]
            for v, number in zip(chosen, on or classes * len(chosen), strict=True):
                column = self.columns[v]
                forms = self.forms[column.command]
                loads = tuple((self._left_of(forms[n]), k) for n, k in column.counts)
                yield NamedCircuit(column.command, loads, self.homes[number])

    def _left_of(self, form: Form) -> str:
        """Name of what a concession makes of a load."""
        is_relay = form.option is not None and self.options[form.option].kind == "relay"
        return coil_name(form.load) if is_relay else form.load

    def refuse(self, taken: Sequence[int], is_enough: bool) -> None:
        """Whatever contains a set that is enough; of one that is not, this very set."""
        if is_enough:
            self.program.row({self.chosen[n]: 1 for n in taken}, most=len(taken) - 1)
        else:
            signs = {v: (-1.0 if n in taken else 1.0) for n, v in enumerate(self.chosen)}
            self.program.row(signs, least=1 - len(taken))

    def _keep_rows(self) -> None:
        """Rows of all combinations found so far, those of earlier solves too."""
        late = self.program.late_rows
        for cut, limit in ((c, k) for c, known in late.sums.cuts.items() for k in late.sums.limits if k in known):
            if (cut, limit) not in self.rows:
                self.rows.add((cut, limit))
                add_sum(self.program, late.task, cut, limit, enumerate(late.task.columns), late.grown)

    def number(self, kind: str, subject: str) -> int | None:
        """Number of an option; None where it is not offered."""
        return self._numbers.get((kind, subject))

    @cached_property
    def _numbers(self) -> dict[tuple[str, str], int]:
        """Number of each option, of equal ones the first; looked for anew each time it took most of a large search."""
        return {(o.kind, o.subject): n for n, o in reversed(list(enumerate(self.options)))}


def _order(number: int) -> list[int]:
    """Costs that rise by number in pseudo-random steps, so that few sets cost the same."""
    step = max(1, LARGEST // _USUAL // (1 + number * (number + 1) // 2))
    return [n * step + pow(_ROOT, n + 1, _PRIME) % step for n in range(number)]


def concession_model(
    vehicle: Vehicle,
    unit: Unit,
    offered: Sequence[Option],
    book: CircuitBook,
    late: Callable[[], bool] | None = None,
    banked: bool = False,
) -> Model:
    """Variables and rows for all concessions of a vehicle on one unit.

    Parameters
    ----------
    vehicle : Vehicle
        As it is wanted.
    unit : Unit
        Not enough for it.
    offered : sequence of Option
        Concessions to choose from.
    book : CircuitBook
        Circuits of this vehicle known so far.
    late : callable, optional
        True stops the building of it.
    banked : bool
        True: every bank's limit counts; False: like channels of all banks are one class, a smaller program.

    Returns
    -------
    Model

    Raises
    ------
    TooManyCircuits
        A command has too many different loads, or `late` said so (OutOfTime).
    """
    program = Program(late=late)
    chosen = [program.variable(1) for _ in offered]
    merged = merge(vehicle, [unit])
    singles = {} if banked else singles_of(merged)
    model = Model(program, tuple(offered), chosen, book.wiring(vehicle), book, late, banked, singles)
    task = merged.fine if banked else merged.task
    kinds = task.classes
    model.columns += [Column("", (), 0, _NO_FIT, 1) for _ in offered]
    by_command = forms_of_loads(vehicle, unit, offered, late)
    model.forms |= by_command
    model.homes |= {n: m for m, numbers in enumerate(merged.members) for n in (numbers if banked else (m,))}
    _input_row(model, vehicle, unit)
    for command, variants in by_command.items():
        _add_circuits(model, vehicle, command, variants, kinds)
    _add_joins(model, vehicle, by_command, kinds)
    _cover_rows(model, vehicle, [v for variants in by_command.values() for v in variants])
    _need_rows(model, vehicle)
    _class_rows(model, kinds)
    _capacity_rows(model, vehicle, unit, kinds, task.capacities)
    real = [model.chosen[n] for n, option in enumerate(offered) if not option.harmless]
    program.row(dict.fromkeys(real, 1.0), most=MOST_MEMBERS)
    program.late_rows = _late_rows(model, vehicle, unit if banked else within_banks(unit), by_command, task, banked)
    program.late = None  # rows of sets that were tried are added whatever the clock says
    return model


def within_banks(unit: Unit) -> Unit:
    """The unit with no more in all than its banks bear together, where every channel is in one."""
    module = unit.module
    if any(channel.bank not in module.bank_ma for channel in module.channels):
        return unit
    return replace(unit, module=replace(module, total_ma=min(module.total_ma, sum(module.bank_ma.values()))))


class _ConcededSums(Sums):
    """Sums over loads in every form; those of joined commands count with the command they were of."""

    homes: Mapping[tuple[str, int], tuple[str, int]] = MappingProxyType({})

    def broken_by(self, limit: Limit, loading: Loading, clock: Clock | None = None) -> list[Worst]:
        """As of `Sums`."""
        at_home: dict[tuple[str, int], int] = defaultdict(int)
        for key, portions in loading.items():
            at_home[self.homes.get(key, key)] += portions
        return super().broken_by(limit, at_home, clock)


def _late_rows(model: Model, vehicle: Vehicle, unit: Unit, by_command: Forms, task: Task, banked: bool) -> LateRows:
    """Rows of banks and the whole module, its peak too, added as a set of concessions breaks them.

    Two commands that are joined come on together, so at the change of one input neither may have an inrush: none is
    counted for them, and every row holds for every set.
    """
    forms = {
        command: (*(v.item for v in each), *(replace(v.item, draws=_running(v.item)) for v in each))
        for command, each in by_command.items()
    }
    types = dict(forms)
    homes: dict[tuple[str, int], tuple[str, int]] = {}
    for option in (o for o in model.options if o.kind == "join"):
        places = [(c, n) for c in option.members for n, v in enumerate(by_command[c]) if v.option is None]
        places = [(c, n + len(by_command[c])) for c, n in places]
        types[option.subject] = tuple(forms[c][n] for c, n in places)
        homes |= {(option.subject, n): place for n, place in enumerate(places)}
    sums = _ConcededSums(vehicle, [unit], item_types(vehicle, [unit]))  # the worst of it as it was wanted come first
    sums.types, sums.homes = forms, homes
    sums.limits = tuple(limit for limit in sums.limits if banked or limit.bank is None)
    every = replace(task, types=types, columns=tuple(model.columns))
    return LateRows(every, sums, _regained(model, vehicle, unit))


def _running(item: ItemType) -> tuple[Draw, ...]:
    return tuple(draw._replace(excess_ma=0, excess_rise_ma=0) for draw in item.draws)


def _regained(model: Model, vehicle: Vehicle, unit: Unit) -> dict[tuple[int, str | None], Raised]:
    """Limits that half of the module headroom raises."""
    margin = model.number("margin", "banks and whole module")
    if margin is None:
        return {}
    before, after = (limits_of(v, [unit]) for v in (vehicle, concede(vehicle, [model.options[margin]])))
    steps = ((a, b.most_ma - a.most_ma) for a, b in zip(before, after, strict=True) if not a.is_peak)
    return {(a.unit, a.bank): Raised(model.chosen[margin], a.most_ma, more) for a, more in steps}


def forms_of_loads(
    vehicle: Vehicle, unit: Unit, offered: Sequence[Option], late: Callable[[], bool] | None = None
) -> dict[str, list[Form]]:
    """Every load as wanted and as each concession leaves it, by command; `OutOfTime` where `late` says so."""
    forms: dict[str, list[Form]] = defaultdict(list)
    for item in load_types(vehicle, [unit]):
        forms[item.command].append(Form(item, item.load, None))
    for n, option in enumerate(offered):
        if option.kind in _VARIANTS:
            raise_late(late)
            item = _changed(concede(vehicle, [option]), option)
            forms[item.command].append(Form(item, option.subject, n))
    return forms


def _changed(vehicle: Vehicle, option: Option) -> ItemType:
    """What is left on the module of the load that an option has altered."""
    names = (option.subject, coil_name(option.subject))
    loads = tuple(load for load in vehicle.loads if load.name in names)
    return load_types(replace(vehicle, loads=loads))[0]


def _add_circuits(model: Model, vehicle: Vehicle, command: str, variants: list[Form], kinds: Kinds) -> None:
    """Circuits at the headroom wanted, and those that only half of it allows."""
    less = model.number("headroom", command)
    half = vehicle.settings.headroom_pct / 2
    types = tuple(_free_of_labels(model, v.item) for v in variants)
    marks = tuple(v.load for v in variants)
    wanted, sure = model.listed(types, marks, kinds, {})
    eased = tuple(replace(t, headroom_pct=half) for t in types)
    more = {} if less is None else model.listed(eased, marks, kinds, sure)[0]
    numbers: dict[tuple[Counts, bool], list[int]] = defaultdict(list)
    for number, kind in enumerate(kinds):
        here = wanted.get(kind.rating, set())
        for counts in more.get(kind.rating, here) | here:
            numbers[counts, counts in here].append(number)
    for (counts, is_wanted), on in sorted(numbers.items()):
        _add_circuit(model, variants, counts, on, kinds, None if is_wanted else less)


def _strength(rating: Rating) -> tuple[float | Fraction, ...]:
    currents = (rating.usable_ma, rating.peak_ma, rating.peak_ms, rating.rated_ma)
    return *currents, rating.pwm, rating.max_wire_mm2 or math.inf


def _free_of_labels(model: Model, item: ItemType) -> ItemType:
    """Labels that can be given up do not keep circuits from being listed: they are charged for."""
    free = item.separate is not None and model.number("separation", item.separate) is not None
    return replace(item, separate=None) if free else item


def _add_circuit(
    model: Model,
    variants: Sequence[Form],
    counts: Counts,
    numbers: Sequence[int],
    kinds: Kinds,
    less: int | None,
    joined: str = "",
) -> list[int]:
    """Variables of a circuit that some classes bear: one by one where banks count, or else one for all of them."""
    held = [variants[n].item.locked[0][1] for n, _ in counts if variants[n].item.locked]
    on = [k for k in numbers if all({"+".join(slot) for slot in kinds[k].slots} & set(spots) for spots in held)]
    upper = min(variants[n].item.count // k for n, k in counts)
    variables = []
    for classes in [(k,) for k in on] if model.is_banked else [tuple(on)] if on else []:
        v = model.variable(joined or variants[0].item.command, counts, classes[0], upper)
        variables.append(v)
        model.alike[classes].append(v)
        _note_uses(model, variants, counts, v, less)
    return variables


def _note_uses(model: Model, variants: Sequence[Form], counts: Counts, v: int, less: int | None) -> None:
    """The items a circuit has, and the concessions it takes."""
    labels = [variants[n].item.separate for n, _ in counts if variants[n].item.separate]
    for n, k in counts:
        own = variants[n]
        model.cover[own.load, own.option][v] = k
        if less is not None:
            model.needs[less, own.load][v] = k
        if own.item.separate and labels.count(own.item.separate) > 1:
            given_up = model.number("separation", own.item.separate)
            assert given_up is not None
            model.needs[given_up, own.load][v] = k


def _add_joins(model: Model, vehicle: Vehicle, by_command: Forms, kinds: Kinds) -> None:
    """Everything of two commands on one channel."""
    for n, option in enumerate(model.options):
        if option.kind != "join":
            continue
        raise_late(model.late)
        variants = [v for c in option.members for v in by_command[c] if v.option is None]
        model.forms[option.subject] = variants
        both = tuple(x for x in vehicle.loads if x.command in option.members)
        joined = {t.load: t for t in load_types(concede(replace(vehicle, loads=both), [option]))}
        types = [_free_of_labels(model, replace(joined[v.load], locked=v.item.locked)) for v in variants]
        counts = tuple((i, t.count) for i, t in enumerate(types))
        on = model.bearing(types, counts, kinds) if may_share(types, counts) else []
        variables = _add_circuit(model, variants, counts, on, kinds, None, option.subject)
        model.program.row({**dict.fromkeys(variables, 1.0), model.chosen[n]: -1}, 0, 0)


def _class_rows(model: Model, kinds: Kinds) -> None:
    """How many of the circuits that the same classes bear are on each of them: nothing else tells them apart there."""
    for classes, variables in model.alike.items():
        if len(classes) == 1:
            model.uses[classes[0]] += variables
            continue
        number = sum(model.program.most[v] for v in variables)
        on = [model.variable("", (), k, min(number, len(kinds[k].slots))) for k in classes]
        for k, v in zip(classes, on, strict=True):
            model.uses[k].append(v)
        model.spread[classes] = on
        model.program.row(dict.fromkeys(variables, 1.0) | dict.fromkeys(on, -1.0), 0, 0)


def _cover_rows(model: Model, vehicle: Vehicle, variants: Sequence[Form]) -> None:
    """Every item once: as wanted, or as one of the concessions leaves it."""
    for load in vehicle.loads:
        weights = dict(model.cover[load.name, None])
        for kind in (*_VARIANTS, "leave_out"):
            n = model.number(kind, load.name)
            if n is None:
                continue
            weights[model.chosen[n]] = load.count
            if kind != "leave_out":
                items = sum(v.item.count for v in variants if v.option == n)
                model.program.row({**model.cover[load.name, n], model.chosen[n]: -items}, 0, 0)
        model.program.row(weights, load.count, load.count)


def _input_row(model: Model, vehicle: Vehicle, unit: Unit) -> None:
    """As many switches on keypads as there are no inputs for."""
    if unit.module.inputs is not None:
        keys = {model.chosen[n]: len(o.members) for n, o in enumerate(model.options) if o.kind == "keypad"}
        model.program.row(keys, least=inputs_wanted(vehicle) - unit.module.inputs)


def _need_rows(model: Model, vehicle: Vehicle) -> None:
    for (n, load), weights in model.needs.items():
        model.program.row({**weights, model.chosen[n]: -vehicle.load(load).count}, most=0)


def _capacity_rows(model: Model, vehicle: Vehicle, unit: Unit, kinds: Kinds, capacities: Sequence[Capacity]) -> None:
    for capacity in capacities:
        weights = {v: w for number, w in capacity.weights for v in model.uses[number]}
        model.program.row(weights, most=capacity.most)
    for number, kind in enumerate(kinds):
        if kind.use != "single":
            model.program.row(dict.fromkeys(model.uses[number], 1), most=len(kind.slots))
    if vehicle.settings.spare_channels:
        widths = {v: kind.width for number, kind in enumerate(kinds) for v in model.uses[number]}
        model.program.row(widths, most=len(unit.module.channels) - vehicle.settings.spare_channels)
