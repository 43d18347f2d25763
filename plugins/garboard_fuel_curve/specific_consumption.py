"""Fuel for the power made: what a reading at full throttle says about the engine, or about the meter."""

from __future__ import annotations

BTU_PER_HORSEPOWER_HOUR = 550 * 3600 / 778.16926
"""1 hp = 550 ft lbf/s exact; 1 Btu (international table) = 778.16926 ft lbf."""

POUND_IN_GRAMS, HORSEPOWER_IN_KILOWATTS = 453.59237, 0.74569987158227022

HEATING_VALUE = 18500.0
"""Lower heating value of gasoline and of No. 2 diesel, middle of 18 000 to 19 000 [Btu/lb]: Fuel property
comparison, US Department of Energy, Alternative Fuels Data Center."""

HEATING_VALUE_WITHIN = 500.0
"""Half of that range [Btu/lb]."""

ORDINARY_CONSUMPTION = {"gasoline": 0.50, "diesel": 0.40}
"""Specific consumption commonly reckoned with [lb/(hp h)]: public worked examples, boating press."""

FAR_ABOVE = {"gasoline": 0.70, "diesel": 0.50}
"""An engine in order burns no more than this at full throttle [lb/(hp h)]: of gasoline a two-stroke with carburettors.
Common practice, no source."""

FAR_BELOW = {"gasoline": 0.40, "diesel": 0.31}
"""No engine of this kind burns less than this at full throttle [lb/(hp h)]: a meter that says so reads low, and a range
by it is too long. Common practice, no source."""


def specific_consumption(flow: float, density: float, power: float) -> float:
    """Weight of fuel burned for each horsepower hour (BSFC).

    flow    : fuel flow of the engine, above 0 [gal/h]
    density : weight of a gallon of the fuel, above 0 [lb/gal]
    power   : power the engine makes, above 0 [hp]
    returns : specific consumption [lb/(hp h)]
    Raises ValueError for values of zero or below.

    >>> round(specific_consumption(12.295, 6.1, 150.0), 3)
    0.5
    """
    _above_zero(fuel_flow=flow, density=density, power=power)
    return flow * density / power


def flow_at_power(power: float, consumption: float, density: float) -> float:
    """Fuel flow an engine needs to make a power.

    power       : power, above 0 [hp]
    consumption : specific consumption, above 0 [lb/(hp h)]
    density     : weight of a gallon of the fuel, above 0 [lb/gal]
    returns     : fuel flow [gal/h]
    Raises ValueError for values of zero or below.

    >>> round(flow_at_power(150.0, 0.50, 6.2), 2)
    12.1

    [1] Gallons per hour = specific consumption x horsepower / weight of a gallon; public worked examples.
    """
    _above_zero(power=power, consumption=consumption, density=density)
    return power * consumption / density


def brake_efficiency(consumption: float, heating_value: float = HEATING_VALUE) -> float:
    """Share of the fuel's heat that becomes power.

    consumption   : specific consumption, above 0 [lb/(hp h)]
    heating_value : lower heating value of the fuel, above 0 [Btu/lb]
    returns       : efficiency; 1 and above cannot be [-]
    Raises ValueError for values of zero or below.

    >>> round(brake_efficiency(0.50, 18500.0), 3)
    0.275
    """
    _above_zero(consumption=consumption, heating_value=heating_value)
    return BTU_PER_HORSEPOWER_HOUR / (consumption * heating_value)


def at_efficiency(share: float, heating_value: float = HEATING_VALUE) -> float:
    """Specific consumption of an engine that makes power of a share of the fuel's heat.

    share         : efficiency, above 0 [-]
    heating_value : lower heating value of the fuel, above 0 [Btu/lb]
    returns       : specific consumption [lb/(hp h)]
    Raises ValueError for values of zero or below.

    >>> round(at_efficiency(0.275, 18500.0), 3)
    0.5
    """
    return brake_efficiency(share, heating_value)  # the one is the inverse of the other, by the same constant


def metric_consumption(consumption: float) -> float:
    """Specific consumption in metric units.

    consumption : specific consumption [lb/(hp h)]
    returns     : specific consumption [g/kWh]

    >>> round(metric_consumption(0.50), 1)
    304.1

    [1] NIST SP 811 (2008), appendix B.8: 1 lb = 453.59237 g exact, 1 hp = 745.6999 W.
    """
    return consumption * POUND_IN_GRAMS / HORSEPOWER_IN_KILOWATTS


def likely_slip(factor: float, engines: int) -> str:
    """What usually stands behind a flow that is off by a factor.

    factor  : reading divided by the flow commonly reckoned with, above 0 [-]
    engines : engines on the boat, at least 1 [-]
    returns : words for the person [-]
    Common practice, no source: slips met with when meters are set up.

    >>> likely_slip(3.7, 1)
    'looks like L/h entered as gal/h'
    """
    slips = [(3.785, "looks like L/h entered as gal/h"), (1 / 3.785, "looks like gal/h entered as L/h")]
    if engines > 1:
        slips += [
            (float(engines), f"looks like the flow of all {engines} engines entered for one"),
            (1 / engines, f"looks like one flow shared among {engines} engines"),
        ]
    nearest, words = min(slips, key=lambda slip: abs(_ratio(factor, slip[0]) - 1))
    return words if _ratio(factor, nearest) <= 1.25 else "no common slip explains it"


def _ratio(first: float, second: float) -> float:
    return max(first / second, second / first)


def _above_zero(**values: float) -> None:
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"{name.replace('_', ' ')} must be above zero, got {value}")
