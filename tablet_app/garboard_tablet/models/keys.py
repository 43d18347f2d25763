"""The keys of the pads, and what stands there after each."""

from __future__ import annotations

ERASE = "erase"
SIGN = "sign"
POINT = "."
ENTER = "enter"
"""The large key at the lower right of a pad."""
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


_NAMED = {8: ERASE, 13: ENTER, 266: POINT, 269: "-", 271: ENTER, **{256 + digit: str(digit) for digit in range(10)}}
"""Keys of a desktop's keyboard that print nothing, and those of its number block, by the window's number for them."""


def of_keyboard(number: int, text: str | None) -> str:
    """What a key of a desktop's keyboard means on a pad; "" for one that means nothing there.

    number : the window's number for the key
    text   : what it prints

    >>> of_keyboard(53, "5"), of_keyboard(261, None), of_keyboard(8, None), of_keyboard(97, "a"), of_keyboard(282, None)
    ('5', '5', 'erase', 'A', '')
    """
    if number in _NAMED:
        return _NAMED[number]
    return text.upper() if text and len(text) == 1 and text.isascii() and text.isprintable() else ""
