"""Recordings against outside sources: real NMEA 0183 sentences, and other decoders given the same bytes.

Sentences: [1] tests of https://github.com/adrianmo/go-nmea (commit e4d24e3e); [2] tests of
https://github.com/Knio/pynmea2 (1.19.0); [3] a widely copied page of examples, as in
https://github.com/maxlapshin/nmea (nmea.html); [4] https://docs.rs/nmea (0.6.0).
Decoders: the packages nmea2000 (on the open PGN database of canboat) and pynmeagps.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bus_oracle import LENGTHS, OURS_OF_THEIRS, differences, expected_of
from garboard.recordings import ReadingNotes, comma_lines, nmea0183
from garboard.recordings.encode import fast_packet_frames, nmea2000_line
from garboard.samples import Sample

TIME = "$GPZDA,093000.00,04,05,2026,00,00"


def read_0183(*lines: str) -> tuple[list[Sample], ReadingNotes]:
    notes = ReadingNotes()
    return [sample for group in nmea0183.read(lines, notes) for sample in group], notes


def read_2000(*lines: str) -> tuple[list[Sample], ReadingNotes]:
    notes = ReadingNotes()
    return [sample for group in comma_lines.read(lines, notes) for sample in group], notes


# Value, reference and instance by quantity, as the sources describe the sentences.
RIGHT = {
    "$HCHDG,98.3,0.0,E,12.6,W*57": [
        ("heading", 98.3, "magnetic"),
        ("deviation", 0.0, ""),
        ("variation", -12.6, ""),
    ],  # [1]
    "$HCHDG,98.3,0.1,E,12.6,W*56": [
        ("heading", 98.3, "magnetic"),
        ("deviation", 0.1, ""),
        ("variation", -12.6, ""),
    ],  # [1]
    "$IIHDG,,,,,*67": [],  # [1]
    "$GPHDT,274.07,T*03": [("heading", 274.07, "true")],  # [1]
    "$GPHDT,123.456,T*32": [("heading", 123.456, "true")],  # [1]
    "$HEHDT,341.8,T*21": [("heading", 341.8, "true")],  # [4]
    "$GPVTG,45.5,T,67.5,M,30.45,N,56.40,K*4B": [
        ("course_over_ground", 45.5, "true"),
        ("course_over_ground", 67.5, "magnetic"),
        ("speed_over_ground", 30.45, ""),
    ],  # [1]
    "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34": [
        ("course_over_ground", 220.86, "true"),
        ("speed_over_ground", 2.55, ""),
    ],  # [1]
    "$GPVTG,108.53,T,,M,0.04,N,0.07,K,A*31": [
        ("course_over_ground", 108.53, "true"),
        ("speed_over_ground", 0.04, ""),
    ],  # [2]
    "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68": [
        ("latitude", 49 + 16.45 / 60, ""),
        ("longitude", -(123 + 11.12 / 60), ""),
        ("speed_over_ground", 0.5, ""),
        ("course_over_ground", 54.7, "true"),
        ("variation", 20.3, ""),
    ],  # [3]
    "$GPRMC,081836,A,3751.65,S,14507.36,E,000.0,360.0,130998,011.3,E*62": [
        ("latitude", -(37 + 51.65 / 60), ""),
        ("longitude", 145 + 7.36 / 60, ""),
        ("speed_over_ground", 0.0, ""),
        ("course_over_ground", 0.0, "true"),
        ("variation", 11.3, ""),
    ],  # [3]
    "$GPRMC,235236,A,3925.9479,N,11945.9211,W,44.7,153.6,250905,15.2,E,A*0C": [
        ("latitude", 39 + 25.9479 / 60, ""),
        ("longitude", -(119 + 45.9211 / 60), ""),
        ("speed_over_ground", 44.7, ""),
        ("course_over_ground", 153.6, "true"),
        ("variation", 15.2, ""),
    ],  # [1]
    "$GNRMC,102014.00,A,5550.6082,N,03732.2488,E,000.00000,092.9,300518,,,A,V*3B": [
        ("latitude", 55 + 50.6082 / 60, ""),
        ("longitude", 37 + 32.2488 / 60, ""),
        ("speed_over_ground", 0.0, ""),
        ("course_over_ground", 92.9, "true"),
    ],  # [1]
    "$RCRPM,S,0,74.6,30.0,A*56": [("shaft_speed", 74.6, "")],  # [1]
    "$HCXDR,A,171,D,PITCH,A,-37,D,ROLL,G,367,,MAGX,G,2420,,MAGY,G,-8984,,MAGZ*41": [
        ("pitch", 171.0, ""),
        ("roll", -37.0, ""),
    ],  # [1]
    "$WIXDR,C,9.7,C,2,U,24.1,N,0,U,24.4,V,1,U,3.510,V,2*46": [],  # [1]
    "$YXXDR,A,-64.437,M,N,A,054.454,D,E,C,17.09,C,T-N1052*46": [],  # [2]
    "$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D": [
        ("latitude", -(19 + 29.045 / 60), ""),
        ("longitude", 24 + 10.506 / 60, ""),
    ],  # [2]
    "$VWVHW,45.0,T,43.0,M,3.5,N,6.4,K*56": [
        ("heading", 45.0, "true"),
        ("heading", 43.0, "magnetic"),
        ("speed_through_water", 3.5, ""),
    ],  # [1]
}

# With the checksum that the characters really give.
WRONG_CHECKSUM = {
    "$HEROT,-11.23,A*FF": "07",  # [1], wrong on purpose
    "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*41": "48",  # [3]
    "$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K,A*53": "25",  # [3]
    "$GPGGA,170834,4124.8963,N,08151.6838,W,1,05,1.5,280.2,M,-34.0,M,,,*75": "59",  # [3]
}


@pytest.mark.parametrize(("line", "expected"), RIGHT.items())
def test_real_sentence_gives_the_values_its_source_states(line: str, expected: list[tuple[str, float, str]]) -> None:
    samples, notes = read_0183(TIME, line)
    assert [(s.quantity, s.reference) for s in samples] == [(q, reference) for q, _, reference in expected]
    assert [s.value for s in samples] == pytest.approx([value for _, value, _ in expected], abs=1e-9)
    assert {s.source for s in samples} <= {line[1:3]}
    assert (notes.damaged_count, notes.without_checksum) == (0, 1)


@pytest.mark.parametrize(("line", "right"), WRONG_CHECKSUM.items())
def test_real_sentence_with_a_wrong_checksum_is_damaged_and_gives_nothing(line: str, right: str) -> None:
    samples, notes = read_0183(TIME, line)
    assert samples == []
    assert [(one.line, one.reason.split(" for ")[0][-2:]) for one in notes.damaged] == [(2, right)]
    mended, notes = read_0183(TIME, f"{line[:-2]}{right}")
    assert mended
    assert notes.damaged_count == 0


@pytest.mark.parametrize(("line", "kind"), [(line, line[3:6]) for line, found in RIGHT.items() if not found])
def test_real_sentence_without_a_usable_value_is_counted(line: str, kind: str) -> None:
    _, notes = read_0183(TIME, line)
    if kind == "XDR":
        assert all(name.startswith("XDR ") for name in notes.unknown)
        assert sum(notes.unknown.values()) == line.count(",") // 4
    else:
        assert notes.empty == {kind: 1}


@pytest.mark.parametrize("line", [line for line in RIGHT if "XDR" not in line])
def test_pynmeagps_reads_the_same_direction_and_speed(line: str) -> None:
    """Only sentences whose names in pynmeagps are known here take part."""
    pynmeagps = pytest.importorskip("pynmeagps")
    theirs = pynmeagps.NMEAReader.parse(line)
    names = {
        ("heading", "true"): ("heading", "headingT", "hdgT"),
        ("heading", "magnetic"): ("heading", "headingM", "hdgM"),
        ("course_over_ground", "true"): ("cogt", "cog"),
        ("course_over_ground", "magnetic"): ("cogm",),
        ("speed_over_ground", ""): ("sogn", "spd"),
        ("latitude", ""): ("lat",),
        ("longitude", ""): ("lon",),
    }
    compared = 0
    samples, _ = read_0183(TIME, line)
    for sample in samples:
        for name in names.get((sample.quantity, sample.reference), ()):
            value = getattr(theirs, name, "")
            if value != "":
                turn = 360 if sample.quantity == "course_over_ground" else 1e9
                assert float(value) % turn == pytest.approx(sample.value % turn, abs=1e-8)
                compared += 1
    assert compared or not any((s.quantity, s.reference) in names for s in samples)


# NMEA 2000: the same bytes through nmea2000. Factors from the definitions of the units.


@pytest.mark.parametrize("pgn", OURS_OF_THEIRS)
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_bytes_read_as_nmea2000_reads_them(pgn: int, data: st.DataObject) -> None:
    """Values it reports outside a circle or the globe are not available to us."""
    length = LENGTHS.get(pgn, 8)
    odd = st.sampled_from((0, 1, 2, 3, 0x7F, 0xFC, 0xFD, 0xFE, 0xFF))
    payload = bytearray(data.draw(st.lists(odd | st.integers(0, 255), min_size=length, max_size=length)))
    if pgn == 129029:
        payload[31] = 0x10  # a receiver with a fix
        # 64-bit positions drawn at random would nearly always lie off the globe
        latitude = data.draw(st.integers(-90 * 10**16, 90 * 10**16))
        longitude = data.draw(st.integers(-180 * 10**16, 180 * 10**16))
        payload[7:23] = latitude.to_bytes(8, "little", signed=True) + longitude.to_bytes(8, "little", signed=True)
    line = f"2026-05-04T09:30:00.250Z,2,{pgn},27,255,{length},{payload.hex(',')}"
    message = pytest.importorskip("nmea2000.decoder").NMEA2000Decoder().decode(line)
    samples, notes = read_2000(line)
    assert notes.damaged_count == 0
    assert differences(samples, expected_of(message)) == ""


@pytest.mark.parametrize("pgn", [127489, 129029])
@settings(max_examples=60, deadline=None)
@given(data=st.data(), sequence=st.integers(0, 7))
def test_nmea2000_puts_our_fast_packet_frames_together(pgn: int, data: st.DataObject, sequence: int) -> None:
    payload = data.draw(st.binary(min_size=LENGTHS[pgn], max_size=LENGTHS[pgn]))
    decoder = pytest.importorskip("nmea2000.decoder").NMEA2000Decoder()
    whole = decoder.decode(nmea2000_line(0.0, pgn, 27, payload))
    messages = [decoder.decode(nmea2000_line(0.0, pgn, 27, frame)) for frame in fast_packet_frames(payload, sequence)]
    assert messages[:-1] == [None] * (len(messages) - 1)
    assert [field.raw_value for field in messages[-1].fields] == [field.raw_value for field in whole.fields]


def test_we_put_the_fast_packet_frames_of_nmea2000_together() -> None:
    # Oil 1000 hPa, 300 K, 14 V, 10 L/h, 1 h, coolant 1500 hPa, by hand: 1000 x 100 Pa; 30000 x 0.01 K; 1400 x 0.01 V;
    # 100 x 0.1; 3600 s; 1500 x 100 Pa
    encoder = pytest.importorskip("nmea2000.encoder").create_encoder(output_format="can_frame_ascii_raw_out")
    decoder = pytest.importorskip("nmea2000.decoder").NMEA2000Decoder()
    payload = bytes.fromhex("01 e803 ffff 3075 7805 6400 100e0000 dc05 ffff ff 0000 0000 7f 7f")
    message = decoder.decode(f"2026-05-04T09:30:00.000Z,2,127489,9,255,26,{payload.hex(',')}")
    frames = [text.split()[1:] for text in encoder.encode(message)]
    assert len(frames) == 4
    lines = [f"2026-05-04T09:30:00.000Z,2,127489,9,255,{len(frame)},{','.join(frame)}" for frame in frames]
    samples, notes = read_2000(*lines)
    values = {sample.quantity: sample.value for sample in samples}
    assert values == pytest.approx(
        {
            "oil_pressure": 100.0,
            "engine_temperature": 26.85,
            "alternator_voltage": 14.0,
            "fuel_flow": 10.0,
            "engine_hours": 1.0,
            "coolant_pressure": 150.0,
        }
    )
    assert {sample.instance for sample in samples} == {"1"}
    assert notes.damaged_count == 0


NAMES = st.characters(codec="ascii", categories=["L", "N"])


@settings(max_examples=25, deadline=None)
@given(texts=st.lists(st.text(NAMES, max_size=32), min_size=4, max_size=4))
def test_product_information_reads_as_nmea2000_reads_it(texts: list[str]) -> None:
    """Model, its version and serial number, each padded as devices do."""
    decoder = pytest.importorskip("nmea2000.decoder").NMEA2000Decoder()
    payload = bytes(4) + b"".join(text.encode().ljust(32, b"\xff") for text in texts) + b"\1\2"
    line = f"2026-05-04T09:30:00.000Z,6,126996,35,255,{len(payload)},{payload.hex(',')}"
    fields = {field.id: field.value for field in decoder.decode(line).fields}
    theirs = [fields[name] or "" for name in ("modelId", "modelVersion", "modelSerialCode")]
    _, notes = read_2000(line)
    ours = tuple(filter(None, (*theirs[:2], f"serial {theirs[2]}" if theirs[2] else "")))
    assert notes.devices["35"] == tuple(dict.fromkeys(ours))


@settings(max_examples=25, deadline=None)
@given(texts=st.lists(st.text(NAMES, min_size=2, max_size=20), min_size=3, max_size=3))
def test_configuration_information_reads_as_nmea2000_reads_it(texts: list[str]) -> None:
    decoder = pytest.importorskip("nmea2000.decoder").NMEA2000Decoder()
    payload = b"".join(bytes([len(text) + 2, 1]) + text.encode() for text in texts)
    line = f"2026-05-04T09:30:00.000Z,6,126998,35,255,{len(payload)},{payload.hex(',')}"
    theirs = [field.value for field in decoder.decode(line).fields]
    _, notes = read_2000(line)
    assert theirs == texts
    assert notes.devices["35"] == tuple(dict.fromkeys(theirs))
