"""Photos as data: which values are photos, what each shows, and the arrows that point at something in it.

The picture itself stays as it was taken. An arrow is data of the entry beside it, drawn anew wherever it is shown.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import BinaryIO

import attrs

from garboard.fields import Kind
from garboard.findings import Finding
from garboard.hosting.host import PluginHost
from garboard.hosting.titles import row_in_words
from garboard.job_files.job_file import ATTACHED
from garboard.job_view import FieldKey, JobView
from garboard.record_types import frozen
from garboard.records import JsonValue, Measurement

MOST_ARROWS = 3
"""So many a person sets on one photo."""
MOST_READ = 12
"""So many are read of one entry: each of four tablets may have set its own before they met."""
LONGEST_WORD = 60
STEP_OF_TURN = 45
"""An arrow points in one of eight directions, so far apart [degrees]."""

LONG, THICK, HEAD, HALF_HEAD, DISC, EDGE = 0.20, 0.016, 0.07, 0.038, 0.036, 0.007
"""Parts of an arrow, as shares of the picture's shorter side: length, half of the shaft's width, length and half of the
width of the head, radius of the disc with its number, and the light edge around all of it."""

PICTURES = (".jpg", ".jpeg", ".png", ".webp")
"""How the names of pictures end."""

Point = tuple[float, float]


@frozen(kw_only=True)
class Arrow:
    """Something pointed at in a picture.

    x, y : where its tip stands, as shares of width and height from the upper left, each from 0 to 1
    turn : where it points: 0 up, 90 to the right [degrees]
    word : what it points at
    """

    x: float
    y: float
    turn: int
    word: str = ""


@frozen
class ArrowShape:
    """An arrow's parts in a picture of some size, the origin at the upper left.

    shaft, head  : corners of the two areas
    disc, radius : middle and radius of the disc that holds the number
    """

    shaft: tuple[Point, Point, Point, Point]
    head: tuple[Point, Point, Point]
    disc: Point
    radius: float


@frozen(kw_only=True)
class Photo:
    """A file kept with a step.

    place  : where its entry belongs
    shows  : the place of the value it shows; the step alone where nobody says
    file   : the name it is kept under
    name   : what it is called
    taken  : when it was taken; "" where neither a camera nor the tablet that took it says
    arrows : what it points at
    kept   : when it was kept with the step
    """

    place: FieldKey
    shows: FieldKey
    file: str
    name: str
    taken: str
    by: str
    arrows: tuple[Arrow, ...]
    kept: str = ""


PhotoContent = bytes | BinaryIO
"""The content of a photo's file; of a large one the file itself, proved and open, which whoever draws it closes."""
PhotoLoader = Callable[[Photo], PhotoContent]
"""Gives the file of a photo as it is kept; nothing where it is not here, and the beginning of what is no picture."""


def no_photo(_photo: Photo) -> bytes:
    """Of a job without its files."""
    return b""


def arrows_in(value: JsonValue) -> tuple[Arrow, ...]:
    """The arrows that the value of a photo carries. What is no arrow is passed over.

    >>> arrows_in({"file": "ab12", "arrows": [{"x": "0.25", "y": "0.5", "turn": 90, "word": "this clamp"}, 7]})
    (Arrow(x=0.25, y=0.5, turn=90, word='this clamp'),)
    """
    found = value.get("arrows") if isinstance(value, dict) else None
    arrows = [_arrow(one) for one in found] if isinstance(found, list) else []
    return tuple(arrow for arrow in arrows if arrow is not None)[:MOST_READ]


def _arrow(plain: JsonValue) -> Arrow | None:
    if not isinstance(plain, dict):
        return None
    x, y, turn, word = _share(plain.get("x")), _share(plain.get("y")), plain.get("turn", 0), plain.get("word", "")
    if x is None or y is None or type(turn) is not int or not isinstance(word, str):
        return None
    return Arrow(x=x, y=y, turn=turn % 360, word=word[:LONGEST_WORD])


def _share(text: JsonValue) -> float | None:
    try:
        share = float(text) if isinstance(text, str) and len(text) < LONGEST_WORD else math.nan
    except ValueError:
        return None
    return share if 0.0 <= share <= 1.0 else None


def with_arrows(value: Mapping[str, JsonValue], arrows: Sequence[Arrow]) -> dict[str, JsonValue]:
    """The value of a photo with other arrows. An entry holds no floats: a share is text.

    >>> with_arrows({"file": "ab12"}, [Arrow(x=0.25, y=0.5, turn=90, word="this clamp")])
    {'file': 'ab12', 'arrows': [{'x': '0.2500', 'y': '0.5000', 'turn': 90, 'word': 'this clamp'}]}
    """
    plain: list[JsonValue] = [
        {"x": f"{arrow.x:.4f}", "y": f"{arrow.y:.4f}", "turn": arrow.turn, "word": arrow.word} for arrow in arrows
    ]
    rest = {key: said for key, said in value.items() if key != "arrows"}
    return {**rest, "arrows": plain} if plain else rest


def turn_at(x: float, y: float, aspect: float = 1.0) -> int:
    """Where an arrow whose tip stands there points at first: so that all of it lies in the picture.

    aspect : width by height

    >>> turn_at(0.1, 0.1), turn_at(0.95, 0.5)
    (315, 90)
    """
    return min(range(0, 360, STEP_OF_TURN), key=lambda turn: _from_middle(x, y, turn, aspect))


def lies_within(arrow: Arrow, aspect: float) -> bool:
    """Whether all of an arrow lies in a picture.

    aspect : width by height
    """
    x, y = shape_of(arrow, aspect, 1.0).disc
    return 0.0 <= x <= aspect and 0.0 <= y <= 1.0


def _from_middle(x: float, y: float, turn: int, aspect: float) -> float:
    """How far the end of an arrow lies from the middle of the picture."""
    across, down = _direction(turn)
    return math.hypot((x - 0.5) * aspect - LONG * across, (y - 0.5) - LONG * down)


def _direction(turn: int) -> Point:
    return math.sin(math.radians(turn)), -math.cos(math.radians(turn))


def shape_of(arrow: Arrow, width: float, height: float, *, edge: bool = False) -> ArrowShape:
    """The parts of an arrow in a picture of a size.

    edge : with the light edge around them; drawn first, under the arrow itself
    """
    side = min(width, height)
    grown = EDGE * side if edge else 0.0
    across, down = _direction(arrow.turn)
    tip_x, tip_y = arrow.x * width, arrow.y * height

    def at(back: float, aside: float) -> Point:
        """A point so far behind the tip, and so far to its right."""
        return tip_x - back * across - aside * down, tip_y - back * down + aside * across

    long, thick, head, half = LONG * side, THICK * side + grown, HEAD * side, HALF_HEAD * side
    slope = math.hypot(head, half)  # of the head's long sides: each edge moves outward by `grown`
    ahead, behind = grown * slope / half, grown
    wide = half * (head + ahead + behind) / head
    return ArrowShape(
        shaft=(at(head, -thick), at(head, thick), at(long, thick), at(long, -thick)),
        head=(at(-ahead, 0.0), at(head + behind, wide), at(head + behind, -wide)),
        disc=at(long, 0.0),
        radius=DISC * side + grown,
    )


def photo_of(measured: Measurement) -> Photo | None:
    """The file a measurement holds, with what it shows; None for any other value. A recording is told by its field."""
    value = measured.value
    if not isinstance(value, dict) or not isinstance(value.get("file"), str):
        return None
    place = (measured.step, measured.field, measured.row, measured.of)
    name, taken = value.get("name"), value.get("taken")
    return Photo(
        place=place,
        shows=_shown_by(value, place),
        file=str(value["file"]),
        name=name if isinstance(name, str) and name else str(value["file"]),
        taken=taken if isinstance(taken, str) else "",
        by=measured.by,
        arrows=arrows_in(value),
        kept=measured.at,
    )


def _shown_by(value: Mapping[str, JsonValue], place: FieldKey) -> FieldKey:
    """The place a photo shows: what it says itself; else the field it is entered in."""
    shows = value.get("shows")
    if isinstance(shows, list) and len(shows) == 3 and all(isinstance(one, str) for one in shows):
        field, row, of = map(str, shows)
        return place[0], field, row, of
    return (place[0], "", "", "") if place[1] == ATTACHED else place


def photos_of(view: JobView, host: PluginHost, step: str = "") -> tuple[Photo, ...]:
    """Every file kept with a job that is no recording, in the order of its measurements.

    step : those of one step alone
    """
    found = [photo_of(one) for one in view.measurements if step in ("", one.step) and not is_recording(one, host)]
    found += [_of_several(one.values) for one in view.disagreements if step in ("", one.place[0])]
    return tuple(photo for photo in found if photo is not None)


def _of_several(values: Sequence[Measurement]) -> Photo | None:
    """A photo on which two tablets set different arrows: it is the same picture, and all of them are shown."""
    value = together([one.value for one in values if one.field == ATTACHED])
    return photo_of(attrs.evolve(values[0], value=value)) if value is not None else None


def together(values: Sequence[JsonValue]) -> dict[str, JsonValue] | None:
    """The value of one photo, out of what stands in its place: several where tablets set different arrows on it.

    returns : the first with the arrows of all; None where there is none, or they are of different files

    >>> one, other = ({"file": "ab12", "arrows": [{"x": x, "y": "0.5", "turn": 90}]} for x in ("0.1", "0.2"))
    >>> [arrow.x for arrow in arrows_in(together([one, other]))]
    [0.1, 0.2]
    >>> together([one, {"file": "cd34"}])
    """
    found = [value for value in values if isinstance(value, dict) and isinstance(value.get("file"), str)]
    if not found or len(found) != len(values) or any(value["file"] != found[0]["file"] for value in found):
        return None
    return with_arrows(found[0], [*dict.fromkeys(arrow for value in found for arrow in arrows_in(value))])


def is_picture(photo: Photo) -> bool:
    """Whether a file is a picture, by its name: other files can be kept with a step as well."""
    return photo.name.lower().endswith(PICTURES)


def is_recording(measured: Measurement, host: PluginHost) -> bool:
    """Whether a measurement is of a field that holds a recording."""
    step = host.step(measured.step)
    fields = step.all_fields() if step else ()
    return any(field.is_called(measured.field) and field.kind is Kind.RECORDING for field in fields)


def nearest(photo: Photo, findings: Sequence[Finding]) -> Finding | None:
    """The finding a photo stands beside: of those about the value it shows, the one about the fewest others."""
    about = [finding for finding in findings if photo.shows in finding.places]
    return min(about, key=lambda finding: len(finding.places), default=None)


def shown_in_words(photo: Photo, host: PluginHost, view: JobView) -> str:
    """What a photo shows, in the words of its step: "Voltage drop, Forward"; "" for the step as a whole."""
    step_key, field_name, row, of = photo.shows
    if not field_name:
        return ""
    step = host.step(step_key)
    titles = (field.title for field in step.all_fields() if field.is_called(field_name)) if step else iter(())
    title = next(titles, None) or field_name.replace("_", " ")
    return ", ".join(filter(None, (title, of, row_in_words(photo.shows, host, view) if row else "")))


def arrows_in_words(photo: Photo) -> str:
    """What the arrows of a photo point at: "1 this clamp, 2 chafed"; "" where it has none.

    >>> photo = Photo(place=("s", "f", "", ""), shows=("s", "f", "", ""), file="ab", name="a.jpg", taken="", by="",
    ...               arrows=(Arrow(x=0.5, y=0.5, turn=0, word="this clamp"), Arrow(x=0.5, y=0.5, turn=0)))
    >>> arrows_in_words(photo)
    '1 this clamp, 2'
    """
    return ", ".join(f"{number} {one.word}".strip() for number, one in enumerate(photo.arrows, start=1))


def photo_in_words(photo: Photo, host: PluginHost, view: JobView) -> str:
    """A photo for those who cannot see it: what it shows, and what its arrows point at."""
    shown = shown_in_words(photo, host, view)
    arrows = arrows_in_words(photo)
    pointed = f"Arrows point at: {arrows}." if len(photo.arrows) > 1 else f"An arrow points at: {arrows}."
    step = host.step(photo.place[0])
    about = ": ".join(filter(None, (step.title if step else photo.place[0], shown)))
    return " ".join(filter(None, (f"Photo. {about}.", pointed if photo.arrows else "")))
