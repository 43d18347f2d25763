"""Where sensors sit, how they compare, what a magnetometer's circle shows, and the variation of the place."""

from __future__ import annotations

import datetime
import math
import random
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders import job_view
from examples import examples
from garboard.findings import Finding, Lack, Verdict
from garboard.job_view import FieldKey
from garboard.records import HeadingSensor, JsonValue, Vessel
from garboard.samples import Recording, Sample, Stream, StreamKey, gather
from garboard.uncertainty import NORMAL_95, MeasuredValue
from garboard_heading_calibration.comparison import Comparison, compare_headings
from garboard_heading_calibration.ellipse import fit_ellipse
from garboard_heading_calibration.sensor_findings import LOCATION_BASIS, comparison_finding
from garboard_heading_calibration.sensors import name_of, strangers_only_told
from garboard_heading_calibration.variation import variation_at
from heading_jobs import HELM, HOST, MAST, NAME, PLACE, findings, job, number, samples

# --- where the sensors sit

LOCATION = f"{NAME}.location"
CLEAR: Mapping[str, JsonValue] = {
    "distance_to_loudspeakers": "1.2 m",
    "distance_to_motors": "3 m",
    "distance_to_cables": "1.1 m",
    "distance_to_steel": "8 ft",
    "steady_when_switched": True,
    "mounted_as_told": True,
}


def located(**changed: JsonValue) -> Finding:
    values = {(LOCATION, name, "", HELM.name): value for name, value in {**CLEAR, **changed}.items()}
    (finding,) = findings(job({place: value for place, value in values.items() if value is not None}), "location")
    return finding


def test_a_sensor_clear_of_everything_passes_and_its_nearest_disturber_is_told() -> None:
    finding = located()
    assert finding.verdict is Verdict.PASS
    assert finding.sentence.startswith("1.10 m to the nearest disturber.")


@pytest.mark.parametrize(("distance", "verdict"), [("1.00 m", Verdict.PASS), ("0.99 m", Verdict.ADVISE)])
def test_a_disturber_nearer_than_the_clearance_is_named(distance: str, verdict: Verdict) -> None:
    finding = located(distance_to_loudspeakers=distance)
    assert finding.verdict is verdict
    assert ("loudspeakers and magnets at 0.99 m; 1 m wanted" in finding.sentence) == (verdict is Verdict.ADVISE)


@pytest.mark.parametrize("field", ["steady_when_switched", "mounted_as_told"])
def test_a_heading_that_moves_with_a_load_or_a_loose_sensor_fails(field: str) -> None:
    assert located(**{field: False}).verdict is Verdict.FAIL


def test_a_distance_not_measured_is_asked_for() -> None:
    finding = located(distance_to_cables=None)
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert "“Distance to battery and engine cables” (helm compass) is not entered" in finding.sentence


def test_a_distance_below_zero_is_refused() -> None:
    assert "is below zero" in located(distance_to_cables="-1 m").sentence


def test_a_vessel_without_heading_sensors_is_left_in_peace() -> None:
    assert HOST.assess(job_view(Vessel(hull_number="XYZ00001A626"), {})) == ()


# --- variation


def varied(**changed: JsonValue) -> Finding:
    values = {**PLACE, **{(f"{NAME}.place", name, "", ""): value for name, value in changed.items()}}
    (finding,) = findings(job({place: value for place, value in values.items() if value is not None}), "variation")
    return finding


def test_variation_is_told_east_positive_with_the_models_uncertainty() -> None:
    finding = varied()
    assert finding.verdict is Verdict.PASS
    assert finding.sentence.startswith("−13.9 ± 0.7 degrees (west) at 40.00 N 70.00 W on 25 November 2026, changing ")
    assert number(finding, "latitude, north positive").value == 40
    assert number(finding, "longitude, east positive").value == -70
    assert "by WMM2025" in finding.sentence


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"date": "2019-12-31"}, "expected a date from 2020 to the end of 2029"),
        ({"date": "2030-01-01"}, "expected a date from 2020 to the end of 2029"),
        ({"date": "last week"}, "date 'last week' cannot be read; write it as year-month-day, 2026-11-25"),
        ({"date": "08/09/2026"}, "date '08/09/2026' cannot be read; write it as year-month-day, 2026-11-25"),
        ({"date": None}, "date is not entered"),
        ({"latitude": "91 deg"}, "expected latitude −90 to 90"),
        ({"longitude": "-181 deg"}, "longitude −180 to 180"),
        ({"longitude": None}, "“Longitude, east positive” is not entered"),
        ({"latitude": "86 deg", "longitude": "140 deg"}, "no magnetic sensor works here"),
    ],
)
def test_no_variation_is_given_where_the_model_does_not_reach(changed: dict[str, JsonValue], reason: str) -> None:
    finding = varied(**changed)
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert reason in finding.sentence


def test_where_the_horizontal_field_is_faint_no_sensor_is_to_be_trusted_alone() -> None:
    finding = varied(latitude="78 deg", longitude="-100 deg")
    assert 2 <= number(finding, "horizontal field").value < 6
    assert finding.verdict is Verdict.ADVISE
    assert "trust no magnetic sensor" in finding.sentence


@pytest.mark.parametrize("date", ["2020-01-01", "2024-12-31", "2025-01-01", "2029-12-31"])
def test_the_yearly_change_is_taken_within_one_model(date: str) -> None:
    """Off the east coast of North America variation changes by a few hundredths of a degree a year, smoothly."""
    assert abs(variation_at(40.0, -70.0, datetime.date.fromisoformat(date)).a_year) < 0.2


def recorded_at(latitude: float, longitude: float, sent: float | None = None) -> Recording:
    made = samples("latitude", lambda _t: latitude, 60, every=1.0) + samples("longitude", lambda _t: longitude, 60)
    made += samples("heading", lambda t: 90.0 + alive(t), 60)
    return gather("turn.log", made if sent is None else [*made, *samples("variation", lambda _t: sent, 60)])


@pytest.mark.parametrize(
    ("latitude", "longitude", "elsewhere"),
    [(40.0, 70.0, True), (-40.0, -70.0, True), (42.0, -70.0, True), (40.4, -70.8, False), (40.0, -70.0, False)],
)
def test_a_place_typed_with_the_wrong_sign_is_doubted_by_where_the_recording_was_made(
    latitude: float, longitude: float, elsewhere: bool
) -> None:
    """East for west turns the variation about, and every true reference with it."""
    turned: FieldKey = (f"{NAME}.steady_turn", "turn_recording", "", "")
    view = job({**PLACE, turned: {"file": "a"}}, recordings={"a": recorded_at(latitude, longitude)})
    (finding,) = findings(view, "variation")
    assert (finding.code == f"{NAME}.variation.recorded_elsewhere") == elsewhere
    doubted = [(f"{NAME}.place", field, "", "") for field in ("latitude", "longitude")]
    assert [doubt.place for doubt in finding.doubts] == (doubted if elsewhere else [])


def test_a_swing_by_a_true_reference_does_not_pass_at_a_doubted_place() -> None:
    values: dict[FieldKey, JsonValue] = {
        **PLACE,
        (f"{NAME}.steady_turn", "turn_recording", "", ""): {"file": "a"},
        (f"{NAME}.swing", "reference", "", ""): "true",
    }
    for row in range(8):
        values[f"{NAME}.swing", "reference_direction", str(row), ""] = f"{(45 * row - 13.9) % 360:.1f} deg"
        values[f"{NAME}.swing", "compass_heading", str(row), HELM.name] = f"{45 * row:.1f} deg"
    for longitude, verdict in ((-70.0, Verdict.PASS), (70.0, Verdict.ADVISE)):
        view = job(values, recordings={"a": recorded_at(40.0, longitude)})
        swing = next(one.finding for one in HOST.assess(view) if one.calculator == f"{NAME}.swing")
        assert swing.verdict is verdict
        assert swing.sentence.startswith("In doubt: turn.log was recorded at 40.00 N 70.00 E") == (longitude > 0)


@pytest.mark.parametrize(("sent", "told"), [(-13.0, False), (13.9, True), (-10.0, True)])
def test_a_variation_the_network_takes_otherwise_is_told(sent: float, told: bool) -> None:
    turned: FieldKey = (f"{NAME}.steady_turn", "turn_recording", "", "")
    view = job({**PLACE, turned: {"file": "a"}}, recordings={"a": recorded_at(40.0, -70.0, sent)})
    (finding,) = findings(view, "variation")
    assert (finding.code == f"{NAME}.variation.sent_otherwise") == told


# --- sensors compared

COMPARE = f"{NAME}.comparison"


def steady(value: float, *, reference: str = "magnetic", source: str = "7", seconds: float = 150) -> list[Sample]:
    return samples("heading", lambda t: value + alive(t), seconds, every=1.0, source=source, reference=reference)


def alive(t: float) -> float:
    """The last digit of every instrument aboard, alike in all: a boat is never quite still."""
    return 0.01 * math.sin(t)


def compared(*made: list[Sample], place: bool = True, trusted: str = "") -> list[Finding]:
    values: dict[FieldKey, JsonValue] = {(COMPARE, "comparison_recording", "", ""): {"file": "a"}}
    if trusted:
        values[COMPARE, "trusted_source", "", ""] = trusted
    recording = gather("a", [sample for part in made for sample in part])
    return findings(job({**(PLACE if place else {}), **values}, HELM, MAST, recordings={"a": recording}), "comparison")


def test_an_offset_to_enter_is_what_brings_the_sensor_to_the_trusted_one() -> None:
    (finding,) = compared(steady(359.0), steady(2.0, source="9"))
    assert (finding.about, finding.verdict) == ("mast sensor", Verdict.ADVISE)
    assert finding.sentence == (
        "Heading 3.0 degrees more than helm compass on heading 359. "
        "Enter an offset of −3.0 degrees if the sensor adds its offset."
    )
    assert number(finding, "offset to enter").value == pytest.approx(-3.0)


@pytest.mark.parametrize("trusted", ["mast sensor", "9"])
def test_the_technician_chooses_which_sensor_to_trust(trusted: str) -> None:
    (finding,) = compared(steady(359.0), steady(2.0, source="9"), trusted=trusted)
    assert finding.about == "helm compass"
    assert number(finding, "offset to enter").value == pytest.approx(3.0)


@pytest.mark.parametrize(("apart", "verdict"), [(0.9, Verdict.PASS), (1.1, Verdict.ADVISE), (-1.1, Verdict.ADVISE)])
def test_sensors_within_a_degree_of_each_other_pass(apart: float, verdict: Verdict) -> None:
    (finding,) = compared(steady(90.0), steady(90.0 + apart, source="9"))
    assert finding.verdict is verdict


@pytest.mark.parametrize(("amplitude", "verdict"), [(2.0, Verdict.PASS), (2.3, Verdict.ADVISE)])
def test_a_difference_that_swings_is_to_be_recorded_again(amplitude: float, verdict: Verdict) -> None:
    """Standard deviation of a sine is its amplitude by root two: 1.41 and 1.63 against a limit of 1.5."""
    swinging = samples("heading", lambda t: 90 + amplitude * math.sin(2 * math.pi * t / 10), 120, source="9")
    (finding,) = compared(samples("heading", lambda t: 90.0 + alive(t), 120, source="7"), swinging)
    assert finding.verdict is verdict
    assert ("record again on a straight run" in finding.sentence) == (verdict is Verdict.ADVISE)


def test_a_true_heading_and_a_magnetic_one_meet_by_the_variation() -> None:
    (finding,) = compared(steady(90.0), steady(76.1, reference="true", source="9"))
    assert abs(number(finding, "mean difference").value) < 0.1
    assert (number(finding, "mean difference").expanded_uncertainty or 0) > 0.5


def test_without_a_place_the_variation_on_the_boats_network_serves() -> None:
    sent = samples("variation", lambda _t: -10.0, 150, every=1.0, source="3")
    (finding,) = compared(steady(90.0), steady(79.5, reference="true", source="9"), sent, place=False)
    assert number(finding, "mean difference").value == pytest.approx(-0.5)
    assert number(finding, "mean difference").expanded_uncertainty is None  # the boat does not say how sure it is


def test_a_lone_heading_is_held_against_the_course_and_no_offset_is_offered() -> None:
    course = samples("course_over_ground", lambda t: 80.0 + alive(t), 150, every=1.0, source="3", reference="true")
    (finding,) = compared(steady(84.5, reference="true"), course)
    assert finding.verdict is Verdict.ADVISE
    assert finding.sentence == (
        "Heading 4.5 degrees more than course over ground on heading 080. "
        "Run the same line back: what stays is the sensor's, what changes sign is current and wind."
    )
    assert "offset to enter" not in [given.name for given in finding.numbers]


@pytest.mark.parametrize(
    ("made", "trusted", "place", "reason"),
    [
        ([samples("rate_of_turn", lambda _t: 0.0, 60)], "", True, "no heading"),
        ([steady(90.0)], "", True, "one heading and no course over ground"),
        ([steady(90.0), steady(91.0, source="9")], "stern", True, "source 'stern' sends no heading"),
        (
            [steady(90.0), steady(76.0, reference="true", source="9")],
            "",
            False,
            "“Latitude, north positive” is not entered",
        ),
        (
            [steady(90.0, seconds=15), steady(91.0, source="9")],
            "",
            True,
            "seen together for 15 s; record both for 120 s or more",
        ),
        ([steady(90.0, seconds=119), steady(91.0, source="9")], "", True, "record both for 120 s or more"),
        ([steady(90.0), samples("heading", lambda t: 3 * t % 360, 150, source="9")], "", True, "do not turn together"),
    ],
)
def test_a_comparison_that_cannot_be_made_says_why(
    made: list[list[Sample]], trusted: str, place: bool, reason: str
) -> None:
    (finding,) = compared(*made, trusted=trusted, place=place)
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert reason in finding.sentence


def test_sensors_that_stand_still_are_dead_and_agree_on_nothing() -> None:
    """Both frozen on one heading passed as no offset to enter."""
    dead = samples("heading", lambda _t: 90.3, 150, every=1.0, source="9")
    for other in (steady(90.0), samples("heading", lambda _t: 90.0, 150, every=1.0, source="7")):
        (finding,) = compared(dead, other)
        assert [(one.lack, one.field) for one in finding.missing] == [(Lack.CONTRADICTS, "comparison_recording")]


def test_the_mean_difference_keeps_within_its_uncertainty_when_waves_are_shared_by_neighbours() -> None:
    """Invented noise that a few seconds' neighbours share; nineteen of twenty intervals should hold the truth."""
    held = 0
    for seed in range(60):
        rng, drift, values = random.Random(seed), 0.0, []
        for _ in range(200):
            drift = 0.8 * drift + rng.gauss(0, 0.6)
            values.append(3.0 + drift)
        times = tuple(map(float, range(200)))
        noisy = Stream(StreamKey("heading", "9"), times, tuple(values))
        found = compare_headings(noisy, Stream(StreamKey("heading", "7"), times, (0.0,) * 200))
        held += abs(found.difference - 3.0) <= found.mean_difference.expanded_uncertainty
    assert 54 <= held <= 60


def test_two_hundred_seconds_are_four_blocks_and_more_than_three_hundred_are_six() -> None:
    for seconds, blocks in ((200, 4), (300, 4), (301, 6)):
        times = tuple(map(float, range(seconds + 1)))
        wandering = Stream(StreamKey("heading", "9"), times, tuple(math.sin(t) for t in times))
        found = compare_headings(wandering, Stream(StreamKey("heading", "7"), times, (0.0,) * (seconds + 1)))
        assert found.mean_difference.degrees_of_freedom == blocks - 1
        assert found.seconds == seconds


def test_a_sensor_turned_on_its_bracket_is_to_be_turned_or_its_offset_entered() -> None:
    (finding,) = compared(steady(90.0), steady(228.0, source="9"))
    assert (finding.code, finding.verdict) == (f"{COMPARE}.turned_on_bracket", Verdict.ADVISE)
    assert "turn it, or enter an offset of −138.0 degrees" in finding.sentence
    (backwards,) = compared(steady(90.0), steady(270.0, source="9"))
    assert abs(number(backwards, "mean difference").value) == pytest.approx(180)


@pytest.mark.parametrize(("off", "like"), [(-13.9, True), (13.9, True), (-9.0, False)])
def test_a_difference_as_large_as_the_variation_asks_which_of_the_two_is_true(off: float, like: bool) -> None:
    (finding,) = compared(steady(90.0), steady(90.0 + off, source="9"))
    assert (finding.code == f"{COMPARE}.like_variation") == like


def test_a_sensor_frozen_for_less_than_half_of_the_recording_is_told_and_that_part_left_out() -> None:
    """Its mean was taken for an offset."""

    def freezes(t: float) -> float:
        return 95.0 + alive(min(t, 60.0)) + (0.2 * (t - 100) if t > 100 else 0.0)

    def turning(t: float) -> float:
        return 95.0 + alive(t) + (0.2 * (t - 60) if t > 60 else 0.0) - (8 if t > 100 else 0)

    made = samples("heading", freezes, 250, every=1.0, source="9")
    (finding,) = compared(samples("heading", turning, 250, every=1.0, source="7"), made)
    assert (finding.code, finding.verdict) == (f"{COMPARE}.stood_still", Verdict.ADVISE)
    assert "Mast sensor stood still for 40 s" in finding.sentence
    assert number(finding, "mean difference").value == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize(("wanders", "code"), [(0.3, "agree"), (4.0, "stood_still")])
def test_a_compass_of_whole_degrees_stands_still_only_where_the_boat_turned_on(wanders: float, code: str) -> None:
    """One in whole degrees shows one figure for long on a calm day; it was called dead."""
    fine = samples("heading", lambda t: 90.0 + wanders * math.sin(t / 30) + alive(t), 250, every=1.0, source="7")
    coarse = samples("heading", lambda t: 90.0 if t < 100 or wanders < 1 else 91.0 + t % 2, 250, every=1.0, source="9")
    (finding,) = compared(fine, coarse)
    assert finding.code == f"{COMPARE}.{code}"


@pytest.mark.parametrize(("second", "code"), [(95.0, "receivers.courses_differ"), (82.0, "comparison.agree")])
def test_receivers_that_contradict_each_other_are_named_beside_a_heading_held_against_one(
    second: float, code: str
) -> None:
    """The longest stream won, and the other was never mentioned."""

    def course(way: float, source: str) -> list[Sample]:
        return samples("course_over_ground", lambda t: way + alive(t), 150, every=1.0, source=source, reference="true")

    courses = (course(80.0, "3"), course(second, "5"))
    (finding,) = compared(steady(80.2, reference="true"), *courses)
    assert finding.code == f"{NAME}.{code}"
    assert ("sources 3 and 5 differ by 15 degrees" in finding.sentence) == (second > 90)


def test_headings_are_compared_across_north_and_between_samples() -> None:
    times = tuple(i / 2 for i in range(301))
    turning = Stream(StreamKey("heading", "7"), times, tuple((350 + t) % 360 for t in times))
    late = Stream(StreamKey("heading", "9"), tuple(t + 0.2 for t in times), tuple((351.2 + t) % 360 for t in times))
    assert compare_headings(turning, late).difference == pytest.approx(-1.0)


@pytest.mark.parametrize(("silence", "compared"), [(2.0, 141), (2.1, 140)])
def test_headings_are_not_compared_across_a_silence_of_more_than_two_seconds(silence: float, compared: int) -> None:
    """One heading falls within the silence of the other sensor."""
    heard = tuple(float(second) for second in range(71))
    again = tuple(70.0 + silence + second for second in range(71))
    trusted = Stream(StreamKey("heading", "7"), heard + again, (90.0,) * 142)
    heading = Stream(StreamKey("heading", "9"), (*heard[:-1], 71.0, *again[:-1]), (91.0,) * 141)
    assert compare_headings(heading, trusted).samples == compared


@pytest.mark.parametrize(
    ("difference", "spread", "code"),
    [(1.0, 0.0, "agree"), (1.01, 0.0, "off"), (-1.01, 0.0, "off"), (0.0, 2.0, "agree"), (0.0, 2.01, "rough")],
)
def test_a_difference_at_the_limit_is_let_pass(difference: float, spread: float, code: str) -> None:
    """The shop's limits are one degree for an offset and two for the spread, unless it sets others."""
    found = Comparison(
        mean_difference=MeasuredValue(difference, "deg", 0.0), standard_deviation=spread, samples=600, seconds=599.0
    )
    finding = comparison_finding(job({}, settings={"offset_limit": "1 deg", "spread_limit": "2 deg"}), "a", "b", found)
    assert finding.code == f"heading_calibration.comparison.{code}"


@pytest.mark.parametrize(("difference", "word"), [(0.5, "more"), (0.0, "more"), (-0.5, "less")])
def test_a_heading_above_the_trusted_one_is_more_and_one_below_it_less(difference: float, word: str) -> None:
    mean = MeasuredValue(difference, "deg", 0.1 / NORMAL_95)
    found = Comparison(mean_difference=mean, standard_deviation=0.1, samples=600, seconds=599.0)
    sentence = comparison_finding(job({}), "helm compass", "mast sensor", found).sentence
    assert sentence.startswith(f"Heading {abs(difference):.1f} ± 0.1 degrees {word} than mast sensor.")


# --- raw magnetometer

MAGNETOMETER = f"{NAME}.magnetometer"


def circle(
    *,
    centre: tuple[float, float] = (5.0, -3.0),
    noise: float = 0.1,
    first: float = 0,
    last: float = 360,
    radius: float = 20,
) -> Recording:
    rng = random.Random(1)
    made = []
    for i in range(361):
        angle = math.radians(first + (last - first) * i / 360)
        x = centre[0] + radius * math.cos(angle) + rng.gauss(0, noise)
        y = centre[1] + 0.9 * radius * math.sin(angle) + rng.gauss(0, noise)
        made += [Sample(i / 2, "magnetic_x", x, "7"), Sample(i / 2, "magnetic_y", y, "7")]
    return gather("circle", made)


def magnetised(recording: Recording) -> Finding:
    values: dict[FieldKey, JsonValue] = {(MAGNETOMETER, "magnetometer_recording", "", ""): {"file": "a"}}
    (finding,) = findings(job(values, recordings={"a": recording}), "magnetometer")
    return finding


def test_a_full_even_circle_gives_hard_and_soft_iron() -> None:
    finding = magnetised(circle())
    assert (finding.about, finding.verdict) == ("helm compass", Verdict.PASS)
    assert number(finding, "hard iron x, forward").value == pytest.approx(5.0, abs=0.05)
    assert number(finding, "hard iron y, starboard").value == pytest.approx(-3.0, abs=0.05)
    assert number(finding, "soft iron, long by short axis").value == pytest.approx(1 / 0.9, abs=0.01)
    assert finding.figures[0].equal_scales
    assert "x" in finding.tables[0].headings


@pytest.mark.parametrize(
    ("recording", "verdict", "words"),
    [
        (circle(noise=0.8), Verdict.PASS, "can take this out"),
        (circle(noise=1.3), Verdict.ADVISE, "Points scatter: turn again"),
        (circle(centre=(18.0, 0.0)), Verdict.PASS, "can take this out"),
        (circle(centre=(20.0, 0.0)), Verdict.ADVISE, "Move the sensor"),
        (circle(last=320), Verdict.PASS, "widest gap 4"),
    ],
)
def test_scatter_and_strong_iron_are_advised_upon(recording: Recording, verdict: Verdict, words: str) -> None:
    finding = magnetised(recording)
    assert finding.verdict is verdict
    assert words in finding.sentence


def test_a_circle_left_open_by_more_than_an_eighth_gives_no_number() -> None:
    finding = magnetised(circle(last=310))
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert "degrees of the circle open, 45 at most" in finding.sentence


@pytest.mark.parametrize(
    ("points", "reason"),
    [
        ([(1.0, 2.0)] * 5, "5 points; turn a full circle"),
        ([(1.0, 2.0)] * 9, "every point is the same"),
        ([(float(i), 2.0 * i) for i in range(9)], "straight line"),
        ([(i * i / 10, float(i)) for i in range(-5, 6)], "turn"),
        ([(math.nan, 1.0)] * 9, "0 points"),
    ],
)
def test_points_that_make_no_circle_are_refused(points: list[tuple[float, float]], reason: str) -> None:
    made = [
        sample
        for i, (x, y) in enumerate(points)
        for sample in (Sample(float(i), "magnetic_x", x, "7"), Sample(float(i), "magnetic_y", y, "7"))
    ]
    finding = magnetised(gather("odd", made))
    assert finding.verdict is Verdict.NOT_ENOUGH_DATA
    assert reason in finding.sentence


def test_columns_of_a_table_with_names_of_their_own_are_paired() -> None:
    named = [
        sample._replace(source=sample.quantity) for stream in circle().streams.values() for sample in as_samples(stream)
    ]
    assert magnetised(gather("table", named)).verdict is Verdict.PASS


def as_samples(stream: Stream) -> list[Sample]:
    return [Sample(time, stream.key.quantity, value) for time, value in stream]


@settings(max_examples=examples(100), deadline=None)
@given(st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)), max_size=20))
def test_any_points_give_an_ellipse_or_a_reason(points: list[tuple[float, float]]) -> None:
    try:
        found = fit_ellipse([x for x, _ in points], [y for _, y in points])
    except ValueError as refused:
        assert "turn a full circle" in str(refused)  # noqa: PT017 - either outcome is right
        return
    assert found.long >= found.short > 0
    assert 0 <= found.angle < 180
    assert math.isfinite(found.residual)


@pytest.mark.parametrize(
    ("source", "name"), [("7", "helm compass"), ("9", "mast sensor"), ("33", "source 33"), ("", "the only source")]
)
def test_a_source_is_called_by_the_sensor_that_sends_under_it(source: str, name: str) -> None:
    assert name_of(job({}, HELM, MAST), source) == name


@pytest.mark.parametrize("sensors", [(HELM,), (HELM, HeadingSensor(name="bow", source=""))])
def test_only_a_source_that_can_be_no_sensor_of_the_boat_is_let_off(sensors: tuple[HeadingSensor, ...]) -> None:
    """Of the boat's own sensor a fail stays; so it does where the source may be a sensor entered without one."""
    failed = Finding(verdict=Verdict.FAIL, about="it", sentence="Too large.", basis=LOCATION_BASIS)
    mine, other = strangers_only_told(job({}, *sensors), (HELM.source, "gyro"), (failed, failed), "a.step")
    assert mine is failed
    assert other.verdict is (Verdict.ADVISE if len(sensors) == 1 else Verdict.FAIL)
