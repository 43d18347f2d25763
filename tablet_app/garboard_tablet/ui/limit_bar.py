"""A bar that shows a value and its ± against the limits it is judged by."""

from __future__ import annotations

from typing import Any

from kivy.graphics import Color, Line, Rectangle
from kivy.uix.widget import Widget

from garboard_tablet.models.limit_bar import LimitScale, apart
from garboard_tablet.ui.theme import SMALL, dp, theme
from garboard_tablet.ui.widgets import Txt

WIDEST, HIGH, GAP = 504, 50, 6
"""80 x 8 mm, and the gap to the numbers beneath [dp]."""


class LimitBar(Widget):
    """The allowed range is a hatched band between dark edges, the value a bar across with its ± to either side.

    role : colour of the value: that of the verdict, or ink where nothing is judged
    unit : stands behind the last limit
    word : stands before the limits ("usual")
    """

    def __init__(self, scale: LimitScale, unit: str = "", role: str = "ink", word: str = "") -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.scale, self._unit, self._role, self._word = scale, unit, role, word
        self._labels: list[Txt] = []
        self._make_labels()
        self.bind(pos=self._draw)

    def say(self, scale: LimitScale) -> None:
        """Show another value."""
        self.scale = scale
        self._draw()

    def _make_labels(self) -> None:
        limits = [limit for limit in (self.scale.low, self.scale.high) if limit is not None]
        texts = [*self.scale.texts]
        if texts:
            texts[-1] = f"{texts[-1]}\u00a0{self._unit}".rstrip("\u00a0")
            texts[0] = f"{self._word}\u00a0{texts[0]}".lstrip("\u00a0")
        self._labels = [Txt(text, SMALL, "quiet") for text in texts]
        self._joined = Txt(" to ".join(texts), SMALL, "quiet")
        self._limits = limits

    def fit(self, width: float) -> float:
        self.size = (
            min(width, dp(WIDEST)),
            dp(HIGH + GAP) + max((label.fit_line()[1] for label in self._labels), default=0),
        )
        self._joined.fit_line()
        self._draw()
        return float(self.height)

    def _x(self, share: float) -> float:
        return float(self.x + min(1.0, max(0.0, share)) * self.width)

    def _draw(self, *_: Any) -> None:
        if self.width <= 1:
            return
        bottom, top = self.top - dp(HIGH), float(self.top)
        self.canvas.before.clear()
        with self.canvas.before:
            self._draw_range(bottom, top)
            self._draw_value(bottom, top)
        self._place_labels(bottom)

    def _draw_range(self, bottom: float, top: float) -> None:
        low, high = (self._x(share) for share in self.scale.allowed)
        inset = dp(8)
        Color(*theme.panel)
        Rectangle(pos=(low, bottom + inset), size=(high - low, top - bottom - 2 * inset))
        Color(*theme.line)
        Line(points=[self.x, bottom + inset, self.right, bottom + inset], width=dp(1))
        Line(points=[self.x, top - inset, self.right, top - inset], width=dp(1))
        step, slope = dp(14), top - bottom - 2 * inset
        left = low
        while left < high:  # the hatch of the allowed range, cut at its end
            reach = min(slope, high - left)
            Line(points=[left, bottom + inset, left + reach, bottom + inset + reach], width=dp(0.7))
            left += step
        Color(*theme.ink)
        for limit in self._limits:
            x = self._x(self.scale.share(limit))
            Line(points=[x, bottom, x, top], width=dp(2))

    def _draw_value(self, bottom: float, top: float) -> None:
        spread = self.scale.spread
        if spread is None or self.scale.value is None:
            return
        Color(*theme.colour(self._role))
        left, right = (self._x(share) for share in spread)
        middle, x = (bottom + top) / 2, self._x(self.scale.share(self.scale.value))
        if right - left > dp(6):
            Line(points=[left, middle, right, middle], width=dp(2))
            for end in (left, right):
                Line(points=[end, middle - dp(9), end, middle + dp(9)], width=dp(2))
        Rectangle(pos=(x - dp(5), bottom + dp(2)), size=(dp(10), top - bottom - dp(4)))

    def _place_labels(self, bottom: float) -> None:
        self.clear_widgets()
        spans = []
        for limit, label in zip(self._limits, self._labels, strict=True):
            left = self._x(self.scale.share(limit)) - label.width / 2
            left = min(max(self.x, left), self.right - label.width)
            label.pos = (left, bottom - dp(GAP) - label.height)
            spans.append((left, left + label.width))
        if len(spans) == 2 and not apart(spans[0], spans[1], dp(12)):
            left = min(max(self.x, spans[0][0]), self.right - self._joined.width)
            self._joined.pos = (left, bottom - dp(GAP) - self._joined.height)
            self.add_widget(self._joined)
            return
        for label in self._labels:
            self.add_widget(label)
