"""`garboard tablet`: the app, in an ordinary window on a desktop."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import click

from garboard.faults import Fault, InputError
from garboard.report.terminal import Tools

NEWEST_FOR_KIVY = (3, 13)
"""The newest Python that Kivy 2.3 has wheels for; pyproject.toml asks for Kivy up to there."""


@click.command("tablet")
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="Where the tablet keeps its hull files. Default: where the system keeps an application's data.",
)
@click.option("--demo", is_flag=True, help="Start with the sample jobs and a simulated boat, in a separate folder.")
@click.option(
    "--replay",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="Replay this recording in the live guides.",
)
@click.option(
    "--listen",
    metavar="WHERE",
    help="Receive the boat's network in the live guides: a UDP port such as 10110, or ADDRESS:PORT for TCP.",
)
@click.pass_obj
def command(tools: Tools, folder: Path | None, demo: bool, replay: Path | None, listen: str | None) -> None:
    """Start the tablet app. It works without a network."""
    if find_spec("kivy") is None or find_spec("garboard_tablet") is None:
        wanted = "the tablet part: pip install 'garboard[tablet]'"
        if sys.version_info[:2] > NEWEST_FOR_KIVY:
            wanted += f", with Python 3.11 to 3.{NEWEST_FOR_KIVY[1]}: Kivy is not yet published for a newer one"
        raise InputError("tablet", [Fault("packages", wanted, "kivy is not installed")])
    where = None
    if listen is not None:
        from garboard.recordings.where import read_where

        where = read_where(listen)
    has_data = folder is not None and folder.is_dir()
    own = (*tools.plugin_files, *(_beside(tools, folder) if folder is not None and has_data else ()))
    refused = tools.refused_beside(folder) if folder is not None and has_data else ()
    tools.tell_problems(refused)
    app = import_module("garboard_tablet.app")  # by name: the core knows no Kivy
    app.run(folder, demo, replay, where, own, refused, tools.without)


def _beside(tools: Tools, folder: Path) -> Iterator[Path]:
    """Plugins that lie in the tablet's folder; what a manager approved is not replaced by one of its name."""
    from garboard.shop_link.shop_plugins import kept

    approved = {plugin.name for plugin in kept(folder)}
    yield from (file for file in tools.beside(folder) if file.stem not in approved)
