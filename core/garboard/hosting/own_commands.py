"""Commands of a shop's own plugin: known from the process it runs in, and run here, as whoever typed one asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

import click

Load = Callable[[], tuple[Mapping[str, click.Command], str]]
"""Imports the plugin: its commands, and why there are none."""


def command_apart(known: Mapping[str, str], load: Load) -> click.Command:
    """A command that imports its plugin only when it is run."""
    run: Callable[..., Any] = click.pass_context(partial(_run, load))
    return click.Command(
        str(known["name"]),
        callback=run,
        params=[click.Argument(["arguments"], nargs=-1, type=click.UNPROCESSED)],
        help=str(known["help"]),
        short_help=str(known["short_help"]),
        add_help_option=False,  # the plugin's own command has one
        context_settings={"ignore_unknown_options": True},
    )


def _run(load: Load, context: click.Context, /, arguments: tuple[str, ...]) -> Any:
    name = context.command.name or ""
    commands, reason = load()
    if name not in commands:
        raise click.ClickException(f"{name} cannot run: {reason or 'its plugin offers it no more'}.")
    with commands[name].make_context(name, list(arguments), parent=context.parent) as inner:
        return commands[name].invoke(inner)
