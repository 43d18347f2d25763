"""Findings about engine speed: against the window, between engines, and in reference air."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from garboard.findings import Basis, Finding, NotEnoughData, Number, Verdict, with_spread
from garboard.job_view import JobView
from garboard.records import Engine
from garboard_prop_check import air
from garboard_prop_check.runs import Average, Run, average_engine_speed, runs_of
from garboard_prop_check.settings import basis_of, limit
from garboard_prop_check.steps import CONDITIONS
from garboard_prop_check.window import Place, near_limiter, place_in_window
from garboard_prop_check.words import (
    AIR,
    LIMITER,
    WINDOW,
    about,
    engine_speed_words,
    for_each_engine,
    trim_at_best,
    window_of,
)

_CODES = {
    Place.BELOW: "prop_check.window.below",
    Place.LOW_END: "prop_check.window.low_end_open",
    Place.IN: "prop_check.window.inside",
    Place.HIGH_END: "prop_check.window.high_end_open",
    Place.ABOVE: "prop_check.window.above",
}


def against_window(view: JobView) -> Iterator[Finding]:
    """Full-throttle engine speed of every engine against its window and its rev limiter."""
    runs = runs_of(view)
    return for_each_engine(view, (WINDOW,), lambda engine: _against_window(view, engine, runs))


def _against_window(view: JobView, engine: Engine, runs: Sequence[Run]) -> Finding:
    low, high = window_of(engine)
    average = average_engine_speed(runs, engine.position)
    place = place_in_window(average.value, average.uncertainty, low, high)
    verdict, words = _window_words(average, place, low, high)
    basis: tuple[Basis, ...] = (WINDOW,)
    if engine.limiter_speed is not None:
        limiter = engine.limiter_speed.to("rev/min")
        if near_limiter(average.value, average.uncertainty, limiter, limit(view, "limiter_margin")):
            words.append(
                f"Close to the rev limiter at {limiter:.0f}: the reading may show the limiter and not the propeller, "
                "so keep full throttle short."
            )
            verdict = Verdict.ADVISE if verdict is Verdict.PASS else verdict
            basis = (WINDOW, LIMITER)
    if not trim_at_best(view) and place is not Place.ABOVE:
        words.append("Trim was not noted as at best: repeat at best trim before judging the propeller.")
        verdict = Verdict.ADVISE
    if view.value(CONDITIONS, "load") == "light" and place in (Place.IN, Place.HIGH_END):
        words.append("The boat was light: expect less engine speed with its usual load.")
    return Finding(
        code=_CODES[place],
        verdict=verdict,
        about=about(engine),
        of=engine.position,
        sentence=" ".join(words),
        basis=basis,
        numbers=(
            Number("engine speed", average.value, "rev/min", average.uncertainty, decimals=0),
            Number("window, low end", low, "rev/min", decimals=0),
            Number("window, high end", high, "rev/min", decimals=0),
        ),
    )


def _window_words(average: Average, place: Place, low: float, high: float) -> tuple[Verdict, list[str]]:
    turns, window = engine_speed_words(average), f"{low:.0f} to {high:.0f}"
    if place is Place.BELOW:
        words = f"{low - average.value:.0f} below the window {window}. The engine labours: see the pitch advice."
        return Verdict.FAIL, [f"{turns}, {words}"]
    if place is Place.ABOVE:
        words = (
            f"{average.value - high:.0f} above the window {window}. Do not hold full throttle; see the pitch advice."
        )
        return Verdict.FAIL, [f"{turns}, {words}"]
    if place is Place.IN:
        return Verdict.PASS, [f"{turns}, in the window {window}."]
    return Verdict.ADVISE, [f"{turns}, {place.value}: the window is {window}. Make two more runs."]


def engine_difference(view: JobView) -> Iterable[Finding]:
    """The largest difference between engines at full throttle."""
    runs = runs_of(view)
    allowed = limit(view, "engine_difference")
    turns = {engine.position: average_engine_speed(runs, engine.position) for engine in view.vessel.engines}
    fastest = max(turns, key=lambda position: turns[position].value)
    slowest = min(turns, key=lambda position: turns[position].value)
    difference = turns[fastest].value - turns[slowest].value
    uncertainty = math.hypot(turns[fastest].uncertainty, turns[slowest].uncertainty)
    told = f"{with_spread(difference, uncertainty, 0)} rev/min"
    if fastest != slowest:
        told += f", {fastest} faster than {slowest}"
    if difference + uncertainty <= allowed:
        code, verdict = "prop_check.engine_difference.usual", Verdict.PASS
        sentence = f"{told}; up to {allowed:.0f} is usual."
    elif difference - uncertainty <= allowed:
        code, verdict = "prop_check.engine_difference.open", Verdict.ADVISE
        sentence = f"{told}, too close to {allowed:.0f} to call. Make two more runs."
    else:
        code, verdict = "prop_check.engine_difference.too_much", Verdict.FAIL
        sentence = (
            f"{told}; more than {allowed:.0f}. Compare throttle travel, trim and height of the engines, then the "
            "propellers, before changing pitch."
        )
    return (
        Finding(
            code=code,
            verdict=verdict,
            about="difference between engines",
            sentence=sentence,
            basis=(basis_of("engine_difference"),),
            numbers=(Number("difference", difference, "rev/min", uncertainty, decimals=0),),
        ),
    )


def in_reference_air(view: JobView) -> Iterator[Finding]:
    """What each engine would turn in reference air; the window verdict stays with the engine speed as run."""
    runs = runs_of(view)
    factor, dry = _air(view)
    return for_each_engine(view, (AIR,), lambda engine: _in_reference_air(engine, runs, factor, dry))


def _air(view: JobView) -> tuple[float, float]:
    asking = view.asking()
    temperature = asking.amount(CONDITIONS, "air_temperature", "degC")
    pressure = asking.amount(CONDITIONS, "air_pressure", "kPa")
    humidity = asking.amount(CONDITIONS, "humidity", "%") / 100
    asking.check()
    try:
        dry = air.dry_pressure(pressure, temperature, humidity)
        return air.power_factor(dry, temperature), dry
    except ValueError as outside:
        raise NotEnoughData(f"{outside}; the method does not reach so far") from None


def _in_reference_air(engine: Engine, runs: Sequence[Run], factor: float, dry: float) -> Finding:
    average = average_engine_speed(runs, engine.position)
    turns, uncertainty = air.engine_speed_in_reference_air(average.value, average.uncertainty, factor)
    lost = 100 * (1 - 1 / factor)
    sentence = (
        f"{with_spread(turns, uncertainty, 0)} rev/min to expect in reference air; today's air "
        f"{'costs' if lost > 0 else 'adds'} {abs(lost):.1f} % of power."
    )
    code, verdict = "prop_check.reference_air.as_run", Verdict.PASS
    try:
        low, high = window_of(engine)
    except NotEnoughData:
        low, high = 0.0, float("inf")
    as_run_in, there_in = (low <= number <= high for number in (average.value, turns))
    if not as_run_in:
        code = "prop_check.reference_air.out_as_run"
        sentence += " The verdict on the window stays with the engine speed as run."
        verdict = Verdict.ADVISE if there_in else Verdict.PASS  # out either way: a note, the window says what to do
    elif not there_in:
        code, verdict = "prop_check.reference_air.leaves_window", Verdict.ADVISE
        sentence += f" That is {'above' if turns > high else 'below'} the window: run again on such a day."
    return Finding(
        code=code,
        verdict=verdict,
        about=about(engine),
        of=engine.position,
        sentence=sentence,
        basis=(AIR,),
        numbers=(
            Number("engine speed in reference air", turns, "rev/min", uncertainty, decimals=0),
            Number("power factor", factor, "", decimals=3),
            Number("dry air pressure", dry, "kPa"),
        ),
    )
