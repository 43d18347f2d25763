"""Turns found in a recording: where they begin and end, and what is counted in them."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from garboard.samples import Recording, Sample, Stream, StreamKey, gather
from garboard_heading_calibration.rates import rate_from_heading
from garboard_heading_calibration.turns import find_turns
from heading_jobs import samples, turn


def test_a_recording_that_is_already_turning_is_counted_from_its_first_sample() -> None:
    (found,) = find_turns(turn(2.5, 180))
    assert (found.degrees, found.start, found.end) == pytest.approx((450, 0, 180))
    assert found.in_band == pytest.approx(1.0)
    assert found.longest_lapse == pytest.approx(0.1)  # from one sample to the next


@pytest.mark.parametrize(("rate", "direction"), [(2.5, "starboard"), (-2.5, "port")])
def test_a_turn_to_port_is_negative_and_a_turn_to_starboard_positive(rate: float, direction: str) -> None:
    (found,) = find_turns(turn(rate, 100))
    assert found.degrees == pytest.approx(100 * rate)
    assert found.direction == direction
    assert found.mean_rate == pytest.approx(2.5)
    assert found.by_course == pytest.approx(100 * rate)
    assert found.by_course == pytest.approx(found.compared)


def test_a_long_straight_run_before_and_after_is_no_part_of_the_turn() -> None:
    (found,) = find_turns(turn(lambda t: 2.5 if 60 <= t <= 240 else 0.0, 300))
    assert (found.start, found.end) == pytest.approx((60, 240), abs=1.5)
    assert found.degrees == pytest.approx(450, abs=1)
    assert found.in_band > 0.98


@pytest.mark.parametrize("straight", [8.0, 9.5, 12.0])
def test_a_straight_run_in_and_out_is_no_part_of_the_turn_and_no_lapse(straight: float) -> None:
    seconds = 2 * straight + 180
    (found,) = find_turns(turn(lambda t: 2.5 if straight <= t <= seconds - straight else 0.0, seconds))
    assert (found.start, found.end) == pytest.approx((straight, seconds - straight), abs=1.5)
    assert found.longest_lapse < 2
    assert found.in_band > 0.98


def test_a_turn_each_way_is_two_turns() -> None:
    found = find_turns(turn(lambda t: 2.5 if t < 150 else -2.5, 300))
    assert [round(part.degrees) for part in found] == [375, -375]


def test_a_lapse_within_a_turn_does_not_end_it_and_its_length_is_told() -> None:
    (found,) = find_turns(turn(lambda t: 0.0 if 80 <= t < 87 else 2.5, 180))
    assert found.degrees == pytest.approx(2.5 * 173, abs=1)
    assert found.longest_lapse == pytest.approx(7, abs=1.5)  # the 2 s mean rounds both its ends


def test_yawing_the_other_way_for_a_moment_does_not_end_a_turn() -> None:
    (found,) = find_turns(turn(lambda t: -1.0 if 80 <= t < 83 else 2.5, 180))
    assert found.degrees == pytest.approx(2.5 * 177 - 3, abs=1)


def test_the_share_of_time_is_weighted_by_time_and_not_by_samples() -> None:
    slow = [Sample(t / 10, "rate_of_turn", 2.5, "7") for t in range(1000)]  # 100 s at ten a second, inside
    fast = [Sample(100 + t, "rate_of_turn", 3.5, "7") for t in range(101)]  # 100 s at one a second, outside
    (found,) = find_turns(gather("mixed", slow + fast))
    assert found.in_band == pytest.approx(0.5, abs=0.01)


def test_one_noisy_sample_does_not_end_a_lapse() -> None:
    (found,) = find_turns(turn(lambda t: 2.5 if abs(t - 50) < 0.05 else 1.5, 100))
    assert found.longest_lapse == pytest.approx(100)
    assert 0 < found.in_band < 0.01


def test_the_degrees_turned_keep_within_their_uncertainty() -> None:
    """Scale, zero and noise drawn as the settings and recordings of real boats say; nineteen of twenty should hold."""
    inside = 0
    for seed in range(40):
        rng = random.Random(seed)
        scale, zero, noise, made = rng.gauss(1, 0.012 / 1.96), rng.gauss(0, 0.02 / 1.96), 0.0, []
        for i in range(901):
            noise = math.exp(-0.2 / 0.6) * noise + math.sqrt(1 - math.exp(-0.4 / 0.6)) * rng.gauss(0, 0.12)
            made.append(Sample(i / 5, "rate_of_turn", scale * 2.5 + zero + noise, "7"))
        (found,) = find_turns(gather("noisy", made))
        assert 6 < found.degrees_within < 9
        inside += abs(found.degrees - 450) <= found.degrees_within
    assert 36 <= inside <= 40


def test_a_heading_serves_where_a_source_sends_no_rate_of_turn() -> None:
    (found,) = find_turns(turn(2.5, 180, as_heading=True))
    assert found.quantity == "heading"
    assert found.degrees == pytest.approx(450)
    assert found.in_band == pytest.approx(1.0)


def test_every_source_is_judged_by_itself() -> None:
    both = [
        *samples("rate_of_turn", lambda _t: 2.5, 180, source="7"),
        *samples("rate_of_turn", lambda _t: 2.4, 180, source="9"),
    ]
    found = find_turns(gather("two", both))
    assert [(part.source, round(part.degrees)) for part in found] == [("7", 450), ("9", 432)]


def test_a_silence_of_the_sensor_ends_the_turn() -> None:
    made = samples("rate_of_turn", lambda _t: 2.5, 300, source="7")
    found = find_turns(gather("gap", [sample for sample in made if not 140 < sample.time < 150]))
    assert [round(part.degrees) for part in found] == [350, 375]


@pytest.mark.parametrize(("silence", "turns"), [(2.0, [600]), (2.5, [300, 294])])
def test_a_silence_of_two_seconds_is_bridged_and_a_longer_one_is_not(silence: float, turns: list[float]) -> None:
    """A sample every half second, at 2.5 degrees a second for four minutes."""
    made = samples("rate_of_turn", lambda _t: 2.5, 240, source="7", every=0.5)
    found = find_turns(gather("gap", [sample for sample in made if not 120 < sample.time < 120 + silence]))
    assert [round(part.degrees) for part in found] == turns


@pytest.mark.parametrize(
    "recording",
    [
        pytest.param(turn(2.5, 180, course=False), id="no course"),
        pytest.param(turn(2.5, 180, speed=0.5), id="hardly moving"),
        pytest.param(
            gather(
                "late",
                [
                    *samples("rate_of_turn", lambda _t: 2.5, 180),
                    *samples("course_over_ground", lambda t: 2.5 * t % 360, 60),
                ],
            ),
            id="course ends early",
        ),
        pytest.param(
            gather(
                "rare",
                [
                    *samples("rate_of_turn", lambda _t: 2.5, 180),
                    *samples("course_over_ground", lambda t: 2.5 * t % 360, 180, every=45),
                ],
            ),
            id="course too rare",
        ),
    ],
)
def test_the_course_gives_no_check_where_it_cannot_tell(recording: Recording) -> None:
    (found,) = find_turns(recording)
    assert found.by_course is None


@pytest.mark.parametrize("degrees", [80, 100])
def test_less_than_ninety_degrees_is_no_turn(degrees: float) -> None:
    assert len(find_turns(turn(2.5, degrees / 2.5))) == (degrees > 90)


def test_the_band_can_be_adjusted() -> None:
    (usual,) = find_turns(turn(5.0, 100))
    (quick,) = find_turns(turn(5.0, 100), (4.0, 6.0))
    assert (usual.in_band, quick.in_band) == pytest.approx((0, 1))


def test_rate_from_a_heading_that_passes_north_has_no_jump() -> None:
    heading = Stream(
        StreamKey("heading"), tuple(map(float, range(10))), tuple((350 + 3.0 * t) % 360 for t in range(10))
    )
    assert rate_from_heading(heading).values == pytest.approx([3.0] * 10)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(0, 400),
            st.sampled_from(["rate_of_turn", "heading", "course_over_ground", "speed_over_ground"]),
            st.one_of(st.floats(-400, 400), st.just(float("nan"))),
            st.sampled_from(["7", "9"]),
        ),
        max_size=60,
    )
)
def test_whatever_is_recorded_no_turn_is_longer_than_the_recording(rows: list[tuple[float, str, float, str]]) -> None:
    for found in find_turns(gather("odd", [Sample(*row) for row in rows])):
        assert abs(found.degrees) >= 90 or found.quantity == "heading"
        assert 0 < found.seconds <= 400
        assert 0 <= found.in_band <= 1
        assert 0 <= found.longest_lapse <= found.seconds + 1e-9
