"""Plain functions on streams: directions that wrap, turning by integration, steady stretches, mean of runs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise

import attrs

from garboard.samples import Recording, Stream


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


def spread(values: Sequence[float]) -> float:
    """Sample standard deviation (n - 1); zero for one value."""
    middle = mean(values)
    return math.sqrt(math.fsum((value - middle) ** 2 for value in values) / max(len(values) - 1, 1))


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
    total: list[float] = []
    for angle in degrees:
        total.append(angle if not total else total[-1] + signed_angle(angle - total[-1]))
    return tuple(total)


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

    means, spreads : mean and standard deviation of each stream, in the streams' units
    """

    start: float
    end: float
    means: Mapping[str, float]
    spreads: Mapping[str, float]

    @property
    def seconds(self) -> float:
        """Length [s]."""
        return self.end - self.start


def steady_stretches(
    streams: Mapping[str, Stream], tolerance: Mapping[str, float], seconds: float, longest_gap: float = 3.0
) -> tuple[Steady, ...]:
    """Stretches in which all streams keep within their tolerances, longest possible, in order of time.

    streams     : by name; directions are not for this function
    tolerance   : half width allowed about the middle of the stretch, in each stream's unit
    seconds     : shortest stretch that counts [s]
    longest_gap : a longer silence of any stream ends the stretch [s]
    """
    events = sorted((time, name, value) for name, stream in streams.items() for time, value in stream)
    found: list[Steady] = []
    first = 0
    low: dict[str, float] = {}
    high: dict[str, float] = {}
    last_seen: dict[str, float] = {}

    def close(stop: int) -> None:
        if stop > first and len(low) == len(streams) and events[stop - 1][0] - events[first][0] >= seconds:
            found.append(_steady(streams, events[first][0], events[stop - 1][0]))

    for index, (time, name, value) in enumerate(events):
        silent = any(time - seen > longest_gap for seen in last_seen.values())
        wide = max(high.get(name, value), value) - min(low.get(name, value), value) > 2 * tolerance[name]
        if silent or wide:
            close(index)
            first = index if silent else _restart(events, first, index, tolerance)
            low, high, last_seen = {}, {}, {}
            for earlier, other, number in events[first : index + 1]:
                low[other], high[other] = (
                    min(low.get(other, number), number),
                    max(high.get(other, number), number),
                )
                last_seen[other] = earlier
        low[name], high[name] = min(low.get(name, value), value), max(high.get(name, value), value)
        last_seen[name] = time
    close(len(events))
    return _longest_apart(found)


def _restart(events: Sequence[tuple[float, str, float]], first: int, index: int, tolerance: Mapping[str, float]) -> int:
    """The earliest start from which everything up to and with `index` keeps within tolerance."""
    low: dict[str, float] = {}
    high: dict[str, float] = {}
    for start in range(index, first, -1):
        _, name, value = events[start]
        low[name], high[name] = min(low.get(name, value), value), max(high.get(name, value), value)
        if high[name] - low[name] > 2 * tolerance[name]:
            return start + 1
    return first + 1


def _longest_apart(found: Sequence[Steady]) -> tuple[Steady, ...]:
    """Stretches that do not overlap, longer ones first served, in order of time."""
    kept: list[Steady] = []
    for stretch in sorted(found, key=lambda steady: -steady.seconds):
        if all(stretch.end <= other.start or stretch.start >= other.end for other in kept):
            kept.append(stretch)
    return tuple(sorted(kept, key=lambda steady: steady.start))


def _steady(streams: Mapping[str, Stream], start: float, end: float) -> Steady:
    parts = {name: stream.between(start, end).values for name, stream in streams.items()}
    means = {name: mean(values) for name, values in parts.items()}
    return Steady(start, end, means, {name: spread(values) for name, values in parts.items()})


def engine_streams(recording: Recording, quantity: str, count: int) -> tuple[Stream | None, ...]:
    """The streams of a quantity for engines from port to starboard, by the network's engine instance.

    count : how many engines the vessel has. Instance "0" is the port (or only) engine, counting to starboard.
    """
    by_instance: dict[str, Stream] = {}
    for stream in recording.of(quantity):
        by_instance.setdefault(stream.key.instance or "0", stream)
    return tuple(by_instance.get(str(number)) for number in range(count))
