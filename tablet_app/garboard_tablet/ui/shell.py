"""The frame of every page: back at the upper left, what and whose at the top, what to do in the thumb's corner."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, Protocol

from kivy.base import EventLoop
from kivy.uix.widget import Widget

from garboard_tablet.language import Language, shown
from garboard_tablet.models.session import Route
from garboard_tablet.models.vessels import whose
from garboard_tablet.ui.between_touches import is_finger_down
from garboard_tablet.ui.theme import EDGE, GAP, HEADING, LEAST_TEXT, SMALL, TARGET, dp, sp, theme
from garboard_tablet.ui.widgets import Column, Marked, MarkShape, Press, Txt, is_measured, verdict_marks

if TYPE_CHECKING:
    from garboard.report.palette import Mark
    from garboard.verdict import Verdict
    from garboard_tablet.models.armed import Turn
    from garboard_tablet.ui.context import Context

Maker = Callable[[], Any]
NOT_SAVED = "NOT saved"
SIDE = 214
"""Width of the column of actions when the tablet lies across [dp]."""
UNDO = 126
"""Width of the press that undoes what was saved last [dp]."""
NARROW = 900
"""A head less wide has no room for the words at the upper right beside two presses [dp]."""
RUN = 160
"""Width of the press that leads back to a run under way [dp]."""


class Page:
    """One page. A subclass says what stands on it."""

    title = ""
    keeps_what_it_knows = False
    """Whether it goes on as it was when it is drawn anew, instead of being made anew."""
    must_not_be_left = False
    """Whether something runs on it that another page in its place would end."""

    def __init__(self, context: Context, route: Route) -> None:
        self.context, self.route = context, route
        self.tablet, self.way, self.findings = context.tablet, context.way, context.findings
        self.live, self.screen = context.live, context.screen

    @property
    def has_back(self) -> bool:
        """Whether it can be left by Back."""
        return True

    @property
    def under(self) -> str:
        """Small print under the title: whose page it is."""
        return whose(self.tablet, self.route)

    @property
    def saved(self) -> str:
        """The words at the upper right: how far what was entered is on the disk."""
        under_way = self.live.under_way
        is_at_risk = self.live.unsaved or (under_way is not None and under_way.run.not_on_disk)
        return NOT_SAVED if is_at_risk else self.tablet.saved_words

    @property
    def saved_mark(self) -> Mark | None:
        """The mark before the words at the upper right, where they tell a verdict."""
        return None

    def counts(self) -> Sequence[tuple[Verdict, int]]:
        """What asks for something on it, counted, the worst first; it stands on top of the rail where there is room."""
        return ()

    def undo(self) -> Press | None:
        """The press beside the words at the upper right, where what they tell can be undone."""
        return None

    def to_run(self) -> Press | None:
        """The press that says how a run under way stands, and leads back to it."""
        under_way = self.live.under_way
        if under_way is None or under_way.route == self.route:
            return None
        said = under_way.words(self.live.time())
        press = Press(said, partial(self.way.go, under_way.route), size=SMALL, name="to the run")
        press.is_same = True
        return press

    def corner(self) -> Press | None:
        """What stands at the upper left where back leads nowhere."""
        return None

    def begin(self) -> None:
        """The page was reached by Next: what is typed goes into its field at once."""

    def body(self) -> Widget:
        """What fills the page."""
        raise NotImplementedError

    def actions(self) -> Sequence[Press | None]:
        """What can be done, the next thing last; each keeps its place, so one that is missing leaves it empty."""
        return ()

    def refill(self) -> None:
        """Show what has changed meanwhile, if this page shows such things."""

    def keyed(self, key: str) -> bool:
        """A key of a desktop's keyboard; False when the page has no use for it."""
        return False

    def show_run(self, turn: Turn) -> None:
        """Show how the run under way stands, on the page it is steered by."""

    def leave(self) -> None:
        """The page is gone."""


class Shell(Widget):
    """Holds one page at a time."""

    def __init__(self, back: Callable[[], object], **more: Any) -> None:
        super().__init__(**more)
        self._back = back
        self._page: Page | None = None
        self._body: Widget | None = None
        self._actions: list[Press | None] = []
        self._frame: tuple[tuple[object, ...], tuple[Press, Txt, Txt, Txt]] | None = None
        self.bind(size=self._place, pos=self._place)

    @property
    def page(self) -> Page | None:
        return self._page

    @property
    def ground(self) -> Sequence[float]:
        """What each frame begins with. An area over the whole window took a third of the work of drawing it."""
        colour: Sequence[float] = EventLoop.window.clearcolor
        return colour

    @property
    def body(self) -> Widget | None:
        return self._body

    def show(self, page: Page, *, first: bool) -> None:
        """Put a page up. `first` when back leads nowhere."""
        self.clear_widgets()
        EventLoop.window.clearcolor = theme.ground
        self._page, self._is_first = page, first
        back, self._title, self._under, self._saved = self._of_each_page()
        self._back_press = page.corner() if first else back if page.has_back else None
        self._counts = [Marked(f"{count} {verdict.value}", verdict_marks[verdict]) for verdict, count in page.counts()]
        self._undo, self._to_run = page.undo(), page.to_run()
        self._actions = list(page.actions())
        self._body = page.body()
        if isinstance(self._body, Halves) and not self._actions:
            self._body.pager = None  # it stands among the actions; where there are none, each column turns itself
        self._pager: Pager | None = getattr(self._body, "pager", None)
        if self._pager is not None:
            self.add_widget(self._pager)
        frame = (self._back_press, self._title, self._under, self._saved, self._undo, self._to_run, self._body)
        for child in (*frame, *self._actions):
            if child is not None:
                self.add_widget(child)
        self._mark: MarkShape | None = None
        self._show_mark()
        self._place()

    def _of_each_page(self) -> tuple[Press, Txt, Txt, Txt]:
        """Back, title, small print and what is saved: kept, as they were a fifth of what it took to show a page."""
        key = (theme.ink, theme.ground, sp(1), Language.translate)  # what they were made with
        if self._frame is None or self._frame[0] != key:
            back = Press("Back", self._back, name="back")
            words = (Txt("", HEADING, bold=True), Txt("", SMALL, "quiet"), Txt("", SMALL, "quiet"))
            self._frame = key, (back, *words)
        return self._frame[1]

    def say_saved(self) -> None:
        """Say anew at the upper right how far what was entered is on the disk."""
        if self._page is not None:
            self._show_mark()
            self._place_top()

    def say_run(self) -> None:
        """Say anew how a run under way stands; the press goes once the run has ended."""
        stands, now = self._to_run, self._page.to_run() if self._page is not None else None
        if stands is not None and now is not None:
            stands.text = now.text
        elif stands is not now and self._page is not None and not is_finger_down():  # else at the next tick
            self.show(self._page, first=self._is_first)

    @property
    def _is_crowded(self) -> bool:
        """Whether Undo and the way to a run leave no room for what they follow from: Undo says that it is saved."""
        return self._undo is not None and self._to_run is not None and self.width < dp(NARROW)

    def say_under(self) -> None:
        """Say anew what stands under the title."""
        self._place()

    def _hide_mark(self) -> None:
        if self._mark is not None:
            self.remove_widget(self._mark)
            self._mark = None

    def _show_mark(self) -> None:
        mark = self._page.saved_mark if self._page is not None and not self._is_crowded else None
        self._hide_mark()
        self._mark = MarkShape(mark, 26, "ground") if mark is not None else None
        self._saved.color = theme.colour(mark.colour if mark is not None else "quiet")
        if self._mark is not None:
            self.add_widget(self._mark)

    def _place(self, *_: object) -> None:
        if self._body is None or self._page is None or self.width <= 1:
            return
        edge, gap = dp(EDGE), dp(GAP)
        bottom, left, right = self.y + edge, self.x + edge, self.right - edge
        rest = self._counts
        if (self._actions or self._pager is not None) and self.width > self.height:
            wide, rest = self._place_side()
            left, right = (left + wide + gap, right) if theme.left else (left, right - wide - gap)
        elif self._actions:
            bottom += self._place_bar() + gap
        for count in self._counts:
            (self.remove_widget if count in rest else self._add_once)(count)
        counted = ", ".join(count.text for count in rest)
        self._under.text = ". ".join(filter(None, (counted, shown(self._page.under))))
        if self._to_run is not None:
            self._show_mark()
        self._place_top()
        self._body.pos = (left, bottom)
        self._body.size = (right - left, self.top - dp(8) - dp(TARGET) - gap - bottom)

    def _add_once(self, child: Widget) -> None:
        if child.parent is None:
            self.add_widget(child)

    def _place_top(self) -> None:
        edge, high = dp(EDGE), dp(TARGET)
        top = self.top - dp(8)
        left = self.x + edge
        if self._back_press is not None:
            self._back_press.size, self._back_press.pos = (dp(130), high), (left, top - high)
            left += dp(130) + dp(16)
        right = self.right - edge
        if self._undo is not None:
            self._undo.size, self._undo.pos = (dp(UNDO), high), (right - dp(UNDO), top - high)
            right -= dp(UNDO + GAP)
        if self._to_run is not None:
            self._to_run.size, self._to_run.pos = (dp(RUN), high), (right - dp(RUN), top - high)
            right -= dp(RUN + GAP)
        self._place_words(left, right, high, top, saved=not self._is_crowded)

    def _place_words(self, left: float, right: float, high: float, top: float, *, saved: bool) -> None:
        """Title and small print between the presses; where there is no room, what Undo says as well gives way."""
        end = right
        self._saved.text = shown(self._page.saved) if self._page is not None and saved else ""
        wide, _ = self._saved.fit_line()
        if wide > self.width * 0.26:
            wide = self.width * 0.26
            self._saved.fit(wide)
        right -= wide
        self._saved.pos = (right, top - high / 2 - self._saved.height / 2)
        if self._mark is not None:
            right -= self._mark.width + dp(8)
            self._mark.pos = (right, top - high / 2 - self._mark.height / 2)
        room = right - dp(12) - left
        self._under.font_size = self._under.full = sp(SMALL)
        self._under.fit(room)
        for size in (sp(HEADING), sp(28), sp(26), *(() if is_measured() else (dp(LEAST_TEXT),))):
            self._title.font_size = self._title.full = size
            self._title.text = shown(self._page.title) if self._page is not None else ""
            if self._title.fit(room) + self._under.height <= high + dp(4):
                break
        else:
            if saved and self._undo is not None and not self._is_within(high):
                self._hide_mark()
                self._place_words(left, end, high, top, saved=False)
                return
            if not is_measured():
                self._under.font_size = self._under.full = dp(LEAST_TEXT)
                self._under.fit(room)
            self._shorten_title(room, high)
        total = self._title.height + self._under.height
        middle = top - high / 2 + total / 2
        self._title.pos = (left, middle - self._title.height)
        self._under.pos = (left, middle - total)

    def _is_within(self, high: float) -> bool:
        """Whether title and small print stay within the window and off the page: there is a little room around them."""
        return bool(self._title.height + self._under.height <= high + dp(14))

    def _shorten_title(self, room: float, high: float) -> None:
        """Words of a title that even the smallest letters have no room for end in "…"."""
        kept = self._title.text.split(" ")
        while len(kept) > 1 and not self._is_within(high):
            del kept[-1]
            self._title.text = f"{' '.join(kept)} …"
            self._title.fit(room)

    def _place_side(self) -> tuple[float, list[Marked]]:
        """Actions in a column at the thumb's side, the next thing at the bottom, counts on top.

        returns : its width, and the counts it has no room for
        """
        wide, y = dp(SIDE), self.y + dp(EDGE)
        x = self.x + dp(EDGE) if theme.left else self.right - dp(EDGE) - wide
        for press in reversed(self._actions):
            if press is not None:
                press.fit_low(wide)
                press.pos = (x, y)
            y += (dp(TARGET) if press is None else press.height) + dp(GAP)
        if self._pager is not None:
            self._pager.pos, self._pager.size = (x, y), (wide, dp(TARGET))
            y += dp(TARGET) + dp(GAP)
        top = self.top - dp(8) - dp(TARGET) - dp(GAP)
        if y + sum(count.fit(wide) + dp(8) for count in self._counts) > top:
            return wide, self._counts
        for count in self._counts:
            count.pos = (x, top - count.height)
            top -= count.height + dp(8)
        return wide, []

    def _place_bar(self) -> float:
        """Actions in rows at the bottom, the next thing in the thumb's corner; three in a row at most."""
        gap, y, high_total = dp(GAP), self.y + dp(EDGE), 0.0
        rows = [self._actions[max(0, end - 3) : end] for end in range(len(self._actions), 0, -3)]
        if self._pager is not None:
            self._pager.size = (0, 0)
        for row in rows:
            each = self._widths(row)
            high = max(press.fit(wide) for press, wide in zip(row, each, strict=True) if press is not None)
            away = dp(EDGE)
            for press, wide in zip(reversed(row), reversed(each), strict=True):
                if press is not None:
                    press.height = high
                    press.pos = (self.x + away if theme.left else self.right - away - wide, y)
                away += wide + gap
            y += high + gap
            high_total += high + gap
        return high_total - gap

    def _widths(self, row: Sequence[Press | None]) -> list[float]:
        """Of the presses of a row: the next thing is twice as wide as the others where three have their places."""
        room = self.width - 2 * dp(EDGE) - dp(GAP) * (len(row) - 1)
        shares = [29, 29, 60] if len(row) == 3 else [1] * len(row)
        return [room * share / sum(shares) for share in shares]


class Halves(Widget):
    """Two columns side by side where there is room, otherwise one after the other.

    stacked    : what stands in the one column, where that is another order than left and then right
    turns_both : one pair of presses turns both, and stands beside them; see `pager`
    """

    def __init__(
        self,
        left: Sequence[Maker],
        right: Sequence[Maker],
        share: float = 0.5,
        wide: float = 860,
        *,
        stacked: Sequence[Maker] = (),
        turns_both: bool = False,
    ) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.pager = Pager(self) if turns_both else None
        self._left, self._right, self._share, self._wide = list(left), list(right), share, wide
        self._stacked = list(stacked) or [*left, *right]
        self._columns: list[Column] = []
        self.bind(size=self._place, pos=self._place)

    def _place(self, *_: object) -> None:
        if self.width <= 1 or self.height <= 1:
            return
        both = self.width >= dp(self._wide) and bool(self._right)
        if len(self._columns) != (2 if both else 1):
            self.clear_widgets()
            own = not both or self.pager is None
            self._columns = [Column(turns=own) for _ in range(2 if both else 1)]
            contents = [self._left, self._right] if both else [self._stacked]
            for column, makers in zip(self._columns, contents, strict=True):
                self.add_widget(column)
                column.show(makers)
                column.turned = self._turned
        gap = dp(GAP) * 2
        first = (self.width - gap) * self._share if both else self.width
        for number, column in enumerate(self._columns):
            column.size = (first if number == 0 else self.width - gap - first, self.height)
            column.pos = (self.x if number == 0 else self.x + first + gap, self.y)
        self._turned()

    @property
    def turned_together(self) -> Sequence[Column]:
        """The columns that one pair of presses turns."""
        return self._columns if len(self._columns) == 2 else ()

    def turn(self) -> bool:
        """To the next page of each column; False when the last of all is in sight."""
        turned = [column.turn() for column in self._columns]
        return any(turned)

    def _turned(self) -> None:
        if self.pager is not None:
            self.pager.refresh()


class Turned(Protocol):
    """A body whose columns are turned by presses that stand among the actions."""

    @property
    def turned_together(self) -> Sequence[Column]:
        """The columns that one pair of presses turns."""


class Pager(Widget):
    """Up and More for the columns of a body, at once; what has no further page stays."""

    def __init__(self, halves: Turned) -> None:
        super().__init__(size_hint=(None, None), size=(0, 0))
        self._halves = halves
        self._up = Press("Up", self._turn_back, name="page up")
        self._more = Press("More", self._turn, name="page down")
        for press in (self._up, self._more):
            press.goes_on()
        self.bind(pos=self._place, size=self._place)

    def refresh(self) -> None:
        """Offer what there is to turn to."""
        columns = self._halves.turned_together
        self.clear_widgets()
        if any(column.has_before for column in columns):
            self.add_widget(self._up)
        if any(column.has_more for column in columns):
            self.add_widget(self._more)

    def _place(self, *_: object) -> None:
        half = (self.width - dp(GAP)) / 2
        for press, x in ((self._up, self.x), (self._more, self.x + half + dp(GAP))):
            press.size, press.pos = (max(half, 1), self.height), (x, self.y)

    def _turn(self) -> None:
        for column in self._halves.turned_together:
            column.turn()

    def _turn_back(self) -> None:
        for column in self._halves.turned_together:
            column.turn_back()


def column_of(makers: Sequence[Maker], most: int = 2) -> Column:
    """A body that is one list, in two columns where there is room; what is to be read whole asks for one."""
    column = Column(most=most)
    column.show(makers)
    return column
