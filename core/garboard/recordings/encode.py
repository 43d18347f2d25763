"""Writes samples as NMEA 2000 lines, NMEA 0183 sentences and CSV series: what is kept, demonstrations, tests."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from itertools import count, groupby

from garboard.recordings.fast_packets import LONGEST_MESSAGE
from garboard.recordings.more_messages import REFERENCES
from garboard.recordings.nmea0183 import DAY, checksum
from garboard.recordings.nmea2000 import MESSAGES, Message, limits_of
from garboard.samples import UNIT_OF_QUANTITY, Sample, StreamKey

# NMEA 2000

_PGN_OF_QUANTITY: Mapping[str, int] = {
    field.quantity: pgn
    for pgn in sorted(MESSAGES.keys() - {129029}, reverse=True)
    for field in MESSAGES[pgn].fields
    if (pgn, field.quantity) not in ((128259, "speed_over_ground"), (127250, "variation"))
}
"""Where each quantity goes by itself; variation and deviation join the heading of the same time."""


def nmea2000_data(
    pgn: int, values: Mapping[str, float], instance: str = "", reference: str = "", time: float | None = None
) -> bytes:
    """The bytes of one message; quantities without a value stay "not available".

    pgn       : a key of MESSAGES
    values    : by quantity, in the unit of UNIT_OF_QUANTITY
    instance  : number of the engine or rudder as text; empty is 0
    reference : "true" or "magnetic" for heading and course; empty is "not available"
    time      : put into a GNSS position (129029), since 1970-01-01 UTC [s]
    Raises ValueError for a quantity the message does not hold and a value it cannot express.

    >>> nmea2000_data(127250, {"heading": 199.103}, reference="true").hex(" ")
    'ff be 87 ff 7f ff 7f fc'
    """
    message = MESSAGES[pgn]
    data = bytearray(message.blank)
    fields = {field.quantity: field for field in message.fields}
    for quantity, value in values.items():
        if quantity not in fields:
            raise ValueError(f"PGN {pgn} holds {', '.join(fields)}, not {quantity}")
        field = fields[quantity]
        low, high = limits_of(field)
        steps = round((value - field.offset) / field.scale)
        if field.directed:
            steps = round(value % 360 / field.scale) % high
        if not low <= steps < high:
            least, most = low * field.scale + field.offset, (high - 1) * field.scale + field.offset
            raise ValueError(f"PGN {pgn}: {quantity} from {least:.6g} to {most:.6g}, got {value:.6g}")
        struct.pack_into("<" + field.code, data, field.at, steps)
    if message.instance_at is not None:
        data[message.instance_at] = int(instance or 0)
    if message.reference_at is not None:
        data[message.reference_at] = 0xFC | (REFERENCES.index(reference) if reference else 3)
    if pgn == 129029 and time is not None:
        day, seconds = divmod(round(time * 10_000), round(DAY) * 10_000)
        struct.pack_into("<HI", data, 1, day, seconds)
    return bytes(data)


def nmea2000_line(time: float, pgn: int, source: str | int, data: bytes) -> str:
    """One line of a log: a whole message to everyone, or one frame of it.

    time   : since 1970-01-01 UTC [s]
    source : address of the sender, 0 to 255
    data   : up to 223 bytes

    >>> nmea2000_line(1408129200.892, 127251, 27, bytes.fromhex("00f6c8ffff2702ff"))
    '2014-08-15T19:00:00.892Z,2,127251,27,255,8,00,f6,c8,ff,ff,27,02,ff'
    """
    if not 0 <= int(source) <= 255:
        raise ValueError(f"expected a source address from 0 to 255, got {source}")
    priority = MESSAGES[pgn].priority if pgn in MESSAGES else 6
    return f"{iso_time(time)},{priority},{pgn},{source},255,{len(data)},{data.hex(',')}"


def fast_packet_frames(data: bytes, sequence: int = 0) -> list[bytes]:
    """A message of more than 8 bytes as the frames that carry it.

    data     : 9 to 223 bytes
    sequence : counts the messages of one kind from one source, modulo 8

    >>> [frame.hex(" ") for frame in fast_packet_frames(bytes(range(10)), sequence=2)]
    ['40 0a 00 01 02 03 04 05', '41 06 07 08 09 ff ff ff']
    """
    if not 8 < len(data) <= LONGEST_MESSAGE:
        raise ValueError(f"a fast packet carries 9 to {LONGEST_MESSAGE} bytes, got {len(data)}")
    counter = sequence % 8 << 5
    parts = [bytes([len(data)]) + data[:6], *(data[at : at + 7] for at in range(6, len(data), 7))]
    return [bytes([counter | index]) + part.ljust(7, b"\xff") for index, part in enumerate(parts)]


def nmea2000_lines(samples: Iterable[Sample], as_frames: bool = False) -> Iterator[str]:
    """Samples as lines of a log; neighbours of one time, source and instance share messages where they can.

    samples   : in order of time; sources are addresses, "0" to "255", an empty one becomes "0"
    as_frames : write messages of more than 8 bytes as their frames; otherwise joined on one line
    Raises ValueError for a quantity no message holds and a value it cannot express.
    """
    sequence = count()
    for time, pgn, source, data in nmea2000_messages(samples):
        frames = fast_packet_frames(data, next(sequence)) if as_frames and len(data) > 8 else [data]
        for frame in frames:
            yield nmea2000_line(time, pgn, source, frame)


def nmea2000_messages(samples: Iterable[Sample]) -> Iterator[tuple[float, int, str, bytes]]:
    """Time, number, source and bytes of the messages that hold the samples; see `nmea2000_lines`."""
    for (time, source, instance), group in groupby(samples, lambda s: (s.time, s.source or "0", s.instance)):
        for pgn, reference, values in _messages(list(group)):
            yield time, pgn, source, nmea2000_data(pgn, values, instance, reference, time)


def _messages(samples: Sequence[Sample]) -> list[tuple[int, str, dict[str, float]]]:
    """Messages that hold the samples; those with a reference first, so that others can join them."""
    messages: list[tuple[int, str, dict[str, float]]] = []
    for sample in sorted(samples, key=lambda s: not s.reference):
        pgn = _pgn_of(sample.quantity)
        for other, reference, values in messages:
            directed = _is_directed(MESSAGES[other], sample.quantity)
            joins = other == pgn or (other == 127250 and sample.quantity == "variation")
            if joins and sample.quantity not in values and (not directed or reference == sample.reference):
                values[sample.quantity] = sample.value
                break
        else:
            messages.append((pgn, sample.reference, {sample.quantity: sample.value}))
    return messages


def _pgn_of(quantity: str) -> int:
    if quantity not in _PGN_OF_QUANTITY:
        raise ValueError(f"expected a quantity out of {', '.join(sorted(_PGN_OF_QUANTITY))}, got {quantity}")
    return _PGN_OF_QUANTITY[quantity]


def _is_directed(message: Message, quantity: str) -> bool:
    return any(field.directed for field in message.fields if field.quantity == quantity)


# NMEA 0183


def nmea0183_sentence(address: str, *fields: str | float | None) -> str:
    """A sentence with its checksum.

    address : talker and kind, such as "HEHDT"
    fields  : in order; numbers are written with up to 4 decimals, None is left empty

    >>> nmea0183_sentence("HEHDT", 341.8, "T")
    '$HEHDT,341.8,T*21'
    """
    body = ",".join([address, *map(_field, fields)])
    return f"${body}*{checksum(body):02X}"


def nmea0183_sentences(samples: Iterable[Sample], clock: str = "GP") -> Iterator[str]:
    """Samples as sentences; a ZDA sentence tells the time whenever it changes.

    samples : in order of time, to the millisecond; a source of two letters is the talker, any other becomes "II"
    clock   : talker of the ZDA sentences
    Raises ValueError for a quantity no sentence holds.
    """
    told = None
    for (time, source), group in groupby(samples, lambda s: (s.time, s.source)):
        if time != told:
            told = time
            moment = datetime.fromtimestamp(round(time, 3), UTC)
            clock_time = f"{moment:%H%M%S}.{moment.microsecond // 1000:03d}"
            yield nmea0183_sentence(
                f"{clock}ZDA", clock_time, f"{moment:%d}", f"{moment:%m}", f"{moment:%Y}", "00", "00"
            )
        talker = source if len(source) == 2 and source.isalpha() and source.isupper() else "II"
        yield from _sentences(talker, list(group))


def _sentences(talker: str, samples: Iterable[Sample]) -> Iterator[str]:
    left = {(s.quantity, s.reference, s.instance): s.value for s in samples}

    def take(quantity: str, reference: str = "", instance: str = "") -> float | None:
        return left.pop((quantity, reference, instance), None)

    def sentence(kind: str, *fields: str | float | None) -> str:
        return nmea0183_sentence(talker + kind, *fields)

    if left.keys() & {("latitude", "", ""), ("longitude", "", "")}:
        latitude, longitude = take("latitude"), take("longitude")
        position = (*_degrees_minutes(latitude, 2, "NS"), *_degrees_minutes(longitude, 3, "EW"))
        yield sentence("GLL", *position, "", "A", "A")
    true, magnetic = take("course_over_ground", "true"), take("course_over_ground", "magnetic")
    speed = take("speed_over_ground")
    if any(value is not None for value in (true, magnetic, speed)):
        kmh = None if speed is None else speed * 1.852
        yield sentence("VTG", true, "T", magnetic, "M", speed, "N", kmh, "K", "A")
    if (heading := take("heading", "true")) is not None:
        yield sentence("HDT", heading, "T")
    heading, deviation, variation = take("heading", "magnetic"), take("deviation"), take("variation")
    if any(value is not None for value in (heading, deviation, variation)):
        yield sentence("HDG", heading, *_east_west(deviation), *_east_west(variation))
    if (rate := take("rate_of_turn")) is not None:
        yield sentence("ROT", rate * 60, "A")
    if (speed := take("speed_through_water")) is not None:
        yield sentence("VHW", None, "T", None, "M", speed, "N", speed * 1.852, "K")
    if (rudder := take("rudder_angle")) is not None:
        yield sentence("RSA", rudder, "A", None, "V")
    for (quantity, reference, instance), value in left.items():
        if quantity == "engine_speed":
            yield sentence("RPM", "E", instance or "0", value, None, "A")
        elif quantity in _TRANSDUCER_OF and not reference:
            kind, unit, name, scale = _TRANSDUCER_OF[quantity]
            yield sentence("XDR", kind, value * scale, unit, name + (f"#{instance}" if instance else ""))
        else:
            what = " ".join(filter(None, (quantity, reference)))
            raise ValueError(f"no NMEA 0183 sentence is written for {what}")


_TRANSDUCER_OF: Mapping[str, tuple[str, str, str, float]] = {
    "pitch": ("A", "D", "PITCH", 1.0),
    "roll": ("A", "D", "ROLL", 1.0),
    "engine_temperature": ("C", "C", "ENGINE", 1.0),
    "oil_pressure": ("P", "P", "ENGINEOIL", 1000.0),
    "alternator_voltage": ("U", "V", "ALTERNATOR", 1.0),
}


def _field(value: str | float | None) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _east_west(value: float | None) -> tuple[float | None, str]:
    return (None, "") if value is None else (abs(value), "E" if value >= 0 else "W")


def _degrees_minutes(value: float | None, digits: int, letters: str) -> tuple[str, str]:
    if value is None:
        return "", ""
    degrees, hundred_thousandths = divmod(round(abs(value) * 6_000_000), 6_000_000)
    text = f"{degrees:0{digits}d}{hundred_thousandths / 100_000:08.5f}"
    return text, letters[value < 0]


def iso_time(time: float) -> str:
    return datetime.fromtimestamp(round(time, 3), UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def csv_series(samples: Iterable[Sample]) -> bytes:
    """Samples as a CSV series, in the order of time; all of one time stand in one row, or in as many as they need.

    >>> two = [Sample(0.0, "heading", 341.8, "HE", "", "true"), Sample(0.5, "engine_speed", 5620.0, "", "0")]
    >>> print(csv_series(two).decode(), end="")
    time,engine_speed#0 [rev/min],heading true@HE [deg]
    0.000,,341.8
    0.500,5620,
    """
    in_order = sorted(samples, key=lambda sample: sample.time)
    keys = sorted({_key(sample) for sample in in_order})
    place = {key: number for number, key in enumerate(keys)}
    lines = [",".join(["time", *map(_column_name, keys)])]
    row, time = [""] * len(keys), 0.0
    for sample in in_order:
        at = place[_key(sample)]
        if any(row) and (sample.time != time or row[at]):
            lines.append(f"{time:.3f},{','.join(row)}")
            row = [""] * len(keys)
        time, row[at] = sample.time, f"{sample.value:.9g}"
    if any(row):
        lines.append(f"{time:.3f},{','.join(row)}")
    return ("\n".join(lines) + "\n").encode()


def _key(sample: Sample) -> StreamKey:
    return StreamKey(sample.quantity, sample.source, sample.instance, sample.reference)


def _column_name(key: StreamKey) -> str:
    reference = f" {key.reference}" if key.reference else ""
    instance = f"#{key.instance}" if key.instance else ""
    source = f"@{key.source}" if key.source else ""
    return f"{key.quantity}{reference}{instance}{source} [{UNIT_OF_QUANTITY[key.quantity]}]"
