"""True, magnetic and compass directions, and what a current does to the course over ground. East is positive."""

from __future__ import annotations

import math

from garboard.series import compass_angle, signed_angle
from garboard.units import in_full


def magnetic_from_true(true: float, variation: float) -> float:
    """Magnetic direction from a true one.

    true      : true direction, any angle [deg]
    variation : east positive [deg]
    returns   : magnetic direction, 0 to below 360 [deg]

    >>> magnetic_from_true(152.0, -5.0)
    157.0

    [1] Variation = true - magnetic, east positive: Pub. 9, The American Practical Navigator.
    """
    return compass_angle(true - variation)


def deviation_of(magnetic: float, compass: float) -> float:
    """Deviation of a compass: what to add to its reading to get the magnetic direction.

    magnetic : magnetic direction of the bow, any angle [deg]
    compass  : what the compass or sensor shows, any angle [deg]
    returns  : deviation, east positive, above -180 and up to 180 [deg]

    >>> deviation_of(157.0, 164.0), deviation_of(2.0, 359.0)
    (-7.0, 3.0)

    [1] Deviation = magnetic - compass, east positive: Pub. 9, The American Practical Navigator.
    """
    return signed_angle(magnetic - compass)


def heading_from_course(course: float, sets_towards: float, drift: float, boat_speed: float) -> float:
    """Where the bow points on a straight run across a known current; leeway is left out.

    course       : course over ground, any angle [deg]
    sets_towards : direction the current flows to, same reference as the course [deg]
    drift        : speed of the current, 0 or above and below the boat speed [kn]
    boat_speed   : speed through the water, above 0 [kn]
    returns      : heading, same reference as the course, 0 to below 360 [deg]
    Raises ValueError when the current is as fast as the boat.

    >>> round(heading_from_course(0.0, 90.0, 1.0, 6.0), 3)
    350.406

    [1] Current triangle: the part of the current across the track is held by pointing the bow into it.
    """
    allowance = current_allowance(drift, boat_speed)
    across = math.sin(math.radians(allowance)) * math.sin(math.radians(sets_towards - course))
    return compass_angle(course - math.degrees(math.asin(across)))


def current_allowance(drift: float, boat_speed: float) -> float:
    """The most a current of unknown direction can part heading and course over ground.

    drift      : strongest current, 0 or above and below the boat speed [kn]
    boat_speed : speed through the water, above 0 [kn]
    returns    : angle, 0 to below 90 [deg]
    Raises ValueError when the current is as fast as the boat.

    >>> round(current_allowance(0.5, 6.0), 2)
    4.78

    [1] Current triangle, current square to the track.
    """
    if not 0 <= drift < boat_speed:
        raise ValueError(
            f"expected a current from 0 to below the boat speed, got {in_full(drift)} kn of current at "
            f"{in_full(boat_speed)} kn"
        )
    return math.degrees(math.asin(drift / boat_speed))
