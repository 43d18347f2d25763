"""A figure as lines, areas and words in millimetres: what a typesetter draws, and nothing it has to decide.

The origin is the upper left of the figure; y grows downwards.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import Any

import attrs

from garboard.findings import Axis, Band, Figure, Marker, Series, rounded
from garboard.record_types import frozen
from garboard.report.figures import axis_title, style_of
from garboard.report.palette import DAY, SeriesStyle
from garboard.report.type_faces import printable, width_of

Part = dict[str, Any]
"""One thing to draw: see `book.typ`, which knows each kind."""

NOTE = 8.0
"""Type size of everything in a figure [pt]."""
_LINE = NOTE * 25.4 / 72 * 1.2
_TICKS = 6
_MOST_MARKED = 40
_CLEAR = 0.6
_OFFSETS = [(across, sign * up) for up in range(4, 33, 3) for across in (3, -3, 0, 14, -14) for sign in (-1, 1)]
"""Where a point's name may stand from it, the nearest first [mm]."""
_LEADS_FROM = 7.0
FEW_POINTS = 4
_MOST_ROWS, _ROW = 6, 5.0
"""Of a strip: so many series at most, and the height of each [mm]."""
_LEGEND_LINE = 9.0


@frozen
class _Scale:
    """From the values of an axis to millimetres: low at `start`, high at `end`."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)

    def inside(self, value: float) -> bool:
        return self.low <= value <= self.high


def ticks(low: float, high: float, *, whole: bool = False, most: int = _TICKS) -> list[float]:
    """Round numbers from low to high, a few of them.

    >>> ticks(0, 10), ticks(0.2, 1.1), ticks(0, 2, whole=True)
    ([0.0, 2.0, 4.0, 6.0, 8.0, 10.0], [0.2, 0.4, 0.6, 0.8, 1.0], [0.0, 1.0, 2.0])
    """
    span = high - low
    power = 10.0 ** math.floor(math.log10(span / most))
    step = next(factor * power for factor in (1.0, 2.0, 2.5, 5.0, 10.0) if factor * power * most >= span * (1 - 1e-9))
    if whole:
        step = max(1.0, math.ceil(step))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(one * step, 12) for one in range(first, last + 1)]


def told(value: float, step: float) -> str:
    """A tick's number, with as many digits as its step needs and a real minus.

    >>> told(-0.5, 0.5), told(2000.0, 1000.0), told(0.0, 0.1)
    ('−0.5', '2000', '0.0')
    """
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    if round(step, digits) != round(step, 9):  # 2.5, 0.25
        digits += 1
    return rounded(value, digits).replace("-", "\u2212")


def chart(figure: Figure, width: float, height: float) -> dict[str, Any]:
    """The figure as parts to draw; width and height as printed [mm]."""
    figure = _printable(figure)
    if is_strip(figure):
        return _strip(figure, width)
    x = _range(figure.x, [s.x for s in figure.series], [b for b in figure.bands if b.axis == "x"])
    first = [series for series in figure.series if not (series.second_axis and figure.y2)]
    y = _range(figure.y, [s.y for s in first], [b for b in figure.bands if b.axis == "y"])
    second = [series for series in figure.series if series.second_axis and figure.y2]
    y2 = _range(figure.y2, [s.y for s in second], [b for b in figure.bands if b.axis == "y2"]) if figure.y2 else None
    if (figure.x.low, figure.x.high) == (0, 360):
        x = (-4.0, 364.0)  # a reading on north is drawn whole
    legend = _legend_rows(figure, width)
    top, bottom = 2 * _LINE + 1.5, height - 2.6 * _LINE - _LINE * len(legend)
    left = 1.5 + max(width_of(one, NOTE) for _, one in _told_ticks(figure.y, y))
    right = width - 2.5
    if y2 is not None and figure.y2 is not None:
        right = width - 2.5 - max(width_of(one, NOTE) for _, one in _told_ticks(figure.y2, y2))
    across, up = _Scale(*x, left, right), _Scale(*y, bottom, top)
    if figure.equal_scales:
        across, up = _equal(across, up)
    up2 = _Scale(*y2, bottom, top) if y2 is not None else None
    bands = [*_bands(figure, across, up, up2)]
    parts = [
        *_dressed(figure, across, up, up2, width),
        *(one for one in bands if one["kind"] != "text"),
        *_curves(figure, across, up, up2),
        *(one for one in bands if one["kind"] == "text"),  # no line strikes a name through
        *_legend(legend, height - _LINE * len(legend)),
        *_points(figure, across, up, up2),
    ]
    return {"width": width, "height": height, "parts": parts}


def is_strip(figure: Figure) -> bool:
    """Whether a figure is a few readings held against bands: its values then lie along one line, a row a series."""
    return (
        figure.x.whole
        and figure.y2 is None
        and any(band.axis == "y" for band in figure.bands)
        and all(not series.line and 0 < len(series.x) <= FEW_POINTS for series in figure.series)
        and 0 < len(figure.series) <= _MOST_ROWS
    )


def _strip(figure: Figure, width: float) -> dict[str, Any]:
    """The values along one axis: bands hatched across all rows, a band of no width as a line, a mark a reading."""
    bands = [band for band in figure.bands if band.axis == "y"]
    lanes = [*dict.fromkeys(band.name for band in bands)]
    names = 2.0 + max(width_of(series.name, NOTE) for series in figure.series)
    across = _Scale(
        *_range(figure.y, [series.y for series in figure.series], bands), min(names, width / 3), width - 4.0
    )
    top = _LINE * (1 + len(lanes)) + 1.5
    bottom = top + _ROW * len(figure.series)
    parts = [_text(figure.title, 0, 0, "lt", bold=True)]
    for place, band in enumerate(bands):
        low, high = (across.at(min(max(end, across.low), across.high)) for end in (band.low, band.high))
        if high > low:
            parts.append({"kind": "band", "box": _rounded((low, top, high, bottom)), "hatch": place % 3})
        up = _LINE * (1 + lanes.index(band.name)) + 1.0
        for at in {low, high}:
            parts.append(_line([(at, up + _LINE), (at, bottom)], DAY.ink, 0.3, dash=(2.0, 0.8) if high > low else ()))
        half = width_of(_with_ends(band), NOTE) / 2 + 0.5
        parts.append(_text(_with_ends(band), min(max((low + high) / 2, half), width - half), up, "mt"))
    for value, words in _told_ticks(figure.y, (across.low, across.high)):
        parts.append(_line([(across.at(value), bottom), (across.at(value), bottom + 1.0)], DAY.line, 0.2))
        parts.append(_text(words, across.at(value), bottom + 1.4, "mt"))
    parts.append(_line([(across.start, bottom), (across.end, bottom)], DAY.line, 0.2))
    parts.append(_text(axis_title(figure.y), (across.start + across.end) / 2, bottom + 1.6 + _LINE, "mt"))
    for row, series in enumerate(figure.series):
        style, hollow = style_of(row)
        middle = top + _ROW * (row + 0.5)
        parts.append(_text(series.name, 0, middle, "lm"))
        shown = [value for value in series.y if across.inside(value)]
        parts += [_mark(style, (across.at(value), middle), 1.1, hollow=hollow) for value in shown]
    return {"width": width, "height": bottom + 1.6 + 2 * _LINE, "parts": parts}


def _with_ends(band: Band) -> str:
    """A band's name with where it reaches."""
    ends = [told(value, 1.0 if abs(value) >= 100 else 0.1) for value in dict.fromkeys((band.low, band.high))]
    return f"{band.name} {' to '.join(ends)}"


def _printable(figure: Figure) -> Figure:
    def named(ones: Iterable[Any]) -> tuple[Any, ...]:
        return tuple(attrs.evolve(one, name=printable(one.name)) for one in ones)

    def axis(one: Axis) -> Axis:
        return attrs.evolve(one, label=printable(one.label), unit=printable(one.unit))

    return attrs.evolve(
        figure,
        title=printable(figure.title),
        x=axis(figure.x),
        y=axis(figure.y),
        y2=axis(figure.y2) if figure.y2 else None,
        series=named(figure.series),
        bands=named(figure.bands),
        markers=named(figure.markers),
    )


def _range(axis: Axis, values: Sequence[Sequence[float]], bands: Sequence[Band]) -> tuple[float, float]:
    """From where to where an axis reaches: as declared, else a little beyond what is drawn."""
    drawn = [one for each in values for one in each] + [end for band in bands for end in (band.low, band.high)]
    low, high = min(drawn, default=0.0), max(drawn, default=1.0)
    beyond = 0.06 * (high - low) or max(abs(high), 1.0) * 0.1
    found = low - beyond if axis.low is None else axis.low, high + beyond if axis.high is None else axis.high
    return found if found[1] > found[0] else (found[0], found[0] + max(abs(found[0]), 1.0))


def _equal(across: _Scale, up: _Scale) -> tuple[_Scale, _Scale]:
    """Both with the same millimetres for one unit, the longer range widened about its middle."""
    a_unit = (across.high - across.low) / abs(across.end - across.start)
    b_unit = (up.high - up.low) / abs(up.end - up.start)
    unit = max(a_unit, b_unit)

    def widened(scale: _Scale) -> _Scale:
        middle, half = (scale.low + scale.high) / 2, abs(scale.end - scale.start) * unit / 2
        return attrs.evolve(scale, low=middle - half, high=middle + half)

    return widened(across), widened(up)


def _told_ticks(axis: Axis, ends: tuple[float, float]) -> list[tuple[float, str]]:
    if ends == (-4.0, 364.0):
        return [(float(one), f"{one}") for one in range(0, 361, 45)]
    found = ticks(*ends, whole=axis.whole)
    step = found[1] - found[0] if len(found) > 1 else max(abs(found[0]), 1.0) if found else 1.0
    return [(one, told(one, step)) for one in found]


def _dressed(figure: Figure, across: _Scale, up: _Scale, up2: _Scale | None, width: float) -> Iterator[Part]:
    """Title, axes, grid, ticks and the names of axes on their top."""
    yield _text(figure.title, 0, 0, "lt", bold=True)
    yield _text(axis_title(figure.y), 0, _LINE + 0.6, "lt")
    if figure.y2 is not None:
        yield _text(axis_title(figure.y2), width, _LINE + 0.6, "rt")
    yield _text(axis_title(figure.x), (across.start + across.end) / 2, up.start + 1.4 + _LINE, "mt")
    for value, words in _told_ticks(figure.x, (across.low, across.high)):
        at = across.at(value)
        yield _line([(at, up.start), (at, up.end)], DAY.line, 0.08, fades=True)
        yield _text(words, at, up.start + 1.0, "mt")
    for value, words in _told_ticks(figure.y, (up.low, up.high)):
        at = up.at(value)
        yield _line([(across.start, at), (across.end, at)], DAY.line, 0.08, fades=True)
        yield _text(words, across.start - 1.0, at, "rm")
    if up2 is not None and figure.y2 is not None:
        for value, words in _told_ticks(figure.y2, (up2.low, up2.high)):
            yield _text(words, across.end + 1.0, up2.at(value), "lm")
        yield _line([(across.end, up.start), (across.end, up.end)], DAY.line, 0.2)
    yield _line([(across.start, up.end), (across.start, up.start), (across.end, up.start)], DAY.line, 0.2)


def _bands(figure: Figure, across: _Scale, up: _Scale, up2: _Scale | None) -> Iterator[Part]:
    """A hatched area with dark edges, and its name in the part that shows."""
    for place, band in enumerate(figure.bands):
        on = across if band.axis == "x" else up2 if band.axis == "y2" and up2 is not None else up
        low, high = max(band.low, on.low), min(band.high, on.high)
        if low > high:
            continue
        ends = sorted((on.at(low), on.at(high)))
        box = (ends[0], up.end, ends[1], up.start) if band.axis == "x" else (across.start, ends[0], across.end, ends[1])
        yield {"kind": "band", "box": _rounded(box), "hatch": place % 3}
        for value in (band.low, band.high):
            if on.inside(value):
                at = on.at(value)
                edge = [(at, up.end), (at, up.start)] if band.axis == "x" else [(across.start, at), (across.end, at)]
                yield _line(edge, DAY.ink, 0.3, dash=(2.0, 0.8))
        if band.axis == "x":
            yield _text(band.name, (ends[0] + ends[1]) / 2, up.start - 1.0, "mb", plate=True)
        else:
            yield _text(band.name, across.start + 1.5, (ends[0] + ends[1]) / 2, "lm", plate=True)


def _curves(figure: Figure, across: _Scale, up: _Scale, up2: _Scale | None) -> Iterator[Part]:
    for place, series in enumerate(figure.series):
        style, hollow = style_of(place)
        points = _placed(series, across, up2 if series.second_axis and up2 is not None else up)
        dash = tuple(one * 0.5 for one in style.dash)
        if series.line:
            for start, end in series.stretches:
                stretch = [one for one in points[start:end] if one is not None]
                if len(stretch) > 1:
                    yield _line(stretch, style.colour, 0.5, dash=dash)
        if series.markers or not series.line:
            every = max(1, len(points) // 20) if series.line and len(points) > _MOST_MARKED else 1
            size = 0.75 if len(points) <= _MOST_MARKED or series.line else 0.35
            for point in points[::every]:
                if point is not None:
                    yield _mark(style, point, size, hollow=hollow)


def _placed(series: Series, across: _Scale, up: _Scale) -> list[tuple[float, float] | None]:
    """The points in millimetres; None for one outside the axes."""
    return [
        (across.at(x), up.at(y)) if across.inside(x) and up.inside(y) else None
        for x, y in zip(series.x, series.y, strict=True)
    ]


def _mark(style: SeriesStyle, point: tuple[float, float], size: float, *, hollow: bool) -> Part:
    at = _rounded(point)
    return {"kind": "mark", "form": style.marker, "at": at, "size": size, "colour": style.colour, "hollow": hollow}


def _legend_rows(figure: Figure, width: float) -> list[list[tuple[int, Series, str]]]:
    """The names of series in rows that fit; none where there is one series."""
    if len(figure.series) < 2:
        return []
    named = [
        (place, series, f"{series.name} (right)" if series.second_axis and figure.y2 else series.name)
        for place, series in enumerate(figure.series)
    ]
    widest = _LEGEND_LINE + 5 + max(width_of(name, NOTE) for _, _, name in named)
    columns = max(1, min(len(named), int(width // widest)))
    return [named[start : start + columns] for start in range(0, len(named), columns)]


def _legend(rows: Sequence[Sequence[tuple[int, Series, str]]], top: float) -> Iterator[Part]:
    widest = max((width_of(name, NOTE) for row in rows for _, _, name in row), default=0) + _LEGEND_LINE + 5
    for down, row in enumerate(rows):
        y = top + _LINE * down + _LINE / 2
        for column, (place, series, name) in enumerate(row):
            left = widest * column
            style, hollow = style_of(place)
            if series.line:
                dash = tuple(one * 0.5 for one in style.dash)
                yield _line([(left, y), (left + _LEGEND_LINE - 2, y)], style.colour, 0.5, dash=dash)
            if series.markers or not series.line:
                yield _mark(style, (left + (_LEGEND_LINE - 2) / 2, y), 0.75, hollow=hollow)
            yield _text(name, left + _LEGEND_LINE, y, "lm")


_Box = tuple[float, float, float, float]


def _points(figure: Figure, across: _Scale, up: _Scale, up2: _Scale | None) -> Iterator[Part]:
    """A ring on each point, and its name where it covers least of the curves and of other names."""
    curves = [
        one
        for series in figure.series
        for one in _close_together(series, across, up2 if series.second_axis and up2 is not None else up)
    ]
    taken: list[_Box] = []
    inside = (across.start, up.end, across.end, up.start)
    for marker in figure.markers:
        on = up2 if marker.second_axis and up2 is not None else up
        if not (across.inside(marker.x) and on.inside(marker.y)):
            continue
        x, y = across.at(marker.x), on.at(marker.y)
        best, box = _best_place(marker, (x, y), taken, curves, inside)
        taken.append(box)
        yield {"kind": "ring", "at": _rounded((x, y)), "size": 1.5, "colour": DAY.ink}
        if abs(best[1]) > _LEADS_FROM:
            yield _line([(x, y + math.copysign(1.5, best[1])), (x + best[0], y + best[1])], DAY.ink, 0.2)
        anchor = f"{'l' if best[0] > 0 else 'r' if best[0] < 0 else 'm'}{'t' if best[1] > 0 else 'b'}"
        yield _text(marker.name, x + best[0], y + best[1], anchor, bold=True, plate=True)


def _best_place(
    marker: Marker,
    at: tuple[float, float],
    taken: Sequence[_Box],
    curves: Sequence[tuple[float, float]],
    inside: _Box,
) -> tuple[tuple[int, int], _Box]:
    wide, high = width_of(marker.name, NOTE, bold=True), _LINE
    ways = []
    for order, (across, down) in enumerate(_OFFSETS):
        left = at[0] + across - (0 if across > 0 else wide if across < 0 else wide / 2)
        top = at[1] + down - (0 if down > 0 else high)
        box = (left - _CLEAR, top - _CLEAR, left + wide + _CLEAR, top + high + _CLEAR)
        ways.append((_covered(box, taken, curves, inside), order, (across, down), box))
    _, _, offset, box = min(ways)
    return offset, box


def _covered(box: _Box, taken: Sequence[_Box], curves: Sequence[tuple[float, float]], inside: _Box) -> int:
    """How much a name would cover: other names and the edge count most, then points of curves."""
    left, top, right, bottom = box
    outside = not (inside[0] <= left and inside[1] <= top and right <= inside[2] and bottom <= inside[3])
    names = sum(left < one[2] and one[0] < right and top < one[3] and one[1] < bottom for one in taken)
    return 1000 * (outside + names) + sum(left < x < right and top < y < bottom for x, y in curves)


def _close_together(series: Series, across: _Scale, up: _Scale) -> Iterator[tuple[float, float]]:
    """Points along what is drawn, a millimetre or so apart; of loose points themselves."""
    points = [one for one in _placed(series, across, up) if one is not None]
    yield from points
    if series.line:
        for (x, y), (to_x, to_y) in pairwise(points):
            steps = min(200, int(math.hypot(to_x - x, to_y - y)))
            yield from ((x + (to_x - x) * one / steps, y + (to_y - y) * one / steps) for one in range(1, steps))


def _rounded(values: Iterable[float]) -> list[float]:
    return [round(value, 3) for value in values]


def _line(
    points: Iterable[tuple[float, float]], colour: str, width: float, *, dash: Sequence[float] = (), fades: bool = False
) -> Part:
    drawn = [_rounded(one) for one in points]
    return {"kind": "line", "points": drawn, "colour": colour, "width": width, "dash": [*dash], "fades": fades}


def _text(words: str, x: float, y: float, anchor: str, *, bold: bool = False, plate: bool = False) -> Part:
    """Words at a point: anchor is l, m or r, then t, m or b, of their box."""
    at = _rounded((x, y))
    return {"kind": "text", "words": words, "at": at, "anchor": anchor, "bold": bold, "plate": plate}
