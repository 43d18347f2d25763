"""Steady turns in a recording: how far, how fast, how evenly, and whether the course over ground agrees.

How each figure is defined:

- A turn goes one way and turns 90 degrees or more. A straight stretch (rate, low-passed, below 0.3 deg/s) of
  10 s or longer ends it and is no part of it; a shorter one is a lapse within it, but not where the recording
  begins or ends with it.
- Degrees turned: rate of turn integrated by the trapezoid rule over time; from a heading, its running total.
- Share in band: share of the time in which the rate as sampled (from a heading: over 5 s) is inside the band.
- Longest lapse and smoothness: on the rate low-passed by a running mean over 2 s, so that one noisy sample
  neither makes nor ends a lapse.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby, pairwise
from typing import NamedTuple

import attrs

from garboard.numeric import least_squares
from garboard.samples import Recording, Stream
from garboard.series import mean, standard_deviation, turned, unchanging_stretches, unwrapped

from .deviation import model_terms
from .rates import LONGEST_GAP, UNDER_WAY, finite_only, low_passed, rate_from_heading
from .settings import USUAL_RATE, RateErrors
from .totals import by_heading
from .turn_course import change_of, course_total, held_against, noise_of, own_total
from .turn_record import GAPS, Turn

STRAIGHT_BELOW = 0.3  # [deg/s]
STRAIGHT_FOR = 10.0  # [s]
LEAST_DEGREES = 90.0
YAW_DEGREES = 20.0  # turning less than this one way is yawing about
HEADING_OVER = 5.0  # over a shorter time the noise of a heading makes a steady turn uneven [s]
STILL_FOR = 10.0  # a heading alike to its last digit so long, while the rate turns on, stands still [s]
STILL_DEGREES = 20.0  # what the rate turns in that time for the heading to be called still
LIKE_SAMPLES, LEAST_SAMPLES = 200, 20  # of a heading, to tell deviation from a wandering helm
SENT_FOR = 0.9  # share of a turn a stream has to be heard in to count as sent through it; common practice, no source
SURELY_TURNED = 180.0  # when one source turns this far, another that was sending all the time has to show a turn


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
            totals = [course_total(turn, part, turning, course, speeds, errors) for course in courses]
            turn = _beside_its_course(held_against(turn, totals), courses, band)
            turn = _with_headings(turn, part, headings) if rates else _still(turn, stream, recording)
            turn = turn if rates else attrs.evolve(turn, like_deviation=like_deviation(part))
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
        course_in_band=None,
        in_band=math.fsum(part.in_band * part.seconds for part in parts) / seconds,
        longest_lapse=max(part.longest_lapse for part in parts),
        smoothness=math.sqrt(math.fsum(part.smoothness**2 * part.seconds for part in parts) / seconds),
        silence_before=parts[0].silence_before,
        silence_after=parts[-1].silence_after,
        silence=math.fsum(silent),
    )


def like_deviation(heading: Stream) -> float:
    """Share of what makes a turn uneven that goes with the heading, as deviation does; the rest goes with the time.

    heading : while it turned all the time [deg]
    returns : share of the squares of what is off a steady turn, which the terms of a deviation curve take out [-]

    >>> from garboard.samples import StreamKey
    >>> times = tuple(float(second) for second in range(181))
    >>> steady = [2.5 * time for time in times]
    >>> off = tuple(angle + 18 * math.sin(math.radians(angle)) for angle in steady)
    >>> like_deviation(Stream(StreamKey("heading"), times, off)) > 0.9
    True
    """
    every = max(1, len(heading) // LIKE_SAMPLES)
    angles = unwrapped(heading.values)[::every]
    times = [time - heading.times[0] for time in heading.times[::every]]
    if len(angles) < LEAST_SAMPLES:
        return 0.0
    try:
        steady = least_squares([(1.0, time) for time in times], angles)
        rows = [(*model_terms(angle), time) for angle, time in zip(angles, times, strict=True)]
        curved = least_squares(rows, angles)
    except ValueError:
        return 0.0
    whole = math.fsum(one**2 for one in steady.residuals)
    return 1 - math.fsum(one**2 for one in curved.residuals) / whole if whole else 0.0


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
    return bool(gaps) and max(gaps) <= LONGEST_GAP and times[-1] - times[0] >= SENT_FOR * turn.seconds


def what_was_sent(recording: Recording) -> tuple[str, ...]:
    """The quantities turns were looked for in: rate of turn, heading or both.

    recording : with either [-]
    returns   : keys of UNIT_OF_QUANTITY, in order of the alphabet [-]
    """
    return tuple(sorted({stream.key.quantity for stream in _one_for_each_source(recording)}))


def _with_headings(turn: Turn, rate: Stream, headings: Sequence[Stream]) -> Turn:
    """A turn by a rate of turn, held against the sensor's own headings; the one furthest off counts."""
    told = [total for heading in headings if (total := change_of(heading, turn.start, turn.end, turn.likely_rate))]
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
    within = math.hypot(by_heading(furthest.degrees, furthest.noise).expanded_uncertainty, furthest.missing)
    return attrs.evolve(turn, by_heading=furthest.degrees, by_heading_within=within)


def _still(turn: Turn, heading: Stream, recording: Recording) -> Turn:
    """A turn by a heading that stood still before, in or after it while a course over ground or a rate turned on."""
    parts = [
        (part.times[0], part.times[-1])
        for part in unchanging_stretches(heading, STILL_FOR)
        if part.times[0] <= turn.end + LONGEST_GAP and part.times[-1] >= turn.start - LONGEST_GAP
    ]
    if not parts:
        return turn
    others = [one for one in recording.of("rate_of_turn") if one.key.source != heading.key.source]
    others += [rate_from_heading(finite_only(course)) for course in recording.of("course_over_ground")]
    still = [
        end - start
        for start, end in parts
        for other in others
        if abs(turned(other.between(start, end), LONGEST_GAP)) >= STILL_DEGREES
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


def _one_for_each_source(recording: Recording) -> Iterable[Stream]:
    """Rate of turn where a source sends it, otherwise its heading; one source after the other."""
    chosen: dict[str, Stream] = {}
    for stream in (*recording.of("rate_of_turn"), *recording.of("heading")):
        chosen.setdefault(stream.key.source, finite_only(stream))
    return (chosen[source] for source in sorted(chosen))


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
        turning = [(start, end) for way, start, end in _joined(real, rate.times) if way]
        found += [_between_straights((start - first, end - first), ways, first, rate) for start, end in turning]
    return [span for span in found if abs(_degrees(rate, (1, *span))) >= LEAST_DEGREES]


def _between_straights(span: tuple[int, int], ways: Sequence[int], offset: int, rate: Stream) -> tuple[int, int]:
    """A turn without the straight stretch that a recording begins or ends with.

    Beside a silence it stays, so that the silence is told.
    """
    start, end = span
    if start + offset == 0:
        start = next(number for number in range(start, end + 1) if ways[number])
    if end + offset == len(rate) - 1:
        end = next(number for number in range(end, start - 1, -1) if ways[number])
    return start + offset, end + offset


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
    if stream.key.quantity == "heading":
        angles, noise = unwrapped(stream.values), noise_of(stream)
    else:
        angles = (0.0, turned(rate, LONGEST_GAP))
        noise = standard_deviation([value - slow for value, slow in zip(rate.values, smooth, strict=True)])
    total = own_total(stream.key.quantity, angles[-1] - angles[0], end - start, noise, errors)
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


def _beside_its_course(turn: Turn, courses: Sequence[Stream], band: tuple[float, float]) -> Turn:
    """A turn with how evenly the course over ground turned in its time, over as long a time as a heading's rate."""
    whole = turn.by_course is not None and turn.with_way is None
    own = next((course for course in courses if course.key.source == turn.course_source), None) if whole else None
    rate = rate_from_heading(own, HEADING_OVER).between(turn.start, turn.end) if own is not None else None
    if rate is None or len(rate) < 2:
        return turn
    low, high = band
    return attrs.evolve(
        turn,
        course_in_band=_share([low <= abs(value) <= high for value in rate.values], rate.times),
        course_lapse=_longest_lapse([low <= abs(value) <= high for value in low_passed(rate)], rate.times),
    )


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


def _under_way(speed: Stream | None, start: float, end: float) -> bool:
    """Whether the boat moved; a boat whose speed nobody tells is taken to move."""
    speeds = speed.between(start, end).values if speed else ()
    return not speeds or mean(speeds) >= UNDER_WAY
