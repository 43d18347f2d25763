"""A finding set large: its shape and word, its number with ±, its limits, and what to do."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from kivy.uix.widget import Widget

from garboard.findings import Finding, Number, with_uncertainty
from garboard_tablet.models.pages import about
from garboard_tablet.models.step_page import headline
from garboard_tablet.ui.limit_bar import LimitBar
from garboard_tablet.ui.theme import BIG, DIGITS, HEADING, SMALL, dp, sp
from garboard_tablet.ui.widgets import Card, Touched, Txt, verdict_marks

SIZES = (BIG, 44, HEADING)
"""Of the digits, the largest that fits the line; the ± stands one size smaller."""
SHAPE = 63
"""10 mm [dp]."""


class NumberLine(Widget):
    """Value, ± and unit on one line that is never broken, in the largest size that fits."""

    def __init__(self, number: Number, role: str = "ink") -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        whole = with_uncertainty(number.value, number.expanded_uncertainty, number.decimals)
        value, _, half = whole.partition(" ± ")
        self._value = Txt(value, BIG, role, font_name=DIGITS)
        self._half = Txt(f"± {half}" if half else "", 44, role, font_name=DIGITS)
        self._unit = Txt(number.unit, HEADING, "quiet")
        self._parts = [part for part in (self._value, self._half, self._unit) if part.text]
        for part in self._parts:
            self.add_widget(part)
        self.bind(pos=self._place)

    @property
    def text(self) -> str:
        """What stands there, joined so that it cannot be broken."""
        return "\u00a0".join(str(part.text).replace(" ", "\u00a0") for part in self._parts)

    def fit(self, width: float) -> float:
        for size, smaller in zip(SIZES, (*SIZES[1:], SMALL), strict=True):
            self._value.font_size, self._half.font_size = sp(size), sp(smaller)
            self._unit.font_size = sp(min(HEADING, smaller))
            wide = sum(part.fit_line()[0] for part in self._parts) + dp(12) * (len(self._parts) - 1)
            if wide <= width:
                break
        self.size = (width, self._value.height)
        self._place()
        return float(self.height)

    def _place(self, *_: object) -> None:
        """All stand on the line of the largest: a font's descent is about a fifth of its height."""
        x = float(self.x)
        for part in self._parts:
            part.pos = (x, self.y + (self._value.height - part.height) * 0.2)
            x += part.width + dp(12)


class FindingCard(Card):
    """A finding: what it is about, the number that matters with its limit, and what to do.

    notes    : said after it
    word     : stands for the verdict's own
    is_stale : values have changed since: nothing of it is judged any more
    """

    def __init__(
        self,
        finding: Finding,
        notes: Sequence[str] = (),
        word: str = "",
        *,
        is_stale: bool = False,
    ) -> None:
        self._finding, self._said, self._is_stale = finding, word, is_stale
        self._sentence = " ".join([finding.sentence, *notes])
        mark = verdict_marks[finding.verdict]
        super().__init__(*self._top(), Txt(self._sentence, role=self._role), mark=mark, word=word, side=SHAPE, edge=2.4)

    @property
    def _role(self) -> str:
        return "quiet" if self._is_stale else "ink"

    def _top(self) -> list[Widget]:
        finding, top = self._finding, headline(self._finding)
        name = f": {top.number.name}" if top is not None and len(finding.numbers) > 1 else ""
        rows: list[Widget] = [Txt(f"{about(finding)}{name}", role=self._role, bold=True)]
        if top is not None:
            rows.append(NumberLine(top.number, self._role))
        if top is not None and top.scale is not None:
            colour = self._role if self._is_stale else verdict_marks[finding.verdict].colour
            rows.append(LimitBar(top.scale, top.number.unit, colour, word=top.word))
        return rows

    def parts(self, room: float) -> list[Callable[[], Card]]:
        """Number and sentence apart, where a low screen has no room for both; none where there is no number."""
        if headline(self._finding) is None:
            return []
        mark = verdict_marks[self._finding.verdict]
        return [
            lambda: Card(*self._top(), mark=mark, word=self._said, edge=2.4),
            lambda: Card(Txt(self._sentence, role=self._role)),
        ]


class VerdictCard(Touched, Widget):
    """A finding, or one part of it, to be pressed for why."""

    def __init__(self, finding: Finding, do: Callable[[], object], name: str, card: Card) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.name, self._finding, self._do = name, finding, do
        self._card = card
        self.text = about(finding)
        self.add_widget(self._card)
        self.bind(pos=self._place)

    def fit(self, width: float) -> float:
        self.size = (width, self._card.fit(width))
        self._place()
        return float(self.height)

    def parts(self, room: float) -> list[Callable[[], VerdictCard]]:
        """Number and sentence apart, each to be pressed, where a low screen has no room for both."""
        parts = self._card.parts(room) if isinstance(self._card, FindingCard) else []
        return [partial(self._part, part) for part in parts]

    def _part(self, make: Callable[[], Card]) -> VerdictCard:
        return VerdictCard(self._finding, self._do, self.name, make())

    def _place(self, *_: object) -> None:
        self._card.pos = self.pos
