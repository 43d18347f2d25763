"""What a command in a terminal works with, the program's own and a plugin's: the plugins and a console."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

from garboard.faults import Fault, InputError

if TYPE_CHECKING:
    import click
    from rich.console import Console

    from garboard.hosting.host import PluginHost


@attrs.define(slots=False)
class Tools:
    """What the options before the command chose.

    plugin_files : a shop's own plugins
    without      : names of plugins not to load
    colour       : whether a terminal may show colours
    taken        : names of commands that are the program's own
    """

    plugin_files: Sequence[Path] = ()
    without: Sequence[str] = ()
    colour: bool = True
    taken: Sequence[str] = ()

    @cached_property
    def host(self) -> PluginHost:
        """The plugins, loaded when first asked for."""
        from garboard.hosting.host import BUILT_IN, ENTRY_POINT_GROUP, make_host

        installed = [entry.name for entry in metadata.entry_points(group=ENTRY_POINT_GROUP)]
        known = [*BUILT_IN, *installed, *(path.stem for path in self.plugin_files)]
        unknown = [
            Fault("--without", f"one of {', '.join(known)}", repr(name)) for name in self.without if name not in known
        ]
        if unknown:
            raise InputError("garboard", unknown)
        return make_host(files=self.plugin_files, without=self.without)

    @cached_property
    def plugin_commands(self) -> Mapping[str, click.Command]:
        """Commands the plugins offer, by name."""
        return self.host.commands(self.taken)

    def console(self) -> Console:
        """Where a person reads."""
        from garboard.report.job_report import make_console

        return make_console(colour=self.colour)

    def tell_broken_plugins(self) -> None:
        """Say on the error output which plugins are not at work, so that nobody takes their silence for a pass."""
        import click  # here, because no tablet has it at hand

        for problem in self.host.problems:
            click.echo(
                f"Plugin {problem.name} is not at work, its checks did not run: {problem.reason}. "
                "Put it right, or leave it out with --without.",
                err=True,
            )
