from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdm_alloc.files.cells import CellError, read_number


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("1.5", "A", "1.5"),
        ("1,5", "A", "1.5"),
        (" 1,5 A ", "A", "1.5"),
        ("1.5a", "A", "1.5"),
        ("\xa01.5\u202fA", "A", "1.5"),
        ("120 ms", "ms", "120"),
        ("20%", "%", "20"),
        ("85 °C", "°C", "85"),
        ("85C", "°C", "85"),
        ("2.5 mm2", "mm²", "2.5"),
        (".5", "A", "0.5"),
        ("-2", "m", "-2"),
        ("−2", "m", "-2"),
        ("+2", "m", "2"),
        ("1E-03", "A", "0.001"),
        ("1,5e1", "A", "15"),
        ("0.30000000000000004", "A", "0.3"),
        ("1,234", "A", "1.234"),
        ("007", "", "7"),
    ],
)
def test_spellings_of_a_number(text, unit, value):
    """Decimal point or comma, the column's own unit, odd spaces and signs are all understood."""
    assert read_number(text, unit) == Fraction(value)


@pytest.mark.parametrize(
    "text", ["", "A", "1.", "1..5", "1.5.2", "five", "1e", "0x10", "1_000", "١٢", "½", "1/2", "1-2", "--1"]
)
def test_what_is_no_number(text):
    """Anything else is refused, also what Python itself would take for a number."""
    with pytest.raises(CellError, match="is not a number"):
        read_number(text, "A")


@pytest.mark.parametrize("text", ["1.234,5", "1,234.5", "1 234", "1 234,5", "1'234", "1,234,567", "1.234.567 A"])
def test_marked_thousands_are_refused(text):
    """A number that a locale may read a thousandfold is never guessed at."""
    with pytest.raises(CellError, match="thousands"):
        read_number(text, "A")


@pytest.mark.parametrize(
    ("text", "unit", "remedy"),
    [
        ("500 mA", "A", "this column is in A: write 0.5"),
        ("0.5 kA", "A", "this column is in A: write 500"),
        ("0,12 s", "ms", "this column is in ms: write 120"),
        ("80 cm", "m", "this column is in m: write 0.8"),
        ("60 W", "A", "this column is in A"),
        ("3 A", "", "this column has no unit"),
    ],
)
def test_another_unit_is_refused_with_the_value_in_the_right_one(text, unit, remedy):
    """A wrong unit is no guess either; where one is a multiple of the other the remedy has the number."""
    with pytest.raises(CellError) as refusal:
        read_number(text, unit)
    assert refusal.value.remedy == remedy


@given(st.decimals(-(10**6), 10**6, places=6, allow_nan=False), st.sampled_from(".,"), st.sampled_from(("", " A", "A")))
def test_every_decimal_reads_back(value, mark, unit):
    """Any decimal number, with either mark, with or without its unit, is exactly itself."""
    assert read_number(f"{value:f}".replace(".", mark) + unit, "A") == Fraction(value)


@given(st.text(max_size=60))
def test_any_text_is_a_number_or_a_clear_refusal(text):
    """Whatever stands in a cell: a number or a CellError, never anything else."""
    try:
        assert isinstance(read_number(text, "A"), Fraction)
    except CellError as error:
        assert error.message
        assert error.remedy
