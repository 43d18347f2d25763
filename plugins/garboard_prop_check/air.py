"""What today's air does to full-throttle engine speed."""

from __future__ import annotations

import math

from garboard.units import in_full

TEMPERATURE_RANGE = (15.0, 35.0)
DRY_PRESSURE_RANGE = (90.0, 105.0)
REFERENCE_TEMPERATURE = 25.0
"""Where the power factor holds [degC], [kPa], and its reference [degC]; SAE J1349, from memory."""


def saturation_pressure(air_temperature: float) -> float:
    """Pressure of water vapour in saturated air, over water.

    air_temperature : -45 to 60 [degC]
    returns         : vapour pressure [kPa]
    Raises ValueError outside the range.

    >>> round(saturation_pressure(20), 2)
    2.33

    [1] WMO-No. 8, Guide to Instruments and Methods of Observation, annex 4.B (Magnus formula), from memory.
    """
    if not -45 <= air_temperature <= 60:
        raise ValueError(f"air temperature must lie between -45 and 60 degC, got {air_temperature}")
    return 0.6112 * math.exp(17.62 * air_temperature / (243.12 + air_temperature))


def dry_pressure(air_pressure: float, air_temperature: float, humidity: float) -> float:
    """Pressure of the air without its water vapour.

    air_pressure    : as it is at the water, not brought to sea level [kPa]
    air_temperature : -45 to 60 [degC]
    humidity        : relative, 0 to 1 [-]
    returns         : dry pressure [kPa]
    Raises ValueError outside the ranges.

    >>> round(dry_pressure(101.325, 20, 0.5), 2)
    100.16
    """
    if not 0 <= humidity <= 1:
        raise ValueError(f"humidity must lie between 0 and 1, got {humidity}")
    return air_pressure - humidity * saturation_pressure(air_temperature)


def power_factor(dry_air_pressure: float, air_temperature: float) -> float:
    """Full-throttle power in reference air (99 kPa dry, 25 degC) over power in today's air.

    dry_air_pressure : 90 to 105 [kPa]
    air_temperature  : 15 to 35 [degC]
    returns          : factor; above 1 means today's air costs power [-]
    Raises ValueError outside the ranges. Holds for spark-ignition engines without supercharging.

    >>> round(power_factor(96.0, 35), 4)
    1.0571

    [1] SAE J1349 (June 1990): 1.18 (99 / p) sqrt((t + 273) / 298) - 0.18, read as quoted; ranges from memory.
    """
    low, high = DRY_PRESSURE_RANGE
    if not low <= dry_air_pressure <= high:
        raise ValueError(
            f"dry pressure must lie between {in_full(low)} and {in_full(high)} kPa, got {dry_air_pressure}"
        )
    coolest, warmest = TEMPERATURE_RANGE
    if not coolest <= air_temperature <= warmest:
        raise ValueError(
            f"air temperature must lie between {in_full(coolest)} and {in_full(warmest)} degC, got {air_temperature}"
        )
    return 1.18 * (99 / dry_air_pressure) * math.sqrt((air_temperature + 273) / 298) - 0.18


def nearest_power_factor(dry_air_pressure: float, air_temperature: float) -> tuple[float, int]:
    """Power factor of the nearest air for which it holds, so that a degree too many does not take it all away.

    dry_air_pressure : above 0 [kPa]
    air_temperature  : [degC]
    returns          : factor [-], and where the true one lies: +1 higher, in air hotter or thinner than the range; -1
                       lower, in air colder or denser; 0 in the range, and where the two pull both ways

    >>> nearest_power_factor(96.0, 38) == (power_factor(96.0, 35), 1)
    True
    """
    pressure = min(max(dry_air_pressure, DRY_PRESSURE_RANGE[0]), DRY_PRESSURE_RANGE[1])
    temperature = min(max(air_temperature, TEMPERATURE_RANGE[0]), TEMPERATURE_RANGE[1])
    costs_more = air_temperature > temperature or dry_air_pressure < pressure
    costs_less = air_temperature < temperature or dry_air_pressure > pressure
    return power_factor(pressure, temperature), int(costs_more) - int(costs_less)


def engine_speed_in_reference_air(
    engine_speed: float, expanded_uncertainty: float, factor: float
) -> tuple[float, float]:
    """Full-throttle engine speed to expect in reference air with the same propeller, boat and load.

    engine_speed : as run [rev/min]
    expanded_uncertainty  : half width of its 95 % interval [rev/min]
    factor       : from `power_factor`, above 0 [-]
    returns      : engine speed and half width of its 95 % interval [rev/min]
    Raises ValueError for a factor of zero or below.

    An approximation: the propeller takes power as the cube of its speed [1] and the engine gives about the same
    power a little faster or slower, so speed goes with the cube root of power. Were it the same torque instead,
    speed would go with the square root; the interval is widened by the difference.

    >>> tuple(round(number) for number in engine_speed_in_reference_air(5500, 10, 1.03))
    (5554, 29)

    [1] Propeller law, cube of speed, as in duty cycle E3 of ISO 8178-4 (from memory).
    """
    if not factor > 0:
        raise ValueError(f"power factor must be above zero, got {factor}")
    expected = engine_speed * factor ** (1 / 3)
    by_torque = engine_speed * factor ** (1 / 2)
    return expected, math.hypot(expanded_uncertainty, by_torque - expected)
