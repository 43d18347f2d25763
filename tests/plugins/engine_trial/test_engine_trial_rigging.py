"""Engines as rigged and at their first start: what is tried, and what is held against the maker's limits."""

from __future__ import annotations

from collections.abc import Mapping

import attrs
import pytest

from builders import boat, findings_of, job_view
from garboard.findings import BasisKind, Finding, Lack, Verdict
from garboard.hosting.host import make_host
from garboard.job_view import FieldKey
from garboard.records import Battery, JsonValue, Propeller, StepState
from garboard.report.outline import punch_list
from garboard.units import Amount
from garboard_engine_trial import alongside_steps as steps
from garboard_engine_trial.rigging import toe_of

HOST = make_host(["garboard_engine_trial"], entry_points=False)
WINDOW: Mapping[str, JsonValue] = {
    "idle_low": "600 rev/min",
    "idle_high": "700 rev/min",
    "height_low": "0 in",
    "height_high": "2 in",
}
POINTS = ("throttle_travel", "starts_in_neutral_only", "cut_off_stops", "alarms_sound", "tell_tale", "shifts_right")
TRIED: Mapping[str, JsonValue] = dict.fromkeys(POINTS, True)


def found(calculator: str, values: Mapping[FieldKey, JsonValue], engines: int = 1) -> list[Finding]:
    return findings_of(HOST, job_view(boat(engines), values), f"engine_trial.{calculator}")


def at(step: str, values: Mapping[str, JsonValue], of: str = "centre") -> dict[FieldKey, JsonValue]:
    return {(step, name, "", of): value for name, value in values.items()}


@pytest.mark.parametrize(
    ("idle", "verdict", "code"),
    [
        ("650 rev/min", Verdict.PASS, "engine_trial.idle.within"),
        ("690 rev/min", Verdict.ADVISE, "engine_trial.idle.close"),  # a display right within 20 could show 705 as 690
        ("710 rev/min", Verdict.ADVISE, "engine_trial.idle.close"),
        ("760 rev/min", Verdict.FAIL, "engine_trial.idle.beyond"),
        ("560 rev/min", Verdict.FAIL, "engine_trial.idle.beyond"),
    ],
)
def test_idle_speed_is_held_against_the_makers_limits(idle: str, verdict: Verdict, code: str) -> None:
    (one,) = found("idle", at(steps.MAKERS_WINDOW, WINDOW) | at(steps.FIRST_START, {"idle": idle}))
    assert (one.verdict, one.code, one.of) == (verdict, code, "centre")
    assert one.basis[0].kind is BasisKind.MANUAL
    assert one.numbers[0].expanded_uncertainty == pytest.approx(19.0)  # 95 % of a bound of 20


def test_a_reading_without_a_limit_is_no_verdict_and_costs_no_other_engine_its_own() -> None:
    values = at(steps.MAKERS_WINDOW, WINDOW, "starboard")
    for of in ("port", "starboard"):
        values |= at(steps.AS_RIGGED, {"height": "1 in"}, of)
    port, starboard = found("height", values, 2)
    assert (port.verdict, starboard.verdict) == (Verdict.NOT_ENOUGH_DATA, Verdict.PASS)
    assert [(one.step, one.field, one.of) for one in port.missing] == [(steps.MAKERS_WINDOW, "height_low", "port")]


def test_a_limit_that_the_manual_does_not_give_is_not_asked_for() -> None:
    values = at(steps.MAKERS_WINDOW, {"idle_low": "600 rev/min"}) | at(steps.AS_RIGGED, {"height": "1 in"})
    assert found("height", values) == []


def test_limits_the_wrong_way_round_are_named() -> None:
    values = at(steps.MAKERS_WINDOW, {**WINDOW, "idle_low": "900 rev/min"})
    values |= at(steps.FIRST_START, {"idle": "650 rev/min"})
    for calculator in ("window", "idle"):
        (one,) = found(calculator, values)
        assert [missing.lack for missing in one.missing] == [Lack.CONTRADICTS]


@pytest.mark.parametrize(
    ("said", "model", "judged"),
    [
        *(("NL150", "NL 150", True), ("NL150", "", True), ("", "NL200", True), ("NL150", "NL200", False)),
        *(("Northlight NL150", "NL150", True), ("Northlight NL200", "NL150", False), ("Northlight", "NL150", False)),
    ],
)
def test_limits_of_another_engine_judge_nothing(said: str, model: str, judged: bool) -> None:
    """Taken over from a template, or entered before the engine was changed; one model is written in many ways."""
    vessel = boat(1)
    vessel = attrs.evolve(vessel, engines=(attrs.evolve(vessel.engines[0], maker="Northlight", model=model),))
    values = at(steps.MAKERS_WINDOW, {**WINDOW, "limits_of": said}) | at(steps.FIRST_START, {"idle": "760 rev/min"})
    for calculator in ("window", "idle"):
        (one,) = findings_of(HOST, job_view(vessel, values), f"engine_trial.{calculator}")
        assert (one.verdict is not Verdict.NOT_ENOUGH_DATA) is judged
        if not judged:
            assert [(lack.lack, lack.field) for lack in one.missing] == [(Lack.CONTRADICTS, "limits_of")]
            assert one.about not in one.sentence, "it stands before it"


@pytest.mark.parametrize(
    ("power", "volts", "typed", "doubted"),
    [
        ("6 hp", ("12 V",), {"idle_high": "1600 rev/min"}, False),  # a small one idles faster
        ("150 hp", ("12 V",), {"idle_high": "1600 rev/min"}, True),
        ("300 hp", ("24 V",), {"voltage_low": "26.0 V", "voltage_high": "29.6 V"}, False),
        ("300 hp", ("12 V", "36 V"), {"voltage_high": "29.6 V"}, True),  # a bank of 36 V drives, and starts nothing
        ("300 hp", ("24 V",), {"voltage_high": "41 V"}, True),
    ],
)
def test_limits_are_doubted_as_the_engine_and_what_starts_it_have_them(
    power: str, volts: tuple[str, ...], typed: Mapping[str, JsonValue], doubted: bool
) -> None:
    """On a sound boat of 24 V nothing of an engine's limits and gauges passed, and nothing of a 6 hp tiller's idle."""
    engine = attrs.evolve(boat(1).engines[0], rated_power=Amount.parse(power))
    banks = tuple(Battery(name=each, nominal_voltage=Amount.parse(each)) for each in volts)
    vessel = attrs.evolve(boat(1), engines=(engine,), batteries=banks)
    view = job_view(vessel, at(steps.MAKERS_WINDOW, typed))
    (one,) = findings_of(HOST, view, "engine_trial.window")
    assert (one.verdict is Verdict.ADVISE, bool(one.doubted)) == (doubted, doubted)


def test_a_limit_in_doubt_is_said_to_nothing_that_is_held_against_others() -> None:
    """Mounting height and idle speed were in doubt for a water pressure that nobody could believe."""
    typed = {**at(steps.MAKERS_WINDOW, {**WINDOW, "water_low": "90 psi"}), **at(steps.AS_RIGGED, {"height": "1 in"})}
    view = job_view(boat(1), typed)
    (height,), (window,) = (findings_of(HOST, view, f"engine_trial.{one}") for one in ("height", "window"))
    assert (height.verdict, height.doubted) == (Verdict.PASS, ())
    assert [one.field for one in window.doubted] == ["water_low"]


def test_a_contradiction_of_two_engines_stands_on_the_punch_list_for_each() -> None:
    values = at(steps.MAKERS_WINDOW, {**WINDOW, "limits_of": "NL200"}, "port")
    values |= at(steps.MAKERS_WINDOW, {**WINDOW, "limits_of": "NL200"}, "starboard")
    vessel = boat(2)
    vessel = attrs.evolve(vessel, engines=tuple(attrs.evolve(one, model="NL150") for one in vessel.engines))
    view = job_view(vessel, values)
    items = [one for one in punch_list(view, HOST, HOST.assess(view)) if one.why == "in doubt"]
    assert [one.about for one in items] == ["port engine", "starboard engine"]
    assert all(one.about not in one.text.lower() for one in items)


def test_toe_is_the_difference_of_the_edges_and_only_advises() -> None:
    assert toe_of(28.0, 28.25) == pytest.approx(0.25)
    near: dict[FieldKey, JsonValue] = {
        (steps.AS_RIGGED, "toe_ahead", "", ""): "28.0 in",
        (steps.AS_RIGGED, "toe_aft", "", ""): "28.2 in",
    }
    (one,) = found("toe", near, 2)
    assert (one.verdict, one.code) == (Verdict.PASS, "engine_trial.toe.within")
    (one,) = found("toe", {**near, (steps.AS_RIGGED, "toe_aft", "", ""): "31 in"}, 2)
    assert (one.verdict, one.code) == (Verdict.ADVISE, "engine_trial.toe.apart")
    (one,) = found("toe", {**near, (steps.AS_RIGGED, "toe_aft", "", ""): "28.45 in"}, 2)
    assert (one.verdict, one.code) == (Verdict.ADVISE, "engine_trial.toe.close"), "below half an inch, by a tape"
    assert found("toe", near, 1) == []
    wide: dict[FieldKey, JsonValue] = {**near, (steps.AS_RIGGED, "spacing", "", ""): "106 in"}
    view = job_view(attrs.evolve(boat(2), beam=Amount("8.5", "ft")), wide)
    (one,) = findings_of(HOST, view, "engine_trial.toe")
    assert [lack.lack for lack in one.missing] == [Lack.CONTRADICTS], "further apart than the boat is wide"


@pytest.mark.parametrize(("spacing", "lacks"), [("8 in", [Lack.CONTRADICTS]), ("26 in", [])])
def test_engines_do_not_stand_so_near_that_their_propellers_strike(spacing: str, lacks: list[Lack]) -> None:
    """Theirs are of 15.25 in."""
    values: dict[FieldKey, JsonValue] = {
        (steps.AS_RIGGED, name, "", ""): value
        for name, value in {"toe_ahead": "28.0 in", "toe_aft": "28.2 in", "spacing": spacing}.items()
    }
    plain = boat(2)
    turned = attrs.evolve(plain.engines[0].propeller or Propeller(), diameter=Amount("15.25", "in"))
    engines = tuple(attrs.evolve(one, propeller=turned) for one in plain.engines)
    (one,) = findings_of(HOST, job_view(attrs.evolve(plain, engines=engines), values), "engine_trial.toe")
    assert [lack.lack for lack in one.missing] == lacks


@pytest.mark.parametrize(
    ("point", "code"),
    [
        ("starts_in_neutral_only", "engine_trial.first_start.starts_in_gear"),
        ("cut_off_stops", "engine_trial.first_start.cut_off_dead"),
        ("tell_tale", "engine_trial.first_start.failed"),
    ],
)
def test_a_no_fails_and_what_the_law_names_says_first_what_not_to_do(point: str, code: str) -> None:
    values = at(steps.FIRST_START, {**TRIED, point: False})
    (one,) = found("first_start.check", values)
    assert (one.verdict, one.code) == (Verdict.FAIL, code)
    law = [basis for basis in one.basis if basis.kind is BasisKind.REGULATION]
    assert bool(law) is (code != "engine_trial.first_start.failed")


def test_what_is_still_to_try_is_named_by_engine_and_everything_tried_passes() -> None:
    values = at(steps.FIRST_START, TRIED, "port")
    some = found("first_start.check", values, 2)
    assert [one.code for one in some] == ["engine_trial.first_start.still_to_try"]
    assert {one.of for one in some[0].missing} == {"starboard"}
    (whole,) = found("first_start.check", values | at(steps.FIRST_START, TRIED, "starboard"), 2)
    assert (whole.verdict, whole.numbers[0].value) == (Verdict.PASS, 12)


def test_an_untouched_step_says_so_once_and_one_not_fitted_says_nothing() -> None:
    view = job_view(boat(2), {})
    said = [one for one in HOST.assess(view) if one.step == steps.AS_RIGGED]
    assert [(one.finding.verdict, one.finding.missing[0].lack) for one in said] == [
        (Verdict.NOT_ENOUGH_DATA, Lack.NOT_TRIED)
    ]
    (asked,) = [one.finding.sentence for one in HOST.assess(view) if one.step == steps.MAKERS_WINDOW]
    assert "nothing entered yet; enter it" in asked, "what a manual says is entered, not tried"
    rests_on = {basis.text for one in HOST.assess(view) for basis in one.finding.basis}
    assert not any("point of an engine" in text for text in rests_on), "a depth sounder is no engine"
    states = [StepState(step=step.key, state="not fitted") for step in HOST.steps]
    assert HOST.assess(job_view(boat(2), {}, states=states)) == ()
