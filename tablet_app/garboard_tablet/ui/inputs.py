"""Ways to put a value in: number pad, letters, choices, words, a signature."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache, partial
from typing import TYPE_CHECKING, Any

from kivy.clock import Clock
from kivy.core.text import Label as CoreLabel
from kivy.graphics import Color, Rectangle, SmoothLine
from kivy.properties import ColorProperty
from kivy.uix.textinput import TextInput
from kivy.uix.widget import Widget

from garboard_tablet.language import Language
from garboard_tablet.models.keys import ERASE, POINT, SIGN
from garboard_tablet.models.limit_bar import LimitScale
from garboard_tablet.ui.limit_bar import LimitBar
from garboard_tablet.ui.theme import BIG, BODY, GAP, SMALL, TARGET, THUMB, dp, sp, theme
from garboard_tablet.ui.widgets import Press, Txt, act, is_measured

if TYPE_CHECKING:
    from garboard_tablet.models.limit_bar import LimitScale
    from garboard_tablet.ui.limit_bar import LimitBar

TALL = (("1", "2", "3", ERASE), ("4", "5", "6", SIGN), ("7", "8", "9", "next"), ("0", "0", POINT, "next"))
LOW = (("1", "2", "3", "0", ERASE), ("4", "5", "6", POINT, SIGN), ("7", "8", "9", "next", "next"))
"""The number pad, key by key; a key that stands twice is twice as large. LOW where the screen is."""


def _grid(form: tuple[tuple[str, ...], ...]) -> list[tuple[str, ...]]:
    """The keys of a pad as they stand: for the left thumb what is no digit stands at the left of those that are."""
    if not theme.left:
        return [*form]
    return [(*(key for key in row if key in _ASIDE), *(key for key in row if key not in _ASIDE)) for row in form]


_ASIDE = (ERASE, SIGN, "next")

_FACES = {ERASE: "Erase", SIGN: "+/−", POINT: "."}


class NumberPads:
    """The number pads, one of each kind, made when first needed and kept."""

    def __init__(self) -> None:
        self._made: dict[tuple[bool, bool, float], NumberPad] = {}

    def at_work(
        self, press: Callable[[str], object], next: Callable[[], object], point: bool, sign: bool, word: str
    ) -> NumberPad:
        """The one pad of its kind, at work for the page that asks.

        word : what the large key says: its goal
        """
        key = (point, sign, sp(1))  # a window moved to another screen needs keys of its size
        if key not in self._made:
            self._made[key] = NumberPad(press, next, point=point, sign=sign)
        pad = self._made[key]
        pad.serve(press, next, word)
        return pad


class KeptPresses:
    """Presses that stand beside one value after the other, made when first needed and kept."""

    def __init__(self) -> None:
        self._made: dict[tuple[str, float], Press] = {}

    def at_work(self, text: str, do: Callable[[], object], name: str) -> Press:
        """The one press of a name, at work for the page that asks; a page has one of each."""
        key = (name, sp(1))
        if key not in self._made:
            self._made[key] = Press(text, do, name=name)
        press = self._made[key]
        if press.parent is not None:  # of the page before
            press.parent.remove_widget(press)
        press.serve(text, do)
        return press


class KeptQuestion:
    """What a value's page says beside its presses, made when first needed and kept for the next value's.

    To make it anew took four times as long as to have it say something else.
    """

    def __init__(self) -> None:
        self._made: dict[tuple[object, ...], Any] = {}

    def words(self, name: str, text: str, size: float = SMALL, role: str = "quiet", *, bold: bool = False) -> Txt:
        """The words of a name; a page has one of each."""
        kept: Txt = self._at_work(lambda: Txt(text, size, role, bold=bold), name, size, role, bold)
        kept.say(text)
        return kept

    def typed(self, text: str, unit: str, size: float) -> Typed:
        """What is typed."""
        kept: Typed = self._at_work(lambda: Typed(text, unit, size), Typed, size)
        kept.serve(text, unit)
        return kept

    def bar(self, scale: LimitScale, unit: str, word: str) -> LimitBar:
        """A value against limits that nothing is judged by."""
        from garboard_tablet.ui.limit_bar import LimitBar  # the first frame has none, and waits for no finding

        kept: LimitBar = self._at_work(lambda: LimitBar(scale, unit, word=word), LimitBar)
        kept.serve(scale, unit, word)
        return kept

    def _at_work(self, make: Callable[[], Widget], *what: object) -> Any:
        key = (*what, theme.dark, sp(1), Language.translate)  # what it is made with
        if key not in self._made:
            self._made[key] = make()
        kept = self._made[key]
        if kept.parent is not None:  # of the page before
            kept.parent.remove_widget(kept)
        return kept


class NumberPad(Widget):
    """Digits in three rows of three, and the next thing at the lower right.

    press : called with each key
    next  : called by the large key at the lower right
    """

    def __init__(self, press: Callable[[str], object], next: Callable[[], object], *, point: bool, sign: bool) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._press, self._next = press, next
        self._keys: dict[str, Press] = {}
        self._word, self._left = "Next", theme.left
        for key in ("1", "2", "3", "4", "5", "6", "7", "8", "9", "0", POINT, SIGN, ERASE):
            if (key == POINT and not point) or (key == SIGN and not sign):
                continue
            self._keys[key] = Press(_FACES.get(key, key), partial(self._pressed, key), "key", 44, name=f"key {key}")
        self._keys[ERASE].font_name = "Roboto"
        self._keys[ERASE].font_size = sp(BODY)
        self._keys["next"] = Press("Next", lambda: self._next(), "main", 32, name="next")
        for widget in self._keys.values():
            self.add_widget(widget)
        self.bind(size=self._place, pos=self._place)

    def serve(self, press: Callable[[str], object], next: Callable[[], object], word: str) -> None:
        """Work for another page from now on: making two dozen keys anew for each value would be felt."""
        self._press, self._next = press, next
        self._word = word
        if self._left != theme.left:
            self._place()
        self._say_word()
        for key in self._keys.values():
            key.paint()

    def _pressed(self, key: str) -> None:
        self._press(key)

    def least_height(self) -> float:
        return dp(4 * THUMB + 3 * GAP)

    def _place(self, *_: object) -> None:
        self._left = theme.left
        grid = _grid(TALL if self.height >= self.least_height() else LOW)
        gap = dp(GAP)
        rows, columns = len(grid), len(grid[0])
        wide = (self.width - gap * (columns - 1)) / columns
        high = (self.height - gap * (rows - 1)) / rows
        for key, widget in self._keys.items():
            cells = [(r, c) for r in range(rows) for c in range(columns) if grid[r][c] == key]
            top, left = min(r for r, _ in cells), min(c for _, c in cells)
            down, across = max(r for r, _ in cells) - top + 1, max(c for _, c in cells) - left + 1
            widget.size = (across * wide + (across - 1) * gap, down * high + (down - 1) * gap)
            widget.pos = (self.x + left * (wide + gap), self.top - (top + down) * high - (top + down - 1) * gap)
        self._say_word()

    def _say_word(self) -> None:
        """The goal in the largest size in which no word of it is broken; where none is, the first word alone."""
        key, room = self._keys["next"], self._keys["next"].width - dp(24)
        for size in (32, BODY, SMALL):
            if all(_width_of(word, sp(size)) <= room for word in self._word.split()):
                key.text, key.font_size = self._word, sp(size)
                key.full = key.font_size
                key.shrink_to(room, key.height)
                if is_measured() or key.texture_size[1] <= key.height:
                    return
        key.text, key.font_size = self._word.split(":")[0], sp(BODY)


@lru_cache(maxsize=256)
def _width_of(word: str, font_size: float) -> float:
    label = CoreLabel(text=word, font_size=font_size, bold=True)
    return float(label.get_extents(word)[0])


class LetterPad(Widget):
    """Letters and digits for a hull number, large enough for gloves, all in sight; on a low screen on three sides."""

    LETTERS, DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ-", "1234567890"
    WHOLE = (LETTERS + DIGITS,)
    LOW = (LETTERS[:13], LETTERS[13:26], f"{DIGITS}-")
    COLUMNS = 7
    """The letters and the dash fill four rows, the digits and Erase two."""
    ROWS = 6

    @classmethod
    def width_of_whole(cls, height: float) -> float:
        """The width that shows everything at once; 0 where the height has no room for it."""
        fits = cls.ROWS * dp(TARGET + GAP) - dp(GAP) <= height
        return cls.COLUMNS * dp(TARGET + GAP) - dp(GAP) if fits else 0.0

    def __init__(self, press: Callable[[str], object]) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._press = press
        self._onward: Press | None = None
        self._sides: tuple[str, ...] = self.WHOLE
        self._side = self.WHOLE[0]
        self._keys: list[Press] = []
        self._show()
        self.bind(size=self._place, pos=self._place)

    def _show(self) -> None:
        for key in self._keys:
            self.remove_widget(key)
        self._keys = [Press(face, partial(self._press, face), "key", 34, name=f"key {face}") for face in self._side]
        for side in self._sides:
            if side != self._side:
                self._keys.append(Press(_side_word(side), partial(self._turn, side), name=f"side {side[0]}"))
        erase = Press("Erase", lambda: self._press(ERASE), "key", BODY, name="key erase")
        erase.font_name = "Roboto"
        self._keys.append(erase)
        for key in self._keys:
            self.add_widget(key)

    def _turn(self, side: str) -> None:
        self._side = side
        self._show()
        self._place()

    @property
    def has_corner(self) -> bool:
        """Whether its lower right corner has room for what is next: where all keys are in sight at once."""
        columns = int((self.width + dp(GAP)) // dp(TARGET + GAP))
        return columns >= self.COLUMNS and bool(self.width_of_whole(self.height))

    def offer(self, onward: Press | None) -> None:
        """Put what is next into the lower right corner, or take it away."""
        if self._onward is not None:
            self.remove_widget(self._onward)
        self._onward = onward
        if onward is not None:
            self.add_widget(onward)
        self._place()

    def _place(self, *_: object) -> None:
        gap, columns = dp(GAP), int((self.width + dp(GAP)) // dp(TARGET + GAP))
        if columns < 2:
            return
        low = columns < self.COLUMNS or not self.width_of_whole(self.height)
        sides = self.LOW if low else self.WHOLE
        if sides is not self._sides:
            self._sides = sides
            self._side = next(side for side in sides if side[0] == self._side[0] or side == sides[0])
            self._show()
        columns = self.COLUMNS if not low else min(columns, 5 if self._side[0] == "1" else 9)
        rows = self._rows(columns, self._side, len(sides)) if low else self.ROWS
        wide = (self.width - gap * (columns - 1)) / columns
        high = (self.height - gap * (rows - 1)) / rows
        cell = 0
        for number, key in enumerate(self._keys):
            span = 2 if number >= len(self._side) else 1
            begins_digits = not low and number == len(self.LETTERS)
            if cell % columns + span > columns or (begins_digits and cell % columns):
                cell += columns - cell % columns
            row, column = divmod(cell, columns)
            key.size = (span * wide + (span - 1) * gap, high)
            key.pos = (self.x + column * (wide + gap), self.top - (row + 1) * high - row * gap)
            cell += span
        if self._onward is not None:  # two keys wide, as Erase beside it
            self._onward.size = (2 * wide + gap, high)
            self._onward.pos = (self.right - self._onward.width, self.y)

    @staticmethod
    def _rows(columns: int, side: str, wide_keys: int) -> int:
        """Rows that the letters of a side and its keys of double width take."""
        cell = len(side)
        for _ in range(wide_keys):
            if cell % columns + 2 > columns:
                cell += columns - cell % columns
            cell += 2
        return -(-cell // columns)


def _side_word(side: str) -> str:
    return f"{side[0]} to {side.strip('-')[-1]}" if side[0].isalpha() else "Digits"


class Typed(Widget):
    """What has been typed, large, with its unit."""

    ground = ColorProperty(theme.panel)

    def __init__(self, text: str, unit: str, size: float = BIG) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.ground = theme.panel
        self._digits = Txt(text or "–", size, "ink" if text else "quiet", font_name="B612")
        self._unit = Txt(unit, 32, "quiet")
        self._size = size
        self.add_widget(self._digits)
        self.add_widget(self._unit)
        with self.canvas.before:
            Color(*theme.panel)
            self._area = Rectangle()
            Color(*theme.action)
            self._line = SmoothLine(width=dp(2))
        self.bind(pos=self._place)

    def serve(self, text: str, unit: str) -> None:
        """Say something else, on another page; it is fitted in there."""
        self._digits.text = text or "–"
        self._digits.color = theme.colour("ink" if text else "quiet")
        self._unit.say(unit)

    def say(self, text: str) -> None:
        """Change what stands there, in the room there is."""
        self.serve(text, self._unit.text)
        self.fit(self.width)

    def fit(self, width: float) -> float:
        unit_wide, _ = self._unit.fit_line()
        size = self._size
        while size > 24:
            self._digits.font_size = sp(size)
            wide, high = self._digits.fit_line()
            if wide + unit_wide + dp(48) <= width:
                break
            size -= 4
        self.size = (width, max(dp(96), high + dp(20)))
        self._place()
        return float(self.height)

    def _place(self, *_: object) -> None:
        self._digits.pos = (self.x + dp(16), self.center_y - self._digits.height / 2)
        self._unit.pos = (self._digits.right + dp(14), self.center_y - self._unit.height / 2)
        self._area.pos, self._area.size = self.pos, self.size
        self._line.points = [self.x, self.y, self.right, self.y]


class WordsBox(TextInput):
    """A place for words; the tablet's own keyboard comes up for it.

    copied : what was copied last out of any of them, so that the clipboard can be left clean
    """

    copied = ""

    def __init__(self, text: str, changed: Callable[[str], object], *, lines: int = 1, hint: str = "") -> None:
        self._is_made = False
        super().__init__(
            text=text, multiline=lines > 1, font_size=sp(30), size_hint=(None, None), hint_text=hint,
            background_normal="", background_active="", background_color=theme.panel, foreground_color=theme.ink,
            cursor_color=theme.action, cursor_width=dp(3), padding=[dp(16), dp(24)], hint_text_color=theme.quiet,
            write_tab=False,
        )  # fmt: skip
        self._is_made = True
        self._rows = lines
        self.bind(text=lambda _box, text: act(partial(changed, text)))
        self.bind(pos=self._edge, size=self._edge)

    def _ensure_clipboard(self) -> None:
        """Not before something is copied or pasted: on a desktop it starts four programs, and waits for them."""
        if self._is_made:
            super()._ensure_clipboard()

    def copy(self, data: str = "") -> None:
        """Copy the words chosen."""
        WordsBox.copied = data or self.selection_text
        super().copy(data)

    def _cut(self, data: str) -> None:
        WordsBox.copied = data
        super()._cut(data)

    def take_focus(self) -> None:
        """What is typed goes here from now on. Not at once: a touch that ends now still takes the focus away."""
        Clock.schedule_once(lambda _dt: setattr(self, "focus", self.get_parent_window() is not None), 0)

    def fit(self, width: float) -> float:
        self.size = (width, dp(96) + (self._rows - 1) * sp(36))
        return float(self.height)

    def _edge(self, *_: object) -> None:
        self.canvas.after.clear()
        with self.canvas.after:
            Color(*theme.action)
            SmoothLine(rectangle=(*self.pos, *self.size), width=dp(1.5))


class SignaturePad(Widget):
    """A place to sign with a finger."""

    ground = ColorProperty(theme.panel)

    def __init__(self, changed: Callable[[], object]) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self.strokes: list[list[tuple[float, float]]] = []
        self._changed = changed
        self._drawn: list[Any] = []
        self.bind(pos=self._draw, size=self._draw)

    def _draw(self, *_: object) -> None:
        self.canvas.clear()
        with self.canvas:
            Color(*theme.panel)
            Rectangle(pos=self.pos, size=self.size)
            Color(*theme.line)
            SmoothLine(rectangle=(*self.pos, *self.size), width=dp(1.2))
            SmoothLine(points=[self.x + dp(40), self.y + dp(60), self.right - dp(40), self.y + dp(60)], width=dp(1.2))
            Color(*theme.ink)
            self._drawn = [SmoothLine(points=self._flat(stroke), width=dp(2.4)) for stroke in self.strokes]

    def _flat(self, stroke: Sequence[tuple[float, float]]) -> list[float]:
        return [c for px, py in stroke for c in (self.x + px * self.width, self.y + py * self.height)]

    def _share(self, touch: Any) -> tuple[float, float]:
        x, y = (touch.x - self.x) / self.width, (touch.y - self.y) / self.height
        return min(1.0, max(0.0, x)), min(1.0, max(0.0, y))

    def on_touch_down(self, touch: Any) -> bool:
        if not self.collide_point(*touch.pos):
            return False
        if Press.now() < Press.quiet_until:
            return True
        touch.grab(self)
        self.strokes.append([self._share(touch)])
        with self.canvas:
            Color(*theme.ink)
            self._drawn.append(SmoothLine(points=[], width=dp(2.4)))
        return True

    def on_touch_move(self, touch: Any) -> bool:
        if touch.grab_current is not self:
            return False
        self.strokes[-1].append(self._share(touch))
        self._drawn[-1].points = self._flat(self.strokes[-1])
        return True

    def on_touch_up(self, touch: Any) -> bool:
        if touch.grab_current is not self:
            return False
        touch.ungrab(self)
        self._changed()
        return True

    def wipe(self) -> None:
        """Begin again."""
        self.strokes = []
        self._draw()
        self._changed()

    def fit(self, width: float) -> float:
        self.size = (width, dp(260))
        return float(self.height)


def svg_of(strokes: Sequence[Sequence[tuple[float, float]]]) -> bytes:
    """A signature as a picture any program shows; the origin of the strokes is at the lower left."""
    paths = "".join(
        '<polyline points="' + " ".join(f"{x * 600:.1f},{(1 - y) * 200:.1f}" for x, y in stroke) + '"/>'
        for stroke in strokes
    )
    head = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 600 200" fill="none" stroke="#10202B" stroke-width="4">'
    )
    return f"{head}{paths}</svg>\n".encode()
