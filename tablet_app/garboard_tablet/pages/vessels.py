"""The hulls on this tablet, and how a new job begins."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.faults import in_number
from garboard.report.palette import STEP_MARKS
from garboard.verdict import Verdict
from garboard_tablet.language import phrase
from garboard_tablet.models.keys import ENTER, ERASE
from garboard_tablet.models.session import HOME, Route
from garboard_tablet.models.tablet import CLOSED, FAILS, HANDED_OVER, SET_ASIDE
from garboard_tablet.models.vessels import HullCheck, VesselLine, check_hull, whose
from garboard_tablet.ui.boat_row import BoatRow
from garboard_tablet.ui.inputs import LetterPad, Typed, WordsBox
from garboard_tablet.ui.shell import Maker, Page
from garboard_tablet.ui.theme import BODY, GAP, SMALL, dp, theme
from garboard_tablet.ui.widgets import (
    Across,
    Card,
    Column,
    Press,
    RowPress,
    Txt,
    verdict_marks,
    warning_card,
    words,
)

SEARCH = "search vessels"
NEW_HULL = "new hull number"
LONGEST_HULL = 17
MOST_AMISS = 3
"""So many files that are gone or damaged have a card each on the first page."""
READING = "Reading the boats"
FOLDED_FROM = 2
"""So many boats that are handed over in order share a row; one alone would be hidden by it for nothing."""


if TYPE_CHECKING:
    from garboard.report.palette import Mark
    from garboard_tablet.models.files_amiss import FileAmiss
    from garboard_tablet.ui.context import Context


class VesselsPage(Page):
    title = "Vessels"
    keeps_what_it_knows = True  # the list changes while one types what to find in it

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._shows_in_order = False
        self._list = VesselListView(self)

    @property
    def under(self) -> str:
        count = len(self.context.vessels.lines)
        if not count and not self.context.vessels.is_looked_through:
            return READING
        if not self.context.vessels.has_all:
            return READING  # how many there are is not known yet
        gone = sum(one.is_gone for one in self.tablet.amiss)
        here = phrase("{count} on this tablet", count=count) if count or gone else "None on this tablet yet"
        if waiting := self.context.vessels.to_read:
            here = phrase("{here}, {waiting} being read again", here=here, waiting=len(waiting))
        return phrase("{here}, {files} gone", here=here, files=in_number(gone, "file")) if gone else here

    def body(self) -> Widget:
        self._list.refill()
        return self._list

    def corner(self) -> Press:
        return Press("Settings", lambda: self.way.go(HOME.to("settings")), name="settings")

    def begin(self) -> None:
        self._list.find()

    def rows(self) -> list[Maker]:
        found = self.context.vessels.found(self.tablet.session.typed.get(SEARCH, ""))
        made: list[Maker] = []
        if problem := self.context.data_problem:  # boats may be missing from the list: that is said where it is felt
            made = [lambda: Card(Txt(problem), mark=verdict_marks[Verdict.ADVISE], word="look here")]
        made += [partial(warning_card, text) for text in self.context.guest.warnings]
        made += [partial(self._amiss_card, one) for one in self.tablet.amiss[:MOST_AMISS]]
        if more := len(self.tablet.amiss[MOST_AMISS:]):
            made.append(
                words(
                    phrase(
                        "{more_files} lost or damaged. Settings names those that are gone.",
                        more_files=in_number(more, "more file"),
                    )
                )
            )
        made += [partial(_left_out_card, plugin) for plugin in self.tablet.plugins_left_out()]
        made += [partial(_not_here_card, plugin) for plugin in self.tablet.plugins_not_here()]
        return [*made, *self._vessel_rows(found)]

    def _amiss_card(self, one: FileAmiss) -> Card:
        from garboard_tablet.models.files_amiss import what_to_do

        do = what_to_do(self.tablet.folder) if one.returns else ""
        removed = "If you removed it on purpose, say so in Settings." if one.is_gone else ""
        said = " ".join(filter(None, (one.text, do, removed)))
        return Card(Txt(said), mark=verdict_marks[Verdict.ADVISE], word="look here")

    def _vessel_rows(self, found: Sequence[VesselLine]) -> list[Maker]:
        if not self.context.vessels.lines and not self.context.vessels.is_looked_through:
            return [words(READING, "quiet")]
        if not self.context.vessels.lines:
            return [words("Press New job and type the number on the transom.", "quiet")]
        if not found:
            return [words("No vessel matches.", "quiet")]
        in_order = [line for line in found if line.is_in_order]
        if self._shows_in_order or len(in_order) < FOLDED_FROM or self.tablet.session.typed.get(SEARCH, ""):
            return [partial(self._row, line) for line in sorted(found, key=lambda line: line.is_in_order)]
        rest = [partial(self._row, line) for line in found if not line.is_in_order]
        return [*rest, partial(self._in_order_row, in_order)]

    def _in_order_row(self, in_order: Sequence[VesselLine]) -> RowPress:
        mark, said = STEP_MARKS["done"], phrase("{count} handed over, in order", count=len(in_order))
        if waiting := sum(map(self.context.vessels.is_being_read, in_order)):
            said = phrase("{count} handed over, {waiting} being read again", count=len(in_order), waiting=waiting)
            mark = STEP_MARKS["under way"]
        return RowPress(
            said,
            self._show_in_order,
            mark=mark,
            word="show",
            name="in order",
        )

    def _show_in_order(self) -> None:
        self._shows_in_order = True
        self._list.refill()

    def _row(self, line: VesselLine) -> BoatRow:
        number = line.numbers if line.name or line.also else "no name yet"
        return BoatRow(
            line.name or line.hull_number,
            lambda: self._open(line),
            mark=_mark_of(line),
            told=line.worst,
            day=line.day if line.phase not in CLOSED else "",
            is_next=line.what_next,
            small=self._small(line, number),
            key=f"vessel {line.hull}",
        )

    def _small(self, line: VesselLine, number: str) -> str:
        if self.context.vessels.is_being_read(line):
            return phrase("{number}. Being read again. This is how it stood.", number=number)
        return phrase(
            "{number}, {ashore}. Saved {saved_words}.",
            number=number,
            ashore=self.context.marks.word(line),
            saved_words=line.saved_words,
        )

    def _open(self, line: VesselLine) -> None:
        self.way.go_named(Route(page="job" if line.job_meant else "vessel jobs", hull=line.hull, job=line.job_meant))

    def searched(self, text: str) -> None:
        self.tablet.session.type(SEARCH, text)
        self._list.refill()

    def refill(self) -> None:
        self._list.refill()

    def actions(self) -> Sequence[Press]:
        who = Press("Who is working?", lambda: self.way.go(HOME.to("who")), name="who")
        return (
            *(() if self.tablet.settings.working else (who,)),
            Press("Find", self.begin, name="find"),
            Press("Bring ashore", lambda: self.way.go(HOME.to("ashore")), name="ashore"),
            Press("New job", lambda: self.way.go_named(HOME.to("new job")), "main", name="new job"),
        )


def _mark_of(line: VesselLine) -> Mark:
    """The shape before a boat: what it fails by, what is left open of it, or how far its day is."""
    if line.fails_now or line.fails_elsewhere:
        return verdict_marks[Verdict.FAIL]
    if line.left or line.undone:
        return verdict_marks[Verdict.ADVISE]
    if line.phase == SET_ASIDE:
        return STEP_MARKS["not needed"]
    return STEP_MARKS["done" if line.phase == HANDED_OVER else "under way" if line.done else "to do"]


def _left_out_card(plugin: str) -> Card:
    said = phrase(
        "Plugin {plugin} is left out, because the app ended while it ran. Its checks are not judged here.",
        plugin=plugin,
    )
    return Card(Txt(said), mark=verdict_marks[Verdict.ADVISE], word="look here")


def _not_here_card(plugin: str) -> Card:
    said = phrase(
        "Plugin {plugin} is not here whole. Its checks are not judged here. Bring ashore, then start the app again.",
        plugin=plugin,
    )
    return Card(Txt(said), mark=verdict_marks[Verdict.ADVISE], word="look here")


class VesselListView(Widget):
    """The list; over it a box to search with, once it is asked for. The box stays while the list changes."""

    def __init__(self, page: VesselsPage) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._page = page
        text = page.tablet.session.typed.get(SEARCH, "")
        self._box = WordsBox(text, page.searched, hint="Search: any part of number or name")
        self._column = Column(most=2)
        self.add_widget(self._column)
        if text:
            self.add_widget(self._box)
        self.bind(size=self._place, pos=self._place)
        self.refill()

    def refill(self) -> None:
        self._column.show(self._page.rows())

    def find(self) -> None:
        """Show the box, and have what is typed go into it."""
        if self._box.parent is None:
            self.add_widget(self._box)
            self._place()
        self._box.take_focus()

    def _place(self, *_: object) -> None:
        high = self._box.fit(self.width) + dp(GAP) if self._box.parent is not None else 0.0
        self._box.pos = (self.x, self.top - self._box.height)
        self._column.pos = self.pos
        self._column.size = (self.width, self.height - high)


class NewJobPage(Page):
    """The hull number, checked as it is typed."""

    title = "New job: hull number"
    under = "As shown on the transom"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._insisted = False

    @property
    def text(self) -> str:
        return self.tablet.session.typed.get(NEW_HULL, "")

    @property
    def check(self) -> HullCheck:
        return check_hull(self.text, list(self.context.vessels.lines.values()))

    def body(self) -> Widget:
        self._view = NewJobView(self)
        return self._view

    def press(self, key: str) -> None:
        text = self.text[:-1] if key == ERASE else (self.text + key)[:LONGEST_HULL]
        self.take(text)

    def keyed(self, key: str) -> bool:
        if key == ENTER and self.text:
            self._open()
        elif key == ERASE or key in LetterPad.LETTERS or key in LetterPad.DIGITS:
            self.press(key)
        else:
            return False
        return True

    def take(self, text: str) -> None:
        self._insisted = False
        self.tablet.session.type(NEW_HULL, text)
        self._view.rebuild()

    def said(self) -> list[Maker]:
        """What the check found, and what to do about it."""
        check, makers = self.check, []
        makers.append(lambda: Typed(self.text, "", 44))
        if check.known is not None:
            name = check.known.name or check.known.hull_number
            makers.append(
                lambda: Card(Txt(phrase("{name} is already on this tablet. This opens another job for it.", name=name)))
            )
        if self._insisted:
            text = "This number is not well formed. Compare it with the transom."
            makers.append(partial(self._card, Verdict.FAIL, text, "look again"))
            makers.append(lambda: self._presses(check, "It is correct: open it", "plain", self._insist))
            return makers
        if check.reading and not self._view.has_corner:
            makers.append(lambda: self._presses(check, "Open this job", "main", self._open))
        elif check.reading and check.offers:
            takes = [Press(phrase("Take {one}", one=one), partial(self.take, one)) for one in check.offers[:2]]
            makers.append(lambda: Across(takes, least=240))
        if check.reading:
            makers.append(partial(self._card, Verdict.PASS, check.reading, "well formed"))
        if check.lacks:
            makers.append(words(check.lacks, "quiet"))
        for remark in (*check.faults, *check.doubts):
            makers.append(partial(self._card, Verdict.ADVISE, f"{remark[:1].upper()}{remark[1:]}.", "look again"))
        if self.text and not check.reading:
            makers.append(lambda: self._presses(check, "Open anyway", "plain", self._open))
        return makers

    def onward(self) -> Press | None:
        """What is next, for the corner of the keys, once the number is well formed."""
        if not self.check.reading or self._insisted:
            return None
        return Press("Open", self._open, "main", name="open job")

    def _presses(self, check: HullCheck, word: str, kind: str, do: Callable[[], None]) -> Across:
        offers = [Press(phrase("Take {offer}", offer=offer), partial(self.take, offer)) for offer in check.offers[:2]]
        return Across([*offers, Press(word, do, kind, name="open job")], least=240)

    def _card(self, verdict: Verdict, text: str, word: str) -> Card:
        return Card(Txt(text, SMALL if len(text) > 60 else BODY), mark=verdict_marks[verdict], word=word)

    def _open(self) -> None:
        if not self.check.reading:
            self._insisted = bool(self.text)
            self._view.rebuild()
        else:
            self._insist()

    def _insist(self) -> None:
        known = self.check.known
        hull, job = self.tablet.open_job(self.check.text)
        hull = known.hull if known else hull
        self.tablet.session.forget(NEW_HULL)
        self.context.vessels.refresh(hull)
        self.way.instead(Route(page="like" if self._can_begin_like(hull) else "job", hull=hull, job=job))

    def _can_begin_like(self, hull: str) -> bool:
        """Whether nothing is known of the boat yet, and something is there to begin from."""
        from garboard_tablet.models.like import boats_like, templates

        is_new = not any(key.kind == "field" for key in self.tablet.state_of(hull).registers)
        lines = self.context.vessels.lines.values()
        return is_new and bool(boats_like(lines, hull) or templates(self.tablet))


class NewJobView(Widget):
    """What is typed and what is said about it, and the letters."""

    def __init__(self, page: NewJobPage) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._page = page
        self._said = Column()
        self._pad = LetterPad(page.press)
        self.add_widget(self._said)
        self.add_widget(self._pad)
        self.bind(size=self._place, pos=self._place)
        page._view = self
        self.rebuild()

    @property
    def has_corner(self) -> bool:
        """Whether what is next stands among the keys."""
        return self._pad.has_corner

    def rebuild(self) -> None:
        self._said.show(self._page.said())
        self._pad.offer(self._page.onward() if self.has_corner else None)

    def _place(self, *_: object) -> None:
        had = self.has_corner
        self._stand()
        if self.has_corner is not had:
            self.rebuild()

    def _stand(self) -> None:
        gap = dp(GAP) * 2
        if self.width > self.height:
            wide = LetterPad.width_of_whole(self.height) or max(dp(540), self.width * 0.55)
            at_thumb, other = (self.x, self.x + wide + gap) if theme.left else (self.right - wide, self.x)
            self._pad.size, self._pad.pos = (wide, self.height), (at_thumb, self.y)
            self._said.size, self._said.pos = (self.width - wide - gap, self.height), (other, self.y)
        else:
            high = min(self.height * 0.56, dp(660))
            self._pad.size, self._pad.pos = (self.width, high), self.pos
            self._said.size = (self.width, self.height - high - gap)
            self._said.pos = (self.x, self.y + high + gap)


class VesselJobsPage(Page):
    """All jobs on one vessel."""

    title = "Jobs on this vessel"

    def body(self) -> Widget:
        from garboard_tablet.models.vessels import moved_away, told_apart

        jobs = told_apart(self.tablet, self.route.hull)
        rows: list[Maker] = [partial(self._row, job, told) for job, told in reversed(jobs.items())]
        moved = moved_away(self.tablet, self.route.hull)
        rows += [partial(self._moved_row, job, target) for job, target in moved.items()]
        column = Column()
        column.show(rows or [words("No job yet.", "quiet")])
        return column

    def _row(self, job: str, told: str) -> RowPress:
        record = self.tablet.view(self.route.hull, job).job
        fails = self.context.vessels.fails_of(self.route.hull, job)
        return RowPress(
            record.kind.capitalize(),
            lambda: self.way.instead(Route(page="job", hull=self.route.hull, job=job)),
            small=f"{told[:1].upper()}{told[1:]}",
            value=in_number(fails, *FAILS) if fails else "",
            mark=verdict_marks[Verdict.FAIL]
            if fails
            else STEP_MARKS["under way" if job == self.route.job else "to do"],
            word="open now" if job == self.route.job else "open it",
            name=f"job {job}",
        )

    def _moved_row(self, job: str, target: str) -> RowPress:
        return RowPress(
            phrase("Moved to {boat}", boat=whose(self.tablet, Route(page="job", hull=target))),
            lambda: self.way.go_named(Route(page="job", hull=target, job=job)),
            small="It was entered under this number, but belongs to the other vessel.",
            mark=STEP_MARKS["to do"],
            word="open it there",
            name=f"moved {job}",
        )

    def actions(self) -> Sequence[Press]:
        return (Press("New job on this boat", self._new, "main", name="new job here"),)

    def _new(self) -> None:
        hull, job = self.tablet.open_job(self.tablet.state_of(self.route.hull).hull_number)
        self.context.vessels.refresh(hull)
        self.way.instead(Route(page="job", hull=hull, job=job))
