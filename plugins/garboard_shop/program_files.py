"""Whether the program's own files are still those with which the server began.

An update in place changes them beneath a server that runs: what it loads later, such as the book's code, is then of
another version than what it has in memory. A restart is all that helps.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path

import attrs

from garboard.hosting.host import BUILT_IN

CHANGED = "The program on the shop's machine was changed while this server runs. Restart the shop server"
"""The beginning of what to say; who reads it is told what to do then."""
EVERY = 30.0
"""The files are looked at so often at most, as long as nothing fails [s]."""
_Seen = Mapping[str, tuple[int, int]]


def program_folders() -> tuple[Path, ...]:
    """The folders of the core and of every plugin of the program that is loaded."""
    loaded = (module for name, module in sys.modules.items() if name in ("garboard", *BUILT_IN))
    return tuple(sorted({Path(file).parent for one in loaded if (file := getattr(one, "__file__", None))}))


@attrs.define
class ProgramFiles:
    """Files of the program, as they were when this was made."""

    folders: Iterable[Path] = attrs.field(factory=program_folders)
    _began: _Seen = attrs.field(init=False)
    _looked: float = attrs.field(init=False, factory=time.monotonic)
    _are_changed: bool = attrs.field(init=False, default=False)

    @_began.default
    def _found_first(self) -> _Seen:
        return dict(_files(self.folders))

    def are_changed(self) -> bool:
        """Whether any was changed, added or removed since; looked at only now and then."""
        return self._are_changed or (time.monotonic() - self._looked > EVERY and self.are_changed_now())

    def are_changed_now(self) -> bool:
        """The same, looked at now. What was changed once stays so: part of the old program may be loaded."""
        self._looked = time.monotonic()
        self._are_changed = self._are_changed or dict(_files(self.folders)) != self._began
        return self._are_changed


def _files(folders: Iterable[Path]) -> Iterator[tuple[str, tuple[int, int]]]:
    """Every file with its time and its size; what Python itself keeps beside the sources is none of the program's."""
    for folder in folders:
        for place, inner, names in os.walk(folder):
            inner[:] = [name for name in inner if name != "__pycache__"]
            for name in names:
                file = Path(place) / name
                with suppress(OSError):  # it went meanwhile
                    found = file.stat()
                    yield str(file), (found.st_mtime_ns, found.st_size)
