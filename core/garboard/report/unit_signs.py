"""Units as people write them, where people read: 2.4°, 50 °C, 6 mm². Files, keys and what is typed keep "deg"."""

from __future__ import annotations

import re

_CODED = re.compile(r"deg|mm2|uT")
_DEGREES = re.compile(r"(?<=\d)[ \u00a0]deg(?![\w/])|(?<![\w.])deg(?=[CF]?(?!\w))")
_IN_WORDS = re.compile(r"(?<=\d)[ \u00a0]degrees?(?! of freedom)(?: a (second|minute))?\b|\bdegrees (?=[CF]\b)")
_A_TIME = {"second": " °/s", "minute": " °/min"}
_OTHERS = re.compile(r"(?<![\w.])(mm2|uT)(?!\w)")
_SIGNS = {"mm2": "mm²", "uT": "µT"}


def with_signs(text: str) -> str:
    """Text with units as people write them.

    >>> with_signs("-1.2 deg at 41 degC, 3 deg/s [deg]"), with_signs("deg_x, a.deg, degrees")
    ('-1.2° at 41 °C, 3 °/s [°]', 'deg_x, a.deg, degrees')
    >>> with_signs("5 degrees off, 2 to 3 degrees a second, ± degrees C"), with_signs("6 degrees of freedom")
    ('5° off, 2 to 3 °/s, ± °C', '6 degrees of freedom')
    >>> with_signs("2.5 mm2, 48 uT"), with_signs("a.mm2")
    ('2.5 mm², 48 µT', 'a.mm2')
    """
    if not _CODED.search(text):
        return text
    text = _DEGREES.sub("°", _IN_WORDS.sub(lambda found: _A_TIME.get(found[1], "°"), text))
    return _OTHERS.sub(lambda found: _SIGNS[found[1]], text)
