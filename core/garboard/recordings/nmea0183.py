"""NMEA 0183 sentences logged one a line, as text.

A line may begin with a tag block (`\\c:1779874200*58\\`) or with a time and then hold the sentence, or have the time
behind it. Without any, a sentence's time is that of the latest sentence that brought one (RMC, ZDA, GGA, GLL);
sentences before the first such sentence take its time.

Checksum and field order: [1] comments and tests of https://github.com/adrianmo/go-nmea;
[2] tests of https://github.com/Knio/pynmea2; [3] https://gpsd.gitlab.io/gpsd/NMEA.html.
Engine transducer names of XDR: from memory of the standard's list of names.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from enum import Enum
from functools import lru_cache, reduce
from itertools import islice
from operator import xor
from typing import NamedTuple, Protocol

import attrs

from garboard.faults import GarboardError
from garboard.recordings import packet_lines
from garboard.recordings.ais import OwnShipReader
from garboard.recordings.bus import BusDecoder, Packet
from garboard.recordings.identity import version_sentence
from garboard.recordings.notes import ReadingNotes
from garboard.recordings.times import finite, parse_time
from garboard.samples import HARD_RANGE, UNIT_OF_QUANTITY, Sample
from garboard.units import in_full

DAY = 86400.0
CHARACTERS_LOOKED_AHEAD = 300_000  # some five thousand sentences, to learn how the log tells time
LINES_AT_ONCE = 1000
SENTENCES_HELD = 50_000  # without a time, until one comes
KNOTS_PER_KMH = 1 / 1.852
METRES_A_FOOT = 0.3048
HECTOPASCALS_A_BAR, HECTOPASCALS_AN_INCH = 1000.0, 33.8639  # of a barometer: inHg
OUTSIDE = "outside"
MOST_DELAY = 5.0  # a sentence heard live that seems later than this [s] says that its sender's clock was set

Found = tuple[str, float | None, str, str]  # quantity, value, instance, reference
Fields = Sequence[str]
Decoder = Callable[[Fields], Iterable[Found]]
Told = tuple[float, float | None]  # time of day [s], start of the day since 1970 [s]


class WrongChecksum(GarboardError, ValueError):
    """A sentence was altered on its way."""


class Sentence(NamedTuple):
    """One sentence taken apart.

    line_time    : written before or behind the sentence on its line
    fields       : address first
    has_checksum : a wrong one never gets this far
    whole        : the sentence itself, without its checksum
    """

    line_time: Told | None
    talker: str
    kind: str
    fields: list[str]
    has_checksum: bool
    whole: str


def checksum(body: str) -> int:
    """All characters between the start character and the asterisk, combined by exclusive or [1].

    >>> f"{checksum('HCHDG,98.3,0.0,E,12.6,W'):02X}"
    '57'
    """
    return reduce(xor, body.encode("utf-8", "surrogateescape"), 0)


def take_apart(line: str) -> Sentence:
    """Split a line into its fields, its checksum compared. Raises ValueError saying what is wrong with it."""
    line_time = None
    start = 0 if line[0] in "$!" else line.find("$" if "$" in line else "!")
    if start < 0:
        raise ValueError(f"expected a sentence that begins with $ or !, got {line[:60]!r}")
    if start:
        line_time = _time_before(line[:start])
    body, star, printed = line[start + 1 :].partition("*")
    if star:
        printed = printed.strip()
        computed = f"{checksum(body):02X}"
        if printed != computed and printed.upper() != computed:
            line_time = _time_behind(printed[2:]) if printed[:2].upper() == computed else None
            if line_time is None:
                raise WrongChecksum(f"checksum: expected {computed} for what the line holds, got {printed[:20]!r}")
    elif behind := _BEHIND.search(body):
        line_time = _time_behind(behind[1])
        body = body if line_time is None else body[: behind.start()]
    fields = body.rstrip().split(",")
    address = fields[0]
    if not (address.isascii() and address.isalnum()):
        raise ValueError(f"expected an address such as GPRMC, got {address[:20]!r}")
    has_talker = len(address) == 5 and address[0] != "P" and address not in WRAPPED
    talker, kind = (address[:2], address[2:]) if has_talker else ("", address[:12])
    return Sentence(line_time, talker, kind, fields, bool(star), line[start] + body.rstrip())


_BETWEEN = " \t,;[]|"
"""What may part a sentence from the time in front of it or behind it."""
_BEHIND = re.compile(r"[ \t;|]+\[?(\d[\d:.,T Z/+-]{7,40})\]?\s*$", re.ASCII)
_TIME_OF_DAY = re.compile(r"(\d\d):(\d\d):(\d\d(?:[.,]\d{1,9})?)", re.ASCII)


def _plain_time_of(text: str) -> Told:
    """A time as written beside a sentence: since 1970, or of the day. Raises ValueError for anything else."""
    found = _TIME_OF_DAY.fullmatch(text)
    if found is None:
        return parse_time(text), 0.0
    hours, minutes, seconds = int(found[1]), int(found[2]), float(found[3].replace(",", "."))
    if hours > 23 or minutes > 59 or seconds >= 61:
        raise ValueError(f"expected a time of day up to 23:59:59, got {text[:20]!r}")
    return hours * 3600 + minutes * 60 + seconds, None


def _time_behind(text: str) -> Told | None:
    """The time behind a sentence [s]; None when what stands there is none."""
    try:
        return _plain_time_of(text.strip(_BETWEEN))
    except ValueError:
        return None


_TAG_BLOCK = re.compile(r"\\(?P<body>[^\\*]*)(?:\*(?P<checksum>[0-9A-Fa-f]{2}))?\\")
_TAG_TIME = re.compile(r"(?:^|,)c:(\d+(?:\.\d+)?)(?:,|$)")


def _time_before(text: str) -> Told | None:
    """The time in a tag block or written plainly before the sentence; None when there is none."""
    text = text.strip(_BETWEEN)
    if not text.startswith("\\"):
        return _plain_time_of(text) if text else None
    tag_block = _TAG_BLOCK.fullmatch(text)
    if tag_block is None:
        raise ValueError(f"expected a tag block between two backslashes, got {text[:40]!r}")
    printed, computed = tag_block["checksum"], f"{checksum(tag_block['body']):02X}"
    if printed and printed.upper() != computed:
        raise WrongChecksum(f"checksum of the tag block: expected {computed}, got {printed}")
    time = _TAG_TIME.search(tag_block["body"])
    return (parse_time(time[1]), 0.0) if time else None


@attrs.define
class SentenceReader:
    """Reads the sentences of a log, or of one sender as they arrive; wrapped NMEA 2000 messages among them.

    notes      : what was met so far
    is_live    : a value's time is when its line arrived; otherwise the log tells it
    time_comes : whether a later sentence of the log tells time, asked where no earlier one does
    """

    notes: ReadingNotes
    is_live: bool = False
    time_comes: Callable[[], bool] = bool
    _clock: TellsTime | None = None
    _head: list[str] = attrs.field(factory=list)
    _length: int = 0
    _held: deque[tuple[list[Found], str]] = attrs.field(factory=deque)
    _bus: BusDecoder = attrs.field(init=False)
    _ais: OwnShipReader = attrs.field(factory=OwnShipReader)

    def __attrs_post_init__(self) -> None:
        self._bus = BusDecoder(self.notes)
        if self.is_live:
            self._clock = _Arrivals()

    def take(self, lines: Sequence[str], arrived: float | None = None) -> list[Sample]:
        """The samples of some more lines, without their ends. A log's first lines are kept until its clock is known."""
        if self._clock is None:
            self._head += lines
            self._length += sum(map(len, lines))
            if self._length <= CHARACTERS_LOOKED_AHEAD:
                return []
            return self._begin()
        return self._read(lines, self._clock, arrived)

    def _begin(self) -> list[Sample]:
        self._clock = _clock_for(self._head)
        self.notes.dated = self._clock.dated
        head, self._head = self._head, []
        return self._read(head, self._clock, None)

    def _read(self, lines: Sequence[str], clock: TellsTime, arrived: float | None) -> list[Sample]:
        notes, held, samples = self.notes, self._held, list[Sample]()
        for line in lines:
            notes.lines += 1
            if isinstance(clock, _Arrivals):
                clock.arrived, clock.now = arrived or 0.0, arrived
            found, talker = values_in(line, notes.lines, notes, clock, self._bus, self._ais)
            if found:
                held.append((found, talker))
            if clock.now is not None:
                while held:
                    samples += _samples(clock.now, *held.popleft())
            elif len(held) > SENTENCES_HELD:
                if self.time_comes():
                    notes.without_time += len(held.popleft()[0])
                else:
                    samples += self._in_order_only()
                    clock = NoClock()
        notes.samples += len(samples)
        return samples

    def _in_order_only(self) -> list[Sample]:
        """A log without any clock: its values have an order, and the time 0."""
        self._clock = NoClock()
        self.notes.timed = self.notes.dated = False
        samples = [sample for found, talker in self._held for sample in _samples(0.0, found, talker)]
        self._held.clear()
        return samples

    def close(self) -> list[Sample]:
        """What was kept until now, at the end, once."""
        samples = self._begin() if self._clock is None else []
        if self._held:
            more = self._in_order_only()
            self.notes.samples += len(more)
            samples += more
        return samples


def read(lines: Iterable[str], notes: ReadingNotes) -> Iterator[Sequence[Sample]]:
    """The samples of a log's sentences, in the order of the lines; memory does not grow with the log.

    lines : without their ends
    notes : filled on the way

    >>> log = ["$GPZDA,093000.00,04,05,2026,00,00", "$HEHDT,341.8,T*21"]
    >>> [sample] = next(read(log, ReadingNotes()))
    >>> sample.value, sample.reference, sample.source, sample.time - parse_time("2026-05-04T09:30:00Z")
    (341.8, 'true', 'HE', 0.0)
    """
    reader, lines = SentenceReader(notes), iter(lines)
    while some := list(islice(lines, LINES_AT_ONCE)):
        yield from filter(None, [reader.take(some)])
    yield from filter(None, [reader.close()])


class TellsTime(Protocol):
    """`now` is the time of the sentence seen last [s]; None before the first time."""

    now: float | None

    def see(self, sentence: Sentence) -> None: ...

    def tell(self, told: Told) -> None: ...


OWN_SHIP = "VDO"
"""What the boat's own AIS unit says of the boat; VDM, of other ships, is not read."""
WRAPPED: Mapping[str, Callable[[str], Packet]] = {
    "PCDIN": packet_lines.wrapped_a,
    "MXPGN": packet_lines.wrapped_b,
    "PDGY": packet_lines.base64_sentence,
}
"""What unwraps the NMEA 2000 message a sentence of this kind carries."""


def _unwrapped(sentence: Sentence, number: int, bus: BusDecoder) -> tuple[list[Found], str]:
    """The values of a wrapped message, and the address that sent it. Raises ValueError for one that cannot be used."""
    packet = WRAPPED[sentence.kind](sentence.whole)
    source = str(packet.source)
    samples = bus.take(0.0, str(packet.pgn), source, packet.data, number, is_whole=True)
    return [(one.quantity, one.value, one.instance, one.reference) for one in samples], bus.called.get(source, source)


def values_in(
    line: str, number: int, notes: ReadingNotes, clock: TellsTime, bus: BusDecoder, ais: OwnShipReader
) -> tuple[list[Found], str]:
    """The values of a line and the talker that sent them; the line is counted in the notes, and the clock sees it."""
    if not line or line.isspace() or line[0] == "#":
        return [], ""
    try:
        sentence = take_apart(line)
        kind = sentence.kind
        if kind in WRAPPED:
            unwrapped = _unwrapped(sentence, number, bus)
            clock.see(sentence)
            return unwrapped
        if kind == OWN_SHIP:
            notes.own_ship.update(ais.take(sentence.fields))
            clock.see(sentence)
            notes.kinds[kind] = notes.kinds.get(kind, 0) + 1
            notes.met_from(sentence.talker, kind)
            return [], ""
        decode = DECODERS.get(kind)
        if decode is None:
            clock.see(sentence)
            _note_without_values(sentence, notes)
            return [], ""
        fewest = FEWEST_FIELDS[kind]
        if len(sentence.fields) <= fewest:
            raise ValueError(f"cut short: expected {fewest} fields, got {len(sentence.fields) - 1}")
        if kind == "XDR":
            found, fault_of_one = _of_each_transducer(sentence.fields)
        else:
            found = [_believable(one) for one in decode(sentence.fields) if one[1] is not None]
            fault_of_one = None
        clock.see(sentence)
    except packet_lines.NotOfThisNetwork as other:
        notes.met_unknown(str(other))
        return [], ""
    except ValueError as fault:
        notes.damage(number, _named(line, fault))
        notes.wrong_checksum += isinstance(fault, WrongChecksum)
        return [], ""
    if fault_of_one is not None:
        notes.damage(number, _named(line, fault_of_one))
    notes.kinds[kind] = notes.kinds.get(kind, 0) + 1
    notes.met_from(sentence.talker, kind)
    notes.without_checksum += not sentence.has_checksum
    unknown = _unknown_transducers(sentence.fields) if kind == "XDR" else []
    for name in unknown:
        notes.met_unknown(name)
    if not found and kind != "ZDA" and not unknown:
        notes.empty[kind] = notes.empty.get(kind, 0) + 1
    return found, sentence.talker


def _note_without_values(sentence: Sentence, notes: ReadingNotes) -> None:
    """A sentence of a kind that carries no value this program reads; a device may say by it what it is."""
    notes.without_checksum += not sentence.has_checksum
    notes.met_from(sentence.talker, sentence.kind)
    if sentence.kind == "VER":
        notes.kinds["VER"] = notes.kinds.get("VER", 0) + 1
        notes.met_device(sentence.talker, version_sentence(sentence.fields[1:]))
    else:
        notes.met_unknown(sentence.kind)


def _samples(time: float, found: Iterable[Found], talker: str) -> list[Sample]:
    return [
        Sample(time, quantity, value, talker, instance, reference)
        for quantity, value, instance, reference in found
        if value is not None
    ]


def _named(line: str, fault: ValueError) -> str:
    address = re.search(r"[$!]([A-Z0-9]{3,8}),", line)
    if address and address[1] in WRAPPED:
        return f"wrapped message: {fault}"
    return f"{address[1]}: {fault}" if address else str(fault)


# Time


class _By(Enum):
    """What tells a log's time."""

    LINE = "written beside the sentences, so those inside are ignored"
    SENTENCE = "sentences such as RMC"
    WRAPPED = "wrapped messages, which count from a start nobody knows"


@attrs.define
class Clock:
    """Time of the sentences that carry none of their own.

    dated : times count from 1970; otherwise from the first time of day
    now   : time of the sentence seen last [s]; None before the first time
    """

    by: _By
    dated: bool
    _last: float | None = None
    _first: float | None = None
    now: float | None = None

    def see(self, sentence: Sentence) -> None:
        """Set the clock by a sentence, if it tells time. Raises ValueError for a time that cannot be."""
        told = _told_by(self.by, sentence)
        if told is not None:
            self.tell(told)

    @property
    def is_by_line(self) -> bool:
        return self.by is _By.LINE

    @property
    def is_by_wrapped(self) -> bool:
        return self.by is _By.WRAPPED

    def tell(self, told: Told) -> None:
        """Set the clock to what a sentence tells."""
        time_of_day, day = told
        if self.dated and day is not None:
            self._last = day + time_of_day
        elif self._last is None:
            self._last = self._first = time_of_day
        else:  # the day that brings it closest: a log may run past midnight, and sentences may swap places
            self._last = time_of_day + DAY * round((self._last - time_of_day) / DAY)
        self.now = self._last - (self._first or 0.0)


@attrs.define
class NoClock:
    """A log that has only an order."""

    now: float | None = 0.0

    def see(self, sentence: Sentence) -> None:
        """Whatever it tells comes too late."""

    def tell(self, told: Told) -> None:
        """The same."""


def _told_by(by: _By, sentence: Sentence) -> Told | None:
    if by is _By.LINE:
        return sentence.line_time
    if by is _By.SENTENCE:
        return _time_told(sentence)
    when = WRAPPED[sentence.kind](sentence.whole).when if sentence.kind in WRAPPED else None
    return None if when is None else (when, None)


def _clock_for(head: Iterable[str]) -> Clock:
    """Learn from a log's first lines how it tells time, so that no sentence is timed one way and the next another."""
    first_dated, runs, tells, length = None, False, False, 0
    for line in head:
        length += len(line)
        if length > CHARACTERS_LOOKED_AHEAD:
            break
        if line[-3:-2] == "*" and line[0] in "$!":  # as nearly all: nothing in front of the sentence or behind it
            kind = line[3:6]
            if runs or tells if line[1:6] in WRAPPED else kind not in TIME_OF or first_dated is not None:
                continue
            if tells and (kind in ("GGA", "GLL") or (kind == "ZDA" and ",,," in line[7:20])):
                continue  # it has no date, and that there is a time of day is known
        if not line or line.isspace() or line[0] == "#":
            continue
        try:
            sentence = take_apart(line)
            told = _time_told(sentence) if first_dated is None else None
            if sentence.kind in WRAPPED and not (runs or tells):
                counted = _told_by(_By.WRAPPED, sentence)
                runs = counted is not None and counted[0] > 0  # some gateways leave it 0
        except (ValueError, packet_lines.NotOfThisNetwork):
            continue
        if sentence.line_time is not None:
            return Clock(_By.LINE, dated=sentence.line_time[1] is not None)
        tells = tells or told is not None
        if told and told[1] is not None:
            first_dated = told[1] + told[0]
    if runs and not tells:
        return Clock(_By.WRAPPED, dated=False)
    return Clock(_By.SENTENCE, dated=first_dated is not None, last=first_dated)


@attrs.define
class _Arrivals:
    """Time of the sentences of one sender that are heard as they are sent.

    arrived : when the sentence at hand arrived, by this machine's own clock [s]
    now     : the same, less what the sentence was delayed [s]. Only a sentence that carries its time tells that:
              by how much longer it was under way than the quickest one so far.
    """

    arrived: float = 0.0
    now: float | None = None
    _least: float | None = None

    def see(self, sentence: Sentence) -> None:
        """Time a sentence. Raises ValueError for a time that cannot be."""
        self.now = self.arrived
        told = _time_told(sentence) or sentence.line_time
        if told is not None:
            self.tell(told)

    def tell(self, told: Told) -> None:
        """Take off what a sentence that tells time was delayed."""
        time_of_day = told[0]
        lag = (self.arrived - time_of_day) % DAY  # this machine's clock may stand anywhere: only differences count
        delay = 0.0 if self._least is None else (lag - self._least + DAY / 2) % DAY - DAY / 2
        if self._least is None or not 0 <= delay <= MOST_DELAY:
            self._least, delay = lag, 0.0
        self.now = self.arrived - delay


def _time_of_day(text: str) -> float:
    if not (len(text) >= 6 and text[:6].isdigit()):
        raise ValueError(f"expected a time of day such as 093000.00, got {text[:20]!r}")
    hours, minutes, seconds = int(text[:2]), int(text[2:4]), finite(text[4:])
    if hours > 23 or minutes > 59 or seconds >= 61:
        raise ValueError(f"expected a time of day up to 235959, got {text[:20]!r}")
    return hours * 3600 + minutes * 60 + seconds


@lru_cache(maxsize=64)
def _day(year: int, month: int, day: int) -> float:
    try:
        return datetime(year, month, day, tzinfo=UTC).timestamp()
    except ValueError:
        raise ValueError(f"expected a date, got year {year}, month {month}, day {day}") from None


def _rmc_time(fields: Fields) -> Told | None:
    if len(fields) < 10 or not fields[1]:
        return None
    date, time = fields[9], _time_of_day(fields[1])
    if not date or fields[2] != "A":  # without a fix a receiver may still show its factory's date
        return time, None
    if len(date) != 6 or not date.isdigit():
        raise ValueError(f"expected a date such as 040526, got {date[:20]!r}")
    year = int(date[4:])
    return time, _day(year + (1900 if year >= 80 else 2000), int(date[2:4]), int(date[:2]))


def _zda_time(fields: Fields) -> Told | None:
    if not fields[1]:
        return None
    time, date = _time_of_day(fields[1]), fields[2:5]
    if len(date) < 3 or not all(date):
        return time, None
    if not all(part.isdigit() and len(part) <= 4 for part in date):
        raise ValueError(f"expected day, month and year, got {','.join(date)[:20]!r}")
    return time, _day(int(date[2]), int(date[1]), int(date[0]))


def _plain_time(at: int) -> Callable[[Fields], Told | None]:
    return lambda fields: (_time_of_day(fields[at]), None) if len(fields) > at and fields[at] else None


TIME_OF: Mapping[str, Callable[[Fields], Told | None]] = {
    "RMC": _rmc_time,
    "ZDA": _zda_time,
    "GGA": _plain_time(1),
    "GLL": _plain_time(5),
}


def _time_told(sentence: Sentence) -> Told | None:
    """The time a sentence tells. Raises ValueError for a time that cannot be; one cut short tells none."""
    read_time = TIME_OF.get(sentence.kind)
    is_whole = read_time is not None and len(sentence.fields) > FEWEST_FIELDS[sentence.kind]
    return read_time(sentence.fields) if read_time and is_whole else None


# Values

MOST = {quantity: max(map(abs, ends)) for quantity, ends in HARD_RANGE.items()}
LEAST = {quantity: 0.0 if low == 0 else -MOST[quantity] for quantity, (low, _) in HARD_RANGE.items()}
"""A minus sign is a side or a sense in most sentences; a speed over ground has none."""


def _believable(found: Found) -> Found:
    """A value as found. Raises ValueError for one that no boat's instrument can show."""
    quantity, value, _, _ = found
    if value is None or LEAST[quantity] <= value <= MOST[quantity]:
        return found
    unit = UNIT_OF_QUANTITY[quantity]
    wanted = f"from {in_full(LEAST[quantity])}" if value < LEAST[quantity] else f"up to {in_full(MOST[quantity])}"
    raise ValueError(f"expected {quantity.replace('_', ' ')} {wanted} {unit}, got {in_full(value)}")


def _number(text: str) -> float | None:
    return finite(text) if text else None


def _direction(quantity: str, text: str, reference: str) -> Found:
    value = _number(text)
    if value is not None and not 0 <= value <= 360:
        raise ValueError(f"expected a direction from 0 to 360 deg, got {text[:20]}")
    return quantity, None if value is None else value % 360, "", reference


def _plain(quantity: str, text: str, instance: str = "", scale: float = 1.0) -> Found:
    value = _number(text)
    return quantity, None if value is None else value * scale, instance, ""


def _east_positive(quantity: str, text: str, letter: str) -> Found:
    value = _signed(text, letter, "E", "W")
    return quantity, value, "", ""


def _signed(text: str, letter: str, positive: str, negative: str) -> float | None:
    value = _number(text)
    if value is None:
        return None
    if letter not in (positive, negative):
        raise ValueError(f"expected {positive} or {negative} after {text[:20]}, got {letter[:20]!r}")
    return value if letter == positive else -value


def _coordinate(quantity: str, text: str, letter: str, letters: str, most: int) -> Found:
    """Degrees of a position written as degrees and minutes run together (6005.071 is 60 deg 5.071 min)."""
    if not text:
        return quantity, None, "", ""
    point = (text + ".").index(".")
    degrees, minutes = finite(text[: point - 2] or "0"), finite(text[max(point - 2, 0) :])
    if not (0 <= minutes < 60 and 0 <= degrees + minutes / 60 <= most):
        raise ValueError(f"expected a {quantity} in degrees and minutes up to {most}, got {text[:20]!r}")
    return quantity, _signed(str(degrees + minutes / 60), letter, *letters), "", ""


def _position(fields: Fields, at: int) -> list[Found]:
    return [
        _coordinate("latitude", fields[at], fields[at + 1], "NS", 90),
        _coordinate("longitude", fields[at + 2], fields[at + 3], "EW", 180),
    ]


def _has(fields: Fields, at: int, letters: str) -> bool:
    """Whether a status field reads as one of the letters; a field the talker leaves out does not speak against it."""
    return len(fields) <= at or fields[at] == "" or fields[at] in letters


def _valid(fields: Fields, at: int) -> bool:
    return fields[at] == "A"


MODES_WITH_FIX = "ADEFPR"
"""Not M, typed in, nor S, a simulator: neither is where the boat is."""
QUALITIES_WITHOUT_FIX = ("", "0", "7", "8")
"""Of GGA; 7 is typed in, 8 a simulator."""


def _hdg(fields: Fields) -> list[Found]:
    """What the sensor shows: neither deviation nor variation is applied."""
    return [
        _direction("heading", fields[1], "magnetic"),
        _east_positive("deviation", fields[2], fields[3]),
        _east_positive("variation", fields[4], fields[5]),
    ]


def _hdm(fields: Fields) -> list[Found]:
    return [_direction("heading", fields[1], "magnetic")]


def _hdt(fields: Fields) -> list[Found]:
    return [_direction("heading", fields[1], "true")]


def _rot(fields: Fields) -> list[Found]:
    return [_plain("rate_of_turn", fields[1], scale=1 / 60)] if _valid(fields, 2) else []


def _vtg(fields: Fields) -> list[Found]:
    if not _has(fields, 9, MODES_WITH_FIX):
        return []
    return [
        _direction("course_over_ground", fields[1], "true"),
        _direction("course_over_ground", fields[3], "magnetic"),
        _speed("speed_over_ground", fields[5], fields[7]),
    ]


def _vhw(fields: Fields) -> list[Found]:
    return [
        _direction("heading", fields[1], "true"),
        _direction("heading", fields[3], "magnetic"),
        _speed("speed_through_water", fields[5], fields[7]),
    ]


def _speed(quantity: str, knots: str, kilometres_an_hour: str) -> Found:
    return _plain(quantity, knots) if knots else _plain(quantity, kilometres_an_hour, scale=KNOTS_PER_KMH)


def _rmc(fields: Fields) -> list[Found]:
    if not (_valid(fields, 2) and _has(fields, 12, MODES_WITH_FIX)):
        return []
    found = [
        *_position(fields, 3),
        _plain("speed_over_ground", fields[7]),
        _direction("course_over_ground", fields[8], "true"),
    ]
    if len(fields) > 11:
        found.append(_east_positive("variation", fields[10], fields[11]))
    return found


def _gga(fields: Fields) -> list[Found]:
    return _position(fields, 2) if fields[6] not in QUALITIES_WITHOUT_FIX else []


def _gll(fields: Fields) -> list[Found]:
    return _position(fields, 1) if _has(fields, 6, "A") and _has(fields, 7, MODES_WITH_FIX) else []


def _zda(fields: Fields) -> list[Found]:
    return []


def _rpm(fields: Fields) -> list[Found]:
    """A minus sign says which way an engine turns [from memory of the standard]; how fast is without one."""
    quantity, instance = engine_or_shaft(fields[1], fields[2])
    text = fields[3].removeprefix("-") if quantity == "engine_speed" else fields[3]
    return [_plain(quantity, text, instance)] if quantity and _valid(fields, 5) else []


def engine_or_shaft(which: str, number: str) -> tuple[str, str]:
    """Quantity and instance of an RPM sentence; no quantity for what is neither."""
    return {"E": "engine_speed", "S": "shaft_speed"}.get(which, ""), number if _is_number(number) else ""


def _rsa(fields: Fields) -> list[Found]:
    """A single rudder stands in the starboard field and has no instance; a second one is called "port"."""
    found = [_plain("rudder_angle", fields[1])] if _valid(fields, 2) else []
    if len(fields) > 4 and _valid(fields, 4):
        found.append(_plain("rudder_angle", fields[3], "port"))
    return found


def _dpt(fields: Fields) -> list[Found]:
    """Below the transducer; the offset is that of the water line above it or, negative, of the keel below it."""
    return [_plain("depth", fields[1]), _plain("depth_offset", fields[2])]


def _dbt(fields: Fields) -> list[Found]:
    """In metres, or where the talker leaves them out in feet."""
    return [_plain("depth", fields[3]) if fields[3] else _plain("depth", fields[1], scale=METRES_A_FOOT)]


def _mtw(fields: Fields) -> list[Found]:
    return [_plain("water_temperature", fields[1])] if _has(fields, 2, "C") else []


def _mda(fields: Fields) -> list[Found]:
    return [
        _plain("air_pressure", fields[3], scale=HECTOPASCALS_A_BAR)
        if fields[3]
        else _plain("air_pressure", fields[1], scale=HECTOPASCALS_AN_INCH),
        _plain("air_temperature", fields[5]),
        _plain("water_temperature", fields[7]),
        _plain("humidity", fields[9], OUTSIDE),
    ]


_TRANSDUCERS: Mapping[tuple[str, str, str], tuple[str, float]] = {
    ("A", "D", "PITCH"): ("pitch", 1.0),
    ("A", "D", "ROLL"): ("roll", 1.0),
    ("A", "D", "RUDDER"): ("rudder_angle", 1.0),
    ("T", "R", "ENGINE"): ("engine_speed", 1.0),
    ("C", "C", "ENGINE"): ("engine_temperature", 1.0),
    ("P", "P", "ENGINEOIL"): ("oil_pressure", 0.001),
    ("P", "B", "ENGINEOIL"): ("oil_pressure", 100.0),
    ("U", "V", "ALTERNATOR"): ("alternator_voltage", 1.0),
    ("U", "V", "BATTERY"): ("battery_voltage", 1.0),
    **dict.fromkeys((("C", "C", name) for name in ("AIRTEMP", "TEMPAIR", "ENV_OUTAIR_T")), ("air_temperature", 1.0)),
    **dict.fromkeys((("P", "B", name) for name in ("BARO", "BAROMETER", "ENV_ATMOS_P")), ("air_pressure", 1000.0)),
    **dict.fromkeys((("P", "P", name) for name in ("BARO", "BAROMETER", "ENV_ATMOS_P")), ("air_pressure", 0.01)),
    ("C", "C", "ENV_WATER_T"): ("water_temperature", 1.0),
}
"""Quantity and scale by type, unit and name; an engine's name ends in # and its number (ENGINE#0). The names of air and
water are those that talkers in use write: from memory, no list of them was read."""


def _xdr(fields: Fields) -> Iterator[Found]:
    for transducer, text, unit, name in _groups(fields):
        known = transducer_of(transducer, unit, name)
        if known:
            yield _plain(known[0], text, known[1], known[2])


def _of_each_transducer(fields: Fields) -> tuple[list[Found], ValueError | None]:
    """What transducers say, and why one of them cannot be used: it takes none of the others with it.

    Raises ValueError where none can be used.
    """
    found, fault = list[Found](), None
    for at in range(1, len(fields) - 3, 4):
        try:
            found += [_believable(one) for one in _xdr(["", *fields[at : at + 4]]) if one[1] is not None]
        except ValueError as why:
            fault = fault or why
    if fault is not None and not found:
        raise fault
    return found, fault


def _unknown_transducers(fields: Fields) -> list[str]:
    return [
        unknown_name(transducer, name)
        for transducer, text, unit, name in _groups(fields)
        if text and transducer_of(transducer, unit, name) is None
    ]


def unknown_name(transducer: str, name: str) -> str:
    """How a transducer that is not read is counted."""
    return f"XDR {transducer} {name}"[:30].encode("ascii", "replace").decode().rstrip()


def _groups(fields: Fields) -> Iterator[tuple[str, str, str, str]]:
    """Type, value, unit and name of each transducer."""
    return zip(fields[1::4], fields[2::4], fields[3::4], fields[4::4], strict=False)


def transducer_of(transducer: str, unit: str, name: str) -> tuple[str, str, float] | None:
    """Quantity, instance and scale, when the program reads such a transducer."""
    plain_name, _, instance = name.upper().partition("#")
    known = _TRANSDUCERS.get((transducer, unit, plain_name))
    return (known[0], instance, known[1]) if known and (not instance or _is_number(instance)) else None


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 3


DECODERS: Mapping[str, Decoder] = {
    "HDG": _hdg,
    "HDM": _hdm,
    "HDT": _hdt,
    "ROT": _rot,
    "VTG": _vtg,
    "VHW": _vhw,
    "RMC": _rmc,
    "GGA": _gga,
    "GLL": _gll,
    "ZDA": _zda,
    "RPM": _rpm,
    "RSA": _rsa,
    "XDR": _xdr,
    "DPT": _dpt,
    "DBT": _dbt,
    "MTW": _mtw,
    "MDA": _mda,
}
FEWEST_FIELDS: Mapping[str, int] = {
    "HDG": 5,
    "HDM": 2,
    "HDT": 2,
    "ROT": 2,
    "VTG": 8,
    "VHW": 8,
    "RMC": 9,
    "GGA": 6,
    "GLL": 4,
    "ZDA": 4,
    "RPM": 5,
    "RSA": 2,
    "XDR": 4,
    "DPT": 2,
    "DBT": 4,
    "MTW": 2,
    "MDA": 9,
}
"""Fields after the address without which a sentence is taken for cut: those talkers may leave out do not count."""
