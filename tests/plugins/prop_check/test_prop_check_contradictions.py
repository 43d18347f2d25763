"""Readings that contradict each other are named and nothing is built on them; those that may be right are let be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import attrs
import pytest

from builders import findings_of
from garboard.findings import Finding, Lack, Verdict
from garboard.job_view import FieldKey, JobView
from garboard.records import NETWORK_SOURCES, JsonValue, Propeller, Vessel
from garboard.samples import Recording, Sample, gather
from garboard.units import Amount
from garboard_prop_check.runs import runs_of
from prop_check_jobs import PROPELLER, RUNS, amount, host, job, recorded, two_ways, vessel

HOST = host()
BOAT, TWIN = vessel(1), vessel(2)
MISSING = Verdict.NOT_ENOUGH_DATA
STAMPS_READ: dict[FieldKey, JsonValue] = {
    (PROPELLER, field, "", of): True
    for field in ("stamp_read", "nut_secured", "blades_sound")
    for of in ("port", "centre", "starboard")
}


def found(view: JobView) -> dict[str, list[Finding]]:
    """Findings by calculator, without the plugin's name."""
    findings: dict[str, list[Finding]] = {}
    for one in HOST.assess(view):
        findings.setdefault(one.calculator.removeprefix("prop_check."), []).append(one.finding)
    return findings


def one(view: JobView, calculator: str) -> Finding:
    (finding,) = findings_of(HOST, view, f"prop_check.{calculator}")
    return finding


def runs(boat: Vessel, *made: tuple[str, float, float]) -> JobView:
    """Typed runs: side, speed [kn], engine speed of every engine [rev/min]."""
    engines = [engine.position for engine in boat.engines]
    rows = [
        {"direction": side, "speed": f"{speed} kn", **dict.fromkeys(engines, f"{turns:.0f} rev/min")}
        for side, speed, turns in made
    ]
    return job(boat, rows, more=dict(STAMPS_READ))


def doubted(finding: Finding) -> set[FieldKey]:
    return {doubt.place for doubt in finding.doubts}


GOOD: tuple[tuple[str, float, float], ...] = (
    ("with", 41.0, 5800),
    ("against", 39.0, 5810),
    ("with", 41.2, 5790),
    ("against", 39.1, 5800),
)


def with_one(number: int, side: str, speed: float, turns: float) -> JobView:
    made = list(GOOD)
    made[number] = (side, speed, turns)
    return runs(BOAT, *made)


# Runs against each other.


def test_runs_that_agree_are_not_accused() -> None:
    """Nor are runs that scatter twice as much as usual, nor a current of 3 kn."""
    for view in (
        runs(BOAT, *GOOD),
        runs(BOAT, ("with", 41.3, 5770), ("against", 38.8, 5830), ("with", 40.7, 5815), ("against", 39.2, 5785)),
        runs(BOAT, ("with", 43.0, 5800), ("against", 37.0, 5800)),
    ):
        assert "readings" not in found(view)
        assert one(view, "speed").verdict is Verdict.PASS


def test_a_current_no_sea_has_is_a_misread_speed() -> None:
    """41 and 30 kn would need 5.5 kn of current: there is no speed, no slip; the engine speed stands."""
    view = runs(BOAT, ("with", 41.0, 5800), ("against", 30.0, 5800))
    told = one(view, "readings")
    assert (told.code, told.verdict) == ("prop_check.readings.runs_differ", Verdict.ADVISE)
    assert "a current of 5.5 kn" in told.sentence
    assert doubted(told) == {(RUNS, "speed", row, "") for row in ("1", "2")}
    for calculator in ("speed", "slip"):
        refused = one(view, calculator)
        assert (refused.verdict, refused.missing[0].lack) == (MISSING, Lack.CONTRADICTS)
    assert one(view, "window").verdict is Verdict.PASS


def test_the_shop_says_how_strong_a_current_its_water_has() -> None:
    """Where the tide runs 7 kn, 5.5 kn are no contradiction."""
    rows = two_ways(BOAT, speeds=("41.0 kn", "30.0 kn"))
    view = job(BOAT, rows, settings={"prop_check.largest_current": "7 kn"})
    assert one(view, "speed").verdict is Verdict.PASS


def on_courses(*made: tuple[str, str]) -> JobView:
    """Typed runs with label and course."""
    rows = two_ways(BOAT, speeds=("41.0 kn", "40.4 kn", "41.1 kn", "40.5 kn")[: len(made)])
    return job(BOAT, [row | {"direction": side, "course": to} for row, (side, to) in zip(rows, made, strict=True)])


@pytest.mark.parametrize(
    ("made", "rows"),
    [
        ((("with", "90 deg"), ("against", "95 deg")), "12"),
        ((("with", "90 deg"), ("against", "150 deg")), "12"),
        ((("with", "90 deg"), ("with", "270 deg")), "12"),
        ((("with", "90 deg"), ("against", "270 deg"), ("with", "92 deg"), ("against", "91 deg")), "4"),
        ((("against", "90 deg"), ("against", "270 deg"), ("with", "92 deg"), ("against", "268 deg")), "1"),
        ((("with", "90 deg"), ("against", "270 deg"), ("with", "71 deg"), ("against", "289 deg")), "34"),
    ],
)
def test_a_label_that_the_course_contradicts_is_doubted(made: tuple[tuple[str, str], ...], rows: str) -> None:
    """With and against on courses 90 and 95 are no opposite runs; of four runs the one that does not fit is named."""
    view = on_courses(*made)
    told = one(view, "readings")
    assert (told.code, told.verdict) == ("prop_check.readings.label_and_course", Verdict.ADVISE)
    assert doubted(told) == {(RUNS, field, row, "") for row in rows for field in ("direction", "course")}
    for calculator in ("speed", "slip"):
        refused = one(view, calculator)
        assert (refused.verdict, refused.missing[0].lack) == (MISSING, Lack.CONTRADICTS)
    assert one(view, "window").verdict is Verdict.PASS, "engine speed has no direction"


def test_labels_that_fit_their_courses_are_not_doubted() -> None:
    """Courses 18 degrees off one line, and a run whose course nobody noted."""
    rows = two_ways(BOAT)
    for courses in (("350 deg", "188 deg"), ("90 deg", None)):
        made = [row | ({"course": course} if course else {}) for row, course in zip(rows, courses, strict=True)]
        assert "readings" not in found(job(BOAT, made))
        assert one(job(BOAT, made), "speed").verdict is Verdict.PASS


def test_runs_with_the_current_that_are_slower_ask_whether_the_labels_are_swapped() -> None:
    """38.1 with and 43.9 against. The speed is the same either way, so nothing else is in doubt."""
    view = runs(BOAT, ("with", 38.1, 5800), ("against", 43.9, 5800))
    told = one(view, "readings")
    assert (told.code, told.verdict) == ("prop_check.readings.labels_swapped", Verdict.ADVISE)
    assert {"38.1", "43.9"} <= set(told.sentence.split())
    assert not told.doubts
    assert one(view, "speed").verdict is Verdict.PASS
    for sound in (
        runs(BOAT, ("with", 43.9, 5800), ("against", 38.1, 5800)),
        runs(BOAT, ("with", 40.0, 5800), ("against", 41.8, 5800)),
    ):
        assert "readings" not in found(sound), "so little may be the wind"


TIDE = (("with", 47.5, 5800), ("against", 38.4, 5810), ("with", 47.3, 5790), ("against", 38.5, 5800))


def test_a_strong_current_that_both_ways_repeat_stands() -> None:
    """4.5 kn from four runs that agree; from two runs, or where the same way differs, a speed is misread."""
    view = runs(BOAT, *TIDE)
    assert "readings" not in found(view)
    assert one(view, "speed").verdict is Verdict.PASS
    assert "4.5 kn, strong" in one(view, "speed").sentence
    assert "strong" not in one(runs(BOAT, *GOOD), "speed").sentence
    for wrong in (TIDE[:2], (*TIDE[:2], ("with", 41.0, 5800), ("against", 43.0, 5800))):
        assert one(runs(BOAT, *wrong), "speed").verdict is MISSING
        assert {told.code for told in found(runs(BOAT, *wrong))["readings"]} == {"prop_check.readings.runs_differ"}
    in_another_unit = [(side, speed * (1.852 if side == "with" else 1), turns) for side, speed, turns in TIDE]
    assert one(runs(BOAT, *in_another_unit), "speed").verdict is MISSING, "no stream runs 20 kn"


def test_an_engine_cannot_turn_above_its_limiter() -> None:
    """300 rev/min above: one entry is wrong. A little above is the limiter itself, as it swings."""
    high = vessel(limiter="5500 rev/min")
    view = job(high, two_ways(high, "5800 rev/min"), more=dict(STAMPS_READ))
    told = one(view, "readings")
    assert (told.code, told.verdict) == ("prop_check.readings.above_limiter", Verdict.ADVISE)
    assert {"5800", "5500."} <= set(told.sentence.split())
    assert doubted(told) == {(RUNS, "engine_speed", row, "centre") for row in ("1", "2")}
    assert one(view, "window").verdict is Verdict.ADVISE
    assert "Close to" not in one(view, "window").sentence
    assert (one(view, "pitch").verdict, one(view, "pitch").missing[0].lack) == (MISSING, Lack.CONTRADICTS)
    swings = job(high, two_ways(high, "5580 rev/min"), more=dict(STAMPS_READ))
    assert "readings" not in found(swings)
    assert one(swings, "pitch").code == "prop_check.pitch.at_limiter"


@pytest.mark.parametrize(("form", "told"), [("displacement", True), ("planing", False)])
def test_a_displacement_hull_does_not_run_forty_knots(form: str, told: bool) -> None:
    """Its gear ratio and stamps were to be read again, and the hull form was not named."""
    view = runs(attrs.evolve(BOAT, hull_form=form, length=Amount("24", "ft")), *GOOD)
    readings = found(view).get("readings", [])
    assert [each.code for each in readings] == ["prop_check.readings.faster_than_its_hull"] * told
    assert [doubted(each) for each in readings] == [{("vessel", "hull_form", "", "")}] * told


@pytest.mark.parametrize(("limiter", "high"), [("6250 rev/min", 6000), ("6050 rev/min", 5950), ("5000 rev/min", 6000)])
def test_an_engine_speed_has_one_limit_the_stricter(limiter: str, high: float) -> None:
    """Of the window and the limiter less its margin."""
    boat = vessel(limiter=limiter)
    (limit,) = one(job(boat, two_ways(boat, "5700 rev/min")), "window").limits
    assert (limit.low, limit.high) == (5400, high)


SEA_TRIAL = [(30.0, 41.0, 90.0, (5800,)), (20.0, 20.0, 180.0, (3000,)), (25.0, 39.0, 270.0, (5800,))]


def attached(*rows: dict[str, JsonValue]) -> JobView:
    """One recording of a whole trial, the same file at every row."""
    labelled = [{"direction": ("with", "against")[n % 2], **row} for n, row in enumerate(rows)]
    return job(
        BOAT,
        [{**row, "recording": {"file": "trial"}} for row in labelled],
        recordings={"trial": recorded(SEA_TRIAL)},
        more=dict(STAMPS_READ),
    )


def test_one_file_for_two_rows_is_one_run() -> None:
    """Unless the courses of the rows take another run of it each."""
    view = attached({}, {})
    told = one(view, "readings")
    assert told.code == "prop_check.readings.runs_differ"
    assert "run 1 and run 2 hold the same seconds of one recording" in told.sentence.lower()
    assert doubted(told) == {(RUNS, "recording", row, "") for row in ("1", "2")}
    assert (one(view, "speed").verdict, one(view, "speed").missing[0].field) == (MISSING, "recording")
    assert {one(view, calculator).verdict for calculator in ("window", "pitch")} == {Verdict.ADVISE}
    sound = attached({"course": "90 deg"}, {"course": "270 deg"})
    assert "readings" not in found(sound)
    assert one(sound, "speed").numbers[0].value == pytest.approx(40.0, abs=0.1)


@pytest.mark.parametrize("number", [0, 1, 2, 3])
def test_one_ventilating_run_is_named_and_not_counted(number: int) -> None:
    """400 rev/min faster and 3.5 kn slower than the rest, whichever of the four it is."""
    side, speed, turns = GOOD[number]
    view = with_one(number, side, speed - 3.5, turns + 400)
    told = one(view, "readings")
    assert (told.code, told.about) == ("prop_check.readings.ventilated", f"run {number + 1}")
    assert "let go" in told.sentence
    assert (RUNS, "engine_speed", str(number + 1), "centre") in doubted(told)
    window = one(view, "window")
    assert (window.code, window.verdict) == ("prop_check.window.inside", Verdict.PASS), "the other three agree"
    assert window.numbers[0].value == pytest.approx(5800, abs=5)
    assert all(place[2] != str(number + 1) for place in window.places)
    assert one(view, "pitch").verdict is Verdict.ADVISE, "nobody keeps a propeller that lets go"
    assert "more runs" not in " ".join(finding.sentence for each in found(view).values() for finding in each)


def test_one_run_short_of_full_throttle_and_one_misread_engine_speed_are_told_apart() -> None:
    """Both slower; or the engine alone, up or down."""
    for speed, turns, code, runs_of_speed in (
        (38.5, 5500, "not_full_throttle", "1 and 2 runs"),
        (41.2, 5500, "odd_engine_speed", "4 runs"),
        (40.9, 5080, "odd_engine_speed", "4 runs"),  # for 5800, at full speed, which counts
        (41.2, 8500, "odd_engine_speed", "4 runs"),
    ):
        view = with_one(2, "with", speed, turns)
        assert one(view, "readings").code == f"prop_check.readings.{code}"
        assert runs_of_speed in one(view, "speed").sentence
        assert one(view, "window").numbers[0].value == pytest.approx(5800, abs=5)


def test_the_only_run_against_the_current_is_not_slow_for_it() -> None:
    """Digits changed round, 5080 for 5800: 39 kn against a knot of current is full throttle."""
    view = runs(BOAT, ("with", 41.0, 5800), ("against", 39.0, 5080), ("with", 41.2, 5810))
    assert one(view, "readings").code == "prop_check.readings.odd_engine_speed"


def test_one_misread_speed_is_named_and_not_counted() -> None:
    """41.2 typed as 14.2; the speed of the others stands."""
    view = with_one(2, "with", 14.2, 5790)
    told = one(view, "readings")
    assert (told.code, told.about) == ("prop_check.readings.odd_speed", "run 3")
    assert doubted(told) == {(RUNS, "speed", "3", "")}
    assert one(view, "speed").numbers[0].value == pytest.approx((41.0 + (39.0 + 39.1) / 2) / 2)
    assert all((RUNS, "engine_speed", str(row), "centre") in one(view, "window").places for row in (1, 2, 3, 4))


def test_without_the_odd_run_one_way_is_left_and_said() -> None:
    """Of three runs the only one against was misread."""
    view = runs(BOAT, ("with", 41.0, 5800), ("against", 13.0, 5800), ("with", 41.2, 5800))
    assert one(view, "readings").about == "run 2"
    assert "without run 2, which the others contradict, all runs went one way" in one(view, "speed").sentence


def test_two_runs_that_contradict_blame_neither() -> None:
    """300 rev/min apart and nothing to say which: no window is judged, and one sound run alone gives no speed."""
    view = runs(BOAT, ("with", 41.0, 5800), ("against", 38.0, 6100))
    told = one(view, "readings")
    assert told.code == "prop_check.readings.runs_differ"
    assert doubted(told) == {(RUNS, "engine_speed", row, "centre") for row in ("1", "2")}
    assert one(view, "window").verdict is MISSING
    assert one(view, "speed").verdict is MISSING


def test_a_ventilating_run_of_a_recording_is_named_too() -> None:
    """Cut from one recording of all runs, where no row can be pointed at."""
    steady = ((41.0, 10, 5800), (39.0, 190, 5805), (37.5, 10, 6200), (39.1, 190, 5800))
    made = [(20, speed, course, (turns,)) for speed, course, turns in steady]
    trial = recorded([part for run in made for part in (run, (10, 6.0, 100, (900,)))])
    more: dict[FieldKey, JsonValue] = {(RUNS, "all_runs", "", ""): {"file": "trial"}}
    view = job(BOAT, recordings={"trial": trial}, more=more)
    told = one(view, "readings")
    assert (told.code, told.about) == ("prop_check.readings.ventilated", "run 3")
    assert not told.doubts, "the others in it are sound"
    assert one(view, "window").verdict is Verdict.PASS


def test_no_propeller_is_changed_on_readings_in_doubt() -> None:
    """Runs typed at 5100 rev/min against a recording at 5800: the advice gives way; where both agree it stands."""
    trial = recorded([(20, 39.0, 10, (5800,)), (20, 39.4, 190, (5800,))])
    more: dict[FieldKey, JsonValue] = {**STAMPS_READ, (RUNS, "all_runs", "", ""): {"file": "trial"}}
    for typed, code in ((5100, "in_doubt"), (5800, "keep")):
        speeds = [f"{speed * typed / 5800:.1f} kn" for speed in (39.4, 39.0)]
        made = two_ways(BOAT, f"{typed} rev/min", speeds)
        (advice,) = found(job(BOAT, made, more=more, recordings={"trial": trial}))["pitch"]
        assert advice.code == f"prop_check.pitch.{code}"
        assert bool(advice.doubted) is (code == "in_doubt")
        assert not (advice.doubted and (advice.numbers or advice.tables))
    assert found(runs(BOAT, ("with", 35.0, 5100), ("against", 34.6, 5100)))["pitch"][0].code.endswith("try_first")


def test_a_cruise_with_the_current_is_no_full_throttle_run() -> None:
    """5000 rev/min and 37 kn with 3 kn of current, beside full throttle against it: two runs, not three."""
    made = [(20, 35.0, 10, (5800,)), (20, 37.0, 190, (5000,)), (20, 41.0, 190, (5810,))]
    more: dict[FieldKey, JsonValue] = {(RUNS, "all_runs", "", ""): {"file": "trial"}}
    for trial, count in ((made, 2), (made[:2], 1)):
        view = HOST.with_defaults(job(BOAT, recordings={"trial": recorded(trial)}, more=dict(more)))
        assert len(runs_of(view)) == count


# Slip.


@pytest.mark.parametrize("way", ["all runs", "row by row"])
@pytest.mark.parametrize("speed", [86.0, 2.0])
def test_a_recorded_speed_that_no_slip_allows_passes_no_more_than_a_typed_one(way: str, speed: float) -> None:
    """A receiver that said 86 kn of a boat that runs 41: its slip failed, and the speed passed beside it."""
    ways = [(20, speed, 10, (5800,)), (20, speed - 0.4, 190, (5790,))]
    if way == "all runs":
        trial = recorded([part for run in ways for part in (run, (10, 1.0, 100, (900,)))])
        view = job(BOAT, recordings={"trial": trial}, more={(RUNS, "all_runs", "", ""): {"file": "trial"}})
    else:
        rows: list[dict[str, JsonValue]] = [{"recording": {"file": name}} for name in ("out", "back")]
        view = job(BOAT, rows, recordings={"out": recorded(ways[:1]), "back": recorded(ways[1:])})
    told = found(view)
    assert told["slip"][0].verdict is Verdict.FAIL
    assert told["speed"][0].verdict is not Verdict.PASS
    assert told["speed"][0].doubted


def test_miles_an_hour_typed_as_knots_pass_no_other_check() -> None:
    """41.7 kn is 15 % slip; 48.0 mph typed as knots would be 2.1 %, and weight and power would believe it."""
    heavy = vessel(1, power="250 hp", displacement_as_run="4500 lb", length="22 ft")
    told = found(runs(heavy, ("with", 48.5, 5800), ("against", 47.5, 5800)))
    (slip,), (speed,), (weight,) = told["slip"], told["speed"], told["crouch"]
    assert slip.code == "prop_check.slip.about_zero"
    assert "Slip would be usual had the speed been read in mph." in slip.sentence
    assert doubted(slip) == {(RUNS, "speed", row, "") for row in ("1", "2")}
    assert (speed.code, weight.code) == ("prop_check.speed.measured", "prop_check.crouch.believable")
    assert (speed.verdict, weight.verdict) == (Verdict.ADVISE, Verdict.ADVISE)
    assert "In doubt" in speed.sentence
    assert told["window"][0].verdict is Verdict.PASS, "it rests on no speed"
    assert told["pitch"][0].verdict is Verdict.ADVISE, "a tachometer that reads low would explain the slip as well"
    right = found(runs(heavy, ("with", 42.2, 5800), ("against", 41.2, 5800)))
    assert {right[name][0].verdict for name in ("slip", "speed", "crouch", "window")} == {Verdict.PASS}


def test_knots_typed_as_miles_an_hour_are_asked_about() -> None:
    """41.7 mph are 36.2 kn, 26 % slip; read in knots it would be 15 %."""
    rows = two_ways(BOAT, speeds=("42.2 mph", "41.2 mph"))
    slip = one(job(BOAT, rows, more=dict(STAMPS_READ)), "slip")
    assert slip.code == "prop_check.slip.more_than_usual"
    assert "Slip would be usual had the speed been read in kn." in slip.sentence


def test_ventilation_comes_after_ratio_stamp_and_unit() -> None:
    """Too much slip is more often a wrong entry than a propeller that lets go."""
    sentence = one(runs(BOAT, ("with", 37.0, 5800), ("against", 36.0, 5800)), "slip").sentence
    last = sentence.index("ventilation")
    words = ("gear ratio", "stamped pitch and diameter", "unit of speed")
    assert all(sentence.index(word) < last for word in words)


def test_pitch_and_diameter_changed_round_are_named() -> None:
    """14 in x 19 in entered the other way: 17 % slip with the right pitch, below zero with the one entered."""

    def entered(diameter: str, pitch: str) -> JobView:
        fitted = Propeller(pitch=amount(pitch), diameter=amount(diameter))
        boat = attrs.evolve(BOAT, engines=(attrs.evolve(BOAT.engines[0], propeller=fitted),))
        return runs(boat, ("with", 41.0, 5800), ("against", 40.0, 5800))

    slip = one(entered("19 in", "14 in"), "slip")
    assert "with a pitch of 19 in, which is entered as the diameter" in slip.sentence
    assert doubted(slip) == {(PROPELLER, "stamp_read", "", "centre")}
    assert one(entered("19 in", "14 in"), "propeller").verdict is Verdict.ADVISE, "the stamp that was read is in doubt"
    assert one(entered("19 in", "14 in"), "speed").verdict is Verdict.PASS
    assert one(entered("14 in", "19 in"), "propeller").verdict is Verdict.PASS


def test_nobody_is_asked_for_a_propeller_of_19_in_diameter() -> None:
    """15 in x 19 in with too much slip: a pitch of 15 would be usual, and no outboard swings 19 in."""
    slip = one(runs(BOAT, ("with", 34.0, 5800), ("against", 33.0, 5800)), "slip")
    assert slip.code == "prop_check.slip.more_than_usual"
    assert "entered as the diameter" not in slip.sentence
    assert not slip.doubts


def test_a_gear_ratio_turned_round_is_named() -> None:
    """0.54 for 1.85; no speed is doubted for it."""
    slip = one(runs(vessel(1, ratio="0.54"), *GOOD), "slip")
    assert "with a gear ratio of 1.85, the one entered turned round" in slip.sentence
    assert [doubt.field for doubt in slip.doubts] == ["engines.gear_ratio"]


def test_a_slip_below_zero_that_nothing_explains_doubts_all_it_rests_on() -> None:
    """60 kn of 49 in theory: neither the speed nor the stamp passes."""
    view = runs(BOAT, ("with", 60.0, 5800), ("against", 60.0, 5800))
    told = found(view)
    assert told["slip"][0].verdict is Verdict.FAIL
    assert told["speed"][0].verdict is told["propeller"][0].verdict is Verdict.ADVISE
    (text,) = {doubt.text for doubt in told["slip"][0].doubts}  # says what may be wrong: a slip is nobody's entry
    assert text.startswith("speed, pitch, gear ratio or tachometer is wrong: slip of the centre engine is −")


def test_twins_alike_in_engine_speed_and_unlike_in_slip_have_a_misread_stamp() -> None:
    """19 and 15 in at 5800 and 5820 rev/min, one speed: 16 % and a slip below zero cannot both be."""
    told = found(unlike_twins("17 in", 5820))
    unlike = next(finding for finding in told["slip"] if finding.code == "prop_check.slip.unlike")
    assert unlike.verdict is Verdict.FAIL
    assert "19 in port and 17 in starboard" in unlike.sentence
    assert doubted(unlike) == {(PROPELLER, "stamp_read", "", of) for of in ("port", "starboard")}
    assert told["pitch"][0].verdict is MISSING
    assert told["propeller"][0].verdict is Verdict.ADVISE


@pytest.mark.parametrize(("pitch", "turns"), [("19 in", 5820), ("19 in", 5890), ("18.5 in", 5820), ("17 in", 6300)])
def test_twins_within_what_pitches_and_engines_differ_are_not_accused(pitch: str, turns: int) -> None:
    """Equal stamps; half an inch, within 3 % each; and 17 in turning 500 faster, as it would."""
    codes = [finding.code for finding in found(unlike_twins(pitch, turns))["slip"]]
    assert "prop_check.slip.unlike" not in codes


def unlike_twins(pitch: str, turns: int) -> JobView:
    """A boat of 41 kn whose starboard propeller and engine speed are given."""
    other = attrs.evolve(TWIN.engines[1], propeller=Propeller(pitch=amount(pitch), diameter=amount("15 in")))
    boat = attrs.evolve(TWIN, engines=(TWIN.engines[0], other))
    rows = two_ways(boat, speeds=("41.5 kn", "40.5 kn"))
    for row in rows:
        row["starboard"] = f"{turns} rev/min"
    return job(boat, rows, more=dict(STAMPS_READ))


# Two sources.


def two_sources(quantity: str, factor: float) -> Recording:
    """A sea trial in which a second source sends one quantity too, by a factor."""
    trial = recorded([(20, 41.0, 10, (5800,)), (20, 6.0, 100, (900,)), (20, 39.0, 190, (5790,))])
    samples = [Sample(t, key.quantity, v, *key[1:]) for key, stream in trial.streams.items() for t, v in stream]
    second = [one._replace(value=one.value * factor, source="77") for one in samples if one.quantity == quantity]
    return gather("sea trial", [*samples, *second])


def from_recording(trial: Recording, rows: Sequence[dict[str, Any]] = ()) -> JobView:
    more: dict[FieldKey, JsonValue] = {} if rows else {(RUNS, "all_runs", "", ""): {"file": "trial"}}
    return job(BOAT, rows, recordings={"trial": trial}, more=more | STAMPS_READ)


def test_a_second_receiver_that_reads_ten_percent_high_is_said_and_no_speed_given() -> None:
    """Nobody knows which is right: no speed and no slip; the engine speed stands."""
    view = from_recording(two_sources("speed_over_ground", 1.1))
    refused = one(view, "speed")
    assert (refused.verdict, refused.missing[0].lack) == (MISSING, Lack.CONTRADICTS)
    assert "speed over ground is 41.0 kn from source 35 and 45.1 kn from source 77" in refused.sentence
    assert one(view, "slip").verdict is MISSING
    assert one(view, "window").verdict is Verdict.PASS


def test_a_second_tachometer_that_reads_otherwise_leaves_the_window_unjudged() -> None:
    """5800 and 6090 rev/min for one engine; the speed stands."""
    view = from_recording(two_sources("engine_speed", 1.05))
    refused = one(view, "window")
    assert (refused.verdict, refused.missing[0].lack) == (MISSING, Lack.CONTRADICTS)
    assert "5800 rev/min from source 10 and 6090 rev/min from source 77" in refused.sentence
    assert one(view, "speed").verdict is Verdict.PASS


@pytest.mark.parametrize(
    ("quantity", "choices", "name", "stands"),
    [
        ("speed_over_ground", {"speed_over_ground": "35"}, "speed", True),
        ("speed_over_ground", {"speed_over_ground": "99"}, "speed", False),  # not in this recording
        ("speed_over_ground", {"depth": "35"}, "speed", False),
        ("engine_speed", {"engine_speed 0": "10"}, "window", True),
        ("engine_speed", {"engine_speed": "10"}, "window", True),
        ("engine_speed", {"engine_speed 1": "10"}, "window", False),  # of another engine
    ],
)
def test_of_two_sources_the_one_a_person_chose_for_the_boat_is_judged(
    quantity: str, choices: dict[str, JsonValue], name: str, stands: bool
) -> None:
    """The choice is made once, where the network is heard, and stays with the vessel."""
    view = from_recording(two_sources(quantity, 1.1))
    chosen = attrs.evolve(view, vessel=attrs.evolve(view.vessel, more={NETWORK_SOURCES: choices}))
    assert one(view, name).verdict is MISSING
    assert one(chosen, name).verdict is (Verdict.PASS if stands else MISSING)


@pytest.mark.parametrize(("quantity", "factor"), [("speed_over_ground", 1.003), ("engine_speed", 1.003)])
def test_two_sources_within_what_they_may_differ_are_not_accused(quantity: str, factor: float) -> None:
    """A receiver right within 0.1 kn beside another; a tachometer within 20 rev/min."""
    told = found(from_recording(two_sources(quantity, factor)))
    assert {told[name][0].verdict for name in ("speed", "window")} == {Verdict.PASS}
    assert "readings" not in told


def test_a_typed_speed_that_its_recording_contradicts_is_in_doubt() -> None:
    """45.1 typed, 41.0 recorded; with 41.1 typed nothing is said."""
    trial = two_sources("engine_speed", 1.0)

    def typed(speed: str) -> JobView:
        rows = [
            {"recording": {"file": "trial"}, "course": "10 deg", "speed": speed},
            {"recording": {"file": "trial"}, "course": "190 deg"},
        ]
        return from_recording(trial, rows)

    told = one(typed("43.1 kn"), "readings")
    assert (told.code, doubted(told)) == ("prop_check.readings.typed_and_recorded", {(RUNS, "speed", "1", "")})
    assert "43.1 kn was typed and 41.0 kn recorded" in told.sentence
    assert one(typed("43.1 kn"), "speed").verdict is Verdict.ADVISE
    assert one(typed("43.1 kn"), "window").verdict is Verdict.PASS
    assert "readings" not in found(typed("41.1 kn"))
    assert one(typed("41.1 kn"), "speed").verdict is Verdict.PASS


def test_a_typed_speed_settles_between_two_receivers() -> None:
    """Whoever types the speed says which receiver holds; one that fits neither is in doubt."""
    trial = two_sources("speed_over_ground", 1.1)

    def typed(there: str, back: str) -> JobView:
        rows = [
            {"recording": {"file": "trial"}, "course": course, "speed": speed}
            for course, speed in (("10 deg", there), ("190 deg", back))
        ]
        return from_recording(trial, rows)

    assert "readings" not in found(typed("45.1 kn", "42.9 kn"))
    assert one(typed("45.1 kn", "42.9 kn"), "speed").verdict is Verdict.PASS
    assert one(typed("43.0 kn", "39.0 kn"), "readings").about == "run 1"


@pytest.mark.parametrize(("turns", "is_said"), [("5800 rev/min", False), ("5600 rev/min", True)])
def test_typed_runs_beside_a_recording_of_all_runs_are_held_against_it(turns: str, is_said: bool) -> None:
    """The rows are used and the recording contradicts them; where it agrees nothing is said."""
    rows = two_ways(BOAT, turns, ("41.0 kn", "39.0 kn"))
    more: dict[FieldKey, JsonValue] = {(RUNS, "all_runs", "", ""): {"file": "trial"}}
    view = job(BOAT, rows, recordings={"trial": two_sources("engine_speed", 1.0)}, more=more)
    assert ("readings" in found(view)) is is_said
    assert one(view, "window").verdict is (Verdict.ADVISE if is_said else Verdict.PASS)
    assert one(view, "speed").verdict is Verdict.PASS


# Weight and power.


def test_a_speed_weight_and_power_do_not_explain_is_in_doubt() -> None:
    """58 kn for 3000 lb and 150 hp: the speed does not pass either."""
    boat = vessel(1, power="150 hp", displacement_as_run="3000 lb", length="19 ft", pitch="23 in")
    told = found(runs(boat, ("with", 58.0, 5800), ("against", 58.0, 5800)))
    assert told["crouch"][0].code == "prop_check.crouch.faster"
    assert told["speed"][0].verdict is Verdict.ADVISE
