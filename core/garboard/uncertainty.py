"""Measured values and how far they can be relied on, in the words of the guide to uncertainty (JCGM 100, "GUM").

Standard uncertainty (u) : one standard deviation of what the value may be.
Coverage factor (k)      : what u is multiplied by so that the interval holds 95 % of what the value may be.
Expanded uncertainty (U) : k u, the half width of that interval. It is what stands after "±" everywhere.
Degrees of freedom       : how well u itself is known; infinite where it comes from a data sheet.
Part                     : what one source adds to a value. Parts of one source add with their signs before anything is
                           squared, so that an error shared by several readings never averages out.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterable, Sequence
from functools import cached_property

import attrs

from garboard.record_types import frozen

__all__ = [
    "DEVIATION_FREEDOM",
    "NORMAL_95",
    "MeasuredValue",
    "Part",
    "Shape",
    "of_last_digit",
    "pooled",
    "rectangular",
    "student_t",
]

DEVIATION_FREEDOM = 6
"""Degrees of freedom of a deviation known to 30 %. [1] JCGM 100:2008, G.4.2."""
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


class Shape(enum.Enum):
    """How what one source adds may be spread."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    ARCSINE = "arcsine"

    __hash__ = object.__hash__  # an enum's own is written in Python, and every part of every value asks for it


@frozen
class Part:
    """What one source adds to the uncertainty of a value.

    source               : its name; parts of one source are one error, added with their signs
    standard_uncertainty : sensitivity times the standard uncertainty of the source, with its sign [unit of the value]
    shape                : RECTANGULAR for a bound (half width over the root of 3), ARCSINE for a vector of known size
                           in an unknown direction (size over the root of 2), else NORMAL
    degrees_of_freedom   : of a NORMAL part told by repeating; None where it comes from a data sheet
    """

    source: str
    standard_uncertainty: float
    shape: Shape = Shape.NORMAL
    degrees_of_freedom: int | None = None

    @classmethod
    def bound(cls, source: str, half_width: float) -> Part:
        """A tolerance that is a bound: the value lies within it, anywhere [1].

        [1] JCGM 100:2008, 4.3.7.
        """
        return cls(source, rectangular(half_width) if half_width >= 0 else -rectangular(-half_width), Shape.RECTANGULAR)

    @classmethod
    def of_expanded(cls, source: str, expanded_uncertainty: float) -> Part:
        """A tolerance that holds 95 %, as a data sheet gives it."""
        return cls(source, expanded_uncertainty / NORMAL_95)

    @classmethod
    def unknown_direction(cls, source: str, size: float) -> Part:
        """What a vector of known size and unknown direction adds along one axis: size times the cosine of any angle."""
        return cls(source, size / math.sqrt(2), Shape.ARCSINE)

    def times(self, factor: float) -> Part:
        """What it adds to a value that follows this one by a factor."""
        return Part(self.source, self.standard_uncertainty * factor, self.shape, self.degrees_of_freedom)


def pooled(deviation: float, freedom: int, squares: float, own_freedom: int) -> tuple[float, int]:
    """A standard deviation known beforehand, bettered by what readings show of themselves.

    deviation   : known beforehand, 0 or above [any unit]
    freedom     : its degrees of freedom, 1 or more; 6 where it is known to 30 % [1, G.4.2]
    squares     : sum of squared residuals of the readings, 0 or above [unit squared]
    own_freedom : degrees of freedom of those, 0 or above
    returns     : standard deviation [same unit] and its degrees of freedom

    >>> deviation, freedom = pooled(13.6, 6, 50.0, 1)
    >>> round(deviation, 2), freedom
    (12.87, 7)

    [1] JCGM 100:2008, 4.2.4 for the pooled deviation.
    """
    whole = freedom + own_freedom
    return math.sqrt((freedom * deviation**2 + squares) / whole), whole


def _one_a_source(parts: Iterable[Part]) -> tuple[Part, ...]:
    merged: dict[tuple[str, Shape], Part] = {}
    for part in parts:
        source = part.source, part.shape
        first = merged.get(source)
        if first is not None:
            whole = first.standard_uncertainty + part.standard_uncertainty
            part = Part(first.source, whole, first.shape, first.degrees_of_freedom)
        merged[source] = part
    return tuple([part for part in merged.values() if part.standard_uncertainty])


def _freedom(parts: Sequence[Part]) -> int | None:
    """Effective degrees of freedom [JCGM 100:2008, G.4.1] of the normal ones, rounded down; None for infinite."""
    normal = [part for part in parts if part.shape is Shape.NORMAL]
    spread = 0.0
    for part in normal:
        if part.degrees_of_freedom is not None:
            spread += part.standard_uncertainty**4 / part.degrees_of_freedom
    if not spread:
        return None
    return max(1, math.floor(sum(part.standard_uncertainty**2 for part in normal) ** 2 / spread + 1e-9))


def _expanded(parts: Sequence[Part]) -> float:
    """Half width of the 95 % interval of what the parts add up to.

    The largest bounded part keeps its shape; the rest is taken as normal. [1] JCGM 101:2008 for the shapes.
    """
    normal = [part for part in parts if part.shape is Shape.NORMAL]
    freedom = _freedom(parts)
    factor = NORMAL_95 if freedom is None else student_t(freedom)
    bounded = sorted((p for p in parts if p.shape is not Shape.NORMAL), key=lambda p: abs(p.standard_uncertainty))
    if not bounded:
        return factor * _root(normal)
    *others, largest = bounded
    # Few degrees of freedom widen the normal parts alone: a bound is a bound.
    rest = math.hypot(_root(normal) * factor / NORMAL_95, _root(others))
    if largest.shape is Shape.RECTANGULAR:
        half_width = abs(largest.standard_uncertainty) * math.sqrt(3)
        if rest < half_width * 1e-6:
            return 0.95 * half_width
        return _where_95_of_rectangular(half_width, rest)
    size = abs(largest.standard_uncertainty) * math.sqrt(2)
    if rest < size * 1e-3:  # of an arcsine alone, 95 % lies within the sine of 0.95 quarter turns
        return size * math.sin(0.95 * math.pi / 2)
    return _where_95_of_arcsine(size, rest)


def _root(parts: Iterable[Part]) -> float:
    return math.hypot(*[part.standard_uncertainty for part in parts])


def _where_95_of_rectangular(half_width: float, rest: float) -> float:
    """Half width that holds 95 % of a rectangle and a normal together, by Newton's steps.

    The share within grows ever slower with the half width, so steps that start short of it never pass it.
    """
    u = max(0.95 * half_width, NORMAL_95 * rest)  # what each would need alone
    for _ in range(30):
        above, below = (u + half_width) / rest, (u - half_width) / rest
        high, low = _normal(above), _normal(below)
        share = rest / half_width * (_integral(above, high) - _integral(below, low)) - 1
        step = (0.95 - share) * half_width / (high - low)
        u += step
        if not abs(step) > 1e-9 * u:  # NaN ends it too
            break
    return u


def _integral(z: float, within: float) -> float:
    """Of the normal distribution, from minus infinity; `within` is its share up to z."""
    return z * within + math.exp(-z * z / 2) / _ROOT_OF_TWO_PI


_ROOT_OF_TWO_PI = math.sqrt(2 * math.pi)


def _where_95_of_arcsine(size: float, rest: float) -> float:
    low, high = 0.0, size + 3 * rest
    for _ in range(26):  # to a hundred-millionth of where it began
        middle = (low + high) / 2
        low, high = (middle, high) if _within_arcsine(middle, size, rest) < 0.95 else (low, middle)
    return high


def _within_arcsine(u: float, size: float, rest: float) -> float:
    angles = (math.pi * (step + 0.5) / 64 for step in range(64))
    shares = [_normal((u - size * math.cos(a)) / rest) - _normal((-u - size * math.cos(a)) / rest) for a in angles]
    return sum(shares) / len(shares)


def _normal(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))


def _not_below_zero(_instance: object, field: attrs.Attribute[float], value: float) -> None:
    if not value >= 0 and not math.isnan(value):  # NaN stands for a value nobody knows, as in `value`
        raise ValueError(f"{field.name} must be zero or above, got {value!r}")


@frozen
class MeasuredValue:
    """A value with its unit and its standard uncertainty.

    standard_uncertainty : same unit, zero for an exact value
    coverage_factor      : what the standard uncertainty is multiplied by for 95 %
    degrees_of_freedom   : of the standard uncertainty; None where it was not told by repeating
    parts                : what each source adds, where it was made of them; for what is derived from it

    >>> speed = MeasuredValue(30.0, "kn", 0.1)
    >>> speed.expanded_uncertainty
    0.196
    """

    value: float
    unit: str = ""
    standard_uncertainty: float = attrs.field(default=0.0, validator=_not_below_zero)
    _stated_factor: float | None = attrs.field(default=NORMAL_95, alias="coverage_factor", repr=False)
    degrees_of_freedom: int | None = None
    parts: tuple[Part, ...] = attrs.field(default=(), eq=False, repr=False)

    @classmethod
    def of_parts(cls, value: float, unit: str, parts: Iterable[Part]) -> MeasuredValue:
        """A value with what each source adds to its uncertainty [1]. It holds 95 % whatever shapes they have.

        >>> speed = [Part("run to run", 0.092, degrees_of_freedom=6), Part("digit", 0.020), Part.bound("receiver", 0.1)]
        >>> round(MeasuredValue.of_parts(30.0, "kn", speed).expanded_uncertainty, 2)
        0.26

        [1] JCGM 100:2008, 5.1.2 and 5.2.2 for the sum, G.4.1 for its degrees of freedom.
        """
        each = _one_a_source(parts)
        return cls(value, unit, _root(each), None, _freedom(each), each)

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

    @cached_property
    def coverage_factor(self) -> float:
        """What the standard uncertainty is multiplied by for 95 %.

        Worked out of the parts when it is first asked for: most values are on the way to another, and nobody does.
        """
        if self._stated_factor is not None:
            return self._stated_factor
        return _expanded(self.parts) / self.standard_uncertainty if self.standard_uncertainty else NORMAL_95

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
