"""Which hull files a folder has, without a listing where it did not change: to list 100 000 takes longer than a merge.

    garboard names 1 <marks of the hull files' folder> <mark of the notes> <bytes> <check>
    <a filter of the boats' numbers>

A folder's time changes with every name in it. One that has the time noted has the names it had then: nothing in it was
left unfinished, and of what is noted (sizes.py) nothing is gone. The filter tells which numbers it has not; of one it
may have, a look at the disk tells. Made again of the names, and nothing else depends on it: not what a hull holds.

It is not believed where the folder changed within the coarsest clock's step before it was noted, and not written where
a folder's time does not tell (Windows on a card).
"""

from __future__ import annotations

import contextlib
import os
import re
import time
from collections.abc import Collection, Iterable
from pathlib import Path
from zlib import crc32

from garboard import hull_number
from garboard.disk import storage
from garboard.disk.storage import NotSaved

FILE = "hulls.names"
COARSEST_CLOCK = 2_000_000_000
"""Two changes within so much may leave one time behind [ns]: a card's clock ticks every two seconds."""

_HEADING = re.compile(rb"garboard names 1 ([0-9.]{1,99}) ([0-9a-f]{8}) ([0-9]{1,12}) ([0-9a-f]{8})\n")
_LEAST_BITS, _MOST_BITS = 16, 64
"""Of the filter for each number: with fewer it is made anew."""
_HAS_OTHER_MARKS = re.compile(r"[OIQ]|^.{14}$")
"""Numbers that `hull_number.marks` gives other marks than themselves, and some more."""


class FolderNames:
    """What is noted of the names in a folder.

    folder  : of the hull files' folder
    hulls   : the hull files' folder
    """

    def __init__(self, folder: Path, hulls: Path) -> None:
        self._path = folder / FILE
        self._hulls = hulls
        self._marks: bytes | None = None
        self._notes = ""
        self._filter = bytearray(1)

    def marks_now(self) -> bytes:
        """What changes when a name in the folder does; b"" where it changed just now, or the system does not say."""
        try:
            found = self._hulls.stat()
        except OSError:
            return b""
        changed = max(found.st_mtime_ns, found.st_ctime_ns)
        marks = b"%d.%d.%d.%d" % (found.st_dev, found.st_ino, found.st_mtime_ns, found.st_ctime_ns)
        return marks if 0 <= changed < time.time_ns() - COARSEST_CLOCK else b""

    def are_as_noted(self, notes: str) -> bool:
        """Whether the folder has the names it had when they were noted.

        notes : the mark of the notes about hull files
        """
        self._load()
        return bool(self._marks) and self._notes == notes and self._marks == self.marks_now()

    def may_have(self, marks: Iterable[str]) -> list[str]:
        """Those of some marks, `hull_number.marks`, of which the folder may have a number."""
        bits, most = self._filter, len(self._filter) * 8 - 1
        return [  # the places of `_places`, written out: a hundred thousand are asked for
            mark
            for mark in marks
            if bits[((at := crc32(mark.encode())) & most) >> 3] >> (at & 7) & 1
            and bits[((at := at + (step := at >> 15 | 1)) & most) >> 3] >> (at & 7) & 1
            and bits[((at := at + step) & most) >> 3] >> (at & 7) & 1
        ]

    def take_in(self, numbers: Collection[str]) -> None:
        """Make the filter one of all these numbers, listed just now. One that is noted lacks few of them."""
        self._load()
        if len(self._filter) * 8 < len(numbers) * _LEAST_BITS:
            self._filter = bytearray(1 << (len(numbers) * _MOST_BITS // 8).bit_length())
        held = {*self.may_have(numbers)}
        bits, most = self._filter, len(self._filter) * 8 - 1
        for number in numbers:
            if number not in held or _HAS_OTHER_MARKS.search(number):
                for mark in hull_number.marks(number):
                    for place in _places(mark, most):
                        bits[place >> 3] |= 1 << (place & 7)

    def note(self, marks: bytes, notes: str) -> None:
        """Note that the folder has the numbers taken in. Where it cannot be written, it is listed again.

        marks   : of the folder before it was listed
        notes   : the mark of the notes about hull files, of which nothing is gone
        """
        if not marks or os.name == "nt" or marks != self.marks_now():
            return
        content = bytes(self._filter)
        heading = b"garboard names 1 %b %b %d %08x\n" % (marks, notes.encode(), len(content), crc32(content))
        with contextlib.suppress(NotSaved):
            storage.write_whole(self._path, (heading, content))

    def _load(self) -> None:
        if self._marks is not None:
            return
        self._marks, data = b"", b""
        with contextlib.suppress(OSError):
            data = self._path.read_bytes()
        if (found := _HEADING.match(data)) and len(data) == found.end() + int(found[3]):
            content = data[found.end() :]
            if b"%08x" % crc32(content) == found[4] and len(content).bit_count() == 1:
                self._marks, self._notes, self._filter = found[1], found[2].decode(), bytearray(content)


def _places(mark: str, most: int) -> tuple[int, int, int]:
    """The bits that tell of a mark."""
    first = crc32(mark.encode())
    step = first >> 15 | 1
    return first & most, first + step & most, first + 2 * step & most
