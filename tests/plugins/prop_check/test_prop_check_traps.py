"""Situations that a person of the trade judged before the program did, as variations of two sample jobs.

A trap must be named; an innocent case must not be accused. Only codes and verdicts are held to.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache

import attrs
import pytest

from altered_jobs import SAMPLES
from garboard.findings import Finding, Verdict
from garboard.job_view import FieldKey, JobView
from garboard.judging.assessing import assess_job_file
from garboard.records import JsonValue, Measurement, Propeller
from prop_check_jobs import CONDITIONS, RUNS, amount, host, recorded

HOST = host()
PASS, ADVISE, FAIL, MISSING = Verdict.PASS, Verdict.ADVISE, Verdict.FAIL, Verdict.NOT_ENOUGH_DATA
ALL_RUNS: FieldKey = (RUNS, "all_runs", "", "")


@cache
def sample(name: str) -> JobView:
    (path,) = (path for path in SAMPLES if path.parent.name == name)
    return assess_job_file(path, HOST).view


def changed(view: JobView, values: Mapping[FieldKey, JsonValue]) -> JobView:
    """The view with values put at their places."""
    kept = tuple(one for one in view.measurements if (one.step, one.field, one.row, one.of) not in values)
    put = (Measurement(step=at[0], field=at[1], row=at[2], of=at[3], value=value) for at, value in values.items())
    return attrs.evolve(view, measurements=(*kept, *put))


def with_runs(view: JobView, *runs: tuple[str, str, *tuple[int, ...]]) -> JobView:
    """The view with these runs alone: with, against or a course; speed; engine speed of every engine [rev/min]."""
    kept = tuple(one for one in view.measurements if one.step != RUNS)
    values: dict[FieldKey, JsonValue] = {}
    for number, (way, speed, *turns) in enumerate(runs, start=1):
        row = str(number)
        values[(RUNS, "course" if way.endswith("deg") else "direction", row, "")] = way
        values[(RUNS, "speed", row, "")] = speed
        for engine, value in zip(view.vessel.engines, turns, strict=True):
            values[(RUNS, "engine_speed", row, engine.position)] = f"{value} rev/min"
    return changed(attrs.evolve(view, measurements=kept), values)


def with_propeller(view: JobView, pitch: str, diameter: str = "14.5 in", of: int = 0) -> JobView:
    engines = list(view.vessel.engines)
    engines[of] = attrs.evolve(engines[of], propeller=Propeller(pitch=amount(pitch), diameter=amount(diameter)))
    return attrs.evolve(view, vessel=attrs.evolve(view.vessel, engines=tuple(engines)))


def single(pitch: str = "17 in", diameter: str = "14.5 in", **conditions: JsonValue) -> JobView:
    """150 hp, window 5000 to 6000 rev/min, limiter 6200, gear 2.08: 33.5 kn and 11 % slip with 17 in."""
    view = with_propeller(sample("saltgrass"), pitch, diameter)
    view = changed(view, {(CONDITIONS, field, "", ""): value for field, value in conditions.items()})
    return with_runs(view, ("with", "33.9 kn", 5620), ("against", "33.1 kn", 5600))


def diesel() -> JobView:
    """150 hp at 4050 rev/min, gear 1.62, 19 in."""
    view = single("19 in")
    engine = attrs.evolve(
        view.vessel.engines[0],
        full_throttle_low=amount("3800 rev/min"),
        full_throttle_high=amount("4200 rev/min"),
        limiter_speed=amount("4300 rev/min"),
        gear_ratio=amount("1.62"),
    )
    return attrs.evolve(view, vessel=attrs.evolve(view.vessel, engines=(engine,)))


def flare() -> JobView:
    """One engine of two races for 4 s in a passing wave, and the boat loses a knot: run 1 falls in two parts."""
    made = (
        (12, 46.1, 70, (5850, 5825)),
        (4, 45.0, 70, (5850, 6150)),
        (11, 46.1, 70, (5850, 5825)),
        (10, 8.0, 150, (1200, 1200)),
        (20, 44.9, 250, (5850, 5825)),
    )
    view = changed(with_runs(sample("kittiwake")), {ALL_RUNS: {"file": "flare"}})
    return attrs.evolve(view, load_recording={"flare": recorded(made)}.__getitem__)


def told(view: JobView) -> dict[str, list[Finding]]:
    """Findings by calculator, without the plugin's name."""
    findings: dict[str, list[Finding]] = {}
    for one in HOST.assess(view):
        findings.setdefault(one.calculator.removeprefix("prop_check."), []).append(one.finding)
    return findings


def judged(view: JobView) -> dict[str, tuple[tuple[str, Verdict], ...]]:
    """Code and verdict of every finding, by calculator."""
    return {
        name: tuple((one.code.removeprefix("prop_check."), one.verdict) for one in found)
        for name, found in told(view).items()
    }


def test_a_wave_that_breaks_a_run_makes_no_second_run_of_it() -> None:
    """Two opposite runs, both engines and slip as without the wave."""
    found = told(flare())
    assert [one.verdict for one in (*found["speed"], *found["window"], *found["slip"])] == [PASS] * 5
    assert len(found["speed"][0].tables[0].rows) == 2
    assert found["speed"][0].numbers[0].value == pytest.approx(45.5, abs=0.05)


def test_a_turn_between_two_stretches_makes_two_runs_of_them() -> None:
    """The same with the throttle held through the turn; and back on the first course they are two again."""
    made = (
        (12, 46.1, 70, (5850, 5825)),
        (4, 40.0, 160, (5700, 5700)),
        (12, 44.9, 250, (5850, 5825)),
        (10, 8.0, 150, (1200, 1200)),
        (12, 44.9, 250, (5850, 5825)),
    )
    view = changed(with_runs(sample("kittiwake")), {ALL_RUNS: {"file": "turned"}})
    view = attrs.evolve(view, load_recording={"turned": recorded(made)}.__getitem__)
    assert len(told(view)["speed"][0].tables[0].rows) == 3


def test_two_runs_at_unlike_engine_speed_give_no_speed() -> None:
    """Run 2 is 480 rev/min faster and 7 kn slower: it let go, and run 1 alone is one-way."""
    found = judged(with_runs(single(), ("with", "33.9 kn", 5620), ("against", "26.5 kn", 6090)))
    assert found["readings"] == (("readings.runs_differ", ADVISE),)
    assert {found[name][0][1] for name in ("speed", "crouch", "window", "slip", "pitch")} == {MISSING}


def test_two_runs_whose_engine_speed_the_current_loads_give_a_speed() -> None:
    """120 rev/min apart is one throttle."""
    found = judged(with_runs(single(), ("with", "34.4 kn", 5670), ("against", "32.6 kn", 5550)))
    assert "readings" not in found
    assert found["speed"] == (("speed.measured", PASS),)


def test_a_speed_a_little_below_what_the_formula_gives_is_not_slow() -> None:
    """33.5 kn of 33.8 to 40.6, in knots and typed in mph; 29.5 kn is slow, and 46.5 fast."""
    for speeds, code, verdict in (
        (("33.9 kn", "33.1 kn"), "crouch.believable", PASS),
        (("39.0 mph", "38.1 mph"), "crouch.believable", PASS),
        (("29.9 kn", "29.1 kn"), "crouch.slower", ADVISE),
        (("46.9 kn", "46.1 kn"), "crouch.faster", ADVISE),
    ):
        with_, against = speeds
        found = judged(with_runs(single(), ("with", with_, 5620), ("against", against, 5600)))
        assert found["crouch"] == ((code, verdict),)


def test_everything_rightly_in_mph_passes() -> None:
    found = judged(with_runs(single(), ("with", "39.0 mph", 5620), ("against", "38.1 mph", 5600)))
    assert {verdict for name in ("pitch", "speed", "window", "slip", "crouch") for _, verdict in found[name]} == {PASS}


def test_miles_an_hour_typed_as_knots_are_named_and_no_propeller_is_kept_on_them() -> None:
    """38.5 "kn" is -2 % slip: it may just be above zero, and the advice does not pass on it either."""
    view = with_runs(single(), ("with", "38.9 kn", 5620), ("against", "38.1 kn", 5600))
    found = told(view)
    assert judged(view)["slip"] == (("slip.about_zero", ADVISE),)
    assert {doubt.place for doubt in found["slip"][0].doubts} == {(RUNS, "speed", row, "") for row in ("1", "2")}
    assert judged(view)["pitch"] == (("pitch.slip_about_zero", ADVISE),)
    assert found["pitch"][0].doubted
    assert found["speed"][0].verdict is found["crouch"][0].verdict is ADVISE


def test_diameter_and_pitch_changed_round_are_not_a_speed_in_mph() -> None:
    """-4 % slip with 14.5 in: mph would be usual too, and 29 kn is too slow for weight and power; the stamp it is."""
    view = single("14.5 in", "17 in")
    found = told(view)
    assert judged(view)["slip"] == (("slip.below_zero", FAIL),)
    assert {doubt.field for doubt in found["slip"][0].doubts} == {"stamp_read"}
    assert (found["pitch"][0].verdict, found["speed"][0].verdict) == (MISSING, PASS)


def test_a_light_fast_hull_with_little_slip_is_not_a_speed_in_mph() -> None:
    """3.9 % slip at 49.8 kn; mph would be 43 kn, slower than 2000 lb and 150 hp let it be."""
    heavy = single("23 in", hull_kind="light, fast runabout")
    light = attrs.evolve(heavy, vessel=attrs.evolve(heavy.vessel, displacement_as_run=amount("2000 lb")))
    found = judged(with_runs(light, ("with", "50.1 kn", 5700), ("against", "49.5 kn", 5690)))
    assert found["slip"] == (("slip.less_than_usual", ADVISE),)
    assert {found[name][0][1] for name in ("pitch", "speed", "window", "crouch")} == {PASS}


STEPS = "fuel_curve.steps"


@pytest.mark.parametrize(
    ("of_steps", "is_asked"), [("full", True), ("half", False), ("unknown", False), ("half, two aboard", False)]
)
def test_one_load_for_runs_and_throttle_steps_or_it_is_asked(of_steps: str, is_asked: bool) -> None:
    found = told(changed(single(load="half"), {(STEPS, "load", "", ""): of_steps}))
    codes = {(one.code, one.verdict) for one in found.get("readings", ())}
    assert (("prop_check.readings.loads_differ", ADVISE) in codes) is is_asked


@pytest.mark.parametrize(("pitch", "code"), [("15 in", "slip.about_zero"), ("21 in", "slip.more_than_usual")])
@pytest.mark.parametrize("also", ["", "33.6 kn", "38.6 mph"])
def test_a_stamp_misread_is_named_where_the_throttle_steps_bear_the_speed_out(pitch: str, code: str, also: str) -> None:
    """17 in is right. 21 in and kn for mph come to the same slip, and so the steps must tell."""
    view = with_runs(single(pitch), ("with", "39.0 mph", 5700), ("against", "38.2 mph", 5700))
    if also:
        speeds: dict[FieldKey, JsonValue] = {(STEPS, f"speed_{way}", "1", ""): also for way in ("out", "back")}
        view = changed(view, {(STEPS, "nominal_engine_speed", "1", ""): "5690 rev/min", **speeds})
    found = told(view)
    assert judged(view)["slip"] == ((code, ADVISE),)
    in_doubt = {doubt.field for doubt in found["slip"][0].doubts}
    alone = {"speed", "stamp_read"} if pitch == "15 in" else {"speed"}
    assert in_doubt == ({"stamp_read"} if also else alone)
    assert found["speed"][0].verdict is (PASS if also else ADVISE)
    assert found["pitch"][0].verdict is ADVISE


def test_twins_with_one_stamp_misread_have_their_speed_in_the_right_unit() -> None:
    """2.4 % starboard would be usual in mph, and 12.8 % port would be 24 %."""
    view = with_propeller(sample("kittiwake"), "17 in", of=1)
    found = judged(with_runs(view, ("with", "46.1 kn", 5845, 5835), ("against", "44.9 kn", 5840, 5830)))
    assert ("slip.unlike", FAIL) in found["slip"]
    assert found["speed"] == (("speed.measured", PASS),)
    assert {verdict for _, verdict in found["propeller"]} == {ADVISE}
    assert found["pitch"][0][1] is MISSING


def test_twins_whose_speed_is_in_mph_are_asked_about_it() -> None:
    """Both slip about 2 % at equal stamps: the unit explains both."""
    view = with_runs(sample("kittiwake"), ("with", "51.4 kn", 5845, 5835), ("against", "50.2 kn", 5840, 5830))
    found = told(view)
    assert {doubt.field for one in found["slip"] for doubt in one.doubts} == {"speed"}
    assert found["speed"][0].verdict is ADVISE


@pytest.mark.parametrize(
    ("degrees", "code"),
    [(16, "try_first"), *((degrees, "air_explains") for degrees in (34, 35, 36, 41))],
)
def test_a_degree_beyond_the_method_does_not_change_a_propeller(degrees: int, code: str) -> None:
    """40 rev/min below the window on a hot, damp day: run again on a cooler one; on a mild day take less pitch."""
    view = single("19 in", load="full", air_temperature=f"{degrees} degC", air_pressure="1005 hPa", humidity="80 %")
    found = judged(with_runs(view, ("with", "33.4 kn", 4965), ("against", "32.6 kn", 4955)))
    assert found["pitch"] == ((f"pitch.{code}", ADVISE),)
    assert found["window"] == (("window.below", FAIL),)


def test_beyond_the_method_the_air_is_a_bound() -> None:
    """36 degC explains at least what 35 does of 200 rev/min; frost explains none of a labouring engine."""

    def advice(degrees: int) -> Finding:
        view = single("19 in", air_temperature=f"{degrees} degC", air_pressure="1005 hPa", humidity="80 %")
        (found,) = told(with_runs(view, ("with", "32.2 kn", 4805), ("against", "31.4 kn", 4795)))["pitch"]
        assert found.code == "prop_check.pitch.try_first"
        return found

    assert "Today's air explains about" in advice(35).sentence
    assert "Today's air explains at least" in advice(36).sentence
    assert "Today's air explains" not in advice(-2).sentence


INSIDE = {"pitch": "pitch.keep", "speed": "speed.measured", "window": "window.inside", "slip": "slip.usual"}


@pytest.mark.parametrize(
    "view",
    [
        pytest.param(lambda: single(), id="nothing amiss"),
        pytest.param(
            lambda: with_runs(
                single("19 in", air_temperature="35 degC", air_pressure="1005 hPa", humidity="85 %"),
                ("with", "34.0 kn", 5105),
                ("against", "33.3 kn", 5095),
            ),
            id="a hot day in the window",
        ),
        pytest.param(
            lambda: with_runs(single(), ("with", "35.4 kn", 5610), ("against", "31.6 kn", 5600)),
            id="a steady current of 1.9 kn",
        ),
        pytest.param(
            lambda: with_runs(single(), ("with", "32.7 kn", 5600), ("against", "34.3 kn", 5610)),
            id="wind and current against each other",
        ),
        pytest.param(
            lambda: with_runs(
                single(), ("with", "35.0 kn", 5610), ("against", "32.6 kn", 5600), ("with", "35.8 kn", 5610)
            ),
            id="three runs in a growing current",
        ),
        pytest.param(
            lambda: with_runs(diesel(), ("with", "34.7 kn", 4055), ("against", "34.1 kn", 4045)),
            id="a diesel outboard",
        ),
        pytest.param(
            lambda: with_runs(sample("kittiwake"), ("with", "46.0 kn", 5850, 5790), ("against", "45.0 kn", 5845, 5790)),
            id="twins 57 rev/min apart",
        ),
    ],
)
def test_the_innocent_pass(view: Callable[[], JobView]) -> None:
    found = judged(view())
    assert {name: set(found[name]) for name in INSIDE} == {name: {(code, PASS)} for name, code in INSIDE.items()}
    assert "readings" not in found


def test_a_growing_current_drops_out_by_the_mean_of_means() -> None:
    """(35.0 + 2 x 32.6 + 35.8) / 4."""
    view = with_runs(single(), ("with", "35.0 kn", 5610), ("against", "32.6 kn", 5600), ("with", "35.8 kn", 5610))
    assert told(view)["speed"][0].numbers[0].value == pytest.approx(34.0)


@pytest.mark.parametrize(
    ("view", "expected"),
    [
        pytest.param(
            lambda: single("21 in"),
            {"slip": ("slip.more_than_usual", ADVISE), "window": ("window.inside", PASS)},
            id="a pitch read 21 where 17 is stamped",
        ),
        pytest.param(
            lambda: with_runs(single("15 in"), ("with", "32.8 kn", 6200), ("against", "32.0 kn", 6190)),
            {"window": ("window.above", FAIL), "pitch": ("pitch.try_first", ADVISE), "slip": ("slip.usual", PASS)},
            id="held by the rev limiter",
        ),
        pytest.param(
            lambda: with_runs(single("16 in"), ("with", "34.0 kn", 5990), ("against", "33.4 kn", 5980)),
            {"window": ("window.high_end_open", ADVISE), "pitch": ("pitch.too_close", ADVISE)},
            id="15 rev/min below the top of the window",
        ),
        pytest.param(
            lambda: with_runs(single(), ("90 deg", "35.4 kn", 5610), ("180 deg", "33.5 kn", 5600)),
            {
                "speed": ("speed.not_enough_data", MISSING),
                "slip": ("slip.not_enough_data", MISSING),
                "window": ("window.inside", PASS),
            },
            id="courses at right angles",
        ),
        pytest.param(
            lambda: with_runs(sample("kittiwake"), ("with", "45.1 kn", 5850, 5500), ("against", "44.1 kn", 5845, 5490)),
            {
                "engine_difference": ("engine_difference.too_much", ADVISE),
                "window": ("window.inside", PASS),
                "pitch": ("pitch.not_enough_data", MISSING),
            },
            id="twins 352 rev/min apart",
        ),
    ],
)
def test_the_trap_is_named(view: Callable[[], JobView], expected: Mapping[str, tuple[str, Verdict]]) -> None:
    found = judged(view())
    assert {name: set(found[name]) for name in expected} == {name: {one} for name, one in expected.items()}


def test_nobody_forecasts_from_a_run_on_the_limiter() -> None:
    view = with_runs(single("15 in"), ("with", "32.8 kn", 6200), ("against", "32.0 kn", 6190))
    (advice,) = told(view)["pitch"]
    assert [number.name for number in advice.numbers] == ["change of pitch to try first"]
