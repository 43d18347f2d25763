"""What is written reads back as it was, to the resolution of the form."""

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from garboard.recordings import ReadingNotes, comma_lines, nmea0183
from garboard.recordings.encode import (
    fast_packet_frames,
    nmea0183_sentence,
    nmea0183_sentences,
    nmea2000_data,
    nmea2000_line,
    nmea2000_lines,
)
from garboard.recordings.nmea2000 import MESSAGES, limits_of
from garboard.samples import Sample

TIME = 1777887000.0


def ways_apart(quantity: str, one: float, other: float) -> float:
    """Difference of two values, the short way round for directions."""
    return abs((one - other + 180) % 360 - 180) if quantity in ("heading", "course_over_ground") else abs(one - other)


@pytest.mark.parametrize("pgn", MESSAGES)
@settings(max_examples=60)
@given(data=st.data())
def test_message_reads_back_to_half_a_step(pgn: int, data: st.DataObject) -> None:
    message = MESSAGES[pgn]
    reference = data.draw(st.sampled_from(["true", "magnetic"])) if message.reference_at is not None else ""
    instance = str(data.draw(st.integers(0, 252))) if message.instance_at is not None else ""
    values = {}
    for field in message.fields:
        low, high = limits_of(field)
        if data.draw(st.booleans()):
            values[field.quantity] = data.draw(st.integers(low, high - 1)) * field.scale + field.offset
    line = nmea2000_line(TIME, pgn, 17, nmea2000_data(pgn, values, instance, reference, TIME))
    found = [s for group in comma_lines.read([line], ReadingNotes()) for s in group]
    assert {s.quantity for s in found} == values.keys()
    for sample in found:
        [field] = [field for field in message.fields if field.quantity == sample.quantity]
        assert ways_apart(sample.quantity, sample.value, values[sample.quantity]) <= field.scale / 2 + 1e-9
        assert sample == (TIME, sample.quantity, sample.value, "17", instance, reference if field.directed else "")


SERIES = [
    Sample(TIME, "heading", 359.999, "10", "", "true"),
    Sample(TIME, "variation", 8.1, "10"),
    Sample(TIME, "rate_of_turn", -2.5, "10"),
    Sample(TIME, "course_over_ground", 12.25, "20", "", "magnetic"),
    Sample(TIME, "speed_over_ground", 31.4, "20"),
    Sample(TIME, "latitude", -51.5, "20"),
    Sample(TIME, "longitude", 179.99, "20"),
    Sample(TIME + 0.25, "engine_speed", 5800.0, "3", "1"),
    Sample(TIME + 0.25, "fuel_flow", 84.2, "3", "1"),
    Sample(TIME + 0.25, "engine_temperature", 71.5, "3", "1"),
    Sample(TIME + 0.25, "engine_speed", 5750.0, "3", "0"),
    Sample(TIME + 0.5, "variation", -3.0, "11"),
    Sample(TIME + 0.5, "roll", 4.0, "11"),
    Sample(TIME + 0.5, "speed_through_water", 6.25, "11"),
    Sample(TIME + 0.5, "rudder_angle", -7.5, "11", "0"),
]


@pytest.mark.parametrize("as_frames", [False, True])
def test_samples_read_back_from_an_nmea_2000_log(as_frames: bool) -> None:
    lines = list(nmea2000_lines(SERIES, as_frames))
    notes = ReadingNotes()
    found = {(s.time, *s[1:2], *s[3:]): s.value for group in comma_lines.read(lines, notes) for s in group}
    wanted = {(s.time, *s[1:2], *s[3:]): s.value for s in SERIES}
    assert found.keys() == wanted.keys()
    for key, value in wanted.items():
        assert ways_apart(key[1], found[key], value) < 0.13  # the coarsest, engine speed, has steps of 0.25
    assert notes.damaged == []
    assert max(int(line.split(",")[5]) for line in lines) == (8 if as_frames else 26)
    assert notes.kinds["127250"] == notes.kinds["127258"] == 1


def test_values_of_one_moment_share_a_message() -> None:
    assert len(list(nmea2000_lines(SERIES[:2]))) == 1
    assert len(list(nmea2000_lines([SERIES[0], Sample(TIME, "heading", 1.0, "10", "", "magnetic")]))) == 2


OF_0183 = [
    Sample(TIME, "heading", 41.25, "HE", "", "true"),
    Sample(TIME, "heading", 33.25, "HC", "", "magnetic"),
    Sample(TIME, "deviation", -1.5, "HC"),
    Sample(TIME, "variation", 8.0, "HC"),
    Sample(TIME, "rate_of_turn", 2.25, "TI"),
    Sample(TIME, "latitude", -51.512345, "GP"),
    Sample(TIME, "longitude", -0.1, "GP"),
    Sample(TIME, "course_over_ground", 44.5, "GP", "", "true"),
    Sample(TIME, "speed_over_ground", 22.5, "GP"),
    Sample(TIME + 0.25, "speed_through_water", 6.5, "VW"),
    Sample(TIME + 0.25, "rudder_angle", 3.5, "II"),
    Sample(TIME + 0.25, "engine_speed", 3500.0, "ER", "1"),
    Sample(TIME + 0.25, "engine_temperature", 71.0, "ER", "1"),
    Sample(TIME + 0.25, "oil_pressure", 350.0, "ER", "1"),
    Sample(TIME + 0.25, "alternator_voltage", 13.9, "ER", "1"),
    Sample(TIME + 0.25, "pitch", -2.0, "II"),
]


def test_samples_read_back_from_nmea_0183_sentences() -> None:
    notes = ReadingNotes()
    found = [s for group in nmea0183.read(list(nmea0183_sentences(OF_0183)), notes) for s in group]
    assert (notes.damaged, notes.without_checksum, notes.unknown) == ([], 0, {})
    by_key = {(s.time, s.quantity, s.source, s.instance, s.reference): s.value for s in found}
    assert len(by_key) == len(found)
    assert by_key == pytest.approx({(s.time, s.quantity, s.source, s.instance, s.reference): s.value for s in OF_0183})


@given(st.floats(0, 4e9), st.floats(-90, 90), st.floats(-180, 180), st.floats(0, 359.9999))
def test_position_and_heading_read_back_from_sentences(
    time: float, latitude: float, longitude: float, heading: float
) -> None:
    samples = [
        Sample(time, "latitude", latitude, "GP"),
        Sample(time, "longitude", longitude, "GP"),
        Sample(time, "heading", heading, "GP", "", "true"),
    ]
    found = [s for group in nmea0183.read(list(nmea0183_sentences(samples)), ReadingNotes()) for s in group]
    assert [s.quantity for s in found] == ["latitude", "longitude", "heading"]
    assert [s.time for s in found] == pytest.approx([time] * 3, abs=0.0006)
    assert [s.value for s in found[:2]] == pytest.approx([latitude, longitude], abs=1e-7)
    assert ways_apart("heading", found[2].value, heading) < 1e-4


@given(st.binary(min_size=9, max_size=223), st.integers(0, 100))
def test_frames_are_8_bytes_and_hold_the_message_in_order(data: bytes, sequence: int) -> None:
    frames = fast_packet_frames(data, sequence)
    assert {len(frame) for frame in frames} == {8}
    assert [frame[0] for frame in frames] == [sequence % 8 * 32 + index for index in range(len(frames))]
    assert b"".join([frames[0][2:], *(frame[1:] for frame in frames[1:])])[: frames[0][1]] == data


@pytest.mark.parametrize(
    ("write", "words"),
    [
        (lambda: nmea2000_data(127250, {"roll": 1.0}), "PGN 127250 holds heading, deviation, variation, not roll"),
        (lambda: nmea2000_data(127488, {"engine_speed": 20000.0}), "engine_speed from 0 to 15000, got 20000"),
        (lambda: nmea2000_line(0.0, 127250, 256, b""), "source address from 0 to 255, got 256"),
        (lambda: fast_packet_frames(bytes(8)), "9 to 223 bytes, got 8"),
        (lambda: list(nmea2000_lines([Sample(0.0, "magnetic_x", 1.0, "1")])), "got magnetic_x"),
        (lambda: list(nmea0183_sentences([Sample(0.0, "fuel_flow", 1.0, "ER")])), "fuel_flow"),
    ],
)  # fmt: skip
def test_what_a_form_cannot_express_is_refused(write: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        write()


def test_written_sentence_is_the_published_one() -> None:
    """Tests of https://github.com/adrianmo/go-nmea and docs.rs/nmea 0.6."""
    assert nmea0183_sentence("HCHDG", 98.3, "0.0", "E", 12.6, "W") == "$HCHDG,98.3,0.0,E,12.6,W*57"
    assert nmea0183_sentence("HEHDT", 341.8, "T") == "$HEHDT,341.8,T*21"
    assert nmea0183_sentence("IIHDG", None, None, None, None, None) == "$IIHDG,,,,,*67"
