"""The few widgets every page is made of.

Each widget that stands in a column has `fit(width)`: it takes that width and answers the height it needs. Pages
are laid out from these answers at once, so that nothing is clipped silently and a test can see what is there.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kivy.clock import Clock
from kivy.core.text import Label as CoreLabel
from kivy.graphics import (
    Color,
    Line,
    Mesh,
    PopMatrix,
    PushMatrix,
    Rectangle,
    SmoothEllipse,
    SmoothLine,
    Translate,
    Triangle,
)
from kivy.graphics.tesselator import Tesselator
from kivy.lang import Builder
from kivy.metrics import Metrics
from kivy.properties import BooleanProperty, ColorProperty, NumericProperty, StringProperty
from kivy.uix.behaviors import ButtonBehavior
from kivy.uix.label import Label
from kivy.uix.widget import Widget

from garboard.disk.storage import NotSaved
from garboard.report.palette import STEP_MARKS, VERDICT_MARKS, Mark, Part
from garboard.report.unit_signs import with_signs
from garboard.units import with_minus
from garboard.verdict import Verdict
from garboard_tablet.language import Language, phrase, shown
from garboard_tablet.ui.curves import filled, pieces, rounded
from garboard_tablet.ui.joined import joined
from garboard_tablet.ui.on_its_way import Standing, StoodBefore
from garboard_tablet.ui.theme import BODY, DIGITS, GAP, HEADING, LEAST_TEXT, SMALL, TARGET, THUMB, dp, sp, theme
from garboard_tablet.ui.tidy import has_left

if TYPE_CHECKING:
    from garboard.steps import Caution

Builder.load_file(str(Path(__file__).with_name("theme.kv")))

_picture_of_words = CoreLabel._render_end


def _and_let_go(label: Any) -> Any:
    """Kivy's label keeps what it drew its words on, as large as the picture it makes of it, as long as it is there."""
    picture, label._surface = _picture_of_words(label), None
    return picture


CoreLabel._render_end = _and_let_go

_room_for_words = CoreLabel.render


def _no_wider_than_its_words(label: Any, real: bool = False) -> Any:
    """Kivy's picture of words is as wide as the room for them: what is empty of it is kept and drawn as well."""
    room = _room_for_words(label, real)
    if real or not label.text or not label.text_size[0]:
        return room
    (wide, high), own = room, label._internal_size[0]
    spare = max(0, wide - max(2, own))
    if label.options["halign"] == "center":
        spare -= spare % 2  # as much on each side: the words stay where they are
    return wide - spare, high


CoreLabel.render = _no_wider_than_its_words


class _Text(Label):
    """Kivy's label, which here watches what changes here: a third of its own.

    Of the objects a page is made of, and is cleared away with, most were what watches the rest. What is left out
    stays as Kivy has it, and is refused when somebody asks for it. Its words are set once for each change of them, not
    once more for each frame after, and it places their picture itself: theme.kv leaves out Kivy's rule for labels.
    """

    _font_properties = (
        *("text", "font_size", "font_name", "font_script_name", "bold", "color", "disabled_color"),
        *("halign", "valign", "text_size", "markup"),
    )

    def __init__(self, **more: Any) -> None:
        if left_out := (set(Label._font_properties) - set(self._font_properties)) & set(more):
            raise TypeError(f"a text here does not watch {', '.join(sorted(left_out))}: see _Text")
        self._trigger_texture = Clock.create_trigger(self.texture_update, -1)
        self._is_set = False
        super(Label, self).__init__(**more)  # past Label's own, of which this is the rest
        self._picture = Rectangle(size=(0, 0))
        self.canvas.add(self._picture)
        for name in ("pos", "size"):
            self.fbind(name, self._place_picture)
        for name in (*self._font_properties, "disabled"):
            self.fbind(name, self._trigger_texture_update, name)
        self._label: Any = None
        self._create_label()
        self._trigger_texture()
        self.full = float(more["font_size"])

    def _create_label(self) -> None:
        super()._create_label()
        self._label.text = joined(self.text)

    def texture_update(self, *_: object) -> None:
        if self._is_set:
            return
        super().texture_update()
        self._is_set = True
        self._trigger_texture.cancel()
        self._picture.texture, self._picture.size = self.texture, self.texture_size
        self._place_picture()

    def _place_picture(self, *_: object) -> None:
        """In the middle, or at the left of a room in it. Kivy's own center is told of another size after this is."""
        wide, high = self.texture_size
        room = self.text_size[0]
        if room is not None and self.halign != "center":
            wide = int(room)
        self._picture.pos = int(self.x + (self.width - wide) / 2), int(self.y + (self.height - high) / 2)

    def _trigger_texture_update(self, name: str | None = None, source: Any = None, value: Any = None) -> None:
        self._is_set = False
        super()._trigger_texture_update(name, source, value)
        if source and name == "text":
            self._label.text = joined(value)

    def shrink_to(self, room: float, high: float | None = None) -> None:
        """Words as large as they fit in, down to the least size: no word is broken, none is cut.

        As the program's own words at their usual size fit every page, this is done for others alone.
        """
        if is_measured():
            return
        least = dp(LEAST_TEXT)
        self.font_size = self.full
        while self.font_size > least and not self._fits(room, high):
            self.font_size = max(least, self.font_size * 0.94)

    def _fits(self, room: float, high: float | None) -> bool:
        self.texture_update()
        longest = max(map(self._wide, self._pieces()))
        return longest <= room and (high is None or self.texture_size[1] <= high)

    def _pieces(self) -> list[str]:
        """What stands on one line: words, and values with their units."""
        return str(self._label.text).replace("\n", " ").split(" ")

    def _part_values(self, room: float) -> None:
        """Where a value does not fit on one line, it ends one between its parts: a word broken in two is no word."""
        text = joined(self.text)
        values = [piece for piece in text.replace("\n", " ").split(" ") if "\u00a0" in piece]
        if values:
            told = with_signs(with_minus(self.text)) if max(map(self._wide, values)) > room else text
            if told != self._label.text:
                self._label.text, self._is_set = told, False

    def _wide(self, words: str) -> float:
        return float(self._label.get_extents(words)[0])


def is_measured() -> bool:
    """Whether words are those, and as large, as every page was laid out for."""
    return not Language.is_another and float(Metrics.fontscale) == 1.0


class Txt(_Text):
    """Words, wrapped to their width. `role` names the colour."""

    role = StringProperty("ink")

    def __init__(self, text: str, size: float = BODY, role: str = "ink", **more: Any) -> None:
        super().__init__(text=shown(text), font_size=sp(size), role=role, **more)
        self.color = theme.colour(role)
        self.disabled_color = self.color

    def say(self, text: str) -> None:
        """Say something else; the place it needs is another then."""
        self.text = shown(text)

    def fit(self, width: float) -> float:
        self.text_size: tuple[float | None, None] = (width, None)
        self.shrink_to(width)
        self._part_values(width)
        self.texture_update()
        self.size = (width, self.texture_size[1])
        return float(self.height)

    def wide(self, words: str) -> float:
        """How wide words would be on one line, set as it is."""
        return self._wide(words)

    def fit_line(self) -> tuple[float, float]:
        """The size on one line."""
        self.text_size = (None, None)
        self.texture_update()
        self.size = self.texture_size
        return float(self.width), float(self.height)


class MarkShape(Widget):
    """The shape of a state, drawn from the table of marks."""

    def __init__(self, mark: Mark, side: float = 30, ground: str = "panel") -> None:
        super().__init__(size_hint=(None, None), size=(dp(side), dp(side)))
        self.mark, self._ground = mark, ground
        self._at = Translate(*self.pos)  # it is moved several times before it is seen, and drawn once
        self.fbind("pos", self._move)
        self.fbind("size", self._draw)
        self._draw()

    def _move(self, *_: object) -> None:
        self._at.xy = self.pos

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        with self.canvas:
            PushMatrix()
            self.canvas.add(self._at)
            for part in self.mark.parts:
                Color(*theme.colour(self._ground if part.cut else self.mark.colour))
                self._draw_part(part)
            PopMatrix()

    def _draw_part(self, part: Part) -> None:
        """Draw with the lower left corner at nought."""
        side = min(self.size)
        points = [(px * side, self.height - py * side) for px, py in part.points]
        flat = [coordinate for point in points for coordinate in point]
        if part.form == "disc":
            SmoothEllipse(pos=(0, 0), size=(side, side), segments=pieces(side / 2))
        elif part.form == "ring":
            radius = side / 2 * (1 - part.width)
            circle = (self.width / 2, self.height / 2, radius, 0, 360, pieces(side / 2))
            SmoothLine(circle=circle, width=part.width * side / 2)
        elif part.form == "stroke":
            SmoothLine(points=flat, width=part.width * side / 2)
        elif len(points) == 3:
            Triangle(points=flat)
            SmoothLine(points=flat, width=dp(0.8), close=True)
        else:
            _fill(flat)
            SmoothLine(points=flat, width=dp(0.8), close=True)


def _fill(flat: Sequence[float]) -> None:
    area = Tesselator()
    area.add_contour(list(flat))
    if area.tesselate():
        for vertices, indices in area.meshes:
            Mesh(vertices=vertices, indices=indices, mode="triangle_fan")


def act(do: Callable[[], object]) -> None:
    """Do what a finger asked for. A disk that refuses ends nothing: the page says so, and what was typed stays.

    Any other failure is shown each time: nobody should press and see nothing happen.
    """
    try:
        do()
    except NotSaved as failure:
        Press.refused(failure)
    except Exception as failure:
        Press.failed(failure)


def _raise(failure: Exception) -> None:
    raise failure


class Touched(ButtonBehavior):
    """What can be pressed. A wet finger that bounces counts once, and one that was on its way before it came up never.

    is_key  : whether it does the same on each page that has it
    is_same : whether it does the same whatever it says
    bounce  : presses that follow one another faster are one [s]
    """

    BOUNCE = 0.25
    KEY_BOUNCE = 0.09
    """Of what is pressed many times, as fast as a finger can."""

    is_key = is_same = False
    bounce = BOUNCE
    _do: Callable[[], object]

    def __init__(self, **more: Any) -> None:
        self.standing = self._taken = Standing()
        super().__init__(**more)

    def goes_on(self) -> None:
        """It is pressed as often and as fast as a finger can, and says meanwhile how far it is."""
        self.is_same, self.bounce = True, self.KEY_BOUNCE

    def on_touch_down(self, touch: Any) -> bool:
        if self.collide_point(*touch.pos):
            if stood_before.is_new(self):
                return True
            self._taken = self.standing
        return bool(super().on_touch_down(touch))

    def on_release(self) -> None:
        if stood_before.still_has(self._taken):
            self._press_once()

    def _press_once(self) -> None:
        now = Press.now()
        if now - self._taken.pressed >= self.bounce:
            self._taken.pressed = now
            act(self._do)
            stood_before.changes()


stood_before = StoodBefore(Touched, lambda: Press.now())


class _Panelled(Widget):
    """What has a rounded ground with an edge. They are drawn once before each frame, and not at each move before it.

    Rules of theme.kv would do the same, and watch each thing they name: most of the time a press took to be made.
    """

    RADIUS = 8.0
    """Of its corners [dp]."""
    PANEL_OF: tuple[str, ...] = ("pos", "size")
    """What it is drawn anew for."""
    _drawn_at: tuple[float, ...] = ()

    def __init__(self, **more: Any) -> None:
        super().__init__(**more)
        with self.canvas.before:
            self._fill, self._area = Color(), Mesh(mode="triangles")
            self._ink, self._outline = Color(), SmoothLine(close=True)
        self._draw_soon = Clock.create_trigger(self._draw_panel, -1)
        for name in self.PANEL_OF:
            self.fbind(name, self._draw_soon)
        self._draw_soon()

    def _panel(self) -> tuple[Sequence[float], Sequence[float], float]:
        """Colours of its ground and of its edge, and the edge's width."""
        raise NotImplementedError

    def _draw_panel(self, *_: object) -> None:
        self._fill.rgba, self._ink.rgba, self._outline.width = self._panel()
        place = (*self.pos, *self.size)
        if self._drawn_at != place:
            self._drawn_at = place
            stood_before.changes()
            edge = rounded(self.x, self.y, self.width, self.height, dp(self.RADIUS))
            self._outline.points = edge
            self._area.vertices, self._area.indices = filled(edge)


class Press(Touched, _Panelled, _Text):
    """Something to press.

    kind : "main" (the next thing to do), "plain", "key" (of a pad), or "away" (what cannot be undone)
    """

    face = ColorProperty(theme.panel)
    edge = ColorProperty(theme.line)
    ground = ColorProperty(theme.panel)
    chosen = BooleanProperty(False)

    refused: Callable[[NotSaved], None] = staticmethod(_raise)
    failed: Callable[[Exception], None] = staticmethod(_raise)
    """What to do when the disk refuses; the app says."""
    now: Callable[[], float] = staticmethod(time.monotonic)
    quiet_until = 0.0
    """Until then what is no press swallows touches as well: a finger that has just changed the page draws nothing."""

    RADIUS = 10.0
    PANEL_OF = ("pos", "size", "state", "face", "edge", "chosen")

    def __init__(
        self, text: str, do: Callable[[], object], kind: str = "plain", size: float = BODY, name: str = "", **more: Any
    ) -> None:
        super().__init__(
            text=shown(text), font_size=sp(size), size_hint=(None, None), halign="center", valign="middle", **more
        )
        self.kind, self.name, self._do = kind, name or text, do
        self.always_release = False
        self._is_fitted = False
        self.is_key = kind == "key"
        if self.is_key:
            self.font_name = DIGITS
            self.goes_on()
        self.bold = kind == "main" or self.chosen
        self.bind(size=self._wrap)
        self.paint()

    def _trigger_texture_update(self, name: str | None = None, source: Any = None, value: Any = None) -> None:
        super()._trigger_texture_update(name, source, value)
        if name == "text" and not self.is_same:
            stood_before.changes()

    def _panel(self) -> tuple[Sequence[float], Sequence[float], float]:
        return self.face, self.edge, dp(4 if self.chosen or self.state != "normal" else 1.6)

    def serve(self, text: str, do: Callable[[], object]) -> None:
        """Do something else from now on, on another page."""
        self.text, self._do, self.font_size = shown(text), do, self.full
        self.paint()

    def paint(self) -> None:
        """Take the colours of the kind."""
        strong = self.kind == "main"
        self.bold = self.bold or strong  # what is chosen has a thick edge instead: filled is only what is next
        self.face = theme.action if strong else theme.panel
        self.ground = self.face
        self.color = theme.over_action if strong else theme.fail if self.kind == "away" else theme.ink
        self.disabled_color = theme.quiet if not strong else theme.over_action
        self.edge = theme.action if strong else theme.fail if self.kind == "away" else theme.line
        if self.chosen:
            self.edge = theme.ink

    def _wrap(self, *_: object) -> None:
        room = max(1.0, self.width - dp(24))
        self.text_size = (room, None)
        if self.kind != "key":
            self.shrink_to(room, None if self._is_fitted else self.height)
        self._part_values(room)

    @property
    def least(self) -> float:
        """Least side [dp]."""
        return THUMB if self.kind in ("main", "key") else TARGET

    def fit(self, width: float) -> float:
        self._is_fitted = True
        self.width = width
        self._wrap()
        self.texture_update()
        self.height = max(dp(self.least), self.texture_size[1] + dp(24))
        self._is_fitted = False
        return float(self.height)

    def least_width(self) -> float:
        """The width in which no word of it is broken, in the smallest words."""
        self.font_size = dp(LEAST_TEXT)
        self.texture_update()
        return max(map(self._wide, self._pieces())) + dp(26)

    def fit_low(self, width: float) -> float:
        """Take a width, and no more than the least height where smaller words have room in it."""
        high = self.fit(width)
        if high > dp(self.least) and not is_measured():
            self.height = dp(self.least)
            if not self._fits(width - dp(24), self.height):
                return self.fit(width)
        return float(self.height)

    def on_press(self) -> None:
        if self.is_key:
            self._press_once()

    def on_release(self) -> None:
        if not self.is_key:
            super().on_release()


class RowPress(Touched, _Panelled):
    """A line of a list: a shape with its word, a title, small print, and a value at the right.

    word : stands for the mark's own; None where the value says it already
    lead : whether the title names what the words beneath are about
    """

    ground = ColorProperty(theme.panel)
    PANEL_OF = ("pos", "size", "state")
    kept_free = 0.0
    """Width at the right that a kind of row keeps for something of its own [dp]."""

    def __init__(
        self, title: str, do: Callable[[], object], *, small: str = "", value: str = "", mark: Mark | None = None,
        word: str | None = "", name: str = "", value_role: str = "ink", lead: bool = False,
    ) -> None:  # fmt: skip
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.name, self._do = name or title, do
        self.ground, self._below = theme.panel, False
        self._shape = MarkShape(mark, 32) if mark else None
        self._title = Txt(title, bold=lead)
        self._small = (Txt(small) if lead else Txt(small, SMALL, "quiet")) if small else None
        self._value = Txt(value, BODY, value_role) if value else None
        shown_word = "" if word is None else word or (mark.word if mark else "")
        self._word = Txt(shown_word, SMALL, mark.colour if mark else "quiet") if shown_word else None
        for child in (self._shape, self._title, self._small, self._value, self._word):
            if child is not None:
                self.add_widget(child)
        self.bind(pos=self._place)

    def _panel(self) -> tuple[Sequence[float], Sequence[float], float]:
        is_up = self.state == "normal"
        return theme.panel, theme.line if is_up else theme.action, dp(1.1 if is_up else 4)

    @property
    def text(self) -> str:
        return str(self._title.text)

    def say(self, title: str, small: str) -> None:
        """Change what it says, where it stands."""
        said = [(self._title, title)] + ([(self._small, small)] if self._small else [])
        if any(shown.text != text for shown, text in said):
            for shown, text in said:
                shown.text = text
            self.fit(self.width)

    def fit(self, width: float) -> float:
        pad = dp(16)
        left = pad + (dp(32) + dp(14) if self._shape else 0)
        for aside in (self._value, self._word):
            if aside is not None:
                aside.fit_line()
        widest = max((aside.width for aside in (self._value, self._word) if aside is not None), default=0.0)
        self._below = widest > width * 0.45
        room = width - left - pad - dp(self.kept_free) - (0 if self._below or not widest else widest + dp(16))
        heights = [text.fit(room) for text in self._texts()]
        asides = sum(aside.height for aside in self._asides())
        self.size = (width, max(dp(TARGET), sum(heights) + dp(28), asides + dp(24)))
        self._place()
        return float(self.height)

    def _texts(self) -> list[Txt]:
        """What stands at the left, line by line; a value too wide for the right stands there too."""
        below = [self._value, self._word] if self._below else []
        return [text for text in (self._title, *below, self._small) if text is not None]

    def _asides(self) -> list[Txt]:
        return [] if self._below else [text for text in (self._value, self._word) if text is not None]

    def _place(self, *_: object) -> None:
        pad = dp(16)
        left = self.x + pad
        if self._shape:
            self._shape.pos = (left, self.center_y - self._shape.height / 2)
            left += self._shape.width + dp(14)
        top = self.center_y + sum(text.height for text in self._texts()) / 2
        for text in self._texts():
            text.pos = (left, top - text.height)
            top -= text.height
        top = self.center_y + sum(aside.height for aside in self._asides()) / 2
        for aside in self._asides():
            aside.pos = (self.right - pad - dp(self.kept_free) - aside.width, top - aside.height)
            top -= aside.height


class Card(_Panelled):
    """Words, or what else has `fit`, on a panel, with a shape and its word where they say how something stands.

    word : stands for the mark's own
    side : of the shape [dp]
    edge : width of the edge [dp]
    """

    ground = ColorProperty(theme.panel)
    edge = ColorProperty(theme.line)
    edge_width = NumericProperty(1.1)
    PANEL_OF = ("pos", "size", "edge", "edge_width")

    def __init__(
        self, *texts: Any, mark: Mark | None = None, word: str = "", side: float = 32, edge: float = 1.1
    ) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.ground = theme.panel
        self.edge = theme.colour(mark.colour) if mark else theme.line
        self.edge_width = dp(edge)
        self._shape = MarkShape(mark, side) if mark else None
        self._word = Txt(word or mark.word, SMALL, mark.colour, bold=True) if mark else None
        self._texts = texts
        for child in (self._shape, self._word, *texts):
            if child is not None:
                self.add_widget(child)
        self.bind(pos=self._place)

    def _panel(self) -> tuple[Sequence[float], Sequence[float], float]:
        return theme.panel, self.edge, self.edge_width

    def fit(self, width: float) -> float:
        pad = dp(16)
        head = 0.0
        if self._word:
            self._word.fit_line()
            head = max(self._shape.height if self._shape else 0.0, self._word.height) + dp(8)
        body = sum(text.fit(width - 2 * pad) + dp(6) for text in self._texts)
        self.size = (width, head + body + 2 * pad - dp(6))
        self._place()
        return float(self.height)

    def _place(self, *_: object) -> None:
        pad = dp(16)
        top = self.top - pad
        if self._shape and self._word:
            high = max(self._shape.height, self._word.height)
            self._shape.pos = (self.x + pad, top - high / 2 - self._shape.height / 2)
            self._word.pos = (self._shape.right + dp(12), top - high / 2 - self._word.height / 2)
            top -= high + dp(8)
        for text in self._texts:
            text.pos = (self.x + pad, top - text.height)
            top -= text.height + dp(6)


class Marked(Widget):
    """One line of words with the shape of a state before it, in its colour."""

    def __init__(self, text: str, mark: Mark) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._shape, self._text = MarkShape(mark, 28, "ground"), Txt(text, BODY, mark.colour, bold=True)
        for child in (self._shape, self._text):
            self.add_widget(child)
        self.bind(pos=self._place)

    @property
    def text(self) -> str:
        return str(self._text.text)

    def fit(self, width: float) -> float:
        self._text.fit(width - self._shape.width - dp(12))
        self.size = (width, max(self._shape.height, self._text.height))
        self._place()
        return float(self.height)

    def _place(self, *_: object) -> None:
        self._shape.pos = (self.x, self.center_y - self._shape.height / 2)
        self._text.pos = (self._shape.right + dp(12), self.center_y - self._text.height / 2)


class Choices(Widget):
    """A few presses that share a whole area, so that a thumb cannot miss; the last at the thumb's lower corner."""

    def __init__(self, presses: Sequence[Press]) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._presses = presses
        for press in presses:
            self.add_widget(press)
        self.bind(pos=self._place, size=self._place)

    def _place(self, *_: object) -> None:
        gap, count = dp(GAP), len(self._presses)
        rows = count
        if (self.height + gap) / count - gap < dp(THUMB):
            rows = -(-count // 2)
        columns = -(-count // rows)
        high = min((self.height - gap * (rows - 1)) / rows, dp(190))
        wide = (self.width - gap * (columns - 1)) / columns
        top = self.y + rows * high + (rows - 1) * gap
        for number, press in enumerate(self._presses):
            row, column = divmod(number, columns)
            column = columns - 1 - column if theme.left else column
            press.size = (wide, high)
            press.pos = (self.x + column * (wide + gap), top - (row + 1) * high - row * gap)


SHORT_WORDS = 140
"""A press of a list that is narrower than this has its number beneath its word [dp]."""


class Column(Widget):
    """A list of widgets, shown a page at a time: to see the rest takes a press, never a swipe.

    most  : columns side by side, where there is room for each
    least : width of a column of them [dp]
    turns : whether it has presses of its own to turn with; else whoever holds it turns it
    """

    NARROWEST = 420
    STRIP = 110
    LOW = 480
    LEAST_PART = 150
    """Room in which a part of a long table is begun beneath something else: headings and two rows [dp]."""

    def __init__(
        self, most: int = 1, spacing: float = GAP, *, turns: bool = True, least: float = NARROWEST
    ) -> None:  # fmt: skip
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._turns, self._least = turns, least
        self._makers: list[Callable[[], Any]] = []
        self._flow: list[Callable[[], Any]] = []
        self._most, self._spacing = most, spacing
        self._first = 0
        self._firsts: list[int] = []
        self._rest, self._aside = 0, 0.0
        self._filled: tuple[float, ...] = ()
        self.turned: Callable[[], object] = lambda: None
        """What to do whenever another page of the list is in sight."""
        self.at_once: Callable[[], Any] | None = None
        """Makes a press of the list that is to be on its first page: beside "more below" where it has no room above."""
        self.bind(pos=self._refill, size=self._refill)

    def turn_itself(self, own: bool) -> None:
        """Whether it has presses of its own from now on."""
        if own is not self._turns:
            self._turns, self._filled = own, ()

    @property
    def has_more(self) -> bool:
        """Whether more follows on another page."""
        return self._rest < len(self._flow)

    @property
    def has_before(self) -> bool:
        """Whether something stands on a page before."""
        return self._first > 0

    def show(self, makers: Sequence[Callable[[], Any]]) -> None:
        """Fill with what the makers make; only those in sight are made."""
        self._makers = list(makers)
        self._filled = ()
        self._refill()

    def _refill(self, *_: object) -> None:
        state = (*self.pos, *self.size, self._first)
        if state == self._filled or self.width <= 1 or self.height <= 1:
            return
        if self._filled[2:] == state[2:]:  # only moved
            for child in self.children:
                child.pos = (child.x + self.x - self._filled[0], child.y + self.y - self._filled[1])
            self._filled = state
            return
        if self._filled[2:4] != state[2:4]:  # another size: other pages
            self._flow, self._first, self._firsts = list(self._makers), 0, []
            state = (*self.pos, *self.size, 0)
        self._filled = state
        if self.children:
            self.clear_widgets()
            has_left()
        self._made: dict[int, Any] = {}
        self._aside = 0.0
        whole, self._rest = self._take(self._first, self.height)
        if not self._turns or (self._first == 0 and self._rest == len(self._flow)):
            self._stand(whole)
            self.turned()
            return
        low = self.height < dp(self.LOW) and self.width > dp(2 * self.NARROWEST - 200)
        self._aside = dp(self.STRIP + GAP) if low else 0.0
        some, self._rest = self._take(self._first, self.height - (0 if low else dp(TARGET + GAP)))
        self._stand(some)
        self._turning(low)
        self.turned()

    @property
    def _columns(self) -> int:
        return max(1, min(self._most, int((self.width - self._aside) // dp(self._least))))

    @property
    def _wide(self) -> float:
        return float((self.width - self._aside - dp(GAP) * (self._columns - 1)) / self._columns)

    def _take(self, first: int, room: float) -> tuple[list[list[Any]], int]:
        """As many widgets as there is room for, column by column; and the number of the first left over."""
        taken: list[list[Any]] = []
        number = first
        for _ in range(self._columns):
            own: list[Any] = []
            left = room
            while number < len(self._flow):
                widget = self._made.get(number) or self._flow[number]()
                self._made[number] = widget
                high = widget.fit(self._wide)
                may_part = hasattr(widget, "parts") and (not own or left >= dp(self.LEAST_PART))
                parts = widget.parts(left) if high > left + 1 and may_part else []
                if high > left + 1 and own and not parts:
                    break
                if parts:
                    self._flow[number : number + 1] = parts
                    self._made = {place: made for place, made in self._made.items() if place < number}
                    continue
                own.append(widget)
                left -= high + dp(self._spacing)
                number += 1
            while len(own) > 1 and isinstance(own[-1], Txt) and own[-1].bold and number < len(self._flow):
                own.pop()  # a heading stands with what it heads
                number -= 1
            taken.append(own)
        return taken, number

    def _stand(self, columns: Sequence[Sequence[Any]]) -> None:
        for place, widgets in enumerate(columns):
            top = self.top
            for widget in widgets:
                widget.pos = (self.x + place * (self._wide + dp(GAP)), top - widget.height)
                self.add_widget(widget)
                top -= widget.height + dp(self._spacing)

    def _turning(self, low: bool) -> None:
        """Presses for the pages before and after: beneath the list, or beside it where it is low."""
        below = len(self._flow) - self._rest
        up = Press("Up", self._up, name="page up")
        half = (self.width - dp(GAP)) / 2
        is_short = low or half < dp(SHORT_WORDS)
        down = Press(
            phrase("More\n{below}", below=below) if is_short else phrase("{below} more below", below=below),
            lambda: self._down(self._rest),
            name="page down",
        )
        if low:
            x = self.right - dp(self.STRIP)
            up.size = down.size = (dp(self.STRIP), (self.height - dp(GAP)) / 2)
            up.pos, down.pos = (x, self.top - up.height), (x, self.y)
        else:
            up.size = down.size = (half, dp(TARGET))
            places = [(self.x, self.y), (self.x + half + dp(GAP), self.y)]
            up.pos, down.pos = reversed(places) if theme.left else places
        for press in (up, down):
            press.goes_on()
        if self._first:
            self.add_widget(up)
        elif self.at_once is not None:
            press = self.at_once()
            if not any(getattr(widget, "name", "") == press.name for widget in self.walk(restrict=True)):
                press.size, press.pos = up.size, up.pos
                self.add_widget(press)
        if below:
            self.add_widget(down)

    def turn(self) -> bool:
        """To the next page; False when the last is in sight."""
        if not self.has_more:
            return False
        self._down(self._rest)
        return True

    def turn_back(self) -> None:
        """To the page before, if there is one."""
        if self.has_before:
            self._up()

    def _down(self, rest: int) -> None:
        self._firsts.append(self._first)
        self._first = rest
        self._refill()

    def _up(self) -> None:
        self._first = self._firsts.pop() if self._firsts else 0
        self._refill()


class Apart(Widget):
    """A press that takes something away, clear of all else by more than a thumb slips: nobody hits it by mistake."""

    CLEAR = 20
    """On each side, beside the usual gap [dp]: 5 mm in all."""

    def __init__(self, press: Press) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._press = press
        self.add_widget(press)
        self.bind(pos=self._place)

    def fit(self, width: float) -> float:
        clear = dp(self.CLEAR)
        self.size = (width, self._press.fit(width - 2 * clear) + 2 * clear)
        self._place()
        return float(self.height)

    def _place(self, *_: object) -> None:
        self._press.pos = (self.x + dp(self.CLEAR), self.y + dp(self.CLEAR))


class Across(Widget):
    """Presses side by side, in as many rows as they need; all of one size.

    columns : so many to a row; as many as there is room for where none are given
    """

    def __init__(self, presses: Sequence[Press], least: float = 150, columns: int = 0) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._presses, self._least, self._set = presses, least, columns
        for press in presses:
            if press.parent is not None:  # the row it stood in is gone: a list makes its rows anew
                press.parent.remove_widget(press)
            self.add_widget(press)
        self.bind(pos=self._place)

    def fit(self, width: float) -> float:
        gap = dp(GAP)
        least = dp(self._least)
        if not is_measured():
            least = max(least, *(press.least_width() for press in self._presses))
        most = max(1, int((width + gap) // (least + gap)))
        rows = -(-len(self._presses) // most)
        self._columns = self._set or -(-len(self._presses) // rows)
        rows = -(-len(self._presses) // self._columns)
        each = (width - gap * (self._columns - 1)) / self._columns
        self._high = max(press.fit(each) for press in self._presses)
        for press in self._presses:
            press.height = self._high
        self.size = (width, rows * self._high + (rows - 1) * gap)
        self._place()
        return float(self.height)

    def parts(self, room: float) -> list[Callable[[], Any]]:
        """The same presses in two parts, of which the first fits a room; none where not even a row does."""
        rows = int((room + dp(GAP)) // (self._high + dp(GAP)))
        count = rows * self._columns
        if not 0 < count < len(self._presses):
            return []
        return [partial(self._part, 0, count), partial(self._part, count, None)]

    def _part(self, first: int, end: int | None) -> Across:
        return Across(self._presses[first:end], self._least, self._columns)

    def _place(self, *_: object) -> None:
        gap = dp(GAP)
        for number, press in enumerate(self._presses):
            row, column = divmod(number, self._columns)
            press.pos = (self.x + column * (press.width + gap), self.top - (row + 1) * self._high - row * gap)


class Beside(Widget):
    """Widgets side by side, all of one size.

    columns : so many share the width, also where there are fewer
    """

    def __init__(self, widgets: Sequence[Any], columns: int) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._widgets, self._most = widgets, columns
        for widget in widgets:
            self.add_widget(widget)
        self.bind(pos=self._place)

    def fit(self, width: float) -> float:
        each = (width - dp(GAP) * (self._most - 1)) / self._most
        high = max(widget.fit(each) for widget in self._widgets)
        for widget in self._widgets:
            widget.height = high
        self.size = (width, high)
        self._place()
        return float(high)

    def _place(self, *_: object) -> None:
        for number, widget in enumerate(self._widgets):
            widget.pos = (self.x + number * (widget.width + dp(GAP)), self.y)


def heading(text: str) -> Callable[[], Txt]:
    """A maker of a heading, for a column."""
    return lambda: Txt(text, HEADING, bold=True)


def words(text: str, role: str = "ink", size: float = BODY) -> Callable[[], Txt]:
    """A maker of plain words, for a column."""
    return lambda: Txt(text, size, role)


def warning_card(text: str) -> Card:
    """What to know before it hurts."""
    return Card(Txt(text), mark=verdict_marks[Verdict.ADVISE], word="look here")


def caution_card(caution: Caution) -> Card:
    """A caution and where it comes from."""
    basis = Txt(str(caution.basis), SMALL, "quiet")
    return Card(Txt(caution.text), basis, mark=verdict_marks[Verdict.ADVISE], word="caution")


def state_mark(state: str) -> Mark:
    """The mark of a step's state."""
    return STEP_MARKS.get(state, STEP_MARKS["to do"])


verdict_marks = VERDICT_MARKS
__all__ = [
    "Across", "Beside", "Card", "Choices", "Column", "Line", "MarkShape", "Marked", "Press",
    "RowPress", "Touched", "Txt", "caution_card", "heading", "is_measured", "state_mark", "verdict_marks",
    "warning_card", "words",
]  # fmt: skip
