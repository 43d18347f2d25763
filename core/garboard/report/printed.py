"""Signs as people write them on paper: minus, degrees, units that stay with their number."""

from __future__ import annotations

import re

from garboard.findings import with_minus
from garboard.report.unit_signs import with_signs
from garboard.units import UNITS_OF

NO_BREAK = "\u00a0"
_SIGNS = ("%", "°", "°C", "°F", "mm²", "µT")
_UNITS = sorted({*_SIGNS, *(unit for units in UNITS_OF.values() for unit in units if unit)}, key=len)
_BEFORE_UNIT = re.compile(rf"(?<=\d) (?=(?:{'|'.join(map(re.escape, reversed(_UNITS)))})(?![\w/]))")
_ZERO = re.compile(r"(?<![\w.,:/+\u2212-])[-+\u2212](?=0\.0+(?![\d.]))")


def as_printed(text: str) -> str:
    """Text with signs as people write them: a real minus, degrees; no line ends before a unit or beside a "±".

    >>> as_printed("-1.2 deg at 41 degC, [deg/s]")
    '−1.2° at 41\xa0°C, [°/s]'
    >>> as_printed("-0.0, +0.00, -0.05, 3-0.0")
    '0.0, 0.00, −0.05, 3-0.0'
    >>> as_printed("12.4 ± 0.6 V, NL-300, 2026-05-14, 3 to -2")
    '12.4\xa0±\xa00.6\xa0V, NL-300, 2026-05-14, 3 to −2'
    """
    text = with_signs(text)
    if "±" in text:
        text = text.replace(" ±", f"{NO_BREAK}±").replace("± ", f"±{NO_BREAK}")
    if "0.0" in text:
        text = _ZERO.sub("", text)
    return _BEFORE_UNIT.sub(NO_BREAK, with_minus(text))
