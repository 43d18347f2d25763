"""Every form of recording: told by what it holds, read the same whatever the form and however the bytes are cut."""

from __future__ import annotations

import gzip
import json
import random
from pathlib import Path

import pytest

import form_samples
from form_samples import OF_A_NETWORK, SAMPLES, START
from garboard.faults import InputError
from garboard.recordings import ReadingNotes, load_recording, read_samples, summarise
from garboard.recordings.comma_lines import read as read_commas
from garboard.recordings.encode import csv_series, fast_packet_frames, nmea2000_data
from garboard.recordings.forms import FORMS, SERIES, form_of
from garboard.recordings.nmea0183 import read as read_sentences
from garboard.samples import Sample, StreamKey

ALL = {form.key: form for form in (*FORMS, SERIES)}


def read_all(key: str, data: bytes, *, is_live: bool = False) -> tuple[list[Sample], ReadingNotes]:
    notes = ReadingNotes()
    reader = ALL[key].reader(notes, is_live=is_live)
    return [*reader.feed(data, START if is_live else None), *reader.close()], notes


def values(samples: list[Sample]) -> list[tuple[str, float, str, str, str]]:
    return [(s.quantity, s.value, s.source, s.instance, s.reference) for s in samples]


RUN, _ = read_all("comma_lines", SAMPLES["comma_lines"]())
"""Read from comma lines, whose values are compared with another program's in tests/published."""


def test_there_is_a_sample_of_every_form() -> None:
    assert SAMPLES.keys() == ALL.keys()


@pytest.mark.parametrize("key", SAMPLES)
def test_a_form_is_told_by_its_content_and_none_is_taken_for_another(key: str) -> None:
    data = SAMPLES[key]()
    found = form_of(data)
    assert found is not None
    assert found.key == key
    assert {other for other, form in ALL.items() if form.recognises(data) > 0} == {key}


@pytest.mark.parametrize("key", SAMPLES)
@pytest.mark.parametrize("packed", [False, True])
def test_a_file_is_read_plain_and_packed(tmp_path: Path, key: str, packed: bool) -> None:
    path = tmp_path / "recording"
    path.write_bytes(gzip.compress(SAMPLES[key]()) if packed else SAMPLES[key]())
    recording, notes = load_recording(path)
    assert notes.form == ALL[key].name
    assert notes.samples == sum(map(len, recording.streams.values())) >= 60
    assert (notes.damaged_count, notes.unknown) == (0, {})


@pytest.mark.parametrize("key", OF_A_NETWORK)
def test_every_form_of_the_network_gives_the_same_values(key: str) -> None:
    samples, notes = read_all(key, SAMPLES[key]())
    assert values(samples) == values(RUN)
    assert notes.kinds == {"127250": 60, "127251": 60, "127488": 60, "127489": 15, "129025": 15, "127508": 15}
    assert notes.heard["3"] == {"127488": 60, "127489": 15, "127508": 15}


DATED = ("comma_lines", "dump_compact", "trace", "capture")
UNTIMED = ("dump_bracketed", "wrapped_b")


@pytest.mark.parametrize("key", OF_A_NETWORK)
def test_times_are_those_the_form_tells(key: str) -> None:
    samples, notes = read_all(key, SAMPLES[key]())
    assert (notes.timed, notes.dated) == (key not in UNTIMED, key in DATED)
    start = START if key in DATED else 0.0
    expected = [0.0 if key in UNTIMED else s.time - START + start for s in RUN]
    assert [s.time for s in samples] == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(("key", "cut"), [("frames_time_of_day", 15), ("message_lines", 12)])
def test_a_log_that_begins_behind_the_time_of_its_first_line_has_times(key: str, cut: int) -> None:
    whole, cut_off = (read_all(key, SAMPLES[key]()[begin:]) for begin in (0, cut))
    assert (cut_off[1].timed, cut_off[1].damaged_count) == (True, 0)
    assert cut_off[0] == whole[0]


@pytest.mark.parametrize("key", SAMPLES)
def test_bytes_may_be_cut_anywhere(key: str) -> None:
    data, draw, notes = SAMPLES[key](), random.Random(key), ReadingNotes()
    whole, whole_notes = read_all(key, data)
    reader, samples, at = ALL[key].reader(notes), list[Sample](), 0
    while at < len(data):
        size = draw.choice((1, 2, 7, 50, 400))
        samples += reader.feed(data[at : at + size])
        at += size
    assert [*samples, *reader.close()] == whole
    assert notes == whole_notes


@pytest.mark.parametrize("key", OF_A_NETWORK)
def test_heard_live_a_value_has_the_time_it_arrived(key: str) -> None:
    samples, _ = read_all(key, SAMPLES[key](), is_live=True)
    assert values(samples) == values(RUN)
    assert max(s.time for s in samples) == START


def test_a_doubled_mark_between_messages_is_no_beginning_however_it_is_cut() -> None:
    """Found by the campaign: the second byte of a doubled 10 was taken for the first of the next mark."""
    message = SAMPLES["gateway"]().partition(b"\x10\x03")[0] + b"\x10\x03"
    data = message + b"\x10\x10\x02" + message + b"\x10\x10" + message
    whole, whole_notes = read_all("gateway", data)
    for at in range(len(data)):
        notes = ReadingNotes()
        reader = ALL["gateway"].reader(notes)
        assert [*reader.feed(data[:at]), *reader.feed(data[at:]), *reader.close()] == whole
        assert notes == whole_notes
    assert whole_notes.kinds == {"127250": 3}


# Other spellings, made up: nobody has a sample of them.


@pytest.mark.parametrize("between", [";", "\t", "|", " ", "; "])
def test_other_separators_stand_for_commas(tmp_path: Path, between: str) -> None:
    path = tmp_path / "log"
    path.write_text("\n".join(form_samples.comma_lines(between)), encoding="ascii")
    notes = ReadingNotes()
    assert list(read_samples(path, notes)) == RUN
    assert (notes.form, notes.damaged_count) == ("NMEA 2000", 0)


@pytest.mark.parametrize("between", [",", ";", "\t"])
def test_a_comma_may_be_the_decimal_point_of_the_time(tmp_path: Path, between: str) -> None:
    path = tmp_path / "log"
    path.write_text(
        "\n".join(line.replace(".", ",", 1) for line in form_samples.comma_lines(between)), encoding="ascii"
    )
    notes = ReadingNotes()
    assert list(read_samples(path, notes)) == RUN
    assert (notes.form, notes.damaged_count) == ("NMEA 2000", 0)


def test_a_dump_with_interfaces_and_one_with_times_are_read() -> None:
    plain = "\n".join(form_samples.dump_with_interface()).encode()
    timed = "\n".join(
        f" ({frame.time:.6f}) {line}"
        for frame, line in zip(form_samples.frames(), form_samples.dump_with_interface(), strict=True)
    ).encode()
    for data, is_timed in ((plain, False), (timed, True)):
        found = form_of(data)
        assert found is not None
        assert found.key == "dump_bracketed"
        samples, notes = read_all("dump_bracketed", data)
        assert values(samples) == values(RUN)
        assert (notes.timed, notes.dated) == (is_timed, is_timed)


SAID = form_samples.summed("HCHDG,300.0,,,,")


@pytest.mark.parametrize(
    ("line", "time", "dated"),
    [
        (f"{SAID} 09:30:00.500", 0.0, False),
        (f"{SAID};09:30:00,5", 0.0, False),
        (f"{SAID},2026-05-04T09:30:00.5Z", START + 0.5, True),
        (f"{SAID}\t1777887000.5", START + 0.5, True),
        (f"[09:30:00.500] {SAID}", 0.0, False),
        (f"2026-05-04 09:30:00,5 {SAID}", START + 0.5, True),
        ("$HCHDG,300.0,,,,\t09:30:00.5", 0.0, False),
        ("$HCHDG,300.0,,,, 2026-05-04T09:30:00.5Z", START + 0.5, True),
    ],
)
def test_a_time_in_front_of_a_sentence_or_behind_it_is_read(line: str, time: float, dated: bool) -> None:
    notes = ReadingNotes()
    [sample] = [s for group in read_sentences([line], notes) for s in group]
    assert (sample.value, sample.time, notes.dated, notes.timed) == (300.0, time, dated, True)
    assert notes.damaged_count == 0


def test_what_stands_behind_a_sentence_and_is_no_time_is_damage() -> None:
    notes = ReadingNotes()
    assert list(read_sentences([f"{SAID}x", f"{SAID} 09:30", f"{SAID} 99:30:00"], notes)) == []
    assert (notes.damaged_count, notes.wrong_checksum) == (3, 3)


def test_wrapped_messages_among_sentences_take_the_time_of_the_sentences() -> None:
    lines = [form_samples.summed("GPZDA,093000,04,05,2026,00,00"), form_samples.wrapped_b()[0], SAID]
    notes = ReadingNotes()
    samples = [s for group in read_sentences(lines, notes) for s in group]
    assert [(s.time, s.source) for s in samples] == [(START, "27"), (START, "HC")]


def test_a_talker_of_two_numerals_is_a_source() -> None:
    notes = ReadingNotes()
    [sample] = [s for group in read_sentences([form_samples.summed("24HDG,300.0,,,,")], notes) for s in group]
    assert sample.source == "24"


def test_sentences_without_any_clock_have_an_order_and_all_are_given() -> None:
    """More than are held while a time may still come."""
    notes = ReadingNotes()
    samples = [s for group in read_sentences([SAID] * 60_000, notes) for s in group]
    assert len(samples) == notes.samples == 60_000
    assert (notes.timed, notes.without_time) == (False, 0)


COURSE, OTHER = "$GPVTG,90.0,T,,M,5.5,N,10.2,K", "$GPGSV,1,1,00"


@pytest.mark.parametrize(("every", "more"), [(6, 0), (3, 3)])  # mostly packets, mostly sentences
@pytest.mark.parametrize(
    "key", ["comma_lines", "frames_time_of_day", "message_lines", "dump_compact", "dump_bracketed", "trace"]
)
def test_packets_and_sentences_in_one_log_are_both_read_and_timed_by_the_packets(
    tmp_path: Path, key: str, every: int, more: int
) -> None:
    """As a gateway sends them that turns a part of what it hears into sentences; live, both were read before."""
    packets = SAMPLES[key]().decode().splitlines()
    alone, _ = load_recording(written(tmp_path, SAMPLES[key]()))
    lines = [*packets[:8]]
    for place, packet in enumerate(packets[8:]):
        lines += [COURSE, *[OTHER] * more, packet] if place % every == 0 else [packet]
    recording, notes = load_recording(written(tmp_path, "\n".join(lines).encode()))
    assert notes.damaged_count == 0
    assert {key: stream for key, stream in recording.streams.items() if key.source != "GP"} == alone.streams
    [course] = [one for one in recording.of("course_over_ground") if one.key.source == "GP"]
    assert len(course) == lines.count(COURSE) > 20
    times = [time for stream in alone.streams.values() for time in stream.times]
    assert min(times) <= course.times[0] <= course.times[-1] <= max(times)
    assert (len(set(course.times)) > 5) is notes.timed


def test_sentences_before_the_first_packet_have_its_time(tmp_path: Path) -> None:
    lines = SAMPLES["dump_compact"]().decode().splitlines()
    recording, _ = load_recording(written(tmp_path, "\n".join([COURSE, COURSE, *lines[:20]]).encode()))
    [course] = [one for one in recording.of("course_over_ground") if one.key.source == "GP"]
    assert course.times == (START, START)


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("dump_bracketed", "({}.5) can0 09F1121B [8] FF 9F EE FF 7F FF 7F FD"),
        ("dump_compact", "({}.5) can0 09F1121B#FF9FEEFF7FFF7FFD"),
        ("trace", ";$STARTTIME={}.5"),
        ("trace", "1) {}.5 Rx 09F1121B 8 FF 9F EE FF 7F FF 7F FD"),
    ],
)
def test_a_time_of_more_digits_than_there_are_seconds_is_damage(key: str, line: str) -> None:
    samples, notes = read_all(key, f"{line.format('9' * 400)}\n".encode() + SAMPLES[key]())
    assert notes.damaged_count == 1
    assert all(abs(one.time) < 1e12 for one in samples)


# Frames of one message


def engine_lines(order: list[int], sequence: int = 1, second: int = 0) -> list[str]:
    data = nmea2000_data(127489, {"oil_pressure": 300.0, "fuel_flow": 20.0}, instance="0")
    whole = fast_packet_frames(data, sequence)
    return [f"2026-05-04T09:30:{second:02}.000Z,2,127489,3,255,8,{whole[number].hex(',')}" for number in order]


@pytest.mark.parametrize("order", [[0, 1, 2, 3], [0, 3, 2, 1], [0, 2, 3, 1], [2, 0, 1, 3]])
def test_frames_may_swap_places(order: list[int]) -> None:
    notes = ReadingNotes()
    samples = [s.value for group in read_commas(engine_lines(order), notes) for s in group]
    assert samples == pytest.approx([300.0, 20.0])
    assert (notes.damaged_count, notes.broken) == (0, 0)


@pytest.mark.parametrize(
    "lines",
    [
        engine_lines([1, 2, 3]) + engine_lines([0]),
        engine_lines([3]) + engine_lines([0, 1, 2], second=1),
        engine_lines([2, 3]) + engine_lines([0, 1]),
        engine_lines([0, 1, 2]),
        engine_lines([0, 1]) + engine_lines([2, 3], sequence=2),
    ],
)
def test_frames_of_two_messages_are_never_put_together(lines: list[str]) -> None:
    notes = ReadingNotes()
    assert list(read_commas(lines, notes)) == []
    assert notes.broken == notes.damaged_count >= 1


@pytest.mark.parametrize(
    "order",
    [[0, 0, 1, 1, 2, 2, 3, 3], [0, 1, 0, 2, 1, 3, 2, 3], [0, 1, 2, 3, 3], [1, 1, 0, 2, 3], [0, 1, 2, 3, 1, 2, 3]],
)
def test_a_frame_that_comes_twice_says_nothing_new_and_breaks_nothing(order: list[int]) -> None:
    """Two gateways on one network, or one that repeats what it hears."""
    notes = ReadingNotes()
    lines = [line for turn in range(10) for line in engine_lines(order, turn % 8, turn)]
    samples = [s.value for group in read_commas(lines, notes) for s in group]
    assert samples == pytest.approx([300.0, 20.0] * 10)
    assert (notes.damaged_count, notes.broken) == (0, 0)


def test_a_message_cut_off_before_one_that_begins_alike_is_one_damage_and_the_next_is_read() -> None:
    """A device that always counts 0, in a dump without times: the first frames of two messages are the same bytes."""
    first, second = (
        fast_packet_frames(nmea2000_data(127489, {"oil_pressure": 300.0, "fuel_flow": flow}, instance="0"))
        for flow in (20.0, 30.0)
    )
    lines = [f"<0x09f20103> [8] {frame.hex(' ')}" for frame in (*first[:3], *second)]
    samples, notes = read_all("dump_bracketed", "\n".join(lines).encode())
    assert [one.value for one in samples] == pytest.approx([300.0, 30.0])
    assert notes.broken == notes.damaged_count == 1


# Refusals


def written(folder: Path, data: bytes) -> Path:
    path = folder / "file"
    path.write_bytes(data)
    return path


def test_a_recording_of_messages_nobody_reads_names_them_with_their_counts(tmp_path: Path) -> None:
    lines = [f"09:30:00.{tick:03} R 09FD0223 FF 10 00 20 00 FF FF FF" for tick in range(812)]
    lines += ["09:30:01.000 R 0DF01023 FF 10 00 20 00 FF FF FF"] * 3
    with pytest.raises(InputError) as refused:
        load_recording(written(tmp_path, "\n".join(lines).encode()))
    assert (
        "CAN frames with the time of day, but no message this program knows: 130306, 812 times, 126992, 3 times."
    ) in str(refused.value)
    assert "Record while the heading sensor" in str(refused.value)
    assert summarise(tmp_path / "file").notes.unknown == {"130306": 812, "126992": 3}


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (form_samples.capture()[:20] + b"\x01\0\0\0" + form_samples.capture()[24:], "link type 1"),
        (b"\n\r\r\n" + bytes(60), "save it in the older one, pcap"),
        (b"\x10\x02\x93\x01\x02\x10\x03" + bytes(60), "a file that is not text"),
        (b'{"name": "no delta"}\n' * 9, "name"),
        (b"19F51323\n18EEFF01\n", "19F51323"),
    ],
)
def test_what_is_no_recording_is_refused_and_named(tmp_path: Path, data: bytes, words: str) -> None:
    with pytest.raises(InputError) as refused:
        read_samples(written(tmp_path, data))
    assert words in str(refused.value)


MARKS = ("PCDIN", "MXPGN", "PDGY")


@pytest.mark.parametrize("key", ["base64_sentences", "wrapped_a", "wrapped_b"])
def test_no_mark_of_a_maker_is_in_any_note(key: str) -> None:
    """Damaged in every field, so that each reason is met."""
    draw = random.Random(key)
    lines = SAMPLES[key]().decode().splitlines()
    for line in list(lines):
        fields = line.split(",")
        at = draw.randrange(1, len(fields))
        fields[at] = draw.choice(("", "x", fields[at][:-3], "FFFFFFFF", "*"))
        lines += [",".join(fields), form_samples.summed(",".join(fields)[1:].partition("*")[0])]
    _, notes = read_all(key, "\n".join(lines).encode())
    assert notes.damaged_count > 20
    said = repr(notes)
    assert not [mark for mark in MARKS if mark in said]


# Nothing invented


@pytest.mark.parametrize("key", ["wrapped_a", "wrapped_b", "sentences", "gateway"])
def test_what_does_not_fit_its_checksum_gives_nothing(key: str) -> None:
    data = SAMPLES[key]()
    if key == "gateway":
        data = data.replace(b"\x10\x02\x93", b"\x10\x02\x94")
    else:
        data = b"\n".join(line[:-1] + (b"0" if line[-1:] != b"0" else b"1") for line in data.splitlines())
    samples, notes = read_all(key, data)
    assert samples == []
    assert notes.damaged_count == notes.lines > 0


def test_a_delta_of_another_vessel_is_not_read() -> None:
    values = b'[{"values": [{"path": "navigation.headingTrue", "value": 1.0}]}]'
    other = b'{"context": "vessels.urn:mrn:imo:mmsi:230099999", "updates": ' + values + b"}"
    own = other.replace(b"urn:mrn:imo:mmsi:230099999", b"self")
    samples, notes = read_all("deltas", other + b"\n" + own)
    assert len(samples) == 1
    assert notes.unknown == {"another vessel": 1}
    greeting = b'{"name": "server", "self": "vessels.urn:mrn:imo:mmsi:230099999"}\n'
    assert len(read_all("deltas", greeting + other)[0]) == 1


def delta(context: str, *values: tuple[str, object]) -> bytes:
    told = [{"path": path, "value": value} for path, value in values]
    return json.dumps({"context": context, "updates": [{"values": told}]}).encode() + b"\n"


@pytest.mark.parametrize("told", ["vessels.urn:mrn:signalk:uuid:1", "urn:mrn:signalk:uuid:1", "vessels.self", "self"])
def test_a_greeting_names_the_own_vessel_however_it_is_spelt(told: str) -> None:
    greeting = json.dumps({"name": "server", "self": told}).encode() + b"\n"
    lines = [delta(f"vessels.urn:mrn:signalk:uuid:{number}", ("navigation.headingTrue", 1.0)) for number in (1, 2, 1)]
    samples, notes = read_all("deltas", b"".join([greeting, *lines]))
    assert (len(samples), notes.unknown) == (2, {"another vessel": 1})


@pytest.mark.parametrize("other", ["vessels.urn:mrn:signalk:uuid:2", "shore.basestations.1", "atons.1", "meteo.1"])
def test_only_one_vessel_is_the_own_one(other: str) -> None:
    air = ("environment.outside.temperature", 300.0)
    lines = delta("vessels.urn:mrn:signalk:uuid:1", air) + delta(other, air) + delta("vessels.self", air)
    samples, notes = read_all("deltas", lines)
    assert (len(samples), notes.unknown) == (2, {"another vessel": 1})


def test_without_a_greeting_the_own_vessel_is_known_by_what_no_ais_unit_sends() -> None:
    course = ("navigation.courseOverGroundTrue", 1.0)
    own, other = "vessels.urn:mrn:imo:mmsi:230099999", "vessels.urn:mrn:imo:mmsi:230088888"
    lines = delta(other, course) + delta(own, ("propulsion.0.revolutions", 50.0)) + delta(own, course)
    samples, notes = read_all("deltas", lines + delta(other, course))
    assert [one.quantity for one in samples] == ["engine_speed", "course_over_ground"]
    assert notes.unknown == {"another vessel": 2}


@pytest.mark.parametrize("name", ["@scope/plugin", "a#1", "[x]", "a@b#c[d]", 'a,b;"c"', " a ", "tcp://10.0.0.1:3000"])
def test_a_run_of_a_source_of_any_name_is_read_again_as_it_was_kept(tmp_path: Path, name: str) -> None:
    value = {"path": f"propulsion.{name.replace('.', '')}.revolutions", "value": 50.0}
    told = [{"$source": name, "values": [value, {"path": "navigation.headingTrue", "value": 1.0}]}]
    samples, _ = read_all("deltas", json.dumps({"updates": told}).encode())
    assert len(samples) == 2
    kept = tmp_path / "kept.csv"
    kept.write_bytes(csv_series(samples))
    again, notes = load_recording(kept)
    assert sorted(again.streams) == sorted(StreamKey(one.quantity, *one[3:]) for one in samples)
    assert notes.damaged_count == 0


@pytest.mark.parametrize(
    "odd",
    [
        ("propulsion.0.temperature", 0),
        ("navigation.headingTrue", 7.0),
        (5, 1),
        ("\0", 1),
        ("navigation.position", {"latitude": 91.0}),
    ],
)
def test_one_value_of_a_delta_that_cannot_be_used_takes_no_other_with_it(odd: tuple[str, object]) -> None:
    flow = ("propulsion.0.fuel.rate", 1e-5)
    samples, notes = read_all("deltas", delta("vessels.self", odd, flow, odd))
    assert [one.quantity for one in samples] == ["fuel_flow"]
    assert notes.damaged_count == 1
    broken = (
        b'{"updates": [{"timestamp": "noon"}, 7, {"values": [{"path": "navigation.headingTrue", "value": 6.2832}]}]}'
    )
    samples, notes = read_all("deltas", broken)
    assert [(one.quantity, round(one.value, 2)) for one in samples] == [("heading", 0.0)]
    assert notes.damaged_count == 1


@pytest.mark.parametrize("value", ["null", "true", '"north"', "NaN", "1e999", "[1]", "-1", "7"])
def test_a_delta_without_a_usable_number_gives_nothing(value: str) -> None:
    line = f'{{"updates": [{{"values": [{{"path": "navigation.headingTrue", "value": {value}}}]}}]}}'
    assert read_all("deltas", line.encode())[0] == []


@pytest.mark.parametrize(
    ("names", "numbers"),
    [
        (["port", "starboard"], ["0", "1"]),
        (["starboard", "port"], ["1", "0"]),
        (["port", "starboard", "2"], ["0", "1", "2"]),
        (["port", "centre", "starboard"], ["0", "1", "2"]),
        (["0", "1"], ["0", "1"]),
        (["main"], ["main"]),
    ],
)
def test_engines_that_go_by_names_have_the_numbers_a_boat_tells_them_apart_by(
    names: list[str], numbers: list[str]
) -> None:
    """As the Signal K project's converter from NMEA 2000 names them; a middle one is named by people."""
    values = ",".join(f'{{"path":"propulsion.{name}.revolutions","value":50}}' for name in names)
    samples, _ = read_all("deltas", f'{{"updates":[{{"values":[{values}]}}]}}'.encode())
    assert [sample.instance for sample in samples] == numbers
    battery = b'{"updates":[{"values":[{"path":"electrical.batteries.port.voltage","value":12}]}]}'
    assert read_all("deltas", battery)[0][0].instance == "port", "a battery's name is its own"
