"""Steps typed and steps cut from a recording, and everything that keeps them from being used."""

import math

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builders import boat, job_view
from fuel_curve_jobs import PLANING, STEPS, recorded, typed
from garboard.findings import NotEnoughData
from garboard.job_view import FieldKey, JobView
from garboard.records import JsonValue, NamedPropeller
from garboard.samples import Sample, gather
from garboard.units import Amount
from garboard_fuel_curve.believed import curve_of
from garboard_fuel_curve.fitted import of_now
from garboard_fuel_curve.readings import readings
from garboard_fuel_curve.recorded import in_turn

ATTACHED: dict[FieldKey, JsonValue] = {(STEPS, "recording", "", ""): {"file": "run.log"}}


def with_recording(samples: list[Sample], engines: int = 1, values: dict[FieldKey, JsonValue] | None = None) -> JobView:
    return job_view(boat(engines), {**ATTACHED, **(values or {})}, recordings={"run.log": gather("run.log", samples)})


def reasons(view: JobView) -> str:
    with pytest.raises(NotEnoughData) as missing:
        readings(view)
    return "; ".join(missing.value.reasons)


def test_typed_steps_are_read_with_the_mean_of_both_ways_and_the_sum_of_the_engines() -> None:
    found = readings(job_view(boat(2), typed(PLANING, 2)))
    assert found.source == "typed rows"
    assert len(found.steps) == len(PLANING)
    for step, (engine_speed, speed, flow) in zip(found.steps, PLANING, strict=True):
        assert step.engine_speed == pytest.approx(engine_speed)
        assert step.speed == pytest.approx(speed, abs=0.051)
        assert step.flow == pytest.approx(flow, abs=0.011)
        assert step.both_ways


def test_steps_come_in_order_of_engine_speed_whatever_the_order_typed() -> None:
    found = readings(job_view(boat(), typed(list(reversed(PLANING)))))
    assert [step.engine_speed for step in found.steps] == [row[0] for row in PLANING]


def test_engine_speeds_as_read_stand_in_for_the_throttle_step() -> None:
    values = typed(PLANING, 2)
    values[STEPS, "engine_speed", "4", "port"] = "2040 rev/min"
    values[STEPS, "engine_speed", "4", "starboard"] = "2060 rev/min"
    step = readings(job_view(boat(2), values)).steps[3]
    assert step.engine_speed == 2050


def test_amounts_typed_in_other_units_are_converted() -> None:
    values = typed(PLANING)
    values[STEPS, "fuel_flow", "12", "centre"] = "124.9 L/h"
    values[STEPS, "speed_out", "12", ""] = "49.37 mph"
    values[STEPS, "speed_back", "12", ""] = "48.45 mph"
    step = readings(job_view(boat(), values)).steps[-1]
    assert step.flow == pytest.approx(124.9 / 3.785411784)
    assert step.speed == pytest.approx((49.37 + 48.45) / 2 * 1609.344 / 1852)


def test_an_engine_without_fuel_flow_is_never_left_out_of_the_sum() -> None:
    values = typed(PLANING, 2)
    del values[STEPS, "fuel_flow", "5", "starboard"]
    assert "fuel flow (starboard), row 5 is not entered" in reasons(job_view(boat(2), values))


def test_every_missing_value_is_named_at_once() -> None:
    values = typed(PLANING)
    del values[STEPS, "speed_out", "2", ""]
    del values[STEPS, "nominal_engine_speed", "7", ""]
    told = reasons(job_view(boat(), values))
    assert "speed out, row 2" in told
    assert "nominal engine speed, row 7" in told


@pytest.mark.parametrize("field", ["speed_out", "speed_back", "nominal_engine_speed"])
def test_a_value_that_disagrees_is_a_reason_even_where_it_may_be_left_open(field: str) -> None:
    view = job_view(boat(), typed(PLANING), disagreements=[(STEPS, field, "3", "")])
    assert "values disagree" in reasons(view)


def test_a_row_known_only_by_its_disagreement_is_not_overlooked() -> None:
    view = job_view(boat(), typed(PLANING), disagreements=[(STEPS, "fuel_flow", "99", "centre")])
    assert "row 99" in reasons(view)


@pytest.mark.parametrize(
    ("field", "of", "value", "told"),
    [
        ("fuel_flow", "centre", "0 gal/h", "row 3: fuel flow (centre) must be above 0 and at most 1000 gal/h"),
        ("fuel_flow", "centre", "-3 gal/h", "fuel flow (centre) must be above 0"),
        ("speed_out", "", "-1 kn", "row 3: speed out must be 0 to 200 kn"),
        ("speed_back", "", "201 kn", "row 3: speed back must be 0 to 200 kn"),
        ("nominal_engine_speed", "", "0 rev/min", "engine speed must be above 0"),
        ("engine_speed", "centre", "15001 rev/min", "engine speed must be above 0"),
        ("fuel_flow", "centre", "12 kn", "knot|gal/h|L/h|cannot"),
        ("fuel_flow", "centre", "many", "expected a number"),
    ],
)
def test_a_value_out_of_range_is_a_reason(field: str, of: str, value: str, told: str) -> None:
    values = typed(PLANING)
    values[STEPS, field, "3", of] = value
    said = reasons(job_view(boat(), values))
    assert any(one in said for one in told.split("|"))


def test_what_many_rows_lack_is_said_once_with_its_unit() -> None:
    values = typed(PLANING)
    for row in ("2", "3", "4", "9"):
        values[STEPS, "fuel_flow", row, "centre"] = "0.0 gal/h"
    assert reasons(job_view(boat(), values)) == (
        "rows 2 to 4 and 9: fuel flow (centre) must be above 0 and at most 1000 gal/h"
    )
    for row in ("2", "3", "4", "9"):
        del values[STEPS, "fuel_flow", row, "centre"]
    assert reasons(job_view(boat(), values)) == "fuel flow (centre) is not entered in rows 2 to 4 and 9"


def test_neither_rows_nor_recording_is_a_reason() -> None:
    assert "no throttle step is typed and no recording" in reasons(job_view(boat(), {}))


def test_steps_of_another_propeller_are_none_of_the_one_fitted() -> None:
    """ "No throttle step is typed" is not so, and the technician looks for what was lost."""
    vessel = boat()
    fitted = attrs.evolve(
        vessel,
        engines=(attrs.evolve(vessel.engines[0], fitted="17 steel"),),
        propellers=(NamedPropeller(name="17 steel", pitch=Amount("17", "in")),),
    )
    told = reasons(of_now(job_view(fitted, typed(PLANING))))
    assert told.startswith("no throttle step with the propeller 17 steel is typed")


def test_no_engine_is_a_reason() -> None:
    assert "no engine is listed" in reasons(job_view(boat(0), {}))


def test_a_recording_that_is_not_here_is_a_reason() -> None:
    assert "not here" in reasons(job_view(boat(), ATTACHED))


@pytest.mark.parametrize("engines", [1, 2, 3])
def test_a_recording_is_cut_into_its_steps_and_a_current_is_taken_out(engines: int) -> None:
    found = readings(with_recording(recorded(PLANING, engines, current=1.2), engines))
    assert found.source == "the recording"
    assert len(found.steps) == len(PLANING)
    for step, (engine_speed, speed, flow) in zip(found.steps, PLANING, strict=True):
        assert step.both_ways
        assert step.engine_speed == pytest.approx(engine_speed, abs=1)
        assert step.speed == pytest.approx(speed, abs=0.02)
        assert step.flow == pytest.approx(flow, abs=0.01)


def test_a_run_out_and_back_without_any_unsteady_spell_is_split_by_its_course() -> None:
    samples: list[Sample] = []
    for second in range(120):
        course = 80.0 if second < 60 else 260.0
        samples.append(Sample(second, "engine_speed", 3000.0, "1", "0"))
        samples.append(Sample(second, "fuel_flow", 40.0, "1", "0"))
        samples.append(Sample(second, "speed_over_ground", 17.3 if second < 60 else 16.7, "7"))
        samples.append(Sample(second, "course_over_ground", course, "7", "", "true"))
    (step,) = readings(with_recording(samples)).steps
    assert step.both_ways
    assert step.speed == pytest.approx(17.0, abs=0.001)


def test_a_wandering_course_at_idle_does_not_lose_the_step() -> None:
    samples: list[Sample] = []
    for second in range(40):
        samples.append(Sample(second, "engine_speed", 650.0, "1", "0"))
        samples.append(Sample(second, "fuel_flow", 2.0, "1", "0"))
        samples.append(Sample(second, "speed_over_ground", 0.3, "7"))
        samples.append(Sample(second, "course_over_ground", 77.0 * second % 360, "7", "", "true"))
    (step,) = readings(with_recording(samples)).steps
    assert step.engine_speed == 650
    assert not step.both_ways


def test_ten_samples_a_second_give_the_same_step_as_one() -> None:
    slow = recorded(PLANING[5:6], courses=(90,))
    fast = [one._replace(time=one.time + tenth / 10) for one in slow for tenth in range(10)]
    (one,), (ten,) = readings(with_recording(slow)).steps, readings(with_recording(fast)).steps
    assert one.engine_speed == pytest.approx(ten.engine_speed, abs=0.5)
    assert (one.speed, one.flow) == pytest.approx((ten.speed, ten.flow), abs=0.005)


def test_a_recording_run_one_way_says_so_and_allows_for_a_current() -> None:
    one_way = curve_of(with_recording(recorded(PLANING, courses=(90,))))
    assert len(one_way.found.one_way) == len(PLANING)
    # The current is a bound of 1 kn shared by all steps, so it adds 1 / sqrt(3) to a speed: JCGM 100:2008, 4.3.7.
    current = {part.source: part.standard_uncertainty for part in one_way.curve.speed_at(3500).parts}["current"]
    assert current == pytest.approx(1 / math.sqrt(3), rel=1e-3)
    both = curve_of(job_view(boat(), typed(PLANING)))
    assert all(part.source != "current" for part in both.curve.speed_at(3500).parts)


def test_typed_rows_come_before_a_recording_and_the_source_says_so() -> None:
    view = with_recording(recorded(PLANING[:6]), values=typed(PLANING))
    found = readings(view)
    assert len(found.steps) == len(PLANING)
    assert found.source == "typed rows (the recording was left aside)"


def beside(values: dict[FieldKey, JsonValue]) -> JobView:
    return with_recording(recorded(PLANING), values=values)


def test_too_few_typed_rows_do_not_take_the_place_of_a_recording_that_gives_a_curve() -> None:
    found = readings(beside(typed(PLANING[7:9])))
    assert (len(found.steps), len(found.typed_beside)) == (len(PLANING), 2)
    assert found.source == "the recording; rows 1 and 2 held against it"
    assert found.typed_beside[0].rows == ("1",)


@pytest.mark.parametrize("engine_speed", ["4000 rev/min", "4250 rev/min"])
def test_a_typed_row_that_lacks_its_readings_is_left_aside_and_named(engine_speed: str) -> None:
    found = readings(beside({(STEPS, "nominal_engine_speed", "1", ""): engine_speed}))
    assert (len(found.steps), found.typed_beside) == (len(PLANING), ())
    assert found.source == "the recording; row 1 left aside, too few for a curve"


def test_few_typed_rows_stand_where_the_recording_gives_no_curve_either() -> None:
    found = readings(with_recording(recorded(PLANING[:4]), values=typed(PLANING[7:9])))
    assert (len(found.steps), found.source) == (2, "typed rows (the recording was left aside)")


def test_a_boat_held_on_the_spot_is_a_reading_and_an_engine_that_burns_nothing_is_none() -> None:
    still = recorded([(650, 0.0, 0.6), *PLANING[1:]], courses=(90,))
    motionless = [
        one._replace(value=0.0) if one.quantity == "speed_over_ground" and one.time < 36 else one for one in still
    ]
    (first, *_) = readings(with_recording(motionless)).steps
    assert (round(first.engine_speed), first.speed) == (650, 0.0)
    dry = recorded([(650, 2.4, 0.0), *PLANING[1:]], courses=(90,))
    assert len(readings(with_recording(dry)).steps) == len(PLANING) - 1


def test_steps_held_too_short_are_not_readings() -> None:
    assert "holds steady" in reasons(with_recording(recorded(PLANING, hold=14)))


@pytest.mark.parametrize(
    ("quantity", "told"),
    [
        ("engine_speed", "no engine speed of the port engine"),
        ("fuel_flow", "no fuel flow of the starboard engine"),
        ("speed_over_ground", "no speed over ground"),
    ],
)
def test_a_recording_without_an_engine_or_speed_is_a_reason(quantity: str, told: str) -> None:
    kept = [sample for sample in recorded(PLANING, 2) if sample.quantity != quantity]
    assert told in reasons(with_recording(kept, 2))


def test_rows_at_one_throttle_step_are_averaged() -> None:
    rows = [*PLANING, (4050.0, 28.5, 13.6)]
    found = readings(job_view(boat(), typed(rows)))
    step = next(one for one in found.steps if 3900 < one.engine_speed < 4100)
    assert len(found.steps) == len(PLANING)
    assert (step.engine_speed, step.speed, step.flow) == pytest.approx((4025, 28.0, 13.4), abs=0.01)
    assert step.name == "row 8 and row 13"


def test_one_way_runs_and_coarser_digits_widen_the_speed() -> None:
    fine = readings(job_view(boat(), typed(PLANING))).steps[5]
    one_way = readings(job_view(boat(), typed(PLANING, current=None))).steps[5]
    values = typed(PLANING)
    values[STEPS, "speed_out", "6", ""] = "17 kn"
    coarse = readings(job_view(boat(), values)).steps[5]
    assert (fine.worth, one_way.worth) == (2, 1)
    assert coarse.speed_digit == pytest.approx(10 * fine.speed_digit)


def test_the_rounding_of_a_reading_is_that_of_a_rectangle() -> None:
    # JCGM 100:2008, 4.3.7: a rectangle of full width a has the standard deviation a / sqrt(12).
    values = typed(PLANING)
    values[STEPS, "fuel_flow", "6", "centre"] = "10 gal/h"
    assert readings(job_view(boat(), values)).steps[5].flow_digit == pytest.approx(1 / math.sqrt(12))


@pytest.mark.parametrize(
    ("speeds", "courses", "legs"),
    [
        ([20, 22], [90, 270], (20, 22)),
        ([20, 21, 22, 23], [90, 92, 268, 90], (20.5, 22, 23)),
        ([20, 22], [350, 170], (20, 22)),
        ([20, 22], [350, 10], (21,)),
        ([20, 22], [90, 180], (21,)),
        ([20, 22], [90, None], (21,)),
        ([20, 22], [None, 90], (21,)),
        ([20], [90], (20,)),
    ],
)
def test_runs_are_sorted_into_legs_by_their_courses(
    speeds: list[float], courses: list[float | None], legs: tuple[float, ...]
) -> None:
    assert in_turn(speeds, courses) == legs


@given(st.lists(st.tuples(st.floats(0, 60), st.sampled_from([90.0, 270.0])), min_size=1, max_size=8))
def test_legs_stay_within_the_speeds_of_their_runs(runs: list[tuple[float, float]]) -> None:
    speeds, courses = [run[0] for run in runs], [run[1] for run in runs]
    legs = in_turn(speeds, courses)
    assert min(speeds) - 1e-9 <= min(legs)
    assert max(legs) <= max(speeds) + 1e-9
