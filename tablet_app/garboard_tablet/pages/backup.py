"""Backup: all boats as one file, to a folder the person chose; and the way back."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from kivy.uix.widget import Widget

from garboard.faults import in_number
from garboard_tablet.language import phrase
from garboard_tablet.models.backups import waits
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.theme import HEADING
from garboard_tablet.ui.widgets import Card, Press, RowPress, Txt, verdict_marks, words

MOST_FOUND = 6


class BackupPage(Page):
    title = "Backup"
    under = "All boats of this tablet in one file"

    def body(self) -> Widget:
        backups = self.context.backups
        makers: list[Maker] = []
        if backups.busy:
            makers.append(lambda: Card(Txt(f"{backups.busy} …", HEADING)))
        elif (said := backups.said) is not None:
            makers.append(lambda: Card(Txt(said.text), mark=verdict_marks[said.verdict], word=said.word))
        boats = in_number(len(self.tablet.files.boats()), "boat")
        last = phrase("Last backup: {last}.", last=backups.last) if backups.last else "There is no backup yet."
        makers += [
            lambda: Txt(phrase("{boats} here. {last}", boats=boats, last=last), HEADING),
            words(self._where(), "quiet"),
        ]
        makers.append(words("Photos and recordings are in it. Settings and the pairing are not.", "quiet"))
        if what := waits(self.tablet):
            makers.append(words(phrase("Not in it: {what}. Keep them with their boat first.", what=what)))
        makers += [partial(self._row, path) for path in backups.found(self.context.files_come_from)[:MOST_FOUND]]
        return column_of(makers, most=1)

    def _where(self) -> str:
        place = self.context.backups.place
        if place is None:
            return "Choose a folder first: a stick, a card or a folder that the shop copies. Not this tablet's own."
        if not place.key:
            return phrase(
                "It is written into {folder}. Copy it to a stick from there.", folder=self.tablet.folder / "backups"
            )
        return phrase("It is written into {title}. Backups made before stay there.", title=place.title)

    def _row(self, path: Path) -> RowPress:
        take = partial(self.context.backups.take_back, path)
        return RowPress(path.name, take, small="Press to take it back: what is here stays", name=f"take {path.name}")

    def actions(self) -> Sequence[Press | None]:
        backups, has_picker = self.context.backups, self.context.files.has_picker
        folder = Press("Other folder", backups.choose, name="choose folder") if has_picker and backups.place else None
        back = Press("Take back …", backups.pick, name="take a backup back") if has_picker else None
        return (folder, back, Press("Back up now", backups.back_up, "main", name="back up"))

    def refill(self) -> None:
        self.screen.redraw()
