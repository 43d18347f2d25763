"""Planing steps whose economy stands out from the steps beside them by more than a fuel curve bends."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from garboard.record_types import frozen
from garboard_fuel_curve.smooth import through

BENDS = 0.06
"""Planing, a step lies within this of what the steps beside it foretell, as the natural logarithm of the ratio. Beyond
it, and three times the readings' uncertainty, lay none of 1500 simulated hulls with humps of all kinds and steps 300 to
600 rev/min apart; with 1 % more scatter in speed and flow each, 5 did. Common practice, no source [-]."""

SAGS = 0.08
"""The same for a step below its neighbours, where both and the one before them plane [-]."""

CREST = 0.02
"""Past the hump economy over engine speed, both as logarithms, bends down only: none lies higher than the line back
through the two steps above it by more than this and its uncertainty. So the crest behind the hump, which stands above
both its neighbours, is told from a misread step. Common practice, no source [-]."""

SURE, WIDE = 1.5, 3.0
"""So many standard uncertainties are allowed for: against the steps above, and against those on both sides."""

REACH = 3
"""A step has a say in what is foretold of so many to each side of it."""

FEWEST = 5
"""Fewer steps foretell nothing."""


@frozen(kw_only=True)
class Made:
    """What one step made of its fuel, in order of engine speed.

    engine_speed : above 0 [rev/min]
    economy      : above 0 [nm/gal]
    unsure       : standard uncertainty, as a share of the economy [-]
    planing      : whether it was surely faster than the hump
    """

    engine_speed: float
    economy: float
    unsure: float
    planing: bool


def standing_out(made: Sequence[Made]) -> tuple[int, ...]:
    """Planing steps above or below their neighbours by more than a curve bends; never the lowest or the highest.

    Of neighbours that all stand out, one above and one below, only the one farthest out is named: it bends the others.

    made    : steps in rising order of engine speed
    returns : their places, in order [-]

    >>> economies = (3.4, 4.8, 5.1, 4.75, 4.3, 3.75)
    >>> one_high = (3.4, 4.8, 5.9, 4.75, 4.3, 3.75)
    >>> [standing_out([Made(engine_speed=2500 + 500 * n, economy=e, unsure=0.01, planing=n > 0)
    ...   for n, e in enumerate(row)]) for row in (economies, one_high)]
    [(), (2,)]
    """
    if len(made) < FEWEST:
        return ()
    out = dict(_out(made))
    return tuple(one for one in out if abs(out[one]) >= max(abs(out.get(one + way, 0.0)) for way in (-1, 1)))


def _out(made: Sequence[Made]) -> Iterator[tuple[int, float]]:
    x = [math.log(one.engine_speed) for one in made]
    y = [math.log(one.economy) for one in made]
    for place in range(1, len(made) - 1):
        if not made[place].planing:
            continue
        off = _off(x, y, place)
        allowed = WIDE * math.hypot(made[place].unsure, made[place - 1].unsure / 2, made[place + 1].unsure / 2)
        clear = place > 1 and made[place - 1].planing and made[place - 2].planing  # of the crest behind the hump
        is_no_crest = _is_above_the_next(x, y, made, place) if place + 2 < len(made) else clear
        if (off > BENDS + allowed and is_no_crest) or (off < -SAGS - allowed and clear):
            yield place, off


def _off(x: Sequence[float], y: Sequence[float], place: int) -> float:
    """How far a step lies from what the others foretell: a line that never bulges, and a cubic that may; the nearer."""
    low, high = max(0, place - REACH), place + REACH + 1  # farther ones change nothing
    xs, ys = [*x[low:place], *x[place + 1 : high]], [*y[low:place], *y[place + 1 : high]]
    first = max(0, min(place - low - 2, len(xs) - 4))
    by_line = y[place] - through(xs, ys).at(x[place])
    by_cubic = y[place] - _cubic(xs[first : first + 4], ys[first : first + 4], x[place])
    return min(by_line, by_cubic, key=abs) if by_line * by_cubic > 0 else 0.0


def _cubic(x: Sequence[float], y: Sequence[float], where: float) -> float:
    """The polynomial through all the points, by Lagrange."""
    return math.fsum(
        value * math.prod((where - other) / (at - other) for other in x if other != at)
        for at, value in zip(x, y, strict=True)
    )


def _is_above_the_next(x: Sequence[float], y: Sequence[float], made: Sequence[Made], place: int) -> bool:
    here, near, far = made[place : place + 3]
    ratio = (x[place + 1] - x[place]) / (x[place + 2] - x[place + 1])
    unsure = math.hypot(here.unsure, (1 + ratio) * near.unsure, ratio * far.unsure)
    return y[place] - y[place + 1] + ratio * (y[place + 2] - y[place + 1]) > CREST + SURE * unsure
