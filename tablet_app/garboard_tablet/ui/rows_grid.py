"""A line of a table that can be pressed cell by cell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from kivy.uix.widget import Widget

from garboard.report.palette import Mark
from garboard_tablet.language import shown
from garboard_tablet.ui.joined import joined
from garboard_tablet.ui.theme import BODY, SMALL, TARGET, dp, theme
from garboard_tablet.ui.widgets import MarkShape, Press, RowPress, Txt

CELL = 116
"""Least width of a cell [dp]."""
APART = 8
LONG = 9
"""Longer words of a cell are set small [characters]."""


def least_width(texts: Sequence[str], *, with_mark: bool = False) -> float:
    """The width in which no word of a column is broken, whatever language it is in.

    with_mark : the column has a shape before its words, and words of the usual size
    """
    longest = 0.0
    for text in map(shown, texts):
        probe = Txt(text, BODY if with_mark or len(text) <= LONG else SMALL)
        longest = max(longest, *(probe.wide(piece) for piece in joined(text).split(" ")))
    return max(dp(CELL), longest + dp(86 if with_mark else 28))


def columns_in(room: float, widths: Sequence[float]) -> int:
    """How many of the columns there is room for; one where there is any."""
    taken = 0.0
    for number, wide in enumerate(widths):
        taken += wide + dp(APART)
        if taken > room - dp(2 * APART) and number:
            return number
    return len(widths)


def spread(width: float, widths: Sequence[float]) -> list[float]:
    """Columns with what is left over shared out among them."""
    spare = (width - sum(widths) - dp(APART) * (len(widths) - 1)) / len(widths)
    return [wide + spare for wide in widths]


class NameCell(RowPress):
    """The name of a row with its state; a press opens the row."""

    def __init__(self, title: str, do: Callable[[], object], mark: Mark, name: str) -> None:
        super().__init__(title, do, mark=mark, word=None, name=name)


class FlatCell(Widget):
    """What stands in a column and cannot be pressed, as it comes of the others."""

    def __init__(self, text: str, role: str = "ink", size: float = BODY, mark: Mark | None = None) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._text = Txt(text, size, mark.colour if mark else role, bold=mark is not None, halign="center")
        self._shape = MarkShape(mark, 22, "ground") if mark else None
        for child in (self._text, self._shape):
            if child is not None:
                self.add_widget(child)
        self.bind(pos=self._place, size=self._place)

    def fit(self, width: float) -> float:
        self.width = width
        return float(self._text.fit(width))

    def _place(self, *_: object) -> None:
        self._text.pos = (self.x, self.center_y - self._text.height / 2)
        if self._shape is not None:
            self._shape.pos = (self.center_x - self._shape.width / 2, self._text.top)


class GridRow(Widget):
    """A name and its cells, side by side; a line is as high as its highest cell."""

    def __init__(self, cells: Sequence[Any], widths: Sequence[float]) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._cells, self._widths = cells, widths
        for child in cells:
            self.add_widget(child)
        self.bind(pos=self._place)

    def fit(self, width: float) -> float:
        high = dp(TARGET)
        for cell, wide in zip(self._cells, self._widths, strict=False):
            high = max(high, cell.fit(wide))
        for cell in self._cells:
            cell.height = high
        self.size = (width, high)
        self._place()
        return float(high)

    def _place(self, *_: object) -> None:
        x = self.x
        for cell in self._cells:
            cell.pos = (x, self.y)
            x += cell.width + dp(APART)


def value_cell(text: str, do: Callable[[], object], name: str, *, wrong: bool) -> Press:
    """A value one can press; one that is not in order is told by its words and its edge."""
    press = Press(text, do, size=SMALL if len(text) > LONG else BODY, name=name)
    if wrong:
        press.edge, press.color, press.bold = theme.fail, theme.fail, True
    return press


__all__ = ["FlatCell", "GridRow", "NameCell", "columns_in", "least_width", "spread", "value_cell"]
