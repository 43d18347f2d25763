"""What a steady turn is worth, and what to do differently."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence

import attrs

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
    in_full,
    not_enough_data,
    rounded,
    rounded_beside,
    with_uncertainty,
)
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.samples import Recording

from .mixed import Sound, mixed_words, sound, two_senders
from .rates import UNDER_WAY
from .sensors import dated_apart, name_of, one_by_one, strangers_only_told
from .settings import (
    AS_ITS_MAKER_ASKS,
    MAKERS_MANUAL,
    USUAL_RATE,
    USUAL_TURN,
    RateErrors,
    Wanted,
    circles_basis,
    rate_errors,
    wanted_turn,
)
from .steps import STEADY_TURN, STRAIGHT_RUNS, SWING
from .turn_record import FASTEST, GAPS, Check, Turn
from .turns import (
    LEAST_DEGREES,
    CourseTurn,
    Missed,
    degrees_by_rate,
    find_turns,
    joined,
    turned_by_course,
    what_was_sent,
    without_the_turn,
)

RECORDED = {"step": STEADY_TURN, "field": "turn_recording"}
UNCALIBRATED = 20.0  # deviation a sensor may have before it is calibrated [deg]
SURELY = 1.4  # so many times the 95 % of both a course and a sensor are apart before one is said to be wrong: by 95 %
# alone one sound boat in twenty would be accused
APART = "sensor beyond the course, over whole circles"
LIKE_DEVIATION = 0.8  # share of a turn's unevenness that has to go with the heading; common practice, no source
LEAST_DOUBT = 0.1  # no log tells degrees turned any closer; common practice, no source [deg]
TOO_SHORT = "heading_calibration.steady_turn.too_short"
UNEVEN = "heading_calibration.steady_turn.uneven"
LAPSE = "heading_calibration.steady_turn.lapse"
WITHOUT_CARD = "Counted by the heading as shown, without the deviation card."
A_MINUTE = 60.0  # a rate of turn in degrees a minute taken for degrees a second is so many times too large
UNIT_WITHIN = 0.15  # of A_MINUTE, for the unit to be what is wrong
LONGEST_SILENCE = 60.0  # a longer silence of the sensor parts two turns [s]

Remark = tuple[str, str]
"""What there is to say of a turn: a finding's code and the words."""

METHOD = Basis(
    BasisKind.METHOD,
    "rate of turn integrated by the trapezoid rule, or heading added up; held against course over ground",
)
BASIS = (MAKERS_MANUAL, METHOD)


def judge_recording(recording: Recording) -> tuple[Finding, ...]:
    """Every turn of a recording, judged by the usual demands. Raises NotEnoughData when there is none."""
    heard = sound(recording)
    turns = _turns(heard, USUAL_TURN)
    judged = tuple(
        turn_finding(
            turn,
            USUAL_TURN,
            _called(turn.source),
            others=[(_called(o.source), o) for o in turns],
            mixed=mixed_words(heard) if heard.clock else "",
        )
        for turn in _whole_turns(turns)
    )
    dead = (
        not_enough_data(_called(source), (_missed(_called(source), _called(missed.turn.source), missed),), BASIS)
        for source, missed in without_the_turn(heard.recording, turns).items()
    )
    unsound = (
        not_enough_data(_called(source), (two_senders(_called(source), RECORDED),), BASIS)
        for source in sorted(heard.senders)
        if heard.has_two_senders(source)
    )
    return (*judged, *dead, *unsound)


def _called(source: str) -> str:
    return f"source {source}" if source else "the only source"


def _missed(about: str, other: str, missed: Missed) -> Missing:
    turned = abs(missed.turn.degrees)
    who = "its heading" if missed.by_own_heading else other
    text = f"{about} shows no turn while {who} turned {rounded(turned)} degrees; see whether it is dead or frozen"
    if _is_in_other_unit(A_MINUTE * missed.degrees, missed.turn.degrees):
        text = (
            f"the rate of turn of {about} adds up to {rounded(abs(missed.degrees), 1)} degrees while {who} turned "
            f"{rounded(turned)}, 60 times as much; set its unit, then record again"
        )
    return Missing(text, lack=Lack.CONTRADICTS, **RECORDED)


def _is_in_other_unit(degrees: float, witness: float) -> bool:
    return abs(degrees / witness - 1) <= UNIT_WITHIN if witness else False


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
    asking = view.asking()
    recording = asking.recording(STEADY_TURN, "turn_recording")
    asking.settled(STEADY_TURN, "calm_water")
    asking.check()
    outing = _outing(view, sound(recording), dated_apart(view, recording))
    found = one_by_one(outing.sources, outing.best, outing.called, BASIS)
    return strangers_only_told(view, outing.sources, found, STEADY_TURN)


def _outing(view: JobView, heard: Sound, dated: str) -> _Outing:
    wanted, fitted = wanted_turn(view), view.vessel.heading_sensors
    turns = _turns(heard, wanted, [sensor.sources for sensor in fitted], rate_errors(view))
    mixed = {source for source in heard.senders if heard.has_two_senders(source)}
    seen = {turn.source for turn in turns} - mixed
    missed = without_the_turn(heard.recording, turns, [sensor.sources for sensor in fitted])
    taken = {*seen, *missed, *mixed}
    unheard = [one.sources[0] for one in fitted if one.sources and taken.isdisjoint(one.sources)]
    return _Outing(
        view=view,
        wanted=wanted,
        turns=turns,
        mixed=mixed,
        missed=missed,
        sources=[*sorted(seen), *sorted({*missed, *mixed} - seen), *unheard],
        clocks=mixed_words(heard) if heard.clock else "",
        dated=dated,
    )


@frozen(kw_only=True)
class _Outing:
    """The turns of a recording, by whoever sent them.

    mixed   : sources under which two senders sent
    missed  : sources that did not show a turn another source showed
    sources : each that something is to be said of: those with a turn, those without, and sensors that nobody heard
    clocks  : what to say of two clocks or gateways mixed in the recording; "" where there are none
    dated   : what to say of a recording of another time than the job; "" for one of its time
    """

    view: JobView
    wanted: Wanted
    turns: Sequence[Turn]
    mixed: Collection[str]
    missed: Mapping[str, Missed]
    sources: Sequence[str]
    clocks: str
    dated: str

    def called(self, source: str) -> str:
        """The sensor's name, with the source where the sensor sends under several."""
        name = name_of(self.view, source)
        alike = [other for other in self.sources if name_of(self.view, other) == name]
        return f"{name} (source {source})" if len(alike) > 1 else name

    def best(self, source: str) -> Finding:
        """The finding about the best turn of a source. Raises NotEnoughData where it has none to judge."""
        name, about = name_of(self.view, source), self.called(source)
        turn = self._best_turn(source)
        said = self.view.asking()
        said.settled(STEADY_TURN, "instrument_result", of=name)
        said.check()
        calm = self.view.value(STEADY_TURN, "calm_water")
        result = self.view.value(STEADY_TURN, "instrument_result", of=name)
        found = turn_finding(
            turn,
            self.wanted,
            about,
            calm if isinstance(calm, bool) else None,
            result == "refused",
            [(self.called(other.source), other) for other in self.turns if other.source not in self.mixed],
            accepted=result == "accepted",
            mixed=self.clocks,
            dated=self.dated,
        )
        without_card = turn.quantity == "heading" and _has_been_swung(self.view, name)
        sentence = f"{found.sentence} {WITHOUT_CARD}" if without_card else found.sentence
        is_fitted = any(sensor.name == name for sensor in self.view.vessel.heading_sensors)
        return attrs.evolve(found, sentence=sentence, of=name if is_fitted else "")

    def _best_turn(self, source: str) -> Turn:
        about = self.called(source)
        if source in self.mixed:
            raise NotEnoughData(two_senders(about, RECORDED))
        mine = [turn for turn in self.turns if turn.source == source]
        if not mine and source in self.missed:
            missed = self.missed[source]
            raise NotEnoughData(_missed(about, self.called(missed.turn.source), missed))
        if not mine:
            text = f"{name_of(self.view, source)} shows no turn in the recording; see that it was sending"
            raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, **RECORDED)
        good = [turn for turn in mine if not shortcomings(turn, self.wanted)]
        return min((*good, *_whole_turns(mine)), key=lambda turn: _rank(turn, self.wanted))


def _has_been_swung(view: JobView, sensor: str) -> bool:
    """Whether there may be a deviation card of a sensor. A turn does not rest on it, so no value of it is asked for."""
    swung = ((SWING, "compass_heading", sensor), (STRAIGHT_RUNS, "runs_recording", ""))
    return any((one.step, one.field, one.of) in swung for one in view.measurements)


def _rank(turn: Turn, wanted: Wanted) -> tuple[float, ...]:
    """Good turns first, of these one heard throughout; then the most even and the farthest.

    A part that a silence cut off counts alone only where it is good: otherwise the silence has to be told.
    """
    short = len(shortcomings(turn, wanted))
    return short, 0.0 if short else turn.silence, -round(turn.in_band, 2), -abs(turn.degrees)


def _whole_turns(turns: Sequence[Turn]) -> list[Turn]:
    """Turns, those that only a silence of the sensor parts put together."""
    groups: list[list[Turn]] = []
    for turn in turns:
        before = groups[-1][-1] if groups else None
        goes_on = (
            before is not None
            and before.source == turn.source
            and before.degrees * turn.degrees > 0
            and 0 < before.silence_after <= LONGEST_SILENCE
            and turn.start - before.end <= before.silence_after + 1e-6
        )
        if goes_on:
            groups[-1].append(turn)
        else:
            groups.append([turn])
    return [joined(group) for group in groups]


def _turns(
    heard: Sound, wanted: Wanted, sensors: Sequence[Sequence[str]] = (), errors: RateErrors = USUAL_RATE
) -> Sequence[Turn]:
    recording = heard.recording
    sent = what_was_sent(recording)
    unsound = [source for source in heard.senders if heard.has_two_senders(source)]
    if not sent and unsound:
        raise NotEnoughData(*(two_senders(_called(source), RECORDED) for source in unsound))
    if not sent:
        text = "the recording holds neither rate of turn nor heading; see that the sensor is sending"
        raise NotEnoughData(text, lack=Lack.NOT_IN_RECORDING, **RECORDED)
    turns = find_turns(recording, wanted.band, sensors, errors)
    by_course = turned_by_course(recording) if not turns else None
    if by_course:
        raise NotEnoughData(_only_the_course(recording, by_course, sent), lack=Lack.CONTRADICTS, **RECORDED)
    if not turns and heard.clock:
        text = (
            f"directions jump to and fro for {rounded(heard.seconds)} s: a clock was set back, or two gateways are "
            "mixed; record with one of them"
        )
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, **RECORDED)
    if not turns:
        text = f"the recording shows no turn of {rounded(LEAST_DEGREES)} degrees or more; record a full circle"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, **RECORDED)
    return turns


def _only_the_course(recording: Recording, course: CourseTurn, sent: Sequence[str]) -> str:
    """What to say of a turn that the course over ground alone shows."""
    by_rate = degrees_by_rate(recording, course.start, course.end)
    slow = [source for source, degrees in by_rate.items() if _is_in_other_unit(A_MINUTE * degrees, course.degrees)]
    if slow:
        return (
            f"the rate of turn of {_called(slow[0])} adds up to {rounded(abs(by_rate[slow[0]]), 1)} degrees while the "
            f"course over ground turned {rounded(abs(course.degrees))}, 60 times as much; set its unit, then record "
            "again"
        )
    words = " and the ".join(quantity.replace("_", " ") for quantity in sent)
    return (
        f"the course over ground turned {rounded(abs(course.degrees))} degrees and the {words} did not; see that the "
        "sensor lives"
    )


def _refusals(view: JobView) -> Iterable[Finding]:
    for sensor in view.vessel.heading_sensors:
        if view.value(STEADY_TURN, "instrument_result", of=sensor.name) == "refused":
            yield Finding(
                code="heading_calibration.steady_turn.refused",
                verdict=Verdict.FAIL,
                about=sensor.name,
                of=sensor.name,
                sentence="The instrument refused its calibration. Check where the sensor sits, then turn again.",
                basis=(AS_ITS_MAKER_ASKS,),
            )


def turn_finding(
    turn: Turn,
    wanted: Wanted,
    about: str,
    calm: bool | None = True,
    refused: bool = False,
    others: Sequence[tuple[str, Turn]] = (),
    *,
    accepted: bool = False,
    mixed: str = "",
    dated: str = "",
) -> Finding:
    """The finding about one turn.

    turn     : as found in the recording
    wanted   : what a calibration turn has to reach
    about    : whose turn it is
    calm     : whether the water was; None where nobody has said
    refused  : whether the instrument refused its calibration all the same
    others   : turns of the same recording, its own among them, each with whose it is
    accepted : whether the instrument accepted its calibration: then the turn was good enough for it
    mixed    : what to say of two clocks or gateways mixed in the recording; "" where there are none
    dated    : what to say of a recording of another time than the job; "" for one of its time
    """
    same_time = [(name, other) for name, other in others if other.source != turn.source and _same_time(turn, other)]
    unit = _unit(turn, same_time)
    if unit:
        return _wrong_unit(about, unit, wanted)
    wrong = [*_does_not_follow(turn), *_other_way(turn)]
    against = _contradicted(turn, same_time)
    faults = _still_short(turn, wanted, against, bool(mixed))
    remarks = [*against.remarks, *_remarks(turn, wanted, calm, mixed)]
    if dated:
        remarks.append(("heading_calibration.steady_turn.dated_apart", dated))
    even = _helm_was_even(turn, wanted, same_time)
    if even and any(code in (UNEVEN, LAPSE) for code, _ in faults):
        faults = [(code, words) for code, words in faults if code not in (UNEVEN, LAPSE)]
        swing = "Swing it" if accepted else "Let the instrument finish its calibration, then swing it"
        words = (
            f"The sensor reads unevenly, the helm was steady: {even}. {swing}. If it stays, look for iron and cables "
            "near the sensor."
        )
        remarks = [("heading_calibration.steady_turn.sensor_uneven", words), *remarks]
    if accepted and faults:
        faults, remarks = (
            [],
            [
                *faults,
                ("heading_calibration.steady_turn.accepted", "The instrument accepted its calibration."),
                *remarks,
            ],
        )
    faults = [*wrong, *faults]
    if refused and not faults:
        words = "The turn was good enough: look for iron and cables near the sensor before you turn again."
        remarks.append(("heading_calibration.steady_turn.good_but_refused", words))
    verdict = Verdict.FAIL if faults else Verdict.ADVISE if remarks else Verdict.PASS
    result, good = _result(turn, wanted), not faults and not remarks
    done = "Good: let the instrument finish its calibration."
    code = (*faults, *remarks, ("heading_calibration.steady_turn.good", ""))[0][0]
    return Finding(
        code=code,
        verdict=verdict,
        about=about,
        sentence=f"{result} {done}" if good else " ".join([result, *(text for _, text in (*faults, *remarks))]),
        short=result if good else "",
        basis=(circles_basis(*wanted.band), METHOD),
        numbers=_numbers(turn),
        limits=_limits(turn, wanted) if not faults or shortcomings(turn, wanted) else (),
    )


def _result(turn: Turn, wanted: Wanted) -> str:
    doubt = _doubt(turn)
    degrees = with_uncertainty(abs(turn.degrees), doubt)
    course = "" if turn.by_course is None else with_uncertainty(abs(turn.by_course), _of_course(turn))
    alone = "" if turn.with_way is None else f"of these {with_uncertainty(abs(turn.with_way), doubt)} with way on, "
    circles = _in_circles(turn)
    over = (
        f"; over whole circles {rounded(abs(circles.sensor), 1)} against {rounded(abs(circles.course), 1)}"
        if circles
        else ""
    )
    held_against = f" ({alone}{course} by course over ground{over})" if course else ""
    rate = with_uncertainty(turn.mean_rate, doubt / turn.seconds, 2)
    share, least = 100 * turn.in_band, 100 * wanted.share
    told = rounded_beside(share, [least], may_touch=share >= least)
    in_band = f"{told} % of the time inside {in_full(wanted.low)} to {in_full(wanted.high)}"
    return f"{degrees} degrees to {turn.direction}{held_against} at {rate} deg/s, {in_band}."


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
    told: list[Remark] = []
    rate = (
        f"mean {rounded_beside(turn.mean_rate, [wanted.low, wanted.high], 2)} deg/s, wanted {in_full(wanted.low)} to "
        f"{in_full(wanted.high)}"
    )
    if turn.mean_rate < wanted.low:
        told.append(("heading_calibration.steady_turn.too_slow", f"Too slow. Turn faster: {rate}."))
    elif turn.mean_rate > wanted.high:
        told.append(("heading_calibration.steady_turn.too_fast", f"Too fast. Turn slower: {rate}."))
    elif turn.in_band < wanted.share:
        words = f"Too uneven. Hold helm and throttle still: {in_full(100 * wanted.share)} % in the band wanted."
        told.append((UNEVEN, words))
    elif turn.longest_lapse > wanted.lapse:
        lapse = f"Out of the band for {rounded_beside(turn.longest_lapse, [wanted.lapse])} s at a stretch."
        told.append((LAPSE, f"{lapse} Keep each lapse under {in_full(wanted.lapse)} s."))
    missing = wanted.degrees - abs(turn.degrees)
    if missing > turn.silence * turn.mean_rate:
        turn_on = f"Turn on for {math.ceil(missing)} degrees more: {in_full(wanted.degrees)} wanted."
        words = f"Turn again, {in_full(wanted.degrees)} degrees." if told or turn.silence else turn_on
        told.append((TOO_SHORT, words))
    return tuple(told)


# --- what contradicts a turn


def _same_time(turn: Turn, other: Turn) -> bool:
    """Whether two turns are one of the boat: alike in time, or opposite ways for more than half of the shorter."""
    both = min(turn.end, other.end) - max(turn.start, other.start)
    opposite = turn.degrees * other.degrees < 0
    return both > (0.5 * min(turn.seconds, other.seconds) if opposite else 0.95 * max(turn.seconds, other.seconds))


def _unit(turn: Turn, others: Sequence[tuple[str, Turn]]) -> str:
    """What shows that a rate of turn in degrees a minute was taken for degrees a second; "" where nothing does."""
    if turn.quantity != "rate_of_turn":
        return ""
    witnesses = [("the heading", turn.by_heading), ("the course over ground", turn.by_course)]
    witnesses += [(name, other.degrees) for name, other in others]
    for name, degrees in witnesses:
        if degrees and _is_in_other_unit(turn.degrees / A_MINUTE, degrees):
            return f"{rounded(abs(turn.degrees))} degrees, {name} {rounded(abs(degrees))}"
    known = any(degrees for _, degrees in witnesses)
    no_boat = f"{rounded(turn.mean_rate)} degrees a second, and no boat turns so fast"
    return no_boat if turn.mean_rate > FASTEST and not known else ""


def _wrong_unit(about: str, seen: str, wanted: Wanted) -> Finding:
    """Nothing is told of such a turn but what is wrong with it."""
    return Finding(
        code="heading_calibration.steady_turn.rate_in_degrees_a_minute",
        verdict=Verdict.FAIL,
        about=about,
        sentence=(
            f"The rate of turn gives {seen}. It comes in degrees a minute and is read as degrees a second. "
            "Set its unit at the sensor or the gateway, then turn again."
        ),
        basis=(circles_basis(*wanted.band), METHOD),
    )


def _does_not_follow(turn: Turn) -> Iterable[Remark]:
    """What is wrong with a heading that did not turn as its sensor's rate of turn did.

    A sensor still to be calibrated may be off by its deviation at either end of the turn; more is not deviation.
    """
    by_heading = "" if turn.by_heading is None else f"{_way(turn.by_heading)} by the heading"
    by_rate = f"{_way(turn.degrees)} by the rate of turn"
    if turn.heading_still:
        words = (
            f"The heading stood still for {rounded(turn.heading_still)} s of the turn: the sensor is dead or frozen."
        )
        yield ("heading_calibration.steady_turn.heading_stands_still", words)
    elif turn.by_heading is not None and not _heading_follows(turn, turn.degrees) and not _rate_is_off(turn):
        words = f"The heading does not follow: {by_heading}, {by_rate}. Put the sensor right, then turn again."
        yield ("heading_calibration.steady_turn.heading_does_not_follow", words)


def _heading_follows(turn: Turn, degrees: float) -> bool:
    within = 2 * UNCALIBRATED + math.hypot(turn.degrees_within, turn.by_heading_within)
    return turn.by_heading is not None and abs(degrees - turn.by_heading) <= within


def _rate_is_off(turn: Turn) -> bool:
    """Whether the course over ground goes with the sensor's heading against its rate of turn, which goes their way."""
    check = turn.check
    if check is None or check.sensor * check.course <= 0 or not _course_contradicts(turn):
        return False
    return _heading_follows(turn, turn.degrees * check.course / check.sensor)


def _other_way(turn: Turn) -> Iterable[Remark]:
    """A course over ground cannot turn the other way: the sensor does."""
    if turn.by_course is not None and turn.compared * turn.by_course < 0 and abs(turn.by_course) >= LEAST_DEGREES:
        words = (
            f"The sensor turned {_way(turn.compared)}, the course over ground {_way(turn.by_course)}: the sensor "
            "is upside down, or its sign is reversed. Put it right, then turn again."
        )
        yield ("heading_calibration.steady_turn.turns_the_other_way", words)


def _way(degrees: float) -> str:
    return f"{rounded(abs(degrees))} degrees to {'starboard' if degrees > 0 else 'port'}"


@frozen
class _Against:
    """What contradicts a turn, and the degrees it would be by that."""

    remarks: tuple[Remark, ...] = ()
    degrees: float | None = None


def _contradicted(turn: Turn, others: Sequence[tuple[str, Turn]]) -> _Against:
    """What the course over ground and the other sources say against a turn.

    The course decides between two sources: it has no scale of its own. Two totals contradict each other beyond the
    root of the sum of the squares of their expanded uncertainties, and what deviation may do to a heading.
    """
    if turn.by_course is None:
        apart = [(name, other) for name, other in others if _apart(turn, other)]
        told = [
            (
                "heading_calibration.steady_turn.sources_disagree",
                f"In the same time {name} turned {_way(other.degrees)}: find out which is wrong.",
            )
            for name, other in apart
        ]
        return _Against(tuple(told), apart[0][1].degrees if apart else None)
    check = turn.check
    if check is None or not _course_contradicts(turn) or turn.compared * turn.by_course < 0:
        return _Against()
    by_course = turn.degrees * check.course / check.sensor
    if abs(turn.by_course) <= turn.by_course_within:
        words = "The course over ground shows no turn: find out whether it or the sensor is wrong."
        return _Against((("heading_calibration.steady_turn.course_shows_no_turn", words),))
    with_course = ["its heading"] if _rate_is_off(turn) else []
    with_course += [name for name, other in others if other.check is not None and not _course_contradicts(other)]
    if with_course and turn.quantity == "rate_of_turn":
        share = 100 * abs(check.sensor / check.course - 1)
        less = "low" if abs(check.sensor) < abs(check.course) else "high"
        words = (
            f"It reads {rounded(share)} % {less}: in {_way(check.sensor)} by it the course over ground turned "
            f"{rounded(abs(check.course))}, as {with_course[0]} did. Its scale is off, not the helm: have it set or "
            "replaced."
        )
        return _Against((("heading_calibration.steady_turn.scale_off", words),), by_course)
    words = (
        f"The course turned {rounded(abs(check.apart), 1)} degrees otherwise in {rounded(abs(check.sensor))}; noise, "
        f"lag and current explain {rounded(_explained(turn, check), 1)}. Turn again in calm water. If they differ "
        "again, check the sensor against another one."
    )
    return _Against((("heading_calibration.steady_turn.course_differs", words),), by_course)


def _course_contradicts(turn: Turn) -> bool:
    return turn.check is not None and abs(turn.check.apart) > _explained(turn, turn.check)


def _explained(turn: Turn, check: Check) -> float:
    """What a sound sensor and a sound course may be apart by [deg]."""
    return SURELY * check.within + _deviation(turn, check.sensor)


def _apart(turn: Turn, other: Turn) -> bool:
    within = math.hypot(turn.degrees_within, other.degrees_within) + sum(
        _deviation(one, one.degrees) for one in (turn, other)
    )
    return turn.degrees * other.degrees < 0 or abs(turn.degrees - other.degrees) > within


def _deviation(turn: Turn, degrees: float) -> float:
    """What deviation may do to a turn counted by a heading not calibrated yet; nothing after a whole circle [deg]."""
    if turn.quantity == "rate_of_turn":
        return 0.0
    return UNCALIBRATED * math.sqrt(2 * (1 - math.cos(math.radians(degrees))))


def _helm_was_even(turn: Turn, wanted: Wanted, others: Sequence[tuple[str, Turn]]) -> str:
    """What shows that the boat turned evenly while the sensor did not; "" where nothing does.

    Another sensor that sees the boat's yaw as this one does. A course over ground does not see it: it tells only of
    unevenness that comes back on the same headings.
    """

    def is_even(in_band: float, lapse: float) -> bool:
        return in_band >= wanted.share and lapse <= wanted.lapse

    by_heading = turn.quantity == "heading"
    for name, other in others:
        sees_as_much = by_heading or other.quantity == turn.quantity
        if sees_as_much and turn.degrees * other.degrees > 0 and is_even(other.in_band, other.longest_lapse):
            return f"{rounded(100 * other.in_band)} % inside by {name}"
    course = turn.course_in_band
    if course is not None and turn.like_deviation > LIKE_DEVIATION and is_even(course, turn.course_lapse):
        return f"{rounded(100 * course)} % inside by course over ground"
    return ""


def _still_short(turn: Turn, wanted: Wanted, against: _Against, mixed: bool) -> list[Remark]:
    """Shortcomings that a source contradicted has by the other reading too. Its helm is not blamed for its scale.

    How long a silence truly was is not known where clocks are mixed: no turn is called too short for it.
    """
    told = list(shortcomings(turn, wanted))
    if mixed and turn.silence:
        told = [(code, words) for code, words in told if code != TOO_SHORT]
    if against.degrees is None:
        return told
    other = attrs.evolve(turn, degrees=against.degrees, in_band=1.0, longest_lapse=0.0)
    by_other = {code for code, _ in shortcomings(other, wanted)}
    return [(code, words) for code, words in told if code in by_other]


# --- what else there is to say


def _remarks(turn: Turn, wanted: Wanted, calm: bool | None, mixed: str) -> Iterable[Remark]:
    if turn.without_way:
        words = (
            f"Not checked against course over ground: it says nothing below {in_full(UNDER_WAY)} kn. Turn a whole "
            f"circle with "
            "way on."
        )
        yield ("heading_calibration.steady_turn.without_way", words)
    elif turn.by_course is None and turn.course_not_told == GAPS:
        words = "Not checked against course over ground: it has gaps. See why its receiver falls silent."
        yield ("heading_calibration.steady_turn.course_has_gaps", words)
    elif turn.by_course is None:
        yield ("heading_calibration.steady_turn.unchecked", "Not checked against course over ground: record that too.")
    if turn.other_course is not None and turn.by_course is not None:
        words = (
            f"Two receivers differ: by the course over ground of source {turn.course_source} the boat turned "
            f"{_way(turn.by_course)}, by that of source {turn.other_course.source} "
            f"{_way(turn.other_course.degrees or 0.0)}. Find out which is wrong."
        )
        yield ("heading_calibration.steady_turn.courses_disagree", words)
    again = " Record the turn again." if turn.silence and abs(turn.degrees) < wanted.degrees else ""
    if mixed:
        yield ("heading_calibration.steady_turn.clocks_mixed", mixed + again)
    elif turn.silence:
        words = f"The sensor was silent for {rounded(turn.silence)} s of the turn: what was turned then is not counted."
        yield ("heading_calibration.steady_turn.silence", words + again)
    if calm is None:
        yield ("heading_calibration.steady_turn.calm_not_said", "Say whether the water was calm for this turn.")
    elif not calm:
        yield (
            "heading_calibration.steady_turn.not_calm",
            "The water was not calm: turn again on a calm day before you rely on it.",
        )


def _doubt(turn: Turn) -> float:
    """Half width of the degrees turned: its expanded uncertainty, or what contradicts it where that is more [deg]."""
    apart = 0.0
    one_way = turn.check is not None and turn.check.sensor * turn.check.course > 0
    if turn.check is not None and one_way and _course_contradicts(turn):
        apart = abs(turn.degrees * turn.check.apart / turn.check.sensor)
    return max(turn.degrees_within, apart, LEAST_DOUBT)


def _of_course(turn: Turn) -> float:
    return max(turn.by_course_within, LEAST_DOUBT)


def _in_circles(turn: Turn) -> Check | None:
    """The check over whole circles, where the whole turn would look contradicted and is not: a current turns the course
    aside, and drops out over a circle."""
    if turn.by_course is None or turn.check is None or _course_contradicts(turn):
        return None
    looks_wrong = abs(turn.compared - turn.by_course) > math.hypot(_doubt(turn), _of_course(turn))
    return turn.check if looks_wrong and turn.compared * turn.by_course > 0 else None


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
        *([Number(APART, circles.apart, "deg", circles.within)] if (circles := _in_circles(turn)) else []),
        Number("mean rate of turn", turn.mean_rate, "deg/s", doubt / turn.seconds, decimals=3),
        Number("share of time in the band", 100 * turn.in_band, "%", decimals=0),
        Number("longest lapse", turn.longest_lapse, "s", decimals=0),
        Number("spread of the rate", turn.smoothness, "deg/s", decimals=2),
    )
