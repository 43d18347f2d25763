"""Pitch advice: what to try first, or why no advice can be given."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial

import attrs

from garboard.findings import (
    Basis,
    Finding,
    Lack,
    Limit,
    NotEnoughData,
    Number,
    Verdict,
    in_full,
    rounded,
    with_uncertainty,
)
from garboard.job_view import FieldKey, JobView
from garboard.records import Engine, Propeller
from garboard.uncertainty import MeasuredValue
from garboard_prop_check.alongside import above_label
from garboard_prop_check.averages import average_engine_speed, held
from garboard_prop_check.candidates import SAME_SIZE
from garboard_prop_check.change import BALANCE, change_of_pitch
from garboard_prop_check.earlier import slips_known, tried_before
from garboard_prop_check.engine_speed import AIR_FIELDS, apart_at_most, is_warm, to_settle
from garboard_prop_check.fitted import Air, Fitted, fitted_of, in_reference_air
from garboard_prop_check.forecast import Before, forecasts_of
from garboard_prop_check.runs import Reading, Run, runs_of
from garboard_prop_check.slip_findings import (
    SO_LITTLE,
    Slip,
    is_explained_by_cup,
    is_more_than_usual,
    is_too_little,
    least_believable,
    reading_is_wrong,
    units_that_fit,
    unlike_slips,
)
from garboard_prop_check.steps import (
    AT_THE_SURFACE,
    CONDITIONS,
    FULL_THROTTLE,
    PROPELLER,
    RUNS_AT,
    TOO_ROUGH,
    TRIM_AT_BEST,
)
from garboard_prop_check.tried import check_sound, of_now
from garboard_prop_check.window import WindowPosition
from garboard_prop_check.words import (
    AIR,
    LIMITER,
    NO_ENGINE,
    PITCH,
    PROPORTION,
    SLIP,
    STEP_RULE,
    WINDOW,
    about,
    engine_speed_words,
    is_above_limiter,
    need_all,
    pitch_place,
    stamped_pitch,
    window_of,
)

BASIS = (STEP_RULE, PROPORTION, WINDOW)
UNLIKE_FROM = 0.04
"""Behind unlike gear ratios, pitch over gear ratio that differs by so much is that of unlike propellers, as a share
[-]: an inch of 23 or less."""

ENGINE_SPEEDS = {"step": FULL_THROTTLE, "field": "engine_speed"}


def pitch_advice(whole: JobView) -> Iterable[Finding]:
    """What pitch to try first. Raises NotEnoughData when the runs cannot carry advice.

    whole : the job with the runs of all propellers; those of the ones now fitted are judged, the others teach
    """
    view = of_now(whole)
    runs = view.once(runs_of)
    engines = view.vessel.engines
    need_all(lambda: _check_conditions(view, runs), *(_question(view, engine, runs) for engine in engines))
    if not engines:
        raise NotEnoughData(NO_ENGINE, lack=Lack.NOT_ENTERED, field="engines")
    fitted = [fitted_of(view, engine, runs) for engine in engines]
    _check_limiter(view, fitted)
    _check_alike(view, fitted)
    slips = slips_known(view, runs)
    _check_slip(view, fitted, slips)
    advised = attrs.evolve(_advice(view, fitted, slips, lambda: tried_before(whole)), places=_places(view, runs, slips))
    if advised.code not in _SAYS_NOT_YET:
        advised = attrs.evolve(advised, code_in_doubt="prop_check.pitch.in_doubt", sentence_in_doubt=_IN_DOUBT)
    return (advised,)


_SAYS_NOT_YET = tuple(
    f"prop_check.pitch.{what}" for what in ("too_close", "at_limiter", "slip_about_zero", "slip_above_usual")
)
_IN_DOUBT = "Do not judge the propeller yet: readings it rests on are in doubt. Find out which are right first."


def _places(view: JobView, runs: Sequence[Run], slips: Sequence[Slip]) -> tuple[FieldKey, ...]:
    """The readings the advice rests on: of every run, since nobody keeps a propeller that lets go in one of them.

    The pitch of each engine, which also says in what unit a change of it is told. The speed too where it gives a slip:
    a slip in doubt may come of a tachometer that reads off as well.
    """
    turns = (run.engine_speed.get(engine.position) for run in runs for engine in view.vessel.engines)
    stamps = (
        (PROPELLER, field, "", engine.position)
        for engine in view.vessel.engines
        for field in ("stamp_read", "blades_sound")
    )
    conditions = ((CONDITIONS, field, "", "") for field in ("trim", "load", "water", *AIR_FIELDS))
    read = [one.place for one in turns if isinstance(one, Reading)]
    speeds = [place for one in slips for place in one.speed.places]
    pitches = [pitch_place(engine) for engine in view.vessel.engines]
    return (*dict.fromkeys([*read, *speeds]), *held(view, [*stamps, *conditions]), *pitches)


def _check_conditions(view: JobView, runs: Sequence[Run]) -> None:
    asking = view.asking()
    trim, load, water = (asking.choice(CONDITIONS, field) for field in ("trim", "load", "water"))
    need = partial(asking.need, lack=Lack.UNSUITABLE, step=CONDITIONS)
    need(trim in ("", TRIM_AT_BEST), "trim was not at best; repeat the runs at best trim", field="trim")
    need(load != "unknown", "load is unknown; note it and repeat the runs", field="load")
    may_be_load = load == "light" and not _is_below_though_light(view, runs)
    need(not may_be_load, "the boat was light; repeat the runs with its usual load", field="load")
    above = "more power is fitted than the capacity label allows; make no full-throttle run before that is put right"
    asking.need(not above_label(view), above, lack=Lack.UNSUITABLE, field="plate_power")
    need(water not in TOO_ROUGH, "the water was rough; repeat the runs in calm water", field="water")
    asking.check()


def _is_below_though_light(view: JobView, runs: Sequence[Run]) -> bool:
    """Whether the boat was light and its engines are below their windows all the same, which air does not explain.

    More load only makes that worse: the pitch is too much, and no run with the usual load is needed to say so.
    """
    if view.value(CONDITIONS, "load") != "light":
        return False
    try:
        fitted = [fitted_of(view, engine, runs) for engine in view.vessel.engines]
    except NotEnoughData:
        return False
    out = [one for one in fitted if one.way]
    there = in_reference_air(view, out)
    return bool(out) and all(one.way < 0 and (not there.is_known or _still_below(one, there)) for one in out)


def _question(view: JobView, engine: Engine, runs: Sequence[Run]) -> Callable[[], None]:
    return lambda: need_all(
        lambda: stamped_pitch(view, engine),
        lambda: check_sound(view, engine),
        lambda: window_of(engine),
        lambda: view.once(average_engine_speed, runs, engine.position),
    )


def _check_limiter(view: JobView, fitted: Sequence[Fitted]) -> None:
    for one in fitted:
        if is_above_limiter(view, one.engine, one.engine_speed):
            text = f"the {about(one.engine)} reads above its rev limiter, so one of the two is wrong; correct it first"
            raise NotEnoughData(text, lack=Lack.CONTRADICTS, **ENGINE_SPEEDS)


def _check_alike(view: JobView, fitted: Sequence[Fitted]) -> None:
    """Engines that do not agree have another fault first; a change of pitch would hide it."""
    if len(fitted) < 2:
        return
    apart = apart_at_most([one.engine_speed for one in fitted])
    allowed = view.setting_value("prop_check.engine_difference", "rev/min")
    if apart.value > allowed:
        is_sure = apart.low > allowed
        raise NotEnoughData(
            f"engines differ by {with_uncertainty(apart.value, apart.expanded_uncertainty, 0)} rev/min, "
            f"{f'more than {rounded(allowed, 0)}' if is_sure else f'too close to {rounded(allowed, 0)} to call'}; "
            f"{'find out why' if is_sure else 'read both engines on one tachometer'} before changing pitch",
            lack=Lack.CONTRADICTS,
            **ENGINE_SPEEDS,
        )
    if {1, -1} <= {one.way for one in fitted}:
        text = "one engine needs more pitch and another less; find out why before changing pitch"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, **ENGINE_SPEEDS)
    least, most = max(fitted, key=lambda one: one.low), min(fitted, key=lambda one: one.high)
    if least.low > most.high and any(one.way for one in fitted):
        text = (
            f"the {about(most.engine)} may turn {rounded(most.high, 0)} rev/min at most and the {about(least.engine)} "
            f"{rounded(least.low, 0)} at least, so no one pitch suits both; look both windows up in the manuals first"
        )
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, field="engines.full_throttle_low", of=least.engine.position)


def _check_like(fitted: Sequence[Fitted]) -> None:
    """One change for several engines supposes that all turn like propellers; a gear ratio may make up for a pitch."""
    first, *others = fitted
    if not all(_turn_alike(first, other) for other in others):
        told = [_in_short(one) for one in fitted]
        apart = [{each[at] for each in told if each[at]} for at in range(len(told[0]))]  # the pitch is always said
        said = [
            ", ".join(word for at, word in enumerate(each) if word and (not at or len(apart[at]) > 1)) for each in told
        ]
        unlike = " and ".join(f"{words} {one.engine.position}" for words, one in zip(said, fitted, strict=True))
        text = f"the engines carry unlike propellers ({unlike}); put like ones on and run again before changing pitch"
        raise NotEnoughData(text, lack=Lack.UNSUITABLE, field=PITCH, of=fitted[0].engine.position)


def _turn_alike(one: Fitted, other: Fitted) -> bool:
    """Whether two engines carry propellers of one size and kind, as far as both are known."""
    ratios = [each.engine.gear_ratio.to("") if each.engine.gear_ratio else 0.0 for each in (one, other)]
    if all(ratios) and ratios[0] != ratios[1]:
        ways = [each.pitch / ratio for each, ratio in zip((one, other), ratios, strict=True)]
        return max(ways) <= (1 + UNLIKE_FROM) * min(ways)
    ours, theirs = one.engine.propeller or Propeller(), other.engine.propeller or Propeller()
    sizes = [(one.stamp, other.stamp)]
    if ours.diameter and theirs.diameter:
        sizes.append((ours.diameter.to("in"), theirs.diameter.to("in")))
    if any(abs(size - its) > SAME_SIZE for size, its in sizes):
        return False
    kinds = ((ours.blades, theirs.blades), (ours.cup, theirs.cup))
    return all(not kind or not its or kind == its for kind, its in kinds)


def _in_short(one: Fitted) -> tuple[str, ...]:
    """Pitch, diameter, blades and cup in words, "" where nobody said."""
    fitted = one.engine.propeller or Propeller()
    blades = f"{fitted.blades} blades" if fitted.blades else ""
    diameter = f"diameter {fitted.diameter}" if fitted.diameter else ""
    return str(fitted.working_pitch or ""), diameter, blades, fitted.cup and f"cup {fitted.cup}"


def _check_runs_under_water(view: JobView, fitted: Sequence[Fitted]) -> None:
    """Of a propeller that runs half out of the water no balance of power holds."""
    asking = view.asking()
    for one in fitted:
        of = one.engine.position
        asking.settled(PROPELLER, RUNS_AT, of=of)
        text = f"the {of} propeller runs at the surface, so nothing can be foreseen of it; go by its maker's tables"
        place = {"step": PROPELLER, "field": RUNS_AT, "of": of}
        asking.need(view.value(PROPELLER, RUNS_AT, of=of) != AT_THE_SURFACE, text, lack=Lack.UNSUITABLE, **place)
    asking.check()


def _check_slip(view: JobView, fitted: Sequence[Fitted], slips: Sequence[Slip]) -> None:
    """Where slip is known and cannot be, a reading is wrong; it may be the pitch itself. A propeller that does not bite
    lets its engine turn too fast: more pitch would hide why."""
    for one in slips:
        if reading_is_wrong(view, one.measured, one.theory):
            comes_out = "below zero" if one.measured.value < 0 else f"at {one.numbers[1]}"
            raise NotEnoughData(
                f"slip of the {about(one.engine)} comes out {comes_out}: a reading is wrong, find out which first",
                lack=Lack.CONTRADICTS,
                **ENGINE_SPEEDS,
            )
    too_fast = {one.engine.position for one in fitted if one.way > 0}
    for one in slips:
        if one.engine.position in too_fast and is_more_than_usual(view, one):
            text = (
                f"the {about(one.engine)} turns too fast and slips by {one.numbers[1]}, more than usual: find out why "
                "first. Ventilation, an engine mounted too high, a hub that slips or a damaged propeller do that, and "
                "more pitch does not cure them"
            )
            raise NotEnoughData(text, lack=Lack.UNSUITABLE, **ENGINE_SPEEDS)
    if any(True for _ in unlike_slips(view, slips)):
        text = "the engines turn alike and their slips differ: a stamp or a gear ratio is misread, find out which first"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=PROPELLER, field="stamp_read")


_THOUGH_LIGHT = "Below the window although the boat was light: its usual load only makes that worse."


def _advice(
    view: JobView,
    fitted: Sequence[Fitted],
    slips: Sequence[Slip],
    others: Callable[[], Before],
) -> Finding:
    odd = next((one for one in slips if is_too_little(view, one) and not _is_of_cup(view, one, slips)), None)
    if odd:
        return _slip_too_little(view, odd)
    out = [one for one in fitted if one.way]
    if not out:
        kept = _keep(view, fitted, slips)
        laboured = _laden_below(view, fitted, slips) if kept.verdict is Verdict.PASS else []
        return _labours_laden(kept, laboured) if laboured else kept
    there = in_reference_air(view, out)
    if there.is_known and all(one.way < 0 and not _still_below(one, there) for one in out):
        return _air_explains(fitted, there, is_warm(view))
    _check_runs_under_water(view, fitted)
    _check_like(fitted)
    change = change_of_pitch(view, fitted, slips, there, others())
    if view.value(CONDITIONS, "load") != "light":
        return change
    too_much = " The pitch is too much already." if change.verdict is Verdict.ADVISE else ""
    return attrs.evolve(change, sentence=f"{_THOUGH_LIGHT}{too_much} {change.sentence}")


def _keep(view: JobView, fitted: Sequence[Fitted], slips: Sequence[Slip]) -> Finding:
    """No engine is clearly out of its window. One that may be is not in it, and its propeller is not passed; nor is one
    that slips more than usual, for then it may be damaged or not bite."""
    margin = view.setting_value("prop_check.limiter_margin", "rev/min")
    unsure = [one for one in fitted if one.position is not WindowPosition.IN]
    limited = [one for one in fitted if one.held_by_limiter(margin)]
    code, verdict = "prop_check.pitch.keep", Verdict.PASS
    basis: tuple[Basis, ...] = (WINDOW,)
    if unsure:
        code, verdict = "prop_check.pitch.too_close", Verdict.ADVISE
        one = unsure[0]
        told = " and ".join(f"{about(one.engine)} {engine_speed_words(one.engine_speed)}" for one in unsure)
        sentence = (
            f"Do not judge the propeller yet: too close to an end of the full-throttle range to call ({told}). "
            f"{to_settle(view, one.engine_speed, one.low, one.high)}"
        )
    elif limited:
        code, verdict, basis = "prop_check.pitch.at_limiter", Verdict.ADVISE, (WINDOW, LIMITER)
        told = " and ".join(about(one.engine) for one in limited)
        sentence = (
            f"Do not judge the propeller yet: the rev limiter may hold the {told}, so the engine speed shows the "
            "limiter and not the propeller. Find the speed at which the limiter cuts in, then run again."
        )
    elif odd := next((one for one in slips if is_more_than_usual(view, one)), None):
        code, verdict, basis = "prop_check.pitch.slip_above_usual", Verdict.ADVISE, (WINDOW, SLIP)
        sentence = (
            f"Do not judge the propeller yet: the {about(odd.engine)} is inside its full-throttle range but slips by "
            f"{odd.numbers[1]}, more than usual. Find out why first."
        )
    elif len(fitted) > 1:
        sentence = "Keep these propellers. Every engine is inside its full-throttle range."
    else:
        sentence = "Keep this propeller. The engine is inside its full-throttle range."
    return Finding(code=code, verdict=verdict, about="pitch", sentence=sentence, basis=basis)


def _laden_below(view: JobView, fitted: Sequence[Fitted], slips: Sequence[Slip]) -> list[tuple[Fitted, MeasuredValue]]:
    """Engines inside their windows as run that are more likely than not below them with the boat fully laden."""
    try:
        _check_runs_under_water(view, fitted)
        _check_like(fitted)
    except NotEnoughData:
        return []  # nothing can be foreseen
    forecasts = forecasts_of(view, fitted, slips, Before())
    expected = ((one, forecasts.laden_as_fitted(one)) for one in fitted)
    return [(one, found) for one, found in expected if found is not None and found.value < one.low]


def _labours_laden(kept: Finding, laboured: Sequence[tuple[Fitted, MeasuredValue]]) -> Finding:
    one, found = laboured[0]
    told = f"{with_uncertainty(found.value, found.expanded_uncertainty, 0)} rev/min"
    name = f"engine speed to expect fully laden, {one.engine.position}"
    return attrs.evolve(
        kept,
        code="prop_check.pitch.laden_below",
        verdict=Verdict.ADVISE,
        sentence=(
            f"Inside its range as run. Fully laden expect {told} of the {about(one.engine)}, below its range from "
            f"{rounded(one.low, 0)}: run it laden before you keep the propeller, or take less pitch."
        ),
        basis=(*kept.basis, BALANCE),
        numbers=(Number.of(name, found, 0),),
        limits=(Limit(name, one.low, one.high),),
    )


def _slip_too_little(view: JobView, odd: Slip) -> Finding:
    """No boat has so little: a reading is wrong, and it may be the pitch or the engine speed that advice rests on."""
    return Finding(
        code="prop_check.pitch.slip_about_zero",
        verdict=Verdict.ADVISE,
        about="pitch",
        sentence=(
            f"Do not judge the propeller yet: slip of the {about(odd.engine)} comes out at {odd.numbers[1]}, and less "
            f"than {in_full(least_believable(view))} % is too little to believe. Find out which reading is wrong first."
        ),
        basis=(WINDOW, SLIP, SO_LITTLE),
    )


def _is_of_cup(view: JobView, one: Slip, slips: Sequence[Slip]) -> bool:
    return is_explained_by_cup(view, one, units_that_fit(view, one.speed, slips))


def _still_below(one: Fitted, there: Air) -> bool:
    return one.position_at(there.engine_speeds[one.engine.position]) is WindowPosition.BELOW


def _air_explains(fitted: Sequence[Fitted], there: Air, warm: bool) -> Finding:
    speeds = [(one.engine, there.engine_speeds[one.engine.position].value) for one in fitted if one.way]
    bound = {1: " or more", -1: " or less"}.get(there.further, "")
    told = ", ".join(f"{about(engine)} {rounded(value, 0)} rev/min{bound}" for engine, value in speeds)
    return Finding(
        code="prop_check.pitch.air_explains",
        verdict=Verdict.ADVISE,
        about="pitch",
        sentence=(
            f"Today's air may explain the whole shortfall: in reference air expect {told}. Run again "
            f"{'on a cooler day' if warm else 'on lower water'} before you change the propeller. If the boat always "
            "runs in such air, take less pitch."
        ),
        basis=(WINDOW, AIR),
    )
