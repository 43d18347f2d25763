"""Findings about speed: with current dropped out, slip of every propeller, and whether it is believable."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from garboard.findings import (
    Axis,
    Band,
    Basis,
    Figure,
    Finding,
    Lack,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Series,
    Table,
    Verdict,
)
from garboard.job_view import JobView
from garboard.records import Engine, unusual_of
from garboard.uncertainty import MeasuredValue
from garboard_prop_check import crouch
from garboard_prop_check.runs import (
    COVERAGE,
    Average,
    Run,
    average_engine_speed,
    average_speed,
    left_out_of_speed,
    runs_of,
)
from garboard_prop_check.settings import USUAL_SLIP, basis_of, slip_setting
from garboard_prop_check.slip import slip, slip_expanded_uncertainty, theoretical_speed
from garboard_prop_check.steps import CONDITIONS, FULL_THROTTLE
from garboard_prop_check.words import (
    AVERAGING,
    CROUCH,
    SLIP,
    about,
    for_each_engine,
    gear_ratio_of,
    need_all,
    not_counted,
    pitch_of,
    speed_words,
    stamped_pitch,
    total_power,
    trim_at_best,
    window_of,
)


def full_throttle_speed(view: JobView) -> Iterable[Finding]:
    """Boat speed with current dropped out, with table and figure of the runs."""
    runs = runs_of(view)
    average = average_speed(view, runs)
    return (
        Finding(
            code="prop_check.speed.measured",
            verdict=Verdict.PASS,
            about="full-throttle speed",
            sentence=f"{speed_words(average)}, {average.method}. Current along the runs: {average.current:.1f} kn.",
            basis=(AVERAGING, basis_of("speed_uncertainty")),
            numbers=(
                Number.of("speed", average.measured),
                Number("current along the runs", average.current, "kn"),
            ),
            figures=(figure_of_runs(view, runs),),
            tables=(table_of_runs(view, runs),),
        ),
        *not_counted(left_out_of_speed(view, runs), (AVERAGING,)),
    )


def figure_of_runs(view: JobView, runs: Sequence[Run]) -> Figure:
    """Engine speed of every run, held against the windows."""
    windows: dict[tuple[float, float], list[str]] = {}
    for engine in view.vessel.engines:
        try:
            windows.setdefault(window_of(engine), []).append(engine.position)
        except NotEnoughData:
            continue
    engine_speeds = [r.value for run in runs for r in run.engine_speed.values() if isinstance(r, MeasuredValue)]
    shown = [*engine_speeds, *(end for window in windows for end in window)]
    return Figure(
        title="Engine speed at full throttle",
        x=Axis("Run", low=0.5, high=len(runs) + 0.5, whole=True),
        y=Axis("Engine speed", "rev/min", *_padded(shown)),
        series=tuple(
            _points(about(engine), [run.engine_speed.get(engine.position) for run in runs])
            for engine in view.vessel.engines
        ),
        bands=tuple(
            Band("full-throttle window" if len(windows) == 1 else f"window, {', '.join(positions)}", "y", low, high)
            for (low, high), positions in windows.items()
        ),
    )


def _padded(shown: Sequence[float]) -> tuple[float, float]:
    """Ends of an axis, whole hundreds with at least one to spare, so that no point lies on an edge [rev/min]."""
    low, high = min(shown, default=100.0), max(shown, default=6000.0)
    return 100.0 * math.floor(low / 100 - 1), 100.0 * math.ceil(high / 100 + 1)


def _points(name: str, readings: Sequence[MeasuredValue | Missing | None]) -> Series:
    points = [(float(n), float(r.value)) for n, r in enumerate(readings, start=1) if isinstance(r, MeasuredValue)]
    return Series(name, x=tuple(x for x, _ in points), y=tuple(y for _, y in points), line=False)


def table_of_runs(view: JobView, runs: Sequence[Run]) -> Table:
    """The runs as made."""
    positions = [engine.position for engine in view.vessel.engines]
    return Table(
        title="Full-throttle runs",
        headings=("Run", "Way", "Speed over ground [kn]", *(f"{position} [rev/min]" for position in positions)),
        rows=tuple(
            (
                run.name.removeprefix("run "),
                run.side or ("" if run.course is None else f"{run.course:.0f}°"),
                _cell(run.speed, 1),
                *(_cell(run.engine_speed.get(position), 0) for position in positions),
            )
            for run in runs
        ),
    )


def _cell(reading: MeasuredValue | Missing | None, decimals: int) -> str:
    return f"{reading.value:.{decimals}f}" if isinstance(reading, MeasuredValue) else ""


def engine_slip(view: JobView) -> Iterator[Finding]:
    """Slip of every propeller."""
    runs = runs_of(view)
    speed = average_speed(view, runs)
    return for_each_engine(view, (SLIP,), lambda engine: _engine_slip(view, engine, runs, speed))


def slip_of(view: JobView, engine: Engine, engine_speed: Average, speed: Average) -> tuple[Number, Number]:
    """Slip [%] and theoretical speed [kn] of one engine's propeller, with their 95 % intervals."""
    need_all(lambda: stamped_pitch(view, engine), lambda: gear_ratio_of(engine))
    stamped, ratio = stamped_pitch(view, engine), gear_ratio_of(engine)
    tolerance = view.setting_value("prop_check.pitch_tolerance", "%") / 100
    theory = theoretical_speed(engine_speed.value, ratio, stamped)
    of_engine = engine_speed.value, engine_speed.expanded_uncertainty
    of_slip = slip_expanded_uncertainty(speed.value, speed.expanded_uncertainty, *of_engine, theory, tolerance)
    of_theory = slip_expanded_uncertainty(theory, 0, *of_engine, theory, tolerance) * theory
    return (
        Number("slip", 100 * slip(speed.value, theory), "%", 100 * of_slip, coverage_factor=COVERAGE),
        Number("theoretical speed", theory, "kn", of_theory, coverage_factor=COVERAGE),
    )


def reading_is_wrong(view: JobView, found: Number, theory: Number) -> bool:
    """Whether slip [%] or theoretical speed [kn] surely cannot be: not the boat, but a reading."""
    limits = zip(_believable(view), (found, theory), strict=True)
    return not all(limit.reaches(number.value, number.expanded_uncertainty or 0) for limit, number in limits)


def _believable(view: JobView) -> tuple[Limit, Limit]:
    """Slip [%] and theoretical speed [kn] that can be true.

    Slip may be as far above the usual as the shop allows; without a hull form, above the usual of any.
    """
    forms = [view.vessel.hull_form] if view.vessel.hull_form in USUAL_SLIP else list(USUAL_SLIP)
    most = max(_usual_slip(view, form, "high") for form in forms)
    most += view.setting_value("prop_check.slip_beyond_usual", "%")
    fastest = view.setting_value("prop_check.highest_theory", "kn")
    return Limit("slip", 0.0, most), Limit("theoretical speed", high=fastest)


def _engine_slip(view: JobView, engine: Engine, runs: Sequence[Run], speed: Average) -> Finding:
    engine_speed = average_engine_speed(runs, engine.position)
    found, theory = slip_of(view, engine, engine_speed, speed)
    half_width = found.expanded_uncertainty or 0
    low_end, high_end = found.value - half_width, found.value + half_width
    told = f"Slip {found}"
    basis: tuple[Basis, ...] = (SLIP, AVERAGING, basis_of("pitch_tolerance"))
    form = view.vessel.hull_form
    verdict = Verdict.ADVISE
    limits: tuple[Limit, ...] = _believable(view)
    wrong = reading_is_wrong(view, found, theory)
    if found.value < 0 and not wrong:
        code = "prop_check.slip.about_zero"
        sentence = (
            f"{told}: it may be above zero, yet no boat has so little. Check the stamped pitch, the gear ratio, the "
            "unit of speed, and that runs were made both ways."
        )
    elif found.value < 0:
        code, verdict = "prop_check.slip.below_zero", Verdict.FAIL
        sentence = (
            f"{told}: a reading is wrong, not a fast boat. Check the stamped pitch, the gear ratio, the unit of "
            "speed, and that runs were made both ways."
        )
    elif wrong:
        code, verdict = "prop_check.slip.reading_wrong", Verdict.FAIL
        sentence = f"{told} of {theory.value:.0f} kn in theory: a reading is wrong. "
        sentence += f"Check {_read_on(engine, engine_speed, speed)}"
        basis = (*basis, basis_of("slip_beyond_usual"), basis_of("highest_theory"))
    elif form not in USUAL_SLIP:
        code = "prop_check.slip.no_hull_form"
        sentence = f"{told}. Enter the hull form to compare it with what is usual."
    elif not trim_at_best(view):
        code = "prop_check.slip.not_at_best_trim"
        sentence = f"{told}. Trim was not noted as at best, so it is not compared with what is usual."
    else:
        low, high = (_usual_slip(view, form, end) for end in ("low", "high"))
        basis = (*basis, basis_of(slip_setting(form, "low")))
        limits = (Limit("slip", low, high),)
        usual = f"{low:g} to {high:g} % is usual for this hull"
        if high_end < low:
            code = "prop_check.slip.less_than_usual"
            sentence = f"{told}, less than usual ({usual}). Check the stamped pitch and the gear ratio."
        elif low_end > high:
            code = "prop_check.slip.more_than_usual"
            sentence = (
                f"{told}, more than usual ({usual}). Look for ventilation, an engine mounted too high, a damaged "
                "propeller, a fouled bottom or a heavy load."
            )
        else:
            code, verdict, sentence = "prop_check.slip.usual", Verdict.PASS, f"{told}; {usual}."
    if verdict is not Verdict.PASS:
        sentence = " ".join([sentence, *(f"{question[0].upper()}{question[1:]}" for question in unusual_of(engine))])
    return Finding(
        code=code,
        verdict=verdict,
        about=about(engine),
        sentence=sentence,
        basis=basis,
        numbers=(found, theory),
        limits=limits,
    )


def _read_on(engine: Engine, engine_speed: Average, speed: Average) -> str:
    """What a slip was worked out from."""
    read = f"gear ratio {gear_ratio_of(engine):g}, pitch {pitch_of(engine):g} in, {engine_speed.value:.0f} rev/min"
    return f"{read} and {speed.value:.1f} kn."


KNOT_TO_MPH = 1.852 / 1.609344


def crouch_estimate(view: JobView) -> Iterable[Finding]:
    """Whether the measured speed is believable for weight and power."""
    power = total_power(view)
    vessel, asking = view.vessel, view.asking()
    weight = asking.known(vessel.displacement_as_run, "lb", "displacement as run", field="displacement_as_run")
    asking.need(
        not weight <= 0 and not weight > 1e6,
        "displacement as run must be above zero; correct it",
        lack=Lack.OUT_OF_RANGE,
        field="displacement_as_run",
    )
    asking.need(
        vessel.hull_form in ("planing", "flat bottom hard chine"),
        f"Crouch's formula holds for planing monohulls; the hull form entered is {vessel.hull_form}"
        if vessel.hull_form
        else "hull form is not entered",
        lack=Lack.NOT_COVERED if vessel.hull_form else Lack.NOT_ENTERED,
        field="hull_form",
    )
    asking.settled(CONDITIONS, "hull_kind")
    asking.check()
    speed = average_speed(view, runs_of(view))
    length = vessel.length.to("ft") if vessel.length else 0.0
    if length > 0 and speed.value / math.sqrt(length) < crouch.PLANING_FROM:
        text = f"{speed.value:.1f} kn is not planing speed for {length:.0f} ft; the formula does not hold"
        raise NotEnoughData(text, lack=Lack.NOT_COVERED, step=FULL_THROTTLE, field="speed")
    kind = view.value(CONDITIONS, "hull_kind")
    ranges = crouch.CONSTANTS
    chosen = [ranges[kind]] if isinstance(kind, str) and kind in ranges else list(ranges.values())
    constants = min(low for low, _ in chosen), max(high for _, high in chosen)
    slow, fast = (crouch.crouch_speed(constant, weight, power) for constant in constants)
    expected = f"Crouch's formula gives {slow:.1f} to {fast:.1f} kn for {weight:.0f} lb and {power:.4g} hp"
    verdict = Verdict.ADVISE
    if speed.measured.low > fast:
        as_mph = slow <= speed.value / KNOT_TO_MPH <= fast
        hint = "Was it read in miles an hour?" if as_mph else "Check weight, power and the unit of speed."
        code = "prop_check.crouch.faster"
        sentence = f"{speed_words(speed)} is faster than believable. {expected}. {hint}"
    elif speed.measured.high < slow:
        code = "prop_check.crouch.slower"
        sentence = (
            f"{speed_words(speed)} is slower than expected. {expected}. Check weight, trim, bottom and propeller."
        )
    else:
        code, verdict = "prop_check.crouch.believable", Verdict.PASS
        sentence = f"{speed_words(speed)} is believable. {expected}."
    return (
        Finding(
            code=code,
            verdict=verdict,
            about="speed for weight and power",
            sentence=sentence,
            basis=(CROUCH,),
            numbers=(
                Number("Crouch constant", crouch.crouch_constant(speed.value, weight, power), "", decimals=0),
                Number("slowest to expect", slow, "kn"),
                Number("fastest to expect", fast, "kn"),
                Number.of("speed", speed.measured),
            ),
            limits=(Limit("speed", slow, fast),),
        ),
    )


def _usual_slip(view: JobView, hull_form: str, end: str) -> float:
    return view.setting_value(f"prop_check.{slip_setting(hull_form, end)}", "%")
