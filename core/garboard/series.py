"""Plain functions on streams: directions that wrap, turning by integration, steady stretches, mean of runs."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from heapq import heapify, heappop, heappush
from itertools import accumulate, islice, pairwise
from operator import itemgetter

import attrs

from garboard.records import Engine
from garboard.samples import Recording, Stream

__all__ = [
    "COARSE",
    "LOG_WITHIN",
    "Steady",
    "compass_angle",
    "engine_instance",
    "engine_numbers",
    "engine_streams",
    "is_copy",
    "is_frozen",
    "mean",
    "mean_direction",
    "mean_of_means",
    "not_heard",
    "shared_numbers",
    "signed_angle",
    "spread",
    "standard_deviation",
    "steady_stretches",
    "turned",
    "two_in_turn",
    "unchanging_stretches",
    "unwrapped",
]

COARSE = 0.5
"""A direction in steps of this or more may show one value for long and live; common practice, no source [deg]."""
LOG_WITHIN = 0.05
"""A log is left alone within this share of the speed over ground: it is set to a few per cent, and the boat's wake
and the bubbles under it take more at speed; common practice, no source [-]."""
FROZEN_FOR = 20.0  # a shorter standstill may be chance; common practice, no source [s]
FROZEN_SAMPLES = 10  # fewer alike may be chance


def signed_angle(degrees: float) -> float:
    """An angle brought to above -180 and up to 180 [deg].

    >>> signed_angle(350.0), signed_angle(180.0), signed_angle(-190.0)
    (-10.0, 180.0, 170.0)
    """
    return 180.0 - (180.0 - degrees) % 360.0


def compass_angle(degrees: float) -> float:
    """An angle brought to 0 and below 360 [deg].

    >>> compass_angle(-10.0), compass_angle(360.0)
    (350.0, 0.0)
    """
    wrapped = degrees % 360.0
    return 0.0 if wrapped == 360.0 else wrapped  # a tiny negative angle rounds up to 360


def mean_direction(degrees: Sequence[float]) -> float:
    """Mean of directions by adding unit vectors [deg], 0 to below 360.

    Raises ValueError for no directions and for directions that cancel out.

    >>> round(mean_direction([350.0, 20.0]), 6)
    5.0
    """
    if not degrees:
        raise ValueError("expected at least one direction, got none")
    east = math.fsum(math.sin(math.radians(angle)) for angle in degrees) / len(degrees)
    north = math.fsum(math.cos(math.radians(angle)) for angle in degrees) / len(degrees)
    if math.hypot(east, north) < 1e-9:
        raise ValueError("expected directions with a mean, got ones that cancel out")
    return compass_angle(math.degrees(math.atan2(east, north)))


def mean(values: Sequence[float]) -> float:
    """Arithmetic mean. Raises ValueError for no values."""
    if not values:
        raise ValueError("expected at least one value, got none")
    return math.fsum(values) / len(values)


def standard_deviation(values: Sequence[float]) -> float:
    """Sample standard deviation (n - 1); zero for one value."""
    middle = mean(values)
    return math.sqrt(math.fsum((value - middle) ** 2 for value in values) / max(len(values) - 1, 1))


spread = standard_deviation
"""A former name of `standard_deviation`, which older plugins may use."""


def turned(stream: Stream, longest_gap: float = 2.0) -> float:
    """Degrees turned by a rate-of-turn stream, trapezoid rule over time [deg], starboard positive.

    stream      : rate of turn [deg/s]
    longest_gap : stretches without samples longer than this are left out [s]
    """
    return math.fsum(
        (later - earlier) * (first + second) / 2
        for (earlier, first), (later, second) in pairwise(stream)
        if later - earlier <= longest_gap
    )


def unwrapped(degrees: Sequence[float]) -> tuple[float, ...]:
    """Directions as a running total without jumps at north [deg]; neighbours differ by 180 at most.

    >>> unwrapped([350.0, 10.0, 355.0])
    (350.0, 370.0, 355.0)
    """
    total = list(degrees[:1])
    for angle in islice(degrees, 1, None):
        before = total[-1]
        total.append(before + (180.0 - (180.0 - (angle - before)) % 360.0))  # `signed_angle`, without a call a sample
    return tuple(total)


def unchanging_stretches(stream: Stream, seconds: float = FROZEN_FOR) -> tuple[Stream, ...]:
    """The parts of a stream in which every sample is the same to its last digit, in order of time.

    seconds : the shortest that counts [s]

    >>> from garboard.samples import StreamKey
    >>> values = (1.0, 2.0, *[3.0] * 10, 4.0)
    >>> [part.times for part in unchanging_stretches(Stream(StreamKey("heading"), tuple(range(13)), values), 9.0)]
    [(2, 3, 4, 5, 6, 7, 8, 9, 10, 11)]
    """
    times, values = stream.times, stream.values
    changes = [number for number, (one, other) in enumerate(pairwise(values), 1) if one is not other and one != other]
    return tuple(
        Stream(stream.key, times[first:after], values[first:after])
        for first, after in pairwise((0, *changes, len(values)))
        if after - first >= FROZEN_SAMPLES and times[after - 1] - times[first] >= seconds
    )


def is_copy(one: Stream, other: Stream) -> bool:
    """Whether two streams show the same values one after the other, to the last digit, while they change.

    Two engines held in step still differ in the last digit now and then: such streams are one engine heard twice.

    >>> from garboard.samples import StreamKey
    >>> port = Stream(StreamKey("engine_speed", instance="0"), tuple(range(6)), (1.0, 2.0, 3.0, 5.0, 4.0, 2.0))
    >>> is_copy(port, Stream(StreamKey("engine_speed", instance="1"), port.times, port.values))
    True
    """
    return one.values == other.values and len(set(one.values)) >= COPIED_VALUES


COPIED_VALUES = 5
"""Fewer different values may agree by chance. Common practice, no source."""


def is_frozen(stream: Stream) -> bool:
    """Whether a stream shows one value only, to its last digit, over ten samples and 20 s or more.

    A boat under way rolls, yaws and surges, and a live instrument shows that in its last digit. One that shows
    nothing is dead, or its display stands still, and no direction can be judged by it. A speed in tenths of a knot
    may live and keep one figure for a minute in calm water: hold it against the engine speed before you doubt it.
    A stream that lives for a part of its time is not frozen: `unchanging_stretches` tells when it stood still.

    >>> from garboard.samples import StreamKey
    >>> dead = Stream(StreamKey("heading"), tuple(range(30)), (87.0,) * 30)
    >>> is_frozen(dead), is_frozen(dead.between(0, 10))
    (True, False)
    """
    return any(len(part) == len(stream) for part in unchanging_stretches(stream))


def mean_of_means(values: Sequence[float]) -> float:
    """Mean of alternate runs with and against a current, by repeated means of neighbours.

    values : results of runs made one after the other in opposite directions, at least two, evenly spaced in
             time. Two runs take out a steady current, three one that changes at a steady rate, four one
             whose rate of change changes steadily.
    Raises ValueError for fewer than two runs.

    >>> mean_of_means([31.0, 28.7, 31.4, 28.7])
    30.0

    [1] Mean of means as used for speed trials over a measured mile (V1 + 3 V2 + 3 V3 + V4) / 8.
    """
    if len(values) < 2:
        raise ValueError(f"expected at least two opposite runs, got {len(values)}")
    row = list(values)
    while len(row) > 1:
        row = [(first + second) / 2 for first, second in pairwise(row)]
    return row[0]


@attrs.frozen
class Steady:
    """A stretch of time in which every watched stream stayed within its tolerance.

    means, standard_deviations : of each stream, in the streams' units
    """

    start: float
    end: float
    means: Mapping[str, float]
    standard_deviations: Mapping[str, float]

    @property
    def seconds(self) -> float:
        """Length [s]."""
        return self.end - self.start

    @property
    def spreads(self) -> Mapping[str, float]:
        """A former name of `standard_deviations`, which older plugins may use."""
        return self.standard_deviations


def steady_stretches(
    streams: Mapping[str, Stream], tolerance: Mapping[str, float], seconds: float, longest_gap: float = 3.0
) -> tuple[Steady, ...]:
    """Stretches in which all streams are heard and keep within their tolerances, in order of time.

    The longest is taken first, then the longest of what that leaves, and so on; stretches never overlap.

    streams     : by name; directions are not for this function
    tolerance   : half width allowed about the middle of the stretch, in each stream's unit
    seconds     : shortest stretch that counts [s]
    longest_gap : a longer silence of any stream belongs to no stretch [s]
    Raises ValueError for a tolerance below zero.
    """
    if any(not half_width >= 0 for half_width in tolerance.values()):
        raise ValueError(f"expected tolerances of zero or above, got {dict(tolerance)}")
    ticks = sorted({time for stream in streams.values() for time in stream.times})
    earliest = [0] * len(ticks)
    for name, stream in streams.items():
        for tick, bound in _bounds(stream, ticks, 2 * tolerance[name], longest_gap):
            earliest[tick] = max(earliest[tick], bound)
    earliest = list(accumulate(earliest, max))
    widest = [
        (first, last)
        for last, (first, following) in enumerate(pairwise([*earliest, len(ticks)]))
        if first <= last and first < following
    ]
    found = (_steady(streams, ticks[first], ticks[last]) for first, last in _longest_apart(widest, ticks, seconds))
    return tuple(stretch for stretch in found if stretch is not None)


def _bounds(stream: Stream, ticks: Sequence[float], width: float, longest_gap: float) -> Iterator[tuple[int, int]]:
    """Ticks with the earliest tick from which a stretch that ends there may start, for one stream."""
    number_of = {time: number for number, time in enumerate(ticks)}
    tick_of = [number_of[time] for time in stream.times]
    for tick, first in zip(tick_of, _earliest_within(stream.values, width), strict=True):
        yield tick, tick_of[first - 1] + 1 if first else 0
    for before, after in pairwise([-1, *tick_of, len(ticks)]):
        outside = before < 0 or after == len(ticks)
        if outside or ticks[after] - ticks[before] > longest_gap:
            yield from ((silent, silent + 1) for silent in range(before + 1, after))
            if not outside:
                yield after, after


def _earliest_within(values: Sequence[float], width: float) -> Iterator[int]:
    """For each value, the first of the run up to it that spans no more than the width.

    One pass: two queues hold what can still be the lowest and the highest of the run.
    """
    rounding = 1e-9  # 30.6 - 30.0 comes out a hair above 0.6
    lowest: deque[int] = deque()
    highest: deque[int] = deque()
    first = 0
    for number, value in enumerate(values):
        while lowest and values[lowest[-1]] >= value:
            lowest.pop()
        while highest and values[highest[-1]] <= value:
            highest.pop()
        lowest.append(number)
        highest.append(number)
        while values[highest[0]] - values[lowest[0]] > width + rounding:
            queue = min(lowest, highest, key=itemgetter(0))
            first = queue.popleft() + 1
        yield first


def _longest_apart(windows: Iterable[tuple[int, int]], ticks: Sequence[float], seconds: float) -> list[tuple[int, int]]:
    """Windows that do not overlap, the longest first served, the others cut back to what is left of them.

    windows : first and last tick of each; none lies inside another
    """
    waiting = [(ticks[first] - ticks[last], first, last) for first, last in windows]
    heapify(waiting)
    kept: list[tuple[int, int]] = []
    while waiting and -waiting[0][0] >= seconds:
        _, first, last = heappop(waiting)
        place = bisect_left(kept, (first, last))
        free_from = max(first, kept[place - 1][1] + 1) if place else first
        free_to = min(last, kept[place][0] - 1) if place < len(kept) else last
        if (free_from, free_to) == (first, last):
            kept.insert(place, (first, last))
        elif free_from <= free_to:
            heappush(waiting, (ticks[free_from] - ticks[free_to], free_from, free_to))
    return kept


def _steady(streams: Mapping[str, Stream], start: float, end: float) -> Steady | None:
    parts = {name: stream.between(start, end).values for name, stream in streams.items()}
    if not all(parts.values()):
        return None  # a stretch shorter than the gap may fall between two samples of a slow stream
    means = {name: mean(values) for name, values in parts.items()}
    return Steady(start, end, means, {name: standard_deviation(values) for name, values in parts.items()})


LOOKED_THROUGH = 20
"""So many values of a stream are looked at together for two that take turns."""
FAR_APART = 5.0
"""Two instruments are told apart where they differ by so many times what each of them varies; common practice."""
LEAST_OF_EACH, TAKING_TURNS = 0.3, 0.6
"""Of the values at least so many are of either, and of the steps at least so many go from one to the other."""


def two_in_turn(values: Sequence[float], least: float) -> tuple[float, float] | None:
    """The two values between which a stream jumps to and fro, as two instruments under one name make it.

    values  : in order of time
    least   : two that differ by less are taken for one instrument that flickers, in the unit of the values
    returns : the lower and the higher one, where they are highest; None for the stream of one instrument

    >>> two_in_turn([700.0, 850.0] * 15, 50.0), two_in_turn([700.0] * 15 + [850.0] * 15, 50.0)
    ((700.0, 850.0), None)
    """
    parts = [values[at : at + LOOKED_THROUGH] for at in range(0, len(values) - LOOKED_THROUGH + 1, LOOKED_THROUGH)]
    found = [two for part in parts if (two := _two_groups(part, least)) is not None]
    return max(found) if len(found) > len(parts) / 2 else None


def _two_groups(values: Sequence[float], least: float) -> tuple[float, float] | None:
    ordered = sorted(values)
    apart, cut = max((higher - lower, place) for place, (lower, higher) in enumerate(pairwise(ordered), 1))
    low, high = ordered[:cut], ordered[cut:]
    spread = max(low[-1] - low[0], high[-1] - high[0])
    if apart < least or apart <= FAR_APART * spread or min(len(low), len(high)) < LEAST_OF_EACH * len(values):
        return None
    turns = sum((one <= low[-1]) != (other <= low[-1]) for one, other in pairwise(values))
    return (mean(low), mean(high)) if turns >= TAKING_TURNS * (len(values) - 1) else None


def engine_streams(
    recording: Recording, quantity: str, count: int, instances: Sequence[int | None] = ()
) -> tuple[Stream | None, ...]:
    """The streams of a quantity for engines from port to starboard, by the network's engine instance.

    count     : how many engines the vessel has
    instances : the instance of each engine where known (`Engine.network_instance`). Otherwise instance 0 is the
                port (or only) engine, counting to starboard.
    No stream stands for two engines: those that share an instance have none.
    """
    by_instance: dict[str, Stream] = {}
    for stream in recording.of(quantity):
        by_instance.setdefault(engine_instance(stream.key.instance, count), stream)
    numbers = engine_numbers([*instances, *[None] * (count - len(instances))])
    return tuple(None if number is None else by_instance.get(str(number)) for number in numbers)


def engine_numbers(instances: Sequence[int | None]) -> tuple[int | None, ...]:
    """The number by which each engine is heard on the network; None for engines that would share one.

    instances : as entered, from port to starboard (`Engine.network_instance`). Where none is, an engine's place from
                port, from 0.

    >>> engine_numbers((None, None)), engine_numbers((1, 0)), engine_numbers((0, 0, 2))
    ((0, 1), (1, 0), (None, None, 2))
    """
    numbers = _numbers(instances)
    return tuple(number if numbers.count(number) == 1 else None for number in numbers)


def engine_instance(heard: str, count: int) -> str:
    """The network's number of an engine as text, by the instance of a stream. A name nobody can place stays a name.

    heard : a number, "" where there is one engine, or a name by which a Signal K server calls it
    count : how many engines the vessel has; of three, makers and servers do not agree which "starboard" is

    >>> engine_instance("port", 2), engine_instance("starboard", 2), engine_instance("main", 1), engine_instance("", 1)
    ('0', '1', '0', '0')
    """
    names = {"": "0", "port": "0"}
    if count <= 2:
        names["starboard"] = "1"
    if count == 1:
        names |= dict.fromkeys(("main", "single", "centre", "center"), "0")
    return names.get(heard.lower(), heard)


def _numbers(instances: Sequence[int | None]) -> list[int]:
    return [place if instance is None else instance for place, instance in enumerate(instances)]


def shared_numbers(engines: Sequence[Engine]) -> dict[int, tuple[Engine, ...]]:
    """Engines that would be heard by one number on the network, by that number.

    >>> shared_numbers([Engine(position="port", network_instance=1), Engine(position="starboard")])[1][0].position
    'port'
    """
    numbers = _numbers([engine.network_instance for engine in engines])
    return {
        number: tuple(engine for engine, its in zip(engines, numbers, strict=True) if its == number)
        for number in dict.fromkeys(numbers)
        if numbers.count(number) > 1
    }


def not_heard(what: str, engines: Sequence[Engine], engine: Engine, heard: Sequence[Stream]) -> str:
    """What to say of an engine that a recording holds nothing of, and under which numbers others are heard.

    what  : "the recording has no engine speed"
    heard : streams of the quantity looked for
    returns : the same text for engines that share a number, so that it can be said once
    """
    others = sorted({engine_instance(stream.key.instance, len(engines)) for stream in heard})
    for number, sharing in shared_numbers(engines).items():
        if others and engine in sharing:
            names = " and ".join(one.position for one in sharing)
            are_heard = f"heard {'are' if len(others) > 1 else 'is'} {', '.join(others)}"
            return (
                f"{what} to tell {names} apart: each has network instance {number}, {are_heard}; enter whose is which"
            )
    number = _numbers([one.network_instance for one in engines])[list(engines).index(engine)]
    text = f"{what} of the {engine.position} engine"
    if not others:
        return text
    heard_are = f"{' and '.join(others)} {'are' if len(others) > 1 else 'is'}"
    return (
        f"{text}: instance {number} is not heard, {heard_are}; see that its adapter sends it, or enter which network "
        "instance each engine has"
    )
