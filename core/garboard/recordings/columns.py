"""Times and values of streams as columns, for recordings too long to become samples first."""

from __future__ import annotations

import operator
from collections.abc import Sequence
from itertools import accumulate, islice

import attrs

from garboard.samples import Recording, Stream, StreamKey

Piece = tuple[Sequence[int], Sequence[float], Sequence[float]]
"""Places of lines, times and values, in the order of the lines."""


@attrs.define
class Columns:
    """Two columns of each stream, in the order of the lines."""

    _streams: dict[StreamKey, tuple[list[float], list[float]]] = attrs.field(factory=dict)
    _found: dict[StreamKey, list[Piece]] = attrs.field(factory=dict)

    def put(self, key: StreamKey, places: Sequence[int], times: Sequence[float], values: Sequence[float]) -> None:
        """Some more of a stream; what is put before `keep` may be put in any order."""
        self._found.setdefault(key, []).append((places, times, values))

    def keep(self) -> None:
        """Put what was found behind what there was, in the order of the lines."""
        for key, pieces in self._found.items():
            times, values = self._streams.setdefault(key, ([], []))
            if len(pieces) == 1:
                times += pieces[0][1]
                values += pieces[0][2]
            else:
                rows = [row for piece in pieces for row in zip(*piece, strict=True)]
                rows.sort(key=operator.itemgetter(0))
                times += map(operator.itemgetter(1), rows)
                values += map(operator.itemgetter(2), rows)
        self._found.clear()

    def recording(self, name: str) -> Recording:
        """The same as `gather` makes of samples: streams in the order of time."""
        streams, set_back = dict[StreamKey, Stream](), 0.0
        for key, (times, values) in self._streams.items():
            if not all(map(operator.le, times, islice(times, 1, None))):
                back = max(map(operator.sub, accumulate(times, max), times))
                set_back = max(set_back, back)
                order = sorted(range(len(times)), key=times.__getitem__)
                times, values = [times[at] for at in order], [values[at] for at in order]
            streams[key] = Stream(key, tuple(times), tuple(values))
        return Recording(name, streams, set_back=set_back)
