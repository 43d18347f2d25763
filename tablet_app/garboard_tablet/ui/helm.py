"""What is seen while steering, both hands on the wheel: one word, the digits, where they should be, and STOP."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from kivy.graphics import Color, Line, Rectangle
from kivy.properties import ColorProperty
from kivy.uix.widget import Widget

from garboard.findings import Verdict, rounded
from garboard.report.palette import URGENT_MARK
from garboard.steps import Guidance
from garboard_tablet.language import phrase
from garboard_tablet.models.armed import Phase
from garboard_tablet.models.live import LiveRun
from garboard_tablet.ui.drawing import draw_text, texture
from garboard_tablet.ui.theme import BODY, DIGITS, GAP, THUMB, dp, sp, theme
from garboard_tablet.ui.widgets import MarkShape, Press, Txt, verdict_marks

LARGEST, WORD = 200, 72
"""Text sizes of the digits and of the word [sp]."""
HIGH_WORD, HIGH_BAND, HIGH_TIME, HIGH_STOP = 126, 94, 50, 176
"""Heights of the word, the band, the time bar and STOP [dp]; what is left is for the digits."""
LEAST_DIAL, LEAST_BAND, LEAST_DIGITS = 280, 205, 80
"""From these heights on the dial has room for all of it, for digits and band, and for digits alone [dp]."""
GIVE_WAY = ((HIGH_STOP, WORD), (THUMB, WORD), (THUMB, 56), (THUMB, 44))
"""Heights of STOP and largest words, tried until the dial has room: on a low screen they give way to it."""
HATCH = 26
"""Between the strokes of the edge that says that nothing is kept [dp]."""
DASH = "–"


class Dial(Widget):
    """The digits, an engine a column where there are several; under them the band, and how far the whole is done."""

    ground = ColorProperty(theme.panel)

    def __init__(self) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.ground = theme.panel
        self._guidance: Guidance | None = None
        self._live, self._age = True, ""
        self.bind(pos=self._draw, size=self._draw)

    def show(self, guidance: Guidance, *, live: bool, age: float | None) -> None:
        """Draw what to show.

        live : False for a number that is no longer of now: a dash, and no band
        age  : how old it is [s]
        """
        self._guidance, self._live = guidance, live
        self._age = "" if age is None or guidance.number is None else phrase("{age} s old", age=rounded(age))
        self._draw()

    @property
    def columns(self) -> Sequence[tuple[str, str]]:
        """What stands in each column: its name and its digits."""
        guidance = self._guidance
        if guidance is None:
            return ()
        shown = guidance.columns or ((guidance.of, guidance.number),)
        return [(name, DASH if not self._live or number is None else rounded(number, guidance.decimals))
                for name, number in shown]  # fmt: skip

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        guidance = self._guidance
        if guidance is None or self.width < dp(200) or self.height < dp(LEAST_DIGITS):
            return
        has_time, has_band = self.height >= dp(LEAST_DIAL), self.height >= dp(LEAST_BAND)
        high_time = HIGH_TIME if has_time else 0
        with self.canvas:
            Color(*theme.panel)
            Rectangle(pos=self.pos, size=self.size)
            self._draw_columns(guidance, self.y + (dp(HIGH_BAND + high_time) if has_band else 0))
            if self._live and has_band:
                self._draw_band(guidance, self.y + dp(high_time) + dp(34))
            if has_time:
                self._draw_time(guidance, self.y + dp(12))

    def _draw_columns(self, guidance: Guidance, low: float) -> None:
        """Side by side where it lies, under each other where it stands."""
        columns, across = self.columns, self.width > self.height
        wide = self.width / len(columns) if across else self.width
        high = (self.top - low) if across else (self.top - low) / len(columns)
        for number, (name, digits) in enumerate(columns):
            x = self.x + wide * (number if across else 0) + dp(20)
            y = self.top - high * (1 if across else number + 1)
            beneath = ", ".join(filter(None, (guidance.unit, name, "not heard" if digits == DASH else "", self._age)))
            _, small = draw_text(beneath, x, y, "quiet", BODY, (0, 0))
            size = _largest(digits, wide - dp(40), high - small - dp(8))
            ink = "ink" if digits != DASH else "unknown"
            draw_text(digits, x, y + small + (high - small) / 2, ink, size, (0, 0.5), DIGITS)

    def _draw_band(self, guidance: Guidance, y: float) -> None:
        if guidance.scale is None or guidance.scale[1] <= guidance.scale[0]:
            return
        low, high = guidance.scale
        left, right = self.x + dp(20), self.right - dp(20)

        def at(value: float) -> float:
            return float(left + (min(max(value, low), high) - low) / (high - low) * (right - left))

        Color(*theme.colour("line"))
        Line(rectangle=(left, y - dp(16), right - left, dp(32)), width=dp(1.2))
        if guidance.band is not None:
            Color(*theme.colour("good"))
            x0, x1 = at(guidance.band[0]), at(guidance.band[1])
            Rectangle(pos=(x0, y - dp(16)), size=(max(dp(6), x1 - x0), dp(32)))
        numbers = [number for _, number in guidance.columns] or [guidance.number]
        Color(*theme.ink)
        for number in numbers:
            if number is not None and math.isfinite(number):
                Rectangle(pos=(at(number) - dp(4), y - dp(30)), size=(dp(8), dp(60)))

    def _draw_time(self, guidance: Guidance, y: float) -> None:
        if guidance.progress is None:
            return
        left, right = self.x + dp(20), self.right - dp(20)
        Color(*theme.colour("line"))
        Line(rectangle=(left, y, right - left, dp(24)), width=dp(1.2))
        Color(*theme.action)
        Rectangle(pos=(left, y), size=((right - left) * min(1.0, max(0.0, guidance.progress)), dp(24)))


_AS_WIDE = str.maketrans("123456789", "000000000")


def _largest(text: str, wide: float, high: float) -> float:
    """The size at which digits fit, LARGEST at most [sp]. All digits are as wide, so that one is tried for all."""
    size, like = float(LARGEST), text.translate(_AS_WIDE)
    while size > BODY:
        found = texture(like, sp(size), DIGITS)
        if found.width <= wide and found.height <= high:
            return size
        size *= 0.9
    return size


class HelmView(Widget):
    """Fills the page while a guide runs. Nothing is made anew while it does, and nothing small has to be read."""

    def __init__(self, stop: Callable[[], object]) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._gauge = Dial()
        self._word = Txt("", WORD, bold=True)
        self._lines = Txt("", BODY)
        self._stop = Press("STOP", stop, "main", 56, name="stop")
        self._shape: MarkShape | None = None
        self._mark_is = ""
        self._is_simulated = False
        for child in (self._word, self._gauge, self._lines, self._stop):
            self.add_widget(child)
        self.bind(size=self._place, pos=self._place)

    def show(self, run: LiveRun, said: str = "", warnings: Sequence[str] = ()) -> None:
        """Show where a run stands.

        said     : stands in the word's place for a while ("kept aside, now the other way")
        warnings : of the tablet itself, before they hurt
        """
        guidance, live = run.guidance, run.age is None
        self._gauge.show(guidance, live=live and not run.fault, age=run.age)
        verdict = Verdict.PASS if guidance.on_target or guidance.done else Verdict.ADVISE
        if not live or run.fault or run.source.is_simulated:  # a simulated run has no verdict that one may believe
            verdict = Verdict.NOT_ENOUGH_DATA
        word = guidance.word or ("enough" if guidance.done else "")
        if live and not guidance.urgent:
            word = said or word
            if run.watch is not None and run.watch.phase is Phase.WAITING and not said:
                word = phrase("armed: {word}", word=word)
        if run.source.is_simulated:
            word = phrase("SIMULATED: {word}", word=word)
        lines = "\n".join(filter(None, (run.must_be_read, " ".join(warnings))))
        mark = URGENT_MARK if guidance.urgent and live else verdict_marks[verdict]
        if (word, lines, mark.word, run.source.is_simulated) == (
            self._word.text, self._lines.text, self._mark_is, self._is_simulated,
        ):  # fmt: skip
            return
        self._word.text, self._lines.text, self._mark_is = word, lines, mark.word
        self._is_simulated = run.source.is_simulated
        if self._shape is not None:
            self.remove_widget(self._shape)
        self._shape = MarkShape(mark, 60, "ground")
        self._word.color = theme.colour(mark.colour)
        self.add_widget(self._shape)
        self._place()

    def _place(self, *_: object) -> None:
        if self.width <= 1 or self.height <= 1:
            return
        gap = dp(GAP)
        left = self.x + (self._shape.width + dp(16) if self._shape else 0)
        for stop, largest in GIVE_WAY:
            self._place_between(left, gap, stop, largest)
            if self._gauge.height >= dp(LEAST_BAND):
                break
        self._draw_edge()

    def _place_between(self, left: float, gap: float, stop: float, largest: float) -> None:
        """Place all parts, STOP so high and the word at most so large; what is left is the dial's."""
        self._stop.size, self._stop.pos = (self.width, dp(stop)), self.pos
        for size in (WORD, 56, 44, 32):
            self._word.font_size = sp(size)
            if size <= largest and self._word.fit(self.right - left) <= dp(HIGH_WORD):
                break
        high = max(dp(66), self._word.height)
        self._word.pos = (left, self.top - high / 2 - self._word.height / 2)
        if self._shape:
            self._shape.pos = (self.x, self.top - high / 2 - self._shape.height / 2)
        bottom = self._stop.top + gap
        small = self._lines.fit(self.width) if self._lines.text else 0.0
        self._lines.pos = (self.x, bottom)
        self._gauge.pos = (self.x, bottom + (small + gap if small else 0))
        self._gauge.size = (self.width, self.top - high - gap - self._gauge.y)

    def _draw_edge(self) -> None:
        """A hatched edge round what nobody measured."""
        self.canvas.after.clear()
        if not self._is_simulated:
            return
        with self.canvas.after:
            Color(*theme.colour("unknown"))
            step, deep = dp(HATCH), dp(10)
            for number in range(int(self.width / step)):
                x = self.x + number * step
                Line(points=[x, self.top - deep, x + deep, self.top], width=dp(2))
            for number in range(int(self.height / step)):
                y = self.y + number * step
                for x in (self.x, self.right - deep):
                    Line(points=[x, y, x + deep, y + deep], width=dp(2))
