"""Findings about slip: whether it is usual, and which reading is wrong where it cannot be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from garboard.findings import Basis, BasisKind, Doubt, Finding, Limit, NotEnoughData, Number, Verdict, in_full, rounded
from garboard.job_view import FieldKey, JobView
from garboard.record_types import frozen
from garboard.records import Engine
from garboard.uncertainty import MeasuredValue, Part
from garboard.units import Amount
from garboard_prop_check import borne_out
from garboard_prop_check.averages import Average, average_engine_speed, average_speed, held
from garboard_prop_check.runs import Run, runs_of
from garboard_prop_check.settings import USUAL_SLIP, basis_of, engine_difference_basis, slip_setting
from garboard_prop_check.slip import parts_of_slip, parts_of_theoretical_speed, slip, theoretical_speed
from garboard_prop_check.steps import CONDITIONS, FULL_THROTTLE, PROPELLER
from garboard_prop_check.weight_and_power import is_less_believable
from garboard_prop_check.words import (
    AVERAGING,
    CUP,
    SLIP,
    about,
    asked_about,
    by_pitch,
    for_each_engine,
    gear_ratio_of,
    inches_told,
    named_first,
    need_all,
    pitch_of,
    pitch_place,
    pitch_tolerance,
    stamped_pitch,
    tolerance_setting,
    trim_at_best,
)

SLIP_NUMBER, BY_STAMP = "slip", "slip by the stamped pitch"
LARGEST_DIAMETER = 17.0
"""An outboard's propeller has no larger diameter [in]; common practice, no source."""
SPEED_UNITS = ("kn", "mph", "km/h")
LEAST_SLIP = 3.0
"""Slip below this is too little to believe [%]: as much as the real pitch may be off its stamp, so it may be none."""
SO_LITTLE = Basis(BasisKind.COMMON_PRACTICE, f"no boat slips by less than {in_full(LEAST_SLIP)} % by the stamped pitch")
CUP_ACTS_AS = {"light": 0.5, "heavy": 1.0}
"""A cup acts as up to so much more pitch [in]: it costs about 200 rev/min, as an inch does. Common practice, no source;
that a light one does half of it is from memory."""


@frozen
class Slip:
    """Slip of one propeller, and what it comes from.

    measured : with the tolerance of the pitch [%]
    by_stamp : the same slip taken by the stamped pitch, as the usual slips are [%]
    theory   : theoretical speed, with the tolerance of the pitch [kn]
    """

    engine: Engine
    engine_speed: Average
    speed: Average
    measured: MeasuredValue
    by_stamp: MeasuredValue
    theory: MeasuredValue

    @property
    def numbers(self) -> tuple[Number, ...]:
        """As results."""
        return (
            Number.of(SLIP_NUMBER, self.measured),
            Number.of(BY_STAMP, self.by_stamp),
            Number.of("theoretical speed", self.theory),
        )

    def places(self, view: JobView) -> tuple[FieldKey, ...]:
        """The readings it rests on."""
        trim = held(view, [(CONDITIONS, "trim", "", "")])
        return (*self.speed.places, *self.engine_speed.places, *_stamp(view, self), *trim)

    def at(self, speed: float, ratio: float | None = None, pitch: float | None = None) -> float:
        """Slip had the speed [kn], the gear ratio or the pitch [in] been another [%]."""
        ratio = gear_ratio_of(self.engine) if ratio is None else ratio
        pitch = pitch_of(self.engine) if pitch is None else pitch
        return 100 * slip(speed, theoretical_speed(self.engine_speed.value, ratio, pitch))


def engine_slip(view: JobView) -> Iterator[Finding]:
    """Slip of every propeller, and of twins against each other."""
    runs = view.once(runs_of)
    speed = view.once(average_speed, runs)
    slips = view.once(slips_of, runs, speed)
    units = units_that_fit(view, speed, slips)
    yield from for_each_engine(view, (SLIP,), lambda engine: _engine_slip(view, engine, runs, speed, units))
    yield from unlike_slips(view, slips)


def slips_of(view: JobView, runs: Sequence[Run], speed: Average) -> list[Slip]:
    """The slips that are known."""
    found = []
    for engine in view.vessel.engines:
        try:
            found.append(slip_of(view, engine, view.once(average_engine_speed, runs, engine.position), speed))
        except NotEnoughData:
            continue
    return found


def slip_of(view: JobView, engine: Engine, engine_speed: Average, speed: Average) -> Slip:
    """Slip and theoretical speed of one engine's propeller. Raises NotEnoughData."""
    need_all(lambda: stamped_pitch(view, engine), lambda: gear_ratio_of(engine))
    tolerance = pitch_tolerance(view, engine)
    theory = theoretical_speed(engine_speed.value, gear_ratio_of(engine), stamped_pitch(view, engine))
    value = 100 * slip(speed.value, theory)

    def with_pitch_within(share: float) -> tuple[MeasuredValue, MeasuredValue]:
        of_engine = engine_speed.measured.parts
        of_theory = parts_of_theoretical_speed(theory, engine_speed.value, of_engine, share, engine.position)
        of_slip = parts_of_slip(speed.value, speed.measured.parts, theory, of_theory)
        return (
            MeasuredValue.of_parts(value, "%", (part.times(100) for part in of_slip)),
            MeasuredValue.of_parts(theory, "kn", of_theory),
        )

    (by_stamp, _), (measured, of_theory) = with_pitch_within(0), with_pitch_within(tolerance)
    return Slip(engine, engine_speed, speed, measured, by_stamp, of_theory)


def reading_is_wrong(view: JobView, found: MeasuredValue, theory: MeasuredValue) -> bool:
    """Whether slip [%] or theoretical speed [kn] surely cannot be: not the boat, but a reading."""
    limits = zip(_believable(view), (found, theory), strict=True)
    return not all(limit.reaches(number.value, number.expanded_uncertainty) for limit, number in limits)


def _believable(view: JobView) -> tuple[Limit, Limit]:
    """Slip [%] and theoretical speed [kn] that can be true.

    Slip may be as far above the usual as the shop allows; without a hull form, above the usual of any.
    """
    forms = [view.vessel.hull_form] if view.vessel.hull_form in USUAL_SLIP else list(USUAL_SLIP)
    most = max(_usual_slip(view, form, "high") for form in forms)
    most += view.setting_value("prop_check.slip_beyond_usual", "%")
    fastest = view.setting_value("prop_check.highest_theory", "kn")
    return Limit(SLIP_NUMBER, 0.0, most), Limit("theoretical speed", high=fastest)


def is_explained_by_cup(view: JobView, found: Slip, units: Sequence[tuple[str, float]]) -> bool:
    """Whether a cup makes a slip usual that the stamp alone makes too little, and no other unit of speed does.

    units : as of `units_that_fit`
    """
    fitted, form = found.engine.propeller, view.vessel.hull_form
    added = CUP_ACTS_AS.get(fitted.cup, 0.0) if fitted else 0.0
    if units or not added or form not in USUAL_SLIP or found.measured.high < 0:
        return False
    low, high = (_usual_slip(view, form, end) for end in ("low", "high"))
    return found.by_stamp.value < low <= found.at(found.speed.value, pitch=pitch_of(found.engine) + added) <= high


def is_too_little(view: JobView, found: Slip) -> bool:
    """Whether a slip is so little that a reading is to be doubted before anything is built on it.

    The value decides, so that it makes no difference whether it comes out a little below zero or a little above. A
    shop that knows hulls with less slip than this says so in what it calls usual.
    """
    return found.by_stamp.value < least_believable(view)


def least_believable(view: JobView) -> float:
    """Slip below which it is too little to believe [%]."""
    form = view.vessel.hull_form
    return min(LEAST_SLIP, _usual_slip(view, form, "low")) if form in USUAL_SLIP else LEAST_SLIP


def is_more_than_usual(view: JobView, found: Slip) -> bool:
    """Whether a propeller slips more than is usual for the hull; not where that is not known."""
    form = view.vessel.hull_form
    return form in USUAL_SLIP and _ends(found)[0] > _usual_slip(view, form, "high")


def _ends(found: Slip) -> tuple[float, float]:
    """The interval of a slip by the stamp, and as a reader works it out: 20.7 ± 0.7 is not clearly beyond 20 [%]."""
    low, high = found.by_stamp.low, found.by_stamp.high
    return min(low, float(rounded(low, 1))), max(high, float(rounded(high, 1)))


def unlike_slips(view: JobView, found: Sequence[Slip]) -> Iterator[Finding]:
    """Twins make one speed: at equal engine speed their slips differ only where a pitch or a gear ratio does."""
    if len(found) < 2:
        return
    most, least = (end(found, key=lambda one: one.measured.value) for end in (max, min))
    apart = _difference(most.measured, least.measured)
    allowed = view.setting_value("prop_check.engine_difference", "rev/min")
    is_equal = abs(most.engine_speed.value - least.engine_speed.value) <= allowed
    if not is_equal or apart.low <= 0:
        return
    told = " and ".join(f"{rounded(one.measured.value, 1)} % {one.engine.position}" for one in (most, least))
    stamps = " and ".join(
        f"{inches_told(view, pitch_of(one.engine), one.engine)} {one.engine.position}" for one in (most, least)
    )
    text = f"slip is {told} at equal engine speed, so a stamp or a gear ratio is misread"
    yield Finding(
        code="prop_check.slip.unlike",
        verdict=Verdict.FAIL,
        about="slip of the engines",
        sentence=(
            f"S{text[1:]}. Read the pitch on both propellers ({stamps}) and both gear ratios again, before you change "
            "a propeller."
        ),
        basis=(SLIP, basis_of("pitch_tolerance"), engine_difference_basis(allowed)),
        numbers=(Number.of("difference of the slips", apart),),
        places=tuple(dict.fromkeys(place for one in (most, least) for place in one.places(view))),
        doubts=tuple(doubt for one in (most, least) for doubt in _doubt(text, _stamp(view, one))),
    )


def _difference(one: MeasuredValue, other: MeasuredValue) -> MeasuredValue:
    """What both share, such as the boat's speed, counts with both signs."""
    parts: Iterable[Part] = (*one.parts, *(part.times(-1) for part in other.parts))
    return MeasuredValue.of_parts(one.value - other.value, one.unit, parts)


@frozen
class Judged:
    """What is said of one slip.

    limits        : what it is held against
    used          : what else it rests on
    is_suspicious : whether one slip of the pen may explain it
    cannot_be     : whether no boat has it, or hardly
    """

    code: str
    verdict: Verdict
    sentence: str
    limits: tuple[Limit, ...]
    used: tuple[Basis, ...] = ()
    is_suspicious: bool = False
    cannot_be: bool = False


_CHECK = "Check the gear ratio, the stamped pitch and diameter, and the unit of speed"


def _engine_slip(
    view: JobView, engine: Engine, runs: Sequence[Run], speed: Average, units: Sequence[tuple[str, float]]
) -> Finding:
    found = slip_of(view, engine, view.once(average_engine_speed, runs, engine.position), speed)
    judged = _judged(view, found, units)
    suspects = list(_suspects(view, found, units)) if judged.is_suspicious else []
    odd = _asked_about(engine) if judged.verdict is not Verdict.PASS else ()
    would_fit = (f"Slip would be usual {suspect.text}{suspect.also}." for suspect in suspects)
    words = [f"{named_first(odd)}{judged.sentence}", *would_fit]
    return Finding(
        code=judged.code,
        verdict=Verdict.ADVISE if odd else judged.verdict,  # first find out whether the fact is right
        about=about(engine),
        of=engine.position,
        sentence=" ".join(words),
        basis=(SLIP, AVERAGING, basis_of(tolerance_setting(found.engine)), *judged.used),
        numbers=found.numbers,
        limits=judged.limits,
        places=found.places(view),
        doubts=odd or tuple(_doubts(view, found, suspects, judged.cannot_be)),
    )


def _asked_about(engine: Engine) -> tuple[Doubt, ...]:
    """What a slip is reckoned by and is asked about itself."""
    at, pitch = engine.position, pitch_place(engine)
    return (
        *asked_about(engine, f"{at} engine", "engines.gear_ratio", of=at),
        *asked_about(engine.propeller, f"{at} propeller", pitch[1], of=pitch[3]),
    )


def _judged(view: JobView, found: Slip, units: Sequence[tuple[str, float]]) -> Judged:
    if trim_at_best(view) and is_explained_by_cup(view, found, units):
        return _by_cup(view, found)
    if reading_is_wrong(view, found.measured, found.theory) or is_too_little(view, found):
        return _cannot_be(view, found)
    told, form = f"Slip {found.numbers[1]} {by_pitch([found.engine])}", view.vessel.hull_form
    if form not in USUAL_SLIP:
        sentence = f"{told}. Enter the hull form to compare it with what is usual."
        return Judged("prop_check.slip.no_hull_form", Verdict.ADVISE, sentence, _believable(view))
    if not trim_at_best(view):
        sentence = f"{told}. Trim was not noted as at best, so it is not compared with what is usual."
        return Judged("prop_check.slip.not_at_best_trim", Verdict.ADVISE, sentence, _believable(view))
    return _against_usual(view, found, told, form)


def _by_cup(view: JobView, found: Slip) -> Judged:
    fitted, form = found.engine.propeller, view.vessel.hull_form
    cup = fitted.cup if fitted else ""
    with_cup = found.at(found.speed.value, pitch=pitch_of(found.engine) + CUP_ACTS_AS[cup])
    low, high = (_usual_slip(view, form, end) for end in ("low", "high"))
    sentence = (
        f"Slip {found.numbers[1]} {by_pitch([found.engine])}, less than usual. Its {cup} cup may explain it: that acts "
        f"as up to {inches_told(view, CUP_ACTS_AS[cup], found.engine)} more pitch, with which slip is "
        f"{rounded(with_cup, 1)} %; {in_full(low)} to {in_full(high)} % is usual "
        "for this hull. Read the stamp once more."
    )
    used = (CUP, basis_of(slip_setting(form, "low")))
    limits = (*_believable(view), Limit(BY_STAMP, low, high))
    return Judged("prop_check.slip.cup_explains", Verdict.ADVISE, sentence, limits, used)


def _cannot_be(view: JobView, found: Slip) -> Judged:
    told = f"Slip {found.numbers[1]} {by_pitch([found.engine])}"
    check = f"{_CHECK}, and that runs were made both ways."
    limits: tuple[Limit, ...] = _believable(view)
    if not reading_is_wrong(view, found.measured, found.theory):
        code, verdict = "prop_check.slip.about_zero", Verdict.ADVISE
        least = least_believable(view)
        sentence = f"{told}, too little to believe: less than {in_full(least)} %. {check}"
        limits = (Limit(BY_STAMP, low=least),)
    elif found.measured.value < 0:
        code, verdict = "prop_check.slip.below_zero", Verdict.FAIL
        sentence = f"{told}: a reading is wrong, not a fast boat. {check}"
    else:
        code, verdict = "prop_check.slip.reading_wrong", Verdict.FAIL
        sentence = (
            f"{told}, of {view.told(found.theory.value, 'kn', 0)} in theory: a reading is wrong. Check "
            f"{_read_on(view, found)}"
        )
    too_much = (basis_of("slip_beyond_usual"), basis_of("highest_theory"))
    used = (SO_LITTLE,) if is_too_little(view, found) else too_much
    return Judged(code, verdict, sentence, limits, used, is_suspicious=True, cannot_be=True)


def _against_usual(view: JobView, found: Slip, told: str, form: str) -> Judged:
    low, high = (_usual_slip(view, form, end) for end in ("low", "high"))
    used = (basis_of(slip_setting(form, "low")),)
    limits = (Limit(BY_STAMP, low, high),) if low <= high else ()  # ends that came the wrong way round bound nothing
    usual = f"{in_full(low)} to {in_full(high)} % is usual for this hull"
    at_least, at_most = _ends(found)
    beyond = [end for end in (low, high) if at_least <= end <= at_most]
    if at_most < low:
        code, sentence = "prop_check.slip.less_than_usual", f"{told}, less than usual ({usual}). {_CHECK}."
    elif is_more_than_usual(view, found):
        code = "prop_check.slip.more_than_usual"
        sentence = (
            f"{told}, more than usual ({usual}). {_CHECK}. Then look for ventilation, an engine mounted too high, a "
            "damaged propeller, a fouled bottom or a heavy load."
        )
    else:
        close = f", too close to {in_full(beyond[0])} % to call" if beyond else ""
        return Judged("prop_check.slip.usual", Verdict.PASS, f"{told}{close}; {usual}.", limits, used)
    return Judged(code, Verdict.ADVISE, sentence, limits, used, is_suspicious=True)


def _read_on(view: JobView, found: Slip) -> str:
    """What a slip was worked out from."""
    engine = found.engine
    read = (
        f"gear ratio {in_full(gear_ratio_of(engine))}, pitch {inches_told(view, pitch_of(engine), engine)}, "
        f"{rounded(found.engine_speed.value, 0)} rev/min"
    )
    return f"{read} and {view.told(found.speed.value, 'kn', 1)}."


# What one slip of the pen would explain.


@frozen
class Suspect:
    """One entry that would make the slip usual, were it another.

    text   : as the rest of "slip would be usual ..."
    places : of the readings in doubt for it; none for a fact of the boat
    also   : what may explain it too, less likely
    """

    text: str
    places: tuple[FieldKey, ...] = ()
    also: str = ""


def _suspects(view: JobView, found: Slip, units: Sequence[tuple[str, float]]) -> Iterator[Suspect]:
    form = view.vessel.hull_form
    if form not in USUAL_SLIP:
        return
    low, high = (_usual_slip(view, form, end) for end in ("low", "high"))
    for unit, _ in units:
        yield Suspect(f"had the speed been read in {unit}", _typed_speeds(found.speed))
    for unit, value in () if units else _units_that_make_it_usual(view, found.speed, [found]):
        if source := borne_out.borne_out_by(view, found.speed, value):
            told = f"with another pitch or gear ratio than entered, and {source.told} the speed out"
            also = f"; else every speed was read in {unit}"
            yield Suspect(told, _stamp(view, found), "" if source.is_free else also)
            break
    ratio, fitted = gear_ratio_of(found.engine), found.engine.propeller
    if low <= found.at(found.speed.value, ratio=1 / ratio) <= high:
        yield Suspect(f"with a gear ratio of {rounded(1 / ratio, 2)}, the one entered turned round")
    diameter = fitted.diameter.to("in") if fitted and fitted.diameter else 0.0
    may_be_turned_round = diameter > 0 and pitch_of(found.engine) <= LARGEST_DIAMETER
    if may_be_turned_round and low <= found.at(found.speed.value, pitch=diameter) <= high:
        text = f"with a pitch of {inches_told(view, diameter, found.engine)}, which is entered as the diameter"
        yield Suspect(text, _stamp(view, found))


def units_that_fit(view: JobView, speed: Average, slips: Sequence[Slip]) -> list[tuple[str, float]]:
    """Units the speeds may have been read in, and what the speed would be then [kn].

    What else is known must not speak against it: each engine's slip would be usual, weight and power would explain the
    speed no worse than the one entered, and no other source of speed bears the entered one out.
    """
    fitting = _units_that_make_it_usual(view, speed, slips)
    return [(unit, value) for unit, value in fitting if borne_out.borne_out_by(view, speed, value) is None]


def _units_that_make_it_usual(view: JobView, speed: Average, slips: Sequence[Slip]) -> list[tuple[str, float]]:
    return [
        (unit, value)
        for unit, value in _read_in_another_unit(view, speed)
        if all(_is_usual(view, one.at(value)) for one in slips)
        and not is_less_believable(view, value, than=speed.value)
    ]


def _is_usual(view: JobView, slip_found: float) -> bool:
    form = view.vessel.hull_form
    return form in USUAL_SLIP and _usual_slip(view, form, "low") <= slip_found <= _usual_slip(view, form, "high")


def _read_in_another_unit(view: JobView, speed: Average) -> Iterator[tuple[str, float]]:
    """Units the speeds may have been read in, other than the one typed, and what the speed would be then [kn]."""
    typed = [view.value(step, field, row=row, of=of) for step, field, row, of in _typed_speeds(speed)]
    units = {Amount.parse(str(value)).unit for value in typed}
    if len(typed) == speed.runs and len(units) == 1:
        (unit,) = units
        yield from (
            (other, speed.value * Amount("1", other).to("kn") / Amount("1", unit).to("kn"))
            for other in SPEED_UNITS
            if other != unit
        )


def _typed_speeds(speed: Average) -> tuple[FieldKey, ...]:
    return tuple(place for place in speed.places if place[:2] == (FULL_THROTTLE, "speed"))


def _stamp(view: JobView, found: Slip) -> tuple[FieldKey, ...]:
    if found.engine.fitted:
        return ()  # the stamp that was read is of the propeller the engine came with
    return held(view, [(PROPELLER, "stamp_read", "", found.engine.position)])


def _doubts(view: JobView, found: Slip, suspects: Sequence[Suspect], cannot_be: bool) -> Iterator[Doubt]:
    """The readings in doubt: those that one slip of the pen would explain, else all of a slip that cannot be."""
    for suspect in suspects:
        yield from _doubt(f"slip of the {about(found.engine)} would be usual {suspect.text}", suspect.places)
    if cannot_be and not suspects:
        wrong = "speed, pitch, gear ratio or tachometer is wrong"
        text = f"{wrong}: slip of the {about(found.engine)} is {found.numbers[1]}"
        speeds = () if _is_speed_borne_out(view, found) else _typed_speeds(found.speed) or found.speed.places
        yield from _doubt(text, (*speeds, *_stamp(view, found)))


def _is_speed_borne_out(view: JobView, found: Slip) -> bool:
    """Whether another source of speed, or the usual slip of another engine, bears the speed out."""
    others = [one for one in slips_of(view, view.once(runs_of), found.speed) if one.engine != found.engine]
    if any(_is_usual(view, one.by_stamp.value) for one in others):
        return True
    units = [value for _, value in _read_in_another_unit(view, found.speed)]
    return bool(units) and all(borne_out.borne_out_by(view, found.speed, value) for value in units)


def _doubt(text: str, places: Iterable[FieldKey]) -> Iterator[Doubt]:
    return (Doubt(text, step=step, field=field, row=row, of=of) for step, field, row, of in places)


def _usual_slip(view: JobView, hull_form: str, end: str) -> float:
    return view.setting_value(f"prop_check.{slip_setting(hull_form, end)}", "%")
