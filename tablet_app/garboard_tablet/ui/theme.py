"""Colours, fonts and sizes of every screen, by day and by night. Importing this draws nothing."""

from __future__ import annotations

from pathlib import Path

from kivy.core.text import LabelBase
from kivy.event import EventDispatcher
from kivy.metrics import Metrics
from kivy.properties import BooleanProperty, ColorProperty
from kivy.utils import get_color_from_hex

from garboard.report.palette import DAY, NIGHT, SERIES_STYLES, Colours

DIGITS = "B612"
LabelBase.register(DIGITS, str(Path(__file__).parent.parent / "fonts" / "B612-Bold.otf"))

BODY, SMALL, HEADING, BIG, TYPED, HUGE = 26, 22, 32, 56, 96, 120
"""Text sizes [sp]; the reasons stand in the developers' notes."""

LEAST_TEXT = 22
"""No words are smaller [dp], whatever size the person set and however long the words of a language are."""

TARGET, THUMB, GAP, EDGE = 96, 126, 12, 16
"""Least side of anything to press, of what is pressed most, the gap between two, the margin of a screen [dp]."""

NIGHT_SERIES = ("#7FD6E3", "#F5B27A", "#C6B0F5")
"""Series of a figure on a dark ground, in the order of `look.SERIES_STYLES`."""


def dp(value: float) -> float:
    """A length given for a screen of 160 dots to the inch, in dots of this one."""
    return value * float(Metrics.density)


def sp(value: float) -> float:
    """A text size, which also follows the person's own setting, in dots of this screen."""
    return value * float(Metrics.density) * float(Metrics.fontscale)


class Theme(EventDispatcher):
    """The colours in use; widgets are bound to them, so that a change shows at once."""

    dark = BooleanProperty(False)
    left = BooleanProperty(False)
    """Whether what the thumb presses stands at the left; a page is laid out anew when it is shown again."""
    ground = ColorProperty()
    panel = ColorProperty()
    ink = ColorProperty()
    quiet = ColorProperty()
    line = ColorProperty()
    action = ColorProperty()
    over_action = ColorProperty()
    good = ColorProperty()
    advise = ColorProperty()
    fail = ColorProperty()
    unknown = ColorProperty()

    def __init__(self) -> None:
        super().__init__()
        self.use(dark=False)

    def use(self, *, dark: bool) -> None:
        """Take the colours of day or night."""
        self.dark = dark
        colours = self.colours
        for role in (attribute for attribute in Colours.__attrs_attrs__):
            setattr(self, role.name, get_color_from_hex(getattr(colours, role.name)))
        self.over_action = get_color_from_hex(DAY.panel if not dark else NIGHT.ground)

    @property
    def colours(self) -> Colours:
        return NIGHT if self.dark else DAY

    def colour(self, role: str) -> list[float]:
        """The colour of a role, red to alpha, 0 to 1."""
        found: list[float] = list(getattr(self, role))
        return found

    def series(self, number: int) -> list[float]:
        """The colour of a figure's series."""
        styles = NIGHT_SERIES if self.dark else [style.colour for style in SERIES_STYLES]
        return list(get_color_from_hex(styles[number % len(styles)]))


theme = Theme()

__all__ = [
    "BIG",
    "BODY",
    "DIGITS",
    "EDGE",
    "GAP",
    "HEADING",
    "HUGE",
    "LEAST_TEXT",
    "SMALL",
    "TARGET",
    "THUMB",
    "TYPED",
    "dp",
    "sp",
    "theme",
]
