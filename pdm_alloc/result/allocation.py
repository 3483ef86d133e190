"""What `allocate` gives: an allocation with its tables and warnings, or the refusal of units that are not enough."""

from collections.abc import Iterator, Sequence
from dataclasses import astuple, dataclass, field, fields, replace
from functools import cached_property
from itertools import groupby

import pandas as pd

from pdm_alloc.circuits.columns import CircuitBook
from pdm_alloc.circuits.items import inputs_wanted, item_types
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.showing import counted, handed_out, headline_table, percent
from pdm_alloc.domain.vehicle import State, Vehicle
from pdm_alloc.program.sums import Sums, Worst
from pdm_alloc.result import channel_tables
from pdm_alloc.result.bench_tables import SignalWiring, bench_sheet_table, joined, segments_table, shopping_table
from pdm_alloc.result.care_circuits import CIRCUIT_RULES, WIRE_RULES, through_pins
from pdm_alloc.result.care_rules import CAUTION, SEVERITIES, UNIT_RULES, VEHICLE_RULES, CareWarning
from pdm_alloc.result.channel_tables import settings_table
from pdm_alloc.result.cut_list import Cut, cut_table, cuts, unlike
from pdm_alloc.result.link_tables import (
    ReturnWire,
    ground_plan_table,
    ground_points_table,
    heat_table,
    links_table,
    parked_table,
    returns,
    voltages_table,
)
from pdm_alloc.result.placed import PlacedCircuit, WiredCircuit, place_of, wire_circuits
from pdm_alloc.result.supply_tables import drops_table, feeds_table, supply_table, wires_table
from pdm_alloc.result.worst import change_in_words, inputs_in_words

__all__ = [
    "CAUTION",
    "SEVERITIES",
    "SHORTFALL",
    "WARNINGS",
    "Allocation",
    "CareWarning",
    "NotEnough",
    "Short",
    "Unsolved",
    "all_warnings",
    "amps",
    "are_not_enough",
    "arithmetic_shorts",
    "care",
    "in_words_short",
    "plural",
    "table_shorts",
    "tightest",
    "warnings_table",
]

SHORTFALL = ("set", "kind", "subject", "state", "have", "need", "short", "unit", "needed_by", "sentence")

_FEW = 3

_ASK = "no allocation keeps every limit (pdm_alloc.explain says what is short)"


@dataclass(frozen=True, slots=True)
class Short:
    """By how much one kind of limit misses.

    Parameters
    ----------
    kind : str
        Kind of limit.
    subject, state : str
        Which bank, channel or load; in which state, where one matters.
    have, need : float
        What there is and what it takes, in `unit`.
    unit : str
        ``A``, ``channels``, ``inputs``, ``V``.
    sentence : str
        The same for a person.
    needed_by : str
        Loads or commands that need it.
    group : int
        Shorts of one group belong together: growing all of them, and nothing else, is enough. 0: it
        is missed whatever else grows, and growing it is not enough alone.
    """

    kind: str
    subject: str
    state: str
    have: float
    need: float
    unit: str
    sentence: str
    needed_by: str = ""
    group: int = 0

    def row(self) -> tuple[int, str, str, str, float, float, float, str, str, str]:
        """As a row of the table `SHORTFALL`."""
        short = round(abs(self.need - self.have), 3)
        where = (self.kind, self.subject, self.state)
        return (self.group, *where, self.have, self.need, short, self.unit, self.needed_by, self.sentence)

    def for_whom(self) -> str:
        """The sentence, with the loads it is short for where they are few and not named in it already."""
        names = self.needed_by.split(", ") if self.needed_by else []
        # Channels are short for all loads alike.
        is_said = self.kind == "channels" or not 1 <= len(names) <= _FEW or self.needed_by in self.sentence
        return self.sentence if is_said else f"{self.sentence} (for {self.needed_by})"


def in_words_short(shorts: Sequence[Short]) -> str:
    """What is short, as one phrase; empty where nothing is named."""
    return " and ".join(short.for_whom() for short in shorts)


def are_not_enough(units: Sequence[Unit]) -> str:
    """``compact-31 is not enough``, ``a and b are not enough``."""
    return f"{' and '.join(u.label for u in units)} {'is' if len(units) == 1 else 'are'} not enough"


class NotEnough(Exception):
    """The units cannot carry the vehicle within every limit; proved.

    It holds data only: `pdm_alloc.explain` works out what is short and what could be given up.

    Parameters
    ----------
    vehicle : Vehicle
        What was to be wired.
    units : sequence of Unit
        What was fitted.
    shorts : sequence of Short
        Limits that any allocation misses, from arithmetic before the solve; empty where arithmetic
        alone has no objection.
    book : CircuitBook, optional
        Circuits of the vehicle worked out before it was refused, for `pdm_alloc.explain`; not pickled.

    Attributes
    ----------
    outcome : str
        ``not enough``.
    """

    outcome = "not enough"

    def __init__(
        self, vehicle: Vehicle, units: Sequence[Unit], shorts: Sequence[Short] = (), book: CircuitBook | None = None
    ):
        self.vehicle, self.units, self.shorts, self.book = vehicle, tuple(units), tuple(shorts), book
        super().__init__()

    def __reduce__(self) -> tuple[type["NotEnough"], tuple[Vehicle, tuple[Unit, ...], tuple[Short, ...]]]:
        """Pickled with its data, so that it can cross from one process to another."""
        return type(self), (self.vehicle, self.units, self.shorts)

    def __str__(self) -> str:
        """One line from the data there is; nothing is solved for it."""
        return f"{are_not_enough(self.units)}: {in_words_short(self.shorts) or _ASK}"

    def __repr__(self) -> str:
        """The same, with what it is."""
        return f"<NotEnough: {self}>"

    def _repr_html_(self) -> str:
        rows = [(s.kind, s.have, s.need, s.unit, s.sentence) for s in self.shorts]
        return headline_table(str(self), ("kind", "have", "need", "unit", "what is short"), rows)


class Unsolved(Exception):
    """The solver stopped without an allocation and without a proof that there is none.

    Parameters
    ----------
    outcome : str
        ``no answer in time`` or ``failed``.
    sentence : str
        What to do about it.
    """

    def __init__(self, outcome: str, sentence: str):
        self.outcome, self.sentence = outcome, sentence
        super().__init__(sentence)

    def __reduce__(self) -> tuple[type["Unsolved"], tuple[str, str]]:
        """Pickled with both words."""
        return type(self), (self.outcome, self.sentence)

    def __repr__(self) -> str:
        """Outcome and sentence."""
        return f"<Unsolved: {self.outcome}: {self.sentence}>"


def arithmetic_shorts(vehicle: Vehicle, units: Sequence[Unit]) -> list[Short]:
    """Limits that are missed whichever load goes on which channel.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted; whole-module currents are judged only where there is one.

    Returns
    -------
    list of Short
        Empty where arithmetic alone has no objection.
    """
    shorts = table_shorts(vehicle, units)
    if len(units) == 1:
        shorts += _sums_missed(vehicle, units[0])
    return shorts


def table_shorts(vehicle: Vehicle, units: Sequence[Unit]) -> list[Short]:
    """Those of `arithmetic_shorts` that take no sum of currents: inputs and supply voltage."""
    return [*_inputs(vehicle, units), *_supply(vehicle, units)]


def _inputs(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[Short]:
    counts = [u.module.inputs for u in units]
    if any(n is None for n in counts):
        return
    have, need = sum(n for n in counts if n is not None), inputs_wanted(vehicle)
    if need > have:
        text = f"{plural(need - have, 'more input')} ({need} switches and senders against {have})"
        yield Short("inputs", "inputs", "", have, need, "inputs", text)


def _supply(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[Short]:
    for unit in units:
        for state in vehicle.states:
            volt, low, high = state.supply_v, unit.module.supply_min_v, unit.module.supply_max_v
            if low is not None and volt < low:
                yield _volts(unit, state, low, f"works down to {low:g} V")
            elif high is not None and volt > high:
                yield _volts(unit, state, high, f"works up to {high:g} V")


def _volts(unit: Unit, state: State, limit: float, what: str) -> Short:
    text = f"{unit.label} {what}, and {state.name} has {state.supply_v:g} V"
    return Short("supply voltage", unit.label, state.name, limit, state.supply_v, "V", text)


def _sums_missed(vehicle: Vehicle, unit: Unit) -> Iterator[Short]:
    """What the whole module misses, in the state and at the voltage at which it misses most."""
    types = item_types(vehicle, [unit])
    sums = Sums(vehicle, [unit], types)
    missed = sorted(sums.missed(), key=lambda worst: (worst.limit.is_peak, -worst.amount_ma))
    for is_peak, group in groupby(missed, key=lambda worst: worst.limit.is_peak):
        gravest, *others = group
        also = [name for name in dict.fromkeys(w.scene.state for w in others) if name != gravest.scene.state]
        yield _at_once(vehicle, unit, "whole module peak" if is_peak else "whole module", sums.trimmed(gravest), also)


def _at_once(vehicle: Vehicle, unit: Unit, kind: str, worst: Worst, also: list[str]) -> Short:
    have, need, state = worst.limit.most_ma, worst.amount_ma, worst.scene.state
    more = "more peak" if worst.limit.is_peak else "more"
    change = f", then {change_in_words(worst)}" if worst.changed is not None else ""
    text = f"{amps(need - have)} {more} in the state {state} ({amps(need)} against {amps(have)}: "
    text += f"{inputs_in_words(vehicle, worst.inputs)}{change})"
    text += f", and less in {', '.join(also)}" if also else ""
    return Short(kind, unit.label, state, have / 1000, need / 1000, "A", text)


def amps(milliamps: int) -> str:
    """As a person writes it, rounded up to a tenth above 1 A: ``12 A``, ``0.35 A``."""
    tenths = -(-milliamps // 100)
    return f"{tenths / 10:g} A" if milliamps >= 1000 else f"{milliamps / 1000:g} A"


def plural(number: int, what: str) -> str:
    """``1 channel``, ``2 channels``."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def care(
    vehicle: Vehicle, units: Sequence[Unit] = (), circuits: Sequence[PlacedCircuit] = ()
) -> tuple[CareWarning, ...]:
    """All warnings of a vehicle, and of its units and circuits where there are any.

    Parameters
    ----------
    vehicle : Vehicle
        Checked tables.
    units : sequence of Unit
        Modules fitted.
    circuits : sequence of PlacedCircuit
        Circuits on their channels; empty: only what the tables alone show.

    Returns
    -------
    tuple of CareWarning
        Gravest first, then by code and subject.
    """
    warnings = [warning for rule in VEHICLE_RULES for warning in rule(vehicle)]
    warnings += [warning for rule in UNIT_RULES for warning in rule(vehicle, units)]
    if circuits:
        warnings += [warning for rule in CIRCUIT_RULES for warning in rule(vehicle, units, circuits)]
    return tuple(_gravest_first(warnings))


WARNINGS = tuple(field.name for field in fields(CareWarning))


def warnings_table(
    vehicle: Vehicle,
    units: Sequence[Unit] = (),
    wired: Sequence[WiredCircuit] = (),
    signals: Sequence[CareWarning] = (),
) -> pd.DataFrame:
    """One row per rule that warns, gravest first: code, severity, subject, sentence, remedy."""
    warnings = all_warnings(vehicle, units, wired, signals)
    return pd.DataFrame([astuple(w) for w in warnings], columns=list(WARNINGS))


def all_warnings(
    vehicle: Vehicle, units: Sequence[Unit], wired: Sequence[WiredCircuit], signals: Sequence[CareWarning] = ()
) -> list[CareWarning]:
    """Rules of care, what wires and battery cables show, and warnings of the signal side, gravest first."""
    warnings = [*care(vehicle, units, [w.circuit for w in wired])]
    warnings += [warning for rule in WIRE_RULES for warning in rule(vehicle, units, wired)]
    return _gravest_first([*warnings, *signals])


def _gravest_first(warnings: Sequence[CareWarning]) -> list[CareWarning]:
    return sorted(warnings, key=lambda w: (SEVERITIES.index(w.severity), w.code, natural_key(w.subject)))


_SHOWN = ("module", "channel", "command", "loads", "running_a", "limit_a", "headroom_pct")


@dataclass(frozen=True, repr=False)
class Allocation:
    """Loads allocated to channels.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : tuple of Unit
        What is fitted.
    circuits : tuple of PlacedCircuit
        By unit and channel.
    strategy : str
        ``isolate`` or ``spare``.
    outcome : str
        ``proven best`` or ``best so far``.
    gap : float
        Between its value and the proved bound, 0 when closed.
    objectives : tuple of (str, float)
        Objectives in order and their values.
    unproved : str
        Which of them the gap is of; every one before it is proved best. Not kept in a saved allocation.
    signals : SignalSide or None
        Sensors, actuators and the bus beside it, part of all documents; None: there are none.
    conditions : tuple of str
        Margins and guesses that `vehicle` was wanted with and that are not kept. Not kept in a saved allocation.
    """

    vehicle: Vehicle
    units: tuple[Unit, ...]
    circuits: tuple[PlacedCircuit, ...]
    strategy: str = "isolate"
    outcome: str = "proven best"
    gap: float = 0.0
    objectives: tuple[tuple[str, float], ...] = field(default=(), compare=False)
    unproved: str = field(default="", compare=False)
    signals: SignalWiring | None = field(default=None, hash=False)
    conditions: tuple[str, ...] = field(default=(), compare=False)

    def with_signals(self, signals: SignalWiring | None) -> "Allocation":
        """The same allocation with a signal side beside it."""
        return replace(self, signals=signals)

    @handed_out
    def channels(self) -> pd.DataFrame:
        """One row per circuit: where it is, what is on it, its currents (A) and limits, headroom in per cent."""
        return channel_tables.channels(self.vehicle, self.units, self.circuits)

    @handed_out
    def assignments(self) -> pd.DataFrame:
        """A row an item: load, item number, module, channel."""
        return channel_tables.assignments(self.vehicle, self.circuits)

    @handed_out
    def spare(self) -> pd.DataFrame:
        """One row per spare channel, with its continuous rating in A."""
        return channel_tables.spare(self.units, self.circuits)

    @handed_out
    def headroom(self) -> pd.DataFrame:
        """Banks and whole modules in every state: module, subject, state, current_a, limit_a, headroom_pct."""
        return channel_tables.states(self.vehicle, self.units, self.circuits)

    @cached_property
    def wired(self) -> tuple[WiredCircuit, ...]:
        """Trip setting and wire of every circuit, in the order of `circuits`."""
        return wire_circuits(self.vehicle, self.units, self.circuits)

    @handed_out
    def wires(self) -> pd.DataFrame:
        """One row per circuit: its wire, what it carries (A), the worst voltage drop on it (per cent), its mass (g)."""
        return wires_table(self.vehicle, self.wired)

    @handed_out
    def settings(self) -> pd.DataFrame:
        """One row per circuit: trip current to set (A), inrush window (ms), and by how much its loads pass them."""
        return settings_table(self.vehicle, self.wired)

    @handed_out
    def drops(self) -> pd.DataFrame:
        """One row per load and circuit: drop from module to load (V, per cent), what is allowed, drop of the feed."""
        return drops_table(self.vehicle, self.units, self.wired)

    @handed_out
    def supply(self) -> pd.DataFrame:
        """One row per operating state: average and peak current against charging (A), charge carried on (Ah)."""
        return supply_table(self.vehicle)

    @handed_out
    def voltages(self) -> pd.DataFrame:
        """One row per state and load that is on: voltage at module and load (V) against the lowest it works at."""
        return voltages_table(self.vehicle, self.units, self.wired)

    @handed_out
    def warnings(self) -> pd.DataFrame:
        """Rules of care, gravest first: code, severity, subject, sentence, remedy."""
        side = self.signals
        beside = () if side is None else (*side.care(), *through_pins(self.vehicle, self.drops, side.ground_plan()))
        return warnings_table(self.vehicle, self.units, self.wired, beside)

    @handed_out
    def segments(self) -> pd.DataFrame:
        """One row per route: length (m), wires in it, most loaded at once, diameter of the bundle (mm), mass (g)."""
        return segments_table(self.vehicle, self.wired, self.signals.strands if self.signals else ())

    @handed_out
    def feeds(self) -> pd.DataFrame:
        """One row per unit: main fuse (A), cable from the battery, drop (per cent), mass (g)."""
        return feeds_table(self.vehicle, self.units, self.wired)

    @handed_out
    def links(self) -> pd.DataFrame:
        """One row per battery cable (isolator, module feeds, starter, alternator): fuse, size, fault current (A)."""
        return links_table(self.vehicle, self.units, self.wired)

    @handed_out
    def heat(self) -> pd.DataFrame:
        """One row per module and state: heat it gives off (W), on average and with everything on."""
        return heat_table(self.vehicle, self.units, self.circuits)

    @handed_out
    def parked(self) -> pd.DataFrame:
        """What the parked vehicle draws (mA), and the days until the battery is at its floor."""
        return self.signals.parked() if self.signals else parked_table(self.vehicle, self.units)

    @cached_property
    def returns(self) -> tuple[ReturnWire, ...]:
        """Returns and the ground points they go to; empty without a table ``grounds``."""
        side = self.signals
        beside = (side.to_ground, side.driven_high, side.switched) if side else ()
        return returns(self.vehicle, self.wired, *beside)

    @cached_property
    def cuts(self) -> tuple[Cut, ...]:
        """Every piece of wire once."""
        made = cuts(self.vehicle, self.units, self.wired, self.links, self.returns)
        return tuple(unlike((*made, *self.signals.cuts))) if self.signals else made

    @handed_out
    def bench_sheet(self) -> pd.DataFrame:
        """One row per pin in connector order: loads, run label, size, length (m), trip (A), inrush time (ms)."""
        table = bench_sheet_table(self.vehicle, self.units, self.wired, self.cuts)
        return joined(table, self.signals.bench_sheet()) if self.signals else table

    @handed_out
    def cut_list(self) -> pd.DataFrame:
        """One row per piece of wire: label, both ends, size, colour, length (m), parts, mass (g)."""
        return cut_table(self.vehicle, self.cuts)

    @handed_out
    def shopping(self) -> pd.DataFrame:
        """One row per thing to buy: wire with 10 % for waste (m), ends, splices, fuses, sleeves."""
        more = self.signals.to_buy() if self.signals else []
        return shopping_table(self.vehicle, self.units, self.cuts, self.links, self.segments, more)

    @handed_out
    def ground_plan(self) -> pd.DataFrame:
        """One row per return: load, ground point, length (m), worst current (A), voltage drop (per cent)."""
        table = ground_plan_table(self.returns)
        return joined(table, self.signals.ground_plan()) if self.signals else table

    @handed_out
    def ground_points(self) -> pd.DataFrame:
        """One row per ground point: its returns, and its worst current (A) against what it bears."""
        table = ground_points_table(self.vehicle, self.returns)
        return joined(table, self.signals.ground_pins()) if self.signals else table

    def pin_map(self) -> pd.DataFrame:
        """Table to wire by: one row per circuit, with the loads' ``x_`` columns at the end."""
        return channel_tables.pin_map(self.vehicle, self.circuits, self.channels)

    def summary(self) -> str:
        """One sentence: the result and how sure it is."""
        used = sum(len(c.channels) for c in self.circuits)
        total = sum(len(u.module.channels) for u in self.units)
        names = " and ".join(u.label for u in self.units)
        tight = self.channels.headroom_pct.min() if len(self.channels) else float("nan")
        of = f" in {self.unproved}" if self.unproved else ""
        sure = self.outcome if self.outcome == "proven best" else f"{self.outcome}, gap {percent(self.gap)}{of}"
        return (
            f"{names}: {counted(len(self.circuits), 'circuit')} on {used} of {counted(total, 'channel')}, "
            f"{total - used} spare, least headroom {tight:.0f} % ({sure})"
        )

    def __repr__(self) -> str:
        """As `summary`, with the vehicle."""
        return f"{self.vehicle.name} on {self.summary()}"

    def _repr_html_(self) -> str:
        columns = [c for c in _SHOWN if c in self.channels.columns]
        return headline_table(repr(self), columns, self.channels[columns].itertuples(index=False))


def tightest(allocation: Allocation) -> tuple[str, float]:
    """The limit that is used most, headroom wanted already taken off it.

    Parameters
    ----------
    allocation : Allocation
        With at least one circuit.

    Returns
    -------
    subject : str
        Such as ``channel 7, running`` or ``bank A in night, wet``.
    use_pct : float
        Share of the limit in use, per cent; 100 is all of it.
    """
    uses = [*_channels(allocation), *_sums(allocation)]
    subject, use = max(uses, key=lambda pair: pair[1], default=("nothing", 0.0))
    return subject, round(use, 1)


def _channels(allocation: Allocation) -> Iterator[tuple[str, float]]:
    several = len(allocation.units) > 1
    table = allocation.channels
    for circuit, running_a, inrush_pct in zip(
        allocation.circuits, table.running_a.tolist(), table.inrush_use_pct.tolist(), strict=True
    ):
        rating = place_of(allocation.vehicle, allocation.units, circuit).rating
        name = f"{circuit.unit} channel {circuit.channel}" if several else f"channel {circuit.channel}"
        yield f"{name}, running", 100_000 * running_a / rating.usable_ma
        yield f"{name}, inrush", inrush_pct


def _sums(allocation: Allocation) -> Iterator[tuple[str, float]]:
    several = len(allocation.units) > 1
    table = allocation.headroom[["module", "subject", "state", "current_a", "limit_a"]]
    for module, subject, state, current_a, limit_a in table.values.tolist():
        name = f"{module} {subject}" if several else subject
        yield f"{name} in {state}", 100 * current_a / limit_a
