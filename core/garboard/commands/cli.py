"""The command line: `garboard COMMAND`."""

from __future__ import annotations

import atexit
import gc
import sys
from collections.abc import Mapping, Sequence
from importlib import import_module
from io import TextIOWrapper
from pathlib import Path
from typing import Any

import click

import garboard
from garboard.commands.tools import BAD_INPUT
from garboard.faults import GarboardError, in_words
from garboard.record_types import is_text
from garboard.report.terminal import Tools
from garboard.report.visible import visible, visible_output

COMMANDS: Mapping[str, str] = {
    "assess": "garboard.commands.assess",
    "recording": "garboard.commands.recording",
    "listen": "garboard.commands.listen",
    "simulate": "garboard.commands.simulate",
    "hull": "garboard.commands.hull",
    "plugins": "garboard.commands.plugins",
    "new-plugin": "garboard.commands.new_plugin",
    "check-plugin": "garboard.commands.check_plugin",
    "steps": "garboard.commands.steps",
    "new-job": "garboard.commands.steps:new_job",
    "book": "garboard.commands.book",
    "verify": "garboard.commands.verify",
    "labels": "garboard.commands.labels",
    "begin": "garboard.commands.templates:begin",
    "circuits": "garboard.commands.templates:circuits",
    "templates": "garboard.commands.templates",
    "demo": "garboard.commands.demo",
    "tablet": "garboard.commands.tablet",
    "import": "garboard.commands.hulls:import_job",
    "export": "garboard.commands.hulls:export",
    "merge": "garboard.commands.hulls:merge_folders",
    "show": "garboard.commands.hulls:show",
    "settle": "garboard.commands.hulls:settle",
    "take-back": "garboard.commands.hulls:take_back",
    "same-boat": "garboard.commands.hulls:same_boat",
    "attach": "garboard.commands.hulls:attach",
    "set-aside": "garboard.commands.hulls:set_job_aside",
    "move-job": "garboard.commands.hulls:move_job",
    "join-job": "garboard.commands.hulls:join_job",
    "digest": "garboard.commands.digest",
    "repair": "garboard.commands.repair",
    "settings": "garboard.commands.settings",
    "try-next": "garboard.commands.try_next",
    "ashore": "garboard.commands.ashore",
}
"""The program's own commands: "module:name"; the name is `command` where none is given."""


OBJECTS_BETWEEN_COLLECTIONS = 200_000
"""Python would look for garbage after every 700. What a command loads stays to its end, so it would look in vain: an
assessment makes some 100 000 objects, and looking through them once took 4 % of its time."""


class _Text(click.types.StringParamType):
    """Text of whole characters: what a command is given may be kept, and no file, page or book can hold other bytes."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        text = super().convert(value, param, ctx)
        if not is_text(text):
            got = ascii(text.encode("utf-8", "surrogateescape"))[1:]
            self.fail(f"expected text, got {got}, which holds bytes that are no text here. Nothing was changed", param)
        return text


_TEXT = _Text()


def _takes_whole_characters(command: click.Command) -> click.Command:
    """The command, all its text checked in one way; names of files may be any bytes."""
    for param in command.params:
        if param.type is click.STRING:
            param.type = _TEXT
    for inner in command.commands.values() if isinstance(command, click.Group) else ():
        _takes_whole_characters(inner)
    return command


class Program(click.Group):
    """The program's own commands and those of the plugins; a module is imported when its command is needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*COMMANDS, *sorted(_tools(ctx).plugin_commands)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name in COMMANDS:
            module, _, name = COMMANDS[cmd_name].partition(":")
            command: click.Command = getattr(import_module(module), name or "command")
            return _takes_whole_characters(command)
        found = _tools(ctx).plugin_commands.get(cmd_name)
        return found and _takes_whole_characters(found)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """What the program's own command prints holds names that others wrote; a plugin's may colour its output."""
        found = super().resolve_command(ctx, args)
        if found[0] in COMMANDS:
            ctx.with_resource(visible_output())
        return found

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run; bad input ends with its faults and exit status 2 instead of a traceback."""
        try:
            return super().main(*args, **extra)
        except (GarboardError, OSError) as failure:
            click.echo(visible(in_words(failure)), err=True)
            sys.exit(BAD_INPUT)


def _tools(ctx: click.Context) -> Tools:
    """The tools of this run, made when first needed; --help may ask before the options were all read."""
    root = ctx.find_root()
    if not isinstance(root.obj, Tools):
        chosen = root.params
        root.obj = Tools(
            plugin_files=chosen.get("plugin") or (),
            without=chosen.get("without") or (),
            colour=not chosen.get("no_color"),
            taken=tuple(COMMANDS),
        )
    return root.obj


@click.group(cls=Program, help="Check a newly rigged boat, from the last wire labelled to the owner's signature.")
@click.option(
    "--plugin",
    multiple=True,
    is_eager=True,
    type=click.Path(exists=True, path_type=Path),
    help="A shop's own plugin: a Python file, a check file or a package's folder. Can be repeated.",
)
@click.option("--without", multiple=True, is_eager=True, metavar="NAME", help="Do not load a plugin. Can be repeated.")
@click.option(
    "--no-color",
    is_flag=True,
    is_eager=True,
    help="No colours. The variable NO_COLOR does the same.",
)
@click.version_option(garboard.__version__, prog_name="garboard")
@click.pass_context
def program(ctx: click.Context, plugin: Sequence[Path], without: Sequence[str], no_color: bool) -> None:
    """Read the options before the command."""
    _tools(ctx)


def main() -> None:
    """Entry point of the command `garboard`."""
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    atexit.register(gc.freeze)  # what is still held goes with the process: it need not be looked through for garbage
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # an old terminal shows "?" rather than stopping the work
    program()
