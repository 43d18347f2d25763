"""Findings about engine speed: against the window, between engines, and in reference air."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from garboard.findings import (
    Basis,
    BasisKind,
    Finding,
    Lack,
    Limit,
    NotEnoughData,
    Number,
    Verdict,
    rounded,
    with_uncertainty,
)
from garboard.job_view import JobView
from garboard.records import Engine
from garboard.uncertainty import MeasuredValue, Part
from garboard.units import Amount
from garboard_prop_check import air
from garboard_prop_check.alongside import above_label, more_runs
from garboard_prop_check.averages import Average, average_engine_speed, held, left_out_of_engine_speed
from garboard_prop_check.runs import Run, runs_of
from garboard_prop_check.settings import basis_of, engine_difference_basis
from garboard_prop_check.steps import CONDITIONS
from garboard_prop_check.window import WindowPosition, near_limiter, position_in_window
from garboard_prop_check.words import (
    AIR,
    LIMITER,
    WINDOW,
    about,
    engine_speed_words,
    for_each_engine,
    inches_told,
    is_above_limiter,
    not_counted,
    runs_only,
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

_OUT = (WindowPosition.BELOW, WindowPosition.ABOVE)


def against_window(view: JobView) -> Iterator[Finding]:
    """Full-throttle engine speed of every engine against its window and its rev limiter."""
    runs = view.once(runs_of)
    yield from for_each_engine(view, (WINDOW,), lambda engine: _against_window(view, engine, runs))
    left_out = (left_out_of_engine_speed(runs, engine.position) for engine in view.vessel.engines)
    yield from not_counted(chain.from_iterable(left_out), (WINDOW,))


def _against_window(view: JobView, engine: Engine, runs: Sequence[Run]) -> Finding:
    low, high = window_of(engine)
    average = view.once(average_engine_speed, runs, engine.position)
    position = position_in_window(average.value, average.expanded_uncertainty, low, high)
    verdict, words = _window_words(average, position, low, high, to_settle(view, average, low, high))
    basis: tuple[Basis, ...] = (WINDOW, basis_of("engine_speed_uncertainty"))
    limit = Limit("engine speed", low, high)
    if engine.limiter_speed is not None:
        limiter = engine.limiter_speed.to("rev/min")
        margin = view.setting_value("prop_check.limiter_margin", "rev/min")
        if low < limiter - margin < high:  # one limit a number: the stricter
            limit = Limit("engine speed", low, limiter - margin)
        if is_above_limiter(view, engine, average):
            words.append(
                f"No engine turns above its rev limiter ({rounded(limiter)}): one of the two entries is wrong."
            )
            verdict = Verdict.ADVISE if verdict is Verdict.PASS else verdict
            basis = (*basis, LIMITER)
        elif near_limiter(average.value, average.expanded_uncertainty, limiter, margin):
            words.append(
                f"Close to the rev limiter at {rounded(limiter)}: the reading may show the limiter and not the "
                "propeller, so keep full throttle short."
            )
            verdict = Verdict.ADVISE if verdict is Verdict.PASS else verdict
            basis = (*basis, LIMITER)
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
        places=(*average.places, *held(view, [(CONDITIONS, field, "", "") for field in ("trim", "load")])),
        limits=(limit,),
    )


def to_settle(view: JobView, average: Average, low: float, high: float) -> str:
    """What to do where an engine speed is too close to an end of its window to call."""
    nearest = min(abs(average.value - low), abs(average.value - high))
    if nearest > view.setting_value("prop_check.engine_speed_uncertainty", "rev/min") or above_label(view):
        return more_runs(view)
    return "More runs will not settle it: hold the tachometer against another."


_FIRST = "The pitch advice says what to do first."


def _window_words(
    average: Average, position: WindowPosition, low: float, high: float, more: str
) -> tuple[Verdict, list[str]]:
    measured, window = f"{engine_speed_words(average)}{runs_only(average)}", f"{rounded(low)} to {rounded(high)}"
    if position is WindowPosition.BELOW:
        words = f"{rounded(low - average.value)} below the window {window}. The engine labours."
        return Verdict.FAIL, [f"{measured}, {words}", _FIRST]
    if position is WindowPosition.ABOVE:
        words = f"{rounded(average.value - high)} above the window {window}. Do not hold full throttle."
        return Verdict.FAIL, [f"{measured}, {words}", _FIRST]
    if position is WindowPosition.IN:
        return Verdict.PASS, [f"{measured}, in the window {window}."]
    return Verdict.ADVISE, [f"{measured}, {position.value}: the window is {window}. {more}"]


def engine_difference(view: JobView) -> Iterable[Finding]:
    """The largest difference between engines at full throttle."""
    runs = view.once(runs_of)
    allowed = view.setting_value("prop_check.engine_difference", "rev/min")
    basis = engine_difference_basis(allowed)
    speeds = {engine.position: view.once(average_engine_speed, runs, engine.position) for engine in view.vessel.engines}
    slowest, *_, fastest = sorted(speeds, key=lambda position: speeds[position].value)
    apart = apart_at_most(tuple(speeds.values()))
    difference, half_width = apart.value, apart.expanded_uncertainty
    told = f"{with_uncertainty(difference, half_width, 0)} rev/min"
    if difference:
        told += f", {fastest} faster than {slowest}"
    if difference <= allowed:  # the practice is for engine speeds as read, each on its own tachometer
        code, verdict = "prop_check.engine_difference.usual", Verdict.PASS
        sentence = f"{told}; up to {rounded(allowed)} is usual."
    elif difference - half_width <= allowed:
        code, verdict = "prop_check.engine_difference.open", Verdict.ADVISE
        sentence = f"{told}, too close to {rounded(allowed)} to call. "
        sentence += f"Read both engines on one tachometer. {more_runs(view)}"
    else:
        code = "prop_check.engine_difference.too_much"
        verdict = Verdict.ADVISE if basis.kind is BasisKind.COMMON_PRACTICE else Verdict.FAIL  # a limit the shop set
        sentence = (
            f"{told}; more than {rounded(allowed)}. {_unlike_propellers(view)}Compare throttle travel, trim and height "
            "of the engines, then the propellers, before changing pitch."
        )
    return (
        Finding(
            code=code,
            verdict=verdict,
            about="difference between engines",
            sentence=sentence,
            basis=(basis,),
            numbers=(Number.of("difference", apart, 0),),
            places=tuple(place for average in speeds.values() for place in average.places),
            limits=(Limit("difference", high=allowed),),
        ),
    )


def apart_at_most(speeds: Sequence[Average]) -> MeasuredValue:
    """By how much the fastest engine turns faster than the slowest [rev/min]."""
    slow, *_, fast = (one.measured for one in sorted(speeds, key=lambda one: one.value))
    parts = (*fast.parts, *(part.times(-1) for part in slow.parts))
    return MeasuredValue.of_parts(fast.value - slow.value, "rev/min", parts)


def in_reference_air(view: JobView) -> Iterator[Finding]:
    """What each engine would turn in reference air; the window verdict stays with the engine speed as run."""
    runs = view.once(runs_of)
    factor, dry = air_today(view)
    return for_each_engine(view, (AIR,), lambda engine: _in_reference_air(view, engine, runs, factor, dry))


def _unlike_propellers(view: JobView) -> str:
    """Names propellers of unlike pitch: they alone explain that engines turn unlike."""
    pitches = [(engine.propeller and engine.propeller.pitch, engine) for engine in view.vessel.engines]
    fitted = [(pitch.to("in"), engine) for pitch, engine in pitches if pitch]
    if len({pitch for pitch, _ in fitted}) < 2:
        return ""
    told = " and ".join(f"{inches_told(view, pitch, engine)} {engine.position}" for pitch, engine in fitted)
    return f"The propellers have unlike pitch ({told}): read the stamps, then fit like ones. "


AIR_FIELDS = ("air_temperature", "air_pressure", "humidity")


def air_today(view: JobView) -> tuple[float, float]:
    """Power factor [-] and dry pressure [kPa] of the air the runs were made in. Raises NotEnoughData."""
    dry, temperature = _air_read(view)
    _check_covered(view, "air_pressure", "the air without its vapour", dry, "kPa", air.DRY_PRESSURE_RANGE)
    _check_covered(view, "air_temperature", "the air", temperature, "degC", air.TEMPERATURE_RANGE)
    return air.power_factor(dry, temperature), dry


def _check_covered(view: JobView, field: str, what: str, value: float, unit: str, covered: tuple[float, float]) -> None:
    """Raise NotEnoughData, in the unit that was typed, for air that the method does not cover.

    value, covered : what it is and from where to where the method holds, both in `unit`
    """
    if covered[0] <= value <= covered[1]:
        return
    typed = Amount.parse(str(view.value(CONDITIONS, field))).unit
    found, low, high = (_rounded(Amount(f"{one!r}", unit).to(typed)) for one in (value, *covered))
    text = f"{what} is at {found} {typed}, and the method holds from {low} to {high} {typed}; judge by the speed as run"
    raise NotEnoughData(text, lack=Lack.NOT_COVERED, step=CONDITIONS, field=field)


def _rounded(value: float) -> str:
    """As far as anybody reads a thermometer or a barometer: 905, 83.7 or 24.7."""
    return rounded(value) if abs(value) >= 100 else rounded(value, 1)


def nearest_air(view: JobView) -> tuple[float, int]:
    """Power factor of the air the runs were made in, beyond the range of the method that at its end; and where the
    true one lies, as of `air.nearest_power_factor`. Raises NotEnoughData."""
    return air.nearest_power_factor(*_air_read(view))


def _air_read(view: JobView) -> tuple[float, float]:
    """Dry pressure [kPa] and temperature [degC] of the air the runs were made in. Raises NotEnoughData."""
    asking = view.asking()
    temperature = asking.amount(CONDITIONS, "air_temperature", "degC")
    pressure = asking.amount(CONDITIONS, "air_pressure", "kPa")
    humidity = asking.amount(CONDITIONS, "humidity", "%") / 100
    asking.check()
    try:
        return air.dry_pressure(pressure, temperature, humidity), temperature
    except ValueError as outside:
        raise _not_covered(outside) from None


def _not_covered(outside: ValueError) -> NotEnoughData:
    text = f"{outside}; the method does not reach so far"
    return NotEnoughData(text, lack=Lack.NOT_COVERED, step=CONDITIONS, field="air_temperature")


def is_warm(view: JobView) -> bool:
    """Whether the air of the runs was warmer than reference air: then a cooler day gives some of its power back."""
    temperature = view.amount(CONDITIONS, "air_temperature", "degC")
    return temperature is not None and temperature > air.REFERENCE_TEMPERATURE


def engine_speed_there(average: Average, factor: float) -> MeasuredValue:
    """Engine speed to expect in reference air [rev/min]; the two laws of power bound it."""
    expected, between_laws = air.engine_speed_in_reference_air(average.value, 0, factor)
    parts = (part.times(expected / average.value) for part in average.measured.parts)
    return MeasuredValue.of_parts(expected, "rev/min", (*parts, Part.bound("law of power", between_laws)))


def _in_reference_air(view: JobView, engine: Engine, runs: Sequence[Run], factor: float, dry: float) -> Finding:
    average = view.once(average_engine_speed, runs, engine.position)
    there = engine_speed_there(average, factor)
    expected, half_width = there.value, there.expanded_uncertainty
    lost = 100 * (1 - 1 / factor)
    sentence = (
        f"{with_uncertainty(expected, half_width, 0)} rev/min to expect in reference air; today's air "
        f"{'costs' if lost > 0 else 'adds'} {rounded(abs(lost), 1)} % of power."
    )
    code, verdict = "prop_check.reference_air.as_run", Verdict.PASS
    limits: tuple[Limit, ...] = ()
    as_run, at = WindowPosition.IN, WindowPosition.IN
    try:
        low, high = window_of(engine)
        limits = (Limit("engine speed in reference air", low, high),)
        as_run, at = (
            position_in_window(one.value, one.expanded_uncertainty, low, high) for one in (average.measured, there)
        )
    except NotEnoughData:
        pass  # the finding on the window says that it is missing
    if as_run in _OUT:
        code = "prop_check.reference_air.out_as_run"
        sentence += " The verdict on the window stays with the engine speed as run."
        # below either way: a note, the window says what to do. Nothing passes that turns too fast
        verdict = Verdict.PASS if as_run is at is WindowPosition.BELOW else Verdict.ADVISE
        limits = ()  # the verdict rests on the speed as run, of which another finding tells
    elif at in _OUT:
        code, verdict = "prop_check.reference_air.leaves_window", Verdict.ADVISE
        sentence += f" That is {at.value} the window: run again on such a day."
    elif at is WindowPosition.HIGH_END and as_run is WindowPosition.IN:
        # an overspeed is warned of where it may be, as in the pitch advice
        code, verdict = "prop_check.reference_air.may_leave_window", Verdict.ADVISE
        sentence += f" Against the window that is {at.value}: open the throttle with care on such a day."
    elif at is not WindowPosition.IN:
        sentence += f" Against the window that is {at.value}."
    at_limiter = _limiter_words(view, engine, average.measured, there)
    if at_limiter:
        code = "prop_check.reference_air.at_limiter" if verdict is Verdict.PASS else code
        verdict, sentence = Verdict.ADVISE, f"{sentence} {at_limiter}"
    return Finding(
        code=code,
        verdict=verdict,
        about=about(engine),
        of=engine.position,
        sentence=sentence,
        basis=(AIR, LIMITER) if at_limiter else (AIR,),
        numbers=(
            Number.of("engine speed in reference air", there, 0),
            Number("power factor", factor, "", decimals=3),
            Number("dry air pressure", dry, "kPa"),
        ),
        places=(*average.places, *held(view, [(CONDITIONS, field, "", "") for field in AIR_FIELDS])),
        limits=limits,
    )


def _limiter_words(view: JobView, engine: Engine, as_run: MeasuredValue, there: MeasuredValue) -> str:
    """What the rev limiter has to do with an engine speed in reference air; "" where nothing."""
    if engine.limiter_speed is None:
        return ""
    limiter, margin = engine.limiter_speed.to("rev/min"), view.setting_value("prop_check.limiter_margin", "rev/min")
    if near_limiter(as_run.value, as_run.expanded_uncertainty, limiter, margin):
        return f"The rev limiter ({rounded(limiter)}) may have held the engine as run, so this may be too low."
    if near_limiter(there.value, there.expanded_uncertainty, limiter, margin):
        return f"That is close to the rev limiter ({rounded(limiter)}): keep full throttle short on such a day."
    return ""
