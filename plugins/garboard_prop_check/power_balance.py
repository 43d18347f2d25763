"""What another propeller would turn and how fast the boat would go, by a balance of power in logarithms.

The power a propeller takes goes as engine speed cubed times powers of pitch and diameter; the engine gives a power that
bends at its rated speed. In logarithms that is linear in seven numbers nobody knows exactly:

    3u = s u - k u^2/2 + z - c x - d y - l w - q x^2

with u, x, y and w the logarithms of engine speed over rated speed, of pitch and diameter over those first fitted, and
of weight over that of the first runs. The seven begin as what is usual, each with its doubt; each propeller that was
run narrows them, by one least-squares step that needs no inverse.

The usual values and their doubts come from open-water series and from simulated boats, not from boats measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import attrs

from garboard.record_types import frozen
from garboard.uncertainty import NORMAL_95
from garboard_prop_check.least_squares import dot

Vector = tuple[float, ...]
Matrix = tuple[Vector, ...]

USUAL: Vector = (0.0, 2.0, 2.0, 0.0, 5.0, 0.5, 0.0)
"""Level z, pitch c, diameter d, slope of power s, its bend k, weight l, curvature of pitch q [-]."""

_DOUBT: Vector = (5.0, 0.30, 0.60, 0.35, 2.5, 0.2, 1.5)
_PITCH_AND_DIAMETER = -0.4
"""Correlation of c and d: a series of propellers gives their sum better than either."""

RUN_TO_RUN, SPEED_RUN_TO_RUN = 0.004, 0.006
"""How engine speed and boat speed differ from one outing to the next, standard deviations as shares [-]; assumed."""

STEEPEST_SLOPE, STRONGEST_BEND = 1.2, 12.0
FARTHEST_BELOW, FARTHEST_ABOVE = -0.5, 0.4
LARGEST_STEP, LARGEST_SHARE = 4.0, 0.30
"""A propeller further away than so many inches [in], or such a share of the pitch [-], is not foreseen."""

FOLLOWS_PITCH = 1 / 8
"""By how much a maker's diameter falls for an inch more pitch [in]; up to twice that, common practice, no source."""

LEAST_SLIP, MOST_SLIP = 0.02, 0.35
"""Between these a boat is foreseen [-]; outside them a reading is wrong or the propeller does not bite."""


@frozen(kw_only=True)
class Tried:
    """A propeller that was run, all its full-throttle runs averaged: they share one pitch error.

    engine_speed   : at full throttle, above 0 [rev/min]
    doubt          : its standard uncertainty, 0 or above [rev/min]
    pitch          : above 0 [in]
    diameter       : above 0, or None where nobody knows it [in]
    speed          : through the water, above 0, or None [kn]
    speed_doubt    : its standard uncertainty, 0 or above [kn]
    slip           : as run, or None [-]
    weight         : of boat and load over that of the first propeller's runs, above 0 [-]
    tolerance      : real pitch lies within plus or minus such a share of it, a bound; None for that of all [-]
    other_series   : as in `Candidate`, against the first propeller [-]
    """

    engine_speed: float
    doubt: float
    pitch: float
    diameter: float | None = None
    speed: float | None = None
    speed_doubt: float = 0.0
    slip: float | None = None
    weight: float = 1.0
    tolerance: float | None = None
    other_series: float = 0.0


@frozen(kw_only=True)
class Candidate:
    """A propeller to foresee.

    pitch        : above 0 [in]
    diameter     : above 0, or None to let it fall by 1/8 in for each inch more pitch [in]
    weight       : as in `Tried` [-]
    other_series : standard deviation of the logarithm of pitch that another series or a cup adds, 0 for the same [-]
    tolerance    : as in `Tried` [-]
    """

    pitch: float
    diameter: float | None = None
    weight: float = 1.0
    other_series: float = 0.0
    tolerance: float | None = None


@frozen(kw_only=True)
class Foreseen:
    """What to expect of a candidate; standard uncertainties beside the values.

    engine_speed : [rev/min]
    speed        : [kn], None where no speed was run
    """

    engine_speed: float
    standard_uncertainty: float
    speed: float | None = None
    speed_standard_uncertainty: float = 0.0

    @property
    def expanded_uncertainty(self) -> float:
        """Half width of the 95 % interval of the engine speed [rev/min]."""
        return NORMAL_95 * self.standard_uncertainty

    def chance(self, low: float, high: float) -> float:
        """Chance [-] that the engine speed lands between two engine speeds above 0 [rev/min]."""
        deviation = self.standard_uncertainty / self.engine_speed
        return _normal(math.log(high / self.engine_speed) / deviation) - _normal(
            math.log(low / self.engine_speed) / deviation
        )


@frozen
class Model:
    """What the runs have taught: mean and covariance of both regressions. Made by `fit`."""

    rated_speed: float
    tolerance: float
    first: Tried
    mean: Vector
    covariance: Matrix
    speed_mean: Vector = ()
    speed_covariance: Matrix = ()

    def foresee(self, candidate: Candidate) -> Foreseen | None:
        """What to expect of a propeller; None where the balance does not reach so far."""
        step = abs(candidate.pitch - self.first.pitch)
        if not candidate.pitch > 0 or step > LARGEST_STEP or step > LARGEST_SHARE * self.first.pitch:
            return None
        x, y, w = _against(self.first, candidate.pitch, candidate.diameter, candidate.weight)
        z, c, d, s, k, load, q = self.mean
        u = _balance_at(3 - s, k, z - c * x - d * y - load * w - q * x * x)
        if u is None:
            return None
        row, steepness = _row(x, y, w, u), 3 - s + k * u
        pitch = _pitch_variance(candidate, self.tolerance)
        variance = (_quadratic(row, self.covariance) + c * c * pitch) / steepness**2 + RUN_TO_RUN**2
        engine_speed = self.rated_speed * math.exp(u)
        foreseen = Foreseen(engine_speed=engine_speed, standard_uncertainty=engine_speed * math.sqrt(variance))
        return self._with_speed(foreseen, x, y, w, u, pitch) if self.speed_mean else foreseen

    def _with_speed(self, foreseen: Foreseen, x: float, y: float, w: float, u: float, pitch: float) -> Foreseen:
        s, k = self.mean[3], self.mean[4]
        row = (1.0, _power(s, k, u), x, y, w)
        by_power = self.speed_mean[1]
        u_first = math.log(self.first.engine_speed / self.rated_speed)
        share = (s - k * u) / (3 - s + k * u)
        through = [share * one for one in _row(x, y, w, u)]
        through[3] += u - u_first
        through[4] -= (u * u - u_first * u_first) / 2
        variance = (
            _quadratic(row, self.speed_covariance)
            + by_power**2 * _quadratic(through, self.covariance)
            + pitch / 4
            + SPEED_RUN_TO_RUN**2
        )
        speed = math.exp(dot(row, self.speed_mean))
        return attrs.evolve(foreseen, speed=speed, speed_standard_uncertainty=speed * math.sqrt(variance))


def fit(tried: Sequence[Tried], rated_speed: float, tolerance: float) -> Model:
    """What the propellers run so far say of boat and engine.

    tried       : one row a propeller, the first as reference; one or more
    rated_speed : engine speed of the engine's rated power, above 0 [rev/min]
    tolerance   : real pitch lies within plus or minus such a share of the stamp, a bound, 0 or above [-]
    returns     : the model that foresees others
    Raises ValueError where there is no run, or for a number outside its range.

    >>> run = Tried(engine_speed=5150, doubt=10 / 12**0.5, pitch=19, diameter=14.5)
    >>> found = fit([run], 5500, 0.02).foresee(Candidate(pitch=17, diameter=14.5))
    >>> round(found.engine_speed, 1), round(found.expanded_uncertainty, 1), round(found.chance(5400, 6000), 2)
    (5565.8, 212.6, 0.94)

    [1] Balance and usual values: tried on simulated boats of other laws than its own; not measured.
    [2] Scalar least-squares update: R. E. Kalman, J. Basic Eng. 82 (1960) 35; from memory.
    """
    if not tried:
        raise ValueError("expected one propeller that was run, got none")
    if not (rated_speed > 0 and 0 <= tolerance < 1):
        raise ValueError(f"expected a rated speed above 0 and a tolerance from 0 to 1, got {rated_speed}, {tolerance}")
    for one in tried:
        if not (one.engine_speed > 0 and one.pitch > 0 and one.doubt >= 0 and one.weight > 0):
            raise ValueError(f"expected engine speed, pitch and weight above 0, got {one}")
    first = tried[0]
    mean, covariance = USUAL, _usual_covariance()
    for one in tried:
        x, y, w = _against(first, one.pitch, one.diameter, one.weight)
        u = math.log(one.engine_speed / rated_speed)
        steepness = max(0.8, 3 - mean[3] + mean[4] * u)
        seen = steepness**2 * ((one.doubt / one.engine_speed) ** 2 + RUN_TO_RUN**2)
        variance = seen + mean[1] ** 2 * _pitch_variance(one, tolerance)
        mean, covariance = _learn(mean, covariance, _row(x, y, w, u), 3 * u, variance)
        mean = (*mean[:3], min(mean[3], STEEPEST_SLOPE), min(max(mean[4], 0.0), STRONGEST_BEND), *mean[5:])
    speeds = _speeds(tried, rated_speed, tolerance, mean)
    return Model(rated_speed, tolerance, first, mean, covariance, *speeds)


def _speeds(
    tried: Sequence[Tried], rated_speed: float, tolerance: float, mean: Vector
) -> tuple[Vector, Matrix] | tuple[()]:
    """The regression of speed on power, pitch, diameter and weight; nothing where the first run has no speed."""
    first = tried[0]
    if first.speed is None or first.slip is None:
        return ()
    by_slip = min(max(0.75 - 2.8 * first.slip, 0.15), 0.65)
    found: Vector = (0.0, 0.42, 0.42 * by_slip, -0.168, -0.33)
    doubt = _diagonal((5.0, 0.07, 0.42 * 0.45, 0.21, 0.13))
    for one in tried:
        if one.speed is not None:
            u = math.log(one.engine_speed / rated_speed)
            row = (1.0, _power(mean[3], mean[4], u), *_against(first, one.pitch, one.diameter, one.weight))
            pitch = _pitch_variance(one, tolerance)
            variance = (one.speed_doubt / one.speed) ** 2 + SPEED_RUN_TO_RUN**2 + pitch / 4
            found, doubt = _learn(found, doubt, row, math.log(one.speed), variance)
    return found, doubt


def _pitch_variance(one: Tried | Candidate, of_all: float) -> float:
    """Of the logarithm of its real pitch [-]."""
    tolerance = of_all if one.tolerance is None else one.tolerance
    return tolerance**2 / 3 + one.other_series**2


def _power(slope: float, bend: float, u: float) -> float:
    """Logarithm of the engine's power over its rated power [-]."""
    return slope * u - bend * u * u / 2


def _against(first: Tried, pitch: float, diameter: float | None, weight: float) -> tuple[float, float, float]:
    """Logarithms of pitch, diameter and weight over those of the first runs [-].

    A diameter nobody gives follows the pitch, 1/8 in less for each inch more, from that of the first or from 14.5 in.
    """
    reference = first.diameter or 14.5
    own = diameter if diameter and first.diameter else diameter_following(reference, pitch - first.pitch)
    return math.log(pitch / first.pitch), math.log(own / reference), math.log(weight / first.weight)


def diameter_following(diameter: float, change: float) -> float:
    """Diameter [in] of a propeller of the same series with so much more pitch [in]."""
    return diameter - change * FOLLOWS_PITCH


def _row(x: float, y: float, w: float, u: float) -> Vector:
    return (1.0, -x, -y, u, -u * u / 2, -w, -x * x)


def _balance_at(slope: float, bend: float, level: float) -> float | None:
    """Where slope u + bend u^2/2 meets a level on the side where it rises; None outside what can be foreseen."""
    root = slope * slope + 2 * bend * level
    if root < 0:
        return None
    u = 2 * level / (slope + math.sqrt(root))
    return u if FARTHEST_BELOW <= u <= FARTHEST_ABOVE else None


def _usual_covariance() -> Matrix:
    rows = [list(row) for row in _diagonal(_DOUBT)]
    rows[1][2] = rows[2][1] = _PITCH_AND_DIAMETER * _DOUBT[1] * _DOUBT[2]
    return tuple(tuple(row) for row in rows)


def _diagonal(deviations: Vector) -> Matrix:
    return tuple(
        tuple(one * one if i == j else 0.0 for j in range(len(deviations))) for i, one in enumerate(deviations)
    )


def _learn(mean: Vector, covariance: Matrix, row: Vector, seen: float, variance: float) -> tuple[Vector, Matrix]:
    """One observation taken in: its row times what is not known, seen with a variance [2 in fit]."""
    along = [dot(one, row) for one in covariance]
    whole = dot(along, row) + variance
    surprise = seen - dot(mean, row)
    learned = tuple(one + a * surprise / whole for one, a in zip(mean, along, strict=True))
    narrowed = tuple(
        tuple(one - a * b / whole for one, b in zip(line, along, strict=True))
        for line, a in zip(covariance, along, strict=True)
    )
    return learned, narrowed


def _quadratic(row: Sequence[float], covariance: Matrix) -> float:
    return max(0.0, dot(row, [dot(line, row) for line in covariance]))


def _normal(value: float) -> float:
    """Share of a standard normal distribution below a value [-]."""
    return (1 + math.erf(value / math.sqrt(2))) / 2
