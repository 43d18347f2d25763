"""What devices say of themselves in a recording: taken as they send it, whole or in frames, and not without end."""

from __future__ import annotations

from pathlib import Path

import pytest

from garboard.recordings import ReadingNotes, comma_lines, load_recording, nmea0183
from garboard.recordings.boat_network import BoatNetwork
from garboard.recordings.encode import fast_packet_frames, nmea2000_line
from garboard.recordings.nmea0183 import checksum
from garboard.recordings.where import Where

HEADING = "2026-05-04T09:30:00.000Z,2,127250,35,255,8,ff,be,87,ff,7f,86,05,fc"
PADDED = (("Flux 3", b"\xff"), ("1.04", b"\0"), ("B", b" "), ("0042", b"@"))
PRODUCT = bytes(4) + b"".join(text.encode().ljust(32, pad) for text, pad in PADDED) + b"\x01\x02"
INSTALLED = b"\x06\x01mast\x02\x01\x0e\x00" + "Küste!".encode("utf-16-le")


def told(*lines: str) -> tuple[dict[str, tuple[str, ...]], ReadingNotes]:
    notes = ReadingNotes()
    list(comma_lines.read(lines, notes))
    return notes.devices, notes


def test_a_device_says_what_it_is_in_one_line_or_in_frames() -> None:
    """Product information and configuration information add up; the same again changes nothing."""
    whole = nmea2000_line(0.0, 126996, 35, PRODUCT)
    frames = [nmea2000_line(0.0, 126996, 35, frame) for frame in fast_packet_frames(PRODUCT, 3)]
    expected = {"35": ("Flux 3", "B", "serial 0042")}
    assert told(whole)[0] == told(*frames)[0] == told(whole, *frames)[0] == expected
    devices, notes = told(whole, nmea2000_line(0.0, 126998, 35, INSTALLED))
    assert devices == {"35": ("Flux 3", "B", "serial 0042", "mast", "Küste!")}
    assert (notes.kinds, notes.unknown, notes.damaged_count) == ({"126996": 1, "126998": 1}, {}, 0)


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (PRODUCT[:20], ("Flux 3",)),  # cut short, and of another length than the layout's
        (b"\xff" * 134, ()),
        (bytes(134), ()),
        (b"\x01" * 134, ()),  # no character a person can read
    ],
)
def test_what_says_nothing_is_nothing(data: bytes, expected: tuple[str, ...]) -> None:
    assert told(nmea2000_line(0.0, 126996, 35, data))[0] == {"35": expected}


def test_noise_fills_no_table() -> None:
    lines = [
        nmea2000_line(0.0, 126998, 35, bytes([len(text) + 2, 1]) + text)
        for text in (f"text {number}".encode() for number in range(50))
    ]
    devices, _ = told(*lines)
    assert len(devices["35"]) == 6
    notes = ReadingNotes()
    list(nmea0183.read([f"${a}{b}VER,1,1,,M{a}{b},,,,,," for a in _LETTERS for b in _LETTERS], notes))
    assert len(notes.devices) == 300


_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def test_a_damaged_line_says_so_and_costs_itself_alone() -> None:
    devices, notes = told(nmea2000_line(0.0, 126996, 35, PRODUCT)[:-3], HEADING)
    assert devices == {}
    assert notes.damaged_count == 1
    assert notes.samples == 2


def test_a_sentence_says_what_its_talker_is() -> None:
    """Heard live, from the second sender too; a wrong checksum is believed in nothing."""
    body = "HCVER,1,1,HC,MAKER,7,123,FLUX 3,1.04,2,"
    network = BoatNetwork(Where())
    network.hear(f"${body}*{checksum(body):02X}\r\n$HCHDG,81.3,,,12.0,W\r\n".encode(), "192.168.4.1")
    network.hear(f"${body.replace('3,1', '4,1')}\r\n$HEVER,1,1,HE,X,,,Y,,,*00\r\n".encode(), "192.168.4.9")
    first, second = network.senders()
    assert first.devices == {"HC": ("MAKER", "FLUX 3", "serial 123")}
    assert second.devices == {"HC 192.168.4.9": ("MAKER", "FLUX 4", "serial 123")}
    assert first.notes.unknown == {}


def test_a_recording_knows_its_devices(tmp_path: Path) -> None:
    path = tmp_path / "turn.log"
    path.write_text("\n".join([nmea2000_line(0.0, 126996, 35, PRODUCT), HEADING]))
    recording, _ = load_recording(path)
    assert recording.devices == {"35": ("Flux 3", "B", "serial 0042")}
    (heading,) = recording.of("heading")
    assert heading.key.source in recording.devices
