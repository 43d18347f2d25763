"""Two heading sources over the same time: mean difference, its scatter, and what that means for the installation."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from itertools import accumulate, pairwise

import attrs

from garboard.findings import in_full, rounded_beside
from garboard.record_types import frozen
from garboard.samples import Stream
from garboard.series import mean, mean_direction, signed_angle, standard_deviation, unwrapped
from garboard.uncertainty import MeasuredValue, Part

from .rates import finite_only

LONGEST_GAP = 2.0  # between samples that are compared across [s]
SHORTEST = 120.0  # blocks of a shorter time share the same waves and wandering, and agree too well [s]
FEW_BLOCKS, MANY_BLOCKS = 4, 6
MANY_ABOVE = 300.0  # [s]
REPEATED_CHANGES = 20
"""No two sensors change by the same digits at so many moments on end, not even in whole degrees; common practice, no
source."""
SAME = 1e-6  # a direction between two samples is worked out to less than this [deg]
NOT_TOGETHER = 90.0  # a difference so far from its mean is none of one sensor [deg]


@frozen(kw_only=True)
class Comparison:
    """Heading of one source less that of the trusted one.

    mean_difference    : with its uncertainty [deg]
    standard_deviation : of the differences [deg]
    samples            : how many were compared
    seconds            : time compared over, without gaps [s]
    headings           : the trusted one's, lowest and highest as it turned, for what the difference holds on [deg]
    is_one_sensor      : the two are the same to the last digit while both change: a gateway repeats one of them
    """

    mean_difference: MeasuredValue
    standard_deviation: float
    samples: int
    seconds: float
    headings: tuple[float, float] | None = None
    is_one_sensor: bool = False

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
    returns : heading less trusted [deg]; its uncertainty is Student's t on means of four blocks of time, six above
              300 s, because neighbouring samples share the same wave
    Raises ValueError with less than 120 s of common time, or when the two do not turn together.

    >>> from garboard.samples import StreamKey
    >>> times = tuple(float(second) for second in range(121))
    >>> port = Stream(StreamKey("heading", "1"), times, (2.0,) * 121)
    >>> starboard = Stream(StreamKey("heading", "2"), times, (359.5,) * 121)
    >>> compare_headings(port, starboard).difference
    2.5

    [1] Mean of circular differences; block means, Student's t: JCGM 100:2008, 4.2.7 for readings that hang together.
    """
    others = finite_only(trusted)
    pairs = [(time, value, _direction_at(time, others)) for time, value in finite_only(heading)]
    common = [(time, value - other, other) for time, value, other in pairs if other is not None]
    seconds = math.fsum(step for step in _steps([time for time, _, _ in common]) if step <= LONGEST_GAP)
    if seconds < SHORTEST:
        raise ValueError(
            f"both were seen together for {rounded_beside(seconds, [SHORTEST])} s; record both for "
            f"{in_full(SHORTEST)} s or "
            "more, straight on"
        )
    centre = _centre([difference for _, difference, _ in common])
    values = [signed_angle(difference - centre) for _, difference, _ in common]
    if max(map(abs, values)) >= NOT_TOGETHER:
        raise ValueError("the two do not turn together; see which of them is wrong, then record again")
    blocks = in_blocks([time for time, _, _ in common], values)
    difference = difference_of_blocks([mean(block) for block in blocks])
    total = unwrapped([other for _, _, other in common])
    return Comparison(
        mean_difference=attrs.evolve(difference, value=signed_angle(centre + difference.value)),
        standard_deviation=standard_deviation(values),
        samples=len(values),
        seconds=seconds,
        headings=(min(total), max(total)),
        is_one_sensor=_changes(total) >= REPEATED_CHANGES and max(abs(apart) for _, apart, _ in common) < SAME,
    )


def _changes(values: Sequence[float]) -> int:
    return sum(later != earlier for earlier, later in pairwise(values))


def difference_of_blocks(means: Sequence[float]) -> MeasuredValue:
    """A mean from the means of blocks, each long enough to be told apart from its neighbours.

    means   : of the blocks, at least two [deg]
    returns : their mean with its uncertainty [deg]

    >>> offset = difference_of_blocks([1.8, 2.1, 2.4, 1.9])
    >>> round(offset.value, 2), round(offset.expanded_uncertainty, 2)
    (2.05, 0.42)

    [1] JCGM 100:2008, 4.2.3 and G.3.2.
    """
    own = standard_deviation(means) / math.sqrt(len(means))
    return MeasuredValue.of_parts(mean(means), "deg", [Part("block means", own, degrees_of_freedom=len(means) - 1)])


def in_blocks(times: Sequence[float], values: Sequence[float]) -> list[list[float]]:
    """Values cut into blocks of alike time, gaps left out: four, six above 300 s.

    times   : of the values, in order [s]
    values  : one for each time [any unit]
    returns : the blocks [same unit]
    """
    steps = [0.0, *(step if step <= LONGEST_GAP else 0.0 for step in _steps(times))]
    heard = list(accumulate(steps))
    count = MANY_BLOCKS if heard[-1] > MANY_ABOVE else FEW_BLOCKS
    blocks: list[list[float]] = [[] for _ in range(count)]
    for time, value in zip(heard, values, strict=True):
        blocks[min(int(count * time / heard[-1]), count - 1)].append(value)
    return [block for block in blocks if block]


def _centre(differences: Sequence[float]) -> float:
    try:
        return mean_direction(differences)
    except ValueError:
        raise ValueError("the two do not turn together; see which of them is wrong, then record again") from None


def _steps(times: Sequence[float]) -> list[float]:
    return [later - earlier for earlier, later in pairwise(times)]


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
