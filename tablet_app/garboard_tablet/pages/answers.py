"""What stands beside a question: a list to pick from, words, a place to sign, values that disagree."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard_tablet.language import phrase
from garboard_tablet.pages.job import OTHER
from garboard_tablet.ui.inputs import SignaturePad, WordsBox
from garboard_tablet.ui.theme import DIGITS, GAP, SMALL, dp
from garboard_tablet.ui.widgets import Across, Beside, Card, Column, Press, Txt

if TYPE_CHECKING:
    from garboard_tablet.models.entry import EntryForm, Rival

SIGN_FIRST = "Nothing is drawn yet. Draw the signature in the box, then save it."


def picks(presses: Sequence[Press]) -> Column:
    """Short values to take with one press, as many side by side as there is room for."""
    column = Column()
    column.show([lambda: Across(presses, least=140)])
    return column


def other_press(do: Callable[[], object], typed: str = "") -> Press:
    """The last choice of a list: what is not on it is typed."""
    return Press(phrase("Other: {typed}", typed=typed) if typed else OTHER, do, name="other", chosen=bool(typed))


def rivals(values: Sequence[Rival], choose: Callable[[Rival], object]) -> Column:
    """Values that disagree, two side by side: each with who, when and instrument, and a press that chooses it."""
    column = Column()
    rows = [values[first : first + 2] for first in range(0, len(values), 2)]
    makers: list[Callable[[], Widget]] = []
    for row in rows:
        makers.append(partial(rivals_row, row))
        makers.append(partial(_choosing, row, choose))
    column.show(makers)
    return column


def rivals_row(row: Sequence[Rival], size: float = 40) -> Beside:
    """Values that disagree, a column each."""
    return Beside([_rival_card(rival, size) for rival in row], columns=2)


def _rival_card(rival: Rival, size: float) -> Card:
    digits = Txt(rival.text.replace(" ", "\u00a0"), size, font_name=DIGITS)
    told = (rival.who or "nobody named", rival.when, rival.instrument or "instrument not named")
    return Card(digits, *(Txt(line, SMALL, "quiet") for line in told))


def _choosing(row: Sequence[Rival], choose: Callable[[Rival], object]) -> Beside:
    presses = [
        Press(phrase("Choose {text}", text=one.text), partial(choose, one), name=f"value {one.text}") for one in row
    ]
    return Beside(presses, columns=2)


class WordsArea(Widget):
    """A box for words, with next beneath it; at the top, where the tablet's keyboard does not cover it."""

    def __init__(self, form: EntryForm, onward: Callable[[], object], word: str) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._box = WordsBox(form.text, form.write)
        self._next = Press(word, onward, "main", 32, name="next")
        self._box.bind(on_text_validate=lambda _box: onward())
        self.add_widget(self._box)
        self.add_widget(self._next)
        self.bind(size=self._place, pos=self._place)

    def take_focus(self) -> None:
        """What is typed goes into the box from now on."""
        self._box.take_focus()

    def _place(self, *_: object) -> None:
        self._box.fit(self.width)
        self._box.pos = (self.x, self.top - self._box.height)
        self._next.fit(min(self.width, dp(300)))
        self._next.pos = (self.right - self._next.width, self._box.y - dp(GAP) - self._next.height)


class SigningArea(Widget):
    """What is signed, and a place to sign. Until something is drawn, saving says why it does not."""

    def __init__(self, done: Callable[[Sequence[Sequence[tuple[float, float]]]], object], sentence: str = "") -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._sentence = Txt(sentence)
        self._pad = SignaturePad(self._changed)
        self._take = done
        self._wipe = Press("Wipe", self._pad.wipe, name="wipe")
        self._done = Press("", self._save, "main", 32, name="next")
        self._why = Txt("", SMALL)
        for child in (self._sentence, self._pad, self._wipe, self._done, self._why):
            self.add_widget(child)
        self.bind(size=self._place, pos=self._place)
        self._changed()

    def _changed(self) -> None:
        self._done.text = "Save it" if self._pad.strokes else "Sign first"
        self._why.text = ""

    def _save(self) -> None:
        if self._pad.strokes:
            self._take(self._pad.strokes)
        else:
            self._why.text = SIGN_FIRST
            self._place()

    def _place(self, *_: object) -> None:
        self._done.fit(self.width * 0.55)
        self._wipe.fit(self.width * 0.3)
        self._wipe.height = self._done.height
        self._done.pos = (self.right - self._done.width, self.y)
        self._wipe.pos = (self.x, self.y)
        self._pad.pos = (self.x, self.y + self._done.height + dp(GAP))
        said = self._sentence.fit(self.width) + dp(GAP) if self._sentence.text else 0.0
        self._sentence.pos = (self.x, self.top - self._sentence.height)
        self._pad.size = (self.width, self.height - self._done.height - dp(GAP) - said)
        self._why.fit(self.width - dp(80))
        self._why.pos = (self.x + dp(40), self._pad.top - dp(24) - self._why.height)
