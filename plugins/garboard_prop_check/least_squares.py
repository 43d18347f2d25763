"""What causes leave over of readings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence


def left_over(values: Sequence[float], *causes: Sequence[float]) -> tuple[float, int]:
    """What the causes do not explain of readings, by least squares.

    values  : readings [any unit]
    causes  : how strongly each cause acts on each reading [-]
    returns : sum of squares left over [unit squared] and its degrees of freedom [-]

    >>> squares, freedom = left_over([31.0, 28.8, 31.2, 29.0], [1, 1, 1, 1], [1, -1, 1, -1])
    >>> round(squares, 3), freedom
    (0.04, 2)
    """
    rest = list(values)
    axes: list[list[float]] = []  # Gram-Schmidt: each axis is what a cause adds to those before it
    for cause in causes:
        axis = list(cause)
        for earlier in axes:
            axis = _without(axis, earlier)
        if dot(axis, axis) > 1e-9 * dot(cause, cause):
            axes.append(axis)
            rest = _without(rest, axis)
    return dot(rest, rest), len(values) - len(axes)


def dot(one: Iterable[float], other: Iterable[float]) -> float:
    """Sum of the products of two rows of numbers."""
    return math.fsum(first * second for first, second in zip(one, other, strict=True))


def _without(values: Sequence[float], axis: Sequence[float]) -> list[float]:
    share = dot(values, axis) / dot(axis, axis)
    return [value - share * along for value, along in zip(values, axis, strict=True)]
