"""Hand over: what is missing, who signs for what, and the owner's book."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.disk.clock import clock_mark
from garboard.faults import in_words
from garboard.findings import Verdict
from garboard.records import SignOff
from garboard.steps import Phase, Step
from garboard_tablet.book import book_path, book_state, can_make_book, keep_issued, make_book, put_down
from garboard_tablet.models.covered import CoveredPart, coverage
from garboard_tablet.models.pages import PunchLine, still_to_do, what_is_missing
from garboard_tablet.models.photos import content_of
from garboard_tablet.models.session import Route
from garboard_tablet.pages.job import WordsPage, missing_row
from garboard_tablet.ui.drawing import TableView
from garboard_tablet.ui.inputs import svg_of
from garboard_tablet.ui.shell import Halves, Maker, Page, column_of
from garboard_tablet.ui.theme import HEADING, SMALL
from garboard_tablet.ui.widgets import Card, Column, Press, RowPress, Txt, heading, state_mark, verdict_marks, words

if TYPE_CHECKING:
    from garboard.history.proof import Proof
    from garboard_tablet.ui.context import Context

BOOK = "making the owner's book"


class HandOverPage(Page):
    title = "Sign over"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.findings.soon(route)

    def body(self) -> Widget:
        hull, job = self.route.hull, self.route.job
        view = self.tablet.view(hull, job)
        missing = what_is_missing(self.tablet, hull, job, self.findings.known(self.route))
        left: list[Maker] = [heading("Walk through with the owner")]
        for step in self.tablet.host.steps:
            if step.phase is Phase.HAND_OVER:
                state = view.state_of(step.key)
                left.append(partial(self._step_row, step, state))
        right: list[Maker] = [partial(missing_card, missing, ".")]
        right.append(heading("Signatures"))
        for signed in view.sign_offs:
            right.append(partial(_signed_row, signed))
        if not view.sign_offs:
            right.append(words("Nobody has signed yet.", "quiet"))
        right.append(lambda: RowPress("The owner's book", lambda: self.way.go(self.route.to("book")), name="book"))
        return Halves(left, right)

    def _step_row(self, step: Step, state: str) -> RowPress:
        do = partial(self.way.open_step, self.route, step.key)
        return RowPress(step.title, do, mark=state_mark(state), name=f"step {step.key}")

    def actions(self) -> Sequence[Press]:
        missing = what_is_missing(self.tablet, self.route.hull, self.route.job, self.findings.known(self.route))
        owner = Press("Owner signs", lambda: self._sign("owner"), name="owner signs")
        kind = "plain" if missing else "main"
        technician = Press("Technician signs", lambda: self._sign("technician"), kind, name="technician signs")
        if not missing:
            return (owner, technician)
        see = Press("See what is missing", lambda: self.way.go(self.route.to("missing")), "main", name="missing")
        return (owner, technician, see)

    def _sign(self, role: str) -> None:
        self.way.go(self.route.to("covers", role))

    def refill(self) -> None:
        self.screen.redraw()


class MissingPage(Page):
    title = "What is missing"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.findings.soon(route)

    def refill(self) -> None:
        self.screen.redraw()

    def body(self) -> Widget:
        lines = what_is_missing(self.tablet, self.route.hull, self.route.job, self.findings.known(self.route))
        makers: list[Maker] = [partial(missing_row, self.way, self.route, line) for line in lines]
        return column_of(makers or [words("Nothing is missing.", "quiet")])


def missing_card(missing: Sequence[PunchLine], end: str) -> Card:
    """How much is missing: red where something fails."""
    fails = any(line.why == "fails" for line in missing)
    mark = verdict_marks[Verdict.FAIL if fails else Verdict.ADVISE if missing else Verdict.PASS]
    return Card(Txt(f"{still_to_do(missing)}{end}", HEADING), mark=mark, word="not ready" if missing else "ready")


def _as_now(entries: int) -> str:
    return "1 entry, as it is now" if entries == 1 else f"{entries} entries, as they are now"


def _signed_row(signed: SignOff) -> RowPress:
    return RowPress(
        signed.name,
        lambda: None,
        small=f"{signed.role}, {signed.at[:16].replace('T', ' ')}{clock_mark(signed.at)}",
        mark=state_mark("look again" if signed.stale else "done"),
        word="changed since" if signed.stale else "covers all",
        name=f"signed {signed.role}",
    )


class CoversPage(Page):
    """Exactly what a signature stands for, before anybody signs."""

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.findings.soon(route)

    def refill(self) -> None:
        self.screen.redraw()

    @property
    def role(self) -> str:
        return self.route.subject[0]

    @property
    def title(self) -> str:  # type: ignore[override]
        return f"What the {self.role} signs for"

    def body(self) -> Widget:
        covered = coverage(self.tablet, self.route.hull, self.route.job)
        missing = what_is_missing(self.tablet, self.route.hull, self.route.job, self.findings.known(self.route))
        makers: list[Maker] = []
        if missing:
            them = "it" if len(missing) == 1 else "them"
            makers.append(partial(missing_card, missing, f". The signature does not cover {them}."))
            makers.extend(partial(_open_point, line) for line in missing)
        makers.append(heading(_as_now(covered.count)))
        for part in covered.parts:
            makers.append(heading(part.title))
            makers.append(partial(_part, part))
        column = Column()
        column.show(makers)
        return column

    def actions(self) -> Sequence[Press]:
        go_on = "signing" if self.role == "technician" and self.tablet.settings.working else "signer"
        subject = (self.role, self.tablet.settings.working) if go_on == "signing" else (self.role,)
        return (Press("Sign now", lambda: self.way.instead(self.route.to(go_on, *subject)), "main", name="go on"),)


def _open_point(line: PunchLine) -> Txt:
    parts = (line.text, line.about) if line.why == "to do" else (line.about, line.text)
    point = ": ".join(filter(None, parts))
    return Txt(f"{point[:1].upper()}{point[1:]}", SMALL)


def _part(part: CoveredPart) -> Widget:
    return TableView(part.table)


class SignerPage(WordsPage):
    """Who signs."""

    asks = "Name of the person who signs"

    @property
    def title(self) -> str:  # type: ignore[override]
        return f"The {self.route.subject[0]}'s name"

    def offers(self) -> Sequence[str]:
        owner = self.tablet.view(self.route.hull, self.route.job).job.owner
        if self.route.subject[0] != "owner":
            return self.context.vessels.people()
        return [owner] if owner else []

    def take(self, text: str) -> None:
        self.way.instead(self.route.to("signing", self.route.subject[0], text))


class SigningPage(Page):
    """The signature itself."""

    @property
    def title(self) -> str:  # type: ignore[override]
        return f"{self.route.subject[1]}, sign here"

    @property
    def under(self) -> str:
        return f"As the {self.route.subject[0]}. {super().under}"

    def body(self) -> Widget:
        from garboard_tablet.pages.answers import SigningArea

        return SigningArea(self._signed)

    def _signed(self, strokes: Sequence[Sequence[tuple[float, float]]]) -> None:
        role, name = self.route.subject
        self.tablet.sign(self.route.hull, self.route.job, role, name, svg_of(strokes))
        self.context.vessels.refresh(self.route.hull)
        self.way.back()


class BookPage(Page):
    """The owner's book: made here where the office part is installed, else put down for the shop."""

    title = "The owner's book"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._making = False
        self._problem = ""

    def body(self) -> Widget:
        if self._making:
            return column_of(
                [
                    words(
                        "The tablet is making the book. You can continue working.",
                        "ink",
                        HEADING,
                    )
                ]
            )
        if self._problem:
            return column_of([words(self._problem)])
        state = book_state(self.tablet, self.route.hull, self.route.job)
        return column_of([words(state.sentence, "ink", HEADING), *(words(line, "quiet") for line in state.lines)])

    def actions(self) -> Sequence[Press]:
        if self._making:
            return ()
        word = "Make the book" if can_make_book() else "Have the shop make it"
        return (Press(word, self._make, "main", name="make book"),)

    def _make(self) -> None:
        from garboard.history.proof import proof_of

        hull, job = self.route.hull, self.route.job
        if not can_make_book():
            put_down(self.tablet, hull, job)
            self.screen.redraw()
            return
        self._making, self._problem = True, ""
        self.screen.redraw_as_it_is()
        view, host, path = self.tablet.view(hull, job), self.tablet.host, book_path(self.tablet, hull, job)
        unread = self.tablet.files.unread_of(self.tablet.boat(hull).hulls)
        load = partial(content_of, self.tablet)
        proof = proof_of(self.tablet.boat(hull), job)
        self.context.background.run(
            BOOK,
            lambda: make_book(view, host, path, unread, load, proof),
            lambda book: self._issued(hull, job, book, proof),
            self._failed,
        )

    def _issued(self, hull: str, job: str, book: bytes, proof: Proof) -> None:
        keep_issued(self.tablet, hull, job, book, proof)
        self._made(None)

    def _failed(self, failure: Exception) -> None:
        self._problem = f"Making the book failed: {in_words(failure)}"
        if self.screen.shows(self):
            self._made(None)
        else:
            self.context.background.tell(BOOK, failure)  # the person has gone on meanwhile

    def _made(self, _nothing: None) -> None:
        self._making = False
        if self.screen.shows(self):
            self.screen.redraw_as_it_is()
