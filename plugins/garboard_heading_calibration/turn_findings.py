"""What a steady turn is worth, and what to do differently."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from garboard.findings import (
    Basis,
    BasisKind,
    Finding,
    Lack,
    Limit,
    Missing,
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
from .turns import LEAST_DEGREES, UNDER_WAY, Turn, find_turns, turned_by_course, what_was_sent, without_the_turn

COURSE_AGREES_WITHIN = 0.05  # of the degrees turned
RECORDED = {"step": STEADY_TURN, "field": "turn_recording"}
UNCALIBRATED = 40.0  # twice 20 degrees of deviation, which a sensor may have before it is calibrated [deg]
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
    turns = _turns(recording, USUAL_TURN)
    judged = tuple(
        turn_finding(turn, USUAL_TURN, _called(turn.source), others=[(_called(o.source), o) for o in turns])
        for turn in turns
    )
    dead = (
        not_enough_data(_called(source), (_missed(_called(source), _called(turn.source), turn),), BASIS)
        for source, turn in without_the_turn(recording, turns).items()
    )
    return (*judged, *dead)


def _called(source: str) -> str:
    return f"source {source}" if source else "the only source"


def _missed(about: str, other: str, turn: Turn) -> Missing:
    text = (
        f"{about} shows no turn while {other} turned {abs(turn.degrees):.0f} degrees; see whether it is dead or frozen"
    )
    return Missing(text, lack=Lack.CONTRADICTS, **RECORDED)


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
    turns = _turns(recording, wanted, [sensor.sources for sensor in view.vessel.heading_sensors])
    said_of_water = view.value(STEADY_TURN, "calm_water")
    calm = said_of_water if isinstance(said_of_water, bool) else None
    seen = {turn.source for turn in turns}
    missed = without_the_turn(recording, turns)
    silent = [sensor for sensor in view.vessel.heading_sensors if sensor.sources and seen.isdisjoint(sensor.sources)]

    def best(source: str) -> Finding:
        mine = [turn for turn in turns if turn.source == source]
        about = name_of(view, source)
        if not mine and source in missed:
            raise NotEnoughData(_missed(about, name_of(view, missed[source].source), missed[source]))
        if not mine:
            text = f"{about} shows no turn in the recording; see that it was sending"
            raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, **RECORDED)
        said = view.asking()
        said.settled(STEADY_TURN, "instrument_result", of=about)
        said.check()
        turn = min(mine, key=lambda turn: (len(shortcomings(turn, wanted)), -turn.in_band, -abs(turn.degrees)))
        others = [(name_of(view, other.source), other) for other in turns]
        return turn_finding(turn, wanted, about, calm, _refused(view, about), others)

    unheard = [sensor.sources[0] for sensor in silent if missed.keys().isdisjoint(sensor.sources)]
    sources = [*sorted(seen), *sorted(missed), *unheard]
    return one_by_one(sources, best, lambda source: name_of(view, source), BASIS)


def _turns(recording: Recording, wanted: Wanted, sensors: Iterable[Sequence[str]] = ()) -> Sequence[Turn]:
    sent = what_was_sent(recording)
    if not sent:
        text = "the recording holds neither rate of turn nor heading; see that the sensor is sending"
        raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, **RECORDED)
    turns = find_turns(recording, wanted.band, sensors)
    by_course = abs(turned_by_course(recording)) if not turns else 0.0
    if by_course:
        words = " and the ".join(quantity.replace("_", " ") for quantity in sent)
        text = (
            f"the course over ground turned {by_course:.0f} degrees and the {words} did not; see that the sensor lives"
        )
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, **RECORDED)
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


def turn_finding(
    turn: Turn,
    wanted: Wanted,
    about: str,
    calm: bool | None = True,
    refused: bool = False,
    others: Sequence[tuple[str, Turn]] = (),
) -> Finding:
    """The finding about one turn.

    turn    : as found in the recording
    wanted  : what a calibration turn has to reach
    about   : whose turn it is
    calm    : whether the water was; None where nobody has said
    refused : whether the instrument refused its calibration all the same
    others  : turns of the same recording, its own among them, each with whose it is
    """
    faults = shortcomings(turn, wanted)
    remarks = [*_remarks(turn, calm), *_disagreements(turn, others)]
    if refused and not faults:
        words = "The turn was good enough: look for iron and cables near the sensor before you turn again."
        remarks.append(("heading_calibration.steady_turn.good_but_refused", words))
    verdict = Verdict.FAIL if faults else Verdict.ADVISE if remarks else Verdict.PASS
    doubt = _doubt(turn)
    degrees = with_uncertainty(abs(turn.degrees), doubt)
    course = "" if turn.by_course is None else with_uncertainty(abs(turn.by_course), _of_course(turn))
    alone = "" if turn.with_way is None else f"of these {with_uncertainty(abs(turn.with_way), doubt)} with way on, "
    held_against = f" ({alone}{course} by course over ground)" if course else ""
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
        limits=_limits(turn, wanted) if not faults or _not_reached(turn, wanted) else (),
    )


def _limits(turn: Turn, wanted: Wanted) -> tuple[Limit, ...]:
    """What a calibration turn has to reach; a turn to port counts below zero."""
    far_enough = Limit("turned", low=wanted.degrees) if turn.degrees > 0 else Limit("turned", high=-wanted.degrees)
    return (
        far_enough,
        Limit("mean rate of turn", wanted.low, wanted.high),
        Limit("share of time in the band", low=100 * wanted.share),
        Limit("longest lapse", high=wanted.lapse),
    )


def shortcomings(turn: Turn, wanted: Wanted) -> tuple[Remark, ...]:
    """What keeps a turn from calibrating, each with what to do differently; none for a good turn."""
    return (*_does_not_follow(turn), *_not_reached(turn, wanted))


def _not_reached(turn: Turn, wanted: Wanted) -> tuple[Remark, ...]:
    """Where a turn is too slow, too fast, too uneven or too short."""
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


def _does_not_follow(turn: Turn) -> Iterable[Remark]:
    """What is wrong with a heading that did not turn as its sensor's rate of turn did.

    A sensor still to be calibrated may be off by its deviation at either end of the turn; more is not deviation.
    """
    by_heading = "" if turn.by_heading is None else f"{_way(turn.by_heading)} by the heading"
    by_rate = f"{_way(turn.degrees)} by the rate of turn"
    if turn.heading_still:
        words = f"The heading stood still for {turn.heading_still:.0f} s of the turn: the sensor is dead or frozen."
        yield ("heading_calibration.steady_turn.heading_stands_still", words)
    elif turn.by_heading is not None and _too_far_apart(turn, turn.by_heading, turn.by_heading_within):
        words = f"The heading does not follow: {by_heading}, {by_rate}. Put the sensor right, then turn again."
        yield ("heading_calibration.steady_turn.heading_does_not_follow", words)


def _too_far_apart(turn: Turn, degrees: float, within: float) -> bool:
    noise = math.hypot(turn.degrees_within, within)
    return abs(turn.degrees - degrees) > max(COURSE_AGREES_WITHIN * abs(turn.degrees), noise) + UNCALIBRATED


def _way(degrees: float) -> str:
    return f"{abs(degrees):.0f} degrees to {'starboard' if degrees > 0 else 'port'}"


def _disagreements(turn: Turn, others: Sequence[tuple[str, Turn]]) -> Iterable[Remark]:
    """Other sources that turned otherwise in the same time."""
    for name, other in others:
        both = min(turn.end, other.end) - max(turn.start, other.start)
        opposite = turn.degrees * other.degrees < 0 and both > 0.5 * min(turn.seconds, other.seconds)
        same_time = both > 0.95 * max(turn.seconds, other.seconds)
        if opposite or (same_time and _too_far_apart(turn, other.degrees, other.degrees_within)):
            words = f"In the same time {name} turned {_way(other.degrees)}: find out which of them is wrong."
            yield ("heading_calibration.steady_turn.sources_disagree", words)


def _remarks(turn: Turn, calm: bool | None) -> list[Remark]:
    told: list[Remark] = []
    if turn.without_way:
        words = (
            f"Not checked against course over ground: it says nothing below {UNDER_WAY:g} kn. Turn a whole circle with "
            "way on."
        )
        told.append(("heading_calibration.steady_turn.without_way", words))
    elif turn.by_course is None:
        words = "Not checked against course over ground: record that too."
        told.append(("heading_calibration.steady_turn.unchecked", words))
    else:
        apart = abs(turn.compared - turn.by_course)
        noise = math.hypot(turn.degrees_within, turn.by_course_within)
        if apart > noise and abs(turn.by_course) <= _of_course(turn):
            words = "The course over ground shows no turn: find out whether it or the sensor is wrong."
            told.append(("heading_calibration.steady_turn.course_shows_no_turn", words))
        elif apart > max(COURSE_AGREES_WITHIN * abs(turn.by_course), noise):
            words = (
                f"The course turned {apart:.1f} degrees otherwise. Turn again in calm water. If they differ "
                "again, check the sensor against another one."
            )
            told.append(("heading_calibration.steady_turn.course_differs", words))
    if calm is None:
        words = "Say whether the water was calm for this turn."
        told.append(("heading_calibration.steady_turn.calm_not_said", words))
    elif not calm:
        words = "The water was not calm: turn again on a calm day before you rely on it."
        told.append(("heading_calibration.steady_turn.not_calm", words))
    return told


def _doubt(turn: Turn) -> float:
    """Half width of the degrees turned. Noise says nothing of a sensor's scale or lag: where the course differs by
    more, that is the doubt [deg]."""
    apart = 0.0 if turn.by_course is None else abs(turn.compared - turn.by_course)
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
