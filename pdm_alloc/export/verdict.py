"""What a reading on a commissioning sheet says of its channel."""

from dataclasses import dataclass
from fractions import Fraction

from pdm_alloc.allocation.circuit import PlacedCircuit
from pdm_alloc.allocation.result import Allocation
from pdm_alloc.export.commissioning import expected_current
from pdm_alloc.export.filled import Reading
from pdm_alloc.export.records import Row

__all__ = ["OPEN", "OUTSIDE", "WITHIN", "WRONG", "Verdict", "judge"]

WITHIN, OUTSIDE, WRONG, OPEN = "within", "outside", "wrong", "not measured"
# Above it a channel that should be off is not (electronics leak a little); common practice, no source.
LEAK_A = 0.05


@dataclass(frozen=True, slots=True)
class Verdict:
    """A reading compared with what was expected.

    Parameters
    ----------
    word : str
        ``within`` or ``outside`` the tolerance; ``wrong``: on where it should be off, or the reverse;
        ``not measured``.
    ratio : Fraction or None
        Measured over expected current at the voltage measured; None where there is none.
    """

    word: str
    ratio: Fraction | None = None

    @property
    def deviation_pct(self) -> float | None:
        """How far the current is off, per cent of what was expected."""
        return None if self.ratio is None else round(100 * float(self.ratio - 1), 1)


def judge(allocation: Allocation, circuit: PlacedCircuit, row: Row, reading: Reading | None) -> Verdict:
    """Compare a reading with its row of the sheet.

    Parameters
    ----------
    allocation : Allocation
        What was measured.
    circuit : PlacedCircuit
        Of the row.
    row : dict
        A row of the commissioning sheet.
    reading : Reading or None
        What was filled in there.

    Returns
    -------
    Verdict
        Limits are those at the voltage measured, or at the reference voltage where none was.
    """
    if reading is None:
        return Verdict(OPEN)
    if reading.seen and reading.seen != row["expected"]:
        return Verdict(WRONG)
    if reading.measured_a is None:
        return Verdict(WITHIN if row["expected_a"] is None else OPEN)
    if row["expected"] == "off":
        return Verdict(WITHIN if reading.measured_a <= LEAK_A else WRONG)
    return _compared(allocation, circuit, reading.measured_a, reading.measured_v)


def _compared(allocation: Allocation, circuit: PlacedCircuit, amps: float, volt: float | None) -> Verdict:
    expected = expected_current(allocation, circuit, volt or allocation.vehicle.settings.reference_v)
    measured = Fraction(str(amps)) * 1000
    within = expected.least_ma <= measured <= expected.most_ma
    return Verdict(WITHIN if within else OUTSIDE, measured / max(expected.expected_ma, 1))
