"""Pictures as files: read with care, made smaller, and drawn with their arrows. Loads Pillow when it is needed.

A picture comes from a camera, a stick or a stranger: it may be cut off, no picture at all, or so large that it fills
the memory of a tablet. Each is said; nothing of it is kept.

[1] ITU-T T.81 (JPEG), annex B: markers and the parts behind them. From memory.
[2] W3C, Portable Network Graphics: chunks, and the check at the end of each. From memory.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Callable, Sequence
from enum import StrEnum
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from garboard.disk.photo_words import BEGINNING, LARGEST_PHOTO, looked_into, without_words
from garboard.faults import GarboardError, in_words
from garboard.record_types import frozen
from garboard.report.palette import DAY
from garboard.report.photos import PICTURES, Arrow, ArrowShape, PhotoContent, shape_of

if TYPE_CHECKING:
    from PIL.Image import Image

KEPT_SIDE = 2048
"""A photo is kept at most so long [dots]: small labels can still be read, and an evening's photos reach the shop."""
SHOWN_SIDE = 1600
"""A photo in the book or on a page is at most so long [dots]."""
BOOK_SIDE = 1200
"""On paper it stands three inches and a half wide: that is 340 dots to the inch."""
LARGEST_FILE = LARGEST_PHOTO
SMALL = 1 << 20
"""A file of this size is loaded whatever it is [bytes]."""
MOST_DOTS = 64_000_000
"""More would take a quarter of a gigabyte to open. Of a JPEG it counts what is read of it, at most a quarter of both
sides where it is that large."""
_COPIED_FOR_COLOURS = 3
"""What is not in plain colours is copied twice to be so: each of its dots counts as so many."""
_FORMS = ("JPEG", "PNG", "WEBP")
_KEPT_AS_THEY_ARE = ("image/jpeg", "image/png")
_QUALITY = 85
_ORIENTATION = 0x0112
"""Tag of Exif: how the camera was held."""
_FINER = 4
"""An arrow is drawn so many times larger, then made smaller: its edges are smooth."""


_BEGINNINGS = ((b"\xff\xd8\xff", ".jpg"), (b"\x89PNG\r\n\x1a\n", ".png"), (b"RIFF....WEBP", ".webp"))
"""How a picture's file begins, each dot any byte, and how its name ends."""
_NO_PICTURE = ".file"
"""How the name of any other file ends that was called as a picture is."""
_MARKER = re.compile(rb"\xff+([^\x00\xff])", re.DOTALL)
"""Of a JPEG, the beginning of its next part: two bytes, filled up with any number of the first [1]."""
_AFTER_SCAN = re.compile(rb"\xff+([^\x00\xff\xd0-\xd7])", re.DOTALL)
"""The same within coded dots, where some stand between the dots themselves."""
_ALONE = frozenset({0x01, 0xD8, *range(0xD0, 0xD8)})
"""Markers without a length behind them."""
_END, _SCAN = 0xD9, 0xDA
_MAY_FOLLOW_A_SCAN = frozenset({0xC4, _SCAN, 0xDB, 0xDC, 0xDD, _END, *range(0xE0, 0xF0), 0xFE})


class NoPicture(StrEnum):
    """Why a file is not kept as a picture."""

    EMPTY = "empty"
    OTHER = "another kind of file"
    CUT = "cut off"
    HUGE = "too large"


_SAID = {
    NoPicture.EMPTY: "The file is empty. Take the picture again.",
    NoPicture.OTHER: "This is no picture that can be read here: JPEG, PNG or WebP. Take or choose another.",
    NoPicture.CUT: "The picture is cut off or damaged. Take it again, or copy it again.",
    NoPicture.HUGE: "The picture is too large to open here. Choose a smaller one.",
}


class PictureRefused(GarboardError):
    """A file is not kept as a picture."""

    def __init__(self, why: NoPicture) -> None:
        super().__init__(_SAID[why])
        self.why = why


@frozen
class Picture:
    """A picture as JPEG, with its size [dots]."""

    content: bytes
    width: int
    height: int


def with_ending(name: str, beginning: bytes) -> str:
    """The name of a file, ending as a picture's does where it is one: what asks for no more than a name finds it.

    beginning : of the file

    >>> jpeg = bytes.fromhex("ffd8ffe0")
    >>> with_ending("IMG 26.5.14", jpeg), with_ending("clamp.jfif", jpeg), with_ending("clamp.JPG", jpeg)
    ('IMG 26.5.14.jpg', 'clamp.jfif.jpg', 'clamp.JPG')
    >>> with_ending("run 3", b"$GPRMC")
    'run 3'
    """
    return name if name.lower().endswith(PICTURES) else name + ending_of(beginning)


def name_of_what_it_is(name: str, beginning: bytes) -> str:
    """The same; and the name of what is no picture does not end as a picture's does.

    >>> jpeg = bytes.fromhex("ffd8ffe0")
    >>> name_of_what_it_is("1000004711", jpeg), name_of_what_it_is("run.jpg", b"$GPRMC")
    ('1000004711.jpg', 'run.jpg.file')
    """
    is_called_picture = name.lower().endswith(PICTURES)
    return name + _NO_PICTURE if is_called_picture and not ending_of(beginning) else with_ending(name, beginning)


def beginning_of(path: Path) -> bytes:
    """So much of a file as tells whether it is a picture; nothing of what is no file, or cannot be read."""
    try:
        if path.is_file():  # a pipe never ends
            with path.open("rb") as file:
                return file.read(BEGINNING)
    except OSError:
        pass
    return b""


def ending_of(beginning: bytes) -> str:
    """How the name of a picture ends, by how its file begins; "" for any other file."""
    return next((end for begins, end in _BEGINNINGS if re.match(begins, beginning, re.DOTALL)), "")


def to_draw(
    size: int, beginning: bytes, whole: Callable[[], bytes], in_pieces: Callable[[], PhotoContent]
) -> PhotoContent:
    """The content of a small file, as a drawn signature's is; a large picture's file, to be read piece by piece; of any
    other, which may be a recording of any length, no more than its beginning: it tells that it is no picture.

    errors : PictureRefused for one larger than any camera makes
    """
    if size > SMALL and not ending_of(beginning):
        return beginning
    if size > LARGEST_FILE:
        raise PictureRefused(NoPicture.HUGE)
    return in_pieces() if size > SMALL else whole()


def is_damaged(content: bytes) -> bool:
    """Whether a picture's file is cut off, or written over, as far as its parts tell.

    What reads a picture does not tell: it fills what it cannot make out with grey, and calls it read. Dots that were
    changed where no part begins or ends are not found by this either.
    """
    if content.startswith(b"\xff\xd8"):
        return not _jpeg_is_whole(content)
    if content.startswith(b"\x89PNG"):
        return not _png_is_whole(content)
    return content.startswith(b"RIFF") and int.from_bytes(content[4:8], "little") + 8 > len(content)


def _jpeg_is_whole(content: bytes) -> bool:
    """Whether all parts of a JPEG are what may stand there, up to its end [1]."""
    at, is_in_scans = 2, False
    while found := (_AFTER_SCAN if is_in_scans else _MARKER).search(content, at):
        marker, at = found[1][0], found.end()
        if marker == _END:  # a camera may put more behind it
            return is_in_scans
        if is_in_scans and marker not in _MAY_FOLLOW_A_SCAN:
            return False
        if marker not in _ALONE:
            length = int.from_bytes(content[at : at + 2], "big")
            if length < 2:
                return False
            at += length
            is_in_scans = is_in_scans or marker == _SCAN
    return False


def _png_is_whole(content: bytes) -> bool:
    """Whether all parts of a PNG that a picture needs are as they were written, up to its end [2]."""
    at = 8
    while at + 12 <= len(content):
        size, name = int.from_bytes(content[at : at + 4], "big"), content[at + 4 : at + 8]
        end = at + 12 + size
        is_needed = name[:1].isupper()
        if is_needed and zlib.crc32(content[at + 4 : end - 4]).to_bytes(4, "big") != content[end - 4 : end]:
            return False
        if name == b"IEND":
            return True
        at = end
    return False


def opened(content: PhotoContent, most: int) -> Image:
    """A picture, upright and in colours, its longer side at most so long [dots]; of its dots alone, without what else
    the file says: Pillow would write a comment into the next file it saves.

    content : a file is read piece by piece, but for a WebP, and closed

    errors : PictureRefused
    """
    if not content:
        raise PictureRefused(NoPicture.EMPTY)
    if isinstance(content, bytes) and len(content) > LARGEST_FILE:
        raise PictureRefused(NoPicture.HUGE)
    with BytesIO(content) if isinstance(content, bytes) else content as file:
        return _read_from(file, most)


def _read_from(file: BinaryIO, most: int) -> Image:
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        image: Image.Image = Image.open(file, formats=_FORMS)
        held = (
            image.width * image.height if "progressive" in image.info else 0
        )  # all of it, at whatever size it is read
        image.draft("RGB", (most, most))  # a JPEG is read at a half, a quarter or an eighth: less memory, and quicker
        if max(held, _dots_to_open(image)) > MOST_DOTS:
            raise PictureRefused(NoPicture.HUGE)
        image.load()
        ImageOps.exif_transpose(image, in_place=True)  # as it is, not a copy: of a PNG all dots are in memory
        image = image if image.mode == "RGB" and "transparency" not in image.info else _in_colours(image)
        image.thumbnail((most, most), Image.Resampling.LANCZOS)
    except UnidentifiedImageError:
        raise PictureRefused(NoPicture.OTHER) from None
    except Image.DecompressionBombError:
        raise PictureRefused(NoPicture.HUGE) from None
    except PictureRefused:
        raise
    except Exception:  # Pillow raises OSError, SyntaxError, struct.error and others on damaged files
        raise PictureRefused(NoPicture.CUT) from None
    image.info.clear()
    return image


def _dots_to_open(image: Image) -> int:
    is_plain = image.mode in ("1", "L", "P", "RGB") and "transparency" not in image.info
    return image.width * image.height * (1 if is_plain else _COPIED_FOR_COLOURS)


def _in_colours(image: Image) -> Image:
    """Red, green and blue; what can be seen through is white."""
    from PIL import Image

    if image.mode.startswith("I"):  # sixteen bits of grey, as of a thermal camera: Pillow cuts them off at eight
        return image.convert("I").point(lambda level: level * (1 / 256)).convert("L").convert("RGB")
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        clear = image.convert("RGBA")
        ground = Image.new("RGB", clear.size, "white")
        ground.paste(clear, mask=clear.getchannel("A"))
        return ground
    return image.convert("RGB")


def as_kept(content: bytes) -> bytes:
    """A picture as it is kept: upright, its longer side at most KEPT_SIDE, saying nothing but what is seen.

    Where it was taken, and with whose camera, is nobody's business. A small upright one that is silent stays as it is.

    errors : PictureRefused
    """
    try:
        from PIL import Image
    except ImportError:  # a tablet without Pillow keeps a picture as large as it came
        _refuse_damaged(content)
        return without_words(content)
    image = opened(content, KEPT_SIDE)
    _refuse_damaged(content)
    with Image.open(BytesIO(content), formats=_FORMS) as original:
        is_upright = original.getexif().get(_ORIENTATION, 1) == 1
        stays = is_upright and original.get_format_mimetype() in _KEPT_AS_THEY_ARE and max(original.size) <= KEPT_SIDE
    photo = looked_into(content) if stays else None
    return photo.bare if photo else _as_jpeg(image)


def why_not_shown(path: Path) -> str:
    """Why a picture's file cannot be shown, in words; "" where it can, or where it is no picture."""
    try:
        if ending_of(beginning_of(path)):
            if path.stat().st_size > LARGEST_FILE:
                raise PictureRefused(NoPicture.HUGE)
            as_kept(path.read_bytes())
    except PictureRefused as refused:
        return in_words(refused)
    return ""


def _refuse_damaged(content: bytes) -> None:
    if not content:
        raise PictureRefused(NoPicture.EMPTY)
    if not ending_of(content[:BEGINNING]):
        raise PictureRefused(NoPicture.OTHER)
    if is_damaged(content):
        raise PictureRefused(NoPicture.CUT)


def taken_at(content: bytes) -> str:
    """When a camera says it took a picture, "2026-05-14T09:12:33"; "" where it does not say."""
    photo = looked_into(content)
    return photo.taken if photo else ""


def drawn(content: PhotoContent, arrows: Sequence[Arrow], most: int = SHOWN_SIDE) -> Picture:
    """A picture with its arrows, for paper and for a page. The same picture and arrows give the same bytes.

    errors : PictureRefused
    """
    image = opened(content, most)
    for number, arrow in enumerate(arrows, start=1):
        _draw_arrow(image, arrow, number)
    return Picture(_as_jpeg(image), image.width, image.height)


def _as_jpeg(image: Image) -> bytes:
    out = BytesIO()
    image.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return out.getvalue()


def _draw_arrow(image: Image, arrow: Arrow, number: int) -> None:
    """The light edge first, then the arrow in ink, then its number."""
    from PIL import Image

    around, inner = (shape_of(arrow, *image.size, edge=edge) for edge in (True, False))
    points = [*around.shaft, *around.head]
    points += [(around.disc[0] + sign * around.radius, around.disc[1] + sign * around.radius) for sign in (-1, 1)]
    left, top = (int(min(point[axis] for point in points)) - 2 for axis in (0, 1))
    right, bottom = (int(max(point[axis] for point in points)) + 3 for axis in (0, 1))
    for shape, colour in ((around, DAY.panel), (inner, DAY.ink)):
        mask = Image.new("L", ((right - left) * _FINER, (bottom - top) * _FINER))
        _fill(mask, shape, left, top)
        small = mask.resize((right - left, bottom - top), Image.Resampling.BOX)
        image.paste(colour, (left, top), small)
    _write_number(image, number, inner.disc, inner.radius)


def _fill(mask: Image, shape: ArrowShape, left: int, top: int) -> None:
    from PIL import ImageDraw

    pen = ImageDraw.Draw(mask)
    for area in (shape.shaft, shape.head):
        pen.polygon([((x - left) * _FINER, (y - top) * _FINER) for x, y in area], fill=255)
    x, y, radius = (shape.disc[0] - left) * _FINER, (shape.disc[1] - top) * _FINER, shape.radius * _FINER
    pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=255)


def _write_number(image: Image, number: int, middle: tuple[float, float], radius: float) -> None:
    from PIL import ImageDraw, ImageFont

    font = ImageFont.load_default(max(8.0, radius * 1.4))
    ImageDraw.Draw(image).text(middle, str(number), fill=DAY.panel, font=font, anchor="mm")
