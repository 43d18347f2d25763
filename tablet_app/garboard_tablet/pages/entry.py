"""One value: the question, the pad, the next question. Nothing is shown before the last value is on the disk."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.findings import Finding, Verdict
from garboard.records import JsonValue
from garboard.steps import Kind
from garboard.units import UNITS_OF
from garboard_tablet.models.asks import shown
from garboard_tablet.models.entry import NUMBERS, EntryForm, enter
from garboard_tablet.models.keys import ENTER, ERASE, POINT, SIGN
from garboard_tablet.models.pad import ValidationResult, takes_point, takes_sign
from garboard_tablet.models.pages import WORST_FIRST, about
from garboard_tablet.models.runs import kept_in_step
from garboard_tablet.models.session import Route
from garboard_tablet.models.sources import RecordingFile, recordings_in
from garboard_tablet.ui.inputs import SignaturePad, Typed, WordsBox, svg_of
from garboard_tablet.ui.shell import Maker, Page
from garboard_tablet.ui.theme import GAP, HEADING, SMALL, dp
from garboard_tablet.ui.widgets import Across, Card, Choices, Column, Press, RowPress, Txt, verdict_marks, words

MOST_AT_ONCE = 8
BACK_REASONS = ("entered in the wrong place", "mistyped", "not measured after all")
RUN_BACK_REASONS = ("of another boat", "broke off", "not as the step needs it")
COME_FROM = frozenset({"why", "punch list", "missing", "job", "hand over"})
"""From these pages one value is looked at: once it is dealt with, the page is there again."""
MOST_PUT_BACK = 2
"""So many earlier values are offered where one is taken back."""
REASONS = ("read again", "mistyped", "other instrument")


if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard_tablet.ui.context import Context


class EntryPage(Page):
    """Asks for one value."""

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.form = enter(self.tablet, route)
        self._choosing_unit = self._taking_back = False
        self._chosen: JsonValue = None
        step = self.form.step if self.form else None
        self.title = step.title if step else "Equipment"
        self._layout: EntryLayout | None = None
        self._typed: Typed | None = None

    def body(self) -> Widget:
        if self.form is None:
            column = Column()
            column.show([words("This value is no longer needed. Go back.")])
            return column
        self._layout = EntryLayout(self)
        return self._layout

    def refill(self) -> None:
        """Show what has changed, without leaving the page."""
        if self._layout is not None:
            self._layout.rebuild()

    def leave(self) -> None:
        if self.form is not None and self.form.typed == "":
            self.form.leave_as_it_is()

    def keyed(self, key: str) -> bool:
        if self.form is None or not self._shows_number_pad(self.form):
            return False
        field = self.form.field
        if key == ENTER:
            self._next()
        elif key.isdigit() or key == ERASE:
            self._key(key)
        elif key in (POINT, ",") and takes_point(field):
            self._key(POINT)
        elif key == "-" and takes_sign(field):
            self._key(SIGN)
        else:
            return False
        return True

    def _shows_number_pad(self, form: EntryForm) -> bool:
        asks_otherwise = form.is_to_settle or form.result.question or self._taking_back or self._choosing_unit
        return form.field.kind in NUMBERS and not asks_otherwise

    # What stands at the left, or above

    def question(self, form: EntryForm) -> list[Maker]:
        field, ask = form.field, form.ask
        makers: list[Maker] = [lambda: Txt(field.title, HEADING, bold=True)]
        have, total = form.progress()
        where = f"{ask.context} · {have} of {total} entered" if ask.context else f"{have} of {total} entered"
        makers.append(words(where, "quiet", SMALL))
        rivals = " and ".join(shown(value) for value in form.rivals)
        if form.is_to_settle:
            text = f"Two values disagree: {rivals}. Choose the right one."
            makers.append(self._card(Verdict.ADVISE, text, "values disagree"))
            return makers
        if field.kind in NUMBERS:
            makers.append(lambda: self._typed_widget(form))
        if rivals:
            makers.append(self._card(Verdict.ADVISE, f"{rivals} stand. Measure again.", "values disagree"))
            makers += [words(f"{text}: {told}", "quiet", SMALL) for text, told, _ in form.rivals_told]
        if form.result.problem:
            makers.append(self._card(Verdict.FAIL, form.result.problem, "not saved"))
        if form.result.question:
            makers.append(self._card(Verdict.ADVISE, form.result.question, "look again"))
            return makers
        makers.append(lambda: Across(self._aside(form), least=128))
        if form.of_earlier_run:
            makers.append(words(f"{form.of_earlier_run} was said of the earlier run. Say it of this one."))
        if field.help:
            makers.append(words(field.help, "quiet", SMALL))
        if not form.rivals:  # nothing is judged of a value that disagrees
            makers.extend(self._verdicts())
        return makers

    def _typed_widget(self, form: EntryForm) -> Typed:
        self._typed = Typed(form.text, form.unit)
        return self._typed

    def _card(self, verdict: Verdict, text: str, word: str = "") -> Maker:
        return lambda: Card(Txt(text), mark=verdict_marks[verdict], word=word)

    def _verdicts(self) -> list[Maker]:
        if not self.route.step:
            return []
        found = [one.finding for one in self.findings.of(self.route)]
        ranked = sorted(found, key=lambda finding: WORST_FIRST.index(finding.verdict))
        counted = [finding for finding in ranked if finding.verdict is not Verdict.NOT_ENOUGH_DATA]
        return [partial(_verdict_card, finding) for finding in counted[:2]]

    def _aside(self, form: EntryForm) -> list[Press]:
        presses = []
        units = UNITS_OF.get(form.field.quantity, ())
        if form.field.kind is Kind.AMOUNT and len(units) > 1:
            presses.append(Press(f"Unit: {form.unit}", self._ask_unit, name="unit"))
            if form.may_be_always:
                presses.append(Press(f"Always {form.unit} for {form.field.title}", self._always, name="always"))
        repeat = form.repeat
        if repeat is not None and form.saved is None and not form.rivals:
            presses.append(Press(f"Same: {shown(repeat)}", lambda: self._take(repeat), name="same"))
        if form.may_end_table:
            presses.append(Press("No more rows", self._end_table, name="no more rows"))
        if form.rivals:
            presses.append(Press("Leave it to the manager", self._skip, name="skip"))
        elif form.saved is None:
            presses += self._put_backs(form)
            presses.append(Press("Skip", self._skip, name="skip"))
        else:
            if form.may_take_back:
                presses.append(Press("Take it back", self._begin_taking_back, "away", name="take back"))
            presses.append(Press("Leave as it is", self._skip, name="skip"))
        return presses

    def _put_backs(self, form: EntryForm) -> list[Press]:
        earlier = [(f"put back {shown(entry.value)}", entry) for entry in form.stood_before[:MOST_PUT_BACK]]
        return [
            Press(f"{name[:1].upper()}{name[1:]}", partial(self._put_back, entry), name=name) for name, entry in earlier
        ]

    # What stands at the right, or below

    def answer(self, form: EntryForm) -> Widget:
        field = form.field
        if form.is_to_settle:
            return self._settling(form)
        if form.result.question:
            return self._asking_again()
        if self._taking_back:
            fitting = RUN_BACK_REASONS if field.kind is Kind.RECORDING else BACK_REASONS
            reasons = [Press(reason, partial(self._take_back, reason), name=f"back {reason}") for reason in fitting]
            keep = Press("Keep it", self._begin_taking_back, "main", 32, name="keep")
            return Choices([*self._put_backs(form), *reasons, keep])
        if self._choosing_unit:
            units = UNITS_OF[field.quantity]
            return self._presses(
                [Press(u, partial(self._unit, u), size=32, name=f"unit {u}", chosen=u == form.unit) for u in units]
            )
        if field.kind in NUMBERS:
            return self.context.pads.at_work(self._key, self._next, takes_point(field), takes_sign(field))
        if field.kind is Kind.CHOICE:
            return self._presses([self._choice(form, choice, choice) for choice in field.choices])
        if field.kind is Kind.YES_NO:
            return self._presses([self._choice(form, "Yes", True), self._choice(form, "No", False)])
        if field.kind is Kind.SIGNATURE:
            return SigningArea(self._signed)
        if field.kind in (Kind.PHOTO, Kind.RECORDING):
            return self._files(field.kind)
        return WordsArea(form, self._next)

    def _presses(self, presses: Sequence[Press]) -> Widget:
        if len(presses) <= MOST_AT_ONCE:
            return Choices(presses)
        column = Column()
        column.show([partial(Across, presses[i : i + 2], 128) for i in range(0, len(presses), 2)])
        return column

    def _choice(self, form: EntryForm, text: str, value: JsonValue) -> Press:
        press = Press(text, lambda: self._take(value), "plain", 32, name=f"choice {text}", chosen=False)
        if form.saved == value and type(form.saved) is type(value):
            press.chosen = True
            press.paint()
        return press

    def _settling(self, form: EntryForm) -> Widget:
        if self._chosen is None:
            values = [
                Press(f"{text}\n{told}", partial(self._choose, value), "plain", name=f"value {text}")
                for text, told, value in form.rivals_told
            ]
            return self._presses(values)
        reasons = [Press(f"Because: {r}", partial(self._settle, r), name=f"reason {r}") for r in REASONS]
        return self._presses(reasons)

    def _asking_again(self) -> Widget:
        yes = Press("Yes, save it", self._insist, "plain", 32, name="yes, save it")
        again = Press("Type it again", self._again, "main", 32, name="type again")
        return Choices([yes, again])

    def _files(self, kind: Kind) -> Widget:
        folder = self.context.files_come_from
        files = pictures_in(folder) if kind is Kind.PHOTO else recordings_in(folder)
        makers: list[Maker] = [partial(self._file_row, path) for path in files]
        if self.live.guide_of(self.route) and kind is Kind.RECORDING:
            makers.insert(0, lambda: Press("Record now", self._record, "main", name="record now"))
        kept = kept_in_step(self.tablet, self.route) if kind is Kind.RECORDING else 0
        if kept:
            to_list = partial(self.way.go, self.route.to("recordings"))
            makers.insert(0, lambda: Press(f"Recordings: {kept}", to_list, name="recordings"))
        if not files:
            makers.append(words(_HOW_FILES_COME[kind].format(f"{folder.parent.name}/{folder.name}")))
        makers.append(lambda: Press("Look again", self.refill, name="look again"))
        column = Column()
        column.show(makers)
        return column

    def _file_row(self, path: Path) -> RowPress:
        return RowPress(path.name, partial(self._file, path), small=f"{path.stat().st_size:,} bytes")

    # What is done

    def _key(self, key: str) -> None:
        if self.form is None:
            return
        said_something = self.form.result != ValidationResult()
        self.form.press(key)
        if said_something or self._typed is None:
            self.refill()
        else:
            self._typed.say(self.form.text)

    def _next(self) -> None:
        if self.form is None:
            return
        if self.form.try_typed():
            self._onward()
        else:
            self.refill()

    def _take(self, value: JsonValue) -> None:
        if self.form is not None:
            self.form.save(value)
            self._onward()

    def _insist(self) -> None:
        if self.form is not None:
            self.form.insist()
            self._onward()

    def _again(self) -> None:
        if self.form is not None:
            self.form.write("")
            self.form.result = ValidationResult()
            self.refill()

    def _ask_unit(self) -> None:
        self._choosing_unit = not self._choosing_unit
        self.refill()

    def _unit(self, unit: str) -> None:
        if self.form is not None:
            self.form.choose_unit(unit)
        self._ask_unit()

    def _always(self) -> None:
        if self.form is not None:
            self.form.always_this_unit()
            self.refill()

    def _choose(self, value: JsonValue) -> None:
        self._chosen = value
        self.refill()

    def _settle(self, reason: str) -> None:
        if self.form is not None:
            self.form.settle(self._chosen, reason)
            self._onward()

    def _signed(self, strokes: Sequence[Sequence[tuple[float, float]]]) -> None:
        self._take(self.tablet.keep_file(svg_of(strokes), "signature"))

    def _file(self, path: Path) -> None:
        if self.form is not None and RecordingFile(path).is_simulated:
            self.form.result = ValidationResult(problem=f"{path.name} is a simulated run, not a measurement.")
            self.refill()
            return
        if self.form is not None and self.form.field.kind is Kind.RECORDING:
            self.way.go(self.route.to("run", str(path.absolute()), *self.route.subject))
        else:
            self._take(self.tablet.keep_file(path.read_bytes(), path.name))

    def _record(self) -> None:
        self.way.go(self.route.to("live", *self.route.subject))

    def _begin_taking_back(self) -> None:
        self._taking_back = not self._taking_back
        self.refill()

    def _take_back(self, reason: str) -> None:
        if self.form is not None:
            self.form.take_back(reason)
            self._taking_back = False
            self.findings.soon(self.route)
            self.screen.redraw()

    def _put_back(self, entry: Entry) -> None:
        if self.form is not None:
            self.form.put_back(entry)
            self._taking_back = False
            self.findings.soon(self.route)
            self.screen.redraw()

    def _skip(self) -> None:
        if self.form is not None:
            self.form.leave_as_it_is()
            self._onward()

    def _end_table(self) -> None:
        if self.form is not None:
            self._go(self.form.after(ending_table=True))

    def _onward(self) -> None:
        if self.form is not None:
            self._go(self.form.after())

    def _go(self, route: Route | None) -> None:
        self.findings.soon(self.route)
        way = self.tablet.session.way
        if route is None or (len(way) > 1 and way[-2].page in COME_FROM):
            self.way.back()
        else:
            self.way.instead(route)


def _verdict_card(finding: Finding) -> Card:
    return Card(Txt(about(finding), bold=True), Txt(finding.sentence), mark=verdict_marks[finding.verdict])


_HOW_FILES_COME = {
    Kind.PHOTO: "Take the photo with the tablet's camera. Then copy it into the folder {}, by cable or with the "
    "tablet's file manager, and press Look again. Or skip it now: the step stays open for it.",
    Kind.RECORDING: "Copy the recording into the folder {}, by cable, from a stick or with the tablet's file manager, "
    "and press Look again.",
}


PICTURES = frozenset({".jpg", ".jpeg", ".png"})


def pictures_in(folder: Path) -> list[Path]:
    """Files in a folder that are pictures, by name."""
    return [path for path in sorted(folder.glob("*")) if path.suffix.lower() in PICTURES] if folder.is_dir() else []


class EntryLayout(Widget):
    """Question and answer side by side, or one above the other."""

    def __init__(self, page: EntryPage) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._page = page
        self._question = Column()
        self._answer: Widget | None = None
        self.add_widget(self._question)
        self.bind(size=self._place, pos=self._place)
        self.rebuild()

    def rebuild(self) -> None:
        form = self._page.form
        if form is None:
            return
        answer = self._page.answer(form)
        if answer is not self._answer:
            if self._answer is not None:
                self.remove_widget(self._answer)
            self._answer = answer
            if answer.parent is not None:
                answer.parent.remove_widget(answer)
            self.add_widget(answer)
        self._question.show(self._page.question(form))
        self._place()

    def _place(self, *_: object) -> None:
        if self._answer is None or self.width <= 1:
            return
        gap = dp(GAP) * 2
        if self.width > self.height:
            low = self.height < dp(4 * 126 + 3 * GAP)
            wide = min(dp(5 * 126 + 4 * GAP) if low else dp(660), self.width * 0.69)
            self._answer.size, self._answer.pos = (wide, self.height), (self.right - wide, self.y)
            self._question.size = (self.width - wide - gap, self.height)
            self._question.pos = self.pos
        else:
            high = min(dp(4 * 150 + 3 * GAP), self.height * 0.6)
            self._answer.size, self._answer.pos = (self.width, high), self.pos
            self._question.size = (self.width, self.height - high - gap)
            self._question.pos = (self.x, self.y + high + gap)


class WordsArea(Widget):
    """A box for words, with next beneath it; at the top, where the tablet's keyboard does not cover it."""

    def __init__(self, form: EntryForm, onward) -> None:  # type: ignore[no-untyped-def]
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._box = WordsBox(form.text, form.write)
        self._next = Press("Next", onward, "main", 32, name="next")
        self._box.bind(on_text_validate=lambda _box: onward())
        self.add_widget(self._box)
        self.add_widget(self._next)
        self.bind(size=self._place, pos=self._place)

    def _place(self, *_: object) -> None:
        self._box.fit(self.width)
        self._box.pos = (self.x, self.top - self._box.height)
        self._next.fit(min(self.width, dp(300)))
        self._next.pos = (self.right - self._next.width, self._box.y - dp(GAP) - self._next.height)


class SigningArea(Widget):
    """A place to sign, with what to do about it beneath."""

    def __init__(self, done) -> None:  # type: ignore[no-untyped-def]
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._pad = SignaturePad(lambda: None)
        self._wipe = Press("Wipe", self._pad.wipe, name="wipe")
        self._done = Press("Save it", lambda: self._pad.strokes and done(self._pad.strokes), "main", 32, name="next")
        for child in (self._pad, self._wipe, self._done):
            self.add_widget(child)
        self.bind(size=self._place, pos=self._place)

    def _place(self, *_: object) -> None:
        self._done.fit(self.width * 0.55)
        self._wipe.fit(self.width * 0.3)
        self._wipe.height = self._done.height
        self._done.pos = (self.right - self._done.width, self.y)
        self._wipe.pos = (self.x, self.y)
        self._pad.pos = (self.x, self.y + self._done.height + dp(GAP))
        self._pad.size = (self.width, self.height - self._done.height - dp(GAP))
