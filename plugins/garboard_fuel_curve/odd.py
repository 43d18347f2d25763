"""Which reading of a column is out of line with the others: each is left out in turn and foretold from the rest."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from itertools import chain, combinations

import attrs

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


REACH = 6
"""A reading so many places away changes nothing in what is foretold, not even where steps were read twice."""


@attrs.frozen(kw_only=True)
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


@attrs.frozen(kw_only=True)
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
    """The readings without which the others are in line; none where all are.

    A column is in line where nothing falls as engine speed rises, and each reading lies near what the others foretell.
    Where leaving out either of two puts the rest right, and neither is clearly farther out, both are named.

    column  : readings in order of engine speed [rev/min, kn, gal/h]
    returns : their places in the column, in order [-]

    >>> flows = Column(
    ...     engine_speeds=(1000, 2000, 3000, 4000, 5000), values=(2.0, 4.0, 8.0, 3.1, 19.0), within=(0.1,) * 5,
    ...     same=100, planing_from=3000, limits=OF_FLOW,
    ... )
    >>> odd_ones(flows)
    (3,)
    """
    left = tuple(range(len(column.values)))
    odd: list[int] = []
    while len(left) > FEWEST_LEFT and _faults(column, left):
        worst = _worst(column, left)
        odd += worst
        left = tuple(one for one in left if one not in worst)
    return tuple(sorted(odd))


def stretches(column: Column) -> tuple[tuple[int, ...], ...]:
    """The odd readings, each by itself where it is surely the one; else the whole stretch in which one or more are odd.

    A reading that lies where the others foretell it may be true, and its neighbours wrong, even if leaving it out puts
    the rest in line: several wrong readings side by side foretell each other.

    column  : readings in order of engine speed [rev/min, kn, gal/h]
    returns : their places in the column, neighbours together [-]
    """
    everything = tuple(range(len(column.values)))
    odd = odd_ones(column)
    sure, doubtful = [], []
    for one in odd:
        left = tuple(place for place in everything if place == one or place not in odd)
        if _is_off(column, left, left.index(one)):
            sure.append((one,))
        else:
            doubtful.append([one, *_at_odds_with(column, everything, one)])
    return tuple(sorted([*sure, *_joined(doubtful)]))


def _at_odds_with(column: Column, places: Sequence[int], one: int) -> list[int]:
    """Readings of which either they or this one must be wrong."""
    falls = [other for other in places if _falls(column, min(one, other), max(one, other))]
    beside = [other for other in places if 0 < abs(other - one) <= 2 and _is_off(column, places, other)]
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


def _worst(column: Column, left: Sequence[int]) -> list[int]:
    """The reading whose absence leaves least at fault; those that do so alike unless one is clearly farther out."""
    falls = [(low, high) for low, high in combinations(left, 2) if _falls(column, low, high)]
    in_falls = Counter(chain.from_iterable(falls))
    off = [_is_off(column, left, place) for place in range(len(left))]
    without = {one: len(falls) - in_falls[one] + _off_without(column, left, off, at) for at, one in enumerate(left)}
    fewest = min(without.values())
    alike = [one for one in left if without[one] == fewest]
    out = {one: abs(_off(column, left, left.index(one))) for one in alike}
    farthest = max(out.values())
    return [one for one in alike if out[one] * CLEARLY_THE_ONE >= farthest]


def _off_without(column: Column, left: Sequence[int], off: Sequence[bool], place: int) -> int:
    """How many readings lie far off where one is left out: only those near it are foretold anew."""
    others = [*left[:place], *left[place + 1 :]]
    low, high = max(0, place - REACH), min(place + REACH, len(others))
    return sum(off[:low]) + sum(_is_off(column, others, near) for near in range(low, high)) + sum(off[high + 1 :])


def _faults(column: Column, left: Sequence[int]) -> int:
    """How many pairs fall, and how many readings lie far from what the others foretell."""
    falling = sum(_falls(column, low, high) for low, high in combinations(left, 2))
    return falling + sum(_is_off(column, left, place) for place in range(len(left)))


def _is_off(column: Column, left: Sequence[int], place: int) -> bool:
    return abs(_off(column, left, place)) > _limit(column, left, place)


def _falls(column: Column, low: int, high: int) -> bool:
    apart = column.engine_speeds[high] - column.engine_speeds[low]
    explained = math.hypot(column.within[low], column.within[high])
    if column.engine_speeds[low] < column.planing_from and apart <= NEIGHBOURS:
        explained += column.limits.falls * column.values[low]
    return apart > column.same and column.values[low] - column.values[high] > explained


def _limit(column: Column, left: Sequence[int], place: int) -> float:
    limits = column.limits
    if place == 0:
        return limits.first
    last = place == len(left) - 1
    low, high = (left[place - 2], left[place]) if last else (left[place - 1], left[place + 1])
    span = column.engine_speeds[high] - column.engine_speeds[low]
    wider = max(1.0, (span / USUAL_SPAN) ** 2)  # a bend makes itself felt with the square of the distance
    smooth_from = low if last else left[place]  # of the last, both that foretell it must be planing
    if column.engine_speeds[smooth_from] < column.planing_from:
        return wider * limits.slow
    return wider * (limits.last if last else limits.planing)


def _off(column: Column, left: Sequence[int], place: int) -> float:
    """Logarithm of the ratio of a reading to what the others foretell for its engine speed.

    The lowest may be as high as the next: an idling engine takes its fuel however slowly it turns, and a tenth of a
    gallon is much of it.
    """
    others = [one for one in left if one != left[place]]
    x, y = _logarithms(column, others)
    value = math.log(max(column.values[left[place]], LEAST))
    allowed = math.log1p(column.within[left[place]] / max(column.values[left[place]], LEAST))
    off = value - _foretold(x, y, math.log(column.engine_speeds[left[place]]))
    if place == 0 and off > 0:
        off = max(0.0, value - y[0])
    return math.copysign(max(0.0, abs(off) - allowed), off)


def _logarithms(column: Column, places: Sequence[int]) -> tuple[list[float], list[float]]:
    """Engine speeds and readings as logarithms, readings of one throttle step averaged."""
    x: list[float] = []
    groups: list[list[float]] = []
    for place in places:
        if not x or column.engine_speeds[place] - math.exp(x[-1]) > column.same:
            x.append(math.log(column.engine_speeds[place]))
            groups.append([])
        groups[-1].append(math.log(max(column.values[place], LEAST)))
    return x, [math.fsum(group) / len(group) for group in groups]


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
