"""Numbers, words and sets of words as cells of a table."""

from fractions import Fraction

__all__ = ["decimal", "thousandths"]


def decimal(value: object) -> str:
    """A number, word, yes or no, or set of words as a cell; None is an empty cell.

    Parameters
    ----------
    value : object
        Of a field of a domain object.

    Returns
    -------
    str
        With a decimal point, without trailing zeros.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Fraction):
        return _trimmed(f"{round(value * 10**9) / 10**9:.9f}") if value.denominator != 1 else str(value.numerator)
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, frozenset):
        return " ".join(sorted(value))
    return str(value)


def _trimmed(text):
    return text.rstrip("0").rstrip(".") if "." in text else text


def thousandths(value: int | None, digits: int = 3) -> str:
    """A whole number of thousandths (or of 10 to the minus `digits`) as a decimal; None is an empty cell."""
    if value is None:
        return ""
    whole, rest = divmod(value, 10**digits)
    return _trimmed(f"{whole}.{rest:0{digits}d}")
