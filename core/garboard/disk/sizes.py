"""How long each hull file was when it was last flushed.

Every line of a hull file proves itself, so one that lost its last lines looks sound: only its length tells. A length is
noted after the file was flushed and is not flushed itself. After a power cut the note says too little, never too much.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Mapping
from pathlib import Path

from garboard.disk import storage
from garboard.disk.storage import NotSaved

FILE = "hulls.sizes"

_LINE = re.compile(rb"([A-Z0-9]+-[0-9a-f]{16}\.hull(?:\.damaged-[0-9]{1,9})?) ([0-9]{1,15})")
"""A file kept beside as damaged is noted with the length it once had."""
_LONGEST_KEPT = 1 << 16
"""A longer file of notes is written anew when the folder is opened for writing [bytes]."""


class FileSizes:
    """The lengths noted in a folder.

    folder  : of the hull files' folder
    writing : whether lengths may be noted
    """

    def __init__(self, folder: Path, *, writing: bool) -> None:
        self._path = folder / FILE
        self._writing = writing
        self._noted: dict[str, int] | None = None
        self._descriptor: int | None = None

    def least(self, name: str) -> int:
        """How long a hull file must be at least [bytes]; 0 where nothing is noted."""
        return self._all().get(name, 0)

    def note(self, sizes: Mapping[str, int]) -> None:
        """Note the lengths of files that were flushed. What cannot be noted, on a full disk, is only told later."""
        noted = self._all()
        shrunk = any(size < noted.get(name, 0) for name, size in sizes.items())
        noted.update(sizes)
        lines = "".join(f"{name} {size}\n" for name, size in sizes.items()).encode()
        if not lines or not self._writing:
            return
        with contextlib.suppress(OSError):
            if self._descriptor is None:
                self._descriptor = storage.open_for_append(self._path, create=not self._path.exists())
            os.write(self._descriptor, lines)
            if shrunk:  # a note that says too much would call a sound file cut off
                storage.flush(self._descriptor)

    def close(self) -> None:
        """Give the file back."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def _all(self) -> dict[str, int]:
        if self._noted is None:
            data = b""
            with contextlib.suppress(OSError):
                data = self._path.read_bytes()
            found = (_LINE.fullmatch(line) for line in data.split(b"\n")[:-1])
            self._noted = {one[1].decode(): int(one[2]) for one in found if one}
            if self._writing and (len(data) > _LONGEST_KEPT or (data and not data.endswith(b"\n"))):
                self._write_anew(self._noted)
        return self._noted

    def _write_anew(self, noted: Mapping[str, int]) -> None:
        with contextlib.suppress(NotSaved):
            storage.write_whole(self._path, ("".join(f"{name} {size}\n" for name, size in noted.items()).encode(),))
