"""A change of pitch to try first, and what to expect of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import attrs

from garboard.findings import (
    Basis,
    BasisKind,
    Finding,
    Lack,
    Limit,
    NotEnoughData,
    Number,
    Table,
    Verdict,
    with_uncertainty,
)
from garboard.job_view import JobView, in_unit
from garboard.records import Engine
from garboard_prop_check.fitted import Air, Fitted
from garboard_prop_check.forecast import Expected, Forecasts, forecasts_of, limiter_of
from garboard_prop_check.pitch import change_by_step_rule, engine_speed_by_proportion
from garboard_prop_check.settings import basis_of, per_inch_basis
from garboard_prop_check.slip_findings import Slip
from garboard_prop_check.words import AIR, LIMITER, PITCH, PROPORTION, WINDOW, about, inches_told, inches_told_in

WORTH_TELLING = 20.0
"""Less of today's air is not told [rev/min]."""

AS_GOOD = 0.01
"""Chances that differ by no more are alike: then the smaller change is tried first [-]."""

BALANCE = Basis(
    BasisKind.COMMON_PRACTICE,
    "power of engine and propeller in balance",
    "usual values from open-water series, tried on simulated boats, not measured",
)

CHANGE = "change of pitch to try first"
EXPECTED = "engine speed to expect"


def change_of_pitch(view: JobView, fitted: Sequence[Fitted], slips: Sequence[Slip], there: Air) -> Finding:
    """What to try first for engines of which one at least is out of its window, all on the same side."""
    way = next(one.way for one in fitted if one.way)
    forecasts = forecasts_of(view, fitted, slips)
    largest = _largest(view)
    changes = [way * inches for inches in range(1, int(largest) + 1)]
    able = [change for change in changes if all(one.pitch + change > 0 for one in fitted)]
    if not able:
        text = f"{_amount_of(view, way, fitted[0].engine)} leaves no pitch; read the stamp again"
        raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, field=PITCH, of=fitted[0].engine.position)
    out = [one for one in fitted if one.way]
    if any(_is_still_out(forecasts.of(one, able[-1]), one) for one in out):
        return _too_large(view, forecasts, out, able)
    margin = view.setting_value("prop_check.limiter_margin", "rev/min")
    if any(one.held_by_limiter(margin) for one in fitted):
        first = min(able, key=lambda change: max(_beside_aim(view, one, change) for one in fitted))
        return _off_the_limiter(view, fitted, first, there)
    return _try_first(view, forecasts, _first(forecasts, able), able, there)


def _first(forecasts: Forecasts, changes: Sequence[int]) -> int:
    """The change with the best chance for the engine it suits least; of those as good, the smallest."""
    chances = {change: min(one.chance for one in forecasts.after(change)) for change in changes}
    best = max(chances.values())
    return min((change for change, chance in chances.items() if chance >= best - AS_GOOD), key=abs)


def _beside_aim(view: JobView, one: Fitted, change: int) -> float:
    """How far a change is from the one that brings an engine where the shop aims, by the trade's rule [in]."""
    aim = one.low + view.setting_value("prop_check.aim_in_window", "%") / 100 * (one.high - one.low)
    per_inch = view.setting_value("prop_check.per_inch_high", "rev/min")
    return abs(change_by_step_rule(one.engine_speed.value, aim, per_inch) - change)


def _is_still_out(expected: Expected, one: Fitted) -> bool:
    value = expected.engine_speed.value
    return value < one.low if one.way < 0 else value > one.high


def _largest(view: JobView) -> float:
    return view.setting_value("prop_check.largest_pitch_change", "in")


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


def _rules(view: JobView) -> tuple[Basis, ...]:
    return (per_inch_basis(*_per_inch(view)), PROPORTION, WINDOW)


def _table(view: JobView, forecasts: Forecasts, changes: Sequence[int]) -> Table:
    """Every pitch in reach, and beside what is foreseen what the two rules of the trade say."""
    rows = [_row(view, forecasts.of(one, change), one) for one in forecasts.fitted for change in changes]
    return Table(
        title="What another pitch would do",
        headings=(
            "engine",
            f"pitch [{inches_told_in(view, forecasts.fitted[0].engine)}]",
            "engine speed [rev/min]",
            f"boat speed [{view.unit_to_tell('kn')}]",
            "chance to land in the window [%]",
            "by rev/min for each inch [rev/min]",
            "by proportion [rev/min]",
        ),
        rows=tuple(rows),
    )


def _row(view: JobView, expected: Expected, one: Fitted) -> tuple[str, ...]:
    low, high = _per_inch(view)
    unit = inches_told_in(view, one.engine)
    turned, speed, change = expected.engine_speed, expected.speed, expected.change
    is_limited = turned.value > limiter_of(one)
    ends = sorted(
        {turned_by - change * per_inch for per_inch in (low, high) for turned_by in (one.engine_speed.value,)}
    )
    proportion = engine_speed_by_proportion(one.engine_speed.value, one.pitch, one.pitch + change)
    outside = "" if is_limited else " (outside)"
    return (
        one.engine.position,
        f"{_size(one.pitch + change, unit)} ({'+' if change > 0 else '-'}{_size(abs(change), unit)})",
        "reaches the limiter" if is_limited else with_uncertainty(turned.value, turned.expanded_uncertainty, 0),
        view.told(speed.value, "kn", 1, speed.expanded_uncertainty).rpartition(" ")[0]
        if speed and not is_limited
        else "",
        f"{100 * expected.chance:.0f}",
        " to ".join(f"{end:.0f}" for end in ends)
        + ("" if ends[0] <= turned.high and turned.low <= ends[-1] else outside),
        f"{proportion:.0f}" + ("" if turned.low <= proportion <= turned.high else outside),
    )


def _size(inches: float, unit: str) -> str:
    """A size of propellers; makers' steps are of an inch, so other units are told in whole numbers."""
    return f"{round(inches, 2):g}" if unit == "in" else f"{in_unit(inches, 'in', unit):.0f}"


def _amount_of(view: JobView, change: int, engine: Engine) -> str:
    return f"{inches_told(view, abs(change), engine)} {'more' if change > 0 else 'less'} pitch"


def _too_large(view: JobView, forecasts: Forecasts, out: Sequence[Fitted], able: Sequence[int]) -> Finding:
    """No propeller in reach brings every engine into its window: something else is wrong."""
    pairs = [(one, forecasts.of(one, able[-1])) for one in out]
    told = " and ".join(f"the {about(one.engine)} at {found.engine_speed.value:.0f} rev/min" for one, found in pairs)
    name = {one.engine.position: _named(EXPECTED, one.engine.position, len(forecasts.fitted) > 1) for one in out}
    return Finding(
        code="prop_check.pitch.change_too_large",
        verdict=Verdict.FAIL,
        about="pitch",
        sentence=(
            f"Even {_amount_of(view, able[-1], out[0].engine)} would leave {told}, out of its window. Check engine "
            "power, throttle travel, gear ratio, weight, bottom and the stamp on the propeller first."
        ),
        basis=(*_rules(view), BALANCE, basis_of("pitch_tolerance"), basis_of("largest_pitch_change")),
        numbers=tuple(Number.of(name[one.engine.position], found.engine_speed, 0) for one, found in pairs),
        limits=tuple(Limit(name[one.engine.position], one.low, one.high) for one, _ in pairs),
        tables=(_table(view, forecasts, able),),
    )


def _named(what: str, of: str, several: bool) -> str:
    return f"{what}, {of}" if several else what


def _try_first(view: JobView, forecasts: Forecasts, first: int, changes: Sequence[int], there: Air) -> Finding:
    pairs = list(zip(forecasts.fitted, forecasts.after(first), strict=True))
    words = (*_expectation(pairs), *_air_words(forecasts.fitted, there), *_warnings(pairs))
    found = _first_words(view, forecasts.fitted, first, words)
    return attrs.evolve(
        found,
        basis=(*_rules(view), BALANCE, basis_of("pitch_tolerance"), *((AIR,) * there.is_known)),
        numbers=(*found.numbers, *_numbers(pairs)),
        tables=(_table(view, forecasts, changes),),
    )


def _off_the_limiter(view: JobView, fitted: Sequence[Fitted], first: int, there: Air) -> Finding:
    """What to try where the limiter may have held an engine: nothing can be foreseen of it."""
    held = (
        "The rev limiter may have held the engine, so nobody can say how fast it would turn: it may take more "
        "pitch than this. Run again."
    )
    found = _first_words(view, fitted, first, (held, *_air_words(fitted, there)))
    basis = (*_rules(view), basis_of("aim_in_window"), LIMITER, *((AIR,) * there.is_known))
    return attrs.evolve(found, basis=basis)


def _first_words(view: JobView, fitted: Sequence[Fitted], first: int, more: Iterable[str]) -> Finding:
    pitches = " and ".join(dict.fromkeys(inches_told(view, one.pitch + first, one.engine) for one in fitted))
    same = ", the same on every engine" if len(fitted) > 1 else ""
    most = _largest(view)
    return Finding(
        code="prop_check.pitch.try_first",
        verdict=Verdict.ADVISE,
        about="pitch",
        sentence=" ".join((f"Try {pitches} first: {_amount_of(view, first, fitted[0].engine)}{same}.", *more)),
        basis=(WINDOW,),
        numbers=(Number(CHANGE, first, "in", decimals=0),),
        limits=(Limit(CHANGE, -most, most),),
    )


def _numbers(pairs: Sequence[tuple[Fitted, Expected]]) -> Iterator[Number]:
    several = len(pairs) > 1
    for one, found in pairs:
        yield Number.of(_named(EXPECTED, one.engine.position, several), found.engine_speed, 0)
    for one, found in pairs:
        name = _named("chance to land in the window", one.engine.position, several)
        yield Number(name, round(100 * found.chance), "%", decimals=0)
    speed = next((found.speed for _, found in pairs if found.speed), None)
    if speed:
        yield Number.of("boat speed to expect", speed)


def _expectation(pairs: Sequence[tuple[Fitted, Expected]]) -> Iterator[str]:
    several = len(pairs) > 1
    of = {one.engine.position: f" ({one.engine.position})" if several else "" for one, _ in pairs}
    chances = (f"{100 * found.chance:.0f} in 100{of[one.engine.position]}" for one, found in pairs)
    yield f"Chance to land in {'the windows' if several else 'the window'}: {' and '.join(chances)}."
    turned = (
        f"{with_uncertainty(found.engine_speed.value, found.engine_speed.expanded_uncertainty, 0)} rev/min"
        f"{of[one.engine.position]}"
        for one, found in pairs
    )
    yield f"Expect {' and '.join(turned)}, then run again."
    if not all(one.engine.rated_speed for one, _ in pairs):
        yield "The rated speed is not entered: the middle of the window stands for it."


def _warnings(pairs: Sequence[tuple[Fitted, Expected]]) -> Iterator[str]:
    """An overspeed is warned of where it may be; too slow, which harms less at once, only where it is likely."""
    over = [about(one.engine) for one, found in pairs if found.engine_speed.high > one.high]
    under = [
        about(one.engine)
        for one, found in pairs
        if found.engine_speed.value - found.engine_speed.standard_uncertainty < one.low
    ]
    if over:
        yield f"It may come out above the window ({', '.join(over)}): open the throttle with care."
    if under:
        yield f"It may come out below the window ({', '.join(under)})."
