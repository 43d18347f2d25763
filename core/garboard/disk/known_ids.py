"""Which entries each hull file held, by the beginnings of their ids.

A digest tells that a file is not as it was, not what it lacks: it may hold all it held, in another order, and more.
Noted after a file was flushed and not flushed itself; the number of entries noted in sizes.py tells whether all are.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Iterable, Mapping
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
            data = self._path.read_bytes()
        for ids in re.findall(_LINE % _hash_in(name), data.decode("latin-1")):
            found = found.union(ids.split()) if ids != f" {_FORGET}" else set()
        return frozenset(found)

    def note(self, ids: Mapping[str, Iterable[str]]) -> bool:
        """Note ids that stand in hull files, by the files' names; False where the disk does not take it."""
        cut = {name: " ".join([one[:BEGINNING] for one in found]) for name, found in ids.items()}
        return self._write("".join(f"\n{_hash_in(name)} {found}" for name, found in cut.items() if found))

    def forget(self, name: str) -> None:
        """Of a hull file that was removed on purpose nothing is missed any more."""
        self._write(f"\n{_hash_in(name)} {_FORGET}")

    def _write(self, text: str) -> bool:
        """Add lines behind the others; each begins with the line's end, so that one a power cut left costs no other."""
        if not text:
            return True
        if not self._writing:
            return False
        try:
            if self._descriptor is None:
                self._descriptor = storage.open_for_append(self._path, create=not self._path.exists())
            storage.append(self._descriptor, text.encode())
        except OSError:
            return False
        return True

    def close(self) -> None:
        """Give the file back."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None


def _hash_in(name: str) -> str:
    return name.removesuffix(".hull").rpartition("-")[2]
