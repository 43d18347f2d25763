"""Ticks the run under way ten times a second, whichever page is shown, and sounds what it says."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from kivy.clock import Clock

if TYPE_CHECKING:
    from garboard.steps import Guidance
    from garboard_tablet.models.armed import Turn
    from garboard_tablet.models.live_source import LiveSource
    from garboard_tablet.models.tablet import Tablet

TICK = 0.1
URGENT_AGAIN = 1.5
"""What is urgent is sounded again after this [s], until it is done."""


class RunClock:
    """Between `begin` and `end` a run is ticked.

    ticked : shows how the run stands, on the page now shown
    """

    def __init__(self, tablet: Tablet, live: LiveSource, ticked: Callable[[Turn], object]) -> None:
        self._tablet, self._live, self._ticked = tablet, live, ticked
        self._ticking: Any = None
        self._sounded = 0.0

    def begin(self) -> None:
        """Tick from now on, if a run is under way."""
        self.end()
        if self._live.under_way is not None:
            self._ticking = Clock.schedule_interval(self.tick, TICK)

    def end(self) -> None:
        """Tick no more. The run is as it was."""
        if self._ticking is not None:
            self._ticking.cancel()
            self._ticking = None

    def tick(self, _dt: float) -> None:
        """Take in what came, and show and sound it."""
        under_way = self._live.under_way
        if under_way is None:
            self.end()
            return
        run, now = under_way.run, self._live.time()
        before, was_old = run.guidance, run.age is not None
        turn = under_way.tick(now)
        self._ticked(turn)
        if self._tablet.settings.cue:
            self._sound(before, run.guidance, now, is_lost=run.age is not None and not was_old)

    def _sound(self, before: Guidance, guidance: Guidance, now: float, *, is_lost: bool) -> None:
        from garboard_tablet.ui import sound

        again = guidance.urgent and now - self._sounded >= URGENT_AGAIN
        if is_lost:
            sound.play_lost()
        elif again or _is_news(before, guidance):
            self._sounded = now
            sound.play(guidance)


def _is_news(before: Guidance, after: Guidance) -> bool:
    return before.word != after.word or before.done != after.done
