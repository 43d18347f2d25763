"""Readings of a turn that contradict each other: what is wrong is named, and what is right is not accused.

Each true contradiction stands beside innocent cases that look like it.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence

import pytest

from garboard.findings import Finding, Lack, Verdict
from garboard.job_view import FieldKey
from garboard.records import HeadingSensor, JsonValue
from garboard.samples import Recording, Sample, gather
from garboard_heading_calibration.mixed import sound
from garboard_heading_calibration.turn_findings import judge_recording
from heading_jobs import HELM, MAST, NAME, findings, job, samples

STEP = f"{NAME}.steady_turn"
SECONDS = 181.0
At = Callable[[float], float]


def even(time: float) -> float:
    return 2.5 * time


def made(
    *,
    rates: Mapping[str, At] | None = None,
    headings: Mapping[str, At] | None = None,
    courses: Mapping[str, At] | None = None,
    seconds: float = SECONDS,
    every: float = 0.5,
) -> list[Sample]:
    """Samples of a turn: rates of turn, headings and courses over ground by source, two a second."""
    found = []
    for source, rate in (rates or {}).items():
        found += samples("rate_of_turn", rate, seconds, every=every, source=source)
    for source, heading in (headings or {}).items():
        shown = _round(heading, 40)
        found += samples("heading", shown, seconds, every=every, source=source, reference="magnetic")
    for source, course in (courses or {"3": even}).items():
        found += samples("course_over_ground", _round(course, 30), seconds, every=every, source=source)
        found += samples("speed_over_ground", lambda _t: 6.0, seconds, every=every, source=source)
    return found


def _round(degrees: At, start: float) -> At:
    return lambda time: (start + degrees(time)) % 360


def judged(
    turn: Sequence[Sample], *sensors: HeadingSensor, said: str = "", recording: Recording | None = None
) -> list[Finding]:
    entered: dict[FieldKey, JsonValue] = {
        (STEP, "turn_recording", "", ""): {"file": "turn"},
        (STEP, "calm_water", "", ""): True,
    }
    if said:
        entered[STEP, "instrument_result", "", "helm compass"] = said
    view = job(entered, *sensors, recordings={"turn": recording or gather("turn", turn)})
    return findings(view, "steady_turn")


def codes(found: Sequence[Finding]) -> list[str]:
    return [one.code.removeprefix(f"{STEP}.") for one in found]


# --- the unit of the rate of turn


@pytest.mark.parametrize("witness", ["course", "heading", "none"])
def test_a_rate_sent_in_degrees_a_minute_is_named_and_no_degrees_are_told(witness: str) -> None:
    turn = made(rates={"7": lambda _t: 150.0}, headings={"7": even} if witness == "heading" else None)
    if witness != "course":
        turn = [one for one in turn if "ground" not in one.quantity]
    (finding,) = judged(turn)
    assert (codes([finding]), finding.verdict) == (["rate_in_degrees_a_minute"], Verdict.FAIL)
    assert "degrees a minute" in finding.sentence
    assert finding.numbers == ()


def test_a_rate_sixty_times_too_small_is_not_called_dead() -> None:
    """Degrees a second where a sentence carries degrees a minute. The course, the other sensor or its heading tell."""
    by_course = judged(made(rates={"7": lambda _t: 2.5 / 60}))
    by_other = judged(made(rates={"7": lambda _t: 2.5 / 60, "9": lambda _t: 2.5}), HELM, MAST)[-1:]
    by_heading = judged(made(rates={"7": lambda _t: 2.5 / 60, "9": lambda _t: 0.0}, headings={"7": even}), HELM)[:1]
    for found in (by_course, by_other, by_heading):
        (missing,) = found[0].missing
        assert (missing.lack, missing.field) == (Lack.CONTRADICTS, "turn_recording")
        assert "60 times as much; set its unit" in missing.text


def test_a_fast_turn_is_no_wrong_unit() -> None:
    (finding,) = judged(made(rates={"7": lambda _t: 20.0}, courses={"3": lambda t: 20 * t}, seconds=30, every=0.2))
    assert codes([finding]) == ["too_fast"]


# --- a scale that is off


@pytest.mark.parametrize(("scale", "words"), [(0.9, "reads 10 % low"), (1.25, "reads 25 % high")])
def test_of_two_rates_the_one_the_course_contradicts_has_its_scale_off_and_the_helm_is_not_blamed(
    scale: float, words: str
) -> None:
    """2.1 deg/s read as 1.89 is too slow, and 2.5 as 3.1 too fast, by the sensor alone."""
    rate = 2.1 if scale < 1 else 2.5
    turn = made(
        rates={"7": lambda _t: rate, "9": lambda _t: scale * rate}, courses={"3": lambda t: rate * t}, seconds=220
    )
    helm, mast = judged(turn, HELM, MAST)
    assert codes([helm, mast]) == ["good", "scale_off"]
    assert mast.verdict is Verdict.ADVISE
    assert words in mast.sentence
    assert "not the helm" in mast.sentence
    assert "Turn faster" not in mast.sentence
    assert "Turn slower" not in mast.sentence


def test_a_rate_that_its_own_heading_and_the_course_contradict_is_a_scale_and_no_dead_heading() -> None:
    turn = made(rates={"7": lambda _t: 2.25}, headings={"7": even}, courses={"3": even}, seconds=205)
    (finding,) = judged(turn)
    assert (codes([finding]), finding.verdict) == (["scale_off"], Verdict.ADVISE)
    assert "as its heading did" in finding.sentence


def test_two_rates_within_what_they_are_good_to_accuse_nobody() -> None:
    """1 % apart, at 1.2 % each."""
    turn = made(rates={"7": lambda _t: 2.5, "9": lambda _t: 2.475}, seconds=184)
    assert codes(judged(turn, HELM, MAST)) == ["good", "good"]


def test_a_turn_too_slow_by_every_reading_is_too_slow() -> None:
    turn = made(rates={"7": lambda _t: 1.5, "9": lambda _t: 1.3}, courses={"3": lambda t: 1.5 * t}, seconds=310)
    assert codes(judged(turn, HELM, MAST)) == ["too_slow", "too_slow"]
    assert "Its scale is off" in judged(turn, HELM, MAST)[1].sentence


def test_without_a_course_two_rates_that_differ_name_each_other_and_no_helm() -> None:
    turn = [one for one in made(rates={"7": lambda _t: 2.1, "9": lambda _t: 1.9}, seconds=230) if one.source != "3"]
    helm, mast = judged(turn, HELM, MAST)
    assert codes([helm, mast]) == ["sources_disagree", "sources_disagree"]
    assert "Turn faster" not in mast.sentence


# --- upside down


@pytest.mark.parametrize("quantity", ["rate", "heading"])
def test_a_sensor_upside_down_fails(quantity: str) -> None:
    turn = made(rates={"7": lambda _t: -2.5}) if quantity == "rate" else made(headings={"7": lambda t: -2.5 * t})
    (finding,) = judged(turn)
    assert (codes([finding]), finding.verdict) == (["turns_the_other_way"], Verdict.FAIL)
    assert "upside down" in finding.sentence
    assert finding.numbers[0].expanded_uncertainty == pytest.approx(5, abs=3)


def test_a_turn_to_port_by_sensor_and_course_is_not_upside_down() -> None:
    assert codes(judged(made(rates={"7": lambda _t: -2.5}, courses={"3": lambda t: -2.5 * t}))) == ["good"]


# --- receivers


def test_two_receivers_that_differ_are_both_named_whichever_sends_more() -> None:
    """The longest stream won, then the lower address, and the other was never mentioned."""
    for good, bad in (("3", "5"), ("5", "3")):
        turn = made(rates={"7": lambda _t: 2.5}, courses={good: even, bad: lambda t: 2.2 * t})
        (finding,) = judged(turn)
        assert (codes([finding]), finding.verdict) == (["courses_disagree"], Verdict.ADVISE)
        assert f"source {good} the boat turned 453 degrees" in finding.sentence
        assert f"source {bad} 398 degrees" in finding.sentence


def test_a_receiver_that_lags_another_is_not_accused() -> None:
    turn = made(rates={"7": lambda _t: 2.5}, courses={"3": even, "5": lambda t: 2.5 * max(t - 4, 0.0)})
    assert codes(judged(turn)) == ["good"]


def test_a_course_with_gaps_is_not_asked_to_be_recorded_too() -> None:
    turn = [one for one in made(rates={"7": lambda _t: 2.5}) if "ground" not in one.quantity or not 60 < one.time < 110]
    (finding,) = judged(turn)
    assert codes([finding]) == ["course_has_gaps"]
    assert "record that too" not in finding.sentence
    (without,) = judged([one for one in turn if "ground" not in one.quantity])
    assert codes([without]) == ["unchecked"]
    assert "record that too" in without.sentence


# --- what the instrument said


def test_a_calibration_the_instrument_accepted_is_not_failed_for_its_rate() -> None:
    """The maker's own judgement goes before common practice."""
    turn = made(rates={"7": lambda _t: 1.7}, courses={"3": lambda t: 1.7 * t}, seconds=270)
    (accepted,) = judged(turn, said="accepted")
    assert (codes([accepted]), accepted.verdict) == (["too_slow"], Verdict.ADVISE)
    assert "The instrument accepted its calibration." in accepted.sentence
    for said in ("", "shows nothing"):
        assert judged(turn, said=said)[0].verdict is Verdict.FAIL


def test_an_accepted_calibration_of_a_sensor_upside_down_still_fails() -> None:
    assert judged(made(rates={"7": lambda _t: -2.5}), said="accepted")[0].verdict is Verdict.FAIL


# --- silences, clocks and gateways


def test_a_silence_in_the_circle_is_told_and_its_parts_count_together() -> None:
    whole = made(rates={"7": lambda _t: 2.5}, headings={"7": even})
    turn = [one for one in whole if one.source != "7" or not 90 < one.time < 100]
    (finding,) = judged(turn)
    assert (codes([finding]), finding.verdict) == (["silence"], Verdict.ADVISE)
    assert "silent for 10 s" in finding.sentence
    assert "Record the turn again." in finding.sentence
    assert finding.numbers[0].value == pytest.approx(427.5)
    assert "at 2.50 ±" in finding.sentence
    assert "Turn on for" not in finding.sentence


def test_a_silence_beside_a_whole_turn_is_no_matter() -> None:
    made_longer = made(rates={"7": lambda _t: 2.5}, seconds=260)
    turn = [one for one in made_longer if one.source != "7" or not 60 < one.time < 70]
    assert codes(judged(turn)) == ["good"]


def test_a_turn_too_short_whatever_fell_into_its_silence_is_too_short() -> None:
    turn = [
        one for one in made(rates={"7": lambda _t: 2.5}, seconds=120) if one.source != "7" or not 60 < one.time < 65
    ]
    (finding,) = judged(turn)
    assert (codes([finding]), finding.verdict) == (["too_short"], Verdict.FAIL)
    assert "silent for 5 s" in finding.sentence


def set_back(turn: Sequence[Sample], at: float, seconds: float) -> list[Sample]:
    """The same samples as a clock gives their times that was set back once."""
    return [one._replace(time=one.time - seconds) if one.time >= at else one for one in turn]


def test_a_clock_set_back_is_told_and_the_sound_parts_are_judged() -> None:
    turn = set_back(made(rates={"7": lambda _t: 2.5}, headings={"7": even}, seconds=220), 120, 30)
    (finding,) = judged(turn)
    assert (codes([finding]), finding.verdict) == (["clocks_mixed"], Verdict.ADVISE)
    assert "a clock was set back, or two gateways are mixed" in finding.sentence
    assert "silent" not in finding.sentence
    assert "scale" not in finding.sentence
    assert "otherwise" not in finding.sentence
    assert finding.numbers[0].value == pytest.approx(2.5 * (90 + 70), abs=8)


def test_two_gateways_with_different_clocks_are_told() -> None:
    """The same samples twice, the second gateway's clock 20 s behind: 50 degrees apart while the boat turns."""
    one = made(rates={"7": lambda _t: 2.5})
    both = [*one, *(sample._replace(time=sample.time - 20.1) for sample in one)]
    assert sound(gather("two", both)).seconds == pytest.approx(161, abs=2)
    (finding,) = judged(both)
    assert [(each.lack, each.field) for each in finding.missing] == [(Lack.CONTRADICTS, "turn_recording")]
    assert "two gateways are mixed" in finding.sentence


def test_two_instruments_under_one_address_are_named_and_the_other_sensor_is_judged() -> None:
    turn = made(headings={"7": even, "9": even})
    other = [one._replace(time=one.time + 0.2, value=(one.value + 70) % 360) for one in turn if one.source == "7"]
    both = gather("two", [*turn, *other])
    helm, mast = sorted(judged(turn, HELM, MAST, recording=both), key=lambda one: one.about)
    assert [(one.lack, one.field) for one in helm.missing] == [(Lack.CONTRADICTS, "turn_recording")]
    assert "two instruments or gateways send under one address" in helm.sentence
    assert (mast.code, mast.verdict) == (f"{STEP}.good", Verdict.PASS)
    assert [one.verdict for one in judge_recording(both)] == [Verdict.PASS, Verdict.NOT_ENOUGH_DATA]


@pytest.mark.parametrize(
    "turn",
    [
        made(rates={"7": lambda _t: 2.5}, headings={"7": lambda t: even(t) + 4 * math.sin(2 * t)}),
        made(headings={"7": lambda t: float(round(even(t)))}, every=1.0),
        made(headings={"7": lambda t: even(t) + (90 if t in (50.0, 90.0, 130.0) else 0)}),
    ],
    ids=["yawing", "whole degrees", "three bad samples"],
)
def test_a_heading_that_yaws_or_is_coarse_or_has_a_few_bad_samples_is_sound(turn: list[Sample]) -> None:
    heard = sound(gather("turn", turn))
    assert (heard.clock, dict(heard.senders)) == ((), {})


# --- frozen, jerky


def test_a_heading_frozen_for_part_of_a_turn_by_heading_alone_fails() -> None:
    """It ended the turn, and the helm was told to turn on."""
    (finding,) = judged(made(headings={"7": lambda t: 2.5 * min(t, 120)}))
    assert (codes([finding]), finding.verdict) == (["heading_stands_still"], Verdict.FAIL)
    assert "stood still for 61 s" in finding.sentence


def test_a_boat_that_stops_turning_has_no_frozen_heading() -> None:
    def turns(t: float) -> float:
        return 2.5 * min(t, 182)

    still = made(headings={"7": turns}, courses={"3": turns}, seconds=220)
    assert codes(judged(still)) == ["good"]


def test_a_jerky_turn_is_uneven_and_neither_the_mounting_nor_the_scale_is_blamed() -> None:
    def total(t: float) -> float:
        return 2.5 * t - 8 * (1 - math.cos(0.5 * t))

    turn = made(
        rates={"7": lambda t: 2.5 - 4 * math.sin(0.5 * t)},
        headings={"7": total},
        courses={"3": lambda t: total(t - 1)},
    )
    (finding,) = judged(turn)
    assert codes([finding]) == ["uneven"]
    for blamed in ("mount", "scale", "otherwise", "follow"):
        assert blamed not in finding.sentence


def test_the_noise_of_a_heading_is_not_an_uneven_helm() -> None:
    """0.64 degrees, remembered for 0.6 s, as real headings have: over 2 s it makes 0.45 deg/s of a steady turn."""
    rng, noise, shown = random.Random(3), 0.0, {}
    for step in range(round(SECONDS / 0.2) + 1):
        noise = math.exp(-1 / 3) * noise + math.sqrt(1 - math.exp(-2 / 3)) * rng.gauss(0, 0.64)
        shown[round(0.2 * step, 1)] = even(0.2 * step) + noise
    turn = made(headings={"7": lambda t: shown[round(t, 1)]}, every=0.2)
    (finding,) = judged(turn)
    assert codes([finding]) == ["good"]
    jerky = made(headings={"7": lambda t: even(t) - 8 * (1 - math.cos(0.5 * t))}, every=0.2)
    assert codes(judged(jerky)) == ["uneven"]
