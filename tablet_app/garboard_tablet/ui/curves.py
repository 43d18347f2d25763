"""In how many straight pieces a curve is drawn, so that nobody sees that they are straight.

Kivy draws a circle of any size in 180 pieces and a rounded corner in 22, each with six triangles for its soft edge. A
page had tens of thousands of triangles, and a renderer holds them all for each picture it makes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

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


__all__: Sequence[str] = ("pieces", "rounded")
