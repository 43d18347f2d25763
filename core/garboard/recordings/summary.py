"""What a recording holds, told in a page: one row a stream, and remarks in plain words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import exp, inf, log
from pathlib import Path

import attrs

from garboard.findings import rounded
from garboard.record_types import frozen
from garboard.recordings.notes import ReadingNotes
from garboard.recordings.reader import read_samples
from garboard.recordings.remarks import remarks
from garboard.samples import MOST_ODD, MOST_OUT_OF_ORDER, SIMULATED, StreamKey, stands_still

GAP = 5.0
"""A gap is an interval longer than this many times the median interval."""
STEPS_PER_E = 100  # intervals are sorted into classes 1 % wide, so that memory does not grow with the recording


@frozen
class StreamSummary:
    """One stream in numbers.

    first, last     : time of the first and of the last sample [s]
    rate            : mean [Hz]; 0 when all samples have one time
    median_interval : between samples of different time, to 1 % [s]; 0 when there is none
    longest_gap     : longest interval between two samples [s]
    gaps            : how many intervals are longer than GAP median intervals (to 1 %)
    lowest, highest : in the unit of the quantity
    out_of_order    : samples older than the one before them
    set_back        : by how much its clock was set back at most, 0 where it was not [s]; rate and gaps are then those
                      of the parts between
    """

    key: StreamKey
    count: int
    first: float
    last: float
    rate: float
    median_interval: float
    longest_gap: float
    gaps: int
    lowest: float
    highest: float
    out_of_order: int
    set_back: float = 0.0


@frozen
class Summary:
    """A recording's streams, by quantity and source, with the notes of its reading.

    remarks : what a person should know, one sentence each
    """

    name: str
    streams: tuple[StreamSummary, ...]
    notes: ReadingNotes
    remarks: tuple[str, ...]

    @property
    def stands_still(self) -> bool:
        """Whether its clock does not go on."""
        return self.notes.timed and _stands_still(self.streams)


def _stands_still(streams: Iterable[StreamSummary]) -> bool:
    return stands_still((stream.count, stream.first, stream.last) for stream in streams)


def summarise(path: str | Path) -> Summary:
    """Read a recording once and count; memory grows with the number of streams only.

    path : as for `read_samples`
    Raises InputError as `read_samples` does; a recording without values gives a summary that says so.
    """
    notes = ReadingNotes()
    tallies: dict[StreamKey, _Tally] = {}
    for time, quantity, value, source, instance, reference in read_samples(path, notes):
        key = StreamKey(quantity, source, instance, reference)
        tally = tallies.get(key)
        if tally is None:
            tally = tallies[key] = _Tally(time)
        tally.add(time, value)
    streams = tuple(tallies[key].summary(key) for key in sorted(tallies))
    notes.met_odd_times(sum(tally.odd_times for tally in tallies.values()))
    quantities = {key.quantity for key in tallies}
    said = remarks(notes, quantities)
    if any(key.source.startswith(SIMULATED) for key in tallies):
        said.insert(0, "A simulated run, not a measurement: nothing is judged by it.")
    if notes.timed and _stands_still(streams):
        said.append("The clock stands still: all values have one time. Record again.")
    set_back = max((stream.set_back for stream in streams), default=0.0)
    disorder = sum(stream.out_of_order for stream in streams)
    if set_back:
        said.append(f"The clock goes back by {rounded(set_back)} s: two moments lie one over the other; record again.")
    elif disorder:
        are = "value is" if disorder == 1 else "values are"
        said.append(f"Times run backwards: {disorder} {are} older than the one before; sorted by time.")
    return Summary(Path(path).name, streams, notes, tuple(said))


@attrs.define
class _Tally:
    """Running figures of one stream.

    latest : the newest time since the clock was last set back [s]
    until  : the newest time of all [s]
    parts  : how long the parts last that ended with a clock set back [s]
    odd_times : values left out because their time lies far off, see `without_odd_times`
    """

    first: float
    last: float = -inf
    count: int = 0
    latest: float = -inf
    until: float = -inf
    begun: float = attrs.field(default=attrs.Factory(lambda tally: tally.first, takes_self=True))
    parts: float = 0.0
    set_back: float = 0.0
    lowest: float = inf
    highest: float = -inf
    longest_gap: float = 0.0
    out_of_order: int = 0
    intervals: dict[int, int] = attrs.field(factory=dict)
    odd_times: int = 0
    _odd: list[tuple[float, float]] = attrs.field(factory=list)

    def add(self, time: float, value: float) -> None:
        """Count one more; those far off in time are kept until it shows whether the clock goes on as before."""
        if not self._odd and not (self.count and abs(time - self.last) > MOST_OUT_OF_ORDER):
            self._count(time, value)
        elif self._odd and abs(time - self.last) <= MOST_OUT_OF_ORDER < abs(time - self._odd[-1][0]):
            if self.odd_times + len(self._odd) <= MOST_ODD:  # more are of two clocks
                self.odd_times += len(self._odd)
                self._odd.clear()
            self._count_odd()
            self._count(time, value)
        else:
            self._odd.append((time, value))
            if len(self._odd) > MOST_ODD:
                self._count_odd()

    def _count_odd(self) -> None:
        odd, self._odd = self._odd, []
        for time, value in odd:
            self._count(time, value)

    def _count(self, time: float, value: float) -> None:
        self.count += 1
        if value < self.lowest:
            self.lowest = value
        if value > self.highest:
            self.highest = value
        if time > self.latest:
            if self.count > 1:
                interval = time - self.latest
                if interval > self.longest_gap:
                    self.longest_gap = interval
                step = round(STEPS_PER_E * log(interval))
                self.intervals[step] = self.intervals.get(step, 0) + 1
            self.latest = time
        elif time < self.last:
            self.out_of_order += 1
            self.first = min(self.first, time)
            if self.latest - time > MOST_OUT_OF_ORDER:
                self._begin_anew(time)
        self.last = time

    def _begin_anew(self, time: float) -> None:
        """The clock was set back: what comes is another part, with intervals of its own."""
        self.set_back = max(self.set_back, self.latest - time)
        self.parts += self.latest - self.begun
        self.until = max(self.until, self.latest)
        self.begun = self.latest = time

    def summary(self, key: StreamKey) -> StreamSummary:
        self._count_odd()
        span = self.parts + self.latest - (self.begun if self.set_back else self.first)
        median = _median_step(self.intervals)
        return StreamSummary(
            key=key,
            count=self.count,
            first=self.first,
            last=max(self.until, self.latest),
            rate=(self.count - 1) / span if span > 0 else 0.0,
            median_interval=0.0 if median is None else exp(median / STEPS_PER_E),
            longest_gap=self.longest_gap,
            gaps=0 if median is None else _count_above(self.intervals, median + STEPS_PER_E * log(GAP)),
            lowest=self.lowest,
            highest=self.highest,
            out_of_order=self.out_of_order,
            set_back=self.set_back,
        )


def _median_step(intervals: Mapping[int, int]) -> int | None:
    half, passed = sum(intervals.values()) / 2, 0
    for step in sorted(intervals):
        passed += intervals[step]
        if passed >= half:
            return step
    return None


def _count_above(intervals: Mapping[int, int], limit: float) -> int:
    return sum(count for step, count in intervals.items() if step > limit)
