"""Fuel over a day on the water: the five-mode cycle that marine spark-ignition engines are certified on."""

from __future__ import annotations

import math
from collections.abc import Sequence

from garboard.numeric import slope
from garboard.record_types import frozen


@frozen
class Mode:
    """One mode of a duty cycle.

    speed  : share of maximum test speed [%]; None for warm idle
    torque : share of the torque at maximum test speed [%]
    weight : share of the time, 0 to 1 [-]
    """

    speed: float | None
    torque: float
    weight: float


FIVE_MODES = (
    Mode(100.0, 100.0, 0.06),
    Mode(80.0, 71.6, 0.14),
    Mode(60.0, 46.5, 0.15),
    Mode(40.0, 25.3, 0.25),
    Mode(None, 0.0, 0.40),
)
"""40 CFR 1045 Appendix II, discrete-mode cycle."""


def weighted(values: Sequence[float]) -> float:
    """The average of one value for each mode, weighted by the time spent in it.

    values  : one for each of the five modes, full speed first, idle last, any unit [-]
    returns : weighted average, same unit [-]
    Raises ValueError unless there are five.

    >>> round(weighted([12.3, 7.0, 4.0, 2.2, 0.4]), 3)
    3.028

    [1] 40 CFR 1045 Appendix II, discrete-mode cycle.
    """
    if len(values) != len(FIVE_MODES):
        raise ValueError(f"expected {len(FIVE_MODES)} values, one for each mode, got {len(values)}")
    return math.fsum(mode.weight * value for mode, value in zip(FIVE_MODES, values, strict=True))


def exponent(shares: Sequence[float], flows: Sequence[float]) -> float:
    """The power of engine speed that fuel flow follows, by least squares on logarithms.

    shares  : engine speeds as shares of full speed, above 0, at least two different [-]
    flows   : fuel flow at each, above 0 [gal/h]
    returns : exponent; the torques of the cycle give power 2.5 [-]
    Raises ValueError for fewer than two different speeds and for values of zero or below.

    >>> round(exponent([1.0, 0.8, 0.6, 0.4], [1.0, 0.5728, 0.279, 0.1012]), 2)
    2.5
    """
    if len(set(shares)) < 2 or len(shares) != len(flows) or min(*shares, *flows) <= 0:
        raise ValueError(f"expected at least two different speeds with flows above zero, got {shares} and {flows}")
    return slope([math.log(share) for share in shares], [math.log(flow) for flow in flows])
