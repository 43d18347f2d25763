"""Where readers of many lines at once put what they find: into columns, or into samples in the order of the lines."""

from __future__ import annotations

import operator
from collections.abc import Sequence
from itertools import accumulate, repeat
from typing import Protocol

import attrs

from garboard.samples import Recording, Sample, Stream, StreamKey, without_odd_times

Piece = tuple[StreamKey, Sequence[int], Sequence[float], Sequence[float]]
"""Values of one stream: the places of their lines, their times and the values themselves."""
_by_place = operator.itemgetter(0)


class Into(Protocol):
    """One of the two."""

    def put(self, key: StreamKey, places: Sequence[int], times: Sequence[float], values: Sequence[float]) -> None:
        """Some more of a stream; what is put before `keep` may be put in any order."""

    def keep(self) -> list[Sample]:
        """Bring what was put into the order of the lines; gives samples, if that is what comes of it."""


@attrs.define
class Columns:
    """Two columns of each stream, in the order of the lines."""

    _streams: dict[StreamKey, tuple[list[float], list[float]]] = attrs.field(factory=dict)
    _found: dict[StreamKey, list[Piece]] = attrs.field(factory=dict)

    def put(self, key: StreamKey, places: Sequence[int], times: Sequence[float], values: Sequence[float]) -> None:
        self._found.setdefault(key, []).append((key, places, times, values))

    def keep(self) -> list[Sample]:
        for key, pieces in self._found.items():
            times, values = self._streams.setdefault(key, ([], []))
            if len(pieces) == 1:
                times += pieces[0][2]
                values += pieces[0][3]
            else:
                rows = [row for piece in pieces for row in zip(*piece[1:], strict=True)]
                rows.sort(key=_by_place)
                times += map(operator.itemgetter(1), rows)
                values += map(operator.itemgetter(2), rows)
        self._found.clear()
        return []

    def recording(self, name: str) -> Recording:
        """The same as `gather` makes of samples: streams in the order of time."""
        streams, set_back = dict[StreamKey, Stream](), 0.0
        for key, (times, values) in self._streams.items():
            if times != sorted(times):  # sorting what is in order is quicker than comparing neighbours
                times, values = without_odd_times(times, values)
            if times != sorted(times):
                back = max(map(operator.sub, accumulate(times, max), times))
                set_back = max(set_back, back)
                order = sorted(range(len(times)), key=times.__getitem__)
                times, values = [times[at] for at in order], [values[at] for at in order]
            streams[key] = Stream(key, tuple(times), tuple(values))
        return Recording(name, streams, set_back=set_back)


@attrs.define
class InOrder:
    """Samples in the order of the lines; those of one line in the order they were put."""

    _pieces: list[Piece] = attrs.field(factory=list)

    def put(self, key: StreamKey, places: Sequence[int], times: Sequence[float], values: Sequence[float]) -> None:
        self._pieces.append((key, places, times, values))

    def keep(self) -> list[Sample]:
        rows = [
            row
            for (quantity, *which), places, times, values in self._pieces
            for row in zip(
                places,
                map(tuple.__new__, repeat(Sample), zip(times, repeat(quantity), values, *map(repeat, which))),
                strict=False,
            )
        ]
        self._pieces.clear()
        rows.sort(key=_by_place)
        return list(map(operator.itemgetter(1), rows))
