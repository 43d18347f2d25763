"""Opens a recording of any form the program knows; the form is told from what the file holds, not its name."""

from __future__ import annotations

import contextlib
import gzip
import importlib.util
import re
import sys
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from itertools import chain
from pathlib import Path
from typing import BinaryIO, cast

import attrs

from garboard.faults import Fault, GarboardError, InputError, in_number, refuse_endless
from garboard.recordings import packet_bytes
from garboard.recordings.arithmetic import Arithmetic, Plain, WithNumpy
from garboard.recordings.columns import Columns, InOrder
from garboard.recordings.forms import AsksForTime, Form, LineReader, Reader, form_of
from garboard.recordings.notes import MARK, ReadingNotes
from garboard.recordings.remarks import remarks
from garboard.samples import Recording, Sample, gather, marked, marked_whole

LOOKED_AT = 65536  # bytes from the start of a file that tell its form
READ_AT_ONCE = 131_072  # bytes
READ_AT_ONCE_IN_COLUMNS = 524_288  # bytes: what many lines have in common is then met once for thousands of them
NUMPY_PAYS_FROM = 10_000_000  # bytes; to load it takes as long as to read some megabytes without
MOST_UNPACKED = 200_000_000  # bytes that any compressed file may hold, some three million lines ...
MOST_TIMES = 100  # ... and beyond that so many times its own size: real logs unpack to 5 to 15 times theirs
KINDS_NAMED = 5  # of those no program part reads, the most frequent

_KNOWN_FORMS = (
    "NMEA 0183 sentences ($HEHDT,341.8,T*21), NMEA 2000 lines (time,priority,pgn,source,destination,length,bytes), "
    "CAN frames as text, Signal K deltas or CSV with named columns (time,rate_of_turn [deg/s])"
)


Watch = Callable[[str, float, int], object]
"""Told again and again while a recording is read: its name, the share of the file that is read, and the lines."""

_watch: ContextVar[Watch | None] = ContextVar("watch", default=None)
"""Set around a command alone: a recording is read wherever a calculator first asks for it, far from the terminal."""


@contextmanager
def watching(watch: Watch) -> Iterator[None]:
    """Tell how far each recording is read that is read inside, in this thread."""
    before = _watch.set(watch)
    try:
        yield
    finally:
        _watch.reset(before)


def read_samples(path: str | Path, notes: ReadingNotes | None = None) -> Iterator[Sample]:
    """The samples of a recording, in the order of its lines; memory does not grow with the file.

    path  : a recording of any form in `forms`, as it is or compressed by gzip
    notes : filled while samples are taken, complete after the last one
    Raises InputError at once for a file that is missing, empty or in no known form.
    """
    path, notes = Path(path), notes or ReadingNotes()
    form = _form(path)
    reader = form.reader_at_once(notes, _arithmetic(path), InOrder()) or form.reader(notes, source=str(path))
    return chain.from_iterable(_read(path, reader, notes))


def load_recording(path: str | Path) -> tuple[Recording, ReadingNotes]:
    """A whole recording sorted into streams, with the notes of its reading.

    path : as for `read_samples`
    Raises InputError also for a recording that holds no value the program can use.
    """

    path, notes = Path(path), ReadingNotes()
    recording = _recording(path, _form(path), notes)
    if not recording.streams:
        raise InputError(str(path), [Fault("whole file", "at least one value with a time", _met_instead(notes))])
    notes.met_odd_times(notes.samples - sum(map(len, recording.streams.values())))
    devices, own_ship = dict(notes.devices), dict(notes.own_ship)
    return attrs.evolve(recording, devices=devices, own_ship=own_ship, is_timed=notes.timed), notes


def _recording(path: Path, form: Form, notes: ReadingNotes) -> Recording:
    columns = Columns()
    reader = form.reader_at_once(notes, _arithmetic(path), columns)
    if reader is None:
        plain = form.reader(notes, source=str(path))
        return gather(path.name, chain.from_iterable(_read(path, plain, notes)))
    for _ in _read(path, reader, notes, READ_AT_ONCE_IN_COLUMNS):
        pass  # what it gives is in the columns
    recording = columns.recording(path.name)
    return marked_whole(recording) if notes.is_simulated else recording


def _arithmetic(path: Path) -> Arithmetic:
    return WithNumpy() if _numpy_pays(path) else Plain()


def _numpy_pays(path: Path) -> bool:
    """Whether numpy is at hand, and reading by it saves more than loading it costs."""
    if sys.modules.get("numpy") is not None:
        return True
    return path.stat().st_size >= NUMPY_PAYS_FROM and importlib.util.find_spec("numpy") is not None


def _met_instead(notes: ReadingNotes) -> str:
    """What a recording holds that gave no value, and what to do."""
    if not notes.unknown or notes.kinds:
        return " ".join(remarks(notes, frozenset())) or in_number(notes.lines, "line")
    most = sorted(notes.unknown.items(), key=lambda item: (-item[1], item[0]))
    named = ", ".join(f"{kind}, {in_number(count, 'time')}" for kind, count in most[:KINDS_NAMED])
    more = f", and {in_number(len(most) - KINDS_NAMED, 'more kind')}" if len(most) > KINDS_NAMED else ""
    damage = [f"{in_number(notes.damaged_count, 'line is', 'lines are')} damaged."] if notes.damaged_count else []
    what = f"{notes.form}, but no message this program knows: {named}{more}."
    return " ".join(
        [what, *damage, "Record while the heading sensor, the GNSS receiver and the engine are switched on."]
    )


def _read(path: Path, reader: Reader, notes: ReadingNotes, at_once: int = READ_AT_ONCE) -> Iterator[Sequence[Sample]]:
    if isinstance(reader, LineReader) and isinstance(reader.takes, AsksForTime):
        reader.takes.time_comes = lambda: _tells_time(path)
    with _open(path) as file:
        tell = _teller(path, file, notes)
        try:
            while chunk := file.read(at_once):
                notes.is_simulated = notes.is_simulated or MARK.encode() in chunk
                samples = reader.feed(chunk)
                yield [*marked(samples)] if notes.is_simulated else samples  # the reader may have met the mark
                tell()
        except EOFError:
            notes.damage(0, "the compressed file ends too early; what came before is used")
        except _Swells:
            notes.damage(
                0, f"the compressed file unpacks to more than {MOST_TIMES} times its size; the rest is left out"
            )
        except (zlib.error, gzip.BadGzipFile):
            notes.damage(0, "the compressed file is damaged from here on; what came before is used")
        samples = reader.close()
        yield [*marked(samples)] if notes.is_simulated else samples


def _teller(path: Path, file: BinaryIO, notes: ReadingNotes) -> Callable[[], object]:
    """Tells whoever watches how far a recording is read."""
    watch = _watch.get()
    if watch is None:
        return lambda: None
    size = path.stat().st_size
    on_disk = file.on_disk if isinstance(file, _Unpacked) else file
    return lambda: watch(path.name, on_disk.tell() / size if size else 1.0, notes.lines)


class _Swells(GarboardError, zlib.error):
    """No instrument says the same so often: it is made to fill the memory."""


class _Unpacked(gzip.GzipFile):
    """A compressed file of which all is given that unpacks: gzip's own gives nothing of what it read before damage."""

    def __init__(self, path: Path) -> None:
        self.on_disk = path.open("rb")
        super().__init__(fileobj=self.on_disk)
        self._fault: Exception | None = None
        self._most = max(MOST_UNPACKED, MOST_TIMES * path.stat().st_size)
        self._given = 0

    def read(self, size: int | None = -1) -> bytes:
        pieces, have = list[bytes](), 0
        while self._fault is None and size is not None and have < size:
            try:
                piece = self.read1(size - have)
            except (EOFError, zlib.error, gzip.BadGzipFile) as fault:
                self._fault = fault
            else:
                if not piece:
                    break
                pieces.append(piece)
                have += len(piece)
        self._given += have
        if self._given > self._most:
            raise _Swells
        if not pieces and self._fault is not None:
            raise self._fault
        return b"".join(pieces)

    def close(self) -> None:
        super().close()
        self.on_disk.close()


def _open(path: Path) -> BinaryIO:
    """The file, unpacked."""
    refuse_endless(path, "a recording")
    with path.open("rb") as file:
        is_packed = file.read(2) == b"\x1f\x8b"
    return cast(BinaryIO, _Unpacked(path)) if is_packed else path.open("rb")


_TELLS_TIME = re.compile(rb"[$!][A-Z0-9]{2}(?:RMC|GGA|ZDA),\d{6}|[$!][A-Z0-9]{2}GLL,[^,]*,[^,]*,[^,]*,[^,]*,\d{6}")


def _tells_time(path: Path) -> bool:
    """Whether any sentence of a log tells time: asked once, where none of very many did."""
    with _open(path) as file, contextlib.suppress(EOFError, zlib.error, gzip.BadGzipFile):
        rest = b""
        while chunk := file.read(READ_AT_ONCE):
            if _TELLS_TIME.search(rest + chunk):
                return True
            rest = chunk[-100:]
    return False


def _form(path: Path) -> Form:
    try:
        with _open(path) as file:
            start = file.read(LOOKED_AT)
    except (EOFError, zlib.error, gzip.BadGzipFile) as fault:
        raise InputError(str(path), [Fault("whole file", "a compressed file that unpacks", str(fault))]) from None
    except OSError as fault:
        got = fault.strerror or str(fault)
        raise InputError(str(path), [Fault("whole file", "a recording that can be opened", got)]) from None
    if not start.strip():
        raise InputError(str(path), [Fault("whole file", f"a recording: {_KNOWN_FORMS}", "an empty file")])
    form = None if _is_picture_or_paper(start) else form_of(start)
    if form is None:
        where, got = _met(start)
        raise InputError(str(path), [Fault(where, f"a recording: {_KNOWN_FORMS}", got)])
    return form


def _met(start: bytes) -> tuple[str, str]:
    """Where, and what a file is that is no recording, as far as it can be told."""
    link = packet_bytes.capture_link(start)
    if link is not None:
        return "whole file", f"a packet capture of another interface (link type {link}); capture the CAN interface"
    if start.startswith(b"\n\r\r\n"):
        return "whole file", "a packet capture of the newer form; save it in the older one, pcap"
    if _is_picture_or_paper(start) or _is_binary(start):
        return "whole file", "a file that is not text"
    lines = [line for line in start.decode("utf-8-sig", "replace").splitlines() if line.strip() and line[0] != "#"]
    return "line 1", repr(lines[0][:60]) if lines else "comments only"


_PICTURES_AND_PAPERS = (b"\xff\xd8\xff", b"\x89PNG", b"GIF8", b"RIFF", b"BM", b"II*", b"MM\0*", b"%PDF")
"""How a picture or a scanned paper begins; a short one may hold no byte that text does not."""


def refuse_other_text(path: Path) -> None:
    """Refuse text that is no recording: a list of passwords is no photo of the helm, whatever its name says.

    A photo is known by not being text, whatever camera took it; an empty file says nothing and is let pass.
    Raises InputError.
    """
    refuse_endless(path, "a photo or a recording")
    with path.open("rb") as file:
        start = file.read(LOOKED_AT)
    is_text = not (start.startswith(b"\x1f\x8b") or _is_picture_or_paper(start) or _is_binary(start))
    if not start or not is_text:
        return
    try:
        _form(path)
    except InputError:
        expected = f"a photo, or a recording: {_KNOWN_FORMS}"
        raise InputError(str(path), [Fault("whole file", expected, "text that is neither")]) from None


def _is_picture_or_paper(start: bytes) -> bool:
    return start.startswith(_PICTURES_AND_PAPERS)


def _is_binary(start: bytes) -> bool:
    odd = sum(start.count(byte) for byte in range(32) if byte not in b"\t\n\r\f\x1b")
    return b"\0" in start or odd * 20 > len(start)
