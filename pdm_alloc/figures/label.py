"""Labels of points that keep clear of each other and of the lines between them."""

from collections.abc import Iterable

import numpy as np

__all__ = ["Box", "place_labels"]

# left, bottom, right, top
Box = tuple[float, float, float, float]
_STRAIGHT = ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0))
_SLANT = tuple((x * a, y * b) for a, b in ((1, 1), (1, 0.5), (0.5, 1)) for x in (1, -1) for y in (1, -1))
_SIDES = (*_STRAIGHT, *_SLANT)
# How much worse it is to cover words than to cover a line.
_WORDS = 20.0
_REACH = (1.0, 1.5, 2.2, 3.0, 4.0, 5.5)


def place_labels(
    points: np.ndarray, sizes: np.ndarray, gap: float, words: Iterable[Box] = (), lines: Iterable[Box] = ()
) -> np.ndarray:
    """Centres for labels beside their points: the nearest side at which a label covers nothing.

    Greedy in the order given; where every side is taken, the one that covers least.

    Parameters
    ----------
    points, sizes : array of shape (n, 2)
        The points; width and height of their labels, same unit.
    gap : float
        Distance from a point to its label.
    words, lines : iterable of Box
        What is not to be covered; words above all.

    Returns
    -------
    array of shape (n, 2)
    """
    marks: list[Box] = [(x - gap, y - gap, x + gap, y + gap) for x, y in points]
    hard, soft = [*words, *marks], list(lines)
    centres = np.zeros_like(points, dtype=float)
    for n, (point, size) in enumerate(zip(points, sizes, strict=True)):
        tries = [_centre(point, size, gap * reach, side) for reach in _REACH for side in _SIDES]
        boxes = [_box(centre, size) for centre in tries]
        cost = [
            _WORDS * _covered(box, hard) + _covered(box, soft) + _astray(box, points, n) + 1e-6 * k
            for k, box in enumerate(boxes)
        ]
        centres[n] = tries[int(np.argmin(cost))]
        hard.append(_box(centres[n], size))
    return centres


def _centre(point: np.ndarray, size: np.ndarray, gap: float, side: tuple[float, float]) -> np.ndarray:
    return point + np.array(side) * (size / 2 + gap)


def _box(centre: np.ndarray, size: np.ndarray) -> Box:
    (x, y), (w, h) = centre, size / 2
    return (x - w, y - h, x + w, y + h)


def _covered(box: Box, boxes: list[Box]) -> float:
    """Area of `box` that the other boxes cover, each counted for itself."""
    others = np.array(boxes, dtype=float).reshape(-1, 4)
    wide = np.minimum(others[:, 2], box[2]) - np.maximum(others[:, 0], box[0])
    tall = np.minimum(others[:, 3], box[3]) - np.maximum(others[:, 1], box[1])
    return float((wide.clip(min=0) * tall.clip(min=0)).sum())


def _astray(box: Box, points: np.ndarray, own: int) -> float:
    """1 where another point is about as near to the box as its own, so that it would be read as the other's name."""
    low, high = np.array(box[:2]), np.array(box[2:])
    away = np.hypot(*(np.maximum(low - points, points - high).clip(min=0)).T)
    return float((np.delete(away, own) < 1.6 * away[own]).any())
