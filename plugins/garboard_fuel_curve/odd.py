"""Which reading of a column is out of line with the others: each is left out in turn and foretold from the rest."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right, insort
from collections.abc import Collection, Iterator, Sequence
from itertools import accumulate

from garboard.record_types import frozen
from garboard_fuel_curve.smooth import through

STEEPEST = 4.0
"""Beyond the readings nothing is foretold to rise by a higher power of engine speed; the propeller law says 3 for
fuel (common practice, no source)."""

LEAST = 0.05
"""Lower readings are alike to a rule of proportion: an idling boat drifts, a display shows 0.0 [kn, gal/h]."""

CLEARLY_THE_ONE = 1.5
"""A reading so many times as far out as another is the odd one of the two (common practice, no source)."""

USUAL_SPAN = 1200.0
"""The limits are for steps up to 600 rev/min apart: a reading is foretold across twice that [rev/min]."""

NEIGHBOURS = 600.0
"""Steps as far apart as a throttle series allows are still neighbours (common practice, no source) [rev/min]."""

FEWEST_LEFT = 4
"""Fewer readings foretell nothing."""

MOST_ODD = 24
"""Where more readings than this had to be left out, the column as a whole cannot be believed: then it is no slip of a
row, and to look on for one would take work out of proportion."""

REACH = 6
"""A throttle step so many places away changes nothing in what is foretold."""


@frozen(kw_only=True)
class Limits:
    """How far a reading may lie from what the others foretell, as the natural logarithm of their ratio [-].

    planing : above the hump, where boats run along a smooth curve
    slow    : in and below the hump, where speed may double from one step to the next
    last    : the highest reading, foretold from below only
    first   : the lowest, foretold from above only
    falls   : share by which a reading may lie below that of the step before it, in and below the hump
    """

    planing: float
    slow: float
    last: float
    first: float
    falls: float = 0.0


OF_SPEED = Limits(planing=0.12, slow=0.9, last=0.2, first=1.2)
OF_FLOW = Limits(planing=0.22, slow=0.45, last=0.3, first=1.2, falls=0.1)
"""Beyond what 999 in 1000 simulated hulls showed, with humps of all kinds and steps 300 to 600 rev/min apart: 0.04 and
0.58 of speed, 0.13 and 0.28 of flow, at the ends 0.03, 0.9, 0.07 and 1.1. Common practice, no source.

Fuel flow may fall as a boat gets over its hump: from 40 to 12 % slip the torque of a B-series propeller falls by as
much as a step of engine speed adds, and a steadier engine burns a little less. The tenth is common practice, no source.
"""


@frozen(kw_only=True)
class Column:
    """One column of readings, of speed or of one engine's fuel flow.

    engine_speeds : in rising order [rev/min]
    values        : one for each [kn, gal/h]
    within        : half width each may be off by, same unit
    same          : closer engine speeds are one throttle step, whose readings may fall [rev/min]
    planing_from  : engine speed from which `limits.planing` holds [rev/min]
    """

    engine_speeds: tuple[float, ...]
    values: tuple[float, ...]
    within: tuple[float, ...]
    same: float
    planing_from: float
    limits: Limits


def odd_ones(column: Column) -> tuple[int, ...]:
    """The readings without which the others are in line; none where all are, and all where far too many are not.

    A column is in line where nothing falls as engine speed rises, and each reading lies near what the others foretell.
    Where leaving out either of two puts the rest right, and neither is clearly farther out, both are named.
    The work is in proportion to the readings times the logarithm of their number.

    column  : readings in order of engine speed [rev/min, kn, gal/h]
    returns : their places in the column, in order [-]

    >>> flows = Column(
    ...     engine_speeds=(1000, 2000, 3000, 4000, 5000), values=(2.0, 4.0, 8.0, 3.1, 19.0), within=(0.1,) * 5,
    ...     same=100, planing_from=3000, limits=OF_FLOW,
    ... )
    >>> odd_ones(flows)
    (3,)
    """
    odd: set[int] = set()
    while True:
        left = _Left(column, [one for one in range(len(column.values)) if one not in odd])
        if len(left.places) <= FEWEST_LEFT or not (worst := _worst(left)):
            return tuple(sorted(odd))
        odd.update(worst)
        if len(odd) > MOST_ODD:
            return tuple(range(len(column.values)))


def stretches(column: Column) -> tuple[tuple[int, ...], ...]:
    """The odd readings, each by itself where it is surely the one; else the whole stretch in which one or more are odd.

    A reading that lies where the others foretell it may be true, and its neighbours wrong, even if leaving it out puts
    the rest in line: several wrong readings side by side foretell each other.

    column  : readings in order of engine speed [rev/min, kn, gal/h]
    returns : their places in the column, neighbours together [-]
    """
    everything = _Left(column, range(len(column.values)))
    odd = odd_ones(column)
    if len(odd) > MOST_ODD:
        return (odd,)
    sure, doubtful = [], []
    for one in odd:
        left = _Left(column, [place for place in everything.places if place == one or place not in odd])
        if left.is_off(left.places.index(one)):
            sure.append((one,))
        else:
            doubtful.append([one, *_at_odds_with(everything, one)])
    return tuple(sorted([*sure, *_joined(doubtful)]))


def _at_odds_with(everything: _Left, one: int) -> list[int]:
    """Readings of which either they or this one must be wrong."""
    column, places = everything.column, everything.places
    falls = [other for other in places if _falls(column, min(one, other), max(one, other))]
    beside = [other for other in places if 0 < abs(other - one) <= 2 and everything.is_off(other)]
    return [*falls, *beside]


def _joined(groups: Sequence[Sequence[int]]) -> list[tuple[int, ...]]:
    """Groups of places as stretches without a gap, those that touch or nearly touch as one."""
    joined: list[list[int]] = []
    for low, high in sorted((min(group), max(group)) for group in groups):
        if joined and low <= joined[-1][1] + 2:
            joined[-1][1] = max(joined[-1][1], high)
        else:
            joined.append([low, high])
    return [tuple(range(low, high + 1)) for low, high in joined]


def _worst(left: _Left) -> list[int]:
    """The reading whose absence leaves least at fault; those that do so alike unless one is clearly farther out.

    None where nothing is at fault: no pair falls, and no reading lies far from what the others foretell.
    """
    in_falls = _in_falls(left.column, left.places)
    off = [left.is_off(at) for at in range(len(left.places))]
    falls = sum(in_falls) // 2
    if not falls and not any(off):
        return []
    off_before = [0, *accumulate(off)]
    without = [falls - in_falls[at] + _off_without(left, off_before, at) for at in range(len(left.places))]
    fewest = min(without)
    out = {one: abs(left.off(at)) for at, one in enumerate(left.places) if without[at] == fewest}
    farthest = max(out.values())
    return [one for one, far in out.items() if far * CLEARLY_THE_ONE >= farthest]


def _off_without(left: _Left, off_before: Sequence[int], gone: int) -> int:
    """How many readings lie far off where one is left out: only those near it are foretold anew.

    off_before : how many of all lie far off before each
    """
    low, high = max(0, gone - REACH), min(gone + REACH + 1, len(left.places))
    anew = sum(left.is_off(near, (gone,)) for near in range(low, high) if near != gone)
    return off_before[low] + anew + off_before[-1] - off_before[high]


def _falls(column: Column, low: int, high: int) -> bool:
    """Whether a reading falls from one engine speed to a higher one, by more than the two may be off."""
    apart = column.engine_speeds[high] - column.engine_speeds[low]
    return apart > column.same and _top(column, low, apart) > _bottom(column, high)


def _top(column: Column, place: int, apart: float = math.inf) -> float:
    """What a reading is at least, held against one so far above it in engine speed [kn, gal/h], [rev/min].

    Each of two readings takes its part of the root of the sum of their squares, so that pairs can be counted without
    being looked at one by one. Where both may be off alike the parts make just that root.
    """
    in_the_hump = column.engine_speeds[place] < column.planing_from and apart <= NEIGHBOURS
    falls = column.limits.falls * column.values[place] if in_the_hump else 0.0
    return column.values[place] - column.within[place] / math.sqrt(2) - falls


def _bottom(column: Column, place: int) -> float:
    """What a reading is at most, held against one below it in engine speed [kn, gal/h]."""
    return column.values[place] + column.within[place] / math.sqrt(2)


def _in_falls(column: Column, places: Sequence[int]) -> list[int]:
    """In how many falling pairs each reading is: counted from sorted lists, first as the higher, then as the lower."""
    speeds = [column.engine_speeds[place] for place in places]
    counts = [0] * len(places)
    near_end = [bisect_right(speeds, speed + column.same) for speed in speeds]  # the first that is another step
    far_end = [bisect_right(speeds, speed + max(NEIGHBOURS, column.same)) for speed in speeds]
    bottoms = [_bottom(column, place) for place in places]
    tops = {
        NEIGHBOURS: [_top(column, place, NEIGHBOURS) for place in places],
        math.inf: [_top(column, place) for place in places],
    }
    for apart, first, end in (
        (NEIGHBOURS, near_end, far_end),
        (math.inf, far_end, [len(places)] * len(places)),
    ):
        _count(tops[apart], bottoms, first, end, counts)
    return counts


def _count(
    tops: Sequence[float], bottoms: Sequence[float], first: Sequence[int], end: Sequence[int], counts: list[int]
) -> None:
    """Add to the counts of both ends of each pair whose lower reading has a top above the bottom of the higher.

    first, end : of each lower reading, the higher ones it is held against; both rise along the readings
    """
    waiting: list[float] = []  # bottoms of the higher ones that the lower one is held against
    have = range(0)
    for low, top in enumerate(tops):
        for high in range(have.stop, end[low]):
            insort(waiting, bottoms[high])
        for high in range(have.start, min(first[low], end[low])):
            del waiting[bisect_left(waiting, bottoms[high])]
        have = range(max(have.start, min(first[low], end[low])), max(have.stop, end[low]))
        counts[low] += bisect_left(waiting, top)
    begun, ended = _turned(first, len(tops)), _turned(end, len(tops))
    held: list[float] = []  # tops of the lower ones
    for high, bottom in enumerate(bottoms):
        for low in begun[high]:
            insort(held, tops[low])
        for low in ended[high]:
            del held[bisect_left(held, tops[low])]
        counts[high] += len(held) - bisect_right(held, bottom)


def _turned(ends: Sequence[int], count: int) -> list[list[int]]:
    """Of each reading, the lower ones that are first held against it, or first no more."""
    of: list[list[int]] = [[] for _ in range(count + 1)]
    for low, at in enumerate(ends):
        of[at].append(low)
    return of


class _Left:
    """The readings of a column that are left, those of one throttle step together.

    Readings are named by where they stand among those left. `gone` are some that are left out besides.
    """

    def __init__(self, column: Column, places: Sequence[int]) -> None:
        self.column = column
        self.places = places
        self._logs = [math.log(max(column.values[place], LEAST)) for place in places]
        self._steps: list[list[int]] = []
        self._step_of: list[int] = []
        for at, place in enumerate(places):
            leader = places[self._steps[-1][0]] if self._steps else None
            if leader is None or column.engine_speeds[place] - column.engine_speeds[leader] > column.same:
                self._steps.append([])
            self._steps[-1].append(at)
            self._step_of.append(len(self._steps) - 1)
        self._sums = [math.fsum(self._logs[at] for at in step) for step in self._steps]

    def is_off(self, at: int, gone: Collection[int] = ()) -> bool:
        """Whether a reading lies farther from what the others foretell than it may."""
        return abs(self.off(at, gone)) > self._limit(at, gone)

    def off(self, at: int, gone: Collection[int] = ()) -> float:
        """Logarithm of the ratio of a reading to what the others foretell for its engine speed.

        The lowest may be as high as the next: an idling engine takes its fuel however slowly it turns, and a tenth of a
        gallon is much of it.
        """
        points = list(self._others(at, (at, *gone)))
        x, y = [one for one, _ in points], [one for _, one in points]
        value, within = self.column.values[self.places[at]], self.column.within[self.places[at]]
        allowed = math.log1p(within / max(value, LEAST))
        off = self._logs[at] - _foretold(x, y, math.log(self._engine_speed(at)))
        if off > 0 and self._beside(at, -1, gone) is None:
            off = max(0.0, self._logs[at] - y[0])
        return math.copysign(max(0.0, abs(off) - allowed), off)

    def _engine_speed(self, at: int) -> float:
        return self.column.engine_speeds[self.places[at]]

    def _others(self, at: int, gone: Collection[int]) -> Iterator[tuple[float, float]]:
        """The throttle steps around a reading as logarithms, those of readings that are gone without them."""
        middle = self._step_of[at]
        low = max(0, min(middle - REACH - 2, len(self._steps) - 2 * REACH - 4))
        high = max(middle + REACH + 3, 2 * REACH + 4)
        for number, step in enumerate(self._steps[low:high], low):
            out = [one for one in gone if self._step_of[one] == number]
            leader = next((one for one in step if one not in out), None)
            if leader is not None:
                total = self._sums[number] - math.fsum(self._logs[one] for one in out)
                yield math.log(self._engine_speed(leader)), total / (len(step) - len(out))

    def _beside(self, at: int, way: int, gone: Collection[int]) -> int | None:
        """The reading before one (-1) or after it (1)."""
        at += way
        while at in gone:
            at += way
        return at if 0 <= at < len(self.places) else None

    def _limit(self, at: int, gone: Collection[int]) -> float:
        column, limits = self.column, self.column.limits
        before, after = self._beside(at, -1, gone), self._beside(at, 1, gone)
        if before is None:
            return limits.first
        last = after is None
        low = self._beside(before, -1, gone) if last else before
        low = before if low is None else low
        span = self._engine_speed(at if after is None else after) - self._engine_speed(low)
        wider = max(1.0, (span / USUAL_SPAN) ** 2)  # a bend makes itself felt with the square of the distance
        smooth_from = low if last else at  # of the last, both that foretell it must be planing
        if self._engine_speed(smooth_from) < column.planing_from:
            return wider * limits.slow
        return wider * (limits.last if last else limits.planing)


def _foretold(x: Sequence[float], y: Sequence[float], where: float) -> float:
    """What readings foretell for a place among them, or beyond them along the two nearest."""
    if len(x) < 2:
        return y[0]
    if x[0] <= where <= x[-1]:
        low = max(0, bisect_right(x, where) - REACH)
        return through(x[low : low + 2 * REACH], y[low : low + 2 * REACH]).at(where)
    near, far = (0, 1) if where < x[0] else (-1, -2)
    slope = (y[near] - y[far]) / (x[near] - x[far])
    return y[near] + min(max(slope, 0.0), STEEPEST) * (where - x[near])
