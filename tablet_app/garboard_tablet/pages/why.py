"""Why a finding came out as it did: to trust it, or to mend what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.findings import Verdict
from garboard.steps import Assessed
from garboard_tablet.language import phrase
from garboard_tablet.models.pages import RestsOn, finding_at, ranked, rests_on
from garboard_tablet.models.session import Route
from garboard_tablet.models.why import StillMissing, fails_after, numbers_table, still_missing
from garboard_tablet.ui.shell import Halves, Maker, Page, column_of
from garboard_tablet.ui.theme import SMALL
from garboard_tablet.ui.verdict_card import FindingCard
from garboard_tablet.ui.widgets import Press, RowPress, heading, state_mark, verdict_marks, words

if TYPE_CHECKING:
    from garboard.records import Forecast
    from garboard_tablet.ui.context import Context

CHECKING = "values changed, checking"


class WhyPage(Page):
    """Verdict, numbers and basis at the left; at the right the values it rests on, each one press away."""

    title = "Why"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.findings.soon(route)

    def body(self) -> Widget:
        one = finding_at(self.route.subject, self._found())
        was = self.route.subject[3] if len(self.route.subject) > 3 else ""
        if one is None:
            gone = phrase("It was {was}. ", was=was) if was else ""
            return column_of(
                [words(phrase("{gone}This finding no longer exists, because values have changed.", gone=gone), "quiet")]
            )
        is_stale = self.findings.known(self.route) is None
        word = CHECKING if is_stale else _changed(was, one.finding.verdict)
        card: Maker = partial(FindingCard, one.finding, (), word, is_stale=is_stale)
        basis, values, drawn = self._basis(one), self._values(one), _drawn(one)
        # To mend it, the values come first; a pass is looked at to be trusted.
        right = [*drawn, *values] if one.finding.verdict is Verdict.PASS else [*values, *drawn]
        if not right:
            return column_of([card, *basis])
        return Halves([card, *basis], right, 0.55, turns_both=True, stacked=[card, *values, *basis, *drawn])

    def _basis(self, one: Assessed) -> list[Maker]:
        """Numbers, and what the verdict rests on beside the boat's own values."""
        from garboard.report.settings_used import setting_in_words
        from garboard_tablet.ui.drawing import TableView

        said: list[Maker] = []
        numbers = numbers_table(one.finding)
        if numbers is not None:
            said.append(partial(TableView, numbers))
        said += [heading("Basis"), *(words(str(basis)) for basis in one.finding.basis)]
        if one.settings_used:
            said += [heading("Settings used"), *(words(setting_in_words(used)) for used in one.settings_used)]
        plugin = next((p.title for p in self.tablet.host.plugins if p.name == one.plugin), one.plugin)
        return [
            *said,
            words(
                phrase("{title}, by {plugin} {version}", title=one.title, plugin=plugin, version=one.plugin_version),
                "quiet",
                SMALL,
            ),
        ]

    def _values(self, one: Assessed) -> list[Maker]:
        """Every value it rests on and every one it lacks, with the way to where it is entered."""
        missing = still_missing(self.tablet, self.route, one.finding)
        lacking: list[Maker] = [partial(self._missing_row, number, each) for number, each in enumerate(missing)]
        values = rests_on(self.tablet, self.route, one.finding)
        rows: list[Maker] = [partial(self._value_row, each) for each in values]
        said: list[Maker] = [heading("Still missing"), *lacking] if lacking else []
        return [*said, heading("From these values"), *rows] if rows else said

    def _value_row(self, one: RestsOn) -> RowPress:
        go = partial(self.way.go, one.target)
        mark = verdict_marks[Verdict.ADVISE] if one.doubt else None
        small = ". ".join(filter(None, (one.told, one.doubt)))
        return RowPress(one.title, go, small=small, value=one.value, mark=mark, word="in doubt" if one.doubt else "",
                        name=f"rests on {one.title}")  # fmt: skip

    def _missing_row(self, number: int, one: StillMissing) -> Widget:
        if one.target is None:
            return words(one.text)()
        go = partial(self.way.go, one.target)
        return RowPress(one.text, go, mark=state_mark("to do"), word=None, name=f"lacks {number}")

    def _found(self) -> tuple[Assessed, ...]:
        return ranked(self.tablet, self.findings.of(self.route) or self.findings.now(self.route))

    def actions(self) -> Sequence[Press]:
        found = self._found()
        here = finding_at(self.route.subject, found)
        of_job = self.findings.of(self.route.to("job", step=""))
        following = next(fails_after(self.tablet, self.route, here, found, of_job), None)
        presses = []
        if here is not None and here.finding.forecasts and self.findings.known(self.route) is not None:
            forecast = here.finding.forecasts[0]
            presses.append(Press("Try this one next", partial(self._try_next, forecast), name="try next"))
        if following is not None:
            about, target = following
            presses.append(
                Press(
                    phrase("Next fail: {about}", about=about),
                    partial(self.way.instead, target),
                    "main",
                    name="next fail",
                )
            )
        return presses

    def _try_next(self, forecast: Forecast) -> None:
        """Keep what is foreseen, so that the next runs can prove it wrong, and go where the propeller is put on."""
        self.tablet.keep_forecast(self.route.hull, self.route.job, forecast)
        self.way.go(self.route.to("new trial"))

    def refill(self) -> None:
        self.screen.redraw()


def _changed(was: str, verdict: Verdict) -> str:
    """What became of a verdict since the page was opened; "" where it is the same."""
    return phrase("was {was}, now {verdict}", was=was, verdict=verdict.value) if was and was != verdict.value else ""


def _drawn(one: Assessed) -> list[Maker]:
    from garboard_tablet.ui.drawing import Plot, TableView

    drawn: list[Maker] = [partial(Plot, figure) for figure in one.finding.figures]
    for table in one.finding.tables:
        drawn += [words(table.title, "quiet", SMALL), partial(TableView, table)]
    return drawn
