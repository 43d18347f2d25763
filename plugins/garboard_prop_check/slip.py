"""Theoretical speed of a propeller and its slip."""

from __future__ import annotations

from collections.abc import Iterable

from garboard.uncertainty import Part

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


def parts_of_theoretical_speed(
    theory_speed: float, engine_speed: float, of_engine: Iterable[Part], pitch_tolerance: float, of: str = ""
) -> tuple[Part, ...]:
    """What each source adds to the uncertainty of a theoretical speed.

    theory_speed    : theoretical speed [kn]
    engine_speed    : above 0 [rev/min]
    of_engine       : what each source adds to the engine speed [rev/min]
    pitch_tolerance : the real pitch lies within this of the stamped one, 0.01 means 1 %; a bound [-]
    of              : the propeller, where there are several [-]
    returns         : parts [kn]
    Raises ValueError for an engine speed of zero or below.

    The gear ratio is a count of teeth and exact.

    >>> [part.source for part in parts_of_theoretical_speed(34.3, 5505, [Part.bound("tachometer", 20)], 0.03)]
    ['pitch', 'tachometer']

    [1] JCGM 100:2008, 5.1.2.
    """
    if not engine_speed > 0:
        raise ValueError(f"engine speed must be above zero, got {engine_speed}")
    of_pitch = Part.bound(f"pitch {of}".rstrip(), theory_speed * pitch_tolerance)
    return (of_pitch, *(part.times(theory_speed / engine_speed) for part in of_engine))


def parts_of_slip(
    boat_speed: float, of_speed: Iterable[Part], theory_speed: float, of_theory: Iterable[Part]
) -> tuple[Part, ...]:
    """What each source adds to the uncertainty of a slip, 1 - boat speed / theoretical speed.

    boat_speed   : [kn]
    of_speed     : what each source adds to it [kn]
    theory_speed : theoretical speed, above 0 [kn]
    of_theory    : what each source adds to it [kn]
    returns      : parts; a faster boat means less slip, so those of the speed are turned round [-]
    Raises ValueError for a theoretical speed of zero or below.

    >>> round(parts_of_slip(30.0, [Part("receiver", 0.343)], 34.3, [])[0].standard_uncertainty, 6)
    -0.01

    [1] JCGM 100:2008, 5.1.2.
    """
    if not theory_speed > 0:
        raise ValueError(f"theoretical speed must be above zero, got {theory_speed}")
    by_speed = (part.times(-1 / theory_speed) for part in of_speed)
    by_theory = (part.times(boat_speed / theory_speed**2) for part in of_theory)
    return (*by_speed, *by_theory)
