"""Charts of the page of insight as SVG, drawn by the server: each mark is a link to the rows it stands for.

A chart with links is a group, never an image. Shapes and edges tell what colours tell, so that it prints in black and
white. Dots are many: they are left out of the order of tab stops, and the list under a chart has the same links.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

import attrs
from markupsafe import Markup, escape

from garboard.faults import in_number
from garboard.findings import in_full, plain_text, rounded_beside
from garboard.report.visible import visible
from garboard_shop.insight import Dot, Span, Spread, board

WIDTH = 720
_ROW, _LABEL, _LETTER = 30, 330, 10
_TOP, _BOTTOM, _LEFT = 12, 44, 56
_HEIGHT = 240
NARROW, _NARROW_ROW = 330, 54
_DOT = 5
LONGEST_LABEL = 46
DECIMALS = {"%": 1, "nm/gal": 2, "°": 1, "rev/min": 0}
"""Of a boat's number, as its findings and its own page give it."""


@attrs.frozen
class Bar:
    """One bar: the whole of it an outline, a part of it filled.

    told : the numbers, behind it
    """

    label: str
    href: str
    whole: float
    filled: float
    told: str


def bars(label: str, found: Sequence[Bar]) -> Markup:
    """Bars that lie, one below the other."""
    most = max((bar.whole for bar in found), default=0) or 1
    room = WIDTH - _LABEL - _LETTER * max((len(bar.told) for bar in found), default=0)  # behind the longest bar
    return _chart(label, _ROW * len(found), (_bar(bar, row, room / most) for row, bar in enumerate(found)))


def _bar(bar: Bar, row: int, scale: float) -> Markup:
    top = row * _ROW
    short = bar.label if len(bar.label) <= LONGEST_LABEL else f"{bar.label[: LONGEST_LABEL - 1]}…"
    shapes = _rect("whole", _LABEL, top + 5, max(1, bar.whole * scale), 20)
    if bar.filled:
        shapes += _rect("filled", _LABEL, top + 5, max(1, bar.filled * scale), 20)
    behind = _text(_LABEL + bar.whole * scale + 8, top + 21, bar.told)
    return _link(bar.href, f"{bar.label}: {bar.told}", _text(0, top + 21, short, "name") + shapes + behind)


def narrow_bars(label: str, found: Sequence[Bar]) -> Markup:
    """The same bars for a phone: each below its label, so that nothing lies beside the screen."""
    most = max((bar.whole for bar in found), default=0) or 1
    scale = (NARROW - _LETTER * max((len(bar.told) for bar in found), default=0)) / most  # its number is behind a bar
    parts = []
    for row, bar in enumerate(found):
        top = row * _NARROW_ROW
        shapes = _rect("whole", 1, top + 26, max(1, bar.whole * scale), 18)
        if bar.filled:
            shapes += _rect("filled", 1, top + 26, max(1, bar.filled * scale), 18)
        behind = _text(bar.whole * scale + 9, top + 40, bar.told)
        parts.append(
            _link(bar.href, f"{bar.label}: {bar.told}", _text(0, top + 18, bar.label, "name") + shapes + behind)
        )
    return _chart(label, _NARROW_ROW * len(found), parts, NARROW)


def months(label: str, found: Sequence[Span]) -> Markup:
    """Columns of shares from 0 to 100 %, with how many jobs each rests on; no column for too few."""
    step = (WIDTH - _LEFT) / max(1, len(found))
    parts = [*_levels((0, 50, 100), 100, " %")]
    for place, span in enumerate(found):
        left = _LEFT + place * step
        shown = Markup("")
        share = span.share
        if share is not None:
            top = _y(share, 100)
            shown = _rect("filled", left + 8, top, step - 16, _HEIGHT - _BOTTOM - top)
            shown += _text(
                left + step / 2, top - 4 if share < 92 else top + 16, f"{share}", "mid" if share < 92 else "mid on"
            )
        below = _text(left + step / 2, _HEIGHT - 26, f"{span.begins:%b}", "mid")
        below += _text(left + step / 2, _HEIGHT - 8, f"{span.jobs}", "mid small")
        told = f"{span.begins:%B %Y}: {in_number(span.jobs, 'job')} handed over, {span.right} right the first time"
        href = board(view="all", handed=span.key)
        parts.append(_link(href, told, shown + below) if span.jobs else below)
    return _chart(label, _HEIGHT, parts)


def days_by_week(label: str, found: Sequence[Span]) -> Markup:
    """A dot a job, by the week it was handed over in and the days it took, and the median of each week."""
    most = _round_up(max((span.longest for span in found), default=0))
    step = (WIDTH - _LEFT) / max(1, len(found))
    parts = [*_levels((0, most / 2, most), most, " d")]
    for place, span in enumerate(found):
        middle = _LEFT + (place + 0.5) * step
        if place % 4 == 0:
            parts.append(_text(middle, _HEIGHT - 26, f"{span.begins.day} {span.begins:%b}", "mid"))
        for day, hull in span.days:
            dot = _round("dot", middle, _y(day, most), 4)
            parts.append(_link(f"/boats/{hull}", in_number(int(day), "day"), dot, is_stop=False))
        if span.median is not None:
            line = _line(
                "median", middle - step * 0.45, _y(span.median, most), middle + step * 0.45, _y(span.median, most)
            )
            jobs = in_number(span.jobs, "job")
            told = f"Week of {span.begins.day} {span.begins:%B}: median {days_in_words(span.median)}, {jobs}"
            parts.append(_link(board(view="all", handed=span.key), told, line))
    return _chart(label, _HEIGHT, parts)


def days_in_words(days: float) -> str:
    """A median of whole days.

    >>> days_in_words(1.0), days_in_words(1.5)
    ('1 day', '1.5 days')
    """
    return f"{in_full(days)} {'day' if days == 1 else 'days'}"


MOST_FORECASTS = 60
"""Drawn, the newest."""


def forecasts(label: str, found: Sequence[Dot], width: int = WIDTH) -> Markup:
    """What was foreseen of each propeller as a line from end to end, and what it reached: a square where outside."""
    shown = found[-MOST_FORECASTS:]
    ends = [end for dot in shown for end in (dot.seen.value, dot.seen.low, dot.seen.high) if end is not None]
    low, high = _whole_hundreds(ends)
    step = (width - _LEFT) / max(1, len(shown))
    parts = [*_levels((low, (low + high) / 2, high), high, "", low, width)]
    for place, dot in enumerate(shown):
        middle = _LEFT + (place + 0.5) * step
        top, foot = (
            _y(end if end is not None else edge, high, low)
            for end, edge in ((dot.seen.high, high), (dot.seen.low, low))
        )
        mark = _line("range", middle, top, middle, foot) + _mark(dot, middle, _y(dot.seen.value, high, low))
        parts.append(_link(f"/boats/{dot.hull}", dot_in_words(dot, "rev/min"), mark, is_stop=False))
    return _chart(label, _HEIGHT - 20, parts, width)


def strip(label: str, found: Spread, unit: str, width: int = WIDTH) -> Markup:
    """A dot a boat along a line, piled where they lie together; a frame where 8 of 10 lie; a square where unusual."""
    values = [dot.seen.value for dot in found.dots]
    low, high = _ends_of(values)
    piles: dict[int, int] = {}
    bins, floor, room = (width - 40) // (2 * _DOT + 2), 132, width - 40

    def x_of(value: float) -> float:
        return 20 + (value - low) / (high - low) * room

    parts: list[Markup] = []
    if found.low is not None and found.high is not None and found.middle is not None:
        first, mid, last = (x_of(end) for end in (found.low, found.middle, found.high))
        parts += [_rect("usual", first, 8, max(2, last - first), floor - 2), _line("median", mid, 8, mid, floor + 6)]
    places = [round((x_of(dot.seen.value) - 20) / room * bins) for dot in found.dots]
    apart = min(2 * _DOT, (floor - 14) / max([places.count(place) for place in {*places}], default=1))
    for dot, place in zip(found.dots, places, strict=True):
        piles[place] = piles.get(place, 0) + 1
        x, y = 20 + place * room / bins, floor - _DOT - (piles[place] - 1) * apart
        parts.append(_link(f"/boats/{dot.hull}", dot_in_words(dot, unit), _mark(dot, x, y), is_stop=False))
    parts.append(_line("axis", 20, floor + 6, width - 20, floor + 6))
    for share, anchor in ((0.0, "name"), (0.5, "mid"), (1.0, "end")):
        value = low + share * (high - low)
        parts.append(_text(x_of(value), floor + 24, with_unit(in_digits(value), unit), anchor))
    return _chart(label, floor + 32, parts, width)


def dot_in_words(dot: Dot, unit: str) -> str:
    """A boat's number with the digits that its own page gives it, for its link."""
    seen = dot.seen
    ends = [end for end in (seen.low, seen.high) if end is not None]
    told = rounded_beside(seen.value, ends, DECIMALS[unit]).replace("-", "−")
    return f"{dot.name}: {with_unit(told, unit)}" + (", outside" if seen.is_outside else "")


def with_unit(number: str, unit: str) -> str:
    """A number with its unit: no space before the sign of a degree.

    >>> with_unit("2.4", "°"), with_unit("1.64", "nm/gal")
    ('2.4°', '1.64 nm/gal')
    """
    return f"{number}{unit}" if unit == "°" else f"{number} {unit}"


def in_digits(value: float) -> str:
    """A number with three digits and a real minus sign.

    >>> in_digits(-3.9336), in_digits(-0.0), in_digits(5234.5)
    ('−3.93', '0', '5235')
    """
    return plain_text(value, 3).replace("-", "−")


def _mark(dot: Dot, x: float, y: float) -> Markup:
    if dot.seen.is_outside:
        return _rect("outside", x - _DOT, y - _DOT, 2 * _DOT, 2 * _DOT)
    return _round("dot", x, y, _DOT)


def _ends_of(values: Sequence[float]) -> tuple[float, float]:
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    return -_round_up(-low) if low < 0 else 0.0, _round_up(high)


def _whole_hundreds(values: Sequence[float]) -> tuple[float, float]:
    if not values:
        return 0.0, 100.0
    low, high = 100 * math.floor(min(values) / 100), 100 * math.ceil(max(values) / 100)
    return low, high if high > low else low + 100


def _round_up(most: float) -> float:
    """To a number people read: 10, 20, 50, 100 and so on."""
    size = 10.0 ** math.floor(math.log10(most)) if most > 0 else 1.0
    return next(size * step for step in (1, 2, 3, 4, 5, 6, 8, 10, 20) if size * step >= most)


def _y(value: float, high: float, low: float = 0.0) -> float:
    return _TOP + (high - value) / (high - low) * (_HEIGHT - _BOTTOM - _TOP)


def _levels(values: Iterable[float], high: float, unit: str, low: float = 0.0, width: int = WIDTH) -> Iterator[Markup]:
    for value in values:
        y = _y(value, high, low)
        told = _text(_LEFT - 8, y + 5, f"{in_full(value)}{unit}", "end")  # halfway up 5 d is 2.5 d
        yield _line("level", _LEFT, y, width, y) + told


def _chart(label: str, height: float, parts: Iterable[Markup], width: int = WIDTH) -> Markup:
    return Markup('<svg class="chart" role="group" aria-label="{}" viewBox="0 0 {} {}">{}</svg>').format(
        label, width, f"{height:.0f}", Markup("").join(parts)
    )


def _link(href: str, told: str, shapes: Markup, *, is_stop: bool = True) -> Markup:
    where, says, stop = escape(href), escape(visible(told)), "" if is_stop else ' tabindex="-1"'
    return Markup(f'<a href="{where}" aria-label="{says}"{stop}><title>{says}</title>{shapes}</a>')


def _rect(kind: str, x: float, y: float, width: float, height: float) -> Markup:
    tall = max(0.0, height)
    return Markup(f'<rect class="{escape(kind)}" x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{tall:.1f}"/>')


def _round(kind: str, x: float, y: float, radius: float) -> Markup:
    return Markup(f'<circle class="{escape(kind)}" cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}"/>')


def _line(kind: str, x: float, y: float, to_x: float, to_y: float) -> Markup:
    return Markup('<line class="{}" x1="{}" y1="{}" x2="{}" y2="{}"/>').format(
        kind, f"{x:.1f}", f"{y:.1f}", f"{to_x:.1f}", f"{to_y:.1f}"
    )


def _text(x: float, y: float, words: str, place: str = "name") -> Markup:
    return Markup('<text class="{}" x="{}" y="{}">{}</text>').format(place, f"{x:.1f}", f"{y:.1f}", visible(words))
