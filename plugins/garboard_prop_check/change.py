"""A change of pitch to try first, and what to expect of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import attrs

from garboard.findings import Basis, Finding, Lack, Limit, NotEnoughData, Number, Table, Verdict, with_uncertainty
from garboard.job_view import JobView, in_unit
from garboard.uncertainty import MeasuredValue
from garboard_prop_check.fitted import Air, Fitted
from garboard_prop_check.pitch import change_by_proportion, change_by_step_rule, parts_of_forecast, whole_inches
from garboard_prop_check.settings import basis_of, per_inch_basis
from garboard_prop_check.words import AIR, LIMITER, PITCH, PROPORTION, WINDOW, about, inches_told, inches_told_in

WORTH_TELLING = 20.0
"""Less of today's air is not told [rev/min]."""


@attrs.frozen
class Changes:
    """What the rules say for one engine, whole inches; above 0 means more pitch."""

    step_rule: tuple[int, int]
    proportion: int


def change_of_pitch(view: JobView, fitted: Sequence[Fitted], there: Air) -> Finding:
    """What to try first for engines of which one at least is out of its window."""
    out = [one for one in fitted if one.way]
    changes = {one.engine.position: _changes(view, one) for one in out}
    table = _table(view, out, changes)
    first = min((c for found in changes.values() for c in (*found.step_rule, found.proportion)), key=abs)
    if abs(first) > view.setting_value("prop_check.largest_pitch_change", "in"):
        return _too_large(view, first, table)
    return _try_first(view, fitted, first, table, there)


def _air_words(fitted: Sequence[Fitted], there: Air) -> Iterator[str]:
    """How much of what an engine is out of its window today's air explains."""
    for one in fitted:
        if one.engine.position in there.engine_speeds:
            explained = (there.engine_speeds[one.engine.position].value - one.engine_speed.value) * -one.way
            if explained >= WORTH_TELLING:
                bound = {1: "at least", -1: "at most"}.get(there.further * -one.way, "about")
                yield (
                    f"Today's air explains {bound} {min(explained, one.beyond):.0f} of the {one.beyond:.0f} rev/min "
                    f"that the {about(one.engine)} is {'above' if one.way > 0 else 'below'} its window."
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
    unit = inches_told_in(view, out[0].engine)
    return Table(
        title="Pitch by the two rules",
        headings=(
            "engine",
            "as run [rev/min]",
            "aim [rev/min]",
            f"pitch fitted [{unit}]",
            f"by rev/min for each inch [{unit}]",
            f"by proportion [{unit}]",
        ),
        rows=tuple(
            (
                one.engine.position,
                f"{one.engine_speed.value:.0f}",
                f"{_aim(view, one):.0f}",
                _size(one.pitch, unit),
                _new_pitches(one.pitch, changes[one.engine.position].step_rule, unit),
                _new_pitches(one.pitch, (changes[one.engine.position].proportion,), unit),
            )
            for one in out
        ),
    )


def _size(inches: float, unit: str) -> str:
    """A size of propellers; makers' steps are of an inch, so other units are told in whole numbers."""
    return f"{inches:g}" if unit == "in" else f"{in_unit(inches, 'in', unit):.0f}"


def _new_pitches(fitted: float, changes: Iterable[int], unit: str) -> str:
    return " to ".join(
        f"{_size(fitted + change, unit)} ({'+' if change >= 0 else '-'}{_size(abs(change), unit)})"
        for change in dict.fromkeys(changes)
    )


def _amount_of(view: JobView, change: int) -> str:
    told = inches_told(view, abs(change), view.vessel.engines[0])
    return f"{told} {'more' if change > 0 else 'less'} pitch"


def _too_large(view: JobView, first: int, table: Table) -> Finding:
    return Finding(
        code="prop_check.pitch.change_too_large",
        verdict=Verdict.FAIL,
        about="pitch",
        sentence=(
            f"Even the smaller rule asks for {_amount_of(view, first)}; the rules do not reach so far. Check engine "
            "power, "
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
        text = f"{_amount_of(view, first)} leaves no pitch ({', '.join(too_little)}); read the stamp again"
        raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, field=PITCH, of=too_little[0])
    pitches = " and ".join(dict.fromkeys(inches_told(view, one.pitch + first, one.engine) for one in fitted))
    same = ", the same on every engine" if len(fitted) > 1 else ""
    margin = view.setting_value("prop_check.limiter_margin", "rev/min")
    is_limited = any(one.held_by_limiter(margin) for one in fitted)
    expected = {} if is_limited else {one.engine.position: _forecast(view, one, first) for one in fitted}
    words = [
        f"Try {pitches} first: {_amount_of(view, first)}{same}, the smallest change the rules give.",
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
    return (*forecast, AIR) if there.is_known else forecast


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
