"""Signatures as they were drawn on a tablet: the strokes in the file that is kept with each.

The tablet writes such a file, and whoever brings a folder may have put another in its place. So nothing but lines of
points is read, in the one form the tablet writes; a file of any other form draws nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

import attrs

from garboard.history.values import member
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import SignOff
from garboard.report.photo_files import PictureRefused
from garboard.report.photos import Photo, PhotoLoader

LARGEST = 400_000
"""A hand that signs for a minute draws a tenth of it [bytes]."""
MOST_DRAWN = 12
"""So many signatures of a job are drawn; the Record names all."""
_WIDE, _HIGH = 600.0, 200.0
_MILLIMETRES = 0.1
"""For one unit of the file: the pad is as wide as 60 mm of paper."""
_INK = 0.4  # [mm]
_NEAR = 0.12
"""Points closer together are one on paper [mm]."""
_FORM = re.compile(rb'<svg [^<>]*viewBox="0 0 600 200"[^<>]*>((?:<polyline points="[0-9., ]*"/>)*)</svg>\s*')
_POINTS = re.compile(rb'points="([0-9., ]*)"')
_POINT = re.compile(rb"(\d{1,3}(?:\.\d)?),(\d{1,3}(?:\.\d)?)")

Point = tuple[float, float]


@frozen
class Drawn:
    """Strokes to print. width, height: of all of them with their ink [mm]; strokes: points from the upper left [mm]"""

    width: float
    height: float
    strokes: tuple[tuple[Point, ...], ...]


def drawing_of(sign_off: SignOff) -> Photo | None:
    """The file with a signature's strokes, as a loader of files takes it; None where it was not drawn."""
    file = member(sign_off.more.get("signature"), "file")
    if not isinstance(file, str) or not file:
        return None
    nowhere = ("", "", "", "")
    return Photo(place=nowhere, shows=nowhere, file=file, name="", taken="", by=sign_off.name, arrows=())


def files_of_signatures(view: JobView) -> tuple[str, ...]:
    """The names of all files with strokes."""
    return tuple(drawing.file for one in view.sign_offs if (drawing := drawing_of(one)) is not None)


def strokes_in(content: bytes) -> Drawn | None:
    """A signature as it is printed, cut out around its ink; None for what is none.

    >>> pad = b'<svg viewBox="0 0 600 200"><polyline points="100.0,50.0 200.0,150.0"/></svg>'
    >>> strokes_in(pad)
    Drawn(width=10.8, height=10.8, strokes=(((0.4, 0.4), (10.4, 10.4)),))
    """
    found = _FORM.fullmatch(content) if len(content) <= LARGEST else None
    strokes = [[*_on_paper(one)] for one in _POINTS.findall(found[1])] if found else []
    strokes = [one for one in strokes if one]
    if not strokes:
        return None
    left, top = (min(point[axis] for one in strokes for point in one) - _INK for axis in (0, 1))
    right, bottom = (max(point[axis] for one in strokes for point in one) + _INK for axis in (0, 1))
    moved = tuple(tuple((round(x - left, 2), round(y - top, 2)) for x, y in one) for one in map(_no_dot, strokes))
    return Drawn(round(right - left, 2), round(bottom - top, 2), moved)


def _on_paper(points: bytes) -> Iterator[Point]:
    """The points of a stroke within the pad [mm], those left out that nobody could tell from the one before."""
    last: Point | None = None
    for x, y in _POINT.findall(points):
        point = min(float(x), _WIDE) * _MILLIMETRES, min(float(y), _HIGH) * _MILLIMETRES
        if last is None or max(abs(point[0] - last[0]), abs(point[1] - last[1])) >= _NEAR:
            yield point
            last = point


def _no_dot(stroke: list[Point]) -> list[Point]:
    """A touch without a move, as a line that can be seen."""
    return stroke if len(stroke) > 1 else [*stroke, (stroke[0][0] + 0.05, stroke[0][1])]


class DrawnSignatures:
    """The signatures of a book: each loaded once, the first ones drawn."""

    def __init__(self, load: PhotoLoader) -> None:
        self._load = load
        self._drawn = 0

    def of(self, sign_off: SignOff) -> Mapping[str, Any] | None:
        """What the typesetter draws; None where nothing was drawn, or the file is not here."""
        drawing = drawing_of(sign_off)
        if drawing is None or self._drawn >= MOST_DRAWN:
            return None
        try:
            content = self._load(drawing)
        except PictureRefused:  # a picture in its place
            return None
        if not isinstance(content, bytes):
            content.close()
            return None
        strokes = strokes_in(content)
        if strokes is None:
            return None
        self._drawn += 1
        return {**attrs.asdict(strokes), "ink": _INK, "alt": f"Signature of {sign_off.name}, as drawn."}
