"""Opens a recording of any form the program knows; the form is told from what the file holds, not its name."""

from __future__ import annotations

import gzip
import re
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from io import TextIOWrapper
from itertools import chain
from pathlib import Path
from typing import BinaryIO, cast

import attrs

from garboard.faults import Fault, InputError, refuse_endless
from garboard.recordings.notes import ReadingNotes
from garboard.recordings.remarks import remarks
from garboard.samples import Recording, Sample, gather

LOOKED_AT = 65536  # bytes from the start of a file that tell its form
READ_AT_ONCE = 65536  # characters
LONGEST_LINE = 4096  # characters kept while its end is awaited, so that a file without line ends fits in memory

_KNOWN_FORMS = (
    "NMEA 0183 sentences ($HEHDT,341.8,T*21), NMEA 2000 lines (time,priority,pgn,source,destination,length,bytes) "
    "or CSV with named columns (time,rate_of_turn [deg/s])"
)
_NMEA_0183 = re.compile(r"[^$!]{0,200}[$!][A-Z][A-Z0-9]{2,10},")
_NMEA_2000 = re.compile(r"[^,]{1,40},\s*\d,\d{4,6},\d{1,3},\d{1,3},\d{1,4}(,|$)")
_NAMED_WITH_UNIT = re.compile(r"[^\[\]$!]+\[[^\[\]]*\]")


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

    path  : an NMEA 0183 log, an NMEA 2000 line log or a CSV series, as it is or compressed by gzip
    notes : filled while samples are taken, complete after the last one
    Raises InputError at once for a file that is missing, empty, binary or in no known form.
    """
    path, notes = Path(path), notes or ReadingNotes()
    notes.form = _form(path)
    return chain.from_iterable(_read(path, notes))


def load_recording(path: str | Path) -> tuple[Recording, ReadingNotes]:
    """A whole recording sorted into streams, with the notes of its reading.

    path : as for `read_samples`
    Raises InputError also for a recording that holds no value the program can use.
    """

    notes = ReadingNotes()
    recording = gather(Path(path).name, read_samples(path, notes))
    if not recording.streams:
        got = " ".join(remarks(notes, frozenset())) or f"{notes.lines} lines"
        raise InputError(str(path), [Fault("whole file", "at least one value with a time", got)])
    return attrs.evolve(recording, devices=dict(notes.devices)), notes


def _read(path: Path, notes: ReadingNotes) -> Iterator[Sequence[Sample]]:
    with _open(path) as file:
        lines = chain.from_iterable(_told(path, file, _lines(file, notes), notes))
        if notes.form == "NMEA 2000":
            from garboard.recordings import nmea2000

            yield from nmea2000.read(lines, notes)
        elif notes.form == "NMEA 0183":
            from garboard.recordings import nmea0183

            yield from nmea0183.read(lines, notes)
        else:
            from garboard.recordings import csv_series

            yield from csv_series.read(lines, notes, str(path))


def _open(path: Path) -> TextIOWrapper:
    """The file as text, unpacked; bytes that are no text stay as they were, so that checksums still tell."""
    refuse_endless(path, "a recording")
    with path.open("rb") as file:
        is_packed = file.read(2) == b"\x1f\x8b"
    binary = cast(BinaryIO, gzip.open(path)) if is_packed else path.open("rb")  # noqa: SIM115
    return TextIOWrapper(binary, encoding="utf-8-sig", errors="surrogateescape")


def _lines(file: TextIOWrapper, notes: ReadingNotes) -> Iterator[list[str]]:
    """Lines without their ends, many at a time: quicker than one by one, and no line is too long to hold."""
    rest = ""
    try:
        while chunk := file.read(READ_AT_ONCE):
            lines = (rest + chunk).split("\n")
            rest = lines.pop()[:LONGEST_LINE]
            yield lines
    except EOFError:
        notes.damage(0, "the compressed file ends too early; what came before is used")
    except (zlib.error, gzip.BadGzipFile):
        notes.damage(0, "the compressed file is damaged from here on; what came before is used")
    if rest:
        yield [rest]


def _told(path: Path, file: TextIOWrapper, pieces: Iterator[list[str]], notes: ReadingNotes) -> Iterator[list[str]]:
    """The same lines; whoever watches is told how far they are."""
    watch = _watch.get()
    if watch is None:
        return pieces
    on_disk: BinaryIO = getattr(file.buffer, "fileobj", None) or cast(BinaryIO, file.buffer)  # gzip's reads another
    return _telling(pieces, watch, path, on_disk, notes)


def _telling(
    pieces: Iterator[list[str]], watch: Watch, path: Path, on_disk: BinaryIO, notes: ReadingNotes
) -> Iterator[list[str]]:
    size = path.stat().st_size
    for piece in pieces:
        yield piece
        watch(path.name, on_disk.tell() / size if size else 1.0, notes.lines)


def _form(path: Path) -> str:
    try:
        with _open(path) as file:
            start = bytes(file.buffer.read(LOOKED_AT))
    except (EOFError, zlib.error, gzip.BadGzipFile) as fault:
        raise InputError(str(path), [Fault("whole file", "a compressed file that unpacks", str(fault))]) from None
    except OSError as fault:
        got = fault.strerror or str(fault)
        raise InputError(str(path), [Fault("whole file", "a recording that can be opened", got)]) from None
    if not start.strip():
        raise InputError(str(path), [Fault("whole file", f"a recording: {_KNOWN_FORMS}", "an empty file")])
    if _is_binary(start):
        got = "a file that is not text"
        raise InputError(str(path), [Fault("whole file", f"a recording as text: {_KNOWN_FORMS}", got)])
    lines = [line for line in start.decode("utf-8-sig", "replace").splitlines() if line.strip() and line[0] != "#"]
    if lines and _NAMED_WITH_UNIT.match(lines[0]):
        return "CSV"
    counts = {
        "NMEA 0183": sum(1 for line in lines if _NMEA_0183.match(line)),
        "NMEA 2000": sum(1 for line in lines if _NMEA_2000.match(line)),
    }
    form = max(counts, key=counts.__getitem__)
    if not counts[form] and lines and lines[0].lower().startswith("time"):
        return "CSV"
    if not counts[form]:
        got = repr(lines[0][:60]) if lines else "comments only"
        raise InputError(str(path), [Fault("line 1", _KNOWN_FORMS, got)])
    return form


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
    is_text = not start.startswith((b"\x1f\x8b", *_PICTURES_AND_PAPERS)) and not _is_binary(start)
    if not start or not is_text:
        return
    try:
        _form(path)
    except InputError:
        expected = f"a photo, or a recording: {_KNOWN_FORMS}"
        raise InputError(str(path), [Fault("whole file", expected, "text that is neither")]) from None


def _is_binary(start: bytes) -> bool:
    odd = sum(start.count(byte) for byte in range(32) if byte not in b"\t\n\r\f\x1b")
    return b"\0" in start or odd * 20 > len(start)
