"""A recording that many tests look at is read once: the samples' stand behind nearly every verdict."""

from __future__ import annotations

import copy
import hashlib
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from garboard import recordings
from garboard.recordings import reader
from garboard.recordings.notes import ReadingNotes
from garboard.samples import Recording

MOST_KEPT, LONGEST_KEPT = 24, 3_000_000
"""So many recordings, and none longer than this [bytes]."""


@contextmanager
def recordings_read_once() -> Iterator[None]:
    """By their bytes and their name. A recording cannot be changed; what its reading noted is copied.

    The tests of the readers call them past this, and so does a command that shows how far it has read.
    """
    kept: OrderedDict[tuple[str, bytes], tuple[Recording, ReadingNotes]] = OrderedDict()

    def load(path: str | Path) -> tuple[Recording, ReadingNotes]:
        path = Path(path)
        try:
            is_short = path.is_file() and path.stat().st_size <= LONGEST_KEPT
            key = (path.name, hashlib.blake2b(path.read_bytes()).digest()) if is_short else None
        except OSError:
            key = None
        if key is None or reader._watch.get() is not None:
            return reader.load_recording(path)
        if key not in kept:
            kept[key] = reader.load_recording(path)
        kept.move_to_end(key)
        while len(kept) > MOST_KEPT:
            kept.popitem(last=False)
        recording, notes = kept[key]
        return recording, copy.deepcopy(notes)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(recordings, "load_recording", load)
        yield
