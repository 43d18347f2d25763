"""A swing from recorded straight runs, against the course over ground."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import lru_cache, partial

import attrs

from garboard.findings import Doubt, Finding, Lack, NotEnoughData, Number, in_full, rounded
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.samples import Recording, Stream
from garboard.series import compass_angle, mean, signed_angle, steady_stretches, unwrapped
from garboard.uncertainty import MeasuredValue, Part

from .currents import Current, CurrentErrors, MeasuredCurrent, contradicts, current_errors, entered_current, fit_current
from .deviation import FEWEST_HEADINGS, WIDEST_GAP, widest_gap
from .directions import deviation_of, magnetic_from_true
from .mixed import Sound, mixed_words, sound, two_senders, without
from .rates import finite_only
from .sensor_findings import longest_of_each
from .sensors import (
    Remark,
    dated_apart,
    in_range,
    is_true,
    longest,
    name_of,
    receivers_apart,
    see_that_it_lives,
    standstills,
    strangers_only_told,
    unheard,
    variation_here,
)
from .steps import STRAIGHT_RUNS
from .swing_finding import Shared, SwingPoint, of_variation, swing_finding, swung_one_by_one
from .variation import Variation

STEADY_WITHIN = {"heading": 4.0, "course": 6.0}  # half widths [deg]
SHORTEST_RUN = 15.0  # [s]
TURNED_ABOUT = 30.0  # a set so near to the opposite was entered as where the current comes from [deg]
NO_COURSE = "the recording holds no course over ground"
BY_RUNS = {"step": STRAIGHT_RUNS, "field": "runs_recording"}
"""Where a recording of straight runs belongs."""


def compute(view: JobView) -> Iterable[Finding]:
    """A swing from recorded straight runs against course over ground, source by source."""
    asking = view.asking()
    recording = asking.recording(STRAIGHT_RUNS, "runs_recording")
    current = entered_current(asking, STRAIGHT_RUNS)
    heard = sound(recording)
    course = longest(heard.recording.of("course_over_ground"))
    headings = longest_of_each(heard.recording, heard)
    unsound = [source for source in heard.senders if heard.has_two_senders(source)]
    if recording.streams:
        need = partial(asking.need, lack=Lack.NOT_IN_RECORDING, step=STRAIGHT_RUNS, field="runs_recording")
        need(course is not None, NO_COURSE)
        need(bool(headings or unsound), "the recording holds no heading")
    asking.check()
    variation = view.once(variation_here)
    silent = unheard(view, {*headings, *unsound})

    def of_source(source: str, is_alike: bool = False) -> Finding:
        if source in silent:
            raise NotEnoughData(silent[source])
        if source in unsound:
            raise NotEnoughData(two_senders(name_of(view, source), BY_RUNS))
        if course is None:
            raise NotEnoughData(NO_COURSE, lack=Lack.NOT_IN_RECORDING, **BY_RUNS)
        return _of_runs(view, heard, headings[source], course, current, variation, is_alike)

    sources = sorted({*headings, *unsound, *silent})
    found = swung_one_by_one(sources, of_source, lambda source: name_of(view, source))
    return strangers_only_told(view, sources, found, STRAIGHT_RUNS)


def _of_runs(
    view: JobView,
    heard: Sound,
    heading: Stream,
    course: Stream,
    entered: Current,
    variation: Variation,
    is_alike: bool,
) -> Finding:
    """A swing of one source."""
    about, errors = name_of(view, heading.key.source), current_errors(view)
    recording = heard.recording
    heading, course, remarks = _alive(view, heading, course)
    speed = longest(recording.of("speed_through_water")) or longest(recording.of("speed_over_ground"))
    runs = straight_runs(heading, course, speed, entered.boat_speed, _speed_beside(course, recording))
    remarks += receivers_apart(recording)
    dated = dated_apart(view, recording)
    if dated:
        remarks.append(("heading_calibration.straight_runs.dated_apart", dated))
    if heard.clock:
        remarks.append(("heading_calibration.straight_runs.clocks_mixed", mixed_words(heard)))
    allowed = _allowed_for(entered, runs, variation.east, errors)
    same = is_true(heading) == is_true(course)
    return swing_finding(
        view,
        about,
        in_range(lambda: [run.reading(variation.east, allowed.bow_of(run, variation.east)) for run in runs]),
        Shared(
            constant=() if same else of_variation(variation),
            vector=allowed.vector,
            unknown=allowed.unknown,
            is_alike=is_alike,
        ),
        BY_RUNS,
        remarks=[*remarks, *allowed.remarks],
        doubts=allowed.doubts,
        numbers=() if allowed.shown is None else _numbers_of(allowed.shown, errors),
    )


@frozen(kw_only=True)
class _Allowed:
    """The current that is allowed for: as entered, or as the runs show it, and what either leaves open."""

    entered: Current
    shown: MeasuredCurrent | None
    vector: tuple[Part, ...]
    unknown: float = 0.0
    remarks: tuple[Remark, ...] = ()
    doubts: tuple[Doubt, ...] = ()

    def bow_of(self, run: Run, variation: float) -> float:
        """Where the bow pointed on a run, true [deg]."""
        if self.shown is None:
            return self.entered.heading(run.true_course(variation), run.speed)
        return self.shown.heading(run.true_course(variation), run.over_ground or 0.0)


def _allowed_for(entered: Current, runs: Sequence[Run], variation: float, errors: CurrentErrors) -> _Allowed:
    """The current as entered, or as the runs show it where that is known closer or contradicts what was entered."""
    speed = mean([run.speed for run in runs]) if runs else math.inf
    vector, unknown = in_range(lambda: entered.parts(speed, errors)), in_range(lambda: entered.unknown(speed))
    as_entered = _Allowed(entered=entered, shown=None, vector=vector, unknown=unknown)
    shown = _shown_by(runs, variation)
    if shown is None:
        return as_entered
    as_shown = _Allowed(entered=entered, shown=shown, vector=shown.parts(errors))
    if contradicts(entered, shown, errors):
        words = _other_current(entered, shown)
        told = ("heading_calibration.straight_runs.other_current", f"{words} The measured one is used.")
        doubt = Doubt(words, step=STRAIGHT_RUNS, field="current_speed")
        return attrs.evolve(as_shown, remarks=(told,), doubts=(doubt,))
    return as_shown if _reach(as_shown.vector) < _reach(vector) else as_entered


def _alive(view: JobView, heading: Stream, course: Stream) -> tuple[Stream, Stream, list[Remark]]:
    """Heading and course without the time in which one stood still while the other turned on, and what to say of it.

    Raises NotEnoughData where too few runs are left.
    """
    still = [
        (one, standstills(one, other, fine_never_stands=False)) for one, other in ((heading, course), (course, heading))
    ]
    windows = [window for _, each in still for window in each]
    left = [without(one, windows) for one in (heading, course)]
    headings = [run.heading for run in straight_runs(left[0], left[1], None)] if windows else []
    if not windows or not headings or widest_gap(headings) > WIDEST_GAP or len(headings) < FEWEST_HEADINGS:
        for one, other in ((heading, course), (course, heading)):
            see_that_it_lives(one, name_of(view, one.key.source), BY_RUNS, beside=other)
    remarks = []
    for one, each in still:
        if each:
            seconds = sum(end - start for start, end in each)
            what = one.key.quantity.replace("_", " ")
            words = f"The {what} stood still for {rounded(seconds)} s while the boat turned: see whether it freezes. "
            remarks.append(("heading_calibration.straight_runs.stood_still", words + "That part is left out."))
    return left[0], left[1], remarks


def _reach(parts: tuple[Part, ...]) -> float:
    return MeasuredValue.of_parts(0.0, "deg", parts).expanded_uncertainty


def _speed_beside(course: Stream, recording: Recording) -> Stream | None:
    """The speed over ground of a course's own receiver, else the longest."""
    speeds = recording.of("speed_over_ground")
    own = [speed for speed in speeds if speed.key.source == course.key.source]
    return next(iter((*own, *speeds)), None)


def _shown_by(runs: Sequence[Run], variation: float) -> MeasuredCurrent | None:
    """The current the runs show; None where they go not all round, or no speed over ground was recorded."""
    known = [(run.true_course(variation), run.over_ground) for run in runs if run.over_ground is not None]
    if len(known) < len(runs) or not known or widest_gap([course for course, _ in known]) > WIDEST_GAP:
        return None
    try:
        return fit_current([course for course, _ in known], [speed for _, speed in known])
    except ValueError:
        return None


def _other_current(entered: Current, shown: MeasuredCurrent) -> str:
    towards = "" if entered.sets_towards is None else f" setting {rounded(entered.sets_towards):0>3}"
    known = entered.sets_towards is not None
    back = known and abs(signed_angle(shown.sets_towards + 180 - (entered.sets_towards or 0.0))) <= TURNED_ABOUT
    comes_from = " That is where it comes from." if back else ""
    return (
        f"The runs show a current of {rounded(shown.drift, 1)} kn setting {rounded(shown.sets_towards):0>3}, entered "
        f"is {in_full(entered.drift)} kn{towards}.{comes_from}"
    )


def _numbers_of(shown: MeasuredCurrent, errors: CurrentErrors) -> tuple[Number, ...]:
    return (
        Number.of("current by the runs", shown.measured(errors)),
        Number("current sets towards, true", shown.sets_towards, "deg", decimals=0),
    )


@frozen(kw_only=True)
class Run:
    """A straight run: means of heading and course over ground [deg], speed through the water and over ground [kn],
    time [s]. The speed over ground is None where it was not recorded."""

    heading: float
    heading_is_true: bool
    course: float
    course_is_true: bool
    speed: float
    seconds: float
    over_ground: float | None = None

    def true_course(self, variation: float) -> float:
        """Course over ground, true [deg]."""
        return self.course if self.course_is_true else self.course + variation

    def reading(self, variation: float, bow: float) -> SwingPoint:
        """Compass heading and deviation, with a variation [deg] and where the bow pointed, true [deg]."""
        compass = magnetic_from_true(self.heading, variation) if self.heading_is_true else self.heading
        magnetic = magnetic_from_true(bow, variation)
        return SwingPoint(compass_angle(compass), deviation_of(magnetic, compass))


@lru_cache(maxsize=8)  # each value saved is judged with the same recording; it is cut once
def straight_runs(
    heading: Stream,
    course: Stream,
    speed: Stream | None,
    boat_speed: float | None = None,
    over_ground: Stream | None = None,
) -> tuple[Run, ...]:
    """Straight runs in a recording, in order of time.

    heading     : of one source [deg]
    course      : course over ground [deg]
    speed       : through the water, or over ground for want of it [kn]
    boat_speed  : used where there is no speed in the recording [kn]
    over_ground : speed over ground, where it was recorded [kn]
    returns     : runs of 15 s or longer in which heading keeps within 4 and course within 6 either way [deg]
    """
    watched = {"heading": finite_only(heading), "course": finite_only(course)}
    steady = steady_stretches(
        {name: Stream(stream.key, stream.times, unwrapped(stream.values)) for name, stream in watched.items()},
        STEADY_WITHIN,
        SHORTEST_RUN,
    )
    runs = []
    for stretch in steady:
        own, ground = (_mean_of(stream, stretch.start, stretch.end) for stream in (speed, over_ground))
        runs.append(
            Run(
                heading=compass_angle(stretch.means["heading"]),
                heading_is_true=is_true(heading),
                course=compass_angle(stretch.means["course"]),
                course_is_true=is_true(course),
                speed=(boat_speed or 0.0) if own is None else own,
                seconds=stretch.seconds,
                over_ground=ground,
            )
        )
    return tuple(runs)


def _mean_of(speed: Stream | None, start: float, end: float) -> float | None:
    values = finite_only(speed.between(start, end)).values if speed is not None else ()
    return mean(values) if values else None
