"""Limits of the bus's wiring, with their sources: length by bit rate, stubs, termination, number of nodes."""

from dataclasses import dataclass

__all__ = ["BIT_RATES", "STUB_M", "TERMINATOR_OHM", "BusLimit", "BusWarning", "check_bus", "longest_trunk_m", "pair_g"]


@dataclass(frozen=True, slots=True)
class BusLimit:
    """Longest trunk at a bit rate: kbit/s, m, and where it is published."""

    kbit: int
    trunk_m: float
    source: str


_STANDARD = "ISO 11898-2 as told in transceiver data sheets"
_NOTES = "design-rule tables of controller makers for high-speed bus lines"
# At 1 Mbit/s notes give 25 m as well as the standard's 40 m; the shorter one is kept as the limit to be safe with.
BIT_RATES: dict[int, BusLimit] = {
    limit.kbit: limit
    for limit in (
        BusLimit(1000, 25.0, f"{_NOTES}; {_STANDARD}: 40 m"),
        BusLimit(500, 100.0, _NOTES),
        BusLimit(250, 250.0, _NOTES),
        BusLimit(125, 500.0, _NOTES),
        BusLimit(50, 1000.0, _NOTES),
        BusLimit(20, 2500.0, _NOTES),
        BusLimit(10, 5000.0, _NOTES),
    )
}
STUB_M = 0.3  # ISO 11898-2, at 1 Mbit/s; kept for every rate here, where a slower bus would bear longer ones
TERMINATOR_OHM = 120.0  # at each end; ISO 11898-2
_WIDE_TERMINATOR = (108.0, 132.0)  # as above, tolerance


@dataclass(frozen=True, slots=True)
class BusWarning:
    """A limit of the wiring that is broken: what it concerns, value, limit, unit, and one sentence."""

    rule: str
    value: float
    limit: float
    unit: str
    message: str


def longest_trunk_m(kbit: int) -> float:
    """Longest trunk at a bit rate.

    Parameters
    ----------
    kbit : int
        Bit rate, kbit/s.

    Returns
    -------
    float
        m; of the next higher rate that is published, where this one is not.

    Raises
    ------
    ValueError
        The rate is not above 0, or higher than any published.
    """
    rates = [rate for rate in BIT_RATES if rate >= kbit]
    if kbit <= 0 or not rates:
        raise ValueError(f"no limit is published for {kbit} kbit/s; give 1 to {max(BIT_RATES)}")
    return BIT_RATES[min(rates)].trunk_m


def check_bus(
    kbit: int, trunk_m: float, stubs_m: dict[str, float], terminators_ohm: tuple[float, ...] = (120.0, 120.0)
) -> list[BusWarning]:
    """Every published limit that the wiring of a bus breaks.

    Parameters
    ----------
    kbit : int
        Bit rate, kbit/s.
    trunk_m : float
        From terminator to terminator, m.
    stubs_m : dict of str to float
        Stub of each node, m.
    terminators_ohm : tuple of float
        Resistance of each terminator, ohm.

    Returns
    -------
    list of BusWarning
        Empty where every limit is kept.

    Raises
    ------
    ValueError
        No limit is published for the rate.
    """
    longest = longest_trunk_m(kbit)
    warnings = []
    if trunk_m > longest:
        text = f"the trunk is {trunk_m:.1f} m; at {kbit} kbit/s at most {longest:g} m"
        warnings.append(BusWarning("trunk", trunk_m, longest, "m", text))
    for node, stub in sorted(stubs_m.items()):
        if stub > STUB_M:
            text = f"the stub to {node} is {stub:.2f} m; at most {STUB_M:g} m"
            warnings.append(BusWarning("stub", stub, STUB_M, "m", text))
    return warnings + _terminated(terminators_ohm)


def _terminated(terminators) -> list[BusWarning]:
    warnings = []
    if len(terminators) != 2:
        text = f"{len(terminators)} terminators; one at each end of the trunk, two altogether"
        warnings.append(BusWarning("terminators", len(terminators), 2, "", text))
    low, high = _WIDE_TERMINATOR
    for ohm in terminators:
        if not low <= ohm <= high:
            text = f"a terminator of {ohm:g} ohm; {low:g} to {high:g} ohm"
            warnings.append(BusWarning("terminators", ohm, low if ohm < low else high, "ohm", text))
    return warnings


def pair_g(length_m: float, wire_g_per_m: float, twist: float = 1.05) -> float:
    """Mass of a twisted pair.

    Parameters
    ----------
    length_m : float
        Length of the pair, m.
    wire_g_per_m : float
        Mass of one wire, g/m; see `pdm_alloc.electrics.wire.mass_g_per_m`.
    twist : float
        Wire over pair, no unit; 33 to 50 turns a metre lengthen it by about 5 %; common practice, no source.

    Returns
    -------
    float
        g.
    """
    return 2 * length_m * twist * wire_g_per_m
