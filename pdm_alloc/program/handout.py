"""Channels, pins and items dealt out in canonical order, and what is built kept where it is."""

from collections import Counter, defaultdict, deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.partition import Column, Task, circuit_on, empty_task, key_of
from pdm_alloc.program.signal_program import NEW_CONNECTOR, SignalProgram, SignalType
from pdm_alloc.program.solver import Program

__all__ = [
    "MOVES",
    "Handed",
    "Keeping",
    "NoSolution",
    "PinUse",
    "Wired",
    "hand_out",
    "hand_out_pins",
    "in_columns",
    "keeping",
    "staying",
    "wired_task",
]


class Handed(NamedTuple):
    """A circuit on named channels with named items.

    Parameters
    ----------
    unit : int
        Number of the unit.
    use : str
        ``single``, ``pair`` or ``bridge``.
    channels : tuple of str
        One or two.
    command : str
        Of all its items.
    items : tuple of (str, int)
        Load and item number.
    """

    unit: int
    use: str
    channels: tuple[str, ...]
    command: str
    items: tuple[tuple[str, int], ...]


class NoSolution(Exception):
    """The solver's numbers take more items or channels than there are."""


def hand_out(task: Task, values: tuple[int, ...]) -> list[Handed]:
    """Give every chosen circuit its channels and its items, the same way whatever order the rows came in.

    Parameters
    ----------
    task : Task
        Columns and classes.
    values : tuple of int
        How often each column is chosen.

    Returns
    -------
    list of tuple
        Unit number, use, channels, command, items; by unit and channel.

    Raises
    ------
    NoSolution
        There are not so many items or channels.
    """
    return sorted((h for _, h in in_columns(task, values)), key=lambda h: (h.unit, natural_key(h.channels[0])))


def in_columns(task: Task, values: tuple[int, ...]) -> list[tuple[int, Handed]]:
    """As `hand_out`, in the order of the columns, each circuit with the number of its column."""
    if any(taken > len(task.classes[c.channel_class].slots) for c, taken in zip(task.columns, values, strict=True)):
        raise NoSolution
    numbers = [v for v in range(len(task.columns)) for _ in range(values[v])]
    chosen = [task.columns[v] for v in numbers]
    try:
        channels, items = _channels(task, chosen), _handout_items(task, chosen)
    except (IndexError, StopIteration):
        raise NoSolution from None
    classes = [task.classes[c.channel_class] for c in chosen]
    return [
        (numbers[n], Handed(classes[n].unit, classes[n].use, channels[n], c.command, items[n]))
        for n, c in enumerate(chosen)
    ]


def _channels(task: Task, chosen: list[Column]) -> dict[int, tuple[str, ...]]:
    """Channels of each circuit, doubles first: singles can take any free channel of their class."""
    taken: set[tuple[int, str]] = set()
    slots = {}
    free = [iter(c.slots) for c in task.classes]  # what is taken stays so: nobody looks at it twice
    order = sorted(range(len(chosen)), key=lambda n: (-task.classes[chosen[n].channel_class].width, n))
    for n in order:
        number = chosen[n].channel_class
        channel_class = task.classes[number]
        slot = next(s for s in free[number] if not any((channel_class.unit, name) in taken for name in s))
        taken.update((channel_class.unit, name) for name in slot)
        slots[n] = slot
    return slots


def _handout_items(task: Task, chosen: list[Column]) -> dict[int, tuple[tuple[str, int], ...]]:
    """Items of each circuit, dealt in canonical order: those of a type are interchangeable."""
    left = {(command, n): deque(t.items) for command, types in task.types.items() for n, t in enumerate(types)}
    dealt: dict[int, list[tuple[str, int]]] = defaultdict(list)
    for number, column in enumerate(chosen):
        for n, k in column.counts:
            pool = left[column.command, n]
            dealt[number] += [pool.popleft() for _ in range(k)]
    return {number: tuple(sorted(items)) for number, items in dealt.items()}


MOVES = "wires moved or added"

Item = tuple[str, int]

Items = tuple[Item, ...]

Wired = tuple[str, tuple[str, ...], tuple[Item, ...]]

"""Label of a unit, channels, items on them."""

Spot = tuple[int, tuple[str, ...]]


@dataclass(frozen=True)
class Keeping:
    """A task in which what is wired can stay.

    Parameters
    ----------
    task : Task
        Its last columns are the pinned ones.
    wired : dict of (int, tuple of str) to tuple of (str, int)
        Items by unit number and channels, as they are now.
    pins : dict of int to (int, tuple of str)
        Unit number and channels of each pinned column.
    """

    task: Task
    wired: dict[Spot, tuple[Item, ...]]
    pins: dict[int, Spot]

    def cost(self) -> dict[int, float]:
        """Items that do not stay, by column: wires to be moved, and those to be added whatever is done."""
        costs = {v: _moves_items(column) - self._staying(v, column) for v, column in enumerate(self.task.columns)}
        return {v: cost for v, cost in costs.items() if cost}

    def least_moves(self) -> int:
        """Items that are nowhere yet: they have to be added whatever is done."""
        there = Counter(load for items in self.wired.values() for load, _ in items)
        every = Counter(load for t in self.task.all_types() for load, _ in t.items)
        return sum((every - there).values())

    def values_of(self, columns: Sequence[Column], stay: Mapping[Spot, Column]) -> tuple[int, ...]:
        """How often each column is chosen, where circuits that stay are pinned; the first of `columns` may be those."""
        numbers = {key_of(c): v for v, c in enumerate(self.task.columns) if v not in self.pins}
        pins = {(spot, key_of(self.task.columns[v])): v for v, spot in self.pins.items()}
        left, values = Counter(key_of(c) for c in columns), [0] * len(self.task.columns)
        for spot, column in stay.items():
            if left[key_of(column)] and (spot, key_of(column)) in pins:
                left[key_of(column)] -= 1
                values[pins[spot, key_of(column)]] = 1
        for key, times in left.items():
            values[numbers[key]] += times
        return tuple(values)

    def hold(self, program: Program) -> None:
        """Add the rows by which no two circuits are pinned to one channel."""
        by_spot: dict[Spot, dict[int, float]] = defaultdict(dict)
        for v, spot in self.pins.items():
            by_spot[spot][v] = 1
        for weights in by_spot.values():
            program.row(weights, most=1)

    def hand_out(self, values: tuple[int, ...]) -> list[Handed]:
        """As `pdm_alloc.program.handout.hand_out`, pinned circuits where they are pinned, items where they were."""
        return _dealt(self.task, hand_out(self._split(values), values), self.wired)

    def _staying(self, v: int, column: Column) -> int:
        channel_class = self.task.classes[column.channel_class]
        spot = self.pins.get(v, (channel_class.unit, channel_class.slots[0]) if len(channel_class.slots) == 1 else None)
        return 0 if spot is None else _stay(self.task, column, self.wired.get(spot, ()))

    def _split(self, values: tuple[int, ...]) -> Task:
        """The task with each channel that a chosen column is pinned to as a class of its own."""
        classes, columns = list(self.task.classes), list(self.task.columns)
        for v, (_, slot) in self.pins.items():
            if values[v]:
                number = columns[v].channel_class
                columns[v] = replace(columns[v], channel_class=len(classes))
                classes.append(replace(classes[number], slots=(slot,)))
                classes[number] = replace(classes[number], slots=tuple(s for s in classes[number].slots if s != slot))
        return replace(self.task, classes=tuple(classes), columns=tuple(columns))


def wired_task(vehicle: Vehicle, units: Sequence[Unit], wired: Iterable[Wired]) -> tuple[Task, dict[Spot, Items]]:
    """A task without columns that tells apart what is wired, and what is wired where.

    Parameters
    ----------
    vehicle : Vehicle
        As it is to be.
    units : sequence of Unit
        Fitted.
    wired : iterable of (str, tuple of str, tuple of (str, int))
        What is built. Units, channels and loads are looked up by name; those that are no more count for nothing.

    Returns
    -------
    Task, dict of (int, tuple of str) to tuple of (str, int)
    """
    spots = _spots(vehicle, units, wired)
    apart = {(unit, name): name for unit, channels in spots for name in channels if _doubles(units[unit], name)}
    return empty_task(_told_apart(vehicle, spots), units, apart), spots


def staying(task: Task, spots: Mapping[Spot, Items], book: CircuitBook) -> dict[Spot, Column]:
    """The circuits that are wired, as columns, where they are still allowed."""
    type_of = {item: (c, n) for c, types in task.types.items() for n, t in enumerate(types) for item in t.items}
    columns = {}
    for (unit, channels), items in spots.items():
        counts = Counter(type_of[item] for item in items if item in type_of)
        numbers = [m for m, c in enumerate(task.classes) if c.unit == unit and channels in c.slots]
        if len({command for command, _ in counts}) == 1 and numbers:
            command = next(iter(counts))[0]
            chosen = tuple(sorted((n, k) for (_, n), k in counts.items()))
            column = circuit_on(task, command, chosen, numbers[0], book)
            if column is not None:
                columns[unit, channels] = column
    return columns


def keeping(task: Task, spots: dict[Spot, Items]) -> Keeping:
    """The task with a column more for every circuit that leaves something on the channel where it is."""
    pinned = list(_pinned(task, spots))
    pins = {len(task.columns) + n: spot for n, (spot, _) in enumerate(pinned)}
    return Keeping(replace(task, columns=(*task.columns, *(column for _, column in pinned))), spots, pins)


def _spots(vehicle: Vehicle, units: Sequence[Unit], wired: Iterable[Wired]) -> dict[Spot, tuple[Item, ...]]:
    numbers = {unit.label: n for n, unit in enumerate(units)}
    channels = [{channel.name for channel in unit.module.channels} for unit in units]
    loads = {load.name for load in vehicle.loads}
    spots = {}
    for label, names, items in wired:
        staying = tuple(item for item in items if item[0] in loads)
        if staying and label in numbers and channels[numbers[label]].issuperset(names):
            spots[numbers[label], names] = staying
    return dict(sorted(spots.items(), key=lambda pair: (pair[0][0], [natural_key(name) for name in pair[0][1]])))


def _doubles(unit: Unit, name: str) -> bool:
    channel = unit.module.channel(name)
    return bool(channel.pair or channel.bridge)


def _told_apart(vehicle: Vehicle, spots: dict[Spot, tuple[Item, ...]]) -> Vehicle:
    """Loads with fewer items than are wired must not count as others alike: it matters whose items go.

    A label that no other load has changes nothing but that.
    """
    wired = Counter(load for items in spots.values() for load, _ in items)
    loads = (
        replace(load, separate=f"\0{load.name}") if wired[load.name] > load.count and not load.separate else load
        for load in vehicle.loads
    )
    return replace(vehicle, loads=tuple(loads))


def _pinned(task: Task, spots: dict[Spot, tuple[Item, ...]]) -> Iterator[tuple[Spot, Column]]:
    """Circuits that leave something where it is, on channels that are not a class of their own."""
    of_class: dict[int, list[Column]] = defaultdict(list)
    for column in task.columns:
        of_class[column.channel_class].append(column)
    homes = {load: command for command, types in task.types.items() for t in types for load, _ in t.items}
    for (unit, channels), items in spots.items():
        commands = {homes.get(load) for load, _ in items}  # of 1,000 loads every column was held against every channel
        for number, channel_class in enumerate(task.classes):
            if channel_class.unit == unit and len(channel_class.slots) > 1 and channels in channel_class.slots:
                for column in of_class[number]:
                    if column.command in commands and _stay(task, column, items):
                        yield (unit, channels), replace(column, most=1)


def _stay(task: Task, column: Column, items: Iterable[Item]) -> int:
    """Number of a circuit's items that are among those wired to its channel."""
    here = Counter(load for load, _ in items)
    types = task.types[column.command]
    return sum(min(k, sum(here[load] for load in {load for load, _ in types[n].items})) for n, k in column.counts)


def _moves_items(column: Column) -> int:
    return sum(k for _, k in column.counts)


def _dealt(task: Task, handed: list[Handed], wired: dict[Spot, tuple[Item, ...]]) -> list[Handed]:
    """Items reassigned within their types: each circuit keeps first those already wired to it."""
    left: dict[Item, int] = {}
    types = {item: n for n, t in enumerate(task.all_types()) for item in t.items}
    wanted = [Counter(types[item] for item in h.items) for h in handed]
    left = dict(sorted(types.items(), key=lambda pair: pair[1]))
    taken: list[list[Item]] = [[] for _ in handed]
    for circuit, need, mine in zip(handed, wanted, taken, strict=True):
        for item in wired.get((circuit.unit, circuit.channels), ()):
            _take(item, left, need, mine)
    for need, mine in zip(wanted, taken, strict=True):
        for item in [i for i, n in left.items() if need[n]]:
            _take(item, left, need, mine)
    return [h._replace(items=tuple(sorted(mine))) for h, mine in zip(handed, taken, strict=True)]


def _take(item: Item, left: dict[Item, int], need: Counter[int], mine: list[Item]) -> None:
    if item in left and need[left[item]]:
        need[left[item]] -= 1
        del left[item]
        mine.append(item)


@dataclass(frozen=True, slots=True)
class PinUse:
    """One item of a signal, the box it is on, its pins, and the shared pins that feed it.

    Parameters
    ----------
    signal : str
        Name of the signal.
    item : int
        Number of the item, from 1.
    box : str
        Label of the box.
    pins : tuple of str
        Labels of its pins.
    supply, ground : str or None
        Labels of the 5 V supply and of the sensor ground it shares; None: it needs none.
    """

    signal: str
    item: int
    box: str
    pins: tuple[str, ...]
    supply: str | None = None
    ground: str | None = None


def hand_out_pins(model: SignalProgram, values: tuple[int, ...], count: int) -> tuple[PinUse, ...]:
    """Pins of every item.

    Parameters
    ----------
    model : SignalProgram
        The program.
    values : tuple of int
        Its solution.
    count : int
        How many of its types are signals of the vehicle; those after it stand for moved ones and get no pins here.

    Returns
    -------
    tuple of PinUse
        By type, then in natural order of the names.
    """
    places = _places(model, values)
    uses: list[PinUse] = []
    kinds: list[SignalType] = []
    for t in range(count):
        items = iter(model.types[t].members)
        for label in sorted({label for kind, label in places if kind == t}, key=_label_order(model)):
            taken = [(next(items), pins) for pins in places[t, label]]
            names = [item[0] for item, _ in taken]
            fed = {word: _feeds(model, values, t, label, word, names) for word in model.types[t].supplies}
            uses += [_use(item, label, pins, n, fed) for n, (item, pins) in enumerate(taken)]
            kinds += [model.types[t]] * len(taken)
    shared = dict.fromkeys((p.box.label, p.word) for p in model.pins.shared)
    grown = {p.box.label for p in model.pins.shared if p.pin.connector == NEW_CONNECTOR}
    for label, word in (key for key in shared if key[0] not in grown):
        _even_out(model, uses, kinds, label, word)
    return tuple(uses)


_FULL = Fraction(4, 5)  # of what a sensor supply or ground bears; above it sensors are dealt out evenly; our choice


def _even_out(model: SignalProgram, uses: list[PinUse], kinds: Sequence[SignalType], label: str, word: str) -> None:
    """Deal sensors anew over the supplies or grounds of a box where one is nearly full: largest first, to the emptiest.

    Nothing changes where the fullest would not be emptier, or more tracks of a vital sensor would share a pin.
    """
    limits = {p.pin.label: p.pin.max_ma or 0 for p in model.pins.shared if (p.box.label, p.word) == (label, word)}
    before = {
        n: str(pin)
        for n, use in enumerate(uses)
        if use.box == label and (pin := use.supply if word == "supply_5v" else use.ground)
    }
    after = _dealt_out(uses, kinds, before, limits)

    def strained(fed: Mapping[int, str]) -> tuple[int, Fraction]:
        apart = {(uses[n].signal, pin) for n, pin in fed.items() if kinds[n].has_tracks}
        return -len(apart), max((_share(kinds, fed, pin, limits) for pin in limits), default=Fraction(0))

    if len(after) == len(before) and strained(before)[1] > _FULL and strained(after) < strained(before):
        for n, pin in after.items():
            uses[n] = replace(uses[n], supply=pin) if word == "supply_5v" else replace(uses[n], ground=pin)


def _share(kinds: Sequence[SignalType], fed: Mapping[int, str], pin: str, limits: Mapping[str, int]) -> Fraction:
    drawn = sum(kinds[n].current_ma for n, at in fed.items() if at == pin)
    return Fraction(drawn, limits[pin]) if limits[pin] else Fraction(0)


def _dealt_out(
    uses: Sequence[PinUse], kinds: Sequence[SignalType], items: Iterable[int], limits: Mapping[str, int]
) -> dict[int, str]:
    """A pin for each item, the largest current first; items that find none are left out."""
    fed: dict[int, str] = {}
    for n in sorted(items, key=lambda n: (-kinds[n].current_ma, n)):
        tracks = {fed[m] for m in fed if kinds[n].has_tracks and uses[m].signal == uses[n].signal}
        tried = {pin: _share(kinds, {**fed, n: pin}, pin, limits) for pin in limits}
        room = [pin for pin, share in tried.items() if share <= 1]
        if room:
            fed[n] = min(room, key=lambda pin: (pin in tracks, tried[pin]))
    return fed


def _label_order(model: SignalProgram) -> Callable[[str], int]:
    order = {c.box.label: n for n, c in enumerate(model.pins.classes)}
    return order.__getitem__


def _use(item: tuple[str, int], label: str, pins: tuple[str, ...], n: int, fed: Mapping[str, Sequence[str]]) -> PinUse:
    shared = {word: pins_of_word[n] for word, pins_of_word in fed.items()}
    name, number = item
    return PinUse(name, number, label, pins, shared.get("supply_5v"), shared.get("sensor_ground"))


def _feeds(
    model: SignalProgram, values: Sequence[int], t: int, label: str, word: str, names: Sequence[str]
) -> list[str]:
    """The shared pin of each item of a type in one box, in their order; by turns where they are tracks of a sensor."""
    pins = [(s, p) for s, p in enumerate(model.pins.shared) if (p.box.label, p.word) == (label, word)]
    left = {p.pin.label: values[model.shared[t, s]] for s, p in pins}
    if not model.types[t].has_tracks:
        return [pin for pin, n in left.items() for _ in range(n)]
    tracks_first = sorted(range(len(names)), key=lambda n: names.count(names[n]) == 1)
    turns = dict(zip(tracks_first, _by_turns(left), strict=True))
    return [turns[n] for n in range(len(names))]


def _by_turns(left: Mapping[str, int]) -> list[str]:
    """Each pin as often as it feeds, the same one twice in a row only where no other is left."""
    rest, turns = dict(left), list[str]()
    for _ in range(sum(left.values())):
        others = [pin for pin, n in rest.items() if n and pin not in turns[-1:]]
        pin = max(others or [pin for pin, n in rest.items() if n], key=lambda pin: rest[pin])
        rest[pin] -= 1
        turns.append(pin)
    return turns


def _places(model: SignalProgram, values: Sequence[int]) -> dict[tuple[int, str], list[tuple[str, ...]]]:
    """Pins of each whole signal by type and box: pairs first, what they leave to single pins and bridges."""
    places: dict[tuple[int, str], list[tuple[str, ...]]] = defaultdict(list)
    used: set[int] = set()
    for p, pair in enumerate(model.pins.pairs):
        queue = iter(pair.pairs)
        for t in range(len(model.types)):
            for _ in range(values[model.pair[t, p]] if (t, p) in model.pair else 0):
                couple = next(queue)
                used.update(map(id, couple))
                places[t, pair.box.label].append(tuple(pin.label for pin in couple))
    halves: dict[tuple[int, str], list[str]] = defaultdict(list)
    for c, group in enumerate(model.pins.classes):
        free = iter([pin for pin in group.pins if id(pin) not in used])
        for t in range(len(model.types)):
            for _ in range(values[model.single[t, c]] if (t, c) in model.single else 0):
                places[t, group.box.label].append((next(free).label,))
            for _ in range(values[model.half[t, c]] if (t, c) in model.half else 0):
                halves[t, group.box.label].append(next(free).label)
    for key, labels in halves.items():
        places[key] += [tuple(labels[n : n + 2]) for n in range(0, len(labels), 2)]
    return places
