"""What an engine cannot have: more fuel than makes its power, more speed than its propeller advances."""

from __future__ import annotations

from garboard.findings import rounded
from garboard.fittings import fitted_now, with_fitting
from garboard.records import Engine, Propeller, Vessel, outside_usual
from garboard.units import Amount
from garboard_fuel_curve.specific_consumption import at_efficiency, flow_at_power

FASTER_THAN_THE_PROPELLER = 1.15
"""So much more than the stamped pitch a cupped propeller may advance; common practice, no source."""

SLOWER_THAN_THE_PROPELLER = 0.5
"""A planing boat on the plane makes good more than this share of what its stamped pitch advances; common practice, no
source."""

INCHES_PER_NAUTICAL_MILE = 1852 / 0.0254

POOREST, LIGHTEST = 0.15, 6.1
"""The settings' defaults of the poorest believable efficiency [-] and of the density of gasoline [lb/gal]: what is
asked while a value is typed knows no settings."""


def believed(record: Engine | Propeller | None, name: str) -> Amount | None:
    """A fact of an engine or a propeller that readings may be held against; None where it is asked about itself.

    A gear ratio of 20.7 would make every speed of a sound boat too high.
    """
    value = None if record is None or outside_usual(record, name) else getattr(record, name)
    return value if isinstance(value, Amount) else None


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
    rated = believed(engine, "rated_power")
    power = rated.to("hp") if rated else 0.0
    return flow_at_power(power, at_efficiency(efficiency), density) if 0 < power < 1e5 else None


def advance_per_turn(engine: Engine) -> float | None:
    """What a propeller that does not slip advances; None where pitch or gear ratio is not known.

    engine  : with its gear ratio [-] and its propeller's pitch [in]
    returns : advance for each engine turn a minute [kn per rev/min]
    """
    measured = engine.propeller is not None and engine.propeller.pitch_measured is not None
    pitch, ratio = believed(engine.propeller, "pitch_measured" if measured else "pitch"), believed(engine, "gear_ratio")
    if not pitch or not ratio or pitch.to("in") <= 0 or ratio.to("") <= 0:
        return None
    return pitch.to("in") * 60 / INCHES_PER_NAUTICAL_MILE / ratio.to("")


def usual_flow(vessel: Vessel, of: str) -> tuple[float, float] | None:
    """Fuel flows an engine of a vessel may have [gal/h]; None where its power is not known."""
    known = (most_flow(engine) for engine in vessel.engines if engine.position == of)
    return next(((0.1, float(rounded(1.1 * most, 1))) for most in known if most), None)


def usual_speed(vessel: Vessel, _of: str) -> tuple[float, float] | None:
    """Speeds a vessel may have [kn], by its propellers at full throttle; None where they are not known."""
    fastest = []
    for engine in with_fitting(vessel, fitted_now(vessel)).engines:
        tops = (believed(engine, name) for name in ("full_throttle_high", "limiter_speed", "rated_speed"))
        top, advance = next(filter(None, tops), None), advance_per_turn(engine)
        if top and advance:
            fastest.append(FASTER_THAN_THE_PROPELLER * advance * top.to("rev/min"))
    return (1.0, float(rounded(max(fastest)))) if fastest else None
