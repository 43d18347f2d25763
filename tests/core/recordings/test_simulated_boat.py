"""The simulated boat: its truths agree with each other, and its instruments are wrong by what is injected."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from garboard.recordings.simulated_boat import (
    Battery,
    Boat,
    Cable,
    Compass,
    Errors,
    Instrument,
    measured_noise,
    with_errors,
)
from garboard.recordings.simulator import Order, simulate
from garboard.samples import Sample, gather
from garboard.series import mean, standard_deviation

KNOTS = [Sample(0.1 * tick, "speed_over_ground", 20.0, "3") for tick in range(4000)]


def test_theoretical_speed_and_slip_are_of_the_pitch_and_the_ratio() -> None:
    boat = Boat(pitch=14.0, gear_ratio=1.85)
    assert boat.theoretical_speed_at(5505) == pytest.approx(5505 / 1.85 * 14 * 60 * 0.0254 / 1852)
    assert boat.slip_at(5505) == pytest.approx(1 - boat.speed_at(5505) / boat.theoretical_speed_at(5505))


def test_an_engine_with_a_short_propeller_sits_on_its_limiter() -> None:
    assert Boat(full_throttle=6600, limiter=6250).engine_speed_at(1.0) == 6250
    recording = gather("wide open", simulate(Boat(), [Order(seconds=20, engine_speed=6600)], start=0, noise=0))
    assert max(recording.of("engine_speed")[0].values) == 6250


def test_a_cable_and_a_battery_follow_ohm_and_peukert() -> None:
    # 2.5 mm2, 5 m there and back: 2 x 5 / (58 x 2.5) ohm at 20 degC, and 0.393 % more for each degree
    assert Cable(length=5, area=2.5).drop_at(10) == pytest.approx(0.6897, abs=1e-4)
    assert Cable(length=5, area=2.5, temperature=30, joints=0.01).drop_at(10) == pytest.approx(0.8168, abs=1e-4)
    assert Battery(capacity=100, exponent=1.0).hours_at(10, share=0.5) == pytest.approx(5.0)
    assert Battery(capacity=100, exponent=1.2).hours_at(10) == pytest.approx(20 * 0.5**1.2)


def test_a_compass_reads_magnetic_less_its_deviation_of_five_coefficients() -> None:
    compass = Compass(source="7", constant=1.0, sine=2.0, cosine=-1.0, sine_of_twice=0.5, cosine_of_twice=-0.5)
    shown = compass.reads(100.0)
    assert shown + compass.deviation_on(shown) == pytest.approx(100.0, abs=0.01)


@pytest.mark.parametrize(
    ("errors", "shown"),
    [
        (Errors(), 20.0),
        (Errors(scale=1.02, offset=-0.1), 20.3),
        (Errors(unit=1.150779), 23.01558),
        (Errors(offset=0.26, digit=0.5), 20.5),
    ],
)
def test_what_is_injected_is_shown(errors: Errors, shown: float) -> None:
    assert Instrument(errors, seed=1).shows(20.0) == pytest.approx(shown)


def test_an_instrument_that_freezes_shows_its_last_reading_and_then_lives_again() -> None:
    instrument = Instrument(Errors(freezes=(2.0, 4.0)), seed=1)
    assert [instrument.shows(10.0 + time, time) for time in range(6)] == [10.0, 11.0, 11.0, 11.0, 11.0, 15.0]


@pytest.mark.parametrize("forgets", [0.0, 0.6])
def test_noise_has_its_deviation_and_its_memory(forgets: float) -> None:
    errors = {"speed_over_ground": Errors(noise=0.2, forgets=forgets)}
    values = [sample.value - 20.0 for sample in with_errors(KNOTS, errors, seed=3)]
    neighbours = mean([one * other for one, other in pairwise(values)]) / mean([value * value for value in values])
    assert standard_deviation(values) == pytest.approx(0.2, abs=0.02)
    assert neighbours == pytest.approx(math.exp(-0.1 / forgets) if forgets else 0.0, abs=0.06)


def test_the_same_seed_shows_the_same_and_an_error_on_one_stream_changes_no_other() -> None:
    samples = list(simulate(Boat(), [Order(seconds=3, engine_speed=3000)], start=0, noise=0))
    once, again = (list(with_errors(samples, measured_noise(), seed=5)) for _ in range(2))
    scaled = list(with_errors(samples, {**measured_noise(), "engine_speed 10": Errors(scale=1.1)}, seed=5))
    assert once == again != list(with_errors(samples, measured_noise(), seed=6))
    others = [sample for sample in once if sample.quantity != "engine_speed"]
    assert others == [sample for sample in scaled if sample.quantity != "engine_speed"]


def test_a_heading_near_north_with_noise_stays_a_direction() -> None:
    truth = [Sample(float(second), "heading", 0.1, "20", "", "magnetic") for second in range(50)]
    shown = [sample.value for sample in with_errors(truth, {"heading": Errors(noise=1.0)}, seed=2)]
    assert all(0 <= value < 360 for value in shown)
    assert min(shown) < 5
    assert max(shown) > 355
