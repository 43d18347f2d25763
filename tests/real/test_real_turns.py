"""A wide turn of a real boat: far enough round, and far too slow to calibrate a sensor by."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import pytest

from garboard.findings import NotEnoughData, Verdict
from garboard.hosting.host import make_host
from garboard.recordings import load_recording
from garboard_heading_calibration.comparison import compare_headings
from garboard_heading_calibration.mixed import sound
from garboard_heading_calibration.sensors import is_true
from garboard_heading_calibration.turn_findings import judge_recording
from garboard_heading_calibration.turn_record import Turn
from garboard_heading_calibration.turns import find_turns


def raw(path: Path, pgn: str, source: str, at: int, length: int) -> list[tuple[float, int]]:
    """Time of day [s] and a little-endian number cut straight from the bytes of each message."""
    found = []
    for line in path.read_text().splitlines():
        cells = line.split(",")
        if not line.startswith("#") and cells[2] == pgn and cells[3] == source:
            hours, minutes, seconds = cells[0].rstrip("Z").split("T")[1].split(":")
            number = bytes.fromhex("".join(cells[6 + at : 6 + at + length]))
            time = 3600 * int(hours) + 60 * int(minutes) + float(seconds)
            found.append((time, int.from_bytes(number, "little", signed=length == 4)))
    return found


def within(found: list[tuple[float, int]], turn: Turn) -> list[tuple[float, int]]:
    """The part in the time of a turn: the straight stretch that the recording begins with is none of it."""
    start, end = turn.start % 86400, turn.end % 86400
    return [one for one in found if start - 0.001 <= one[0] <= end + 0.001]


def trapezoid(path: Path, turn: Turn) -> float:
    """Degrees turned: PGN 127251, rate in bytes 1 to 4, in 1/32 of 1e-6 rad/s."""
    rates = within(raw(path, "127251", turn.source, 1, 4), turn)
    steps = pairwise(rates)
    return math.degrees(sum((t1 - t0) * (v0 + v1) / 2 for (t0, v0), (t1, v1) in steps) * 1e-6 / 32)


def course_turned(path: Path, source: str, turn: Turn) -> float:
    """Degrees turned: PGN 129026, course in bytes 2 and 3, in 1e-4 rad, unwound."""
    courses = [math.degrees(value * 1e-4) for _, value in within(raw(path, "129026", source, 2, 2), turn)]
    return sum((after - before + 180) % 360 - 180 for before, after in pairwise(courses))


def test_both_sources_turned_a_little_over_a_circle_and_the_course_agrees(real_recordings: Path) -> None:
    path = real_recordings / "wide_turn_starboard.n2k.csv"
    recording, _ = load_recording(path)
    turns = find_turns(recording)
    assert [turn.source for turn in turns] == ["27", "52"]
    for turn in turns:
        assert turn.degrees == pytest.approx(trapezoid(path, turn), abs=0.05)
        # An end of the turn may lie between two samples of the course.
        assert turn.by_course == pytest.approx(course_turned(path, "52", turn), abs=0.2)
        assert turn.direction == "starboard"
    prompt, late = turns
    assert prompt.by_course is not None
    assert prompt.compared / prompt.by_course == pytest.approx(1.0, abs=0.005)
    # 52 smooths: it follows 27 about 9.5 s late (least squares of the two rates), and the recording ends while the
    # boat still turns. So it has missed up to 9.5 s of 1.7 deg/s, some 16 of 368 degrees: too little, never too much.
    assert late.by_course is not None
    assert 1 - 16 / 368 < late.compared / late.by_course < 1.0


def test_the_share_of_time_in_the_band_is_counted_on_the_rate_as_sampled(real_recordings: Path) -> None:
    path = real_recordings / "wide_turn_starboard.n2k.csv"
    recording, _ = load_recording(path)
    first, _ = find_turns(recording)
    sent = within(raw(path, "127251", "27", 1, 4), first)
    rates = [(time, math.degrees(value * 1e-6 / 32)) for time, value in sent]
    inside = sum(t1 - t0 for (t0, rate), (t1, _) in pairwise(rates) if 2 <= rate <= 3)
    assert first.in_band == pytest.approx(inside / (rates[-1][0] - rates[0][0]), abs=0.0005)
    assert 0.03 < first.in_band < 0.05


def test_a_twenty_fifth_of_the_time_in_the_band_does_not_pass_and_the_technician_is_told_to_turn_faster(
    real_recordings: Path,
) -> None:
    recording, _ = load_recording(real_recordings / "wide_turn_starboard.n2k.csv")
    first, second = judge_recording(recording)
    assert {first.verdict, second.verdict} == {Verdict.FAIL}
    turn, _ = find_turns(recording)
    mean = trapezoid(real_recordings / "wide_turn_starboard.n2k.csv", turn) / (turn.end - turn.start)
    told = f"4 % of the time inside 2 to 3. Too slow. Turn faster: mean {mean:.2f} deg/s, wanted 2 to 3."
    assert told in first.sentence
    assert "0 % of the time inside 2 to 3. Too slow." in second.sentence


def test_the_command_line_finds_the_judge_of_turns() -> None:
    host = make_host(("garboard_heading_calibration",), entry_points=False)
    assert [(judge.key, judge.option) for judge in host.recording_judges] == [("heading_calibration.turns", "turns")]


def test_a_straight_run_shows_no_turn(real_recordings: Path) -> None:
    recording, _ = load_recording(real_recordings / "under_way_heading.n2k.csv")
    with pytest.raises(NotEnoughData, match="no turn"):
        judge_recording(recording)


def test_a_true_heading_is_held_against_the_course_without_applying_variation(real_recordings: Path) -> None:
    path = real_recordings / "under_way_heading.n2k.csv"
    recording, _ = load_recording(path)
    (heading,), (course,) = recording.of("heading"), recording.of("course_over_ground")
    assert (is_true(heading), is_true(course)) == (True, True)
    # PGN 127250, heading in bytes 1 and 2; PGN 129026, course in bytes 2 and 3; both 1e-4 rad, none near north
    headings, courses = raw(path, "127250", "160", 1, 2), raw(path, "129026", "160", 2, 2)
    means = [math.degrees(1e-4 * sum(value for _, value in row) / len(row)) for row in (headings, courses)]
    found = compare_headings(heading, course)
    assert found.difference == pytest.approx(means[0] - means[1], abs=0.05)
    assert found.difference == pytest.approx(4.5, abs=0.1)
    assert found.seconds > 300


def test_two_receivers_of_a_real_boat_are_not_accused(real_recordings: Path) -> None:
    recording, _ = load_recording(real_recordings / "wide_turn_starboard.n2k.csv")
    for accused in ("receivers differ", "otherwise", "scale"):
        assert not any(accused in one.sentence for one in judge_recording(recording))


def test_recordings_of_real_boats_are_sound(real_recordings: Path) -> None:
    """One of them lies at a dock, where a course over ground wanders anywhere."""
    for name in ("engine_at_the_dock", "pilot_manoeuvres", "under_way_heading", "wide_turn_starboard"):
        recording, _ = load_recording(real_recordings / f"{name}.n2k.csv")
        heard = sound(recording)
        assert (heard.clock, dict(heard.senders)) == ((), {})
        assert heard.recording is recording
