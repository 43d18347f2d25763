"""How well a pilot holds a heading and changes course, from a heading stream."""

from __future__ import annotations

import math
from itertools import pairwise

from garboard.findings import Lack, NotEnoughData, in_full, rounded, rounded_beside
from garboard.numeric import slope
from garboard.record_types import frozen
from garboard.samples import Stream
from garboard.series import COARSE, compass_angle, is_frozen, mean, standard_deviation, unchanging_stretches, unwrapped
from garboard_handover.steps import AUTOPILOT

FEWEST = 10  # samples of a heading that tell how it was held; common practice, no source
ENDS = 5.0  # at each end of a course change that tell the heading before and after; common practice, no source [s]
SILENCE = 5.0
"""Nobody knows what a boat did while its heading was silent for longer [s]; common practice, no source."""
NOT_HELD = 45.0  # a heading so far off its mean was not held on one; common practice, no source [deg]
CHANGED = 20.0  # as one whose slow change over the hold is so large; common practice, no source [deg]


@frozen
class Hold:
    """A held heading.

    heading            : mean heading [deg], in the reference of the stream
    standard_deviation : about a straight course [deg]
    furthest           : largest departure from the mean [deg]
    drift              : slow change over the whole hold [deg]
    seconds            : length, without silences [s]
    """

    heading: float
    standard_deviation: float
    furthest: float
    drift: float
    seconds: float


@frozen
class CourseChange:
    """A course change.

    turned    : from the heading before to the heading after [deg], starboard positive
    overshoot : how far past the heading ordered it went, zero or above [deg]
    settled   : seconds from leaving the old heading until it stayed within the tolerance of the one ordered [s];
                None where it ended on another one
    """

    turned: float
    overshoot: float
    settled: float | None


def hold_of(heading: Stream, shortest: float) -> Hold:
    """Judge a heading hold over a whole recording.

    heading  : heading stream [deg]
    shortest : less than this is not enough [s]
    Raises NotEnoughData for a short recording, silences left out, or fewer than ten samples, for a heading that did not
    change at all or stood still for half of the hold, and for one that went elsewhere: a pilot that hunts comes back to
    its heading.
    """
    seconds = sum(later - earlier for earlier, later in pairwise(heading.times) if later - earlier <= SILENCE)
    if seconds < shortest or len(heading) < FEWEST:
        text = (
            f"heading held for {rounded_beside(seconds, [shortest])} s in {len(heading)} samples; hold it "
            f"{in_full(shortest)} "
            "s"
        )
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=AUTOPILOT, field="hold_recording")
    _see_that_it_lives(heading, seconds / 2, "hold_recording")
    run = unwrapped(heading.values)
    middle = mean(run)
    hold = Hold(
        heading=compass_angle(middle),
        standard_deviation=standard_deviation(run),
        furthest=max(abs(angle - middle) for angle in run),
        drift=slope(heading.times, run) * (heading.times[-1] - heading.times[0]),
        seconds=seconds,
    )
    if hold.furthest > NOT_HELD or abs(hold.drift) > CHANGED:
        text = (
            f"no heading was held: it went through {rounded(max(run) - min(run))} degrees; record while the pilot "
            "holds one heading, and see why if it does not"
        )
        raise NotEnoughData(text, lack=Lack.UNSUITABLE, step=AUTOPILOT, field="hold_recording")
    return hold


def _see_that_it_lives(heading: Stream, longest: float, field: str) -> None:
    """Raises NotEnoughData for a heading that did not change at all, or not for longer than `longest` [s].

    A display in whole degrees, as its other changes show it, may stand for a while and live.
    """
    whole = is_frozen(heading)
    still = max((part.times[-1] - part.times[0] for part in unchanging_stretches(heading)), default=0.0)
    finest = min((abs(b - a) for a, b in pairwise(heading.values) if a != b), default=0.0)
    if whole or (still > longest and finest < COARSE):
        how_long = "at all" if whole else f"for {rounded(still)} s"
        text = f"the heading did not change {how_long}: the sensor is dead or the display is frozen"
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=AUTOPILOT, field=field)


def course_change_of(heading: Stream, ordered: float, tolerance: float) -> CourseChange:
    """Judge a course change.

    heading   : heading stream from before the order until well after it [deg]
    ordered   : change ordered, starboard positive, not zero [deg]
    tolerance : settled means within this of the heading ordered [deg]
    Raises NotEnoughData when the recording is shorter than four times `ENDS`, when it was silent meanwhile, when the
    heading still changes at its end, and when no change of course is in it.
    """
    if abs(ordered) < 2 * tolerance:
        least = 2 * tolerance
        told = rounded_beside(ordered, [-least, least])
        text = f"course change of {told} degrees ordered; order at least {in_full(least)}"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=AUTOPILOT, field="ordered_change")
    if not len(heading) or heading.times[-1] - heading.times[0] < 4 * ENDS:
        text = f"recording of the course change is shorter than {in_full(4 * ENDS)} s"
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=AUTOPILOT, field="change_recording")
    silent = max(later - earlier for earlier, later in pairwise(heading.times))
    if silent > SILENCE:
        text = (
            f"the heading was silent for {rounded_beside(silent, [SILENCE])} s of the course change, and may have "
            "swung past meanwhile; record the change again"
        )
        raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=AUTOPILOT, field="change_recording")
    _see_that_it_lives(heading, (heading.times[-1] - heading.times[0]) / 2, "change_recording")
    run = Stream(heading.key, heading.times, unwrapped(heading.values))
    before = mean(run.between(run.times[0], run.times[0] + ENDS).values)
    sign = math.copysign(1.0, ordered)
    past = max(sign * (angle - before) for angle in run.values) - abs(ordered)
    outside = [time for time, angle in run if abs(angle - before - ordered) > tolerance]
    if not outside or outside[-1] >= run.times[-1] - ENDS:
        turned = _ended_elsewhere(run, before, ordered, tolerance)
        return CourseChange(turned=turned, overshoot=max(0.0, past), settled=None)
    left = next((time for time, angle in run if sign * (angle - before) > tolerance), run.times[-1])
    after = mean([angle for time, angle in run if time > outside[-1]])
    return CourseChange(
        turned=after - before,
        overshoot=max(0.0, past),
        settled=max(0.0, outside[-1] - left),
    )


def _ended_elsewhere(run: Stream, before: float, ordered: float, tolerance: float) -> float:
    """What was turned where the heading ended on another course than the one ordered [deg].

    It did where it stayed on a course for as long as both ends, or was going the wrong way to the last.
    Raises NotEnoughData where it was still changing, and where it kept the old course.
    """
    last = run.between(run.times[-1] - 2 * ENDS, run.times[-1])
    middle = mean(last.values)
    turned = middle - before
    spread = max(abs(angle - middle) for angle in last.values)
    drift = abs(slope(last.times, last.values)) * 2 * ENDS if len(last) > 1 else math.inf
    steady = spread <= tolerance and drift <= tolerance / 2
    wrong_way = turned * ordered < 0 and abs(turned) > max(2 * tolerance, abs(ordered) / 2)
    if steady and abs(turned) <= tolerance:
        text = (
            "the heading keeps the old course to the end of the recording; order the change while it records, or see "
            "why the pilot does not answer"
        )
        raise NotEnoughData(text, lack=Lack.CONTRADICTS, step=AUTOPILOT, field="change_recording")
    if wrong_way or (steady and abs(turned - ordered) > tolerance):
        return turned
    text = "heading still changes at the end of the recording; record longer after the change"
    raise NotEnoughData(text, lack=Lack.TOO_LITTLE, step=AUTOPILOT, field="change_recording")
