"""NMEA 2000 messages logged one a line: `time,priority,pgn,source,destination,length,byte,byte,...`.

Bytes are hexadecimal; lines that begin with # are comments. A fast-packet message may stand on one line
already joined (more than 8 bytes), or as its frames of 8 bytes, each with the frame counter in its first byte.

Message layouts: [1] open PGN database of the canboat project, https://github.com/canboat/canboat.
Sign of angles and rates (from memory of the standard): clockwise, starboard and bow up are positive.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from math import pi
from typing import Any, NamedTuple

import attrs

from garboard.recordings.identity import IDENTITIES
from garboard.recordings.notes import ReadingNotes
from garboard.recordings.times import parse_time
from garboard.samples import Sample

DEGREES = 180 / pi  # per radian
KNOTS = 3600 / 1852  # per metre a second
FULL_CIRCLE, HALF_CIRCLE = 62832, 31416  # in steps of 0.0001 rad
NO_MINUTE = "longer than any minute"
GIVEN_UP = -2  # instead of a frame's number: the rest of this message is passed over
LONGEST_MESSAGE = 223  # bytes in a fast packet: 6 in the first frame and 7 in each of 31
REFERENCES = ("true", "magnetic", "", "")
"""Meaning of the two reference bits; 2 is "error" and 3 "not available"."""


class Field(NamedTuple):
    """One value inside a message.

    quantity  : key of UNIT_OF_QUANTITY
    at        : first byte, counted from 0
    code      : as the module struct writes it, little-endian
    scale     : unit of the quantity per step
    offset    : added after scaling, in the unit of the quantity
    limits    : smallest step and first step too large; outside them the value counts as not available
    directed  : whether the message's reference (true, magnetic) says how to read it
    """

    quantity: str
    at: int
    code: str
    scale: float
    offset: float = 0.0
    limits: tuple[int, int] = (0, 0)
    directed: bool = False


Decoded = tuple[str, int, int, float, float, bool]


@attrs.frozen
class Message:
    """How to read and write one kind of message.

    blank        : the whole message with every value "not available"
    instance_at  : byte that tells which of several (engine, rudder)
    reference_at : byte whose two lowest bits are the reference of directions
    fix_at       : byte whose upper four bits are 0 when the receiver has no fix
    """

    pgn: int
    name: str
    blank: bytes
    fields: tuple[Field, ...]
    priority: int = 2
    instance_at: int | None = None
    reference_at: int | None = None
    fix_at: int | None = None

    @property
    def is_fast_packet(self) -> bool:
        return len(self.blank) > 8

    def reader(self) -> _Reader:
        """The same, arranged for the loop over millions of lines."""
        pattern, position = "<", 0
        for field in self.fields:
            pattern += f"{field.at - position}x{field.code}"
            position = field.at + struct.calcsize(field.code)
        layout = struct.Struct(pattern)
        needed = max(layout.size, *(at + 1 for at in (self.instance_at, self.reference_at, self.fix_at) if at), 0)
        fields = tuple((f.quantity, *limits_of(f), f.scale, f.offset, f.directed) for f in self.fields)
        return layout.unpack_from, needed, fields, self.instance_at, self.reference_at, self.fix_at


# unpack, bytes needed, fields, where the instance, the reference and the fix stand
_Reader = tuple[Callable[[bytes], tuple[Any, ...]], int, tuple[Decoded, ...], int | None, int | None, int | None]


def limits_of(field: Field) -> tuple[int, int]:
    """Smallest step and first step too large: the three largest mean "not available", "error" and "reserved" [1]."""
    bits = 8 * struct.calcsize("<" + field.code)
    low, high = (-(1 << bits - 1), (1 << bits - 1) - 3) if field.code.islower() else (0, (1 << bits) - 3)
    return field.limits if field.limits != (0, 0) else (low, high)


def _angle(quantity: str, at: int) -> Field:
    return Field(quantity, at, "h", 1e-4 * DEGREES, limits=(-HALF_CIRCLE, HALF_CIRCLE + 1))


def _direction(quantity: str, at: int) -> Field:
    return Field(quantity, at, "H", 1e-4 * DEGREES, limits=(0, FULL_CIRCLE), directed=True)


def _position(quantity: str, at: int, code: str, steps_per_degree: int) -> Field:
    most = (90 if quantity == "latitude" else 180) * steps_per_degree
    return Field(quantity, at, code, 1 / steps_per_degree, limits=(-most, most + 1))


def _speed(quantity: str, at: int) -> Field:
    return Field(quantity, at, "H", 0.01 * KNOTS)


_ALL = (
    Message(
        127245,
        "rudder",
        bytes.fromhex("00 ff ff7f ff7f ffff"),
        (_angle("rudder_angle", 4),),
        instance_at=0,
    ),
    Message(
        127250,
        "vessel heading",
        bytes.fromhex("ff ffff ff7f ff7f ff"),
        (_direction("heading", 1), _angle("deviation", 3), _angle("variation", 5)),
        reference_at=7,
    ),
    Message(
        127251,
        "rate of turn",
        bytes.fromhex("ff ffffff7f ffffff"),
        (Field("rate_of_turn", 1, "i", 1e-6 / 32 * DEGREES),),
    ),
    Message(
        127257,
        "attitude",
        bytes.fromhex("ff ff7f ff7f ff7f ff"),
        (_angle("yaw", 1), _angle("pitch", 3), _angle("roll", 5)),
        priority=3,
    ),
    Message(
        127258,
        "magnetic variation",
        bytes.fromhex("ff ff ffff ff7f ffff"),
        (_angle("variation", 4),),
        priority=6,
    ),
    Message(
        127488,
        "engine, rapid",
        bytes.fromhex("00 ffff ffff 7f ffff"),
        (Field("engine_speed", 1, "H", 0.25), Field("engine_trim", 5, "b", 1.0)),
        instance_at=0,
    ),
    Message(
        127489,
        "engine, dynamic",
        bytes.fromhex("00 ffff ffff ffff ff7f ff7f ffffffff ffff ffff ff 0000 0000 7f 7f"),
        (
            Field("oil_pressure", 1, "H", 0.1),
            Field("engine_temperature", 5, "H", 0.01, offset=-273.15),
            Field("alternator_voltage", 7, "h", 0.01),
            Field("fuel_flow", 9, "h", 0.1),
            Field("engine_hours", 11, "I", 1 / 3600),
        ),
        instance_at=0,
    ),
    Message(
        128259,
        "speed",
        bytes.fromhex("ff ffff ffff ff ff ff"),
        (_speed("speed_through_water", 1), _speed("speed_over_ground", 3)),
    ),
    Message(
        129025,
        "position, rapid",
        bytes.fromhex("ffffff7f ffffff7f"),
        (_position("latitude", 0, "i", 10**7), _position("longitude", 4, "i", 10**7)),
    ),
    Message(
        129026,
        "course and speed over ground, rapid",
        bytes.fromhex("ff ff ffff ffff ffff"),
        (_direction("course_over_ground", 2), _speed("speed_over_ground", 4)),
        reference_at=1,
    ),
    Message(
        129029,
        "GNSS position",
        bytes.fromhex(f"ff ffff ffffffff {'ffffffffffffff7f' * 3} 10 fc ff ff7f ff7f ffffff7f 00"),
        (_position("latitude", 7, "q", 10**16), _position("longitude", 15, "q", 10**16)),
        priority=3,
        fix_at=31,
    ),
)

MESSAGES: Mapping[int, Message] = {message.pgn: message for message in _ALL}
"""Every message the program reads and writes, by parameter group number [1]."""

_READERS = {str(message.pgn): message.reader() for message in _ALL}
_FAST = frozenset(str(message.pgn) for message in _ALL if message.is_fast_packet)
_NAMES = frozenset(map(str, range(256)))
_INSTANCES = [str(number) if number < 253 else "" for number in range(256)]
_LENGTHS = {str(length): length for length in range(LONGEST_MESSAGE + 1)}


def read(lines: Iterable[str], notes: ReadingNotes) -> Iterator[Sequence[Sample]]:
    """The samples of each line, in the order of the lines; memory does not grow with the log.

    lines : without their ends
    notes : filled on the way

    >>> line = "2014-08-15T19:00:00.892Z,2,127250,160,255,8,ff,be,87,ff,7f,86,05,fc"
    >>> [(s.quantity, round(s.value, 2), s.reference) for s in next(read([line], ReadingNotes()))]
    [('heading', 199.1, 'true'), ('variation', 8.1, '')]
    """
    make = tuple.__new__  # a third quicker than calling Sample
    from_hex, readers, kinds, lengths, names = bytes.fromhex, _READERS, notes.kinds, _LENGTHS, _NAMES
    instances = _INSTANCES
    fast, fast_packets = _FAST, FastPackets(notes)
    minute, minute_start = NO_MINUTE, 0.0
    number = 0
    try:
        for number, line in enumerate(lines, 1):
            try:
                when, _, pgn, source, _, length, text = line.split(",", 6)
                reader = readers.get(pgn)
                if reader is None:
                    if pgn in IDENTITIES:
                        _take_identity(pgn, source, length, text, fast_packets, number)
                    else:
                        _count_unread(line, pgn, notes, number)
                    continue
                if when[:17] == minute:
                    second = float(when[17:-1] if when[-1] == "Z" else when[17:])
                    if not 0 <= second < 61:
                        raise ValueError(f"expected seconds from 0 to 60, got {when[17:40]!r}")
                    time = minute_start + second
                else:
                    time = parse_time(when)
                    minute, minute_start = _minute(when)
                data = from_hex(text.replace(",", " "))
                if len(data) != lengths.get(length) and len(data) != int(length):
                    raise ValueError(f"length says {length[:8]!r} bytes, the line has {len(data)}")
                if source not in names:
                    raise ValueError(f"expected a source address from 0 to 255, got {source[:20]!r}")
                if pgn in fast and len(data) <= 8:
                    joined = fast_packets.add(pgn, source, data, number)
                    if joined is None:
                        continue
                    data = joined
                unpack, needed, fields, instance_at, reference_at, fix_at = reader
                if len(data) < needed:
                    raise ValueError(f"PGN {pgn}: expected {needed} bytes or more, got {len(data)}")
            except ValueError as fault:
                if not _is_comment(line):
                    notes.damage(number, _reason(line, fault))
                continue
            kinds[pgn] = kinds.get(pgn, 0) + 1
            instance = "" if instance_at is None else instances[data[instance_at]]
            reference = "" if reference_at is None else REFERENCES[data[reference_at] & 3]
            samples = []
            for (quantity, low, high, scale, offset, directed), steps in zip(fields, unpack(data)):  # noqa: B905
                if low <= steps < high:
                    value = steps * scale + offset
                    key = (time, quantity, value, source, instance, reference if directed else "")
                    samples.append(make(Sample, key))
            if not samples or (fix_at is not None and data[fix_at] < 16):
                notes.empty[pgn] = notes.empty.get(pgn, 0) + 1
                continue
            notes.samples += len(samples)
            yield samples
    finally:
        notes.lines = number
    fast_packets.close()


def _take_identity(pgn: str, source: str, length: str, text: str, frames: FastPackets, number: int) -> None:
    """Note what a device says of itself. Raises ValueError for a line that cannot be used."""
    data, notes = bytes.fromhex(text.replace(",", " ")), frames.notes
    if len(data) != int(length):
        raise ValueError(f"length says {length[:8]!r} bytes, the line has {len(data)}")
    if source not in _NAMES:
        raise ValueError(f"expected a source address from 0 to 255, got {source[:20]!r}")
    whole = frames.add(pgn, source, data, number) if len(data) <= 8 else data
    if whole is not None:
        notes.kinds[pgn] = notes.kinds.get(pgn, 0) + 1
        notes.met_device(source, IDENTITIES[pgn](whole))


@attrs.define
class FastPackets:
    """Puts messages of more than 8 bytes together from their frames.

    A frame's first byte holds a sequence counter (3 bits) and the frame's number (5 bits); frame 0 then names
    the length and brings 6 bytes, each later one 7. A message with a frame missing counts as damaged, once.
    """

    notes: ReadingNotes
    _open: dict[tuple[str, str, int], tuple[int, int, int, bytes]] = attrs.field(factory=dict)

    def add(self, pgn: str, source: str, frame: bytes, line: int) -> bytes | None:
        """The whole message when this was its last frame. Raises ValueError for a frame that fits nowhere."""
        if len(frame) < 2:
            raise ValueError(f"PGN {pgn}: expected a frame of 2 to 8 bytes, got {len(frame)}")
        sequence, index = frame[0] >> 5, frame[0] & 31
        key = (pgn, source, sequence)
        if index == 0:
            self._give_up(key)
            started, length, data = line, frame[1], frame[2:]
        else:
            started, length, last, data = self._open.get(key, (line, 0, -1, b""))
            if last == GIVEN_UP:
                return None
            if index != last + 1:
                self._open[key] = (line, 0, GIVEN_UP, b"")
                raise ValueError(f"PGN {pgn} from {source}: expected frame {last + 1}, got frame {index}")
            data += frame[1:]
        if len(data) >= length:
            self._open.pop(key, None)
            return data[:length]
        self._open[key] = (started, length, index, data)
        return None

    def close(self) -> None:
        """Count what the recording's end left unfinished."""
        for key in tuple(self._open):
            self._give_up(key)

    def _give_up(self, key: tuple[str, str, int]) -> None:
        started, length, last, _ = self._open.pop(key, (0, 0, GIVEN_UP, b""))
        if last != GIVEN_UP:
            reason = f"PGN {key[0]} from {key[1]}: ends after frame {last}, {length} bytes were announced"
            self.notes.damage(started, reason)


def _minute(when: str) -> tuple[str, float]:
    """The text up to the seconds with its time, or nothing when the line's form does not allow the short way."""
    ends_plainly = when[-1:] == "Z" or when[17:].replace(".", "", 1).isdigit()
    if when[16:17] == ":" and when[13:14] == ":" and ends_plainly:
        return when[:17], parse_time(when[:17] + "00")
    return NO_MINUTE, 0.0


def _is_comment(line: str) -> bool:
    return line.startswith("#") or not line or line.isspace()


def _count_unread(line: str, pgn: str, notes: ReadingNotes, number: int) -> None:
    if pgn.isascii() and pgn.isdigit() and len(pgn) <= 6 and not line.startswith("#"):
        notes.met_unknown(pgn)
    elif not _is_comment(line):
        notes.damage(number, f"expected a parameter group number, got {pgn[:20]!r}")


def _reason(line: str, fault: ValueError) -> str:
    if line.count(",") < 6:
        return f"cut short: expected time,priority,pgn,source,destination,length,bytes, got {line[:60]!r}"
    if "fromhex" in str(fault):
        return f"expected bytes in hexadecimal, got {line.split(',', 6)[6][:40]!r}"
    if "invalid literal" in str(fault) or "could not convert" in str(fault):
        return f"expected a number for the length and a time, got {line[:60]!r}"
    return str(fault)
