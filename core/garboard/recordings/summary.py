"""What a recording holds, told in a page: one row a stream, and remarks in plain words."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from math import exp, inf, log
from pathlib import Path

import attrs

from garboard.recordings.notes import ReadingNotes
from garboard.recordings.reader import read_samples
from garboard.samples import SIMULATED, StreamKey

GAP = 5.0
"""A gap is an interval longer than this many times the median interval."""
STEPS_PER_E = 100  # intervals are sorted into classes 1 % wide, so that memory does not grow with the recording

HEADING_KINDS = ("HDG", "HDM", "HDT", "127250")


@attrs.frozen
class StreamSummary:
    """One stream in numbers.

    first, last     : time of the first and of the last sample [s]
    rate            : mean [Hz]; 0 when all samples have one time
    median_interval : between samples of different time, to 1 % [s]; 0 when there is none
    longest_gap     : longest interval between two samples [s]
    gaps            : how many intervals are longer than GAP median intervals (to 1 %)
    lowest, highest : in the unit of the quantity
    out_of_order    : samples older than the one before them
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


@attrs.frozen
class Summary:
    """A recording's streams, by quantity and source, with the notes of its reading.

    remarks : what a person should know, one sentence each
    """

    name: str
    streams: tuple[StreamSummary, ...]
    notes: ReadingNotes
    remarks: tuple[str, ...]


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
    quantities = {key.quantity for key in tallies}
    said = remarks(notes, quantities)
    if any(key.source.startswith(SIMULATED) for key in tallies):
        said.insert(0, "A simulated run, no measurement: nothing is judged by it.")
    disorder = sum(stream.out_of_order for stream in streams)
    if disorder:
        are = "value is" if disorder == 1 else "values are"
        said.append(f"Times run backwards: {disorder} {are} older than the one before; sorted by time.")
    return Summary(Path(path).name, streams, notes, tuple(said))


def remarks(notes: ReadingNotes, quantities: Collection[str]) -> list[str]:
    """What a person should know about a reading, one sentence each.

    notes      : of a finished reading
    quantities : those that have samples
    """
    said = []
    if not notes.samples:
        said.append("No value in this recording can be used.")
    headings = {kind: notes.kinds[kind] for kind in HEADING_KINDS if kind in notes.kinds}
    if headings and "heading" not in quantities and not notes.without_time:
        word = "messages" if notes.form == "NMEA 2000" else "sentences"
        are_empty = all(notes.empty.get(kind) == count for kind, count in headings.items())
        what = "all empty" if are_empty else "none with a valid heading"
        said.append(f"{_listed(headings)} {word}, {what}: no heading in this log.")
    elif not notes.samples and notes.empty and not notes.without_time:
        said.append(f"Without a valid value: {_listed(notes.empty)}.")
    if notes.without_time:
        values, them = (
            ("1 value has", "it") if notes.without_time == 1 else (f"{notes.without_time} values have", "them")
        )
        said.append(f"{values} no time: no RMC, ZDA, GGA or GLL sentence with a time came with {them}.")
    if notes.damaged_count:
        one = "1 line is damaged" if notes.damaged[0].line else "The recording is damaged"
        lines = one if notes.damaged_count == 1 else f"{notes.damaged_count} lines are damaged; the first"
        said.append(f"{lines}: {notes.damaged[0]}.")
    if notes.without_checksum == 1:
        said.append("1 sentence carries no checksum; it was used as it stands.")
    elif notes.without_checksum:
        said.append(f"{notes.without_checksum} sentences carry no checksum; they were used as they stand.")
    if notes.decimal_commas:
        first, have = notes.first_decimal_comma, "number has" if notes.decimal_commas == 1 else "numbers have"
        said.append(
            f"{notes.decimal_commas} {have} a comma, read as a decimal point: {first} as {first.replace(',', '.')}. "
            "Use a point, and nothing to part thousands."
        )
    if not notes.dated and notes.samples:
        said.append("The log has no date: times count from its first time.")
    return said


def _listed(counts: Mapping[str, int]) -> str:
    """
    >>> _listed({"HDM": 120, "HDT": 120, "HDG": 3})
    '120 HDM, 120 HDT and 3 HDG'
    """
    parts = [f"{count} {kind}" for kind, count in sorted(counts.items(), key=lambda item: (-item[1], item[0]))]
    return " and ".join(filter(None, [", ".join(parts[:-1]), parts[-1]]))


@attrs.define
class _Tally:
    """Running figures of one stream."""

    first: float
    last: float = -inf
    count: int = 0
    latest: float = -inf
    lowest: float = inf
    highest: float = -inf
    longest_gap: float = 0.0
    out_of_order: int = 0
    intervals: dict[int, int] = attrs.field(factory=dict)

    def add(self, time: float, value: float) -> None:
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
        self.last = time

    def summary(self, key: StreamKey) -> StreamSummary:
        span = self.latest - self.first
        median = _median_step(self.intervals)
        return StreamSummary(
            key=key,
            count=self.count,
            first=self.first,
            last=self.latest,
            rate=(self.count - 1) / span if span > 0 else 0.0,
            median_interval=0.0 if median is None else exp(median / STEPS_PER_E),
            longest_gap=self.longest_gap,
            gaps=0 if median is None else _count_above(self.intervals, median + STEPS_PER_E * log(GAP)),
            lowest=self.lowest,
            highest=self.highest,
            out_of_order=self.out_of_order,
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
