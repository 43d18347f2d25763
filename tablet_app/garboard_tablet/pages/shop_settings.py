"""What the shop decided for every boat. It is changed at the shop, not here."""

from __future__ import annotations

from functools import partial

from kivy.uix.widget import Widget

from garboard_tablet.models.shop_settings import SettingLine, setting_lines
from garboard_tablet.ui.shell import Maker, Page, column_of
from garboard_tablet.ui.theme import SMALL
from garboard_tablet.ui.widgets import Card, Txt, heading, words


class ShopSettingsPage(Page):
    title = "The shop's settings"
    under = "Changed by a manager on the shop's page"

    def body(self) -> Widget:
        lines = setting_lines(self.tablet)
        decided = [line for line in lines if not line.is_default]
        makers: list[Maker] = [heading("Not at the default")]
        makers.extend(partial(_card, line) for line in decided)
        if not decided:
            makers.append(words("None. Every setting is at its default.", "quiet"))
        makers.append(heading("At the default"))
        makers.extend(partial(_card, line) for line in lines if line.is_default)
        return column_of(makers)

    def refill(self) -> None:
        self.screen.redraw()


def _card(line: SettingLine) -> Card:
    return Card(Txt(f"{line.title}: {line.value}"), Txt(line.text, SMALL, "quiet"))
