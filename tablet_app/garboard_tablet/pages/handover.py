"""Hand over: what is missing, who signs for what, and the owner's book."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.disk.clock import moment_in_words
from garboard.faults import in_number, in_words
from garboard.findings import Verdict
from garboard.records import SIGN_AT_HAND_OVER, SignOff
from garboard.report.handed_over import handed_over_in_words
from garboard.report.outline import is_handed_over
from garboard.steps import Phase, Step
from garboard_tablet.book import book_path, book_state, can_make_book, keep_issued, make_book, put_down
from garboard_tablet.language import phrase
from garboard_tablet.models.covered import CoveredPart, coverage
from garboard_tablet.models.pages import NOT_ASSESSED, PunchLine, aside_of, still_to_do, what_is_missing
from garboard_tablet.models.photos import content_of
from garboard_tablet.models.session import Route
from garboard_tablet.pages.job import WordsPage, missing_row, sign_over_title
from garboard_tablet.ui.drawing import TableView
from garboard_tablet.ui.inputs import svg_of
from garboard_tablet.ui.shell import Halves, Maker, Page, column_of
from garboard_tablet.ui.theme import BIG, HEADING, SMALL
from garboard_tablet.ui.widgets import Card, Press, RowPress, Txt, heading, state_mark, verdict_marks, words

if TYPE_CHECKING:
    from garboard.history.proof import Proof
    from garboard.job_view import JobView
    from garboard_tablet.ui.context import Context

BOOK = "making the owner's book"
ROLES = SIGN_AT_HAND_OVER
"""Who signs, in this order."""
MOST_NAMED = 4
"""So many open points are named over the place to sign."""


class HandOverPage(Page):
    """Whether the boat is ready, what is open, and who has signed."""

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.title = sign_over_title(self._view)
        self.findings.soon(route)
        self._missing = what_is_missing(self.tablet, route.hull, route.job, self.findings.known(route))
        self._signed = {one.role for one in self._view.sign_offs if not one.stale}

    @property
    def _view(self) -> JobView:
        return self.tablet.view(self.route.hull, self.route.job)

    def body(self) -> Widget:
        is_over = is_handed_over(self._view) and NOT_ASSESSED not in self._missing
        state: Maker = partial(handed_over_card if is_over else ready_card, self._missing)
        points: list[Maker] = [partial(missing_row, self.way, self.route, line) for line in self._missing]
        signatures: list[Maker] = [heading("Signatures"), *map(self._signature, ROLES)]
        signatures += [partial(_signed_row, one) for one in self._view.sign_offs if one.role not in ROLES]
        walk: list[Maker] = [heading(Phase.HAND_OVER.value.capitalize())]
        for step in self.tablet.host.steps:
            if step.phase is Phase.HAND_OVER:
                walk.append(partial(self._step_row, step, self._view.state_of(step.key)))
        to_book = partial(self.way.go, self.route.to("book"))
        book: Maker = partial(RowPress, "The owner's book", to_book, name="book")
        left, right = (
            ([state, *points], [*signatures, book, *walk]) if points else ([state, *walk], [*signatures, book])
        )
        return Halves(left, right, 0.6, stacked=[state, *signatures, book, *points, *walk], turns_both=True)

    def _signature(self, role: str) -> Maker:
        """How a role's signature stands; the latest where it signed again."""
        signed = [one for one in self._view.sign_offs if one.role == role]
        if signed:
            return partial(_signed_row, signed[-1])
        return partial(RowPress, role.capitalize(), partial(self._sign, role), mark=state_mark("to do"),
                       word="not signed", name=f"unsigned {role}")  # fmt: skip

    def _step_row(self, step: Step, state: str) -> RowPress:
        do = partial(self.way.open_step, self.route, step.key)
        return RowPress(step.title, do, mark=state_mark(state), name=f"step {step.key}")

    def actions(self) -> Sequence[Press]:
        first, then = ROLES if ROLES[0] not in self._signed else ROLES[::-1]
        if self._missing:
            line = self._missing[0]
            onward = Press("Next open point", partial(self.way.go, line.target(self.route)), "main", name="open point")
            return (self._signs(then), self._signs(first), onward)
        if is_handed_over(self._view):
            book = Press("The owner's book", partial(self.way.go, self.route.to("book")), "main", name="to the book")
            return (self._signs(then), self._signs(first), book)
        return (self._signs(then), self._signs(first, "main"))

    def _signs(self, role: str, kind: str = "plain") -> Press:
        with_open = f", {len(self._missing)} open" if self._missing else ""
        return Press(
            phrase("{role} signs{with_open}", role=role.capitalize(), with_open=with_open),
            partial(self._sign, role),
            kind,
            name=f"{role} signs",
        )

    def _sign(self, role: str) -> None:
        self.way.go(self.route.to("covers", role))

    def refill(self) -> None:
        self.screen.redraw()


def ready_card(missing: Sequence[PunchLine]) -> Card:
    """Whether the boat can be handed over, or was, in the largest words of the page."""
    fails = sum(line.why == "fails" for line in missing)
    verdict = Verdict.FAIL if fails else Verdict.ADVISE if missing else Verdict.PASS
    said = (
        ", ".join(filter(None, (f"{fails} fail" if fails else "", f"{len(missing) - fails} to do"))) if missing else ""
    )
    text = Txt(said or "Ready", BIG, bold=True)
    why = Txt("Nothing is missing." if not missing else "A signature does not cover what is open.", SMALL, "quiet")
    return Card(text, why, mark=verdict_marks[verdict], word="not ready" if missing else "ready", edge=2.2)


def handed_over_card(missing: Sequence[PunchLine]) -> Card:
    """That the boat is handed over, and with how many points open."""
    points = [line for line in missing if line.why != "to do"]
    fails = any(line.why == "fails" for line in points)
    verdict = Verdict.FAIL if fails else Verdict.ADVISE if missing else Verdict.PASS
    text = Txt(handed_over_in_words(len(points)).capitalize(), BIG, bold=True)
    undone = phrase("{steps} still to do.", steps=in_number(len(missing) - len(points), "step"))
    why = Txt(undone if len(points) < len(missing) else "Technician and owner have signed.", SMALL, "quiet")
    return Card(text, why, mark=verdict_marks[verdict], word="handed over", edge=2.2)


def missing_card(missing: Sequence[PunchLine], end: str) -> Card:
    """How much is missing: red where something fails."""
    fails = any(line.why == "fails" for line in missing)
    mark = verdict_marks[Verdict.FAIL if fails else Verdict.ADVISE if missing else Verdict.PASS]
    return Card(Txt(f"{still_to_do(missing)}{end}", HEADING), mark=mark, word="not ready" if missing else "ready")


def _open_in_words(missing: Sequence[PunchLine]) -> str:
    """What is open, by its name as far as there is room for it.

    >>> _open_in_words([PunchLine(text="to do", about="Horn", why="to do"), PunchLine(text="Leaks", why="noted")])
    '2 points are open, and not covered: Horn, Leaks.'
    """
    if not missing:
        return "Nothing is open."
    names = [*dict.fromkeys(line.about or line.text.rstrip(".") for line in missing)]
    more = f" and {len(missing) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    are = "point is" if len(missing) == 1 else "points are"
    return f"{len(missing)} {are} open, and not covered: {', '.join(names[:MOST_NAMED])}{more}."


def _as_now(entries: int) -> str:
    return "1 entry, as it is now" if entries == 1 else phrase("{entries} entries, as they are now", entries=entries)


def _signed_row(signed: SignOff) -> RowPress:
    return RowPress(
        signed.name,
        lambda: None,
        small=f"{signed.role}, {moment_in_words(signed.at)}",
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
        return phrase("What the {role} signs for", role=self.role)

    @property
    def _part(self) -> int | None:
        """Which part is looked at by itself, with all its values."""
        return int(self.route.subject[1]) if len(self.route.subject) > 1 else None

    def body(self) -> Widget:
        covered = coverage(self.tablet, self.route.hull, self.route.job)
        if self._part is not None:
            shown = covered.parts[self._part : self._part + 1]
            return column_of(
                [
                    one
                    for part in shown
                    for one in (
                        heading(": ".join(filter(None, (part.title, part.whose)))),
                        partial(TableView, part.table),
                    )
                ],
                1,
            )
        missing = what_is_missing(self.tablet, self.route.hull, self.route.job, self.findings.known(self.route))
        left: list[Maker] = []
        if missing:
            them = "it" if len(missing) == 1 else "them"
            left.append(partial(missing_card, missing, phrase(". The signature does not cover {them}.", them=them)))
            left.extend(partial(_open_point, line) for line in missing)
        right: list[Maker] = [heading(_as_now(covered.count))]
        right += [partial(self._part_row, number, part) for number, part in enumerate(covered.parts)]
        return column_of([*left, *right])  # in one flow: beside few open points the many parts would leave half bare

    def _part_row(self, number: int, part: CoveredPart) -> RowPress:
        values = sum(bool(cell) for row in part.table.rows for cell in row[1:])
        told = f"{in_number(len(part.table.rows), 'row')}, {in_number(values, 'value')}"
        go = partial(self.way.go, self.route.to("covers", self.role, str(number)))
        return RowPress(part.title, go, value=told, small=part.whose, name=f"part {number}")

    def actions(self) -> Sequence[Press]:
        if self._part is not None:
            return (Press("Back to all of it", self.way.back, "main", name="all of it"),)
        go_on = "signing" if self.role == "technician" and self.tablet.settings.working else "signer"
        subject = (self.role, self.tablet.settings.working) if go_on == "signing" else (self.role,)
        return (Press("Sign now", lambda: self.way.instead(self.route.to(go_on, *subject)), "main", name="go on"),)


def _open_point(line: PunchLine) -> Txt:
    parts = (line.text, line.about) if line.why == "to do" else (line.about, line.text)
    point = ": ".join(filter(None, parts))
    return Txt(f"{point[:1].upper()}{point[1:]}", SMALL)


class SignerPage(WordsPage):
    """Who signs."""

    asks = "Name of the person who signs"

    @property
    def title(self) -> str:  # type: ignore[override]
        return phrase("The {role}'s name", role=self.route.subject[0])

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
        return phrase("{name}, sign here", name=self.route.subject[1])

    @property
    def under(self) -> str:
        return phrase("As the {role}. {under}", role=self.route.subject[0], under=super().under)

    def body(self) -> Widget:
        from garboard_tablet.pages.answers import SigningArea

        return SigningArea(self._signed, self._sentence())

    def _sentence(self) -> str:
        """What the signature says; it stays in sight while it is written."""
        hull, job = self.route.hull, self.route.job
        count = coverage(self.tablet, hull, job).count
        said = "You received this boat" if self.route.subject[0] == "owner" else "You did this work"
        missing = what_is_missing(self.tablet, hull, job, self.findings.known(self.route))
        return f"{said}: {_as_now(count)}. {_open_in_words(missing)}"

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
        proof, aside = proof_of(self.tablet.boat(hull), job), aside_of(self.tablet, hull, job)
        self.context.background.run(
            BOOK,
            lambda: make_book(view, host, path, unread, load, proof, aside),
            lambda book: self._issued(hull, job, book, proof),
            self._failed,
        )

    def _issued(self, hull: str, job: str, book: bytes, proof: Proof) -> None:
        keep_issued(self.tablet, hull, job, book, proof)
        self._made(None)

    def _failed(self, failure: Exception) -> None:
        self._problem = phrase("Making the book failed: {reason}", reason=in_words(failure))
        if self.screen.shows(self):
            self._made(None)
        else:
            self.context.background.tell(BOOK, failure)  # the person has gone on meanwhile

    def _made(self, _nothing: None) -> None:
        self._making = False
        if self.screen.shows(self):
            self.screen.redraw_as_it_is()
