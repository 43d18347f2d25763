"""Curves that never turn back: readings put in order, and a smooth line through them without overshoot."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise

from garboard.record_types import frozen


def nondecreasing(values: Sequence[float]) -> tuple[float, ...]:
    """The closest values, by least squares, that never fall: neighbours that fall are pooled into their mean.

    values  : readings in order of engine speed, any unit [-]
    returns : as many values, each at least the one before, same unit [-]

    >>> nondecreasing([1.0, 3.0, 2.0, 4.0])
    (1.0, 2.5, 2.5, 4.0)

    [1] Pool adjacent violators: Barlow, Bartholomew, Bremner, Brunk, Statistical Inference under Order
        Restrictions (Wiley, 1972).
    """
    pools: list[tuple[float, int]] = []
    for value in values:
        pool, count = value, 1
        while pools and pools[-1][0] > pool:
            before, many = pools.pop()
            pool, count = (before * many + pool * count) / (many + count), many + count
        pools.append((pool, count))
    return tuple(pool for pool, count in pools for _ in range(count))


@frozen
class Smooth:
    """A smooth line through knots; between two knots it stays between their values. Make one with `through`."""

    x: tuple[float, ...]
    y: tuple[float, ...]
    slopes: tuple[float, ...]

    def at(self, where: float) -> float:
        """The value at one place. Raises ValueError outside the knots: the line is never extended."""
        return self.along((where,))[0]

    def along(self, places: Sequence[float]) -> list[float]:
        """The values at places in rising order. Raises ValueError outside the knots."""
        if places and not (self.x[0] <= places[0] and places[-1] <= self.x[-1]):
            raise ValueError(f"expected places from {self.x[0]} to {self.x[-1]}, got {places[0]} to {places[-1]}")
        values: list[float] = []
        for where in places:
            left = min(bisect_right(self.x, where), len(self.x) - 1) - 1
            width = self.x[left + 1] - self.x[left]
            t = (where - self.x[left]) / width
            y, rise = self.y[left], self.y[left + 1] - self.y[left]
            start, end = self.slopes[left] * width, self.slopes[left + 1] * width
            values.append(y + t * (start + t * (3 * rise - 2 * start - end + t * (start + end - 2 * rise))))
        return values


def through(x: Sequence[float], y: Sequence[float]) -> Smooth:
    """A shape-preserving cubic through points: it rises where they rise and has no bump of its own.

    x       : where, strictly rising, at least two [-]
    y       : values there, same length [-]
    returns : the line [-]
    Raises ValueError for fewer than two points, unequal lengths, and places that do not rise.

    >>> through([0.0, 1.0, 2.0], [0.0, 1.0, 1.0]).at(1.5)
    1.0

    [1] Fritsch, Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17 (1980) 238-246.
    [2] Fritsch, Butland, A method for constructing local monotone piecewise cubic interpolants, SIAM J. Sci.
        Stat. Comput. 5 (1984) 300-304: the weighted harmonic mean used for the inner slopes.
    """
    if len(x) < 2 or len(x) != len(y) or any(not first < second for first, second in pairwise(x)):
        raise ValueError(f"expected at least two points at rising places, got x {list(x)} and y {list(y)}")
    widths = [second - first for first, second in pairwise(x)]
    rates = [(second - first) / width for (first, second), width in zip(pairwise(y), widths, strict=True)]
    if len(rates) == 1:
        return Smooth(tuple(x), tuple(y), (rates[0], rates[0]))
    inner = [_inner_slope(*pair, *rate) for pair, rate in zip(pairwise(widths), pairwise(rates), strict=True)]
    first = _end_slope(widths[0], widths[1], rates[0], rates[1])
    last = _end_slope(widths[-1], widths[-2], rates[-1], rates[-2])
    return Smooth(tuple(x), tuple(y), (first, *inner, last))


def _inner_slope(left: float, right: float, before: float, after: float) -> float:
    if before * after <= 0:
        return 0.0
    first, second = 2 * right + left, right + 2 * left
    return (first + second) / (first / before + second / after)


def _end_slope(near: float, far: float, rate: float, next_rate: float) -> float:
    slope = ((2 * near + far) * rate - near * next_rate) / (near + far)
    if slope * rate <= 0:
        return 0.0
    if rate * next_rate <= 0 and abs(slope) > 3 * abs(rate):
        return 3 * rate
    return slope
