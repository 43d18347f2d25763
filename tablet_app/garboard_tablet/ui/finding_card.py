"""A finding as a card: verdict, the number that matters with its limit drawn, and what to do."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from garboard.findings import Finding, Number, with_uncertainty
from garboard_tablet.models.pages import about
from garboard_tablet.models.why import leading, scale_of
from garboard_tablet.ui.limit_bar import LimitBar
from garboard_tablet.ui.theme import BIG, BODY, DIGITS, HEADING, sp
from garboard_tablet.ui.widgets import Card, Txt, verdict_marks

STEPS = (BIG, 44, HEADING, BODY)
"""Sizes of the large number, the first that fits on one line [sp]."""
NO_BREAK = "\u00a0"


class BigNumber(Txt):
    """A number with ± and unit on one line, in the largest size that fits. The ± is one size smaller."""

    def __init__(self, number: Number, role: str = "ink") -> None:
        self._number = number
        super().__init__("", BIG, role, font_name=DIGITS, markup=True)
        self._write(0)

    def _write(self, step: int) -> None:
        number = self._number
        said = with_uncertainty(number.value, number.expanded_uncertainty, number.decimals).replace("-", "−")
        value, plus_minus, half_width = said.partition(" ± ")
        smaller = STEPS[min(step + 1, len(STEPS) - 1)]
        rest = [f"±{NO_BREAK}{half_width}"] if plus_minus else []
        rest += [number.unit.replace(" ", NO_BREAK)] if number.unit else []
        aside = NO_BREAK.join(rest)
        self.font_size = sp(STEPS[step])
        self.text = f"{value}{NO_BREAK}[size={int(sp(smaller))}]{aside}[/size]" if aside else value

    def fit(self, width: float) -> float:
        for step in range(len(STEPS)):
            self._write(step)
            if self.fit_line()[0] <= width:
                return float(self.height)
        return super().fit(width)


class FindingCard(Card):
    """The card.

    word     : stands for the verdict's own
    is_stale : values have changed since: nothing of it is judged any more
    """

    def __init__(self, finding: Finding, word: str = "", *, is_stale: bool = False) -> None:
        self._finding, self._said, self._is_stale = finding, word, is_stale
        super().__init__(
            *_headline(finding, is_stale), _sentence(finding, is_stale), mark=verdict_marks[finding.verdict], word=word
        )

    def parts(self, room: float) -> list[Callable[[], Card]]:
        """Number and sentence apart, where a low screen has no room for both; none where there is no number."""
        if leading(self._finding) is None:
            return []
        return [self._top, lambda: Card(_sentence(self._finding, self._is_stale))]

    def _top(self) -> Card:
        mark = verdict_marks[self._finding.verdict]
        return Card(*_headline(self._finding, self._is_stale), mark=mark, word=self._said)


def _role(is_stale: bool) -> str:
    return "quiet" if is_stale else "ink"


def _headline(finding: Finding, is_stale: bool) -> list[Any]:
    """What it is about, and the number that matters with its limit."""
    role, first = _role(is_stale), leading(finding)
    if first is None:
        return [Txt(about(finding), role=role, bold=True)]
    number, limit = first
    name = f": {number.name}" if len(finding.numbers) > 1 else ""
    drawn: list[Any] = [Txt(f"{about(finding)}{name}", role=role, bold=True), BigNumber(number, role)]
    if limit is not None:
        colour = role if is_stale else verdict_marks[finding.verdict].colour
        end = "at least" if limit.high is None else "at most" if limit.low is None else ""
        drawn.append(LimitBar(scale_of(number, limit), number.unit, colour, end))
    return drawn


def _sentence(finding: Finding, is_stale: bool) -> Txt:
    return Txt(finding.sentence, HEADING if leading(finding) is None else BODY, _role(is_stale))
