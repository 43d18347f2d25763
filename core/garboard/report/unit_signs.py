"""Units as people write them, where people read: 2.4°, 50 °C. Files, keys and what is typed keep "deg" and "degC"."""

from __future__ import annotations

import re

_DEGREES = re.compile(r"(?<=\d)[ \u00a0]deg(?![\w/])|(?<![\w.])deg(?=[CF]?(?!\w))")


def with_signs(text: str) -> str:
    """Text with degrees as people write them.

    >>> with_signs("-1.2 deg at 41 degC, 3 deg/s [deg]"), with_signs("deg_x, a.deg, degrees")
    ('-1.2° at 41 °C, 3 °/s [°]', 'deg_x, a.deg, degrees')
    """
    return _DEGREES.sub("°", text) if "deg" in text else text
