"""Real recordings of every form, against other programs given the same bytes: equal in count and in value.

The packages nmea2000 (on the open PGN database of canboat), python-can, pynmea2 and pynmeagps.
"""

from __future__ import annotations

import struct
from collections import Counter
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path
from typing import Any

import pynmea2
import pytest
from pynmeagps import NMEAReader

from bus_oracle import OURS_OF_THEIRS, differences, expected_of
from garboard.recordings import ReadingNotes, load_recording, read_samples
from garboard.recordings.bus import ADDRESS_CLAIM, AIS
from garboard.recordings.forms import FORMS, form_of
from garboard.recordings.identity import IDENTITIES
from garboard.samples import Sample

BY_LINE = {
    "frames_time_of_day.txt": "frames_time_of_day",
    "frames_can_bracket.txt": "dump_bracketed",
    "frames_can_compact.txt": "dump_compact",
    "messages_base64_sentences.txt": "base64_sentences",
    "messages_ascii_lines.txt": "message_lines",
    "wrapped_sentences_a.txt": "wrapped_a",
    "wrapped_sentences_b.txt": "wrapped_b",
    "frames_out_of_order.n2k.csv": "comma_lines",
    "engine_at_the_dock.n2k.csv": "comma_lines",
    "pilot_manoeuvres.n2k.csv": "comma_lines",
    "wide_turn_starboard.n2k.csv": "comma_lines",
    "under_way_heading.n2k.csv": "comma_lines",
}
OTHERS = {
    "frames_can_trace.txt": "trace",
    "packet_capture.pcap": "capture",
    "gateway_binary.bin": "gateway",
    "deltas.jsonl": "deltas",
    "under_way.nmea0183.log": "sentences",
    "sentences_time_in_front.log": "sentences",
    "sentences_numeral_talker.log": "sentences",
}
NOTED = {*IDENTITIES, *AIS, ADDRESS_CLAIM}
"""Messages that are read and hold no value."""


def read(path: Path) -> tuple[list[Sample], ReadingNotes]:
    notes = ReadingNotes()
    return list(read_samples(path, notes)), notes


@pytest.mark.parametrize(("name", "key"), [*BY_LINE.items(), *OTHERS.items()])
def test_a_real_file_is_told_by_its_content(real_recordings: Path, name: str, key: str) -> None:
    head = (real_recordings / name).read_bytes()[:65536]
    found = form_of(head)
    assert found is not None
    assert found.key == key
    shares = {form.key: form.recognises(head) for form in FORMS}
    assert {other for other, share in shares.items() if share > 0.001} == {key}


def messages_of(lines: list[str]) -> Iterator[Any]:
    from nmea2000.decoder import NMEA2000Decoder

    decoder = NMEA2000Decoder()
    for line in lines:
        if line.strip() and line[0] not in "#i":
            try:
                message = decoder.decode(line)
            except ValueError:
                continue
            if message is not None:
                yield message


def assert_equal(samples: list[Sample], notes: ReadingNotes, messages: list[Any]) -> None:
    """As many messages of each kind, and of each kind and source the same values in the same order."""
    counts = Counter(str(message.PGN) for message in messages)
    assert notes.kinds == {kind: count for kind, count in counts.items() if kind in notes.kinds}
    known = {str(pgn) for pgn in OURS_OF_THEIRS} | NOTED
    assert notes.kinds.keys() == counts.keys() & known
    expected = [
        (str(message.source), value)
        for message in messages
        if message.PGN in OURS_OF_THEIRS
        for value in expected_of(message)
    ]
    assert len(samples) == len(expected) == notes.samples
    ours = _by_source((s.source, s) for s in samples)
    theirs = _by_source(expected)
    assert ours.keys() == theirs.keys()
    for source, values in ours.items():
        for quantity in {s.quantity for s in values}:
            one = [s for s in values if s.quantity == quantity]
            other = [e for e in theirs[source] if e[0] == quantity]
            assert len(one) == len(other)
            wrong = [differences([a], [b]) for a, b in zip(one, other, strict=True)]
            assert not any(wrong), next(filter(None, wrong))


def _by_source(pairs: Any) -> dict[str, list[Any]]:
    ordered = sorted(pairs, key=lambda pair: pair[0])
    return {source: [value for _, value in group] for source, group in groupby(ordered, key=lambda pair: pair[0])}


@pytest.mark.parametrize("name", BY_LINE)
def test_lines_are_read_as_nmea2000_reads_them(real_recordings: Path, name: str) -> None:
    samples, notes = read(real_recordings / name)
    lines = (real_recordings / name).read_text(encoding="utf-8").splitlines()
    assert_equal(samples, notes, list(messages_of(lines)))


def test_five_positions_are_in_frames_out_of_order(real_recordings: Path) -> None:
    """One of them gets its missing frame after some others came again, byte for byte."""
    _, notes = read(real_recordings / "frames_out_of_order.n2k.csv")
    assert notes.kinds["129029"] == 5
    assert notes.broken == notes.damaged_count == 1


def of_frames(frames: Iterator[tuple[float, int, bytes]]) -> tuple[list[Any], list[float]]:
    """What nmea2000 makes of frames, and the time of each frame."""
    from nmea2000.decoder import NMEA2000Decoder

    decoder, found, times = NMEA2000Decoder(), [], []
    for time, identifier, data in frames:
        times.append(time)
        message = decoder.decode(f"{identifier:08X} {data.hex(' ')}")
        if message is not None:
            found.append(message)
    return found, times


@pytest.mark.parametrize(
    ("name", "reader"), [("frames_can_trace.txt", "TRCReader"), ("frames_can_compact.txt", "CanutilsLogReader")]
)
def test_traces_and_dumps_are_read_as_python_can_reads_them(real_recordings: Path, name: str, reader: str) -> None:
    import can

    path = real_recordings / name
    samples, notes = read(path)
    theirs = [(frame.timestamp, frame.arbitration_id, bytes(frame.data)) for frame in getattr(can, reader)(str(path))]
    messages, times = of_frames(iter(theirs))
    assert_equal(samples, notes, messages)
    comments = sum(1 for line in path.read_text(encoding="utf-8").splitlines() if line.startswith(";"))
    assert notes.lines - comments == len(theirs)
    spans = samples[-1].time - samples[0].time, times[-1] - times[0]
    assert spans[0] == pytest.approx(spans[1], abs=0.2)


def test_a_trace_begins_when_its_heading_says(real_recordings: Path) -> None:
    """42176.7577227546 days after 1899-12-30 is 2015-06-21 18:11:07.246, as the heading also writes."""
    samples, notes = read(real_recordings / "frames_can_trace.txt")
    assert notes.dated
    assert samples[0].time == pytest.approx(1434910267.246 + 0.0486, abs=0.001)


def test_a_capture_is_read_as_nmea2000_reads_its_frames(real_recordings: Path) -> None:
    """Taken apart here: a heading of 24 bytes, then records of 16 bytes and a frame."""
    raw, at, frames = (real_recordings / "packet_capture.pcap").read_bytes(), 24, []
    while at < len(raw):
        seconds, micros, length = struct.unpack_from("<III", raw, at)
        identifier = struct.unpack_from(">I", raw, at + 16)[0]
        frames.append((seconds + micros / 1e6, identifier & 0x1FFFFFFF, raw[at + 24 : at + 24 + raw[at + 20]]))
        at += 16 + length
    samples, notes = read(real_recordings / "packet_capture.pcap")
    messages, times = of_frames(iter(frames))
    assert_equal(samples, notes, messages)
    assert notes.lines == len(frames)
    assert notes.dated
    assert {s.time for s in samples} <= set(times)


def test_the_messages_of_a_gateway_are_those_between_its_marks(real_recordings: Path) -> None:
    """Counted here: pieces between 10 02 93 and 10 03, a doubled 10 taken as one, whose bytes add up to 0."""
    raw = (real_recordings / "gateway_binary.bin").read_bytes()
    pieces = [piece.split(b"\x10\x03")[0].replace(b"\x10\x10", b"\x10") for piece in raw.split(b"\x10\x02\x93")[1:]]
    sound = [piece for piece in pieces if (0x93 + sum(piece)) % 256 == 0]
    kinds = Counter(str(int.from_bytes(piece[2:5], "little")) for piece in sound)
    _, notes = read(real_recordings / "gateway_binary.bin")
    assert notes.unknown == kinds
    assert notes.damaged_count == len(pieces) - len(sound)


def test_deltas_hold_the_headings_they_were_made_from(real_recordings: Path) -> None:
    """300 deg and a quarter more each tenth of a second, as the simulated boat turned; written in radians."""
    recording, notes = load_recording(real_recordings / "deltas.jsonl")
    [heading] = recording.of("heading")
    assert (len(heading), heading.key.reference, heading.key.source) == (300, "magnetic", "gateway")
    assert heading.values[:3] == pytest.approx([300.0, 300.25, 300.5], abs=0.001)
    assert heading.times[1] - heading.times[0] == pytest.approx(0.1)
    assert notes.dated


THEIR_NAME = {"HDG": "heading", "VTG": "spd_over_grnd_kts", "VHW": "water_speed_knots", "DBT": "depth_meters"}
OUR_NAME = {"HDG": "heading", "VTG": "speed_over_ground", "VHW": "speed_through_water", "DBT": "depth"}


@pytest.mark.parametrize("name", [name for name, key in OTHERS.items() if key == "sentences"])
def test_sentences_are_read_as_two_other_programs_read_them(real_recordings: Path, name: str) -> None:
    samples, notes = read(real_recordings / name)
    raw = [line[line.index("$") :] for line in (real_recordings / name).read_text(encoding="ascii").splitlines()]
    theirs = [pynmea2.parse(line, check=True) for line in raw]
    counts = Counter(sentence.sentence_type for sentence in theirs)
    assert {**notes.kinds, **notes.unknown} == counts
    assert notes.damaged_count == 0
    for sentence_type, attribute in THEIR_NAME.items():
        quantity = OUR_NAME[sentence_type]
        of_kind = [one for one in theirs if one.sentence_type == sentence_type]
        expected = [float(getattr(one, attribute)) for one in of_kind if getattr(one, attribute) is not None]
        ours = [s.value for s in samples if s.quantity == quantity]
        assert ours == pytest.approx(expected)
    fixes = [NMEAReader.parse(line) for line in raw if line[3:6] == "GLL"]
    ours = [s.value for s in samples if s.quantity == "latitude"]
    assert ours == pytest.approx([fix.lat for fix in fixes if fix.lat != ""], abs=1e-8)
