"""The file for whoever helps: versions and the log, nothing measured and no names."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from garboard.disk.storage import write_whole
from garboard_tablet.models.logbook import kept_log, versions

if TYPE_CHECKING:
    from garboard_tablet.models.tablet import Tablet

FILE = "garboard-help.txt"


def help_text(tablet: Tablet) -> str:
    """What the file says."""
    host = tablet.host
    plugins = [f"  {plugin.name} {plugin.version}" for plugin in host.plugins]
    problems = [f"  {problem.name}" for problem in host.problems]
    lines = [
        "Garboard help file. It contains no measured values and no names of people.",
        "",
        "Versions",
        *(f"  {line}" for line in versions()),
        "",
        "Plugins loaded",
        *(plugins or ["  none"]),
        "",
        "Plugins not loaded",
        *(problems or ["  none"]),
        "",
        f"Hull files: {len(tablet.files.boats())}, damaged: {len(tablet.files.damage())}",
        "",
        "Log, oldest lines first",
        kept_log(tablet.folder) or "  empty",
    ]
    return "\n".join(lines)


def make_help_file(tablet: Tablet) -> Path:
    """Write the file into the tablet's folder; an older one is replaced.

    errors : NotSaved when the disk refuses
    """
    path = tablet.folder / FILE
    write_whole(path, [help_text(tablet).encode()])
    return path
