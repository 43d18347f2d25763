"""Full-throttle runs: typed, cut from a recording, and averaged."""

import math
from collections.abc import Iterator

import attrs
import pytest

from builders import findings_of
from garboard.findings import Lack, Missing, NotEnoughData, Verdict
from garboard.job_view import FieldKey, JobView
from garboard.records import JsonValue
from garboard.samples import Recording, Sample, gather
from garboard.series import signed_angle
from garboard_prop_check.averages import average_engine_speed, average_speed, sides
from garboard_prop_check.runs import Reading, Run, runs_of
from prop_check_jobs import RUNS, amount, host, job, recorded, two_ways, vessel

BOAT = vessel(1)
TWIN = vessel(2)
HOST = host()


def run(name: str = "run 1", *, course: float | None = None, side: str = "") -> Run:
    return Run(name=name, speed=Reading(30, "kn"), engine_speed={}, course=course, side=side)


def seldom(quantity: str) -> Recording:
    """Full throttle held well, of which one quantity comes every 5 s."""
    trial = recorded([(30, 41.0, 10, (5800, 5800))])
    return attrs.evolve(trial, streams={
        key: attrs.evolve(stream, times=stream.times[::25], values=stream.values[::25])
        if key.quantity == quantity else stream for key, stream in trial.streams.items()
    })  # fmt: skip


def as_one(quantity: str, less: float) -> Recording:
    """Full throttle held well; a second instrument under the same name sends less of one quantity."""
    trial = recorded([(30, 41.0, 10, (5800, 5800))])
    second = [
        Sample(time + 0.1, key.quantity, value - less, key.source, key.instance, key.reference)
        for key, stream in trial.streams.items()
        if key.quantity == quantity
        for time, value in stream
    ]
    first = [Sample(t, key.quantity, v, *key[1:]) for key, stream in trial.streams.items() for t, v in stream]
    return gather("sea trial", sorted([*first, *second]))


def reasons_of(view: JobView) -> str:
    """Why there is no average speed."""
    with pytest.raises(NotEnoughData) as missing:
        average_speed(view, runs_of(view))
    return "; ".join(missing.value.reasons)


def test_typed_runs_come_in_the_order_they_were_written() -> None:
    """Row by row, with what the last digit typed is worth; what display and eye add is the shop's to say."""
    first, second = runs_of(job(TWIN, two_ways(TWIN, "5800 rev/min", ("41.0 kn", "39 kn"))))
    assert isinstance(first.speed, Reading)
    assert first.speed.digit == pytest.approx(0.1)
    assert attrs.evolve(first.speed, digit=0.1) == Reading(41.0, "kn", 0.1, place=(RUNS, "speed", "1", ""))
    assert second.speed == Reading(39.0, "kn", 1, place=(RUNS, "speed", "2", ""))
    view = HOST.with_defaults(job(TWIN))
    assert isinstance(second.speed, Reading)
    assert second.speed.read_off(view) == attrs.evolve(second.speed, deviation=0.05)
    for position in ("port", "starboard"):
        of_engine = first.engine_speed[position]
        assert isinstance(of_engine, Reading)
        assert of_engine == Reading(5800, "rev/min", place=(RUNS, "engine_speed", "1", position))
        assert of_engine.read_off(view) == attrs.evolve(of_engine, digit=10, deviation=8)
    assert (first.side, second.side) == ("with", "against")


def test_speed_typed_in_miles_an_hour_is_knots_inside() -> None:
    """46.0 mph is 39.97 kn, and its last digit 0.087 kn; by hand 46 x 1609.344 / 1852."""
    speed = runs_of(job(BOAT, [{"speed": "46.0 mph", "centre": "5800 rev/min"}]))[0].speed
    assert isinstance(speed, Reading)
    assert speed.value == pytest.approx(39.973, abs=0.001)
    assert speed.digit == pytest.approx(0.08690, rel=1e-3)


def test_average_of_two_ways() -> None:
    """Mean 40.0, current 1.0."""
    view = job(BOAT, two_ways(BOAT))
    average = average_speed(view, runs_of(view))
    assert (average.value, average.current) == pytest.approx((40.0, 1.0))
    assert average.runs == 2
    assert average.method == "mean of two opposite runs"


def test_scatter_widens_the_interval() -> None:
    """Four runs: 41.0 and 41.8 with, 39.0 and 39.0 against. Speed, current and a current that changes steadily leave
    one degree of freedom. By hand: 41, -39, 41.8, -39 as current c + d t about V; the rest is 0.2, -0.2, -0.2, 0.2
    (least squares), squares 0.16: s = sqrt((6 x 0.0169 + 0.16) / 7) = 0.193 in place of 0.13."""
    calm = job(BOAT, two_ways(BOAT, speeds=("41.0 kn", "39.0 kn") * 2))
    rougher = job(BOAT, two_ways(BOAT, speeds=("41.0 kn", "39.0 kn", "41.8 kn", "39.0 kn")))
    of_calm, of_rougher = (average_speed(view, runs_of(view)) for view in (calm, rougher))
    assert of_rougher.value == pytest.approx((41.0 + 3 * 39.0 + 3 * 41.8 + 39.0) / 8)
    assert of_rougher.method == "mean of means of 4 runs"
    for average, deviation in ((of_calm, 0.120), (of_rougher, 0.193)):
        part = average.measured.parts[0]
        assert part.standard_uncertainty == pytest.approx(deviation * math.sqrt(1 + 9 + 9 + 1) / 8, abs=0.001)
        assert part.degrees_of_freedom == 7
    assert of_rougher.expanded_uncertainty > of_calm.expanded_uncertainty


def test_runs_not_by_turns_are_averaged_by_side() -> None:
    """Two with, one against: each side counts once, so the weights are a quarter, a quarter and a half."""
    runs = two_ways(BOAT, speeds=("41.0 kn", "41.4 kn", "39.0 kn"))
    for made, side in zip(runs, ("with", "with", "against"), strict=True):
        made["direction"] = side
    view = job(BOAT, runs)
    average = average_speed(view, runs_of(view))
    assert average.value == pytest.approx((41.2 + 39.0) / 2)
    assert average.method == "mean of both ways, 2 and 1 runs"
    assert average.measured.parts[0].standard_uncertainty == pytest.approx(0.13 * math.sqrt(3 / 8), abs=0.001)


def test_runs_all_one_way_give_no_speed() -> None:
    """One direction cannot tell boat from current."""
    runs = two_ways(BOAT)
    runs[1]["direction"] = "with"
    assert "all runs went one way" in reasons_of(job(BOAT, runs))
    assert "all runs went one way" in reasons_of(job(BOAT, runs[:1]))


def test_no_runs_at_all() -> None:
    """An empty step says what to do."""
    assert reasons_of(job(BOAT)) == "no full-throttle run is entered; make one run each way"


def test_missing_readings_are_all_named() -> None:
    """Every run without speed is named in one go."""
    runs = two_ways(BOAT, speeds=("41.0 kn", "39.0 kn", "41.0 kn"))
    del runs[0]["speed"], runs[2]["speed"]
    told = reasons_of(job(BOAT, runs))
    assert told == "speed, row 1 is not entered; speed, row 3 is not entered"


def test_values_that_disagree_are_not_used() -> None:
    """A run under dispute is neither dropped nor guessed, even when nothing else of it is left."""
    place = (RUNS, "speed", "2", "")
    assert "speed, row 2: values disagree, choose one" in reasons_of(job(BOAT, two_ways(BOAT), disagreements=[place]))
    only = job(BOAT, two_ways(BOAT)[:1], disagreements=[place])
    assert "speed, row 2: values disagree" in reasons_of(only)


@pytest.mark.parametrize("turned", ["700 rev/min", "97 rev/min"])
def test_an_engine_at_idle_or_told_in_turns_a_second_is_no_full_throttle(turned: str) -> None:
    """It was told that the engine labours, and that even 4 in less pitch would leave it at 1499 rev/min."""
    view = job(BOAT, two_ways(BOAT, turned, ("2.5 kn", "2.4 kn")))
    for finding in (
        one for key in ("pitch", "speed", "window", "slip") for one in findings_of(host(), view, f"prop_check.{key}")
    ):
        assert finding.verdict is Verdict.NOT_ENOUGH_DATA, finding.code
        assert "is no full throttle of the centre engine" in finding.sentence


@pytest.mark.parametrize(("typed", "shown"), [("0 kn", "0"), ("-5 kn", "−5"), ("9999 kn", "9999")])
def test_impossible_speeds_are_named(typed: str, shown: str) -> None:
    """A slip of the finger is a reason, not a number."""
    assert f"it reads {shown}" in reasons_of(job(BOAT, two_ways(BOAT, speeds=(typed, "39 kn"))))


@pytest.mark.parametrize(
    ("courses", "expected"),
    [
        ((10, 190), (1, -1)),
        ((350, 170, 10, 190), (1, -1, 1, -1)),
        ((0, 200), (1, -1)),
        ((359, 19), (1, 1)),
        ((0.0, 160.0), (1, -1)),
    ],
)
def test_courses_tell_the_sides(courses: tuple[float, ...], expected: tuple[int, ...]) -> None:
    """Opposite within 20 degrees, across north too."""
    assert sides([run(course=course) for course in courses], 20) == expected


@pytest.mark.parametrize("course", [21, 90, 159, 201, 339])
def test_a_course_off_the_line_is_refused(course: float) -> None:
    """A run across the others does not take the current out."""
    with pytest.raises(NotEnoughData, match=rf"run 2: course {course} is neither"):
        sides([run(course=0), run("run 2", course=course)], 20)


def test_sides_unsaid() -> None:
    """With neither course nor side for some run there is no telling."""
    with pytest.raises(NotEnoughData, match="run 2: say with or against for every run, or give every course"):
        sides([run(course=0), run("run 2")], 20)
    with pytest.raises(NotEnoughData, match="run 1: say with or against"):
        sides([run(side=""), run("run 2", side="with")], 20)


@pytest.mark.parametrize(("course", "kept"), [("0 deg", 0), ("360 deg", 360), ("361 deg", None), ("-1 deg", None)])
def test_a_course_off_the_compass_is_not_used(course: str, kept: float | None) -> None:
    """Courses run from 0 to 360."""
    assert runs_of(job(BOAT, [{"course": course, "speed": "40 kn"}]))[0].course == kept


def test_with_or_against_needs_no_course_and_overrides_none() -> None:
    """When every run says its side, courses are not asked; a course that is known must fit."""
    assert sides([run(course=0, side="with"), run(side="against")], 20) == (1, -1)
    assert sides([run(course=0, side="with"), run(course=170, side="against")], 20) == (1, -1)
    with pytest.raises(NotEnoughData, match="contradict each other"):
        sides([run(course=0, side="with"), run(course=90, side="against")], 20)


# Recordings.

SEA_TRIAL = recorded(
    [
        (20, 6.0, 10, (900, 900)),
        (15, 41.0, 10, (5810, 5790)),
        (20, 5.0, 100, (900, 900)),
        (12, 39.0, 190, (5790, 5770)),
        (10, 30.0, 190, (4200, 4200)),
    ]
)


def test_one_recording_gives_all_runs() -> None:
    """Two full-throttle stretches are cut out with their means and courses; idling and cruising are left."""
    view = job(TWIN, recordings={"trial": SEA_TRIAL}, more={(RUNS, "all_runs", "", ""): {"file": "trial"}})
    first, second = runs_of(view)
    assert isinstance(first.speed, Reading)
    assert first.speed.value == pytest.approx(41.0, abs=0.01)
    assert [first.course, second.course] == [pytest.approx(10), pytest.approx(190)]
    port = second.engine_speed["port"]
    assert isinstance(port, Reading)
    assert port.value == pytest.approx(5790, abs=0.5)
    average = average_speed(view, runs_of(view))
    assert (average.value, average.current) == pytest.approx((40.0, 1.0), abs=0.01)


def test_a_run_whose_speed_stood_still_has_no_speed() -> None:
    """The receiver froze for the second run: its speed passed as if read."""
    trial = recorded([(30, 41.0, 10, (5800, 5790)), (30, 12.0, 100, (2500, 2500)), (30, 39.0, 190, (5800, 5790))])
    samples = [
        Sample(time, key.quantity, 39.0 if key.quantity == "speed_over_ground" and time >= 1035 else value, *key[1:])
        for key, stream in trial.streams.items()
        for time, value in stream
    ]
    view = job(
        TWIN, recordings={"trial": gather("trial", samples)}, more={(RUNS, "all_runs", "", ""): {"file": "trial"}}
    )
    first, second = runs_of(view)
    assert isinstance(first.speed, Reading)
    assert isinstance(second.speed, Missing)
    assert (second.speed.lack, second.speed.field) == (Lack.CONTRADICTS, "all_runs")
    assert isinstance(second.engine_speed["port"], Reading)
    assert "run 2: speed over ground did not change at all" in reasons_of(view)
    rows: list[dict[str, JsonValue]] = [{"recording": {"file": "trial"}, "course": "190 deg"}]
    (by_row,) = runs_of(job(TWIN, rows, recordings={"trial": gather("trial", samples)}))
    assert isinstance(by_row.speed, Missing)
    assert (by_row.speed.field, by_row.speed.row) == ("recording", "1")


def test_a_speed_in_tenths_may_keep_one_figure_through_a_run() -> None:
    """As a live receiver did for over a minute in a recording made under way."""
    trial = recorded([(30, 41.0, 10, (5800, 5790)), (30, 12.0, 100, (2500, 2500)), (30, 39.0, 190, (5800, 5790))])
    samples = [
        Sample(time, key.quantity, round(value) if key.quantity == "speed_over_ground" else value, *key[1:])
        for key, stream in trial.streams.items()
        for time, value in stream
    ]
    view = job(
        TWIN, recordings={"trial": gather("trial", samples)}, more={(RUNS, "all_runs", "", ""): {"file": "trial"}}
    )
    assert average_speed(view, runs_of(view)).value == pytest.approx(40.0)


def test_a_row_takes_its_run_from_its_recording() -> None:
    """Rows with the same recording find their own stretch by course; what is typed wins."""
    runs: list[dict[str, JsonValue]] = [
        {"recording": {"file": "trial"}, "course": "15 deg", "speed": "41.5 kn"},
        {"recording": {"file": "trial"}, "course": "185 deg"},
    ]
    first, second = runs_of(job(TWIN, runs, recordings={"trial": SEA_TRIAL}))
    assert isinstance(first.speed, Reading)
    assert isinstance(second.speed, Reading)
    assert (first.speed.value, first.course) == (41.5, 15)
    assert second.speed.value == pytest.approx(39.0, abs=0.01)
    starboard = first.engine_speed["starboard"]
    assert isinstance(starboard, Reading)
    assert starboard.value == pytest.approx(5790, abs=0.5)


def test_a_recording_does_not_settle_a_dispute() -> None:
    """Typed values that disagree stay open although the recording has a value."""
    runs: list[dict[str, JsonValue]] = [{"recording": {"file": "trial"}, "course": "10 deg"}]
    view = job(TWIN, runs, recordings={"trial": SEA_TRIAL}, disagreements=[(RUNS, "speed", "1", "")])
    assert "disagree" in str(runs_of(view)[0].speed)


@pytest.mark.parametrize(
    ("recording", "reason"),
    [
        (recorded([(7, 41, 10, (5800, 5800))]), "has no 8 s with speed within 0.5 kn"),
        (recorded([(1, 30 + 2 * n, 10, (4000 + 200 * n,) * 2) for n in range(20)]), "hold full throttle steadier"),
        (as_one("speed_over_ground", 3.0), "speed over ground jumps between 38.0 kn and 41.0 kn: two instruments"),
        (as_one("engine_speed", 300.0), "engine speed .port. jumps between 5500 rev/min and 5800 rev/min and engine"),
        (seldom("speed_over_ground"), "has speed over ground every 5 s only, too seldom to see a run in"),
        (seldom("engine_speed"), "every 5 s only and engine speed .starboard. every 5 s only, too seldom"),
        (recorded([]), "holds no speed over ground"),
    ],
)
def test_a_recording_without_a_run_says_why(recording: object, reason: str) -> None:
    """Too short, never steady, nothing at all."""
    view = job(
        TWIN,
        recordings={"trial": recording},  # type: ignore[dict-item]
        more={(RUNS, "all_runs", "", ""): {"file": "trial"}},
    )
    with pytest.raises(NotEnoughData, match=reason):
        runs_of(view)


def test_an_engine_that_is_not_heard_keeps_nothing_from_the_other() -> None:
    """Another number on the network, or a wire off: the speed and the engine that is heard are judged all the same."""
    view = job(
        TWIN,
        recordings={"trial": recorded([(20, 41, 10, (5800,)), (20, 40, 190, (5790,))])},
        more={(RUNS, "all_runs", "", ""): {"file": "trial"}},
    )
    for run in runs_of(view):
        silent = run.engine_speed["starboard"]
        assert isinstance(silent, Missing)
        assert silent.lack is Lack.NOT_IN_RECORDING
        assert "starboard engine: instance 1 is not heard, 0 is" in silent.text
        assert isinstance(run.engine_speed["port"], Reading)
        assert isinstance(run.speed, Reading)


def test_engines_with_one_number_are_judged_by_no_recording() -> None:
    same = tuple(attrs.evolve(engine, network_instance=0) for engine in TWIN.engines)
    view = job(
        attrs.evolve(TWIN, engines=same),
        recordings={"trial": SEA_TRIAL},
        more={(RUNS, "all_runs", "", ""): {"file": "trial"}},
    )
    with pytest.raises(NotEnoughData, match="tell port and starboard apart: each has network instance 0") as failure:
        runs_of(view)
    (told,) = failure.value.missing
    assert told.lack is Lack.NOT_IN_RECORDING
    assert "heard are 0, 1" in told.text


@pytest.mark.parametrize("entered", [None, 1])
def test_a_single_engine_heard_under_another_instance_says_what_was_heard(entered: int | None) -> None:
    """A lone engine that sends as instance 1 is not guessed at; entered as what it is, it is heard."""
    as_second = gather("trial", (sample._replace(instance="1") if sample.instance else sample for sample in _samples()))
    boat = vessel()
    boat = attrs.evolve(boat, engines=(attrs.evolve(boat.engines[0], network_instance=entered),))
    view = job(boat, recordings={"trial": as_second}, more={(RUNS, "all_runs", "", ""): {"file": "trial"}})
    if entered is None:
        with pytest.raises(NotEnoughData, match="centre engine: instance 0 is not heard, 1 is"):
            runs_of(view)
    else:
        assert len(runs_of(view)) == 2


def _samples() -> Iterator[Sample]:
    recording = recorded([(20, 41, 10, (5800,)), (20, 6, 100, (1500,)), (20, 39, 190, (5800,))])
    for key, stream in recording.streams.items():
        for time, value in stream:
            yield Sample(time, key.quantity, value, key.source, key.instance, key.reference)


def test_a_recording_that_is_not_here() -> None:
    """The row says which recording to bring."""
    told = reasons_of(job(TWIN, [{"recording": {"file": "lost"}, "direction": "with"}]))
    assert "run 1: recording 'lost' is not here" in told


def test_a_row_whose_course_is_not_in_the_recording() -> None:
    """A wrong course picks no run rather than a wrong one."""
    runs: list[dict[str, JsonValue]] = [{"recording": {"file": "trial"}, "course": "100 deg"}]
    told = reasons_of(job(TWIN, runs, recordings={"trial": SEA_TRIAL}))
    assert "no full-throttle stretch of its recording is on course 100" in told


def test_the_shop_decides_what_steady_means() -> None:
    """A shop that asks for 14 s finds one run where 8 s found two."""
    more: dict[FieldKey, JsonValue] = {(RUNS, "all_runs", "", ""): {"file": "trial"}}
    view = job(TWIN, recordings={"trial": SEA_TRIAL}, settings={"prop_check.steady_seconds": "14 s"}, more=dict(more))
    assert len(runs_of(view)) == 1


def test_engines_heard_by_their_names_give_the_runs_that_their_numbers_give() -> None:
    """As Signal K servers call them."""
    names = {"0": "port", "1": "starboard"}
    streams = [
        (key._replace(instance=names.get(key.instance, key.instance)), stream)
        for key, stream in SEA_TRIAL.streams.items()
    ]
    named = attrs.evolve(SEA_TRIAL, streams={key: attrs.evolve(stream, key=key) for key, stream in streams})
    more: dict[FieldKey, JsonValue] = {(RUNS, "all_runs", "", ""): {"file": "trial"}}
    by_name, by_number = (runs_of(job(TWIN, recordings={"trial": one}, more=dict(more))) for one in (named, SEA_TRIAL))
    assert by_name == by_number


def test_engines_by_the_network_instance_entered() -> None:
    """A boat whose starboard engine is instance 0 gets its engines the right way round."""
    crossed = attrs.evolve(
        TWIN,
        engines=tuple(attrs.evolve(e, network_instance=n) for e, n in zip(TWIN.engines, (1, 0), strict=True)),
    )
    view = job(crossed, recordings={"trial": SEA_TRIAL}, more={(RUNS, "all_runs", "", ""): {"file": "trial"}})
    port = runs_of(view)[0].engine_speed["port"]
    assert isinstance(port, Reading)
    assert port.value == pytest.approx(5790, abs=0.5)


def test_mean_course_across_north() -> None:
    """Courses 358 and 2 average to north."""
    recording = recorded([(6, 41, 358, (5800,)), (6, 41, 2, (5800,))])
    view = job(BOAT, recordings={"trial": recording}, more={(RUNS, "all_runs", "", ""): {"file": "trial"}})
    course = runs_of(view)[0].course
    assert course is not None
    assert abs(signed_angle(course)) < 0.01


@pytest.mark.parametrize(
    ("turns", "mean", "half_width"),
    [((5500, 5510), 5505, 31), ((5500, 5500), 5500, 30), ((5470, 5530), 5500, 41)],
)
def test_engine_speed_interval_by_hand(turns: tuple[int, int], mean: float, half_width: float) -> None:
    """Of 5500 and 5510: s from 13.6 (6 degrees) and squares of 50 (1 degree) is 12.9, over root 2 it is 9.1; digit
    2.0, tachometer 11.5, which is a bound: 31. The worked example of the uncertainty note; equal runs, and 60 apart."""
    runs = two_ways(BOAT)
    for run, turn in zip(runs, turns, strict=True):
        run["centre"] = f"{turn} rev/min"
    view = job(BOAT, runs)
    average = average_engine_speed(view, runs_of(view), "centre")
    assert (average.value, round(average.expanded_uncertainty)) == (mean, half_width)
    scatter, digit, tachometer = average.measured.parts
    assert digit.standard_uncertainty == pytest.approx(2.04, abs=0.01)
    assert tachometer.standard_uncertainty == pytest.approx(11.55, abs=0.01)
    assert scatter.degrees_of_freedom == 7


def test_mean_speed_interval_by_hand() -> None:
    """31.2 and 28.8: 0.13 (6 degrees) over root 2 is 0.092, digit 0.020, receiver 0.058, a bound: 30.0 +- 0.25 kn."""
    view = job(BOAT, two_ways(BOAT, speeds=("31.2 kn", "28.8 kn")))
    average = average_speed(view, runs_of(view))
    assert average.value == pytest.approx(30.0)
    assert average.expanded_uncertainty == pytest.approx(0.25, abs=0.005)
    assert [abs(part.standard_uncertainty) for part in average.measured.parts] == pytest.approx(
        [0.092, 0.0204, 0.0577], abs=0.0005
    )
    assert average.measured.parts[0].degrees_of_freedom == 6


def test_a_coarse_dial_widens_the_interval() -> None:
    """A dial with 100 rev/min marks adds 50 / root 2 / root 3 = 20.4 in place of 2.0."""
    dial = {"prop_check.engine_speed_resolution": "100 rev/min"}
    fine, coarse = (job(BOAT, two_ways(BOAT), settings=each) for each in (None, dial))
    of_fine, of_coarse = (average_engine_speed(view, runs_of(view), "centre") for view in (fine, coarse))
    assert of_coarse.measured.parts[1].standard_uncertainty == pytest.approx(20.4, abs=0.05)
    assert of_coarse.expanded_uncertainty > of_fine.expanded_uncertainty + 15


@pytest.mark.parametrize("value", ["0 s", "1000 s", "8 kn", "soon", 8])
def test_a_setting_out_of_range_is_never_used(value: str | int) -> None:
    """It came past the check: the default holds, and the view says that another value was set."""
    view = job(
        TWIN,
        recordings={"trial": SEA_TRIAL},
        settings={"prop_check.steady_seconds": value},
        more={(RUNS, "all_runs", "", ""): {"file": "trial"}},
    )
    assert view.setting_value("prop_check.steady_seconds", "s") == 8
    used = view.settings_used["prop_check.steady_seconds"]
    assert (used.state, [one.value for one in used.not_used]) == ("default", [value])
    assert runs_of(view)

    used = view.settings_used["prop_check.steady_seconds"]
    assert (used.state, [one.value for one in used.not_used]) == ("default", [value])
    """A boat without engines has no engine speed to cut by."""
    nothing = attrs.evolve(BOAT, engines=(), length=amount("19 ft"))
    view = job(nothing, recordings={"trial": SEA_TRIAL}, more={(RUNS, "all_runs", "", ""): {"file": "trial"}})
    with pytest.raises(NotEnoughData, match="no engine is entered"):
        runs_of(view)
