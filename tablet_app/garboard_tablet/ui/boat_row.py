"""A boat in the list: its name, the worst of it beside the name, how far its day is, and what is next."""

from __future__ import annotations

from collections.abc import Callable

from kivy.graphics import Color, Line, Rectangle
from kivy.uix.widget import Widget

from garboard.report.palette import Mark
from garboard_tablet.ui.theme import BODY, HEADING, SMALL, dp, sp, theme
from garboard_tablet.ui.widgets import RowPress, Txt

WIDEST, HIGH = 480, 14
"""Of the bar [dp]: wider, it is no longer taken in at a glance."""
PAD, LINE = 16, 6
LEAST_SEGMENT = 7
"""Segments narrower than this stand without a gap, or the gaps would be all there is to see [dp]."""


class DayBar(Widget):
    """A segment a step, in the order of the day: ink where nothing is left to do, an edge where something is.

    Progress is ink: green, amber and red only judge.

    day : "x" and "-", a letter a step
    """

    def __init__(self, day: str) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._day = day
        self.bind(pos=self._draw)

    def fit(self, width: float) -> float:
        self.size = (min(width, dp(WIDEST)), dp(HIGH))
        self._draw()
        return float(self.height)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        each = self.width / max(1, len(self._day))
        gap = dp(2) if each >= dp(LEAST_SEGMENT) else 0.0
        with self.canvas:
            Color(*theme.ink)
            for number, step in enumerate(self._day):
                if step == "x":
                    Rectangle(pos=(self.x + number * each, self.y), size=(each - gap, self.height))
            Line(points=[self.x, self.y, self.right, self.y], width=dp(1))
            Line(rectangle=(self.x, self.y, self.width, self.height), width=dp(0.8))


class BoatRow(RowPress):
    """The row of a boat; a press opens its job.

    day     : see DayBar
    told    : beside the name, in the colour of its mark
    is_next : the line beneath the bar
    """

    def __init__(
        self,
        name: str,
        do: Callable[[], object],
        *,
        mark: Mark,
        told: str,
        day: str,
        is_next: str,
        small: str,
        key: str,
    ) -> None:
        super().__init__(name, do, small=small, mark=mark, word=None, name=key)
        self._title.font_size = self._title.full = self._title.font_size * HEADING / BODY
        self._title.bold = True
        self._told = Txt(told, BODY, mark.colour, bold=True) if told else None
        self._bar = DayBar(day) if day else None
        self._next = Txt(is_next, BODY) if is_next else None
        for child in (self._told, self._bar, self._next):
            if child is not None:
                self.add_widget(child)

    @property
    def _beneath(self) -> list[Txt | DayBar]:
        return [one for one in (self._bar, self._next, self._small) if one is not None]

    def fit(self, width: float) -> float:
        inner = width - 2 * dp(PAD)
        shape = self._shape.width + dp(12) if self._shape else 0.0
        told = self._told.fit_line()[0] + dp(16) if self._told else 0.0
        self._is_beside = told < inner * 0.5
        if self._told and not self._is_beside:
            self._told.fit(inner)
        head = self._title.fit(inner - shape - (told if self._is_beside else 0.0))
        if self._told:
            head = max(head, self._told.height) if self._is_beside else head + self._told.height
        if self._next:
            self._next.font_size = self._next.full = sp(BODY)
            if self._next.fit_line()[0] > inner:  # two lines of small words take no more than one and a half
                self._next.font_size = self._next.full = sp(SMALL)
        rest = sum(one.fit(inner) + dp(LINE) for one in self._beneath)
        self._head = head
        self.size = (width, head + rest + dp(PAD))
        self._place()
        return float(self.height)

    def _place(self, *_: object) -> None:
        if self.height <= 1:
            return
        left, top = self.x + dp(PAD), self.top - dp(PAD) / 2
        middle = top - self._title.height / 2
        if self._shape:
            self._shape.pos = (left, middle - self._shape.height / 2)
        self._title.pos = (left + (self._shape.width + dp(12) if self._shape else 0.0), top - self._title.height)
        if self._told and self._is_beside:
            self._told.pos = (self.right - dp(PAD) - self._told.width, middle - self._told.height / 2)
        elif self._told:
            self._told.pos = (left, top - self._head)
        top -= self._head
        for one in self._beneath:
            top -= dp(LINE) + one.height
            one.pos = (left, top)


__all__ = ["BoatRow", "DayBar"]
