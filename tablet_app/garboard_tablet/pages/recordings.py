"""Recordings of a step: what is to be said of a run before it counts, and every run that was kept."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.disk.clock import moment_in_words
from garboard.disk.storage import NotSaved
from garboard.faults import in_words
from garboard.findings import Finding, Verdict, rounded_beside
from garboard.history.runs import FILE, REPLAY, KeptRun
from garboard.records import JsonValue
from garboard.report.palette import Mark
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import Ask
from garboard_tablet.models.pages import WORST_FIRST, about, what
from garboard_tablet.models.runs import PendingRun, Review, ask_for, left_behind, read_pending, recording_asks, value_of
from garboard_tablet.models.session import Route
from garboard_tablet.ui.run_row import RunRow
from garboard_tablet.ui.shell import Halves, Maker, Page, column_of
from garboard_tablet.ui.theme import BIG, DIGITS, HEADING, SMALL
from garboard_tablet.ui.widgets import Apart, Card, Press, RowPress, Txt, heading, state_mark, verdict_marks, words

if TYPE_CHECKING:
    from garboard_tablet.models.run_reviews import RunReviews
    from garboard_tablet.ui.context import Context

log = logging.getLogger("garboard.tablet")

LOOKING = "looking at it"
MOST_FINDINGS = 3
TRACE = 220
"""Height of the trace of the run looked at: with it, what throws the run away is still in sight [dp]."""
SHARE = 0.58
"""Of the width, what the list of runs has."""
LONGEST_WORD = 13
"""Characters of one word that stand on a line of a row."""
_DOUBT = verdict_marks[Verdict.ADVISE]


class RunPage(Page):
    """One run just recorded, or a file: keep it, keep it beside, or throw it away. Nothing is lost by going back."""

    title = "Keep this run?"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.guide = self.live.guide_of(route)
        self.run: PendingRun | None = None
        self.problem = "This run is decided on already."
        try:
            self.run = read_pending(self.tablet.folder, route.subject[0], self.live.unsaved)
        except FileNotFoundError:
            pass
        except OSError as failure:
            self.problem = in_words(failure)
        wanted = route.subject[1:] or (self.run.subject if self.run else ())
        self.ask = ask_for(self.tablet, route, wanted)

    @property
    def review(self) -> Review | str | None:
        if self.run is None or self.ask is None:
            return None
        reviews: RunReviews = self.context.runs
        return reviews.of_pending(self.route, self.ask, self.run, self.guide)

    @property
    def counting(self) -> KeptRun | None:
        """The run in use now."""
        kept = self.tablet.runs(self.route.hull, self.route.job, self.ask) if self.ask else ()
        return next((run for run in kept if run.counts), None)

    def body(self) -> Widget:
        if self.run is None or self.ask is None:
            return column_of([words(self.problem)])
        if self.run.refusal:
            throw = partial(Press, "Throw it away", self._throw_away, "away", name="throw away")
            return column_of([partial(unsaved_card, self.run), lambda: Apart(throw())], most=1)
        found = self.review
        left: list[Maker] = [partial(_summary, found, self.run.origin, _came_from(self.run.origin, self.run.source))]
        now = self.counting
        if now is not None:
            left.append(heading("In use now"))
            left.append(partial(_run_row, self.context.runs.of_kept(self.route, self.ask, now, self.guide), now,
                                self._list))  # fmt: skip
        return Halves(left, [*_drawn(found), *_findings(found)], SHARE)

    def refill(self) -> None:
        self.screen.redraw_as_it_is()

    def actions(self) -> Sequence[Press]:
        if self.run is None or self.ask is None:
            return (Press("Recordings", self._list, "main", name="recordings"),)
        if self.run.refusal:
            return (Press("Save it again", self._save_again, "main", name="save again"),)
        found = self.review
        doubtful = self.run.origin == REPLAY or (isinstance(found, Review) and _is_doubtful(found))
        unread = not isinstance(found, Review)
        default = "throw away" if doubtful or unread else "keep beside" if self.counting else "keep"

        def press(word: str, do: Callable[[], None], name: str) -> Press:
            return Press(word, do, "main" if name == default else "plain", name=name)

        away = press("Throw away", self._throw_away, "throw away")
        beside = press("Keep beside", partial(self._keep, self.tablet.keep_beside), "keep beside")
        keep = press("Use this one", partial(self._keep, self.tablet.let_count), "keep")
        if default == "throw away":
            return (keep, beside, away)
        return (away, keep, beside) if self.counting else (away, beside, keep)

    def _keep(self, keep: Callable[[str, str, Ask, JsonValue], None]) -> None:
        """Keep it in one of the ways there are; the run leaves the disk only then."""
        if self.ask is not None and self.run is not None:
            value = value_of(self.tablet, self.run, self.guide.title if self.guide else "", self.route)
            keep(self.route.hull, self.route.job, self.ask, value)
            self._decided()
            self.way.back_to("step")

    def _save_again(self) -> None:
        """Have the disk take a run it refused; it is decided on as any other then."""
        if self.run is not None:
            try:
                self.live.save_again(self.run.path.name)
            except NotSaved as failure:
                log.error("a recording was not saved: %s", failure, exc_info=failure)
            self.screen.redraw()

    def _throw_away(self) -> None:
        """Out of the way, and in the list of recordings to be brought back. A file stays where it lies.

        A run that only stands in memory, and that the disk still refuses, goes for good.
        """
        if self.ask is None or self.run is None:
            return
        if self.run.origin == FILE:
            self.way.back()
            return
        try:
            if self.run.samples():
                value = value_of(self.tablet, self.run, self.guide.title if self.guide else "", self.route)
                self.tablet.throw_away(self.route.hull, self.route.job, self.ask, value)
        except NotSaved:
            if not self.run.refusal:
                raise
        self._decided()
        self.way.instead(self.route.to("live", *self.route.subject[1:]))

    def _decided(self) -> None:
        if self.run is not None and self.run.origin != FILE:
            self.live.forget(self.run.path)
        self.findings.soon(self.route)

    def _list(self) -> None:
        self.way.go(self.route.to("recordings"))


class RecordingsPage(Page):
    """Every recording of a step: one is in use, any can be chosen again, and one thrown away brought back."""

    title = "Recordings"
    keeps_what_it_knows = True  # what can be undone

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.guide = self.live.guide_of(route)
        step = self.tablet.step(route.step)
        self.title = phrase("Recordings: {title}", title=step.title) if step else self.title
        self._subject = route.subject
        self._undo: Callable[[], None] | None = None
        self._shows_thrown_away = False

    @property
    def asks(self) -> tuple[Ask, ...]:
        return recording_asks(self.tablet, self.route)

    def kept(self, ask: Ask) -> tuple[KeptRun, ...]:
        return self.tablet.runs(self.route.hull, self.route.job, ask)[::-1]

    @property
    def looked_at(self) -> tuple[Ask, KeptRun] | None:
        """The run looked at: the one pressed, else the one in use; one thrown away only where there is no other."""
        here = [(ask, run) for ask in self.asks for run in self.kept(ask)]
        if self._subject:
            *subject, file = self._subject
            named = [(ask, run) for ask, run in here if run.file == file and list(ask.key.subject) == subject]
            return next(iter(named), None)
        return min(here, key=lambda one: (not one[1].counts, one[1].thrown_away), default=None)

    def review(self, ask: Ask, run: KeptRun) -> Review | str | None:
        reviews: RunReviews = self.context.runs
        return reviews.of_kept(self.route, ask, run, self.guide)

    def body(self) -> Widget:
        pending = left_behind(self.tablet.folder, self.route, self.live.unsaved)
        rows: list[Maker] = [partial(self._pending_row, number, path) for number, path in enumerate(pending)]
        looked_at, thrown_away = self.looked_at, list[Maker]()
        for ask in self.asks:
            kept = self.kept(ask)
            if any(not run.thrown_away for run in kept) and len(self.asks) > 1:
                rows.append(heading(", ".join(filter(None, (ask.field.title, ask.context)))))
            for run in kept:
                row = partial(_run_row, self.review(ask, run), run, partial(self._look, ask, run),
                              is_looked_at=looked_at == (ask, run))  # fmt: skip
                (thrown_away if run.thrown_away else rows).append(row)
        if thrown_away and (self._shows_thrown_away or (looked_at is not None and looked_at[1].thrown_away)):
            rows += [heading("Thrown away"), *thrown_away]
        elif thrown_away:
            rows.append(partial(self._thrown_away_row, len(thrown_away)))
        if not rows:
            return column_of([words("None yet. Press New run, or copy one into the tablet's inbox.")])
        if looked_at is None:
            return column_of(rows)
        found, run = self.review(*looked_at), looked_at[1]
        told = ", ".join(filter(None, (run.name, run.by)))
        summary: Maker = partial(_summary, found, run.origin, told, _state(run))
        doubts = [words(text) for text in _doubts(found, run.origin)]  # under the list, its row says the rest
        beside = self._beside(found, *looked_at)
        return Halves(rows, [summary, *beside], SHARE, stacked=[*rows, *doubts, *beside], turns_both=True)

    def _beside(self, found: Review | str | None, ask: Ask, run: KeptRun) -> list[Maker]:
        """Of the run looked at: what it looked like, how to be rid of it, and what it shows."""
        makers = _drawn(found)
        if not run.thrown_away:
            throw = partial(self._throw_away, ask, run)
            makers.append(lambda: Apart(Press("Throw away", throw, "away", name="throw away")))
        return [*makers, *_findings(found)]

    def undo(self) -> Press | None:
        return None if self._undo is None else Press("Undo", self._take_back, name="undo")

    def _pending_row(self, number: int, path: Path) -> RowPress:
        go = partial(self.way.go, self.route.to("run", path.name))
        try:
            when = read_pending(path.parent, path.name, self.live.unsaved).when
        except OSError:  # its own page says why
            when = ""
        small = ". ".join(filter(None, (when, "Keep it, or throw it away.")))
        return RowPress("A run not decided on", go, small=small, mark=_DOUBT, word="decide", name=f"pending {number}")

    def _thrown_away_row(self, count: int) -> RowPress:
        return RowPress(
            phrase("Thrown away: {count}", count=count),
            self._show_thrown_away,
            small="Any can be brought back.",
            word="show",
            name="thrown away",
        )

    def _show_thrown_away(self) -> None:
        self._shows_thrown_away = True
        self.screen.redraw_as_it_is()

    def _look(self, ask: Ask, run: KeptRun) -> None:
        self.way.instead(self.route.to("recordings", *ask.key.subject, run.file))

    def refill(self) -> None:
        self.screen.redraw_as_it_is()

    def actions(self) -> Sequence[Press | None]:
        """New run, the way between in use and kept, and the next thing; each keeps its place."""
        new = Press("New run", self._new, name="new run") if self.guide else None
        if self.looked_at is None:
            return (new,) if new else ()
        ask, run = self.looked_at
        if run.thrown_away:
            return (new, None, Press("Bring it back", partial(self._bring_back, ask, run), "main", name="bring back"))
        if run.counts:
            beside = Press("Keep beside", partial(self._set_aside, ask, run), name="keep beside")
            return (new, beside, None)
        return (new, None, Press("Use this one", partial(self._use, ask, run), "main", name="use this one"))

    def _new(self) -> None:
        self.way.go(self.route.to("live"))

    def _use(self, ask: Ask, run: KeptRun) -> None:
        before = next((one for one in self.kept(ask) if one.counts), None)
        undo = partial(self._beside_again, ask, run) if before is None else partial(self._use_again, ask, before)
        self._use_again(ask, run)
        self._done(ask, run, undo)

    def _set_aside(self, ask: Ask, run: KeptRun) -> None:
        self._beside_again(ask, run)
        self._done(ask, run, partial(self._use_again, ask, run))

    def _bring_back(self, ask: Ask, run: KeptRun) -> None:
        self._beside_again(ask, run)
        self._done(ask, run, partial(self._away_again, ask, run))

    def _throw_away(self, ask: Ask, run: KeptRun) -> None:
        self._away_again(ask, run)
        self._done(ask, run, partial(self._use_again if run.counts else self._beside_again, ask, run))

    def _use_again(self, ask: Ask, run: KeptRun) -> None:
        self.tablet.let_count(self.route.hull, self.route.job, ask, run.value)

    def _beside_again(self, ask: Ask, run: KeptRun) -> None:
        self.tablet.keep_beside(self.route.hull, self.route.job, ask, run.value)

    def _away_again(self, ask: Ask, run: KeptRun) -> None:
        self.tablet.throw_away(self.route.hull, self.route.job, ask, run.value)

    def _done(self, ask: Ask, run: KeptRun, undo: Callable[[], None] | None) -> None:
        """The same run is still looked at, so that what was done to it is seen and can be undone."""
        self._subject, self._undo = (*ask.key.subject, run.file), undo
        self.findings.soon(self.route)
        self.screen.redraw()

    def _take_back(self) -> None:
        """Undo what was pressed last; only once."""
        undo, looked_at = self._undo, self.looked_at
        if undo is not None and looked_at is not None:
            undo()
            self._done(*looked_at, None)


def unsaved_card(run: PendingRun) -> Card:
    """A run that only stands in memory: what is safe, and what to do."""
    count = len(run.in_memory)
    kept = "Its 1 sample is kept" if count == 1 else phrase("All {count} samples are kept", count=count)
    sentence = phrase("The recording is not saved. {kept} while the app is open.", kept=kept)
    return Card(
        Txt(sentence, HEADING),
        Txt("Make room on this tablet, then save it again. Or throw it away and start anew."),
        Txt(run.refusal, SMALL, "quiet"),
        mark=verdict_marks[Verdict.FAIL],
        word="not saved",
    )


def _state(run: KeptRun) -> str:
    return "in use" if run.counts else "thrown away" if run.thrown_away else "kept"


def _came_from(origin: str, source: str) -> str:
    return {
        REPLAY: phrase("Played from {source}", source=source),
        FILE: phrase("The file {source}", source=source),
    }.get(origin, phrase("From {source}", source=source) if source else "")


def _is_doubtful(found: Review) -> bool:
    return found.enough is False or bool(found.doubts)


def _mark(found: Review | str | None, origin: str) -> tuple[Mark, str]:
    """Shape and word of a run: what speaks against it goes before the verdict."""
    if found is None:
        return verdict_marks[Verdict.NOT_ENOUGH_DATA], LOOKING
    if isinstance(found, str):
        return verdict_marks[Verdict.NOT_ENOUGH_DATA], "cannot be read"
    if found.too_short:
        return _DOUBT, "too short"
    if found.enough is False:
        return _DOUBT, what(found.failed) if found.failed else "not as wanted"
    if origin == REPLAY:
        return _DOUBT, "replay"
    if found.doubts:
        return _DOUBT, "doubtful"
    mark = verdict_marks[found.worst or Verdict.NOT_ENOUGH_DATA]
    return mark, mark.word


def _summary(found: Review | str | None, origin: str, source: str, state: str = "") -> Card:
    mark, word = _mark(found, origin)
    texts = [Txt(source, SMALL, "quiet")] if source else []
    if isinstance(found, Review):
        texts.insert(0, Txt(found.reached or found.length, BIG, font_name=DIGITS))
        if told := ", ".join(filter(None, (found.length if found.reached else "", found.when))):
            texts.insert(1, Txt(told))
    elif found:
        texts.insert(0, Txt(found))
    texts += [Txt(text, bold=True) for text in _doubts(found, origin)]
    return Card(*texts, mark=mark, word=", ".join(filter(None, (state, word))))


def _doubts(found: Review | str | None, origin: str) -> list[str]:
    """What speaks against a run, and what to do about it."""
    said = []
    if isinstance(found, Review) and found.too_short:
        said.append(
            phrase("{share} % of what this step needs. Run it again.", share=rounded_beside(100 * found.share, [100]))
        )
    elif isinstance(found, Review) and found.enough is False:
        wrong = what(found.failed).capitalize() if found.failed else "Not as this step needs it"
        said.append(
            phrase(
                "{wrong}. The run is long enough. {seen} Run it again.",
                wrong=wrong,
                seen=" ".join(f"{line}." for line in found.seen),
            )
        )
    if origin == REPLAY:
        said.append("A recording was played, nothing was measured now. Keep it only if it is of this boat.")
    return [*said, *(found.doubts if isinstance(found, Review) else ())]


def _findings(found: Review | str | None) -> list[Maker]:
    if not isinstance(found, Review):
        return []
    ranked = sorted(found.findings, key=lambda finding: WORST_FIRST.index(finding.verdict))
    said: list[Maker] = [partial(_finding, one) for one in ranked[:MOST_FINDINGS]]
    return [heading("What it shows"), *said] if said else []


def _finding(finding: Finding) -> Card:
    return Card(Txt(about(finding), bold=True), Txt(finding.sentence), mark=verdict_marks[finding.verdict])


def _shortened(name: str) -> str:
    """A name in a narrow row: where a word of it is too long to stand on a line, the beginning of it."""
    return name if all(len(word) <= LONGEST_WORD for word in name.split()) else f"{name[: LONGEST_WORD - 1]}…"


def _drawn(found: Review | str | None) -> list[Maker]:
    """What a run looked like."""
    from garboard_tablet.ui.drawing import Plot

    trace = found.trace if isinstance(found, Review) else None
    return [] if trace is None else [partial(Plot, trace.figure(), TRACE, has_legend=False)]


def _run_row(found: Review | str | None, run: KeptRun, do: Callable[[], None], is_looked_at: bool = False) -> RowPress:
    mark, word = _mark(found, run.origin)
    if run.thrown_away:
        mark = state_mark("to do")
    review = found if isinstance(found, Review) else None
    when = (review.when if review else "") or phrase("kept {at}", at=moment_in_words(run.at))
    lines = [", ".join(filter(None, (review.reached, review.length)))] if review else []
    return RunRow(
        when,
        do,
        trace=review.trace if review else None,
        is_looked_at=is_looked_at,
        small="\n".join([*lines, _shortened(run.source or run.name or run.by)]),
        value="" if run.thrown_away else _state(run),
        mark=mark,
        word=word,
        name=f"run {run.file[:8]}",
    )
