"""Findings about speed: with current dropped out, and whether it is believable."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from garboard.findings import (
    Axis,
    Band,
    Doubt,
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
from garboard_prop_check import crouch
from garboard_prop_check.averages import agreement_among, average_speed, held, left_out_of_speed
from garboard_prop_check.runs import SPEED, Reading, Run, runs_of
from garboard_prop_check.settings import basis_of
from garboard_prop_check.steps import CONDITIONS, FULL_THROTTLE
from garboard_prop_check.words import (
    AVERAGING,
    CROUCH,
    about,
    not_counted,
    runs_only,
    speed_words,
    total_power,
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
            sentence=(
                f"{speed_words(average)}, {average.method}{runs_only(average)}. "
                f"Current along the runs: {average.current:.1f} kn."
            ),
            basis=(AVERAGING, basis_of("speed_uncertainty")),
            numbers=(
                Number.of("speed", average.measured),
                Number("current along the runs", average.current, "kn"),
            ),
            figures=(figure_of_runs(view, runs),),
            tables=(table_of_runs(view, runs),),
            places=average.places,
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
    engine_speeds = [r.value for run in runs for r in run.engine_speed.values() if isinstance(r, Reading)]
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


def _points(name: str, readings: Sequence[Reading | Missing | None]) -> Series:
    points = [(float(n), float(r.value)) for n, r in enumerate(readings, start=1) if isinstance(r, Reading)]
    return Series(name, x=tuple(x for x, _ in points), y=tuple(y for _, y in points), line=False)


def table_of_runs(view: JobView, runs: Sequence[Run]) -> Table:
    """The runs as made; what the others contradict is marked."""
    agreed = agreement_among(view, runs)
    positions = [engine.position for engine in view.vessel.engines]
    return Table(
        title="Full-throttle runs",
        headings=("Run", "Way", "Speed over ground [kn]", *(f"{position} [rev/min]" for position in positions)),
        rows=tuple(
            (
                run.name.removeprefix("run "),
                run.side or ("" if run.course is None else f"{run.course:.0f}°"),
                _cell(run.speed, 1, agreed.counts(run, SPEED)),
                *(_cell(run.engine_speed.get(at), 0, agreed.counts(run, at)) for at in positions),
            )
            for run in runs
        ),
    )


def _cell(reading: Reading | Missing | None, decimals: int, counts: bool) -> str:
    if not isinstance(reading, Reading):
        return ""
    return f"{reading.value:.{decimals}f}" if counts else f"{reading.value:.{decimals}f}, not counted"


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
    verdict, doubts = Verdict.ADVISE, tuple[Doubt, ...]()
    if speed.measured.low > fast:
        as_mph = slow <= speed.value / KNOT_TO_MPH <= fast
        hint = "Was it read in miles an hour?" if as_mph else "Check weight, power and the unit of speed."
        text = f"{speed.value:.1f} kn is faster than weight and power explain"
        typed = [place for place in speed.places if place[1] == "speed"]
        doubts = tuple(Doubt(text, step=step, field=field, row=row, of=of) for step, field, row, of in typed)
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
            places=(*speed.places, *held(view, [(CONDITIONS, "hull_kind", "", "")])),
            doubts=doubts,
            limits=(Limit("speed", slow, fast),),
        ),
    )
