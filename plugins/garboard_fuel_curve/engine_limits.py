"""What an engine cannot have: more fuel than makes its power, more speed than its propeller advances."""

from __future__ import annotations

from garboard.records import Engine, Vessel
from garboard_fuel_curve.specific_consumption import at_efficiency, flow_at_power

FASTER_THAN_THE_PROPELLER = 1.15
"""So much more than the stamped pitch a cupped propeller may advance; common practice, no source."""

INCHES_PER_NAUTICAL_MILE = 1852 / 0.0254

POOREST, LIGHTEST = 0.15, 6.1
"""The settings' defaults of the poorest believable efficiency [-] and of the density of gasoline [lb/gal]: what is
asked while a value is typed knows no settings."""


def most_flow(engine: Engine, efficiency: float = POOREST, density: float = LIGHTEST) -> float | None:
    """The most an engine burns at its rated power; None where that is not known.

    engine     : with its rated power [hp]
    efficiency : poorest believable, above 0 [-]
    density    : of the fuel, above 0 [lb/gal]
    returns    : fuel flow [gal/h]

    >>> from garboard.units import Amount
    >>> round(most_flow(Engine(position="centre", rated_power=Amount.parse("60 hp"))), 1)
    9.0
    """
    power = engine.rated_power.to("hp") if engine.rated_power else 0.0
    return flow_at_power(power, at_efficiency(efficiency), density) if 0 < power < 1e5 else None


def advance_per_turn(engine: Engine) -> float | None:
    """What a propeller that does not slip advances; None where pitch or gear ratio is not known.

    engine  : with its gear ratio [-] and its propeller's pitch [in]
    returns : advance for each engine turn a minute [kn per rev/min]
    """
    pitch = engine.propeller.pitch.to("in") if engine.propeller and engine.propeller.pitch else 0.0
    ratio = engine.gear_ratio.to("") if engine.gear_ratio else 0.0
    return pitch * 60 / INCHES_PER_NAUTICAL_MILE / ratio if pitch > 0 and ratio > 0 else None


def usual_flow(vessel: Vessel, of: str) -> tuple[float, float] | None:
    """Fuel flows an engine of a vessel may have [gal/h]; None where its power is not known."""
    known = (most_flow(engine) for engine in vessel.engines if engine.position == of)
    return next(((0.1, round(1.1 * most, 1)) for most in known if most), None)


def usual_speed(vessel: Vessel, _of: str) -> tuple[float, float] | None:
    """Speeds a vessel may have [kn], by its propellers at full throttle; None where they are not known."""
    fastest = []
    for engine in vessel.engines:
        top, advance = engine.full_throttle_high or engine.limiter_speed or engine.rated_speed, advance_per_turn(engine)
        if top and advance:
            fastest.append(FASTER_THAN_THE_PROPELLER * advance * top.to("rev/min"))
    return (1.0, float(round(max(fastest)))) if fastest else None
