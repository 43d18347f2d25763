"""What a tablet's system does for the app: one small interface, and what an ordinary computer answers to it.

`android_services.py` has the same for Android. Nothing else in the app speaks to the system.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple, Protocol


class Battery(NamedTuple):
    """How full the battery is.

    share : 0 to 1
    """

    share: float
    is_charging: bool


class Services(Protocol):
    """Every call answers at once. One that the system refuses raises; nothing of the work depends on any of them."""

    def data_folder(self) -> Path:
        """Where the system keeps an application's data; an update leaves it alone."""

    def keep_screen_on(self, *, on: bool) -> None:
        """Whether the screen stays on by itself."""

    def hear_groups(self, *, on: bool) -> None:
        """Whether what is sent to a group, and to all, comes in over wifi."""

    def record_out_of_sight(self, *, on: bool) -> None:
        """Whether the app goes on while it is out of sight, and the person sees that it does."""

    def battery(self) -> Battery | None:
        """None where there is none, or the system does not tell."""

    def font_scale(self) -> float:
        """How much larger than usual the person wants words."""

    def languages(self) -> Sequence[str]:
        """What the person reads, the dearest first, as gettext names it: "de_CH"."""

    def step_back(self) -> bool:
        """Show what was there before the app, which stays as it is. False where a system has no such thing."""

    def forget_copied(self, words: str) -> None:
        """Empty the clipboard, if these words are still in it."""


class DeskServices:
    """An ordinary computer: it goes on by itself while the window is out of sight."""

    def data_folder(self) -> Path:
        from kivy.utils import platform

        from garboard_tablet.models.data_folder import of_a_desk

        if platform == "ios":  # Kivy knows that system's folder; nothing else of it is known here
            from kivy.app import App

            return Path(App().user_data_dir)
        return of_a_desk()

    def keep_screen_on(self, *, on: bool) -> None:
        from kivy.core.window import Window

        Window.allow_screensaver = not on

    def hear_groups(self, *, on: bool) -> None:
        """What is sent to a group comes in."""

    def record_out_of_sight(self, *, on: bool) -> None:
        """Programs out of sight go on."""

    def battery(self) -> Battery | None:
        return None

    def font_scale(self) -> float:
        return float(os.environ.get("KIVY_METRICS_FONTSCALE", 1.0))

    def languages(self) -> Sequence[str]:
        said = (os.environ.get(name, "") for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"))
        return next((names.split(":") for names in said if names), [])

    def step_back(self) -> bool:
        return False

    def forget_copied(self, words: str) -> None:
        from kivy.core.clipboard import Clipboard

        if Clipboard.paste() == words:
            Clipboard.copy("")
