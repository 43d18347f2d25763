"""What a page must never do: too small or too close to press, words cut off, over each other, or too faint."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from itertools import combinations
from typing import Any

from garboard.report.palette import LEAST_TEXT_CONTRAST, contrast
from garboard_tablet.ui.joined import BREAKABLE, joined

LEAST_TARGET = 96
LEAST_GAP = 8
LEAST_EDGE = 8
LEAST_FROM_DANGER = 31
LEAST_TEXT = 22
MOST_BARE = 0.36
"""Share of the page that may be bare in one piece while a list has more: a card of six lines that just did not fit."""
IN_LONG_WORDS = 0.05
"""So much more of it where words are 30 % longer: then a card more does not fit."""
BARE_CELL = 32
NOT_IN_THE_RAIL = ("away",)
SIZE_OF_ITS_OWN = ("NewJobPage", "EntryPage", "LivePage")
"""Pages whose keys fill the thumb's corner, or that are held by one press alone: pages 2, 5 and 7."""
ANSWER_BESIDE = (*SIZE_OF_ITS_OWN, "RecordingsPage")
"""Pages whose list has its answer beside it, as long or as short as that is."""


def faults(shell: Any, window: Any, *, may_break: bool = False) -> list[str]:
    """Every fault of the page on show, in words.

    may_break : whether a word too long for its place may stand on two lines, where it has the least size
    """
    from kivy.metrics import dp

    presses, labels = list[Any](), list[Any]()
    _gather(shell, presses, labels)
    found = [fault for press in presses for fault in _press_faults(press, window, dp)]
    for one, other in combinations(presses, 2):
        away = max(other.x - one.right, one.x - other.right, other.y - one.top, one.y - other.top)
        if away < dp(LEAST_GAP) - 1:
            found.append(f"gap of {away / dp(1):.0f} dp between {_name(one)} and {_name(other)}")
    for press in presses:
        found.extend(_too_near_to_danger(press, presses, dp))
    found.extend(_filled_faults(presses, window, type(getattr(shell, "page", None)).__name__))
    if type(getattr(shell, "page", None)).__name__ not in ANSWER_BESIDE:
        found.extend(_bare_faults(shell, presses, labels, window, dp, MOST_BARE + IN_LONG_WORDS * may_break))
    for label in labels:
        found.extend(_label_faults(label, window, may_break=may_break))
    for one, other in combinations(labels, 2):
        wide = min(one.right, other.right) - max(one.x, other.x)
        high = min(one.top, other.top) - max(one.y, other.y)
        if wide > 2 and high > 2:
            found.append(f"{one.text[:30]!r} lies over {other.text[:30]!r}")
    return found


def _gather(widget: Any, presses: list[Any], labels: list[Any]) -> None:
    from kivy.uix.behaviors import ButtonBehavior
    from kivy.uix.label import Label

    if isinstance(widget, ButtonBehavior):
        presses.append(widget)
    if isinstance(widget, Label) and widget.text:
        labels.append(widget)
    for child in widget.children:
        _gather(child, presses, labels)


def _name(widget: Any) -> str:
    return repr(getattr(widget, "name", "") or widget.text)


def _too_near_to_danger(press: Any, others: Sequence[Any], dp: Callable[[float], float]) -> Iterator[str]:
    """What cannot be undone stands 5 mm from all else, and never beside Next."""
    if getattr(press, "kind", "") != "away":
        return
    for other in others:
        away = max(other.x - press.right, press.x - other.right, other.y - press.top, press.y - other.top)
        if other is not press and away < dp(LEAST_FROM_DANGER) - 1:
            yield f"{_name(press)} cannot be undone and is {away / dp(1):.0f} dp from {_name(other)}"


def _filled_faults(presses: Sequence[Any], window: Any, page: str) -> Iterator[str]:
    """Filled is only what is next, and it stands lowest in the thumb's corner; what is dangerous never stands there."""
    from garboard_tablet.ui.theme import theme

    filled = [press for press in presses if getattr(press, "face", None) == theme.action]
    if len(filled) > 1:
        yield f"{', '.join(map(_name, filled))} are filled alike: only what is next is"
    for press in filled if page not in SIZE_OF_ITS_OWN else ():
        others = [other for other in presses if other is not press]
        beyond = [other for other in others if _is_beyond(other, press, left=theme.left) and other.y < press.top - 1]
        lower = [other for other in others if other.y < press.y - 1]
        for other in beyond or lower:
            yield f"{_name(other)} stands nearer to the thumb's corner than {_name(press)}, which is next"
    for press in presses:
        in_rail = press.right > window.width - 230 if not theme.left else press.x < 230
        if getattr(press, "kind", "") in NOT_IN_THE_RAIL and in_rail and window.width > window.height:
            yield f"{_name(press)} cannot be undone and stands in the rail"


def _is_beyond(other: Any, press: Any, *, left: bool) -> bool:
    return bool(other.x < press.x - 1 if left else other.right > press.right + 1)


def _bare_faults(
    shell: Any, presses: Sequence[Any], labels: Sequence[Any], window: Any, dp: Callable[[float], float], most: float
) -> Iterator[str]:
    """Nothing bare beside a list that has more."""
    if not any(getattr(press, "name", "") == "page down" for press in presses):
        return
    cell, top = dp(BARE_CELL), window.height - dp(LEAST_TARGET + 20)
    columns, rows = int(window.width // cell), int(top // cell)
    stands = [(one.x, one.y, one.right, one.top) for one in (*presses, *labels, *_areas(shell))]
    heights, largest = [0] * columns, 0
    for row in range(rows):
        y = row * cell
        for column in range(columns):
            x = column * cell
            bare = not any(a < x + cell and c > x and b < y + cell and d > y for a, b, c, d in stands)
            heights[column] = heights[column] + 1 if bare else 0
        largest = max(largest, _largest(heights))
    share = largest * cell * cell / (window.width * top)
    if share > most:
        yield f"{share:.0%} of the page is bare beside a list that has more"


def _areas(widget: Any) -> Iterator[Any]:
    """What stands on a page besides presses and words: panels, figures, pictures."""
    if getattr(widget, "edge", None) is not None or (not widget.children and widget.canvas.length() > 0):
        yield widget
    for child in widget.children:
        yield from _areas(child)


def _largest(heights: Sequence[int]) -> int:
    """The largest rectangle under a row of bars."""
    best, open_bars = 0, list[tuple[int, int]]()
    for at, high in enumerate((*heights, 0)):
        begins = at
        while open_bars and open_bars[-1][1] >= high:
            begins, tall = open_bars.pop()
            best = max(best, tall * (at - begins))
        open_bars.append((begins, high))
    return best


def _press_faults(press: Any, window: Any, dp: Callable[[float], float]) -> Iterator[str]:
    width, height = window.size
    if min(press.size) < dp(LEAST_TARGET) - 1:
        yield f"target {_name(press)} is {press.width / dp(1):.0f} x {press.height / dp(1):.0f} dp"
    area = getattr(press, "_area", None)
    if area is not None and not press._draw_soon.is_triggered:
        across, up = area.vertices[::4], area.vertices[1::4]
        drawn = (min(across), min(up), max(across), max(up))
        stands = (*press.pos, press.right, press.top)
        if any(abs(one - other) > 0.5 for one, other in zip(drawn, stands, strict=True)):  # drawn in single precision
            yield f"target {_name(press)} is drawn where it stood before"
    edge = dp(LEAST_EDGE) - 1
    if press.x < edge or press.y < edge or press.right > width - edge or press.top > height - edge:
        yield f"target {_name(press)} reaches into the outer {LEAST_EDGE} dp"


def _label_faults(label: Any, window: Any, *, may_break: bool) -> Iterator[str]:
    from kivy.metrics import dp

    if label.font_size < dp(LEAST_TEXT) - 0.5:
        yield f"{label.text[:30]!r} is set in {label.font_size / dp(1):.0f} sp"
    wrap = label.text_size[0]
    if BREAKABLE.search(label._label.text) and _has_room_for_values(label, wrap):
        yield f"{label.text[:40]!r} can be broken within a value"
    wide, high, longest, widest = _room(
        label._label.text, wrap, label.markup, label.font_size, label.font_name, label.bold
    )
    if high > label.height + 2 or wide > label.width + 2:
        yield f"{label.text[:40]!r} needs {wide} x {high}, has {label.width:.0f} x {label.height:.0f}"
    if wrap and widest > wrap + 2 and not (may_break and label.font_size < dp(LEAST_TEXT) + 0.5):
        yield f"the word {longest!r} is broken"
    if label.x < -1 or label.y < -1 or label.right > window.width + 1 or label.top > window.height + 1:
        yield f"{label.text[:40]!r} lies outside the window"
    picture = getattr(label, "_picture", None)
    if (
        picture is not None
        and label.text
        and not label._trigger_texture.is_triggered
        and not _is_where_its_words_are(picture, label)
    ):
        yield f"{label.text[:40]!r} is drawn where it stood before"
    reached = contrast(hex_of(label.color), hex_of(_ground(label)))
    if reached < LEAST_TEXT_CONTRAST:
        yield f"{label.text[:40]!r} has contrast {reached:.1f}"


def _is_where_its_words_are(picture: Any, label: Any) -> bool:
    """Whether the picture of words is the one they have now, in the middle of where they are now, or at its left."""
    wide, high = picture.size
    room = label.text_size[0]
    if room is not None and label.halign != "center":
        wide = room
    off = (picture.pos[0] + wide / 2 - label.center_x, picture.pos[1] + high / 2 - label.center_y)
    return picture.texture is label.texture and all(abs(one) <= 1 for one in off)


def _has_room_for_values(label: Any, wrap: float | None) -> bool:
    """Whether its widest value has room on one line; where it has none, it may end between number and unit."""
    values = [piece for piece in re.split("[ \n]+", joined(label.text)) if "\u00a0" in piece]
    return wrap is None or max(label._label.get_extents(value)[0] for value in values) <= wrap


@cache
def _room(
    text: str, wrap: float | None, is_markup: bool, font_size: float, font_name: str, is_bold: bool
) -> tuple[int, int, str, int]:
    """What a text needs, wide and high, its longest word, and how wide that is; the same words stand on many pages."""
    from kivy.core.text import Label as CoreLabel
    from kivy.core.text.markup import MarkupLabel

    style = {"font_size": font_size, "font_name": font_name, "bold": is_bold}
    probe = (MarkupLabel if is_markup else CoreLabel)(text=text, text_size=(wrap, None), **style)
    probe.refresh()
    words = re.split("[ \n]+", re.sub(r"\[/?b\]|&[a-z]+;", "", text) if is_markup else text)  # not at U+00A0
    words = [
        part for word in words for part in (word.split("/") if word.count("/") > 2 else [word])
    ]  # a path may break
    longest = max(words, key=len, default="")
    return *probe.texture.size, longest, CoreLabel(text=longest, **style).get_extents(longest)[0]


def _ground(widget: Any) -> Sequence[float]:
    while widget is not None:
        if getattr(widget, "ground", None):
            ground: Sequence[float] = widget.ground
            return ground
        widget = widget.parent
    raise AssertionError("no ground under the words")


def hex_of(colour: Sequence[float]) -> str:
    """A colour as the palette writes it."""
    return "#" + "".join(f"{round(255 * part):02X}" for part in colour[:3])
