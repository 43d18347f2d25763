"""Logs read many lines at once: the same streams and notes as the reader of single lines gives, damage included."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence

import pytest

import form_samples
from altered_lines import altered
from garboard.recordings import ReadingNotes, comma_lines, nmea0183
from garboard.recordings.arithmetic import Arithmetic, Plain, WithNumpy
from garboard.recordings.columns import Columns, InOrder
from garboard.recordings.comma_columns import CommaColumns
from garboard.recordings.encode import fast_packet_frames, nmea2000_data, nmea2000_line
from garboard.recordings.forms import TakesLines
from garboard.recordings.more_messages import MORE, ORDER
from garboard.recordings.sentence_columns import SentenceColumns
from garboard.samples import Recording, Sample, gather

SPELLINGS: dict[str, Callable[[str], str]] = {
    "with Z": lambda line: line,
    "without Z": lambda line: line.replace("Z", ""),
    "whole seconds": lambda line: line.replace(".000Z", "Z").replace(".500Z", "Z"),
    "dashes": lambda line: line.replace("T", "-").replace("Z", ""),
    "microseconds": lambda line: line.replace("Z", "123Z"),
    "in capitals": lambda line: line.upper(),
    "an offset": lambda line: line.replace("Z", "+02:00"),
    "seconds since 1970": lambda line: f"1777887000.25{line[line.find(',') :]}",
}


def network(count: int) -> list[str]:
    """Whole messages, frames, messages nobody reads, comments: all a log may hold."""
    lines = form_samples.comma_lines()
    for number, frame in enumerate(form_samples.frames()):
        pgn = frame.identifier >> 8 & 0x1FFFF
        line = f"{form_samples.clock(frame.time, '%Y-%m-%dT%H:%M:%S')}Z,2,{pgn},{40 + number % 3},255,8"
        lines.append(f"{line},{frame.data.hex(',')}")
    for tick in range(60):
        second = f"2026-05-04T09:3{tick % 10}:{tick:02}.250Z"
        odd = [random.Random(f"{tick} {place}").choice(("ff,7f", "ff,ff", "10,20")) for place in range(3)]
        lines += [
            f"{second},3,127252,27,255,8,00,bc,ff,ff,ff,ff,7f,fd",
            f"{second},5,130312,28,255,8,ff,00,0{tick % 4},00,71,ff,ff,ff",
            f"{second},2,127250,28,255,8,ff,{tick:02x},10,ff,7f,ff,7f,f{tick % 4 + 12:x}",
            f"{second},2,127250,29,255,8,ff,ff,ff,ff,7f,ff,7f,ff",
            f"{second},2,127488,{tick % 2},255,8,0{tick % 2},{tick:02x},10,ff,ff,7f,ff,ff",
            f"{second},2,127237,14,255,21,00,40,1f,{odd[0]},{odd[1]},ff,ff,ff,ff{',ff' * 10}",
            f"{second},5,130311,28,255,8,ff,0{tick % 4},{odd[0]},{odd[1]},{odd[2]}",
            f"{second},5,127505,28,255,8,{tick % 7:x}{tick % 3},{odd[2]},{odd[0]},00,00,ff",
            f"{second},6,127258,31,255,6,ff,ff,df,40,{tick:02x},00",
            f"{second},6,60928,{tick % 3},255,8,01,02,03,04,05,06,07,c0",
            "# a comment",
        ]
    draw = random.Random(count)
    draw.shuffle(lines)
    return [draw.choice(lines) for _ in range(count)]


def at_once(lines: Sequence[str], arithmetic: Arithmetic, size: int) -> tuple[Recording, ReadingNotes]:
    notes = ReadingNotes()
    columns = Columns()
    assert list(taken(CommaColumns(notes, arithmetic, columns), lines, size)) == []
    return columns.recording("log"), notes


def taken(reader: TakesLines, lines: Sequence[str], size: int) -> Iterator[Sample]:
    for at in range(0, len(lines), size):
        yield from reader.take(lines[at : at + size])
    yield from reader.close()


def assert_same(lines: Sequence[str], size: int) -> None:
    expected_notes = ReadingNotes()
    samples = [sample for group in comma_lines.read(lines, expected_notes) for sample in group]
    expected = gather("log", samples)
    for arithmetic in (Plain(), WithNumpy()):
        found, notes = at_once(lines, arithmetic, size)
        assert found == expected
        assert found.set_back == expected.set_back
        assert notes == expected_notes
        again = ReadingNotes()
        assert list(taken(CommaColumns(again, arithmetic, InOrder()), lines, size)) == samples
        assert again == expected_notes


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_sound_lines_give_the_same(spelling: str) -> None:
    pytest.importorskip("numpy")
    lines = [SPELLINGS[spelling](line) for line in network(1500)]
    assert_same(lines, 1500)
    assert_same(lines[:300], 7)


@pytest.mark.parametrize("seed", range(6))
def test_altered_lines_give_the_same(seed: int) -> None:
    """One in ten altered, then nearly all."""
    pytest.importorskip("numpy")
    draw = random.Random(seed)
    sound = network(1000)
    some = [altered(line, draw, sound) if draw.random() < 0.1 else line for line in sound]
    assert_same(some, 400)
    assert_same([altered(line, draw, sound) for line in sound[:500]], 250)


def test_frames_that_come_twice_give_the_same() -> None:
    """At once or a little later, as by a second gateway; some are lost."""
    pytest.importorskip("numpy")
    draw = random.Random(4)
    data = nmea2000_data(127489, {"fuel_flow": 20.0, "engine_temperature": 70.0}, instance="0")
    lines = [
        nmea2000_line(1.78e9 + tick * 0.2 + number * 0.002 * (tick % 2), 127489, tick % 3 % 2, frame)
        for tick in range(120)
        for number, frame in enumerate(fast_packet_frames(data, tick // 3 % 8 if tick < 60 else 0))
    ]
    assert_same(lines, 7)
    for _ in range(60):
        at = draw.randrange(len(lines))
        lines.insert(at + draw.choice((1, 1, 2, 5, 60)), lines[at])
        if draw.random() < 0.2:
            del lines[draw.randrange(len(lines))]
    assert_same(lines, 300)
    assert_same(lines, 9)


@pytest.mark.parametrize("size", [5, 16, 400])
def test_receivers_that_simulate_for_a_while_give_the_same(size: int) -> None:
    pytest.importorskip("numpy")
    data = bytearray(nmea2000_data(129029, {"latitude": 51.5, "longitude": -0.1}, time=1.78e9))
    course = nmea2000_data(129026, {"course_over_ground": 90.0, "speed_over_ground": 30.0}, reference="true")
    lines = []
    for second in range(40):
        source = second % 2
        data[31] = 0x80 if 10 <= second < 25 and source else 0x10
        parts = fast_packet_frames(bytes(data), second % 8) if second % 4 < 2 else [bytes(data)]
        lines += [nmea2000_line(1.78e9 + second, 129029, source, part) for part in parts]
        lines += [nmea2000_line(1.78e9 + second, 129026, source, course)] * 3
    assert_same(lines, size)


@pytest.mark.parametrize("size", [5, 90, 400])
def test_addresses_that_change_hands_give_the_same(size: int) -> None:
    pytest.importorskip("numpy")
    draw, names = random.Random(size), [bytes([number, *range(7)]) for number in range(4)]
    heading = nmea2000_data(127250, {"heading": 100.0}, reference="true")
    lines = []
    for tick in range(400):
        source = draw.randrange(20, 24)
        lines.append(nmea2000_line(1.78e9 + tick, 127250, source, heading))
        lines.append(nmea2000_line(1.78e9 + tick, 130312, source, bytes.fromhex("ff000140710000ff")))
        if draw.random() < 0.05:
            lines.append(nmea2000_line(1.78e9 + tick, 60928, draw.randrange(20, 24), draw.choice(names)))
    assert_same(lines, size)


def test_more_kinds_than_the_notes_hold_are_counted_alike() -> None:
    pytest.importorskip("numpy")
    lines = [
        f"2026-05-04T09:30:00.250Z,3,{131_000 + kind},{kind % 250},255,8,00,bc,ff,ff,ff,ff,7f,fd"
        for kind in (*range(700), *range(300))
    ]
    assert_same(lines, 1000)
    assert_same(lines, 90)


def test_the_last_second_of_a_minute_may_be_a_leap_second_and_no_more() -> None:
    pytest.importorskip("numpy")
    sound = network(300)
    for second in ("59.999", "60.500", "60.999", "61.000", "99.000"):
        assert_same([*sound, *(line[:17] + second + line[23:] for line in sound if line[0] == "2")], 600)


# NMEA 0183

KINDS = (
    "GPZDA,0930{second:02}.{part:03},04,05,2026,00,00",
    "GPZDA,0930{second:02},,,,00,",
    "GPRMC,0930{second:02}.{part:03},A,6005.{part:03},N,01903.345,E,12.{part},084.4,040526,003.1,W,A",
    "GPRMC,0930{second:02},V,,,,,,,040526,,,N",
    "GPGGA,0930{second:02}.00,6005.{part:03},S,01903.345,W,1,08,0.9,12.0,M,20.0,M,,",
    "GPGLL,6005.{part:03},N,01903.345,E,0930{second:02}.00,A",
    "GPGLL,6005.{part:03},N,01903.345,E,,A,A",
    "GPVTG,084.{part},T,,M,12.{part},N,23.0,K,A",
    "GPVTG,084.{part},T,,M,,N,23.{part},K",
    "HEHDT,341.{part},T",
    "HCHDG,98.{part},1.{second},E,12.6,W",
    "HCHDG,,,,,",
    "HCHDM,98.{part},M",
    "TIROT,-{second}.2,A",
    "VWVHW,,T,,M,12.{part},N,22.4,K",
    "ERRPM,E,{second},5{part:03}.0,12.0,A",
    "IIRSA,4.{part},A,{second}.5,A",
    "IIRSA,4.{part},A,,V",
    "SDDPT,4.{part},0.{second}",
    "SDDPT,4.{part},",
    "SDDBT,13.{part},f,4.{part},M,2.2,F",
    "SDDBT,13.{part},f,,M,,F",
    "YXMTW,18.{part},C",
    "WIMDA,29.{part},I,1.01{second},B,22.{part},C,18.1,C,60.{second},,,,,,,,,,,",
    "WIMDA,29.{part},I,,B,,C,,C,,,,,,,,,,,,",
    "IIXDR,C,21.{part},C,ENGINE#0,P,101300,P,BARO",
    "IIXDR,A,0.{part},D,PITCH",
    "IIXDR,A,-0.{part},D,ROLL",
    "IIXDR,A,,D,ROLL",
    "GPGSV,3,1,11,03,03,111,00",
    "PGRMZ,{part},f,3",
    "GPTXT,01,01,02,WITH A BLANK",
    "HEHDT,341.{part},T,",
)


def sentences(count: int, seed: int) -> list[str]:
    """All kinds mixed, time now and then."""
    draw = random.Random(seed)
    lines = [
        form_samples.summed(draw.choice(KINDS).format(second=number * 60 // count, part=draw.randrange(1000)))
        for number in range(count)
    ]
    lines[5:5] = ["# a comment", "", "$HEHDT,10.5,T", "!AIVDM,1,1,,A,H42O55i18tMET00000000000000,2*6D"]
    return lines


def assert_same_sentences(lines: Sequence[str], size: int) -> None:
    expected_notes = ReadingNotes()
    samples = [sample for group in nmea0183.read(lines, expected_notes) for sample in group]
    expected = gather("log", samples)
    columns, notes = Columns(), ReadingNotes()
    assert list(taken(SentenceColumns(notes, into=columns), lines, size)) == []
    assert columns.recording("log") == expected
    assert columns.recording("log").set_back == expected.set_back
    assert notes == expected_notes
    again = ReadingNotes()
    assert list(taken(SentenceColumns(again, into=InOrder()), lines, size)) == samples
    assert again == expected_notes


@pytest.mark.parametrize("seed", range(3))
def test_sound_sentences_give_the_same(seed: int) -> None:
    lines = sentences(2000, seed)
    assert_same_sentences(lines, 3000)
    assert_same_sentences(lines[:300], 7)
    assert_same_sentences([line for line in lines if "ZDA" not in line and "RMC" not in line], 500)


def fronted(front: str, count: int) -> list[str]:
    """Sentences of all kinds with a time in front, now and then without."""
    draw = random.Random(front)
    return [
        line
        if number % 9 == 8
        else front.format(second=number % 60, digit=number % 10, part=draw.randrange(1000)) + line
        for number, line in enumerate(sentences(count, 7))
    ]


def altered_lines(lines: Sequence[str], seed: int) -> list[str]:
    draw = random.Random(seed)
    return [lines[0], *(altered(line, draw, lines) if draw.random() < 0.3 else line for line in lines)]


@pytest.mark.parametrize("lines", [
    [form_samples.summed("HEHDT,10.5,T")] * 50,
    [f"09:30:{tick:02} {form_samples.summed('HEHDT,10.5,T')}" for tick in range(50)],
    fronted("09:30:{second:02}.{part:03} ", 300),
    fronted("[09:30:{second:02}] ", 300),
    fronted("2026-05-04T09:3{digit}:{second:02}.{part:06}Z;", 300),
    fronted("2026-05-04 09:3{digit}:{second:02}+02:00 ", 300),
    fronted("1777887{part:03}.25 ", 300),
    fronted("\\c:1777887{part:03}\\", 300),
    altered_lines(fronted("09:30:{second:02}.{part:03} ", 300), 3),
    altered_lines(fronted("2026-05-04T09:3{digit}:{second:02}.{part:03}Z ", 300), 4),
    form_samples.wrapped_a() + sentences(50, 1),
    form_samples.wrapped_a(),
])  # fmt: skip
def test_logs_of_other_clocks_give_the_same(lines: list[str]) -> None:
    assert_same_sentences(lines, 20)


@pytest.mark.parametrize("seed", range(6))
def test_altered_sentences_give_the_same(seed: int) -> None:
    """One in ten altered, then nearly all."""
    draw = random.Random(seed)
    sound = sentences(1200, seed)
    some = [altered(line, draw, sound) if draw.random() < 0.1 else line for line in sound]
    assert_same_sentences(some, 500)
    assert_same_sentences([sound[0], *(altered(line, draw, sound) for line in sound[:500])], 250)


def test_the_values_of_one_message_have_an_order() -> None:
    """Read many at once, they are put into the order that the reader of single messages gives."""
    draw = random.Random(1)
    for needed, _, read in MORE.values():
        for _ in range(300):
            data = bytes(draw.choice((draw.randrange(256), draw.randrange(10))) for _ in range(max(needed, 21)))
            ranks = [ORDER[quantity] for quantity, *_ in read(data)]
            assert ranks == sorted(set(ranks))
