"""Positions, speed and course over ground must tell of one and the same track.

Source: geographiclib, geodesics on the WGS 84 ellipsoid, to better than a micrometre (Karney 2013, doi
10.1007/s00190-012-0578-z).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from garboard.recordings import load_recording
from garboard.recordings.encode import nmea0183_sentences, nmea2000_lines
from garboard.recordings.simulator import Boat, Order, simulate
from garboard.samples import Recording, Sample, gather
from garboard.series import mean, mean_direction, signed_angle

START = 1_778_853_600.0  # a day in May 2026
METRES_PER_SECOND = 1852 / 3600  # one knot, exact


def _points(recording: Recording) -> list[tuple[float, float]]:
    [latitude], [longitude] = recording.of("latitude"), recording.of("longitude")
    return list(zip(latitude.values, longitude.values, strict=True))


def _legs(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Distance [m] and course at its start [deg true] from each point to the next."""
    found = [Geodesic.WGS84.Inverse(*here, *there) for here, there in pairwise(points)]
    return [(one["s12"], one["azi1"]) for one in found]


def _track(latitude: float, longitude: float, course: float, knots: float) -> list[Sample]:
    """Two minutes on one geodesic, a fix every 2 s, with the speed and course a plotter would show there."""
    samples = []
    for second in range(0, 121, 2):
        here = Geodesic.WGS84.Direct(latitude, longitude, course, knots * METRES_PER_SECOND * second)
        time = START + second
        samples += [
            Sample(time, "latitude", here["lat2"], "3"),
            Sample(time, "longitude", here["lon2"], "3"),
            Sample(time, "speed_over_ground", knots, "3"),
            Sample(time, "course_over_ground", here["azi2"] % 360, "3", "", "true"),
        ]
    return samples


@pytest.mark.parametrize("write", [nmea2000_lines, nmea0183_sentences])
@pytest.mark.parametrize(
    ("latitude", "longitude", "course", "knots"),
    [(37.5, -68.0, 41.0, 33.5), (-41.25, 179.995, 88.0, 24.0), (0.002, -0.004, 301.0, 6.25), (60.0, 25.0, 180.0, 45.0)],
)
def test_a_log_of_a_known_track_gives_its_distance_and_course_by_position_and_by_speed(
    tmp_path: Path,
    write: Callable[[Iterable[Sample]], Iterable[str]],
    latitude: float,
    longitude: float,
    course: float,
    knots: float,
) -> None:
    """Across the equator, the first meridian and the date line too."""
    samples = _track(latitude, longitude, course, knots)
    if write is nmea0183_sentences:
        samples = [sample._replace(source="GP") for sample in samples]
    log = tmp_path / "track.log"
    log.write_text("\n".join(write(samples)) + "\n", encoding="utf-8")
    recording, notes = load_recording(log)
    assert notes.damaged_count == 0
    legs = _legs(_points(recording))
    assert len(legs) == 60
    assert sum(metres for metres, _ in legs) == pytest.approx(knots * METRES_PER_SECOND * 120, rel=5e-4)
    [speed] = recording.of("speed_over_ground")
    assert mean(speed.values) == pytest.approx(knots, abs=0.02)  # NMEA 2000 has steps of 0.01 m/s
    [steered] = recording.of("course_over_ground")
    by_position = mean_direction([azimuth for _, azimuth in legs])
    assert abs(signed_angle(by_position - mean_direction(steered.values))) < 0.05


@pytest.mark.parametrize("latitude", [0.0, 37.5, -55.0])
def test_the_simulated_boat_goes_as_far_as_its_speed_over_ground_says(latitude: float) -> None:
    """It counts 60 nautical miles to a degree everywhere: within 1 % of the ellipsoid (common practice, no source)."""
    orders = [Order(seconds=60, engine_speed=4500, course=50.0), Order(seconds=60, engine_speed=4500, rate_of_turn=3.0)]
    recording = gather("run", simulate(Boat(latitude=latitude), orders, start=0, heading=50))
    [speed] = recording.of("speed_over_ground")
    by_speed = sum(
        (later - earlier) * (before + after) / 2 * METRES_PER_SECOND
        for (earlier, before), (later, after) in pairwise(speed)
    )
    assert sum(metres for metres, _ in _legs(_points(recording))) == pytest.approx(by_speed, rel=0.01)
