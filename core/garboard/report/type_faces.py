"""The typefaces of paper: their files, which characters they hold, and how wide a text is."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING

from garboard.faults import Fault, InputError
from garboard.owner_pages import REFERENCE
from garboard.record_types import frozen
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


@frozen
class MoreFaces:
    """A shop's own typefaces, for names in other scripts: they come after the book's own.

    folder : where their files lie
    names  : as the files call their families
    held   : every character one of them holds
    """

    folder: Path
    names: tuple[str, ...]
    held: frozenset[str]


_MORE: ContextVar[MoreFaces | None] = ContextVar("more faces", default=None)


def more_faces() -> MoreFaces | None:
    """The shop's own typefaces a book is being made with; None for none."""
    return _MORE.get()


@contextmanager
def with_faces(folder: Path | None) -> Iterator[None]:
    """Make books with the typefaces of a folder (.ttf, .otf) too. Raises InputError for a file that is none."""
    before = _MORE.set(_read(folder) if folder is not None and folder.is_dir() else None)
    try:
        yield
    finally:
        _MORE.reset(before)


def _read(folder: Path) -> MoreFaces | None:
    files = sorted(file for file in folder.iterdir() if file.suffix.lower() in (".ttf", ".otf"))
    found = [_face_in(file, file.stat().st_mtime_ns) for file in files]
    names = tuple(dict.fromkeys(name for name, _ in found))
    return MoreFaces(folder, names, frozenset().union(*(letters for _, letters in found))) if found else None


@lru_cache(maxsize=32)
def _face_in(file: Path, _changed: int) -> tuple[str, frozenset[str]]:
    """Family and characters of a typeface. Its reader fails in many ways: any of them means that it is none."""
    from fontTools.ttLib import TTFont

    try:
        with TTFont(file, lazy=True) as font:
            return str(font["name"].getBestFamilyName()), frozenset(map(chr, font.getBestCmap()))
    except Exception as failure:
        fault = Fault("file", "a typeface (.ttf or .otf); take it out of the folder", f"{type(failure).__name__}")
        raise InputError(str(file), [fault]) from None


@lru_cache(maxsize=1)
def _own() -> frozenset[str]:
    first, second = (frozenset(_font(file).getBestCmap()) for file in _FILES[:2])
    return frozenset(map(chr, first & second)) | {"\n", _JOINT}


def held() -> frozenset[str]:
    """Every character that can be set in the text's typeface, regular and bold, or in one of the shop's own."""
    more = more_faces()
    return _own() | more.held if more else _own()


def printable(text: str) -> str:
    """Text as it can be set: what steers spelled out, what no typeface holds as its code in brackets.

    >>> printable("Salt\\x07grass"), printable("\\u4e2d").rstrip("\\u200b")
    ('Salt\\\\u0007grass', '[U+4E2D]')
    """
    kept, others = REFERENCE.findall(text), REFERENCE.split(text)
    printed = [*map(_printable, others)]
    return "".join(part for pair in zip_longest(printed, kept, fillvalue="") for part in pair)


def _printable(text: str) -> str:
    text = in_print(text).translate(_STRIPPED).replace("\t", " ").replace("\r", "")
    letters = _own()
    if letters.issuperset(text):
        return text
    letters = held()
    return "".join(letter if letter in letters else f"[U+{ord(letter):04X}]{_JOINT}" for letter in text)


def breakable(text: str, letters: int = 12) -> str:
    """Text whose long words can be broken after so many letters, where a line is too short for them.

    >>> breakable("a short one"), len(breakable("w" * 25, 10))
    ('a short one', 27)
    """
    least = min(_LONG_WORD, 2 * letters)
    if len(text) <= least or all(len(word) <= least for word in text.split()):
        return text
    pieces = re.compile(rf"[^\s{_JOINT}]{{{least + 1},}}")  # no other joint into a word that has its own
    return pieces.sub(lambda word: _JOINT.join(_of_length(word.group(), letters)), text)


def _of_length(word: str, letters: int) -> list[str]:
    return [word[start : start + letters] for start in range(0, len(word), letters)]


@lru_cache(maxsize=4096)
def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """Width of a text on one line [mm], for a type size [pt]."""
    widths, units = _advances(_FILES[bold])
    return sum(widths.get(letter, widths[""]) for letter in text) / units * size * 25.4 / 72


@lru_cache(maxsize=2)
def _advances(file: str) -> tuple[dict[str, int], int]:
    """How far each letter advances, "" for one the face lacks, and how many such units make the size."""
    font = _font(file)
    glyphs = font["hmtx"].metrics
    widths = {chr(code): glyphs[name][0] for code, name in font.getBestCmap().items()}
    return {**widths, "": glyphs[".notdef"][0]}, font["head"].unitsPerEm
