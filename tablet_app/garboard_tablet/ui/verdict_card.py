"""A finding set large: its shape and word, its number with ±, its limits, and what to do."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from kivy.uix.behaviors import ButtonBehavior
from kivy.uix.widget import Widget

from garboard.findings import Finding, Number, with_uncertainty
from garboard_tablet.models.pages import about
from garboard_tablet.models.step_page import headline
from garboard_tablet.ui.limit_bar import LimitBar
from garboard_tablet.ui.theme import BIG, DIGITS, HEADING, SMALL, dp, sp
from garboard_tablet.ui.widgets import Card, Press, Txt, act, verdict_marks

SIZES = (BIG, 44, HEADING)
"""Of the digits, the largest that fits the line; the ± stands one size smaller."""
SHAPE = 63
"""10 mm [dp]."""


class NumberLine(Widget):
    """Value, ± and unit on one line that is never broken, in the largest size that fits."""

    def __init__(self, number: Number) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        whole = with_uncertainty(number.value, number.expanded_uncertainty, number.decimals)
        value, _, half = whole.replace("-", "−").partition(" ± ")
        self._value = Txt(value, BIG, font_name=DIGITS)
        self._half = Txt(f"± {half}" if half else "", 44, font_name=DIGITS)
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


class VerdictCard(ButtonBehavior, Widget):
    """A finding, to be pressed for why."""

    def __init__(self, finding: Finding, do: Callable[[], object], name: str, notes: Sequence[str] = ()) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.name, self._do, self._last = name, do, -10.0
        mark, top = verdict_marks[finding.verdict], headline(finding)
        rows: list[Widget] = [Txt(about(finding), bold=True)]
        if top is not None:
            rows.append(NumberLine(top.number))
        if top is not None and top.scale is not None:
            rows.append(LimitBar(top.scale, top.number.unit, mark.colour, word="limit"))
        rows.append(Txt(" ".join([finding.sentence, *notes])))
        self._card = Card(*rows, mark=mark, side=SHAPE, edge=2.4)
        self.text = about(finding)
        self.add_widget(self._card)
        self.bind(pos=self._place)

    def fit(self, width: float) -> float:
        self.size = (width, self._card.fit(width))
        self._place()
        return float(self.height)

    def _place(self, *_: object) -> None:
        self._card.pos = self.pos

    def on_release(self) -> None:
        now = Press.now()
        if now >= Press.quiet_until and now - self._last >= Press.BOUNCE:
            self._last = now
            act(self._do)
