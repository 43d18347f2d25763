"""Crouch's formula: a sanity check of the speed of a planing boat."""

from __future__ import annotations

import math

CONSTANTS: dict[str, tuple[float, float]] = {
    "cruiser or average runabout": (150.0, 180.0),
    "light, fast runabout": (180.0, 210.0),
    "race boat": (200.0, 230.0),
}
"""Range of the constant by kind of hull, in knots. In miles an hour the constants are 1.15 times larger, and
tables that do not say which are about. [1] J. F. Hughes, Crouch formula FAQ (1997): 150 for a typical light planing
cruiser, 180 for a high-speed runabout, 200 to 230 for race boats; the ranges between them are ours."""

PLANING_FROM = 2.5
"""Speed in knots over the square root of length in feet above which a boat is taken to plane; common practice."""


def crouch_speed(constant: float, displacement: float, power: float) -> float:
    """Speed to expect of a planing boat.

    constant     : from `CONSTANTS`, for knots [-]
    displacement : as run, above 0 [lb]
    power        : at the propeller shafts, all engines, above 0 [hp]
    returns      : speed [kn]
    Raises ValueError for a displacement or power of zero or below.

    >>> round(crouch_speed(180, 3000, 150), 3)
    40.249

    [1] J. F. Hughes, Crouch formula FAQ (1997).
    """
    if not (displacement > 0 and power > 0):
        raise ValueError(f"displacement and power must be above zero, got {displacement}, {power}")
    return constant / math.sqrt(displacement / power)


def crouch_constant(boat_speed: float, displacement: float, power: float) -> float:
    """The constant a measured speed stands for.

    boat_speed   : with current dropped out [kn]
    displacement : as run, above 0 [lb]
    power        : at the propeller shafts, all engines, above 0 [hp]
    returns      : constant, for knots [-]
    Raises ValueError for a displacement or power of zero or below.

    >>> round(crouch_constant(40.249, 3000, 150))
    180
    """
    return boat_speed / crouch_speed(1.0, displacement, power)
