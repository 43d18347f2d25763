"""Pages that say back what was saved last, with its verdict, and undo it with one press until the next save."""

from __future__ import annotations

from typing import TYPE_CHECKING

from garboard.steps import Kind
from garboard_tablet.language import phrase
from garboard_tablet.models.echo import UNDONE, echo_of, verdict_on
from garboard_tablet.models.entry import enter
from garboard_tablet.models.saved_last import Echo
from garboard_tablet.ui.shell import Page
from garboard_tablet.ui.widgets import Press, verdict_marks

if TYPE_CHECKING:
    from garboard.report.palette import Mark
    from garboard.verdict import Verdict

LONGEST = 24
"""So much of a value is said back [characters]."""


class EchoingPage(Page):
    """At the upper right stands what was saved last, as long as it stands."""

    @property
    def _echo(self) -> Echo | None:
        return None if self.live.unsaved else echo_of(self.tablet, self.route)

    def _verdict(self, echo: Echo) -> Verdict | None:
        """What is found of the value, for the entries as they stand now."""
        if echo.also:  # what is found of one of several says nothing of the others
            return None
        found = self.findings.known(self.route) if echo.route.step == self.route.step else None
        return verdict_on(echo.ask, [one.finding for one in found or ()])

    @property
    def saved(self) -> str:
        echo = self._echo
        if echo is None:
            return super().saved
        text = echo.text if len(echo.text) <= LONGEST else f"{echo.text[:LONGEST]}…"
        text = f"“{text}”" if echo.ask.field.kind is Kind.YES_NO else text  # "no saved" would say that nothing is
        verdict = self._verdict(echo)
        said = (
            phrase("{text} saved", text=text).replace(" ", "\u00a0")
            if len(text) < LONGEST / 2
            else phrase("{text} saved", text=text)
        )
        return f"{said}, {verdict.value}" if verdict else said

    @property
    def saved_mark(self) -> Mark | None:
        echo = self._echo
        verdict = self._verdict(echo) if echo is not None else None
        return verdict_marks[verdict] if verdict else None

    def undo(self) -> Press | None:
        echo = self._echo
        can_be_undone = echo is not None and echo.can_be_undone
        return self.context.presses.at_work("Undo", self._undo_last, name="undo") if can_be_undone else None

    def _undo_last(self) -> None:
        """What stood before stands again, on the page where it is entered."""
        echo = self._echo
        form = enter(self.tablet, echo.route) if echo is not None else None
        if echo is None or form is None:
            return
        form.undo()
        if self.context.ends.taken_back(echo.route, UNDONE):
            self.context.vessels.refresh(echo.route.hull)
        self.findings.soon(echo.route)
        move = self.way.instead if self.route.page == echo.route.page else self.way.go
        move(echo.route)
