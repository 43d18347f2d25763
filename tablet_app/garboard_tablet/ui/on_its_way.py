"""A finger already on its way presses nothing that comes up beneath it.

Whoever taps sees what is there, and needs a third of a second until the finger is down. The second tap of a double tap,
or a tap just as findings come in, would press what has that moment come up there: "sign", "throw it away", "start now".
So a touch is taken by what has stood in its place for as long. What stood there before is pressed at once, though it
was drawn anew: the next digit of a number, the next page of a list.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import attrs
from kivy.base import EventLoop
from kivy.clock import Clock

from garboard_tablet.ui.theme import TARGET, dp

ON_ITS_WAY = 0.3
"""So long a finger is on its way [s]."""

Place = tuple[float, float, float, float]
"""Left, bottom, right and top."""


@attrs.define(eq=False)
class Standing:
    """What can be pressed somewhere, whichever widget draws it at the moment.

    since   : when it came up there
    pressed : when it was pressed last
    look    : number of the look that saw it last
    """

    place: Place = (0.0, 0.0, 0.0, 0.0)
    since: float = float("-inf")
    pressed: float = float("-inf")
    look: int = 0

    def is_at(self, place: Place) -> bool:
        """Whether this is its place, give or take what a line more above it moves it by."""
        slack = dp(TARGET) / 2
        return all(abs(one - other) < slack for one, other in zip(self.place, place, strict=True))


class StoodBefore:
    """Looks over all that can be pressed once some of it has changed, and keeps since when each stands in its place.

    kind : of all that can be pressed
    now  : the app's clock
    """

    def __init__(self, kind: type, now: Callable[[], float]) -> None:
        self._kind, self._now = kind, now
        self._standing: dict[tuple[object, ...], list[Standing]] = {}
        self._page = self._looks = 0
        self.has_changed = False
        self._soon = Clock.create_trigger(lambda _dt: self._look(self._now()))

    def page_comes(self) -> None:
        """Another page comes up. What is called the same on it does something else, but for the keys of a pad."""
        self._page += 1
        self.changes()

    def changes(self) -> None:
        """Something comes up, goes or moves. It counts from when it is seen: after the frame."""
        self.has_changed = True
        self._soon()

    def is_new(self, press: Any) -> bool:
        """Whether a finger that comes down now was on its way before this was there."""
        now = self._now()
        if self.has_changed or not self.still_has(press.standing):
            self._look(now)
        return bool(now - press.standing.since < ON_ITS_WAY)

    def still_has(self, standing: Standing) -> bool:
        """Whether what a finger came down on is there as it goes up: another finger may have changed the page."""
        if self.has_changed:
            self._look(self._now())
        return standing.look == self._looks

    def _look(self, now: float) -> None:
        self.has_changed = False
        self._looks += 1
        before, self._standing = self._standing, {}
        for press in self._all():
            means = (0 if press.is_key else self._page, press.name, "" if press.is_same else press.text)
            place = (*press.pos, press.right, press.top)
            stood = next((one for one in before.get(means, ()) if one.is_at(place)), None)
            press.standing = standing = stood or Standing(since=now)
            standing.place, standing.look = place, self._looks
            self._standing.setdefault(means, []).append(standing)

    def _all(self) -> Iterator[Any]:
        waiting = [*EventLoop.window.children]
        while waiting:
            widget = waiting.pop()
            if isinstance(widget, self._kind):
                yield widget
            else:
                waiting.extend(widget.children)
