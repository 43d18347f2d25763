"""No page changes beneath a finger: what nobody pressed for waits until no finger is down.

A press counts when the finger goes up. If the page were drawn anew meanwhile, what was touched would be gone, and
something else might lie there.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable

from kivy.base import EventLoop
from kivy.clock import Clock

RESTING = 10.0
"""What has not moved for so long is no press, but water or a palm: nothing waits for it [s]."""


def is_finger_down() -> bool:
    """Whether a press may be under way. One that goes up counts as down no more, though it is still being answered."""
    now = time.time()  # as Kivy timestamps touches
    return any(touch.is_touch and abs(now - touch.time_update) < RESTING for touch in EventLoop.touches)


class BetweenTouches:
    """Does work on the drawing thread between one touch and the next, in the order it comes due.

    It is done as Kivy's clock ticks, so never while a touch is being answered.
    """

    def __init__(self) -> None:
        self._due: deque[Callable[[], object]] = deque()
        self._is_coming = False

    def later(self, work: Callable[[], object], after: float = 0.0, /) -> object:
        """Have work done, so many seconds from now at the earliest. Any thread may call it."""
        return Clock.schedule_once(lambda _dt: self._take(work), after)

    def every(self, seconds: float, work: Callable[[], object]) -> Repeated:
        """Have work done again and again, until it is cancelled."""
        return Repeated(seconds, work, self._take)

    def _take(self, work: Callable[[], object]) -> None:
        self._due.append(work)
        self._work()

    def _work(self) -> None:
        try:
            while self._due and not is_finger_down():
                self._due.popleft()()
        finally:  # what follows one that fails is done at the next frame
            if self._due and not self._is_coming:
                self._is_coming = True
                Clock.schedule_once(self._at_next_frame)

    def _at_next_frame(self, _dt: float) -> None:
        self._is_coming = False
        self._work()


class Repeated:
    """Work that is done again and again; what has to wait is done once, however often it came due meanwhile."""

    def __init__(
        self, seconds: float, work: Callable[[], object], take: Callable[[Callable[[], object]], None]
    ) -> None:
        self._do, self._take = work, take
        self._waits = self._is_over = False
        self._ticking = Clock.schedule_interval(self._come_due, seconds)

    def cancel(self) -> None:
        """No more of it, not even what waits."""
        self._is_over = True
        self._ticking.cancel()

    def _come_due(self, _dt: float) -> None:
        if not self._waits:
            self._waits = True
            self._take(self._once)

    def _once(self) -> None:
        self._waits = False
        if not self._is_over:
            self._do()
