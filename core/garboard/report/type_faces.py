"""The typefaces of paper: their files, which characters they hold, and how wide a text is."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from garboard.report.visible import in_print

if TYPE_CHECKING:
    from fontTools.ttLib import TTFont

FOLDER = Path(__file__).with_name("fonts")
TEXT, DIGITS = "Roboto", "B612"
_FILES = ("Roboto-Regular.ttf", "Roboto-Bold.ttf", "B612-Bold.otf")
_JOINT = "\u200b"
"""Of no width: a word may be broken there."""
_LONG_WORD = 20
_STRIPPED = {**dict.fromkeys((0xFEFF, 0xAD, 0x2060)), 0x202F: 0xA0, 0x2192: "to"}
"""Characters nobody sees: a mark of byte order, a hyphen that is none, a joint of no width; and two of other faces."""


@lru_cache(maxsize=8)
def _font(file: str) -> TTFont:
    from fontTools.ttLib import TTFont

    return TTFont(FOLDER / file, lazy=True)


@lru_cache(maxsize=1)
def held() -> frozenset[str]:
    """Every character that can be set in the text's typeface, regular and bold."""
    first, second = (frozenset(_font(file).getBestCmap()) for file in _FILES[:2])
    return frozenset(map(chr, first & second)) | {"\n", _JOINT}


def printable(text: str) -> str:
    """Text as it can be set: what steers spelled out, what no typeface holds as its code in brackets.

    >>> printable("Salt\\x07grass"), printable("\\u4e2d").rstrip("\\u200b")
    ('Salt\\\\u0007grass', '[U+4E2D]')
    """
    text = in_print(text).translate(_STRIPPED).replace("\t", " ").replace("\r", "")
    if held().issuperset(text):
        return text
    return "".join(letter if letter in held() else f"[U+{ord(letter):04X}]{_JOINT}" for letter in text)


def breakable(text: str, letters: int = 12) -> str:
    """Text whose long words can be broken after so many letters, where a line is too short for them.

    >>> breakable("a short one"), len(breakable("w" * 25, 10))
    ('a short one', 27)
    """
    least = min(_LONG_WORD, 2 * letters)
    if len(text) <= least or all(len(word) <= least for word in text.split()):
        return text
    pieces = re.compile(rf"\S{{{least + 1},}}")
    return pieces.sub(lambda word: _JOINT.join(_of_length(word.group(), letters)), text)


def _of_length(word: str, letters: int) -> list[str]:
    return [word[start : start + letters] for start in range(0, len(word), letters)]


@lru_cache(maxsize=4096)
def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """Width of a text on one line [mm], for a type size [pt]."""
    font = _font(_FILES[bold])
    widths, names = _advances(_FILES[bold]), font.getBestCmap()
    units: int = font["head"].unitsPerEm
    return sum(widths[names.get(ord(letter), ".notdef")][0] for letter in text) / units * size * 25.4 / 72


@lru_cache(maxsize=2)
def _advances(file: str) -> dict[str, tuple[int, int]]:
    return dict(_font(file)["hmtx"].metrics)
