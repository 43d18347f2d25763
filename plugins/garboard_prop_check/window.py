"""Full-throttle engine speed against the maker's window and the rev limiter."""

from __future__ import annotations

import enum


class Place(enum.Enum):
    """Where an engine speed lies against its window. The value is the word shown."""

    BELOW = "below"
    LOW_END = "too close to the low end to call"
    IN = "in"
    HIGH_END = "too close to the high end to call"
    ABOVE = "above"


def place_in_window(engine_speed: float, uncertainty: float, low: float, high: float) -> Place:
    """Where the 95 % interval of an engine speed lies against the window.

    engine_speed : at full throttle [rev/min]
    uncertainty  : half width of its 95 % interval, 0 or above [rev/min]
    low          : low end of the maker's full-throttle window, above 0 [rev/min]
    high         : high end, above low [rev/min]
    returns      : the place; an interval over an end is not called either way [-]
    Raises ValueError for a window without width and for an uncertainty below zero.

    >>> place_in_window(5390, 15, 5400, 6000).value
    'too close to the low end to call'
    """
    if not (0 < low < high and uncertainty >= 0):
        raise ValueError(f"expected 0 < low < high and an uncertainty, got {low}, {high}, {uncertainty}")
    if engine_speed + uncertainty < low:
        return Place.BELOW
    if engine_speed - uncertainty > high:
        return Place.ABOVE
    if engine_speed + uncertainty > high:
        return Place.HIGH_END
    if engine_speed - uncertainty < low:
        return Place.LOW_END
    return Place.IN


def near_limiter(engine_speed: float, uncertainty: float, limiter_speed: float, margin: float) -> bool:
    """Whether the engine may be held by its rev limiter, or nearly.

    engine_speed  : at full throttle [rev/min]
    uncertainty   : half width of its 95 % interval, 0 or above [rev/min]
    limiter_speed : engine speed at which the limiter cuts in [rev/min]
    margin        : how close is too close, 0 or above [rev/min]
    returns       : true when the upper end of the interval reaches limiter_speed - margin [-]

    >>> near_limiter(6150, 10, 6250, 100)
    True
    """
    return engine_speed + uncertainty >= limiter_speed - margin
