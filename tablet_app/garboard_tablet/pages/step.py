"""One step: cautions, values and findings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.faults import in_number
from garboard.findings import Lack, Verdict
from garboard.fittings import CAME_WITH, fitted_now, is_of_runs
from garboard.hosting.equipment import kind_title
from garboard.hosting.unused import NotUsed, not_used
from garboard.records import Vessel
from garboard.steps import NOT_ABOARD, Assessed, Field, Step, has_none, state_shown
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import (
    Ask,
    missing_equipment,
    next_row_ask,
    table_rows,
)
from garboard_tablet.models.drafts import NOT_SAVED, drafts_in_step
from garboard_tablet.models.entry import entry_route, first_open, first_route
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
from garboard_tablet.models.photos import content_of, files_of_step
from garboard_tablet.models.rows import tables_of
from garboard_tablet.models.session import Route
from garboard_tablet.models.step_ends import DONE
from garboard_tablet.models.step_page import counted, is_judged, nothing_yet, standing
from garboard_tablet.pages.echoing import EchoingPage
from garboard_tablet.ui.picture import PhotosRow
from garboard_tablet.ui.shell import Halves, Maker, Page, column_of
from garboard_tablet.ui.theme import HEADING
from garboard_tablet.ui.verdict_card import FindingCard, VerdictCard
from garboard_tablet.ui.widgets import (
    Card,
    Column,
    Press,
    RowPress,
    Txt,
    caution_card,
    state_mark,
    verdict_marks,
    words,
)

if TYPE_CHECKING:
    from garboard.report.palette import Mark
    from garboard.report.photos import Photo
    from garboard_tablet.ui.context import Context


LEAST_ROWS = 2
"""So many rows stand as a table; one alone is told in words."""
PASSES = "passes"
"""Stands in the route of a step whose passes are shown one by one."""


class StepPage(EchoingPage):
    """Is it right, and what now: the worst finding first, then the others, and the values beside them."""

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.step = self.tablet.step(route.step)
        self.title = self.step.title if self.step else "Not here"
        self.findings.soon(route)

    @property
    def under(self) -> str:
        return ". ".join(filter(None, ("Values changed, checking" if self._is_checking else "", super().under)))

    @property
    def _is_checking(self) -> bool:
        return bool(self._found()) and self.findings.known(self.route) is None

    def counts(self) -> Sequence[tuple[Verdict, int]]:
        return () if self._is_checking else counted(self._found())

    def _found(self) -> tuple[Assessed, ...]:
        return ranked(self.tablet, self.findings.of(self.route))

    @property
    def _vessel(self) -> Vessel:
        return self.tablet.view(self.route.hull, self.route.job).vessel

    @property
    def _begun(self) -> bool:
        return self.tablet.view(self.route.hull, self.route.job).state_of(self.route.step) != "to do"

    @property
    def _read_at(self) -> str:
        """When the cautions were read on this tablet; "" where they were not, since the app was started."""
        return self.tablet.cautions_read.get((self.route.hull, self.route.job, self.route.step), "")

    def body(self) -> Widget:
        if self.step is None:
            return column_of(
                [words(phrase("No plugin on this tablet has {step}. Its values are kept.", step=self.route.step))]
            )
        cautions = self._caution_rows(self.step)
        first, last = ([], cautions) if self._begun or self._read_at else (cautions, [])
        asked = [*self._draft_rows(self.step), *self._missing_rows(self.step), *self._sources()]
        left = [*first, *asked, *self.verdict_rows()]
        photos = files_of_step(self.tablet, self.route)
        values = self._value_rows(self.step)
        row: Maker = partial(self._photos_row, photos)
        right = [row, *values] if photos else [*values, row]  # what was photographed is beside what was found
        if not self._found():
            return column_of([*left, *right, *last])  # in one flow: beside the values there would be little to see
        return Halves(left, [*right, *last], 0.54, turns_both=True)

    def _caution_rows(self, step: Step) -> list[Maker]:
        """What to know before the step: first until the step is begun, afterwards the last row of all."""
        count = len(step.cautions_for(self.tablet.view(self.route.hull, self.route.job).fuel))
        if not count and not step.at_hand:
            return []
        title = in_number(count, "caution") if count else "What to have at hand"
        read = (
            phrase("read {read_at}", read_at=self._read_at)
            if self._read_at
            else "read again"
            if self._begun
            else "read first"
        )
        word = read if count else ""
        mark = verdict_marks[Verdict.ADVISE] if count else None
        return [lambda: RowPress(title, self._cautions, mark=mark, word=word, name="cautions")]

    def _draft_rows(self, step: Step) -> list[Maker]:
        """What was typed and left: it is kept as typed, and one press leads to where it is saved."""
        return [partial(self._draft_row, *one) for one in drafts_in_step(self.tablet, self.route, step)]

    def _draft_row(self, ask: Ask, typed: str) -> RowPress:
        title = ", ".join(filter(None, (ask.field.title, ask.context)))
        go = partial(self.way.go, entry_route(self.route, ask))
        return RowPress(
            phrase("{typed} is not saved", typed=typed),
            go,
            small=phrase("{title}. Press here to save it, or to change it.", title=title),
            mark=verdict_marks[Verdict.ADVISE],
            word="typed",
            name=f"typed {title}",
        )

    def _missing_rows(self, step: Step) -> list[Maker]:
        return [partial(self._no_equipment, kind) for kind in missing_equipment(step, self._vessel)]

    def _value_rows(self, step: Step) -> list[Maker]:
        hull, job = self.route.hull, self.route.job
        asks, found = self._asks(step), [one.finding for one in self.findings.of(self.route)]
        lines = fails_first(lines_of_step(self.tablet, hull, job, asks, table_titles(step), found))
        makers: list[Maker] = []
        counts = Counter(line.ask.table for line in lines)
        as_table = {table.name: table for table in tables_of(step) if counts[table.name] >= LEAST_ROWS}
        for number, line in enumerate(lines):
            table = line.ask.table
            if table in as_table and (number == 0 or lines[number - 1].ask.table != table):
                makers.append(partial(self._as_table, as_table[table], counts[table]))
            makers.append(partial(self._value_row, line, is_short=table in as_table))
            if table and (number + 1 == len(lines) or lines[number + 1].ask.table != table):
                makers.extend(self._further(table))
        return [*makers, *self._beside(step), *self._unused_rows(step)]

    def _beside(self, step: Step) -> list[Maker]:
        """The ways to what nobody is led to: what stands beside the rows of a table, and the propellers tried."""
        view = self.tablet.view(self.route.hull, self.route.job)
        found: list[Maker] = []
        for table in step.fields:
            columns = [column for column in table.columns if column.aside]
            if columns and (len(columns) == len(table.columns) or table_rows(step, table, view)):
                found.append(partial(self._aside, table, columns))
        if any(field.aside and view.value(step.key, field.of_run) for field in step.fields if field.of_run):
            go = partial(self.way.go, self.route.to("aside"))
            found.append(lambda: RowPress("Propeller of the recording", go, word="open", name="aside"))
        if is_of_runs(field.name for field in step.all_fields()):
            on = ", ".join(dict.fromkeys(name or CAME_WITH for name in fitted_now(view.vessel)))
            go_on = partial(self.way.go, self.route.to("trials"))
            found.append(
                lambda: RowPress(
                    "Propellers tried",
                    go_on,
                    small=phrase("Fitted: {on}", on=on) if on else "",
                    word="open",
                    name="trials",
                )
            )
        return found

    def _aside(self, table: Field, columns: Sequence[Field]) -> RowPress:
        all_told = len(columns) == len(table.columns)
        title = table.title if all_told else "Propeller and load of each row"
        go = partial(self.way.go, self.route.to("aside", table.name))
        return RowPress(title, go, small=", ".join(column.title for column in columns), word="open",
                        name=f"aside {table.name}")  # fmt: skip

    def _photos_row(self, found: Sequence[Photo]) -> PhotosRow:
        """Photos and files kept with the step, and the way to add one."""
        go = partial(self.way.go, self.route.to("photos"))
        return PhotosRow("Photos", go, photos=found, load=partial(content_of, self.tablet), name="photos")

    def _unused_rows(self, step: Step) -> list[Maker]:
        """What was read of equipment the boat does not have: it is kept, and nothing is judged by it."""
        view = self.tablet.view(self.route.hull, self.route.job)
        return [partial(self._unused_row, one) for one in not_used(view, self.tablet.host, step.key)]

    def _unused_row(self, one: NotUsed) -> RowPress:
        go = partial(self.way.go, self.route.to("kind", one.kind) if one.kind else self.route.to("equipment"))
        why = f"{one.why[:1].upper()}{one.why[1:]}"
        return RowPress(why, go, small="; ".join(one.said), mark=verdict_marks[Verdict.ADVISE], word="equipment",
                        name=f"unused {one.why}")  # fmt: skip

    def _asks(self, step: Step) -> tuple[Ask, ...]:
        return asks_here(self.tablet, self.route.hull, self.route.job, step)

    def _as_table(self, table: Field, count: int) -> RowPress:
        go = partial(self.way.go, self.route.to("rows", table.name, step=self.route.step))
        return RowPress(
            phrase("As a table: {title}", title=table.title),
            go,
            value=in_number(count, "row"),
            name=f"rows {table.name}",
        )

    def _value_row(self, line: ValueLine, *, is_short: bool = False) -> RowPress:
        """is_short : its values stand in a table of their own"""
        return RowPress(
            line.title,
            lambda: self.way.go(entry_route(self.route, line.ask)),
            small="" if is_short else line.named,
            value=line.value,
            value_role="ink" if line.state == "done" else "quiet",
            mark=_mark_of(line),
            word=f"{line.typed} {NOT_SAVED}" if line.typed else None,
            name=f"value {line.title}",
        )

    def _sources(self) -> list[Maker]:
        """The way to say which sensor sends under a name that no sensor of the boat has."""
        from garboard_tablet.models.heading_sources import entered_not_heard, untied
        from garboard_tablet.models.one_source import OF_HEADING_SENSORS
        from garboard_tablet.pages.sensors import sources_at

        guide = self.live.guide_of(self.route)
        if guide is not None and not set(OF_HEADING_SENSORS) & set(guide.quantities):
            return []  # a run of the engines: whose heading came along matters little there
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        sources = sources_at(self.context, self.route)
        open_names = ", ".join(one.source for one in untied(vessel, sources))
        if not open_names:
            return []
        go = partial(self.way.go, self.route.to("sensors"))
        unheard = entered_not_heard(vessel, sources)
        small = ". ".join((phrase("The network calls it {open_names}", open_names=open_names), *unheard))
        return [lambda: RowPress("Which of these is my compass?", go, small=small, mark=verdict_marks[Verdict.ADVISE],
                                 word="not heard" if unheard else "none chosen", name="sensors")]  # fmt: skip

    def _further(self, name: str) -> list[Maker]:
        """The way to a further row of a table, however complete it is: a row of its own, or a piece of equipment."""
        if self.step is None:
            return []
        table = next(field for field in self.step.fields if field.name == name)
        ask = next_row_ask(self.step, table, self.tablet.view(self.route.hull, self.route.job))
        if ask is not None:
            target = entry_route(self.route, ask)
        elif table.each and self._may_add(table.each):
            target = self.route.to("kind" if table.each == "engines" else "add piece", table.each)
        else:
            return []
        title = kind_title(table.each, self.tablet.host.equipment) if table.each else table.title
        return [
            lambda: RowPress(
                phrase("Add to: {title}", title=title), lambda: self.way.go(target), name=f"add row {name}"
            )
        ]

    def _may_add(self, kind: str) -> bool:
        """Whether the boat may have a further piece of a kind."""
        declared = self.tablet.host.equipment.get(kind)
        return not (declared and declared.only_one and self._vessel.of_kind(kind))

    def verdict_rows(self) -> list[Maker]:
        """The worst large, then what else asks for something, then how many pass."""
        stands = standing(self._found())
        if stands.worst is None:
            return [self._nothing_found]
        rows: list[Maker] = [partial(self._worst, *stands.worst)]
        rows += [partial(self._finding, *one) for one in stands.others]
        if stands.passes and PASSES not in self.route.subject:
            rows.append(partial(self._passes, len(stands.passes)))
        else:
            rows += [partial(self._finding, *one) for one in stands.passes]
        return rows

    def _nothing_found(self) -> Card:
        asks = self._asks(self.step) if self.step else ()
        have = any(self.tablet.current(self.route.hull, self.route.job, ask) for ask in asks)
        if have or self.step is None:
            view = self.tablet.view(self.route.hull, self.route.job)
            if self.step is not None and not is_judged(self.step, self.tablet.host.calculators):
                return Card(
                    Txt("Nothing is judged here. The book and other checks use these values."),
                    mark=state_mark(state_shown(view, self.step)),
                )
            return Card(Txt("Findings appear here once enough is entered."), mark=state_mark("under way"))
        return Card(Txt(nothing_yet(self.step, len(asks)), HEADING), mark=state_mark("to do"))

    def _why(self, number: int, one: Assessed) -> None:
        self.way.go(self.route.to("why", *why_subject(number, one)))

    def _worst(self, number: int, one: Assessed) -> VerdictCard:
        card = FindingCard(one.finding, _settings_said(one))
        return VerdictCard(one.finding, partial(self._why, number, one), f"finding {number}", card)

    def _finding(self, number: int, one: Assessed) -> RowPress:
        finding = one.finding
        return RowPress(
            about(finding),
            partial(self._why, number, one),
            small=" ".join([finding.sentence, *_settings_said(one)]),
            mark=verdict_marks[finding.verdict],
            word="why",
            name=f"finding {number}",
            lead=True,
        )

    def _passes(self, count: int) -> RowPress:
        show = partial(self.way.instead, self.route.to("step", PASSES))
        mark = verdict_marks[Verdict.PASS]
        return RowPress(f"{count} {mark.word}", show, mark=mark, word="show", name="passes")

    def _no_equipment(self, kind: str) -> RowPress:
        return RowPress(
            phrase("{kind}: none entered", kind=kind_title(kind, self.tablet.host.equipment)),
            lambda: self.way.go(self.route.to("kind", kind)),
            small=self._to_enter(kind),
            mark=verdict_marks[Verdict.NOT_ENOUGH_DATA],
            word="open",
            name=f"missing {kind}",
        )

    def _to_enter(self, kind: str) -> str:
        if has_none(self.tablet.view(self.route.hull, self.route.job), kind):
            return "If this boat has one, enter it. Then this step asks about each."
        return "Enter them first. Then this step asks about each."

    def _cautions(self) -> None:
        self.way.go(self.route.to("cautions"))

    def actions(self) -> Sequence[Press | None]:
        if self.step is None:
            return ()
        mark = Press("Mark it …", lambda: self.way.go(self.route.to("state")), name="state")
        has_guide = self.live.guide_of(self.route) is not None
        guide = Press("Guide me", lambda: self.way.go(self.route.to("live")), name="guide") if has_guide else None
        return (mark, guide, self._next())

    def _next(self) -> Press:
        """To the next value that is needed, by its name; at the end the step is done.

        Where nothing has to be entered, and a check says that nobody tried the step, to the first value it takes.
        """
        view = self.tablet.view(self.route.hull, self.route.job)
        if self.step is not None and state_shown(view, self.step) == NOT_ABOARD:
            return self._to_next_step()
        lacking = missing_equipment(self.step, self._vessel) if self.step else ()
        if lacking:
            to_kind = partial(self.way.go, self.route.to("kind", lacking[0]))
            return Press(
                phrase("Next: {kind}", kind=kind_title(lacking[0], self.tablet.host.equipment)),
                to_kind,
                "main",
                name="continue",
            )
        asks = self._asks(self.step) if self.step else ()
        needed = [ask for ask in asks if self.step and self._is_needed(self.step, ask)]
        ask = first_open(self.tablet, self.route, needed or (asks if self._is_untried else ()))
        if ask is None and view.state_of(self.route.step) == DONE:
            return self._to_next_step()
        if ask is None:
            return Press("Step done", self._done, "main", name="done")
        words_of = ", ".join(filter(None, (ask.field.title, ask.context)))
        return Press(
            phrase("Next: {what}", what=words_of),
            partial(self.way.go, entry_route(self.route, ask)),
            "main",
            name="continue",
        )

    @property
    def _is_untried(self) -> bool:
        """Whether a check of this step says that nobody tried it yet."""
        missing = (one for found in self._found() for one in found.finding.missing)
        return any(one.lack is Lack.NOT_TRIED and one.step == self.route.step for one in missing)

    def _is_needed(self, step: Step, ask: Ask) -> bool:
        """Whether the step is not done without it. A table that may stay empty needs nothing of a row nobody began."""
        table = next((field for field in step.fields if field.name == ask.table), None)
        if not ask.field.required or table is None or table.required or not ask.row:
            return ask.field.required
        return ask.row in table_rows(step, table, self.tablet.view(self.route.hull, self.route.job))

    def _to_next_step(self) -> Press:
        """On with the day, in the place of the step that is done; at its end back to the day."""
        key = self.way.next_step(self.route)
        step = self.tablet.step(key) if key is not None else None
        if step is None:
            return Press("Back to the job", self.way.back, "main", name="step ended")
        go_on = partial(self.way.on_to_step, self.route, step.key)
        return Press(phrase("Next: {title}", title=step.title), go_on, "main", name="next step")

    def _done(self) -> None:
        self.tablet.set_state(self.route.hull, self.route.job, self.route.step, DONE)
        self.context.vessels.refresh(self.route.hull)
        self.way.back()

    def refill(self) -> None:
        self.screen.redraw()


def _mark_of(line: ValueLine) -> Mark:
    if line.verdict:
        return verdict_marks[line.verdict]
    return verdict_marks[Verdict.ADVISE] if line.typed else state_mark(line.state)


def _settings_said(one: Assessed) -> list[str]:
    """Whose limit a finding was judged by, where it is not the program's own."""
    from garboard.report.settings_used import setting_in_words

    return [*map(setting_in_words, one.settings_used)]


class CautionsPage(Page):
    """What to know before the step, with where it comes from, and what to have at hand. All of it comes into sight
    before the step can be begun."""

    title = "Before you begin"

    def body(self) -> Widget:
        step = self.tablet.step(self.route.step)
        self._column = Column(most=2)
        self._column.turned = self._say
        fuel = self.tablet.view(self.route.hull, self.route.job).fuel
        makers: list[Maker] = [partial(caution_card, caution) for caution in step.cautions_for(fuel)] if step else []
        if step and step.at_hand:
            makers.append(lambda: Card(Txt("Have at hand", bold=True), *(Txt(f"•  {thing}") for thing in step.at_hand)))
        self._column.show(makers)
        return self._column

    def actions(self) -> Sequence[Press]:
        self._press = Press("I have read this", self._read, "main", name="begin")
        if self.tablet.view(self.route.hull, self.route.job).state_of(self.route.step) != "to do":
            return (self._press,)
        return (Press("Not on this boat", self._not_fitted, name="not on this boat"), self._press)

    def _not_fitted(self) -> None:
        mark_step(self.context, self.route, "not fitted")

    def _say(self) -> None:
        self._press.text = "Read on" if self._column.has_more else "I have read this"

    def _read(self) -> None:
        if not self._column.turn():
            self._begin()

    def _begin(self) -> None:
        step = self.tablet.step(self.route.step)
        key = (self.route.hull, self.route.job, self.route.step)
        self.tablet.cautions_read[key] = self.tablet.author().wall()[11:16]
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
        do = partial(mark_step, self.context, self.route, state)
        return RowPress(state.capitalize(), do, small=small, mark=state_mark(state), word=None, name=f"mark {state}")


def mark_step(context: Context, route: Route, state: str) -> None:
    """Say how far a step is, and go back to the job."""
    context.tablet.set_state(route.hull, route.job, route.step, state)
    context.vessels.refresh(route.hull)
    context.tablet.session.back_to("job")
    context.screen.redraw()
