"""What the pages draw from the house look: the table of colours as a style sheet, marks and figures as SVG."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from functools import lru_cache

import attrs
from markupsafe import Markup

from garboard.findings import Figure
from garboard.report.figures import axis_title, figure_bytes
from garboard.report.palette import DASH, DAY, DISC, HALF_RING, RING, SQUARE_WITH_BAR, TICK_IN_ROUND, Mark, Part
from garboard.report.photos import Photo

MOST_DRAWN_KEPT = 500

SPLIT_DIAMOND = (
    Part("area", ((0.44, 0.0), (0.44, 1.0), (0.0, 0.5))),
    Part("area", ((0.56, 0.0), (1.0, 0.5), (0.56, 1.0))),
)
STATE_MARKS: Mapping[str, Mark] = {
    "to settle": Mark("to settle", SPLIT_DIAMOND, "action", "◆", "?"),
    "handed over": Mark("handed over", DISC, "unknown", "●", "*"),
    "failing": Mark("failing", SQUARE_WITH_BAR, "fail", "■", "x"),
    "ready": Mark("ready", TICK_IN_ROUND, "good", "✔", "+"),
    "in work": Mark("in work", HALF_RING, "action", "◐", "."),
    "not begun": Mark("not begun", RING, "unknown", "○", "o"),
    "set aside": Mark("set aside", DASH, "unknown", "–", "-"),
}
"""Of a job, by its state on the board."""


def colours_as_css() -> str:
    """The table of colours as custom properties."""
    colours = "".join(f"--{name}:{value};" for name, value in attrs.asdict(DAY).items())
    return f":root{{{colours}}}\n"


@lru_cache(maxsize=64)
def mark_svg(mark: Mark) -> Markup:
    """A state's shape; the word stands beside it, so it is hidden from a screen reader."""
    parts = "".join(map(_part, mark.parts))
    return Markup(f'<svg class="mark {mark.colour}" viewBox="0 0 1 1" aria-hidden="true">{parts}</svg>')


def _part(part: Part) -> str:
    points = " ".join(f"{x:.3f},{y:.3f}" for x, y in part.points)
    cut = ' class="cut"' if part.cut else ""
    if part.form == "disc":
        return '<circle cx="0.5" cy="0.5" r="0.5"/>'
    if part.form == "ring":
        return f'<circle class="line" cx="0.5" cy="0.5" r="{0.5 - part.width / 2}" stroke-width="{part.width}"/>'
    if part.form == "area":
        return f'<polygon{cut} points="{points}"/>'
    return f'<polyline class="line{" cut" if part.cut else ""}" stroke-width="{part.width}" points="{points}"/>'


def figure_name(figure: Figure) -> str:
    """A figure's name: the hash of what is drawn."""
    return hashlib.sha256(repr(figure).encode()).hexdigest()[:32]


def figure_in_words(figure: Figure) -> str:
    """What a figure shows, for who cannot see it."""
    names = ", ".join(series.name for series in figure.series)
    return f"{figure.title}. {axis_title(figure.y)} against {axis_title(figure.x)}: {names}."


def photo_name(photo: Photo) -> str:
    """The name of a photo as it is shown: the hash of its file and its arrows."""
    return hashlib.sha256(repr((photo.file, photo.arrows)).encode()).hexdigest()[:32]


class Drawn:
    """Things of one kind drawn, kept by the content they were drawn from.

    One at a time, as what draws figures is not made for several threads. A book that takes long holds up other books,
    and no figure.
    """

    def __init__(self, most: int = MOST_DRAWN_KEPT) -> None:
        self._most = most
        self._kept: OrderedDict[str, bytes] = OrderedDict()
        self._guard = threading.Lock()
        self._drawing = threading.Lock()

    def figure(self, name: str, figure: Figure) -> bytes:
        """A figure as SVG."""
        width, height = (120.0, 108.0) if figure.equal_scales else (160.0, 86.0)
        return self.get(name, lambda: figure_bytes(figure, "svg", width, height))

    def forget(self, name: str) -> None:
        """Draw it anew the next time."""
        with self._guard:
            self._kept.pop(name, None)

    def get(self, name: str, draw: Callable[[], bytes]) -> bytes:
        """What has a name, drawn now if it was not before."""
        if (content := self._found(name)) is not None:
            return content
        with self._drawing:
            if (content := self._found(name)) is None:  # another may have drawn it meanwhile
                content = draw()
                with self._guard:
                    self._kept[name] = content
                    while len(self._kept) > self._most:
                        self._kept.popitem(last=False)
        return content

    def _found(self, name: str) -> bytes | None:
        with self._guard:
            if name in self._kept:
                self._kept.move_to_end(name)
            return self._kept.get(name)
