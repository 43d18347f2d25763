"""A recording in a list, with a small picture of what it looked like."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from kivy.graphics import Color, Line
from kivy.properties import BooleanProperty
from kivy.uix.widget import Widget

from garboard_tablet.models.runs import Trace
from garboard_tablet.ui.theme import dp, theme
from garboard_tablet.ui.widgets import RowPress

WIDE, HIGH = 189, 63
"""30 x 10 mm [dp]."""


class Thumb(Widget):
    """The trace of a run without scales: a straight one, a short one and a wild one look different from afar."""

    def __init__(self, trace: Trace) -> None:
        super().__init__(size_hint=(None, None), size=(dp(WIDE), dp(HIGH)))
        self._trace = trace
        self.bind(pos=self._draw)
        self._draw()

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        values = [value for _, value in self._trace.points]
        low, high = min(*values, *(self._trace.band or ())), max(*values, *(self._trace.band or ()))
        span, long = (high - low) or 1.0, self._trace.points[-1][0] or 1.0

        def at(value: float) -> float:
            return float(self.y + (value - low) / span * self.height)

        with self.canvas:
            Color(*theme.good)
            for edge in self._trace.band or ():
                Line(points=[self.x, at(edge), self.right, at(edge)], width=dp(0.8))
            Color(*theme.ink)
            points = [xy for time, value in self._trace.points for xy in (self.x + time / long * self.width, at(value))]
            Line(points=points, width=dp(1.2), joint="bevel")


class RunRow(RowPress):
    """The row; `is_looked_at` draws a dark edge round the one that stands beside the list."""

    is_looked_at = BooleanProperty(False)
    kept_free = WIDE + 16

    def __init__(
        self, title: str, do: Callable[[], object], *, trace: Trace | None, is_looked_at: bool, **more: Any
    ) -> None:
        self._thumb: Thumb | None = None
        super().__init__(title, do, lead=True, **more)
        self.is_looked_at = is_looked_at
        if trace is not None:
            self._thumb = Thumb(trace)
            self.add_widget(self._thumb)

    def _place(self, *_: object) -> None:
        super()._place()
        if self._thumb is not None:
            self._thumb.pos = (self.right - dp(16) - self._thumb.width, self.center_y - self._thumb.height / 2)
