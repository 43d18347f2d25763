"""The photos of a handover book: each loaded and drawn once, and what stands under it."""

from __future__ import annotations

from collections.abc import Sequence

from garboard.hosting.host import PluginHost
from garboard.job_view import FieldKey, JobView
from garboard.report.blocks import Block
from garboard.report.outline import StepOutline, date_in_words
from garboard.report.photo_files import BOOK_SIDE, SHOWN_SIDE, NoPicture, Picture, PictureRefused, drawn
from garboard.report.photos import (
    Photo,
    PhotoLoader,
    arrows_in_words,
    is_picture,
    no_photo,
    photo_in_words,
    photos_of,
    shown_in_words,
)

PHOTO_WIDTH = 85.0
"""Of a photo, two side by side [mm]."""
_HIGHEST, _WIDEST, _TALLEST = 70.0, 172.0, 130.0  # [mm]; the first of a photo that stands upright
_SHORTEST = 57.0
"""Of a photo's shorter side [mm]: numbers on its arrows are drawn as a share of it, and stand in 8 pt."""


_NOT_SHOWN = {NoPicture.OTHER: "another kind of file, or its beginning is damaged"}
"""Of a long file its beginning alone is looked at: what the disk lost of it looks like another kind."""


class PhotoFiles:
    """The photos of a book: each loaded and drawn once.

    files     : content of each, by the name it has for the typesetter
    not_shown : those that were asked for and cannot be shown, each with why
    """

    def __init__(self, load: PhotoLoader) -> None:
        self._load = load
        self.files: dict[str, bytes] = {}
        self.not_shown: dict[FieldKey, str] = {}
        self._shown_to_owner: set[FieldKey] = set()

    def for_owner(self, photo: Photo) -> tuple[str, int, int] | None:
        """A photo for the owner's part, as wide as the text; the Record does not print it again."""
        found = self._drawn(photo, SHOWN_SIDE)
        if found is None:
            return None
        self._shown_to_owner.add(photo.place)
        return found[0], found[1].width, found[1].height

    def drawn(self, photo: Photo) -> tuple[str, Picture] | None:
        """A photo with its arrows; None for one that is not here, is no picture, or stands in Your boat."""
        return None if photo.place in self._shown_to_owner else self._drawn(photo, BOOK_SIDE)

    def _drawn(self, photo: Photo, side: int) -> tuple[str, Picture] | None:
        if self._load is no_photo:
            return None
        try:
            content = self._load(photo)
            if not content:
                self.not_shown[photo.place] = "not here whole"
                return None
            picture = drawn(content, photo.arrows, side)
        except PictureRefused as refused:
            if is_picture(photo):  # nobody expects a manual or a table to be shown
                self.not_shown[photo.place] = _NOT_SHOWN.get(refused.why, refused.why.value)
            return None
        name = f"photo-{len(self.files) + 1}.jpg"
        self.files[name] = picture.content
        return name, picture


def photos_of_step(view: JobView, host: PluginHost, step: StepOutline, files: PhotoFiles) -> list[list[Block]]:
    """The photos of a step in rows, two side by side where they fit; nothing where none is here."""
    found = photos_of(view, host, step.step.key) if step.step is not None else ()
    pairs = ((photo, files.drawn(photo)) for photo in found)
    shown = [_photo(photo, *one, host, view) for photo, one in pairs if one is not None]
    return _in_rows(shown)


def _in_rows(photos: Sequence[Block]) -> list[list[Block]]:
    """Two beside each other where both are narrow enough."""
    rows: list[list[Block]] = []
    for one in photos:
        if rows and len(rows[-1]) == 1 and max(one["width"], rows[-1][0]["width"]) <= PHOTO_WIDTH:
            rows[-1].append(one)
        else:
            rows.append([one])
    return rows


def _photo(photo: Photo, file: str, picture: Picture, host: PluginHost, view: JobView) -> Block:
    width, height = printed_size(picture)
    return {
        "file": file,
        "width": width,
        "height": height,
        "alt": photo_in_words(photo, host, view),
        "words": _under_photo(photo, host, view),
    }


def printed_size(picture: Picture) -> tuple[float, float]:
    """Width and height as printed [mm]."""
    across = picture.width / picture.height
    wide = min(PHOTO_WIDTH, _HIGHEST * across)
    wide = max(wide, _SHORTEST * max(1.0, across))
    wide = min(wide, _WIDEST, _TALLEST * across)
    return wide, wide / across


def _under_photo(photo: Photo, host: PluginHost, view: JobView) -> str:
    """What a photo shows, what its arrows point at, who kept it, and when it was taken."""
    told = [shown_in_words(photo, host, view), arrows_in_words(photo)]
    kept = f"kept {date_in_words(photo.kept[:10])}" if photo.kept else ""  # a job file need not say when
    when = date_in_words(photo.taken[:10]) if photo.taken else kept
    told.append(", ".join(filter(None, (photo.by, when))))
    return ". ".join(filter(None, told))
