"""The live guide of a full-throttle run."""

from collections.abc import Iterable, Iterator

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from garboard.samples import Sample
from garboard.steps import Guidance
from garboard_prop_check.guide import GUIDE, State
from prop_check_jobs import host, job, vessel

TWIN = vessel(2)
GUIDE_OF_HOST = host().live_guides["prop_check.full_throttle"]


def samples(
    start: float, seconds: float, speed: float, *turns: float, hertz: int = 10, wobble: float = 0.0
) -> Iterator[Sample]:
    """Steady samples of speed and every engine."""
    for tick in range(round(seconds * hertz)):
        time = start + tick / hertz
        off = wobble if tick % 2 else -wobble
        yield Sample(time, "speed_over_ground", speed + off / 100, "35")
        for number, engine in enumerate(turns):
            yield Sample(time, "engine_speed", engine + off, "10", str(number))


def after(given_samples: Iterable[Sample], state: State | None = None) -> State:
    state = state or GUIDE.begin(job(TWIN))
    for sample in given_samples:
        state = GUIDE.take(state, sample)
    return state


def shown(given_samples: Iterable[Sample]) -> Guidance:
    return GUIDE.show(after(given_samples))


def test_the_guide_is_the_one_the_step_offers() -> None:
    """The host finds it under the key the step names."""
    assert GUIDE_OF_HOST is GUIDE


def test_before_anything_is_heard() -> None:
    """No number is invented; the person is told what is missing."""
    guidance = GUIDE.show(GUIDE.begin(job(TWIN)))
    assert (guidance.number, guidance.word) == (None, "no engine speed: port, starboard")
    assert guidance.lines == ("0 s at full throttle, ease off at 20 s",)
    assert (guidance.band, guidance.done, guidance.progress) == ((5400, 6000), False, 0)


@pytest.mark.parametrize(
    ("heard", "word"),
    [
        (samples(0, 1, 20, 4000), "no engine speed: starboard"),
        ([s for s in samples(0, 1, 20, 4000, 4000) if s.quantity == "engine_speed"], "no speed over ground"),
        (samples(0, 1, 20, 4000, 4000), "open up when clear"),
        (samples(0, 1, 41, 5800, 4800), "open up when clear"),
        (samples(0, 1, 41, 5800, 5800), "settling"),
        (samples(0, 5, 41, 5800, 5800, wobble=30), "hold it"),
        (samples(0, 9, 41, 5800, 5800), "ease off: run done"),
        (samples(0, 1, 41, 6200, 5800), "ease off: near the rev limiter"),
    ],
)
def test_what_the_guide_says(heard: Iterable[Sample], word: str) -> None:
    """One thing to do at a time; easing off, and nothing else, is urgent."""
    guidance = shown(heard)
    assert guidance.word == word
    assert guidance.urgent == word.startswith("ease off")


def test_engines_heard_by_their_names_are_told_as_by_their_numbers() -> None:
    """As Signal K servers call them."""
    names, heard = {"0": "port", "1": "starboard"}, list(samples(0, 9, 41, 5800, 5800))
    named = [one._replace(instance=names.get(one.instance, one.instance)) for one in heard]
    assert shown(named) == shown(heard)


def test_restless_readings_never_finish_and_time_runs_out() -> None:
    """Readings that never settle end at the shop's limit, not with a run."""
    heard = (s for n in range(25) for s in samples(n, 1, 35 + n, 5500 + 20 * n, 5500 + 20 * n))
    guidance = shown(heard)
    assert (guidance.word, guidance.done) == ("ease off: 20 s reached", False)


def test_the_shop_sets_the_seconds() -> None:
    """A shop that allows 10 s sees its own limit."""
    view = job(TWIN, settings={"prop_check.full_throttle_limit": "10 s", "prop_check.steady_seconds": "60 s"})
    state = after(samples(0, 10.5, 41, 5800, 5800), GUIDE.begin(view))
    assert GUIDE.show(state).word == "ease off: 10 s reached"
    assert GUIDE.show(state).lines[-1] == "10 s at full throttle, ease off at 10 s"


def test_a_setting_that_cannot_be_used_does_not_stop_the_guide() -> None:
    """Under way is no place to fail: the default holds."""
    view = job(TWIN, settings={"prop_check.full_throttle_limit": "soon"})
    assert GUIDE.show(GUIDE.begin(view)).lines == ("0 s at full throttle, ease off at 20 s",)


def test_number_and_lines() -> None:
    """The slowest engine is the big number; the small print names the engines, the speed and the time."""
    guidance = shown(samples(0, 5, 41, 5810, 5790))
    assert (guidance.number, guidance.unit, guidance.decimals, guidance.on_target) == (5790, "rev/min", 0, True)
    time = "5 s at full throttle, ease off at 20 s"
    assert guidance.lines == ("port 5810, starboard 5790", "41.0 kn over ground", time)
    in_metric = job(TWIN, [{"direction": "with", "speed": "76 km/h"}])
    state = after(samples(0, 5, 41, 5810, 5790), GUIDE.begin(in_metric))
    assert GUIDE.show(state).lines[1] == "75.9 km/h over ground"  # 41 x 1.852 is 75.93
    assert guidance.of == "lowest: starboard"
    assert guidance.progress == pytest.approx(4.9 / 8)


def test_done_stays_until_the_next_run() -> None:
    """Easing off keeps the run; opening up again starts the next one."""
    state = after(samples(0, 9, 41, 5800, 5800))
    state = after(samples(9, 5, 8, 1500, 1500), state)
    assert (GUIDE.show(state).done, GUIDE.show(state).word) == (True, "run done")
    state = after(samples(14, 1, 39, 5800, 5800), state)
    assert (GUIDE.show(state).done, GUIDE.show(state).word) == (False, "settling")


def test_a_reading_gone_silent_is_not_used() -> None:
    """An engine unheard for more than three seconds is missing, and the run is not steady."""
    state = after(samples(0, 5, 41, 5800, 5800))
    state = after(samples(5, 4, 41, 5800), state)
    guidance = GUIDE.show(state)
    assert guidance.word == "no engine speed: starboard"
    assert guidance.number is None, "nobody reads no engine speed over an engine speed"
    assert guidance.lines[0] == "port 5800"
    assert state.steady_since is None


def test_a_step_of_speed_starts_the_stretch_again() -> None:
    """Seconds before the step do not count for the run after it."""
    state = after([*samples(0, 6, 41, 5800, 5800), *samples(6, 6, 38, 5800, 5800)])
    assert not GUIDE.show(state).done
    assert GUIDE.show(after(samples(12, 3, 38, 5800, 5800), state)).done


def test_a_clock_set_back_starts_over() -> None:
    """A new recording with earlier times is not stuck behind the old one."""
    state = after([*samples(100, 5, 41, 5800, 5800), *samples(0, 2, 20, 4000, 4000)])
    assert state.time == pytest.approx(1.9)
    assert GUIDE.show(state).word == "open up when clear"


def test_other_quantities_and_unknown_engines_change_nothing() -> None:
    """Samples it did not ask for leave the state as it is."""
    state = GUIDE.begin(job(TWIN))
    for sample in (Sample(1, "fuel_flow", 30.0), Sample(1, "engine_speed", 5000.0, "10", "7")):
        assert GUIDE.take(state, sample) is state


def test_without_a_window_full_throttle_is_what_the_shop_says() -> None:
    """4500 rev/min counts, no band is drawn and nothing is on target."""
    bare = vessel(1, window=None, limiter=None)
    heard = [s for s in samples(0, 9, 35, 4600) if s.instance in ("", "0")]
    guidance = GUIDE.show(after(heard, GUIDE.begin(job(bare))))
    assert (guidance.done, guidance.band, guidance.on_target) == (True, None, False)
    slower = GUIDE.show(after(samples(0, 9, 35, 4400), GUIDE.begin(job(bare))))
    assert slower.word == "open up when clear"


def test_no_engine_at_all() -> None:
    """A boat without engines is told so."""
    state = GUIDE.begin(job(attrs.evolve(TWIN, engines=())))
    assert GUIDE.show(after(samples(0, 1, 5), state)).word == "no engine entered"


@given(
    st.lists(
        st.builds(
            Sample,
            st.floats(-10, 100),
            st.sampled_from(["engine_speed", "speed_over_ground", "heading"]),
            st.floats(-1e4, 1e4),
            st.just("10"),
            st.sampled_from(["", "0", "1", "2"]),
        ),
        max_size=40,
    )
)
def test_whatever_is_heard_there_is_something_to_show(heard: list[Sample]) -> None:
    """No order of samples stops the guide, and progress stays between none and all."""
    state = GUIDE.begin(job(TWIN))
    for sample in heard:
        state = GUIDE.take(state, sample)
        guidance = GUIDE.show(state)
        assert guidance.word
        assert guidance.progress is not None
        assert 0 <= guidance.progress <= 1
        assert len(guidance.lines) <= 3
