"""Pitch advice: what to try first, or why no advice can be given."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial

import attrs

from garboard.findings import Basis, Finding, Lack, Limit, NotEnoughData, Number, Table, Verdict, with_uncertainty
from garboard.job_view import JobView
from garboard.records import Engine
from garboard.uncertainty import MeasuredValue
from garboard_prop_check.alongside import above_label
from garboard_prop_check.averages import Average, average_engine_speed, average_speed
from garboard_prop_check.engine_speed import air_today, engine_speed_there, is_warm, to_settle
from garboard_prop_check.pitch import change_by_proportion, change_by_step_rule, parts_of_forecast, whole_inches
from garboard_prop_check.runs import Run, runs_of
from garboard_prop_check.settings import basis_of, per_inch_basis
from garboard_prop_check.slip_findings import is_more_than_usual, reading_is_wrong, slips_of, unlike_slips
from garboard_prop_check.steps import CONDITIONS, FULL_THROTTLE, PROPELLER, TOO_ROUGH, TRIM_AT_BEST
from garboard_prop_check.window import WindowPosition, near_limiter, position_in_window
from garboard_prop_check.words import (
    AIR,
    LIMITER,
    NO_ENGINE,
    PITCH,
    PROPORTION,
    STEP_RULE,
    WINDOW,
    about,
    engine_speed_words,
    need_all,
    pitch_of,
    stamped_pitch,
    window_of,
)

BASIS = (STEP_RULE, PROPORTION, WINDOW)
WORTH_TELLING = 20.0
"""Less of today's air is not told [rev/min]."""
ENGINE_SPEEDS = {"step": FULL_THROTTLE, "field": "engine_speed"}


@attrs.frozen
class Fitted:
    """An engine with the propeller it ran, and where it came out."""

    engine: Engine
    engine_speed: Average
    pitch: float
    low: float
    high: float

    @property
    def position(self) -> WindowPosition:
        """Where it came out against its window."""
        return self.position_at(self.engine_speed.measured)

    def position_at(self, engine_speed: MeasuredValue) -> WindowPosition:
        """Where another engine speed would come out."""
        return position_in_window(engine_speed.value, engine_speed.expanded_uncertainty, self.low, self.high)

    @property
    def way(self) -> int:
        """+1 when it needs more pitch, -1 less, 0 when it is in its window or too close to an end to call."""
        return {WindowPosition.ABOVE: 1, WindowPosition.BELOW: -1}.get(self.position, 0)

    @property
    def beyond(self) -> float:
        """How far out of its window, 0 inside [rev/min]."""
        return max(self.low - self.engine_speed.value, self.engine_speed.value - self.high, 0.0)

    def held_by_limiter(self, margin: float) -> bool:
        """Whether the engine might have turned faster without its limiter."""
        limiter = self.engine.limiter_speed
        return limiter is not None and near_limiter(
            self.engine_speed.value, self.engine_speed.expanded_uncertainty, limiter.to("rev/min"), margin
        )


@attrs.frozen
class Changes:
    """What the rules say for one engine, whole inches; above 0 means more pitch."""

    step_rule: tuple[int, int]
    proportion: int


def pitch_advice(view: JobView) -> Iterable[Finding]:
    """What pitch to try first. Raises NotEnoughData when the runs cannot carry advice."""
    runs = runs_of(view)
    engines = view.vessel.engines
    need_all(lambda: _check_conditions(view), *(_question(view, engine, runs) for engine in engines))
    if not engines:
        raise NotEnoughData(NO_ENGINE, lack=Lack.NOT_ENTERED, field="engines")
    fitted = [_fitted(view, engine, runs) for engine in engines]
    _check_alike(view, fitted)
    _check_slip(view, fitted, runs)
    return (_advice(view, fitted),)


def _check_conditions(view: JobView) -> None:
    asking = view.asking()
    trim, load, water = (asking.choice(CONDITIONS, field) for field in ("trim", "load", "water"))
    need = partial(asking.need, lack=Lack.UNSUITABLE, step=CONDITIONS)
    need(trim in ("", TRIM_AT_BEST), "trim was not at best; repeat the runs at best trim", field="trim")
    need(load != "unknown", "load is unknown; note it and repeat the runs", field="load")
    need(load != "light", "the boat was light; repeat the runs with its usual load", field="load")
    above = "more power is fitted than the capacity label allows; make no full-throttle run before that is put right"
    asking.need(not above_label(view), above, lack=Lack.UNSUITABLE, field="plate_power")
    need(water not in TOO_ROUGH, "the water was rough; repeat the runs in calm water", field="water")
    asking.check()


def _question(view: JobView, engine: Engine, runs: Sequence[Run]) -> Callable[[], None]:
    return lambda: need_all(
        lambda: stamped_pitch(view, engine),
        lambda: _sound(view, engine),
        lambda: window_of(engine),
        lambda: average_engine_speed(view, runs, engine.position),
    )


def _sound(view: JobView, engine: Engine) -> None:
    """Raise NotEnoughData for a propeller known to be damaged: it is repaired or changed first."""
    asking, of = view.asking(), engine.position
    asking.settled(PROPELLER, "blades_sound", of=of)
    sound = view.value(PROPELLER, "blades_sound", of=of) is not False
    text = f"the {of} propeller is damaged; repair or change it, then repeat the runs"
    asking.need(sound, text, lack=Lack.UNSUITABLE, step=PROPELLER, field="blades_sound", of=of)
    asking.check()


def _fitted(view: JobView, engine: Engine, runs: Sequence[Run]) -> Fitted:
    low, high = window_of(engine)
    return Fitted(engine, average_engine_speed(view, runs, engine.position), pitch_of(engine), low, high)


def _check_alike(view: JobView, fitted: Sequence[Fitted]) -> None:
    """Engines that do not agree have another fault first; a change of pitch would hide it."""
    if len(fitted) < 2:
        return
    speeds = [one.engine_speed.value for one in fitted]
    allowed = view.setting_value("prop_check.engine_difference", "rev/min")
    if max(speeds) - min(speeds) > allowed:
        raise NotEnoughData(
            f"engines differ by {max(speeds) - min(speeds):.0f} rev/min, more than {allowed:.0f}; "
            "find out why before changing pitch",
            lack=Lack.CONTRADICTS,
            **ENGINE_SPEEDS,
        )
    if {1, -1} <= {one.way for one in fitted}:
        text = "one engine needs more pitch and another less; find out why before changing pitch"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, **ENGINE_SPEEDS)


def _check_slip(view: JobView, fitted: Sequence[Fitted], runs: Sequence[Run]) -> None:
    """Where slip is known and cannot be, a reading is wrong; it may be the pitch itself. A propeller that does not bite
    lets its engine turn too fast: more pitch would hide why."""
    try:
        slips = slips_of(view, runs, average_speed(view, runs))
    except NotEnoughData:
        return
    for one in slips:
        if reading_is_wrong(view, one.measured, one.theory):
            comes_out = "below zero" if one.measured.value < 0 else f"at {one.numbers[0]}"
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


def _advice(view: JobView, fitted: Sequence[Fitted]) -> Finding:
    out = [one for one in fitted if one.way]
    if not out:
        return _keep(view, fitted)
    there = _in_reference_air(view, out)
    if there and all(one.way < 0 and not _still_below(one, there) for one in out):
        return _air_explains(fitted, there, is_warm(view))
    changes = {one.engine.position: _changes(view, one) for one in out}
    table = _table(view, out, changes)
    first = min((c for found in changes.values() for c in (*found.step_rule, found.proportion)), key=abs)
    if abs(first) > view.setting_value("prop_check.largest_pitch_change", "in"):
        return _too_large(view, first, table)
    return _try_first(view, fitted, first, table, there)


def _keep(view: JobView, fitted: Sequence[Fitted]) -> Finding:
    """No engine is clearly out of its window. One that may be is not in it, and its propeller is not passed."""
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
    elif len(fitted) > 1:
        sentence = "Keep these propellers. Every engine is inside its full-throttle range."
    else:
        sentence = "Keep this propeller. The engine is inside its full-throttle range."
    return Finding(code=code, verdict=verdict, about="pitch", sentence=sentence, basis=basis)


Air = Mapping[str, MeasuredValue]
"""Engine speed of each engine in reference air, by its position [rev/min]; empty where the air is not known."""


def _in_reference_air(view: JobView, out: Sequence[Fitted]) -> Air:
    try:
        factor, _ = air_today(view)
    except NotEnoughData:
        return {}
    return {one.engine.position: engine_speed_there(one.engine_speed, factor) for one in out}


def _still_below(one: Fitted, there: Air) -> bool:
    return one.position_at(there[one.engine.position]) is WindowPosition.BELOW


def _air_explains(fitted: Sequence[Fitted], there: Air, warm: bool) -> Finding:
    told = ", ".join(f"{about(one.engine)} {there[one.engine.position].value:.0f} rev/min" for one in fitted if one.way)
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


def _air_words(fitted: Sequence[Fitted], there: Air) -> Iterator[str]:
    """How much of what an engine is out of its window today's air explains."""
    for one in fitted:
        if one.engine.position in there:
            explained = (there[one.engine.position].value - one.engine_speed.value) * -one.way
            if explained >= WORTH_TELLING:
                yield (
                    f"Today's air explains about {min(explained, one.beyond):.0f} of the {one.beyond:.0f} rev/min that "
                    f"the {about(one.engine)} is {'above' if one.way > 0 else 'below'} its window."
                )


def _per_inch(view: JobView) -> tuple[float, float]:
    """Engine speed lost for an inch more pitch, at least and at most [rev/min]."""
    low, high = (view.setting_value(f"prop_check.per_inch_{end}", "rev/min") for end in ("low", "high"))
    return low, high


def _basis(view: JobView) -> tuple[Basis, ...]:
    return (per_inch_basis(*_per_inch(view)), PROPORTION, WINDOW)


def _changes(view: JobView, one: Fitted) -> Changes:
    aim = _aim(view, one)
    steps = [whole_inches(change_by_step_rule(one.engine_speed.value, aim, per_inch)) for per_inch in _per_inch(view)]
    return Changes((min(steps), max(steps)), whole_inches(change_by_proportion(one.engine_speed.value, aim, one.pitch)))


def _aim(view: JobView, one: Fitted) -> float:
    return one.low + view.setting_value("prop_check.aim_in_window", "%") / 100 * (one.high - one.low)


def _table(view: JobView, out: Sequence[Fitted], changes: dict[str, Changes]) -> Table:
    return Table(
        title="Pitch by the two rules",
        headings=(
            "engine",
            "as run [rev/min]",
            "aim [rev/min]",
            "pitch fitted [in]",
            "by rev/min for each inch [in]",
            "by proportion [in]",
        ),
        rows=tuple(
            (
                one.engine.position,
                f"{one.engine_speed.value:.0f}",
                f"{_aim(view, one):.0f}",
                f"{one.pitch:g}",
                _new_pitches(one.pitch, changes[one.engine.position].step_rule),
                _new_pitches(one.pitch, (changes[one.engine.position].proportion,)),
            )
            for one in out
        ),
    )


def _new_pitches(fitted: float, changes: Iterable[int]) -> str:
    return " to ".join(f"{fitted + change:g} ({change:+d})" for change in dict.fromkeys(changes))


def _amount_of(change: int) -> str:
    return f"{abs(change)} in {'more' if change > 0 else 'less'} pitch"


def _too_large(view: JobView, first: int, table: Table) -> Finding:
    return Finding(
        code="prop_check.pitch.change_too_large",
        verdict=Verdict.FAIL,
        about="pitch",
        sentence=(
            f"Even the smaller rule asks for {_amount_of(first)}; the rules do not reach so far. Check engine power, "
            "throttle travel, gear ratio, weight, bottom and the stamp on the propeller first."
        ),
        basis=(*_basis(view), basis_of("largest_pitch_change")),
        numbers=(Number("smallest change of pitch the rules give", first, "in", decimals=0),),
        limits=(_largest_change(view, "smallest change of pitch the rules give"),),
        tables=(table,),
    )


def _largest_change(view: JobView, number: str) -> Limit:
    """How far the rules reach, either way."""
    most = view.setting_value("prop_check.largest_pitch_change", "in")
    return Limit(number, -most, most)


def _try_first(view: JobView, fitted: Sequence[Fitted], first: int, table: Table, there: Air) -> Finding:
    too_little = [one.engine.position for one in fitted if one.pitch + first <= 0]
    if too_little:
        text = f"{_amount_of(first)} leaves no pitch ({', '.join(too_little)}); read the stamp again"
        raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, field=PITCH, of=too_little[0])
    pitches = " and ".join(dict.fromkeys(f"{one.pitch + first:g} in" for one in fitted))
    same = ", the same on every engine" if len(fitted) > 1 else ""
    margin = view.setting_value("prop_check.limiter_margin", "rev/min")
    is_limited = any(one.held_by_limiter(margin) for one in fitted)
    expected = {} if is_limited else {one.engine.position: _forecast(view, one, first) for one in fitted}
    words = [
        f"Try {pitches} first: {_amount_of(first)}{same}, the smallest change the rules give.",
        *_expectation(fitted, expected),
        *_air_words(fitted, there),
        *_warnings(fitted, expected),
    ]
    return Finding(
        code="prop_check.pitch.try_first",
        verdict=Verdict.ADVISE,
        about="pitch",
        sentence=" ".join(words),
        basis=(*_basis(view), basis_of("aim_in_window"), *_basis_of_rest(expected, there)),
        numbers=(
            Number("change of pitch to try first", first, "in", decimals=0),
            *(Number.of(_named("engine speed to expect", of, fitted), one, 0) for of, one in expected.items()),
        ),
        limits=(_largest_change(view, "change of pitch to try first"),),
        tables=(table,),
    )


def _basis_of_rest(expected: Mapping[str, MeasuredValue], there: Air) -> tuple[Basis, ...]:
    forecast = (basis_of("per_inch_deviation"), basis_of("forecast_deviation")) if expected else (LIMITER,)
    return (*forecast, AIR) if there else forecast


def _forecast(view: JobView, one: Fitted, change: int) -> MeasuredValue:
    """Engine speed to expect after a change of pitch [rev/min]."""
    per_inch = _per_inch(view)[1]  # on simulated boats the upper end of the rule comes nearest
    deviations = (view.setting_value(f"prop_check.{name}_deviation", "rev/min") for name in ("per_inch", "forecast"))
    parts = parts_of_forecast(change, *deviations)
    value = one.engine_speed.value - change * per_inch
    return MeasuredValue.of_parts(value, "rev/min", (*one.engine_speed.measured.parts, *parts))


def _named(what: str, of: str, fitted: Sequence[Fitted]) -> str:
    return f"{what}, {of}" if len(fitted) > 1 else what


def _expectation(fitted: Sequence[Fitted], expected: Mapping[str, MeasuredValue]) -> Iterator[str]:
    if not expected:
        yield (
            "The rev limiter may have held the engine, so nobody can say how fast it would turn: it may take more "
            "pitch than this. Run again."
        )
        return
    several = len(fitted) > 1
    told = (
        f"{with_uncertainty(one.value, one.expanded_uncertainty, 0)} rev/min{f' ({of})' if several else ''}"
        for of, one in expected.items()
    )
    yield f"Expect {' and '.join(told)}, then run again."


def _warnings(fitted: Sequence[Fitted], expected: Mapping[str, MeasuredValue]) -> Iterator[str]:
    """An overspeed is warned of where it may be; too slow, which harms less at once, only where it is likely."""
    pairs = [(one, expected[one.engine.position]) for one in fitted if one.engine.position in expected]
    over = [about(one.engine) for one, found in pairs if found.high > one.high]
    under = [about(one.engine) for one, found in pairs if found.value - found.standard_uncertainty < one.low]
    if over:
        yield f"It may come out above the window ({', '.join(over)}): open the throttle with care."
    if under:
        yield f"It may come out below the window ({', '.join(under)})."
