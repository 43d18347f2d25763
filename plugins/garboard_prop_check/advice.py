"""Pitch advice: what to try first, or why no advice can be given."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial

import attrs

from garboard.findings import Basis, Finding, Lack, Limit, NotEnoughData, Number, Table, Verdict
from garboard.job_view import JobView
from garboard.records import Engine
from garboard_prop_check.alongside import above_label
from garboard_prop_check.pitch import change_by_proportion, change_by_step_rule, engine_speed_after, whole_inches
from garboard_prop_check.runs import Average, Run, average_engine_speed, average_speed, runs_of
from garboard_prop_check.settings import basis_of, per_inch_basis
from garboard_prop_check.speed import reading_is_wrong, slip_of
from garboard_prop_check.steps import CONDITIONS, FULL_THROTTLE, PROPELLER, TRIM_AT_BEST
from garboard_prop_check.window import WindowPosition, near_limiter, position_in_window
from garboard_prop_check.words import (
    NO_ENGINE,
    PITCH,
    PROPORTION,
    STEP_RULE,
    WINDOW,
    about,
    need_all,
    pitch_of,
    stamped_pitch,
    window_of,
)

BASIS = (STEP_RULE, PROPORTION, WINDOW)
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
    def way(self) -> int:
        """+1 when it needs more pitch, -1 less, 0 when it is in its window or too close to an end to call."""
        position = position_in_window(
            self.engine_speed.value, self.engine_speed.expanded_uncertainty, self.low, self.high
        )
        return {WindowPosition.ABOVE: 1, WindowPosition.BELOW: -1}.get(position, 0)

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
    fitted = [_fitted(engine, runs) for engine in engines]
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
    need(water != "rough", "the water was rough; repeat the runs in calm water", field="water")
    asking.check()


def _question(view: JobView, engine: Engine, runs: Sequence[Run]) -> Callable[[], None]:
    return lambda: need_all(
        lambda: stamped_pitch(view, engine),
        lambda: _sound(view, engine),
        lambda: window_of(engine),
        lambda: average_engine_speed(runs, engine.position),
    )


def _sound(view: JobView, engine: Engine) -> None:
    """Raise NotEnoughData for a propeller known to be damaged: it is repaired or changed first."""
    asking, of = view.asking(), engine.position
    asking.settled(PROPELLER, "blades_sound", of=of)
    sound = view.value(PROPELLER, "blades_sound", of=of) is not False
    text = f"the {of} propeller is damaged; repair or change it, then repeat the runs"
    asking.need(sound, text, lack=Lack.UNSUITABLE, step=PROPELLER, field="blades_sound", of=of)
    asking.check()


def _fitted(engine: Engine, runs: Sequence[Run]) -> Fitted:
    low, high = window_of(engine)
    return Fitted(engine, average_engine_speed(runs, engine.position), pitch_of(engine), low, high)


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
    """Where slip is known and cannot be, a reading is wrong; it may be the pitch itself."""
    for one in fitted:
        try:
            found, theory = slip_of(view, one.engine, one.engine_speed, average_speed(view, runs))
        except NotEnoughData:
            continue
        if reading_is_wrong(view, found, theory):
            comes_out = "below zero" if found.value < 0 else f"at {found}"
            raise NotEnoughData(
                f"slip of the {about(one.engine)} comes out {comes_out}: a reading is wrong, find out which first",
                lack=Lack.CONTRADICTS,
                **ENGINE_SPEEDS,
            )


def _advice(view: JobView, fitted: Sequence[Fitted]) -> Finding:
    out = [one for one in fitted if one.way]
    what = "propellers" if len(fitted) > 1 else "propeller"
    if not out:
        return Finding(
            code="prop_check.pitch.keep",
            verdict=Verdict.PASS,
            about="pitch",
            sentence=f"Keep the {what}: no engine is clearly out of its full-throttle window.",
            basis=(WINDOW,),
        )
    changes = {one.engine.position: _changes(view, one) for one in out}
    table = _table(view, out, changes)
    first = min((c for found in changes.values() for c in (*found.step_rule, found.proportion)), key=abs)
    if abs(first) > view.setting_value("prop_check.largest_pitch_change", "in"):
        return _too_large(view, first, table)
    return _try_first(view, fitted, first, table)


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


def _try_first(view: JobView, fitted: Sequence[Fitted], first: int, table: Table) -> Finding:
    per_inch = _per_inch(view)
    too_little = [one.engine.position for one in fitted if one.pitch + first <= 0]
    if too_little:
        text = f"{_amount_of(first)} leaves no pitch ({', '.join(too_little)}); read the stamp again"
        raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, field=PITCH, of=too_little[0])
    expected = [engine_speed_after(one.engine_speed.value, one.pitch, first, *per_inch) for one in fitted]
    low, high = min(low for low, _ in expected), max(high for _, high in expected)
    pitches = " and ".join(dict.fromkeys(f"{one.pitch + first:g} in" for one in fitted))
    same = ", the same on every engine" if len(fitted) > 1 else ""
    words = [
        f"Try {pitches} first: {_amount_of(first)}{same}, the smallest change the rules give. "
        f"Expect {low:.0f} to {high:.0f} rev/min, then run again.",
        *_warnings(fitted, expected, view.setting_value("prop_check.limiter_margin", "rev/min")),
    ]
    return Finding(
        code="prop_check.pitch.try_first",
        verdict=Verdict.ADVISE,
        about="pitch",
        sentence=" ".join(words),
        basis=(*_basis(view), basis_of("aim_in_window")),
        numbers=(
            Number("change of pitch to try first", first, "in", decimals=0),
            Number("engine speed to expect, lowest", low, "rev/min", decimals=0),
            Number("engine speed to expect, highest", high, "rev/min", decimals=0),
        ),
        limits=(_largest_change(view, "change of pitch to try first"),),
        tables=(table,),
    )


def _warnings(fitted: Sequence[Fitted], expected: Sequence[tuple[float, float]], margin: float) -> Iterable[str]:
    pairs = list(zip(fitted, expected, strict=True))
    over = [about(one.engine) for one, (_, highest) in pairs if highest > one.high]
    under = [about(one.engine) for one, (lowest, _) in pairs if lowest < one.low]
    if over:
        yield f"It may come out above the window ({', '.join(over)}): open the throttle with care."
    if any(one.held_by_limiter(margin) for one in fitted):
        yield "The rev limiter may have held the engine: it may take more pitch than this."
    if under:
        yield f"It may come out below the window ({', '.join(under)})."
