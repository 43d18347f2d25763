"""A value, its ± and its unit stay on one line."""

from __future__ import annotations

import re
from functools import lru_cache

from garboard.report.unit_signs import with_signs
from garboard.units import UNITS_OF, with_minus

_UNITS = "|".join(
    sorted({re.escape(unit) for units in UNITS_OF.values() for unit in units if unit}, key=len, reverse=True)
)
BREAKABLE = re.compile(rf"(?<=\d) (?=± ?\d)|(?<=±) (?=\d)|(?<=\d) (?=(?:{_UNITS})(?:/(?:{_UNITS}))?(?![\w/]))")
"""A blank at which a line may end, within a value."""


@lru_cache(maxsize=4096)
def joined(text: str) -> str:
    """A text as it is drawn: values do not break at the end of a line, units and minus stand as people write them.

    >>> joined("5462 ± 409 rev/min at 38.2 kn").split(" ")
    ['5462\\xa0±\\xa0409\\xa0rev/min', 'at', '38.2\\xa0kn']
    >>> joined("-2.4 deg, 50 degC, 2.5 mm2")
    '−2.4°, 50\\xa0°C, 2.5\\xa0mm²'
    """
    return with_signs(with_minus(BREAKABLE.sub("\u00a0", text)))
