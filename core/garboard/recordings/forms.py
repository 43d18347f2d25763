"""Every form of recording the program reads: how it is told from what it holds, and what reads it.

A reader is fed with bytes as they come, of a file or of a socket, and gives the samples that are complete:

    form = form_of(head)
    reader = form.reader(notes)
    for data in chunks:
        samples = reader.feed(data)
    samples = reader.close()

Live, `form.reader(notes, is_live=True)` and `reader.feed(data, arrived)`: a value's time is then when it arrived.

What reads only some forms is loaded when the first recording of such a form is met: most boats have one form.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Sequence
from functools import lru_cache
from io import IncrementalNewlineDecoder
from itertools import islice
from typing import TYPE_CHECKING, Protocol, runtime_checkable

import attrs

from garboard.record_types import frozen
from garboard.recordings import packet_bytes, packet_lines
from garboard.recordings.arithmetic import Arithmetic
from garboard.recordings.clocks import Arrivals, Clock, FileClock, Times
from garboard.recordings.columns import Into
from garboard.recordings.comma_lines import CommaReader
from garboard.recordings.notes import ReadingNotes
from garboard.recordings.packet_lines import PacketReader
from garboard.samples import Sample

if TYPE_CHECKING:
    from garboard.recordings.nmea0183 import SentenceReader

LONGEST_LINE = 4096  # characters kept while its end is awaited, so that a file without line ends fits in memory


class Reader(Protocol):
    """Reads one recording, or one sender on the network."""

    def feed(self, data: bytes, arrived: float | None = None) -> list[Sample]:
        """The samples that are now complete, in the order they came.

        data    : the next bytes, cut anywhere
        arrived : live, when they arrived, by this machine's clock [s]
        Raises InputError where the form has a heading, and that cannot be used.
        """

    def close(self) -> list[Sample]:
        """What was not complete until now, at the end, once."""


class TakesLines(Protocol):
    """What makes samples of lines, without their ends."""

    def take(self, lines: Sequence[str], arrived: float | None = None) -> list[Sample]: ...

    def close(self) -> list[Sample]: ...


@runtime_checkable
class AsksForTime(Protocol):
    """What makes samples of sentences that may carry no time.

    time_comes : whether a later sentence of the log tells time, asked where no earlier one does
    """

    time_comes: Callable[[], bool]


class LineReader:
    """Cuts bytes into lines; bytes that are no text stay as they were, so that checksums still tell.

    takes   : makes samples of them
    longest : characters of a line kept while its end is awaited
    """

    def __init__(self, takes: TakesLines, longest: int = LONGEST_LINE) -> None:
        text = codecs.getincrementaldecoder("utf-8-sig")(errors="surrogateescape")
        self.takes, self._longest = takes, longest
        self._decoder = IncrementalNewlineDecoder(text, translate=True)
        self._rest = ""

    def feed(self, data: bytes, arrived: float | None = None) -> list[Sample]:
        *lines, rest = (self._rest + self._decoder.decode(data)).split("\n")
        self._rest = rest[: self._longest]
        return self.takes.take(lines, arrived) if lines else []

    def close(self) -> list[Sample]:
        rest = (self._rest + self._decoder.decode(b"", final=True)).removesuffix("\n")
        samples = self.takes.take([rest]) if rest else []
        return samples + self.takes.close()


Makes = Callable[[ReadingNotes, bool, str], Reader]
"""Makes a reader of notes to fill, whether it reads live, and the name of the file for messages."""


@frozen
class Form:
    """One form of recording.

    key        : names it in the program
    name       : in plain words
    example    : of a line, for messages; empty for bytes
    share      : of the beginning of a recording that is of this form, 0 to 1
    at_once    : makes what reads a log many lines at once, and puts into something what it finds; None where none does
    """

    key: str
    name: str
    example: str
    share: Callable[[bytes], float]
    makes: Makes
    at_once: Callable[[ReadingNotes, Arithmetic, Into], TakesLines] | None = None

    def recognises(self, head: bytes) -> float:
        """How much of a beginning is of this form, 0 to 1."""
        return self.share(head)

    def reader(self, notes: ReadingNotes, *, is_live: bool = False, source: str = "") -> Reader:
        """A reader for one recording, or for one sender on the network.

        notes   : filled on the way
        is_live : a value's time is when it arrived; otherwise the recording tells it
        source  : name of the file, for messages
        """
        notes.form = self.name
        return self.makes(notes, is_live, source)

    def reader_at_once(self, notes: ReadingNotes, arithmetic: Arithmetic, into: Into) -> LineReader | None:
        """A reader for a log that reads many lines at once; None for a form that has none.

        into : where to put what is found; what comes of it, the reader gives as samples
        """
        notes.form = self.name
        return None if self.at_once is None else LineReader(self.at_once(notes, arithmetic, into))


LINES_LOOKED_AT = 200


@lru_cache(maxsize=1)  # every form is asked about the same beginning
def _lines_of(head: bytes) -> tuple[str, ...]:
    """The lines of a beginning that say something; the last one may be cut."""
    if b"\0" in head:
        return ()
    lines = head.decode("utf-8-sig", "replace").splitlines()
    return tuple(islice((line for line in lines if line.strip() and line[0] not in "#;"), LINES_LOOKED_AT))


def _share(lines: Sequence[str], is_one: Callable[[str], object]) -> float:
    return sum(1 for line in lines if is_one(line)) / max(1, len(lines))


def _lines_like(pattern: re.Pattern[str]) -> Callable[[bytes], float]:
    """How many lines are of a pattern all through."""
    return lambda head: _share(_lines_of(head), pattern.fullmatch)


def _lines_begin(pattern: re.Pattern[str]) -> Callable[[bytes], float]:
    """How many lines begin with a pattern."""
    return lambda head: _share(_lines_of(head), pattern.match)


def _packets(parse: packet_lines.Parse, times: Times) -> Makes:
    return lambda notes, is_live, _: LineReader(PacketReader(parse, _clock(times, notes, is_live), notes))


def _clock(times: Times, notes: ReadingNotes, is_live: bool) -> Clock:
    return Arrivals() if is_live else FileClock(times, notes)


def _trace(notes: ReadingNotes, is_live: bool, _: str) -> Reader:
    return LineReader(PacketReader(packet_lines.TraceLines(), _clock(Times.RUNNING, notes, is_live), notes))


def _comma_lines(notes: ReadingNotes, is_live: bool, _: str) -> Reader:
    return LineReader(CommaReader(notes, Arrivals() if is_live else None))


def _comma_lines_at_once(notes: ReadingNotes, arithmetic: Arithmetic, into: Into) -> TakesLines:
    from garboard.recordings.comma_columns import CommaColumns

    return CommaColumns(notes, arithmetic, into)


def _sentences(notes: ReadingNotes, is_live: bool, _: str) -> Reader:
    from garboard.recordings.nmea0183 import SentenceReader

    return LineReader(SentenceReader(notes, is_live))


def _sentences_at_once(notes: ReadingNotes, _: Arithmetic, into: Into) -> TakesLines:
    from garboard.recordings.sentence_columns import SentenceColumns

    return SentenceColumns(notes, into=into)


def _deltas(notes: ReadingNotes, is_live: bool, _: str) -> Reader:
    from garboard.recordings.deltas import LONGEST_DELTA, DeltaReader

    return LineReader(DeltaReader(notes, _clock(Times.DATED, notes, is_live)), LONGEST_DELTA)


def _csv(notes: ReadingNotes, is_live: bool, source: str) -> Reader:
    from garboard.recordings.csv_series import CsvReader

    return LineReader(CsvReader(notes, source))


def _capture(notes: ReadingNotes, is_live: bool, _: str) -> Reader:
    packets = PacketReader(_no_lines, _clock(Times.RUNNING, notes, is_live), notes)
    return packet_bytes.CaptureReader(packets)


def _gateway(notes: ReadingNotes, is_live: bool, _: str) -> Reader:
    packets = PacketReader(_no_lines, _clock(Times.RUNNING, notes, is_live), notes)
    return packet_bytes.GatewayReader(packets)


def _no_lines(line: str) -> None:
    """For forms that are bytes."""


_SENTENCE = re.compile(r"[^$!]{0,200}[$!](?!PCDIN,|MXPGN,|PDGY,)[A-Z0-9][A-Z0-9]{2,10},")
_WRAPPED_A = re.compile(r"[^$!]{0,200}\$PCDIN,[0-9A-Fa-f]{6},")
_WRAPPED_B = re.compile(r"[^$!]{0,200}\$MXPGN,[0-9A-Fa-f]{6},")
_BASE64 = re.compile(r"[^$!]{0,200}[$!]PDGY,\d")
_COMMA_LINE = re.compile(
    r"[^,]{1,40},\s*\d,\d{4,6},\d{1,3},\d{1,3},\d{1,4}(?:,|$)|"
    r"\s*(?:\d{4}[-/]\d\d[-/]\d\d[T -]\d\d:\d\d:\d\d(?:[.,]\d+)?(?:Z|[+-]\d\d:?\d\d)?|\d+(?:[.,]\d+)?)"
    r"(?P<b>[ \t]*[,;|\t][ \t]*|[ \t]+)\d(?P=b)\d{5,6}(?P=b)\d{1,3}(?P=b)\d{1,3}(?P=b)\d{1,3}(?:(?P=b)|$)",
    re.ASCII,
)
_DELTA = re.compile(r'[^{]{0,80}\{.*("updates"|"self"\s*:\s*"vessels\.)')
_NAMES_OF_COLUMNS = re.compile(r"[ \t]*\"?time\b[^,;\t]*[,;\t]", re.IGNORECASE)
_NAMED_WITH_UNIT = re.compile(r"[a-z_][^\[\]$!<>]*\[[^\[\]]*\]", re.IGNORECASE)


def _is_series(head: bytes) -> float:
    lines = _lines_of(head)[:1]
    return float(any(_NAMES_OF_COLUMNS.match(line) or _NAMED_WITH_UNIT.match(line) for line in lines))


FORMS: Sequence[Form] = (
    Form(
        "comma_lines",
        "NMEA 2000",
        "time,priority,pgn,source,destination,length,bytes",
        _lines_begin(_COMMA_LINE),
        _comma_lines,
        at_once=_comma_lines_at_once,
    ),
    Form(
        "sentences",
        "NMEA 0183",
        "$HEHDT,341.8,T*21",
        _lines_begin(_SENTENCE),
        _sentences,
        at_once=_sentences_at_once,
    ),
    Form(
        "frames_time_of_day",
        "CAN frames with the time of day",
        "21:55:35.425 R 15FD0723 FF C0 D9 6F FF 7F FF FF",
        _lines_like(packet_lines.FRAME_WITH_TIME_OF_DAY),
        _packets(packet_lines.frame_with_time_of_day, Times.OF_DAY),
    ),
    Form(
        "message_lines",
        "NMEA 2000 messages as lines of ASCII",
        "A045551.525 23FF2 1F503 FFE700FFFF00FFFF",
        _lines_like(packet_lines.MESSAGE_LINE),
        _packets(packet_lines.message_line, Times.OF_DAY),
    ),
    Form(
        "dump_compact",
        "CAN dump, compact",
        "(0000000000.352000) can0 09F20101#601A00B706670D0B",
        _lines_like(packet_lines.COMPACT),
        _packets(packet_lines.compact, Times.RUNNING),
    ),
    Form(
        "dump_bracketed",
        "CAN dump with lengths in brackets",
        "<0x15fd0723> [8] 00 ff ff ff ff 7f ff ff",
        _lines_like(packet_lines.BRACKETED),
        _packets(packet_lines.bracketed, Times.RUNNING),
    ),
    Form(
        "trace",
        "trace of a CAN adapter",
        "1) 48.6 Rx 09F11201 8 FF 50 7A FF 7F FF 7F FD",
        _lines_like(packet_lines.TRACE),
        _trace,
    ),
    Form(
        "base64_sentences",
        "NMEA 2000 messages as base64 sentences",
        "",
        _lines_begin(_BASE64),
        _sentences,
    ),
    Form("wrapped_a", "NMEA 2000 messages wrapped in sentences", "", _lines_begin(_WRAPPED_A), _sentences),
    Form(
        "wrapped_b",
        "NMEA 2000 messages wrapped in sentences, bytes reversed",
        "",
        _lines_begin(_WRAPPED_B),
        _sentences,
    ),
    Form("deltas", "Signal K deltas", '{"updates": [...]}', _lines_begin(_DELTA), _deltas),
    Form(
        "capture",
        "packet capture of a CAN interface",
        "",
        lambda head: float(packet_bytes.capture_link(head) == packet_bytes.CAN_INTERFACE),
        _capture,
    ),
    Form("gateway", "binary log of a USB gateway", "", lambda head: float(packet_bytes.is_gateway_log(head)), _gateway),
)
"""In the order of the table the first of two that recognise as much is taken."""


@attrs.define
class _WithSentences:
    """Lines of packets with sentences of NMEA 0183 among them, as some gateways send both.

    The packets tell the time of both: what tells time in sentences counts otherwise, and may be missing.
    """

    packets: PacketReader | CommaReader
    sentences: SentenceReader
    _first: list[str] = attrs.field(factory=list)

    def take(self, lines: Sequence[str], arrived: float | None = None) -> list[Sample]:
        samples = list[Sample]()
        for line in lines:
            if line[:1] not in ("$", "!", "\\"):
                samples += self.packets.take([line], arrived)
                if self._first and self.packets.now is not None:
                    samples += self._sentences([])
            elif self.packets.now is None and len(self._first) < LINES_LOOKED_AT:
                self._first.append(line)  # it has the time of the first packet
            else:
                samples += self._sentences([line])
        return samples

    def _sentences(self, lines: Sequence[str]) -> list[Sample]:
        first, self._first = self._first, []
        return self.sentences.take([*first, *lines], self.packets.now or 0.0)

    def close(self) -> list[Sample]:
        return [*self.packets.close(), *self._sentences([]), *self.sentences.close()]


_SHARE_OF_SENTENCES = 0.05
"""Fewer sentences among lines of another form are damage."""


def _mixed(form: Form, head: bytes) -> Form:
    """A form of lines that carry packets, with sentences among them where there are."""
    sentences = next(one for one in FORMS if one.key == "sentences")
    of_packets = (one for one in FORMS if one.key in _PACKET_LINES)
    packets_form = max(of_packets, key=lambda one: one.recognises(head)) if form is sentences else form
    shares = [one.recognises(head) for one in (packets_form, sentences)]
    if packets_form.key not in _PACKET_LINES or min(shares) < _SHARE_OF_SENTENCES:
        return form

    def makes(notes: ReadingNotes, is_live: bool, source: str) -> Reader:
        packets = packets_form.makes(notes, is_live, source)
        if not isinstance(packets, LineReader) or not isinstance(packets.takes, PacketReader | CommaReader):
            return packets
        from garboard.recordings.nmea0183 import SentenceReader

        return LineReader(_WithSentences(packets.takes, SentenceReader(notes, is_live=True)))

    name = f"{packets_form.name}, with NMEA 0183 among them"
    return attrs.evolve(packets_form, name=name, makes=makes, at_once=None)


_PACKET_LINES = (
    "comma_lines", "frames_time_of_day", "message_lines", "dump_compact", "dump_bracketed", "trace",
)  # fmt: skip

SERIES = Form("series", "CSV", "time,rate_of_turn [deg/s]", _is_series, _csv)
"""Told by its heading, where no line is of another form."""


def form_of(head: bytes) -> Form | None:
    """The form of a recording, by its first bytes; None when it is of none the program knows."""
    if _is_headed(head):
        return SERIES
    best, most = None, 0.0
    for form in FORMS:
        share = form.recognises(head)
        if share > most:
            best, most = form, share
        if share == 1:  # no other can be more
            break
    if best is None:
        return SERIES if SERIES.recognises(head) else None
    return best if most == 1 else _mixed(best, head)


def _is_headed(head: bytes) -> bool:
    """Whether the first line names columns, the first of them the time and one at least with its unit."""
    first = next(iter(_lines_of(head)), "")
    return bool(_NAMES_OF_COLUMNS.match(first) and _NAMED_WITH_UNIT.match(first))
