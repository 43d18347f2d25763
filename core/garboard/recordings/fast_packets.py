"""Puts NMEA 2000 messages of more than 8 bytes together from the frames that carry them.

A frame's first byte holds a sequence counter (3 bits) and the frame's number (5 bits); frame 0 then names the length
and brings 6 bytes, each later one 7. Frame 0 comes first; those after it may swap places.
"""

from __future__ import annotations

import attrs

from garboard.recordings.notes import ReadingNotes

LONGEST_MESSAGE = 223  # bytes: 6 in the first frame and 7 in each of 31
OVERTAKES_WITHIN = 3  # lines: one frame may come so much before its frame 0 ...
OVERTAKES_SECONDS = 0.05  # ... within this time, in which no device repeats a message [s]


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
    """

    started: int
    when: float
    length: int = -1
    frames: dict[int, bytes] = attrs.field(factory=dict)
    gap: tuple[int, int, int] | None = None
    given_up: bool = False
    needed: int = 0


@attrs.define
class FastPackets:
    """Messages being put together. One with a frame missing counts as damaged, once.

    notes : damage is counted in them
    """

    notes: ReadingNotes
    _open: dict[tuple[str, str, int], _Unfinished] = attrs.field(factory=dict)

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
        if number == 0:
            known = self._begin(key, known, frame, line, when)
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
            return data[: known.length]
        known.gap = known.gap or (line, known.needed, number)
        self.notes.broken += 1
        raise ValueError(f"PGN {pgn} from {source}: {known.length} bytes were announced, its frames hold {len(data)}")

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
