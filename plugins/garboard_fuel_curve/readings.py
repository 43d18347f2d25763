"""Throttle steps as read: typed row by row, or cut from a recording where everything held steady."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

import attrs

from garboard.findings import Lack, Missing, NotEnoughData
from garboard.job_view import InputCollector, JobView
from garboard.samples import Recording, Stream
from garboard.series import (
    Steady,
    engine_streams,
    is_frozen,
    mean,
    mean_direction,
    mean_of_means,
    signed_angle,
    steady_stretches,
    unchanging_stretches,
    unwrapped,
)
from garboard.uncertainty import NORMAL_95, of_last_digit
from garboard.units import Amount, convert
from garboard_fuel_curve.curve import Doubts, Point
from garboard_fuel_curve.steps import STEPS

RECIPROCAL_WITHIN = 30.0
"""Runs whose courses differ from 180 degrees by less than this count as opposite [deg]."""

CHANGED_BY = 300.0
"""Engine speeds this far apart change speed and fuel flow on any boat; common practice, no source [rev/min]."""

CHANGED_FLOW = 1.25
"""Fuel flows of one engine in a greater ratio than this are of different engine speeds (common practice, no source)."""

INTO_A_RUN = 10.0
"""A reading that stands still has to reach so far into a run, beyond any lag, to be doubted for it [s]."""

SECONDS_PER_INDEPENDENT_READING = 5.0
"""Instrument values closer together than this are not independent (common practice, no source) [s]."""


@attrs.frozen(kw_only=True)
class ThrottleStep:
    """One throttle step, engines from port to starboard.

    name                      : what to call it when it has to be repeated ("row 3")
    engine_speeds, flows      : of each engine [rev/min], [gal/h]
    speed                     : over ground [kn]
    both_ways                 : whether it was run in opposite directions
    speed_within, flow_within : 95 % half widths of what differs from step to step, flow for all engines together
    """

    name: str
    engine_speeds: tuple[float, ...]
    flows: tuple[float, ...]
    speed: float
    both_ways: bool
    speed_within: float
    flow_within: float

    @property
    def engine_speed(self) -> float:
        """Mean of the engines [rev/min]."""
        return mean(self.engine_speeds)

    @property
    def flow(self) -> float:
        """All engines together [gal/h]."""
        return math.fsum(self.flows)

    def point(self) -> Point:
        """The step as the curve takes it."""
        return Point(
            engine_speed=self.engine_speed,
            speed=self.speed,
            flow=self.flow,
            speed_within=self.speed_within,
            flow_within=self.flow_within,
        )


@attrs.frozen(kw_only=True)
class Readings:
    """All steps in order of engine speed, and where they come from.

    speed_doubted : why no figure may rest on the speed, where it stood still while the engines did not
    """

    steps: tuple[ThrottleStep, ...]
    source: str
    speed_doubted: Missing | None = None

    @property
    def one_way(self) -> tuple[ThrottleStep, ...]:
        """Steps that were not run in opposite directions."""
        return tuple(step for step in self.steps if not step.both_ways)


def readings(view: JobView) -> Readings:
    """The throttle steps of a job: the typed ones where there are any, else those cut from the recording.

    Raises NotEnoughData for whatever is missing in a typed row (a missing engine is never left out of a sum),
    and where neither rows nor a recording are there.
    """
    asking = view.asking()
    asking.need(bool(view.vessel.engines), "no engine is listed for this boat", lack=Lack.NOT_ENTERED, field="engines")
    asking.check()
    rows = _rows(view)
    recorded = view.value(STEPS, "recording") is not None
    speed_doubted: Missing | None = None
    if rows:
        steps = [_typed(view, asking, row) for row in rows]
        asking.check()
        source = "typed rows" + (" (the recording was left aside)" if recorded else "")
    else:
        nothing = "no throttle step is typed and no recording is attached"
        asking.settled(STEPS, "recording")
        attached = recorded or bool(asking.missing)
        asking.need(attached, nothing, lack=Lack.NOT_ENTERED, step=STEPS, field="recording")
        recording = asking.recording(STEPS, "recording") if recorded else Recording("", {})
        asking.check()
        steps, speed_doubted = cut(view, recording)
        source = "the recording"
    same = view.setting_value("fuel_curve.same_step", "rev/min")
    merged = tuple(_merged(group) for group in _grouped(sorted(steps, key=lambda step: step.engine_speed), same))
    return Readings(steps=merged, source=source, speed_doubted=speed_doubted)


def doubts(view: JobView, found: Readings) -> Doubts:
    """What is uncertain for all steps alike; a current only where steps were run one way."""
    return Doubts(
        engine_speed=view.setting_value("fuel_curve.engine_speed_accuracy", "rev/min"),
        current=view.setting_value("fuel_curve.unknown_current", "kn") if found.one_way else 0.0,
        flow_scale=view.setting_value("fuel_curve.flow_meter_accuracy", "%") / 100,
    )


def _rows(view: JobView) -> tuple[str, ...]:
    unsettled = (one.place[2] for one in view.disagreements if one.place[0] == STEPS and one.place[2])
    return tuple(dict.fromkeys((*view.rows(STEPS), *unsettled)))


def _typed(view: JobView, asking: InputCollector, row: str) -> ThrottleStep:
    nominal = asking.amount(STEPS, "nominal_engine_speed", "rev/min", row=row)
    out = asking.amount(STEPS, "speed_out", "kn", row=row)
    back = optional(asking, STEPS, "speed_back", "kn", row=row)
    positions = [engine.position for engine in view.vessel.engines]
    flows = [asking.amount(STEPS, "fuel_flow", "gal/h", row=row, of=position) for position in positions]
    own = [optional(asking, STEPS, "engine_speed", "rev/min", row=row, of=position) for position in positions]
    speeds = [nominal if speed is None else speed for speed in own]
    runs = [out] if back is None else [out, back]
    need = partial(asking.need, lack=Lack.OUT_OF_RANGE, step=STEPS, row=row)
    for position, speed, of_its_own in zip(positions, speeds, own, strict=True):
        field, of = ("nominal_engine_speed", "") if of_its_own is None else ("engine_speed", position)
        fits = math.isnan(speed) or 0 < speed <= 15000
        need(fits, f"row {row}: engine speed must be above 0 to 15000", field=field, of=of)
    for field, run in zip(("speed_out", "speed_back"), runs, strict=False):
        need(math.isnan(run) or 0 <= run <= 200, f"row {row}: speed must be 0 to 200 kn", field=field)
    for position, flow in zip(positions, flows, strict=True):
        fits, text = math.isnan(flow) or 0 < flow <= 1000, f"row {row}: fuel flow ({position}) must be above 0 to 1000"
        need(fits, text, field="fuel_flow", of=position)
    accuracy = view.setting_value("fuel_curve.speed_accuracy", "kn")
    each_run = math.hypot(accuracy, rounding(view, STEPS, "speed_out", "kn", row=row))
    of_flows = [rounding(view, STEPS, "fuel_flow", "gal/h", row=row, of=position) for position in positions]
    scatter = [view.setting_value("fuel_curve.flow_scatter", "%") / 100 * flow for flow in flows]
    return ThrottleStep(
        name=f"row {row}",
        engine_speeds=tuple(speeds),
        flows=tuple(flows),
        speed=out if back is None else mean_of_means(runs),
        both_ways=back is not None,
        speed_within=each_run / math.sqrt(len(runs)),
        flow_within=math.hypot(*of_flows, *scatter),
    )


def optional(asking: InputCollector, step: str, field: str, unit: str, *, row: str = "", of: str = "") -> float | None:
    """An amount that may be left open [unit]; values that disagree are still a reason."""
    view, where = asking.view, {"row": row, "of": of}
    if view.value(step, field, **where) is None and not view.in_dispute(step, field, **where):
        return None
    return asking.amount(step, field, unit, row=row, of=of)


def rounding(view: JobView, step: str, field: str, unit: str, *, row: str = "", of: str = "") -> float:
    """95 % half width that comes from the digits a value was typed with [unit]: its last digit may be anything."""
    value = view.value(step, field, row=row, of=of)
    try:
        last_digit = Amount.parse(str(value)).last_digit(unit)
    except ValueError:
        return 0.0  # asked for elsewhere, with the reason
    return NORMAL_95 * of_last_digit(last_digit)


def cut(view: JobView, recording: Recording) -> tuple[list[ThrottleStep], Missing | None]:
    """Throttle steps cut from a recording: stretches in which engine speed, fuel flow and speed all hold steady.

    Stretches at one throttle setting are put together; where their courses are opposite, speed is the mean of
    means of the runs in turn. With them comes why the speed is doubted, if it is.
    Raises NotEnoughData when an engine's data or the speed is not in the recording, when nothing holds steady, and
    when an engine's speed or fuel flow stood still while the other changed.
    """
    as_sent, tolerance = _watched(view, recording)
    streams = {name: per_second(stream) for name, stream in as_sent.items()}
    course = next((per_second(stream, turning=True) for stream in recording.of("course_over_ground")), None)
    stretches = _steady(view, streams, tolerance, course)
    usable = [stretch for stretch in stretches if all(stretch.means[name] > 0 for name in streams if name[0] != "s")]
    if not usable:
        wanted = view.setting_value("fuel_curve.steady_seconds", "s")
        raise NotEnoughData(
            f"nothing in the recording holds steady for {wanted:.0f} s; hold each step longer",
            lack=Lack.TOO_LITTLE,
            step=STEPS,
            field="recording",
        )
    frozen = {name: why for name, stream in as_sent.items() if (why := _stood_still(view, name, stream, usable))}
    if engines := [why for name, why in frozen.items() if name != "s"]:
        raise NotEnoughData(*engines)
    by_speed = sorted(usable, key=lambda stretch: _engine_speed(stretch, view))
    started = min(time for stream in streams.values() for time in stream.times[:1])
    groups: list[list[Steady]] = []
    for stretch in by_speed:
        first = _engine_speed(groups[-1][0], view) if groups else -math.inf
        if _engine_speed(stretch, view) - first > view.setting_value("fuel_curve.same_step", "rev/min"):
            groups.append([])
        groups[-1].append(stretch)
    steps = [_recorded(view, sorted(group, key=lambda one: one.start), course, started) for group in groups]
    return steps, frozen.get("s")


def _stood_still(view: JobView, name: str, stream: Stream, runs: Sequence[Steady]) -> Missing | None:
    """Why a reading cannot be true: it stood still to its last digit through runs at different throttle settings.

    name   : of the watched stream, as in `_watched`
    stream : as sent, not averaged
    Speed and flow are held against engine speed, engine speed against its own engine's flow. A boat held on the spot
    shows no speed, and that is a reading unless the speed shows nothing else.
    """
    for part in unchanging_stretches(stream):
        within = [run for run in runs if min(run.end, part.times[-1]) - max(run.start, part.times[0]) >= INTO_A_RUN]
        low, high = _lowest_and_highest(view, name, within)
        changed = high > CHANGED_FLOW * low if name[0] == "n" else high - low > CHANGED_BY
        if changed and (any(part.values) or is_frozen(stream)):
            quantity = stream.key.quantity.replace("_", " ")
            of = "" if name == "s" else f" of the {view.vessel.engines[int(name[1:])].position} engine"
            span = f"{low:.1f} to {high:.1f} L/h" if name[0] == "n" else f"{low:.0f} to {high:.0f} rev/min"
            against = f"{'fuel flow' if name[0] == 'n' else 'engine speed'} went from {span}"
            text = f"{quantity}{of} did not change at all while {against}: it is dead or frozen; record again"
            return Missing(text, lack=Lack.CONTRADICTS, step=STEPS, field="recording")
    return None


def _lowest_and_highest(view: JobView, name: str, runs: Sequence[Steady]) -> tuple[float, float]:
    """Of what a reading is held against, over runs; nothing to tell apart where there are none."""
    values = [run.means[f"f{name[1:]}"] if name[0] == "n" else _engine_speed(run, view) for run in runs]
    return min(values, default=0.0), max(values, default=0.0)


def _steady(
    view: JobView, streams: dict[str, Stream], tolerance: dict[str, float], course: Stream | None
) -> list[Steady]:
    """Stretches on a steady course, so that a run out and the run back stay apart; then those on any course, for at
    idle the course over ground wanders.
    """
    seconds = view.setting_value("fuel_curve.steady_seconds", "s") - 1.0  # averaging over each second may cost one
    any_course = steady_stretches(streams, tolerance, seconds)
    if course is None:
        return list(any_course)
    held = steady_stretches(
        {**streams, "course": course},
        {**tolerance, "course": view.setting_value("fuel_curve.steady_course", "deg")},
        seconds,
    )
    apart = [one for one in any_course if all(one.end < other.start or one.start > other.end for other in held)]
    return [*held, *apart]


def per_second(stream: Stream, turning: bool = False) -> Stream:
    """A stream averaged over each whole second, so that long recordings are cut quickly.

    stream  : in order of time [unit of its quantity]
    turning : whether the values are directions; they come back as a running total without jumps at north [-]
    returns : at most one value a second, at the time of its first [unit of its quantity]

    >>> from garboard.samples import StreamKey
    >>> per_second(Stream(StreamKey("fuel_flow"), (0.2, 0.7, 1.1), (10.0, 12.0, 20.0))).values
    (11.0, 20.0)
    """
    values = unwrapped(stream.values) if turning else stream.values
    groups: list[tuple[float, list[float]]] = []
    for time, value in zip(stream.times, values, strict=True):
        if not groups or math.floor(time) != math.floor(groups[-1][0]):
            groups.append((time, []))
        groups[-1][1].append(value)
    return Stream(stream.key, tuple(time for time, _ in groups), tuple(mean(group) for _, group in groups))


def _watched(view: JobView, recording: Recording) -> tuple[dict[str, Stream], dict[str, float]]:
    """The streams a recording is cut by, with their tolerances: "n0", "f0" for the first engine, "s" for speed."""
    count = len(view.vessel.engines)
    missing = []
    streams: dict[str, Stream] = {}
    tolerance: dict[str, float] = {}
    for quantity, letter, width in (
        ("engine_speed", "n", view.setting_value("fuel_curve.steady_engine_speed", "rev/min")),
        ("fuel_flow", "f", convert(view.setting_value("fuel_curve.steady_fuel_flow", "gal/h"), "gal/h", "L/h")),
    ):
        found = engine_streams(recording, quantity, count)
        for number, (engine, stream) in enumerate(zip(view.vessel.engines, found, strict=True)):
            if stream is None:
                missing.append(f"the recording has no {quantity.replace('_', ' ')} of the {engine.position} engine")
            else:
                streams[f"{letter}{number}"], tolerance[f"{letter}{number}"] = stream, width
    speed = next(iter(recording.of("speed_over_ground")), None)
    if speed is None:
        missing.append("the recording has no speed over ground")
    else:
        streams["s"], tolerance["s"] = speed, view.setting_value("fuel_curve.steady_speed", "kn")
    if missing:
        raise NotEnoughData(*missing, lack=Lack.NOT_IN_RECORDING, step=STEPS, field="recording")
    return streams, tolerance


def _engine_speed(stretch: Steady, view: JobView) -> float:
    return mean([stretch.means[f"n{number}"] for number in range(len(view.vessel.engines))])


def _recorded(view: JobView, runs: Sequence[Steady], course: Stream | None, started: float) -> ThrottleStep:
    """One step out of the stretches held at it, in order of time."""
    engines = range(len(view.vessel.engines))
    flows = [convert(mean([run.means[f"f{number}"] for run in runs]), "L/h", "gal/h") for number in engines]
    speeds = [run.means["s"] for run in runs]
    legs = in_turn(speeds, [_course_of(run, course) for run in runs])
    of_flows = [
        convert(_standard_error([(run.standard_deviations[f"f{number}"], run.seconds) for run in runs]), "L/h", "gal/h")
        for number in engines
    ]
    scatter = [view.setting_value("fuel_curve.flow_scatter", "%") / 100 * flow for flow in flows]
    of_speed = NORMAL_95 * _standard_error([(run.standard_deviations["s"], run.seconds) for run in runs])
    minutes, seconds = divmod(int(runs[0].start - started), 60)
    return ThrottleStep(
        name=f"{minutes} min {seconds} s into the recording",
        engine_speeds=tuple(mean([run.means[f"n{number}"] for run in runs]) for number in engines),
        flows=tuple(flows),
        speed=mean_of_means(legs) if len(legs) > 1 else mean(speeds),
        both_ways=len(legs) > 1,
        speed_within=math.hypot(of_speed, view.setting_value("fuel_curve.speed_accuracy", "kn") / math.sqrt(len(legs))),
        flow_within=math.hypot(*(NORMAL_95 * one for one in of_flows), *scatter),
    )


def _standard_error(runs: Sequence[tuple[float, float]]) -> float:
    """Standard error of the mean of runs, each given by its standard deviation and its length [s]."""
    parts = [deviation / math.sqrt(max(1.0, seconds / SECONDS_PER_INDEPENDENT_READING)) for deviation, seconds in runs]
    return math.hypot(*parts) / len(parts)


def _course_of(run: Steady, course: Stream | None) -> float | None:
    part = course.between(run.start, run.end).values if course else ()
    try:
        return mean_direction(part)
    except ValueError:  # no course then, or one that swings all round
        return None


def in_turn(speeds: Sequence[float], courses: Sequence[float | None]) -> tuple[float, ...]:
    """Speeds of runs in alternate directions; runs one after the other in the same direction are averaged.

    speeds  : of the runs in order of time [kn]
    courses : over ground, None where not known [deg]
    returns : one speed for each leg [kn]; a single one unless every run goes one way or its opposite

    >>> in_turn([20.0, 20.4, 22.0], [90.0, 92.0, 271.0])
    (20.2, 22.0)
    """
    first = courses[0]
    ways: list[bool] = []
    for course in courses:
        turned = None if first is None or course is None else abs(signed_angle(course - first))
        if turned is None or RECIPROCAL_WITHIN <= turned <= 180 - RECIPROCAL_WITHIN:
            return (mean(speeds),)
        ways.append(turned < 90)
    legs: list[list[float]] = []
    for number, speed in enumerate(speeds):
        if number == 0 or ways[number] != ways[number - 1]:
            legs.append([])
        legs[-1].append(speed)
    return tuple(mean(leg) for leg in legs)


def _grouped(steps: Sequence[ThrottleStep], same: float) -> list[list[ThrottleStep]]:
    """Steps in order of engine speed, those closer together than `same` [rev/min] in one group."""
    groups: list[list[ThrottleStep]] = []
    for step in steps:
        if not groups or step.engine_speed - groups[-1][0].engine_speed > same:
            groups.append([])
        groups[-1].append(step)
    return groups


def _merged(group: Sequence[ThrottleStep]) -> ThrottleStep:
    """Repeats of one step as one."""
    if len(group) == 1:
        return group[0]
    engines = range(len(group[0].flows))
    return ThrottleStep(
        name=" and ".join(step.name for step in group),
        engine_speeds=tuple(mean([step.engine_speeds[number] for step in group]) for number in engines),
        flows=tuple(mean([step.flows[number] for step in group]) for number in engines),
        speed=mean([step.speed for step in group]),
        both_ways=all(step.both_ways for step in group),
        speed_within=math.hypot(*(step.speed_within for step in group)) / len(group),
        flow_within=math.hypot(*(step.flow_within for step in group)) / len(group),
    )
