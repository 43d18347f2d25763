"""In how many straight pieces a curve is drawn, so that nobody sees that they are straight.

Kivy draws a circle of any size in 180 pieces and a rounded corner in 22, each with six triangles for its soft edge. A
page had tens of thousands of triangles, and a renderer holds them all for each picture it makes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

NEAR = 0.1
"""So far a straight piece leaves the curve at most [pixel]."""


def pieces(radius: float) -> int:
    """In how many pieces a circle of a radius [pixel] is drawn: a multiple of four, a corner has a quarter of them.

    >>> pieces(10), pieces(40)
    (24, 48)
    """
    half_angle = math.acos(1.0 - NEAR / max(radius, 2 * NEAR))
    return 4 * math.ceil(math.pi / half_angle / 4)


@lru_cache(16)
def _quarter(radius: float) -> Sequence[tuple[float, float]]:
    """The points of an arc from straight left to straight up."""
    count = pieces(radius) // 4
    angles = [math.pi / 2 * number / count for number in range(count + 1)]
    return [(radius * math.cos(angle), radius * math.sin(angle)) for angle in angles]


def rounded(x: float, y: float, wide: float, high: float, radius: float) -> list[float]:
    """The points of the edge of an area with round corners, which is to be closed; none where it is too small for one.

    >>> rounded(0, 0, 1, 50, 8)
    []
    """
    radius = min(radius, wide / 2, high / 2)
    if radius < 1:
        return []
    arc, right, top = _quarter(radius), x + wide, y + high
    corners = (
        ((x + radius - across, top - radius + up) for across, up in arc),
        ((right - radius + up, top - radius + across) for across, up in arc),
        ((right - radius + across, y + radius - up) for across, up in arc),
        ((x + radius - up, y + radius - across) for across, up in arc),
    )
    return [place for corner in corners for point in corner for place in point]


def filled(edge: Sequence[float]) -> tuple[list[float], list[int]]:
    """Corners of triangles, with no picture on them, and their order: the area within an edge of `rounded`.

    Nearly all of it are three upright rectangles of two triangles each, which a renderer fills at half the cost of the
    narrow slices around a middle that Kivy makes. The edge is soft by its line, not by the area.
    """
    if not edge:
        return [], []
    count = len(edge) // 8  # points of a corner
    points = [*edge]
    for corner in range(4):  # the middle of its arc: below or above its one end, beside its other
        first, last = 2 * corner * count, 2 * (corner + 1) * count - 2
        ends = (edge[first], edge[last + 1]) if corner % 2 else (edge[last], edge[first + 1])
        points += ends
    corners = [number for x, y in zip(points[::2], points[1::2], strict=True) for number in (x, y, 0.0, 0.0)]
    return corners, _order(count)


@lru_cache(16)
def _order(count: int) -> list[int]:
    """Of the points of four corners, each with so many, and of the middles behind them."""
    upper_left, upper_right, lower_right, lower_left = (range(n * count, (n + 1) * count) for n in range(4))
    middles = range(4 * count, 4 * count + 4)
    order = list[int]()
    for a, b, c, d in (
        (lower_left[-1], lower_right[0], upper_right[-1], upper_left[0]),
        (middles[0], middles[1], upper_right[0], upper_left[-1]),
        (lower_left[0], lower_right[-1], middles[2], middles[3]),
    ):
        order += [a, b, c, a, c, d]
    for middle, arc in zip(middles, (upper_left, upper_right, lower_right, lower_left), strict=True):
        for one, other in pairwise(arc):
            order += [middle, one, other]
    return order


__all__: Sequence[str] = ("filled", "pieces", "rounded")
