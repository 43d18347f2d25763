"""Measured values and how far they can be relied on, in the words of the guide to uncertainty (JCGM 100, "GUM").

Standard uncertainty (u) : one standard deviation of what the value may be.
Coverage factor (k)      : what u is multiplied by so that the interval holds 95 % of what the value may be.
Expanded uncertainty (U) : k u, the half width of that interval. It is what stands after "±" everywhere.
Degrees of freedom       : how well u itself is known; infinite where it comes from a data sheet.
"""

from __future__ import annotations

import math

import attrs

__all__ = ["NORMAL_95", "MeasuredValue", "of_last_digit", "rectangular", "student_t"]

NORMAL_95 = 1.96
"""Coverage factor for 95 % of a normal distribution. [1] JCGM 100:2008, table G.1."""

_T_95 = (12.7062, 4.3027, 3.1824, 2.7764, 2.5706, 2.4469, 2.3646, 2.3060, 2.2622, 2.2281)
"""Two-sided 95 % points of Student's t for 1 to 10 degrees of freedom [1 in student_t]."""


def student_t(freedom: int) -> float:
    """Coverage factor for 95 % where the standard uncertainty has few degrees of freedom.

    freedom : degrees of freedom, 1 or more [-]
    returns : two-sided 95 % point of Student's t [-]
    Raises ValueError below 1.

    >>> student_t(3), round(student_t(1000), 3)
    (3.1824, 1.962)

    [1] Table of percentage points of the t distribution, Abramowitz and Stegun, table 26.10; above 10 degrees
        of freedom its expansion 26.7.5.
    """
    if freedom < 1:
        raise ValueError(f"expected 1 degree of freedom or more, got {freedom}")
    if freedom <= len(_T_95):
        return _T_95[freedom - 1]
    x = 1.959964
    return (
        x
        + (x**3 + x) / (4 * freedom)
        + (5 * x**5 + 16 * x**3 + 3 * x) / (96 * freedom**2)
        + (3 * x**7 + 19 * x**5 + 17 * x**3 - 15 * x) / (384 * freedom**3)
    )


def rectangular(half_width: float) -> float:
    """Standard uncertainty of what may lie anywhere within a bound, such as a tolerance.

    half_width : of the bound, 0 or above [any unit]
    returns    : standard uncertainty [same unit]

    >>> round(rectangular(3.0), 3)
    1.732

    [1] JCGM 100:2008, 4.3.7.
    """
    return half_width / math.sqrt(3)


def of_last_digit(step: float) -> float:
    """Standard uncertainty that comes from reading a display to one step of its last digit.

    step    : what one step of the last digit is worth, 0 or above [any unit]
    returns : standard uncertainty [same unit]

    >>> round(of_last_digit(0.1), 4)
    0.0289

    [1] JCGM 100:2008, F.2.2.1: the value may lie anywhere within half a step either way.
    """
    return step / math.sqrt(12)


def _not_below_zero(_instance: object, field: attrs.Attribute[float], value: float) -> None:
    if not value >= 0 and not math.isnan(value):  # NaN stands for a value nobody knows, as in `value`
        raise ValueError(f"{field.name} must be zero or above, got {value!r}")


@attrs.frozen
class MeasuredValue:
    """A value with its unit and its standard uncertainty.

    standard_uncertainty : same unit, zero for an exact value
    coverage_factor      : what the standard uncertainty is multiplied by for 95 %
    degrees_of_freedom   : of the standard uncertainty; None where it was not told by repeating

    >>> speed = MeasuredValue(30.0, "kn", 0.1)
    >>> speed.expanded_uncertainty
    0.196
    """

    value: float
    unit: str = ""
    standard_uncertainty: float = attrs.field(default=0.0, validator=_not_below_zero)
    coverage_factor: float = NORMAL_95
    degrees_of_freedom: int | None = None

    @classmethod
    def by_repeating(
        cls, value: float, unit: str, standard_uncertainty: float, degrees_of_freedom: int
    ) -> MeasuredValue:
        """A value whose standard uncertainty was told from its own readings. Raises ValueError below 1 degree."""
        return cls(value, unit, standard_uncertainty, student_t(degrees_of_freedom), degrees_of_freedom)

    @classmethod
    def of_expanded(cls, value: float, unit: str, expanded_uncertainty: float) -> MeasuredValue:
        """A value whose half width at 95 % is known, as a data sheet gives it."""
        return cls(value, unit, expanded_uncertainty / NORMAL_95)

    @property
    def expanded_uncertainty(self) -> float:
        """Half width of the 95 % interval, same unit."""
        return self.coverage_factor * self.standard_uncertainty

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval."""
        return self.value - self.expanded_uncertainty

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval."""
        return self.value + self.expanded_uncertainty
