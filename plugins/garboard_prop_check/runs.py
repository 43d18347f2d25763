"""The full-throttle runs of a job: typed, or cut from recordings, and averaged so that current drops out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import TypeGuard

import attrs

from garboard.findings import Lack, Missing, NotEnoughData
from garboard.job_view import JobView, nothing_at
from garboard.records import Engine
from garboard.samples import Recording, Stream
from garboard.series import (
    Steady,
    engine_streams,
    mean,
    mean_direction,
    mean_of_means,
    signed_angle,
    standard_deviation,
    steady_stretches,
    unchanging_stretches,
)
from garboard.uncertainty import MeasuredValue, of_last_digit
from garboard.units import Amount
from garboard_prop_check.steps import FULL_THROTTLE, SIDES

TYPED = {"step": FULL_THROTTLE, "field": "direction"}
"""Where a run that is missing would be typed."""

FASTEST_BOAT = 200.0
FASTEST_ENGINE = 15000.0
"""Readings beyond these [kn], [rev/min] are slips of the finger."""

COVERAGE = 2.0
"""Coverage factor of every average [-]: JCGM 100:2008, 6.3.3, about 95 %."""

SAME_THROTTLE = 0.97
"""A steady stretch belongs to the full-throttle runs from this share of the highest engine speed; common practice."""


OTHER_THROTTLE, LAG = 300.0, 10.0
"""No boat keeps its speed so far from a run's engine speed [rev/min] for so long [s]; common practice, no source."""


@attrs.frozen(kw_only=True)
class Run:
    """One full-throttle run. Where a reading is missing, what is missing stands in its place.

    speed        : over ground [kn]
    engine_speed : by the engine's position [rev/min]
    row          : of the table, "" for one cut from the recording of all runs
    course       : [deg], None when not entered
    side         : "with", "against" or empty
    """

    name: str
    row: str = ""
    speed: MeasuredValue | Missing
    engine_speed: Mapping[str, MeasuredValue | Missing]
    course: float | None = None
    side: str = ""


@attrs.frozen
class Average:
    """A mean over runs.

    current : part of the current along the runs, where it was taken out [kn]
    method  : how, in words
    """

    measured: MeasuredValue
    runs: int
    method: str = ""
    current: float = 0.0

    @property
    def value(self) -> float:
        """The mean itself, in its unit."""
        return self.measured.value

    @property
    def expanded_uncertainty(self) -> float:
        """Half width of its 95 % interval, same unit."""
        return self.measured.expanded_uncertainty


def runs_of(view: JobView) -> tuple[Run, ...]:
    """The runs of a job, in the order they were made.

    Raises NotEnoughData when there are none, or when the recording of all runs has none.
    """
    disputed = (dispute.place[2] for dispute in view.disagreements if dispute.place[0] == FULL_THROTTLE)
    rows = tuple(dict.fromkeys((*view.rows(FULL_THROTTLE), *filter(None, disputed))))
    if rows:
        return tuple(_run_of_row(view, row) for row in rows)
    recording = view.recording(FULL_THROTTLE, "all_runs")
    if recording is None:
        if view.in_dispute(FULL_THROTTLE, "all_runs"):
            raise NotEnoughData(nothing_at(view, FULL_THROTTLE, "all_runs"))
        raise NotEnoughData("no full-throttle run is entered; make one run each way", lack=Lack.NOT_ENTERED, **TYPED)
    cut = cut_runs(view, recording)
    return tuple(_run_of_stretch(f"run {n}", recording, stretch) for n, stretch in enumerate(cut, start=1))


def _run_of_row(view: JobView, row: str) -> Run:
    typed_course = view.amount(FULL_THROTTLE, "course", "deg", row=row)
    course = typed_course if typed_course is not None and 0 <= typed_course <= 360 else None
    side = view.value(FULL_THROTTLE, "direction", row=row)
    typed = Run(
        name=f"run {row}",
        row=row,
        speed=_typed(view, "speed", "kn", row, FASTEST_BOAT),
        engine_speed={
            engine.position: _typed(view, "engine_speed", "rev/min", row, FASTEST_ENGINE, engine.position)
            for engine in view.vessel.engines
        },
        course=course,
        side=side if isinstance(side, str) and side in SIDES else "",
    )
    recorded = _recorded_run(view, row, course)
    if recorded is None:
        return typed
    if isinstance(recorded, Missing):
        return attrs.evolve(
            typed,
            speed=_or(typed.speed, recorded),
            engine_speed={position: _or(reading, recorded) for position, reading in typed.engine_speed.items()},
        )
    return attrs.evolve(
        typed,
        speed=_or(typed.speed, recorded.speed),
        engine_speed={p: _or(reading, recorded.engine_speed[p]) for p, reading in typed.engine_speed.items()},
        course=course if course is not None else recorded.course,
    )


def _or(typed: MeasuredValue | Missing, recorded: MeasuredValue | Missing) -> MeasuredValue | Missing:
    """What was typed, else what was recorded. A dispute between typed values is not settled by a recording."""
    return recorded if isinstance(typed, Missing) and typed.lack is Lack.NOT_ENTERED else typed


def _recorded_run(view: JobView, row: str, course: float | None) -> Run | Missing | None:
    try:
        recording = view.recording(FULL_THROTTLE, "recording", row=row)
        if recording is None:
            return None
        runs = [(s, _run_of_stretch(f"run {row}", recording, s)) for s in cut_runs(view, recording)]
    except NotEnoughData as lacking:
        first = lacking.missing[0]
        field = "recording" if first.field == "all_runs" else first.field
        return attrs.evolve(first, text=f"run {row}: {'; '.join(lacking.reasons)}", field=field, row=row)
    if course is not None:
        nearby = view.setting_value("prop_check.opposite_within", "deg")
        runs = [(s, r) for s, r in runs if r.course is None or abs(signed_angle(r.course - course)) <= nearby]
    if not runs:
        return Missing(
            f"run {row}: no full-throttle stretch of its recording is on course {course:.0f}",
            lack=Lack.NOT_IN_RECORDING,
            step=FULL_THROTTLE,
            field="recording",
            row=row,
        )
    longest = max(runs, key=lambda found: found[0].seconds)[1]
    if isinstance(longest.speed, Missing):
        return attrs.evolve(longest, speed=attrs.evolve(longest.speed, field="recording", row=row))
    return longest


def _typed(view: JobView, field: str, unit: str, row: str, highest: float, of: str = "") -> MeasuredValue | Missing:
    asking = view.asking()
    value = asking.amount(FULL_THROTTLE, field, unit, row=row, of=of)
    if asking.missing:
        return asking.missing[0]
    if not 0 < value <= highest:
        where = f"{field.replace('_', ' ')}{f' ({of})' if of else ''}, row {row}"
        text = f"{where} must lie above 0 and up to {highest:g} {unit}, it reads {value:g}"
        return Missing(text, lack=Lack.OUT_OF_RANGE, step=FULL_THROTTLE, field=field, row=row, of=of)
    step = (
        view.setting_value("prop_check.engine_speed_resolution", "rev/min")
        if unit == "rev/min"
        else _last_digit(view, field, unit, row, of)
    )
    return MeasuredValue(value, unit, of_last_digit(step))


def _last_digit(view: JobView, field: str, unit: str, row: str, of: str) -> float:
    """What one step of the last digit typed is worth [unit]."""
    return Amount.parse(str(view.value(FULL_THROTTLE, field, row=row, of=of))).last_digit(unit)


def cut_runs(view: JobView, recording: Recording) -> tuple[Steady, ...]:
    """Steady full-throttle stretches of a recording, in order of time; "speed" and engine positions name the means.

    Full throttle is taken to be the highest steady engine speed in the recording.
    Raises NotEnoughData when a stream is missing or nothing is steady long enough.
    """
    streams = _streams(view.vessel.engines, recording)
    seconds, by_speed, by_engine = (
        view.setting_value("prop_check.steady_seconds", "s"),
        view.setting_value("prop_check.steady_speed", "kn"),
        view.setting_value("prop_check.steady_engine_speed", "rev/min"),
    )
    tolerance = tuple(by_speed if name == "speed" else by_engine for name, _ in streams)
    stretches = _steady(streams, tolerance, seconds)
    if not stretches:
        raise NotEnoughData(
            f"recording {recording.name} has no {seconds:g} s with speed within {by_speed:g} kn and every engine "
            f"within {by_engine:g} rev/min; hold full throttle steadier, or longer where the shop allows",
            lack=Lack.TOO_LITTLE,
            step=FULL_THROTTLE,
            field="all_runs",
        )
    positions = [name for name, _ in streams if name != "speed"]
    engine_speeds = [mean([stretch.means[position] for position in positions]) for stretch in stretches]
    least = SAME_THROTTLE * max(engine_speeds)
    return tuple(s for s, engine_speed in zip(stretches, engine_speeds, strict=True) if engine_speed >= least)


def _streams(engines: Sequence[Engine], recording: Recording) -> tuple[tuple[str, Stream], ...]:
    speeds = recording.of("speed_over_ground")
    instances = [engine.network_instance for engine in engines]
    engine_speeds = engine_streams(recording, "engine_speed", len(engines), instances)
    place = {"step": FULL_THROTTLE, "field": "all_runs"}
    no_engine = Missing("no engine is entered for this vessel", lack=Lack.NOT_ENTERED, field="engines")
    reasons: list[Missing | str] = [] if speeds else [f"recording {recording.name} holds no speed over ground"]
    reasons += [] if engines else [no_engine]
    found = [("speed", speeds[0])] if speeds else []
    for number, (engine, stream) in enumerate(zip(engines, engine_speeds, strict=True)):
        if stream is None:
            reasons.append(_not_heard(recording, engine, number))
        else:
            found.append((engine.position, stream))
    if reasons:
        raise NotEnoughData(*reasons, lack=Lack.NOT_IN_RECORDING, **place)
    return tuple(found)


def _not_heard(recording: Recording, engine: Engine, number: int) -> str:
    """What to say of an engine that is not in a recording, and under which instances others are."""
    text = f"recording {recording.name} holds no engine speed of the {engine.position} engine"
    heard = sorted({stream.key.instance or "0" for stream in recording.of("engine_speed")})
    instance = number if engine.network_instance is None else engine.network_instance
    return f"{text}: instance {instance} is not heard, {', '.join(heard)} is" if heard else text


@lru_cache(maxsize=8)
def _steady(
    streams: tuple[tuple[str, Stream], ...], tolerance: tuple[float, ...], seconds: float
) -> tuple[Steady, ...]:
    """Several calculators ask for the same recording one after the other; it is cut once."""
    names = [name for name, _ in streams]
    return steady_stretches(dict(streams), dict(zip(names, tolerance, strict=True)), seconds)


def _run_of_stretch(name: str, recording: Recording, stretch: Steady) -> Run:
    readings = {
        key: MeasuredValue(stretch.means[key], "kn" if key == "speed" else "rev/min", deviation)
        for key, deviation in stretch.standard_deviations.items()
    }
    courses = recording.of("course_over_ground")
    heard = courses[0].between(stretch.start, stretch.end).values if courses else ()
    speed: MeasuredValue | Missing = readings.pop("speed")
    if _stood_still(recording, stretch):
        text = f"{name}: speed over ground did not change at all: the receiver is dead or frozen; make the run again"
        speed = Missing(text, lack=Lack.CONTRADICTS, step=FULL_THROTTLE, field="all_runs")
    return Run(name=name, speed=speed, engine_speed=readings, course=_mean_course(heard))


def _stood_still(recording: Recording, stretch: Steady) -> bool:
    """Whether the speed of a run stood still also while an engine ran at another speed.

    Within one run it may: a live receiver that shows tenths of a knot keeps one figure for a minute in calm water.
    """
    for part in unchanging_stretches(recording.of("speed_over_ground")[0]):
        if part.times[0] < stretch.end and part.times[-1] > stretch.start:
            for engine in recording.of("engine_speed"):
                at_it = engine.between(stretch.start, stretch.end).values
                meanwhile = engine.between(part.times[0], part.times[-1])
                off = [time for time, value in meanwhile if at_it and abs(value - mean(at_it)) > OTHER_THROTTLE]
                if off and off[-1] - off[0] >= LAG:
                    return True
    return False


def _mean_course(courses: Sequence[float]) -> float | None:
    try:
        return mean_direction(courses)
    except ValueError:
        return None


def sides(runs: Sequence[Run], within: float) -> tuple[int, ...]:
    """+1 for runs the same way as the first, -1 for the opposite way.

    within : how far courses may lie off one line [deg]
    Raises NotEnoughData when a run says neither course nor side, or a course lies off the line.
    """
    if all(run.side for run in runs):
        return tuple(1 if run.side == runs[0].side else -1 for run in runs)
    first = runs[0].course if runs else None
    reasons: list[Missing] = []
    found: list[int] = []
    for run in runs:
        name, course = run.name, run.course
        if course is None or first is None:
            if course is None:
                text = f"{name}: say with or against for every run, or give every course"
                reasons.append(Missing(text, lack=Lack.NOT_ENTERED, step=FULL_THROTTLE, field="direction", row=run.row))
            continue
        off = abs(signed_angle(course - first))
        if min(off, 180 - off) > within:
            text = f"{name}: course {course:.0f} is neither that of the first run ({first:.0f}) nor opposite"
            reasons.append(Missing(text, lack=Lack.OUT_OF_RANGE, step=FULL_THROTTLE, field="course", row=run.row))
        found.append(1 if off <= 90 else -1)
    if reasons:
        raise NotEnoughData(*reasons)
    return tuple(found)


def average_of_opposite_runs(speeds: Sequence[float], ways: Sequence[int]) -> tuple[float, float, str]:
    """Speed with the current dropped out.

    speeds  : over ground, in the order the runs were made [kn]
    ways    : +1 or -1 for each run; both must occur [-]
    returns : speed [kn], standard uncertainty from the scatter of the runs [kn], and the method in words
    Raises ValueError when the runs all went one way.

    Runs by turns: mean of means [1], scatter of the means of neighbours. Otherwise the mean of the two sides'
    means, which takes out a steady current only, scatter of each side. Two runs show no scatter.

    >>> average_of_opposite_runs([31.0, 28.7, 31.4, 28.7], [1, -1, 1, -1])[0]
    30.0

    [1] Tupper, Introduction to Naval Architecture, pp. 243-245.
    """
    if len(set(ways)) < 2:
        raise ValueError("expected runs both ways")
    if all(way != following for way, following in pairwise(ways)):
        neighbours = [(one + other) / 2 for one, other in pairwise(speeds)]
        scatter = standard_deviation(neighbours) / math.sqrt(len(neighbours))
        method = "mean of two opposite runs" if len(speeds) == 2 else f"mean of means of {len(speeds)} runs"
        return mean_of_means(speeds), scatter, method
    there, back = ([s for s, way in zip(speeds, ways, strict=True) if way == side] for side in (1, -1))
    scatter = math.hypot(*(standard_deviation(side) / math.sqrt(len(side)) for side in (there, back))) / 2
    return (mean(there) + mean(back)) / 2, scatter, f"mean of both ways, {len(there)} and {len(back)} runs"


def average_speed(view: JobView, runs: Sequence[Run]) -> Average:
    """Boat speed with current dropped out [kn].

    A run not fully entered yet is left out where the others suffice without it; see `left_out_of_speed`.
    The 95 % interval adds in quadrature: step of the last digit or scatter while recorded, scatter between runs,
    and the shop's figure for the receiver (coverage factor 2).
    """
    complete = [run for run in runs if not _lacking_for_speed(view, run)]
    if len(complete) < len(runs):
        try:
            return _average_speed(view, complete)
        except NotEnoughData:
            pass  # what the complete runs lack, the others may have: say what is missing of all
    return _average_speed(view, runs)


def left_out_of_speed(view: JobView, runs: Sequence[Run]) -> tuple[Missing, ...]:
    """What is still to be entered of the runs that the average speed leaves out."""
    lacking = [one for run in runs for one in _lacking_for_speed(view, run)]
    complete = [run for run in runs if not _lacking_for_speed(view, run)]
    try:
        _average_speed(view, complete)
    except NotEnoughData:
        return ()  # nothing is left out: there is no average
    return tuple(lacking)


def left_out_of_engine_speed(runs: Sequence[Run], position: str) -> tuple[Missing, ...]:
    """What is still to be entered of the runs that an engine's average speed leaves out."""
    found = [_engine_speed(run, position) for run in runs]
    lacking = tuple(one for one in found if _is_to_enter(one))
    return lacking if len(lacking) < len(found) else ()


def _lacking_for_speed(view: JobView, run: Run) -> list[Missing]:
    """What keeps a run from counting that is simply not entered yet. A dispute is settled, never left out."""
    lacking = [run.speed] if _is_to_enter(run.speed) else []
    disputed = any(view.in_dispute(FULL_THROTTLE, field, row=run.row) for field in ("direction", "course"))
    if not run.side and run.course is None and not disputed:
        text = f"{run.name}: with or against, or the course, is not entered"
        lacking.append(Missing(text, lack=Lack.NOT_ENTERED, step=FULL_THROTTLE, field="direction", row=run.row))
    return lacking


def _is_to_enter(reading: MeasuredValue | Missing) -> TypeGuard[Missing]:
    return isinstance(reading, Missing) and reading.lack is Lack.NOT_ENTERED


def _average_speed(view: JobView, runs: Sequence[Run]) -> Average:
    readings = _readings((run.speed for run in runs), "no run is entered")
    asking = view.asking()
    for run in runs:
        asking.settled(FULL_THROTTLE, "direction", row=run.row)
        asking.settled(FULL_THROTTLE, "course", row=run.row)
    asking.check()
    ways = sides(runs, view.setting_value("prop_check.opposite_within", "deg"))
    if len(set(ways)) < 2:
        text = "all runs went one way; run the other way too, so that current drops out"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, **TYPED)
    speeds = [reading.value for reading in readings]
    value, scatter, method = average_of_opposite_runs(speeds, ways)
    there, back = (mean([s for s, way in zip(speeds, ways, strict=True) if way == side]) for side in (1, -1))
    of_receiver = view.setting_value("prop_check.speed_uncertainty", "kn") / COVERAGE
    measured = MeasuredValue(value, "kn", math.hypot(scatter, _of_mean(readings), of_receiver), COVERAGE)
    return Average(measured, len(runs), method, abs(there - back) / 2)


def average_engine_speed(runs: Sequence[Run], position: str) -> Average:
    """Engine speed over the runs [rev/min].

    A run without it is left out where another has it; see `left_out_of_engine_speed`.
    The 95 % interval adds in quadrature the step of the display or the scatter while recorded, and the scatter
    between runs (coverage factor 2).
    """
    found = [_engine_speed(run, position) for run in runs]
    readings = _readings([one for one in found if not _is_to_enter(one)] or found, "no run is entered")
    values = [reading.value for reading in readings]
    of_mean = math.hypot(_of_mean(readings), standard_deviation(values) / math.sqrt(len(values)))
    return Average(MeasuredValue(mean(values), "rev/min", of_mean, COVERAGE), len(values))


def _engine_speed(run: Run, position: str) -> MeasuredValue | Missing:
    text = f"{run.name}: no engine speed"
    return run.engine_speed.get(position) or Missing(
        text, lack=Lack.NOT_ENTERED, step=FULL_THROTTLE, field="engine_speed", row=run.row, of=position
    )


def _readings(found: Iterable[MeasuredValue | Missing], none: str) -> list[MeasuredValue]:
    listed = list(found)
    missing = [one for one in listed if isinstance(one, Missing)]
    if not listed:
        raise NotEnoughData(none, lack=Lack.NOT_ENTERED, **TYPED)
    if missing:
        raise NotEnoughData(*missing)
    return [reading for reading in listed if isinstance(reading, MeasuredValue)]


def _of_mean(readings: Sequence[MeasuredValue]) -> float:
    """Standard uncertainty of the mean of readings that may all be off the same way, as a display's rounding is."""
    return mean([reading.standard_uncertainty for reading in readings])
