"""Photos of a step: pictures that came in and wait, photos attached to a value, and the arrows on them."""

from __future__ import annotations

import re
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from garboard.disk.clock import moment_in_words
from garboard.disk.photo_words import BEGINNING, keep_file
from garboard.disk.storage import make_folder
from garboard.faults import InputError, in_words
from garboard.job_files.job_file import ATTACHED
from garboard.job_view import FieldKey
from garboard.records import JsonValue
from garboard.report.photo_files import (
    LARGEST_FILE,
    NoPicture,
    PictureRefused,
    as_kept,
    beginning_of,
    ending_of,
    name_of_what_it_is,
    taken_at,
    to_draw,
    with_ending,
)
from garboard.report.photos import (
    MOST_ARROWS,
    PICTURES,
    STEP_OF_TURN,
    Arrow,
    Photo,
    PhotoContent,
    arrows_in,
    is_picture,
    lies_within,
    photos_of,
    shown_in_words,
    together,
    turn_at,
    with_arrows,
)
from garboard_tablet.language import phrase
from garboard_tablet.models.coming import coming_folder

if TYPE_CHECKING:
    from garboard_tablet.models.session import Route
    from garboard_tablet.models.tablet import Tablet

NUDGE = 0.02
"""One touch moves an arrow so far, as a share of the picture."""
_NAMED = "photo %Y-%m-%d %H.%M.%S"


def next_picture(tablet: Tablet) -> Path:
    """Where the camera is to write the next picture: named by the time, so that nothing is written over."""
    folder = coming_folder(tablet)
    make_folder(folder)
    for path in folder.glob("photo *.jpg"):
        if not _size(path):  # of a camera that was left without a picture
            path.unlink(missing_ok=True)
    name = time.strftime(_NAMED)
    path, number = folder / f"{name}.jpg", 1
    while path.exists():
        number += 1
        path = folder / f"{name} {number}.jpg"
    return path


def pictures_in(folder: Path) -> list[Path]:
    """Files in a folder that are pictures, or are called so, by name. What is hidden is half copied."""
    return [path for path in sorted(folder.glob("[!.]*")) if _may_be_picture(path)] if folder.is_dir() else []


def _may_be_picture(path: Path) -> bool:
    """A phone's cable gives pictures without an ending as well."""
    return path.suffix.lower() in PICTURES or is_picture_file(path)


def is_picture_file(path: Path) -> bool:
    """Whether a file is a picture, by how it begins: a name may say anything."""
    return path.is_file() and bool(ending_of(beginning_of(path)))


def waiting_pictures(tablet: Tablet, inbox: Path) -> list[Path]:
    """Pictures that came in and are attached to nothing yet, the newest first."""
    found = [path for folder in (coming_folder(tablet), inbox) for path in pictures_in(folder) if _size(path)]
    return sorted(found, key=_changed, reverse=True)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size if path.is_file() else 0
    except OSError:
        return 0


def _changed(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0


@attrs.frozen
class Prepared:
    """A picture as it is to be kept, or why it is not.

    taken   : when it was taken, as its camera says, or this app that had it taken; "" where neither knows
    refused : in words; "" where it can be kept
    """

    content: bytes = b""
    name: str = ""
    taken: str = ""
    refused: str = ""


def prepare(path: Path) -> Prepared:
    """Read a picture and make it as small as it is kept. Takes a second on a tablet: call it in the background."""
    try:
        if _size(path) > LARGEST_FILE:
            raise PictureRefused(NoPicture.HUGE)
        content = path.read_bytes()
        kept = as_kept(content)
    except OSError as failure:
        return Prepared(refused=phrase("{name} could not be read: {reason}.", name=path.name, reason=in_words(failure)))
    except PictureRefused as refused:
        return Prepared(refused=in_words(refused))
    is_as_it_was = ending_of(kept[:16]) == ending_of(content[:16]) or path.suffix.lower() in (".jpg", ".jpeg")
    name = with_ending(path.name, content[:16]) if is_as_it_was else f"{path.stem}.jpg"
    return Prepared(content=kept, name=name, taken=taken_at(content) or taken_here(path.name))


def taken_here(name: str) -> str:
    """When this app had a picture taken, by the name it gave: see `next_picture`; "" for any other.

    >>> taken_here("photo 2026-05-14 09.12.33 2.jpg"), taken_here("IMG 2026-05-14.jpg")
    ('2026-05-14T09:12:33', '')
    """
    found = re.match(r"photo (\d{4}-\d\d-\d\d) (\d\d)\.(\d\d)\.(\d\d)\b", name)
    return f"{found[1]}T{found[2]}:{found[3]}:{found[4]}" if found else ""


def photo_value(tablet: Tablet, picture: Prepared) -> dict[str, JsonValue]:
    """Keep a picture; the value that refers to it, with when it was taken where that is known."""
    kept: dict[str, JsonValue] = {**tablet.keep_file(picture.content, picture.name)}
    return {**kept, "taken": picture.taken} if picture.taken else kept


def attach_picture(tablet: Tablet, route: Route, picture: Prepared) -> FieldKey:
    """Keep a picture with the step of a route, and with the value that the route is about; the place it has."""
    value = photo_value(tablet, picture)
    return _attach(tablet, route, value)


def attach_file(tablet: Tablet, route: Route, path: Path) -> FieldKey:
    """Keep any file with the step of a route, as it is; a photo without what it says besides its dots.

    errors : NotSaved; InputError for what is no file
    """
    name = name_of_what_it_is(path.name, beginning_of(path))
    kept, taken = keep_file(tablet.files.attachments, path)
    value: dict[str, JsonValue] = {"file": kept, "name": name, **({"taken": taken} if taken else {})}
    return _attach(tablet, route, value)


def _attach(tablet: Tablet, route: Route, value: dict[str, JsonValue]) -> FieldKey:
    """Each has a row of its own, named by its content: one attached twice is one, and it keeps its arrows."""
    place = (route.step, ATTACHED, str(value["file"])[:12], "")
    there = value_at(tablet, route, place)
    arrows = arrows_in(there) if there is not None else ()
    if shows := _shows(route):
        value["shows"] = [*shows]
    tablet.keep_with_step(route.hull, route.job, place, with_arrows(value, arrows))
    return place


def _shows(route: Route) -> tuple[str, str, str] | None:
    """The value a route is about: field, row and piece."""
    words = route.subject
    return (words[0], words[1], words[2]) if len(words) == 3 and words[0] else None


def files_of_step(tablet: Tablet, route: Route) -> tuple[Photo, ...]:
    """Photos and other files kept with a step: first those of the value the route is about, the newest first."""
    view = tablet.view(route.hull, route.job)
    found = [*reversed(photos_of(view, tablet.host, route.step))]
    shows = (route.step, *(_shows(route) or ("", "", "")))
    return tuple(sorted(found, key=lambda photo: photo.shows != shows)) if _shows(route) else tuple(found)


def photos_showing(tablet: Tablet, route: Route) -> tuple[Photo, ...]:
    """Photos of the value a route is about."""
    shows = _shows(route)
    found = files_of_step(tablet, route)
    return tuple(one for one in found if is_picture(one) and shows and one.shows == (route.step, *shows))


def photo_at(tablet: Tablet, route: Route, place: FieldKey) -> Photo | None:
    """The photo kept in a place; None where none is, or several disagree."""
    return next((one for one in files_of_step(tablet, route.to("photo")) if one.place == place), None)


def value_at(tablet: Tablet, route: Route, place: FieldKey) -> dict[str, JsonValue] | None:
    """The value of the file in a place, with the arrows of every tablet; None where none is, or several are."""
    from garboard.history.registers import RegisterKey

    current = tablet.state_of(route.hull, route.job).current(RegisterKey("measure", route.job, place))
    return together([entry.value for entry in current])


def content_of(tablet: Tablet, photo: Photo) -> PhotoContent:
    """The file of a photo; nothing where it is not here, or damaged, and no more than the beginning of what is none.

    errors : PictureRefused where it is too large for one
    """
    from garboard.disk.attachments import AttachmentDamaged

    held, name = tablet.files.attachments, photo.file
    try:
        return to_draw(
            held.size(name), held.read(name, 0, BEGINNING), lambda: held.get(name), lambda: held.opened(name)
        )
    except (KeyError, OSError, AttachmentDamaged, InputError):
        return b""


def caption(tablet: Tablet, route: Route, photo: Photo) -> str:
    """What stands under a photo: what it shows, else when it was taken."""
    shown = shown_in_words(photo, tablet.host, tablet.view(route.hull, route.job))
    return shown or when(photo) or photo.name


def when(photo: Photo) -> str:
    """When a photo was taken; where nobody knows, when it was kept, and that it was."""
    if photo.taken:
        return moment_in_words(photo.taken)
    return phrase("kept {time}", time=moment_in_words(photo.kept)) if photo.kept else ""


@attrs.define(eq=False)
class Pointing:
    """The arrows on one photo, at work. Each change is on the disk when the method returns.

    in_hand : number of the arrow that a touch moves; -1 where a touch sets a new one
    before  : what stood before each change
    """

    tablet: Tablet
    route: Route
    place: FieldKey
    aspect: float = 1.0
    in_hand: int = -1
    before: list[tuple[Arrow, ...]] = attrs.field(factory=list)
    _after: tuple[Arrow, ...] = ()

    def __attrs_post_init__(self) -> None:
        self.in_hand = len(self.arrows) - 1

    @property
    def arrows(self) -> tuple[Arrow, ...]:
        """The arrows as they are kept."""
        return arrows_in(value_at(self.tablet, self.route, self.place))

    @property
    def arrow(self) -> Arrow | None:
        """The arrow in hand."""
        return self.arrows[self.in_hand] if 0 <= self.in_hand < len(self.arrows) else None

    @property
    def may_add(self) -> bool:
        """Whether one more can be set."""
        return 0 < len(self.arrows) < MOST_ARROWS and self.in_hand >= 0

    @property
    def can_undo(self) -> bool:
        """Whether the last change still stands: what came from another tablet meanwhile is not undone with it."""
        return bool(self.before) and self.arrows == self._after

    def touch(self, x: float, y: float) -> None:
        """Put the tip of the arrow in hand there; the first time, set it."""
        x, y = min(max(x, 0.0), 1.0), min(max(y, 0.0), 1.0)
        moved = attrs.evolve(self.arrow, x=x, y=y) if self.arrow else None
        if moved is None or not lies_within(moved, self.aspect):
            moved = Arrow(x=x, y=y, turn=turn_at(x, y, self.aspect), word=moved.word if moved else "")
        self._with(moved)

    def turn(self) -> None:
        """Point another way, the tip where it is."""
        if self.arrow is not None:
            self._with(attrs.evolve(self.arrow, turn=(self.arrow.turn + STEP_OF_TURN) % 360))

    def nudge(self, across: int, down: int) -> None:
        """Move the tip a little."""
        if (arrow := self.arrow) is not None:
            x, y = arrow.x + across * NUDGE / max(self.aspect, 1.0), arrow.y + down * NUDGE * min(self.aspect, 1.0)
            self._with(attrs.evolve(arrow, x=min(max(x, 0.0), 1.0), y=min(max(y, 0.0), 1.0)))

    def name(self, word: str) -> None:
        """Say what the arrow in hand points at."""
        if self.arrow is not None:
            self._with(attrs.evolve(self.arrow, word=word))

    def one_more(self) -> None:
        """The next touch of the picture sets another arrow."""
        self.in_hand = -1

    def choose(self, number: int) -> None:
        """Take another arrow in hand."""
        self.in_hand = number

    def take_off(self) -> None:
        """Remove the arrow in hand."""
        arrows = [*self.arrows]
        if 0 <= self.in_hand < len(arrows):
            del arrows[self.in_hand]
            self._keep(arrows)
            self.in_hand = len(arrows) - 1

    def undo(self) -> None:
        """Have the arrows as they were before the last change."""
        if self.can_undo:
            arrows = self.before.pop()
            self._write(arrows)
            self._after = self.arrows
            self.in_hand = min(max(self.in_hand, 0), len(arrows) - 1)

    def _with(self, arrow: Arrow) -> None:
        arrows = [*self.arrows]
        if self.arrow is None:
            arrows = [*arrows, arrow]
            self._keep(arrows)
            self.in_hand = len(arrows) - 1
        else:
            arrows[self.in_hand] = arrow
            self._keep(arrows)

    def _keep(self, arrows: Sequence[Arrow]) -> None:
        before = self.arrows
        if self._write(arrows):
            self.before.append(before)
            self._after = self.arrows

    def _write(self, arrows: Sequence[Arrow]) -> bool:
        value = value_at(self.tablet, self.route, self.place)
        if value is None or (changed := with_arrows(value, arrows)) == value:
            return False
        self.tablet.keep_with_step(self.route.hull, self.route.job, self.place, changed)
        return True
