"""Which hull files were read whole, and what they held: to open 100 000 files takes longer than to ask after them.

    garboard proofs 1 <the system's start>
    <name> <device> <file> <length> <two times> <when> <until when> <entries> <digest>
    = <check>

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
from collections.abc import Callable, Iterator
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
_LINES_AT_ONCE, _BYTES_AT_ONCE = 1000, 1 << 18
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
        self._lines: dict[str, str] | None = None if of_today else {}
        self._new = 0
        self._as_found = self._as_it_stands()

    def looked_up(self, now: str) -> Callable[[str, os.stat_result], tuple[str, int, str] | None]:
        """Gives of a file's name, and of what the system says of it now, the digest of its entries, how many those are,
        and when that was proved; None where the file must be read.

        now : `seconds_now`
        """
        lines = self._read_once()

        def of(name: str, found: os.stat_result) -> tuple[str, int, str] | None:
            line, marks = lines.get(name, ""), _marks_of(found)
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
        lines = self._read_once()
        if lines.pop(name, ""):
            self._new = len(lines) + 1  # enough to be written down

    def add(self, name: str, found: os.stat_result, held: tuple[str, int], now: int) -> None:
        """Take in what a file holds that was read and proved.

        found : what the system said of it before
        now   : when that was [ns]
        """
        if self._lines is None or not now - changed(found) > COARSEST_CLOCK:
            return
        made = now // _SECOND
        until = made + LONGEST - crc32(name.encode()) % (LONGEST // 2)
        self._lines[name] = f"{_marks_of(found)}{_in_digits(made)} {_in_digits(until)} {held[1]} {held[0]}"
        self._new += 1

    def _read_once(self) -> dict[str, str]:
        if self._lines is None:
            self._as_found = self._as_it_stands()
            self._lines = _read(self._path)
        return self._lines

    def write(self) -> None:
        """Note them for the next program, where enough are new. Where they cannot be written, files are read again."""
        boot, lines = _boot(), self._lines
        if not (self._noting and boot) or lines is None or self._new * _WORTH_WRITING < max(1, len(lines)):
            return
        if not self._alone and self._as_it_stands() != self._as_found:
            return
        try:
            storage.remove_unfinished(self._path.parent, of=FILE)
            storage.write_whole(self._path, _with_check(boot, lines))
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


def _read(path: Path) -> dict[str, str]:
    """The lines of a sound file of this start of the system; piece by piece, for all at once take much memory."""
    found: dict[str, str] = {}
    try:
        with storage.opened_to_read(path) as file:
            heading = file.readline(100)
            if not (boot := _boot()) or heading != _heading(boot):
                return {}
            check = crc32(heading)
            while piece := file.read(_BYTES_AT_ONCE) + file.readline():
                lines, sign, stated = piece.partition(_SIGN)
                check = crc32(lines, check)
                found.update(line.partition(" ")[::2] for line in lines.decode("latin-1").splitlines())
                if sign:
                    return found if sign + stated == _last(check) and not file.read(1) else {}
    except OSError:
        pass
    return {}


def _with_check(boot: str, lines: dict[str, str]) -> Iterator[bytes]:
    check = crc32(heading := _heading(boot))
    yield heading
    pieces = (f"{name} {line}\n" for name, line in lines.items())
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
