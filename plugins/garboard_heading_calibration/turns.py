"""Steady turns in a recording: how far, how fast, how evenly, and whether the course over ground agrees.

How each figure is defined:

- A turn goes one way and turns 90 degrees or more. A straight stretch (rate, low-passed, below 0.3 deg/s) of
  10 s or longer ends it and is no part of it; a shorter one is a lapse within it.
- Degrees turned: rate of turn integrated by the trapezoid rule over time; from a heading, its running total.
- Share in band: share of the time in which the rate as sampled (from a heading: over 5 s) is inside the band.
- Longest lapse and smoothness: on the rate low-passed by a running mean over 2 s, so that one noisy sample
  neither makes nor ends a lapse.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from itertools import accumulate, groupby, pairwise
from typing import NamedTuple

import attrs

from garboard.samples import Recording, Stream, StreamKey
from garboard.series import mean, standard_deviation, turned, unchanging_stretches, unwrapped
from garboard.uncertainty import MeasuredValue, Part

from .settings import USUAL_RATE, RateErrors
from .totals import by_course, by_heading, by_rate

STRAIGHT_BELOW = 0.3  # [deg/s]
STRAIGHT_FOR = 10.0  # [s]
LEAST_DEGREES = 90.0
YAW_DEGREES = 20.0  # turning less than this one way is yawing about
LOW_PASS = 2.0  # [s]
HEADING_OVER = 5.0  # over a shorter time the noise of a heading makes a steady turn uneven [s]
LONGEST_GAP = 2.0  # a longer silence ends a turn [s]
STILL_FOR = 10.0  # a heading alike to its last digit so long, while the rate turns on, stands still [s]
STILL_DEGREES = 20.0  # what the rate turns in that time for the heading to be called still
SURELY_TURNED = 180.0  # when one source turns this far, another that was sending all the time has to show a turn
SENSOR_LAG = 3.0  # of a sensor's filter behind the receiver, standard deviation; recordings of real boats show it [s]
RECEIVERS_APART = 15.0  # one receiver lags another, and antennas forward and aft differ; common practice [deg]
FASTEST = 40.0  # no boat under way turns a circle any faster; common practice, no source [deg/s]
UNKNOWN_SPEED = 3.0  # taken where no speed is recorded: slow for such a turn, so that a current tells much [kn]
UNDER_WAY = 1.0  # below this speed the course over ground says nothing of where the boat points [kn]


NO_COURSE, GAPS, NO_WAY = "no course", "gaps", "no way on"
"""Why a course over ground says nothing of a turn."""


class Check(NamedTuple):
    """Degrees turned by the sensor and by a course over ground in one time, each with its expanded uncertainty [deg].

    Over whole circles where the turn has one: a steady current turns the course aside, and deviation a heading, by as
    much at the end of a circle as at its beginning.
    """

    sensor: float
    sensor_within: float
    course: float
    course_within: float

    @property
    def apart(self) -> float:
        """How much more the sensor turned [deg]."""
        return self.sensor - self.course

    @property
    def within(self) -> float:
        """What they may be apart by [deg]."""
        return math.hypot(self.sensor_within, self.course_within)


@attrs.frozen(kw_only=True)
class CourseTotal:
    """What the course over ground of one receiver says of a turn.

    source   : whose it is
    degrees  : turned by the course while the boat had way on [deg]; None where it cannot tell
    within   : its expanded uncertainty [deg]
    with_way : turned by the sensor in the same time [deg]; None where that is all of the turn
    why_not  : why it cannot tell, "" where it can
    check    : what the sensor is held against
    """

    source: str = ""
    degrees: float | None = None
    within: float = 0.0
    with_way: float | None = None
    why_not: str = ""
    check: Check | None = None


@attrs.frozen(kw_only=True)
class Turn:
    """One steady turn as one source saw it.

    source, quantity : whose rate of turn, or heading, it is from
    start, end       : [s], the recording's time
    degrees          : turned, starboard positive [deg]
    degrees_within   : its expanded uncertainty [deg]
    by_course        : turned by course over ground while the boat had way on [deg]; None where it cannot be told
    by_course_within : its expanded uncertainty [deg]
    in_band          : share of the time inside the band, 0 to 1
    longest_lapse    : longest time outside the band [s]
    smoothness       : standard deviation of the low-passed rate [deg/s]
    with_way         : turned by the source itself in the time of `by_course` [deg]; None where that is all of the turn
    without_way      : whether the boat was too slow for its course over ground to tell, but for less than a circle
    check            : what it is held against
    course_source    : whose course over ground that is
    course_not_told  : why no course over ground says anything of it; "" where one does
    other_course     : what another receiver says that contradicts `by_course`
    by_heading       : turned by the sensor's own heading, for a turn from its rate [deg]; None where it does not tell
    by_heading_within: its expanded uncertainty [deg]
    heading_still    : longest time the sensor's heading stood still to its last digit while the boat turned on [s]
    silence_before, silence_after : silence of the sensor that cuts the turn off at either end [s]
    silence          : silences within it, where parts were put together [s]
    noise            : standard deviation of what in the rate is faster than 2 s [deg/s]
    """

    source: str
    quantity: str
    start: float
    end: float
    degrees: float
    degrees_within: float
    by_course: float | None
    by_course_within: float
    in_band: float
    longest_lapse: float
    smoothness: float
    with_way: float | None = None
    without_way: bool = False
    by_heading: float | None = None
    by_heading_within: float = 0.0
    heading_still: float = 0.0
    check: Check | None = None
    course_source: str = ""
    course_not_told: str = ""
    other_course: CourseTotal | None = None
    silence_before: float = 0.0
    silence_after: float = 0.0
    silence: float = 0.0
    noise: float = 0.0

    @property
    def seconds(self) -> float:
        """Length, without silences [s]."""
        return self.end - self.start - self.silence

    @property
    def mean_rate(self) -> float:
        """Degrees by time, never negative [deg/s]."""
        return abs(self.degrees) / self.seconds

    @property
    def likely_rate(self) -> float:
        """The mean rate, or what a boat can turn at most where a sensor shows more [deg/s]."""
        return min(self.mean_rate, FASTEST)

    @property
    def direction(self) -> str:
        """Port or starboard."""
        return "starboard" if self.degrees > 0 else "port"

    @property
    def course_ratio(self) -> float | None:
        """Degrees turned by degrees of course over ground; None where the course does not tell [-]."""
        return self.compared / self.by_course if self.by_course else None

    @property
    def compared(self) -> float:
        """Degrees turned by the source in the time of `by_course` [deg]."""
        return self.degrees if self.with_way is None else self.with_way


def find_turns(
    recording: Recording,
    band: tuple[float, float] = (2.0, 3.0),
    sensors: Iterable[Sequence[str]] = (),
    errors: RateErrors = USUAL_RATE,
) -> tuple[Turn, ...]:
    """Every steady turn of a recording, source by source, in order of time.

    recording : with rates of turn, or headings from sources that send no rate of turn [-]
    band      : lowest and highest rate wanted, either way [deg/s]
    sensors   : the sources of each sensor that sends under several; any other source is a sensor of its own [-]
    errors    : what a rate of turn is good to [-, deg/s]
    returns   : the turns; none when the boat did not turn 90 degrees one way [-]

    >>> from garboard.samples import Sample, gather
    >>> log = gather("log", [Sample(float(second), "rate_of_turn", 2.5, "7") for second in range(181)])
    >>> [(turn.degrees, turn.in_band, turn.direction) for turn in find_turns(log)]
    [(450.0, 1.0, 'starboard')]
    """
    together = tuple(sensors)
    courses = [finite_only(course) for course in recording.of("course_over_ground")]
    speeds = [finite_only(speed) for speed in recording.of("speed_over_ground")]
    found: list[Turn] = []
    for stream in _one_for_each_source(recording):
        rates = stream.key.quantity == "rate_of_turn"
        rate = stream if rates else rate_from_heading(stream)
        slow = stream if rates else rate_from_heading(stream, HEADING_OVER)
        headings = [finite_only(heading) for heading in _own_headings(recording, stream.key.source, together)]
        spans = _spans(rate)
        for first, last in spans:
            start, end = rate.times[first], rate.times[last]
            part = stream.between(start, end)
            turning = slow.between(start, end)
            turn = _turn(part, turning, band, errors)
            totals = [_course_total(turn, part, turning, course, speeds, errors) for course in courses]
            turn = _held_against(turn, totals)
            turn = _with_headings(turn, part, headings) if rates else _still(turn, stream, recording)
            found.append(_cut_by_silence(turn, rate, first, last))
    return tuple(found)


def joined(parts: Sequence[Turn]) -> Turn:
    """Parts of one turn put together: what was turned in a silence between them is not known and not in it.

    parts   : of one source and one way, in order of time [-]
    returns : the whole; its degrees are the least that was turned [deg]
    """
    if len(parts) == 1:
        return parts[0]
    seconds = math.fsum(part.seconds for part in parts)
    told = all(part.by_course is not None and part.with_way is None for part in parts)
    followed = all(part.by_heading is not None for part in parts)
    silent = [later.start - earlier.end for earlier, later in pairwise(parts)]
    return attrs.evolve(
        max(parts, key=lambda part: part.seconds),
        start=parts[0].start,
        end=parts[-1].end,
        degrees=math.fsum(part.degrees for part in parts),
        degrees_within=math.fsum(part.degrees_within for part in parts),  # scale and zero are shared by all
        by_course=math.fsum(part.by_course or 0.0 for part in parts) if told else None,
        by_course_within=math.fsum(part.by_course_within for part in parts) if told else 0.0,
        course_not_told="" if told else GAPS,
        by_heading=math.fsum(part.by_heading or 0.0 for part in parts) if followed else None,
        by_heading_within=math.fsum(part.by_heading_within for part in parts),
        heading_still=max(part.heading_still for part in parts),
        check=None,
        with_way=None,
        without_way=False,
        in_band=math.fsum(part.in_band * part.seconds for part in parts) / seconds,
        longest_lapse=max(part.longest_lapse for part in parts),
        smoothness=math.sqrt(math.fsum(part.smoothness**2 * part.seconds for part in parts) / seconds),
        silence_before=parts[0].silence_before,
        silence_after=parts[-1].silence_after,
        silence=math.fsum(silent),
    )


class CourseTurn(NamedTuple):
    """A turn the course over ground shows: begin and end [s], degrees, starboard positive [deg]."""

    start: float
    end: float
    degrees: float


def turned_by_course(recording: Recording) -> CourseTurn | None:
    """The longest turn the course over ground shows while under way; None where it shows none.

    recording : with a course over ground [-]
    returns   : when, and degrees turned [s, deg]
    """
    speed = next(iter(recording.of("speed_over_ground")), None)
    turns = [
        CourseTurn(rate.times[first], rate.times[last], _degrees(rate, (1, first, last)))
        for course in recording.of("course_over_ground")
        for rate in (rate_from_heading(finite_only(course)),)
        for first, last in _spans(rate)
        if _under_way(speed, rate.times[first], rate.times[last])
    ]
    return max(turns, key=lambda turn: abs(turn.degrees), default=None)


class Missed(NamedTuple):
    """A turn that a source did not show: the turn, whether its own heading showed it, and what it shows [deg]."""

    turn: Turn
    by_own_heading: bool
    degrees: float


def without_the_turn(
    recording: Recording, turns: Sequence[Turn], sensors: Iterable[Sequence[str]] = ()
) -> Mapping[str, Missed]:
    """Sources that were sending all through another's turn and show none of their own, each with the turn it missed.

    recording : the turns are from [-]
    turns     : as `find_turns` gives them [-]
    sensors   : as `find_turns` takes them [-]
    returns   : the turn missed, by source [-]
    """
    together = tuple(sensors)
    seen = {turn.source for turn in turns}
    found = {}
    for stream in _one_for_each_source(recording):
        if stream.key.source in seen:
            continue
        rates = stream.key.quantity == "rate_of_turn"
        headings = _own_headings(recording, stream.key.source, together) if rates else []
        own = [turn for heading in headings for turn in find_turns(Recording("", {heading.key: heading}))]
        longest = max((*own, *turns), key=lambda turn: abs(turn.degrees), default=None)
        if longest is not None and abs(longest.degrees) >= SURELY_TURNED and _sent_through(stream, longest):
            part = stream.between(longest.start, longest.end)
            total = unwrapped(part.values)
            degrees = turned(part, LONGEST_GAP) if rates else total[-1] - total[0]
            found[stream.key.source] = Missed(longest, longest in own, degrees)
    return found


def degrees_by_rate(recording: Recording, start: float, end: float) -> Mapping[str, float]:
    """What each rate of turn adds up to over a time.

    recording : with rates of turn [-]
    start     : of the time [s]
    end       : of the time [s]
    returns   : degrees turned, starboard positive, by source [deg]
    """
    rates = (finite_only(rate) for rate in recording.of("rate_of_turn"))
    return {rate.key.source: turned(rate.between(start, end), LONGEST_GAP) for rate in rates}


def _own_headings(recording: Recording, source: str, together: Sequence[Sequence[str]]) -> list[Stream]:
    own = next((sources for sources in together if source in sources), (source,))
    return [heading for heading in recording.of("heading") if heading.key.source in own]


def _sent_through(stream: Stream, turn: Turn) -> bool:
    """Whether a stream was heard without a gap for nine tenths of a turn."""
    times = stream.between(turn.start, turn.end).times
    gaps = [later - earlier for earlier, later in pairwise(times)]
    return bool(gaps) and max(gaps) <= LONGEST_GAP and times[-1] - times[0] >= 0.9 * turn.seconds


def what_was_sent(recording: Recording) -> tuple[str, ...]:
    """The quantities turns were looked for in: rate of turn, heading or both.

    recording : with either [-]
    returns   : keys of UNIT_OF_QUANTITY, in order of the alphabet [-]
    """
    return tuple(sorted({stream.key.quantity for stream in _one_for_each_source(recording)}))


def _with_headings(turn: Turn, rate: Stream, headings: Sequence[Stream]) -> Turn:
    """A turn by a rate of turn, held against the sensor's own headings; the one furthest off counts."""
    told = [total for heading in headings if (total := _change(heading, turn.start, turn.end, turn.likely_rate))]
    furthest = max(told, key=lambda one: abs(turn.degrees - one.degrees), default=None)
    still = [
        part.times[-1] - part.times[0]
        for heading in headings
        for part in unchanging_stretches(heading.between(turn.start, turn.end), STILL_FOR)
        if abs(turned(rate.between(part.times[0], part.times[-1]), LONGEST_GAP)) >= STILL_DEGREES
    ]
    turn = attrs.evolve(turn, heading_still=max(still, default=0.0))
    if furthest is None:
        return turn
    within = math.hypot(by_heading(furthest.degrees).expanded_uncertainty, furthest.missing)
    return attrs.evolve(turn, by_heading=furthest.degrees, by_heading_within=within)


def _still(turn: Turn, heading: Stream, recording: Recording) -> Turn:
    """A turn by a heading that stood still before, in or after it while a course over ground or a rate turned on."""
    others = [one for one in recording.of("rate_of_turn") if one.key.source != heading.key.source]
    courses = [rate_from_heading(finite_only(course)) for course in recording.of("course_over_ground")]
    still = [
        part.times[-1] - part.times[0]
        for part in unchanging_stretches(heading, STILL_FOR)
        if part.times[0] <= turn.end + LONGEST_GAP and part.times[-1] >= turn.start - LONGEST_GAP
        for other in (*others, *courses)
        if abs(turned(other.between(part.times[0], part.times[-1]), LONGEST_GAP)) >= STILL_DEGREES
    ]
    return attrs.evolve(turn, heading_still=max(still, default=0.0))


def _cut_by_silence(turn: Turn, rate: Stream, first: int, last: int) -> Turn:
    """A turn with the silences that begin and end it, if any do."""
    before = rate.times[first] - rate.times[first - 1] if first else 0.0
    after = rate.times[last + 1] - rate.times[last] if last + 1 < len(rate) else 0.0
    return attrs.evolve(
        turn,
        silence_before=before if before > LONGEST_GAP else 0.0,
        silence_after=after if after > LONGEST_GAP else 0.0,
    )


def low_passed(stream: Stream, seconds: float = LOW_PASS) -> tuple[float, ...]:
    """A stream's values averaged over a window centred on each.

    stream  : any quantity but a direction [its unit]
    seconds : length of the window [s]
    returns : as many values as the stream has [its unit]

    >>> low_passed(Stream(StreamKey("rate_of_turn"), (0.0, 1.0, 2.0), (0.0, 3.0, 6.0)))
    (1.5, 3.0, 4.5)
    """
    sums = [0.0, *accumulate(stream.values)]
    smooth = []
    for time in stream.times:
        first, last = _window(stream.times, time, seconds)
        smooth.append((sums[last] - sums[first]) / (last - first))
    return tuple(smooth)


def rate_from_heading(heading: Stream, seconds: float = LOW_PASS) -> Stream:
    """Rate of turn from a heading, by its change over a window centred on each sample.

    heading : true, magnetic or compass [deg]
    seconds : length of the window; reaches to the neighbours where samples are further apart [s]
    returns : rate of turn, starboard positive [deg/s]

    >>> rate_from_heading(Stream(StreamKey("heading"), (0.0, 1.0, 2.0), (358.0, 0.0, 2.0))).values
    (2.0, 2.0, 2.0)
    """
    total, times = unwrapped(heading.values), heading.times
    rates = []
    for index, time in enumerate(times):
        first, last = _window(times, time, seconds)
        low, high = min(first, max(index - 1, 0)), max(last - 1, min(index + 1, len(times) - 1))
        span = times[high] - times[low]
        rates.append((total[high] - total[low]) / span if span > 0 else 0.0)
    return Stream(StreamKey("rate_of_turn", heading.key.source), times, tuple(rates))


def _window(times: Sequence[float], time: float, seconds: float) -> tuple[int, int]:
    return bisect_left(times, time - seconds / 2), bisect_right(times, time + seconds / 2)


def _one_for_each_source(recording: Recording) -> Iterable[Stream]:
    """Rate of turn where a source sends it, otherwise its heading; one source after the other."""
    chosen: dict[str, Stream] = {}
    for stream in (*recording.of("rate_of_turn"), *recording.of("heading")):
        chosen.setdefault(stream.key.source, finite_only(stream))
    return (chosen[source] for source in sorted(chosen))


def finite_only(stream: Stream) -> Stream:
    """A stream without what is no number.

    stream  : any quantity [its unit]
    returns : the same, or what is left of it [its unit]

    >>> finite_only(Stream(StreamKey("heading"), (0.0, 1.0), (math.nan, 5.0))).values
    (5.0,)
    """
    if all(map(math.isfinite, stream.values)):
        return stream
    kept = [(time, value) for time, value in stream if math.isfinite(value)]
    return Stream(stream.key, tuple(time for time, _ in kept), tuple(value for _, value in kept))


def _spans(rate: Stream) -> list[tuple[int, int]]:
    """First and last sample of each turn."""
    smooth = low_passed(rate)
    found: list[tuple[int, int]] = []
    for first, last in _without_gaps(rate.times):
        ways = [
            0 if abs(value) < STRAIGHT_BELOW else int(math.copysign(1, value)) for value in smooth[first : last + 1]
        ]
        spans = _joined(_grouped(ways, first), rate.times)
        real = [span if abs(_degrees(rate, span)) >= YAW_DEGREES else (0, *span[1:]) for span in spans]
        found += [(start, end) for way, start, end in _joined(real, rate.times) if way]
    return [span for span in found if abs(_degrees(rate, (1, *span))) >= LEAST_DEGREES]


def _without_gaps(times: Sequence[float]) -> list[tuple[int, int]]:
    if not times:
        return []
    breaks = [index for index, (earlier, later) in enumerate(pairwise(times)) if later - earlier > LONGEST_GAP]
    return list(zip([0, *(index + 1 for index in breaks)], [*breaks, len(times) - 1], strict=True))


_Span = tuple[int, int, int]
"""Way of turning (-1, 0, 1), first and last sample."""


def _grouped(ways: Iterable[int], offset: int) -> list[_Span]:
    spans: list[_Span] = []
    for way, group in groupby(ways):
        length = len(list(group))
        spans.append((way, offset, offset + length - 1))
        offset += length
    return spans


def _joined(spans: Sequence[_Span], times: Sequence[float]) -> list[_Span]:
    """Neighbours of one way made one; a straight stretch too short to count goes to the turn beside it."""
    joined: list[_Span] = []
    for way, first, last in _merged(spans):
        short = way == 0 and times[last] - times[first] < STRAIGHT_FOR
        if short and joined:
            joined[-1] = (joined[-1][0], joined[-1][1], last)
        elif joined and joined[-1][0] == 0 and times[joined[-1][2]] - times[joined[-1][1]] < STRAIGHT_FOR:
            joined[-1] = (way, joined[-1][1], last)
        else:
            joined.append((way, first, last))
    return _merged(joined)


def _merged(spans: Sequence[_Span]) -> list[_Span]:
    merged: list[_Span] = []
    for way, first, last in spans:
        if merged and merged[-1][0] == way:
            merged[-1] = (way, merged[-1][1], last)
        else:
            merged.append((way, first, last))
    return merged


def _degrees(rate: Stream, span: _Span) -> float:
    _, first, last = span
    return turned(Stream(rate.key, rate.times[first : last + 1], rate.values[first : last + 1]), LONGEST_GAP)


def _turn(stream: Stream, rate: Stream, band: tuple[float, float], errors: RateErrors) -> Turn:
    low, high = band
    start, end = rate.times[0], rate.times[-1]
    smooth = low_passed(rate)
    noise = standard_deviation([value - slow for value, slow in zip(rate.values, smooth, strict=True)])
    angles = unwrapped(stream.values) if stream.key.quantity == "heading" else (0.0, turned(rate, LONGEST_GAP))
    total = _own_total(stream.key.quantity, angles[-1] - angles[0], end - start, noise, errors)
    return Turn(
        source=stream.key.source,
        quantity=stream.key.quantity,
        start=start,
        end=end,
        degrees=total.value,
        degrees_within=total.expanded_uncertainty,
        by_course=None,
        by_course_within=0.0,
        in_band=_share([low <= abs(value) <= high for value in rate.values], rate.times),
        longest_lapse=_longest_lapse([low <= abs(value) <= high for value in smooth], rate.times),
        smoothness=standard_deviation(smooth),
        noise=noise,
    )


def _held_against(turn: Turn, totals: Sequence[CourseTotal]) -> Turn:
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


def _course_total(
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
    ours = _own_total(turn.quantity, circles, last - first, turn.noise, errors)
    ours = MeasuredValue.of_parts(ours.value, ours.unit, (*ours.parts, lag))
    return CourseTotal(
        source=source,
        degrees=whole.value,
        within=whole.expanded_uncertainty,
        with_way=with_way,
        check=Check(circles, ours.expanded_uncertainty, checked.value, checked.expanded_uncertainty),
    )


def _by_course(
    turn: Turn, rate: Stream, course: Stream, speed: Stream | None, time: tuple[float, float]
) -> MeasuredValue | None:
    """Degrees turned by a course in a time; None where it does not tell."""
    change = _change(course, *time, turn.likely_rate)
    if change is None:
        return None
    knots = speed.between(*time).values if speed is not None else ()
    slowest = max(mean(knots), UNDER_WAY) if knots else UNKNOWN_SPEED
    return by_course(change.degrees, slowest, _rate_change(rate, *time), change.missing)


def _rate_change(rate: Stream, start: float, end: float) -> float:
    """Low-passed rate of turn at the end of a time less that at its beginning [deg/s]."""
    first, last = (rate.between(time - LOW_PASS / 2, time + LOW_PASS / 2).values for time in (start, end))
    return mean(last) - mean(first) if first and last else 0.0


def _own_total(quantity: str, degrees: float, seconds: float, noise: float, errors: RateErrors) -> MeasuredValue:
    """Degrees turned by the sensor itself."""
    return by_heading(degrees) if quantity == "heading" else by_rate(degrees, seconds, noise, errors)


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


def _share(inside: Sequence[bool], times: Sequence[float]) -> float:
    steps = [later - earlier for earlier, later in pairwise(times)]
    return math.fsum(step for step, within in zip(steps, inside, strict=False) if within) / math.fsum(steps)


def _longest_lapse(inside: Sequence[bool], times: Sequence[float]) -> float:
    longest, since = 0.0, times[0]
    for time, within in zip(times, inside, strict=True):
        longest = max(longest, time - since)
        if within:
            since = time
    return longest


class _Change(NamedTuple):
    """Change of a direction over a time, and the most that may be missing of it at its ends [deg]."""

    degrees: float
    missing: float


def _change(direction: Stream, start: float, end: float, rate: float) -> _Change | None:
    """How far a direction turned; None where it does not tell.

    It does not tell when it starts late, ends early, or leaves a gap in which the boat turned more than a
    quarter circle at its rate.
    """
    first, last = max(bisect_right(direction.times, start) - 1, 0), bisect_left(direction.times, end) + 1
    times, values = direction.times[first:last], direction.values[first:last]
    if len(times) < 3:
        return None
    missing = max(times[0] - start, 0.0) + max(end - times[-1], 0.0)
    gap = max(missing, *(later - earlier for earlier, later in pairwise(times)))
    if gap * rate > 90:
        return None
    total = unwrapped(values)
    return _Change(_at(end, times, total) - _at(start, times, total), missing * rate)


def _under_way(speed: Stream | None, start: float, end: float) -> bool:
    """Whether the boat moved; a boat whose speed nobody tells is taken to move."""
    speeds = speed.between(start, end).values if speed else ()
    return not speeds or mean(speeds) >= UNDER_WAY


def _at(time: float, times: Sequence[float], values: Sequence[float]) -> float:
    """The value at a time, on the straight line between its neighbours; before the first and after the last theirs."""
    index = bisect_right(times, time)
    if index == 0 or index == len(times):
        return values[max(index - 1, 0)]
    earlier, later = times[index - 1], times[index]
    return values[index - 1] + (values[index] - values[index - 1]) * (time - earlier) / (later - earlier)
