"""The guide of a steady turn tells the one who steers what to do now."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from garboard.samples import Sample
from garboard.steps import Guidance
from garboard_heading_calibration.guide import GUIDE, TurnSoFar, begin, show, take
from heading_jobs import job, samples


def follow(made: Iterable[Sample]) -> TurnSoFar:
    state = begin(job({}))
    for sample in made:
        state = take(state, sample)
    return state


def guided(made: Iterable[Sample]) -> Guidance:
    return show(follow(made))


@pytest.mark.parametrize(
    ("rate", "word", "on_target"),
    [
        (0.0, "turn faster", False),
        (1.9, "turn faster", False),
        (2.1, "hold it here", True),
        (-2.5, "hold it here", True),
        (2.9, "hold it here", True),
        (3.1, "turn slower", False),
    ],
)
def test_the_word_follows_the_rate_of_turn(rate: float, word: str, on_target: bool) -> None:
    guidance = guided(samples("rate_of_turn", lambda _t: rate, 30))
    assert (guidance.word, guidance.on_target, guidance.band) == (word, on_target, (2.0, 3.0))
    assert guidance.number == pytest.approx(abs(rate))


def test_progress_is_degrees_turned_of_those_wanted() -> None:
    guidance = guided(samples("rate_of_turn", lambda _t: 2.5, 90))
    assert guidance.progress == pytest.approx(0.5)
    assert guidance.lines == ("225 of 450 degrees to starboard", "100 % of the time in the band, 80 % wanted")
    assert not guidance.done


def test_the_turn_is_complete_when_enough_is_turned_evenly() -> None:
    even = guided(samples("rate_of_turn", lambda _t: -2.5, 181))
    assert (even.done, even.word, even.progress) == (True, "turn complete", 1.0)
    slow = guided(samples("rate_of_turn", lambda _t: 1.5, 400))
    assert (slow.done, slow.word, slow.progress) == (False, "turn faster", 1.0)


def test_a_heading_serves_when_no_rate_of_turn_is_sent() -> None:
    guidance = guided(samples("heading", lambda t: (300 + 2.5 * t) % 360, 90, every=1.0))
    assert guidance.number == pytest.approx(2.5)
    assert guidance.progress == pytest.approx(0.5)
    assert guidance.word == "hold it here"


def test_a_rate_of_turn_takes_over_from_a_heading_and_what_was_turned_is_kept() -> None:
    heading = samples("heading", lambda t: 2.5 * t % 360, 60)
    rate = [Sample(60 + s.time, *s[1:]) for s in samples("rate_of_turn", lambda _t: 2.5, 60)]
    state = follow([*heading, *rate, Sample(120.1, "heading", 10.0)])
    assert state.source == ("rate_of_turn", "", "")
    assert state.degrees == pytest.approx(300, abs=1)


def test_a_second_source_is_not_counted_on_top_of_the_first() -> None:
    both = sorted(
        [
            *samples("rate_of_turn", lambda _t: 2.5, 60, source="7"),
            *samples("rate_of_turn", lambda _t: 9.0, 60, source="9"),
        ]
    )
    assert follow(both).degrees == pytest.approx(150)


def test_another_source_takes_over_when_the_first_falls_silent() -> None:
    first = samples("rate_of_turn", lambda _t: 2.5, 60, source="7")
    second = [Sample(64 + s.time, *s[1:]) for s in samples("rate_of_turn", lambda _t: 2.0, 60, source="9")]
    assert follow([*first, *second]).degrees == pytest.approx(150 + 120)


def test_one_rough_sample_does_not_throw_the_big_number() -> None:
    made = samples("rate_of_turn", lambda t: 8.0 if abs(t - 30) < 0.05 else 2.5, 30)
    assert guided(made).number == pytest.approx(2.5 + 5.5 * 0.0488, abs=0.01)  # 1 - exp(-0.1 s / 2 s) of the step


def test_before_the_first_sample_it_waits() -> None:
    guidance = guided([])
    assert (guidance.number, guidance.word, guidance.progress) == (None, "waiting for the sensor", 0.0)


def test_the_shops_settings_steer_the_guide() -> None:
    view = job({}, settings={"band_low": "4 deg/s", "band_high": "6 deg/s", "circles": "2"})
    state = GUIDE.begin(view)
    assert (state.wanted.band, state.wanted.degrees) == ((4.0, 6.0), 720.0)


def test_unreadable_settings_leave_the_usual_turn() -> None:
    state = GUIDE.begin(job({}, settings={"band_low": "fast"}))
    assert state.wanted.band == (2.0, 3.0)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(0, 500),
            st.sampled_from(["rate_of_turn", "heading", "speed_over_ground"]),
            st.floats(allow_nan=True, allow_infinity=True),
            st.sampled_from(["7", "9"]),
        )
    )
)
def test_samples_in_any_order_with_any_value_never_break_the_guide(rows: list[tuple[float, str, float, str]]) -> None:
    guidance = guided(Sample(*row) for row in rows)
    assert guidance.word
    assert guidance.progress is None or 0 <= guidance.progress <= 1
