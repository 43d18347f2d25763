"""A change of pitch to try first, and what to expect of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

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
    plain_text,
    rounded,
    rounded_beside,
    with_uncertainty,
)
from garboard.fittings import CAME_WITH, Fitting
from garboard.job_view import JobView
from garboard.records import Engine, ExpectedOf, Forecast, Propeller
from garboard.uncertainty import MeasuredValue
from garboard.units import Amount
from garboard_prop_check.aboard import aboard, with_load
from garboard_prop_check.candidates import Option, Source, at_hand, inches, may_be_the_same
from garboard_prop_check.comparison import by_rules, called, figure_of, largest_change, per_inch, table_of
from garboard_prop_check.fitted import Air, Fitted
from garboard_prop_check.forecast import (
    Before,
    Expected,
    Forecasts,
    forecasts_of,
    in_100,
    limiter_of,
    rated_speed_lacks,
)
from garboard_prop_check.pitch import change_by_step_rule
from garboard_prop_check.power_balance import FOLLOWS_PITCH, diameter_following
from garboard_prop_check.settings import basis_of, per_inch_basis
from garboard_prop_check.shelf import Kept
from garboard_prop_check.slip_findings import Slip
from garboard_prop_check.words import (
    AIR,
    LIMITER,
    PITCH,
    PROPORTION,
    WINDOW,
    about,
    inches_told,
    inches_told_in,
)

WORTH_TELLING = 20.0
"""Less of today's air is not told [rev/min]."""

AS_GOOD = 0.01
"""Chances that differ by no more are alike: then the smaller change is tried first [-]."""

BALANCE = Basis(
    BasisKind.COMMON_PRACTICE,
    "power of engine and propeller in balance",
    "usual values from open-water series, tried on simulated boats, not measured",
)

MADE_BY = "prop_check, balance of power 2"
"""Which way of foreseeing a forecast was made by; another number with each change of what comes out."""

CHANGE = "change of pitch to try first"
EXPECTED = "engine speed to expect"


EVEN_CHANCE = 0.5
"""A propeller at hand with less is not tried before one that has to be found [-]."""

MOST_AT_HAND = 12
"""So many propellers at hand are told side by side; a shop may keep thousands."""

CLEARLY_BETTER = 0.1
"""By so much a chance is told beside another [-]."""

USUAL_BLADES = 3
LONGEST_TOLD = 560
"""A longer text is not made, since the host cuts one of 600 letters and adds doubts to it."""

WORTH_MEASURING = 0.9
"""Measuring both pitches is spoken of where it narrows the interval to so much of its width or less [-]."""


def change_of_pitch(
    view: JobView,
    fitted: Sequence[Fitted],
    slips: Sequence[Slip],
    there: Air,
    before: Before,
) -> Finding:
    """What to try first for engines of which one at least is out of its window, all on the same side."""
    if before.suited:
        return _put_back(view, fitted, *before.suited[0])
    way = next(one.way for one in fitted if one.way)
    forecasts = forecasts_of(view, fitted, slips, before)
    largest = largest_change(view)
    able = inches(way, largest, fitted)
    if not able:
        text = f"{_amount_of(view, way, fitted[0].engine)} leaves no pitch; read the stamp again"
        raise NotEnoughData(text, lack=Lack.OUT_OF_RANGE, field=PITCH, of=fitted[0].engine.position)
    out = [one for one in fitted if one.way]
    if any(_is_still_out(forecasts.of(one, able[-1]), one) for one in out):
        return _too_large(view, forecasts, out, able)
    margin = view.setting_value("prop_check.limiter_margin", "rev/min")
    if any(one.held_by_limiter(margin) for one in fitted):
        first = min(able, key=lambda option: max(_beside_aim(view, one, option.change_of(one)) for one in fitted))
        return _off_the_limiter(view, fitted, first, there)
    kept = _likeliest(forecasts, at_hand(view, fitted, way, largest, before.names))
    new = [option for option in able if not _was_run(forecasts, option)]
    first = _first(forecasts, new or able, [option for option in kept if not _was_run(forecasts, option)])
    if _was_run(forecasts, first) or _is_between(forecasts, first, able):
        return _between(view, forecasts, able)
    return _try_first(view, forecasts, first, (*able, *kept), there)


def _put_back(
    view: JobView, fitted: Sequence[Fitted], fitting: Fitting, turned: Mapping[str, MeasuredValue]
) -> Finding:
    """What was run and suited needs no forecast."""
    name = " and ".join(dict.fromkeys(one or CAME_WITH for one in fitting))
    several = len(fitted) > 1
    told = " and ".join(
        f"{with_uncertainty(found.value, found.expanded_uncertainty, 0)} rev/min{f' ({of})' if several else ''}"
        for of, found in turned.items()
    )
    numbers = {of: _named("engine speed it turned", of, several) for of in turned}
    return Finding(
        code="prop_check.pitch.put_back",
        verdict=Verdict.ADVISE,
        about="pitch",
        sentence=f"Put {name} back on: it turned {told}, inside the {'windows' if several else 'window'}.",
        basis=(WINDOW,),
        numbers=tuple(Number.of(numbers[of], found, 0) for of, found in turned.items()),
        limits=tuple(
            Limit(numbers[one.engine.position], one.low, one.high) for one in fitted if one.engine.position in turned
        ),
    )


def _first(forecasts: Forecasts, able: Sequence[Option], kept: Sequence[Option]) -> Option:
    """The propeller with the best chance for the engine it suits least; of those as good, the smallest change.

    Of those at hand where one has an even chance, else of all pitches there are.
    """
    likely = [option for option in kept if _chance(forecasts, option) >= EVEN_CHANCE]
    chances = [(option, _chance(forecasts, option)) for option in likely or able]
    best = max(one for _, one in chances)
    return min(
        (option for option, one in chances if one >= best - AS_GOOD),
        key=lambda option: abs(option.change_of(forecasts.fitted[0])),
    )


def _likeliest(forecasts: Forecasts, options: Sequence[Option]) -> list[Option]:
    """Those at hand that can be foreseen; of a large shelf the ones with the best chances, as they stand there."""
    pairs = ((option, forecasts.after(option)) for option in options)
    chances = {option: min(one.worst_chance for one in found) for option, found in pairs if found}
    best = sorted(chances, key=lambda option: (option.source is not Source.BOAT, -chances[option]))
    shown = frozenset(best[:MOST_AT_HAND])
    return [option for option in chances if option in shown]


def _chance(forecasts: Forecasts, option: Option) -> float:
    """Of the engine it suits least, and of the load it suits less [-]."""
    return min(one.worst_chance for one in forecasts.after(option))


def _better_to_find(view: JobView, forecasts: Forecasts, first: Option, options: Sequence[Option]) -> Iterator[str]:
    """What a pitch that nobody has would be good for, where one at hand is clearly less so."""
    if not first.is_at_hand:
        return
    best = max((option for option in options if not option.is_at_hand), key=lambda one: _chance(forecasts, one))
    chance = _chance(forecasts, best)
    one = forecasts.fitted[0]
    if best.pitch(one) != first.pitch(one) and chance >= _chance(forecasts, first) + CLEARLY_BETTER:
        told = inches_told(view, best.pitch(one), one.engine)
        yield f"{told} would have a chance of {in_100(chance)} in 100, and has to be found."


def _beside_aim(view: JobView, one: Fitted, change: float) -> float:
    """How far a change is from the one that brings an engine where the shop aims, by the trade's rule [in]."""
    aim = one.low + view.setting_value("prop_check.aim_in_window", "%") / 100 * (one.high - one.low)
    per_inch = view.setting_value("prop_check.per_inch_high", "rev/min")
    return abs(change_by_step_rule(one.engine_speed.value, aim, per_inch) - change)


def _is_still_out(expected: Expected | None, one: Fitted) -> bool:
    if expected is None:
        return False
    value = expected.engine_speed.value
    return value < one.low if one.way < 0 else value > one.high


def _air_words(fitted: Sequence[Fitted], there: Air) -> Iterator[str]:
    """How much of what an engine is out of its window today's air explains; of engines alike once."""
    said = dict[str, list[str]]()
    for one in fitted:
        if one.engine.position in there.engine_speeds:
            explained = (there.engine_speeds[one.engine.position].value - one.engine_speed.value) * -one.way
            if explained >= WORTH_TELLING:
                bound = {1: "at least", -1: "at most"}.get(there.further * -one.way, "about")
                words = (
                    f"Today's air explains {bound} {rounded_beside(min(explained, one.beyond), [one.beyond])} of the "
                    f"{rounded(one.beyond)} rev/min"
                )
                is_out = f"{'above' if one.way > 0 else 'below'} its window"
                said.setdefault(f"{words} that {{}} is {is_out}.", []).append(about(one.engine))
    for words, engines in said.items():
        yield words.format("each engine" if len(engines) > 1 else f"the {engines[0]}")


def _rules(view: JobView) -> tuple[Basis, ...]:
    return (per_inch_basis(*per_inch(view)), PROPORTION, WINDOW)


def _amount_of(view: JobView, change: float, engine: Engine) -> str:
    if not change:
        return "the same pitch"
    return f"{inches_told(view, abs(change), engine)} {'more' if change > 0 else 'less'} pitch"


def _too_large(view: JobView, forecasts: Forecasts, out: Sequence[Fitted], able: Sequence[Option]) -> Finding:
    """No propeller in reach brings every engine into its window: something else is wrong."""
    found = [(one, forecasts.of(one, able[-1])) for one in out]
    pairs = [(one, expected) for one, expected in found if expected is not None]
    told = " and ".join(
        f"the {about(one.engine)} at {rounded(found.engine_speed.value)} rev/min" for one, found in pairs
    )
    most = _amount_of(view, able[-1].change_of(out[0]), out[0].engine)
    name = {one.engine.position: _named(EXPECTED, one.engine.position, len(forecasts.fitted) > 1) for one in out}
    return Finding(
        code="prop_check.pitch.change_too_large",
        verdict=Verdict.FAIL,
        about="pitch",
        sentence=(
            f"Even {most} would leave {told}, out of its window. "
            "Check engine power, throttle travel, gear ratio, weight, bottom and the stamp on the propeller first."
        ),
        basis=(*_rules(view), BALANCE, basis_of("pitch_tolerance"), basis_of("largest_pitch_change")),
        numbers=tuple(Number.of(name[one.engine.position], found.engine_speed, 0) for one, found in pairs),
        limits=tuple(Limit(name[one.engine.position], one.low, one.high) for one, _ in pairs),
        tables=(table_of(view, forecasts, able),),
    )


def _named(what: str, of: str, several: bool) -> str:
    return f"{what}, {of}" if several else what


def _try_first(view: JobView, forecasts: Forecasts, first: Option, options: Sequence[Option], there: Air) -> Finding:
    pairs = list(zip(forecasts.fitted, forecasts.after(first), strict=True))
    words = (  # the caution first: a text has its length, and what is beyond it stands in a table
        *_expectation(pairs),
        *_warnings(pairs),
        *_better_to_find(view, forecasts, first, options),
        *_boat_speed(view, forecasts, pairs),
        *_diameter(view, forecasts, first),
        *_air_words(forecasts.fitted, there),
        *_against_rules(view, pairs),
        *_measuring(view, forecasts, first, pairs),
    )
    found = _first_words(view, forecasts.fitted, first, ())
    sentence, more = _as_far_as_fits(found.sentence, words)
    return attrs.evolve(
        found,
        sentence=sentence,
        basis=(*_rules(view), BALANCE, basis_of("pitch_tolerance"), *((AIR,) * there.is_known)),
        numbers=(*found.numbers, *_numbers(pairs)),
        tables=(table_of(view, forecasts, options), *more),
        figures=tuple(figure_of(view, forecasts, one) for one in forecasts.fitted),
        forecasts=tuple(_to_keep(view, forecasts, each) for each in _best_first(forecasts, first, options)),
    )


def _best_first(forecasts: Forecasts, first: Option, options: Sequence[Option]) -> list[Option]:
    """What is advised, then the others by their chance.

    None that reaches the limiter, for that has no interval; none of a pitch that was run: that is known, not foreseen.
    """
    others = sorted((one for one in options if one != first), key=lambda one: -_chance(forecasts, one))
    new = (one for one in (first, *others) if not _was_run(forecasts, one))
    return [one for one in new if not _reaches_limiter(forecasts, one)]


def _was_run(forecasts: Forecasts, option: Option) -> bool:
    """Whether every engine ran such a propeller before: what that turned is known, and nothing to foresee."""
    return all(_known_of(forecasts, one, option) is not None for one in forecasts.fitted)


def _known_of(forecasts: Forecasts, one: Fitted, option: Option) -> float | None:
    """What an engine turned with such a propeller [rev/min]; None where none was run that showed it."""
    fitted = one.engine.propeller or Propeller()
    alike = Kept(diameter=0.0, pitch=option.pitch(one), blades=fitted.blades, cup=fitted.cup or "none")
    like = option.kept or alike
    before = [*forecasts.known.get(one.engine.position, ()), (fitted, one.engine_speed.value)]
    return next((turned for propeller, turned in before if may_be_the_same(like, propeller)), None)


def _is_between(forecasts: Forecasts, first: Option, able: Sequence[Option]) -> bool:
    """Whether one that was run, and did not suit, is likelier to land than all that are left to try."""
    run = [option for option in able if _was_run(forecasts, option)]
    return any(_chance(forecasts, option) > max(_chance(forecasts, first), EVEN_CHANCE) for option in run)


def _between(view: JobView, forecasts: Forecasts, able: Sequence[Option]) -> Finding:
    """No whole inch is left between a propeller that labours and one that turns too fast."""
    one = forecasts.fitted[0]
    unit = inches_told_in(view, one.engine)
    run = [(option, _known_of(forecasts, one, option)) for option in able if _was_run(forecasts, option)]
    told = [f"{called(option, one, unit)} {unit} {rounded(turned)}" for option, turned in run if turned is not None]
    names = " and ".join(told)
    return Finding(
        code="prop_check.pitch.between",
        verdict=Verdict.ADVISE,
        about="pitch",
        sentence=(
            f"No whole inch is left that is likely to suit: with {names} rev/min was run, with the one now fitted "
            f"{rounded(one.engine_speed.value)}. Repeat both runs with one load. If they hold, have a propeller shop "
            "change cup or pitch by half an inch."
        ),
        basis=(*_rules(view), BALANCE),
        tables=(table_of(view, forecasts, able),),
    )


def _reaches_limiter(forecasts: Forecasts, option: Option) -> bool:
    pairs = zip(forecasts.fitted, forecasts.after(option), strict=True)
    return any(found.engine_speed.value > limiter_of(one) for one, found in pairs)


def _to_keep(view: JobView, forecasts: Forecasts, option: Option) -> Forecast:
    """A forecast as it is kept once somebody says that this propeller is tried next."""
    one = forecasts.fitted[0]
    unit = inches_told_in(view, one.engine)
    name = option.kept.name if option.kept and option.source is Source.BOAT else called(option, one, unit)
    pairs = zip(forecasts.fitted, forecasts.after(option), strict=True)
    forecast = Forecast(
        propeller=name,
        pitch=_in_inches(option.pitch(one)),
        **_supposed(forecasts, option),
        expected=tuple(_kept_of(each, found) for each, found in pairs),
        made_by=MADE_BY,
    )
    return with_load(forecast, aboard(view))


def _supposed(forecasts: Forecasts, option: Option) -> dict[str, Any]:
    """What else a forecast supposes of its propeller: one at hand is as it is written; one that has to be found is
    like the one fitted, and its maker takes nothing to 1/4 in off the diameter for each inch of pitch."""
    one = forecasts.fitted[0]
    if option.kept:
        diameter = _in_inches(option.kept.diameter) if option.kept.diameter else None
        return {"diameter": diameter, "blades": option.kept.blades, "cup": option.kept.cup}
    like, run = one.engine.propeller or Propeller(), forecasts.runs[one.engine.position][0].diameter
    follows = diameter_following(run, option.change_of(one)) if run else 0.0
    return {
        "diameter": _in_inches(follows) if run else None,
        "diameter_within": _in_inches(abs(option.change_of(one)) * FOLLOWS_PITCH) if run else None,
        "blades": like.blades,
        "cup": like.cup or "none",
    }


def _in_inches(size: float) -> Amount:
    return Amount(plain_text(float(rounded(size, 2)), 6), "in")


def _kept_of(one: Fitted, found: Expected) -> ExpectedOf:
    low, high = (Amount(rounded(end), "rev/min") for end in (found.engine_speed.low, found.engine_speed.high))
    return ExpectedOf(of=one.engine.position, low=low, high=high, chance=in_100(found.chance))


def _against_rules(view: JobView, pairs: Sequence[tuple[Fitted, Expected]]) -> Iterator[str]:
    """Where a rule of the trade says otherwise than the interval, that is said; of engines it says alike, once."""
    said = dict[str, list[str]]()
    for one, expected in pairs:
        rules = by_rules(view, expected, one)
        if not rules.per_inch_holds:
            words = f"So many rev/min for each inch would give {rounded(rules.low)} to {rounded(rules.high)} rev/min"
            said.setdefault(words, []).append(about(one.engine))
        if not rules.proportion_holds:
            words = f"By proportion it would be {rounded(rules.proportion)} rev/min, outside that interval"
            said.setdefault(words, []).append(about(one.engine))
    for words, engines in said.items():
        yield f"{words}." if len(engines) == len(pairs) else f"{words} ({' and '.join(engines)})."


def _measuring(
    view: JobView, forecasts: Forecasts, first: Option, pairs: Sequence[tuple[Fitted, Expected]]
) -> Iterator[str]:
    """What a pitch gauge would gain: no model narrows what the tolerance of both pitches leaves."""
    one, expected = pairs[0]
    within = view.setting_value("prop_check.measured_pitch_tolerance", "%") / 100
    measured = forecasts.with_measured_pitches(one, first, within)
    if measured is not None and measured <= WORTH_MEASURING * expected.engine_speed.expanded_uncertainty:
        yield f"With both pitches measured on a gauge it would be ± {rounded(measured)} rev/min."


def _off_the_limiter(view: JobView, fitted: Sequence[Fitted], first: Option, there: Air) -> Finding:
    """What to try where the limiter may have held an engine: nothing can be foreseen of it."""
    held = (
        "The rev limiter may have held the engine, so nobody can say how fast it would turn: it may take more "
        "pitch than this. Run again."
    )
    found = _first_words(view, fitted, first, (held, *_air_words(fitted, there)))
    basis = (*_rules(view), basis_of("aim_in_window"), LIMITER, *((AIR,) * there.is_known))
    return attrs.evolve(found, basis=basis)


def _first_words(view: JobView, fitted: Sequence[Fitted], first: Option, more: Iterable[str]) -> Finding:
    engine = fitted[0].engine
    unit = inches_told_in(view, engine)
    told = (f"{called(first, one, unit)}{f' {unit}' if not first.kept else ''}" for one in fitted)
    where = f", {first.source.value}" if first.is_at_hand else ""
    change = first.change_of(fitted[0])
    same = ", the same on every engine" if len(fitted) > 1 else ""
    most = largest_change(view)
    what = f"Try {' and '.join(dict.fromkeys(told))} first{where}: {_amount_of(view, change, engine)}{same}."
    return Finding(
        code="prop_check.pitch.try_first",
        verdict=Verdict.ADVISE,
        about="pitch",
        sentence=" ".join((what, *more)),
        basis=(WINDOW,),
        numbers=(Number(CHANGE, change, "in", decimals=0 if change == round(change) else 2),),
        limits=(Limit(CHANGE, -most, most),) if abs(change) <= most else (),
    )


def _numbers(pairs: Sequence[tuple[Fitted, Expected]]) -> Iterator[Number]:
    several = len(pairs) > 1
    for one, found in pairs:
        yield Number.of(_named(EXPECTED, one.engine.position, several), found.engine_speed, 0)
    for one, found in pairs:
        name = _named("chance to land in the window", one.engine.position, several)
        yield Number(name, in_100(found.chance), "%", decimals=0)
    for one, found in pairs:
        if found.laden:
            of = one.engine.position
            yield Number.of(_named("engine speed to expect fully laden", of, several), found.laden, 0)
            chance = in_100(found.laden_chance)
            yield Number(_named("chance to land in the window fully laden", of, several), chance, "%", decimals=0)
    speed = next((found.speed for _, found in pairs if found.speed), None)
    if speed:
        yield Number.of("boat speed to expect", speed)


def _expectation(pairs: Sequence[tuple[Fitted, Expected]]) -> Iterator[str]:
    several = len(pairs) > 1
    chances = _of_each([(one, f"{in_100(found.chance)} in 100") for one, found in pairs])
    yield f"Chance to land in {'the windows' if several else 'the window'}: {chances}."
    laden = [(one, f"{in_100(found.laden_chance)} in 100") for one, found in pairs if found.laden]
    if laden:
        yield f"Fully laden: {_of_each(laden)}."
    turned = [
        (one, f"{with_uncertainty(found.engine_speed.value, found.engine_speed.expanded_uncertainty, 0)} rev/min")
        for one, found in pairs
    ]
    yield f"Expect {_of_each(turned)}, then run again."
    for lacks in dict.fromkeys(filter(None, (rated_speed_lacks(one) for one, _ in pairs))):
        yield f"{lacks}: the middle of the window stands for it."


def _as_far_as_fits(said: str, words: Iterable[str]) -> tuple[str, tuple[Table, ...]]:
    """A text with as many sentences more as it holds, in their order; the others in a table."""
    more = list[tuple[str]]()
    for each in words:
        if len(said) + len(each) < LONGEST_TOLD and not more:
            said = f"{said} {each}"
        else:
            more.append((each,))
    return said, (Table("What else to know of it", ("note",), tuple(more)),) if more else ()


def _of_each(said: Sequence[tuple[Fitted, str]]) -> str:
    """What is said of each engine; of several alike once."""
    words = {text for _, text in said}
    if len(words) == 1:
        return f"{words.pop()}{' each' if len(said) > 1 else ''}"
    return " and ".join(f"{text} ({one.engine.position})" for one, text in said)


def _diameter(view: JobView, forecasts: Forecasts, first: Option) -> Iterator[str]:
    """With which diameter it is foreseen, where nobody gives one: it falls as pitch rises."""
    if first.kept and first.kept.diameter:
        return
    one = forecasts.fitted[0]
    ran = forecasts.runs[one.engine.position][0].diameter
    if ran is None or first.kept:
        yield "Its diameter is not known: it is taken to fall by 1/8 of what the pitch grows."
    else:
        told = inches_told(view, round(8 * ran - first.change_of(one)) / 8, one.engine)
        yield f"Take it with about {told} of diameter, less by 1/8 of what the pitch grows{_kind_as_now(one.engine)}."


def _kind_as_now(engine: Engine) -> str:
    """That it is foreseen with the blades and the cup of the one fitted, where those are not the usual ones."""
    fitted = engine.propeller or Propeller()
    blades = f"{fitted.blades} blades" if fitted.blades not in (None, USUAL_BLADES) else ""
    cup = f"a {fitted.cup} cup" if fitted.cup not in ("", "none") else ""
    kind = " and ".join(filter(None, (blades, cup)))
    return f", and with {kind} as now" if kind else ""


def _boat_speed(view: JobView, forecasts: Forecasts, pairs: Sequence[tuple[Fitted, Expected]]) -> Iterator[str]:
    """Boat speed is hardly foreseeable: as a rule its interval holds the speed that was run."""
    one, found = pairs[0]
    ran = forecasts.runs[one.engine.position][0].speed
    if found.speed is None or ran is None:
        return
    told = view.told(found.speed.value, "kn", 1, found.speed.expanded_uncertainty)
    if abs(found.speed.value - ran) <= found.speed.expanded_uncertainty:
        yield f"Boat speed {told}: promise no gain or loss."
    else:
        yield f"Boat speed {told}: a {'gain' if found.speed.value > ran else 'loss'} is likely."


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
