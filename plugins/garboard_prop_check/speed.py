"""Findings about speed: with current dropped out, and whether it is believable."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from garboard.findings import (
    OF_VESSEL,
    Axis,
    Band,
    Doubt,
    Figure,
    Finding,
    Limit,
    Missing,
    NotEnoughData,
    Number,
    Series,
    Table,
    Verdict,
    in_full,
    rounded,
)
from garboard.job_view import JobView, in_unit
from garboard.records import Vessel
from garboard_prop_check import crouch
from garboard_prop_check.averages import agreement_among, average_speed, held, left_out_of_speed
from garboard_prop_check.runs import SPEED, Reading, Run, runs_of
from garboard_prop_check.settings import basis_of
from garboard_prop_check.slip_findings import slips_of, units_that_fit
from garboard_prop_check.steps import CONDITIONS
from garboard_prop_check.weight_and_power import WEIGHT_FOR_LENGTH, check_planing, expected_speed, unlikely_weight
from garboard_prop_check.words import (
    AVERAGING,
    CROUCH,
    FASTEST,
    about,
    asked_about,
    asked_powers,
    named_first,
    not_counted,
    runs_only,
    speed_words,
    window_of,
)


def full_throttle_speed(view: JobView) -> Iterable[Finding]:
    """Boat speed with current dropped out, with table and figure of the runs."""
    runs = view.once(runs_of)
    average = view.once(average_speed, runs)
    return (
        Finding(
            code="prop_check.speed.measured",
            verdict=Verdict.PASS,
            about="full-throttle speed",
            sentence=(
                f"{speed_words(view, average)}, {average.method}{runs_only(average)}. "
                f"Current along the runs: {view.told(average.current, 'kn', 1)}{_how_strong(view, average.current)}."
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


def _how_strong(view: JobView, current: float) -> str:
    """Only runs that repeat both ways are believed beyond the strongest current of the shop; see `agreement`."""
    is_strong = current > view.setting_value("prop_check.largest_current", "kn")
    return ", strong; the runs repeat it both ways" if is_strong else ""


def figure_of_runs(view: JobView, runs: Sequence[Run]) -> Figure:
    """Engine speed of every run, held against the windows, what the shop aims at in each, and the rev limiters."""
    windows: dict[tuple[float, float], list[str]] = {}
    for engine in view.vessel.engines:
        try:
            windows.setdefault(window_of(engine), []).append(engine.position)
        except NotEnoughData:
            continue
    engine_speeds = [r.value for run in runs for r in run.engine_speed.values() if isinstance(r, Reading)]
    share = view.setting_value("prop_check.aim_in_window", "%") / 100
    lines = {low + share * (high - low): "aim" for low, high in windows}
    limiters = (one.limiter_speed.to("rev/min") for one in view.vessel.engines if one.limiter_speed)
    lines |= {speed: "rev limiter" for speed in limiters if 0 < speed <= FASTEST}
    shown = [*engine_speeds, *lines, *(end for window in windows for end in window)]
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
        )
        + tuple(Band(name, "y", value, value) for value, name in lines.items()),
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
    unit = view.unit_to_tell("kn")
    return Table(
        title="Full-throttle runs",
        headings=("Run", "Way", f"Speed over ground [{unit}]", *(f"{position} [rev/min]" for position in positions)),
        rows=tuple(
            (
                run.name.removeprefix("run "),
                run.side or ("" if run.course is None else f"{rounded(run.course, 0)}°"),
                _cell(run.speed, 1, agreed.counts(run, SPEED), unit),
                *(_cell(run.engine_speed.get(at), 0, agreed.counts(run, at)) for at in positions),
            )
            for run in runs
        ),
    )


def _cell(reading: Reading | Missing | None, decimals: int, counts: bool, told_in: str = "") -> str:
    if not isinstance(reading, Reading):
        return ""
    value = rounded(in_unit(reading.value, reading.unit, told_in or reading.unit), decimals)
    return value if counts else f"{value}, not counted"


WEIGHT_AND_LENGTH = ("displacement_as_run", "length")


def _weight_in_doubt(text: str) -> Finding:
    """Nothing is said of the speed from a weight that no boat of that length has."""
    return Finding(
        code="prop_check.crouch.weight_in_doubt",
        verdict=Verdict.ADVISE,
        about="speed for weight and power",
        sentence=f"{text}. Correct the wrong one; until then Crouch's formula says nothing of the speed.",
        basis=(CROUCH, WEIGHT_FOR_LENGTH),
        places=tuple((OF_VESSEL, field, "", "") for field in WEIGHT_AND_LENGTH),
        doubts=tuple(Doubt(text, step=OF_VESSEL, field=field) for field in WEIGHT_AND_LENGTH),
    )


def _asked_about(vessel: Vessel) -> tuple[Doubt, ...]:
    """What Crouch's formula takes and is asked about itself."""
    return (*asked_about(vessel, "Vessel", "displacement_as_run"), *asked_powers(vessel))


def crouch_estimate(view: JobView) -> Iterable[Finding]:
    """Whether the measured speed is believable for weight and power."""
    if unlikely := unlikely_weight(view.vessel):
        return (_weight_in_doubt(unlikely),)
    expected = expected_speed(view)
    runs = view.once(runs_of)
    speed = view.once(average_speed, runs)
    check_planing(view, speed.value)
    unit = view.unit_to_tell("kn")
    told = (
        f"Crouch's formula gives {rounded(in_unit(expected.slow, 'kn', unit), 1)} to "
        f"{view.told(expected.fast, 'kn', 1)} for {view.told(expected.weight, 'lb', 0)} and "
        f"{view.told(expected.power, 'hp')}; {in_full(100 * expected.within)} % either way, "
        f"{rounded(in_unit(expected.lowest, 'kn', unit), 1)} to {view.told(expected.highest, 'kn', 1)} is believable"
    )
    verdict, doubts = Verdict.ADVISE, tuple[Doubt, ...]()
    odd = _asked_about(view.vessel)
    if speed.measured.low > expected.highest:
        fitting = units_that_fit(view, speed, view.once(slips_of, runs, speed))
        units = [unit for unit, value in fitting if not expected.off(value)]
        hint = f"Was it read in {' or '.join(units)}?" if units else "Check weight, power and the unit of speed."
        text = f"{view.told(speed.value, 'kn', 1)} is faster than weight and power explain"
        typed = [place for place in speed.places if place[1] == "speed"]
        doubts = tuple(Doubt(text, step=step, field=field, row=row, of=of) for step, field, row, of in typed)
        code = "prop_check.crouch.faster"
        sentence = f"{named_first(odd)}{speed_words(view, speed)} is faster than believable. {told}. {hint}"
        doubts = odd or doubts  # first find out whether the fact is right
    elif speed.measured.high < expected.lowest:
        code = "prop_check.crouch.slower"
        sentence = (
            f"{named_first(odd)}{speed_words(view, speed)} is slower than expected. {told}. Check weight, trim, bottom "
            "and propeller."
        )
        doubts = odd
    else:
        code, verdict = "prop_check.crouch.believable", Verdict.PASS
        sentence = f"{speed_words(view, speed)} fits weight and power. {told}."
    constant = crouch.crouch_constant(speed.value, expected.weight, expected.power)
    return (
        Finding(
            code=code,
            verdict=verdict,
            about="speed for weight and power",
            sentence=sentence,
            basis=(CROUCH, basis_of("crouch_within")),
            numbers=(
                Number("Crouch constant", constant, "", decimals=0),
                Number("slowest to expect", expected.lowest, "kn"),
                Number("fastest to expect", expected.highest, "kn"),
                Number.of("speed", speed.measured),
            ),
            places=(*speed.places, *held(view, [(CONDITIONS, "hull_kind", "", "")])),
            doubts=doubts,
            limits=(Limit("speed", expected.lowest, expected.highest),),
        ),
    )
