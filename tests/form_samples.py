"""An invented run of half a minute, written in every form of recording: made here, for tests only."""

from __future__ import annotations

import json
import struct
from base64 import b64encode
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from functools import reduce
from typing import NamedTuple

from garboard.recordings.encode import fast_packet_frames, nmea2000_data

START = 1777887000.0  # 2026-05-04T09:30:00Z
SOURCE = 27


class Message(NamedTuple):
    time: float
    pgn: int
    source: int
    data: bytes


def messages(count: int = 60) -> Iterator[Message]:
    """Heading, turn, engine, position and battery, no two alike."""
    for tick in range(count):
        time = round(START + tick / 2, 3)
        yield Message(
            time, 127250, SOURCE, nmea2000_data(127250, {"heading": (350 + tick * 0.75) % 360}, reference="magnetic")
        )
        yield Message(time, 127251, SOURCE, nmea2000_data(127251, {"rate_of_turn": 1.5 + tick / 100}))
        yield Message(time, 127488, 3, nmea2000_data(127488, {"engine_speed": 3000.0 + tick * 10}, instance="0"))
        if tick % 4 == 0:
            engine = {"oil_pressure": 300.0 + tick, "fuel_flow": 20 + tick / 10, "alternator_voltage": 14.1}
            yield Message(time, 127489, 3, nmea2000_data(127489, engine, instance="0"))
            yield Message(time, 129025, 5, nmea2000_data(129025, {"latitude": 51.5 + tick * 1e-5, "longitude": -0.1}))
            yield Message(time, 127508, 3, nmea2000_data(127508, {"battery_voltage": 12.5 + tick / 100}, instance="1"))


class Frame(NamedTuple):
    time: float
    identifier: int
    data: bytes


def frames() -> Iterator[Frame]:
    """The messages as the frames a CAN interface sees."""
    sequence = 0
    for time, pgn, source, data in messages():
        if len(data) > 8:
            sequence = (sequence + 1) % 8
        for frame in fast_packet_frames(data, sequence) if len(data) > 8 else [data]:
            yield Frame(time, 2 << 26 | pgn << 8 | source, frame)


def clock(time: float, form: str = "%H:%M:%S") -> str:
    moment = datetime.fromtimestamp(time, UTC)
    return f"{moment.strftime(form)}.{round(time % 1 * 1000):03}"


def summed(body: str) -> str:
    """A sentence with its checksum, computed without the program."""
    return f"${body}*{reduce(lambda one, byte: one ^ byte, body.encode(), 0):02X}"


def spaced(data: bytes) -> str:
    return data.hex(" ").upper()


def comma_lines(between: str = ",") -> list[str]:
    lines = []
    for time, pgn, source, data in messages():
        head = (clock(time, "%Y-%m-%dT%H:%M:%S") + "Z", "2", str(pgn), str(source), "255", str(len(data)))
        lines.append(between.join((*head, *data.hex(" ").split())))
    return lines


def frames_time_of_day() -> list[str]:
    return [f"{clock(time)} R {identifier:08X} {spaced(data)}" for time, identifier, data in frames()]


def message_lines() -> list[str]:
    return [
        f"A{clock(time, '%H%M%S')} {source:02X}FF2 {pgn:05X} {data.hex().upper()}"
        for time, pgn, source, data in messages()
    ]


def dump_compact() -> list[str]:
    return [f"({time:.6f}) can0 {identifier:08X}#{data.hex().upper()}" for time, identifier, data in frames()]


def dump_bracketed() -> list[str]:
    return [f"<0x{identifier:08x}> [{len(data)}] {data.hex(' ')} " for _, identifier, data in frames()]


def dump_with_interface() -> list[str]:
    return [f"  can0  {identifier:08X}   [{len(data)}]  {spaced(data)}" for _, identifier, data in frames()]


def trace() -> list[str]:
    days = START / 86400 + 25569
    heading = [";$FILEVERSION=1.1", f";$STARTTIME={days:.10f}", ";", ";   Message Number", ";---+--"]
    return heading + [
        f"{number:6})  {(time - START) * 1000:10.1f}  Rx     {identifier:08X}  {len(data)}  {spaced(data)} "
        for number, (time, identifier, data) in enumerate(frames(), 1)
    ]


def base64_sentences() -> list[str]:
    return [
        f"!PDGY,{pgn},2,{source},255,{time - START + 481:.3f},{b64encode(data).decode()}"
        for time, pgn, source, data in messages()
    ]


def wrapped_a() -> list[str]:
    return [
        summed(f"PCDIN,{pgn:06X},{round((time - START) * 1000):08X},{source:02X},{data.hex().upper()}")
        for time, pgn, source, data in messages()
    ]


def wrapped_b() -> list[str]:
    return [
        summed(f"MXPGN,{pgn:06X},{0x20 | min(15, len(data)):02X}{source:02X},{data[::-1].hex().upper()}")
        for _, pgn, source, data in messages()
    ]


def deltas() -> list[str]:
    return [
        json.dumps({
            "updates": [{
                "source": {"label": "gateway"},
                "timestamp": datetime.fromtimestamp(START + tick / 10, UTC).isoformat(),
                "values": [{"path": "navigation.headingMagnetic", "value": 1.0 + tick / 1000}],
            }]
        })
        for tick in range(60)
    ]  # fmt: skip


def sentences() -> list[str]:
    return [
        line
        for tick in range(60)
        for line in (summed(f"GPZDA,0930{tick:02},04,05,2026,00,00"), summed(f"HCHDG,{(300 + tick) % 360:.1f},,,,"))
    ]


def series() -> list[str]:
    return ["time,heading magnetic@compass [deg]", *(f"{START + tick / 10},{300 + tick / 10}" for tick in range(60))]


def capture() -> bytes:
    head = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, 227)
    records = [
        struct.pack("<IIII", int(time), round(time % 1 * 1e6), 16, 16)
        + struct.pack(">IB3x", identifier | 0x80000000, len(data))
        + data.ljust(8, b"\0")
        for time, identifier, data in frames()
    ]
    return head + b"".join(records)


def gateway() -> bytes:
    out = bytearray()
    for time, pgn, source, data in messages():
        content = bytes((2, *pgn.to_bytes(3, "little"), 255, source))
        content += round((time - START) * 1000).to_bytes(4, "little") + bytes([len(data)]) + data
        frame = bytes((0x93, len(content))) + content
        frame += bytes([-sum(frame) % 256])
        out += b"\x10\x02" + frame.replace(b"\x10", b"\x10\x10") + b"\x10\x03"
    return bytes(out)


def _text(lines: Callable[[], list[str]]) -> Callable[[], bytes]:
    return lambda: "\n".join([*lines(), ""]).encode()


SAMPLES: dict[str, Callable[[], bytes]] = {
    "comma_lines": _text(comma_lines),
    "sentences": _text(sentences),
    "frames_time_of_day": _text(frames_time_of_day),
    "message_lines": _text(message_lines),
    "dump_compact": _text(dump_compact),
    "dump_bracketed": _text(dump_bracketed),
    "trace": _text(trace),
    "base64_sentences": _text(base64_sentences),
    "wrapped_a": _text(wrapped_a),
    "wrapped_b": _text(wrapped_b),
    "deltas": _text(deltas),
    "capture": capture,
    "gateway": gateway,
    "series": _text(series),
}
"""A recording in each form, by its key."""
OF_A_NETWORK = tuple(key for key in SAMPLES if key not in ("sentences", "deltas", "series"))
"""Those that hold the messages of the run."""
