"""Folders for what is made and soon removed: of a program that was killed, the next one clears them away.

In each lies a file that is locked as long as its program lives. A system gives up a lock however a program ends, and
numbers of processes are used again: so the lock tells who lives, and nothing else does.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from types import TracebackType

from garboard.disk import storage

IN_USE = ".in-use"
"""The locked file in a folder."""
_NAME = re.compile(r"garboard-[a-z]+-[a-z0-9_]{8}")
_ALREADY_CLOSED = -1


class ScratchFolder(TemporaryDirectory[str]):
    """A folder among the system's temporary ones; entered, it gives its path. It goes when it is left, or cleaned up.

    what : it is for: a word in its name
    """

    def __init__(self, what: str) -> None:
        clear_away()
        self._lock = _ALREADY_CLOSED
        while True:
            super().__init__(prefix=f"garboard-{what}-", ignore_cleanup_errors=os.name == "nt")
            with contextlib.suppress(FileNotFoundError, storage.FolderInUse):  # cleared away before it was locked
                self._lock = storage.hold(Path(self.name) / IN_USE)
                return
            super().cleanup()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.cleanup()

    def cleanup(self) -> None:
        """Remove it. Once more does nothing."""
        if self._lock != _ALREADY_CLOSED:
            os.close(self._lock)
            self._lock = _ALREADY_CLOSED
        super().cleanup()


def clear_away() -> None:
    """Remove the folders of this user's programs that live no more. What cannot be removed stays."""
    for folder in _ours():
        try:
            lock = os.open(folder / IN_USE, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
        except FileNotFoundError:
            with contextlib.suppress(OSError):  # there is something in it, of a program that knows no such lock
                folder.rmdir()
            continue
        except OSError:
            continue
        with os.fdopen(lock, "r+b", buffering=0) as held:  # a pipe has no place to seek to
            try:
                storage.lock(held.fileno())
            except OSError:  # it lives
                continue
            if os.name == "nt":  # which removes nothing that is open
                held.close()
            shutil.rmtree(folder, ignore_errors=True)


def _ours() -> Iterator[Path]:
    with contextlib.suppress(OSError), os.scandir(gettempdir()) as found:
        for one in found:
            if _NAME.fullmatch(one.name) and one.is_dir(follow_symlinks=False):
                with contextlib.suppress(OSError):
                    if not hasattr(os, "getuid") or one.stat(follow_symlinks=False).st_uid == os.getuid():
                        yield Path(one.path)
