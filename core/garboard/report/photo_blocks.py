"""The photos of a handover book: each loaded and drawn once, and what stands under it."""

from __future__ import annotations

from collections.abc import Iterator

from garboard.hosting.host import PluginHost
from garboard.job_view import JobView
from garboard.report.blocks import Block, date_in_words
from garboard.report.outline import StepOutline
from garboard.report.photo_files import BOOK_SIDE, Picture, PictureRefused, drawn
from garboard.report.photos import (
    Photo,
    PhotoLoader,
    arrows_in_words,
    photo_in_words,
    photos_of,
    shown_in_words,
)

PHOTO_WIDTH = 85.0
"""Of a photo, two side by side [mm]."""
_HIGHEST = 70.0  # a photo that stands upright [mm]


class PhotoFiles:
    """The photos of a book: each loaded and drawn once.

    files : content of each, by the name it has for the typesetter
    """

    def __init__(self, load: PhotoLoader) -> None:
        self._load = load
        self.files: dict[str, bytes] = {}

    def drawn(self, photo: Photo) -> tuple[str, Picture] | None:
        """A photo with its arrows; None for one that is not here, or is no picture."""
        content = self._load(photo)
        try:
            picture = drawn(content, photo.arrows, BOOK_SIDE) if content else None
        except PictureRefused:
            return None
        if picture is None:
            return None
        name = f"photo-{len(self.files) + 1}.jpg"
        self.files[name] = picture.content
        return name, picture


def photos_of_step(view: JobView, host: PluginHost, step: StepOutline, files: PhotoFiles) -> Iterator[Block]:
    """The photos of a step, two side by side; nothing where none is here."""
    found = photos_of(view, host, step.step.key) if step.step is not None else ()
    pairs = ((photo, files.drawn(photo)) for photo in found)
    shown = [_photo(photo, *one, host, view) for photo, one in pairs if one is not None]
    if shown:
        yield {"kind": "photos", "photos": shown}


def _photo(photo: Photo, file: str, picture: Picture, host: PluginHost, view: JobView) -> Block:
    width, height = _fitting(picture)
    return {
        "file": file,
        "width": width,
        "height": height,
        "alt": photo_in_words(photo, host, view),
        "words": _under_photo(photo, host, view),
    }


def _fitting(picture: Picture) -> tuple[float, float]:
    """Width and height as printed [mm]."""
    high = PHOTO_WIDTH * picture.height / picture.width
    return (PHOTO_WIDTH, high) if high <= _HIGHEST else (_HIGHEST * picture.width / picture.height, _HIGHEST)


def _under_photo(photo: Photo, host: PluginHost, view: JobView) -> str:
    """What a photo shows, what its arrows point at, who took it and when."""
    told = [shown_in_words(photo, host, view), arrows_in_words(photo)]
    told.append(", ".join(filter(None, (photo.by, date_in_words(photo.taken[:10])))))
    return ". ".join(filter(None, told))
