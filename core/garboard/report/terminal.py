"""What a command in a terminal works with, the program's own and a plugin's: the plugins and a console."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import attrs

if TYPE_CHECKING:
    import click
    from rich.console import Console

    from garboard.disk.scratch import ScratchFolder
    from garboard.hosting.failures import PluginProblem
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
        return self._host(())

    def host_for(self, path: Path) -> PluginHost:
        """The plugins for some data, with those that lie beside it and those that its shop has approved.

        So it is judged alike wherever it is judged.

        path : a job file; or a folder of jobs, a tablet's, or a shop's, which alone has approved plugins
        """
        from garboard.judging.assessing import is_hull_folder

        if path not in self._hosts:
            approved = self._approved(path) if is_hull_folder(path) else ()
            names = {file.stem for file in approved}  # what a manager approved is not replaced by what lies there
            own = (*approved, *(file for file in self.beside(path) if file.stem not in names))
            refused = self.refused_beside(path)
            self._hosts[path] = self._host(own, refused) if own or refused else self.host
        return self._hosts[path]

    def beside(self, path: Path) -> Sequence[Path]:
        """Plugins in the folder `plugins` beside some data; of a name chosen on the command line, that one runs."""
        import click  # here, because no tablet has it at hand

        from garboard.hosting.host import BUILT_IN
        from garboard.hosting.sources import plugins_beside

        found = plugins_beside(path, (*BUILT_IN, *(file.stem for file in self.plugin_files)))
        if not found:
            return ()
        from garboard.disk.storage import is_users_own  # here: a job file is judged without what keeps data

        if is_users_own(found[0].parent):
            return found
        click.echo(f"{found[0].parent} is not yours alone to change, so no plugin in it ran.", err=True)
        return ()

    def refused_beside(self, path: Path) -> Sequence[PluginProblem]:
        """What lies in that folder as a plugin and does not run for its name."""
        from garboard.hosting.host import BUILT_IN
        from garboard.hosting.sources import refused_beside

        return refused_beside(path, BUILT_IN)

    def _approved(self, folder: Path) -> Sequence[Path]:
        """Files of the plugins approved in a folder; of a name chosen on the command line, that one runs."""
        import click  # here, because no tablet has it at hand

        from garboard.disk import storage
        from garboard.disk.hullfile import HullFolder
        from garboard.shop_link.shop_plugins import files_to_run, kept

        if kept(folder) and not storage.is_users_own(folder):
            click.echo(
                f"{folder} is not yours alone to change, so no plugin that it calls approved ran.",
                err=True,
            )
            return ()
        with HullFolder(folder, read_only=True) as hulls:
            found = files_to_run(hulls, Path(self._laid_out.name))
        for plugin in kept(folder):
            if plugin.name not in {file.stem for file in found}:
                click.echo(f"Plugin {plugin} has no sound file in {folder}, its checks did not run.", err=True)
        chosen = {file.stem for file in self.plugin_files}
        return [file for file in found if file.stem not in chosen]

    @cached_property
    def _hosts(self) -> dict[Path, PluginHost]:
        return {}

    @cached_property
    def _laid_out(self) -> ScratchFolder:
        """Where plugins of folders that are only read are laid out; it goes with the program."""
        from garboard.disk.scratch import ScratchFolder

        return ScratchFolder("plugins")

    def _host(self, approved: Sequence[Path], refused: Sequence[PluginProblem] = ()) -> PluginHost:
        from garboard.hosting.host import make_host, refuse_unknown_names

        files = (path.stem for path in (*self.plugin_files, *approved))
        refuse_unknown_names(self.without, (*files, *(one.name for one in refused)))
        host = make_host(files=[*self.plugin_files, *approved], without=self.without, apart=True)
        host.problems += [one for one in refused if one.name not in self.without]
        return host

    @cached_property
    def plugin_commands(self) -> Mapping[str, click.Command]:
        """Commands the plugins offer, by name."""
        return self.host.commands(self.taken)

    def console(self) -> Console:
        """Where a person reads."""
        from garboard.report.job_report import make_console

        return make_console(colour=self.colour)

    def tell_broken_plugins(self, host: PluginHost | None = None) -> None:
        """Say on the error output which plugins are not at work, so that nobody takes their silence for a pass."""
        self.tell_problems((host or self.host).problems)

    def tell_problems(self, problems: Iterable[PluginProblem]) -> None:
        """The same of problems found otherwise."""
        import click  # here, because no tablet has it at hand

        for problem in (one for one in problems if one.name not in self.without):
            click.echo(
                f"Plugin {problem.name} is not at work, its checks did not run: {problem.in_words} "
                "Or leave it out with --without.",
                err=True,
            )
