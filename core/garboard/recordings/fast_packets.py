"""Puts NMEA 2000 messages of more than 8 bytes together from the frames that carry them.

A frame's first byte holds a sequence counter (3 bits) and the frame's number (5 bits); frame 0 then names the length
and brings 6 bytes, each later one 7. Frame 0 comes first; those after it may swap places. Where two gateways hear one
network, or one repeats what it sends, a frame comes twice: the same bytes again say nothing new.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs

from garboard.record_types import frozen
from garboard.recordings.notes import ReadingNotes

LONGEST_MESSAGE = 223  # bytes: 6 in the first frame and 7 in each of 31
OVERTAKES_WITHIN = 3  # lines: one frame may come so much before its frame 0 ...
OVERTAKES_SECONDS = 0.05  # ... within this time, in which no device repeats a message [s]
REPEATS_WITHIN = 20  # lines: a frame that comes again does so after so few; logs without times have nothing else


@attrs.define
class _Unfinished:
    """A message of which frames came.

    started : line of its first frame
    when    : time of its first frame [s]
    length  : bytes announced by frame 0; -1 while that is awaited
    frames  : bytes by number
    gap     : line, number expected and number met, where the frames first broke the order
    given_up: the message is counted as damaged, the rest of it is passed over
    needed  : frames that carry the announced length
    again   : numbers of frames that came twice, the same bytes
    """

    started: int
    when: float
    length: int = -1
    frames: dict[int, bytes] = attrs.field(factory=dict)
    gap: tuple[int, int, int] | None = None
    given_up: bool = False
    needed: int = 0
    again: set[int] = attrs.field(factory=set)


@frozen
class _Finished:
    """The latest whole message of a sequence: a frame of it may come again."""

    line: int
    when: float
    frames: Mapping[int, bytes]


@attrs.define
class FastPackets:
    """Messages being put together. One with a frame missing counts as damaged, once.

    notes : damage is counted in them
    """

    notes: ReadingNotes
    _open: dict[tuple[str, str, int], _Unfinished] = attrs.field(factory=dict)
    _finished: dict[tuple[str, str, int], _Finished] = attrs.field(factory=dict)

    def add(self, pgn: str, source: str, frame: bytes, line: int, when: float) -> bytes | None:
        """The whole message when this was its last frame. Raises ValueError for a frame too short to be one.

        line : number of the line it came on
        when : its time, by whatever clock the recording has [s]
        """
        if len(frame) < 2:
            raise ValueError(f"PGN {pgn}: expected a frame of 2 to 8 bytes, got {len(frame)}")
        number = frame[0] & 31
        key = (pgn, source, frame[0] >> 5)
        known = self._open.get(key)
        if known is not None and 0 < number < known.needed - 1 and number == len(known.frames):
            known.frames[number] = frame[1:]  # the next one, as nearly always
            return None
        if self._came_before(key, known, number, frame, line, when):
            return None
        if number == 0:
            known = self._begin(key, known, frame, line, when)
        elif known is not None and number in known.frames and known.again >= set(range(number)):
            known = self._begin_where_it_differs(key, known, number, frame, line, when)
        elif known is None or number in known.frames:
            if known is not None:
                self._give_up(key)
            self._open[key] = _Unfinished(line, when, -1, {number: frame[1:]}, (line, 0, number))
            return None
        elif known.given_up:
            return None
        elif known.length < 0 or number >= known.needed:  # a second one before frame 0, or one too many
            known.gap = known.gap or (line, len(known.frames), number)
            self._damaged(key, known)
            return None
        else:
            if known.gap is None and number != len(known.frames):
                known.gap = (line, len(known.frames), number)
            known.frames[number] = frame[1:]
        if len(known.frames) < known.needed:
            return None
        del self._open[key]
        data = b"".join(known.frames[place] for place in range(known.needed))
        if len(data) >= known.length:
            self._finished[key] = _Finished(line, when, known.frames)
            return data[: known.length]
        known.gap = known.gap or (line, known.needed, number)
        self.notes.broken += 1
        raise ValueError(f"PGN {pgn} from {source}: {known.length} bytes were announced, its frames hold {len(data)}")

    def _came_before(
        self, key: tuple[str, str, int], known: _Unfinished | None, number: int, frame: bytes, line: int, when: float
    ) -> bool:
        """Whether a frame is one that came just before, byte for byte."""
        if known is not None:
            held, started, began = known.frames.get(number), known.started, known.when
        elif number and key in self._finished:  # frame 0 begins the same message anew, which does no harm
            finished = self._finished[key]
            held, started, began = finished.frames.get(number), finished.line, finished.when
        else:
            return False
        content = frame[2:] if number == 0 else frame[1:]
        is_same = held == content and (number > 0 or (known is not None and known.length == frame[1]))
        if not is_same or line - started > REPEATS_WITHIN or abs(when - began) > OVERTAKES_SECONDS:
            return False
        if known is not None:
            known.again.add(number)
        return True

    def _begin_where_it_differs(
        self, key: tuple[str, str, int], known: _Unfinished, number: int, frame: bytes, line: int, when: float
    ) -> _Unfinished:
        """A message that began as the one before, which lost its end, did: in a log without times nothing else tells
        that it is another."""
        begun = _Unfinished(line, when, known.length, {}, needed=known.needed)
        begun.frames.update({place: known.frames[place] for place in range(number)})
        begun.frames[number] = frame[1:]
        self._give_up(key)
        self._open[key] = begun
        return begun

    def finished(self, pgn: str, source: str, frames: Sequence[bytes], line: int, when: float) -> None:
        """Take note of a message that was put together elsewhere, of its frames in order."""
        contents = {number: frame[1:] for number, frame in enumerate(frames)}
        self._finished[pgn, source, frames[0][0] >> 5] = _Finished(line, when, contents)

    def _begin(
        self, key: tuple[str, str, int], known: _Unfinished | None, frame: bytes, line: int, when: float
    ) -> _Unfinished:
        """A frame 0. One frame that has just overtaken it belongs to it; whatever else came before does not."""
        length = frame[1]
        begun = _Unfinished(line, when, length, {0: frame[2:]}, needed=1 + max(0, -(-(length - 6) // 7)))
        if known is not None:
            overtook = (
                known.length < 0
                and not known.given_up
                and line - known.started <= OVERTAKES_WITHIN
                and abs(when - known.when) <= OVERTAKES_SECONDS
            )
            [first, *more] = known.frames or (0,)
            if overtook and not more and first < begun.needed and begun.needed > 2:
                begun.frames.update(known.frames)
                begun.gap, begun.started = known.gap, known.started
            else:
                self._give_up(key)
        self._open[key] = begun
        return begun

    def open_sequences(self, pgn: str, source: str) -> set[int]:
        """Counters of the messages of one kind from one source of which frames are awaited or passed over."""
        return {sequence for kind, address, sequence in self._open if (kind, address) == (pgn, source)}

    def begun(self, pgn: str, number: int) -> list[bytes]:
        """What a whole frame of this number brought, in each message of one kind that lacks others."""
        found = (one.frames.get(number, b"") for (kind, _, _), one in self._open.items() if kind == pgn)
        return [content for content in found if len(content) == 7]

    def close(self) -> None:
        """Count what the recording's end left unfinished."""
        for key in tuple(self._open):
            self._give_up(key)

    def _give_up(self, key: tuple[str, str, int]) -> None:
        known = self._open.pop(key)
        if not known.given_up:
            self._damaged(key, known)

    def _damaged(self, key: tuple[str, str, int], known: _Unfinished) -> None:
        pgn, source, _ = key
        if known.gap:
            line, expected, met = known.gap
            self.notes.damage(line, f"PGN {pgn} from {source}: expected frame {expected}, got frame {met}")
        else:
            reason = f"ends after frame {max(known.frames)}, {known.length} bytes were announced"
            self.notes.damage(known.started, f"PGN {pgn} from {source}: {reason}")
        self.notes.broken += 1
        known.given_up = True
        known.frames.clear()
