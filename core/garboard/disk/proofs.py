"""Which hull files were read whole, and what they held: to open 100 000 files takes longer than to ask after them.

    garboard proofs 1 <the system's start>
    <name> <device> <file> <length> <two times> <when> <until when> <entries> <digest>
    = <check>

The lines are sorted by name. One that is not where it belongs, as an older program left it, is passed over: its file is
read again.

A proof says: the file of which the system said this was read, every entry in it proved itself, and its digest is this.
It holds while the system says the same of the file, and for a day at most, since a disk may lose bytes without a word.
How long exactly differs from name to name, so that not all run out at once.

What a system says of a file does not tell everything. So proofs are taken from this file only by a shop's server, which
is asked again and again, and by `garboard digest`, which says since when they are. Every other command reads the files.
And no proof is taken that was made

- since the clock showed a later time than it does now: it was set back
- before the system was started: a power cut may have taken bytes that were never flushed; a disk may have been away
- within the coarsest clock's step after the file changed: it may have changed once more and show the same time
- before the file could not be read: a disk that fails leaves its times as they were.

`garboard digest` notes proofs and writes nothing else, where the system lets it. Where another program noted some
meanwhile it does not: that may have taken out one of them.

The file may be removed at any time: hull files are read again then.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from pathlib import Path
from zlib import crc32

import attrs

from garboard.disk import storage
from garboard.disk.folder_names import COARSEST_CLOCK
from garboard.disk.sizes import changed
from garboard.disk.storage import NotSaved

FILE = "hulls.proved"
_SECOND = 1_000_000_000
LONGEST = 24 * 3600
"""A proof holds for so long at most [s], and for half of it at least."""
_WORTH_WRITING = 50
"""The file is written anew when one proof in so many is new."""
_LINES_AT_ONCE = 1000
_SIGN = b"= "
"""Begins the last line and stands in no other."""
_BOOT = Path("/proc/sys/kernel/random/boot_id")


def seconds_now() -> str:
    """The time [s], in as many digits as any other for centuries: they sort as the numbers do."""
    return _in_digits(time.time_ns() // _SECOND)


def _in_digits(seconds: int) -> str:
    return f"{seconds:010d}"  # a system that was never told the time begins in 1970


@attrs.frozen
class Taken:
    """Files that were not read now: they are as they were when they were proved.

    files : how many
    since : when the first of their proofs was made [s since 1970]; 0 where all files were read
    """

    files: int = 0
    since: int = 0


class Proofs:
    """What is proved of a folder's hull files.

    folder   : of the hull files' folder
    noting   : whether proofs may be noted
    alone    : whether no other program writes in the folder meanwhile
    of_today : whether those are taken that another program made
    """

    def __init__(self, folder: Path, *, noting: bool, alone: bool, of_today: bool) -> None:
        self._path = folder / FILE
        self._noting = noting
        self._alone = alone
        self._text = None if of_today else ""
        """The lines as they stand in the file, sorted; None before it was read."""
        self._lines: dict[str, str] = {}
        """By name, those that are others now than in the text; "" where there is none any more."""
        self._new = 0
        self._as_found = self._as_it_stands()

    def looked_up(self, now: str) -> Callable[[str, os.stat_result], tuple[str, int, str] | None]:
        """Gives of a file's name, and of what the system says of it now, the digest of its entries, how many those are,
        and when that was proved; None where the file must be read.

        It is asked of names as they are sorted. So are the lines, which are gone through once and not taken apart.

        now : `seconds_now`
        """
        text, at, line_of = self._read_once(), 0, self._lines.get

        def of(name: str, found: os.stat_result) -> tuple[str, int, str] | None:
            nonlocal at
            if (line := line_of(name)) is None:
                start = f"{name} "
                while at < len(text) and not text.startswith(start, at) and text[at : text.find(" ", at)] < name:
                    at = text.find("\n", at) + 1
                if not text.startswith(start, at):
                    return None
                begin, at = at + len(start), text.find("\n", at) + 1
                line = text[begin : at - 1]
            marks = _marks_of(found)
            if not line.startswith(marks):
                return None
            try:
                made, until, entries, digest = line[len(marks) :].split(" ")
                return (digest, int(entries), made) if made <= now < until else None
            except ValueError:  # this program writes no such line
                return None

        return of

    def forget(self, name: str) -> None:
        """Believe no proof of a file that just could not be read."""
        self._take_apart()
        if self._lines.get(name):
            self._lines[name] = ""
            self._new = len(self._lines) + 1  # enough to be written down

    def add(self, name: str, found: os.stat_result, held: tuple[str, int], now: int) -> None:
        """Take in what a file holds that was read and proved.

        found : what the system said of it before
        now   : when that was [ns]
        """
        if self._text is None or not now - changed(found) > COARSEST_CLOCK:
            return
        made = now // _SECOND
        until = made + LONGEST - crc32(name.encode()) % (LONGEST // 2)
        self._lines[name] = f"{_marks_of(found)}{_in_digits(made)} {_in_digits(until)} {held[1]} {held[0]}"
        self._new += 1

    def _read_once(self) -> str:
        if self._text is None:
            self._as_found = self._as_it_stands()
            self._text = _read(self._path)
        return self._text

    def _take_apart(self) -> None:
        for name, line in _each(self._read_once()):
            self._lines.setdefault(name, line)
        self._text = ""

    def write(self) -> None:
        """Note them for the next program, where enough are new. Where they cannot be written, files are read again."""
        boot = self._noting and self._new and _boot()
        if not boot or self._new * _WORTH_WRITING < self._read_once().count("\n") + len(self._lines):
            return
        if not self._alone and self._as_it_stands() != self._as_found:
            return
        self._take_apart()
        try:
            storage.remove_unfinished(self._path.parent, of=FILE)
            storage.write_whole(self._path, _with_check(boot, sorted(self._lines.items())))
            self._new = 0
            self._as_found = self._as_it_stands()
        except NotSaved:
            return

    def _as_it_stands(self) -> str:
        """What changes when the file is written anew; "" where it is not there."""
        try:
            return _marks_of(self._path.stat())
        except OSError:
            return ""


def _read(path: Path) -> str:
    """The lines of a sound file of this start of the system; "" where it is not sound."""
    try:
        content = memoryview(storage.content_of(path) if (boot := _boot()) else b"")
    except OSError:
        return ""
    heading, last = _heading(boot), _last(0)
    lines, stated = content[len(heading) : -len(last)], content[-len(last) :]
    if content[: len(heading)] != heading or stated != _last(crc32(lines, crc32(heading))):
        return ""
    return str(lines, "latin-1") if bytes(lines[-1:]) in (b"", b"\n") else ""


def _each(text: str) -> Iterator[tuple[str, str]]:
    """Name and the rest of each line, one at a time: all of them would take much memory."""
    at = 0
    while at < len(text):
        end = text.find("\n", at)
        name, _, line = text[at:end].partition(" ")
        yield name, line
        at = end + 1


def _with_check(boot: str, lines: Iterable[tuple[str, str]]) -> Iterator[bytes]:
    check = crc32(heading := _heading(boot))
    yield heading
    pieces = (f"{name} {line}\n" for name, line in lines if line)
    while piece := "".join(islice(pieces, _LINES_AT_ONCE)).encode():
        check = crc32(piece, check)
        yield piece
    yield _last(check)


def _heading(boot: str) -> bytes:
    return f"garboard proofs 1 {boot}\n".encode()


def _last(check: int) -> bytes:
    return b"%b%08x\n" % (_SIGN, check)


def _marks_of(found: os.stat_result) -> str:
    """All the system says of a file that changes with it."""
    return f"{found.st_dev} {found.st_ino} {found.st_size} {found.st_mtime_ns} {found.st_ctime_ns} "


def _boot() -> str:
    """Tells one start of the system from another; "" where it does not say."""
    try:
        return _BOOT.read_text().strip()
    except OSError:
        return ""
