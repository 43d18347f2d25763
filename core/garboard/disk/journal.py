"""One hull's file on disk: a heading, then one line an entry, only ever appended to.

    garboard hull 1 ABC00001A526 5d0c64b1
    <id> <the entry's bytes>
    <id> <the entry's bytes>

The id is the hash of the bytes behind it, so each line proves itself. The heading ends with the first 8 hexadecimal
characters of SHA-256 over what stands before them. A line that does not prove itself costs no other line.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import time
from collections.abc import Callable, Container, Iterator, Mapping
from functools import cached_property
from itertools import accumulate
from pathlib import Path
from types import MappingProxyType
from zlib import crc32

import attrs

from garboard.disk import storage
from garboard.disk.entries import entry_id, read_entry
from garboard.disk.folder_names import COARSEST_CLOCK
from garboard.disk.formats import Format
from garboard.disk.sizes import Noted, changed, check_of
from garboard.disk.storage import Damage, NewerFormat, NotSaved
from garboard.faults import InputError, in_number

HULL_FILE = Format("garboard hull")
SUFFIX = ".hull"

_READABLE_PART = 24
_ID_LENGTH = 32
_HEADING = re.compile(rb"(garboard hull (\d+) ([A-Z0-9]+)) ([0-9a-f]{8})")
_LINE_START = re.compile(rb"[0-9a-f]{32} (?=\{)")
_DIGITS_DAMAGED_AT_MOST = 2


@attrs.frozen
class JournalScan:
    """What stands in a hull file.

    key        : the hull it says it belongs to, "" when its heading cannot be read
    entries    : bytes by id, in the order of the file
    bad        : pieces that are no whole entry, after all that could be was read out of them
    mended     : whether entries were read out of lines that do not prove themselves
    unfinished : whether the file ends within a line, as a write cut off by a power cut leaves it
    passed_over : ids of the lines passed over because their entries were known
    block       : the lines of `entries`, if these end the file, one after another
    """

    key: str
    entries: dict[str, bytes]
    bad: tuple[bytes, ...]
    unfinished: bool
    mended: bool = False
    passed_over: tuple[str, ...] = ()
    block: bytes = b""

    @property
    def ids(self) -> list[str]:
        """Of every entry in the file, each as often as it stands there."""
        return [*self.passed_over, *self.entries]

    @property
    def is_sound(self) -> bool:
        return bool(self.key) and not (self.bad or self.unfinished or self.mended)


class Beginning:
    """A sound hull file all of whose entries are held: where another file begins with the same bytes, these are known.

    The files of a boat's tablets do so: what the shop gave out comes first in each. Bytes are compared in one go, where
    lines are split, read and looked up one by one.
    """

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._sorted: dict[int, list[str]] = {}
        """The ids of so many lines."""

    @cached_property
    def _read(self) -> tuple[str, list[str], list[int]]:
        """The hull, the ids of the lines behind the heading, and where each line ends, the heading first."""
        lines = self._data.split(b"\n")[:-1]
        ids = [line[:_ID_LENGTH].decode("latin-1") for line in lines[1:]]
        return _key_in(lines[0]), ids, [*accumulate(len(line) + 1 for line in lines)]

    def shared_with(self, data: bytes) -> tuple[str, list[str], int]:
        """What another file begins with as well: the hull, ids of the lines behind the heading, sorted, and the end."""
        (key, ids, ends), ours = self._read, memoryview(self._data)
        if not data.startswith(ours[: ends[0]]):
            return "", [], 0
        same, other = 0, len(ends)  # so many lines behind the heading are the same; not so many
        while other - same > 1:
            tried = (same + other) // 2
            if data.startswith(ours[ends[same] : ends[tried]], ends[same]):
                same = tried
            else:
                other = tried
        if same not in self._sorted:
            self._sorted[same] = sorted(ids[:same])
        return key, self._sorted[same], ends[same]


class Journal:
    """A hull's entries, on disk and in memory.

    path     : the hull file; it is made with the first entry
    key      : the hull's key
    writing  : whether to repair and append; only one program may
    least    : how long the file was when it was last flushed [bytes]
    """

    def __init__(self, path: Path, key: str, *, writing: bool, least: int = 0) -> None:
        self.path = path
        self._place = str(path)
        self.key = key
        self.entries: dict[str, bytes] = {}
        self.damage: list[Damage] = []
        self._writing = writing
        self._descriptor: int | None = None
        self._size = 0
        self._crc: int | None = None
        self._size_flushed = 0
        self._left: os.stat_result | None = None
        self._left_marks: tuple[int, int, int, int] | None = None
        self._looked = 0
        self._unflushed: list[str] = []
        self._is_new = False
        self._is_stale = False
        self._needs_flush = False
        self._least = least
        self.changing: Callable[[str], contextlib.AbstractContextManager[object]] = contextlib.nullcontext
        """Around each name this journal adds to its folder, or takes from it as it goes; given the hull's key."""
        self._load()
        self._notice_cut()

    @property
    def size_flushed(self) -> int:
        """How long the file is as far as it was flushed [bytes]."""
        return self._size_flushed

    def crc(self) -> int | None:
        """CRC-32 of the file's bytes, made of all of them once; None where somebody changes them at this moment."""
        if self._crc is None:
            with contextlib.suppress(OSError):
                found = crc32(self.path.read_bytes())
                self._crc = found if self._is_as_we_left_it() else None
        return self._crc

    def to_note(self) -> Noted:
        """What is to be noted of the file once it is flushed and its ids are noted: a check of its bytes, no digest."""
        count, left = len(self.entries), self._left
        crc = self.crc() if self._crc is None else self._crc
        return Noted(self._size, check_of(crc), count, count, changed(left) if left else 0)

    @property
    def changed(self) -> int:
        """When the file was last changed as far as we know [ns]: when we wrote it, or before we read it; else 0."""
        return changed(self._left) if self._left else 0

    @property
    def needs_flush(self) -> bool:
        """Whether something was written, or may have been by a program that was killed, and not flushed since."""
        return self._needs_flush

    def append(self, new: Mapping[str, bytes], block: bytes = b"") -> None:
        """Write entries behind the others. They are saved once `flush` has returned.

        block  : their lines, where somebody has them
        errors : NotSaved; none of them was kept
        """
        if not self._writing:
            raise NotSaved(f"{self.path.name} is open for reading only")
        again = self._missing_on_disk()
        if not again and not new:
            return
        lines = block if block and not again else _lines({**again, **new})
        self._open()
        self._append(new, heading(self.key) + lines if self._size == 0 else lines)

    def append_at_once(self, new: Mapping[str, bytes]) -> bool:
        """The same to a file that is as we left it, as it nearly always is; `flush_at_once` is to follow.

        The disk begins to write.

        returns : whether it is; otherwise nothing is done
        errors  : NotSaved; none of them was kept
        """
        if not self._writing or not new or not self._size or self._is_new or self._is_stale:
            return False
        try:
            found = os.stat(self._place)  # noqa: PTH116  # at each save, when the processor is cold
        except OSError:
            return False
        if found.st_size != self._size or _marks(found) != self._left_marks:
            return False
        if self._descriptor is None:
            self._open()
        self._append(new, _lines(new), at_once=True)
        return True

    def _append(self, new: Mapping[str, bytes], data: bytes, *, at_once: bool = False) -> None:
        descriptor, size = self._opened(), self._size
        try:
            storage.append(descriptor, data, size)
            if at_once:
                storage.begin_flush(descriptor, size, len(data))
            self._look(os.fstat(descriptor))
        except OSError as error:
            self._is_stale = True
            with contextlib.suppress(OSError):  # it was written, and is called not saved: it shall not come back
                os.ftruncate(descriptor, size)
            raise storage.not_saved(self.path, error) from error
        if self._crc is not None:
            self._crc = crc32(data, self._crc)
        self._size = size + len(data)
        self._needs_flush = True
        self._unflushed += new
        self.entries.update(new)

    def flush(self) -> bool:
        """Return once the disk holds every entry appended.

        returns : whether the file is new, so that its folder must be flushed as well
        errors  : NotSaved; the entries appended since the last flush were taken out again
        """
        if not self._needs_flush:
            return False
        self.append({})  # what someone took from the disk since it was written, with an older copy, say
        self._open()
        was_new = self._is_new
        self.flush_at_once()
        return was_new

    def flush_at_once(self) -> None:
        """The same right after they were appended, which looked at the file."""
        try:
            storage.flush(self._opened())
            if self._is_new:
                self._put_in_place()
        except OSError as error:
            self.take_back()
            raise storage.not_saved(self.path, error) from error
        self._size_flushed = self._size
        self._unflushed = []
        self._needs_flush = False

    def close(self) -> None:
        """Give the file back. What was appended but not flushed is forgotten."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None
        if self._is_new:
            with contextlib.suppress(OSError):
                storage.unfinished(self.path).unlink(missing_ok=True)
            self._is_new = False
            self._size = self._size_flushed = 0
        for name in self._unflushed:
            self.entries.pop(name, None)
        self._unflushed = []

    def _opened(self) -> int:
        if self._descriptor is None:
            raise NotSaved(f"{self.path.name} is closed")
        return self._descriptor

    def _open(self) -> None:
        if self._descriptor is not None:
            return
        self._is_new = self._size == 0
        path = storage.unfinished(self.path) if self._is_new else self.path
        try:
            with self.changing(self.key) if self._is_new else contextlib.nullcontext():
                self._descriptor = storage.open_for_append(path, create=self._is_new)
        except OSError as error:
            self._is_new = False
            raise storage.not_saved(self.path, error) from error

    def _put_in_place(self) -> None:
        os.close(self._opened())
        self._descriptor = None
        with self.changing(self.key):
            storage.unfinished(self.path).replace(self.path)
        self._is_new = False
        with contextlib.suppress(OSError):  # it is in its place, and read again before more is written
            self._look(self.path.stat())  # to be renamed is a change as well

    def take_back(self) -> None:
        """Forget what was appended since the last flush; on the disk too, as far as it lets us."""
        if self._descriptor is not None:
            with contextlib.suppress(OSError):
                os.ftruncate(self._descriptor, self._size_flushed)
        self._size = self._size_flushed
        self._crc = None
        self._is_stale = True
        self.close()

    def take_out(self) -> None:
        """Take back a new file whose name could not be flushed: nothing in it was ever called saved.

        Where the disk does not let it go either, the next reading finds it.
        """
        self.close()
        with contextlib.suppress(OSError):
            self.path.unlink(missing_ok=True)
        self._size = self._size_flushed = 0  # also where it stays: nothing is noted of it
        self.entries = {}
        self._is_stale = True

    def _missing_on_disk(self) -> dict[str, bytes]:
        """Entries in memory that someone took from the disk behind our back; they are written again."""
        in_memory, unflushed = self.entries, self._unflushed
        try:
            return self._read_again()
        except (NewerFormat, OSError) as error:  # what is held is held on, until the disk can be asked again
            self.entries, self._unflushed, self._is_stale = in_memory, unflushed, True
            if isinstance(error, NewerFormat):
                raise
            raise storage.not_saved(self.path, error) from error

    def _read_again(self) -> dict[str, bytes]:
        if not self._is_stale and self._is_as_we_left_it():
            return {}
        in_memory, unflushed = self.entries, self._unflushed
        self._unflushed = []
        self.close()
        self.entries = {}
        self._load()
        self._is_stale = False
        lost = {name: raw for name, raw in in_memory.items() if name not in self.entries}
        self.entries, self._unflushed = {**in_memory, **self.entries}, unflushed
        return lost

    def _is_as_we_left_it(self) -> bool:
        """Whether the file under our name is the one we wrote or read last, as we left it."""
        path = storage.unfinished(self.path) if self._is_new else self.path
        try:
            found = path.stat()
        except FileNotFoundError:
            return self._size == 0 and self._descriptor is None
        return found.st_size == self._size and self.is_as_left(found)

    @property
    def time_tells(self) -> bool:
        """Whether whoever changes the file after we looked gives it another time; a card's clock ticks every 2 s."""
        left = self._left
        is_fine = left is not None and left.st_mtime_ns % 1_000_000_000
        return left is not None and (bool(is_fine) or self._looked - changed(left) > COARSEST_CLOCK)

    def doubt(self) -> None:
        """Read the file again before the next is written, whatever its system says of it."""
        self._is_stale = True

    def is_as_left(self, found: os.stat_result) -> bool:
        """Whether a file is the one we wrote or read last and nobody changed it since, as far as its system says.

        Its length does not tell: it may have been written over with as many bytes, or another one put in its place.
        """
        return _marks(found) == self._left_marks

    def _look(self, found: os.stat_result) -> None:
        self._left, self._left_marks, self._looked = found, _marks(found), time.time_ns()

    def _load(self) -> None:
        self._crc = None
        if what := storage.what_else(self.path.resolve()):  # a pipe never ends
            raise OSError(errno.EINVAL, f"{what}, where a hull file should stand", str(self.path))
        try:
            self._look(self.path.stat())  # first: what is changed while it is read is read again
            data = self.path.read_bytes()
        except FileNotFoundError:
            self._size = self._size_flushed = 0
            return
        if not self._writing and not data.endswith(b"\n"):
            data = self._without_what_is_being_written(data)
        reading = read(data)
        self.entries = reading.entries
        self._size = self._size_flushed = len(data)
        self._needs_flush = self._writing  # a program killed before its flush may have left this in the cache only
        if not reading.is_sound or reading.key != self.key:
            self._set_right(reading, len(data))

    def _without_what_is_being_written(self, data: bytes) -> bytes:
        """Half a line at the end is the work of a program that writes at this moment; without one it is damage."""
        if storage.is_being_written(self.path.resolve().parent.parent):
            return data[: data.rfind(b"\n") + 1]
        return self.path.read_bytes()  # it may have ended since

    def _notice_cut(self) -> None:
        """Where a file ends with a whole line, every line proves itself: that others are missing, its length tells."""
        if self.damage or not self._size:
            return
        reason = ""
        cut = max(0, self._least - self._size)
        if not self.entries:
            reason = "nothing but its heading is left of the file"
        elif cut:
            reason = f"the file ends {in_number(cut, 'byte')} before the place where it ended when it was last saved"
        if reason:
            reason += "; merge to bring back the rest"
            self.damage.append(Damage(self.path, None, len(self.entries), 1, reason, cut, self._size))

    def _set_right(self, reading: JournalScan, size: int) -> None:
        is_ours = reading.key in (self.key, "") and bool(reading.entries or reading.key)
        if not is_ours:
            self.entries = {}
        kept = None
        try:
            if self._writing:
                kept = storage.set_aside(self.path)
                self._write_again() if is_ours else self._take_out_of_use()
        except (NotSaved, OSError):  # a full disk: what is readable can be used, and the next save tries again
            self._is_stale = True
        cut = max(0, self._least - size)
        reason = _what_is_wrong(reading, self.key, is_empty=not size, is_cut=bool(cut))
        self.damage.append(Damage(self.path, kept, len(self.entries), _places_lost(reading), reason, cut, size))

    def _write_again(self) -> None:
        whole = heading(self.key) + _lines(self.entries)
        storage.write_whole(self.path, [whole])
        self._look(self.path.stat())
        self._size = self._size_flushed = len(whole)

    def _take_out_of_use(self) -> None:
        self.path.unlink()
        storage.flush_folder(self.path.parent)
        self._size = self._size_flushed = 0
        self._needs_flush = False


def _marks(found: os.stat_result) -> tuple[int, int, int, int]:
    """What changes with a file: which it is, when its bytes were written, and when anything of it changed."""
    return found.st_dev, found.st_ino, found.st_mtime_ns, found.st_ctime_ns


def file_name(key: str) -> str:
    """A hull's file: a readable beginning, and a hash that keeps two hulls apart on any disk.

    key : the hull's key, capitals and numerals
    """
    return f"{key[:_READABLE_PART]}-{hashlib.sha256(key.encode()).hexdigest()[:16]}{SUFFIX}"


def heading(key: str) -> bytes:
    """The first line of a hull's file."""
    text = f"{HULL_FILE.name} {HULL_FILE.version} {key}".encode()
    return text + b" " + _short_check(text) + b"\n"


def read(
    data: bytes, known: Mapping[str, bytes] = MappingProxyType({}), beginning: Beginning | None = None
) -> JournalScan:
    """Read a hull file, whatever happened to it.

    data      : the file's bytes
    known     : entries that the caller holds, proved, from elsewhere; a line that says the same is passed over
    beginning : of these another file of the hull, passed over as far as this one begins as it does
    returns   : what proves itself, and what does not
    errors    : NewerFormat when a sound heading states a later format
    """
    key, begins, start = beginning.shared_with(data) if beginning else ("", [], 0)
    lines = data[start:].split(b"\n")
    last = lines.pop()
    if not start and lines and (key := _key_in(lines[0])):
        del lines[0]
    entries: dict[str, bytes] = {}
    bad: list[bytes] = []
    passed_over: list[str] = []
    sha256, length, behind = hashlib.sha256, _ID_LENGTH, _ID_LENGTH + 1  # nearly all of a merge's time goes by here
    for line in lines:
        stated, raw = line[:length].decode("latin-1"), line[behind:]
        if line[length:behind] != b" ":
            bad.append(line)
        elif known.get(stated) == raw:
            passed_over.append(stated)
        elif sha256(raw).hexdigest()[:length] == stated:
            entries[stated] = raw
        else:
            bad.append(line)
    pieces = [*bad, last] if last else bad
    count = len(entries)
    left_over = [piece for line in pieces for piece in _read_out(line, entries)]
    mended = bool(bad) or len(entries) > count
    is_each_once = len(lines) - len(passed_over) == len(entries) > 0
    if is_each_once and not pieces and lines[-count].startswith(next(iter(entries)).encode()):
        block = data[-sum(map(len, lines[-count:])) - count :]
    else:
        block = b""
    return JournalScan(key, entries, tuple(left_over), bool(last), mended, (*begins, *passed_over), block)


def key_in_name(name: str) -> str:
    """The hull whose file has a name; "" where its number is too long to stand there whole."""
    key = name.rpartition("-")[0]
    return key if len(key) < _READABLE_PART else ""


def key_of_file(path: Path) -> str:
    """The hull a file belongs to: by its heading, or by its entries when the heading is damaged; "" if neither."""
    if what := storage.what_else(path.resolve() if path.is_symlink() else path):
        raise OSError(errno.EINVAL, f"{what}, where a hull file should stand", str(path))
    with path.open("rb") as file:
        first = file.readline(256).rstrip(b"\n")
    key = _key_in(first)
    if key and file_name(key) == path.name:
        return key
    keys = {_hull_key_or_none(raw) for raw in read(path.read_bytes()).entries.values()}
    return next((found for found in sorted(keys) if file_name(found) == path.name), "")


def missing_of(data: bytes, here: Container[str], *, cut_off: bool = True) -> int:
    """How many entries of a damaged hull file are not here; one whose id is damaged too is taken to be missing.

    data    : the damaged file's bytes
    here    : ids of the entries that are here
    cut_off : whether a half line at the end counts, which a power cut leaves of a write that was never called saved
    """
    reading = read(data if cut_off else data[: data.rfind(b"\n") + 1])
    found = sum(name not in here for name in reading.entries)
    bad = sum(not names_any(piece, here) for piece in reading.bad)
    return found + max(0, bad - (not reading.key))  # the first piece of a file without a heading was the heading


def names_any(piece: bytes, here: Container[str]) -> bool:
    """Whether a damaged piece was one of some entries, as its id tells."""
    return piece[:_ID_LENGTH].decode("latin-1") in here


def left_in(data: bytes) -> int:
    """How many entries of a damaged hull file anything is left of: whole ones, and pieces that were one each."""
    reading = read(data)
    return len(reading.entries) + _places_lost(reading)


def _lines(entries: Mapping[str, bytes]) -> bytes:
    return b"".join([b"%b %b\n" % (name.encode(), raw) for name, raw in entries.items()])


def _short_check(text: bytes) -> bytes:
    return hashlib.sha256(text).hexdigest()[:8].encode()


def _key_in(line: bytes) -> str:
    found = _HEADING.fullmatch(line)
    if not found or _short_check(found[1]) != found[4]:
        return ""
    HULL_FILE.refuse_newer(int(found[2]), f"the hull file of {found[3].decode()}")
    return found[3].decode()


def _read_out(piece: bytes, entries: dict[str, bytes]) -> Iterator[bytes]:
    """Take whole entries out of a damaged piece; yield what is left.

    A line end lost leaves two entries in one piece; damage within an id leaves its entry sound.
    """
    starts = [found.start() for found in _LINE_START.finditer(piece)]
    if not starts or starts[0] != 0:
        starts = [0, *starts]
    for start, end in zip(starts, [*starts[1:], len(piece)], strict=True):
        part = piece[start:end]
        raw = next((raw for raw in (part[_ID_LENGTH + 1 :], part[_ID_LENGTH + 1 : -1]) if _proves(part, raw)), None)
        if raw is not None:
            entries[entry_id(raw)] = raw
        elif part:
            yield part


def _proves(part: bytes, raw: bytes) -> bool:
    written, computed = part[:_ID_LENGTH], entry_id(raw).encode()
    return len(written) == _ID_LENGTH and (
        sum(one != other for one, other in zip(written, computed, strict=True)) <= _DIGITS_DAMAGED_AT_MOST
    )


def _hull_key_or_none(raw: bytes) -> str:
    try:
        return read_entry(raw).hull_key
    except InputError:
        return ""


def _places_lost(reading: JournalScan) -> int:
    """Pieces that were entries: the first one of a file without a heading was the heading."""
    return len(reading.bad) - bool(not reading.key and reading.bad)


EMPTIED = "the file was empty; a hull file never is, so its content was lost"


def _what_is_wrong(reading: JournalScan, key: str, *, is_empty: bool, is_cut: bool) -> str:
    if is_empty:
        return EMPTIED
    if reading.key not in (key, ""):
        return f"the file belongs to hull {reading.key}, not to {key}; it was taken out of use"
    if not reading.key and not reading.entries:
        return "this is no hull file; it was taken out of use"
    if reading.unfinished and reading.key and len(reading.bad) <= 1:
        return "its end was cut off" if is_cut else "the last write was cut off before it was saved"
    return "the file was damaged on the disk"
