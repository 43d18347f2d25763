"""Lines sorted by their first word, in a file of which a few are found without reading the others.

    garboard notes 2 <bytes of the lines> <bytes of the index> <a mark of these notes, as long as they are kept> <check>
    <the lines>
    <first word of a block> <where it begins> <its CRC-32>

The lines stand in blocks. Heading and index are read when the file is opened, and proved by the check, the CRC-32 of
the index and of the heading before it. A block is read and proved when one of its lines is asked for. Of 100 000 lines
that is a hundredth of the file for the index, and a block for each line asked for.

A file whose heading, index or length is not as written is `not is_sound`; of a damaged block `Doubted` is raised. Then
the lines are for the caller to read one by one, by what each says itself.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO
from zlib import crc32

from garboard.disk.storage import opened_to_read
from garboard.faults import GarboardError

BLOCK = 1 << 13
"""Of each block the length, but for what its last line has more [bytes]."""

_HEADING = re.compile(rb"(garboard notes 2 ([0-9]{1,15}) ([0-9]{1,15}) ([0-9a-f]{8})) ([0-9a-f]{8})\n")
_INDEX_LINE = re.compile(rb"[^ \n]+ ([0-9]{1,15}) ([0-9a-f]{8})")
_LONGEST_HEADING = 100


class Doubted(GarboardError):
    """A block is not as it was written: damaged, or of a file that was written anew since the index was read."""


class SortedNotes:
    """A file of sorted lines, as it stands on the disk.

    path     : of the file; None for one of which nothing is believed
    mark     : tells these lines from others; "" where the file is not as it was written, or not there
    is_sound : whether it is as it was written, as far as heading and index tell; so is one that is not there
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._start = self._length = 0
        self._index: list[bytes] = []
        self._blocks: dict[int, bytes] = {}
        self.mark = ""
        self.is_sound = False
        try:
            with _opened(path) as file:
                self.is_sound = self._read_index(file)
        except OSError as error:
            self.is_sound = isinstance(error, FileNotFoundError)

    def _read_index(self, file: BinaryIO) -> bool:
        heading = _HEADING.match(file.read(_LONGEST_HEADING))
        if heading is None:
            return False
        start, length, of_index = heading.end(), int(heading[2]), int(heading[3])
        file.seek(start + length)
        index = file.read(of_index + 1)
        if len(index) != of_index or b"%08x" % crc32(index, crc32(heading[1])) != heading[5]:
            return False
        self._start, self._length, self._index = start, length, index.splitlines()
        self.mark = heading[4].decode()
        return True

    def line_of(self, word: str) -> bytes:
        """The line that begins with a word; b"" where there is none.

        errors : Doubted
        """
        wanted = word.encode()
        number = bisect_right(self._index, wanted + b" \xff") - 1  # no word has a letter before the space
        if number < 0:
            return b""
        if number not in self._blocks:
            self._blocks[number] = self._block(number)
        block = self._blocks[number]
        is_first = block.startswith(wanted + b" ")
        start = 0 if is_first else block.find(b"\n%b " % wanted) + 1
        return block[start : block.find(b"\n", start)] if is_first or start else b""

    def _block(self, number: int) -> bytes:
        try:
            with _opened(self._path) as file:
                return self._proved(number, file)
        except OSError as error:
            raise Doubted from error

    def _proved(self, number: int, file: BinaryIO) -> bytes:
        start, check = self._placed(number)
        end = self._placed(number + 1)[0] if number + 1 < len(self._index) else self._length
        file.seek(self._start + start)
        block = file.read(end - start)
        if len(block) != end - start or b"%08x" % crc32(block) != check:
            raise Doubted
        return block

    def _placed(self, number: int) -> tuple[int, bytes]:
        found = _INDEX_LINE.fullmatch(self._index[number])
        if found is None:
            raise Doubted
        return int(found[1]), found[2]

    def all(self) -> bytes:
        """All the lines; no caller asks for a few of them only.

        errors : Doubted
        """
        if not self._index:
            return b""
        try:
            with _opened(self._path) as file:
                return b"".join(self._proved(number, file) for number in range(len(self._index)))
        except OSError as error:
            raise Doubted from error


def _opened(path: Path | None) -> BinaryIO:
    if path is None:
        raise IsADirectoryError
    return opened_to_read(path, 0)


def pieces(lines: bytes, mark: str) -> Iterator[bytes]:
    """A file of lines, to be written one piece after another.

    lines : sorted by their first words, of which each has its own
    """
    index: list[bytes] = []
    start = 0
    while start < len(lines):
        end = lines.find(b"\n", min(start + BLOCK, len(lines)) - 1) + 1
        first = lines[start : lines.find(b" ", start)]
        index.append(b"%b %d %08x\n" % (first, start, crc32(memoryview(lines)[start:end])))
        start = end
    whole = b"".join(index)
    heading = b"garboard notes 2 %d %d %b" % (len(lines), len(whole), mark.encode())
    yield b"%b %08x\n" % (heading, crc32(whole, crc32(heading)))
    yield lines
    yield whole
