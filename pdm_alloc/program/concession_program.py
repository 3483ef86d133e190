"""The program that finds the cheapest concessions: circuits of altered loads beside those of the loads as wanted."""

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from pdm_alloc.circuits.classes import Capacity, ChannelClass, Rating
from pdm_alloc.circuits.columns import CircuitBook, Counts, Fit, may_share
from pdm_alloc.circuits.items import ItemType, inputs_wanted, item_types, load_types, total_limit_ma
from pdm_alloc.circuits.wiring import Wiring
from pdm_alloc.domain.concession_options import Option, coil_name, concede
from pdm_alloc.domain.module import Unit
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.solver import PROVEN_BEST, Clock, Program, Solution
from pdm_alloc.program.stages import minimise
from pdm_alloc.program.sums import Sums, item_ma
from pdm_alloc.program.task import merge

__all__ = ["Model", "concession_model", "no_superset", "not_exactly", "opens"]


_VARIANTS = ("relay", "soft_start", "drop", "measure")  # concessions that alter one load, of which it takes one


_PRIME, _ROOT = 131_071, 3  # powers of a primitive root: equal sums of numbers have different sums of these


@dataclass(frozen=True, slots=True)
class _Variant:
    """A load as wanted (option None), or what a concession makes of it."""

    item: ItemType
    load: str
    option: int | None


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
    """

    program: Program
    options: tuple[Option, ...]
    chosen: list[int]
    wiring: Wiring
    book: CircuitBook
    late: Callable[[], bool] | None = None
    cover: dict[tuple[str, int | None], dict[int, float]] = field(default_factory=lambda: defaultdict(dict))
    needs: dict[tuple[int, str], dict[int, float]] = field(default_factory=lambda: defaultdict(dict))
    uses: dict[int, list[int]] = field(default_factory=lambda: defaultdict(list))

    def circuits(self, types: Sequence[ItemType], kind: ChannelClass, marks: tuple[str, ...] = ()) -> dict[Counts, Fit]:
        """Circuits of a command that a kind of channel bears; those with two forms of one load left out."""
        return self.book.circuits(tuple(types), kind.rating, self.wiring, self.late, marks)

    def bears(self, types: Sequence[ItemType], counts: Counts, kind: ChannelClass) -> bool:
        """Whether a kind of channel bears one circuit."""
        result = self.book.one(tuple(types), counts, kind.rating, self.wiring)
        return result is not None and result.made is not None

    def cheapest(self, clock: Clock) -> Solution:
        """The cheapest set that is left; of those that weigh the same one and the same, whichever solver is asked.

        The earlier of equals are preferred, then what a pseudo-random cost by number says.
        """
        weights = {v: float(o.weight) for v, o in zip(self.chosen, self.options, strict=True)}
        numbers = {v: float(n) for n, v in enumerate(self.chosen)}
        scatter = {v: float(pow(_ROOT, n + 1, _PRIME)) for n, v in enumerate(self.chosen)}
        stages = minimise(self.program, [weights, numbers, scatter], clock)
        return next((s for s in reversed(stages) if s.outcome == PROVEN_BEST), stages[0])

    def number(self, kind: str, subject: str) -> int | None:
        """Number of an option; None where it is not offered."""
        return next((n for n, o in enumerate(self.options) if (o.kind, o.subject) == (kind, subject)), None)


def concession_model(
    vehicle: Vehicle,
    unit: Unit,
    offered: Sequence[Option],
    book: CircuitBook,
    late: Callable[[], bool] | None = None,
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
        True stops the listing of circuits.

    Returns
    -------
    Model

    Raises
    ------
    TooManyCircuits
        A command has too many different loads.
    """
    program = Program()
    chosen = [program.variable(1) for _ in offered]
    model = Model(program, tuple(offered), chosen, book.wiring(vehicle), book, late)
    task = merge(vehicle, [unit]).task
    kinds = task.classes
    by_command = _variants(vehicle, unit, model)
    _total_rows(model, vehicle, unit, by_command)
    _input_row(model, vehicle, unit)
    if _is_hopeless(model, vehicle, by_command, kinds):
        program.row({}, least=1)
        return model
    for command, variants in by_command.items():
        _add_circuits(model, vehicle, command, variants, kinds)
    _add_joins(model, vehicle, by_command, kinds)
    _cover_rows(model, vehicle, [v for variants in by_command.values() for v in variants])
    _need_rows(model, vehicle)
    _capacity_rows(model, vehicle, unit, kinds, task.capacities)
    return model


def _is_hopeless(model: Model, vehicle: Vehicle, by_command, kinds: Sequence[ChannelClass]) -> bool:
    """Whether a row is missed with every concession made, or a load is borne in no form: no set will do then."""
    for weights, least, most in model.program.rows:
        lower, upper = sum(w for w in weights.values() if w < 0), sum(w for w in weights.values() if w > 0)
        if upper < least or lower > most:
            return True
    left_out = {o.subject for o in model.options if o.kind == "leave_out"}
    half = vehicle.settings.headroom_pct / 2
    for command, variants in by_command.items():
        less = model.number("headroom", command) is not None
        forms: dict[str, list[ItemType]] = defaultdict(list)
        for v in variants:
            forms[v.load] += [v.item, *([replace(v.item, headroom_pct=half)] if less else [])]
        for load, items in forms.items():
            borne = (model.bears([t], ((0, 1),), kind) for t in items for kind in kinds)
            if load not in left_out and not items[0].together and not any(borne):
                return True
    return False


def opens(vehicle: Vehicle, option: Option, ratings: Iterable[Rating], book: CircuitBook) -> bool:
    """Whether a kind of channel bears an item of a load only when the option is taken."""
    wiring = book.wiring(vehicle)
    alone = replace(vehicle, loads=(vehicle.load(option.subject),))
    (before,), (after,) = (load_types(v) for v in (alone, concede(alone, [option])))

    def bears(t: ItemType, rating: Rating) -> bool:
        result = book.one((t,), ((0, 1),), rating, wiring)
        return result is not None and result.made is not None

    return any(bears(after, rating) and not bears(before, rating) for rating in ratings)


def _variants(vehicle: Vehicle, unit: Unit, model: Model) -> dict[str, list[_Variant]]:
    """Every load as wanted and as each concession leaves it, by command."""
    found: dict[str, list[_Variant]] = defaultdict(list)
    for item in load_types(vehicle, [unit]):
        found[item.command].append(_Variant(item, item.load, None))
    for n, option in enumerate(model.options):
        if option.kind in _VARIANTS:
            item = _changed(concede(vehicle, [option]), option)
            found[item.command].append(_Variant(item, option.subject, n))
    return found


def _changed(vehicle: Vehicle, option: Option) -> ItemType:
    """What is left on the module of the load that an option has altered."""
    names = (option.subject, coil_name(option.subject))
    loads = tuple(load for load in vehicle.loads if load.name in names)
    return load_types(replace(vehicle, loads=loads))[0]


def _add_circuits(model: Model, vehicle: Vehicle, command: str, variants: list[_Variant], kinds) -> None:
    """Circuits at the headroom wanted, and those that only half of it allows."""
    less = model.number("headroom", command)
    half = vehicle.settings.headroom_pct / 2
    types = [_free_of_labels(model, v.item) for v in variants]
    marks = tuple(v.load for v in variants)
    for number, kind in enumerate(kinds):
        wanted = model.circuits(types, kind, marks)
        for counts in wanted:
            _add_circuit(model, variants, counts, number, kind, None)
        if less is not None:
            for counts in model.circuits([replace(t, headroom_pct=half) for t in types], kind, marks):
                if counts not in wanted:
                    _add_circuit(model, variants, counts, number, kind, less)


def _free_of_labels(model: Model, item: ItemType) -> ItemType:
    """Labels that can be given up do not keep circuits from being listed: they are charged for."""
    free = item.separate is not None and model.number("separation", item.separate) is not None
    return replace(item, separate=None) if free else item


def _add_circuit(model: Model, variants, counts: Counts, number: int, kind: ChannelClass, less: int | None) -> None:
    if not all(_where_locked(variants[n].item, kind) for n, _ in counts):
        return
    v = model.program.variable(min(len(kind.slots), *(variants[n].item.count // k for n, k in counts)))
    model.uses[number].append(v)
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


def _where_locked(item: ItemType, kind: ChannelClass) -> bool:
    return not item.locked or any("+".join(slot) in item.locked[0][1] for slot in kind.slots)


def _add_joins(model: Model, vehicle: Vehicle, by_command, kinds) -> None:
    """Everything of two commands on one channel."""
    for n, option in enumerate(model.options):
        if option.kind != "join":
            continue
        variants = [v for c in option.members for v in by_command[c] if v.option is None]
        both = tuple(x for x in vehicle.loads if x.command in option.members)
        joined = {t.load: t for t in load_types(concede(replace(vehicle, loads=both), [option]))}
        types = [_free_of_labels(model, replace(joined[v.load], locked=v.item.locked)) for v in variants]
        counts = tuple((i, t.count) for i, t in enumerate(types))
        uses = {}
        for number, kind in enumerate(kinds):
            if may_share(types, counts) and model.bears(types, counts, kind):
                uses[len(model.program.most)] = 1.0
                _add_circuit(model, variants, counts, number, kind, None)
        model.program.row({**uses, model.chosen[n]: -1}, 0, 0)


def _cover_rows(model: Model, vehicle: Vehicle, variants: Sequence[_Variant]) -> None:
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


def _capacity_rows(model: Model, vehicle: Vehicle, unit: Unit, kinds, capacities: Sequence[Capacity]) -> None:
    for capacity in capacities:
        weights = {v: w for number, w in capacity.weights for v in model.uses[number]}
        model.program.row(weights, most=capacity.most)
    for number, kind in enumerate(kinds):
        if kind.use != "single":
            model.program.row(dict.fromkeys(model.uses[number], 1), most=len(kind.slots))
    if vehicle.settings.spare_channels:
        widths = {v: kind.width for number, kind in enumerate(kinds) for v in model.uses[number]}
        model.program.row(widths, most=len(unit.module.channels) - vehicle.settings.spare_channels)


def _total_rows(model: Model, vehicle: Vehicle, unit: Unit, by_command) -> None:
    """Whole module under its worst combinations: what relays and loads left out take off it."""
    limit = total_limit_ma(vehicle, unit)
    margin = model.number("margin", "banks and whole module")
    regained = 0 if margin is None else total_limit_ma(concede(vehicle, [model.options[margin]]), unit) - limit
    for cut in Sums(vehicle, [unit], item_types(vehicle, [unit])).cuts:
        together = 0
        saved: dict[int, float] = defaultdict(float)
        for v in (v for name in sorted(cut.on) for v in by_command.get(name, ())):
            current = v.item.count * item_ma(v.item, cut, unit.module.settle_s)[0]
            together += current if v.option is None else 0
            _saving(model, v, current, saved)
        if margin is not None:
            saved[model.chosen[margin]] -= regained
        if cut.switched_on is None:
            model.program.row(saved, most=limit - together)


def _saving(model: Model, variant: _Variant, current: int, saved) -> None:
    """A relayed load leaves its coil; a load left out leaves nothing; a soft start changes no running current."""
    if variant.option is None:
        for kind in ("relay", "leave_out"):
            n = model.number(kind, variant.load)
            if n is not None:
                saved[model.chosen[n]] -= current
    elif model.options[variant.option].kind == "relay":
        saved[model.chosen[variant.option]] += current


def no_superset(model: Model, taken: Sequence[int]) -> None:
    """Refuse every set that contains these options."""
    model.program.row({model.chosen[n]: 1 for n in taken}, most=len(taken) - 1)


def not_exactly(model: Model, taken: Sequence[int]) -> None:
    """Refuse this very set of options."""
    signs = {v: (-1.0 if n in taken else 1.0) for n, v in enumerate(model.chosen)}
    model.program.row(signs, least=1 - len(taken), most=math.inf)
