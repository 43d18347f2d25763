"""What a steady turn is worth, and what to do differently."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from garboard.findings import (
    Basis,
    BasisKind,
    Finding,
    Lack,
    NotEnoughData,
    Number,
    Verdict,
    not_enough_data,
    with_uncertainty,
)
from garboard.job_view import JobView
from garboard.samples import Recording

from .sensors import name_of, one_by_one
from .settings import MAKERS_MANUAL, USUAL_TURN, Wanted, circles_basis, wanted_turn
from .steps import STEADY_TURN
from .turns import LEAST_DEGREES, Turn, find_turns

COURSE_AGREES_WITHIN = 0.05  # of the degrees turned
RECORDED = {"step": STEADY_TURN, "field": "turn_recording"}
LEAST_DOUBT = 0.1  # no log tells degrees turned any closer; common practice, no source [deg]

Remark = tuple[str, str]
"""What there is to say of a turn: a finding's code and the words."""

METHOD = Basis(
    BasisKind.METHOD,
    "rate of turn integrated by the trapezoid rule, or heading added up; held against course over ground",
)
BASIS = (MAKERS_MANUAL, METHOD)


def judge_recording(recording: Recording) -> tuple[Finding, ...]:
    """Every turn of a recording, judged by the usual demands. Raises NotEnoughData when there is none."""
    return tuple(
        turn_finding(turn, USUAL_TURN, f"source {turn.source}" if turn.source else "the only source")
        for turn in _turns(recording, USUAL_TURN)
    )


def compute(view: JobView) -> Iterable[Finding]:
    """The best turn of each source in the job's recording, and what the instrument itself said."""
    refusals = tuple(_refusals(view))
    try:
        return (*refusals, *_best_turns(view))
    except NotEnoughData as lacking:
        if not refusals:
            raise
        return (*refusals, not_enough_data("Steady turn", lacking.missing, BASIS))


def _best_turns(view: JobView) -> Iterable[Finding]:
    wanted = wanted_turn(view)
    asking = view.asking()
    recording = asking.recording(STEADY_TURN, "turn_recording")
    asking.settled(STEADY_TURN, "calm_water")
    asking.check()
    turns = _turns(recording, wanted)
    calm = view.value(STEADY_TURN, "calm_water") is not False
    seen = {turn.source for turn in turns}
    silent = [sensor for sensor in view.vessel.heading_sensors if sensor.sources and seen.isdisjoint(sensor.sources)]

    def best(source: str) -> Finding:
        mine = [turn for turn in turns if turn.source == source]
        about = name_of(view, source)
        if not mine:
            text = f"{about} shows no turn in the recording; see that it was sending"
            raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, **RECORDED)
        said = view.asking()
        said.settled(STEADY_TURN, "instrument_result", of=about)
        said.check()
        turn = min(mine, key=lambda turn: (len(shortcomings(turn, wanted)), -turn.in_band, -abs(turn.degrees)))
        return turn_finding(turn, wanted, about, calm, _refused(view, about))

    sources = [*sorted(seen), *(sensor.sources[0] for sensor in silent)]
    return one_by_one(sources, best, lambda source: name_of(view, source), BASIS)


def _turns(recording: Recording, wanted: Wanted) -> Sequence[Turn]:
    if not (recording.of("rate_of_turn") or recording.of("heading")):
        text = "the recording holds neither rate of turn nor heading; see that the sensor is sending"
        raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, **RECORDED)
    turns = find_turns(recording, wanted.band)
    if not turns:
        text = f"the recording shows no turn of {LEAST_DEGREES:.0f} degrees or more; record a full circle"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, **RECORDED)
    return turns


def _refused(view: JobView, sensor: str) -> bool:
    return view.value(STEADY_TURN, "instrument_result", of=sensor) == "refused"


def _refusals(view: JobView) -> Iterable[Finding]:
    for sensor in view.vessel.heading_sensors:
        if _refused(view, sensor.name):
            yield Finding(
                code="heading_calibration.steady_turn.refused",
                verdict=Verdict.FAIL,
                about=sensor.name,
                sentence="The instrument refused its calibration. Check where the sensor sits, then turn again.",
                basis=(Basis(BasisKind.COMMON_PRACTICE, "a sensor is calibrated when its instrument says so"),),
            )


def turn_finding(turn: Turn, wanted: Wanted, about: str, calm: bool = True, refused: bool = False) -> Finding:
    """The finding about one turn.

    turn    : as found in the recording
    wanted  : what a calibration turn has to reach
    about   : whose turn it is
    calm    : whether the water was
    refused : whether the instrument refused its calibration all the same
    """
    faults = shortcomings(turn, wanted)
    remarks = _remarks(turn, calm)
    if refused and not faults:
        words = "The turn was good enough: look for iron and cables near the sensor before you turn again."
        remarks.append(("heading_calibration.steady_turn.good_but_refused", words))
    verdict = Verdict.FAIL if faults else Verdict.ADVISE if remarks else Verdict.PASS
    doubt = _doubt(turn)
    degrees = with_uncertainty(abs(turn.degrees), doubt)
    course = "" if turn.by_course is None else with_uncertainty(abs(turn.by_course), _of_course(turn))
    held_against = f" ({course} by course over ground)" if course else ""
    rate = with_uncertainty(turn.mean_rate, doubt / turn.seconds, 2)
    in_band = f"{100 * turn.in_band:.0f} % of the time inside {wanted.low:g} to {wanted.high:g}"
    result = f"{degrees} degrees to {turn.direction}{held_against} at {rate} deg/s, {in_band}"
    good = [] if faults or remarks else ["Good: let the instrument finish its calibration."]
    code = (*faults, *remarks, ("heading_calibration.steady_turn.good", ""))[0][0]
    return Finding(
        code=code,
        verdict=verdict,
        about=about,
        sentence=" ".join([f"{result}.", *(text for _, text in (*faults, *remarks)), *good]),
        basis=(circles_basis(*wanted.band), METHOD),
        numbers=_numbers(turn),
    )


def shortcomings(turn: Turn, wanted: Wanted) -> tuple[Remark, ...]:
    """What keeps a turn from calibrating, each with what to do differently; none for a good turn."""
    told: list[Remark] = []
    rate = f"mean {turn.mean_rate:.2f} deg/s, wanted {wanted.low:g} to {wanted.high:g}"
    if turn.mean_rate < wanted.low:
        told.append(("heading_calibration.steady_turn.too_slow", f"Too slow. Turn faster: {rate}."))
    elif turn.mean_rate > wanted.high:
        told.append(("heading_calibration.steady_turn.too_fast", f"Too fast. Turn slower: {rate}."))
    elif turn.in_band < wanted.share:
        words = f"Too uneven. Hold helm and throttle still: {100 * wanted.share:.0f} % in the band wanted."
        told.append(("heading_calibration.steady_turn.uneven", words))
    elif turn.longest_lapse > wanted.lapse:
        lapse = f"Out of the band for {turn.longest_lapse:.0f} s at a stretch."
        told.append(("heading_calibration.steady_turn.lapse", f"{lapse} Keep each lapse under {wanted.lapse:.0f} s."))
    missing = wanted.degrees - abs(turn.degrees)
    if missing > 0:
        turn_on = f"Turn on for {math.ceil(missing)} degrees more: {wanted.degrees:.0f} wanted."
        words = f"Turn again, {wanted.degrees:.0f} degrees." if told else turn_on
        told.append(("heading_calibration.steady_turn.too_short", words))
    return tuple(told)


def _remarks(turn: Turn, calm: bool) -> list[Remark]:
    told: list[Remark] = []
    if turn.course_ratio is None:
        words = "Not checked against course over ground: record that too."
        told.append(("heading_calibration.steady_turn.unchecked", words))
    elif turn.by_course is not None:
        apart = abs(turn.degrees - turn.by_course)
        noise = math.hypot(turn.degrees_within, turn.by_course_within)
        if apart > max(COURSE_AGREES_WITHIN * abs(turn.by_course), noise):
            words = f"The course turned {apart:.1f} degrees otherwise: check the sensor's mounting."
            told.append(("heading_calibration.steady_turn.course_differs", words))
    if not calm:
        words = "The water was not calm: turn again on a calm day before you rely on it."
        told.append(("heading_calibration.steady_turn.not_calm", words))
    return told


def _doubt(turn: Turn) -> float:
    """Half width of the degrees turned. Noise says nothing of a sensor's scale or lag: where the course differs by
    more, that is the doubt [deg]."""
    apart = 0.0 if turn.by_course is None else abs(turn.degrees - turn.by_course)
    return max(turn.degrees_within, apart, LEAST_DOUBT)


def _of_course(turn: Turn) -> float:
    return max(turn.by_course_within, LEAST_DOUBT)


def _numbers(turn: Turn) -> tuple[Number, ...]:
    doubt = _doubt(turn)
    by_course = (
        ()
        if turn.by_course is None
        else (Number("turned by course over ground", turn.by_course, "deg", _of_course(turn)),)
    )
    return (
        Number("turned", turn.degrees, "deg", doubt),
        *by_course,
        Number("mean rate of turn", turn.mean_rate, "deg/s", doubt / turn.seconds, decimals=3),
        Number("share of time in the band", 100 * turn.in_band, "%", decimals=0),
        Number("longest lapse", turn.longest_lapse, "s", decimals=0),
        Number("spread of the rate", turn.smoothness, "deg/s", decimals=2),
    )
