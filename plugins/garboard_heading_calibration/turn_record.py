"""One steady turn as one sensor saw it, and what a course over ground says of it."""

from __future__ import annotations

import math
from typing import NamedTuple

from garboard.record_types import frozen

FASTEST = 40.0  # no boat under way turns a circle any faster; common practice, no source [deg/s]

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


@frozen(kw_only=True)
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


@frozen(kw_only=True)
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
    course_in_band   : share of the time that course turned inside the band, 0 to 1; None where it does not tell
    course_lapse     : its longest time outside the band [s]
    like_deviation   : share of a heading's unevenness that comes back on the same headings, as deviation does, 0 to 1
    by_heading       : turned by the sensor's own heading, for a turn from its rate [deg]; None where it does not tell
    by_heading_within: its expanded uncertainty [deg]
    heading_still    : longest time the sensor's heading stood still to its last digit while the boat turned on [s]
    silence_before, silence_after : silence of the sensor that cuts the turn off at either end [s]
    silence          : silences within it, where parts were put together [s]
    noise            : standard deviation of a heading on one sample [deg], or of a rate beside its mean of 2 s [deg/s]
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
    course_in_band: float | None = None
    course_lapse: float = 0.0
    like_deviation: float = 0.0
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
    def compared(self) -> float:
        """Degrees turned by the source in the time of `by_course` [deg]."""
        return self.degrees if self.with_way is None else self.with_way
