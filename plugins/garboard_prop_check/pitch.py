"""The two rules of the trade for a change of pitch. They disagree; both are shown beside what is foreseen."""

from __future__ import annotations

from garboard.uncertainty import Part


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


def engine_speed_by_proportion(engine_speed: float, pitch: float, other_pitch: float) -> float:
    """Engine speed by the rule "pitch times engine speed stays the same".

    engine_speed : at full throttle [rev/min]
    pitch        : as fitted, above 0 [in]
    other_pitch  : of the propeller to try, above 0 [in]
    returns      : engine speed with the other [rev/min]
    Raises ValueError for a pitch of zero or below.

    >>> round(engine_speed_by_proportion(5000, 19, 15.8))
    6013

    [1] Common practice: new pitch = pitch x engine speed / engine speed wanted, as trade pages give it.
    """
    if not (pitch > 0 and other_pitch > 0):
        raise ValueError(f"both pitches must be above zero, got {pitch}, {other_pitch}")
    return engine_speed * pitch / other_pitch


def parts_of_forecast(change: float, per_inch_deviation: float, propeller_deviation: float) -> tuple[Part, ...]:
    """What the change itself adds to the uncertainty of the engine speed to expect after a change of pitch.

    change              : above 0 means more pitch [in]
    per_inch_deviation  : by which the rule differs from boat to boat, standard deviation, 0 or above [rev/min per in]
    propeller_deviation : by which one propeller differs from the next of its stamp, the same [rev/min]
    returns             : parts, to be added to those of the engine speed as run [rev/min]
    Raises ValueError for a deviation below zero.

    >>> [part.standard_uncertainty for part in parts_of_forecast(-2, 60, 90)]
    [-120, 90]
    """
    if not (per_inch_deviation >= 0 and propeller_deviation >= 0):
        raise ValueError(f"deviations must be zero or above, got {per_inch_deviation}, {propeller_deviation}")
    return Part("engine speed for an inch", change * per_inch_deviation), Part("propeller", propeller_deviation)
