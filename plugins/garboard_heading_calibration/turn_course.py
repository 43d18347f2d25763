"""A turn beside the course over ground: over what time it tells, and how far both can be relied on."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from itertools import accumulate, groupby, pairwise
from typing import NamedTuple

import attrs

from garboard.numeric import slope
from garboard.samples import Stream
from garboard.series import mean, unwrapped
from garboard.uncertainty import MeasuredValue, Part

from .rates import LONGEST_GAP, LOW_PASS, UNDER_WAY
from .settings import RateErrors
from .totals import COURSE_LAG, COURSE_LAG_PART, COURSE_NOISE_PART, by_course, by_heading, by_rate
from .turn_record import GAPS, NO_COURSE, NO_WAY, Check, CourseTotal, Turn

SENSOR_LAG = 3.0  # of a sensor's filter behind the receiver, standard deviation; recordings of real boats show it [s]
RECEIVERS_APART = 15.0  # one receiver lags another, and antennas forward and aft differ; common practice [deg]
NOISE_OVER = 6.0  # noise shows against what lies so far before and after: filters smear it over some seconds [s]
SMEARED = 1.25  # of a receiver that smooths its course over 4 to 5 s noise shows that much smaller; reckoned for noise
# that forgets itself within that time
SMOOTHED_LAG = 4.0  # and its course follows the boat so much later, standard deviation [s]
NOISE_SAMPLES = 200  # as many tell the noise of a direction
END_OVER = 2.0  # a direction at one end of a turn is read over so long [s]
UNKNOWN_SPEED = 3.0  # taken where no speed is recorded: slow for such a turn, so that a current tells much [kn]


def held_against(turn: Turn, totals: Sequence[CourseTotal]) -> Turn:
    """A turn beside what the receivers' courses say of it, longest first.

    Where two of them contradict each other, the one nearer to the sensor is held against it, and the other is kept.
    """
    told = [total for total in totals if total.degrees is not None]
    if not told:
        why = NO_COURSE if not totals else totals[0].why_not
        return attrs.evolve(turn, course_not_told=why, without_way=why == NO_WAY)
    chosen, other = told[0], None
    nearest = min(told, key=lambda one: abs(_off(one)))
    furthest = max(told, key=lambda one: abs(_off(one) - _off(nearest)))
    if abs(_off(furthest) - _off(nearest)) > RECEIVERS_APART + math.hypot(furthest.within, nearest.within):
        chosen, other = nearest, furthest
    return attrs.evolve(
        turn,
        by_course=chosen.degrees,
        by_course_within=chosen.within,
        with_way=chosen.with_way,
        check=chosen.check,
        course_source=chosen.source,
        other_course=other,
    )


def _off(course: CourseTotal) -> float:
    return course.check.apart if course.check else 0.0


def course_total(
    turn: Turn, stream: Stream, rate: Stream, course: Stream, speeds: Sequence[Stream], errors: RateErrors
) -> CourseTotal:
    """What one receiver's course says of a turn. Its own speed tells when it had way on, else another's."""
    source = course.key.source
    own = [speed for speed in speeds if speed.key.source == source]
    speed = next(iter((*own, *speeds)), None)
    start, end = _with_way(speed, turn.start, turn.end)
    part, with_way = stream.between(start, end), None
    (first, last), circles = _whole_circles(part)
    if (start, end) != (turn.start, turn.end):
        if not circles:
            return CourseTotal(source=source, why_not=NO_WAY)
        (start, end), with_way = (first, last), circles
    whole = _by_course(turn, rate, course, speed, (start, end))
    if whole is None:
        heard = len(course.between(start, end))
        return CourseTotal(source=source, why_not=GAPS if heard else NO_COURSE)
    checked = (_by_course(turn, rate, course, speed, (first, last)) if circles else None) or whole
    if checked is whole:
        circles, first, last = with_way or turn.degrees, start, end
    lag = Part("lag of the sensor", SENSOR_LAG * _rate_change(rate, first, last))
    ours = own_total(turn.quantity, circles, last - first, turn.noise, errors)
    ours = MeasuredValue.of_parts(ours.value, ours.unit, (*ours.parts, lag))
    return CourseTotal(
        source=source,
        degrees=whole.value,
        within=whole.expanded_uncertainty,
        with_way=with_way,
        check=Check(circles, ours.expanded_uncertainty, checked.value, _as_smeared(checked).expanded_uncertainty),
    )


def _as_smeared(course: MeasuredValue) -> MeasuredValue:
    """A course of a receiver that may smooth it: before a sensor is called wrong, noise that does not show and a longer
    lag count, too."""
    times = {COURSE_NOISE_PART: SMEARED, COURSE_LAG_PART: SMOOTHED_LAG / COURSE_LAG}
    parts = [part.times(times.get(part.source, 1.0)) for part in course.parts]
    return MeasuredValue.of_parts(course.value, course.unit, parts)


def _by_course(
    turn: Turn, rate: Stream, course: Stream, speed: Stream | None, time: tuple[float, float]
) -> MeasuredValue | None:
    """Degrees turned by a course in a time; None where it does not tell."""
    change = change_of(course, *time, turn.likely_rate)
    if change is None:
        return None
    knots = speed.between(*time).values if speed is not None else ()
    slowest = max(mean(knots), UNDER_WAY) if knots else UNKNOWN_SPEED
    return by_course(change.degrees, slowest, _rate_change(rate, *time), change.missing, change.noise)


def _rate_change(rate: Stream, start: float, end: float) -> float:
    """Low-passed rate of turn at the end of a time less that at its beginning [deg/s]."""
    first, last = (rate.between(time - LOW_PASS / 2, time + LOW_PASS / 2).values for time in (start, end))
    return mean(last) - mean(first) if first and last else 0.0


def own_total(quantity: str, degrees: float, seconds: float, noise: float, errors: RateErrors) -> MeasuredValue:
    """Degrees turned by the sensor itself."""
    return by_heading(degrees, noise) if quantity == "heading" else by_rate(degrees, seconds, noise, errors)


def _whole_circles(stream: Stream) -> tuple[tuple[float, float], float]:
    """Begin and end of the last whole circles of a rate of turn or a heading, and their degrees; 0 without a circle.

    A steady current turns the course aside by as much at the end of a circle as at its beginning: it drops out.
    """
    if not len(stream):
        return (0.0, 0.0), 0.0
    running = unwrapped(stream.values) if stream.key.quantity == "heading" else _running(stream)
    circles = 360.0 * (abs(running[-1] - running[0]) // 360)
    first = max(index for index, value in enumerate(running) if abs(running[-1] - value) >= circles)
    if not circles:
        return (stream.times[0], stream.times[-1]), 0.0
    return (stream.times[first], stream.times[-1]), running[-1] - running[first]


def _running(rate: Stream) -> list[float]:
    """Degrees turned up to each sample; none in a gap."""
    samples = list(rate)
    steps = [(b - a, (x + y) / 2) for (a, x), (b, y) in pairwise(samples)]
    return list(accumulate((step * value for step, value in steps if step <= LONGEST_GAP), initial=0.0))


def _with_way(speed: Stream | None, start: float, end: float) -> tuple[float, float]:
    """Begin and end of the longest stretch with way on; all of the time where no speed says otherwise."""
    samples = list(speed.between(start, end)) if speed is not None else []
    if all(knots >= UNDER_WAY for _, knots in samples):
        return start, end
    stretches = [
        [time for time, _ in group] for fast, group in groupby(samples, key=lambda one: one[1] >= UNDER_WAY) if fast
    ]
    longest = max(stretches, key=lambda times: times[-1] - times[0], default=[start])
    return longest[0], longest[-1]


class Change(NamedTuple):
    """Change of a direction over a time, the most that may be missing of it at its ends, its noise [deg]."""

    degrees: float
    missing: float
    noise: float


def change_of(direction: Stream, start: float, end: float, rate: float) -> Change | None:
    """How far a direction turned; None where it does not tell.

    It does not tell when it starts late, ends early, or leaves a gap in which the boat turned more than a
    quarter circle at its rate.
    """
    first, last = max(bisect_right(direction.times, start) - 1, 0), bisect_left(direction.times, end) + 1
    times = direction.times[first:last]
    if len(times) < 3 or times[-1] <= times[0]:
        return None
    missing = max(times[0] - start, 0.0) + max(end - times[-1], 0.0)
    gap = max(missing, *(later - earlier for earlier, later in pairwise(times)))
    if gap * rate > 90:
        return None
    wide = slice(
        min(first, bisect_left(direction.times, start - END_OVER / 2)),
        max(last, bisect_right(direction.times, end + END_OVER / 2)),
    )
    times, total = direction.times[wide], unwrapped(direction.values[wide])
    heard = _end_at(end, times, total) - _end_at(start, times, total)
    degrees = heard * (end - start) / (end - start - missing)  # what was not heard turned at the same rate
    return Change(degrees, missing * rate, noise_of(direction.between(start, end)))


def _end_at(time: float, times: Sequence[float], values: Sequence[float]) -> float:
    """The value at an end of a turn, on the line through what lies within a second; by its neighbours where few do.

    The line takes noise out, and is never worse than one sample.
    """
    first, last = bisect_left(times, time - END_OVER / 2), bisect_right(times, time + END_OVER / 2)
    if last - first < 3 or not times[0] <= time <= times[-1]:
        return _at(time, times, values)
    near, read = times[first:last], values[first:last]
    return mean(read) + slope(near, read) * (time - mean(near))


def noise_of(direction: Stream) -> float:
    """Standard deviation of a direction on one sample, by how far each lies off the line from before to after it [deg].

    A steady turn drops out. What a filter smears over more than a few seconds does not show.

    >>> from garboard.samples import StreamKey
    >>> steady = tuple(2.5 * second % 360 for second in range(300))
    >>> off = tuple((angle + 2 * math.sin(number**2)) % 360 for number, angle in enumerate(steady))
    >>> [round(noise_of(Stream(StreamKey("heading"), tuple(range(300)), angles)), 1) for angles in (steady, off)]
    [0.0, 1.5]
    """
    times, total = direction.times, unwrapped(direction.values)
    off = []
    for index in range(0, len(times), max(len(times) // NOISE_SAMPLES, 1)):
        before = bisect_right(times, times[index] - NOISE_OVER) - 1
        after = bisect_left(times, times[index] + NOISE_OVER)
        if before < 0 or after == len(times):
            continue
        share = (times[index] - times[before]) / (times[after] - times[before])
        line = (1 - share) * total[before] + share * total[after]
        off.append((total[index] - line) ** 2 / (1 + share**2 + (1 - share) ** 2))  # three samples make it
    return math.sqrt(mean(off)) if off else 0.0


def _at(time: float, times: Sequence[float], values: Sequence[float]) -> float:
    """The value at a time, on the straight line between its neighbours; before the first and after the last theirs."""
    index = bisect_right(times, time)
    if index == 0 or index == len(times):
        return values[max(index - 1, 0)]
    earlier, later = times[index - 1], times[index]
    return values[index - 1] + (values[index] - values[index - 1]) * (time - earlier) / (later - earlier)
