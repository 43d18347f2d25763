"""NMEA 2000 packets logged one a line: `time,priority,pgn,source,destination,length,byte,byte,...`.

Bytes are hexadecimal; lines that begin with # are comments. A message of more than 8 bytes may stand on one line
already joined, or as its frames of 8 bytes, each with the frame counter in its first byte. Semicolons, tabs, bars or
blanks may stand for the commas, and a comma for the decimal point of the time.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

import attrs

from garboard.recordings.bus import BusDecoder
from garboard.recordings.clocks import Arrivals
from garboard.recordings.notes import ReadingNotes
from garboard.recordings.times import parse_time
from garboard.samples import Sample

NO_MINUTE = "longer than any minute"
ADDRESSES = frozenset(map(str, range(256)))
_TO_THE_SECOND = re.compile(r"\d{4}[-/]\d\d[-/]\d\d.\d\d:\d\d:\d\d(?:\.\d*)?Z?", re.ASCII)
"""Seconds of one minute are read the short way."""
_SECONDS = re.compile(r"(\d\d(?:\.\d*)?)Z?", re.ASCII)
_OTHERWISE = re.compile(
    r"\s*(?P<when>\d{4}[-/]\d\d[-/]\d\d[T -]\d\d:\d\d:\d\d(?:[.,]\d+)?(?:Z|[+-]\d\d:?\d\d)?|\d+(?:[.,]\d+)?)"
    r"(?P<between>[ \t]*[,;|\t][ \t]*|[ \t]+)(?P<priority>\d)(?P=between)(?P<pgn>\d{4,6})(?P=between)"
    r"(?P<source>\d{1,3})(?P=between)(?P<destination>\d{1,3})(?P=between)(?P<length>\d{1,3})"
    r"(?P<data>(?:(?:(?P=between)|[ \t]+)[0-9A-Fa-f]{2})*)[,;|\s]*",
    re.ASCII,
)

_PLAIN = re.compile(r"[^,]*,[^,]*,\d{4,}(?:,[^,]*){4}", re.ASCII)
_WITHOUT_DATA = re.compile(r"[^,]*,\d,(\d{4,8}),\d{1,3},\d{1,3},0,?\s*", re.ASCII)


def as_comma_line(line: str) -> str:
    """A line with other separators, or a comma as the decimal point of its time, with commas and a point.

    >>> as_comma_line("2014-08-15T19:00:00,892Z;2;127250;160;255;2;ff;be")
    '2014-08-15T19:00:00.892Z,2,127250,160,255,2,ff,be'
    """
    found = _OTHERWISE.fullmatch(line)
    if found is None:
        return line
    when, _, priority, pgn, source, destination, length, data = found.groups()
    parts = (when.replace(",", "."), priority, pgn, source, destination, length)
    return ",".join((*parts, *re.findall(r"[0-9A-Fa-f]{2}", data)))


@attrs.define
class CommaReader:
    """Reads lines of a log, or of one sender as they arrive.

    notes    : what was met so far
    arrivals : gives the time of what is heard live; None for a log, whose own times stand
    now      : the time of the latest packet; None before the first
    """

    notes: ReadingNotes
    arrivals: Arrivals | None = None
    decoder: BusDecoder = attrs.field(init=False)
    now: float | None = attrs.field(default=None, init=False)
    _minute: str = NO_MINUTE
    _minute_start: float = 0.0

    def __attrs_post_init__(self) -> None:
        self.decoder = BusDecoder(self.notes)

    def take(self, lines: Sequence[str], arrived: float | None = None) -> list[Sample]:
        """The samples of some more lines, without their ends."""
        samples = list[Sample]()
        for line in lines:
            self.notes.lines += 1
            samples += self.one(line, self.notes.lines, arrived)
        return samples

    def one(self, line: str, number: int, arrived: float | None = None) -> list[Sample]:
        """The samples of one line; damage is noted."""
        if is_comment(line):
            return []
        try:
            if line.count(",") < 6 or _PLAIN.match(line) is None:
                line = as_comma_line(line)
                if without_data := _WITHOUT_DATA.fullmatch(line):
                    self.notes.met_unknown(without_data[1])
                    return []
            when, _, pgn, source, _, length, text = line.split(",", 6)
            if not (pgn.isascii() and pgn.isdigit() and len(pgn) <= 6):
                raise ValueError(f"expected a parameter group number, got {pgn[:20]!r}")
            time = self._time(when)
            if self.arrivals is not None:
                time = self.arrivals.at(time, arrived)
            self.now = time
            data = bytes.fromhex(text.replace(",", " "))
            if len(data) != int(length):
                raise ValueError(f"length says {length[:8]!r} bytes, the line has {len(data)}")
            if source not in ADDRESSES:
                raise ValueError(f"expected a source address from 0 to 255, got {source[:20]!r}")
            samples = self.decoder.take(time, pgn, source, data, number, is_whole=len(data) > 8)
            self.notes.samples += len(samples)
            return samples
        except ValueError as fault:
            self.notes.damage(number, _reason(line, fault))
            return []

    def _time(self, when: str) -> float:
        if when[:17] != self._minute:
            if _TO_THE_SECOND.fullmatch(when) is None:
                return parse_time(when)
            self._minute_start = parse_time(when[:17] + "00")
            self._minute = when[:17]
        second = _SECONDS.fullmatch(when, 17)
        if second is None:
            return parse_time(when)
        if float(second[1]) >= 61:
            raise ValueError(f"expected seconds from 0 to 60, got {when[17:40]!r}")
        return self._minute_start + float(second[1])

    def close(self) -> list[Sample]:
        """At the end, once."""
        self.decoder.close()
        return []


def read(lines: Iterable[str], notes: ReadingNotes) -> Iterator[Sequence[Sample]]:
    """The samples of each line, in the order of the lines; memory does not grow with the log.

    lines : without their ends
    notes : filled on the way

    >>> line = "2014-08-15T19:00:00.892Z,2,127250,160,255,8,ff,be,87,ff,7f,86,05,fc"
    >>> [(s.quantity, round(s.value, 2), s.reference) for s in next(read([line], ReadingNotes()))]
    [('heading', 199.1, 'true'), ('variation', 8.1, '')]
    """
    reader = CommaReader(notes)
    yield from filter(None, (reader.take([line]) for line in lines))
    reader.close()


def is_comment(line: str) -> bool:
    """Whether a line says nothing."""
    return line.startswith("#") or not line or line.isspace()


def _reason(line: str, fault: ValueError) -> str:
    if line.count(",") < 6:
        return f"cut short: expected time,priority,pgn,source,destination,length,bytes, got {line[:60]!r}"
    if "fromhex" in str(fault):
        return f"expected bytes in hexadecimal, got {line.split(',', 6)[6][:40]!r}"
    if "invalid literal" in str(fault) or "could not convert" in str(fault):
        return f"expected a number for the length and a time, got {line[:60]!r}"
    return str(fault)
