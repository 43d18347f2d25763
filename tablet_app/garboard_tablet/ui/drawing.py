"""Figures, gauge and strip chart on our own canvas, from plain data."""

from __future__ import annotations

import itertools
import math
import re
from collections import OrderedDict
from collections.abc import Callable, Sequence
from functools import lru_cache, partial
from typing import Any

from kivy.core.text import Label as CoreLabel
from kivy.graphics import Color, Line, Rectangle, SmoothEllipse, SmoothLine, SmoothQuad, SmoothRectangle
from kivy.properties import ColorProperty
from kivy.uix.widget import Widget
from kivy.utils import escape_markup

from garboard.findings import Band, Figure, Table
from garboard.report.palette import SERIES_STYLES
from garboard.report.unit_signs import with_signs
from garboard.units import with_minus
from garboard_tablet.language import shown
from garboard_tablet.models.labels import Box, Point, along, clear_box, name_of_band
from garboard_tablet.models.scale import extents, number_text, ticks
from garboard_tablet.ui.curves import pieces
from garboard_tablet.ui.joined import joined
from garboard_tablet.ui.theme import BODY, SMALL, dp, sp, theme
from garboard_tablet.ui.widgets import Txt

Span = tuple[float, float]

MANY = 80
"""Points from which a line is drawn plainly: a smooth one grows spikes where it turns sharply."""


MOST_KEPT, MOST_WORDS = 16_000_000, 512
"""So much of the words drawn lately is kept [byte], and so many: a number that fills the page is half a megabyte."""
_kept = OrderedDict[tuple[str, float, str, bool], Any]()


def texture(text: str, size: float, font: str = "Roboto", bold: bool = False) -> Any:
    """Words as a white texture, to be drawn in any colour."""
    key = (text, size, font, bold)
    if key not in _kept:
        label = CoreLabel(text=with_signs(with_minus(text)), font_size=size, font_name=font, bold=bold)
        label.refresh()
        _kept[key] = label.texture
        held = sum(map(_bytes_of, _kept.values()))
        while len(_kept) > 1 and (held > MOST_KEPT or len(_kept) > MOST_WORDS):
            held -= _bytes_of(_kept.popitem(last=False)[1])
    _kept.move_to_end(key)
    return _kept[key]


def _bytes_of(one: Any) -> int:
    return int(one.width) * int(one.height) * 4


def draw_text(
    text: str, x: float, y: float, role: str, size: float = SMALL, anchor: tuple[float, float] = (0.5, 0.5),
    font: str = "Roboto", bold: bool = False,
) -> tuple[float, float]:  # fmt: skip
    """Draw words into the canvas that is open; the anchor is the part of them that stands at x, y."""
    found = texture(text, sp(size), font, bold)
    Color(*theme.colour(role))
    Rectangle(texture=found, size=found.size, pos=(x - found.width * anchor[0], y - found.height * anchor[1]))
    return float(found.width), float(found.height)


class Plot(Widget):
    """One figure. A single series needs no legend where the axis names it."""

    ground = ColorProperty(theme.panel)

    def __init__(self, figure: Figure, height: float = 420, *, has_legend: bool = True) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._has_legend = has_legend
        self.ground = theme.panel
        self._figure, self._high = figure, height
        self.curves: list[Point] = []
        """Points along all that is drawn."""
        self.names: list[Box] = []
        """Where the names of bands and points stand."""
        self.bind(pos=self._draw, size=self._draw)

    def fit(self, width: float) -> float:
        self.size = (width, dp(self._high))
        return float(self.height)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        if self.width < dp(200) or self.height < dp(160):
            return
        with self.canvas:
            Color(*theme.panel)
            SmoothRectangle(pos=self.pos, size=self.size)
            self._draw_figure()

    def _draw_figure(self) -> None:
        figure = self._figure
        x_span, y_span, y2_span = extents(figure)
        legend = self._draw_legend() if self._has_legend else 0.0
        left, right = self.x + dp(92), self.right - (dp(92) if y2_span else dp(30))
        bottom, top = self.y + dp(80), self.top - legend - dp(46)
        if figure.equal_scales:
            scale = min((right - left) / (x_span[1] - x_span[0]), (top - bottom) / (y_span[1] - y_span[0]))
            middle = (left + right) / 2
            left, right = middle - scale * (x_span[1] - x_span[0]) / 2, middle + scale * (x_span[1] - x_span[0]) / 2
            top = bottom + scale * (y_span[1] - y_span[0])
        self._box = (left, bottom, right, top)
        self.curves, self.names = [], []
        for number, band in enumerate(figure.bands):
            self._draw_band(number, band, x_span, y_span, y2_span)
        self._draw_axes(x_span, y_span, y2_span)
        for number, series in enumerate(figure.series):
            span = y2_span if series.second_axis and y2_span else y_span
            points = [self._at(x, y, x_span, span) for x, y in zip(series.x, series.y, strict=True)]
            for start, end in series.stretches:
                part = points[start:end]
                self._draw_series(number, part, line=series.line, markers=series.markers)
                whole = [point for point in part if all(map(math.isfinite, point))]
                self.curves.extend(along(whole, dp(6)) if series.line else whole)
        for band in sorted(figure.bands, key=lambda one: one.high > one.low):  # a line has one place for its name
            self._name_band(band, x_span, y_span, y2_span)
        for marker in figure.markers:
            span = y2_span if marker.second_axis and y2_span else y_span
            self._draw_marker(marker.name, *self._at(marker.x, marker.y, x_span, span))

    def _at(self, x: float, y: float, x_span: Span, y_span: Span) -> tuple[float, float]:
        left, bottom, right, top = self._box
        return (
            left + (x - x_span[0]) / (x_span[1] - x_span[0]) * (right - left),
            bottom + (y - y_span[0]) / (y_span[1] - y_span[0]) * (top - bottom),
        )

    def _draw_legend(self) -> float:
        x, row = self.x + dp(20), 0
        high = dp(36)
        for number, series in enumerate(self._figure.series):
            wide = texture(series.name, sp(SMALL)).width + dp(86)
            if x + wide > self.right - dp(10) and x > self.x + dp(20):
                x, row = self.x + dp(20), row + 1
            y = self.top - dp(24) - row * high
            points = [(x, y), (x + dp(56), y)]
            self._draw_series(number, points, line=series.line, markers=False)
            if series.markers:
                self._draw_series(number, [(x + dp(28), y)], line=False, markers=True)
            draw_text(series.name, x + dp(66), y, "ink", SMALL, (0, 0.5))
            x += wide + dp(16)
        return (row + 1) * high

    def _draw_axes(self, x_span: Span, y_span: Span, y2_span: Span | None) -> None:
        left, bottom, right, top = self._box
        most = max(2, int((right - left) / dp(110)))
        for value in ticks(*x_span, most, whole=self._figure.x.whole):
            x, _ = self._at(value, y_span[0], x_span, y_span)
            self._thin(x, bottom, x, top)
            draw_text(number_text(value), x, bottom - dp(20), "ink", SMALL)
        rows = max(2, int((top - bottom) / dp(64)))
        for value in ticks(*y_span, rows, whole=self._figure.y.whole):
            _, y = self._at(x_span[0], value, x_span, y_span)
            self._thin(left, y, right, y)
            draw_text(number_text(value), left - dp(10), y, "ink", SMALL, (1, 0.5))
        if y2_span and self._figure.y2:
            for value in ticks(*y2_span, rows, whole=self._figure.y2.whole):
                _, y = self._at(x_span[0], value, x_span, y2_span)
                draw_text(number_text(value), right + dp(10), y, "ink", SMALL, (0, 0.5))
            draw_text(_with_unit(self._figure.y2.label, self._figure.y2.unit), right + dp(60), top + dp(24), "ink",
                      SMALL, (1, 0.5))  # fmt: skip
        Color(*theme.ink)
        SmoothLine(points=[left, top, left, bottom, right, bottom, *([right, top] if y2_span else [])], width=dp(1.4))
        draw_text(_with_unit(self._figure.y.label, self._figure.y.unit), self.x + dp(20), top + dp(24), "ink", SMALL,
                  (0, 0.5))  # fmt: skip
        draw_text(_with_unit(self._figure.x.label, self._figure.x.unit), right, self.y + dp(24), "ink", SMALL, (1, 0.5))

    def _thin(self, *points: float) -> None:
        Color(*theme.colour("line")[:3], 0.35)
        SmoothLine(points=points, width=dp(0.7))

    def _draw_band(self, number: int, band: Band, x_span: Span, y_span: Span, y2_span: Span | None) -> None:
        """Hatched, with dark edges and its name: a pale fill would vanish in the sun.

        One may be to keep to and the next to keep out of: none is green, and each slants and closes up its own way.
        """
        left, bottom, right, top = self._box
        span = {"x": x_span, "y": y_span, "y2": y2_span or y_span}[band.axis]
        low, high = (min(max(edge, span[0]), span[1]) for edge in (band.low, band.high))
        if band.axis == "x":
            x0, x1 = (self._at(edge, y_span[0], x_span, y_span)[0] for edge in (low, high))
            y0, y1 = bottom, top
            edges = [(x0, y0, x0, y1), (x1, y0, x1, y1)]
        else:
            y0, y1 = (self._at(x_span[0], edge, x_span, span)[1] for edge in (low, high))
            x0, x1 = left, right
            edges = [(x0, y0, x1, y0), (x0, y1, x1, y1)]
        Color(*theme.ink[:3], 0.5)
        for line in hatching(number, (x0, y0, x1, y1), dp(18)):
            SmoothLine(points=line, width=dp(0.7))
        Color(*theme.ink)
        for edge in edges:
            SmoothLine(points=edge, width=dp(1.6))

    def _name_band(self, band: Band, x_span: Span, y_span: Span, y2_span: Span | None) -> None:
        """On top of everything, on a ground of its own, and on no other name."""
        left, bottom, right, top = self._box
        span = {"x": x_span, "y": y_span, "y2": y2_span or y_span}[band.axis]
        middle = (max(band.low, span[0]) + min(band.high, span[1])) / 2
        found = texture(band.name, sp(SMALL))
        if band.axis == "x":
            x, y = self._at(max(band.low, span[0]), y_span[0], x_span, y_span)[0] + dp(8), top - dp(20)
        else:
            x, y = left + dp(10), self._at(x_span[0], middle, x_span, span)[1]
        x = min(x, right - found.width - dp(6)) - dp(4)
        ends = (bottom, top)
        if band.axis != "x":
            low, high = (min(max(edge, span[0]), span[1]) for edge in (band.low, band.high))
            ends = (self._at(x_span[0], low, x_span, span)[1], self._at(x_span[0], high, x_span, span)[1])
        belongs = (x, y - found.height / 2, x + found.width + dp(8), y + found.height / 2)
        within = (left, ends[0], right, ends[1])
        lines = [one for one in self._figure.bands if one.axis == band.axis != "x" and one.low == one.high != band.low]
        levels = [self._at(x_span[0], one.low, x_span, span)[1] for one in lines]
        box = name_of_band(belongs, self.curves, self.names, within, self._box, mark=dp(8), levels=levels)
        self.names.append(box)
        Color(*theme.panel)
        Rectangle(pos=box[:2], size=(box[2] - box[0], box[3] - box[1]))
        draw_text(band.name, box[0] + dp(4), (box[1] + box[3]) / 2, "ink", SMALL, (0, 0.5))

    def _draw_series(self, number: int, points: Sequence[tuple[float, float]], *, line: bool, markers: bool) -> None:
        style = SERIES_STYLES[number % len(SERIES_STYLES)]
        Color(*theme.series(number))
        whole = [point for point in points if all(map(math.isfinite, point))]
        if line:
            width = dp(1.7)
            for stretch in _dashed(whole, [length * 2.4 * width for length in style.dash]):
                if len(whole) > MANY:
                    Line(points=stretch, width=dp(1.2), joint="bevel")
                else:
                    SmoothLine(points=stretch, width=width)
        if markers:
            for x, y in whole:
                _shape(style.marker, x, y, dp(8), hollow=number >= len(SERIES_STYLES))

    def _draw_marker(self, name: str, x: float, y: float) -> None:
        """A ring round the point, and its name where it covers no curve, with a line to it from further away."""
        found, ring = texture(name, sp(SMALL), bold=True), dp(15)
        size = (found.width + dp(8), float(found.height))
        box = clear_box(size, (x, y), ring + dp(3), self.curves, self.names, self._box)
        self.names.append(box)
        near = (min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3]))
        away = math.hypot(near[0] - x, near[1] - y)
        Color(*theme.ink)
        SmoothLine(circle=(x, y, ring, 0, 360, pieces(ring)), width=dp(2))
        if away > ring + dp(8):
            from_x, from_y = x + (near[0] - x) * ring / away, y + (near[1] - y) * ring / away
            SmoothLine(points=[from_x, from_y, *near], width=dp(1))
        Color(*theme.panel)
        Rectangle(pos=box[:2], size=size)
        draw_text(name, box[0] + dp(4), box[1], "ink", SMALL, (0, 0), bold=True)


def _with_unit(label: str, unit: str) -> str:
    return f"{label} [{unit}]" if unit else label


def _shape(marker: str, x: float, y: float, half: float, *, hollow: bool) -> None:
    if marker == "round":
        if hollow:
            SmoothLine(circle=(x, y, half, 0, 360, pieces(half)), width=dp(1.6))
        else:
            SmoothEllipse(pos=(x - half, y - half), size=(2 * half, 2 * half), segments=pieces(half))
    elif marker == "square":
        SmoothRectangle(pos=(x - half * 0.9, y - half * 0.9), size=(1.8 * half, 1.8 * half))
    else:
        SmoothQuad(points=[x, y - half * 1.25, x + half * 1.25, y, x, y + half * 1.25, x - half * 1.25, y])


def _dashed(points: Sequence[tuple[float, float]], pattern: Sequence[float]) -> list[list[float]]:
    """A line cut into dashes; whole when there is no pattern."""
    if not pattern:
        return [[c for point in points for c in point]] if len(points) > 1 else []
    dashes: list[list[float]] = []
    drawing, left = True, pattern[0]
    current: list[float] = []
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        length, done = math.hypot(x1 - x0, y1 - y0), 0.0
        if length == 0:
            continue
        if drawing and not current:
            current = [x0, y0]
        while length - done > left:
            done += left
            at = [x0 + (x1 - x0) * done / length, y0 + (y1 - y0) * done / length]
            if drawing:
                dashes.append([*current, *at])
            drawing, current = not drawing, at if not drawing else []
            left = pattern[0 if drawing else 1]
        left -= length - done
        if drawing:
            current = [*current, x1, y1]
    if drawing and len(current) >= 4:
        dashes.append(current)
    return dashes


def hatching(number: int, box: Box, step: float) -> list[list[float]]:
    """Lines that fill a rectangle, told apart without colour: rising for the first, falling and closer for the next."""
    x0, y0, x1, y1 = box
    if number % 2 == 0:
        return _slanting(x0, y0, x1, y1, step)
    rising = _slanting(x0, y0, x1, y1, step * 0.6)
    return [[a, y0 + y1 - b, c, y0 + y1 - d] for a, b, c, d in rising]


def _slanting(x0: float, y0: float, x1: float, y1: float, step: float) -> list[list[float]]:
    """Slanting lines that fill a rectangle."""
    lines = []
    high, wide = y1 - y0, x1 - x0
    start = -high
    while start < wide:
        a, b = max(0.0, start), min(wide, start + high)
        if b > a:
            lines.append([x0 + a, y0 + a - start, x0 + b, y0 + b - start])
        start += step
    return lines


class TableView(Widget):
    """Rows of a table under their headings. Where the columns do not fit, each row is told in words instead.

    rows : numbers of the rows to show; all when left out
    """

    ground = ColorProperty(theme.panel)

    def __init__(self, table: Table, rows: Sequence[int] | None = None) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.ground = theme.panel
        self._table = table
        self._numbers = list(range(len(table.rows)) if rows is None else rows)
        self._rows = [table.rows[number] for number in self._numbers]
        self._cells: list[list[Txt]] = []
        self._widths: list[float] = []
        self._heights: list[float] = []
        self.bind(pos=self._place)

    def fit(self, width: float) -> float:
        pad = dp(14)
        lines = [self._table.headings, *self._rows]
        columns = list(zip(*([joined(shown(cell)) for cell in line] for line in lines), strict=True))
        room = width - pad * (len(columns) + 1)
        least = [max(_wide(word) for cell in column for word in re.split("[ \n]+", cell)) for column in columns]
        if sum(least) > room:
            return self._in_words(width)
        whole = [max(map(_wide, column)) for column in columns]
        over = [wide - low for wide, low in zip(whole, least, strict=True)]
        share = min(1.0, (room - sum(least)) / sum(over)) if sum(over) > 0 else 0.0
        self._widths = [low + share * more for low, more in zip(least, over, strict=True)]
        spare = (room - sum(self._widths)) / len(columns)
        self._widths = [wide + spare for wide in self._widths]
        self._fill(
            [[Txt(cell, SMALL, "ink" if number else "quiet") for cell in line] for number, line in enumerate(lines)]
        )
        return self._measure(width)

    def parts(self, room: float) -> list[Callable[[], TableView]]:
        """The same in two parts, the first of which fits; nothing when it is one row. Call `fit` first."""
        heads = len(self._heights) - len(self._numbers)
        fitting, used = 0, sum(self._heights[:heads]) + dp(8)
        for high in self._heights[heads:]:
            used += high
            fitting += used <= room
        cut = min(max(1, fitting), len(self._numbers) - 1)
        if cut < 1:
            return []
        return [partial(TableView, self._table, part) for part in (self._numbers[:cut], self._numbers[cut:])]

    def _in_words(self, width: float) -> float:
        self._widths = [width - 2 * dp(14)]
        texts = []
        for row in self._rows:
            told = [
                f"{heading}: {cell}" for heading, cell in zip(self._table.headings[1:], row[1:], strict=True) if cell
            ]
            said = joined("; ".join(told))  # here: Kivy sets marked-up text past the label that joins
            texts.append([Txt(f"[b]{escape_markup(row[0])}[/b]\n{escape_markup(said)}", SMALL, markup=True)])
        self._fill(texts)
        return self._measure(width)

    def _fill(self, cells: list[list[Txt]]) -> None:
        self.clear_widgets()
        self._cells = cells
        for line in cells:
            for cell in line:
                self.add_widget(cell)

    def _measure(self, width: float) -> float:
        self._heights = []
        for row in self._cells:
            high = max(cell.fit(wide) for cell, wide in zip(row, self._widths, strict=True))
            self._heights.append(high + dp(16))
        self.size = (width, sum(self._heights) + dp(8))
        self._place()
        return float(self.height)

    def _place(self, *_: object) -> None:
        pad, top = dp(14), self.top - dp(4)
        self.canvas.before.clear()
        with self.canvas.before:
            Color(*theme.panel)
            Rectangle(pos=self.pos, size=self.size)
            Color(*theme.colour("line"))
            y = self.top - dp(4)
            for number, high in enumerate(self._heights):
                y -= high
                SmoothLine(points=[self.x, y, self.right, y], width=dp(1.6 if number == 0 else 0.6))
        for row, high in zip(self._cells, self._heights, strict=True):
            x = self.x + pad
            for cell, wide in zip(row, self._widths, strict=True):
                cell.pos = (x, top - high / 2 - cell.height / 2)
                x += wide + pad
            top -= high


def _wide(text: str) -> float:
    return _measured(text, sp(SMALL))


@lru_cache(maxsize=2_000)
def _measured(text: str, size: float) -> float:
    """The words of a table stand in it again and again, and on each page it is shown on."""
    return float(CoreLabel(font_size=size).get_extents(with_signs(with_minus(text)))[0]) + 2


__all__ = ["BODY", "Plot", "TableView"]
