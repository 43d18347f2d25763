"""NMEA 2000 line logs: times, values that are not available, fast packets, and what is set aside."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from examples import examples
from garboard.recordings import ReadingNotes
from garboard.recordings.comma_lines import read
from garboard.recordings.encode import fast_packet_frames, nmea2000_data, nmea2000_line
from garboard.recordings.nmea2000 import MESSAGES
from garboard.recordings.remarks import remarks
from garboard.recordings.times import parse_time
from garboard.samples import UNIT_OF_QUANTITY, Sample

START = parse_time("2026-05-04T09:30:00Z")
HEADING = "3,127250,10,255,8,ff,be,87,ff,7f,86,05,fc"  # 0x87be = 34750 x 0.0001 rad, variation 1414 x 0.0001 rad


def samples_of(*lines: str) -> tuple[list[Sample], ReadingNotes]:
    notes = ReadingNotes()
    return [sample for group in read(lines, notes) for sample in group], notes


@pytest.mark.parametrize(
    ("written", "seconds"),
    [
        ("2026-05-04T09:30:01.250Z", 1.25),
        ("2026-05-04T09:30:01Z", 1.0),
        ("2026-05-04 09:30:01.250", 1.25),
        ("2026/05/04 09:30:01.25", 1.25),
        ("2026-05-04-09:30:01.250", 1.25),
        ("2026-05-04T11:30:01.250+02:00", 1.25),
        ("1777887001.25", 1.25),
        ("1777887001250", 1.25),
    ],
)
def test_time_is_read_in_every_usual_form(written: str, seconds: float) -> None:
    """Read twice: a later line of the same minute takes a shorter way."""
    samples, notes = samples_of(f"{written},{HEADING}", f"{written},{HEADING}")
    assert [s.time - START for s in samples if s.quantity == "heading"] == [seconds, seconds]
    assert notes.damaged == []


@given(st.lists(st.integers(0, 4_000_000_000_000), min_size=2, max_size=6))
def test_times_come_out_to_the_millisecond_whatever_line_was_before(milliseconds: list[int]) -> None:
    data = nmea2000_data(127251, {"rate_of_turn": 1.0})
    samples, _ = samples_of(*(nmea2000_line(ms / 1000, 127251, 1, data) for ms in milliseconds))
    assert [s.time for s in samples] == pytest.approx([ms / 1000 for ms in milliseconds], abs=1e-6)


@pytest.mark.parametrize("pgn", MESSAGES)
def test_message_with_nothing_available_gives_no_sample(pgn: int) -> None:
    message = MESSAGES[pgn]
    samples, notes = samples_of(nmea2000_line(0.0, pgn, 27, message.blank))
    assert samples == []
    assert notes.empty == notes.kinds == {str(pgn): 1}


@pytest.mark.parametrize("last", ["ff", "fe", "fd"])
def test_all_ones_and_the_two_values_before_are_not_available(last: str) -> None:
    """Open PGN database of canboat: not available, out of range, reserved."""
    samples, notes = samples_of(f"0,2,127488,3,255,8,00,{last},ff,ff,ff,7f,ff,ff")
    assert samples == []
    assert notes.empty == {"127488": 1}


@pytest.mark.parametrize(
    ("packet", "seen"),
    [
        ("130312,3,255,8,ff,00,01,00,00,ff,ff,ff", []),  # air at 0 K: the sender is not connected
        ("130310,3,255,8,ff,00,00,00,00,00,00,ff", []),
        ("130314,3,255,8,ff,00,00,00,00,00,00,ff", []),
        ("127488,3,255,8,00,ff,f9,ff,ff,7f,ff,ff", []),  # 15 999.75 rev/min
        ("127508,3,255,8,00,ff,ff,ff,7f,ff,ff,ff", []),  # a signed field filled with ones: -0.01 V
        ("127505,3,255,8,00,ff,ff,ff,ff,ff,ff,ff", []),
        ("130314,3,255,8,ff,00,00,80,84,0a,00,ff", [("air_pressure", 689.28)]),  # on a lake high up
        ("127488,3,255,8,00,00,00,ff,ff,00,ff,ff", [("engine_speed", 0.0), ("engine_trim", 0.0)]),
        ("130310,3,255,8,ff,ab,6a,ff,ff,ff,ff,ff", [("water_temperature", -0.08)]),
        ("127245,3,255,8,00,ff,ff,7f,5f,b8,ff,ff", [("rudder_angle", -105.06)]),  # real, of a sensor nobody set up
    ],
)
def test_what_no_instrument_can_show_is_no_value(packet: str, seen: list[tuple[str, float]]) -> None:
    samples, notes = samples_of(f"0,2,{packet}")
    assert [(one.quantity, round(one.value, 2)) for one in samples] == seen
    assert (sum(notes.empty.values()), notes.damaged) == (not seen, [])


@pytest.mark.parametrize(("code", "reference"), [("fc", "true"), ("fd", "magnetic"), ("fe", ""), ("ff", "")])
def test_direction_takes_its_reference_from_the_message(code: str, reference: str) -> None:
    heading, _ = samples_of(f"0,2,127250,10,255,8,00,be,87,ff,7f,ff,7f,{code}")
    course, _ = samples_of(f"0,2,129026,10,255,8,00,{code},be,87,2c,01,ff,ff")
    assert [s.reference for s in heading] == [reference]
    assert [(s.quantity, s.reference) for s in course] == [("course_over_ground", reference), ("speed_over_ground", "")]


def test_engine_instance_goes_with_its_values() -> None:
    samples, _ = samples_of("0,2,127488,3,255,8,01,c0,5d,ff,ff,0c,ff,ff")
    # By hand: 0x5dc0 = 24000 quarter revolutions a minute; 0x0c = 12 %.
    assert [(s.quantity, s.value, s.instance, s.source) for s in samples] == [
        ("engine_speed", 6000.0, "1", "3"),
        ("engine_trim", 12.0, "1", "3"),
    ]


def test_position_without_a_fix_is_not_used() -> None:
    data = bytearray(nmea2000_data(129029, {"latitude": 51.5, "longitude": -0.1}, time=START))
    with_fix, _ = samples_of(nmea2000_line(START, 129029, 5, bytes(data)))
    data[31] = 0x00
    without, notes = samples_of(nmea2000_line(START, 129029, 5, bytes(data)))
    assert [(s.quantity, round(s.value, 9)) for s in with_fix] == [("latitude", 51.5), ("longitude", -0.1)]
    assert without == []
    assert notes.empty == {"129029": 1}


def of_receiver(second: int, method: int, *, is_framed: bool = False) -> list[str]:
    """What a receiver sends in a second, of which only the first message tells the method."""
    data = bytearray(nmea2000_data(129029, {"latitude": 51.5, "longitude": -0.1}, time=START))
    data[31] = method << 4
    parts = fast_packet_frames(bytes(data), second % 8) if is_framed else [bytes(data)]
    course = nmea2000_data(129026, {"course_over_ground": 90.0, "speed_over_ground": 30.0}, reference="true")
    place = nmea2000_data(129025, {"latitude": 51.5, "longitude": -0.1})
    told = [(129029, part) for part in parts] + [(129026, course), (129025, place)]
    return [nmea2000_line(START + second, pgn, 3, part) for pgn, part in told]


@pytest.mark.parametrize("is_framed", [False, True])
@pytest.mark.parametrize(("method", "is_used"), [(1, True), (4, True), (6, True), (7, False), (8, False)])
def test_what_a_receiver_simulates_is_no_measurement(method: int, is_used: bool, is_framed: bool) -> None:
    """Open PGN database of canboat: 7 is typed in, 8 is simulated. Course and speed come from the same receiver."""
    lines = [line for second in range(9) for line in of_receiver(second, method, is_framed=is_framed)]
    samples, notes = samples_of(*lines)
    assert (len(samples), notes.unreal) == ((54, 0) if is_used else (0, 27))
    assert any("simulated or typed in" in said for said in remarks(notes, set())) is not is_used
    back = of_receiver(10, 1, is_framed=is_framed)
    assert len(samples_of(*lines, *back)[0]) == (60 if is_used else 6), "once it is ended it is heard again"
    other = [line.replace(",3,255,", ",4,255,") for line in of_receiver(10, 1)]
    assert len(samples_of(*lines, *other)[0]) == (60 if is_used else 6), "another receiver is another"


ENGINE = nmea2000_data(127489, {"fuel_flow": 21.5, "engine_temperature": 70.0}, instance="1")


def frame_lines(time: float, source: int, sequence: int, data: bytes = ENGINE) -> list[str]:
    return [nmea2000_line(time, 127489, source, frame) for frame in fast_packet_frames(data, sequence)]


X, Y = bytes.fromhex("0700e0ff008c78c0"), bytes.fromhex("0800e0ff008c78c0")


@pytest.mark.parametrize(
    ("told", "sources"),
    [
        # a number is an address that measures, a pair a name that claims an address
        (((X, 20), 20, 20, (Y, 20), 20), ["20", "20", "20 (2)"]),  # one device is taken out, another put in
        (((X, 20), 20, (Y, 20), (X, 30), 30, 20), ["20", "20", "20 (2)"]),  # X gives way and is followed
        (((X, 20), (Y, 21), 20, 21, (X, 21), (Y, 20), 20, 21), ["20", "21", "21", "21 (2)"]),  # they change places
        (((X, 20), (Y, 20), (X, 21), 20, 21), ["20", "21"]),  # they settle it before either measures
        (((X, 20), 20, (X, 20), 20), ["20", "20"]),  # asked again
        ((20, (X, 20), 20), ["20", "20"]),  # a log that begins late
        (((X, 20), 20, (X, 21), 21, 20), ["20", "20", "21"]),  # two of one name: no one drove it off
        ((30, (X, 20), 20, (Y, 20), (X, 30), 30), ["20", "30", "30"]),  # who measures at 30 had not said its name
        (((X, 20), 20, (Y, 20), (X, 254), 20), ["20", "20 (2)"]),  # it found none
    ],
)
def test_an_address_that_goes_to_another_device_mixes_no_two(
    told: tuple[int | tuple[bytes, int], ...], sources: list[str]
) -> None:
    heading = nmea2000_data(127250, {"heading": 100.0})
    lines = [
        nmea2000_line(START + at, 127250, one, heading)
        if isinstance(one, int)
        else nmea2000_line(START + at, 60928, one[1], one[0])
        for at, one in enumerate(told)
    ]
    samples, _ = samples_of(*lines)
    assert sorted(sample.source for sample in samples) == sources


def test_fast_packet_reads_alike_joined_and_as_frames() -> None:
    joined, _ = samples_of(nmea2000_line(1.0, 127489, 3, ENGINE))
    framed, notes = samples_of(*frame_lines(1.0, 3, 5))
    assert joined == framed
    assert {s.quantity: round(s.value, 6) for s in joined} == {"fuel_flow": 21.5, "engine_temperature": 70.0}
    assert notes.kinds == {"127489": 1}


def test_frames_of_two_sources_and_two_sequences_may_be_mixed() -> None:
    parts = [frame_lines(1.0, 3, 0), frame_lines(1.0, 4, 0), frame_lines(1.0, 3, 1)]
    samples, notes = samples_of(*(line for lines in zip(*parts, strict=True) for line in lines))
    assert sorted(s.source for s in samples) == ["3", "3", "3", "3", "4", "4"]
    assert notes.damaged == []


def test_message_with_a_frame_missing_is_one_damage_and_the_next_is_read() -> None:
    first, second = frame_lines(1.0, 3, 0), frame_lines(2.0, 3, 0)
    samples, notes = samples_of(first[0], first[2], first[3], *second)
    assert [s.time for s in samples] == [2.0, 2.0]
    assert [str(one) for one in notes.damaged] == ["line 2: PGN 127489 from 3: expected frame 1, got frame 2"]


def test_message_cut_by_the_end_or_by_the_next_one_is_reported_where_it_began() -> None:
    begun = frame_lines(1.0, 3, 0)[:2]
    samples, notes = samples_of(*begun, *frame_lines(2.0, 3, 0), *begun)
    assert len(samples) == 2
    assert [one.line for one in notes.damaged] == [1, 7]
    assert all("ends after frame 1, 26 bytes were announced" in one.reason for one in notes.damaged)


def test_recording_that_begins_inside_a_fast_packet_loses_only_that_message() -> None:
    samples, notes = samples_of(*frame_lines(1.0, 3, 0)[2:], *frame_lines(2.0, 3, 1))
    assert len(samples) == 2
    assert notes.damaged_count == 1


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("2026-05-04T09:30:00Z,2,127250,10", "cut short: expected time,priority,pgn,source,destination,length,bytes"),
        ("2026-05-04T09:30:00Z,2,127250,10,255,8,ff,be,87", "length says '8' bytes, the line has 3"),
        ("2026-05-04T09:30:00Z,2,127250,10,255,x,ff,be,87", "expected a number for the length"),
        ("2026-05-04T09:30:00Z,2,127250,10,255,3,ff,be,g7", "expected bytes in hexadecimal, got 'ff,be,g7'"),
        ("2026-05-04T09:30:00Z,2,127250,10,255,3,ff,be,87", "PGN 127250: expected 8 bytes or more, got 3"),
        ("2026-05-04T09:30:00Z,2,127250,256,255,2,ff,be", "expected a source address from 0 to 255, got '256'"),
        ("2026-05-04T09:30:0xZ,2,127250,10,255,8,ff,be,87,ff,7f,86,05,fc", "time"),
        ("2026-05-04T09:30:77Z,2,127250,10,255,8,ff,be,87,ff,7f,86,05,fc", "expected seconds from 0 to 60, got '77Z'"),
        ("2026-05-34T09:30:00Z,2,127250,10,255,8,ff,be,87,ff,7f,86,05,fc", "expected a time such as"),
        ("nan,2,127250,10,255,8,ff,be,87,ff,7f,86,05,fc", "expected a time such as"),
        ("2026-05-04T09:30:00Z,2,heading,10,255,2,ff,be", "expected a parameter group number, got 'heading'"),
        ("2026-05-04T09:30:00Z,2,127489,10,255,1,00", "PGN 127489: expected a frame of 2 to 8 bytes, got 1"),
    ],
)  # fmt: skip
def test_damaged_line_has_its_number_and_reason(line: str, reason: str) -> None:
    good = f"2026-05-04T09:30:00Z,{HEADING}"
    samples, notes = samples_of(good, line, good)
    assert [one.line for one in notes.damaged] == [2]
    assert reason in notes.damaged[0].reason
    assert len(samples) == 4


def test_comments_and_blank_lines_are_passed_over() -> None:
    samples, notes = samples_of(
        "# begun by hand, at the dock", f"#0,{HEADING}", "", "  ", f"0,{HEADING}", "#a,b,c,d,e,f,g,h"
    )
    assert len(samples) == 2
    assert (notes.lines, notes.damaged_count, notes.unknown) == (6, 0, {})


def test_messages_the_program_does_not_read_are_counted() -> None:
    _, notes = samples_of("0,3,127252,27,255,8,00,bc,ff,ff,ff,ff,7f,fd", "0,3,126992,27,255,8,00,bc,ff,ff,ff,ff,7f,fd")
    assert notes.unknown == {"127252": 1, "126992": 1}
    assert notes.heard == {"27": {"127252": 1, "126992": 1}}


def test_every_message_holds_quantities_the_program_knows() -> None:
    assert {field.quantity for message in MESSAGES.values() for field in message.fields} <= UNIT_OF_QUANTITY.keys()


LINE_LIKE = st.from_regex(
    r"\A[0-9TZ:.\- ]{0,26},[0-9],"
    r"(127250|127489|129029|129025|12[0-9]{4}),[0-9]{1,3},255,[0-9]{1,2}(,[0-9a-f]{2}){0,12}\Z"
)


@settings(max_examples=examples(200))
@given(st.lists(st.one_of(st.text(st.characters(blacklist_characters="\n"), max_size=80), LINE_LIKE), max_size=20))
def test_no_line_whatever_is_in_it_stops_the_reading(lines: list[str]) -> None:
    samples, notes = samples_of(*lines)
    assert notes.lines == len(lines)
    assert len(samples) == notes.samples
    assert all(s.value - s.value == 0 and s.time - s.time == 0 for s in samples)
