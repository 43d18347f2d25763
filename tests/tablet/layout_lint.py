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


def _press_faults(press: Any, window: Any, dp: Callable[[float], float]) -> Iterator[str]:
    width, height = window.size
    if min(press.size) < dp(LEAST_TARGET) - 1:
        yield f"target {_name(press)} is {press.width / dp(1):.0f} x {press.height / dp(1):.0f} dp"
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
    reached = contrast(_hex(label.color), _hex(_ground(label)))
    if reached < LEAST_TEXT_CONTRAST:
        yield f"{label.text[:40]!r} has contrast {reached:.1f}"


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


def _hex(colour: Sequence[float]) -> str:
    return "#" + "".join(f"{round(255 * part):02X}" for part in colour[:3])
