"""One value: the question, the pad, the next question. Nothing is shown before the last value is on the disk."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.findings import Finding, Verdict
from garboard.job_view import FieldKey
from garboard.records import JsonValue
from garboard.steps import Kind
from garboard.units import UNITS_OF, convert
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import Ask, shown, shown_of
from garboard_tablet.models.drafts import draft_of
from garboard_tablet.models.echo import found_of
from garboard_tablet.models.entry import NUMBERS, EntryForm, Rival, enter
from garboard_tablet.models.heard import Offer, choice_key, choose, choose_again
from garboard_tablet.models.keys import ENTER, ERASE, POINT, SIGN
from garboard_tablet.models.limit_bar import LimitScale
from garboard_tablet.models.pad import ValidationResult, takes_point, takes_sign
from garboard_tablet.models.pages import WORST_FIRST, about
from garboard_tablet.models.photos import Prepared, content_of, photo_at, photo_value, photos_showing
from garboard_tablet.models.runs import kept_in_step
from garboard_tablet.models.session import Route
from garboard_tablet.models.sources import RecordingFile, recordings_in
from garboard_tablet.pages.answers import SigningArea, WordsArea, other_press, picks, rivals, rivals_row
from garboard_tablet.pages.bringing import Bringing
from garboard_tablet.pages.codes import ReadingCodes
from garboard_tablet.pages.echoing import EchoingPage
from garboard_tablet.pages.photo import photo_route
from garboard_tablet.ui.inputs import Typed, svg_of
from garboard_tablet.ui.limit_bar import LimitBar
from garboard_tablet.ui.picture import THUMB_SIDE, PhotoGrid, PhotoPress, texture_of
from garboard_tablet.ui.shell import Maker
from garboard_tablet.ui.theme import BIG, BODY, GAP, HEADING, SMALL, TYPED, dp, theme
from garboard_tablet.ui.widgets import (
    Across,
    Card,
    Choices,
    Column,
    Marked,
    Press,
    RowPress,
    Txt,
    act,
    verdict_marks,
    words,
)

LOOK = 0.5
"""What is heard is said anew so often [s]."""
Heard = Offer | tuple[tuple[Ask, Offer], ...]
"""What one touch takes: a value, or all of a row."""
OTHERS = "other instruments"
"""Offers again all that are heard, where one was chosen."""
MOST_AT_ONCE = 8
SHORT = 10
"""Up to so many characters a choice is set large."""
_TYPED_BACK = ("entered in the wrong place", "mistyped", "not measured after all")
_CHOSEN_BACK = ("entered in the wrong place", "pressed by mistake", "not looked at after all")
BACK_REASONS = {
    Kind.CHOICE: _CHOSEN_BACK,
    Kind.YES_NO: _CHOSEN_BACK,
    Kind.PHOTO: ("of another boat", "shows something else", "too dark or blurred"),
    Kind.SIGNATURE: ("signed in the wrong place", "signed by somebody else"),
    Kind.RECORDING: ("of another boat", "broke off", "not as the step needs it"),
}
"""Why what was entered is taken back, by its kind; for what is typed, see above."""
COME_FROM = frozenset({"why", "punch list", "job", "hand over", "aside", "rows", "ashore"})
"""From these pages one value is looked at: once it is dealt with, the page is there again."""
MOST_PUT_BACK = 2
"""So many earlier values are offered where one is taken back."""
REASONS = ("read again", "mistyped", "other instrument")


if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard_tablet.system.files import Got
    from garboard_tablet.ui.context import Context


def _place_of(ask: Ask) -> FieldKey | None:
    """Where a measured value belongs; None for what is entered of the boat itself."""
    return ask.place if ask.key.kind == "measure" else None


class EntryPage(EchoingPage):
    """Asks for one value."""

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.form = enter(self.tablet, route)
        self._choosing_unit = self._changing = self._taking_back = False
        self._left_typed = self.form is not None and bool(draft_of(self.tablet, route.hull, route.job, self.form.ask))
        self._typing = self.form is not None and (not self.form.field.offers or self.form.typed is not None)
        self._chosen: Rival | None = None
        step = self.form.step if self.form else None
        self.title = step.title if step else "Equipment"
        self._layout: EntryLayout | None = None
        self._typed: Typed | None = None
        self._read_to: Txt | None = None
        self._bar: LimitBar | None = None
        self._words: WordsArea | None = None
        self.bringing = Bringing(context, self._keep_picture, self._picture_changed)
        self.codes = ReadingCodes(context, self._codes_came, self._picture_changed)
        self._heard: dict[str, tuple[str, Heard]] = {}
        self._heard_shown: dict[str, Press] = {}
        listens = self.live.network is not None and self.form is not None and self.form.field.heard
        self._looking = context.between_touches.every(LOOK, self._look_at_heard) if listens else None

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
            self.screen.say_saved()

    def begin(self) -> None:
        area = self._layout.answer_area if self._layout is not None else None
        if isinstance(area, WordsArea):
            area.take_focus()

    def leave(self) -> None:
        if self._looking is not None:
            self._looking.cancel()
        form = self.form
        if form is not None and not draft_of(self.tablet, self.route.hull, self.route.job, form.ask):
            form.leave_as_it_is()  # nothing is typed but what is saved

    def keyed(self, key: str) -> bool:
        if self.form is None or not self._shows_number_pad(self.form):
            return False
        field = self.form.field
        if key == ENTER:
            if not self.form.result.question:  # it asks whether the value is right: enter again is no answer
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
        is_changing = self._changing or self._taking_back or self._choosing_unit
        asks_otherwise = form.is_to_settle or is_changing or not self._typing
        return form.field.kind in NUMBERS and not asks_otherwise

    # What stands at the left, or above

    def question(self, form: EntryForm) -> list[Maker]:
        field, ask, kept = form.field, form.ask, self.context.asked.words
        makers: list[Maker] = [lambda: kept("title", field.title, HEADING, "ink", bold=True)]
        have, total = form.progress()
        where = (
            phrase("{context} · {have} of {total} entered", context=ask.context, have=have, total=total)
            if ask.context
            else phrase("{have} of {total} entered", have=have, total=total)
        )
        makers.append(lambda: kept("where", where))
        if form.is_to_settle:
            return [*makers, self._to_settle(form)]
        if form.rivals:  # first: on a tall tablet little stands above the pad
            disagree = verdict_marks[Verdict.ADVISE]
            makers.append(lambda: Marked("The values disagree. Measure again.", disagree))
            makers.append(lambda: rivals_row(form.rivals_told, 32))
        if field.kind in NUMBERS and self._typing:
            makers.extend(self._what_is_typed(form))
        if form.result.problem:
            makers.append(self._card(Verdict.FAIL, form.result.problem, "not saved"))
        if form.result.question:
            makers.append(self._card(Verdict.ADVISE, form.result.question, "look again"))
        makers.extend(self._simulated_words(form))
        if self.codes.said:
            makers.append(words(self.codes.said))
        aside = self._aside(form)
        if aside:
            makers.append(lambda: Across(aside, least=128))
        if not form.rivals and field.kind in NUMBERS and field.plausible and self._typing:
            makers.append(lambda: self._usual_bar(form))
        if form.result.question:
            return makers
        if form.of_earlier_run:
            makers.append(
                words(phrase("{value} was said of the earlier run. Say it of this one.", value=form.of_earlier_run))
            )
        if field.help:
            makers.append(lambda: kept("help", field.help))
        if not form.rivals:  # nothing is judged of a value that disagrees
            makers.extend(self._verdicts(ask))
        return makers

    def _to_settle(self, form: EntryForm) -> Maker:
        both = " and ".join(rival.text for rival in form.rivals_told)
        text = phrase("{both} disagree. Choose the right one.", both=both)
        text = phrase("{text} is right, because:", text=self._chosen.text) if self._chosen else text
        return self._card(Verdict.ADVISE, text, "values disagree")

    def _what_is_typed(self, form: EntryForm) -> Iterator[Maker]:
        yield lambda: self._typed_widget(form)
        if form.read_to:
            yield lambda: self._read_to_words(form)
        if self._left_typed and not form.result.problem and not form.result.question:
            word = self._next_word(form).partition(":")[0]
            yield words(phrase("Typed before, not saved. Press {word} to save it.", word=word), "ink", SMALL)

    def _typed_widget(self, form: EntryForm) -> Typed:
        self._typed = self.context.asked.typed(form.text, form.unit, TYPED if self._is_tall else BIG)
        return self._typed

    def _read_to_words(self, form: EntryForm) -> Txt:
        self._read_to = self.context.asked.words("read to", form.read_to)
        return self._read_to

    @property
    def _is_tall(self) -> bool:
        """Whether the question has room for its largest digits."""
        if self.form is not None and self.form.rivals:
            return False  # they stand in its place
        return self._layout is not None and self._layout.question_height >= dp(540)

    def _usual_bar(self, form: EntryForm) -> LimitBar:
        self._bar = self.context.asked.bar(usual(form), form.unit, "usual")
        return self._bar

    def _card(self, verdict: Verdict, text: str, word: str = "") -> Maker:
        return lambda: Card(Txt(text), mark=verdict_marks[verdict], word=word)

    def _verdicts(self, ask: Ask) -> list[Maker]:
        """What is found of this value, else of the one saved last, else the worst of the step."""
        if not self.route.step:
            return []
        found = [one.finding for one in self.findings.of(self.route)]
        ranked = sorted(found, key=lambda finding: WORST_FIRST.index(finding.verdict))
        counted = [finding for finding in ranked if finding.verdict is not Verdict.NOT_ENOUGH_DATA]
        last = self._echo
        own = found_of(ask, counted) or (found_of(last.ask, counted) if last else []) or counted
        cards: list[Maker] = [partial(_verdict_card, finding) for finding in own[:1]]
        return [*cards, *(partial(self._photo_of, place) for place in self._failed_elsewhere(ask, own[:1]))]

    def _failed_elsewhere(self, ask: Ask, found: Sequence[Finding]) -> list[FieldKey]:
        """The value that failed, where it is another than the page asks for: the one saved last before all others."""
        asked, last = _place_of(ask), _place_of(self._echo.ask) if self._echo is not None else None
        for finding in found:
            places = [place for place in finding.places if place[0] == self.route.step]
            if finding.verdict is Verdict.FAIL and places and asked not in places:
                return [last if last is not None and last in places else places[0]]
        return []

    def _photo_of(self, place: FieldKey) -> Press:
        """What failed is photographed where it is said: Photo above it is of the next value."""
        go = partial(self.way.go, self.route.to("photos", *place[1:]))
        return Press("Photo of what failed", go, name="photos of what failed")

    def _aside(self, form: EntryForm) -> list[Press]:
        if form.result.question:
            return [Press("Yes, save it", self._insist, name="yes, save it")]
        presses, kept = self._heard_presses(form), self.context.presses.at_work
        units = UNITS_OF.get(form.field.quantity, ())
        if form.field.kind is Kind.AMOUNT and len(units) > 1 and self._typing:
            presses.append(kept(phrase("Unit: {unit}", unit=form.unit), self._ask_unit, name="unit"))
            if form.may_be_always:
                presses.append(
                    Press(
                        phrase("Always {unit} for {title}", unit=form.unit, title=form.field.title),
                        self._always,
                        name="always",
                    )
                )
        if form.has_meter and self._typing and form.saved is None and not form.rivals:
            presses.append(self._meter_press())
        if known := form.on_the_model:
            told = ", ".join(shown_of(ask.field, value) for ask, value in known)
            presses.append(
                Press(
                    phrase("As on the model: {told}", told=told),
                    partial(self._take_model, known),
                    name="as on the model",
                )
            )
        repeat = form.repeat
        if repeat is not None and form.saved is None and not form.rivals:
            same = phrase("Same: {value}", value=shown_of(form.field, repeat))
            presses.append(Press(same, lambda: self._take(repeat), name="same"))
        if form.may_end_table:
            presses.append(Press("No more rows", self._end_table, name="no more rows"))
        if form.rivals:
            presses.append(kept("Leave it to the manager", self._skip, name="skip"))
        elif form.saved is None:
            presses += [*self._put_backs(form), *self._photo_press(form), *self.codes.presses(form.ask)]
            presses += [] if self._has_rail(form) else [kept("Skip", self._skip, name="skip")]
        else:
            if self.may_change(form):
                presses.append(kept("Change", self._change, name="change"))
            presses += self._photo_press(form)
            presses += [] if self._has_rail(form) else [kept("Leave as it is", self._skip, name="skip")]
        return presses

    def _photo_press(self, form: EntryForm) -> list[Press]:
        """The way to the photos of this value."""
        if form.ask.key.kind != "measure" or form.field.kind in _FILES_THEMSELVES:
            return []
        route = self.route.to("photos", *form.ask.place[1:])
        count = len(photos_showing(self.tablet, route))
        said = phrase("Photos: {count}", count=count) if count else "Photo"
        return [self.context.presses.at_work(said, partial(self.way.go, route), name="photos")]

    def may_change(self, form: EntryForm) -> bool:
        """Whether something can be done about a value that stands, besides typing another."""
        is_asked = form.result.question or form.is_to_settle
        return not (is_asked or form.rivals) and form.saved is not None and (form.may_take_back or form.has_meter)

    def narrow_change(self) -> Press:
        """The same press where it stands beside another in a narrow column: one word, whole."""
        return Press("Change", self._change, size=SMALL, name="change")

    # What is heard on the boat's network

    def _heard_presses(self, form: EntryForm) -> list[Press]:
        """What is heard now for this value, to take with one touch; and for all of its row."""
        self._heard = self._heard_now(form)
        self._heard_shown = {name: Press(text, partial(self._take_heard, name), name=name)
                             for name, (text, _) in self._heard.items()}  # fmt: skip
        for press in self._heard_shown.values():
            press.is_same = True  # what it says changes as one looks
        return list(self._heard_shown.values())

    def _heard_now(self, form: EntryForm) -> dict[str, tuple[str, Heard]]:
        if form.saved is not None or form.rivals or not self._typing or self.live.network is None:
            return {}
        found: dict[str, tuple[str, Heard]] = {}
        heard = form.heard(self.live.network)
        for one in heard:
            if one.is_simulated:
                continue
            title = "Heard" if len(heard) == 1 else phrase("Heard from {title}", title=one.title)
            name = "heard" if len(heard) == 1 else f"heard {one.choice}"
            found[name] = (f"{title}: {one.text}", one)
        row = form.heard_for_row(self.live.network)
        if len(row) > 1:
            found["heard row"] = (phrase("Take all {count} heard", count=len(row)), row)
        if form.may_choose_again(self.live.network):
            found[OTHERS] = ("Other instruments …", ())
        return found

    def _look_at_heard(self) -> None:
        """Say anew what is heard, where it stands; the page is built anew only when there is another press for it."""
        form = self.form
        if form is None or form.result.question or self._changing or self._taking_back or self._choosing_unit:
            return
        now = self._heard_now(form)
        if now.keys() != self._heard.keys():
            self.refill()
            return
        for name, (text, _) in now.items():
            if self._heard_shown[name].text != text:
                self._heard_shown[name].text = text
        self._heard = now

    def _take_model(self, known: tuple[tuple[Ask, JsonValue], ...]) -> None:
        if self.form is not None:
            self.form.take_model(known)
            self._onward()

    def _take_heard(self, name: str) -> None:
        """Take what the press says."""
        form = self.form
        if form is None or name not in self._heard:
            return
        if name == OTHERS:
            choose_again(self.tablet, self.route.hull, form.ask)
            self.refill()
            return
        what = self._heard[name][1]
        if not isinstance(what, Offer):
            form.take_row(what)
            self._go(form.after_row())
            return
        if name != "heard":  # one of several instruments: it is believed from now on
            choose(self.tablet, self.route.hull, choice_key(form.ask, form.vessel), what.choice)
        if form.take_heard(what):
            self._onward()
        else:
            self.refill()

    def _simulated_words(self, form: EntryForm) -> list[Maker]:
        heard = form.heard(self.live.network) if form.saved is None else ()
        if not any(one.is_simulated for one in heard):
            return []
        return [words("The simulated boat is heard. Nothing of it is taken.", "quiet", SMALL)]

    def _has_rail(self, form: EntryForm) -> bool:
        """Whether what to do next stands where the thumb is, and not beside the question."""
        return self._has_guide(form) or form.field.kind is Kind.PHOTO

    def _has_guide(self, form: EntryForm) -> bool:
        """Whether a guide makes what is asked for: then going on stands beside it."""
        return form.field.kind is Kind.RECORDING and self.live.guide_of(self.route) is not None

    def _meter_press(self) -> Press:
        to_meter = partial(self.way.go, self.route.to("meter", *self.route.subject))
        return self.context.presses.at_work("Meter …", to_meter, name="meter")

    def _put_backs(self, form: EntryForm) -> list[Press]:
        earlier = [(shown(entry.value), entry) for entry in form.stood_before[:MOST_PUT_BACK]]
        return [
            Press(phrase("Put back {value}", value=value), partial(self._put_back, entry), name=f"put back {value}")
            for value, entry in earlier
        ]

    # What stands at the right, or below

    def answer(self, form: EntryForm) -> Widget:
        field = form.field
        if form.is_to_settle:
            return self._settling(form)
        if self._taking_back:
            fitting = BACK_REASONS.get(field.kind, _TYPED_BACK)
            reasons = [Press(reason, partial(self._take_back, reason), name=f"back {reason}") for reason in fitting]
            keep = Press("Keep it", self._begin_taking_back, "main", 32, name="keep")
            return Choices([*self._put_backs(form), *reasons, keep])
        if self._changing:
            return Choices(self._changes(form))
        if self._choosing_unit:
            units = UNITS_OF[field.quantity]
            return self._presses(
                [Press(u, partial(self._unit, u), size=32, name=f"unit {u}", chosen=u == form.unit) for u in units]
            )
        if not self._typing:
            return self._list(form)
        if field.kind in NUMBERS:
            word = "Type it again" if form.result.question else self._next_word(form)
            return self.context.pads.at_work(self._key, self._next, takes_point(field), takes_sign(field), word)
        if field.kind is Kind.CHOICE:
            return self._presses([self._choice(form, shown_of(field, choice), choice) for choice in field.choices])
        if field.kind is Kind.YES_NO:
            return self._presses([self._choice(form, "Yes", True), self._choice(form, "No", False)])
        if field.kind is Kind.SIGNATURE:
            return SigningArea(self._signed)
        if field.kind is Kind.PHOTO:
            return self._photo(form)
        if field.kind is Kind.RECORDING:
            return self._recordings()
        if self.codes.found:
            return self._presses([*map(self._code_press, self.codes.found), other_press(self.codes.forget)])
        if self._words is None:  # kept: made anew when findings come, it would lose the focus while one types
            self._words = WordsArea(form, self._next, self._next_word(form))
        return self._words

    def _code_press(self, text: str) -> Press:
        return Press(text, partial(self._take_code, text), name=f"code {text}")

    def _take_code(self, text: str) -> None:
        """It is saved with the next press, once somebody has compared it with the plate."""
        self.codes.found = ()
        if self.form is not None:
            self.form.write(text)
            self.codes.said = f"Read in the picture: {text}. Compare it with the plate, then go on."
        self._words = None
        self._picture_changed()

    def _codes_came(self, texts: Sequence[str]) -> None:
        """One code is taken as typed; of several the person says which."""
        if len(texts) == 1:
            self._take_code(texts[0])
        else:
            self._words = None
            self._picture_changed()

    def _changes(self, form: EntryForm) -> list[Press]:
        """What can be done about a value that stands, besides typing another; taking back is not beside the digits."""
        presses = [self._meter_press()] if form.has_meter and self._typing else []
        if form.may_take_back:
            take_back = Press("Take it back …", self._begin_taking_back, name="take back")
            presses += [*self._put_backs(form), take_back]
        return [*presses, Press("Keep it", self._change, "main", 32, name="keep it")]

    def _next_word(self, form: EntryForm) -> str:
        """Where Next leads: to the value asked for after this one."""
        following = None if self._comes_from_one else form.following()
        if following is None:
            return "Save"
        other = following.context if following.context != form.ask.context else ""
        return phrase("Next: {what}", what=", ".join(filter(None, (following.field.title, other))))

    def _list(self, form: EntryForm) -> Widget:
        """What is usual, to take with one press; last what is not on the list, to be typed."""
        field, saved = form.field, form.saved
        presses = [self._choice(form, offer.replace(" ", "\u00a0"), offer, large=False) for offer in field.offers]
        typed = shown(saved) if saved is not None and saved not in field.offers else ""
        return picks([*presses, other_press(self._type_other, typed)])

    def _type_other(self) -> None:
        self._typing = True
        self.refill()
        self.begin()

    def _presses(self, presses: Sequence[Press]) -> Widget:
        if len(presses) <= MOST_AT_ONCE:
            return Choices(presses)
        column = Column()
        column.show([partial(Across, presses[i : i + 2], 128) for i in range(0, len(presses), 2)])
        return column

    def _choice(self, form: EntryForm, text: str, value: JsonValue, *, large: bool = True) -> Press:
        size, name = 32 if large and len(text) < SHORT else BODY, text.replace("\u00a0", " ")
        press = Press(text, lambda: self._take(value), "plain", size, name=f"choice {name}", chosen=False)
        if form.saved == value and type(form.saved) is type(value):
            press.chosen = True
            press.paint()
        return press

    def _settling(self, form: EntryForm) -> Widget:
        if self._chosen is None:
            return rivals(form.rivals_told, self._choose)
        reasons = [
            Press(phrase("Because: {reason}", reason=r), partial(self._settle, r), name=f"reason {r}") for r in REASONS
        ]
        return self._presses(reasons)

    def _photo(self, form: EntryForm) -> Widget:
        """The picture that is kept, to press for its arrows; how another comes in; and those that wait."""
        makers: list[Maker] = [*self.bringing.message()]
        photo = photo_at(self.tablet, self.route, form.ask.place)
        if photo is not None:
            texture = texture_of(photo.file, partial(content_of, self.tablet, photo), dp(THUMB_SIDE))
            go = partial(self.way.go, photo_route(self.route, photo.place))
            press = partial(PhotoPress, texture, photo.arrows, "Press it to point at something", go, "the photo")
            makers.append(lambda: PhotoGrid([press]))
        elif self.bringing.has_way_in:
            makers.append(words("No photo yet. Take one, then touch what matters.", "quiet"))
        makers += self.bringing.waiting()
        column = Column()
        column.show(makers)
        return column

    def _keep_picture(self, picture: Prepared) -> None:
        """What comes in belongs to the value of this page, also where the person is on another by now."""
        if self.form is None:
            return
        self.form.save(photo_value(self.tablet, picture))
        self.findings.soon(self.route)
        if self.screen.shows(self):
            self.screen.redraw()

    def _picture_changed(self) -> None:
        if self.screen.shows(self):
            self.refill()

    def _recordings(self) -> Widget:
        folder = self.context.files_come_from
        files = recordings_in(folder)
        makers: list[Maker] = [*self.bringing.message(), *(partial(self._file_row, path) for path in files)]
        kept = kept_in_step(self.tablet, self.route)
        if self.context.files.has_picker:
            makers.insert(0, lambda: Press("Choose a file", self._choose_recording, name="choose file"))
        if kept:
            to_list = partial(self.way.go, self.route.to("recordings"))
            makers.insert(0, lambda: Press(phrase("Recordings: {kept}", kept=kept), to_list, name="recordings"))
        if not files:
            makers.append(words(_HOW_RECORDINGS_COME.format(f"{folder.parent.name}/{folder.name}")))
        makers.append(lambda: Press("Look again", self.refill, name="look again"))
        column = Column()
        column.show(makers)
        return column

    def _file_row(self, path: Path) -> RowPress:
        return RowPress(path.name, partial(self._file, path), small=phrase("{size:,} bytes", size=path.stat().st_size))

    def _choose_recording(self) -> None:
        """Its copy lies in the inbox then, as if somebody had put it there."""
        self.context.files.pick(self.context.files_come_from, self._recording_came)

    def _recording_came(self, got: Got) -> None:
        if got.path is None:
            self.bringing.said = got.why or "No file was chosen. Nothing was changed."
        elif self.screen.shows(self):
            act(partial(self._file, got.path))
            return
        self._picture_changed()

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
            if self._read_to is not None:
                self._read_to.text = self.form.read_to
            if self._bar is not None:
                self._bar.say(usual(self.form))

    def _next(self) -> None:
        if self.form is None:
            return
        if self.form.result.question:
            self._again()
        elif self.form.try_typed():
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

    def _choose(self, rival: Rival) -> None:
        self._chosen = rival
        self.refill()

    def _settle(self, reason: str) -> None:
        if self.form is not None and self._chosen is not None:
            self.form.settle(self._chosen.value, reason)
            self._onward()

    def _signed(self, strokes: Sequence[Sequence[tuple[float, float]]]) -> None:
        self._take(self.tablet.keep_file(svg_of(strokes), "signature"))

    def _file(self, path: Path) -> None:
        if self.form is not None and RecordingFile(path).is_simulated:
            self.form.result = ValidationResult(
                problem=phrase("{name} is a simulated run, not a measurement.", name=path.name)
            )
            self.refill()
            return
        self.way.go(self.route.to("run", str(path.absolute()), *self.route.subject))

    def _record(self) -> None:
        self.way.go(self.route.to("live", *self.route.subject))

    def _change(self) -> None:
        self._changing, self._taking_back = not self._changing, False
        self.refill()

    def _begin_taking_back(self) -> None:
        self._taking_back, self._changing = not self._taking_back, False
        self.refill()

    def _take_back(self, reason: str) -> None:
        if self.form is not None:
            self.form.take_back(reason)
            if self.context.ends.taken_back(self.route, reason):
                self.context.vessels.refresh(self.route.hull)
            self._taking_back = self._changing = False
            self.findings.soon(self.route)
            self.screen.redraw()

    def _put_back(self, entry: Entry) -> None:
        if self.form is not None:
            self.form.put_back(entry)
            self._taking_back = self._changing = False
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

    @property
    def _comes_from_one(self) -> bool:
        """Whether this one value is looked at, from a page that is there again afterwards."""
        way = self.tablet.session.way
        return len(way) > 1 and way[-2].page in COME_FROM

    def _go(self, route: Route | None) -> None:
        ends = self.context.ends
        if route is not None:
            ends.value_entered(self.route)
        elif ends.last_value_entered(self.route, self.findings.known(self.route)):
            self.context.vessels.refresh(self.route.hull)
        self.findings.soon(self.route)
        if route is None or (self._comes_from_one and not self.tablet.filling):
            self.way.back()
        else:
            self.way.instead(route)
            self.screen.begin()

    def actions(self) -> Sequence[Press | None]:
        """A recording is made by the guide, which is reached from the same place on every page that has one."""
        form = self.form
        if form is not None and form.field.kind is Kind.PHOTO and not form.rivals:
            return self._photo_actions(form)
        if form is None or not self._has_guide(form):
            return ()
        guide = Press("Guide me", self._record, name="guide")
        return (guide, Press(self._next_word(form), self._skip, "main", name="skip"))

    def _photo_actions(self, form: EntryForm) -> Sequence[Press | None]:
        """To take the picture; once there is one, to go on."""
        camera = self.context.files.has_camera
        choose = [press for press in self.bringing.presses() if press.name == "choose picture"]
        third = choose[0] if choose and camera else None
        if form.saved is None:
            return (third, Press("Skip", self._skip, name="skip"), self.bringing.main())
        again = self.bringing.main()
        again.kind = "plain"
        again.bold = False
        again.paint()
        word = self._next_word(form).replace("Save", "Done")  # it is saved already
        return (third, again, Press(word, self._skip, "main", name="skip"))


def usual(form: EntryForm) -> LimitScale:
    """What is typed, against what is usual, in the unit chosen."""
    field = form.field
    low, high = field.plausible or (0.0, 1.0)
    try:
        value = float(form.text)
    except ValueError:
        value = None
    if form.unit != field.unit and form.unit in UNITS_OF.get(field.quantity, ()):
        low, high = (convert(end, field.unit, form.unit) for end in (low, high))
    return LimitScale(low=low, high=high, value=value)


def _verdict_card(finding: Finding) -> Card:
    return Card(Txt(about(finding), bold=True), Txt(finding.sentence), mark=verdict_marks[finding.verdict])


_HOW_RECORDINGS_COME = (
    "Copy the recording into the folder {}, by cable, from a stick or with the tablet's file manager, and press Look "
    "again."
)
_FILES_THEMSELVES = (Kind.PHOTO, Kind.RECORDING, Kind.SIGNATURE)


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

    @property
    def answer_area(self) -> Widget | None:
        return self._answer

    @property
    def question_height(self) -> float:
        """The room for the question."""
        return float(self._question.height)

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
        self._question.at_once = self._page.narrow_change if self._page.may_change(form) else None
        self._question.show(self._page.question(form))
        self._place()

    def _place(self, *_: object) -> None:
        if self._answer is None or self.width <= 1:
            return
        gap = dp(GAP) * 2
        if self.width > self.height:
            low = self.height < dp(4 * 126 + 3 * GAP)
            wide = min(dp(5 * 126 + 4 * GAP) if low else dp(660), self.width * 0.69)
            at_thumb, other = (self.x, self.x + wide + gap) if theme.left else (self.right - wide, self.x)
            self._answer.size, self._answer.pos = (wide, self.height), (at_thumb, self.y)
            self._question.size, self._question.pos = (self.width - wide - gap, self.height), (other, self.y)
        else:
            high = min(dp(4 * 132 + 3 * GAP), self.height * 0.6)
            self._answer.size, self._answer.pos = (self.width, high), self.pos
            self._question.size = (self.width, self.height - high - gap)
            self._question.pos = (self.x, self.y + high + gap)
