"""The noise of the simulated boat's sensors is that of real ones: measured here again, as its table says."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from garboard.recordings import load_recording
from garboard.recordings.simulated_boat import MEASURED_NOISE
from garboard.samples import Stream
from garboard.series import mean, standard_deviation, unwrapped

LOW_PASS = 2.0  # [s]
UNDER_WAY = ("wide_turn_starboard.n2k.csv", "under_way_heading.n2k.csv", "pilot_manoeuvres.n2k.csv")
AT_THE_DOCK = "engine_at_the_dock.n2k.csv"


def noise(stream: Stream, directed: bool) -> float:
    """Standard deviation of what is faster than 2 s."""
    smooth = Stream(stream.key, stream.times, unwrapped(stream.values) if directed else stream.values)
    half = LOW_PASS / 2
    return standard_deviation([value - mean(smooth.between(time - half, time + half).values) for time, value in smooth])


@pytest.mark.parametrize("quantity", [quantity for quantity in MEASURED_NOISE if quantity != "engine_speed"])
def test_sensor_noise_under_way_is_what_the_table_says(quantity: str, real_recordings: Path) -> None:
    directed = quantity in ("heading", "course_over_ground")
    streams = [one for name in UNDER_WAY for one in load_recording(real_recordings / name)[0].of(quantity)]
    squares = [noise(stream, directed) ** 2 for stream in streams]
    assert math.sqrt(mean(squares)) == pytest.approx(MEASURED_NOISE[quantity], rel=0.06)


def test_noise_of_an_engine_at_idle_is_what_the_table_says(real_recordings: Path) -> None:
    (stream,) = load_recording(real_recordings / AT_THE_DOCK)[0].of("engine_speed")
    assert noise(stream, directed=False) == pytest.approx(MEASURED_NOISE["engine_speed"], rel=0.06)
