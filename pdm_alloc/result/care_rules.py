"""Rules of care: what a person should look at before a wire is cut, as warnings with a code of our own."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from pdm_alloc.domain.kinds import KINDS
from pdm_alloc.domain.module import Unit, natural_key
from pdm_alloc.domain.showing import counted
from pdm_alloc.domain.vehicle import Load, Place, Vehicle
from pdm_alloc.harness.distribution import StateSupply, supply
from pdm_alloc.harness.paths import lengths_of
from pdm_alloc.result.link_tables import parked_for_days

__all__ = [
    "CAUTION",
    "SEVERITIES",
    "UNIT_RULES",
    "VEHICLE_RULES",
    "CareWarning",
    "ambient_c",
    "fuel_beside",
    "gathered",
    "listed",
]

CAUTION = (
    "Values are for design. Check them by measurement, and have them checked by a qualified person.",
    "Local codes, event regulations and the makers' data come first.",
    "Fit a main fuse at the battery and an isolator within reach, as the rules require.",
    "Trip settings protect the wire, not the load.",
)

SEVERITIES = ("danger", "warning", "note")


@dataclass(frozen=True, slots=True)
class CareWarning:
    """One thing to look at.

    Parameters
    ----------
    code : str
        ``C01`` and so on, one a rule.
    severity : str
        A word of `SEVERITIES`.
    subject : str
        Loads, circuits, places, states or modules it is about.
    sentence : str
        What is the matter.
    remedy : str
        What to do about it.
    """

    code: str
    severity: str
    subject: str
    sentence: str
    remedy: str


def listed(names: Iterable[str], shown: int = 6) -> str:
    """Names as a sentence has them: ``a, b and c``; beyond `shown` the rest is only counted."""
    words = list(names)
    if len(words) > shown:
        words = [*words[: shown - 1], f"{len(words) - shown + 1} more"]
    return " and ".join(([", ".join(words[:-1])] if words[1:] else []) + words[-1:])


def gathered(
    code: str, severity: str, cases: Sequence[tuple[str, str]], one: str, several: str, remedy: str
) -> Iterator[CareWarning]:
    """One warning for all cases of a rule.

    Parameters
    ----------
    code, severity : str
        As in `CareWarning`.
    cases : sequence of (str, str)
        Subject and detail of each; none: no warning.
    one, several : str
        Sentence for one case, with ``{subject}`` and ``{detail}``; for more, with ``{count}`` and ``{names}``: the
        subjects with their details in brackets.
    remedy : str
        What to do about it.

    Yields
    ------
    CareWarning
    """
    if not cases:
        return
    subjects = [subject for subject, _ in cases]
    named = [f"{subject} ({detail})" if detail else subject for subject, detail in cases]
    words = one if len(cases) == 1 else several
    sentence = words.format(subject=subjects[0], detail=cases[0][1], count=len(cases), names=listed(named, _NAMED))
    yield CareWarning(code, severity, listed(subjects, _NAMED), sentence, remedy)


_NAMED = 12  # beyond so many the rest of a group is only counted; ours

_NAMED_OF_KIND = 3  # the same of one kind of load, of which there are several; ours

_GUESSED_PCT = 15  # tolerance from which a current counts as guessed; ours

_GUESS = re.compile(r"\b(guess\w*|estimat\w*|assum\w*)\b", re.IGNORECASE)

_PARKED_DAYS = 14.0  # least days parked that pass without a note; ours


def ambient_c(vehicle: Vehicle, unit: Unit) -> float:
    """Ambient around a unit: that of its place, or the setting, deg C."""
    place = vehicle.place(unit.place) if unit.place else None
    return vehicle.settings.module_ambient_c if place is None or place.ambient_c is None else place.ambient_c


def _fuel_and_battery(vehicle: Vehicle) -> Iterator[CareWarning]:
    """C01: a battery gives off hydrogen and sparks when it is connected (common practice, no source)."""
    batteries = [p for p in vehicle.places if "battery" in p.contains or p.name == vehicle.settings.battery_place]
    rooms = {p.compartment or p.name for p in batteries if fuel_beside(vehicle, p)}
    yield from gathered(
        "C01",
        "danger",
        [(room, "") for room in sorted(rooms, key=natural_key)],
        "Battery and fuel tank are in one compartment, {subject}.",
        "Battery and fuel tank are together in {count} compartments: {names}.",
        "Move one of them, or separate them with a sealed bulkhead and vent the battery outside.",
    )


def fuel_beside(vehicle: Vehicle, place: Place) -> bool:
    """Whether there is fuel at a place or in its compartment."""
    tanks = [p for p in vehicle.places if "fuel" in p.contains]
    return any(p.name == place.name or (p.compartment and p.compartment == place.compartment) for p in tanks)


def _hot_places(vehicle: Vehicle) -> Iterator[CareWarning]:
    limit = vehicle.settings.insulation_c
    hot = [p for p in vehicle.places if p.ambient_c is not None and p.ambient_c >= limit]
    yield from gathered(
        "C06",
        "danger",
        [(p.name, f"{p.ambient_c:g} deg C") for p in hot],
        f"{{subject}} is at {{detail}}, and the wire's insulation is rated to {limit:g} deg C.",
        f"{{count}} places are as hot as the {limit:g} deg C the wire's insulation is rated to, or hotter: {{names}}.",
        "Use wire of a higher class there, shield the run from the heat, or reroute it.",
    )


def _assumed_inrush(vehicle: Vehicle) -> Iterator[CareWarning]:
    named = {kind: [x.name for x in vehicle.loads if x.kind == kind and x.inrush_assumed] for kind in KINDS}
    cases = [
        (kind, f"{kind}, {KINDS[kind].inrush_multiple:g} times running for {KINDS[kind].inrush_ms:g} ms", names)
        for kind, names in named.items()
        if names and KINDS[kind].inrush_multiple > 1
    ]
    if not cases:
        return
    number = sum(len(names) for _, _, names in cases)
    told = "; ".join(f"{said} ({listed(names, _NAMED_OF_KIND)})" for _, said, names in cases)
    yield CareWarning(
        "C08",
        "note",
        listed(kind for kind, _, _ in cases),
        f"The inrush of {counted(number, 'load')} is estimated from {'their' if number > 1 else 'its'} kind, "
        f"not measured: {told}.",
        "Measure peak and length with a current clamp, the largest loads first, and enter them.",
    )


def _guessed_current(vehicle: Vehicle) -> Iterator[CareWarning]:
    guesses = [x for x in vehicle.loads if x.tolerance_pct >= _GUESSED_PCT or _GUESS.search(x.note)]
    yield from gathered(
        "C09",
        "warning",
        [(x.name, f"{x.running_ma / 1000:g} A") for x in guesses],
        "The running current of {subject}, {detail}, is marked as a guess in the load table.",
        "The running currents of {count} loads are marked as guesses in the load table: {names}.",
        "Measure at the reference voltage before the module is ordered.",
    )


def _too_low(vehicle: Vehicle) -> Iterator[CareWarning]:
    low = [(x, states) for x in vehicle.loads if (states := _starving(vehicle, x))]
    for vital in (True, False):
        yield from gathered(
            "C12",
            "danger" if vital else "warning",
            [(x.name, f"{x.min_v:g} V, in {listed(s)}") for x, s in low if (x.importance == "vital") == vital],
            "{subject} needs {detail}: the supply is below that.",
            "The supply is below what {count} loads need: {names}.",
            "Feed it otherwise in that state, fit a stronger battery, or take a load that works on less.",
        )


def _starving(vehicle: Vehicle, load: Load) -> list[str]:
    """States in which the supply is below what a load needs."""
    on = [state for state in vehicle.states if state.is_on(load.command)]
    return [state.name for state in on if load.min_v is not None and state.supply_v < load.min_v]


def _not_carried(vehicle: Vehicle) -> Iterator[CareWarning]:
    rows = [row for row in (supply(vehicle) if vehicle.states_given else ()) if _drains(row)]
    for row in rows:
        if row.floor_minutes != 0:
            sentence = f"In {row.state} {_who(row)} draw {_short(row)} more than charging supplies{_at_floor(row)}."
            remedy = "Shorten the state, switch loads off in it, or fit a larger battery or alternator."
            yield CareWarning("C13", "warning", row.state, sentence, remedy)
    flat = [row for row in rows if row.floor_minutes == 0]
    one = f"In {{subject}} {_who(flat[0])} draw {{detail}} more than charging supplies" if flat else ""
    yield from gathered(
        "C13",
        "warning",
        [(row.state, _short(row)) for row in flat],
        f"{one}{_at_floor(flat[0]) if flat else ''}.",
        "In {count} states more is drawn than charging supplies, and the battery is at its floor when they begin: "
        "{names}.",
        "Charge the battery before it, or fit a larger battery or alternator.",
    )


def _drains(row: StateSupply) -> bool:
    """Whether the battery does not carry a state, or is drained in it for a time that is not known."""
    return row.carried is False or bool(row.carried is None and row.charging_a)


def _who(row: StateSupply) -> str:
    return "loads, and what is drawn past the modules," if row.other_a else "loads"


def _short(row: StateSupply) -> str:
    return f"{-row.balance_a:.1f} A"


def _at_floor(row: StateSupply) -> str:
    if row.carried is None or row.floor_minutes is None or row.minutes is None:
        return ""
    if not row.floor_minutes:
        return ", and the battery is at its floor when it begins"
    return f": battery at its floor after {row.floor_minutes:.0f} of {row.minutes:g} min"


def _lowest_unknown(vehicle: Vehicle) -> Iterator[CareWarning]:
    low = min(vehicle.states, key=lambda s: s.supply_v)
    if low.supply_v >= vehicle.settings.reference_v:
        return
    names = [x.name for x in vehicle.loads if x.importance == "vital" and x.min_v is None and low.is_on(x.command)]
    if names:
        yield CareWarning(
            "C15",
            "note",
            low.name,
            f"Whether {listed(names)} still work at the {low.supply_v:g} V of {low.name} is not known.",
            "Enter min_v from the makers' data.",
        )


_SPEEDS = re.compile(r"\b(slow|fast|low|high|half|full|first|second|speed|winding|stage|[12])\b", re.IGNORECASE)


def _two_speeds(vehicle: Vehicle) -> Iterator[CareWarning]:
    """C20: a motor turned by one winding is a generator on the other (common practice, no source)."""
    motors: dict[tuple[str, str | None], list[Load]] = {}
    for load in vehicle.loads:
        name = re.sub(r"\W+", " ", _SPEEDS.sub(" ", load.name)).strip().casefold()
        if load.kind in ("motor", "fan") and name and _SPEEDS.search(load.name):
            motors.setdefault((name, load.place), []).append(load)
    pairs = [loads for loads in motors.values() if len({x.command for x in loads}) > 1]
    yield from gathered(
        "C20",
        "warning",
        [(listed(x.name for x in loads), "") for loads in pairs],
        "{subject} look like two windings of one motor (kind, place, and names that differ by a word of speed alone): "
        "while one runs, the idle one feeds back into its channel.",
        "{count} motors look like motors of two windings (kind, place, names that differ by a word of speed alone): "
        "{names}; while one winding runs, the idle one feeds back into its channel.",
        "Ask the module's maker whether an output that is off bears voltage from outside; if not, fit a change-over "
        "relay. If they are motors of their own, give them names of their own.",
    )


def _hot_units(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[CareWarning]:
    for unit in units:
        table, ambient = unit.module.derating, ambient_c(vehicle, unit)
        if table and ambient > table[-1][0]:
            yield CareWarning(
                "C07",
                "danger",
                unit.label,
                f"{unit.label} sits at {ambient:g} deg C, and its ratings are known up to {table[-1][0]:g} deg C.",
                "Mount it in a cooler place.",
            )


def _beside_fuel(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[CareWarning]:
    """C19: in a compartment with petrol, what may spark is to be ignition-protected (33 CFR 183.410, from memory)."""
    placed = [(unit, vehicle.place(unit.place)) for unit in units if unit.place]
    yield from gathered(
        "C19",
        "danger",
        [(unit.label, place.compartment or place.name) for unit, place in placed if fuel_beside(vehicle, place)],
        "{subject} is in one compartment with fuel, {detail}.",
        "{count} modules are in one compartment with fuel: {names}.",
        "Mount it elsewhere, or separate it from the fuel with a sealed bulkhead; connectors and main fuse too.",
    )


def _sizes(names: Sequence[str]) -> str:
    return f"The wire size{'s' * (len(names) > 1)} of {counted(len(names), 'load')} {'are' if len(names) > 1 else 'is'}"


def _drop_not_judged(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[CareWarning]:
    known = lengths_of(vehicle)
    names = [x.name for x in vehicle.loads if any(known.wire_m(u.place, x.place, x.length_m) is None for u in units)]
    mounts = [place.name for place in vehicle.places if place.mount]
    unplaced = [unit.label for unit in units if unit.place is None]
    if names and mounts and unplaced:
        told = f"{_sizes(names)} not known, and drops not judged: it is not said where"
        told = f"{told} {listed(unplaced)}"
        told = f"{told} {'is' if len(unplaced) == 1 else 'are'} mounted."
        yield CareWarning("C11", "note", listed(unplaced), told, f"Give its place: {', '.join(mounts)}.")
    elif names:
        yield CareWarning(
            "C11",
            "note",
            f"{len(names)} of {len(vehicle.loads)} loads",
            f"{_sizes(names)} not known: no length is known to {listed(names)}.",
            "Give places to loads and modules and the routes between them, or enter length_m.",
        )


def _soon_flat(vehicle: Vehicle, units: Sequence[Unit]) -> Iterator[CareWarning]:
    days = parked_for_days(vehicle, tuple(units)) if units else None
    if days is not None and days < _PARKED_DAYS:
        yield CareWarning(
            "C25",
            "note",
            listed([unit.label for unit in units]),
            f"Parked, the battery is at its floor after {days:.1f} days: see the table parked.",
            "Open the isolator when parked, keep the battery on a charger, or switch off what is always on.",
        )


VEHICLE_RULES = (
    _fuel_and_battery,
    _hot_places,
    _assumed_inrush,
    _guessed_current,
    _too_low,
    _not_carried,
    _lowest_unknown,
    _two_speeds,
)

UNIT_RULES = (_hot_units, _beside_fuel, _drop_not_judged, _soon_flat)
