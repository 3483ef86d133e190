"""The cheapest complete growth that makes units enough: computed, applied to copies, allocated and verified."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from pdm_alloc.allocator import any_or_none
from pdm_alloc.circuits.columns import CircuitBook, OutOfTime
from pdm_alloc.circuits.items import inputs_wanted, item_types
from pdm_alloc.diagnose.bearing import Unproved, extras, limit_for, locks_in_the_way, unborne
from pdm_alloc.diagnose.growth_parts import STEP_MA, Part, applied, in_one_phrase, joined_words, one_step_less
from pdm_alloc.diagnose.new_channels import Offer, offer_of, replacing, with_more
from pdm_alloc.domain.module import Channel, Unit, natural_key
from pdm_alloc.domain.vehicle import Vehicle
from pdm_alloc.program.growth import cheapest_growth
from pdm_alloc.program.growth_task import Added, Growth
from pdm_alloc.program.handout import NoSolution
from pdm_alloc.program.solver import BEST_SO_FAR, PROVEN_BEST, Clock
from pdm_alloc.program.sums import Limit, Sums
from pdm_alloc.result.allocation import Allocation, NotEnough, Short, Unsolved, table_shorts
from pdm_alloc.result.placed import PlacedCircuit
from pdm_alloc.verify.check import violations

__all__ = ["MANY_ITEMS", "Shortfall", "shortfall"]

_FEW_LOADS = 3
# How long a growth not proved the cheapest is lowered, s; where circuits are priced; the ratings of a proved one.
_LOWERING_S, _PRICED_S, _RATINGS_S = 0.4, 4.0, 1.1
_TRIAL_S = 0.3  # for one trial with less, s: most that are enough are seen to be in half of it
MANY_ITEMS = 200  # above, a trial with a channel fewer takes longer than there is time for
_UNTRIED = f"; with more than {MANY_ITEMS} items it was not tried whether less is enough"
_UNTIMELY = "; time ran out before it was known whether less is enough"
_SUMS = ("bank", "whole module", "whole module peak")


@dataclass(frozen=True)
class Shortfall:
    """A growth that makes units enough.

    Parameters
    ----------
    parts : tuple of Part
        All of it; empty where none was found.
    allocation : Allocation or None
        Of the vehicle on the grown units, verified.
    alone : tuple of Short
        For a kind of limit the least it must grow if everything else were met.
    lost : tuple of (str, str)
        Loads that no growth of a module helps, and why.
    proved : bool
        True: no cheaper growth is enough.
    may_be_less : str
        Why less may be enough, as it ends the sentence; empty: no part of it can be less by a step.
    """

    parts: tuple[Part, ...] = ()
    allocation: Allocation | None = None
    alone: tuple[Short, ...] = ()
    lost: tuple[tuple[str, str], ...] = ()
    proved: bool = False
    may_be_less: str = ""

    @property
    def shorts(self) -> list[Short]:
        """Rows of the table: group 1 is the growth, group 0 what each kind must grow if everything else were met."""
        if self.lost:
            words = [
                Short("wire", load, "", 0, 1, "wires", f"{load} has no wire: {why}", load) for load, why in self.lost
            ]
            return [*words, *self.alone]
        return [*(part.short() for part in self.parts), *self.alone]

    @property
    def sentence(self) -> str:
        """The growth in one phrase, with the loads it is for; empty where there is none."""
        if self.lost:
            return " and ".join(f"{load} has no wire: {why}" for load, why in self.lost)
        if not self.parts:
            return ""
        loads = [load for part in self.parts for load in part.loads if part.new is not None or part.names]
        few = f" (for {joined_words(loads)})" if 0 < len(set(loads)) <= _FEW_LOADS else ""
        units = self.allocation.units if self.allocation is not None else ()
        return in_one_phrase(self.parts, units) + few + self.may_be_less


def shortfall(
    vehicle: Vehicle,
    units: Sequence[Unit],
    clock: Clock,
    book: CircuitBook,
    *,
    alone: bool = True,
    offer: Offer | None = None,
) -> Shortfall:
    """Find the cheapest complete growth of units that are not enough.

    Parameters
    ----------
    vehicle : Vehicle
        What is wired.
    units : sequence of Unit
        What is fitted, and not enough.
    clock : Clock
        When to stop.
    book : CircuitBook
        Circuits of this vehicle known so far.
    alone : bool
        True: also the least by which each kind must grow if everything else were met.
    offer : Offer, optional
        As `offer_of` gives it, where it is known.

    Returns
    -------
    Shortfall
        Without parts where there was no time, or a load has no wire on any channel.
    """
    study = _Study(vehicle, tuple(units), clock, book)
    try:
        offer = offer or offer_of(vehicle, units, book)
        if offer.lost:
            return Shortfall(lost=offer.lost)
        locks = study.locks_in_the_way(offer)
        growth = study.grown(offer, locks)
    except (Unproved, OutOfTime, NotEnough, Unsolved, NoSolution):
        return Shortfall()
    return replace(growth, alone=tuple(_if_met(growth.parts)) if alone else ())


def _drops(offer: Offer) -> list[Part]:
    return [Part("drop", 0, r.load, r.have_pct, r.need_pct, loads=(r.load,), note=r.instead) for r in offer.relaxed]


def _if_met(parts: Sequence[Part]) -> Iterator[Short]:
    """Whole-module limits, inputs and supply are missed by so much whatever else grows; one part alone says it all."""
    fixed = ("whole module", "whole module peak", "inputs", "supply voltage")
    if len(parts) > 1:
        yield from (part.short(0) for part in parts if part.kind in fixed)


@dataclass(frozen=True)
class _Study:
    """A vehicle, units that are not enough, and the clock."""

    vehicle: Vehicle
    units: tuple[Unit, ...]
    clock: Clock
    book: CircuitBook
    kept: dict[tuple[Part, ...], Allocation] = field(default_factory=dict)
    untimely: list[tuple[Part, ...]] = field(default_factory=list)
    trial_s: float = _TRIAL_S

    def locks_in_the_way(self, offer: Offer) -> list[Part]:
        """Locks that no growth helps past, as parts; empty where some growth is enough with them."""
        drops = _drops(offer)

        def suffices(vehicle: Vehicle) -> bool:
            eased, _ = applied(vehicle, self.units, drops)
            return bool(cheapest_growth(eased, self.units, offer.kinds, self.book, self.clock).circuits)

        if not self.vehicle.locked or suffices(self.vehicle):
            return []
        locks = locks_in_the_way(self.vehicle, self.units, suffices)
        return [Part("lock", n, lock.load, 1, 0, names=(lock.channel,), note=why) for lock, n, why in locks]

    def grown(self, offer: Offer, locks: Sequence[Part] = ()) -> "Shortfall":
        """Parts that are enough together, allocated on the grown units."""
        drops = [*locks, *_drops(offer)]
        vehicle, _ = applied(self.vehicle, self.units, drops)
        parts = [*drops, *self._arithmetic(vehicle)]
        growth = cheapest_growth(vehicle, self.units, offer.kinds, self.book, self.clock)
        if not growth.circuits:
            raise Unproved
        parts += self._sum_parts(growth.over)
        whole, allocation = self._in_place([*self._channel_parts(growth, offer), *parts], growth)
        if allocation is None:
            raise Unproved
        self.kept[tuple(whole)] = allocation
        limit_s = _PRICED_S if not growth.is_listed else _RATINGS_S if growth.outcome == PROVEN_BEST else _LOWERING_S
        if growth.outcome != PROVEN_BEST and self.vehicle.items > MANY_ITEMS:
            return Shortfall(tuple(whole), allocation, may_be_less=_UNTRIED)
        timed = replace(self, clock=self.clock.soon(limit_s), trial_s=_TRIAL_S if growth.is_listed else limit_s)
        lower, is_proved = timed._reduced(whole, growth)
        proved = is_proved and growth.is_cheapest
        open_words = _UNTIMELY if self.untimely else ""
        return Shortfall(tuple(lower), self.kept[tuple(lower)], proved=proved, may_be_less=open_words)

    def placed(self, parts: Sequence[Part], growth: Growth, moved: Mapping[str, str]) -> Allocation | None:
        """The circuits of a growth on the grown units, where a recount of every limit has no objection."""
        vehicle, units = applied(self.vehicle, self.units, parts)
        circuits = tuple(
            PlacedCircuit(
                units[h.unit].label, tuple(moved.get(name, name) for name in h.channels), h.use, h.command, h.items
            )
            for h in growth.circuits
        )
        if table_shorts(vehicle, units) or violations(vehicle, units, circuits):
            return None
        return Allocation(vehicle, units, circuits, "spare", BEST_SO_FAR, 1.0, ())

    def _arithmetic(self, vehicle: Vehicle) -> Iterator[Part]:
        """Inputs, supply range, and on one unit total and peak."""
        yield from self._inputs(vehicle)
        for number, unit in enumerate(self.units):
            yield from _supply(vehicle, number, unit)
        if len(self.units) == 1:
            yield from self._total_and_peak(vehicle)

    def _inputs(self, vehicle: Vehicle) -> Iterator[Part]:
        have = [u.module.inputs for u in self.units]
        wanted = inputs_wanted(vehicle)
        known = sum(n for n in have if n is not None)
        if None not in have and wanted > known:
            own = have[0] or 0
            yield Part("inputs", 0, "inputs", own, own + wanted - known)

    def _total_and_peak(self, vehicle: Vehicle) -> Iterator[Part]:
        """The least whole-module limits at which arithmetic has no objection, in steps of 0.1 A."""
        unit = self.units[0]
        missed = Sums(vehicle, [unit], item_types(vehicle, [unit])).missed()
        for is_peak, kind in ((False, "whole module"), (True, "whole module peak")):
            beyond = [w.amount_ma for w in missed if w.limit.is_peak == is_peak]
            have = unit.module.total_peak_ma if is_peak else unit.module.total_ma
            if beyond:
                yield Part(kind, 0, unit.label, have, limit_for(vehicle, unit, is_peak, max(beyond)))

    def _channel_parts(self, growth: Growth, offer: Offer) -> list[Part]:
        parts = [self._new_part(added) for added in growth.added]
        if growth.spares:
            kind = min((k for k in offer.kinds if k.use == "single"), key=lambda k: k.price)
            names = tuple(f" new spare {n + 1}" for n in range(growth.spares))
            parts = with_more(parts, self._new_part(Added(kind, names)))
        return parts

    def _new_part(self, added: Added) -> Part:
        unit = self.units[added.kind.unit]
        note = "; ".join(extras(self.vehicle, added.kind.channel, unit))
        have, more = len(unit.module.channels), len(added.names) // added.kind.width
        if added.kind.use == "bridge":
            have = len({c.bridge for c in unit.module.channels if c.bridge})
        kind = added.kind
        return Part("channels", kind.unit, unit.label, have, have + more, kind, added.names, added.loads, note)

    def _sum_parts(self, over: Iterable[tuple[Limit, int]]) -> Iterator[Part]:
        """Banks that have to grow; of several units also what the whole of one has to."""
        for limit, need_ma in sorted(over, key=lambda each: (each[0].is_peak, natural_key(each[0].bank or ""))):
            unit = self.units[limit.unit]
            kind, subject = ("bank", limit.bank) if limit.bank is not None else ("whole module", unit.label)
            have = unit.module.bank_ma[subject] if limit.bank is not None else unit.module.total_ma
            if limit.is_peak:
                kind, have = "whole module peak", unit.module.total_peak_ma
            need = limit_for(self.vehicle, unit, limit.is_peak, need_ma)
            yield Part(kind, limit.unit, subject, have, need)

    def _in_place(self, parts: list[Part], growth: Growth) -> tuple[list[Part], Allocation | None]:
        """New channels in place of channels that stay free, where every limit is kept so too."""
        free = self._free(growth)
        changed: list[Part] = []
        moved: dict[str, str] = {}
        for part in parts:
            changed += replacing(part, free, self.units, moved) if part.kind == "channels" else [part]
        allocation = self.placed(changed, growth, moved) if moved else None
        return (changed, allocation) if allocation else (parts, self.placed(parts, growth, {}))

    def _free(self, growth: Growth) -> list[tuple[int, Channel]]:
        """Channels that stay free beyond the spares wanted, weakest first; no part of a double."""
        used = {(c.unit, name) for c in growth.circuits for name in c.channels}
        left = [(n, c) for n, unit in enumerate(self.units) for c in unit.module.channels if (n, c.name) not in used]
        free = [at for at in left if at[1].bridge is None and at[1].pair is None]
        free.sort(key=lambda at: (at[1].continuous_ma, at[1].peak_ma, natural_key(at[1].name)))
        return free[: max(0, len(left) - self.vehicle.settings.spare_channels)]

    def _reduced(self, parts: list[Part], growth: Growth) -> tuple[list[Part], bool]:
        """Parts lowered as far as time allows, or until none can be by a step; and whether they are proved cheapest.

        Of a growth proved best only computed ratings can be; of one whose channels are, limits of banks as well.
        """
        hinted = self._as_hinted(parts, growth)
        parts = parts if hinted is None else hinted
        self.untimely.clear()  # a hint that was not tried to the end leaves nothing open
        for n in range(len(parts)):
            parts = self._with_least_rating(parts, n)
        for n in reversed([n for n, part in enumerate(parts) if part.kind == "drop"]):
            parts = self._with_least_drop(parts, n)
        is_settled = growth.is_cheapest or self.vehicle.items > MANY_ITEMS
        n = 0
        is_proved = growth.outcome == PROVEN_BEST or (growth.is_cheapest and hinted is not None and not growth.hint)
        while n < len(parts) and not is_proved:
            is_sum = parts[n].kind in _SUMS
            lower = self._least_sum(parts, n) if is_sum else None if is_settled else self._lower(parts, n)
            n, parts = (n + 1, parts) if lower is None or self.clock.is_over() else (n, lower)
        return parts, is_proved

    def _as_hinted(self, parts: list[Part], growth: Growth) -> list[Part] | None:
        """The parts with banks as the program would have them with fractions of circuits, where that is enough."""
        if growth.hint is None or growth.outcome == PROVEN_BEST:
            return None
        others = [part for part in parts if part.kind != "bank"]
        trial = [*others, *self._sum_parts(growth.hint)]
        return trial if trial != parts and self._kept(trial) else None

    @property
    def _ratings(self) -> tuple[int, ...]:
        return tuple(sorted({c.continuous_ma for unit in self.units for c in unit.module.channels}))

    def _lower(self, parts: list[Part], n: int) -> list[Part] | None:
        for less in one_step_less(parts[n], self._ratings):
            trial = [*parts[:n], *([] if less is None else [less]), *parts[n + 1 :]]
            if trial and self._kept(trial):
                return trial
        return None

    def _kept(self, parts: Sequence[Part]) -> bool:
        """True if the units grown so are known to be enough; their allocation, every limit recounted, is noted.

        A trial that is neither seen to be enough nor proved not to be is noted too.
        """
        grown, clock, trial = applied(self.vehicle, self.units, parts), self.clock.soon(self.trial_s), tuple(parts)
        allocation, is_known = None, False
        if not clock.is_over():
            is_known = any(unborne(*grown, self.book))
        if not clock.is_over() and not is_known:
            allocation, is_known = any_or_none(*grown, clock, self.book)
        if allocation is not None:
            self.kept[trial] = allocation
        elif not is_known:
            self.untimely.append(trial)
        return trial in self.kept

    def _least_sum(self, parts: list[Part], n: int) -> list[Part] | None:
        """The parts with the n-th limit as low as will do; None: it is."""
        part, others = parts[n], [*parts[:n], *parts[n + 1 :]]
        if len(self.units) == 1 and part.kind != "bank":
            return None

        def rated(steps: int) -> list[Part]:
            return [*parts[:n], replace(part, need=part.have + steps * STEP_MA), *parts[n + 1 :]]

        high = -(-round(part.need - part.have) // STEP_MA)
        if not self._kept(rated(high - 1) if high > 1 else others):
            return None
        if others and self._kept(others):
            return others
        steps = 1 + bisect_left(range(1, high - 1), True, key=lambda k: self._kept(rated(k)))
        return rated(steps)

    def _with_least_drop(self, parts: list[Part], n: int) -> list[Part]:
        """The parts with as little drop as will do, in tenths of a per cent: what is new anyway may bear the load."""
        part, others = parts[n], [*parts[:n], *parts[n + 1 :]]
        low, high = (round(10 * pct) for pct in (part.have, part.need))

        def eased(tenths: int) -> list[Part]:
            return [*parts[:n], replace(part, need=tenths / 10), *parts[n + 1 :]]

        if not self._kept(eased(high - 1) if high - 1 > low else others):
            return parts
        if others and self._kept(others):
            return others
        return eased(low + 1 + bisect_left(range(low + 1, high - 1), True, key=lambda k: self._kept(eased(k))))

    def _with_least_rating(self, parts: list[Part], n: int) -> list[Part]:
        """The parts with a computed rating as low as will do, in steps of 0.1 A."""
        new = parts[n].new
        if new is None or new.channel.continuous_ma in self._ratings:
            return parts

        def rated(ma: int) -> list[Part]:
            channel = replace(new.channel, continuous_ma=ma)
            return [*parts[:n], replace(parts[n], new=replace(new, channel=channel)), *parts[n + 1 :]]

        def kept(steps: int) -> bool:
            return self._kept(rated(steps * STEP_MA))

        high, step = new.channel.continuous_ma // STEP_MA, 1
        while high > step and kept(high - step):
            high, step = high - step, step * 2
        low = max(0, high - step)
        least = STEP_MA * (low + 1 + bisect_left(range(low + 1, high), True, key=kept))
        common = next((r for r in self._ratings if least <= r <= new.channel.continuous_ma), least)
        lowered = (rated(ma) for ma in (common, least))
        return next((trial for trial in lowered if tuple(trial) in self.kept or self._kept(trial)), parts)


def _supply(vehicle: Vehicle, number: int, unit: Unit) -> Iterator[Part]:
    """The range of supply voltage that every state keeps within, where the unit's is too narrow."""
    volts = [v for state in vehicle.states for v in state.span_v]
    low, high = unit.module.supply_min_v, unit.module.supply_max_v
    objections = any(s.kind == "supply voltage" for s in table_shorts(vehicle, [unit]))
    if objections and low is not None and min(volts) < low:
        yield Part("supply voltage", number, unit.label, low, min(volts))
    if objections and high is not None and max(volts) > high:
        yield Part("supply voltage", number, unit.label, high, max(volts))
