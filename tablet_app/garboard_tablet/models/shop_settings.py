"""The shop's settings as a tablet shows them: what differs from the default first. Nothing is changed here."""

from __future__ import annotations

from typing import TYPE_CHECKING

import attrs

from garboard.disk.entries import SHOP_RECORD
from garboard_tablet.language import phrase
from garboard_tablet.models.tablet import Tablet

if TYPE_CHECKING:
    from garboard.settings import Setting, SettingUsed


@attrs.frozen(kw_only=True)
class SettingLine:
    """One setting.

    text       : what to know beside the title: who set it, or that it is the default
    is_default : whether the default holds
    is_plain   : whether there is nothing to say but that
    """

    title: str
    value: str
    text: str
    is_default: bool
    is_plain: bool


def setting_lines(tablet: Tablet) -> tuple[SettingLine, ...]:
    """Every setting of the shop: those not at their default first, then by title."""
    from garboard.history.authority import managers_of
    from garboard.history.setting_entries import shop_settings
    from garboard.settings import in_force

    declared = tablet.host.settings
    _, used = in_force(declared, shop_settings(tablet.files.entries(SHOP_RECORD), managers_of(tablet.folder)))
    lines = (_line(setting, used.get(setting.key)) for setting in declared)
    return tuple(sorted(lines, key=lambda line: (line.is_default, line.is_plain, line.title)))


def _line(setting: Setting, used: SettingUsed | None) -> SettingLine:
    from garboard.report.settings_used import memory_in_words, setting_in_words, value_in_words
    from garboard.settings import DEFAULT

    title = setting.field.title
    if used is None:
        text = phrase("The default. Allowed: {allowed}.", allowed=setting.allowed)
        return SettingLine(
            title=title,
            value=memory_in_words(value_in_words(setting.default)),
            text=text,
            is_default=True,
            is_plain=True,
        )
    return SettingLine(
        title=title,
        value=memory_in_words(value_in_words(used.value)),
        text=setting_in_words(used),
        is_default=used.state == DEFAULT,
        is_plain=False,
    )
