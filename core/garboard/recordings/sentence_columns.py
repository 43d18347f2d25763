"""NMEA 0183 sentences read many at once: no loop takes each sentence apart.

Sentences that begin alike and have the same letters in the same fields (a shape) are read together: one exclusive or
over all of them checks their checksums, and one call each turns a field of all of them into numbers. Only what tells
time is then gone through in order, as every other sentence takes its time. A sentence in which anything is unusual
goes through the reader of single sentences, in its order. Samples and notes are the same as that reader gives for all
sentences; a test compares them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import compress, repeat
from operator import itemgetter

import attrs

from garboard.faults import GarboardError
from garboard.recordings.columns import Into
from garboard.recordings.nmea0183 import (
    DECODERS,
    FEWEST_FIELDS,
    HECTOPASCALS_A_BAR,
    HECTOPASCALS_AN_INCH,
    KNOTS_PER_KMH,
    LEAST,
    METRES_A_FOOT,
    MODES_WITH_FIX,
    MOST,
    OUTSIDE,
    OWN_SHIP,
    QUALITIES_WITHOUT_FIX,
    TIME_OF,
    WRAPPED,
    Clock,
    NoClock,
    SentenceReader,
    TellsTime,
    Told,
    engine_or_shaft,
    transducer_of,
    unknown_name,
    values_in,
)
from garboard.recordings.notes import KEPT_DEVICES, KEPT_UNKNOWN_KINDS
from garboard.recordings.times import parse_time
from garboard.samples import Sample, StreamKey

ROW = 128  # characters: a longer sentence is read singly
TRIED_SINGLY = 50  # sentences at once, before the first that tells time
_BEGINNING = re.compile(r"[$!]([A-OQ-Z0-9][A-Z0-9])([A-Z0-9]{3}),", re.ASCII)
_FRONT = re.compile(
    r"\[?(?:(\d{4}-\d\d-\d\d)[T ])?(\d\d):(\d\d):(\d\d(?:\.\d{1,6})?)(Z|[+-]\d\d:\d\d)?\]?[ \t,;|]*", re.ASCII
)
MINUTES_KNOWN = 10_000
_SINGLY = frozenset({"VER", OWN_SHIP})

Texts = Sequence[str]
Rows = Sequence[int] | None
Part = tuple[str, str, str, Rows, Sequence[float]]
"""Quantity, instance, reference, rows that hold a value (None where all do), and the values."""


class Unlike(GarboardError):
    """Among sentences read at once is one that has to be read by itself."""


def checksums(bodies: Sequence[str], longest: int) -> bytes:
    """The checksum of each of some texts of ASCII, none of them empty.

    Each text becomes a row of bytes in one large number, as long as a power of two. Shifting it by half a row and
    combining it with itself by exclusive or folds all rows at once; at the end a row's first byte is what all its bytes
    give.

    longest : characters of the longest

    >>> checksums(["HCHDG,98.3,0.0,E,12.6,W", "HEHDT,341.8,T"], 23).hex()
    '5721'
    """
    row = 1 << (longest - 1).bit_length()
    rows = "".join([body.ljust(row, "\0") for body in bodies]).encode("ascii")
    folded, width = int.from_bytes(rows, "little"), row
    while width > 1:
        width //= 2
        folded ^= folded >> 8 * width
    return folded.to_bytes(len(rows), "little")[::row]


# What sentences of a shape hold


def _numbers(texts: Texts) -> tuple[list[float], Rows]:
    """The numbers of a field, and the rows that hold one. Raises for what is no number."""
    rows = None
    if "" in texts:
        rows = [row for row, text in enumerate(texts) if text]
        texts = [texts[row] for row in rows]
    values = list(map(float, texts))
    total = sum(values)
    if total - total != 0:
        raise Unlike
    return values, rows


def _plain(quantity: str, texts: Texts, instance: str = "", scale: float = 1.0) -> list[Part]:
    values, rows = _numbers(texts)
    if not values:
        return []
    values = values if scale == 1.0 else [value * scale for value in values]
    if max(values) > MOST[quantity] or min(values) < LEAST[quantity]:
        raise Unlike
    return [(quantity, instance, "", rows, values)]


def _direction(quantity: str, texts: Texts, reference: str) -> list[Part]:
    values, rows = _numbers(texts)
    if not values:
        return []
    if max(values) > 360 or min(values) < 0:
        raise Unlike
    return [(quantity, "", reference, rows, [value % 360 for value in values])]


def _signed(quantity: str, texts: Texts, letter: str, letters: str) -> list[Part]:
    parts = _plain(quantity, texts)
    if not parts or letter == letters[0]:
        return parts
    if letter != letters[1]:
        raise Unlike
    return [(*part[:4], [-value for value in part[4]]) for part in parts]


def _coordinate(quantity: str, texts: Texts, letter: str, letters: str, most: int) -> list[Part]:
    if not any(texts):
        return []
    point = texts[0].find(".")
    if point < 2 or {text.find(".") for text in texts} != {point} or letter not in letters or not letter:
        raise Unlike
    degrees = list(map(float, [text[: point - 2] or "0" for text in texts]))
    minutes = list(map(float, [text[point - 2 :] for text in texts]))
    values = [degree + minute / 60 for degree, minute in zip(degrees, minutes, strict=True)]
    if not (min(minutes) >= 0 and max(minutes) < 60 and min(values) >= 0 and max(values) <= most):
        raise Unlike
    return [(quantity, "", "", None, values if letter == letters[0] else [-value for value in values])]


def _position(fields: Sequence[Texts], at: int) -> list[Part]:
    return [
        *_coordinate("latitude", fields[at], fields[at + 1][0], "NS", 90),
        *_coordinate("longitude", fields[at + 2], fields[at + 3][0], "EW", 180),
    ]


def _either(quantity: str, texts: Texts, scale: float, others: Texts, others_scale: float) -> list[Part]:
    """A value that a sentence tells in two units: in the other where the first is left out."""
    if all(texts):
        return _plain(quantity, texts, scale=scale)
    instead = [other if not text else "" for text, other in zip(texts, others, strict=True)]
    return [*_plain(quantity, texts, scale=scale), *_plain(quantity, instead, scale=others_scale)]


def _speed(quantity: str, knots: Texts, kilometres_an_hour: Texts) -> list[Part]:
    return _either(quantity, knots, 1.0, kilometres_an_hour, KNOTS_PER_KMH)


def _is(fields: Sequence[Texts], at: int, letters: str) -> bool:
    """Whether a status field reads as one of the letters; one that is left out or empty does not speak against it."""
    return len(fields) <= at or fields[at][0] == "" or fields[at][0] in letters


def _hdg(fields: Sequence[Texts]) -> list[Part]:
    return [
        *_direction("heading", fields[1], "magnetic"),
        *_signed("deviation", fields[2], fields[3][0], "EW"),
        *_signed("variation", fields[4], fields[5][0], "EW"),
    ]


def _hdm(fields: Sequence[Texts]) -> list[Part]:
    return _direction("heading", fields[1], "magnetic")


def _hdt(fields: Sequence[Texts]) -> list[Part]:
    return _direction("heading", fields[1], "true")


def _rot(fields: Sequence[Texts]) -> list[Part]:
    return _plain("rate_of_turn", fields[1], scale=1 / 60) if fields[2][0] == "A" else []


def _vtg(fields: Sequence[Texts]) -> list[Part]:
    if not _is(fields, 9, MODES_WITH_FIX):
        return []
    return [
        *_direction("course_over_ground", fields[1], "true"),
        *_direction("course_over_ground", fields[3], "magnetic"),
        *_speed("speed_over_ground", fields[5], fields[7]),
    ]


def _vhw(fields: Sequence[Texts]) -> list[Part]:
    return [
        *_direction("heading", fields[1], "true"),
        *_direction("heading", fields[3], "magnetic"),
        *_speed("speed_through_water", fields[5], fields[7]),
    ]


def _rmc(fields: Sequence[Texts]) -> list[Part]:
    if fields[2][0] != "A" or not _is(fields, 12, MODES_WITH_FIX):
        return []
    return [
        *_position(fields, 3),
        *_plain("speed_over_ground", fields[7]),
        *_direction("course_over_ground", fields[8], "true"),
        *(_signed("variation", fields[10], fields[11][0], "EW") if len(fields) > 11 else []),
    ]


def _gga(fields: Sequence[Texts]) -> list[Part]:
    return _position(fields, 2) if fields[6][0] not in QUALITIES_WITHOUT_FIX else []


def _gll(fields: Sequence[Texts]) -> list[Part]:
    return _position(fields, 1) if _is(fields, 6, "A") and _is(fields, 7, MODES_WITH_FIX) else []


def _zda(fields: Sequence[Texts]) -> list[Part]:
    return []


def _rpm(fields: Sequence[Texts]) -> list[Part]:
    quantity, instance = engine_or_shaft(fields[1][0], fields[2][0])
    texts = [text.removeprefix("-") for text in fields[3]] if quantity == "engine_speed" else fields[3]
    return _plain(quantity, texts, instance) if quantity and fields[5][0] == "A" else []


def _rsa(fields: Sequence[Texts]) -> list[Part]:
    return [
        *(_plain("rudder_angle", fields[1]) if fields[2][0] == "A" else []),
        *(_plain("rudder_angle", fields[3], "port") if len(fields) > 4 and fields[4][0] == "A" else []),
    ]


def _dpt(fields: Sequence[Texts]) -> list[Part]:
    return [*_plain("depth", fields[1]), *_plain("depth_offset", fields[2])]


def _dbt(fields: Sequence[Texts]) -> list[Part]:
    return _either("depth", fields[3], 1.0, fields[1], METRES_A_FOOT)


def _mtw(fields: Sequence[Texts]) -> list[Part]:
    return _plain("water_temperature", fields[1]) if _is(fields, 2, "C") else []


def _mda(fields: Sequence[Texts]) -> list[Part]:
    return [
        *_either("air_pressure", fields[3], HECTOPASCALS_A_BAR, fields[1], HECTOPASCALS_AN_INCH),
        *_plain("air_temperature", fields[5]),
        *_plain("water_temperature", fields[7]),
        *_plain("humidity", fields[9], OUTSIDE),
    ]


def _xdr(fields: Sequence[Texts]) -> list[Part]:
    found = list[Part]()
    for at in range(1, len(fields) - 3, 4):
        known = transducer_of(fields[at][0], fields[at + 2][0], fields[at + 3][0])
        if known:
            found += _plain(known[0], fields[at + 1], known[1], known[2])
    return found


_READ: Mapping[str, tuple[Callable[[Sequence[Texts]], list[Part]], Sequence[int]]] = {
    "HDG": (_hdg, (3, 5)),
    "HDM": (_hdm, ()),
    "HDT": (_hdt, ()),
    "ROT": (_rot, (2,)),
    "VTG": (_vtg, (9,)),
    "VHW": (_vhw, ()),
    "RMC": (_rmc, (2, 4, 6, 11, 12)),
    "GGA": (_gga, (3, 5, 6)),
    "GLL": (_gll, (2, 4, 6, 7)),
    "ZDA": (_zda, ()),
    "RPM": (_rpm, (1, 2, 5)),
    "RSA": (_rsa, (2, 4)),
    "DPT": (_dpt, ()),
    "DBT": (_dbt, ()),
    "MTW": (_mtw, (2,)),
    "MDA": (_mda, ()),
}
"""What reads sentences of a kind, and the fields whose texts make their shape. XDR has a shape of its own."""


@attrs.define
class SentenceColumns(SentenceReader):
    """Reads a log's sentences, many at once.

    into : where to put what is found
    """

    into: Into = attrs.field(kw_only=True)
    _at_once: list[tuple[StreamKey, Sequence[int], Sequence[float]]] = attrs.field(factory=list, init=False)
    _told: list[tuple[int, Told | None]] = attrs.field(factory=list, init=False)
    _ignores_sentences: bool = attrs.field(default=False, init=False)
    _minutes: dict[tuple[str, str, str, str | None], float] = attrs.field(factory=dict, init=False)

    def close(self) -> list[Sample]:
        """At the end, once."""
        return self._put(super().close())

    def _read(self, lines: Sequence[str], clock: TellsTime, arrived: float | None) -> list[Sample]:
        at, samples = 0, list[Sample]()
        while at < len(lines):
            tells = self._clock or clock
            can_be = isinstance(tells, Clock) and not tells.is_by_wrapped
            if isinstance(tells, NoClock) or (can_be and tells.now is not None):
                return samples + self._read_at_once(lines[at:], tells)
            step = TRIED_SINGLY if can_be else len(lines)
            samples += self._put(super()._read(lines[at : at + step], tells, None))
            at += step
        return samples

    def _put(self, samples: Iterable[Sample]) -> list[Sample]:
        """Samples in their order, behind what there was."""
        for place, (time, quantity, value, source, instance, reference) in enumerate(samples):
            self.into.put(StreamKey(quantity, source, instance, reference), (place,), (time,), (value,))
        return self.into.keep()

    def _read_at_once(self, lines: Sequence[str], clock: TellsTime) -> list[Sample]:
        self._ignores_sentences = isinstance(clock, Clock) and clock.is_by_line
        told, bare = self._fronts(lines) if self._ignores_sentences else ({}, lines)
        groups, singly = _grouped(bare)
        if not self._has_room(groups):
            groups, singly = {}, list(range(len(lines)))
        for (talker, kind), places in groups.items():
            singly += self._of_one_address(bare, places, talker, kind)
        if told:
            alone = set(singly)
            self._told += [(place, one) for place, one in told.items() if place not in alone]
        samples, now_at = self._in_order(lines, singly, clock)
        for key, at, values in self._at_once:
            self.into.put(key, at, list(map(now_at.__getitem__, at)), values)
            self.notes.samples += len(values)
        for place, (time, quantity, value, source, instance, reference) in samples:
            self.into.put(StreamKey(quantity, source, instance, reference), (place,), (time,), (value,))
        self.notes.samples += len(samples)
        self._at_once.clear()
        self._told.clear()
        self.notes.lines += len(lines)
        return self.into.keep()

    def _fronts(self, lines: Sequence[str]) -> tuple[dict[int, Told], list[str]]:
        """The time in front of each sentence, and the sentences alone; "" for a line that has to be read by itself."""
        told, bare = dict[int, Told](), list[str]()
        for place, line in enumerate(lines):
            start = line.find("$")
            if start > 0:
                front = self._front(line[:start])
                if front is None:
                    start = len(line)
                else:
                    told[place] = front
            bare.append(line[start:] if start >= 0 else line)
        return told, bare

    def _front(self, text: str) -> Told | None:
        """A time in front of a sentence, written as nearly all are; None for any other."""
        found = _FRONT.fullmatch(text)
        if found is None:
            return None
        date, hours, minutes, seconds, zone = found.groups()
        if date is None:
            sound = zone is None and hours <= "23" and minutes <= "59" and seconds < "61"
            return (int(hours) * 3600 + int(minutes) * 60 + float(seconds), None) if sound else None
        minute = (date, hours, minutes, zone)
        start = self._minutes.get(minute)
        if start is None:
            try:
                start = parse_time(f"{date}T{hours}:{minutes}:00{zone or ''}")
            except ValueError:
                return None
            if len(self._minutes) >= MINUTES_KNOWN:
                self._minutes.clear()
            self._minutes[minute] = start
        return (start + float(seconds), 0.0) if seconds < "60" else None

    def _has_room(self, groups: Mapping[tuple[str, str], list[int]]) -> bool:
        """Whether the tables of the notes hold all of it; when they overflow, the order of the lines decides."""
        known = max([len(self.notes.unknown), *map(len, self.notes.heard.values())])
        return known + len(groups) < KEPT_UNKNOWN_KINDS // 2 and len(self.notes.heard) + len(groups) < KEPT_DEVICES

    def _in_order(
        self, lines: Sequence[str], singly: Sequence[int], clock: TellsTime
    ) -> tuple[list[tuple[int, Sample]], list[float]]:
        """Go through what tells time and what is read singly; gives samples of these, and the time at each place."""
        first, notes, samples = self.notes.lines + 1, self.notes, list[tuple[int, Sample]]()
        now_at, reached = list[float](), 0
        for place, told in sorted([*self._told, *((place, None) for place in singly)], key=itemgetter(0)):
            now_at += [clock.now or 0.0] * (place - reached)
            reached = place
            if told is not None:
                clock.tell(told)
                continue
            found, talker = values_in(lines[place], first + place, notes, clock, self._bus, self._ais)
            now = clock.now or 0.0
            samples += [
                (place, Sample(now, quantity, value, talker, instance, reference))
                for quantity, value, instance, reference in found
                if value is not None
            ]
        return samples, now_at + [clock.now or 0.0] * (len(lines) - reached)

    def _of_one_address(self, lines: Sequence[str], places: Sequence[int], talker: str, kind: str) -> list[int]:
        """Read sentences of one address; gives the places of those that have to be read by themselves."""
        sound, bodies, singly = _sound(list(map(lines.__getitem__, places)), places)
        if kind not in DECODERS:
            if sound:
                self.notes.met_unknown(kind, len(sound))
                self.notes.met_from(talker, kind, len(sound))
            return singly
        for at, fields in _columns_of(bodies, sound):
            if len(fields) <= FEWEST_FIELDS[kind]:
                singly += at
                continue
            for chosen, of_shape in _by_shape(kind, fields):
                own = at if len(chosen) == len(at) else [at[row] for row in chosen]
                singly += self._of_one_shape(own, of_shape, talker, kind)
        return singly

    def _of_one_shape(self, places: Sequence[int], fields: Sequence[Texts], talker: str, kind: str) -> Sequence[int]:
        """Read sentences that differ in numbers only; gives the places of those that have to be read by themselves."""
        try:
            parts = _xdr(fields) if kind == "XDR" else _READ[kind][0](fields)
            told = None if self._ignores_sentences else _times_told(kind, fields)
        except (Unlike, ValueError):
            if len(places) == 1:
                return places
            half = len(places) // 2
            return [
                *self._of_one_shape(places[:half], [texts[:half] for texts in fields], talker, kind),
                *self._of_one_shape(places[half:], [texts[half:] for texts in fields], talker, kind),
            ]
        notes, count = self.notes, len(places)
        notes.kinds[kind] = notes.kinds.get(kind, 0) + count
        notes.met_from(talker, kind, count)
        if told is not None:
            self._told += [(place, one) for place, one in zip(places, told, strict=True) if one is not None]
        without: set[int] | None = set(range(count))
        for quantity, instance, reference, chosen, values in parts:
            key = StreamKey(quantity, talker, instance, reference)
            self._at_once.append((key, places if chosen is None else [places[row] for row in chosen], values))
            without = None if chosen is None or without is None else without.difference(chosen)
        if kind == "XDR":
            without = self._unknown_in(fields, without)
        if without and kind != "ZDA":
            notes.empty[kind] = notes.empty.get(kind, 0) + len(without)
        return []

    def _unknown_in(self, fields: Sequence[Texts], without: set[int] | None) -> set[int] | None:
        """Count transducers that are not read; gives the rows that hold neither a value nor one of these."""
        for at in range(1, len(fields) - 3, 4):
            if transducer_of(fields[at][0], fields[at + 2][0], fields[at + 3][0]) is not None:
                continue
            rows = [row for row, text in enumerate(fields[at + 1]) if text]
            if rows:
                self.notes.met_unknown(unknown_name(fields[at][0], fields[at + 3][0]), len(rows))
                without = None if without is None else without.difference(rows)
        return without


def _grouped(lines: Sequence[str]) -> tuple[dict[tuple[str, str], list[int]], list[int]]:
    """The places of sentences by talker and kind, and of those that are read singly whatever they hold."""
    groups, singly = dict[tuple[str, str], list[int]](), list[int]()
    appends = dict[str, Callable[[int], None]]()
    for place, line in enumerate(lines):
        beginning = line[:7]
        try:
            appends[beginning](place)
            continue
        except KeyError:
            found = _BEGINNING.fullmatch(beginning)
        if found is None:
            singly.append(place)
            continue
        talker, kind = found.groups()
        one_by_one = kind in _SINGLY or talker + kind in WRAPPED
        places = singly if one_by_one else groups.setdefault((talker, kind), [])
        appends[beginning] = places.append
        places.append(place)
    return groups, singly


def _sound(lines: Sequence[str], places: Sequence[int]) -> tuple[Sequence[int], Sequence[str], list[int]]:
    """The places of sentences whose checksum fits and what stands before it; the places of those to be read singly."""
    ends = [line[-3:] for line in lines]
    odd = list[int]()
    longest = max(map(len, lines)) - 4
    if longest > ROW or not _are_plain(lines, ends):
        plain = [len(line) <= ROW + 4 and _are_plain([line], [end]) for line, end in zip(lines, ends, strict=True)]
        odd = [place for place, is_plain in zip(places, plain, strict=True) if not is_plain]
        places, lines, ends = list(compress(places, plain)), list(compress(lines, plain)), list(compress(ends, plain))
        if not lines:
            return [], [], odd
        longest = max(map(len, lines)) - 4
    bodies = [line[1:-3] for line in lines]
    printed = "".join(ends).replace("*", "").upper()
    computed = checksums(bodies, longest).hex().upper()
    if printed == computed:
        return places, bodies, odd
    fits = [printed[at : at + 2] == computed[at : at + 2] for at in range(0, len(printed), 2)]
    odd += [place for place, does_fit in zip(places, fits, strict=True) if not does_fit]
    return list(compress(places, fits)), list(compress(bodies, fits)), odd


def _are_plain(lines: Sequence[str], ends: Sequence[str]) -> bool:
    """Whether sentences are of printable ASCII without blanks and low lines, and end with a checksum.

    ends : their last three characters
    """
    text = "".join(lines)
    return (
        text.isascii()
        and text.isprintable()
        and " " not in text
        and "_" not in text
        and text.count("*") == len(lines)
        and "".join(ends)[::3] == "*" * len(lines)
    )


def _columns_of(bodies: Sequence[str], places: Sequence[int]) -> Iterable[tuple[Sequence[int], Sequence[Texts]]]:
    """The fields of sentences, each field of all of them together; those with as many fields each."""
    if not bodies:
        return
    commas = list(map(str.count, bodies, repeat(",")))
    count = commas[0]
    if commas.count(count) == len(commas):
        flat = ",".join(bodies).split(",")
        yield places, [flat[at :: count + 1] for at in range(count + 1)]
        return
    for count in dict.fromkeys(commas):
        alike = [other == count for other in commas]
        flat = ",".join(compress(bodies, alike)).split(",")
        yield (
            places if all(alike) else list(compress(places, alike)),
            [flat[at :: count + 1] for at in range(count + 1)],
        )


def _by_shape(kind: str, fields: Sequence[Texts]) -> Iterable[tuple[Sequence[int], Sequence[Texts]]]:
    """Rows of the same letters in the same fields, and their fields."""
    deciding = (
        [*fields[1::2], *fields[4::4]] if kind == "XDR" else [fields[at] for at in _READ[kind][1] if at < len(fields)]
    )
    if all(map(_is_one, deciding)):
        yield range(len(fields[0])), fields
        return
    shapes = dict[tuple[str, ...], list[int]]()
    for row, shape in enumerate(zip(*deciding, strict=True)):
        shapes.setdefault(shape, []).append(row)
    for rows in shapes.values():
        yield rows, [[texts[row] for row in rows] for texts in fields]


def _is_one(texts: Texts) -> bool:
    """Whether all texts are the same."""
    return texts[0] == texts[-1] and texts.count(texts[0]) == len(texts)


_TIME_AT: Mapping[str, int] = {"RMC": 1, "ZDA": 1, "GGA": 1, "GLL": 5}
_DATED_BY: Mapping[str, Sequence[int]] = {"RMC": (2, 9), "ZDA": (2, 3, 4), "GGA": (), "GLL": ()}
"""Where sentences tell the time of day, and the fields that decide about the date."""


def _times_told(kind: str, fields: Sequence[Texts]) -> Sequence[Told | None] | None:
    """The time each sentence tells; None where the kind tells none. Raises ValueError for one that cannot be."""
    if kind not in TIME_OF:
        return None
    at, dated_by = _TIME_AT[kind], _DATED_BY[kind]
    if len(fields) <= at or not any(fields[at]):
        return None
    if len(fields) <= max((at, *dated_by)) or not all(fields[at]):
        return [TIME_OF[kind](row) for row in zip(*fields, strict=True)]
    texts = fields[at]
    clock = "".join([text[:6] for text in texts])
    if len(clock) != 6 * len(texts) or not clock.isdigit():
        raise Unlike
    hours, minutes = [text[:2] for text in texts], [text[2:4] for text in texts]
    seconds = list(map(float, [text[4:] for text in texts]))
    if max(hours) > "23" or max(minutes) > "59" or not (min(seconds) >= 0 and max(seconds) < 61):
        raise Unlike
    times = [
        int(hour) * 3600 + int(minute) * 60 + second
        for hour, minute, second in zip(hours, minutes, seconds, strict=True)
    ]
    deciding = [fields[place] for place in dated_by]
    if all(map(_is_one, deciding)):
        told = TIME_OF[kind]([field[0] for field in fields])
        return list(zip(times, repeat(None if told is None else told[1]), strict=False))
    days = dict[tuple[str, ...], float | None]()
    dates = list(zip(*deciding, strict=True))
    for row, date in enumerate(dates):
        if date not in days:
            told = TIME_OF[kind]([field[row] for field in fields])
            days[date] = None if told is None else told[1]
    return [(time, days[date]) for time, date in zip(times, dates, strict=True)]
