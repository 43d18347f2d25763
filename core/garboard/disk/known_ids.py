"""Which entries each hull file held, by the beginnings of their ids.

A digest tells that a file is not as it was, not what it lacks: it may hold all it held, in another order, and more.
Noted after a file was flushed and not flushed itself; the number of entries noted in sizes.py tells whether all are.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from pathlib import Path

from garboard.disk import storage

FILE = "hulls.ids"
BEGINNING = 10
"""Characters of an id: enough to tell apart the entries of one hull."""

_FORGET = "-"
_LINE = rf"\n%s((?: [0-9a-f]{{{BEGINNING}}})+| {_FORGET})(?=\n|\Z)"
"""The hash in a hull file's name, and ids that stand in the file; or that those before count no more."""


class KnownIds:
    """What is noted in a folder.

    folder  : of the hull files' folder
    writing : whether ids may be noted
    """

    def __init__(self, folder: Path, *, writing: bool) -> None:
        self._path = folder / FILE
        self._writing = writing
        self._descriptor: int | None = None

    def of(self, name: str) -> frozenset[str]:
        """The beginnings of the ids noted of a hull file. Read from the disk each time: it is rarely asked."""
        data, found = b"", set[str]()
        with contextlib.suppress(OSError):
            data = storage.content_of(self._path)
        for ids in re.findall(_LINE % _hash_in(name), data.decode("latin-1")):
            found = found.union(ids.split()) if ids != f" {_FORGET}" else set()
        return frozenset(found)

    def note(self, ids: Mapping[str, Iterable[str]]) -> bool:
        """Note ids that stand in hull files, by the files' names; False where the disk does not take it."""
        return self.write(b"".join([lines_of(name, found) for name, found in ids.items()]))

    def forget(self, name: str) -> None:
        """Of a hull file that was removed on purpose nothing is missed any more."""
        self.write(f"\n{_hash_in(name)} {_FORGET}".encode())

    def write(self, lines: bytes) -> bool:
        """Add lines behind the others; False where the disk does not take them.

        Each begins with the line's end, so that one a power cut left costs no other.
        """
        if not lines:
            return True
        if not self._writing:
            return False
        try:
            if self._descriptor is None:
                self._descriptor = storage.open_for_append(self._path, create=not self._path.exists())
            storage.append(self._descriptor, lines)
        except OSError:
            return False
        return True

    def close(self) -> None:
        """Give the file back."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None


@lru_cache(maxsize=64)
def _hash_in(name: str) -> str:
    return name.removesuffix(".hull").rpartition("-")[2]


def lines_of(name: str, ids: Iterable[str]) -> bytes:
    """How it is noted that ids stand in a hull file; nothing where there are none."""
    found = " ".join([one[:BEGINNING] for one in ids])
    return f"\n{_hash_in(name)} {found}".encode() if found else b""
