"""Units as people write them, where people read: 2.4°, 50 °C. Files, keys and what is typed keep "deg" and "degC"."""

from __future__ import annotations

import re

_DEGREES = re.compile(r"(?<=\d)[ \u00a0]deg(?![\w/])|(?<![\w.])deg(?=[CF]?(?!\w))")
_IN_WORDS = re.compile(r"(?<=\d)[ \u00a0]degrees?(?! of freedom)(?: a (second|minute))?\b|\bdegrees (?=[CF]\b)")
_A_TIME = {"second": " °/s", "minute": " °/min"}


def with_signs(text: str) -> str:
    """Text with degrees as people write them.

    >>> with_signs("-1.2 deg at 41 degC, 3 deg/s [deg]"), with_signs("deg_x, a.deg, degrees")
    ('-1.2° at 41 °C, 3 °/s [°]', 'deg_x, a.deg, degrees')
    >>> with_signs("5 degrees off, 2 to 3 degrees a second, ± degrees C"), with_signs("6 degrees of freedom")
    ('5° off, 2 to 3 °/s, ± °C', '6 degrees of freedom')
    """
    if "deg" not in text:
        return text
    return _DEGREES.sub("°", _IN_WORDS.sub(lambda found: _A_TIME.get(found[1], "°"), text))
