"""The app in and out of the person's sight: what goes on meanwhile, and what is as it was when they are back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kivy.core.window import Window
from kivy.metrics import Metrics

from garboard_tablet.language import use_language
from garboard_tablet.ui.inputs import WordsBox

if TYPE_CHECKING:
    from garboard_tablet.models.armed import Turn
    from garboard_tablet.models.live_source import LiveSource
    from garboard_tablet.models.under_way import Alone
    from garboard_tablet.system.guest import Guest
    from garboard_tablet.ui.between_touches import BetweenTouches, Repeated
    from garboard_tablet.ui.run_clock import RunClock
    from garboard_tablet.ui.screen import PageScreen

LOOK_AGAIN = 60.0
"""Free space and battery are looked at so often [s]."""


class InSight:
    """Between `begin` and `end` the app is in sight, but from `pause` to `resume`."""

    run_clock: RunClock

    def __init__(self, guest: Guest, live: LiveSource, screen: PageScreen, between_touches: BetweenTouches) -> None:
        self._guest, self._live, self._screen, self._between = guest, live, screen, between_touches
        self._alone: Alone | None = None
        self._looking: Repeated | None = None

    def begin(self) -> None:
        """Words in the person's language and size, before the first page is made."""
        use_language(self._guest.services.languages())
        self._follow_font_scale()

    def settle(self) -> None:
        """The first page is up: free space and battery are looked at from now on."""
        self.look_around()
        self._looking = self._between.every(LOOK_AGAIN, self.look_around)

    def look_around(self) -> None:
        """Say what a person should know before it hurts."""
        if self._guest.look():
            self._screen.refill(("vessels", "live"))

    def pause(self) -> None:
        """Out of sight. A run goes on: the system's service keeps the app at work."""
        from garboard_tablet.models.under_way import Alone

        self._forget_copied()
        self.run_clock.end()
        self._alone = self._alone or Alone(self._live)
        self._alone.begin()

    def resume(self, *_: object) -> None:
        """The person is back; the page is as it was, with what was typed."""
        if self._alone is not None:
            self._alone.end()
        self.run_clock.begin()
        self.look_around()
        if self._follow_font_scale():
            self._screen.redraw()
        else:
            self._screen.say_saved()

    def end(self) -> None:
        """The app ends; a run is ended by whoever holds it."""
        if self._alone is not None:
            self._alone.end()
        self.run_clock.end()
        if self._looking is not None:
            self._looking.cancel()
        self._forget_copied()

    def show_run(self, turn: Turn) -> None:
        """Show how the run stands: its own page all of it, any other for how long it has been recorded."""
        page = self._screen.page
        if page is not None and page.must_not_be_left:
            page.show_run(turn)
        elif self._live.under_way is not None:
            self._screen.shell.say_run()

    def step_back(self) -> bool:
        """Show what was there before the app; False where the system has no such thing."""
        return self._guest.services.step_back()

    def _follow_font_scale(self) -> bool:
        """Words as large as the person set them, within what pages have room for. Returns whether that changed."""
        scale = self._guest.words_scale(min(Window.size) / Metrics.density)
        if Metrics.fontscale == scale:
            return False
        Metrics.fontscale = scale
        return True

    def _forget_copied(self) -> None:
        """Nothing of an owner stays behind for other apps to paste."""
        if WordsBox.copied:
            self._guest.services.forget_copied(WordsBox.copied)
            WordsBox.copied = ""
