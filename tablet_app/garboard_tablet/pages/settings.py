"""Settings of this tablet, and what the program is made of."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

import attrs
from kivy.uix.widget import Widget

from garboard import __version__
from garboard.faults import in_number
from garboard.findings import Verdict, rounded
from garboard.hosting.host import LoadedPlugin
from garboard.report.unit_signs import with_signs
from garboard_tablet.language import phrase
from garboard_tablet.models.asks import titles_of
from garboard_tablet.models.entry import enter
from garboard_tablet.models.left_out import LEFT_OUT, take_back_in
from garboard_tablet.models.pages import storage_used
from garboard_tablet.models.session import Route
from garboard_tablet.models.settings import UNIT_CHOICES, UNIT_GROUPS
from garboard_tablet.pages.job import WordsPage
from garboard_tablet.ui.shell import Halves, Maker, Page, column_of
from garboard_tablet.ui.theme import SMALL, theme
from garboard_tablet.ui.widgets import Across, Beside, Card, Press, RowPress, Txt, heading, verdict_marks, words

if TYPE_CHECKING:
    from garboard_tablet.ui.context import Context


class SettingsPage(Page):
    title = "Settings"
    under = "For this tablet"

    def body(self) -> Widget:
        settings = self.tablet.settings
        left: list[Maker] = [
            heading("Who is working"),
            lambda: RowPress(settings.working or "Nobody named", lambda: self.way.go(self.route.to("who")),
                             small="Written into every entry", name="who"),
            heading("Colours, and the thumb that presses"),
            lambda: Across([self._choice("Day", not settings.dark, lambda: self._dark(False)),
                            self._choice("Night", settings.dark, lambda: self._dark(True)),
                            self._choice("Right thumb", not settings.thumb_left, lambda: self._thumb(False)),
                            self._choice("Left thumb", settings.thumb_left, lambda: self._thumb(True))], least=100),
            heading("Units offered first"),
            lambda: Across([self._choice(u.capitalize(), settings.units == u, partial(self._units, u))
                            for u in UNIT_CHOICES] + [self._own_units()], least=100),
            *(partial(self._always_row, name, unit) for name, unit in sorted(settings.always.items())),
            lambda: Beside([self._shop_row(), self._backup_row()], 2),
        ]  # fmt: skip
        right: list[Maker] = [heading("Plugins")]
        for problem in self.tablet.host.problems:
            right.append(partial(_fault_card, problem.name, problem.on_a_page))
            if problem.code == LEFT_OUT:
                right.append(partial(self._again_row, problem.name))
        for plugin in self.tablet.host.plugins:
            right.append(partial(_plugin_row, plugin))
        for damage in self.tablet.files.damage():
            right.append(partial(_fault_card, damage.file.name, str(damage)))
            if damage.is_gone:
                right.append(partial(self._removed_row, damage.file.name))
        for document in self.tablet.damaged:
            right.append(partial(_fault_card, document.path.name, str(document)))
        for file, reason in self.tablet.files.not_read():
            right.append(
                partial(_fault_card, PurePath(file).name, phrase("It could not be read: {reason}", reason=reason))
            )
        right.append(heading("About"))
        used = storage_used(self.tablet.folder) / 1e6
        right.append(
            words(phrase("Garboard {version}. Tablet {tablet}.", version=__version__, tablet=settings.tablet), "quiet")
        )
        vessels = in_number(len(self.context.vessels.lines), "vessel")
        right.append(
            words(
                phrase(
                    "{vessels}, {used} MB in {folder}",
                    vessels=vessels,
                    used=rounded(used, 1),
                    folder=self.tablet.folder,
                ),
                "quiet",
                SMALL,
            )
        )
        right.append(lambda: RowPress("Help", lambda: self.way.go(self.route.to("help")),
                                      small="Make a file that describes a problem", name="help"))  # fmt: skip
        return Halves(left, right)

    def _shop_row(self) -> RowPress:
        return RowPress("The shop's settings", lambda: self.way.go(self.route.to("shop settings")),
                        small="What it decided for every boat", name="shop settings")  # fmt: skip

    def _backup_row(self) -> RowPress:
        return RowPress(
            "Backup",
            lambda: self.way.go(self.route.to("backup")),
            small=phrase("Last: {last}", last=self.context.backups.last or "none yet"),
            name="backup",
        )

    def _own_units(self) -> Press:
        press = Press("Your own …", lambda: self.way.go(self.route.to("units")), name="own units")
        press.chosen = bool(self.tablet.settings.own_units)
        press.paint()
        return press

    def _always_row(self, name: str, unit: str) -> RowPress:
        titles = " and ".join(titles_of(name, self.tablet.host.steps)) or name
        return RowPress(
            phrase("Always {unit} for {titles}", unit=unit, titles=titles),
            partial(self._forget, name),
            small="Press to forget this unit",
            value="forget",
            name=f"forget {name}",
        )

    def _again_row(self, plugin: str) -> RowPress:
        return RowPress(
            phrase("Use {plugin} again", plugin=plugin),
            partial(self._again, plugin),
            small="From the next start on",
            name=f"use {plugin} again",
        )

    def _again(self, plugin: str) -> None:
        take_back_in(self.tablet.folder, plugin)
        self.way.back()

    def _removed_row(self, file: str) -> RowPress:
        return RowPress("It was removed on purpose", partial(self._removed, file), small="Tell it no more",
                        name=f"removed {file}")  # fmt: skip

    def _removed(self, file: str) -> None:
        self.tablet.files.forget_gone(file)
        self.tablet.amiss = tuple(one for one in self.tablet.amiss if not (one.is_gone and one.file == file))
        self.screen.redraw()

    def _forget(self, name: str) -> None:
        self.tablet.change_settings(self.tablet.settings.without_unit(name))
        self.screen.redraw()

    def _choice(self, text: str, chosen: bool, do) -> Press:  # type: ignore[no-untyped-def]
        press = Press(text, do, name=f"set {text}")
        press.chosen = chosen
        press.paint()
        return press

    def _dark(self, dark: bool) -> None:
        self.tablet.change_settings(attrs.evolve(self.tablet.settings, dark=dark))
        theme.use(dark=dark)
        self.screen.redraw()

    def _thumb(self, left: bool) -> None:
        self.tablet.change_settings(attrs.evolve(self.tablet.settings, thumb_left=left))
        theme.left = left
        self.screen.redraw()

    def _units(self, units: str) -> None:
        self.tablet.change_settings(attrs.evolve(self.tablet.settings, units=units, always={}))
        self.screen.redraw()


def in_words(unit: str) -> str:
    """A unit as it is read.

    >>> in_words("degF"), in_words("kn")
    ('°F', 'kn')
    """
    return with_signs(unit)


class UnitsPage(Page):
    """The units of whoever is working, chosen once for all values of a kind. Values stay as they were entered."""

    title = "Your own units"

    @property
    def under(self) -> str:
        return phrase(
            "For {working}. Values stay as they were entered.",
            working=self.tablet.settings.working or "whoever works on this tablet",
        )

    def body(self) -> Widget:
        own = self.tablet.settings.own_units
        makers: list[Maker] = []
        for group, units in UNIT_GROUPS.items():
            makers.append(heading(group.capitalize()))
            makers.append(partial(self._row, group, units, own.get(group, "")))
        return column_of(makers)

    def _row(self, group: str, units: Sequence[str], chosen: str) -> Across:
        presses = []
        for unit in ("", *units):
            press = Press(
                in_words(unit) if unit else "As each step says",
                partial(self._choose, group, unit),
                name=f"unit {group} {unit}".rstrip(),
            )
            press.chosen = unit == chosen
            press.paint()
            presses.append(press)
        return Across(presses, least=100)

    def _choose(self, group: str, unit: str) -> None:
        self.tablet.change_settings(self.tablet.settings.with_own_unit(group, unit))
        self.screen.redraw()


def _plugin_row(plugin: LoadedPlugin) -> Card:
    return Card(
        Txt(f"{plugin.title[:1].upper()}{plugin.title[1:]}"),
        Txt(phrase("Version {version}, loaded", version=plugin.version), SMALL, "quiet"),
    )


def _fault_card(name: str, reason: str) -> Card:
    return Card(Txt(name), Txt(reason, SMALL), mark=verdict_marks[Verdict.FAIL], word="not loaded")


class HelpPage(Page):
    """A file with versions and the log, for whoever helps."""

    title = "Help"
    under = "If the program does not work as it should"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._made: Path | None = None

    def body(self) -> Widget:
        makers: list[Maker] = [
            words("Press Make the file. Send it to the person who looks after this program. Say what you did."),
            words("It contains versions and a log. It contains no measured values and no names.", "quiet"),
            heading("Where the data is"),
            *self._data(),
        ]
        if self._made is not None:
            made = self._made
            makers.insert(0, lambda: Card(Txt("The file is made."), Txt(str(made), SMALL),
                                          mark=verdict_marks[Verdict.PASS], word="made"))  # fmt: skip
        return column_of(makers)

    def actions(self) -> Sequence[Press]:
        return (Press("Make the file", self._make, "main", name="make the file"),)

    def _data(self) -> list[Maker]:
        """Where the boats are kept on this machine, and what is wrong with that place."""
        from garboard_tablet.models.data_folder import is_inside_program, program_folder

        folder = self.tablet.folder.absolute()
        made: list[Maker] = [words(str(folder))]
        problem = self.context.data_problem
        if not problem and is_inside_program(folder, program_folder()):
            problem = "This is inside the program's own folder: an update may empty it. Start with another --folder."
        if problem:
            made.append(lambda: Card(Txt(problem), mark=verdict_marks[Verdict.ADVISE], word="look here"))
        return made

    def _make(self) -> None:
        from garboard_tablet.models.help_file import make_help_file

        self._made = make_help_file(self.tablet)
        self.screen.redraw_as_it_is()


class WhoPage(WordsPage):
    title = "Who is working"
    under = "Written into every entry"
    asks = "Your name"

    def offers(self) -> Sequence[str]:
        return self.context.vessels.people()

    def take(self, text: str) -> None:
        self.tablet.change_settings(self.tablet.settings.with_person(text))
        self.way.back()


class MeterPage(WordsPage):
    """With what a value is read. It stays in hand for values of the same quantity, and each of them says so."""

    title = "Read with which meter?"
    asks = "As it is called in the shop: a name, or the number on it"
    none = "No meter named"

    def offers(self) -> Sequence[str]:
        meters = self.tablet.settings.meters
        return (*meters, self.none) if meters else ()

    def take(self, text: str) -> None:
        form = enter(self.tablet, self.route)
        if form is not None:
            form.use_meter("" if text == self.none else text)
            self.findings.soon(self.route)
        self.way.back()
