"""Diameter of a bundle of wires."""

import math
from collections.abc import Iterable

from pdm_alloc.electrics.wire import outer_diameter_mm

__all__ = ["BUNDLE_SPREAD", "bundle_mm"]

# Diameter of a bundle over that of a circle as large as its wires together: common practice, no source.
BUNDLE_SPREAD = 1.2


def bundle_mm(areas_mm2: Iterable[float]) -> float:
    """Diameter of a bundle: 1.2 times the root of the sum of the squared diameters of its wires.

    Parameters
    ----------
    areas_mm2 : iterable of float
        Nominal area of each conductor, up to 300 mm2.

    Returns
    -------
    float
        mm; of a single wire its own diameter, 0 without any.

    Raises
    ------
    ValueError
        An area is outside the tables of wire.
    """
    across = [outer_diameter_mm(area) for area in areas_mm2]
    if len(across) < 2:
        return sum(across)
    return BUNDLE_SPREAD * math.sqrt(sum(d * d for d in across))
