"""How sure a chance is that was counted from draws."""

import math

__all__ = ["wilson"]


def wilson(hits: int, draws: int, z: float = 1.959964) -> tuple[float, float]:
    """Confidence interval of a chance, Wilson's score interval.

    Parameters
    ----------
    hits, draws : int
        How often it came true, of how many draws; at least one draw.
    z : float
        Quantile of the normal distribution; 1.96: 95 % confidence.

    Returns
    -------
    low, high : float
        Between 0 and 1.

    Raises
    ------
    ValueError
        There are no draws, or more hits than draws.
    """
    if draws < 1 or not 0 <= hits <= draws:
        raise ValueError(f"{hits} hits of {draws} draws are not possible")
    share = hits / draws
    scale = 1 + z * z / draws
    middle = (share + z * z / (2 * draws)) / scale
    half = z * math.sqrt(share * (1 - share) / draws + z * z / (4 * draws * draws)) / scale
    return max(0.0, middle - half), min(1.0, middle + half)
