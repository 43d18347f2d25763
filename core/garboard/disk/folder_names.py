"""Which hull files a folder has, without a listing where it did not change: to list 100 000 takes longer than a merge.

    garboard names 2 <marks of the hull files' folder> <when it was listed> <mark of the notes> <bytes> <check>
    <a filter of the boats' numbers>

A folder's time changes with every name in it. Before the folder is listed it is given a time of our own (`seal`), which
no change gives it: while it has that time, it has the names it had, even if others change it within one tick of its
clock. In such a folder nothing was left unfinished, and of what is noted (sizes.py) nothing is gone. The filter tells
which numbers it has not; of one it may have, a look at the disk tells.

A name that this program adds is taken up (`changing`): the folder is looked at just before, and sealed again just
after. Whatever else changes in it is found by a listing. There is one every day, whatever the time says. The file is
made again of the names, and nothing else depends on it: not what a hull holds.

A folder that keeps its time coarsely is listed each time. So is one where the system does not tell (Windows). One that
lets nobody set its time is believed where it did not change within the coarsest clock's step before it was listed.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import threading
import time
from collections.abc import Collection, Iterable, Iterator
from functools import cache
from pathlib import Path
from zlib import crc32

from garboard import hull_number
from garboard.disk import storage
from garboard.disk.sizes import changed
from garboard.disk.storage import NotSaved

FILE = "hulls.names"
COARSEST_CLOCK = 2_000_000_000
"""Two changes within so much may leave one time behind [ns]: a card's clock ticks every two seconds."""
LISTED_EVERY = 24 * 3600 * 1_000_000_000
"""A listing is believed for so long at most [ns]."""

_HEADING = re.compile(rb"(garboard names 2 ([0-9.]{1,99}) ([0-9]{1,20}) ([0-9a-f]{8}) ([0-9]{1,12})) ([0-9a-f]{8})\n")
_LEAST_BITS, _MOST_BITS = 16, 64
"""Of the filter for each number: with fewer it is made anew."""
_FULLEST, _SAMPLE = 0.3, 8192
"""With a larger share of its bits set, a filter tells of too many numbers that they may be there."""
_CHARACTERS = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
"""Of a number."""
_HAS_OTHER_MARKS = re.compile(r"[OIQ]|^.{14}$|U[0-9A-F]{4}")
"""Numbers that `hull_number.marks` gives other marks than themselves, and some more."""


class FolderNames:
    """What is known of the names in a folder.

    folder  : of the hull files' folder
    hulls   : the hull files' folder
    """

    def __init__(self, folder: Path, hulls: Path) -> None:
        self._path = folder / FILE
        self._hulls = hulls
        self._guard = threading.Lock()
        self._written: bytes | None = None
        """The heading as it stands in the file; None before it was read."""
        self._marks = b""
        """The folder's marks under which nothing unfinished is in it, and nothing noted is gone; b"" where unknown."""
        self._in_filter = b""
        """Those under which the filter has every number in it."""
        self._notes = ""
        self._listed = 0
        self._filter = bytearray(1)

    def marks_now(self) -> bytes:
        """What changes when a name in the folder does; b"" where the system does not say."""
        try:
            return _marks_of(self._hulls.stat())
        except OSError:
            return b""

    def marks_that_tell(self) -> bytes:
        """The folder's marks, where any name that comes or goes from now on gives it others; b"" where it may not."""
        try:
            found = self._hulls.stat()
        except OSError:
            return b""
        marks = _marks_of(found)
        is_sealed = marks in (self._marks, self._in_filter)
        return marks if is_sealed or (os.name != "nt" and _is_long_ago(found)) else b""

    def are_as_noted(self, notes: str) -> bool:
        """Whether the folder has the names it had when it was last listed, but for those this program added since.

        notes : the mark of the notes about hull files
        """
        self._load()
        return bool(self._marks) and self._notes == notes and self._is_of_today() and self._marks == self.marks_now()

    def has_all_numbers(self) -> bool:
        """Whether every number in the folder is in the filter."""
        self._load()
        return bool(self._in_filter) and self._is_of_today() and self._in_filter == self.marks_now()

    def seal(self) -> bytes:
        """Give the folder a time that tells of every change from now on; what is listed after this may be noted.

        returns : its marks; b"" where its time would not tell
        """
        with self._guard:
            return self._sealed()

    def _sealed(self) -> bytes:
        if os.name == "nt":
            return b""
        try:
            found = self._hulls.stat()
            if (marks := _marks_of(found)) in (self._marks, self._in_filter):
                return marks
            ours = _a_time_of_ours()
            try:
                os.utime(self._hulls, ns=(found.st_atime_ns, ours))
            except OSError:  # a folder of another user's, which this one may write in
                return marks if _is_long_ago(found) else b""
            found = self._hulls.stat()
        except OSError:
            return b""
        return _marks_of(found) if found.st_mtime_ns == ours else b""

    @contextlib.contextmanager
    def changing(self, number: str) -> Iterator[None]:
        """Around each change that this program makes to the names in the folder.

        number : of the boat whose file comes
        """
        with self._guard:
            before = self.marks_now()
            is_known = bool(before) and before in (self._marks, self._in_filter)
            if is_known:
                self._put([number])
            yield
            if is_known:
                told = self.marks_now() != before
                after = self._sealed() if told else b""
                self._marks = after if self._marks == before else b""
                self._in_filter = after if self._in_filter == before else b""

    def listed(self, marks: bytes, notes: str) -> None:
        """Take in that the folder was listed, and that nothing was left unfinished in it and nothing noted is gone.

        marks : of the folder before it was listed, `seal`
        notes : the mark of the notes about hull files
        """
        self._marks, self._notes, self._listed = marks, notes, time.time_ns()

    def _is_of_today(self) -> bool:
        return 0 <= time.time_ns() - self._listed < LISTED_EVERY

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

    def may_have_beside(self, number: str) -> list[str]:
        """Those numbers that differ from one in a character, of which the folder may have one: `may_have` of them all.

        Where one byte of a text is another, its CRC-32 is another by what that byte and the number of those behind it
        say alone. So of the hundreds asked for none is written out but those it may have.

        number : capitals and numerals
        """
        bits, most, crc = self._filter, len(self._filter) * 8 - 1, crc32(number.encode())
        found: list[str] = []
        for place, this in enumerate(number.encode()):
            differs = _differences(len(number) - place - 1)
            found += [  # the places of `_places`, written out, as above
                f"{number[:place]}{chr(other)}{number[place + 1 :]}"
                for other in _CHARACTERS
                if bits[((at := crc ^ differs[this ^ other]) & most) >> 3] >> (at & 7) & 1
                and bits[((at := at + (step := at >> 15 | 1)) & most) >> 3] >> (at & 7) & 1
                and bits[((at := at + step) & most) >> 3] >> (at & 7) & 1
            ]
        return found

    def take_in(self, numbers: Collection[str], marks: bytes) -> None:
        """Make the filter one of all these numbers, listed just now. One that is noted lacks few of them.

        marks : of the folder before it was listed, `seal`
        """
        self._load()
        if len(self._filter) * 8 < len(numbers) * _LEAST_BITS:
            self._filter = bytearray(1 << (len(numbers) * _MOST_BITS // 8).bit_length())
        held = {*self.may_have(numbers)}
        self._put(number for number in numbers if number not in held or _HAS_OTHER_MARKS.search(number))
        self._in_filter = marks

    def _put(self, numbers: Iterable[str]) -> None:
        bits, most = self._filter, len(self._filter) * 8 - 1
        for number in numbers:
            for mark in hull_number.marks(number):
                for place in _places(mark, most):
                    bits[place >> 3] |= 1 << (place & 7)

    def note(self) -> None:
        """Write down what is known of the folder now. Where it cannot be written, the folder is listed again."""
        if not self._marks or not self._marks == self._in_filter == self.marks_now():
            return
        content = bytes(self._filter)
        sample = content[:_SAMPLE]  # any part is as full as another
        if int.from_bytes(sample, "little").bit_count() > _FULLEST * 8 * len(sample):
            return
        known = (self._marks, self._listed, self._notes.encode(), len(content))
        heading = b"garboard names 2 %b %d %b %d" % known
        if heading != self._written:
            with contextlib.suppress(NotSaved):
                storage.write_whole(self._path, (_with_check(heading, content), content))
                self._written = heading

    def _load(self) -> None:
        if self._written is not None:
            return
        self._written, data = b"", b""
        with contextlib.suppress(OSError):
            data = storage.content_of(self._path)
        if (found := _HEADING.match(data)) and len(data) == found.end() + int(found[5]):
            content = data[found.end() :]
            if data[: found.end()] == _with_check(found[1], content) and len(content).bit_count() == 1:
                self._written, self._marks, self._in_filter = found[1], found[2], found[2]
                self._listed, self._notes, self._filter = int(found[3]), found[4].decode(), bytearray(content)


def _marks_of(found: os.stat_result) -> bytes:
    return b"%d.%d.%d.%d" % (found.st_dev, found.st_ino, found.st_mtime_ns, found.st_ctime_ns)


def _is_long_ago(found: os.stat_result) -> bool:
    """Whether a file or folder changed so long ago that a change from now on gives it another time."""
    return 0 <= changed(found) < time.time_ns() - COARSEST_CLOCK


def _a_time_of_ours() -> int:
    """Some seconds ago [ns], to the microsecond: a system that keeps it so finely keeps it as it is."""
    return time.time_ns() // 1_000_000_000 * 1_000_000_000 - COARSEST_CLOCK - 1000 * (1 + secrets.randbelow(999_998))


def _with_check(heading: bytes, content: bytes) -> bytes:
    return b"%b %08x\n" % (heading, crc32(content, crc32(heading)))


@cache
def _differences(behind: int) -> list[int]:
    """What the CRC-32 of a text changes by, for each change of the bits of one byte with so many behind it."""
    nothing, found = crc32(bytes(1 + behind)), [0]
    for bit in (1, 2, 4, 8, 16, 32, 64):  # what two bits change it by is what one does and what the other does
        this = crc32(bytes([bit]) + bytes(behind)) ^ nothing
        found += [this ^ others for others in found]
    return found


def _places(mark: str, most: int) -> tuple[int, int, int]:
    """The bits that tell of a mark."""
    first = crc32(mark.encode())
    step = first >> 15 | 1
    return first & most, first + step & most, first + 2 * step & most
