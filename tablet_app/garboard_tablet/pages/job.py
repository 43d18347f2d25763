"""A job: the day's path, what is missing, the vessel, and the punch list."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.findings import Verdict
from garboard.hosting.equipment import kind_title, kinds_shown
from garboard.report.outline import is_handed_over
from garboard_tablet.language import phrase
from garboard_tablet.models.day_path import Stretch, stations, whole_day
from garboard_tablet.models.pages import (
    PunchLine,
    StepLine,
    asked,
    phase_of,
    steps_by_phase,
    to_put_right,
    what_is_missing,
)
from garboard_tablet.models.session import Route
from garboard_tablet.models.step_page import counted
from garboard_tablet.models.vessels import number_of, told_apart, vessel_name, when_opened
from garboard_tablet.ui.day_path import Band, DayPath, NextStation
from garboard_tablet.ui.inputs import WordsBox
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.theme import SMALL
from garboard_tablet.ui.widgets import Across, Column, Press, RowPress, heading, state_mark, verdict_marks, words

MISSING, VESSEL, ALL = "missing", "vessel", "all"
OTHER = "Other, typed"


if TYPE_CHECKING:
    from garboard.job_view import JobView
    from garboard.report.palette import Mark
    from garboard_tablet.models.navigator import Navigator
    from garboard_tablet.ui.context import Context


class JobPage(Page):
    """The day's path: the phase the job is in stands open, what is next in it first.

    The route names another phase, or what is missing, or the vessel, where that was opened.
    """

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.title = vessel_name(self.tablet, route.hull)
        self.findings.soon(route)
        self._next_key = self.way.next_step(route)

    @property
    def under(self) -> str:
        record = self.tablet.view(self.route.hull, self.route.job).job
        told = told_apart(self.tablet, self.route.hull).get(self.route.job, when_opened(record))
        return f"{number_of(self.tablet, self.route.hull)}. {record.kind.capitalize()}, {told}."

    def counts(self) -> Sequence[tuple[Verdict, int]]:
        return counted(self.findings.known(self.route) or ())

    def body(self) -> Widget:
        hull, job = self.route.hull, self.route.job
        day = whole_day([*steps_by_phase(self.tablet, hull, job, self.findings.of(self.route))])
        known = self.findings.known(self.route)
        missing = what_is_missing(self.tablet, hull, job, known)
        questions = asked(self.tablet, hull, job) if known is not None else []
        chosen = self.route.subject[0] if self.route.subject else self._phase_now(day)
        bands = [self._band(stretch, is_open=stretch.phase.value == chosen) for stretch in day]
        if chosen == MISSING:
            is_over = is_handed_over(self.tablet.view(hull, job))
            rows = missing_rows(self.way, self.route, missing, questions, is_over=is_over)
            bands.insert(0, Band(title="Missing", rows=rows))
        elif chosen == VESSEL:
            bands.insert(0, Band(title="Vessel", rows=self._vessel_rows()))
        count = (
            phrase("{missing}, {asked} asked", missing=len(missing), asked=len(questions))
            if questions
            else f"{len(missing)}"
        )
        see = Press(
            phrase("Missing\n{count}", count=count), partial(self._turn, MISSING), size=SMALL, name="tab missing"
        )
        over = Press(
            sign_over_title(self.tablet.view(hull, job)),
            partial(self.way.go, self.route.to("hand over")),
            name="hand over",
        )
        return DayPath(bands, (see, over))

    def _band(self, stretch: Stretch, *, is_open: bool) -> Band:
        phase, worst = stretch.phase.value, stretch.worst
        return Band(
            title=stretch.title,
            share=stretch.share,
            marks=tuple(map(_mark_of, stretch.lines)),
            worst=(verdict_marks[worst[0]], f"{worst[1]} {worst[0].value}") if worst else None,
            do=partial(self._turn, phase),
            name=f"tab {phase}",
            rows=self._stations(stretch) if is_open else None,
        )

    def _stations(self, stretch: Stretch) -> list[Maker]:
        """What is next, what fails, what is to do, and one row for what is in order."""
        rest = [line for line in stretch.lines if line.step.key != self._next_key]
        found = stations(rest)
        rows: list[Maker] = [
            partial(self._next_station, line) for line in stretch.lines if line.step.key == self._next_key
        ]
        shows = ALL in self.route.subject
        rows += [partial(self._step_row, line) for line in (*found.asking, *found.to_do)]
        if found.in_order and not shows:
            rows.append(partial(self._in_order, stretch.phase.value, len(found.in_order)))
        return rows + [partial(self._step_row, line) for line in found.in_order if shows]

    def _phase_now(self, day: Sequence[Stretch]) -> str:
        now = phase_of(self.tablet, self.route.hull, self.route.job)
        values = [stretch.phase.value for stretch in day if stretch.lines]
        return now if now in values else values[-1] if values else VESSEL

    def _turn(self, *where: str) -> None:
        self.way.instead(self.route.to("job", *where))

    def _vessel_rows(self) -> list[Maker]:
        go, route = self.way.go, self.route
        return [
            lambda: RowPress("Equipment", lambda: go(route.to("equipment")), small=self._fitted()),
            lambda: RowPress("Figures and tables", lambda: go(route.to("results", "0"))),
            lambda: RowPress("Other jobs on this boat", lambda: go(route.to("vessel jobs"))),
        ]

    def _fitted(self) -> str:
        vessel = self.tablet.view(self.route.hull, self.route.job).vessel
        kinds = self.tablet.host.equipment
        counts = {kind: len(vessel.of_kind(kind)) for kind in kinds_shown(vessel, kinds)}
        have = [f"{kind_title(kind, kinds)} {count}" for kind, count in counts.items() if count]
        return ", ".join(have) or "Nothing entered yet. Begin here."

    def _step_row(self, line: StepLine) -> RowPress:
        mark = _mark_of(line)
        said = [line.state] if line.state != "to do" or mark.word == line.state else []
        word = ", ".join(dict.fromkeys([*said, mark.word]))
        return RowPress(
            line.step.title,
            lambda: self.way.open_step(self.route, line.step.key),
            small=" ".join(filter(None, (line.note, line.lacks))),
            mark=mark,
            word=word,
            name=f"step {line.step.key}",
        )

    def _next_station(self, line: StepLine) -> NextStation:
        at_hand = f"At hand: {', '.join(line.step.at_hand)}" if line.step.at_hand else ""
        return NextStation(
            line.step.title,
            partial(self.way.open_step, self.route, line.step.key),
            small=". ".join(filter(None, ("Next", line.note, at_hand))),
            mark=_mark_of(line),
            word=None,
            name=f"step {line.step.key}",
        )

    def _in_order(self, phase: str, count: int) -> RowPress:
        go, told = partial(self._turn, phase, ALL), phrase("{count} in order", count=count)
        return RowPress(told, go, mark=state_mark("done"), word="show", name="in order")

    def actions(self) -> Sequence[Press]:
        step = self.tablet.step(self._next_key) if self._next_key else None
        view = self.tablet.view(self.route.hull, self.route.job)
        last = "The owner's book" if is_handed_over(view) else sign_over_title(view)
        return (
            Press("Vessel", partial(self._turn, VESSEL), name="tab vessel"),
            Press("Punch list", lambda: self.way.go(self.route.to("punch list")), name="punch list"),
            Press(phrase("Next: {title}", title=step.title) if step else last, self._next, "main", name="next step"),
        )

    def _next(self) -> None:
        if self._next_key is not None:
            self.way.open_step(self.route, self._next_key)
        else:
            is_over = is_handed_over(self.tablet.view(self.route.hull, self.route.job))
            self.way.go(self.route.to("book" if is_over else "hand over"))

    def refill(self) -> None:
        self.screen.redraw()


def _mark_of(line: StepLine) -> Mark:
    asks = line.verdict in (Verdict.FAIL, Verdict.ADVISE)
    return verdict_marks[line.verdict] if asks and line.verdict else state_mark(line.state)


def sign_over_title(view: JobView) -> str:
    """The name of the place where a boat is signed over: it asks for nothing once both have signed."""
    return "Signed over" if is_handed_over(view) else "Sign over"


def missing_rows(
    way: Navigator,
    route: Route,
    missing: Sequence[PunchLine],
    questions: Sequence[PunchLine],
    *,
    is_over: bool = False,
) -> list[Maker]:
    """What is missing, each with the way to it, and what should be looked at again."""
    makers: list[Maker] = [partial(missing_row, way, route, line) for line in missing]
    makers = makers or [
        words(
            "Nothing is missing. The boat is handed over."
            if is_over
            else "Nothing is missing. The boat can be handed over."
        )
    ]
    if questions:
        makers.append(heading("Look at these again"))
        makers += [partial(missing_row, way, route, line) for line in questions]
    return makers


_WHY_MARKS = {"fails": verdict_marks[Verdict.FAIL], "to do": state_mark("to do")}


def missing_row(way: Navigator, route: Route, line: PunchLine) -> RowPress:
    """What it is about, what is wrong, and a press to where it is put right."""
    mark = _WHY_MARKS.get(line.why, verdict_marks[Verdict.ADVISE])
    do = partial(way.go, line.target(route))
    name = f"missing {line.text}"
    if line.why == "to do":
        return RowPress(line.about, do, mark=state_mark(line.text), name=f"missing {line.about}")
    if not line.about:
        return RowPress(line.text, do, small="\n".join(line.details), mark=mark, word=None, name=name)
    about = f"{line.about[:1].upper()}{line.about[1:]}"
    return RowPress(about, do, small="\n".join((line.text, *line.details)), mark=mark, word=None, name=name, lead=True)


class PunchListPage(Page):
    """What has to be put right, as the book and the day sheet list it; a remark is settled with one press."""

    title = "Punch list"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.findings.soon(route)

    def body(self) -> Widget:
        from garboard_tablet.models.pages import punch_lines

        hull, job = self.route.hull, self.route.job
        lines = to_put_right(self.tablet, hull, job, self.findings.of(self.route))
        remarks = punch_lines(self.tablet, hull, job)
        makers: list[Maker] = [partial(missing_row, self.way, self.route, line) for line in lines if not line.subject]
        makers += [partial(self._row, line) for line in remarks if line.settled or line in lines]
        return column_of(makers or [words("Nothing on the list. Press Add to note a fault.", "quiet")])

    def _row(self, line: PunchLine) -> RowPress:
        mark = state_mark("done" if line.settled else "to do")
        word = "put right" if line.settled else "press when put right"
        return RowPress(
            line.text,
            lambda: self._settle(line),
            small=phrase("Noted by {by}", by=line.by or "nobody named"),
            mark=mark,
            word=word,
            name=f"punch {line.text}",
        )

    def _settle(self, line: PunchLine) -> None:
        self.tablet.note(
            self.route.hull, self.route.job, line.text, punch_list=True, subject=line.subject, settled=not line.settled
        )
        self.screen.redraw()

    def refill(self) -> None:
        self.screen.redraw()

    def actions(self) -> Sequence[Press]:
        return (Press("Add", lambda: self.way.go(self.route.to("add punch")), "main", name="add punch"),)


class WordsPage(Page):
    """A page that asks for words. A subclass says what becomes of them."""

    asks = ""
    word = "Save it"
    lines = 1
    longest = 0
    """So many letters are kept; 0 where all are."""

    @property
    def key(self) -> str:
        return "/".join(("words", self.route.page, self.route.hull, self.route.job, *self.route.subject))

    @property
    def text(self) -> str:
        return self.tablet.session.typed.get(self.key, "")

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._box: WordsBox | None = None
        self._writing = bool(self.text) or not self.offers()
        self._refused = ""

    def body(self) -> Widget:
        column = Column()
        column.show([words(self._refused or self.asks, "quiet"), self._words_box if self._writing else self._offers])
        return column

    def _words_box(self) -> WordsBox:
        self._box = WordsBox(self.text, lambda text: self.tablet.session.type(self.key, text), lines=self.lines)
        return self._box

    def _offers(self) -> Across:
        presses = [Press(offer, partial(self._done, offer)) for offer in self.offers()]
        return Across([*presses, Press(OTHER, self._type_other, name="other")], least=230)

    def _type_other(self) -> None:
        self._writing = True
        self.screen.redraw_as_it_is()
        self.begin()

    def begin(self) -> None:
        if self._box is not None:
            self._box.take_focus()

    def offers(self) -> Sequence[str]:
        """Words to take with one press; what is not among them is typed."""
        return ()

    def actions(self) -> Sequence[Press]:
        if not self._writing:
            return ()
        return (Press(self.word, lambda: self._done(self.text.strip()), "main", name="save it"),)

    def _done(self, text: str) -> None:
        if self.longest and len(text) > self.longest:
            self._refused = phrase(
                "These are {count} letters; {longest} can be kept. Say it in fewer.",
                count=len(text),
                longest=self.longest,
            )
            self.screen.redraw_as_it_is()
            self.begin()
        elif text:
            self.take(text)
            self.tablet.session.forget(self.key)  # not before: the disk may refuse the words
            self.tablet.session.save()

    def take(self, text: str) -> None:
        raise NotImplementedError


class AddPunchPage(WordsPage):
    title = "Add to the punch list"
    asks = "What must be put right before hand over?"
    lines = 3

    def take(self, text: str) -> None:
        self.tablet.note(self.route.hull, self.route.job, text, punch_list=True)
        self.way.back()
