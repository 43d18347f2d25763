"""How long each hull file was when it was last flushed.

Every line of a hull file proves itself, so one that lost its last lines looks sound: only its length tells. A length is
noted after the file was flushed and is not flushed itself. After a power cut the note says too little, never too much.

In place of a digest a CRC-32 of the file's bytes may stand, `~` and 8 hexadecimal characters. It tells that a file
begins with what it held, not what another holds. It stands in a line of its own, never among the sorted ones.

A file whose time of change is the one noted is as this program left it: it need not be opened to learn which hull it
belongs to. Whatever changed, was copied or put back since has another time, and is opened.

    <name> <length> <digest, or -> <entries> <ids noted> <time of change>

The lines that are sorted by name have one line a hull file: what is noted of one is found without reading the others
(sorted_notes.py). They stand in a file of their own, for older programs write the other anew without lines they do not
know. What was noted since stands in that one, a line each, and is sorted in when the folder is opened for writing.

Among sorted lines one damaged name would hide others: where they are not as they were written, each line is read by
itself, and what is no line is passed over.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

from garboard.disk import storage
from garboard.disk.sorted_notes import Doubted, SortedNotes, pieces
from garboard.disk.storage import NotSaved

FILE = "hulls.sizes"
SORTED = "hulls.sorted"

_NAME = r"[A-Z0-9]+-[0-9a-f]{16}\.hull(?:\.damaged-[0-9]{1,9})?"
_LINE = re.compile(
    rf"^({_NAME}) (?:"
    r"([0-9]{1,15}|[0-9a-f]{64}|~[0-9a-f]{8}|[#*][0-9]{1,9}|=[0-9]{1,20})"
    r"|([0-9]{1,15}) ([0-9a-f]{64}|-) ([0-9]{1,9}) ([0-9]{1,9}) ([0-9]{1,20}))$",
    re.MULTILINE,
)
"""A length in one line; in others digest and number of the entries, time of change, and how many ids were noted
(known_ids.py). Or all of them in one line.

A file kept beside as damaged is noted with what it once had; so is one that is gone, as if it were kept under one of
GONE, which are no files. Neither stands among the sorted lines.
"""
GONE = tuple(f"{storage.SET_ASIDE}{'0' * number}" for number in range(1, 10))
"""Where one file after another of a name is gone, each is noted; after the ninth the last one only."""
_FLUSHED = re.compile(rb"^([^ \n]+) [1-9]", re.MULTILINE)
_DIGEST_LENGTH = 64
_NO_DIGEST = "-"
_CHECK = "~"
_VOIDS = b" \n"
"""Behind half a line, which is none then for any program."""
_LONGEST_UNSORTED = 1 << 16
"""More that is not sorted is sorted in when the folder is opened for writing [bytes]."""


class Noted(NamedTuple):
    """What is noted of a hull file; 0 and "" where nothing is.

    size    : how long it was when it was last flushed [bytes]
    digest  : of the entries it held then; or, behind a sign that no digest has, the CRC-32 of its bytes
    entries : how many those were
    known   : how many entries it held when the ids of all of them were noted
    changed : when it was last changed [ns], when it was found to be a hull file of its name
    """

    size: int = 0
    digest: str = ""
    entries: int = 0
    known: int = 0
    changed: int = 0


NOTHING = Noted()


class FileSizes:
    """The lengths noted in a folder.

    folder  : of the hull files' folder
    writing : whether lengths may be noted
    """

    def __init__(self, folder: Path, *, writing: bool) -> None:
        self._path = folder / FILE
        self._sorted_path = folder / SORTED
        self._writing = writing
        self._sorted: SortedNotes | None = None
        self._is_read = False
        """Whether the file that is not sorted is in memory: before that it must not be written anew."""
        self._is_refused = False
        """Whether the disk refused the sorted one, which is left as it is then."""
        self._newer: dict[str, Noted] = {}
        """Of each file of which anything was noted since the lines were sorted, all that is noted."""
        self._descriptor: int | None = None
        self._ends_within_a_line = False
        """What was left of a line that the disk refused, or of one that a power cut left: the next is to void it."""
        self._unwritten: set[str] = set()
        """Files of which the disk refused a note: a later one alone, of a digest, would be of another length."""

    def least(self, name: str) -> int:
        """How long a hull file must be at least [bytes]; 0 where nothing is noted."""
        return self._of(name).size

    def of_kept(self) -> dict[str, int]:
        """How long each file kept beside as damaged once was [bytes], by the name it is kept under."""
        self._once()
        return {name: noted.size for name, noted in self._newer.items() if noted.size and storage.SET_ASIDE in name}

    def gone(self) -> dict[str, list[str]]:
        """What the files that once were here and are gone are noted under, by the name they had."""
        found: dict[str, list[str]] = {}
        for note in self.of_kept():
            name, sign, number = note.partition(storage.SET_ASIDE)
            if sign + number in GONE:
                found.setdefault(name, []).append(note)
        return found

    def hulls_not_among(self, here: Collection[str]) -> list[str]:
        """Names of hull files that were flushed once, but for those that are here."""
        in_lines = (found[1].decode() for found in _FLUSHED.finditer(self._lines()))
        found = {name for name in in_lines if name not in here and name not in self._newer}
        found |= {name for name, noted in self._newer.items() if noted.size and name not in here}
        return sorted(name for name in found if storage.SET_ASIDE not in name)

    def hulls_of_late(self) -> list[str]:
        """Names of hull files that were flushed once, as far as anything was noted of them since the others."""
        self._once()
        return sorted(name for name, noted in self._newer.items() if noted.size and storage.SET_ASIDE not in name)

    @property
    def mark(self) -> str:
        """Tells these notes from others; "" where there are no sorted lines. Names in them are never taken out."""
        return self._once().mark

    def note_gone(self, name: str) -> None:
        """Remember a hull file that is not there any more, before another is begun under its name."""
        if size := self.least(name):
            held, count, before = self.digest(name), self.count(name), self.gone().get(name, [])
            same = (note for note in before if (self.least(note), self.digest(note)) == (size, held))
            free = (name + end for end in GONE if name + end not in before)
            gone = next(same, "") or next(free, name + GONE[-1])
            self.note_known({gone: self.known(name)})
            self.note({gone: size, name: 0}, {gone: held} if held else {}, {gone: count} if count else {})

    def forget(self, name: str, *, is_back: bool) -> None:
        """Of a hull file that was removed on purpose, or that is back as far as it can be, nobody is told any more."""
        self.note(dict.fromkeys([*self.gone().get(name, ()), *([] if is_back else [name])], 0))

    def digest(self, name: str) -> str:
        """The digest of the entries a file held when its length was noted; "" where nobody noted it."""
        found = self._of(name).digest
        return "" if found.startswith(_CHECK) else found

    def check(self, name: str) -> str:
        """The check of a file's bytes, `check_of`, up to the length noted; "" where its digest is noted, or neither."""
        found = self._of(name).digest
        return found if found.startswith(_CHECK) else ""

    def count(self, name: str) -> int:
        """How many entries a file held when its length was noted; 0 where nobody noted it."""
        return self._of(name).entries

    def known(self, name: str) -> int:
        """How many entries a file held when the ids of all of them were noted; 0 where nobody noted them."""
        return self._of(name).known

    def of_each(self, names: Iterable[str]) -> Iterator[tuple[str, Noted]]:
        """What is noted of many files: as they are sorted, so are the lines, which are gone through once.

        names : sorted
        """
        data, at, is_read = b"", 0, False
        for name in names:
            if not is_read:  # they are many, and often nothing is asked
                data, is_read = self._lines(), True
            if (newer := self._newer.get(name)) is not None:
                yield name, newer
                continue
            wanted, found = name.encode(), b""
            while at < len(data) and (found := data[at : data.find(b" ", at)]) < wanted:
                at = data.find(b"\n", at) + 1
            yield name, _read(data[at : data.find(b"\n", at)]) if found == wanted else NOTHING

    def note_known(self, counts: Mapping[str, int]) -> None:
        """Note that the ids of all entries of files were noted, and how many those are."""
        for name, count in counts.items():
            self._newer[name] = self._of(name)._replace(known=count)
        self._write("".join(f"{name} *{count}\n" for name, count in counts.items()))

    def note_digest(self, name: str, digest: str) -> None:
        """Note the digest of a file of which all else is noted as it is now."""
        self._newer[name] = self._of(name)._replace(digest=digest)
        self._write(f"{name} {digest}\n")

    def note_found(self, files: Mapping[str, int]) -> None:
        """Note files that were found to be hull files of their names, with the time each was last changed."""
        if not files or not self._writing:
            return
        for name, changed in files.items():
            self._newer[name] = self._of(name)._replace(changed=changed)
        self._write("".join(f"{name} ={changed}\n" for name, changed in files.items()))

    def note_saved(self, files: Mapping[str, Noted]) -> None:
        """Note all that is known of files that were flushed, as `note` does."""
        shrunk = any(noted.size < self.least(name) for name, noted in files.items())
        self._newer.update(files)
        self._write("".join(_old_lines(name, noted) for name, noted in files.items()), at_once=shrunk)

    def grown(self, name: str, noted: Noted) -> bytes:
        """What `note_grown` writes of a file; b"" where it is shorter than it was, and `note_saved` is to note it."""
        size, digest, entries, known, changed = noted
        if size < self.least(name):
            return b""
        # as `_old_lines`, of a file of which all is known
        return f"{name} {size}\n{name} {digest}\n{name} #{entries}\n{name} *{known}\n{name} ={changed}\n".encode()

    def note_grown(self, name: str, noted: Noted, lines: bytes) -> None:
        """`note_saved` of one file, with what `grown` made ready before it was flushed."""
        self._newer[name] = noted
        descriptor = self._descriptor
        if descriptor is None or self._ends_within_a_line or self._unwritten:
            with contextlib.suppress(OSError):  # as `_write`
                self._append(lines)
            return
        self._ends_within_a_line = True
        try:  # at each save, when the processor is cold: what `_append` does where nothing else is to be written
            storage.append(descriptor, lines)
        except OSError:
            self._unwritten.add(name)
            return
        self._ends_within_a_line = False

    def note(
        self,
        sizes: Mapping[str, int],
        digests: Mapping[str, str] = MappingProxyType({}),
        counts: Mapping[str, int] = MappingProxyType({}),
    ) -> None:
        """Note the lengths of files that were flushed. What cannot be noted, on a full disk, is only told later.

        digests : of the entries in those files, where they are known
        counts  : how many entries those are, where that is known
        """
        shrunk = any(size < self.least(name) for name, size in sizes.items())
        for name, size in sizes.items():
            self._newer[name] = self._of(name)._replace(
                size=size, digest=digests.get(name, ""), entries=counts.get(name, 0)
            )
        # a length comes before its digest and number: a length alone makes earlier ones void
        lines = [f"{name} {size}\n" for name, size in sizes.items()]
        lines += [f"{name} {digest}\n" for name, digest in digests.items()]
        lines += [f"{name} #{count}\n" for name, count in counts.items()]
        self._write("".join(lines), at_once=shrunk)  # a note that says too much would call a sound file cut off

    def close(self) -> None:
        """Give the file back."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    def _write(self, lines: str, *, at_once: bool = False) -> None:
        if not lines or not self._writing:
            return
        with contextlib.suppress(OSError):
            self._append(lines.encode())
            if at_once:
                storage.flush(self._opened())

    def _append(self, lines: bytes) -> None:
        """Write behind half a line as behind a whole one: run together, the two could name a file that never was."""
        try:
            descriptor, voiding = self._opened(), _VOIDS if self._ends_within_a_line else b""
            self._ends_within_a_line = True
            again = "".join(_old_lines(name, self._of(name)) or f"{name} 0\n" for name in self._unwritten)
            storage.append(descriptor, voiding + again.encode() + lines)
        except OSError:
            self._unwritten |= {line.partition(b" ")[0].decode() for line in lines.splitlines()}
            raise
        self._ends_within_a_line = False
        self._unwritten.clear()

    def _opened(self) -> int:
        if self._descriptor is None:
            self._descriptor = storage.open_for_append(self._path, create=not self._path.exists())
        return self._descriptor

    def _of(self, name: str) -> Noted:
        sorted_ones = self._once()
        newer = self._newer.get(name)
        if newer is None:
            try:
                newer = _read(sorted_ones.line_of(name))
            except Doubted:
                newer = self._of_doubted(name)
            self._newer[name] = newer
        return newer

    def _of_doubted(self, name: str) -> Noted:
        """The same, of lines that are damaged; or another program wrote them anew since, and they are as it did."""
        self._sorted = SortedNotes(self._sorted_path)
        try:
            if self._sorted.is_sound:
                return _read(self._sorted.line_of(name))
        except Doubted:
            pass
        self._take_apart()
        return self._newer.get(name, NOTHING)

    def _once(self) -> SortedNotes:
        """The sorted lines, to be looked up; what else is noted is taken into memory the first time."""
        if self._sorted is None:
            unsorted = _bytes_of(self._path)  # as written: the sorted ones come first
            self._sorted = SortedNotes(self._sorted_path)
            if not self._sorted.is_sound:
                self._take_apart()
            self._read_behind(unsorted)
            self._is_read = True
            is_long = len(unsorted) > _LONGEST_UNSORTED or not self._sorted.is_sound
            self._ends_within_a_line = bool(unsorted) and not unsorted.endswith(b"\n")
            if self._writing and (is_long or self._ends_within_a_line):
                self._write_anew()
        return self._sorted

    def _lines(self) -> bytes:
        """All the sorted lines."""
        try:
            return self._once().all()
        except Doubted:
            self._take_apart()
            return self._once().all()

    def _take_apart(self) -> None:
        """Read each of the sorted lines by itself: a block of them is not as it was written.

        What is in memory came from sound ones, or was noted later.
        """
        later, self._newer = self._newer, {}
        self._sorted = SortedNotes(None)
        try:
            self._read_behind(storage.content_of(self._sorted_path))
        except OSError as error:
            self._is_refused = not isinstance(error, FileNotFoundError)
        self._newer |= later
        if self._writing and self._is_read:
            self._write_anew()

    def _read_behind(self, lines: bytes) -> None:
        lines = lines[: lines.rfind(b"\n") + 1]  # a power cut may have left half a line
        found: dict[str, dict[str, Any]] = {}
        for name, what, *all_of_it in _LINE.findall(lines.decode("latin-1")):  # no line with another letter is one
            now = found.setdefault(name, {})
            if not what:
                size, digest, entries, known, changed = all_of_it
                now.update(size=int(size), digest=digest.removeprefix(_NO_DIGEST))
                now.update(entries=int(entries), known=int(known), changed=int(changed))
            elif what.startswith("="):
                now["changed"] = int(what[1:])
            elif len(what) == _DIGEST_LENGTH or what.startswith(_CHECK):
                now["digest"] = what
            elif what.startswith("*"):
                now["known"] = int(what[1:])
            elif what.startswith("#"):
                now["entries"] = int(what[1:])
            else:
                now.update(size=int(what), digest="", entries=0)
        for name, now in found.items():
            before = NOTHING if len(now) == len(NOTHING) else self._of(name)
            self._newer[name] = before._replace(**now)

    def _write_anew(self) -> None:
        """Sort in what was noted since, without taking apart the lines it leaves as they are."""
        if self._is_refused:
            return
        before, kept_lines, at = self._lines(), list[bytes](), 0
        for name in sorted(name for name in self._newer if storage.SET_ASIDE not in name):
            start, end = _place_of(name, before, at, len(before))
            kept_lines += (before[at:start], _line(name, self._newer[name]))
            at = end
        kept_lines.append(before[at:])
        kept = "".join(_unsorted_lines(name, noted) for name, noted in self._newer.items())
        mark = self._once().mark or secrets.token_hex(4)
        with contextlib.suppress(NotSaved):
            storage.write_whole(self._sorted_path, pieces(b"".join(kept_lines), mark))
            # a power cut between: what is sorted in twice says the same
            storage.write_whole(self._path, (kept.encode(),))
            self._ends_within_a_line = False
            self._unwritten.clear()
            self._sorted = SortedNotes(self._sorted_path)


def _bytes_of(path: Path) -> bytes:
    with contextlib.suppress(OSError):
        return storage.content_of(path)
    return b""


def check_of(crc: int | None) -> str:
    """How the CRC-32 of a file's bytes is noted in place of the digest of its entries, which takes longer to make."""
    return "" if crc is None else f"{_CHECK}{crc:08x}"


def changed(found: os.stat_result) -> int:
    """The later of two times [ns]: one tells of a change on every system, the other also that a file was put back."""
    return max(found.st_mtime_ns, found.st_ctime_ns)


def _place_of(name: str, lines: bytes, low: int, high: int) -> tuple[int, int]:
    """Where the line of a file begins and ends among sorted lines, or would begin.

    low, high : where these begin and end
    """
    wanted = name.encode()
    while low < high:
        middle = (low + high) // 2
        start = max(low, lines.rfind(b"\n", low, middle) + 1)
        end = lines.find(b"\n", middle) + 1
        found = lines[start : lines.find(b" ", start, end)]
        if found == wanted:
            return start, end
        low, high = (end, high) if found < wanted else (low, start)
    return low, low


def _read(line: bytes) -> Noted:
    """What a sorted line says; nothing where it is none, or damaged."""
    found = _LINE.fullmatch(line.decode("latin-1")) if line else None
    if found is None or found[2]:
        return NOTHING
    _, _, size, digest, entries, known, changed = found.groups()
    return Noted(int(size), digest.removeprefix(_NO_DIGEST), int(entries), int(known), int(changed))


def _line(name: str, noted: Noted) -> bytes:
    if noted == NOTHING:
        return b""
    size, digest, entries, known, changed = noted
    held = _NO_DIGEST if not digest or digest.startswith(_CHECK) else digest
    return f"{name} {size} {held} {entries} {known} {changed}\n".encode()


def _unsorted_lines(name: str, noted: Noted) -> str:
    """What of it stays beside the sorted lines: all of what is no hull file; and a check, which older programs do not
    know. They would pass over the whole of a line that holds one, and miss nothing of its file.
    """
    if storage.SET_ASIDE in name:
        return _old_lines(name, noted)
    return f"{name} {noted.digest}\n" if noted.digest.startswith(_CHECK) else ""


def _old_lines(name: str, noted: Noted) -> str:
    """The same in lines that older programs keep. A length comes first: it makes a digest before it void."""
    size, digest, entries, known, changed = noted
    lines = f"{name} {size}\n" if noted != NOTHING else ""
    if digest:
        lines += f"{name} {digest}\n"
    if entries:
        lines += f"{name} #{entries}\n"
    if known:
        lines += f"{name} *{known}\n"
    if changed:
        lines += f"{name} ={changed}\n"
    return lines
