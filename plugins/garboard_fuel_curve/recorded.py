"""Throttle steps cut from a recording: where everything held steady, and whether two senders say the same."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import combinations, pairwise

from garboard.findings import Lack, Missing, NotEnoughData, rounded
from garboard.job_view import JobView, refuse_set_back
from garboard.numeric import median
from garboard.record_types import frozen
from garboard.samples import Recording, Stream
from garboard.series import (
    Steady,
    engine_instance,
    engine_numbers,
    is_copy,
    is_frozen,
    mean,
    mean_direction,
    mean_of_means,
    not_heard,
    signed_angle,
    steady_stretches,
    unchanging_stretches,
    unwrapped,
)
from garboard.units import convert
from garboard_fuel_curve.jumps import Jump, Watched, jump_between, jump_within
from garboard_fuel_curve.steps import STEPS
from garboard_fuel_curve.wording import all_told

RECIPROCAL_WITHIN = 30.0
"""Runs whose courses differ from 180 degrees by less than this count as opposite [deg]."""

CHANGED_BY = 300.0
"""Engine speeds this far apart change speed and fuel flow on any boat; common practice, no source [rev/min]."""

CHANGED_FLOW = 1.25
"""Fuel flows of one engine in a greater ratio than this are of different engine speeds (common practice, no source)."""

INTO_A_RUN = 10.0
"""A reading that stands still has to reach so far into a run, beyond any lag, to be doubted for it [s]."""

LONGEST_GAP, LOST_ONE, LONGEST_LOSS = 3.0, 2.5, 10.0
"""A silence of a stream [s]; of one that sends seldom so many of its periods, and no more than the last [s] (common
practice, no source)."""

SECONDS_PER_INDEPENDENT_READING = 6.0
"""Instrument values closer together than this are not independent (common practice, no source) [s]."""

RECEIVERS_DIFFER = 0.01
"""Receivers that smooth a speed differently differ by so much of it (common practice, no source)."""

SHARE_OF_RUNS = 0.2
"""Two senders that differ in fewer of the runs than this were told apart by chance (common practice, no source)."""


@frozen(kw_only=True)
class Held:
    """One throttle step that was held in a recording; see `readings.ThrottleStep`.

    stretches       : how many times
    speed_deviation : of the mean speed of one stretch, by how it moved within it [kn]
    """

    name: str
    engine_speeds: tuple[float, ...]
    flows: tuple[float, ...]
    legs: tuple[float, ...]
    stretches: int
    speed_deviation: float


@frozen(kw_only=True)
class Cut:
    """What a recording gives.

    speed_doubted : why the speed is, if it is
    agreed        : what to add to the name of the source where several senders say the same
    log_off       : by which share of the speed over ground of opposite runs a log reads more; None where none was heard
    """

    held: tuple[Held, ...]
    speed_doubted: Missing | None
    agreed: str
    log_off: float | None = None


def cut(view: JobView, recording: Recording) -> Cut:
    """Throttle steps cut from a recording: stretches in which engine speed, fuel flow and speed all hold steady.

    Stretches at one throttle setting are put together; where their courses are opposite, speed is the mean of
    means of the runs in turn.
    Raises NotEnoughData when an engine's data or the speed is not in the recording, when nothing holds steady, when
    an engine's speed or fuel flow stood still while the other changed, when its fuel flow jumped while nothing else
    did, when two senders of it differ, and when a clock was set back.
    """
    refuse_set_back(recording, step=STEPS, field="recording")
    senders, tolerance = _watched(view, recording)
    as_sent = {name: first for name, (first, *_) in senders.items()}
    streams = {name: per_second(stream) for name, stream in as_sent.items()}
    course = next((per_second(stream, turning=True) for stream in recording.of("course_over_ground")), None)
    stretches = _steady(view, streams, tolerance, course)
    usable = [stretch for stretch in stretches if all(stretch.means[name] > 0 for name in streams if name[0] != "s")]
    jumped = tuple(_jumps_within(view, as_sent, streams, tolerance))
    if jumped:
        raise NotEnoughData(*jumped)
    if not usable:
        wanted = view.setting_value("fuel_curve.steady_seconds", "s")
        raise NotEnoughData(
            f"nothing in the recording holds steady for {rounded(wanted)} s; hold each step longer",
            lack=Lack.TOO_LITTLE,
            step=STEPS,
            field="recording",
        )
    doubted = {name: why for name, stream in as_sent.items() if (why := _stood_still(view, name, stream, usable))}
    apart = {name: why for name, sent in senders.items() if (why := _senders_differ(view, name, sent, usable))}
    doubted = {**_heard_twice(view, as_sent), **apart, **doubted}
    if engines := [why for name, why in doubted.items() if name != "s"]:
        raise NotEnoughData(*engines)
    by_speed = sorted(usable, key=lambda stretch: _engine_speed(stretch, view))
    started = min(time for stream in streams.values() for time in stream.times[:1])
    groups: list[list[Steady]] = []
    for stretch in by_speed:
        first = _engine_speed(groups[-1][0], view) if groups else -math.inf
        if _engine_speed(stretch, view) - first > view.setting_value("fuel_curve.same_step", "rev/min"):
            groups.append([])
        groups[-1].append(stretch)
    in_time = [sorted(group, key=lambda one: one.start) for group in groups]
    if between := tuple(_jumps_between(view, as_sent, in_time, tolerance)):
        raise NotEnoughData(*between)
    return Cut(
        held=tuple(_held(view, group, course, started) for group in in_time),
        speed_doubted=doubted.get("s"),
        agreed="".join(_agreed(senders, doubted)),
        log_off=_log_off(recording, in_time, course),
    )


def jump_of(view: JobView, recording: Recording) -> Missing | None:
    """Why a fuel meter is in doubt whose flow jumps in a recording; None where it does not, or nobody can tell."""
    try:
        senders, tolerance = _watched(view, recording)
    except NotEnoughData:
        return None
    as_sent = {name: first for name, (first, *_) in senders.items()}
    streams = {name: per_second(stream) for name, stream in as_sent.items()}
    return next(_jumps_within(view, as_sent, streams, tolerance), None)


def _jumps_within(
    view: JobView, as_sent: Mapping[str, Stream], streams: Mapping[str, Stream], tolerance: Mapping[str, float]
) -> Iterator[Missing]:
    """Why fuel flow is in doubt: it stepped to another level while engine speed and speed held."""
    for name in (name for name in streams if name[0] == "f"):
        turns = f"n{name[1:]}"
        watched = Watched(
            flow=streams[name],
            engine_speed=streams[turns],
            speed=streams["s"],
            engine_speed_within=tolerance[turns],
            speed_within=tolerance["s"],
            digit=_step_of(as_sent[name]),
        )
        if found := _jump_within(watched):
            yield _jump_missing(view, as_sent, name, found, "while engine speed and speed held")


_jump_within = lru_cache(maxsize=8)(jump_within)  # each value saved is judged with the same recording


def _jumps_between(
    view: JobView, as_sent: Mapping[str, Stream], groups: Sequence[Sequence[Steady]], tolerance: Mapping[str, float]
) -> Iterator[Missing]:
    """The same where it stepped between two runs at one throttle setting."""
    current = view.setting_value("fuel_curve.largest_current", "kn")
    for name in (name for name in as_sent if name[0] == "f"):
        digit = _step_of(as_sent[name])
        each = (jump_between(runs, name[1:], current, tolerance[name], digit) for runs in groups)
        if found := next((jump for jump in each if jump), None):
            yield _jump_missing(view, as_sent, name, found, "at one engine speed")


def _jump_missing(view: JobView, as_sent: Mapping[str, Stream], name: str, found: Jump, while_what: str) -> Missing:
    started = min(time for stream in as_sent.values() for time in stream.times[:1])
    minutes, seconds = divmod(int(found.at - started), 60)
    levels = [convert(one, "L/h", "gal/h") for one in (found.before, found.after)]
    text = (
        f"fuel flow{_of_engine(view, name)} went from {all_told(view, 'gal/h', ' to ', levels)} {while_what}, "
        f"{minutes} min "
        f"{seconds} s into the recording: check the meter and its wiring, then record again"
    )
    return Missing(text, lack=Lack.CONTRADICTS, step=STEPS, field="recording")


def _log_off(recording: Recording, groups: Sequence[Sequence[Steady]], course: Stream | None) -> float | None:
    """Only runs both ways tell: there the current drops out of what a receiver and a log show."""
    log = next(iter(recording.of("speed_through_water")), None)
    over_ground, through_water = 0.0, 0.0
    for runs in groups if log else ():
        parts = [log.between(run.start, run.end).values for run in runs] if log else []
        courses = [_course_of(run, course) for run in runs]
        ground = in_turn([run.means["s"] for run in runs], courses)
        if len(ground) > 1 and all(parts):
            over_ground += mean_of_means(ground)
            through_water += mean_of_means(in_turn([mean(values) for values in parts], courses))
    return through_water / over_ground - 1 if over_ground > 0 else None


def _senders_differ(view: JobView, name: str, senders: Sequence[Stream], runs: Sequence[Steady]) -> Missing | None:
    """Why a reading is in doubt: another sender of the same quantity says otherwise in the same runs."""
    first, *others = senders
    for other in others:
        pairs = list(_side_by_side(first, other, runs))
        allowed = [_may_differ(view, name, one) + (_step_of(first) + _step_of(other)) / 2 for one, _ in pairs]
        apart = [pair for pair, most in zip(pairs, allowed, strict=True) if abs(pair[0] - pair[1]) > most]
        if apart and len(apart) >= SHARE_OF_RUNS * len(pairs):
            one, its = max(apart, key=lambda pair: abs(pair[0] - pair[1]))
            sent, unit = {"s": ("kn", "kn"), "n": ("rev/min", "rev/min"), "f": ("L/h", "gal/h")}[name[0]]
            shown = view.unit_to_tell(unit)
            shows = [rounded(convert(value, sent, shown), 1) for value in (one, its)]
            what = f"{first.key.quantity.replace('_', ' ')}{_of_engine(view, name)}"
            text = (
                f"{what}: {_called(first)} shows {shows[0]} where {_called(other)} shows {shows[1]} {shown}; find out "
                "which is right, then record with that one alone or type the steps"
            )
            return Missing(text, lack=Lack.CONTRADICTS, step=STEPS, field="recording")
    return None


def _called(stream: Stream) -> str:
    return f"source {stream.key.source}" if stream.key.source else "one source"


def _side_by_side(first: Stream, other: Stream, runs: Sequence[Steady]) -> Iterator[tuple[float, float]]:
    """Means of two senders over each run that both were heard in."""
    for run in runs:
        one, its = (stream.between(run.start, run.end) for stream in (first, other))
        if one.times and its.times and its.times[-1] - its.times[0] >= INTO_A_RUN:
            yield mean(one.values), mean(its.values)


def _may_differ(view: JobView, name: str, value: float) -> float:
    """How far two sound instruments may lie apart, in the unit of their samples."""
    if name[0] == "s":
        return 2 * view.setting_value("fuel_curve.speed_accuracy", "kn") + RECEIVERS_DIFFER * value
    if name[0] == "n":
        return 2 * view.setting_value("fuel_curve.engine_speed_accuracy", "rev/min")
    return math.sqrt(2) * view.setting_value("fuel_curve.flow_meter_accuracy", "%") / 100 * value


def _step_of(stream: Stream) -> float:
    """The smallest step between two values a sender shows; a coarse display may be half of it off."""
    return min((high - low for low, high in pairwise(sorted(set(stream.values)))), default=0.0)


def _agreed(senders: Mapping[str, Sequence[Stream]], doubted: Mapping[str, Missing]) -> Iterator[str]:
    sound = [sent for name, sent in senders.items() if len(sent) > 1 and name not in doubted]
    several = {sent[0].key.quantity.replace("_", " "): len(sent) for sent in sound}
    yield from (f"; its {count} sources of {quantity} agree" for quantity, count in several.items())


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
            of = _of_engine(view, name)
            flows = [convert(flow, "L/h", "gal/h") for flow in (low, high)]
            span = (
                all_told(view, "gal/h", " to ", flows)
                if name[0] == "n"
                else f"{rounded(low)} to {rounded(high)} rev/min"
            )
            against = f"{'fuel flow' if name[0] == 'n' else 'engine speed'} went from {span}"
            text = f"{quantity}{of} did not change at all while {against}: it is dead or frozen; record again"
            return Missing(text, lack=Lack.CONTRADICTS, step=STEPS, field="recording")
    return None


def _heard_twice(view: JobView, streams: Mapping[str, Stream]) -> dict[str, Missing]:
    """Why readings of engines are in doubt: two are the same to the last digit, so one engine is heard as both."""
    doubted = {}
    for (name, one), (other, its) in combinations(streams.items(), 2):
        if name[0] == other[0] and is_copy(one, its):
            what = one.key.quantity.replace("_", " ")
            pair = " and ".join(view.vessel.engines[int(each[1:])].position for each in (name, other))
            text = (
                f"{what} is the same to the last digit for {pair}: one engine is heard under both numbers; set the "
                "other one's adapter to its own, then record again"
            )
            doubted[name] = Missing(text, lack=Lack.CONTRADICTS, step=STEPS, field="recording")
    return doubted


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
    any_course = _stretches(tuple(streams.items()), tuple(tolerance.values()), seconds)
    if course is None:
        return list(any_course)
    steady_course = view.setting_value("fuel_curve.steady_course", "deg")
    held = _stretches((*streams.items(), ("course", course)), (*tolerance.values(), steady_course), seconds)
    apart = [one for one in any_course if all(one.end < other.start or one.start > other.end for other in held)]
    return [*held, *apart]


@lru_cache(maxsize=4)  # each value saved is judged with the same recording; it is cut once
def _stretches(
    streams: tuple[tuple[str, Stream], ...], tolerance: tuple[float, ...], seconds: float
) -> tuple[Steady, ...]:
    widths = {name: width for (name, _), width in zip(streams, tolerance, strict=True)}
    return steady_stretches(dict(streams), widths, seconds, longest_gap=max(map(_longest_gap, dict(streams).values())))


def _longest_gap(stream: Stream) -> float:
    """A longer silence is one: where an instrument sends seldom, more than that one value of it was lost [s]."""
    apart = [later - earlier for earlier, later in pairwise(stream.times)]
    return max(LONGEST_GAP, min(LOST_ONE * median(apart), LONGEST_LOSS)) if apart else LONGEST_GAP


@lru_cache(maxsize=16)  # for the same reason
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


def _watched(view: JobView, recording: Recording) -> tuple[dict[str, tuple[Stream, ...]], dict[str, float]]:
    """The streams a recording is cut by, with their tolerances: "n0", "f0" for the first engine, "s" for speed.

    Each comes from as many senders as were heard; the recording is cut by the first, the longest.
    """
    missing = []
    engines = view.vessel.engines
    instances = engine_numbers([engine.network_instance for engine in engines])  # None is heard by no stream
    senders: dict[str, tuple[Stream, ...]] = {}
    tolerance: dict[str, float] = {}
    for quantity, letter, width in (
        ("engine_speed", "n", view.setting_value("fuel_curve.steady_engine_speed", "rev/min")),
        ("fuel_flow", "f", convert(view.setting_value("fuel_curve.steady_fuel_flow", "gal/h"), "gal/h", "L/h")),
    ):
        heard = recording.of(quantity)
        for number, (engine, instance) in enumerate(zip(engines, instances, strict=True)):
            found = tuple(one for one in heard if engine_instance(one.key.instance, len(engines)) == str(instance))
            if found:
                senders[f"{letter}{number}"], tolerance[f"{letter}{number}"] = found, width
            else:
                what = f"the recording has no {quantity.replace('_', ' ')}"
                missing.append(not_heard(what, engines, engine, heard))
    speeds = recording.of("speed_over_ground")
    if speeds:
        senders["s"], tolerance["s"] = speeds, view.setting_value("fuel_curve.steady_speed", "kn")
    else:
        missing.append("the recording has no speed over ground")
    if missing:
        raise NotEnoughData(*dict.fromkeys(missing), lack=Lack.NOT_IN_RECORDING, step=STEPS, field="recording")
    return senders, tolerance


def _of_engine(view: JobView, name: str) -> str:
    return "" if name == "s" else f" of the {view.vessel.engines[int(name[1:])].position} engine"


def _engine_speed(stretch: Steady, view: JobView) -> float:
    return mean([stretch.means[f"n{number}"] for number in range(len(view.vessel.engines))])


def _held(view: JobView, runs: Sequence[Steady], course: Stream | None, started: float) -> Held:
    """One step out of the stretches held at it, in order of time."""
    engines = range(len(view.vessel.engines))
    minutes, seconds = divmod(int(runs[0].start - started), 60)
    return Held(
        name=f"{minutes} min {seconds} s into the recording",
        engine_speeds=tuple(mean([run.means[f"n{number}"] for run in runs]) for number in engines),
        flows=tuple(convert(mean([run.means[f"f{number}"] for run in runs]), "L/h", "gal/h") for number in engines),
        legs=in_turn([run.means["s"] for run in runs], [_course_of(run, course) for run in runs]),
        stretches=len(runs),
        speed_deviation=math.sqrt(mean([_of_mean(run) ** 2 for run in runs])),
    )


def _of_mean(run: Steady) -> float:
    """Standard error of the mean speed of a stretch [kn]."""
    return run.standard_deviations["s"] * math.sqrt(SECONDS_PER_INDEPENDENT_READING / max(run.seconds, 1.0))


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
