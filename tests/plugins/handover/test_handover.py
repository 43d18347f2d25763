"""The walk-through, the pilot, radio identities and the punch list."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders import boat, findings_of, job_view
from examples import examples
from garboard.findings import Finding, Lack, NotEnoughData, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey
from garboard.records import JsonValue, Note, StepState
from garboard.report.outline import punch_list
from garboard.samples import Recording, Sample, Stream, StreamKey, gather
from garboard_handover import steps
from garboard_handover.pilot import course_change_of, hold_of

HOST = make_host(["garboard_handover"], entry_points=False)
KEY = StreamKey("heading", "20", "", "magnetic")


def _verdicts(view, calculator: str) -> list[Verdict]:  # type: ignore[no-untyped-def]
    return [finding.verdict for finding in findings_of(HOST, view, calculator)]


def _all_yes(step) -> dict[FieldKey, JsonValue]:  # type: ignore[no-untyped-def]
    return {(step.key, field.name, "", ""): True for field in step.fields if not field.each}


@pytest.mark.parametrize("step", [steps.STEPS[1], steps.STEPS[2], steps.STEPS[6]], ids=lambda step: step.key)
def test_a_system_passes_when_every_point_is_tried_and_in_order(step) -> None:  # type: ignore[no-untyped-def]
    assert _verdicts(job_view(boat(), _all_yes(step)), f"{step.key}.check") == [Verdict.PASS]


def test_how_many_points_were_tried_is_told_in_words_for_one() -> None:
    one: dict[FieldKey, JsonValue] = {(steps.AUTOPILOT, "stand_by", "", ""): True}
    (alone,) = findings_of(HOST, job_view(boat(), one), f"{steps.AUTOPILOT}.check")
    (four,) = findings_of(HOST, job_view(boat(), _all_yes(steps.STEPS[1])), f"{steps.STEERING}.check")
    assert (alone.sentence, four.sentence) == (
        "The one point is tried and in order.",
        "4 of 4 points tried and in order.",
    )


def test_a_point_that_does_not_work_fails_by_name_and_what_is_untried_is_named_apart() -> None:
    view = job_view(boat(), {(steps.STEERING, "no_leaks", "", ""): False, (steps.STEERING, "no_play", "", ""): True})
    failed, untried = findings_of(HOST, view, f"{steps.STEERING}.check")
    assert (failed.verdict, untried.verdict) == (Verdict.FAIL, Verdict.NOT_ENOUGH_DATA)
    assert "Hoses and cylinder dry" in failed.sentence
    assert "Lock to lock" in untried.sentence


def test_what_is_not_fitted_is_not_judged() -> None:
    view = job_view(boat(), {}, states=[StepState(step=steps.THRUSTER, state="not fitted")])
    assert findings_of(HOST, view, f"{steps.THRUSTER}.check") == []


def test_trim_is_asked_of_every_engine() -> None:
    values: dict[FieldKey, JsonValue] = {
        (steps.TRIM_AND_TABS, field, "", of): True
        for field in ("full_trim", "trim_gauge", "stays_up")
        for of in ("port", "starboard")
    }
    values[steps.TRIM_AND_TABS, "stays_up", "", "starboard"] = False
    (finding,) = findings_of(HOST, job_view(boat(2), values), f"{steps.TRIM_AND_TABS}.check")
    assert finding.sentence == "Answered no: Stays up when tilted (starboard). Put right and try again."


@pytest.mark.parametrize(
    ("point", "code", "said"),
    [
        ("no_vapour", "handover.check.vapour_found", "Vapour found: do not start or switch anything."),
        ("dry_at_rest", "handover.check.fuel_leaks", "Fuel leaks: do not start."),
        ("dry_under_pressure", "handover.check.fuel_leaks", "Fuel leaks: do not start."),
        ("blower_works", "handover.check.failed", "Answered no: Blower draws air out."),
    ],
)
def test_vapour_and_leaks_found_say_first_what_nobody_may_do(point: str, code: str, said: str) -> None:
    """A blower that does not run is no fuel in the bilge: it is put right, and nobody is sent ashore."""
    values = {**_all_yes(steps.STEPS[0]), (steps.FUEL_SYSTEM, point, "", ""): False}
    (finding,) = findings_of(HOST, job_view(boat(), values), f"{steps.FUEL_SYSTEM}.check")
    assert (finding.verdict, finding.code) == (Verdict.FAIL, code)
    assert finding.sentence.startswith(said)


def test_a_pump_that_does_not_start_by_itself_fails_under_its_own_name() -> None:
    step = steps.BILGE_PUMPS
    values: dict[FieldKey, JsonValue] = {
        (step, "pump", "1", ""): "aft",
        (step, "by_hand", "1", ""): True,
        (step, "by_float", "1", ""): False,
    }
    (finding,) = findings_of(HOST, job_view(boat(), values), f"{step}.check")
    assert "aft: starts by itself" in finding.sentence


TABLES = [
    (steps.BILGE_PUMPS, "pump", ("by_hand", "by_float")),
    (steps.SAFETY_GEAR, "item", ("aboard",)),
    (steps.OWNER_BRIEFING, "topic", ("understood",)),
]


def _rows_of(step: str, label: str, points: tuple[str, ...], names: tuple[str, ...]) -> dict[FieldKey, JsonValue]:
    (declared,) = (one for one in steps.STEPS if one.key == step)
    rows = {(step, point, str(row), ""): True for row, _ in enumerate(names) for point in points}
    named = {(step, label, str(row), ""): name for row, name in enumerate(names)}
    return {**_all_yes(declared), **rows, **named}


@pytest.mark.parametrize(("step", "label", "points"), TABLES)
@pytest.mark.parametrize("blank", ["", "  ", "\u00a0"])
def test_a_row_that_names_nothing_is_no_point_and_its_name_is_asked_for(
    step: str, label: str, points: tuple[str, ...], blank: str
) -> None:
    view = job_view(boat(), _rows_of(step, label, points, ("aft", blank)))
    (finding,) = findings_of(HOST, view, f"{step}.check")
    assert (finding.verdict, [(one.field, one.row) for one in finding.missing]) == (
        Verdict.NOT_ENOUGH_DATA,
        [(label, "1")],
    )


@pytest.mark.parametrize(("step", "label", "points"), TABLES)
def test_what_is_named_twice_counts_once(step: str, label: str, points: tuple[str, ...]) -> None:
    counted = []
    for names in (("aft",), ("aft", " Aft "), ("aft", "fore")):
        (finding,) = findings_of(HOST, job_view(boat(), _rows_of(step, label, points, names)), f"{step}.check")
        assert finding.verdict is Verdict.PASS
        counted.append(finding.numbers[0].value)
    assert (counted[1] - counted[0], counted[2] - counted[0]) == (0, len(points))


def test_a_row_that_names_nothing_still_tells_its_no() -> None:
    values = _rows_of(steps.BILGE_PUMPS, "pump", ("by_hand", "by_float"), ("",))
    values[steps.BILGE_PUMPS, "by_float", "0", ""] = False
    assert Verdict.FAIL in _verdicts(job_view(boat(), values), f"{steps.BILGE_PUMPS}.check")


def test_a_fault_put_right_that_names_nothing_is_asked_for_and_one_named_twice_counts_once() -> None:
    def view(*faults: str):  # type: ignore[no-untyped-def]
        rows: dict[FieldKey, JsonValue] = {}
        for row, fault in enumerate(map(str, faults)):
            rows[steps.PUNCH_LIST, "fault", str(row), ""] = fault
            rows[steps.PUNCH_LIST, "put_right", str(row), ""] = True
            rows[steps.PUNCH_LIST, "retested_by", str(row), ""] = "R. Vane"
        return job_view(boat(), rows)

    (asked,) = findings_of(HOST, view("Chafe", " "), "handover.punch_list")
    assert (asked.verdict, asked.missing[0].row) == (Verdict.NOT_ENOUGH_DATA, "1")
    (once,) = findings_of(HOST, view("Chafe", "chafe ", "Leak"), "handover.punch_list")
    assert (once.verdict, once.sentence) == (Verdict.PASS, "Nothing open; 2 put right.")


@pytest.mark.parametrize(
    ("licence", "vhf", "ais", "verdict"),
    [
        ("200000001", "200000001", "200000001", Verdict.PASS),
        ("200000001", "200000001", None, Verdict.PASS),
        ("200000001", "200000010", None, Verdict.FAIL),
        ("200000001", "200000001", "200000002", Verdict.FAIL),
        ("20000001", "20000001", None, Verdict.FAIL),
        ("138000001", "138000001", None, Verdict.FAIL),
        ("200000001", None, None, Verdict.NOT_ENOUGH_DATA),
    ],
)
def test_radio_identities_are_nine_digits_and_all_the_same(
    licence: str, vhf: str | None, ais: str | None, verdict: Verdict
) -> None:
    # ITU-R M.585: ship station identities are MIDXXXXXX, nine digits, MID 2xx to 7xx (from memory).
    given = {"licence_identity": licence, "vhf_identity": vhf, "ais_identity": ais}
    values: dict[FieldKey, JsonValue] = {(steps.RADIO, name, "", ""): v for name, v in given.items() if v is not None}
    assert _verdicts(job_view(boat(), values), "handover.radio_identity") == [verdict]


def _stream(values: list[float], rate: float = 10.0) -> Stream:
    return Stream(KEY, tuple(n / rate for n in range(len(values))), tuple(value % 360 for value in values))


def test_a_hold_across_north_has_the_spread_numpy_gives() -> None:
    noise = np.random.default_rng(5).normal(0, 1.2, 900)
    hold = hold_of(_stream([float(value) for value in noise]), 60)
    assert hold.standard_deviation == pytest.approx(float(np.std(noise, ddof=1)))
    assert min(hold.heading, 360 - hold.heading) == pytest.approx(abs(float(np.mean(noise))), abs=1e-9)


def test_the_slow_change_over_a_hold_is_the_least_squares_slope() -> None:
    run = [350 + 0.02 * n + math.sin(n / 7) for n in range(900)]
    times = np.arange(900) / 10.0
    slope = float(np.polyfit(times, run, 1)[0])
    assert hold_of(_stream(run), 60).drift == pytest.approx(slope * times[-1])


def test_a_short_hold_is_not_judged() -> None:
    with pytest.raises(NotEnoughData, match="hold it 60 s"):
        hold_of(_stream([0.0] * 300), 60)


@pytest.mark.parametrize(
    ("run", "degrees"),
    [
        ([0.25 * n for n in range(900)], 225),  # a circle
        ([40.0 + 30 * (n > 450) + math.sin(n / 9) for n in range(900)], 32),  # a change of course
        ([100 * math.sin(n / 143) for n in range(900)], 200),  # out and back
    ],
)
def test_a_heading_that_went_elsewhere_is_no_hold(run: list[float], degrees: int) -> None:
    with pytest.raises(NotEnoughData, match=f"no heading was held: it went through {degrees} degrees"):
        hold_of(_stream(run), 60)


def test_a_pilot_that_hunts_about_its_heading_is_judged_as_one() -> None:
    assert hold_of(_stream([30 * math.sin(n / 20) for n in range(900)]), 60).furthest > 29


def _second_order(change: float, damping: float, natural: float, seconds: float) -> list[float]:
    """Step response of a second-order system, the textbook form for under-damped turns."""
    damped = natural * math.sqrt(1 - damping**2)
    angle = math.acos(damping)
    run = [350.0] * 100
    for n in range(int(seconds * 10)):
        t = n / 10
        decay = math.exp(-damping * natural * t) / math.sqrt(1 - damping**2)
        run.append(350.0 + change * (1 - decay * math.sin(damped * t + angle)))
    return run


@pytest.mark.parametrize("change", [30.0, -40.0, 90.0])
def test_overshoot_is_that_of_the_textbook_step_response(change: float) -> None:
    # K. Ogata, Modern Control Engineering, second-order systems (from memory, checked here by evaluating the
    # response itself): maximum overshoot = exp(-damping * pi / sqrt(1 - damping^2)).
    damping, natural = 0.5, 0.4
    found = course_change_of(_stream(_second_order(change, damping, natural, 90)), change, 2.0)
    expected = abs(change) * math.exp(-damping * math.pi / math.sqrt(1 - damping**2))
    assert found.overshoot == pytest.approx(expected, abs=0.1)
    assert found.turned == pytest.approx(change, abs=0.3)


def test_a_change_that_does_not_settle_asks_for_a_longer_recording() -> None:
    with pytest.raises(NotEnoughData, match="record longer"):
        course_change_of(_stream(_second_order(40, 0.2, 0.2, 14)), 40, 2.0)


def test_the_pilot_is_judged_from_its_recordings_against_the_shops_limits() -> None:
    def recording(run: list[float]):  # type: ignore[no-untyped-def]
        return gather("log", (Sample(n / 10, "heading", v % 360, "20", "", "magnetic") for n, v in enumerate(run)))

    values: dict[FieldKey, JsonValue] = {
        (steps.AUTOPILOT, "stand_by", "", ""): True,
        (steps.AUTOPILOT, "hold_recording", "", ""): {"file": "hold"},
        (steps.AUTOPILOT, "change_recording", "", ""): {"file": "change"},
        (steps.AUTOPILOT, "ordered_change", "", ""): "40 deg",
        (steps.AUTOPILOT, "trial_speed", "", ""): "18 kn",
    }
    recordings = {
        "hold": recording([350 + math.sin(n / 9) for n in range(900)]),
        "change": recording(_second_order(40, 0.2, 0.4, 90)),
    }
    view = job_view(boat(), values, recordings=recordings)
    assert _verdicts(view, "handover.heading_hold") == [Verdict.PASS]
    (change,) = findings_of(HOST, view, "handover.course_change")
    assert change.verdict is Verdict.ADVISE
    said = r"40 ordered, overshoot \d+\.\d degrees, settled within ± 5 degrees \d+ s after it was 5 degrees off"
    assert re.search(said, change.sentence)
    assert "time to settle within ± 5 deg" in {number.name for number in change.numbers}


def _trial(heading: list[float], speed: float | None, quantity: str = "speed_over_ground") -> Recording:
    """A recording of a heading, ten samples a second, with a speed [kn] or without."""
    by_second = [Sample(n / 10, "heading", v % 360, "20", "", "magnetic") for n, v in enumerate(heading)]
    speeds = [] if speed is None else [Sample(n, quantity, speed, "30") for n in range(len(heading) // 10)]
    return gather("log", sorted([*by_second, *speeds], key=lambda sample: sample.time))


@pytest.mark.parametrize(
    ("speed", "quantity", "entered", "verdict"),
    [
        (None, "", "", Verdict.NOT_ENOUGH_DATA),  # at the dock it looks the same
        (None, "", "18 kn", Verdict.PASS),
        (None, "", "0 kn", Verdict.NOT_ENOUGH_DATA),
        (18.0, "speed_over_ground", "", Verdict.PASS),
        (18.0, "speed_through_water", "", Verdict.PASS),
        (0.2, "speed_over_ground", "18 kn", Verdict.NOT_ENOUGH_DATA),  # what was recorded comes first
    ],
)
def test_a_trial_of_the_pilot_passes_only_where_a_speed_shows_way_on(
    speed: float | None, quantity: str, entered: str, verdict: Verdict
) -> None:
    values: dict[FieldKey, JsonValue] = {
        (steps.AUTOPILOT, "hold_recording", "", ""): {"file": "hold"},
        (steps.AUTOPILOT, "change_recording", "", ""): {"file": "change"},
        (steps.AUTOPILOT, "ordered_change", "", ""): "40 deg",
    }
    if entered:
        values[steps.AUTOPILOT, "trial_speed", "", ""] = entered
    recordings = {
        "hold": _trial([350 + math.sin(n / 9) for n in range(900)], speed, quantity),
        "change": _trial(_second_order(40, 0.9, 1.2, 60), speed, quantity),
    }
    view = job_view(boat(), values, recordings=recordings)
    assert _verdicts(view, "handover.heading_hold") == [verdict]
    assert _verdicts(view, "handover.course_change") == [verdict]


def test_an_unsteady_hold_is_told_without_a_speed() -> None:
    hold = _trial([350 + 20 * math.sin(n / 40) for n in range(900)], None)
    view = job_view(boat(), {(steps.AUTOPILOT, "hold_recording", "", ""): {"file": "hold"}}, recordings={"hold": hold})
    assert _verdicts(view, "handover.heading_hold") == [Verdict.ADVISE]


def test_the_punch_list_is_open_until_put_right_and_tried_again() -> None:
    step = steps.PUNCH_LIST
    values: dict[FieldKey, JsonValue] = {(step, "fault", "1", ""): "Loose grommet", (step, "put_right", "1", ""): True}
    assert _verdicts(job_view(boat(), values), "handover.punch_list") == [Verdict.FAIL]
    values[step, "retested_by", "1", ""] = "R. Vane"
    assert _verdicts(job_view(boat(), values), "handover.punch_list") == [Verdict.PASS]


def test_a_note_on_the_punch_list_keeps_it_open() -> None:
    import attrs

    view = attrs.evolve(job_view(boat(), {}), notes=(Note(text="Chafe at the transom", punch_list=True),))
    (finding,) = findings_of(HOST, view, "handover.punch_list")
    assert finding.verdict is Verdict.FAIL
    assert finding.sentence == "Chafe at the transom: put it right, then try it again."


def test_every_open_fault_stands_on_the_jobs_punch_list_once() -> None:
    """Two from the list, one of them put right and not yet tried again, and one noted anywhere in the job."""
    import attrs

    step = steps.PUNCH_LIST
    values: dict[FieldKey, JsonValue] = {
        (step, "fault", "1", ""): "Loose grommet",
        (step, "fault", "2", ""): "Horn weak.",
        (step, "put_right", "2", ""): True,
    }
    view = attrs.evolve(job_view(boat(), values), notes=(Note(text="Chafe at the transom.", punch_list=True),))
    items = punch_list(view, HOST, [one for one in HOST.assess(view) if one.calculator == "handover.punch_list"])
    assert [item.text for item in items] == [
        "Loose grommet: put it right, then try it again.",
        "Horn weak: put right, try it again.",
        "Chafe at the transom: put it right, then try it again.",
    ]


def test_two_faults_in_the_same_words_are_two_on_the_jobs_punch_list() -> None:
    """Noted twice, and once more in the list: three places chafe."""
    import attrs

    words = "Chafe at the transom"
    notes = tuple(Note(text=words, by=by, punch_list=True) for by in ("R. Vane", "R. Vane", ""))
    view = attrs.evolve(job_view(boat(), {(steps.PUNCH_LIST, "fault", "1", ""): f"{words}."}), notes=notes)
    items = punch_list(view, HOST, [one for one in HOST.assess(view) if one.calculator == "handover.punch_list"])
    assert len(items) == 4
    assert [item.text for item in items[1:3]] == [
        f"{words} ({number} of 4 in these words, by R. Vane): put it right, then try it again." for number in (2, 3)
    ]


def test_every_step_that_can_hurt_shows_its_cautions_first() -> None:
    dangerous = {
        steps.FUEL_SYSTEM,
        steps.STEERING,
        steps.SECOND_STATION,
        steps.TRIM_AND_TABS,
        steps.THRUSTER,
        steps.AUTOPILOT,
        steps.TABS_UNDER_WAY,
    }
    assert {step.key for step in HOST.steps if step.cautions} >= dangerous


odd: st.SearchStrategy[JsonValue] = st.one_of(
    st.none(), st.booleans(), st.text(max_size=5), st.integers(-5, 5), st.just({"file": "x"})
)


@settings(deadline=None, max_examples=examples(40))
@given(st.data())
def test_no_odd_job_makes_a_calculator_fail(data: st.DataObject) -> None:
    values: dict[FieldKey, JsonValue] = {}
    for step in steps.STEPS:
        for field in step.all_fields():
            value = data.draw(odd)
            if value is not None:
                values[step.key, field.name, "1" if field not in step.fields else "", ""] = value
    for assessed in HOST.assess(job_view(boat(2), values)):
        assert "Plugin" not in assessed.finding.sentence


def test_the_book_counts_the_systems_in_order_and_tells_the_others_in_full() -> None:
    values: dict[FieldKey, JsonValue] = {
        (steps.THRUSTER, field.name, "", ""): field.name != "stops"
        for field in next(step for step in HOST.steps if step.key == steps.THRUSTER).fields
    }
    values |= {
        (steps.STEERING, field.name, "", ""): True
        for field in next(step for step in HOST.steps if step.key == steps.STEERING).fields
    }
    values |= {
        (steps.OWNER_BRIEFING, "topic", "1", ""): "starting and stopping",
        (steps.OWNER_BRIEFING, "understood", "1", ""): True,
        (steps.OWNER_BRIEFING, "manuals_handed_over", "", ""): True,
    }
    view = job_view(boat(), values)
    assert _verdicts(view, "handover.owner_briefing.check") == [Verdict.PASS]  # shown to the owner, no system
    section = next(each for each in HOST.report_sections if each.key == "handover.walk_through")
    assessed = HOST.assess(view)
    fitted = {one.title for one in assessed if one.calculator.endswith(".check")} - {
        "Walk through the boat with the owner"
    }
    large, told, untried, thruster = section.build(view, assessed)
    assert str(large) == f"1 of {len(fitted)} systems of the walk-through", "also those nobody tried"
    assert told == "In order: Steering."
    assert set(str(untried).removeprefix("Not tried yet: ").rstrip(".").split("; ")) == {
        title for title in fitted if title not in ("Steering", "Bow thruster")
    }
    assert isinstance(thruster, Finding)
    assert thruster.verdict is Verdict.FAIL


@pytest.mark.parametrize("frozen_from", [0, 40])
def test_a_heading_that_stands_still_holds_nothing(frozen_from: int) -> None:
    values = [87.0 + 0.3 * math.sin(min(n, frozen_from * 10) / 9) for n in range(1000)]
    with pytest.raises(NotEnoughData, match="the sensor is dead or the display is frozen") as lacking:
        hold_of(_stream(values), 60)
    (missing,) = lacking.value.missing
    assert missing.lack is Lack.CONTRADICTS
    assert missing.field == "hold_recording"


def _silent(stream: Stream, begin: float, end: float) -> Stream:
    kept = [(time, value) for time, value in stream if not begin < time < end]
    return Stream(KEY, *zip(*kept, strict=True))


def test_what_a_pilot_did_in_a_silence_is_not_judged() -> None:
    """A swing of 12 degrees past the order, hidden by 20 s without a word, read as settled at once without any."""
    change = _stream(_second_order(40, 0.35, 0.4, 90))
    assert course_change_of(change, 40, 3).overshoot > 10
    with pytest.raises(NotEnoughData, match="silent for 20 s of the course change") as lacking:
        course_change_of(_silent(change, 9.95, 29.95), 40, 3)
    assert lacking.value.missing[0].field == "change_recording"
    assert course_change_of(_silent(change, 40, 44), 40, 3).settled == course_change_of(change, 40, 3).settled


def test_a_hold_lasts_as_long_as_it_was_heard() -> None:
    hold = _stream([87.0 + math.sin(n / 9) for n in range(1000)])
    assert hold_of(_silent(hold, 30, 50), 60).seconds == pytest.approx(hold.times[-1] - 20, abs=0.2)
    with pytest.raises(NotEnoughData, match="hold it 60 s"):
        hold_of(_silent(hold, 30, 75), 60)


def test_a_heading_that_freezes_on_the_new_course_settles_nothing() -> None:
    change = _second_order(40, 0.7, 0.4, 90)
    with pytest.raises(NotEnoughData) as lacking:
        course_change_of(_stream([*change[:300], *[change[300]] * 600]), 40, 3)
    assert lacking.value.missing[0].lack is Lack.CONTRADICTS


def test_a_display_in_whole_degrees_may_stand_for_half_a_hold() -> None:
    assert hold_of(_stream([87.0] * 600 + [88.0] * 300), 60).furthest < 1
