"""The guide tells when a step has been held long enough, and agrees with what is later cut from the recording."""

from collections.abc import Iterable
from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders import boat, job_view
from examples import examples
from garboard.samples import Sample, gather
from garboard.series import steady_stretches
from garboard_fuel_curve.guide import STEADY, Watch, begin, show, take

TWINS = job_view(boat(2), {})


def second(time: float, engine_speed: float, flow: float = 20.0, speed: float = 12.0, engines: int = 2) -> list[Sample]:
    samples = [Sample(time, "speed_over_ground", speed, "7")]
    for engine in range(engines):
        samples.append(Sample(time, "engine_speed", engine_speed, "1", str(engine)))
        samples.append(Sample(time, "fuel_flow", flow, "1", str(engine)))
    return samples


def after(samples: Iterable[Sample], start: Watch | None = None) -> Watch:
    watch = begin(TWINS) if start is None else start
    for sample in samples:
        watch = take(watch, sample)
    return watch


def held(seconds: int, engine_speed: float = 3000, start: float = 0.0) -> list[Sample]:
    return [sample for time in range(seconds + 1) for sample in second(start + time, engine_speed)]


@pytest.mark.parametrize(
    ("seconds", "word", "done"),
    [
        (0, "settling", False),
        (4, "settling", False),
        (5, "hold", False),
        (19, "hold", False),
        (20, "take it now", True),
    ],
)
def test_the_word_follows_the_seconds_held(seconds: int, word: str, done: bool) -> None:
    shown = show(after(held(seconds)))
    assert (shown.word, shown.done, shown.on_target) == (word, done, done)
    assert shown.progress == pytest.approx(seconds / 20)
    assert shown.number == 3000
    assert shown.unit == "rev/min"


@pytest.mark.parametrize(("entered", "heard"), [((1, 0), True), ((4, 0), False), ((0, 0), False)])
def test_engines_are_heard_by_the_numbers_entered(entered: tuple[int, int], heard: bool) -> None:
    numbered = zip(boat(2).engines, entered, strict=True)
    vessel = attrs.evolve(boat(2), engines=tuple(attrs.evolve(one, network_instance=its) for one, its in numbered))
    watch = after(held(20), begin(job_view(vessel, {})))
    assert (show(watch).done, watch.missing == ()) == (heard, heard)


def named(samples: Iterable[Sample]) -> list[Sample]:
    """The same with engines called as Signal K servers call them."""
    names = {"0": "port", "1": "starboard"}
    return [one._replace(instance=names.get(one.instance, one.instance)) for one in samples]


def test_engines_heard_by_their_names_are_told_as_by_their_numbers() -> None:
    assert show(after(named(held(20)))) == show(after(held(20)))


def test_the_lines_tell_speed_total_flow_and_seconds() -> None:
    shown = show(after(held(12)))
    # 2 x 20 L/h over 3.785411784 L/gal is 10.567 gal/h.
    assert shown.lines == ("Speed 12.0 kn", "Fuel 10.6 gal/h", "Steady 12 of 20 s")
    typed = {
        ("prop_check.full_throttle", "speed", "1", ""): "60 km/h",
        ("fuel_curve.tanks", "usable_fuel", "", ""): "90 L",
    }
    shown = show(after(held(12), begin(job_view(boat(2), typed))))
    assert shown.lines[:2] == ("Speed 22.2 km/h", "Fuel 40.0 L/h")


@pytest.mark.parametrize(
    "change",
    [{"engine_speed": 3101.0}, {"engine_speed": 3000.0, "flow": 23.9}, {"engine_speed": 3000.0, "speed": 13.5}],
)
def test_anything_that_moves_beyond_its_tolerance_starts_the_wait_again(change: dict[str, Any]) -> None:
    watch = after(second(16.0, **change), after(held(15)))
    assert show(watch).word == "settling"
    assert watch.seconds == 0.0


def test_a_wobble_within_tolerance_does_not() -> None:
    samples = [one for time in range(21) for one in second(time, 3000 + 50 * (time % 3 - 1), 20 + time % 2, 12.0)]
    assert show(after(samples)).word == "take it now"


def test_a_new_throttle_step_is_waited_for_anew() -> None:
    watch = after(held(25))
    assert show(watch).done
    watch = after(held(10, 3500, start=26.0), watch)
    assert show(watch).word == "hold"
    watch = after(held(10, 3500, start=37.0), watch)
    assert show(watch).done


def test_a_drift_too_slow_to_see_still_starts_the_wait_again() -> None:
    samples = [one for time in range(61) for one in second(time, 3000 + 6 * time)]
    words = set()
    watch = begin(TWINS)
    for sample in samples:
        watch = take(watch, sample)
        words.add(show(watch).word)
    assert "take it now" not in words


@pytest.mark.parametrize(
    ("quantity", "instance", "word"),
    [
        ("engine_speed", "1", "no engine speed: starboard"),
        ("fuel_flow", "0", "no fuel flow: port"),
        ("speed_over_ground", "", "no speed over ground"),
    ],
)
def test_what_is_not_heard_is_said(quantity: str, instance: str, word: str) -> None:
    samples = [one for one in held(30) if (one.quantity, one.instance) != (quantity, instance)]
    shown = show(after(samples))
    assert shown.word == word
    assert (shown.number is None) == (quantity == "engine_speed"), "no number stands for an engine not heard"
    assert shown.progress == 0.0
    assert not shown.done


def test_nothing_heard_shows_no_number() -> None:
    """Nor does a number stand for either engine, and no run is seen."""
    shown = show(begin(TWINS))
    assert (shown.number, shown.word, shown.progress) == (None, "no engine speed: port", 0.0)
    assert shown.columns == (("port", None), ("starboard", None))
    assert shown.under_way is False


def test_a_silence_starts_the_wait_again() -> None:
    watch = after(held(15, start=19.0), after(held(15)))
    assert watch.seconds == 15.0


def test_a_second_sensor_of_the_same_thing_is_left_aside() -> None:
    samples = [one for time in range(21) for one in (*second(time, 3000), Sample(time, "speed_over_ground", 40.0, "9"))]
    assert show(after(samples)).word == "take it now"


def test_a_clock_set_back_begins_again_and_a_late_sample_is_left_aside() -> None:
    late = Sample(14.0, "engine_speed", 900.0, "1", "0")
    assert after([late], after(held(15))) == after(held(15))
    watch = after(held(7, start=-1000.0), after(held(15)))
    assert watch.seconds == 7.0


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_sample_without_a_number_changes_nothing(value: float) -> None:
    watch = after(held(15))
    assert take(watch, Sample(15.5, "engine_speed", value, "1", "0")) == watch
    assert take(watch, Sample(15.5, "heading", 10.0, "1")) == watch
    assert take(watch, Sample(15.5, "engine_speed", 10.0, "1", "5")) == watch


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(st.tuples(st.floats(600, 6000), st.integers(1, 40)), min_size=1, max_size=6))
def test_whatever_the_guide_takes_is_found_in_the_recording(holds: list[tuple[float, int]]) -> None:
    """What the helm was told to read is a steady stretch for the cut of the recording as well."""
    samples: list[Sample] = []
    time = 0.0
    for engine_speed, seconds in holds:
        for _ in range(seconds):
            samples += second(time, engine_speed, engine_speed / 100, engine_speed / 150, engines=1)
            time += 1.0
    watch = begin(job_view(boat(1), {}))
    ready = []
    for sample in samples:
        watch = take(watch, sample)
        if show(watch).done:
            ready.append((watch.since, watch.now))
    recording = gather("run", samples)
    streams = {stream.key.quantity: stream for stream in recording.streams.values()}
    found = steady_stretches(streams, watch.tolerance, watch.wanted)
    assert all(any(one.start < end and one.end > start for one in found) for start, end in ready)


def test_the_guide_is_the_one_the_step_names() -> None:
    assert STEADY.key == "fuel_curve.step"
    assert STEADY.begin(TWINS) == begin(TWINS)
