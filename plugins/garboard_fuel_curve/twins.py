"""Engines of one power at one engine speed: they burn about the same, whatever the boat does."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations

from garboard.findings import rounded
from garboard.job_view import JobView
from garboard.numeric import median
from garboard.record_types import frozen
from garboard.records import Engine
from garboard_fuel_curve.readings import ThrottleStep

SAME_SPEED = 0.02
"""Engines whose speeds differ by a smaller share than this turn alike (common practice, no source)."""

ALIKE = 1.1
"""So many times the fuel of its twin an engine may burn, flow meters and trim allowed for (common practice, no
source)."""

TOTALS_ALIKE = 1.15
"""So many times otherwise than the fuel flows of the steps the meters may count over a day, for an engine may idle
alone for a while (common practice, no source)."""

UNUSUAL = 1.25
"""So many times more or less than at the other steps their ratio may be at one step (common practice, no source)."""

FEWEST = 3
"""At fewer steps nothing is usual."""


@frozen(kw_only=True)
class Pair:
    """Two engines of one power, at the steps they turned alike.

    first, second : their places among the engines
    steps         : where they turned alike
    """

    first: int
    second: int
    steps: tuple[ThrottleStep, ...]

    @property
    def usual(self) -> float:
        """Natural logarithm of the fuel flow of the second over that of the first, the middle one of all steps [-]."""
        return median(map(self._ratio, self.steps))

    @property
    def differs(self) -> bool:
        """Whether one burns more than the other throughout."""
        digits = median(self._allowed(step, 0.0) for step in self.steps)
        return abs(self.usual) > math.log(ALIKE) + digits

    def otherwise_by(self, totals: Sequence[float]) -> float:
        """How far the fuel counted over a day compares otherwise than the fuel flows, as a natural logarithm [-]."""
        return math.log(totals[self.second] / totals[self.first]) - self.usual

    def sides_with(self, totals: Sequence[float]) -> bool:
        """Whether the fuel counted over a day compares rather as the fuel flows do than alike."""
        return abs(self.otherwise_by(totals)) < abs(self.usual) / 2

    def unusual(self, wander: float) -> tuple[ThrottleStep, ...]:
        """Steps at which they compare otherwise than at most, a flow display wandering by so much [gal/h]."""
        return tuple(
            step
            for step in self.steps
            if abs(self._ratio(step) - self.usual) > math.log(UNUSUAL) + self._allowed(step, wander)
        )

    def _ratio(self, step: ThrottleStep) -> float:
        return math.log(step.flows[self.second] / step.flows[self.first])

    def _allowed(self, step: ThrottleStep, wander: float) -> float:
        """What wander and the last digits, at three of their standard uncertainties, may make of the ratio [-]."""
        return math.log1p((wander + 3 * step.flow_digit) / min(step.flows[self.first], step.flows[self.second]))


def pairs(engines: Sequence[Engine], steps: Sequence[ThrottleStep]) -> Iterator[Pair]:
    """Engines of one power, two by two, that turned alike at steps enough to compare them."""
    for first, second in combinations(range(len(engines)), 2):
        if engines[first].rated_power != engines[second].rated_power:
            continue
        alike = tuple(step for step in steps if _turn_alike(step.engine_speeds[first], step.engine_speeds[second]))
        if len(alike) >= FEWEST:
            yield Pair(first=first, second=second, steps=alike)


def _turn_alike(one: float, other: float) -> bool:
    return abs(one - other) <= SAME_SPEED * max(one, other)


def differing(engines: Sequence[Engine], steps: Sequence[ThrottleStep]) -> tuple[Pair, ...]:
    """Twins of which one burns more than the other throughout."""
    return tuple(pair for pair in pairs(engines, steps) if pair.differs)


def odd_ones(found: Sequence[Pair]) -> tuple[int, ...]:
    """Of pairs that compare otherwise than they should, the engine all of them share; of one pair both engines."""
    each = [{pair.first, pair.second} for pair in found]
    shared = set[int].intersection(*each) if len(each) > 1 else set()
    return tuple(sorted(shared or set[int]().union(*each)))


def same_propellers(engines: Sequence[Engine], pair: Pair) -> bool:
    """Whether two engines turn propellers of one size by one gear ratio, as far as these are entered."""
    one, other = engines[pair.first], engines[pair.second]
    mine, its = one.propeller, other.propeller
    sizes = ((mine.diameter, its.diameter), (mine.working_pitch, its.working_pitch)) if mine and its else ()
    return all(a is None or b is None or a == b for a, b in (*sizes, (one.gear_ratio, other.gear_ratio)))


def unlike(view: JobView, found: Sequence[Pair]) -> str:
    """Which engine burns more than its twin throughout, and what to check; "" where none does."""
    if not found:
        return ""
    engines, most = view.vessel.engines, max(found, key=lambda pair: abs(pair.usual))
    low, high = (most.first, most.second) if most.usual > 0 else (most.second, most.first)
    step = min(most.steps, key=lambda one: abs(math.log(one.flows[high] / one.flows[low]) - abs(most.usual)))
    more, less = engines[high].position, engines[low].position
    flows = " against ".join(view.told(step.flows[one], "gal/h", 1) for one in (high, low))
    return (
        f"The {more} engine burns {rounded(math.exp(abs(most.usual)), 2)} times what the {less} engine does at equal "
        f"engine speed, {flows} at {rounded(step.engine_speed)} rev/min: check both flow meters, propellers and trim."
    )
