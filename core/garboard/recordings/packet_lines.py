"""Lines that hold one packet of an NMEA 2000 network each, in every form met in the wild but the comma lines.

Forms as met; layouts compared with the packages nmea2000 and python-can in the tests. All are input only.
"""

from __future__ import annotations

import re
from base64 import b64decode
from collections.abc import Callable, Sequence

import attrs

from garboard.faults import GarboardError
from garboard.recordings.bus import BusDecoder, Packet, of_identifier
from garboard.recordings.clocks import Clock
from garboard.recordings.notes import ReadingNotes
from garboard.recordings.times import finite
from garboard.samples import Sample

Parse = Callable[[str], Packet | None]
"""Takes a line apart. None for a line that is no packet and no damage either; raises ValueError for damage."""

SHORT_IDENTIFIER = "frame with a short identifier"
NO_DATA = "frame without data"
"""What is on a CAN interface but no part of NMEA 2000."""


class NotOfThisNetwork(GarboardError):
    """A sound line that holds no packet of an NMEA 2000 network; the text is its kind."""


@attrs.define
class PacketReader:
    """Reads lines of one form.

    parse : takes a line apart
    clock : gives the time
    notes : what was met so far
    now   : the time of the latest packet; None before the first
    """

    parse: Parse
    clock: Clock
    notes: ReadingNotes
    decoder: BusDecoder = attrs.field(init=False)

    def __attrs_post_init__(self) -> None:
        self.decoder = BusDecoder(self.notes)

    now: float | None = attrs.field(default=None, init=False)

    def take(self, lines: Sequence[str], arrived: float | None = None) -> list[Sample]:
        """The samples of some more lines, without their ends."""
        notes, samples = self.notes, list[Sample]()
        for line in lines:
            notes.lines += 1
            if not line or line.isspace() or line[0] == "#":
                continue
            try:
                packet = self.parse(line)
                if packet is not None:
                    samples += self.packet(packet, notes.lines, arrived)
            except NotOfThisNetwork as other:
                notes.met_unknown(str(other))
            except ValueError as fault:
                notes.damage(notes.lines, str(fault))
        return samples

    def packet(self, packet: Packet, number: int, arrived: float | None = None) -> list[Sample]:
        """The samples of one more packet. Raises ValueError for one that cannot be used."""
        when, pgn, source, _, data, is_whole = packet
        time = self.now = self.clock.at(when, arrived)
        samples = self.decoder.take(time, str(pgn), str(source), data, number, is_whole)
        self.notes.samples += len(samples)
        return samples

    def close(self) -> list[Sample]:
        """At the end, once."""
        self.decoder.close()
        return []


def _frame(when: float | None, identifier: str, data: str, length: str = "") -> Packet:
    """A frame of a CAN interface. Raises ValueError for one that cannot be."""
    if len(identifier) <= 4 and int(identifier, 16) < 0x800:
        raise NotOfThisNetwork(SHORT_IDENTIFIER)
    number = int(identifier, 16)
    if number >= 1 << 29:
        raise ValueError(f"expected an identifier of 29 bits, got {identifier[:20]!r}")
    content = bytes.fromhex(data)
    if not content:
        raise NotOfThisNetwork(NO_DATA)
    if len(content) > 8 or (length and len(content) != int(length)):
        raise ValueError(f"expected {length or '1 to 8'} bytes, got {len(content)}")
    pgn, source, destination = of_identifier(number)
    return Packet(when, pgn, source, destination, content)


def _time_of_day(hours: str, minutes: str, seconds: str) -> float:
    if int(hours) > 23 or int(minutes) > 59 or float(seconds.replace(",", ".")) >= 61:
        raise ValueError(f"expected a time of day up to 23:59:59, got {hours}:{minutes}:{seconds[:9]}")
    return int(hours) * 3600 + int(minutes) * 60 + float(seconds.replace(",", "."))


def _address(text: str, base: int = 10) -> int:
    number = int(text, base)
    if number > 255:
        raise ValueError(f"expected a source address from 0 to 255, got {text[:20]!r}")
    return number


FRAME_WITH_TIME_OF_DAY = re.compile(
    r"(?:(\d\d):(\d\d):(\d\d[.,]\d{1,9})[ \t]+[RT][ \t]+)?([0-9A-Fa-f]{8})((?:[ \t]+[0-9A-Fa-f]{2}){1,8})\s*", re.ASCII
)


def frame_with_time_of_day(line: str) -> Packet | None:
    """
    >>> frame_with_time_of_day("21:55:35.425 R 15FD0723 FF C0 D9 6F FF 7F FF FF").pgn
    130311
    """
    found = FRAME_WITH_TIME_OF_DAY.fullmatch(line)
    if found is None:
        raise ValueError(f"expected time, R or T, identifier and bytes, got {line[:60]!r}")
    hours, minutes, seconds, identifier, data = found.groups()
    when = None if hours is None else _time_of_day(hours, minutes, seconds)
    return _frame(when, identifier, data)


MESSAGE_LINE = re.compile(
    r"(?:A(\d\d)(\d\d)(\d\d(?:[.,]\d{1,9})?)[ \t]+)?"
    r"([0-9A-Fa-f]{5})[ \t]+([0-9A-Fa-f]{5})[ \t]+((?:[0-9A-Fa-f]{2})+)\s*",
    re.ASCII,
)


def message_line(line: str) -> Packet | None:
    """
    >>> message_line("A045551.525 23FF2 1F503 FFE700FFFF00FFFF")[:4]
    (17751.525, 128259, 35, 255)
    """
    found = MESSAGE_LINE.fullmatch(line)
    if found is None:
        raise ValueError(f"expected A and a time, addresses and priority, PGN and bytes, got {line[:60]!r}")
    hours, minutes, seconds, addresses, pgn, data = found.groups()
    when = None if hours is None else _time_of_day(hours, minutes, seconds)
    return Packet(when, int(pgn, 16), int(addresses[:2], 16), int(addresses[2:4], 16), bytes.fromhex(data), True)


BRACKETED = re.compile(
    r"\s*(?:\((\d+\.\d+)\)\s+)?(?:(?:[a-z]+[0-9]+|any)\s+(?:[RT]X\s+-\s+-\s+)?)?"
    r"(?:<0x([0-9A-Fa-f]{3,8})>|([0-9A-Fa-f]{8}|[0-9A-Fa-f]{3}))\s+"
    r"\[(\d{1,2})\]((?:\s+[0-9A-Fa-f]{2}){0,64}|\s+remote request)\s*",
    re.ASCII,
)
_HEADING_OF_A_DUMP = re.compile(r"interface = ")


def bracketed(line: str) -> Packet | None:
    """
    >>> bracketed("<0x15fd0723> [8] 00 ff ff ff ff 7f ff ff ").pgn
    130311
    >>> bracketed(" (1436509052.249713)  can0  09F8017F   [8]  00 11 22 33 44 55 66 77").when
    1436509052.249713
    """
    found = BRACKETED.fullmatch(line)
    if found is None:
        if _HEADING_OF_A_DUMP.match(line):
            return None
        raise ValueError(f"expected an identifier, the length in brackets and bytes, got {line[:60]!r}")
    when, one, other, length, data = found.groups()
    if "remote" in data:
        raise NotOfThisNetwork(NO_DATA)
    return _frame(finite(when) if when else None, one or other, data, length)


COMPACT = re.compile(
    r"\((\d+\.\d+)\)\s+\S+\s+([0-9A-Fa-f]{8}|[0-9A-Fa-f]{3})#((?:[0-9A-Fa-f]{2}){0,8}|R\d?)(?:\s+[RT])?\s*", re.ASCII
)


def compact(line: str) -> Packet | None:
    """
    >>> compact("(0000000000.352000) vcan0 09F20101#601A00B706670D0B")[:4]
    (0.352, 127489, 1, 255)
    """
    found = COMPACT.fullmatch(line)
    if found is None:
        raise ValueError(f"expected (seconds), an interface and identifier#bytes, got {line[:60]!r}")
    when, identifier, data = found.groups()
    return _frame(finite(when), identifier, "" if data.startswith("R") else data)


TRACE = re.compile(
    r"\s*\d+\)?\s+(\d+\.\d+)\s+"  # number, offset [ms]
    r"(?:(?:[A-Z]{2}|\d+)\s+(?=.*[RT]x))?"  # kind or bus, in the later versions
    r"(?:([RT]x|Warng|Error|RTR)\s+)?(?=\S)"
    r"([0-9A-Fa-f]{4}|[0-9A-Fa-f]{8})\s+"
    r"(?:([RT]x)\s+)?(?:-\s+)?(\d{1,2})((?:\s+(?:[0-9A-Fa-f]{2}|RTR))*)\s*",
    re.ASCII,
)
_TRACE_START = re.compile(r";\$STARTTIME=(\d+\.\d+)", re.ASCII)
DAYS_TO_1970 = 25569
"""The start of a trace counts days from 1899-12-30."""


@attrs.define
class TraceLines:
    """Lines of a CAN adapter's trace; the time of its start stands in the heading."""

    _start: float = 0.0

    def __call__(self, line: str) -> Packet | None:
        """
        >>> TraceLines()("     1)       500.0  Rx     09F11201  8  FF 50 7A FF 7F FF 7F FD ")[:4]
        (0.5, 127250, 1, 255)
        """
        if line.lstrip().startswith(";"):
            if found := _TRACE_START.match(line.strip()):
                self._start = (finite(found[1]) - DAYS_TO_1970) * 86400
            return None
        found = TRACE.fullmatch(line)
        if found is None:
            raise ValueError(f"expected number, milliseconds, identifier, length and bytes, got {line[:60]!r}")
        offset, kind, identifier, _, length, data = found.groups()
        if kind in ("Warng", "Error", "RTR") or "RTR" in data:
            raise NotOfThisNetwork(NO_DATA)
        return _frame(self._start + finite(offset) / 1000, identifier, data, length)


BASE64 = re.compile(r"!PDGY,(\d{4,6}),(\d?),(\d{1,3}),(\d{1,3}),(\d*(?:[.,]\d*)?),([A-Za-z0-9+/]+={0,2})\s*", re.ASCII)
OWN_STATE = re.compile(r"\$PDGY,")
"""What such a gateway says of itself."""


def base64_sentence(line: str) -> Packet:
    """
    >>> base64_sentence("!PDGY,127250,2,3,255,481.734,2C20AAAAAAE=")[:4]
    (481.734, 127250, 3, 255)
    """
    found = BASE64.fullmatch(line)
    if found is None:
        if OWN_STATE.match(line):
            raise NotOfThisNetwork("state of the gateway")
        raise ValueError(f"expected PGN, priority, addresses, seconds and base64, got {line[6:60]!r}")
    pgn, _, source, destination, seconds, data = found.groups()
    when = finite(seconds.replace(",", ".")) if seconds.strip(".,") else None
    try:
        content = b64decode(data, validate=True)
    except ValueError:
        raise ValueError(f"expected bytes in base64, got {data[:40]!r}") from None
    return Packet(when, int(pgn), _address(source), _address(destination), content, True)


WRAPPED_A = re.compile(r"\$PCDIN,([0-9A-Fa-f]{6}),([0-9A-Fa-f]{8}),([0-9A-Fa-f]{2}),((?:[0-9A-Fa-f]{2})+)", re.ASCII)
WRAPPED_B = re.compile(r"\$MXPGN,([0-9A-Fa-f]{6}),([0-9A-Fa-f]{2})([0-9A-Fa-f]{2}),((?:[0-9A-Fa-f]{2})+)", re.ASCII)


def wrapped_a(sentence: str) -> Packet:
    """A sentence without its checksum, the bytes in their order; the time is in milliseconds.

    >>> wrapped_a("$PCDIN,01F503,00000018,23,FFE700FFFF00FFFF")[:4]
    (0.024, 128259, 35, 255)
    """
    found = WRAPPED_A.fullmatch(sentence)
    if found is None:
        raise ValueError(f"expected PGN, time, source and bytes, got {sentence[7:60]!r}")
    pgn, milliseconds, source, data = found.groups()
    return Packet(int(milliseconds, 16) / 1000, int(pgn, 16), int(source, 16), 255, bytes.fromhex(data), True)


def wrapped_b(sentence: str) -> Packet:
    """A sentence without its checksum, the bytes in reversed order; a word tells priority, length and source.

    >>> wrapped_b("$MXPGN,01F503,2823,FFFF00FFFF00E7FF").data.hex()
    'ffe700ffff00ffff'
    """
    found = WRAPPED_B.fullmatch(sentence)
    if found is None:
        raise ValueError(f"expected PGN, word and bytes, got {sentence[7:60]!r}")
    pgn, _, source, data = found.groups()
    return Packet(None, int(pgn, 16), int(source, 16), 255, bytes.fromhex(data)[::-1], True)
