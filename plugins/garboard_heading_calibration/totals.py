"""How far the degrees of a turn can be relied on, by rate of turn, by heading and by course over ground.

The deviations below are common practice, no source, as far as a shop cannot set them; the noise of course and heading
is what recordings of real boats hold.
"""

from __future__ import annotations

import math

from garboard.uncertainty import MeasuredValue, Part

from .settings import RateErrors

RATE_FORGETS = 1.2  # twice the time after which the noise of a rate of turn is another [s]
HEADING_NOISE = 0.5  # of a heading on one sample [deg]
DEVIATION = 1.0  # of a sensor before its swing, once round the circle, standard deviation [deg]
DEVIATION_TWICE_ROUND = 0.28  # of its part that goes twice round, standard deviation [deg]
COURSE_LAG_PART = "lag of the course"
COURSE_NOISE_PART = "noise of the course"
COURSE_NOISE = 0.8  # of a course over ground on one sample [deg]
CURRENT = 0.2  # of the current along any direction, standard deviation; 0.5 kn at 95 % whichever way it sets [kn]
COURSE_LAG = 1.0  # by which a receiver's course follows the boat, standard deviation [s]


def by_rate(degrees: float, seconds: float, noise: float, errors: RateErrors) -> MeasuredValue:
    """Degrees turned by a rate of turn added up over time.

    degrees : turned, starboard positive [deg]
    seconds : time they were added up over [s]
    noise   : standard deviation of what in the rate is faster than 2 s [deg/s]
    errors  : of the sensor's scale and zero [-, deg/s]
    returns : degrees with their uncertainty [deg]

    >>> usual = RateErrors(scale=0.012, zero=0.02)
    >>> round(by_rate(500.0, 200.0, 0.12, usual).expanded_uncertainty, 1)
    8.1

    [1] JCGM 100:2008, 5.1.2; the scale grows with the degrees, the zero with the time.
    """
    return MeasuredValue.of_parts(
        degrees,
        "deg",
        (
            Part.of_expanded("scale of the rate of turn", errors.scale * degrees),
            Part.of_expanded("zero of the rate of turn", errors.zero * seconds),
            Part("noise of the rate of turn", noise * math.sqrt(RATE_FORGETS * seconds)),
        ),
    )


def by_heading(degrees: float, noise: float = HEADING_NOISE) -> MeasuredValue:
    """Degrees turned by a heading, from its difference at both ends. The sensor's deviation differs between them.

    degrees : turned, starboard positive [deg]
    noise   : standard deviation of the heading on one sample; HEADING_NOISE where less shows [deg]
    returns : degrees with their uncertainty [deg]

    >>> round(by_heading(450.0).expanded_uncertainty, 1), round(by_heading(360.0).expanded_uncertainty, 1)
    (3.3, 1.4)

    [1] JCGM 100:2008, 5.1.2, for deviations alike in size and of any direction at either end.
    """
    return MeasuredValue.of_parts(
        degrees,
        "deg",
        (
            Part("noise of the heading", math.sqrt(2) * max(noise, HEADING_NOISE)),
            Part("deviation", DEVIATION * _apart(degrees)),
            Part("deviation, twice round", DEVIATION_TWICE_ROUND * _apart(2 * degrees)),
        ),
    )


def by_course(
    degrees: float, speed: float, rate_change: float, missing: float = 0.0, noise: float = COURSE_NOISE
) -> MeasuredValue:
    """Degrees turned by a course over ground. A current turns it aside by another angle at either end.

    degrees     : turned, starboard positive [deg]
    speed       : of the boat, above 0 [kn]
    rate_change : rate of turn at the end less that at the beginning [deg/s]
    missing     : what was turned before the first sample and after the last, not more than so much [deg]
    noise       : standard deviation of the course on one sample; COURSE_NOISE where less shows [deg]
    returns     : degrees with their uncertainty [deg]

    >>> round(by_course(450.0, 6.5, 0.5).expanded_uncertainty, 1)
    5.5

    [1] JCGM 100:2008, 5.1.2; the angle of a small current is its part across the heading by the speed.
    """
    aside = math.degrees(CURRENT / speed)
    return MeasuredValue.of_parts(
        degrees,
        "deg",
        (
            Part(COURSE_NOISE_PART, math.sqrt(2) * max(noise, COURSE_NOISE)),
            Part("current", aside * _apart(degrees)),
            Part(COURSE_LAG_PART, COURSE_LAG * rate_change),
            Part.bound("course not heard", abs(missing)),
        ),
    )


def _apart(degrees: float) -> float:
    """How much the difference of an error between two headings is more than the error: 0 after a circle, 2 halfway."""
    return math.sqrt(2 * (1 - math.cos(math.radians(degrees))))
