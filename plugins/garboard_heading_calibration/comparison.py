"""Two heading sources over the same time: mean difference, its scatter, and what that means for the installation."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence

import attrs

from garboard.samples import Stream
from garboard.series import mean, signed_angle, standard_deviation
from garboard.uncertainty import MeasuredValue

from .turns import finite_only

LONGEST_GAP = 2.0  # between samples that are compared across [s]
SHORTEST_BLOCK = 10.0  # differences closer in time than this share the same wave [s]
BLOCKS = 12  # a long recording is cut into this many, so that slow wandering counts too
FEWEST_BLOCKS = 3


@attrs.frozen(kw_only=True)
class Comparison:
    """Heading of one source less that of the trusted one.

    mean_difference    : with its uncertainty [deg]
    standard_deviation : of the differences [deg]
    samples            : how many were compared
    seconds            : time compared over [s]
    """

    mean_difference: MeasuredValue
    standard_deviation: float
    samples: int
    seconds: float

    @property
    def difference(self) -> float:
        """Mean difference [deg]."""
        return self.mean_difference.value

    @property
    def offset_to_enter(self) -> float:
        """What to add to the source's heading to bring it to the trusted one [deg]."""
        return -self.difference


def compare_headings(heading: Stream, trusted: Stream) -> Comparison:
    """Mean difference and scatter of two direction streams of the same reference, true or magnetic.

    heading : the source to judge [deg]
    trusted : the source it is held against, such as another sensor or the course over ground [deg]
    returns : heading less trusted [deg]; its uncertainty is Student's t on means of up to twelve blocks of 10 s or
              longer, because neighbouring samples share the same wave
    Raises ValueError with less common time than three blocks, or when the two differ by 90 degrees or more.

    >>> from garboard.samples import StreamKey
    >>> times = tuple(float(second) for second in range(60))
    >>> port = Stream(StreamKey("heading", "1"), times, (2.0,) * 60)
    >>> starboard = Stream(StreamKey("heading", "2"), times, (359.5,) * 60)
    >>> compare_headings(port, starboard).difference
    2.5

    [1] Mean of circular differences; block means, Student's t.
    """
    others = finite_only(trusted)
    pairs = [(time, value, _direction_at(time, others)) for time, value in finite_only(heading)]
    differences = [(time, signed_angle(value - other)) for time, value, other in pairs if other is not None]
    means = _block_means(differences)
    if len(means) < FEWEST_BLOCKS:
        raise ValueError("both were seen together for under half a minute; record both for a minute or more")
    values = [difference for _, difference in differences]
    if max(map(abs, values)) >= 90:
        raise ValueError("the two differ by 90 degrees or more; check which way the sensor points, then record again")
    return Comparison(
        mean_difference=MeasuredValue.by_repeating(
            mean(values), "deg", standard_deviation(means) / math.sqrt(len(means)), len(means) - 1
        ),
        standard_deviation=standard_deviation(values),
        samples=len(values),
        seconds=differences[-1][0] - differences[0][0],
    )


def _block_means(differences: Sequence[tuple[float, float]]) -> list[float]:
    if not differences:
        return []
    start, end = differences[0][0], differences[-1][0]
    length = max(SHORTEST_BLOCK, (end - start) / BLOCKS)
    blocks: dict[int, list[float]] = {}
    for time, difference in differences:
        blocks.setdefault(int((time - start) / length), []).append(difference)
    return [mean(block) for block in blocks.values()]


def _direction_at(time: float, stream: Stream) -> float | None:
    """A direction at a time, the shorter way between its neighbours; None outside them and in a gap."""
    later = bisect_right(stream.times, time)
    if later == 0:
        return None
    if stream.times[later - 1] == time:
        return stream.values[later - 1]
    if later == len(stream) or stream.times[later] - stream.times[later - 1] > LONGEST_GAP:
        return None
    share = (time - stream.times[later - 1]) / (stream.times[later] - stream.times[later - 1])
    first = stream.values[later - 1]
    return first + share * signed_angle(stream.values[later] - first)
