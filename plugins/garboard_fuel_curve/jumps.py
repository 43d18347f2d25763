"""A fuel meter that jumps while the boat does not: flow steps to another level and neither engine nor boat does."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from itertools import accumulate, combinations, pairwise

from garboard.numeric import median
from garboard.record_types import frozen
from garboard.samples import Stream
from garboard.series import Steady

JUMPS_BY = 1.25
"""At one engine speed and one speed no engine burns so many times more from one moment to the next (common practice,
no source)."""

IDLES_BELOW, IDLING_JUMPS_BY = 1200.0, 1.6
"""An idling engine takes and drops loads, such as an alternator, that count for much: up to this engine speed only a
greater jump is one (common practice, no source) [rev/min], [-]."""

LOOKS = 8.0
"""So long on both sides the levels are looked at; longer where flow is sent seldom [s]."""

FEWEST = 4
"""So many readings on each side make a level."""

SETTLES = 4.0
"""A meter shows a new level within this; what takes longer may be the engine warming up [s]."""

STEEPEST = 4.0
"""Flow rises with no higher power of engine speed; the propeller law says 3 (common practice, no source)."""

DIGITS = 2.5
"""So many last digits of the flow explain a change: a coarse display flips between two."""


@frozen
class Jump:
    """Two levels of one engine's flow that one engine speed and one speed cannot have.

    at            : when the second was shown [s]
    before, after : the levels [L/h]
    """

    at: float
    before: float
    after: float


@frozen(kw_only=True)
class Watched:
    """One engine's flow with what it is held against, each averaged over a second or as sent.

    engine_speed_within, speed_within : half widths within which these hold steady [rev/min], [kn]
    digit                             : the smallest step between two values the flow shows [L/h]
    """

    flow: Stream
    engine_speed: Stream
    speed: Stream
    engine_speed_within: float
    speed_within: float
    digit: float


def jump_within(watched: Watched) -> Jump | None:
    """The first place where flow steps from one level to another while engine speed and speed hold steady.

    Noise does not count: every reading of one level lies clear of every reading of the other.
    """
    times, values = watched.flow.times, watched.flow.values
    if len(times) < 2 * FEWEST:
        return None
    looks = max(LOOKS, FEWEST * median(later - earlier for earlier, later in pairwise(times)))
    sums = [0.0, *accumulate(values)]
    for place, time in enumerate(times):
        first, to = bisect_left(times, time - looks), bisect_right(times, time + SETTLES)
        last = bisect_right(times, time + SETTLES + looks)
        if place - first < FEWEST or last - to < FEWEST:
            continue
        before, after = (sums[place] - sums[first]) / (place - first), (sums[last] - sums[to]) / (last - to)
        if max(before, after) <= JUMPS_BY * min(before, after):  # quick, and nearly always
            continue
        levels = values[first:place], values[to:last]
        low, high = sorted(levels, key=lambda level: sum(level) / len(level))
        if min(high) > max(low) and _is_unexplained(watched, (times[first], time), (times[to], times[last - 1])):
            return Jump(times[to], before, after)
    return None


def _is_unexplained(watched: Watched, before: tuple[float, float], after: tuple[float, float]) -> bool:
    """Whether engine speed and speed stayed where they were from the first level to the end of the second."""
    means = []
    for stream, within in (
        (watched.engine_speed, watched.engine_speed_within),
        (watched.speed, watched.speed_within),
    ):
        shown = stream.between(before[0], after[1]).values
        ends = [stream.between(*span).values for span in (before, after)]
        if not all(ends) or max(shown) - min(shown) > 2 * within:
            return False
        means.append([sum(end) / len(end) for end in ends])
    flows = [watched.flow.between(*span).values for span in (before, after)]
    return _apart(means[0], [sum(flow) / len(flow) for flow in flows], watched.digit)


def _apart(engine_speeds: Sequence[float], flows: Sequence[float], digit: float) -> bool:
    """Whether two flows differ by more than their engine speeds and the last digit explain."""
    low, high = sorted(flows)
    slow, fast = sorted(engine_speeds)
    if slow <= 0 or (slow < IDLES_BELOW and low <= digit):  # a paddle wheel may stand still at so little fuel
        return False
    least = IDLING_JUMPS_BY if slow < IDLES_BELOW else JUMPS_BY
    explained: float = least * (fast / slow) ** STEEPEST
    return high > explained * low + DIGITS * digit


def jump_between(runs: Sequence[Steady], engine: str, current: float, wander: float, digit: float) -> Jump | None:
    """Two runs at one throttle setting between which an engine's flow is another.

    runs    : of one throttle step, in order of time
    engine  : what follows "n" and "f" in the names of its streams
    current : strongest; two runs at farther speeds may be before and past the hump [kn]
    wander  : half width by which flow wanders at a fixed throttle [L/h]
    digit   : as in `Watched`
    """
    for one, other in _in_turn(runs):
        engine_speeds = [run.means[f"n{engine}"] for run in (one, other)]
        flows = [run.means[f"f{engine}"] for run in (one, other)]
        alike = abs(one.means["s"] - other.means["s"]) <= min(2 * current, _most_apart(one, other))
        if alike and abs(flows[0] - flows[1]) > wander and _apart(engine_speeds, flows, digit):
            return Jump(other.start, *flows)
    return None


def _in_turn(runs: Sequence[Steady]) -> Iterator[tuple[Steady, Steady]]:
    """Neighbours first: they tell best when it jumped."""
    yield from pairwise(runs)
    yield from combinations(runs, 2)


def _most_apart(one: Steady, other: Steady) -> float:
    """How far the speeds of two runs may lie apart before one may be past the hump and the other before it [kn]."""
    return max(2.0, 0.25 * math.fsum((one.means["s"], other.means["s"])) / 2)
