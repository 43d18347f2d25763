"""Streams of directions and rates of turn: noise taken out, a rate from a heading, samples that are numbers."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from itertools import accumulate

from garboard.samples import Stream, StreamKey
from garboard.series import unwrapped

LOW_PASS = 2.0  # [s]
LONGEST_GAP = 2.0  # a longer silence ends a turn [s]
UNDER_WAY = 1.0  # below this speed the course over ground says nothing of where the boat points [kn]


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
