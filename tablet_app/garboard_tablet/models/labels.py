"""Where the name of a point stands in a figure, so that it covers no curve."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, pairwise

Point = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, bottom, right, top."""

_WAYS = (
    *((0.0, 1.0), (0.0, -1.0), (1.0, 0.0), (-1.0, 0.0), (1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)),
    *((0.5, 1.0), (-0.5, 1.0), (0.5, -1.0), (-0.5, -1.0)),
)
_DISTANCES = 16


def along(points: Sequence[Point], step: float) -> Iterator[Point]:
    """Points along a line, no further apart than a step.

    >>> list(along([(0.0, 0.0), (4.0, 0.0)], 2.0))
    [(0.0, 0.0), (2.0, 0.0), (4.0, 0.0)]
    """
    for (x0, y0), (x1, y1) in pairwise(points):
        count = max(1, math.ceil(math.hypot(x1 - x0, y1 - y0) / step))
        for number in range(count):
            yield x0 + (x1 - x0) * number / count, y0 + (y1 - y0) * number / count
    yield from points[-1:]


def holds(box: Box, point: Point) -> bool:
    """Whether a point lies in a box."""
    return box[0] <= point[0] <= box[2] and box[1] <= point[1] <= box[3]


def overlap(one: Box, other: Box) -> bool:
    """Whether two boxes share anything."""
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def name_of_band(
    box: Box,
    curves: Sequence[Point],
    taken: Sequence[Box],
    band: Box,
    room: Box,
    *,
    mark: float = 0.0,
    levels: Sequence[float] = (),
) -> Box:
    """Where the name of a band stands clear: where it belongs, up or down in its band, or further on.

    box     : where it belongs
    curves  : points along all that is drawn
    taken   : boxes of what is written already
    band    : the name stays between its bottom and its top
    room    : and left of its right edge
    mark    : half the size of what is drawn at a point
    levels  : heights of other lines that go all across
    returns : the first that covers least: no other name, then no curve, then no line, if it can be

    >>> name_of_band((0, 45, 30, 55), [], [(0, 45, 20, 55)], (0, 0, 100, 100), (0, 0, 100, 100))
    (0, 55, 30, 65)
    >>> name_of_band((0, 45, 30, 55), [], [(0, 45, 20, 55)], (0, 50, 100, 50), (0, 0, 100, 100))
    (20, 45, 50, 55)
    >>> name_of_band((0, 45, 30, 55), [(20, 50)], [], (0, 40, 100, 60), (0, 0, 100, 100))
    (35.0, 45, 65.0, 55)
    """
    left, bottom, right, top = box
    wide, high = right - left, top - bottom
    ups = (sign * number * high for number in range(1, _DISTANCES) for sign in (1, -1))
    heights = [bottom, *(bottom + up for up in ups if band[1] <= bottom + up and top + up <= band[3])]
    end = room[2] - wide
    lefts = [left, *sorted({other[2] for other in taken if other[2] > left}), (left + end) / 2, end]
    boxes = [(x, y, x + wide, y + high) for x in lefts if x + wide <= room[2] for y in heights]

    def covers(one: Box) -> tuple[int, int, int]:
        grown = (one[0] - mark, one[1] - mark, one[2] + mark, one[3] + mark)
        names, points = sum(overlap(one, other) for other in taken), sum(holds(grown, point) for point in curves)
        return names, points, sum(one[1] < level < one[3] for level in levels)

    return min(boxes or [box], key=covers)


def clear_box(size: Point, at: Point, ring: float, curves: Sequence[Point], taken: Iterable[Box], room: Box) -> Box:
    """A box for a name near its point, the nearest that covers no curve and no other name.

    size   : width and height of the name
    at     : the point
    ring   : how far from the point the name begins at least
    curves : points along all that is drawn
    taken  : boxes of what is written already
    room   : the name stays inside
    returns : the one that covers least where none is clear

    >>> clear_box((20, 10), (50, 50), 5, [(50, 60)], [], (0, 0, 100, 100))
    (40.0, 35.0, 60.0, 45.0)
    """
    boxes = list(taken)
    near = (box for box in _around(size, at, ring) if _inside(box, room))
    found = chain(near, _all_over(size, at, room))
    best, least = (at[0], at[1], at[0] + size[0], at[1] + size[1]), math.inf
    for box in found:
        covered = sum(holds(box, point) for point in curves) + 1000 * sum(overlap(box, other) for other in boxes)
        if covered < least:
            best, least = box, covered
        if not covered:
            break
    return best


def _around(size: Point, at: Point, ring: float) -> Iterator[Box]:
    """Boxes near a point, nearest first; above before below, below before beside."""
    wide, high = size
    for number in range(_DISTANCES):
        away = ring + number * 0.6 * high
        for dx, dy in _WAYS:
            x, y = at[0] + dx * (away + wide / 2), at[1] + dy * (away + high / 2)
            yield x - wide / 2, y - high / 2, x + wide / 2, y + high / 2


def _all_over(size: Point, at: Point, room: Box) -> list[Box]:
    """Boxes everywhere in the room, nearest first: for a point among crowded curves."""
    wide, high = size
    across = max(1, math.ceil((room[2] - room[0] - wide) / (wide / 8)))
    up = max(1, math.ceil((room[3] - room[1] - high) / (high / 2)))
    lefts = [room[0] + (room[2] - room[0] - wide) * number / across for number in range(across + 1)]
    bottoms = [room[1] + (room[3] - room[1] - high) * number / up for number in range(up + 1)]
    boxes = [(left, bottom, left + wide, bottom + high) for left in lefts for bottom in bottoms]
    return sorted(boxes, key=lambda box: math.hypot(box[0] + wide / 2 - at[0], box[1] + high / 2 - at[1]))


def _inside(box: Box, room: Box) -> bool:
    return room[0] <= box[0] and room[1] <= box[1] and box[2] <= room[2] and box[3] <= room[3]
