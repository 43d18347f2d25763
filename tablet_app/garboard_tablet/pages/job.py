"""A vessel and her job: steps by phase, what is missing, the equipment."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from kivy.uix.widget import Widget

from garboard.findings import Verdict
from garboard.records import EQUIPMENT
from garboard_tablet.models.asks import (
    KIND_TITLES,
)
from garboard_tablet.models.pages import (
    PunchLine,
    StepLine,
    steps_by_phase,
    what_is_missing,
)
from garboard_tablet.ui.inputs import WordsBox
from garboard_tablet.ui.shell import Halves, Maker, Page, column_of
from garboard_tablet.ui.theme import SMALL
from garboard_tablet.ui.widgets import Across, Press, RowPress, heading, state_mark, verdict_marks, words


class JobPage(Page):
    """Steps at the left, what is missing at the right."""

    def __init__(self, app, place) -> None:  # type: ignore[no-untyped-def]
        super().__init__(app, place)
        self.title = app.vessel_name(place.hull)
        app.assess_soon(place)

    @property
    def under(self) -> str:
        record = self.tablet.view(self.place.hull, self.place.job).job
        return f"{self.app.hull_number(self.place.hull)}. {record.kind.capitalize()}, opened {record.opened}."

    def body(self) -> Widget:
        hull, job = self.place.hull, self.place.job
        assessed = self.app.verdicts(self.place)
        left: list[Maker] = []
        for phase, lines in steps_by_phase(self.tablet, hull, job, assessed):
            left.append(heading(phase.value.capitalize()))
            left.extend(partial(self._step_row, line) for line in lines)
        missing = what_is_missing(self.tablet, hull, job, assessed)
        urgent = [line for line in missing if not (line.step and line.text.endswith(("to do", "under way")))]
        right: list[Maker] = [heading("Before hand over")]
        right.append(words(_missing_in_words(missing), "quiet", SMALL))
        right.extend(partial(self._missing_row, line) for line in urgent)
        right.append(heading("Vessel"))
        right.append(
            lambda: RowPress("Equipment", lambda: self.app.go(self.place.to("equipment")), small=self._fitted())
        )
        right.append(lambda: RowPress("Figures and tables", lambda: self.app.go(self.place.to("results", "0"))))
        right.append(lambda: RowPress("Other jobs on her", lambda: self.app.go(self.place.to("vessel jobs"))))
        return Halves(left, right, 0.55)

    def _fitted(self) -> str:
        vessel = self.tablet.view(self.place.hull, self.place.job).vessel
        have = [
            f"{len(getattr(vessel, kind))} {KIND_TITLES[kind].lower()}" for kind in EQUIPMENT if getattr(vessel, kind)
        ]
        return ", ".join(have) or "Nothing entered yet. Begin here."

    def _step_row(self, line: StepLine) -> RowPress:
        mark = verdict_marks[line.verdict] if line.verdict in (Verdict.FAIL, Verdict.ADVISE) else state_mark(line.state)
        word = f"{line.state}: {mark.word}" if mark.word != line.state else line.state
        return RowPress(
            line.step.title,
            lambda: self.app.open_step(self.place, line.step.key),
            small=line.note,
            mark=mark,
            word=word,
            name=f"step {line.step.key}",
        )

    def _missing_row(self, line: PunchLine) -> RowPress:
        mark = verdict_marks[Verdict.FAIL]
        target = self.place.to("step", step=line.step) if line.step else self.place.to("punch list")
        return RowPress(line.text, lambda: self.app.go(target), mark=mark, word=None, name=f"missing {line.text}")

    def actions(self) -> Sequence[Press]:
        return (
            Press("Hand over", lambda: self.app.go(self.place.to("hand over")), name="hand over"),
            Press("Punch list", lambda: self.app.go(self.place.to("punch list")), name="punch list"),
            Press("Next step", self._next, "main", name="next step"),
        )

    def _next(self) -> None:
        step = self.app.next_step(self.place)
        if step is None:
            self.app.go(self.place.to("hand over"))
        else:
            self.app.open_step(self.place, step)

    def refill(self) -> None:
        self.app.redraw()


def _missing_in_words(missing: Sequence[PunchLine]) -> str:
    if not missing:
        return "Nothing is missing. She can be handed over."
    return f"{len(missing)} to put right or to do before she is handed over."


class PunchListPage(Page):
    """Remarks to put right, each settled with one press."""

    title = "Punch list"

    def body(self) -> Widget:
        from garboard_tablet.models.pages import punch_lines

        lines = punch_lines(self.tablet, self.place.hull, self.place.job)
        makers: list[Maker] = [partial(self._row, line) for line in lines]
        return column_of(makers or [words("Nothing on the list. Press Add for what has to be put right.", "quiet")])

    def _row(self, line: PunchLine) -> RowPress:
        mark = state_mark("done" if line.settled else "to do")
        word = "put right" if line.settled else "press when put right"
        return RowPress(line.text, lambda: self._settle(line), small=f"Noted by {line.by or 'nobody named'}", mark=mark,
                        word=word, name=f"punch {line.text}")  # fmt: skip

    def _settle(self, line: PunchLine) -> None:
        self.tablet.note(
            self.place.hull, self.place.job, line.text, punch_list=True, subject=line.subject, settled=not line.settled
        )
        self.app.redraw()

    def actions(self) -> Sequence[Press]:
        return (Press("Add", lambda: self.app.go(self.place.to("add punch")), "main", name="add punch"),)


class WordsPage(Page):
    """A page that asks for words. A subclass says what becomes of them."""

    asks = ""
    lines = 1

    @property
    def key(self) -> str:
        return "/".join(("words", self.place.page, self.place.hull, self.place.job, *self.place.subject))

    @property
    def text(self) -> str:
        return self.tablet.session.typed.get(self.key, "")

    def body(self) -> Widget:
        makers: list[Maker] = [
            words(self.asks, "quiet"),
            lambda: WordsBox(self.text, lambda text: self.tablet.session.type(self.key, text), lines=self.lines),
        ]
        offers = [Press(offer, partial(self._done, offer)) for offer in self.offers()]
        if offers:
            makers.append(lambda: Across(offers, least=230))
        return column_of(makers)

    def offers(self) -> Sequence[str]:
        """Words to take with one press."""
        return ()

    def actions(self) -> Sequence[Press]:
        return (Press("Save it", lambda: self._done(self.text.strip()), "main", name="save it"),)

    def _done(self, text: str) -> None:
        if text:
            self.tablet.session.forget(self.key)
            self.take(text)

    def take(self, text: str) -> None:
        raise NotImplementedError


class AddPunchPage(WordsPage):
    title = "Add to the punch list"
    asks = "What has to be put right before she is handed over?"
    lines = 3

    def take(self, text: str) -> None:
        self.tablet.note(self.place.hull, self.place.job, text, punch_list=True)
        self.app.back()
