"""Ruler, bars and plan of the owner's pages, as lines, areas and words in millimetres."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from garboard.owner_pages import Bars, Place, Plan, Ruler, RulerStep, Span
from garboard.report.blocks import TEXT_WIDTH
from garboard.report.palette import DAY
from garboard.report.type_faces import printable, width_of

Part = dict[str, Any]
Point = tuple[float, float]

NOTE = 9.0
"""Type size of labels [pt]."""
_LINE = NOTE * 25.4 / 72 * 1.25
FEWEST_ON_PLAN = 3


def _text(words: str, x: float, y: float, anchor: str, *, bold: bool = False, colour: str = "") -> Part:
    said = {"kind": "text", "words": printable(words), "at": [round(x, 2), round(y, 2)], "anchor": anchor}
    return {**said, "bold": bold, "plate": False, "size": NOTE, "colour": colour}


def _line(points: Sequence[Point], colour: str, width: float) -> Part:
    plain = [[round(x, 2), round(y, 2)] for x, y in points]
    return {"kind": "line", "points": plain, "colour": colour, "width": width, "dash": [], "fades": False}


def _area(points: Sequence[Point], *, fill: str = "", edge: str = "", width: float = 0.3) -> Part:
    plain = [[round(x, 2), round(y, 2)] for x, y in points]
    return {"kind": "area", "points": plain, "fill": fill, "edge": edge, "width": width}


def _box(left: float, top: float, right: float, bottom: float, **look: Any) -> Part:
    return _area([(left, top), (right, top), (right, bottom), (left, bottom)], **look)


# Ruler

_BOX_TOP, _BOX_HIGH = 15.0, 11.0
_LEFT, _RIGHT = 19.0, TEXT_WIDTH - 8.0
_COLUMN = 9.5  # room of the figures under a step [mm]


def ruler_drawn(ruler: Ruler) -> dict[str, Any]:
    """Stretches in boxes, pointers above, figures under the steps; as much of them as has room."""
    places = [one.at for one in ruler.steps] + [end for span in ruler.spans for end in (span.low, span.high)]
    low, high = min(places, default=0.0), max(places, default=1.0)
    scale = (_RIGHT - _LEFT) / ((high - low) or 1.0)

    def at(value: float) -> float:
        return _LEFT + (min(max(value, low), high) - low) * scale

    bottom = _BOX_TOP + _BOX_HIGH
    parts = [*_spans(ruler.spans, at, bottom), *_pointers(ruler, at)]
    parts.append(_line([(_LEFT, bottom), (_RIGHT, bottom)], DAY.ink, 0.4))
    for row, name in enumerate(ruler.rows):
        parts.append(_text(name, 0, bottom + 3.0 + _LINE * row, "lt", colour=DAY.quiet))
    for step in _with_room(ruler.steps, at):
        parts.append(_line([(at(step.at), bottom), (at(step.at), bottom + 2.0)], DAY.ink, 0.3))
        for row, cell in enumerate(step.cells):
            parts.append(_text(cell, at(step.at), bottom + 3.0 + _LINE * row, "mt", bold=row == 0))
    return {"width": TEXT_WIDTH, "height": bottom + 4.0 + _LINE * max(1, len(ruler.rows)), "parts": parts}


def _spans(spans: Sequence[Span], at: Callable[[float], float], bottom: float) -> Iterator[Part]:
    for span in spans:
        left, right = at(span.low), at(span.high)
        if span.look == "avoid":
            yield {"kind": "band", "box": [left, _BOX_TOP, right, bottom], "hatch": 0}
        colour = DAY.action if span.look == "best" else DAY.ink if span.look == "full" else DAY.line
        yield _box(left, _BOX_TOP, right, bottom, edge=colour, width=0.78 if span.look == "best" else 0.35)
        wide = width_of(span.name, NOTE, bold=True)
        if wide < right - left - 1:
            said = _text(span.name, (left + right) / 2, (_BOX_TOP + bottom) / 2, "mm", bold=True)
            yield {**said, "plate": span.look == "avoid"}
        elif wide < _RIGHT - _LEFT:
            middle = min(max((left + right) / 2, wide / 2), TEXT_WIDTH - wide / 2)
            yield _text(span.name, middle, _BOX_TOP - 0.8, "mb", bold=True)


def _pointers(ruler: Ruler, at: Callable[[float], float]) -> Iterator[Part]:
    """Triangles with their names above, a name that would cover the last one a line higher."""
    ends = [-99.0, -99.0]
    for pointer in sorted(ruler.pointers, key=lambda one: one.at):
        x, half = at(pointer.at), width_of(pointer.name, NOTE) / 2
        middle = min(max(x, half), TEXT_WIDTH - half)
        row = next((row for row, end in enumerate(ends) if middle - half > end + 1.5), 1)
        ends[row] = middle + half
        top = _BOX_TOP - 6.5 - _LINE * row
        yield _text(pointer.name, middle, top, "mb")
        yield _line([(x, top), (x, _BOX_TOP - 1.0)], DAY.ink, 0.2)
        yield _area([(x - 1.4, _BOX_TOP - 2.6), (x + 1.4, _BOX_TOP - 2.6), (x, _BOX_TOP - 0.2)], fill=DAY.ink)


def _with_room(steps: Sequence[RulerStep], at: Callable[[float], float]) -> Sequence[RulerStep]:
    """The first and the last, and between them those that cover neither the last one told nor the end."""
    if len(steps) < 2:
        return steps
    ordered = sorted(steps, key=lambda one: one.at)
    kept = [ordered[0]]
    for step in ordered[1:-1]:
        if at(step.at) - at(kept[-1].at) >= _COLUMN and at(ordered[-1].at) - at(step.at) >= _COLUMN:
            kept.append(step)
    return [*kept, ordered[-1]]


# Bars

_BAR_EACH, _BAR_HIGH = 12.5, 5.5


def bars_drawn(bars: Bars) -> dict[str, Any]:
    """Each distance filled for the way out and outlined for the way back, its name above it; what is kept in grey."""
    longest = max((one.value for one in bars.bars), default=1.0) or 1.0
    parts: list[Part] = []
    for row, bar in enumerate(bars.bars):
        top = row * _BAR_EACH
        thirds = 3 if bars.keeps_as_much else 2
        half = bar.value / longest * (TEXT_WIDTH / thirds - 0.5)
        kept = _box(2 * half, top + _LINE + 0.6, 3 * half, top + _LINE + 0.6 + _BAR_HIGH, fill=DAY.line, edge=DAY.line)
        parts += [
            _text(bar.name, 0, top, "lt"),
            _text(bar.text, TEXT_WIDTH, top, "rt", bold=True),
            _box(0, top + _LINE + 0.6, half, top + _LINE + 0.6 + _BAR_HIGH, fill=DAY.action, edge=DAY.action),
            _box(half, top + _LINE + 0.6, 2 * half, top + _LINE + 0.6 + _BAR_HIGH, edge=DAY.action, width=0.4),
            *([kept] if bars.keeps_as_much else []),
        ]
    bottom = _BAR_EACH * len(bars.bars)
    key = f"Filled: out. Outlined: back.{' Grey: the third that is kept.' if bars.keeps_as_much else ''}"
    parts.append(_text(key, 0, bottom, "lt", colour=DAY.quiet))
    return {"width": TEXT_WIDTH, "height": bottom + _LINE, "parts": parts}


# Plan

_LONGEST, _WIDEST = 170.0, 78.0
_USUAL_BEAM = 0.33  # of the length, where one of the two is not entered
_PIN = 2.9
_APART = 2 * _PIN + 1.2  # from the middle of one to that of the next [mm]
_BOW = 4.0  # for the word above it
_ROOM_FOR_SIDES = 42.0  # for the words on both sides of it [mm]


def _planing(share: float) -> float:
    return 0.9 + 0.1 * math.sin(math.pi * share) if share < 0.5 else 1.0 - ((share - 0.5) / 0.5) ** 2.4


def _flat(share: float) -> float:
    return 0.94 if share < 0.55 else 0.94 * (1.0 - 0.72 * ((share - 0.55) / 0.45) ** 2)


def _displacement(share: float) -> float:
    return 0.62 + 0.38 * math.sin(math.pi * share) if share < 0.5 else 1.0 - ((share - 0.5) / 0.5) ** 2


def _multihull(share: float) -> float:
    return 0.97 if share < 0.7 else 0.97 - 0.35 * ((share - 0.7) / 0.3) ** 3


_HALF_BREADTH: Mapping[str, Callable[[float], float]] = {
    "flat bottom hard chine": _flat,
    "displacement": _displacement,
    "multihull": _multihull,
}
"""Half breadth at a share of the length from the transom, as a share of the widest; the others as a planing boat."""


def plan_drawn(plan: Plan) -> dict[str, Any] | None:
    """The boat from above, bow up; None where too few places are known."""
    placed = [
        (number, one)
        for number, one in enumerate(plan.places, 1)
        if one.along is not None and one.across is not None and 0 <= one.along <= 1 and 0 <= one.across <= 1
    ]
    if len(placed) < FEWEST_ON_PLAN:
        return None
    broad = plan.beam / plan.length if plan.beam > 0 and plan.length > 0 else _USUAL_BEAM
    long = min(_LONGEST, _WIDEST / broad)
    wide = long * broad
    width, middle, high = wide + 2 * _PIN + 2, wide / 2 + _PIN + 1, long + 2 * _PIN + 2 + _BOW
    stern = high - _PIN - 1
    half = _HALF_BREADTH.get(plan.hull_form, _planing)
    shares = [place / 40 for place in range(41)]
    port = [(middle - half(one) * wide / 2, stern - one * long) for one in shares]
    starboard = [(middle + half(one) * wide / 2, stern - one * long) for one in reversed(shares)]
    outline = [*port, *starboard, port[0]]
    parts = [_line(outline, DAY.ink, 0.5), _text("bow", middle, 0, "mt", colour=DAY.quiet)]
    if width >= _ROOM_FOR_SIDES:
        parts += [_text("port", 0, 0, "lt", colour=DAY.quiet), _text("starboard", width, 0, "rt", colour=DAY.quiet)]
    taken: list[Point] = []
    for number, one in placed:
        thing = _on_board(one, half, middle, wide, stern, long)
        pin = _clear(thing, taken, width)
        taken.append(pin)
        parts += _pin(number, one, thing, pin)
    return {"width": width, "height": high, "parts": parts}


def _on_board(
    place: Place, half: Callable[[float], float], middle: float, wide: float, stern: float, long: float
) -> Point:
    """Where a place stands in the drawing; across is a share of the breadth there."""
    along, across = place.along or 0.0, 0.5 if place.across is None else place.across
    return middle + (2 * across - 1) * half(along) * wide / 2, stern - along * long


def _clear(thing: Point, taken: Sequence[Point], width: float) -> Point:
    """Where a pin stands that touches no other: at the thing, else near it. Some are square: their corners count."""
    beside = ((1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1))
    ways = [(0.0, 0.0)] + [
        (reach * _APART * across, reach * _APART * down) for reach in (1.0, 2.0, 3.0, 4.0) for across, down in beside
    ]
    for across, down in ways:
        pin = (min(max(thing[0] + across, _PIN), width - _PIN), max(thing[1] + down, _PIN))
        if all(max(abs(pin[0] - x), abs(pin[1] - y)) >= _APART - 1e-9 for x, y in taken):
            return pin
    return thing


def _pin(number: int, place: Place, thing: Point, pin: Point) -> Iterator[Part]:
    if math.dist(thing, pin) > 0.5:
        yield _line([thing, pin], DAY.ink, 0.35)
        yield {"kind": "mark", "form": "round", "at": [*thing], "size": 0.7, "colour": DAY.ink, "hollow": False}
    form, colour = ("square", DAY.fail) if place.is_first else ("round", DAY.ink)
    yield {"kind": "mark", "form": form, "at": [*pin], "size": _PIN, "colour": colour, "hollow": False}
    yield _text(f"{number}", *pin, "mm", bold=True, colour=DAY.panel)
