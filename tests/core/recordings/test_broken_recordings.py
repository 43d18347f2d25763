"""Every damaged recording in sample_jobs is reported with its own fault."""

from functools import reduce
from operator import xor
from pathlib import Path

import pytest

from garboard.faults import InputError
from garboard.recordings import load_recording, summarise

BROKEN = Path(__file__).parents[3] / "sample_jobs" / "broken" / "recordings"

# Files that are read: lines set aside, with a word of the reason; samples that are left.
SET_ASIDE = {
    "bad_checksum.log": ({4: "HEHDT: checksum: expected"}, 3),
    "cut_line.log": ({8: "cut short: expected 2 fields, got 1"}, 3),
    "cut_line.n2k.csv": ({5: "cut short: expected time,priority,pgn"}, 4),
    "byte_count_wrong.n2k.csv": ({3: "length says '8' bytes, the line has 7"}, 4),
    "byte_not_hexadecimal.n2k.csv": ({2: "expected bytes in hexadecimal, got"}, 4),
    "fast_packet_frame_missing.n2k.csv": (
        {6: "PGN 127489 from 3: expected frame 1, got frame 2"},
        2,
    ),
    "time_impossible.log": ({1: "GPZDA: expected a time of day up to 235959"}, 4),
    "bad_cells.csv": (
        {
            3: "heading magnetic@compass [deg]: expected a number, got 'north'",
            4: "expected 3 cells, got 2",
            5: "time: expected a number, got 'soon'",
            6: "heading magnetic@compass [deg]: expected a number, got 'nan'",
        },
        4,
    ),
    "cut_short.log.gz": ({0: "the compressed file ends too early"}, None),
}

# Files that cannot be used: where the faults are, and a word of each.
REFUSED = {
    "no_values.log": [("whole file", "3 HDM and 3 HDT sentences, all empty: no heading in this log.")],
    "binary.log": [("whole file", "a file that is not text")],
    "empty.log": [("whole file", "an empty file")],
    "wrong_form.txt": [("line 1", "Sea trial, 4 May")],
    "bad_header.csv": [
        ("column 1", "'time'"),
        ("column 3", "a quantity out of heading, "),
        ("column 4", "a unit out of deg/s, deg/min"),
        ("column 5", "a name such as"),
        ("column 6", "'true' or 'magnetic' after heading"),
        ("column 7", "another source or instance than column 'heading [deg]'"),
    ],
}


def test_every_broken_recording_has_its_expected_fault() -> None:
    assert {path.name for path in BROKEN.iterdir()} == {"no_time.log"} | SET_ASIDE.keys() | REFUSED.keys()


def test_a_log_without_any_clock_has_an_order_only_and_says_so() -> None:
    recording, notes = load_recording(BROKEN / "no_time.log")
    assert [value for stream in recording.of("heading") for value in stream.values] == [40.0, 43.0, 46.0, 49.0]
    assert (notes.timed, recording.is_timed, notes.without_time) == (False, False, 0)
    said = summarise(BROKEN / "no_time.log").remarks
    assert "The log has no times: the order of its values is known, how fast they came is not." in said


def with_checksum(body: str) -> str:
    """A sentence as an instrument sends it: behind the star the exclusive or of its bytes."""
    return f"${body}*{reduce(xor, body.encode()):02X}"


def test_a_clock_that_stands_still_is_told_and_nobody_is_sent_to_turn_a_circle(tmp_path: Path) -> None:
    """The receiver repeated its last sentence: "no turn of 90 degrees" was said, and "hold full throttle steadier"."""
    sentence = with_checksum("GPRMC,120000.00,A,4400.0000,N,06800.0000,W,20.0,90.0,150526,,,A")
    lines = [line for at in range(12) for line in (sentence, with_checksum(f"HCHDG,{30 * at}.0,,,,"))]
    path = tmp_path / "still.log"
    path.write_text("\n".join([*lines, ""]))
    recording, _ = load_recording(path)
    assert "stands still" in recording.no_times
    assert any("The clock stands still" in said for said in summarise(path).remarks)
    later = with_checksum("GPRMC,120001.00,A,4400.0000,N,06800.0000,W,20.0,90.0,150526,,,A")
    path.write_text("\n".join([*lines, later, lines[1], ""]))
    assert load_recording(path)[0].no_times == ""
    path.write_text("\n".join([*lines[:18], ""]))
    assert load_recording(path)[0].no_times == "", "so few may have come at once"


@pytest.mark.parametrize("name", SET_ASIDE)
def test_damaged_lines_are_set_aside_with_number_and_reason(name: str) -> None:
    expected, samples = SET_ASIDE[name]
    recording, notes = load_recording(BROKEN / name)
    assert {one.line for one in notes.damaged} == expected.keys()
    assert notes.damaged_count == len(expected)
    for one in notes.damaged:
        assert expected[one.line] in one.reason
    read = sum(map(len, recording.streams.values()))
    assert read == notes.samples > 0
    assert samples in (read, None)
    assert any("damaged" in remark for remark in summarise(BROKEN / name).remarks)


@pytest.mark.parametrize("name", REFUSED)
def test_recording_that_cannot_be_used_is_refused_with_every_fault(name: str) -> None:
    with pytest.raises(InputError) as refused:
        load_recording(BROKEN / name)
    faults = refused.value.faults
    assert [fault.where for fault in faults] == [where for where, _ in REFUSED[name]]
    for fault, (_, words) in zip(faults, REFUSED[name], strict=True):
        assert words in str(fault)
    assert refused.value.source.endswith(name)
