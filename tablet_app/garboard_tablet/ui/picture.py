"""Photos on the screen: the picture as it was taken, and its arrows drawn over it."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from kivy.core.text import Label as CoreLabel
from kivy.graphics import Color, Ellipse, Line, Quad, Rectangle, Triangle
from kivy.graphics.texture import Texture
from kivy.uix.widget import Widget

from garboard.faults import in_number
from garboard.report.palette import DAY
from garboard.report.photo_files import PictureRefused, opened
from garboard.report.photos import Arrow, ArrowShape, Photo, PhotoContent, PhotoLoader, is_picture, shape_of
from garboard_tablet.language import phrase
from garboard_tablet.ui.curves import pieces
from garboard_tablet.ui.theme import GAP, SMALL, dp, theme
from garboard_tablet.ui.widgets import RowPress, Touched, Txt

WIDE, HIGH = 240, 176
"""38 x 28 mm: a picture in a list [dp]."""
ROW_WIDE, ROW_HIGH = 112, 84
"""A picture in the row of a step [dp]."""
THUMB_SIDE = 320
"""So large a picture is read for a list [dp]."""
_MOST_KEPT = 40
_kept: OrderedDict[tuple[str, int], Texture] = OrderedDict()


def texture_of(name: str, load: Callable[[], PhotoContent], side: float) -> Texture | None:
    """A picture to draw, its longer side at most so long; None for one that is not here, or is no picture.

    name : of its content: it is read once
    """
    key = (name, int(side))
    if key not in _kept:
        image = _read(load, int(side))
        if image is None:
            return None
        texture = Texture.create(size=image.size, colorfmt="rgb")
        _fill(texture, image)
        texture.flip_vertical()
        texture.add_reload_observer(partial(_fill_again, load, int(side)))
        _kept[key] = texture
        while len(_kept) > _MOST_KEPT:
            _kept.popitem(last=False)
    _kept.move_to_end(key)
    return _kept[key]


def _read(load: Callable[[], PhotoContent], side: int) -> Any:
    """A picture as it is drawn; None for none."""
    try:
        return opened(load(), side)
    except (PictureRefused, ImportError, OSError):
        return None


def _fill(texture: Texture, image: Any) -> None:
    texture.blit_buffer(image.tobytes(), colorfmt="rgb", bufferfmt="ubyte")


def _fill_again(load: Callable[[], PhotoContent], side: int, texture: Texture) -> None:
    """The system may take what was drawn while the app is out of sight, as it is while the camera is in front."""
    image = _read(load, side)
    if image is not None and image.size == texture.size:
        _fill(texture, image)


class PhotoView(Widget):
    """A picture as large as there is room for, with its arrows. Without a texture, an empty frame with words.

    in_hand : number of the arrow that is drawn in the colour of what is pressed; -1 for none
    aside   : where the picture stands in room it does not fill: 0 at the left, 1 at the right; at the top either way
    """

    aside = 0.5

    def __init__(
        self, texture: Texture | None, arrows: Sequence[Arrow], in_hand: int = -1, without: str = "Not here"
    ) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.texture, self.arrows, self.in_hand = texture, arrows, in_hand
        self._without = Txt(without, SMALL, "quiet", halign="center") if texture is None else None
        if self._without is not None:
            self.add_widget(self._without)
        self.bind(pos=self._draw, size=self._draw)

    @property
    def aspect(self) -> float:
        """Width by height."""
        return float(self.texture.width / self.texture.height) if self.texture else WIDE / HIGH

    @property
    def place(self) -> tuple[float, float, float, float]:
        """Where the picture itself stands: left, bottom, width, height."""
        wide = min(self.width, self.height * self.aspect)
        high = wide / self.aspect
        return self.x + (self.width - wide) * self.aside, self.top - high, wide, high

    def share_at(self, x: float, y: float) -> tuple[float, float] | None:
        """The place in the picture under a touch, as shares from the upper left; None beside it."""
        left, bottom, wide, high = self.place
        across, down = (x - left) / wide, 1.0 - (y - bottom) / high
        return (across, down) if 0 <= across <= 1 and 0 <= down <= 1 else None

    def show(self, arrows: Sequence[Arrow], in_hand: int) -> None:
        """Draw other arrows."""
        self.arrows, self.in_hand = arrows, in_hand
        self._draw()

    def _draw(self, *_: object) -> None:
        self.canvas.before.clear()
        left, bottom, wide, high = self.place
        with self.canvas.before:
            if self.texture is None:
                Color(*theme.line)
                Line(rectangle=(left, bottom, wide, high), width=dp(1), dash_offset=3, dash_length=6)
            else:
                Color(1, 1, 1, 1)
                Rectangle(texture=self.texture, pos=(left, bottom), size=(wide, high))
                for number, arrow in enumerate(self.arrows, start=1):
                    self._draw_arrow(arrow, number)
        if self._without is not None:
            self._without.fit(max(wide - dp(16), 1))
            self._without.center = (left + wide / 2, bottom + high / 2)

    def _draw_arrow(self, arrow: Arrow, number: int) -> None:
        """In ink with a light edge, by day and by night: it lies on a picture. The one in hand in another colour."""
        left, bottom, wide, high = self.place
        colour = DAY.action if number - 1 == self.in_hand else DAY.ink
        for edge in (True, False):
            shape = shape_of(arrow, wide, high, edge=edge)
            Color(*_rgb(DAY.panel if edge else colour))
            self._draw_shape(shape, left, bottom + high)
        digit = CoreLabel(text=str(number), font_size=max(shape.radius * 1.4, 1), bold=True)
        digit.refresh()
        wide_digit, high_digit = digit.texture.size
        x, y = left + shape.disc[0], bottom + high - shape.disc[1]
        Color(1, 1, 1, 1)
        Rectangle(texture=digit.texture, pos=(x - wide_digit / 2, y - high_digit / 2), size=digit.texture.size)

    @staticmethod
    def _draw_shape(shape: ArrowShape, left: float, top: float) -> None:
        flat = [[xy for x, y in area for xy in (left + x, top - y)] for area in (shape.shaft, shape.head)]
        Quad(points=flat[0])
        Triangle(points=flat[1])
        for points in flat:
            Line(points=points, width=0.6, close=True, joint="miter")  # smooths the edges
        x, y, radius = left + shape.disc[0], top - shape.disc[1], shape.radius
        Ellipse(pos=(x - radius, y - radius), size=(2 * radius, 2 * radius), segments=pieces(radius))


def _rgb(colour: str) -> tuple[float, float, float]:
    return tuple(int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))  # type: ignore[return-value]


class PhotoPress(Touched, Widget):
    """A picture in a list, with words beneath it, to press."""

    def __init__(
        self,
        texture: Texture | None,
        arrows: Sequence[Arrow],
        caption: str,
        do: Callable[[], object],
        name: str,
    ) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.name, self._do = name, do
        self._view = PhotoView(texture, arrows)
        self._view.aside = 0.0
        self._caption = Txt(caption, SMALL, "quiet")
        self.add_widget(self._view)
        self.add_widget(self._caption)
        self.bind(pos=self._place, state=self._edge)

    @property
    def text(self) -> str:
        return str(self._caption.text)

    def fit(self, width: float) -> float:
        self._view.size = (width, min(dp(HIGH), width * HIGH / WIDE))
        self._caption.fit(width)
        self.size = (width, self._view.height + dp(6) + self._caption.height)
        self._place()
        return float(self.height)

    def _place(self, *_: object) -> None:
        self._view.pos = (self.x, self.top - self._view.height)
        self._caption.pos = (self.x, self._view.y - dp(6) - self._caption.height)
        self._edge()

    def _edge(self, *_: object) -> None:
        self.canvas.after.clear()
        left, bottom, wide, high = self._view.place
        with self.canvas.after:
            Color(*(theme.line if self.state == "normal" else theme.action))
            Line(rectangle=(left, bottom, wide, high), width=dp(1.1) if self.state == "normal" else dp(4))


def _kept_in_words(pictures: int, files: int) -> str:
    """What the row of photos says: a manual kept beside them is no photo.

    >>> _kept_in_words(2, 2), _kept_in_words(2, 3), _kept_in_words(0, 1)
    ('2 kept', '2 kept, and 1 file', '1 file kept')
    """
    others = in_number(files - pictures, "file")
    if not files:
        return "None yet. Add one"
    if not pictures:
        return phrase("{files} kept", files=others)
    if files == pictures:
        return phrase("{count} kept", count=pictures)
    return phrase("{count} kept, and {files}", count=pictures, files=others)


class PhotosRow(RowPress):
    """The row of a step that leads to its photos: how many there are, and the newest of them."""

    def __init__(
        self,
        title: str,
        do: Callable[[], object],
        *,
        photos: Sequence[Photo],
        load: PhotoLoader,
        name: str,
    ) -> None:
        self._pictures, self._load = [photo for photo in photos if is_picture(photo)], load
        self._views: list[PhotoView] = []
        super().__init__(title, do, small=_kept_in_words(len(self._pictures), len(photos)), name=name)

    def fit(self, width: float) -> float:
        most = max(1, int(width * 0.55 // dp(ROW_WIDE + GAP)))
        self.kept_free = len(self._pictures[:most]) * (ROW_WIDE + GAP)
        for photo in self._pictures[len(self._views) : most]:
            texture = texture_of(photo.file, partial(self._load, photo), dp(THUMB_SIDE))
            view = PhotoView(texture, photo.arrows, without="…")
            view.size = (dp(ROW_WIDE), dp(ROW_HIGH))
            self._views.append(view)
            self.add_widget(view)
        high = super().fit(width)
        if self._views and high < dp(ROW_HIGH + 20):
            self.height = high = dp(ROW_HIGH + 20)
            self._place()
        return high

    def _place(self, *_: object) -> None:
        super()._place()
        x = self.right - dp(16)
        for view in reversed(self._views):
            x -= view.width
            view.pos = (x, self.center_y - view.height / 2)
            x -= dp(GAP)


class PhotoGrid(Widget):
    """Pictures side by side, as many to a row as there is room for. In a column it can be parted."""

    def __init__(self, makers: Sequence[Callable[[], PhotoPress]]) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._makers = makers
        self._presses = [make() for make in makers]
        for press in self._presses:
            self.add_widget(press)
        self._columns, self._rows = 1, [0.0]
        self.bind(pos=self._place)

    def fit(self, width: float) -> float:
        gap = dp(GAP)
        self._columns = max(1, int((width + gap) // (dp(WIDE) + gap)))
        each = min(dp(WIDE) * 1.25, (width - gap * (self._columns - 1)) / self._columns)
        heights = [press.fit(each) for press in self._presses]
        firsts = range(0, len(heights), self._columns)
        self._rows = [max(heights[first : first + self._columns]) for first in firsts]
        self.size = (width, sum(self._rows) + gap * (len(self._rows) - 1))
        self._place()
        return float(self.height)

    def parts(self, room: float) -> list[Callable[[], Any]]:
        """The same pictures in two parts, of which the first fits a room; none where not even a row does."""
        rows, used = 0, 0.0
        for high in self._rows:
            used += high + (dp(GAP) if rows else 0)
            if used > room + 1:
                break
            rows += 1
        count = rows * self._columns
        if not 0 < count < len(self._makers):
            return []
        return [lambda: PhotoGrid(self._makers[:count]), lambda: PhotoGrid(self._makers[count:])]

    def _place(self, *_: object) -> None:
        gap, top = dp(GAP), self.top
        for row, high in enumerate(self._rows):
            for place, press in enumerate(self._presses[row * self._columns : (row + 1) * self._columns]):
                press.pos = (self.x + place * (press.width + gap), top - press.height)
            top -= high + gap


__all__ = ["THUMB_SIDE", "PhotoGrid", "PhotoPress", "PhotoView", "PhotosRow", "texture_of"]
