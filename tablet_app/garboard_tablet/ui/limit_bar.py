"""A bar that shows a value and its ± against the limits it is judged by."""

from __future__ import annotations

import math
from typing import Any

from kivy.graphics import Color, Line, Mesh, PopMatrix, PushMatrix, Rectangle, Translate
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
        self._shown: list[Txt] = []
        self._joined: Txt | None = None
        self._label_limits()
        self._at = Translate(*self.pos)  # it is moved before it is seen, and drawn once
        self.bind(pos=self._move)

    def say(self, scale: LimitScale) -> None:
        """Show another value."""
        self.scale = scale
        self._show()

    def serve(self, scale: LimitScale, unit: str, word: str) -> None:
        """Show a value of something else, on another page; it is fitted in there."""
        self.scale, self._unit, self._word = scale, unit, word
        self._label_limits()

    def _label_limits(self) -> None:
        limits = [limit for limit in (self.scale.low, self.scale.high) if limit is not None]
        texts = [*self.scale.texts]
        if texts:
            texts[-1] = f"{texts[-1]}\u00a0{self._unit}".rstrip("\u00a0")
            texts[0] = f"{self._word}\u00a0{texts[0]}".lstrip("\u00a0")
        if len(self._labels) != len(texts):
            self._labels = [Txt(text, SMALL, "quiet") for text in texts]
        for label, text in zip(self._labels, texts, strict=True):
            label.say(text)
        self._limits, self._joined = limits, None

    def fit(self, width: float) -> float:
        self.size = (
            min(width, dp(WIDEST)),
            dp(HIGH + GAP) + max((label.fit_line()[1] for label in self._labels), default=0),
        )
        self._show()
        return float(self.height)

    def _show(self) -> None:
        self._choose_labels()
        self._draw()
        self._move()

    def _x(self, share: float) -> float:
        """From its left end."""
        return float(min(1.0, max(0.0, share)) * self.width)

    def _draw(self) -> None:
        """Draw with the lower left corner at nought."""
        if self.width <= 1:
            return
        bottom, top = self.height - dp(HIGH), float(self.height)
        self.canvas.before.clear()
        with self.canvas.before:
            PushMatrix()
            self.canvas.before.add(self._at)
            self._draw_range(bottom, top)
            self._draw_value(bottom, top)
            PopMatrix()

    def _draw_range(self, bottom: float, top: float) -> None:
        low, high = (self._x(share) for share in self.scale.allowed)
        inset = dp(8)
        Color(*theme.panel)
        Rectangle(pos=(low, bottom + inset), size=(high - low, top - bottom - 2 * inset))
        Color(*theme.line)
        Line(points=[0, bottom + inset, self.width, bottom + inset], width=dp(1))
        Line(points=[0, top - inset, self.width, top - inset], width=dp(1))
        _hatch(low, high, bottom + inset, top - inset)
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

    def _choose_labels(self) -> None:
        """One for each limit; two limits too close for that share one."""
        spans = [(left, left + label.width) for left, label in zip(self._lefts(), self._labels, strict=True)]
        is_close = len(spans) == 2 and not apart(spans[0], spans[1], dp(12))
        if is_close and self._joined is None:
            self._joined = Txt(" to ".join(label.text for label in self._labels), SMALL, "quiet")
            self._joined.fit_line()
        self._shown = [self._joined] if is_close and self._joined is not None else self._labels
        self.clear_widgets()
        for label in self._shown:
            self.add_widget(label)

    def _lefts(self) -> list[float]:
        """Where the label of each limit begins, from the bar's left end: beneath it, and within the bar."""
        lefts = []
        for limit, label in zip(self._limits, self._labels, strict=True):
            left = self._x(self.scale.share(limit)) - label.width / 2
            lefts.append(min(max(0.0, left), self.width - label.width))
        return lefts

    def _move(self, *_: Any) -> None:
        self._at.xy = self.pos
        for left, label in zip(self._lefts(), self._shown, strict=False):
            label.x = self.x + min(left, self.width - label.width)
            label.y = self.top - dp(HIGH + GAP) - label.height


def _hatch(low: float, high: float, bottom: float, top: float) -> None:
    """Slanting strokes over an area, cut at its end: one thing to draw, as some thirty lines took long."""
    half, step = dp(0.7) * 0.7071, dp(14)  # of a stroke across its slope of 45 degrees
    corners: list[float] = []
    strokes = max(0, math.ceil((high - low) / step))
    for left in (low + number * step for number in range(strokes)):
        reach = min(top - bottom, high - left)
        for along, aside in ((0.0, -half), (0.0, half), (reach, half), (reach, -half)):
            corners += [left + along - aside, bottom + along + aside, 0.0, 0.0]
    indices = [4 * stroke + corner for stroke in range(strokes) for corner in (0, 1, 2, 0, 2, 3)]
    Mesh(vertices=corners, indices=indices, mode="triangles")
