"""Theoretical speed of a propeller and its slip."""

from __future__ import annotations

import math

from garboard.uncertainty import rectangular

INCHES_PER_NAUTICAL_MILE = 1852 / 0.0254


def theoretical_speed(engine_speed: float, gear_ratio: float, pitch: float) -> float:
    """Speed of a propeller that advances by its whole pitch every turn.

    engine_speed : crankshaft speed, above 0 [rev/min]
    gear_ratio   : engine turns per propeller turn, above 0 [-]
    pitch        : as stamped on the propeller, above 0 [in]
    returns      : theoretical speed [kn]
    Raises ValueError outside these ranges.

    >>> round(theoretical_speed(4000, 2.0, 17), 2)
    27.98

    [1] NIST SP 811 (2008), appendix B.8: 1 nautical mile = 1852 m, 1 inch = 0.0254 m, both exact.
    """
    if not (engine_speed > 0 and gear_ratio > 0 and pitch > 0):
        raise ValueError(
            f"engine speed, gear ratio and pitch must be above zero, got {engine_speed}, {gear_ratio}, {pitch}"
        )
    return engine_speed / gear_ratio * pitch * 60 / INCHES_PER_NAUTICAL_MILE


def slip(boat_speed: float, theory_speed: float) -> float:
    """Apparent slip: the share of the theoretical speed that the boat does not make.

    boat_speed   : speed with current dropped out [kn]
    theory_speed : theoretical speed, above 0 [kn]
    returns      : slip, 0.10 means 10 %; negative means a reading is wrong, not a fast boat [-]
    Raises ValueError for a theoretical speed of zero or below.

    >>> round(slip(25.0, 27.98), 4)
    0.1065
    """
    if not theory_speed > 0:
        raise ValueError(f"theoretical speed must be above zero, got {theory_speed}")
    return 1 - boat_speed / theory_speed


def slip_expanded_uncertainty(
    boat_speed: float,
    boat_speed_within: float,
    engine_speed: float,
    engine_speed_within: float,
    theory_speed: float,
    pitch_tolerance: float,
) -> float:
    """Half width of the 95 % interval of the slip.

    boat_speed               : [kn]
    boat_speed_within   : half width of its 95 % interval [kn]
    engine_speed             : above 0 [rev/min]
    engine_speed_within : half width of its 95 % interval [rev/min]
    theory_speed             : theoretical speed, above 0 [kn]
    pitch_tolerance          : how far the real pitch may lie from the stamped one, 0.01 means 1 % [-]
    returns                  : half width of the 95 % interval of the slip [-]
    Raises ValueError for an engine or theoretical speed of zero or below.

    Slip is 1 - boat speed / theoretical speed; the three relative parts add in quadrature [1]. The pitch may lie
    anywhere within its tolerance (standard uncertainty: tolerance / sqrt 3) [2]; coverage factor 2 [3]. The gear
    ratio is a count of teeth and exact.

    >>> round(slip_expanded_uncertainty(25.0, 0.25, 4000, 0, 27.98, 0), 4)
    0.0089

    [1] JCGM 100:2008, 5.1.2.  [2] JCGM 100:2008, 4.3.7.  [3] JCGM 100:2008, 6.2 and 6.3.
    """
    if not (theory_speed > 0 and engine_speed > 0):
        raise ValueError(f"theoretical and engine speed must be above zero, got {theory_speed}, {engine_speed}")
    by_speed = boat_speed_within / theory_speed
    share = abs(boat_speed) / theory_speed
    return math.hypot(by_speed, share * engine_speed_within / engine_speed, share * 2 * rectangular(pitch_tolerance))
