"""What a refill says about the flow meter."""

from __future__ import annotations

import math


def meter_factor(refilled: float, metered: float) -> float:
    """What the meter's readings must be multiplied by to agree with the fuel put back.

    refilled : fuel put back to the same mark, above 0 [gal]
    metered  : fuel burned by the meter over the same time, above 0 [gal]
    returns  : factor; above 1 when the meter reads low [-]
    Raises ValueError for values of zero or below.

    >>> meter_factor(31.2, 30.0)
    1.04
    """
    if not (refilled > 0 and metered > 0):
        raise ValueError(f"fuel put back and fuel metered must be above zero, got {refilled} and {metered}")
    return refilled / metered


def meter_factor_within(refilled: float, metered: float, refilled_within: float, metered_within: float) -> float:
    """Half width of the 95 % interval of the meter factor: relative parts added by squares.

    refilled        : fuel put back, above 0 [gal]
    metered         : fuel burned by the meter, above 0 [gal]
    refilled_within : 95 % half width of the fuel put back [gal]
    metered_within  : 95 % half width of the fuel metered [gal]
    returns         : 95 % half width of the factor [-]
    Raises ValueError for fuel of zero or below.

    >>> round(meter_factor_within(31.2, 30.0, 0.5, 0.06), 4)
    0.0168

    [1] JCGM 100:2008 (GUM), 5.1.6: relative variances of a quotient add.
    """
    factor = meter_factor(refilled, metered)
    return factor * math.hypot(refilled_within / refilled, metered_within / metered)
