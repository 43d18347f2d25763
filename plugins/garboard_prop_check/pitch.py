"""Pitch advice by the two rules of the trade. They disagree; both are shown, and the smaller change is tried first."""

from __future__ import annotations


def change_by_step_rule(engine_speed: float, aim: float, per_inch: float) -> float:
    """Change of pitch by the rule "so many rev/min for each inch".

    engine_speed : at full throttle [rev/min]
    aim          : engine speed wanted [rev/min]
    per_inch     : engine speed lost for each inch more, above 0 [rev/min per in]
    returns      : change; above 0 means more pitch [in]
    Raises ValueError for a step of zero or below.

    >>> change_by_step_rule(4800, 5600, 200)
    -4.0

    [1] Common practice: 150 to 200 rev/min per inch (300 to 400 for 2 in), as fishing-club and trade pages give it.
    """
    if not per_inch > 0:
        raise ValueError(f"engine speed per inch must be above zero, got {per_inch}")
    return (engine_speed - aim) / per_inch


def change_by_proportion(engine_speed: float, aim: float, pitch: float) -> float:
    """Change of pitch by the rule "pitch times engine speed stays the same".

    engine_speed : at full throttle [rev/min]
    aim          : engine speed wanted, above 0 [rev/min]
    pitch        : as fitted, above 0 [in]
    returns      : change; above 0 means more pitch [in]
    Raises ValueError for an aim or pitch of zero or below.

    >>> round(19 + change_by_proportion(5000, 6000, 19), 1)
    15.8

    [1] Common practice: new pitch = pitch x engine speed / engine speed wanted, as trade pages give it.
    """
    if not (aim > 0 and pitch > 0):
        raise ValueError(f"aim and pitch must be above zero, got {aim}, {pitch}")
    return pitch * (engine_speed / aim - 1)


def whole_inches(change: float) -> int:
    """A change of pitch as the nearest one that can be bought; never none, and never in the other direction.

    change  : from one of the rules, not 0 [in]
    returns : change in whole inches [in]
    Raises ValueError for no change.

    >>> whole_inches(-2.4), whole_inches(0.3)
    (-2, 1)
    """
    if change == 0:
        raise ValueError("expected a change of pitch, got none")
    size = max(1, round(abs(change)))
    return size if change > 0 else -size


def engine_speed_after(
    engine_speed: float, pitch: float, change: float, per_inch_low: float, per_inch_high: float
) -> tuple[float, float]:
    """Engine speed to expect after a change of pitch, the lowest and highest that the two rules give.

    engine_speed  : at full throttle as run [rev/min]
    pitch         : as fitted, above 0 [in]
    change        : above 0 means more pitch; pitch + change above 0 [in]
    per_inch_low  : engine speed lost for each inch more, at least [rev/min per in]
    per_inch_high : the same, at most [rev/min per in]
    returns       : lowest and highest engine speed [rev/min]
    Raises ValueError when no pitch would be left.

    >>> tuple(round(number) for number in engine_speed_after(5000, 21, -2, 150, 200))
    (5300, 5526)
    """
    if not (pitch > 0 and pitch + change > 0):
        raise ValueError(f"pitch must stay above zero, got {pitch} and a change of {change}")
    expected = (
        engine_speed - change * per_inch_low,
        engine_speed - change * per_inch_high,
        engine_speed * pitch / (pitch + change),
    )
    return min(expected), max(expected)
