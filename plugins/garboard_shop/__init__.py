"""The shop server: tablets bring their work ashore to it over the shop's wifi. Needs the office part installed."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from garboard import hookimpl
from garboard.settings import Setting

if TYPE_CHECKING:
    import click

__version__ = "1"
written_for = 1


@hookimpl
def register_commands(register: Callable[[click.Command], None]) -> None:
    from garboard_shop.commands import COMMANDS
    from garboard_shop.pages.commands import COMMANDS as PEOPLE

    for command in (*COMMANDS, *PEOPLE):
        register(command)


@hookimpl
def register_settings(register: Callable[[Setting], None]) -> None:
    from garboard_shop.settings import SETTINGS

    for setting in SETTINGS:
        register(setting)
