"""The day as a path: the phase one is in stands open with its stations, the others closed beside it or beneath."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import attrs
from kivy.graphics import Color, Line
from kivy.uix.widget import Widget

from garboard.report.palette import Mark
from garboard_tablet.ui.curves import rounded
from garboard_tablet.ui.shell import Pager
from garboard_tablet.ui.theme import BODY, GAP, HEADING, SMALL, TARGET, dp, sp, theme
from garboard_tablet.ui.widgets import Column, MarkShape, RowPress, Txt

CLOSED = 240
"""Width of the closed phases on a tablet that lies [dp]: their longest title in large words."""
BAND = 113
"""Height of a closed phase on a tablet that stands: 18 mm [dp]."""
LEAST_OPEN = 420
"""Room the open phase needs beside the closed ones [dp]; where it has less, they stand beneath it."""
STATION = 370
"""Least width of a station: where two have room side by side, a whole phase is in sight at once [dp]."""
LOW = 500
"""Where a tablet that lies is less high, the presses of the foot stand side by side [dp]."""
DOT, DOTS_APART = 20, 8
PAD = 14


@attrs.frozen(kw_only=True)
class Band:
    """A phase of the day, or what stands before it.

    title : as its heading
    share : how many of its steps are done
    marks : of its steps, in the order of the day
    worst : the shape and the words of the worst in it
    do    : opens it
    name  : of the press
    rows  : makers of what stands in it while it is open; None while it is closed
    """

    title: str
    share: str = ""
    marks: tuple[Mark, ...] = ()
    worst: tuple[Mark, str] | None = None
    do: Callable[[], object] = lambda: None
    name: str = ""
    rows: Sequence[Callable[[], Any]] | None = None


class ClosedPhase(RowPress):
    """A phase that is not open: its count, the worst in it, and a shape a step on a line of ink."""

    def __init__(self, band: Band) -> None:
        super().__init__(band.title, band.do, name=band.name)
        self._title.bold = True
        self._share = Txt(band.share, SMALL, "quiet") if band.share else None
        self._worst = Txt(band.worst[1], SMALL, band.worst[0].colour, bold=True) if band.worst else None
        self._worst_shape = MarkShape(band.worst[0], 26) if band.worst else None
        self._dots = [MarkShape(mark, DOT) for mark in band.marks]
        for child in (self._share, self._worst, self._worst_shape):
            if child is not None:
                self.add_widget(child)
        self.bind(size=self._place)

    def _place(self, *_: object) -> None:
        if self.width <= 1 or self.height <= 1:
            return
        pad = dp(PAD)
        top = self.top - pad
        self._title.fit_line()
        self._title.pos = (self.x + pad, top - self._title.height)
        middle, right = self._title.center_y, self._title.right
        top -= self._title.height
        worst = self._worst.fit_line()[0] + dp(34) if self._worst is not None else 0.0
        if self._share is not None:
            wide, high = self._share.fit_line()
            lies = right + dp(12) + wide + max(dp(130), dp(12) + worst) < self.right - pad
            top -= 0 if lies else high
            self._share.pos = (right + dp(12), middle - high / 2) if lies else (self.x + pad, top)
            middle = middle if lies else self._share.center_y
        if self._worst is not None and self._worst_shape is not None:
            wide, high = self._worst.fit_line()
            left = self.right - pad - wide
            if self._share is not None and left - dp(34) < self._share.right + dp(6):  # hundreds: a line of its own
                top -= high
                middle, left = top + high / 2, self.x + pad + dp(34)
            self._worst.pos = (left, middle - high / 2)
            self._worst_shape.pos = (left - dp(34), middle - self._worst_shape.height / 2)
        self._line_up(top)

    def _line_up(self, top: float) -> None:
        """Its shapes in a row, or in rows where they have room: as many as fit, and none where not one does."""
        for dot in self._dots:
            if dot.parent is not None:
                self.remove_widget(dot)
        each, left = dp(DOT + DOTS_APART), self.x + dp(PAD)
        across = max(1, int((self.width - 2 * dp(PAD) + dp(DOTS_APART)) // each))
        rows = max(0, int((top - dp(10) - self.y - dp(6)) // each))
        self.canvas.before.remove_group("ink")
        with self.canvas.before:
            for number, dot in enumerate(self._dots[: across * rows]):
                row, column = divmod(number, across)
                dot.pos = (left + column * each, top - dp(10) - row * each - dp(DOT))
                if column:
                    Color(*theme.ink, group="ink")
                    y = dot.center_y
                    Line(points=[dot.x - dp(DOTS_APART), y, dot.x, y], width=dp(1.2), group="ink")
                self.add_widget(dot)


class NextStation(RowPress):
    """The step that is next, in large words, with what to have at hand; an edge of ink tells it from the others."""

    def __init__(self, title: str, do: Callable[[], object], **more: Any) -> None:
        super().__init__(title, do, **more)
        self._title.font_size = self._title.full = sp(HEADING)
        self._title.bold = True
        self.bind(pos=self._edge, size=self._edge)

    def _edge(self, *_: object) -> None:
        self.canvas.after.clear()
        with self.canvas.after:
            Color(*theme.ink)
            Line(points=rounded(self.x, self.y, self.width, self.height, dp(8)), close=True, width=dp(2.2))


class DayPath(Widget):
    """Bands side by side where the tablet lies, above one another where it stands; one of them is open.

    foot : presses in the last band, whether it is open or not
    """

    def __init__(self, bands: Sequence[Band], foot: Sequence[Any]) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._foot, self._lies = foot, False
        self._open = next(band for band in bands if band.rows is not None)
        self._bands = [(band, None if band.rows is not None else ClosedPhase(band)) for band in bands]
        least = STATION if self._open.share else Column.NARROWEST  # other rows are sentences
        self._column = Column(most=2, turns=False, least=least)
        self._column.show(self._open.rows or [])
        self._column.turned = self._turned
        self._head = Txt(self._open.title, HEADING, bold=True)
        self._share = Txt(self._open.share, BODY, "quiet") if self._open.share else None
        self.pager = Pager(self)
        closed = [one for _, one in self._bands if one is not None]
        for child in (self._head, self._share, self._column, *closed, *foot):
            if child is not None:
                self.add_widget(child)
        self.bind(size=self._place, pos=self._place)

    @property
    def turned_together(self) -> Sequence[Column]:
        """The columns that the presses of the rail turn; a tablet that stands has them in the list itself."""
        return [self._column] if self._lies else ()

    def turn(self) -> bool:
        """To the next page of the open phase; False when the last is in sight."""
        return self._column.turn()

    def _turned(self) -> None:
        """The line that joins the stations shows in the gaps between them."""
        self.pager.refresh()
        self.canvas.before.clear()
        rows = [row for row in self._column.children if isinstance(row, RowPress)]
        if not self._open.share:
            return
        with self.canvas.before:
            Color(*theme.ink)
            for left in {row.x for row in rows}:
                ends = [row.center_y for row in rows if row.x == left]
                x = left + dp(32)
                Line(points=[x, min(ends), x, max(ends)], width=dp(1.6))

    def _place(self, *_: object) -> None:
        if self.width <= 1 or self.height <= 1:
            return
        self._lies = self.width > self.height and self.width - dp(CLOSED + GAP) >= dp(LEAST_OPEN)
        self._column.turn_itself(not self._lies)
        self._place_columns() if self._lies else self._place_bands()
        self._turned()

    def _place_columns(self) -> None:
        """The open phase, and beside it the others above one another in the day's order, the foot beneath them."""
        wide, x = dp(CLOSED), self.right - dp(CLOSED)
        self._fill_open(self.x, self.y, self.width - wide - dp(GAP), self.height)
        closed = [one for _, one in self._bands if one is not None]
        low = self._stand_foot(x, wide)
        whole = (self.height - low) / max(1, len(closed))
        each = max(whole - dp(GAP), min(whole, dp(TARGET)))  # in long words the gap gives way, not what is pressed
        top = self.top
        for one in closed:
            one.size, one.pos = (wide, each), (x, top - each)
            top -= whole

    def _stand_foot(self, x: float, wide: float) -> float:
        """The foot's presses, the last lowest, or at the right where the page is low. Returns the room they take."""
        gap = dp(GAP)
        if self.height < dp(LOW):
            each = (wide - gap * (len(self._foot) - 1)) / len(self._foot)
            high = max(press.fit_low(each) for press in self._foot)
            for number, press in enumerate(self._foot):
                press.height, press.pos = high, (x + number * (each + gap), self.y)
            return float(high)
        y = self.y
        for press in reversed(self._foot):
            press.fit_low(wide)
            press.pos = (x, y)
            y += press.height + gap
        return float(y - gap - self.y)

    def _place_bands(self) -> None:
        """All above one another in the day's order; the foot stands in the last."""
        gap = dp(GAP)
        count = len(self._bands)
        top, high = self.top, self.height - (count - 1) * (dp(BAND) + gap)
        for number, (_, closed) in enumerate(self._bands):
            is_last = number == count - 1
            each = dp(BAND) if closed is not None else high
            if closed is not None:
                aside = self._lay_foot(top - each, dp(168), each) if is_last else 0.0
                closed.size, closed.pos = (self.width - aside, each), (self.x, top - each)
            else:
                low = dp(TARGET) + gap if is_last else 0.0
                self._fill_open(self.x, top - each + low, self.width, each - low)
                if is_last:
                    self._lay_foot(top - each, (self.width - gap) / 2, dp(TARGET))
            top -= each + gap

    def _lay_foot(self, y: float, wide: float, high: float) -> float:
        """The foot's presses side by side at the right. Returns the room they take."""
        right = self.right
        for press in reversed(self._foot):
            press.size, press.pos = (wide, high), (right - wide, y)
            right -= wide + dp(GAP)
        return float(self.right - right)

    def _fill_open(self, x: float, y: float, wide: float, high: float) -> None:
        share = self._share.fit_line()[0] + dp(12) if self._share else 0.0
        head = self._head.fit(wide - share)
        self._head.pos = (x, y + high - head)
        if self._share:
            self._share.pos = (x + wide - share + dp(12), y + high - head / 2 - self._share.height / 2)
        self._column.size, self._column.pos = (wide, high - head - dp(GAP)), (x, y)


__all__ = ["Band", "ClosedPhase", "DayPath", "NextStation"]
