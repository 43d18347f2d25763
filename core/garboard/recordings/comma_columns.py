"""Comma lines of NMEA 2000 read many at once: no loop takes each line apart.

Most lines of a log are alike: a date and time, six digits of a message, eight bytes. What stands between the time and
the bytes (`,2,127250,160,255,8,`) is the same text for each kind and source, so a slice of the line tells where it
belongs; the bytes of all lines that belong together are then read by one `fromhex` and one `iter_unpack`, and checked
by a few comparisons of long texts. Every other line (frames of one message, longer ones, damage, comments, other
spellings) goes through the reader of single lines, in its order. Samples and notes are the same as that reader gives
for all lines; a test compares them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise, repeat
from operator import itemgetter
from struct import calcsize
from typing import NamedTuple

import attrs

from garboard.recordings.arithmetic import Arithmetic, Unlike
from garboard.recordings.bus import ADDRESS_CLAIM, FAST, READ, read_more
from garboard.recordings.columns import Into
from garboard.recordings.comma_lines import CommaReader
from garboard.recordings.more_messages import MORE, ORDER, REFERENCES
from garboard.recordings.nmea2000 import INSTANCES, MESSAGES, POSITION, READERS, UNREAL, WITH_FIX, Field
from garboard.recordings.notes import KEPT_DEVICES, KEPT_UNKNOWN_KINDS, MARK_MESSAGE, ReadingNotes
from garboard.recordings.times import parse_time
from garboard.samples import Sample, StreamKey

DATA = 23  # characters of eight bytes with their commas
MINUTES_KNOWN = 10_000
_TIME = re.compile(r"\d{4}[-/]\d\d[-/]\d\d[T -]\d\d:\d\d:\d\d((?:\.\d{1,6})?)(Z?),", re.ASCII)
_MINUTE = re.compile(r"\d{4}[-/]\d\d[-/]\d\d[T -]\d\d:\d\d:", re.ASCII)
_MIDDLE = re.compile(r"Z?,\d,([1-9]\d{4,5}),(\d|[1-9]\d|1\d\d|2[0-4]\d|25[0-5]),\d{1,3},([1-9]\d{0,2}),", re.ASCII)
_LOW_BITS = bytes(byte & 3 for byte in range(256))


class _Group(NamedTuple):
    """What lines that belong together share."""

    pgn: str
    source: str
    length: int


class _Packet(NamedTuple):
    """A packet to be taken singly; without a group, a line that is not taken apart yet.

    place : of its line in the chunk
    """

    place: int
    group: _Group | None = None
    time: float = 0.0
    data: bytes = b""
    is_whole: bool = False


def _end_of_seconds(lines: Sequence[str]) -> int:
    """Where the seconds end in the first line with a plain time; 0 when there is none. A Z belongs to what follows."""
    return next((found.end(1) for line in lines if (found := _TIME.match(line))), 0)


@attrs.define
class CommaColumns:
    """Reads whole lines, many at once.

    notes      : what was met so far
    arithmetic : of numpy where it is at hand, otherwise of Python alone
    into       : where to put what is found
    """

    notes: ReadingNotes
    arithmetic: Arithmetic
    into: Into
    _single: CommaReader = attrs.field(init=False)
    _minutes: dict[str, float] = attrs.field(factory=dict)
    _frames: dict[_Group, list[_Packet]] = attrs.field(factory=dict, init=False)
    _timed: Sequence[float] = attrs.field(default=(), init=False)

    def __attrs_post_init__(self) -> None:
        self._single = CommaReader(self.notes)

    def take(self, lines: Sequence[str], arrived: float | None = None) -> list[Sample]:
        """Read some more lines, without their ends; gives what comes of it where it is put."""
        end = _end_of_seconds(lines)
        groups, odd = _grouped(lines, end) if end else ({}, list(range(len(lines))))
        if len(lines) > 1 and (claims := self._new_claims(lines, groups, odd)):
            cuts = sorted({0, len(lines), *claims, *(place + 1 for place in claims)})
            return [sample for first, after in pairwise(cuts) for sample in self.take(lines[first:after])]
        if not self._has_room(groups) or self._order_matters(lines, groups):
            groups, odd = {}, list(range(len(lines)))
        singly = [_Packet(place) for place in odd]
        self._times_of_all(lines, odd, end)
        for group, places in groups.items():
            singly += self._read(lines, places, group, end)
        strange = "\n".join([lines[packet.place] for packet in singly if packet.group is None])
        for group, frames in self._frames.items():
            if group.pgn in strange or not self._is_alone(group):
                singly += frames
            else:
                singly += self._joined(group, frames)
        self._frames.clear()
        singly.sort(key=itemgetter(0))
        self._take_singly(lines, singly)
        self.notes.lines += len(lines)
        return self.into.keep()

    def _take_singly(self, lines: Sequence[str], packets: Iterable[_Packet]) -> None:
        """Packets whose order matters: frames of one message, and lines not taken apart yet."""
        notes, one, take = self.notes, self._single.one, self._single.decoder.take
        first = notes.lines + 1
        for place, group, time, data, is_whole in packets:
            if group is None:
                samples = one(lines[place], first + place)
            else:
                try:
                    samples = take(time, group.pgn, group.source, data, first + place, is_whole)
                    notes.samples += len(samples)
                except ValueError as fault:
                    notes.damage(first + place, str(fault))
                    continue
            for time, quantity, value, source, instance, reference in samples:
                self.into.put(StreamKey(quantity, source, instance, reference), (place,), (time,), (value,))

    def close(self) -> list[Sample]:
        """At the end, once."""
        return self._single.close()

    def _has_room(self, groups: Collection[_Group]) -> bool:
        """Whether the tables of the notes hold all of it; when they overflow, the order of the lines decides."""
        known = max([len(self.notes.unknown), *map(len, self.notes.heard.values())])
        return known + len(groups) < KEPT_UNKNOWN_KINDS and len(self.notes.heard) + len(groups) < KEPT_DEVICES

    def _order_matters(self, lines: Sequence[str], groups: Mapping[_Group, Sequence[int]]) -> bool:
        """Whether what a line means hangs on another: a receiver said, or says, that it simulates its place."""
        decoder = self._single.decoder
        return (
            bool(decoder.unreal)
            or any(content[_METHOD_AT - 1] in UNREAL for content in decoder.frames.begun(POSITION, _METHOD_FRAME))
            or any(
                _says_unreal(lines[place], group.length)
                for group, places in groups.items()
                if group.pgn == POSITION
                for place in places
            )
        )

    def _new_claims(
        self, lines: Sequence[str], groups: Mapping[_Group, Sequence[int]], odd: Sequence[int]
    ) -> Sequence[int]:
        """The places of claims of addresses that another device had, or none: what follows means something else."""
        is_news, found = self._single.decoder.is_news, [place for place in odd if ADDRESS_CLAIM in lines[place]]
        for group, places in groups.items():
            if group.pgn == ADDRESS_CLAIM:
                names = ("".join(reversed(lines[place][-DATA:].lower().split(","))) for place in places)
                found += places if any(is_news(group.source, name) for name in names) else []
        return sorted(found)

    def _read(self, lines: Sequence[str], places: list[int], group: _Group, end: int) -> list[_Packet]:
        """Read lines that belong together; gives the packets that have to be taken singly."""
        chosen = list(map(lines.__getitem__, places))
        try:
            content = _content(chosen, group.length)
            timed = self._timed
            times = list(map(timed.__getitem__, places)) if timed else self._times(chosen, end)
        except (Unlike, ValueError):
            if len(places) == 1:
                return [_Packet(places[0])]
            half = len(places) // 2
            return self._read(lines, places[:half], group, end) + self._read(lines, places[half:], group, end)
        if _is_taken_singly(group):
            length = group.length
            parts = [content[at : at + length] for at in range(0, len(content), length)]
            packets = [_Packet(*one) for one in zip(places, repeat(group), times, parts, repeat(length > 8))]
            if group.pgn not in FAST or length > 8:
                return packets
            self._frames.setdefault(group, []).extend(packets)
            return []
        self._read_messages(group, places, times, content)
        return []

    def _read_messages(self, group: _Group, places: Sequence[int], times: Sequence[float], content: bytes) -> None:
        """Read whole messages that belong together, of the table or of those nobody reads."""
        (pgn, source, length), notes, count = group, self.notes, len(places)
        notes.met_from(source, pgn, count)
        if pgn not in READ:
            notes.met_unknown(pgn, count)
            return
        notes.kinds[pgn] = notes.kinds.get(pgn, 0) + count
        if pgn in MORE:
            self._read_more(group, places, times, content)
            return
        empty, fix_at = 0, READERS[pgn][5]
        if fix_at is not None and not set(content[fix_at::length]) <= set(WITH_FIX):
            with_fix = [row for row, byte in enumerate(content[fix_at::length]) if byte in WITH_FIX]
            empty = count - len(with_fix)
            places, times, content = _rows(with_fix, places, times, content, length)
        if places:
            for instance, reference, rows in _streams(pgn, content, length):
                own = (places, times, content) if rows is None else _rows(rows, places, times, content, length)
                empty += self._fields(group, instance, reference, own[:2], own[2])
        if empty:
            notes.empty[pgn] = notes.empty.get(pgn, 0) + empty

    def _read_more(self, group: _Group, places: Sequence[int], times: Sequence[float], content: bytes) -> None:
        """Read messages that have a function of their own."""
        pgn, source, length = group
        called = self._single.decoder.called.get(source, source)
        found = dict[StreamKey, tuple[list[int], list[float], list[float]]]()
        empty = 0
        for row, (place, time) in enumerate(zip(places, times, strict=True)):
            values = read_more(pgn, content[length * row : length * (row + 1)])
            empty += not values
            for quantity, value, instance, reference in values:
                key = StreamKey(quantity, called, instance, reference)
                columns = found.get(key)
                if columns is None:
                    columns = found[key] = ([], [], [])
                columns[0].append(place)
                columns[1].append(time)
                columns[2].append(value)
        for key, (at, when, what) in sorted(found.items(), key=lambda one: ORDER[one[0].quantity]):
            self.into.put(key, at, when, what)
            self.notes.samples += len(at)
        if empty:
            self.notes.empty[pgn] = self.notes.empty.get(pgn, 0) + empty

    def _is_alone(self, group: _Group) -> bool:
        """Whether all frames of one kind from one source are in this group."""
        return sum(1 for other in self._frames if other[:2] == group[:2]) == 1

    def _joined(self, group: _Group, frames: Sequence[_Packet]) -> list[_Packet]:
        """Read messages whose frames follow each other as they should; gives the frames of all others, and messages
        that have to be taken singly."""
        pgn, source, _ = group
        whole = dict[_Group, list[_Packet]]()
        disordered = self._single.decoder.frames.open_sequences(pgn, source)
        heads, found, at = bytes([frame.data[0] for frame in frames]), list[_Packet](), 0
        latest = dict[int, tuple[int, int]]()
        while at < len(frames):
            first, head = frames[at], heads[at]
            length = first.data[1] if len(first.data) > 1 else 0
            needed = 1 + max(0, -(-(length - 6) // 7))
            in_order = heads[at : at + needed] == bytes(range(head, min(256, head + needed)))
            if head & 31 or head >> 5 in disordered or needed > 32 or not in_order or len(first.data) < 8:
                disordered.add(head >> 5)
                found.append(first)
                at += 1
                continue
            last = frames[at + needed - 1]
            data = first.data[2:] + b"".join([frame.data[1:] for frame in frames[at + 1 : at + needed]])
            message = _Packet(last.place, group, last.time, data[:length], True)
            whole.setdefault(_Group(pgn, source, length), []).append(message)
            latest[head >> 5] = at, at + needed
            at += needed
        for first_at, end in latest.values():
            last = frames[end - 1]
            line = self.notes.lines + 1 + last.place
            self._single.decoder.frames.finished(
                pgn, source, [frame.data for frame in frames[first_at:end]], line, last.time
            )
        for of_length, messages in whole.items():
            if _is_taken_singly(of_length) or of_length.length <= 8:
                found += messages
            else:
                places, times = [one.place for one in messages], [one.time for one in messages]
                self._read_messages(of_length, places, times, b"".join([one.data for one in messages]))
        return found

    def _times_of_all(self, lines: Sequence[str], odd: Sequence[int], end: int) -> None:
        """The times of all plain lines at once, by their places; none where one is not written as the others are."""
        self._timed = []
        plain = lines
        if odd:
            skipped = set(odd)
            plain = [line for place, line in enumerate(lines) if place not in skipped]
        try:
            times = self._times(plain, end) if plain else ()
        except (Unlike, ValueError):
            return
        if odd:
            each = iter(times)
            self._timed = [0.0 if place in skipped else next(each) for place in range(len(lines))]
        else:
            self._timed = times

    def _times(self, lines: Sequence[str], end: int) -> Sequence[float]:
        """The time of each line [s]. Raises where one is not written as the others are."""
        return self.arithmetic.times([line[:end] for line in lines], self._minute)

    def _minute(self, minute: str) -> float:
        """When a minute begins [s]. Raises for one that cannot be."""
        start = self._minutes.get(minute)
        if start is None:
            if _MINUTE.fullmatch(minute) is None:
                raise Unlike
            if len(self._minutes) >= MINUTES_KNOWN:
                self._minutes.clear()
            start = self._minutes[minute] = parse_time(minute + "00")
        return start

    def _fields(
        self,
        group: _Group,
        instance: str,
        reference: str,
        lines: tuple[Sequence[int], Sequence[float]],
        content: bytes,
    ) -> int:
        """Read the fields of messages of one stream each; gives how many messages held no value."""
        places, times = lines
        put, source = self.into.put, self._single.decoder.called.get(group.source, group.source)
        without: set[int] | None = set(range(len(places)))
        for (quantity, low, high, scale, offset, directed), field in zip(
            READERS[group.pgn][2], MESSAGES[int(group.pgn)].fields, strict=True
        ):
            key = StreamKey(quantity, source, instance, reference if directed else "")
            steps = _side_by_side(content, field, group.length)
            values, rows = self.arithmetic.values(steps, field.code, (low, high, scale, offset))
            self.notes.samples += len(values)
            if rows is None:
                put(key, places, times, values)
                without = None
            elif rows:
                put(key, [places[row] for row in rows], [times[row] for row in rows], values)
                if without is not None:
                    without.difference_update(rows)
        return len(without or ())


def _rows(
    rows: Sequence[int], places: Sequence[int], times: Sequence[float], content: bytes, length: int
) -> tuple[Sequence[int], Sequence[float], bytes]:
    """Some of the messages that belong together."""
    some = b"".join([content[length * row : length * (row + 1)] for row in rows])
    return [places[row] for row in rows], [times[row] for row in rows], some


_FIX_AT = READERS[POSITION][5] or 0
_METHOD_FRAME, _METHOD_AT = (_FIX_AT + 1) // 7, (_FIX_AT + 1) % 7 + 1
"""The frame of a position that tells its method, and where: frame 0 brings 6 bytes, each later one 7."""


def _says_unreal(line: str, length: int) -> bool:
    """Whether a position, or the frame of one that tells its method, says that nobody measured it."""
    data = line[-(3 * length - 1) :]
    if length > 8:
        return data[3 * _FIX_AT : 3 * _FIX_AT + 1] in ("7", "8")
    return data[3 * _METHOD_AT : 3 * _METHOD_AT + 1] in ("7", "8") and data[1] == str(_METHOD_FRAME)


def _is_taken_singly(group: _Group) -> bool:
    """Frames of a message, messages that say who a device or the boat is or that it is simulated, and those too
    short."""
    pgn, _, length = group
    if pgn in FAST and length <= 8:
        return True
    if pgn in MORE:
        return length < MORE[pgn][0]
    return length < READERS[pgn][1] if pgn in READERS else pgn in READ or pgn == MARK_MESSAGE


def _grouped(lines: Sequence[str], end: int) -> tuple[dict[_Group, list[int]], list[int]]:
    """The places of lines that belong together, and of those that do not begin as a plain line does."""
    groups, odd = dict[_Group, list[int]](), list[int]()
    appends = dict[str, Callable[[int], None]]()
    for place, line in enumerate(lines):
        middle = line[end:-DATA]
        try:
            appends[middle](place)
            continue
        except KeyError:
            pass
        found = _MIDDLE.match(line, end)
        if found is None:
            odd.append(place)
            continue
        group = _Group(found[1], found[2], int(found[3]))
        if len(line) - found.end() != 3 * group.length - 1:
            odd.append(place)
            continue
        places = groups.setdefault(group, [])
        if group.length == 8:
            appends[middle] = places.append
        places.append(place)
    return groups, odd


def _side_by_side(content: bytes, field: Field, length: int) -> bytes:
    """The bytes of one field of messages of one length, those of all messages side by side."""
    width = calcsize("<" + field.code)
    strip = bytearray(width * (len(content) // length))
    for place in range(width):
        strip[place::width] = content[field.at + place :: length]
    return bytes(strip)


def _content(lines: Sequence[str], length: int) -> bytes:
    """The bytes of lines that end with so many of them. Raises where one does not."""
    data = 3 * length - 1
    text = ",".join([line[-data:] for line in lines])
    if text[2::3] != "," * (length * len(lines) - 1):
        raise Unlike
    content = bytes.fromhex(text.replace(",", " "))
    if len(content) != length * len(lines):
        raise Unlike
    return content


def _streams(pgn: str, content: bytes, length: int) -> Iterator[tuple[str, str, list[int] | None]]:
    """Instances and references of messages, and the rows of each; None where all are alike, as nearly always."""
    count = len(content) // length
    _, _, _, instance_at, reference_at, _ = READERS[pgn]
    instances = content[instance_at::length] if instance_at is not None else b""
    references = content[reference_at::length].translate(_LOW_BITS) if reference_at is not None else b""
    if instances == instances[:1] * count and references == references[:1] * count:
        yield _instance(instances[:1]), _reference(references[:1]), None
        return
    pairs = list(zip(instances or bytes(count), references or bytes(count), strict=True))
    for pair in dict.fromkeys(pairs):
        rows = [row for row, other in enumerate(pairs) if other == pair]
        yield _instance(instances and bytes(pair[:1])), _reference(references and bytes(pair[1:])), rows


def _instance(byte: bytes) -> str:
    return INSTANCES[byte[0]] if byte else ""


def _reference(byte: bytes) -> str:
    return REFERENCES[byte[0]] if byte else ""
