"""Instrument samples: what a recording holds once read, and the streams calculators take from it."""

from __future__ import annotations

import itertools
import operator
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

import attrs

from garboard.record_types import frozen

__all__ = [
    "HARD_RANGE",
    "MOST_ODD",
    "MOST_OUT_OF_ORDER",
    "SIMULATED",
    "UNIT_OF_QUANTITY",
    "Recording",
    "Sample",
    "Stream",
    "StreamKey",
    "gather",
    "marked",
    "marked_whole",
    "stands_still",
    "without_odd_times",
]

UNIT_OF_QUANTITY: Mapping[str, str] = {
    "heading": "deg",
    "deviation": "deg",
    "variation": "deg",
    "rate_of_turn": "deg/s",
    "course_over_ground": "deg",
    "speed_over_ground": "kn",
    "speed_through_water": "kn",
    "roll": "deg",
    "pitch": "deg",
    "yaw": "deg",
    "latitude": "deg",
    "longitude": "deg",
    "rudder_angle": "deg",
    "engine_speed": "rev/min",
    "shaft_speed": "rev/min",
    "engine_trim": "%",
    "fuel_flow": "L/h",
    "engine_temperature": "degC",
    "oil_pressure": "kPa",
    "coolant_pressure": "kPa",
    "alternator_voltage": "V",
    "engine_hours": "h",
    "magnetic_x": "uT",
    "magnetic_y": "uT",
    "rudder_order": "deg",
    "course_to_steer": "deg",
    "gear": "",
    "transmission_oil_pressure": "kPa",
    "transmission_oil_temperature": "degC",
    "trip_fuel": "L",
    "trip_fuel_flow": "L/h",
    "rated_engine_speed": "rev/min",
    "tank_level": "%",
    "tank_capacity": "L",
    "battery_voltage": "V",
    "battery_current": "A",
    "battery_temperature": "degC",
    "battery_charge": "%",
    "battery_health": "%",
    "depth": "m",
    "depth_offset": "m",
    "water_temperature": "degC",
    "air_temperature": "degC",
    "air_pressure": "hPa",
    "temperature": "degC",
    "set_temperature": "degC",
    "pressure": "kPa",
    "set_pressure": "kPa",
    "humidity": "%",
}
"""Every quantity a recording can hold, with the one unit its samples use. Angles: deviation and variation
east positive, rate of turn starboard positive, rudder starboard positive, latitude north and longitude east.
Gear: 1 ahead, 0 neutral, -1 astern. Depth is below the transducer; its offset is that of the water line above it,
or, negative, of the keel below it."""

SIMULATED = "simulated"
"""The mark of a simulated run: the source of each of its samples begins with this word. It goes wherever they go."""


MOST_OUT_OF_ORDER = 10.0
"""Lines may overtake each other by so much on their way [s]; beyond it a clock was set back. Common practice."""

FEWEST_OF_A_CLOCK = 10
"""So many samples of one time tell that a clock stands still; fewer may have been taken at once. Common practice."""

HARD_RANGE: Mapping[str, tuple[float, float]] = {
    "heading": (0, 360),
    "deviation": (-180, 180),
    "variation": (-180, 180),
    "rate_of_turn": (-360, 360),
    "course_over_ground": (0, 360),
    "speed_over_ground": (0, 200),
    "speed_through_water": (-50, 200),
    "roll": (-180, 180),
    "pitch": (-180, 180),
    "yaw": (-360, 360),
    "latitude": (-90, 90),
    "longitude": (-180, 180),
    "rudder_angle": (-180, 180),
    "engine_speed": (0, 15000),
    "shaft_speed": (-15000, 15000),
    "engine_trim": (-125, 125),
    "fuel_flow": (0, 4000),
    "engine_temperature": (-60, 1000),
    "oil_pressure": (-110, 3000),
    "coolant_pressure": (-110, 3000),
    "alternator_voltage": (0, 100),
    "engine_hours": (0, 500_000),
    "magnetic_x": (-10_000, 10_000),
    "magnetic_y": (-10_000, 10_000),
    "rudder_order": (-180, 180),
    "course_to_steer": (0, 360),
    "gear": (-1, 1),
    "transmission_oil_pressure": (-110, 10_000),
    "transmission_oil_temperature": (-60, 1000),
    "trip_fuel": (0, 100_000),
    "trip_fuel_flow": (0, 4000),
    "rated_engine_speed": (0, 20_000),
    "tank_level": (0, 110),
    "tank_capacity": (0, 1_000_000),
    "battery_voltage": (0, 1000),
    "battery_current": (-5000, 5000),
    "battery_temperature": (-60, 200),
    "battery_charge": (0, 100),
    "battery_health": (0, 100),
    "depth": (0, 12_000),
    "depth_offset": (-50, 50),
    "water_temperature": (-10, 60),
    "air_temperature": (-90, 90),
    "air_pressure": (500, 1200),
    "temperature": (-100, 2000),
    "set_temperature": (-100, 2000),
    "pressure": (-110, 300_000),
    "set_pressure": (-110, 300_000),
    "humidity": (0, 110),
}
"""What no boat's instrument can show lies outside, in UNIT_OF_QUANTITY; angles by what they mean, the rest common
practice, no source."""


class Sample(NamedTuple):
    """One value of one quantity from one instrument.

    time      : seconds since 1970-01-01 UTC, or since the first line when the log carries no date [s]
    quantity  : a key of UNIT_OF_QUANTITY
    value     : in the unit of UNIT_OF_QUANTITY
    source    : who sent it: NMEA 2000 source address ("27"), NMEA 0183 talker ("GP"), or a column's name
    instance  : which of several, such as the engine ("0", "1"); empty when there is one
    reference : "true" or "magnetic" for directions, otherwise empty
    """

    time: float
    quantity: str
    value: float
    source: str = ""
    instance: str = ""
    reference: str = ""


class StreamKey(NamedTuple):
    """Names one stream: samples of different streams are never mixed."""

    quantity: str
    source: str = ""
    instance: str = ""
    reference: str = ""


@frozen
class Stream:
    """The samples of one quantity from one source, oldest first.

    times  : [s], never decreasing
    values : same length as times, in UNIT_OF_QUANTITY of the key's quantity
    """

    key: StreamKey
    times: tuple[float, ...]
    values: tuple[float, ...]

    def between(self, start: float, end: float) -> Stream:
        """The part with start <= time <= end [s]."""
        from bisect import bisect_left, bisect_right

        first, last = bisect_left(self.times, start), bisect_right(self.times, end)
        return Stream(self.key, self.times[first:last], self.values[first:last])

    def __len__(self) -> int:
        return len(self.times)

    def __iter__(self) -> Iterator[tuple[float, float]]:
        return zip(self.times, self.values, strict=True)


@frozen
class Recording:
    """A whole recording, sorted into streams. Made once by `gather`; nothing in it changes.

    devices  : what devices say of themselves, such as maker and model, by the source of their streams
    own_ship : what the boat's own AIS unit says of it: "mmsi", "name", "call_sign"
    set_back : by how much the times of one stream ran back at most, as they were recorded [s]
    is_timed : whether it tells times; otherwise its samples have an order only, and the time 0
    """

    name: str
    streams: Mapping[StreamKey, Stream]
    devices: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict, eq=False)
    own_ship: Mapping[str, str] = attrs.field(factory=dict, eq=False)
    set_back: float = attrs.field(default=0.0, eq=False)
    is_timed: bool = attrs.field(default=True, eq=False)

    @property
    def was_set_back(self) -> bool:
        """Whether its clock was set back while it ran: then two moments lie one over the other."""
        return self.set_back > MOST_OUT_OF_ORDER

    @property
    def no_times(self) -> str:
        """Why nothing can be worked out of its times, in words; "" where it tells when its samples were taken."""
        if not self.is_timed:
            return "the recording tells no times; record again in a form that does"
        if stands_still((len(one), one.times[0], one.times[-1]) for one in self.streams.values() if len(one)):
            return "the clock of the recording stands still: all its values have one time; record again"
        return ""

    @property
    def is_simulated(self) -> bool:
        """Whether any of it carries the simulator's mark: then nothing of it is a measurement."""
        return any(key.source.startswith(SIMULATED) for key in self.streams)

    def of(self, quantity: str) -> tuple[Stream, ...]:
        """All streams of a quantity, one per source, instance and reference; longest first."""
        found = [stream for key, stream in self.streams.items() if key.quantity == quantity]
        return tuple(sorted(found, key=lambda stream: (-len(stream), stream.key)))


def stands_still(streams: Iterable[tuple[int, float, float]]) -> bool:
    """Whether a clock does not go on: in no stream, and one has at least ten samples (common practice, no source).

    streams : of each how many samples it has, and the times of the first and the last [s]
    """
    most = 0
    for count, first, last in streams:
        if first != last:
            return False
        most = max(most, count)
    return most >= FEWEST_OF_A_CLOCK


def marked(samples: Iterable[Sample]) -> Iterator[Sample]:
    """Samples that say of themselves that nobody measured them.

    >>> [sample.source for sample in marked([Sample(0.0, "heading", 80.0, "20")])]
    ['simulated 20']
    """
    return (sample._replace(source=_marked_source(sample.source)) for sample in samples)


def marked_whole(recording: Recording) -> Recording:
    """The same of a recording."""
    keys = {key: key._replace(source=_marked_source(key.source)) for key in recording.streams}
    streams = {keys[key]: attrs.evolve(stream, key=keys[key]) for key, stream in recording.streams.items()}
    return attrs.evolve(recording, streams=streams)


def _marked_source(source: str) -> str:
    return source if source.startswith(SIMULATED) else f"{SIMULATED} {source}".rstrip()


def gather(name: str, samples: Iterable[Sample]) -> Recording:
    """Sort samples into streams by quantity, source, instance and reference, each in order of time."""
    times: dict[StreamKey, list[float]] = {}
    values: dict[StreamKey, list[float]] = {}
    for time, quantity, value, source, instance, reference in samples:
        key = StreamKey(quantity, source, instance, reference)
        times.setdefault(key, []).append(time)
        values.setdefault(key, []).append(value)
    for key, of_stream in times.items():
        times[key], values[key] = without_odd_times(of_stream, values[key])
    set_back = max(map(_set_back, times.values()), default=0.0)
    return Recording(name, {key: _in_order(key, times[key], values[key]) for key in times}, set_back=set_back)


def without_odd_times(times: list[float], values: list[float]) -> tuple[list[float], list[float]]:
    """Times and values without the few whose time lies far off, where the clock goes on behind them as it went before.

    A line with one digit damaged, or a receiver that tells another date for a second, is no clock that was set back.

    >>> without_odd_times([1.0, 2.0, 36003.0, 4.0], [5.0, 6.0, 7.0, 8.0])
    ([1.0, 2.0, 4.0], [5.0, 6.0, 8.0])
    """
    if all(map(operator.le, times, itertools.islice(times, 1, None))):  # nearly always, and quick
        return times, values
    odd, at = set[int](), 1
    while at < len(times):
        behind = _behind_odd_times(times, at) if abs(times[at] - times[at - 1]) > MOST_OUT_OF_ORDER else at
        odd.update(range(at, behind))
        at = behind + 1
    if not odd or len(odd) > max(MOST_ODD, len(times) / MOST_ODD_SHARE):
        return times, values
    kept = [row for row in range(len(times)) if row not in odd]
    return [times[row] for row in kept], [values[row] for row in kept]


def _behind_odd_times(times: Sequence[float], at: int) -> int:
    """Where the clock goes on as it went before a place; the place itself where it does not soon."""
    before = times[at - 1]
    for later in range(at + 1, min(len(times), at + MOST_ODD + 1)):
        if abs(times[later] - before) <= MOST_OUT_OF_ORDER < abs(times[later] - times[later - 1]):
            return later
    return at


MOST_ODD, MOST_ODD_SHARE = 30, 100
"""More samples one behind the other, or a larger share than one in so many, are of two clocks."""


def _set_back(times: Sequence[float]) -> float:
    """By how much times run back behind the latest before them [s]."""
    if all(map(operator.le, times, itertools.islice(times, 1, None))):  # nearly always, and quick
        return 0.0
    return max(latest - time for latest, time in zip(itertools.accumulate(times, max), times, strict=True))


def _in_order(key: StreamKey, times: list[float], values: list[float]) -> Stream:
    if any(later < earlier for earlier, later in itertools.pairwise(times)):
        order = sorted(range(len(times)), key=times.__getitem__)
        times, values = [times[i] for i in order], [values[i] for i in order]
    return Stream(key, tuple(times), tuple(values))
