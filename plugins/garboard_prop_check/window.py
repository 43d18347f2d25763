"""Full-throttle engine speed against the maker's window and the rev limiter."""

from __future__ import annotations

import enum


class WindowPosition(enum.Enum):
    """Where an engine speed lies against its window. The value is the word shown."""

    BELOW = "below"
    LOW_END = "too close to the low end to call"
    IN = "in"
    HIGH_END = "too close to the high end to call"
    ABOVE = "above"


def position_in_window(engine_speed: float, expanded_uncertainty: float, low: float, high: float) -> WindowPosition:
    """Where the 95 % interval of an engine speed lies against the window.

    engine_speed : at full throttle [rev/min]
    expanded_uncertainty  : half width of its 95 % interval, 0 or above [rev/min]
    low          : low end of the maker's full-throttle window, above 0 [rev/min]
    high         : high end, above low [rev/min]
    returns      : where; an interval over an end is not called either way [-]
    Raises ValueError for a window without width and for an expanded_uncertainty below zero.

    >>> position_in_window(5390, 15, 5400, 6000).value
    'too close to the low end to call'
    """
    if not (0 < low < high and expanded_uncertainty >= 0):
        raise ValueError(
            f"expected 0 < low < high and an expanded uncertainty, got {low}, {high}, {expanded_uncertainty}"
        )
    if engine_speed + expanded_uncertainty < low:
        return WindowPosition.BELOW
    if engine_speed - expanded_uncertainty > high:
        return WindowPosition.ABOVE
    if engine_speed + expanded_uncertainty > high:
        return WindowPosition.HIGH_END
    if engine_speed - expanded_uncertainty < low:
        return WindowPosition.LOW_END
    return WindowPosition.IN


def near_limiter(engine_speed: float, expanded_uncertainty: float, limiter_speed: float, margin: float) -> bool:
    """Whether the engine may be held by its rev limiter, or nearly.

    engine_speed  : at full throttle [rev/min]
    expanded_uncertainty   : half width of its 95 % interval, 0 or above [rev/min]
    limiter_speed : engine speed at which the limiter cuts in [rev/min]
    margin        : how close is too close, 0 or above [rev/min]
    returns       : true when the upper end of the interval reaches limiter_speed - margin [-]

    >>> near_limiter(6150, 10, 6250, 100)
    True
    """
    return engine_speed + expanded_uncertainty >= limiter_speed - margin


def above_limiter(engine_speed: float, expanded_uncertainty: float, limiter_speed: float, margin: float) -> bool:
    """Whether an engine speed lies surely above what the rev limiter lets the engine reach.

    engine_speed  : at full throttle [rev/min]
    expanded_uncertainty   : half width of its 95 % interval, 0 or above [rev/min]
    limiter_speed : engine speed at which the limiter cuts in [rev/min]
    margin        : how far the engine may swing beyond its limiter, 0 or above [rev/min]
    returns       : true when the lower end of the interval lies above limiter_speed + margin [-]

    >>> above_limiter(6400, 10, 6250, 100), above_limiter(6300, 10, 6250, 100)
    (True, False)
    """
    return engine_speed - expanded_uncertainty > limiter_speed + margin
