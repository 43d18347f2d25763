"""Bring ashore: pairing with the shop, how it stands, and what it brought."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.findings import Verdict
from garboard.hosting.titles import names_in_words
from garboard.shop_link.pairing import EXAMPLE
from garboard_tablet.language import phrase
from garboard_tablet.models.ashore import STATES, ReportLine, earlier_lines, lines_of, stands
from garboard_tablet.models.entry import enter
from garboard_tablet.models.session import Route
from garboard_tablet.pages.job import WordsPage
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.theme import HEADING, SMALL
from garboard_tablet.ui.widgets import Card, Press, RowPress, Txt, heading, verdict_marks

if TYPE_CHECKING:
    from garboard.shop_link.pairing import PairedShop
    from garboard_tablet.ui.context import Context

_CHARACTERS = "The 24 characters the shop shows with its pairing code."


class AshorePage(Page):
    """How it stands. Work goes on meanwhile; leaving the page stops nothing."""

    title = "Bring ashore"

    @property
    def under(self) -> str:
        shop = self.context.shop.paired
        return (
            phrase("To {name}, {host}, as {role}", name=shop.name or "the shop", host=shop.host, role=shop.role)
            if shop
            else "Not paired with a shop yet"
        )

    def body(self) -> Widget:
        if self.context.shop.paired is None:
            text = "Ask the shop for a pairing code. It is valid for 15 minutes and works once."
            return column_of([lambda: Card(Txt(text))])
        state = self.context.shop.state
        not_yet = self.context.marks.not_yet() if state.word == "ashore" else 0
        sentence, verdict = stands(state, not_yet)
        reason = [state.reason] if state.reason else []
        makers: list[Maker] = [
            lambda: Card(
                Txt(sentence, HEADING),
                *(Txt(text, SMALL, "quiet") for text in reason),
                mark=verdict_marks[verdict],
                word=state.word if (sentence, verdict) == STATES[state.word] or state.of else "not all ashore",
            )
        ]
        told = partial(names_in_words, host=self.tablet.host)
        lines = [*filter(self._is_open, lines_of(state, self.tablet.may_decide, told, not_yet))]
        makers.extend(partial(self._row, line) for line in lines)
        shown = [line.text for line in lines]
        for earlier in reversed(self.context.shop.unseen):
            further = [*filter(self._is_open, earlier_lines(earlier, shown, self.tablet.may_decide, told))]
            if further:
                makers.append(heading(phrase("Not looked at yet, from {time}", time=_clock(earlier.at))))
            makers.extend(partial(self._row, line) for line in further)
            shown += [line.text for line in further]
        return column_of(makers)

    def _is_open(self, line: ReportLine) -> bool:
        """Whether what disagreed as it came still does; what is no value of a boat here cannot be told."""
        form = enter(self.tablet, line.route) if line.route is not None else None
        return form is None or bool(form.rivals)

    def leave(self) -> None:
        """Whoever goes back has looked; whoever settles one thing finds the others again."""
        if self.route not in self.tablet.session.way:
            self.context.shop.looked_at()

    def _row(self, line: ReportLine) -> Widget:
        if line.route is not None:
            go = partial(self.way.go, line.route)
            return RowPress(line.text, go, mark=verdict_marks[Verdict.ADVISE], word=None, name=f"settle {line.text}")
        return Card(Txt(line.text), mark=verdict_marks[Verdict.ADVISE] if line.urgent else None, word="look at this")

    def actions(self) -> Sequence[Press]:
        pair = Press("Pair with a shop", lambda: self.way.go(self.route.to("pair")), name="pair")
        if self.context.shop.paired is None:
            pair.kind = "main"
            pair.paint()
            return (pair,)
        return (pair, Press("Bring ashore now", self.context.shop.bring_ashore_now, "main", name="bring ashore now"))

    def refill(self) -> None:
        self.screen.redraw()


def _clock(at: int) -> str:
    """The time of day by this tablet's clock, of milliseconds since 1970."""
    return f"{datetime.fromtimestamp(at / 1000).astimezone():%H:%M}"


class PairPage(WordsPage):
    """The pairing code."""

    title = "Pair with the shop"
    under = "Once for each tablet"
    word = "Pair"

    @property
    def asks(self) -> str:  # type: ignore[override]
        from garboard.shop_link.discovery import can_look

        if can_look():
            return phrase(
                "{characters} The tablet looks for the shop on this wifi. If it fails, type the address, too.",
                characters=_CHARACTERS,
            )
        return phrase("The shop's address, then the 24 characters it shows, such as {example}", example=EXAMPLE)

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._typing = False
        context.shop.answered = self._paired  # the page left while a try is under way is not the one to tell

    @property
    def _shows_the_refusal(self) -> bool:
        return bool(self.context.shop.refusal) and not self._typing

    def body(self) -> Widget:
        if self.context.shop.pairing:
            return column_of([lambda: Card(Txt("Looking for the shop …", HEADING))])
        if self._shows_the_refusal:
            return column_of([self._refusal_card], most=1)
        return super().body()

    def actions(self) -> Sequence[Press]:
        if self.context.shop.pairing:
            return ()
        if self._shows_the_refusal:
            return (Press("Type it again", self._again, "main", name="type again"),)
        return super().actions()

    def _refusal_card(self) -> Card:
        return Card(Txt(self.context.shop.refusal), mark=verdict_marks[Verdict.FAIL], word="not paired")

    def _again(self) -> None:
        self._typing = True
        self.screen.redraw_as_it_is()

    def _done(self, text: str) -> None:
        if text:
            self._typing = False
            self.context.shop.pair(text)
            if self.context.shop.pairing:
                self.screen.redraw_as_it_is()

    def _paired(self, shop: PairedShop | None) -> None:
        if shop is not None:
            self.tablet.session.forget(self.key)
            self.tablet.session.save()
            if self.screen.shows(self):
                self.way.back()
        elif self.screen.shows(self):
            self.screen.redraw_as_it_is()
