"""Figures and tables of a job, one at a time, large enough to read across a deck."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.findings import Figure, Table
from garboard_tablet.language import phrase
from garboard_tablet.models.pages import figures_and_tables
from garboard_tablet.models.session import Route
from garboard_tablet.ui.drawing import Plot, TableView
from garboard_tablet.ui.shell import Page, column_of
from garboard_tablet.ui.widgets import Column, Press, words

if TYPE_CHECKING:
    from garboard_tablet.ui.context import Context


class ResultsPage(Page):
    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._things: list[tuple[str, Figure | Table]] = figures_and_tables(self.findings.now(route))
        self._at = min(int(route.subject[0]) if route.subject else 0, max(0, len(self._things) - 1))
        self.title = self._things[self._at][1].title if self._things else "Figures and tables"

    @property
    def under(self) -> str:
        if not self._things:
            return super().under
        return phrase(
            "{thing}. {number} of {count}. {under}",
            thing=self._things[self._at][0],
            number=self._at + 1,
            count=len(self._things),
            under=super().under,
        )

    def body(self) -> Widget:
        if not self._things:
            return column_of([words("None yet. They appear once enough is measured.", "quiet")])
        thing = self._things[self._at][1]
        if isinstance(thing, Figure):
            return Plot(thing)
        column = Column()
        column.show([partial(TableView, thing)])
        return column

    def actions(self) -> Sequence[Press]:
        if len(self._things) < 2:
            return ()
        return (
            Press("Previous", lambda: self._turn(-1), name="previous"),
            Press("Next", lambda: self._turn(1), "main", name="next figure"),
        )

    def _turn(self, by: int) -> None:
        self.way.instead(self.route.to("results", str((self._at + by) % len(self._things))))
