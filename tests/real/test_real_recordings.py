"""Recordings of real boats read as their own data, and a second instrument on board, say they must."""

from itertools import pairwise
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from garboard.recordings import load_recording, summarise
from garboard.samples import Recording, Stream


def stream_from(recording: Recording, quantity: str, source: str) -> Stream:
    [stream] = [stream for stream in recording.of(quantity) if stream.key.source == source]
    return stream


def integral(stream: Stream) -> float:
    pairs = list(stream)
    return sum((t1 - t0) * (v0 + v1) / 2 for (t0, v0), (t1, v1) in pairwise(pairs))


def unwound(stream: Stream) -> float:
    """Total turn of a direction, added up over steps of less than half a circle [deg]."""
    turn = 0.0
    for before, after in pairwise(stream.values):
        turn += (after - before + 180) % 360 - 180
    return turn


def test_log_with_empty_headings_says_it_has_none(real_recordings: Path) -> None:
    """Counted with grep: 3000 HDT and 1500 HDM sentences, none with a digit in its heading."""
    summary = summarise(real_recordings / "under_way.nmea0183.log")
    assert "3000 HDT and 1500 HDM sentences, all empty: no heading in this log." in summary.remarks
    assert summary.notes.lines == 24000
    assert summary.notes.damaged_count == 0
    assert not [stream for stream in summary.streams if stream.key.quantity == "heading"]


def test_log_with_time_of_day_counts_from_its_first_time(real_recordings: Path) -> None:
    """First ZDA sentence 09:55:59, last GLL sentence 10:47:09: 3070 s apart; no sentence gives a date."""
    recording, notes = load_recording(real_recordings / "under_way.nmea0183.log")
    assert not notes.dated
    latitude = stream_from(recording, "latitude", "GP")
    assert (len(latitude), latitude.times[0], latitude.times[-1]) == (1500, 0.0, 3070.0)
    # First GLL sentence: 6005.071,N
    assert latitude.values[0] == pytest.approx(60 + 5.071 / 60)
    assert stream_from(recording, "speed_through_water", "II").values[0] == 6.11


def test_heading_is_true_because_the_data_says_so(real_recordings: Path) -> None:
    """Heading minus course over ground, averaged: +4.5 deg (leeway, current and sensor together)."""
    recording, notes = load_recording(real_recordings / "under_way_heading.n2k.csv")
    heading = stream_from(recording, "heading", "160")
    course = stream_from(recording, "course_over_ground", "160")
    assert (heading.key.reference, course.key.reference) == ("true", "true")
    assert len(heading) == len(course) == 331
    difference = sum((h - c + 180) % 360 - 180 for h, c in zip(heading.values, course.values, strict=True)) / 331
    assert difference == pytest.approx(4.5, abs=0.3)
    assert notes.damaged_count == 0


@pytest.mark.parametrize(("source", "rate", "turn"), [("27", 20, 367.5), ("52", 10, 361.5)])
def test_rate_of_turn_adds_up_to_the_circle_steered(real_recordings: Path, source: str, rate: int, turn: float) -> None:
    """Turn by trapezoids computed outside the program; course over ground of the same boat turns a circle too."""
    summary = summarise(real_recordings / "wide_turn_starboard.n2k.csv")
    [found] = [s for s in summary.streams if s.key.quantity == "rate_of_turn" and s.key.source == source]
    assert found.rate == pytest.approx(rate, rel=0.01)
    recording, _ = load_recording(real_recordings / "wide_turn_starboard.n2k.csv")
    assert integral(stream_from(recording, "rate_of_turn", source)) == pytest.approx(turn, abs=0.5)
    assert unwound(stream_from(recording, "course_over_ground", "52")) == pytest.approx(turn, abs=15)


@pytest.mark.parametrize(
    ("name", "source", "speed_source"),
    [
        ("under_way.nmea0183.log", "GP", "II"),
        ("under_way_heading.n2k.csv", "160", "160"),
        ("wide_turn_starboard.n2k.csv", "52", "52"),
    ],
)
def test_the_way_made_by_position_is_the_way_made_by_speed(
    real_recordings: Path, name: str, source: str, speed_source: str
) -> None:
    """Distances between fixes by geographiclib (WGS 84), every fifth fix so that their scatter does not add up."""
    recording, _ = load_recording(real_recordings / name)
    latitude, longitude = (stream_from(recording, quantity, source) for quantity in ("latitude", "longitude"))
    fixes = list(zip(latitude.values, longitude.values, strict=True))[::5]
    made = sum(Geodesic.WGS84.Inverse(*here, *there)["s12"] for here, there in pairwise(fixes))
    by_speed = integral(stream_from(recording, "speed_over_ground", speed_source)) * 1852 / 3600
    assert made == pytest.approx(by_speed, rel=0.01)
