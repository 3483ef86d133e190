"""What the rules look at: the circuits tied to the units, channels and loads they name, and currents by state."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import astuple, dataclass, fields
from fractions import Fraction
from typing import TypedDict, TypeVar

import pandas as pd

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Channel, Unit
from pdm_alloc.domain.vehicle import Load, State, Vehicle
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify import arithmetic
from pdm_alloc.verify.arithmetic import Ma

_Ma = TypeVar("_Ma", int, Ma)

__all__ = ["COLUMNS", "Finding", "Recount", "Surge", "Where", "Wired", "findings_table"]

Surge = tuple[int, int, float]
"""Inrush excess of a load, how far its tolerance may lift it, mA, and its time constant, ms."""


class Where(TypedDict):
    """Label of a unit and its channel."""

    module: str
    channel: str


@dataclass(frozen=True, slots=True)
class Wired:
    """A circuit with the objects its names stand for; unknown loads are left out.

    Parameters
    ----------
    circuit : PlacedCircuit
        As allocated.
    unit : Unit
        The unit it is on.
    channels : tuple of Channel
        Its channels, one or two.
    counts : tuple of (Load, int)
        Its loads and how many items of each, sorted by name.
    """

    circuit: PlacedCircuit
    unit: Unit
    channels: tuple[Channel, ...]
    counts: tuple[tuple[Load, int], ...]

    @property
    def where(self) -> "Where":
        """Module and channel, as a finding names them."""
        return Where(module=self.unit.label, channel=self.circuit.channel)

    @property
    def shares(self) -> int:
        """Channels that share its current: two of a pair, one otherwise (a bridge carries all in both)."""
        return 2 if self.circuit.use == "pair" else 1

    @property
    def larger_pct(self) -> Fraction:
        """Largest share of its current that one channel carries, per cent."""
        return max(Fraction(c.share_pct) for c in self.channels) if self.circuit.use == "pair" else Fraction(100)

    @property
    def items(self) -> int:
        """How many items."""
        return sum(count for _, count in self.counts)


class Recount:
    """A vehicle, units and circuits, with every name looked up once.

    Parameters
    ----------
    vehicle : Vehicle
        The vehicle.
    units : tuple of Unit
        Units, labels unique.
    circuits : tuple of PlacedCircuit
        Where the items are said to be.

    Raises
    ------
    ValueError
        Two units with one label: nothing said about a label could then be checked.
    """

    def __init__(self, vehicle: Vehicle, units: tuple[Unit, ...], circuits: tuple[PlacedCircuit, ...]):
        self.vehicle, self.circuits = vehicle, circuits
        self.loads = {load.name: load for load in vehicle.loads}
        self.commands = {command.name: command for command in vehicle.commands}
        self.units = {unit.label: unit for unit in units}
        if len(self.units) != len(units):
            raise ValueError(f"unit labels must be unique, got {[unit.label for unit in units]}")
        self.channels = {(u.label, c.name): c for u in units for c in u.module.channels}
        self.wired = [self._wire(circuit) for circuit in circuits if self.is_known(circuit)]
        self.on_unit: dict[str, list[Wired]] = {unit.label: [] for unit in units}
        for wired in self.wired:
            self.on_unit[wired.unit.label].append(wired)
        self._voltages = {command: self._spans(command) for command in {load.command for load in vehicle.loads}}
        self._cold = arithmetic.cold(vehicle.settings.lowest_ambient_c)
        self._at_coldest: dict[str, tuple[int, int | Fraction]] = {}
        self._factor = {unit.label: self._derate(unit) for unit in units}

    def is_known(self, circuit: PlacedCircuit) -> bool:
        """Whether the unit and every channel of the circuit exist."""
        return bool(circuit.channels) and all((circuit.unit, name) in self.channels for name in circuit.channels)

    def _wire(self, circuit: PlacedCircuit) -> Wired:
        counts = Counter(name for name, _ in circuit.items if name in self.loads)
        channels = tuple(self.channels[circuit.unit, name] for name in circuit.channels)
        loads = tuple((self.loads[name], counts[name]) for name in sorted(counts))
        return Wired(circuit, self.units[circuit.unit], channels, loads)

    def _spans(self, command: str) -> set[float]:
        ends: set[float] = set()
        for state in self.vehicle.states:
            if state.is_on(command):
                ends |= {state.supply_v, state.supply_v if state.supply_top_v is None else state.supply_top_v}
        return ends

    def ambient_c(self, unit: Unit) -> float:
        """Temperature around a unit: that of its place where it is known, else the setting, deg C."""
        for place in self.vehicle.places:
            if place.name == unit.place and place.ambient_c is not None:
                return place.ambient_c
        return self.vehicle.settings.module_ambient_c

    def _derate(self, unit: Unit) -> tuple[Fraction, bool]:
        return arithmetic.derating_at(unit.module.derating, self.ambient_c(unit))

    def factor(self, unit: Unit) -> Fraction:
        """Derating factor of the unit where it sits."""
        return self._factor[unit.label][0]

    def is_rated(self, unit: Unit) -> bool:
        """Whether the ambient of the unit is within its derating table."""
        return self._factor[unit.label][1]

    def headroom_pct(self, wired: Wired) -> Fraction:
        """Least headroom of the circuit: its command's own, or the vehicle's, per cent."""
        command = self.commands.get(wired.circuit.command)
        wanted = None if command is None else command.headroom_pct
        return self.vehicle.settings.headroom_pct if wanted is None else wanted

    def states_on(self, wired: Wired) -> list[State]:
        """States in which the circuit may be on."""
        return [state for state in self.vehicle.states if state.is_on(wired.circuit.command)]

    def voltages(self, wired: Wired) -> list[float]:
        """Both ends of the span of every state in which one of the circuit's loads may be on, V."""
        volts = {v for load, _ in wired.counts for v in self._voltages[load.command]}
        return sorted(volts) or [self.vehicle.settings.reference_v]

    def running(self, load: Load, supply_v: float) -> int:
        """Running current of one item in a sum, as stated, mA."""
        return arithmetic.running_ma(load.running_ma, load.volt_exponent, supply_v, self.vehicle.settings.reference_v)

    def excess(self, load: Load, supply_v: float) -> int:
        """Inrush excess of one item in a sum, as stated, mA."""
        over = max(0, load.inrush_ma - load.running_ma)
        return arithmetic.excess_ma(over, supply_v, self.vehicle.settings.reference_v)

    def cold_excess(self, load: Load, supply_v: float) -> int:
        """Inrush excess of one item, copper at its coldest, mA."""
        return arithmetic.excess_ma(self._cold_ma(load)[1], supply_v, self.vehicle.settings.reference_v)

    def _cold_ma(self, load: Load) -> tuple[int, int | Fraction]:
        """Running current at the reference voltage, of a coil at its coldest, and the inrush above it, mA."""
        if load.name not in self._at_coldest:
            copper = KINDS[load.kind].copper
            running = arithmetic.ceiling(load.running_ma * (self._cold if copper == "running" else 1))
            over = load.inrush_ma * (self._cold if copper else 1) - running
            self._at_coldest[load.name] = running, max(0, over)
        return self._at_coldest[load.name]

    def draw(self, load: Load, supply_v: float) -> int:
        """What one item draws at most at a voltage, as stated: a coil at its coldest, mA."""
        return arithmetic.running_ma(
            self._cold_ma(load)[0], load.volt_exponent, supply_v, self.vehicle.settings.reference_v
        )

    def draw_at(self, wired: Wired, supply_v: float) -> int:
        """What the circuit draws at most at a voltage, with the tolerance that is guarded against, mA."""
        stated = {load.name: self.draw(load, supply_v) for load, _ in wired.counts}
        off = [arithmetic.deviation(stated[load.name], load.tolerance_pct) * k for load, k in wired.counts]
        return sum(stated[load.name] * k for load, k in wired.counts) + self.top(off)

    def largest_draw(self, wired: Wired) -> tuple[int, float]:
        """The largest of these, mA, and its voltage, V."""
        return max((self.draw_at(wired, volts), volts) for volts in self.voltages(wired))

    def surges(self, wired: Wired, supply_v: float) -> list[Surge]:
        """Inrush excess of each load of a circuit, how far its tolerance may lift it, mA, and its time constant, ms."""
        guarded = self.vehicle.settings.tolerance_loads > 0
        excesses = []
        for load, k in wired.counts:
            over = self.cold_excess(load, supply_v)
            lift = arithmetic.deviation(over, load.tolerance_pct) if guarded else 0
            excesses.append((over * k, lift * k, load.inrush_ms / 3))
        return excesses

    def top(self, values: Iterable[_Ma]) -> _Ma:
        """Sum of the largest deviations, as many as may come together."""
        return arithmetic.top(values, self.vehicle.settings.tolerance_loads)


@dataclass(frozen=True, slots=True)
class Finding:
    """One limit or rule that an allocation breaks.

    Parameters
    ----------
    rule : str
        Which rule, one word.
    module, channel, state, subject : str
        Label of the unit, its channel, the operating state, and the load, bank or input concerned; empty where the
        rule knows none.
    value, limit : float or None
        What was counted and what is allowed, in `unit`.
    unit : str
        ``A``, ``A2 ms``, ``V``, ``deg C`` or empty for plain numbers.
    message : str
        The same in one sentence.
    """

    rule: str
    module: str = ""
    channel: str = ""
    state: str = ""
    subject: str = ""
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    message: str = ""

    def __str__(self) -> str:
        """Where it is and what is wrong, in one line."""
        where = " of ".join(word for word in (self.channel and f"channel {self.channel}", self.module) if word)
        return f"{self.rule}: {where}: {self.message}" if where else f"{self.rule}: {self.message}"


COLUMNS = tuple(field.name for field in fields(Finding))


def findings_table(findings: Iterable[Finding]) -> pd.DataFrame:
    """Findings as a table, one row each.

    Parameters
    ----------
    findings : iterable of Finding
        What was found.

    Returns
    -------
    pandas.DataFrame
        Columns `COLUMNS`; no rows where nothing was found.
    """
    table = pd.DataFrame([astuple(finding) for finding in findings], columns=list(COLUMNS))
    return table.astype({"value": float, "limit": float})
