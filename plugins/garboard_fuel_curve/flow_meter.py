"""What a refill says about the flow meter."""

from __future__ import annotations


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
