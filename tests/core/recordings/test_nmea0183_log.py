"""NMEA 0183 logs: time, status, signs, and what is set aside."""

from functools import reduce
from itertools import chain
from operator import xor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard.recordings import ReadingNotes
from garboard.recordings.nmea0183 import checksum, read, take_apart
from garboard.recordings.times import parse_time
from garboard.samples import Sample

ZDA = "$GPZDA,093000.00,04,05,2026,00,00"
START = parse_time("2026-05-04T09:30:00Z")


def samples_of(*lines: str) -> tuple[list[Sample], ReadingNotes]:
    notes = ReadingNotes()
    return [sample for group in read(lines, notes) for sample in group], notes


def values_of(line: str) -> list[tuple[str, float, str, str]]:
    samples, notes = samples_of(ZDA, line)
    assert notes.damaged == []
    return [(s.quantity, s.value, s.reference, s.instance) for s in samples]


@given(st.text(st.characters(codec="latin-1"), max_size=200))
def test_checksum_is_the_exclusive_or_of_all_bytes(body: str) -> None:
    assert checksum(body) == reduce(xor, body.encode("utf-8"), 0)


@pytest.mark.parametrize("odd", ["C,NaN,C,ENGINE#0", "C,99999,C,ENGINE#0", "P,1..2,P,ENGINEOIL#0"])
def test_one_transducer_that_cannot_be_used_takes_no_other_with_it(odd: str) -> None:
    samples, notes = samples_of(ZDA, f"$ERXDR,{odd},T,2500,R,ENGINE#1,{odd},U,13.8,V,ALTERNATOR#1")
    assert [(s.quantity, s.value) for s in samples] == [("engine_speed", 2500.0), ("alternator_voltage", 13.8)]
    assert notes.damaged_count == 1
    samples, notes = samples_of(ZDA, f"$ERXDR,{odd}")
    assert (samples, notes.damaged_count) == ([], 1)


@pytest.mark.parametrize(
    ("sentence", "reason"),
    [
        ("$ERRPM,E,1,99999999,10,A", "engine speed up to 15000 rev/min, got 99999999"),
        ("$GPVTG,90.0,T,,M,5000.0,N,9260.0,K", "speed over ground up to 200 kn, got 5000"),
        ("$GPVTG,90.0,T,,M,-5.0,N,,K", "speed over ground from 0 kn, got −5"),
        ("$TIROT,90000,A", "rate of turn up to 360 deg/s, got 1500"),  # 90000 deg/min
    ],
)
def test_a_value_no_instrument_shows_sets_its_sentence_aside(sentence: str, reason: str) -> None:
    """Common practice, no source; a shaft may turn the other way, and so may an engine, which is then as fast."""
    samples, notes = samples_of(ZDA, sentence, "$SDRPM,S,1,-900,10,A", "$ERRPM,E,1,-2400,10,A")
    assert [(s.quantity, s.value) for s in samples] == [("shaft_speed", -900.0), ("engine_speed", 2400.0)]
    assert notes.damaged_count == 1
    assert reason in notes.damaged[0].reason


def test_sentence_takes_the_time_of_the_latest_sentence_that_brought_one() -> None:
    samples, _ = samples_of(ZDA, "$HEHDT,10,T", "$HEHDT,11,T", "$GPZDA,093001.50,04,05,2026,00,00", "$HEHDT,12,T")
    assert [(s.time - START, s.value) for s in samples] == [(0.0, 10.0), (0.0, 11.0), (1.5, 12.0)]


def test_sentences_before_the_first_time_take_that_time() -> None:
    samples, notes = samples_of("$HEHDT,10,T", ZDA, "$HEHDT,11,T")
    assert [(s.time, s.value) for s in samples] == [(START, 10.0), (START, 11.0)]
    assert notes.samples == 2


def test_log_without_any_time_gives_its_values_in_their_order() -> None:
    samples, notes = samples_of("$HEHDT,10,T", "$GPVTG,45.5,T,67.5,M,30.45,N,56.40,K")
    assert [(s.time, s.value) for s in samples] == [(0.0, 10.0), (0.0, 45.5), (0.0, 67.5), (0.0, 30.45)]
    assert (notes.timed, notes.dated, notes.without_time, notes.samples) == (False, False, 0, 4)


def test_date_that_comes_later_dates_the_time_of_day_before_it() -> None:
    position = "5130.000,N,00000.000,E"
    samples, notes = samples_of(
        f"$GPGGA,235959.00,{position},1,08,1.0,3.0,M,,M,,",
        f"$GPRMC,000001.00,A,{position},5.0,90.0,050526,,",
        f"$GPGGA,000002.00,{position},1,08,1.0,3.0,M,,M,,",
    )
    midnight = parse_time("2026-05-05T00:00:00Z")
    assert notes.dated
    assert [s.time - midnight for s in samples if s.quantity == "latitude"] == [-1.0, 1.0, 2.0]


def test_time_of_day_alone_counts_from_the_first_and_runs_on_past_midnight() -> None:
    sentences = [
        f"$GPZDA,{clock},,,,00,\n$HEHDT,{i},T".split("\n") for i, clock in enumerate(("235958", "000003", "120000"))
    ]
    samples, notes = samples_of(*chain.from_iterable(sentences))
    assert not notes.dated
    assert [s.time for s in samples] == [0.0, 5.0, 43202.0]


@given(st.integers(0, 86399), st.lists(st.integers(0, 40000), min_size=1, max_size=12))
def test_time_of_day_wraps_at_any_midnight(start: int, steps: list[int]) -> None:
    seconds, expected, lines = start, [0.0], []
    for step in [0, *steps]:
        seconds += step
        of_day = seconds % 86400
        lines += [f"$GPZDA,{of_day // 3600:02d}{of_day // 60 % 60:02d}{of_day % 60:02d},,,,00,", "$HEHDT,1,T"]
        expected.append(float(seconds - start))
    samples, _ = samples_of(*lines)
    assert [s.time for s in samples] == expected[1:]


def test_receiver_without_a_fix_does_not_set_the_date() -> None:
    samples, notes = samples_of("$GPRMC,093000,V,,,,,,,060180,,", "$HEHDT,10,T")
    assert not notes.dated
    assert [s.time for s in samples] == [0.0]


@pytest.mark.parametrize(
    "sentence",
    [
        "$GPGGA,093001,4807.038,N,01131.000,E,{quality},08,0.9,12.0,M,46.9,M,,",
        "$GPRMC,093001,A,4807.038,N,01131.000,E,22.4,084.4,040526,,,{mode}",
        "$GPGLL,4807.038,N,01131.000,E,093001,A,{mode}",
        "$GPVTG,84.4,T,,M,22.4,N,41.5,K,{mode}",
    ],
)
@pytest.mark.parametrize(
    ("mode", "quality", "is_measured"),
    [("A", 1, True), ("D", 2, True), ("N", 0, False), ("M", 7, False), ("S", 8, False)],
)
def test_what_a_receiver_simulates_or_was_told_is_no_measurement(
    sentence: str, mode: str, quality: int, is_measured: bool
) -> None:
    """Letters and numbers of NMEA 0183's mode indicator and GGA quality, from memory: A 1 and D 2 are fixes, M 7 is
    typed in, S 8 a simulator, N 0 none."""
    samples, _ = samples_of(ZDA, sentence.format(mode=mode, quality=quality))
    assert bool(samples) is is_measured


def test_times_before_the_sentences_are_used_instead_of_those_inside() -> None:
    samples, _ = samples_of(
        "2026-05-04T09:30:00.25Z $HEHDT,10,T",
        ZDA.replace("093000", "111111"),
        "1777887001.5,$HEHDT,11,T",
        "[2026-05-04 09:30:02] $HEHDT,12,T",
    )
    assert [round(s.time - START, 3) for s in samples] == [0.25, 1.5, 2.0]


def test_tag_block_gives_the_time_and_its_checksum_counts() -> None:
    body = "s:helm,c:1777887007"
    right = f"\\{body}*{reduce(xor, body.encode()):02X}\\$HEHDT,10,T*2D"
    samples, _ = samples_of(right.replace("*2D", ""))
    assert [s.time - START for s in samples] == [7.0]
    _, notes = samples_of(right.replace("helm", "helm2").replace("*2D", ""))
    assert "checksum of the tag block" in notes.damaged[0].reason


def test_tag_block_time_may_be_in_milliseconds() -> None:
    samples, _ = samples_of("\\c:1777887007250\\$HEHDT,10,T")
    assert [s.time - START for s in samples] == [7.25]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("$HCHDG,98.3,2.0,W,,", [("heading", 98.3, "magnetic", ""), ("deviation", -2.0, "", "")]),
        ("$HCHDG,,,,12.6,E", [("variation", 12.6, "", "")]),
        ("$HCHDM,7,M", [("heading", 7.0, "magnetic", "")]),
        ("$HEHDT,360.0,T", [("heading", 0.0, "true", "")]),
        ("$TIROT,-90.0,A", [("rate_of_turn", -1.5, "", "")]),
        ("$TIROT,-90.0,V", []),
        ("$GPVTG,,T,,M,,N,18.52,K", [("speed_over_ground", 10.0, "", "")]),
        ("$GPVTG,45.5,T,67.5,M,30.45,N,56.40,K,N", []),
        ("$GPRMC,093000,V,5130.0,N,00000.0,E,5.0,90.0,040526,,", []),
        ("$GPRMC,093000,A,,,,,5.0,,040526,,,N", []),
        ("$GPGLL,5130.000,N,00006.000,W,093000,A", [("latitude", 51.5, "", ""), ("longitude", -0.1, "", "")]),
        ("$GPGLL,5130.000,N,00006.000,W,093000,V", []),
        ("$GPGLL,5130.000,N,00006.000,W", [("latitude", 51.5, "", ""), ("longitude", -0.1, "", "")]),
        ("$GPGGA,093000,5130.000,N,00006.000,W,0,00,,,M,,M,,", []),
        ("$ERRPM,E,1,3450,10.0,A", [("engine_speed", 3450.0, "", "1")]),
        ("$ERRPM,E,1,3450,10.0,V", []),
        ("$IIRSA,-3.5,A,,V", [("rudder_angle", -3.5, "", "")]),
        ("$IIRSA,2.0,A,2.5,A", [("rudder_angle", 2.0, "", ""), ("rudder_angle", 2.5, "", "port")]),
        ("$ERXDR,T,3450,R,ENGINE#1,P,,P,ENGINEOIL#1", [("engine_speed", 3450.0, "", "1")]),
        ("$ERXDR,P,350000,P,ENGINEOIL#1", [("oil_pressure", 350.0, "", "1")]),
        (
            "$ERXDR,C,71.5,C,ENGINE#0,U,13.9,V,ALTERNATOR#0",
            [("engine_temperature", 71.5, "", "0"), ("alternator_voltage", 13.9, "", "0")],
        ),
        ("$ERXDR,P,3.5,B,ENGINEOIL", [("oil_pressure", 350.0, "", "")]),
        ("$IIVHW,,T,,M,,N,9.26,K", [("speed_through_water", 5.0, "", "")]),
        ("$SDDPT,12.4,-0.5", [("depth", 12.4, "", ""), ("depth_offset", -0.5, "", "")]),
        ("$SDDPT,12.4,", [("depth", 12.4, "", "")]),
        ("$SDDPT,,0.5,100", [("depth_offset", 0.5, "", "")]),
        ("$SDDBT,40.7,f,12.4,M,6.8,F", [("depth", 12.4, "", "")]),
        ("$SDDBT,10.0,f,,M,,F", [("depth", 3.048, "", "")]),
        ("$SDDBT,,f,,M,,F", []),
        ("$YXMTW,18.2,C", [("water_temperature", 18.2, "", "")]),
        ("$YXMTW,64.8,F", []),
        (
            "$WIMDA,29.92,I,1.0132,B,22.0,C,18.2,C,60.5,,,,,,,,,,,",
            [
                ("air_pressure", 1013.2, "", ""),
                ("air_temperature", 22.0, "", ""),
                ("water_temperature", 18.2, "", ""),
                ("humidity", 60.5, "", "outside"),
            ],
        ),
        ("$WIMDA,30.0,I,,B,,C,,C,,,,,,,,,,,,", [("air_pressure", 1015.917, "", "")]),
        (
            "$WIXDR,C,22.0,C,TempAir,P,1.0132,B,Barometer,U,12.7,V,BATTERY#1",
            [("air_temperature", 22.0, "", ""), ("air_pressure", 1013.2, "", ""), ("battery_voltage", 12.7, "", "1")],
        ),
    ],
)  # fmt: skip
def test_sentence_gives_its_valid_values_only(line: str, expected: list[tuple[str, float, str, str]]) -> None:
    """Status letters and signs: field lists of the open sources named in the reader; transducer names from memory."""
    found = values_of(line)
    assert [(q, reference, instance) for q, _, reference, instance in found] == [(q, r, i) for q, _, r, i in expected]
    assert [value for _, value, _, _ in found] == pytest.approx([value for _, value, _, _ in expected])


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("$HEHDT,341.8,T*22", "HEHDT: checksum: expected 21 for what the line holds, got '22'"),
        ("$HEHDT,341.8,T*2", "HEHDT: checksum: expected 21 for what the line holds, got '2'"),
        ("$HEHDT,341", "HEHDT: cut short: expected 2 fields, got 1"),
        ("$HEHDT,400,T", "HEHDT: expected a direction from 0 to 360 deg, got 400"),
        ("$HEHDT,inf,T", "HEHDT: expected a number, got 'inf'"),
        ("$HEHDT,4_1.8,T", "HEHDT: expected a number, got '4_1.8'"),
        ("$HCHDG,98.3,2.0,X,12.6,E", "HCHDG: expected E or W after 2.0, got 'X'"),
        ("$GPGLL,5175.0,N,00006.0,W", "GPGLL: expected a latitude in degrees and minutes up to 90, got '5175.0'"),
        ("$GPZDA,093000,31,02,2026,00,00", "GPZDA: expected a date, got year 2026, month 2, day 31"),
        ("HEHDT,341.8,T*21", "expected a sentence that begins with $ or !, got 'HEHDT,341.8,T*21'"),
        ("$HEHDT,341.8,T*21$HEHDT,3", "HEHDT: checksum: expected 21 for what the line holds, got '21$HEHDT,3'"),
        ("41.8,T*21$HEHDT,341.8,T*21", "HEHDT: expected a time such as 2026-05-04T09:30:00.25Z, got '41.8,T*21'"),
    ],
)  # fmt: skip
def test_damaged_line_is_counted_with_number_and_reason(line: str, reason: str) -> None:
    samples, notes = samples_of(ZDA, line, "$HEHDT,10,T")
    assert [(one.line, one.reason) for one in notes.damaged] == [(2, reason)]
    assert [s.value for s in samples] == [10.0]


def test_kinds_are_counted_as_read_empty_or_unknown() -> None:
    _, notes = samples_of(
        ZDA,
        "$IIHDT,,T",
        "$IIHDT,,T",
        "$HEHDT,10,T",
        "$IIMWV,338,R,13.41,N,A*2C",
        "$PABCD,1",
        "!AIVDM,1,1",
        "# note",
        "",
    )
    assert notes.kinds == {"ZDA": 1, "HDT": 3}
    assert notes.empty == {"HDT": 2}
    assert notes.unknown == {"MWV": 1, "PABCD": 1, "VDM": 1}
    assert (notes.lines, notes.damaged_count, notes.without_checksum) == (9, 0, 6)


def test_noise_does_not_fill_the_notes_without_end() -> None:
    _, notes = samples_of(*(f"$QX{number:06d},1" for number in range(3000)), *("nothing" for _ in range(300)))
    assert len(notes.unknown) <= 501
    assert sum(notes.unknown.values()) == 3000
    assert (notes.damaged_count, len(notes.damaged)) == (300, 100)


@given(
    st.lists(
        st.one_of(
            st.binary(max_size=90),
            st.from_regex(rb"\A[$!]?[A-Z]{2}(HDG|RMC|XDR|ZDA|GGA|VTG|RPM|RSA),[0-9.,AVNSEWTM]{0,60}\Z"),
        ),
        max_size=20,
    )
)
def test_no_line_whatever_is_in_it_stops_the_reading(lines: list[bytes]) -> None:
    texts = [line.decode("utf-8", "surrogateescape").replace("\n", " ") for line in lines]
    samples, notes = samples_of(*texts)
    assert notes.lines == len(texts)
    assert len(samples) == notes.samples
    assert all(s.value - s.value == 0 and s.time - s.time == 0 for s in samples)
    "\n".join(map(str, (notes.damaged, notes.unknown, notes.kinds))).encode()


def test_talker_and_kind_are_taken_from_the_address() -> None:
    assert take_apart("$U3HDT,10,T")[1:3] == ("U3", "HDT")
    assert take_apart("$PGRMZ,1,f,3")[1:3] == ("", "PGRMZ")
