"""Streams of directions and rates of turn: noise taken out, a rate from a heading, samples that are numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
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
    return tuple([(sums[last] - sums[first]) / (last - first) for first, last in _windows(stream.times, seconds)])


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
    for index, (first, last) in enumerate(_windows(times, seconds)):
        low, high = min(first, max(index - 1, 0)), max(last - 1, min(index + 1, len(times) - 1))
        span = times[high] - times[low]
        rates.append((total[high] - total[low]) / span if span > 0 else 0.0)
    return Stream(StreamKey("rate_of_turn", heading.key.source), times, tuple(rates))


def _windows(times: Sequence[float], seconds: float) -> Iterator[tuple[int, int]]:
    """For each time, the first sample of the window centred on it and the first after it: both only ever move on."""
    first = last = 0
    for time in times:
        start, end = time - seconds / 2, time + seconds / 2
        while times[first] < start:
            first += 1
        while last < len(times) and times[last] <= end:
            last += 1
        yield first, last


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
