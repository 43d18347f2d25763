"""The simulated boat: it does what the helm orders, and repeats itself."""

from __future__ import annotations

import pytest

from garboard.recordings.simulator import Boat, Compass, Order, simulate
from garboard.samples import gather
from garboard.series import mean, mean_direction, turned, unwrapped


def test_a_circle_ordered_is_a_circle_turned_by_every_way_of_counting() -> None:
    boat = Boat(compasses=(Compass(source="20", noise=0.1),), current_speed=0.0)
    recording = gather("circle", simulate(boat, [Order(seconds=144, engine_speed=1000, rate_of_turn=2.5)], start=0))
    (rate,), (course,) = recording.of("rate_of_turn"), recording.of("course_over_ground")
    by_course = unwrapped(course.values)
    assert turned(rate) == pytest.approx(360, abs=6)
    assert by_course[-1] - by_course[0] == pytest.approx(360, abs=6)


def test_the_same_seed_gives_the_same_samples() -> None:
    orders = [Order(seconds=5, engine_speed=3000)]
    assert list(simulate(Boat(), orders, start=0, seed=3)) == list(simulate(Boat(), orders, start=0, seed=3))


def test_speeds_out_and_back_differ_by_twice_the_current_along_the_course() -> None:
    boat = Boat(variation=0.0, current_speed=1.0, current_sets_towards=90.0)
    means = []
    for course in (90.0, 270.0):
        orders = [Order(seconds=90, engine_speed=5800, course=course)]
        recording = gather("run", simulate(boat, orders, start=0, heading=course))
        (speed,) = recording.of("speed_over_ground")
        means.append(mean(speed.between(60, 90).values))
    assert means[0] - means[1] == pytest.approx(2.0, abs=0.1)


def test_a_compass_with_deviation_reads_magnetic_less_deviation() -> None:
    compass = Compass(source="20", constant=2.0, sine=5.0)
    shown = compass.reads(90.0)
    assert mean_direction([shown + 2.0 + 5.0 * 0.999]) == pytest.approx(90.0, abs=0.1)


def test_fuel_and_speed_rise_with_engine_speed_and_there_is_a_hump_in_economy() -> None:
    boat = Boat()
    speeds = [boat.speed_at(revs) for revs in range(700, 5900, 100)]
    assert speeds == sorted(speeds)
    economy = {revs: boat.speed_at(revs) / boat.fuel_at(revs) for revs in range(1500, 5800, 100)}
    assert economy[2600] < min(economy[1500], economy[3500])
