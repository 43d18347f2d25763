"""What the calculators share: sensors by name, findings one sensor at a time, the variation of the job's place."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from itertools import combinations
from typing import TypeVar

import attrs

from garboard.findings import Basis, Finding, Lack, Missing, NotEnoughData, Verdict, not_enough_data, rounded
from garboard.job_view import JobView
from garboard.records import HeadingSensor
from garboard.samples import Recording, Stream
from garboard.series import COARSE, is_frozen, mean, unchanging_stretches, unwrapped

from .comparison import compare_headings
from .rates import UNDER_WAY, finite_only, low_passed
from .steps import COMPARISON, PLACE, STEADY_TURN, STRAIGHT_RUNS
from .variation import FIRST_YEAR, LAST_YEAR, Variation, variation_at

Item = TypeVar("Item")

MOVED_ON = 1.5  # what another direction moves on by, beyond a step, before one that stood still is frozen [deg]
TELLING_VARIATION = 4.0  # a smaller variation looks like any offset [deg]
LIKE_VARIATION = 2.0  # an offset this close to the variation may be it [deg]

COURSES_APART = 5.0  # receivers' courses over ground that differ by more contradict each other; common practice [deg]
SPEEDS_APART = 0.05  # of the speed, and ...
LEAST_APART = 0.2  # ... this beside, for two speeds to contradict each other; common practice [kn]

Remark = tuple[str, str]
"""What there is to say: a finding's code and the words."""

RECORDINGS = (
    (STEADY_TURN, "turn_recording"),
    (STRAIGHT_RUNS, "runs_recording"),
    (COMPARISON, "comparison_recording"),
)
DATES_APART = datetime.timedelta(days=182)
"""What is dated farther off than this from job and recordings is of another time, or was typed wrong: a slip of one
digit of the year is a year or more, and work on a boat seldom takes so long; common practice, no source."""
FIRST_DATED = 1e8
"""Times below are seconds since the first line: such a recording carries no date [s]."""

TURNED_AWAY = 30.0
"""A direction that stands still while another turns so far is dead; wind and current do not explain it [deg]."""


def name_of(view: JobView, source: str) -> str:
    """What to call a source: the vessel's sensor that sends under it, or the source itself."""
    named = (sensor.name for sensor in view.vessel.heading_sensors if source in sensor.sources)
    return next(named, f"source {source}" if source else "the only source")


def unheard(view: JobView, heard: Collection[str]) -> dict[str, Missing]:
    """Sensors entered under a source that sends nothing while another, entered for none, is heard: by that source.

    One of them is misspelt. A sensor that is merely silent is not told: it may be switched off. Nor is any where the
    source heard may be that of a sensor entered without one.
    """
    if not all(sensor.sources for sensor in view.vessel.heading_sensors):
        return {}
    entered = {source for sensor in view.vessel.heading_sensors for source in sensor.sources}
    strange = sorted(set(heard) - entered)
    silent = [one for one in view.vessel.heading_sensors if set(heard).isdisjoint(one.sources)]
    return {
        one.sources[0]: Missing(
            f"the recording holds no heading of source {', '.join(one.sources)}; heard is {', '.join(strange)}. See "
            "the source entered for the sensor",
            lack=Lack.NOT_IN_RECORDING,
            field="heading_sensors.source",
            of=one.name,
        )
        for one in silent
        if strange
    }


def sensors_of(view: JobView) -> Sequence[HeadingSensor]:
    """The vessel's heading sensors. Raises NotEnoughData when none is entered."""
    if not view.vessel.heading_sensors:
        text = "the vessel has no heading sensor; enter it under the vessel's equipment"
        raise NotEnoughData(text, lack=Lack.NOT_ENTERED, field="heading_sensors")
    return view.vessel.heading_sensors


def is_true(stream: Stream) -> bool:
    """Whether a direction counts as true. One that does not say is magnetic as a heading, true as a course."""
    return (stream.key.reference or ("magnetic" if stream.key.quantity == "heading" else "true")) == "true"


def longest(streams: Iterable[Stream]) -> Stream | None:
    """The stream with most samples."""
    return max(streams, key=len, default=None)


def see_that_it_lives(stream: Stream, about: str, place: Mapping[str, str], beside: Stream | None = None) -> None:
    """Raises NotEnoughData for a direction that did not change at all, or not while another direction turned.

    about  : whose direction it is
    place  : step and field the recording belongs to
    beside : the other direction, where turning away from it says that one of them is dead [deg]
    """
    what = stream.key.quantity.replace("_", " ")
    if is_frozen(stream) and (last_digit(stream) < COARSE or beside is None or is_frozen(beside)):
        text = f"the {what} of {about} did not change at all: the sensor is dead or the display is frozen"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, **place)
    for part in unchanging_stretches(stream) if beside else ():
        turned = turned_away(beside, part.times[0], part.times[-1]) if beside else 0.0
        if turned > TURNED_AWAY:
            text = f"the {what} of {about} did not change while the boat turned {rounded(turned)} degrees"
            raise NotEnoughData(f"{text}: the sensor is dead or frozen", lack=Lack.CONTRADICTS, **place)


def turned_away(direction: Stream, start: float, end: float) -> float:
    """How far apart the directions of a time are, quick noise taken out [deg]."""
    part = finite_only(direction).between(start, end)
    total = low_passed(Stream(part.key, part.times, unwrapped(part.values))) if len(part) else ()
    return max(total) - min(total) if total else 0.0


def last_digit(stream: Stream) -> float:
    """The step of a direction's last digit as its values show it: 1, 0.1, or 0 for a finer one [deg]."""
    values = finite_only(stream).values
    if all(value == round(value) for value in values):
        return 1.0
    return 0.1 if all(value == round(value, 1) for value in values) else 0.0


def standstills(stream: Stream, beside: Stream, fine_never_stands: bool = True) -> tuple[tuple[float, float], ...]:
    """Begin and end of each part in which a direction stood still though it should have moved [s].

    One of fine steps never stands still on a boat, unless told otherwise. One in tenths or whole degrees may: it is
    only called frozen where the other moved on by more than that step and what noise may do.
    """
    step = last_digit(stream)
    return tuple(
        (part.times[0], part.times[-1])
        for part in unchanging_stretches(stream)
        if (fine_never_stands and not step) or turned_away(beside, part.times[0], part.times[-1]) > step + MOVED_ON
    )


def receivers_apart(recording: Recording) -> list[Remark]:
    """Two courses over ground, or two speeds of one kind, that contradict each other."""
    moving = next(iter(recording.of("speed_over_ground")), None)
    if moving is not None and mean(finite_only(moving).values or (0.0,)) < UNDER_WAY:
        return []  # the course of a boat that lies still wanders anywhere
    told = []
    for one, other in combinations(recording.of("course_over_ground"), 2):
        apart = _courses_apart(one, other)
        if one.key.reference == other.key.reference and abs(apart) > COURSES_APART:
            words = (
                f"The courses over ground of sources {one.key.source} and {other.key.source} differ by "
                f"{rounded(abs(apart))} degrees: find out which is wrong."
            )
            told.append(("heading_calibration.receivers.courses_differ", words))
    for quantity, what in (("speed_over_ground", "speeds over ground"), ("speed_through_water", "speeds of logs")):
        for one, other in combinations(recording.of(quantity), 2):
            first, second = _means_together(one, other)
            if abs(first - second) > LEAST_APART + SPEEDS_APART * max(first, second):
                words = (
                    f"The {what} of sources {one.key.source} and {other.key.source} differ: {rounded(first, 1)} and "
                    f"{rounded(second, 1)} kn. Find out which is wrong."
                )
                told.append(("heading_calibration.receivers.speeds_differ", words))
    return told


def _courses_apart(one: Stream, other: Stream) -> float:
    try:
        found = compare_headings(one, other)
    except ValueError:
        return 0.0
    return found.difference if abs(found.difference) > found.mean_difference.expanded_uncertainty else 0.0


def _means_together(one: Stream, other: Stream) -> tuple[float, float]:
    """Mean of either in the time of both; zeros where they share none."""
    if not len(one) or not len(other):
        return 0.0, 0.0
    start, end = max(one.times[0], other.times[0]), min(one.times[-1], other.times[-1])
    parts = [finite_only(stream.between(start, end)).values for stream in (one, other)]
    return (mean(parts[0]), mean(parts[1])) if all(parts) else (0.0, 0.0)


def is_like_the_variation(view: JobView, degrees: float) -> bool:
    """Whether an offset is the variation of the job's place, as when one of two directions is true, one magnetic."""
    try:
        east = view.once(variation_here).east
    except NotEnoughData:
        return False
    return abs(east) >= TELLING_VARIATION and min(abs(degrees - east), abs(degrees + east)) <= LIKE_VARIATION


def has_sensors(view: JobView) -> bool:
    """Whether heading is any matter on this vessel."""
    return bool(view.vessel.heading_sensors)


def begun(step: str) -> Callable[[JobView], bool]:
    """Whether anything was entered under a step that may be left out."""

    def applies(view: JobView) -> bool:
        entered = any(measurement.step == step for measurement in view.measurements)
        return entered or any(disagreement.place[0] == step for disagreement in view.disagreements)

    return applies


def one_by_one(
    items: Iterable[Item], find: Callable[[Item], Finding], about: Callable[[Item], str], basis: tuple[Basis, ...]
) -> Iterable[Finding]:
    """A finding for each item; what one lacks does not keep the others from theirs."""
    for item in items:
        try:
            yield find(item)
        except NotEnoughData as lacking:
            yield not_enough_data(about(item), lacking.missing, basis)


def strangers_only_told(
    view: JobView, sources: Iterable[str], found: Iterable[Finding], step: str
) -> tuple[Finding, ...]:
    """Findings, one for each source: those of a source that is no sensor of the boat stand in nobody's way."""
    return tuple(
        _only_told(one, step) if _is_strange(view, source) else one for source, one in zip(sources, found, strict=True)
    )


def _is_strange(view: JobView, source: str) -> bool:
    """Whether a source is of none of the boat's sensors. Where one is entered without a source, it may be that one."""
    sensors = view.vessel.heading_sensors
    return bool(sensors) and all(sensor.sources and source not in sensor.sources for sensor in sensors)


def _only_told(found: Finding, step: str) -> Finding:
    if found.verdict is Verdict.PASS:
        return found
    code = found.code or f"{step}.other_source"  # what lacks data has no code of its own
    sentence = f"{found.short or found.sentence} It is not one of the boat's heading sensors."
    return attrs.evolve(found, code=code, verdict=Verdict.ADVISE, sentence=sentence, short="", missing=())


def variation_here(view: JobView) -> Variation:
    """The variation at the job's place and date. Raises NotEnoughData, with every reason, when it cannot be had."""
    asking = view.asking()
    latitude, longitude = asking.amount(PLACE, "latitude", "deg"), asking.amount(PLACE, "longitude", "deg")
    asking.settled(PLACE, "date")
    date, typed = _date(view), view.value(PLACE, "date")
    no_date = Missing("date is not entered; write it as 2026-11-25", lack=Lack.NOT_ENTERED, step=PLACE, field="date")
    if typed:
        text = f"date {str(typed)[:20]!r} cannot be read; write it as year-month-day, 2026-11-25"
        no_date = attrs.evolve(no_date, text=text, lack=Lack.UNREADABLE)
    asking.need(date is not None, no_date)
    asking.check()
    day = date or datetime.date.min
    field = "latitude" if FIRST_YEAR <= day.year < LAST_YEAR else "date"
    try:
        return variation_at(latitude, longitude, day)
    except ValueError as outside:
        raise NotEnoughData(f"variation: {outside}", lack=Lack.NOT_COVERED, step=PLACE, field=field) from None


def _date(view: JobView) -> datetime.date | None:
    """The date entered; where there is none, the day the latitude was entered, or the job was opened."""
    entered = view.value(PLACE, "date")
    measured = view.find(PLACE, "latitude")
    texts = [entered] if entered else [measured.at if measured else "", view.job.opened]
    return next((day for text in texts if (day := day_of(str(text)))), None)


def day_of(text: str) -> datetime.date | None:
    """The day of a date or a time of ISO 8601; None for any other text."""
    try:
        return datetime.date.fromisoformat(text.strip()[:10])
    except ValueError:
        return None


def recorded_on(recording: Recording) -> datetime.date | None:
    """The day a recording began, by its own clock; None for one that carries no dates, or none a calendar has."""
    first = min((stream.times[0] for stream in recording.streams.values() if len(stream)), default=0.0)
    try:
        return datetime.datetime.fromtimestamp(first, datetime.UTC).date() if first >= FIRST_DATED else None
    except (ValueError, OverflowError, OSError):
        return None


def aside(view: JobView) -> JobView:
    """The same job, for looking beside a finding: what is read in it is not what the finding rests on."""
    return JobView(**{one.name: getattr(view, one.name) for one in attrs.fields(JobView) if one.init})


def recordings(view: JobView) -> Iterable[Recording]:
    """The recordings of this job's heading steps, as far as they are here."""
    for step, field in RECORDINGS:
        try:
            recording = view.recording(step, field)
        except NotEnoughData:
            continue
        if recording is not None:
            yield recording


def dated_apart(view: JobView, recording: Recording) -> str:
    """What to say of a recording of another time than the job and all else recorded; "" where anything bears it out."""
    day = recorded_on(recording)
    steps = {step for step, _ in RECORDINGS}
    written = [view.job.opened, *(one.at for one in view.measurements if one.step in steps)]
    others = [recorded_on(one) for one in recordings(aside(view)) if one.name != recording.name]
    known = sorted({one for one in (*map(day_of, written), *others) if one is not None})
    if day is None or not known or any(abs(one - day) <= DATES_APART for one in known):
        return ""
    return f"{recording.name} is dated {day}, the job {known[0]}: see whether it is of this job, or a clock was wrong."


def in_range(
    calculate: Callable[[], Item],
    lack: Lack = Lack.OUT_OF_RANGE,
    *,
    step: str = "",
    field: str = "current_speed",
    of: str = "",
) -> Item:
    """What a calculation gives. Outside its range NotEnoughData names the place, as in `Missing`."""
    try:
        return calculate()
    except ValueError as outside:
        raise NotEnoughData(str(outside), lack=lack, step=step, field=field, of=of) from None
