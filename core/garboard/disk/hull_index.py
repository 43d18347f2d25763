"""What is noted of each hull file, a line a hull, sorted by name: one is found without reading the others.

    garboard hull index 1 <bytes of the notes it is made of> <check of their end> <bytes of its lines> <check> <check>
    <name> <length> <the file's times and number> <changed> <ids noted> <entries> <digest> <check>

It is made of the notes (sizes.py), which go on growing behind it, and can be made again of them at any time. So it is
not flushed, and one that is damaged, cut off, of another version or of other notes is passed over. Each line proves
itself, and two lines that prove themselves and stand side by side prove that nothing stands between them.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import BinaryIO, NamedTuple, Self

from garboard.disk import storage
from garboard.disk.storage import NotSaved

FILE = "hulls.index"

_HEADING = re.compile(
    rb"(garboard hull index 1 ([0-9]{1,15}) ([0-9a-f]{8}) ([0-9]{1,15}) ([0-9a-f]{8})) ([0-9a-f]{8})\n"
)
_LONGEST_HEADING = 100
_LONGEST_LINE = 512
"""Longer than any line [bytes]."""
_CHECK = 8
_NO_DIGEST = b"-"
_END_COMPARED = 4096
"""So much of the notes' end tells that they are those it was made of [bytes]."""
_KEPT = b"!"
"""Before the name of a file kept beside: it sorts before every other."""


Stamp = tuple[int, int, int]
"""What the system says of a file: when it was changed, by two clocks [ns], and which one it is."""
NEVER: Stamp = (0, 0, 0)
"""No file has it."""


class Found(bytes):
    """A file in the folder as the system says it is, written as in a line of the index.

    Not a tuple: a hundred thousand of those keep the garbage collector busy longer than the disk.
    """

    __slots__ = ()

    @property
    def is_file(self) -> bool:
        return not self.startswith(_OTHER)

    @property
    def size(self) -> int:
        return int(self.removeprefix(_OTHER).split(b" ")[0])

    @property
    def stamp(self) -> Stamp:
        _, mtime, ctime, inode, _ = self.removeprefix(_OTHER).split(b" ")
        return int(mtime), int(ctime), int(inode)

    @property
    def changed(self) -> int:
        """The later of two times [ns]: one tells of a change on every system, the other also that it was put back."""
        return max(self.stamp[:2])


_OTHER = b"other "
"""Before what is said of something that is no file; no line of the index has it."""


def found_of(found: os.stat_result) -> Found:
    """What is looked at of what the system says of a file."""
    kind = b"" if stat.S_ISREG(found.st_mode) else _OTHER
    return Found(b"%b%d %d %d %d " % (kind, found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino))


class Noted(NamedTuple):
    """What is noted of a hull file; sizes.py says what each means. None: nothing newer than what the index says."""

    size: int | None = None
    digest: str | None = None
    entries: int | None = None
    known: int | None = None
    changed: int | None = None
    proved: Stamp | None = None

    def over(self, older: Noted) -> Noted:
        """This, and what was noted before where this says nothing."""
        return Noted._make(new if new is not None else old for new, old in zip(self, older, strict=True))


class IndexDoubted(Exception):
    """The index does not prove what it says: it is to be made again."""


class HullIndex:
    """An index opened for reading.

    until : how much of the notes it was made of [bytes]
    """

    def __init__(self, file: BinaryIO, heading: re.Match[bytes]) -> None:
        self._file = file
        self.until = int(heading[2])
        self._start = heading.end()
        self._end = self._start + int(heading[4])
        self._check_of_lines = heading[5]

    @classmethod
    def opened(cls, path: Path, notes: Path) -> Self | None:
        """The index of some notes; None where there is none that can be trusted."""
        with contextlib.suppress(OSError), contextlib.ExitStack() as closing:
            file = closing.enter_context(path.open("rb", buffering=0))
            found = _HEADING.match(file.read(_LONGEST_HEADING))
            length = os.fstat(file.fileno()).st_size
            is_whole = found and found[6] == _check(found[1]) and length == found.end() + int(found[4])
            if found and is_whole and found[3] == check_of_end(notes, int(found[2])):
                closing.pop_all()
                return cls(file, found)
        return None

    def close(self) -> None:
        self._file.close()

    def of(self, name: str) -> Noted:
        """What is noted of a hull file; nothing where none is.

        errors : IndexDoubted
        """
        wanted = _key(name)
        low, high = self._start, self._end
        while low < high:
            start, line = self._line_around((low + high) // 2)
            if line.partition(b" ")[0] < wanted:
                low = start + len(line)
            else:
                high = start
        before = self._line_around(low - 1)[1] if low > self._start else None
        after = self._line_around(low)[1] if low < self._end else None
        key, noted = _read(after) if after else (b"", Noted())
        if key == wanted:
            return noted
        if (after and key < wanted) or (before and _read(before)[0] >= wanted):
            raise IndexDoubted
        return Noted()

    def kept_beside(self) -> Iterator[str]:
        """Names of files kept beside as damaged, or gone, that something is noted of; they stand first.

        errors : IndexDoubted
        """
        at = self._start
        while at < self._end:
            _, line = self._line_around(at)
            key, _ = _read(line)
            if not key.startswith(_KEPT):
                return
            yield key.removeprefix(_KEPT).decode()
            at += len(line)

    def lines(self) -> Iterator[tuple[str, bytes]]:
        """Every hull file by name, with what is noted of it as it is written.

        errors : IndexDoubted, before the first one
        """
        check = 0
        for piece in self._pieces():
            check = zlib.crc32(piece, check)
        if self._check_of_lines != b"%08x" % check:
            raise IndexDoubted
        rest = b""
        for piece in self._pieces():
            *lines, rest = (rest + piece).split(b"\n")
            for line in lines:
                key, _, fields = line.partition(b" ")
                yield key.removeprefix(_KEPT).decode(), fields

    def _pieces(self) -> Iterator[bytes]:
        self._seek(self._start)
        while piece := self._file.read(1 << 20):
            yield piece

    def _line_around(self, place: int) -> tuple[int, bytes]:
        """The line that a place in the file lies in, and where it begins."""
        first = max(self._start, place - _LONGEST_LINE)
        self._seek(first)
        piece = self._file.read(place - first + _LONGEST_LINE)
        start = piece.rfind(b"\n", 0, place - first) + 1
        end = piece.find(b"\n", place - first) + 1
        if not end:
            raise IndexDoubted
        return first + start, piece[start:end]

    def _seek(self, place: int) -> None:
        self._file.seek(place)


def write(path: Path, notes: Path, until: int, hulls: Mapping[str, Noted]) -> None:
    """Write the index of the first bytes of some notes. Where it cannot be written, there is none.

    until : how many bytes of the notes it is made of
    """
    new = storage.unfinished(path)
    with contextlib.suppress(OSError, NotSaved):
        check = check_of_end(notes, until)
        lines = b"".join(sorted(_line(name, noted) for name, noted in hulls.items()))
        new.unlink(missing_ok=True)
        descriptor = storage.open_for_append(new, create=True)
        try:
            storage.append(descriptor, _heading(until, check, lines) + lines, 0)
        finally:
            os.close(descriptor)
        new.replace(path)
    with contextlib.suppress(OSError):
        new.unlink(missing_ok=True)


def check_of_end(notes: Path, until: int) -> bytes:
    """The check of the last bytes before a place in the notes.

    errors : OSError, also where the notes are shorter
    """
    with notes.open("rb", buffering=0) as file:
        file.seek(max(0, until - _END_COMPARED))
        end = file.read(min(until, _END_COMPARED))
    if len(end) < min(until, _END_COMPARED):
        raise OSError(f"{notes} is shorter than it was")
    return _check(end)


def _key(name: str) -> bytes:
    return (_KEPT if storage.SET_ASIDE in name else b"") + name.encode()


def _heading(until: int, check: bytes, lines: bytes) -> bytes:
    stated = b"garboard hull index 1 %d %b %d %b" % (until, check, len(lines), _check(lines))
    return b"%b %b\n" % (stated, _check(stated))


def digest_in(fields: bytes, found: Found) -> tuple[str, int] | None:
    """The digest and number of entries noted of a file, where it is as it was when they were proved. Much faster than
    to read all fields, of which there are nine for each of a hundred thousand hulls.
    """
    if not fields.startswith(found):
        return None
    _, entries, digest, _ = fields.rsplit(b" ", 3)
    return (digest.decode(), int(entries)) if digest != _NO_DIGEST else None


def read_fields(fields: bytes) -> Noted:
    """What is noted of a file, from what stands behind its name."""
    try:
        *numbers, digest, _ = fields.split(b" ")
        size, mtime, ctime, inode, changed, known, entries = map(int, numbers)
    except ValueError as error:
        raise IndexDoubted from error
    held = "" if digest == _NO_DIGEST else digest.decode()
    return Noted(size, held, entries, known, changed, (mtime, ctime, inode))


def _line(name: str, noted: Noted) -> bytes:
    size, digest, entries, known, changed, proved = noted
    numbers = (size or 0, *(proved or NEVER), changed or 0, known or 0, entries or 0)
    text = b"%b %b %b " % (_key(name), " ".join(map(str, numbers)).encode(), (digest or "").encode() or _NO_DIGEST)
    return b"%b%b\n" % (text, _check(text))


def _read(line: bytes) -> tuple[bytes, Noted]:
    if line[-_CHECK - 1 : -1] != _check(line[: -_CHECK - 1]):
        raise IndexDoubted
    key, _, fields = line.rstrip(b"\n").partition(b" ")
    return key, read_fields(fields)


def _check(text: bytes) -> bytes:
    return b"%08x" % zlib.crc32(text)
