"""Findings about engine speed: against the window, between engines, and in reference air."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from garboard.findings import Basis, Finding, Lack, Limit, NotEnoughData, Number, Verdict, with_uncertainty
from garboard.job_view import JobView
from garboard.records import Engine
from garboard_prop_check import air
from garboard_prop_check.alongside import more_runs
from garboard_prop_check.runs import (
    COVERAGE,
    Average,
    Run,
    average_engine_speed,
    left_out_of_engine_speed,
    runs_of,
)
from garboard_prop_check.settings import engine_difference_basis
from garboard_prop_check.steps import CONDITIONS
from garboard_prop_check.window import WindowPosition, near_limiter, position_in_window
from garboard_prop_check.words import (
    AIR,
    LIMITER,
    WINDOW,
    about,
    engine_speed_words,
    for_each_engine,
    not_counted,
    trim_at_best,
    window_of,
)

_CODES = {
    WindowPosition.BELOW: "prop_check.window.below",
    WindowPosition.LOW_END: "prop_check.window.low_end_open",
    WindowPosition.IN: "prop_check.window.inside",
    WindowPosition.HIGH_END: "prop_check.window.high_end_open",
    WindowPosition.ABOVE: "prop_check.window.above",
}


def against_window(view: JobView) -> Iterator[Finding]:
    """Full-throttle engine speed of every engine against its window and its rev limiter."""
    runs = runs_of(view)
    yield from for_each_engine(view, (WINDOW,), lambda engine: _against_window(view, engine, runs))
    left_out = (left_out_of_engine_speed(runs, engine.position) for engine in view.vessel.engines)
    yield from not_counted(chain.from_iterable(left_out), (WINDOW,))


def _against_window(view: JobView, engine: Engine, runs: Sequence[Run]) -> Finding:
    low, high = window_of(engine)
    average = average_engine_speed(runs, engine.position)
    position = position_in_window(average.value, average.expanded_uncertainty, low, high)
    verdict, words = _window_words(average, position, low, high, more_runs(view))
    basis: tuple[Basis, ...] = (WINDOW,)
    limits = [Limit("engine speed", low, high)]
    if engine.limiter_speed is not None:
        limiter = engine.limiter_speed.to("rev/min")
        margin = view.setting_value("prop_check.limiter_margin", "rev/min")
        limits.append(Limit("engine speed", high=limiter - margin))
        if near_limiter(average.value, average.expanded_uncertainty, limiter, margin):
            words.append(
                f"Close to the rev limiter at {limiter:.0f}: the reading may show the limiter and not the propeller, "
                "so keep full throttle short."
            )
            verdict = Verdict.ADVISE if verdict is Verdict.PASS else verdict
            basis = (WINDOW, LIMITER)
    if not trim_at_best(view) and position is not WindowPosition.ABOVE:
        words.append("Trim was not noted as at best: repeat at best trim before judging the propeller.")
        verdict = Verdict.ADVISE
    if view.value(CONDITIONS, "load") == "light" and position in (WindowPosition.IN, WindowPosition.HIGH_END):
        words.append("The boat was light: expect less engine speed with its usual load.")
    return Finding(
        code=_CODES[position],
        verdict=verdict,
        about=about(engine),
        of=engine.position,
        sentence=" ".join(words),
        basis=basis,
        numbers=(
            Number.of("engine speed", average.measured, 0),
            Number("window, low end", low, "rev/min", decimals=0),
            Number("window, high end", high, "rev/min", decimals=0),
        ),
        limits=tuple(limits),
    )


def _window_words(
    average: Average, position: WindowPosition, low: float, high: float, more: str
) -> tuple[Verdict, list[str]]:
    measured, window = engine_speed_words(average), f"{low:.0f} to {high:.0f}"
    if position is WindowPosition.BELOW:
        words = f"{low - average.value:.0f} below the window {window}. The engine labours: see the pitch advice."
        return Verdict.FAIL, [f"{measured}, {words}"]
    if position is WindowPosition.ABOVE:
        words = (
            f"{average.value - high:.0f} above the window {window}. Do not hold full throttle; see the pitch advice."
        )
        return Verdict.FAIL, [f"{measured}, {words}"]
    if position is WindowPosition.IN:
        return Verdict.PASS, [f"{measured}, in the window {window}."]
    return Verdict.ADVISE, [f"{measured}, {position.value}: the window is {window}. {more}"]


def engine_difference(view: JobView) -> Iterable[Finding]:
    """The largest difference between engines at full throttle."""
    runs = runs_of(view)
    allowed = view.setting_value("prop_check.engine_difference", "rev/min")
    speeds = {engine.position: average_engine_speed(runs, engine.position) for engine in view.vessel.engines}
    fastest = max(speeds, key=lambda position: speeds[position].value)
    slowest = min(speeds, key=lambda position: speeds[position].value)
    difference = speeds[fastest].value - speeds[slowest].value
    half_width = math.hypot(speeds[fastest].expanded_uncertainty, speeds[slowest].expanded_uncertainty)
    told = f"{with_uncertainty(difference, half_width, 0)} rev/min"
    if fastest != slowest:
        told += f", {fastest} faster than {slowest}"
    if difference + half_width <= allowed:
        code, verdict = "prop_check.engine_difference.usual", Verdict.PASS
        sentence = f"{told}; up to {allowed:.0f} is usual."
    elif difference - half_width <= allowed:
        code, verdict = "prop_check.engine_difference.open", Verdict.ADVISE
        sentence = f"{told}, too close to {allowed:.0f} to call. {more_runs(view)}"
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
            basis=(engine_difference_basis(allowed),),
            numbers=(Number("difference", difference, "rev/min", half_width, 0, coverage_factor=COVERAGE),),
            limits=(Limit("difference", high=allowed),),
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
        text = f"{outside}; the method does not reach so far"
        raise NotEnoughData(text, lack=Lack.NOT_COVERED, step=CONDITIONS, field="air_temperature") from None


def _in_reference_air(engine: Engine, runs: Sequence[Run], factor: float, dry: float) -> Finding:
    average = average_engine_speed(runs, engine.position)
    expected, half_width = air.engine_speed_in_reference_air(average.value, average.expanded_uncertainty, factor)
    lost = 100 * (1 - 1 / factor)
    sentence = (
        f"{with_uncertainty(expected, half_width, 0)} rev/min to expect in reference air; today's air "
        f"{'costs' if lost > 0 else 'adds'} {abs(lost):.1f} % of power."
    )
    code, verdict = "prop_check.reference_air.as_run", Verdict.PASS
    limits: tuple[Limit, ...] = ()
    try:
        low, high = window_of(engine)
        limits = (Limit("engine speed in reference air", low, high),)
    except NotEnoughData:
        low, high = 0.0, float("inf")
    as_run_in, there_in = (low <= number <= high for number in (average.value, expected))
    if not as_run_in:
        code = "prop_check.reference_air.out_as_run"
        sentence += " The verdict on the window stays with the engine speed as run."
        verdict = Verdict.ADVISE if there_in else Verdict.PASS  # out either way: a note, the window says what to do
        limits = ()  # the verdict rests on the speed as run, of which another finding tells
    elif not there_in:
        code, verdict = "prop_check.reference_air.leaves_window", Verdict.ADVISE
        sentence += f" That is {'above' if expected > high else 'below'} the window: run again on such a day."
    return Finding(
        code=code,
        verdict=verdict,
        about=about(engine),
        of=engine.position,
        sentence=sentence,
        basis=(AIR,),
        numbers=(
            Number("engine speed in reference air", expected, "rev/min", half_width, decimals=0),
            Number("power factor", factor, "", decimals=3),
            Number("dry air pressure", dry, "kPa"),
        ),
        limits=limits,
    )
