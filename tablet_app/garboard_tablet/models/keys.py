"""The keys of the pads, and what stands there after each."""

from __future__ import annotations

ERASE = "erase"
SIGN = "sign"
POINT = "."
LONGEST = 12
"""Digits, point and sign a reading may have; no instrument shows more."""


def pressed(text: str, key: str) -> str:
    """What stands on the pad after one more key. Leading zeros and trailing zeros stay as typed.

    text : what stands there now
    key  : a digit, POINT, SIGN or ERASE

    >>> pressed("09", "1"), pressed("1.5", POINT), pressed("1.5", SIGN), pressed("1.5", ERASE)
    ('091', '1.5', '-1.5', '1.')
    """
    if key == ERASE:
        return text[:-1]
    if key == SIGN:
        return text.removeprefix("-") if text.startswith("-") else f"-{text}"
    if len(text) >= LONGEST or (key == POINT and POINT in text):
        return text
    return text + key
