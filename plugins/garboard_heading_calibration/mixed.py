"""Two clocks or two senders mixed in one recording: where, and what is left without them.

A heading cannot jump to and fro. Where its samples do so for seconds on end, two tracks lie one over the other: the
clock that gave the times was set back, or two gateways or instruments send under one address.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise

import attrs

from garboard.findings import Lack, Missing, rounded
from garboard.record_types import frozen
from garboard.samples import Recording, Stream
from garboard.series import mean, signed_angle

from .rates import UNDER_WAY, finite_only

DIRECTIONS = ("heading", "course_over_ground")
JUMP = 10.0  # no boat turns so far one way and back the other ... [deg]
JUMP_WITHIN = 4.0  # ... in this time; common practice, no source [s]
FEWEST_JUMPS = 5  # fewer may be bad samples
JUMPS_APART = 5.0  # jumps within this belong together [s]

Window = tuple[float, float]
"""Begin and end [s]."""


@frozen(kw_only=True)
class Sound:
    """A recording without the parts in which two clocks or senders are mixed.

    recording : what is left
    clock     : parts left out of every stream
    senders   : for each source of which two tracks are heard while others are whole, the parts left out of it
    """

    recording: Recording
    clock: tuple[Window, ...] = ()
    senders: Mapping[str, tuple[Window, ...]] = attrs.field(factory=dict)

    @property
    def seconds(self) -> float:
        """Time left out of every stream [s]."""
        return sum(end - start for start, end in self.clock)

    def has_two_senders(self, source: str) -> bool:
        """Whether more of a source is mixed than is not."""
        lost = sum(end - start for start, end in self.senders.get(source, ()))
        streams = [one for one in self.recording.streams.values() if one.key.source == source]
        return lost > max((one.times[-1] - one.times[0] - lost for one in streams), default=0.0)


def two_senders(about: str, place: Mapping[str, str]) -> Missing:
    """What to say of a source of which two tracks are heard."""
    text = (
        f"the directions of {about} jump to and fro: two instruments or gateways send under one address; "
        "record with one of them switched off"
    )
    return Missing(text, lack=Lack.CONTRADICTS, **place)


def mixed_words(heard: Sound) -> str:
    """What to say of a recording in which two clocks are mixed."""
    return (
        f"For {rounded(heard.seconds)} s directions jump to and fro: a clock was set back, or two gateways are mixed. "
        "That part is left out."
    )


def sound(recording: Recording) -> Sound:
    """What of a recording can be used.

    recording : with headings or courses over ground; without them nothing is found [-]
    returns   : the rest, and what was left out [-]
    """
    directions = [stream for quantity in DIRECTIONS for stream in recording.of(quantity)]
    mixed = {stream.key: windows for stream in directions if (windows := _mixed_under_way(stream, recording))}
    if not mixed:
        return Sound(recording=recording)
    clock: list[Window] = []
    senders: dict[str, list[Window]] = {}
    for key, windows in mixed.items():
        for window in windows:
            whole = [
                stream
                for stream in directions
                if stream.key.source != key.source
                and len(stream.between(*window)) > FEWEST_JUMPS
                and not any(_overlap(window, other) for other in mixed.get(stream.key, ()))
            ]
            (senders.setdefault(key.source, []) if whole else clock).append(window)
    left = {key: without(stream, [*clock, *senders.get(key.source, ())]) for key, stream in recording.streams.items()}
    return Sound(
        recording=Recording(recording.name, {key: stream for key, stream in left.items() if len(stream)}),
        clock=_joined(clock),
        senders={source: _joined(windows) for source, windows in senders.items()},
    )


def _mixed_under_way(stream: Stream, recording: Recording) -> tuple[Window, ...]:
    """Mixed parts of a direction. The course over ground of a boat that lies still wanders anywhere by itself."""
    windows = mixed_windows(finite_only(stream))
    if stream.key.quantity == "heading":
        return windows
    speeds = [finite_only(speed) for speed in recording.of("speed_over_ground")]
    return tuple(
        window for window in windows if all(mean(part) >= UNDER_WAY for part in _values(speeds, window) if part)
    )


def _values(streams: Iterable[Stream], window: Window) -> list[tuple[float, ...]]:
    return [stream.between(*window).values for stream in streams]


@lru_cache(maxsize=16)  # each value saved is judged with the same recordings
def mixed_windows(stream: Stream) -> tuple[Window, ...]:
    """Where a direction jumps to and fro as no boat turns.

    stream  : a heading or a course over ground [deg]
    returns : begin and end of each part [s]
    """
    turns = [signed_angle(second - first) for first, second in pairwise(stream.values)]
    if max(map(abs, turns), default=0.0) <= JUMP:  # nearly always, and quick
        return ()
    steps = [(earlier, later, turn) for (earlier, later), turn in zip(pairwise(stream.times), turns, strict=True)]
    jumps = [
        (before[0], after[1])
        for before, after in pairwise(steps)
        if before[2] * after[2] < 0
        and min(abs(before[2]), abs(after[2])) > JUMP
        and after[1] - before[0] <= JUMP_WITHIN
    ]
    together: list[list[Window]] = []
    for jump in jumps:
        if together and jump[0] - together[-1][-1][1] <= JUMPS_APART:
            together[-1].append(jump)
        else:
            together.append([jump])
    return tuple((group[0][0], group[-1][1]) for group in together if len(group) >= FEWEST_JUMPS)


def _overlap(one: Window, other: Window) -> bool:
    return min(one[1], other[1]) > max(one[0], other[0])


def _joined(windows: Iterable[Window]) -> tuple[Window, ...]:
    joined: list[Window] = []
    for start, end in sorted(windows):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return tuple(joined)


def without(stream: Stream, windows: Sequence[Window]) -> Stream:
    """A stream without some parts of its time."""
    if not windows:
        return stream
    kept = [(t, v) for t, v in stream if not any(start <= t <= end for start, end in windows)]
    return Stream(stream.key, tuple(t for t, _ in kept), tuple(v for _, v in kept))
