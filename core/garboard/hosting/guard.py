"""What a plugin must not do to the world outside, refused where it does it: in the process that runs plugins alone.

It keeps a careless plugin from spoiling something, and tells its author. It is no wall against a hostile one: whoever
approves a plugin reads it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import garboard
from garboard.hosting.failures import PluginFault

_REFUSED = {
    "socket.connect": "uses_network",
    "socket.bind": "uses_network",
    "socket.sendto": "uses_network",
    "socket.getaddrinfo": "uses_network",
    "socket.gethostbyname": "uses_network",
    "subprocess.Popen": "starts_program",
    "os.system": "starts_program",
    "os.exec": "starts_program",
    "os.posix_spawn": "starts_program",
    "os.spawn": "starts_program",
    "os.fork": "starts_program",
    "os.forkpty": "starts_program",
    "os.startfile": "starts_program",
    "os.kill": "starts_program",
    "os.killpg": "starts_program",
    "os.remove": "uses_files",
    "os.rename": "uses_files",
    "os.rmdir": "uses_files",
    "os.mkdir": "uses_files",
    "os.link": "uses_files",
    "os.symlink": "uses_files",
    "os.truncate": "uses_files",
    "os.chmod": "uses_files",
    "sqlite3.connect": "uses_files",
}
_SAID = {
    "uses_network": "it opens a connection",
    "starts_program": "it starts or ends another program",
    "uses_files": "it changes a file",
}
_READ_BY_IMPORTS = (".py", ".pyc", ".so", ".pyd", ".dll")
_LIBRARIES = [place for place in sys.path if Path(place).name in ("site-packages", "dist-packages")]
_PROGRAM = str(Path(garboard.__file__).parent)
_OF_PYTHON = tuple(
    os.path.realpath(place)
    for place in (sys.prefix, sys.base_prefix, _PROGRAM, *_LIBRARIES, "/usr/share/zoneinfo", "/dev/null")
)
"""What Python and its libraries read themselves, such as the tables of units when the first is converted."""


class Guard:
    """Refuses what a plugin must not do while it runs. One in a process: it listens there for good."""

    def __init__(self) -> None:
        self._inside = False
        self._computes = False
        sys.addaudithook(self._heard)

    @contextmanager
    def of_plugin(self, computes: bool) -> Iterator[None]:
        """Mind a plugin's code. When it is loaded it may read a file; when it computes it may not."""
        self._inside, self._computes = True, computes
        try:
            yield
        finally:
            self._inside = False

    def _heard(self, event: str, given: tuple[Any, ...]) -> None:
        if not self._inside:
            return
        if event in _REFUSED:
            self._refuse(_REFUSED[event], _SAID[_REFUSED[event]])
        if event == "open":
            path, mode, flags = given
            self._opens(path, mode or "", flags or 0)

    def _opens(self, path: Any, mode: str, flags: int) -> None:
        if isinstance(path, int):  # what is open already
            return
        name = os.path.realpath(os.fsdecode(path))
        writes = bool(set(mode) & set("wax+")) or bool(flags & 3)
        if writes and name not in _OF_PYTHON:
            self._refuse("uses_files", f"it writes the file {name}")
        if self._computes and not (name.endswith(_READ_BY_IMPORTS) or name.startswith(_OF_PYTHON)):
            self._refuse("uses_files", f"it reads the file {name}")

    def _refuse(self, code: str, reason: str) -> None:
        self._inside = False  # to tell it may open a file, such as the source of a line
        raise PluginFault(reason, code)
