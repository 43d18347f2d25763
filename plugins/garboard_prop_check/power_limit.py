"""Maximum outboard power by formula, for small monohull boats."""

from __future__ import annotations

import math

from garboard.record_types import frozen

LENGTH_BELOW = 20.0
"""The formula covers monohull outboard boats under this length [ft]."""

_TABLE = ((35, 3.0), (39, 5.0), (42, 7.5), (45, 10.0), (52, 15.0))
"""Highest factor of each line, and its power [hp]. [1] 33 CFR 183.53, table."""


@frozen
class PowerLimit:
    """What the formula gives, and what it may be raised to [hp]."""

    computed: float
    allowed: float


def power_limit(factor: float, remote_and_high_transom: bool, flat_bottom_hard_chine: bool) -> PowerLimit:
    """Maximum power of an outboard boat.

    factor                  : length [ft] x greatest transom width [ft], above 0 [ft2]
    remote_and_high_transom : remote steering and a transom of 20 in or more [-]
    flat_bottom_hard_chine  : a flat bottom with hard chines [-]
    returns                 : power by formula, and raised to the next multiple of 5 where that is allowed [hp]
    Raises ValueError where the rule gives no answer: exactly 52.5, between the table (up to 52, entered with the
    nearest whole number) and the formulas (over 52.5), and one line below the lowest line of the table.

    >>> power_limit(136.5, True, False)
    PowerLimit(computed=183.0, allowed=185.0)

    [1] 33 CFR 183.53 (2001 annual edition, paragraph (a)); formulas as restated on a boat-building education site.
    """
    factor = round(factor, 6)  # 46 in are not quite 3.8333 ft
    if not factor > 0:
        raise ValueError(f"factor must be above zero, got {factor}")
    if factor == 52.5:
        raise ValueError("a factor of exactly 52.5 lies between the table and the formulas")
    if factor < 52.5:
        return _by_table(factor, flat_bottom_hard_chine)
    computed = _by_formula(factor, remote_and_high_transom, flat_bottom_hard_chine)
    return PowerLimit(computed, math.ceil(round(computed, 6) / 5) * 5.0)


def _by_table(factor: float, flat_bottom_hard_chine: bool) -> PowerLimit:
    nearest = math.ceil(factor - 0.5)  # an exact half goes down, the safe way
    line = next(number for number, (highest, _) in enumerate(_TABLE) if nearest <= highest)
    line -= flat_bottom_hard_chine
    if line < 0:
        raise ValueError("the table has no line below 3 hp")
    return PowerLimit(_TABLE[line][1], _TABLE[line][1])


def _by_formula(factor: float, remote_and_high_transom: bool, flat_bottom_hard_chine: bool) -> float:
    if remote_and_high_transom:
        return 2 * factor - 90
    return 0.5 * factor - 15 if flat_bottom_hard_chine else 0.8 * factor - 25
