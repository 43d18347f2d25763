"""Photos of a step, and one photo with its arrows: "this clamp"."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kivy.uix.widget import Widget

from garboard.faults import GarboardError, in_words
from garboard.job_view import FieldKey
from garboard.report.photos import LONGEST_WORD, Photo, arrows_in_words, is_picture
from garboard_tablet.models.coming import coming_folder, drop_copy
from garboard_tablet.models.photos import (
    Prepared,
    attach_file,
    attach_picture,
    caption,
    content_of,
    files_of_step,
    is_picture_file,
    photo_at,
    when,
)
from garboard_tablet.models.session import Route
from garboard_tablet.pages.bringing import Bringing
from garboard_tablet.pages.job import OTHER, WordsPage
from garboard_tablet.system.files import Got
from garboard_tablet.ui.picture import THUMB_SIDE, PhotoGrid, PhotoPress, PhotoView, texture_of
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.theme import GAP, HEADING, SMALL, TARGET, dp, theme
from garboard_tablet.ui.widgets import Across, Choices, Column, Press, RowPress, Txt, act, words

if TYPE_CHECKING:
    from garboard_tablet.models.photos import Pointing
    from garboard_tablet.ui.context import Context

AT_ONCE = 12
"""So many pictures are read at once: whole rows of three and of four, about a page of them."""
LARGE_SIDE = 1024
"""So large a picture is read for a page of its own [dp]."""
WORDS_FOR_ARROWS = (
    *("loose", "chafed", "corroded", "cracked", "bent", "leaks"),
    *("burnt", "no label", "wrong size", "missing", "this is right"),
)
_NOT_HERE = "The picture is not on this tablet. It comes when the shop sends it."
_UNREAD = "The picture cannot be read. Take another one."
BACK_REASONS = ("of another boat", "shows something else", "too dark or blurred")


class PhotosPage(Page):
    """Everything kept with a step as a picture or a file; first what shows the value one comes from."""

    title = "Photos"
    keeps_what_it_knows = True

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.bringing = Bringing(context, self._keep, self.refill)
        step = self.tablet.step(route.step)
        self._step_title = step.title if step else route.step

    @property
    def under(self) -> str:
        return f"{self._step_title}. {super().under}"

    def body(self) -> Widget:
        found = files_of_step(self.tablet, self.route)
        pictures = [photo for photo in found if is_picture(photo)]
        makers: list[Maker] = [*self.bringing.message()]
        makers += [partial(self._grid, pictures[at : at + AT_ONCE]) for at in range(0, len(pictures), AT_ONCE)]
        makers += [partial(self._file_row, photo) for photo in found if not is_picture(photo)]
        if not found:
            makers.append(lambda: Txt("No photo yet. Take one of what you see, then touch what matters.", HEADING))
        return column_of([*makers, *self.bringing.waiting()], most=1)

    def _grid(self, photos: Sequence[Photo]) -> PhotoGrid:
        return PhotoGrid([partial(self._picture, photo) for photo in photos])

    def _picture(self, photo: Photo) -> PhotoPress:
        texture = texture_of(photo.file, partial(content_of, self.tablet, photo), dp(THUMB_SIDE))
        pointed = arrows_in_words(photo) if any(arrow.word for arrow in photo.arrows) else ""
        text = ": ".join(filter(None, (caption(self.tablet, self.route, photo), pointed)))
        return PhotoPress(texture, photo.arrows, text, partial(self._open, photo.place), name=f"photo {photo.name}")

    def _file_row(self, photo: Photo) -> RowPress:
        small = f"{photo.by}, {when(photo)}"
        return RowPress(photo.name, partial(self._open, photo.place), small=small, name=f"file {photo.name}")

    def _open(self, place: FieldKey) -> None:
        self.way.go(photo_route(self.route, place))

    def actions(self) -> Sequence[Press | None]:
        other = None
        if self.context.files.has_picker:
            other = Press("Other file …", self._choose_file, name="other file")
        presses = [press for press in self.bringing.presses() if press.name == "choose picture"]
        choose = presses[0] if presses and self.context.files.has_camera else None
        return (other, choose, self.bringing.main())

    def _choose_file(self) -> None:
        self.context.files.pick(coming_folder(self.tablet), self._file_came)

    def _file_came(self, got: Got) -> None:
        """A picture is kept as a picture; any other file as it is."""
        if got.path is None:
            self.bringing.came(got)
        elif is_picture_file(got.path):
            self.bringing.use(got.path, is_copy=True)
        else:
            act(partial(self._attach_file, got.path))

    def _attach_file(self, path: Path) -> None:
        try:
            attach_file(self.tablet, self.route, path)
        except GarboardError as refused:
            self.bringing.said = in_words(refused)
            raise
        finally:  # no page offers it, and the person has it elsewhere
            drop_copy(self.tablet, path)
        self.refill()

    def _keep(self, picture: Prepared) -> None:
        place = attach_picture(self.tablet, self.route, picture)
        self.context.vessels.refresh(self.route.hull)
        if self.screen.shows(self):
            self._open(place)

    def refill(self) -> None:
        if self.screen.shows(self):
            self.screen.redraw_as_it_is()


def photo_route(route: Route, place: FieldKey, in_hand: int | None = None) -> Route:
    """The page of a photo.

    in_hand : number of the arrow that a touch moves
    """
    return route.to("photo", *place[1:], *(() if in_hand is None else (str(in_hand),)))


class PhotoPage(Page):
    """One photo. A touch sets an arrow; each change is saved at once."""

    keeps_what_it_knows = True

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self.place: FieldKey = (route.step, *_three(route.subject))
        self.pointing = context.pointed.at(route, self.place)
        if len(route.subject) > 3 and route.subject[3].lstrip("-").isdigit():
            self.pointing.in_hand = int(route.subject[3])
        self.bringing = Bringing(context, self._keep, self.refill)
        self._view: PhotoView | None = None

    @property
    def _photo(self) -> Photo | None:
        return photo_at(self.tablet, self.route, self.place)

    @property
    def title(self) -> str:  # type: ignore[override]  # it follows what is shown
        photo = self._photo
        return caption(self.tablet, self.route, photo) if photo is not None else "Photo"

    @property
    def under(self) -> str:
        photo = self._photo
        return ". ".join(filter(None, (when(photo) if photo is not None else "", super().under)))

    def undo(self) -> Press | None:
        return Press("Undo", self._undo, name="undo") if self.pointing.can_undo else None

    def body(self) -> Widget:
        photo = self._photo
        if photo is None:
            return column_of([words("This photo is not here any more. Go back.")])
        if not is_picture(photo):
            return column_of(
                [lambda: Txt(photo.name, HEADING), words("This file is no picture. The shop can open it.")]
            )
        texture = texture_of(photo.file, partial(content_of, self.tablet, photo), dp(LARGE_SIDE))
        without = _UNREAD if photo.file in self.tablet.files.attachments else _NOT_HERE
        self._view = PhotoView(texture, photo.arrows, self.pointing.in_hand, without)
        self._view.aside = 1.0 if theme.left else 0.0
        self.pointing.aspect = self._view.aspect
        is_seen = texture is not None
        return PhotoBody(self._view, self.touched, self._side(is_seen=is_seen), self._moves() if is_seen else ())

    def _side(self, *, is_seen: bool) -> Column:
        """What the arrows point at, and what a touch of the picture does next."""
        arrows = self.pointing.arrows
        makers: list[Maker] = [*self.bringing.message()]
        makers += [partial(self._arrow_row, number, arrow.word) for number, arrow in enumerate(arrows)]
        if is_seen and not arrows:
            makers.append(words("Touch what matters: an arrow points at it."))
        elif is_seen and self.pointing.in_hand < 0:
            makers.append(words("Touch what the next arrow points at."))
        column = Column()
        column.show(makers)
        return column

    def _arrow_row(self, number: int, word: str) -> Across:
        press = Press(f"{number + 1} {word or 'what?'}", partial(self._take_in_hand, number), size=SMALL,
                      name=f"arrow {number + 1}")  # fmt: skip
        press.chosen = number == self.pointing.in_hand
        press.paint()
        return _slot(press)

    def _moves(self) -> list[Press]:
        """What moves the arrow in hand; nothing where there is none."""
        if self.pointing.arrow is None:
            return []
        ways = {"Left": (-1, 0), "Right": (1, 0), "Up": (0, -1), "Down": (0, 1)}
        presses = [
            Press(way, partial(self._nudge, *by), size=SMALL, name=f"nudge {way.lower()}") for way, by in ways.items()
        ]
        presses.append(Press("Turn", self._turn, size=SMALL, name="turn"))
        for press in presses:
            press.goes_on()
        if self.pointing.may_add:
            presses.append(Press("One more", self._one_more, size=SMALL, name="one more"))
        return presses

    def actions(self) -> Sequence[Press | None]:
        if self._photo is None:
            return ()
        to_back = partial(self.way.go, self.route.to("photo back", *self.place[1:]))
        change = Press("Take back …", to_back, name="take back")
        named = Press("Words …", self._words, name="words") if self.pointing.arrow is not None else None
        return (change, named, self.bringing.main() if self.bringing.has_way_in else self._done())

    def _done(self) -> Press:
        return Press("Done", self.way.back, "main", name="done")

    # What is done

    def touched(self, x: float, y: float) -> None:
        """A touch of the picture, as shares of it from the upper left."""
        self.pointing.touch(x, y)
        self.refill()

    def _nudge(self, across: int, down: int) -> None:
        self.pointing.nudge(across, down)
        self.refill()

    def _turn(self) -> None:
        self.pointing.turn()
        self.refill()

    def _one_more(self) -> None:
        self.pointing.one_more()
        self.refill()

    def _take_in_hand(self, number: int) -> None:
        """One that is in hand already: say what it points at."""
        if number == self.pointing.in_hand:
            self._words()
            return
        self.pointing.choose(number)
        self.refill()

    def _undo(self) -> None:
        self.pointing.undo()
        self.refill()

    def _words(self) -> None:
        number = self.pointing.in_hand
        self.tablet.session.way[-1] = photo_route(self.route, self.place, number)
        self.way.go(self.route.to("photo words", *self.place[1:], str(number)))

    def _keep(self, picture: Prepared) -> None:
        """Another picture of the same thing."""
        photo = self._photo
        shows = photo.shows[1:] if photo is not None else ()
        place = attach_picture(self.tablet, self.route.to("photos", *shows), picture)
        self.context.vessels.refresh(self.route.hull)
        if self.screen.shows(self):
            self.way.instead(photo_route(self.route, place))

    def refill(self) -> None:
        if self.screen.shows(self):
            self.screen.redraw_as_it_is()


def _three(subject: Sequence[str]) -> tuple[str, str, str]:
    field, row, of = (*subject, "", "", "")[:3]
    return field, row, of


def _slot(press: Press) -> Across:
    return Across([press], least=150)


class PhotoBody(Widget):
    """The picture as large as there is room for; beside or beneath it what its arrows point at, and what moves them."""

    def __init__(self, view: PhotoView, touched: Any, side: Column, moves: Sequence[Press]) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.view, self._touched, self._side, self._moves = view, touched, side, moves
        self._last = -10.0
        for child in (view, side, *moves):
            self.add_widget(child)
        self.bind(size=self._place, pos=self._place)

    def on_touch_down(self, touch: Any) -> bool:
        if super().on_touch_down(touch):
            return True
        return self.view.texture is not None and self.view.share_at(*touch.pos) is not None and self._touch(touch)

    def _touch(self, touch: Any) -> bool:
        """A wet finger that bounces counts once, as it does on a press."""
        now, share = Press.now(), self.view.share_at(*touch.pos)
        if share is not None and now >= Press.quiet_until and now - self._last >= Press.BOUNCE:
            self._last = now
            act(partial(self._touched, *share))
        return True

    def _place(self, *_: object) -> None:
        if self.width <= 1:
            return
        if self.width > self.height:
            self._place_across()
        else:
            self._place_tall()

    def _place_across(self) -> None:
        gap, least = dp(GAP), dp(TARGET)
        is_low = self.height < dp(560)
        columns = 3 if is_low else 2
        wide = columns * least + (columns - 1) * gap
        x, other = (self.x, self.x + wide + gap) if theme.left else (self.right - wide, self.x)
        self.view.pos, self.view.size = (other, self.y), (self.width - wide - gap, self.height)
        high = self._place_moves(x, self.y, wide, columns)
        self._side.pos, self._side.size = (x, self.y + high), (wide, self.height - high)

    def _place_tall(self) -> None:
        gap, least = dp(GAP), dp(TARGET)
        high = 3 * least + 2 * gap
        self.view.pos, self.view.size = (self.x, self.y + high + gap), (self.width, self.height - high - gap)
        half = (self.width - gap) / 2
        x, other = (self.x, self.x + half + gap) if theme.left else (self.x + half + gap, self.x)
        self._place_moves(x, self.y, half, 2)
        self._side.pos, self._side.size = (other, self.y), (half, high)

    def _place_moves(self, x: float, y: float, wide: float, columns: int) -> float:
        """Keys as the arrows of a keyboard where three stand side by side, else in pairs; the height they take."""
        if not self._moves:
            return 0.0
        left, right, up, down, turn, *others = self._moves
        more = next(iter(others), None)
        gap, least = dp(GAP), dp(TARGET)
        each = (wide - (columns - 1) * gap) / columns
        keyboard: list[list[Press | None]] = [[left, down, right], [turn, up, more]]
        pairs: list[list[Press | None]] = [[up, down], [left, right], [turn, more]]
        rows = keyboard if columns == 3 else pairs
        for number, row in enumerate(rows):
            for place, press in enumerate(row):
                if press is not None:
                    press.size = (each, least)
                    press.pos = (x + place * (each + gap), y + number * (least + gap))
        return len(rows) * (least + gap)


class PhotoWordsPage(WordsPage):
    """What an arrow points at."""

    title = "What does the arrow point at?"
    asks = "In a word or two. It stands in the book beside the number of the arrow."
    longest = LONGEST_WORD

    def offers(self) -> Sequence[str]:
        return WORDS_FOR_ARROWS

    def _offers(self) -> Across:
        presses = [Press(offer, partial(self._done, offer)) for offer in self.offers()]
        return Across([*presses, Press(OTHER, self._type_other, name="other")], least=170)

    def actions(self) -> Sequence[Press]:
        off = Press("Take this arrow off", self._take_off, name="take off")
        return (off, *super().actions())

    def _pointing(self) -> Pointing:
        pointing = self.context.pointed.at(self.route, (self.route.step, *_three(self.route.subject)))
        pointing.choose(int(self.route.subject[3]))
        return pointing

    def take(self, text: str) -> None:
        self._pointing().name(text)
        self.way.back()

    def _take_off(self) -> None:
        self._pointing().take_off()
        self.tablet.session.way[-2] = self.route.to("photo", *self.route.subject[:3])
        self.way.back()


class PhotoBackPage(Page):
    """Why a photo is taken back. It stays in the boat's file, struck out."""

    title = "Take the photo back?"

    def body(self) -> Widget:
        presses = [Press(reason, partial(self._take_back, reason), name=f"back {reason}") for reason in BACK_REASONS]
        return Choices([*presses, Press("Keep it", self.way.back, "main", 32, name="keep it")])

    def _take_back(self, reason: str) -> None:
        place = (self.route.step, *_three(self.route.subject))
        self.tablet.take_from_step(self.route.hull, self.route.job, place, reason)
        self.tablet.session.way.pop()  # the page of the photo: there is none any more
        self.way.back()
