"""Plain functions on streams, against numpy, scipy and slow but obvious searches."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from garboard.samples import Recording, Sample, Stream, StreamKey, gather
from garboard.series import (
    Steady,
    compass_angle,
    engine_streams,
    is_frozen,
    mean,
    mean_direction,
    mean_of_means,
    signed_angle,
    standard_deviation,
    steady_stretches,
    turned,
    two_in_turn,
    unchanging_stretches,
    unwrapped,
)

angles = st.floats(-1e4, 1e4)
readings = st.floats(-1e6, 1e6)


def stream(times: list[float], values: list[float], quantity: str = "engine_speed") -> Stream:
    return Stream(StreamKey(quantity), tuple(times), tuple(values))


# Angles.


@given(angles)
def test_signed_angle_is_the_phase_of_the_unit_vector(angle: float) -> None:
    """Source: numpy.angle of exp(i angle); both wrap to above -180 up to 180."""
    by_numpy = np.angle(np.exp(1j * np.radians(angle)), deg=True)
    assert -180 < signed_angle(angle) <= 180
    assert math.isclose(math.cos(math.radians(signed_angle(angle) - by_numpy)), 1, abs_tol=1e-9)


@given(angles)
def test_compass_angle_stays_below_360(angle: float) -> None:
    """A direction never reads 360, and turning it by whole circles changes nothing."""
    assert 0 <= compass_angle(angle) < 360
    assert math.isclose(math.sin(math.radians(compass_angle(angle) - angle)), 0, abs_tol=1e-9)


def test_a_hair_below_north_reads_north() -> None:
    """A tiny negative angle rounds to 360 in floating point; it is shown as 0."""
    assert compass_angle(-1e-20) == 0


@given(st.lists(st.floats(0, 359.9), min_size=1, max_size=20))
def test_mean_direction_agrees_with_scipy(directions: list[float]) -> None:
    """Source: scipy.stats.circmean."""
    from scipy import stats

    assume(abs(np.exp(1j * np.radians(directions)).mean()) > 1e-3)
    by_scipy = stats.circmean(directions, high=360, low=0)
    assert abs(signed_angle(mean_direction(directions) - float(by_scipy))) < 1e-6


@given(st.lists(st.floats(0, 359.9), min_size=1, max_size=20), angles)
def test_mean_direction_turns_with_its_directions(directions: list[float], turn: float) -> None:
    """Turning every direction turns the mean by as much, north or no north in between."""
    assume(abs(np.exp(1j * np.radians(directions)).mean()) > 1e-3)
    turned_mean = mean_direction([angle + turn for angle in directions])
    assert abs(signed_angle(turned_mean - mean_direction(directions) - turn)) < 1e-6


@pytest.mark.parametrize("directions", [[], [0.0, 180.0], [90.0, 210.0, 330.0]])
def test_no_mean_direction_is_invented(directions: list[float]) -> None:
    """Directions that cancel out have no mean."""
    with pytest.raises(ValueError, match="expected"):
        mean_direction(directions)


@given(st.lists(st.floats(0, 359.9), min_size=1, max_size=50))
def test_unwrapped_agrees_with_numpy(directions: list[float]) -> None:
    """Source: numpy.unwrap with period 360, where no step is within a hair of half a circle."""
    assume(all(abs(abs(signed_angle(b - a)) - 180) > 1e-6 for a, b in itertools.pairwise(directions)))
    assert np.allclose(unwrapped(directions), np.unwrap(directions, period=360), atol=1e-6)


# Means and standard_deviation.


@given(st.lists(readings, min_size=1, max_size=50))
def test_mean_and_spread_agree_with_numpy(values: list[float]) -> None:
    """Source: numpy.mean and numpy.std with one degree of freedom taken off."""
    assert math.isclose(mean(values), float(np.mean(values)), rel_tol=1e-9, abs_tol=1e-6)
    by_numpy = float(np.std(values, ddof=1)) if len(values) > 1 else 0.0
    assert math.isclose(standard_deviation(values), by_numpy, rel_tol=1e-6, abs_tol=1e-6)


def test_mean_of_nothing_is_refused() -> None:
    """Nothing has no mean."""
    with pytest.raises(ValueError, match="at least one"):
        mean([])
    with pytest.raises(ValueError, match="at least one"):
        standard_deviation([])


@given(st.lists(readings, min_size=2, max_size=12))
def test_mean_of_means_weighs_runs_by_binomial_coefficients(runs: list[float]) -> None:
    """Source: Tupper, Introduction to Naval Architecture, pp. 243-245: (V1 + 3 V2 + 3 V3 + V4) / 8 and so on."""
    weights = [math.comb(len(runs) - 1, k) / 2 ** (len(runs) - 1) for k in range(len(runs))]
    assert math.isclose(mean_of_means(runs), float(np.dot(weights, runs)), rel_tol=1e-9, abs_tol=1e-6)


@given(
    st.integers(2, 8), st.floats(5, 60), st.lists(st.floats(-2, 2), min_size=7, max_size=7), st.sampled_from([1.0, 3.0])
)
def test_mean_of_means_removes_a_current_of_one_degree_less_than_the_runs(
    count: int, speed: float, polynomial: list[float], spacing: float
) -> None:
    """Runs taken with and against a current that follows a polynomial of degree count - 2 give the speed back."""
    current = np.polynomial.Polynomial(polynomial[: count - 1])
    runs = [speed + (-1) ** run * float(current(run * spacing)) for run in range(count)]
    assert math.isclose(mean_of_means(runs), speed, rel_tol=1e-6, abs_tol=1e-5)


def test_one_run_has_no_mean_of_means() -> None:
    """One run cannot tell boat speed from current."""
    with pytest.raises(ValueError, match="at least two opposite runs, got 1"):
        mean_of_means([30.0])


# Turning.


@given(
    st.lists(
        st.tuples(st.floats(0.05, 1.9), st.floats(-20, 20)),
        min_size=2,
        max_size=60,
    )
)
def test_turned_agrees_with_scipy(steps: list[tuple[float, float]]) -> None:
    """Source: scipy.integrate.trapezoid, where no silence is too long."""
    from scipy import integrate

    times = list(np.cumsum([step for step, _ in steps]))
    rates = [rate for _, rate in steps]
    assert math.isclose(turned(stream(times, rates)), float(integrate.trapezoid(rates, times)), abs_tol=1e-6)


def test_turned_leaves_silences_out() -> None:
    """A minute without samples counts no degrees; what lies on either side counts."""
    assert turned(stream([0, 1, 61, 62], [3, 3, 3, 3])) == 6


def test_turned_starboard_is_positive_and_port_negative() -> None:
    """A circle to port and one to starboard cancel."""
    assert turned(stream([0, 1], [-2, -2])) == -2


# Steady stretches.

Plain = tuple[float, float]


def obvious_stretches(
    streams: dict[str, Stream], tolerance: dict[str, float], seconds: float, longest_gap: float
) -> list[Plain]:
    """Try every window of the ticks not yet taken, keep the longest, and start over: slow, but nothing to get wrong."""
    ticks = sorted({time for one in streams.values() for time in one.times})
    free = set(ticks)

    def heard_throughout(one: Stream, start: float, end: float) -> bool:
        before = [time for time in one.times if time <= start]
        after = [time for time in one.times if time >= end]
        if not before or not after:
            return False
        around = [time for time in one.times if max(before) <= time <= min(after)]
        gaps = itertools.pairwise(around)
        return all(b - a <= longest_gap for a, b in gaps)

    def holds(start: float, end: float) -> bool:
        if not all(tick in free for tick in ticks if start <= tick <= end):
            return False
        for name, one in streams.items():
            values = [value for time, value in one if start <= time <= end]
            if not heard_throughout(one, start, end):
                return False
            if values and max(values) - min(values) > 2 * tolerance[name] + 1e-9:
                return False
        return True

    found: list[Plain] = []
    while True:
        windows = [(a, b) for a in ticks for b in ticks if b - a >= seconds and holds(a, b)]
        if not windows:
            return sorted(found)
        start, end = min(windows, key=lambda window: (window[0] - window[1], window))
        free -= {tick for tick in ticks if start <= tick <= end}
        if all(any(start <= time <= end for time in one.times) for one in streams.values()):
            found.append((start, end))


def plain(stretches: tuple[Steady, ...]) -> list[Plain]:
    return [(stretch.start, stretch.end) for stretch in stretches]


@st.composite
def small_streams(draw: st.DrawFn) -> dict[str, Stream]:
    made = {}
    for name in draw(st.sampled_from([("a",), ("a", "b")])):
        times = sorted(draw(st.lists(st.integers(0, 14), min_size=0, max_size=14)))
        values = draw(st.lists(st.integers(0, 4), min_size=len(times), max_size=len(times)))
        made[name] = stream([float(time) for time in times], [float(value) for value in values])
    return made


@settings(deadline=None)
@given(small_streams(), st.sampled_from([0.0, 0.5, 1.0]), st.sampled_from([0.0, 1.0, 3.0]), st.sampled_from([1.0, 3.0]))
def test_steady_stretches_agree_with_trying_every_window(
    streams: dict[str, Stream], half_width: float, seconds: float, longest_gap: float
) -> None:
    """Same stretches as a search that tries every window, silences, simultaneous samples and slow streams included."""
    tolerance = dict.fromkeys(streams, half_width)
    by_search = obvious_stretches(streams, tolerance, seconds, longest_gap)
    assert plain(steady_stretches(streams, tolerance, seconds, longest_gap)) == by_search


@given(small_streams(), st.sampled_from([0.0, 0.5, 1.0]))
def test_means_and_standard_deviations_are_those_of_the_samples_in_the_stretch(
    streams: dict[str, Stream], half_width: float
) -> None:
    """Source: numpy over the samples between start and end."""
    for stretch in steady_stretches(streams, dict.fromkeys(streams, half_width), 2.0):
        for name, one in streams.items():
            values = [value for time, value in one if stretch.start <= time <= stretch.end]
            assert math.isclose(stretch.means[name], float(np.mean(values)), abs_tol=1e-9)
            assert max(values) - min(values) <= 2 * half_width + 1e-9


def test_a_run_between_speeding_up_and_slowing_down_is_cut_out() -> None:
    """Thirty steady seconds are found between two ramps, with their means."""
    times = [float(second) for second in range(71)]
    speed = [20 + second / 2 if second < 20 else 30.0 if second <= 50 else 30 - (second - 50) / 2 for second in times]
    turns = [6000.0 if 20 <= second <= 50 else 4000 + 2 * second for second in times]
    streams = {"speed": stream(times, speed, "speed_over_ground"), "engine": stream(times, turns)}
    (found,) = steady_stretches(streams, {"speed": 0.4, "engine": 50}, 10)
    assert (found.start, found.end, found.seconds) == (20, 50, 30)
    assert found.means == {"speed": 30, "engine": 6000}


def test_two_plateaus_close_together_are_both_found() -> None:
    """The second plateau is not lost because its window reaches a little into the first, longer one."""
    times = [float(second) for second in range(100)]
    values = [3000.0 if second < 50 else 3070.0 if second < 55 else 3110.0 for second in times]
    found = steady_stretches({"engine": stream(times, values)}, {"engine": 50}, 20)
    assert plain(found) == [(0, 54), (55, 99)]


def test_a_single_sample_left_over_is_a_stretch_of_no_length() -> None:
    """With no shortest length asked for, what a longer stretch leaves over still counts."""
    found = steady_stretches({"a": stream([0, 1, 2, 3], [0.0, 1.0, 1.5, 2.0])}, {"a": 0.5}, 0)
    assert plain(found) == [(0, 0), (1, 3)]


def test_silence_ends_a_stretch() -> None:
    """A dropout longer than the gap splits an otherwise steady run, even when another stream goes on."""
    times = [float(second) for second in range(60)]
    steady = {"a": stream(times, [1.0] * 60), "b": stream([t for t in times if not 20 < t < 40], [1.0] * 41)}
    assert plain(steady_stretches(steady, {"a": 0.1, "b": 0.1}, 5)) == [(0, 20), (40, 59)]


def test_a_stream_heard_late_or_never_is_not_steady() -> None:
    """The stretch starts when the last stream is heard for the first time; a stream never heard gives no stretch."""
    times = [float(second) for second in range(60)]
    late = {"a": stream(times, [1.0] * 60), "b": stream(times[30:], [1.0] * 30)}
    assert plain(steady_stretches(late, {"a": 0.1, "b": 0.1}, 5)) == [(30, 59)]
    assert steady_stretches({"a": late["a"], "b": stream([], [])}, {"a": 0.1, "b": 0.1}, 5) == ()
    assert steady_stretches({}, {}, 5) == ()


def test_a_reading_at_the_very_edge_of_the_tolerance_counts() -> None:
    """30.6 - 30.0 is a hair above 0.6 in floating point, and still within plus or minus 0.3."""
    assert plain(steady_stretches({"a": stream([0, 1, 2], [30.0, 30.6, 30.3])}, {"a": 0.3}, 2)) == [(0, 2)]


def test_a_tolerance_below_zero_is_refused() -> None:
    """A tolerance below zero, or none, is a mistake and not an empty result."""
    with pytest.raises(ValueError, match="zero or above"):
        steady_stretches({"a": stream([0.0], [1.0])}, {"a": -1.0}, 1)
    with pytest.raises(ValueError, match="zero or above"):
        steady_stretches({"a": stream([0.0], [1.0])}, {"a": math.nan}, 1)


class Counted(float):
    """A float that counts how often it is compared or subtracted."""

    uses = 0

    def __ge__(self, other: float) -> bool:
        Counted.uses += 1
        return float(self) >= float(other)

    def __le__(self, other: float) -> bool:
        Counted.uses += 1
        return float(self) <= float(other)

    def __sub__(self, other: float) -> float:
        Counted.uses += 1
        return float(self) - float(other)


@pytest.mark.parametrize(
    "shape",
    [lambda k: k * 0.01, lambda k: -k * 0.01, lambda k: (k * 7919) % 13, lambda k: 0.0, lambda k: 50 * math.sin(k)],
    ids=["drift up", "drift down", "jitter", "flat", "wild"],
)
def test_the_work_grows_no_faster_than_the_recording(shape: object) -> None:
    """Comparisons stay below a few a sample, however long a window within tolerance gets."""
    assert callable(shape)
    for count in (2_000, 8_000):
        Counted.uses = 0
        values = tuple(Counted(shape(k)) for k in range(count))
        steady_stretches({"a": Stream(StreamKey("a"), tuple(map(float, range(count))), values)}, {"a": 4}, 5)
        assert Counted.uses <= 8 * count


# Engines of a recording.


def recording_of(*instances: str) -> Recording:
    return gather("run", [Sample(0.0, "engine_speed", 1000.0 + n, "30", i) for n, i in enumerate(instances)])


def values_of(streams: tuple[Stream | None, ...]) -> list[float | None]:
    return [one.values[0] if one else None for one in streams]


def test_engines_are_told_apart_by_instance() -> None:
    """Instance 0 is port, counting to starboard; an engine nobody hears has no stream."""
    assert values_of(engine_streams(recording_of("1", "0"), "engine_speed", 3)) == [1001.0, 1000.0, None]


def test_an_engine_without_instance_is_the_first() -> None:
    """A log that names no instance speaks of the only engine."""
    assert values_of(engine_streams(recording_of(""), "engine_speed", 1)) == [1000.0]


def test_an_instance_entered_for_an_engine_wins() -> None:
    """A shop that numbered its engines the other way round is believed."""
    assert values_of(engine_streams(recording_of("0", "1"), "engine_speed", 2, (1, 0))) == [1001.0, 1000.0]


@pytest.mark.parametrize(
    ("heard", "instances", "found"),
    [
        (("starboard", "port"), (), [1001.0, 1000.0]),
        (("port", "starboard"), (1, 0), [1001.0, 1000.0]),  # a server calls instance 0 port, whatever it is
        (("main",), (), [1000.0]),
        (("port",), (), [1000.0]),
        (("starboard",), (), [None]),
        (("port", "centre", "starboard"), (), [1000.0, None, None]),  # is starboard the second or the third?
    ],
)
def test_an_engine_may_be_heard_by_a_name(
    heard: tuple[str, ...], instances: tuple[int, ...], found: list[float | None]
) -> None:
    """As Signal K servers call engines."""
    assert values_of(engine_streams(recording_of(*heard), "engine_speed", len(found), instances)) == found


@pytest.mark.parametrize("entered", [(0, 0), (1, None), (None, 0)])
def test_no_stream_stands_for_two_engines(entered: tuple[int | None, int | None]) -> None:
    """A number that two engines have, entered or by their place, tells nothing of either; a third is heard."""
    recording = recording_of("0", "1", "2")
    assert engine_streams(recording, "engine_speed", 2, entered) == (None, None)
    assert values_of(engine_streams(recording, "engine_speed", 3, entered)) == [None, None, 1002.0]


# Readings that stand still.


def read(values: list[float]) -> Stream:
    return Stream(StreamKey("heading"), tuple(map(float, range(len(values)))), tuple(values))


@pytest.mark.parametrize(
    ("values", "frozen"), [([87.0] * 30, True), ([87.0] * 29 + [87.01], False), ([87.0] * 9, False)]
)
def test_a_stream_of_one_value_is_frozen_once_it_is_long_enough(values: list[float], frozen: bool) -> None:
    assert is_frozen(read(values)) is frozen


def test_few_samples_far_apart_are_not_frozen() -> None:
    assert not is_frozen(Stream(StreamKey("heading"), (0.0, 50.0, 100.0), (1.0, 1.0, 1.0)))


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(1, 60)), max_size=8))
def test_unchanging_stretches_are_the_long_runs_of_one_value(runs: list[tuple[int, int]]) -> None:
    values = [float(value) for value, count in runs for _ in range(count)]
    found = unchanging_stretches(read(values))
    longest = {(len(list(alike)), value) for value, alike in itertools.groupby(values)}
    assert {(len(part), part.values[0]) for part in found} == {(n, v) for n, v in longest if n > 20}


NOISE = np.random.default_rng(1).normal(0.0, 1.0, 120)


@pytest.mark.parametrize(
    "values",
    [
        700 + 15 * NOISE,  # an engine that idles unevenly: its speed goes up and down at nearly every value
        700 + 60 * np.sin(np.arange(120)),  # and one that hunts
        np.linspace(700, 5800, 120),
        np.repeat([700.0, 5800.0, 700.0, 5800.0], 30),  # a throttle opened and closed
        np.where(NOISE > 0, 700.0, 650.0),  # a gauge that shows whole 50s
        np.tile([700.0, 850.0], 9),  # too few
        np.where(NOISE > 1.5, 0.0, 700.0),  # values lost now and then
        np.full(120, 700.0),
    ],
)
def test_one_instrument_is_not_taken_for_two(values: np.ndarray) -> None:
    assert two_in_turn(list(values), 100.0) is None


@pytest.mark.parametrize(("first", "second"), [(700.0, 850.0), (5800.0, 5600.0), (700.0, 0.0)])
def test_two_instruments_under_one_name_are_told(first: float, second: float) -> None:
    """Each a little uneven; now and then one is heard twice."""
    turns = [first if number % 2 else second for number in range(120)]
    turns[40:40], turns[80:80] = [first], [second]
    values = [value + noise for value, noise in zip(turns, [*NOISE, *NOISE[:2]], strict=True)]
    assert two_in_turn(values, 100.0) == pytest.approx(tuple(sorted((first, second))), abs=1.0)
