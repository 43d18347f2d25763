"""Pages no way leads to: the disk refused, or the program made a mistake. Each says what to do."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.findings import Verdict
from garboard_tablet.language import phrase
from garboard_tablet.models.session import Route
from garboard_tablet.ui.shell import NOT_SAVED, Page, column_of
from garboard_tablet.ui.theme import HEADING, SMALL
from garboard_tablet.ui.widgets import Card, Press, Txt, verdict_marks, words

if TYPE_CHECKING:
    from garboard_tablet.ui.context import Context

LOOK_AGAIN = "Everything shown as saved is saved. Check what you entered last."
WHAT_TO_DO = (
    "Press Go on. If this page comes again, go back to the vessels, or restart the app. "
    "Then press Help in the settings. It makes a file for the person who looks after this program."
)


class NotSavedPage(Page):
    """The disk refused. Stands until there is room again; what was typed waits."""

    title = "Not saved"
    saved = NOT_SAVED

    def __init__(self, context: Context, route: Route, reason: str) -> None:
        super().__init__(context, route)
        self._reason = reason

    def body(self) -> Widget:
        return column_of([self._card], most=1)

    def _card(self) -> Card:
        return Card(
            Txt("This tablet could not save what you did last.", HEADING),
            Txt("Do what stands below, then try again. Leave the app open; what you typed is still here."),
            Txt(self._reason, SMALL),
            mark=verdict_marks[Verdict.FAIL],
            word="not saved",
        )

    def actions(self) -> Sequence[Press]:
        return (Press("Try again", self.screen.show, "main", name="try again"),)


class TroublePage(Page):
    """The program failed. Nothing the screen called saved is lost, and work goes on.

    what : what the program was doing
    kind : what kind of mistake it was
    """

    title = "The program failed"
    saved = "Look again"
    under = ""  # the mistake may be in what names the vessel

    def __init__(self, context: Context, route: Route, what: str, kind: str) -> None:
        super().__init__(context, route)
        self._what, self._kind = what, kind

    def body(self) -> Widget:
        failed_at = phrase("Error at {what}: {kind}. The log has more.", what=self._what, kind=self._kind)
        return column_of([self._card, words(WHAT_TO_DO), words(failed_at, "quiet")], most=1)

    def _card(self) -> Card:
        return Card(Txt(LOOK_AGAIN, HEADING), mark=verdict_marks[Verdict.ADVISE], word="look again")

    def actions(self) -> Sequence[Press]:
        return (
            Press("Back to the vessels", self.way.home, name="to the vessels"),
            Press("Go on", self.screen.show, "main", name="go on"),
        )
