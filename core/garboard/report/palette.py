"""How everything looks: one table of colours, shapes and words, read by the tablet, the report and the page.

State is always word, shape and colour together, so that it survives a black-and-white printer and noon sun.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from garboard.record_types import frozen
from garboard.verdict import Verdict

LEAST_TEXT_CONTRAST = 7.0
"""Text against its ground: level AAA of WCAG 2.2, success criterion 1.4.6."""

LEAST_LINE_CONTRAST = 3.0
"""Lines and shapes that mean something against their ground: WCAG 2.2, success criterion 1.4.11."""


@frozen(kw_only=True)
class Colours:
    """One set of colours, each "#RRGGBB"."""

    ground: str
    panel: str
    ink: str
    quiet: str
    line: str
    action: str
    good: str
    advise: str
    fail: str
    unknown: str


DAY = Colours(
    ground="#FAF8F3",
    panel="#FFFFFF",
    ink="#10202B",
    quiet="#3F4C56",
    line="#68747D",
    action="#0B4F5C",
    good="#14532D",
    advise="#6B3F00",
    fail="#8A1414",
    unknown="#46525C",
)
"""For daylight and for paper."""

NIGHT = Colours(
    ground="#0D1317",
    panel="#172027",
    ink="#F4F1E8",
    quiet="#C3CBD1",
    line="#8A98A3",
    action="#7FD6E3",
    good="#8FE0AE",
    advise="#F5C46B",
    fail="#FFA3A0",
    unknown="#B9C4CC",
)

Point = tuple[float, float]


@frozen
class Part:
    """One part of a mark, drawn in a square of side 1 with the origin at its upper left.

    form   : "disc", "ring" (the largest that fits), "area" (filled polygon) or "stroke" (open line)
    points : corners of an area or a stroke
    width  : of a ring or a stroke
    cut    : drawn in the colour of the ground, on top of the parts before it
    """

    form: str
    points: tuple[Point, ...] = ()
    width: float = 0.12
    cut: bool = False


def _half_disc() -> tuple[Point, ...]:
    angles = [math.radians(90 + step * 15) for step in range(13)]
    return tuple((0.5 + 0.44 * math.cos(angle), 0.5 - 0.44 * math.sin(angle)) for angle in angles)


DISC = (Part("disc"),)
RING = (Part("ring"),)
HALF_RING = (Part("ring"), Part("area", _half_disc()))
TICK_IN_ROUND = (Part("disc"), Part("stroke", ((0.26, 0.52), (0.43, 0.69), (0.74, 0.33)), cut=True))
POINTING_DOWN = (Part("area", ((0.0, 0.06), (1.0, 0.06), (0.5, 0.96))),)
TRIANGLE = (Part("area", ((0.5, 0.04), (1.0, 0.94), (0.0, 0.94))),)
SQUARE_WITH_BAR = (
    Part("area", ((0.04, 0.04), (0.96, 0.04), (0.96, 0.96), (0.04, 0.96))),
    Part("stroke", ((0.22, 0.5), (0.78, 0.5)), width=0.16, cut=True),
)
DASH = (Part("stroke", ((0.1, 0.5), (0.9, 0.5)), width=0.16),)


@frozen
class Mark:
    """How one state is shown.

    colour    : attribute of `Colours`
    character : stands for the shape where only text can be shown
    letter    : the same where even that character cannot be shown
    """

    word: str
    parts: tuple[Part, ...]
    colour: str
    character: str
    letter: str

    def as_text(self, encoding: str = "utf-8") -> str:
        """The shape and the word, for a terminal of an encoding."""
        return f"{self.shape_in(encoding)} {self.word}"

    def shape_in(self, encoding: str) -> str:
        """The character that stands for the shape, or the letter where the encoding lacks it."""
        try:
            self.character.encode(encoding)
        except (UnicodeEncodeError, LookupError):
            return self.letter
        return self.character


VERDICT_MARKS: Mapping[Verdict, Mark] = {
    Verdict.PASS: Mark("pass", TICK_IN_ROUND, "good", "✔", "+"),
    Verdict.ADVISE: Mark("advise", TRIANGLE, "advise", "▲", "!"),
    Verdict.FAIL: Mark("fail", SQUARE_WITH_BAR, "fail", "■", "x"),
    Verdict.NOT_ENOUGH_DATA: Mark("not enough data", RING, "unknown", "○", "o"),
}

URGENT_MARK = Mark("do it now", POINTING_DOWN, "fail", "▼", "v")
"""What a person who is steering must do at once: like no verdict, and like no step."""

STEP_MARKS: Mapping[str, Mark] = {
    "to do": Mark("to do", RING, "unknown", "○", "o"),
    "under way": Mark("under way", HALF_RING, "action", "◐", "."),
    "done": Mark("done", DISC, "good", "●", "*"),
    "look again": Mark("look again", TRIANGLE, "advise", "▲", "!"),
    "not fitted": Mark("not fitted", DASH, "unknown", "–", "-"),
    "not needed": Mark("not needed", DASH, "unknown", "–", "-"),
    "left out": Mark("left out", DASH, "advise", "–", "-"),
    "does not apply": Mark("does not apply", DASH, "unknown", "–", "-"),
}
"""By the state of a step, as `steps.state_shown` words it."""


@frozen
class SeriesStyle:
    """How one series of a figure is drawn: told apart by marker and dash first, by colour second.

    marker : "round", "square" or "diamond"
    dash   : lengths of line and gap in line widths; empty for a solid line
    """

    marker: str
    dash: tuple[float, ...]
    colour: str


SERIES_STYLES: tuple[SeriesStyle, ...] = (
    SeriesStyle("round", (), "#0B4F5C"),
    SeriesStyle("square", (5.0, 2.0), "#9A4300"),
    SeriesStyle("diamond", (1.2, 1.8), "#54348A"),
)
"""On a light ground. A fourth series begins again, its markers hollow."""


def rgb(colour: str) -> tuple[int, int, int]:
    """Red, green and blue of "#RRGGBB", each 0 to 255.

    >>> rgb("#0B4F5C")
    (11, 79, 92)
    """
    red, green, blue = bytes.fromhex(colour.removeprefix("#"))
    return red, green, blue


def luminance(colour: str) -> float:
    """Relative luminance, 0 for black to 1 for white.

    >>> round(luminance("#FFFFFF"), 6)
    1.0

    [1] WCAG 2.2, definition of relative luminance.
    """
    return math.fsum(
        weight * _linear(level / 255) for weight, level in zip((0.2126, 0.7152, 0.0722), rgb(colour), strict=True)
    )


def contrast(colour: str, ground: str) -> float:
    """Contrast ratio of two colours, 1 to 21, whichever comes first.

    >>> round(contrast("#000000", "#FFFFFF"), 6)
    21.0

    [1] WCAG 2.2, definition of contrast ratio.
    """
    darker, lighter = sorted((luminance(colour), luminance(ground)))
    return (lighter + 0.05) / (darker + 0.05)


def _linear(level: float) -> float:
    return level / 12.92 if level <= 0.04045 else float(((level + 0.055) / 1.055) ** 2.4)
