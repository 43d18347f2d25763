"""One step: cautions, values and findings."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.findings import Verdict
from garboard.steps import Assessed, Caution
from garboard_tablet.models.asks import (
    KIND_TITLES,
    missing_equipment,
    next_row_ask,
)
from garboard_tablet.models.entry import entry_route, first_route
from garboard_tablet.models.pages import (
    ValueLine,
    about,
    asks_here,
    fails_first,
    lines_of_step,
    ranked,
    table_titles,
    why_subject,
)
from garboard_tablet.models.session import Route
from garboard_tablet.ui.shell import Halves, Maker, Page, column_of
from garboard_tablet.ui.theme import SMALL
from garboard_tablet.ui.widgets import Card, Column, Press, RowPress, Txt, state_mark, verdict_marks, words

if TYPE_CHECKING:
    from garboard_tablet.ui.context import Context


class StepPage(Page):
    """Values at the left, what they come to at the right."""

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.step = self.tablet.step(route.step)
        self.title = self.step.title if self.step else "Not here"
        self.findings.soon(route)

    def body(self) -> Widget:
        if self.step is None:
            return column_of([words(f"No plugin on this tablet has {self.route.step}. Its values are kept.")])
        hull, job = self.route.hull, self.route.job
        asks = asks_here(self.tablet, hull, job, self.step)
        left: list[Maker] = []
        if self.step.cautions or self.step.at_hand:
            count = len(self.step.cautions)
            title = f"{count} caution{'s' if count > 1 else ''}" if count else "What to have at hand"
            left.append(lambda: RowPress(title, self._cautions, mark=verdict_marks[Verdict.ADVISE] if count else None,
                                         word="read again" if count else "", name="cautions"))  # fmt: skip
        for kind in missing_equipment(self.step, self.tablet.view(hull, job).vessel):
            left.append(partial(self._no_equipment, kind))
        left.extend(self._sources())
        lines = lines_of_step(
            self.tablet,
            hull,
            job,
            asks,
            table_titles(self.step),
            [one.finding for one in self.findings.of(self.route)],
        )
        lines = fails_first(lines)
        for number, line in enumerate(lines):
            left.append(partial(self._value_row, line))
            table = line.ask.table
            if table and (number + 1 == len(lines) or lines[number + 1].ask.table != table):
                left.extend(self._further(table))
        return Halves(left, self.verdict_rows(), 0.52)

    def _value_row(self, line: ValueLine) -> RowPress:
        return RowPress(
            line.title,
            lambda: self.way.go(entry_route(self.route, line.ask)),
            small=line.named,
            value=line.value,
            value_role="ink" if line.state == "done" else "quiet",
            mark=verdict_marks[line.verdict] if line.verdict else state_mark(line.state),
            word=None,
            name=f"value {line.title}",
        )

    def _sources(self) -> list[Maker]:
        """The way to say which sensor sends under a name that no sensor of the boat has."""
        from garboard_tablet.models.heading_sources import QUANTITIES, untied
        from garboard_tablet.pages.sensors import sources_at

        guide = self.live.guide_of(self.route)
        if guide is not None and not set(QUANTITIES) & set(guide.quantities):
            return []  # a run of the engines: whose heading came along matters little there
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        open_names = ", ".join(one.source for one in untied(vessel, sources_at(self.context, self.route)))
        if not open_names:
            return []
        go = partial(self.way.go, self.route.to("sensors"))
        return [lambda: RowPress("Which of these is my compass?", go, small=f"The network calls it {open_names}",
                                 mark=verdict_marks[Verdict.ADVISE], word="none chosen", name="sensors")]  # fmt: skip

    def _further(self, name: str) -> list[Maker]:
        """The way to a further row of a table, however complete it is: a row of its own, or a piece of equipment."""
        if self.step is None:
            return []
        table = next(field for field in self.step.fields if field.name == name)
        ask = next_row_ask(self.step, table, self.tablet.view(self.route.hull, self.route.job))
        if ask is not None:
            target = entry_route(self.route, ask)
        elif table.each:
            target = self.route.to("kind" if table.each == "engines" else "add piece", table.each)
        else:
            return []
        title = KIND_TITLES[table.each] if table.each else table.title
        return [lambda: RowPress(f"Add to: {title}", lambda: self.way.go(target), name=f"add row {name}")]

    def verdict_rows(self) -> list[Maker]:
        found = ranked(self.tablet, self.findings.of(self.route))
        if not found:
            return [words("Findings appear here once enough is entered.", "quiet")]
        return [partial(self._finding, number, one) for number, one in enumerate(found)]

    def _finding(self, number: int, one: Assessed) -> RowPress:
        from garboard.report.settings_used import setting_in_words

        finding = one.finding
        return RowPress(
            about(finding),
            lambda: self.way.go(self.route.to("why", *why_subject(number, one))),
            small=" ".join([finding.sentence, *map(setting_in_words, one.settings_used)]),
            mark=verdict_marks[finding.verdict],
            word="why",
            name=f"finding {number}",
            lead=True,
        )

    def _no_equipment(self, kind: str) -> RowPress:
        return RowPress(
            f"{KIND_TITLES[kind]}: none entered",
            lambda: self.way.go(self.route.to("kind", kind)),
            small="Enter them first. Then this step asks about each.",
            mark=verdict_marks[Verdict.NOT_ENOUGH_DATA],
            word="open",
            name=f"missing {kind}",
        )

    def _cautions(self) -> None:
        self.way.go(self.route.to("cautions"))

    def actions(self) -> Sequence[Press]:
        if self.step is None:
            return ()
        presses = [Press("Mark it …", lambda: self.way.go(self.route.to("state")), name="state")]
        if self.live.guide_of(self.route):
            presses.append(Press("Guide me", lambda: self.way.go(self.route.to("live")), name="guide"))
        asks = asks_here(self.tablet, self.route.hull, self.route.job, self.step)
        following = first_route(self.tablet, self.route, asks)
        if following is not None:
            presses.append(Press("Done", self._done, name="done"))
            presses.append(Press("Continue", lambda: self.way.go(following), "main", name="continue"))
        else:
            presses.append(Press("Done", self._done, "main", name="done"))
        return presses

    def _done(self) -> None:
        self.tablet.set_state(self.route.hull, self.route.job, self.route.step, "done")
        self.context.vessels.refresh(self.route.hull)
        self.way.back()

    def refill(self) -> None:
        self.screen.redraw()


class CautionsPage(Page):
    """What to know before the step, with where it comes from, and what to have at hand. All of it comes into sight
    before the step can be begun."""

    title = "Before you begin"

    def body(self) -> Widget:
        step = self.tablet.step(self.route.step)
        self._column = Column(most=2)
        self._column.turned = self._say
        makers: list[Maker] = [partial(_caution, caution) for caution in step.cautions] if step else []
        if step and step.at_hand:
            makers.append(lambda: Card(Txt("Have at hand", bold=True), *(Txt(f"•  {thing}") for thing in step.at_hand)))
        self._column.show(makers)
        return self._column

    def actions(self) -> Sequence[Press]:
        self._press = Press("I have read this", self._read, "main", name="begin")
        return (self._press,)

    def _say(self) -> None:
        self._press.text = "Read on" if self._column.has_more else "I have read this"

    def _read(self) -> None:
        if not self._column.turn():
            self._begin()

    def _begin(self) -> None:
        step = self.tablet.step(self.route.step)
        asks = asks_here(self.tablet, self.route.hull, self.route.job, step) if step else ()
        route = first_route(self.tablet, self.route, asks)
        begun = self.tablet.view(self.route.hull, self.route.job).state_of(self.route.step) != "to do"
        if route is None or begun:
            self.way.back()
        else:
            self.way.instead(route)


STATES = (
    ("done", "Everything needed is entered."),
    ("look again", "Something needs another look. It goes on the list for hand over."),
    ("not fitted", "This boat does not have it."),
    ("to do", "Start it again. Values stay."),
)


class StatePage(Page):
    """How far a step is, in the person's own judgement."""

    title = "Mark this step"

    def body(self) -> Widget:
        return column_of([partial(self._row, state, small) for state, small in STATES])

    def _row(self, state: str, small: str) -> RowPress:
        do = partial(self._mark, state)
        return RowPress(state.capitalize(), do, small=small, mark=state_mark(state), word=None, name=f"mark {state}")

    def _mark(self, state: str) -> None:
        self.tablet.set_state(self.route.hull, self.route.job, self.route.step, state)
        self.context.vessels.refresh(self.route.hull)
        self.tablet.session.back_to("job")
        self.screen.redraw()


def _caution(caution: Caution) -> Card:
    basis = Txt(str(caution.basis), SMALL, "quiet")
    return Card(Txt(caution.text), basis, mark=verdict_marks[Verdict.ADVISE], word="caution")
