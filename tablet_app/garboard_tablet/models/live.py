"""A live guide at work: samples in, what to show out, and everything recorded on the way."""

from __future__ import annotations

import contextlib
import json
import os
from collections import deque
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import attrs

from garboard.disk import storage
from garboard.faults import InputError
from garboard.job_view import JobView
from garboard.samples import Sample
from garboard.steps import Guidance, LiveGuide
from garboard_tablet.models.sources import SampleSource

TRAIL = 300
"""Points of the strip chart: half a minute at ten a second."""
STALE_AFTER = 3.0
"""A number that has stood still for want of samples for so long is shown as old [s]."""
MOST_KEPT = 300_000
"""Samples of one run: three quarters of an hour of what an instrument network usually says."""


class Recorder:
    """Keeps a run on the disk while it lasts, so that a dead battery loses at most the last seconds of it.

    path : a heading, then one line of JSON a sample; removed once the run is decided on
    """

    EVERY = 2.0

    def __init__(self, path: Path) -> None:
        self.path = path
        self._descriptor: int | None = None
        self._waiting: list[Sample] = []
        self._size = 0
        self._last = 0.0

    def begin(self, now: float, heading: str = "") -> None:
        """Begin a file; what lies there under the name is gone, so the caller chooses a name that is free."""
        self.end()
        self._descriptor = storage.open_for_append(self.path, create=True)
        storage.flush_folder(self.path.parent)
        self._waiting, self._size, self._last = [], 0, now
        self._append(heading.encode())

    def take(self, samples: Sequence[Sample], now: float) -> None:
        """Take samples; on the disk every two seconds."""
        self._waiting.extend(samples)
        if self._descriptor is not None and now - self._last >= self.EVERY:
            self._write_waiting()
            self._last = now

    def _write_waiting(self) -> None:
        self._append("".join(json.dumps(list(sample)) + "\n" for sample in self._waiting).encode())
        self._waiting = []

    def _append(self, data: bytes) -> None:
        if self._descriptor is not None and data:
            storage.append(self._descriptor, data, self._size)
            storage.flush(self._descriptor)
            self._size += len(data)

    def end(self) -> None:
        """The run is over, and all of it is on the disk; the file stays until `remove`."""
        if self._descriptor is not None:
            try:
                self._write_waiting()
            finally:
                os.close(self._descriptor)
                self._descriptor = None

    def remove(self) -> None:
        """The recording is kept elsewhere, or not wanted."""
        self.end()
        self.path.unlink(missing_ok=True)


def heading_line(source: str, origin: str, subject: Sequence[str]) -> str:
    """The first line of a recorded run: where its samples came from, and for which field."""
    return json.dumps({"source": source, "origin": origin, "subject": list(subject)}) + "\n"


def read_recorded(text: str) -> tuple[dict[str, object], list[Sample]]:
    """What a run left on the disk: its heading, empty in older files, and its samples.

    A last line cut short is left out.
    """
    heading: dict[str, object] = {}
    samples = []
    for line in text.splitlines():
        with contextlib.suppress(ValueError, TypeError):
            plain = json.loads(line)
            if isinstance(plain, dict):
                heading = plain
            else:
                samples.append(Sample(*plain))
    return heading, samples


@attrs.define
class LiveRun:
    """One run of a live guide.

    trail : (time since the start [s], number shown), oldest first
    subject : of the field it is recorded for
    fault : what the guide's plugin failed with, or ""
    age   : how long ago the last sample came that the guide follows [s]; None while they come, and between runs
    """

    guide: LiveGuide[Any]
    view: JobView
    source: SampleSource
    recorder: Recorder | None = None
    subject: tuple[str, ...] = ()
    running: bool = False
    samples: list[Sample] = attrs.field(factory=list)
    trail: deque[tuple[float, float]] = attrs.field(factory=lambda: deque(maxlen=TRAIL))
    guidance: Guidance = attrs.field(factory=lambda: Guidance(number=None, unit="", word="press start"))
    fault: str = ""
    age: float | None = None
    _state: Any = None
    _began: float = 0.0
    _fresh_at: float = 0.0

    def start(self, now: float) -> None:
        """Begin a run; what an earlier one recorded is dropped."""
        self.samples, self.fault, self.age = [], "", None
        self.trail.clear()
        self._began = self._fresh_at = now
        self.running = True
        if self.recorder is not None:
            self.recorder.begin(now, heading_line(self.source.title, self.source.origin, self.subject))
        try:
            self.source.start(now)
        except (InputError, OSError) as failure:
            self._silent(failure)
        try:
            self._state = self.guide.begin(self.view)
            self.guidance = self.guide.show(self._state)
        except Exception as failure:
            self._failed(failure)

    def tick(self, now: float) -> None:
        """Take in what came since the last tick."""
        if not self.running:
            return
        try:
            fresh = self.source.read(now)
        except (InputError, OSError) as failure:
            self._silent(failure)
            return
        fresh = fresh[: MOST_KEPT - len(self.samples)]
        self.samples.extend(fresh)
        if self.recorder is not None:
            self.recorder.take(fresh, now)
        try:
            for sample in fresh:
                if sample.quantity in self.guide.quantities:
                    self._state = self.guide.take(self._state, sample)
                    self._fresh_at = now
            self.guidance = self.guide.show(self._state)
        except Exception as failure:
            self._failed(failure)
            return
        silent = now - self._fresh_at
        if self.source.over or silent > STALE_AFTER or self.is_full:
            self.age = silent
            self.guidance = self._stale()
        else:
            self.age = None
            if self.guidance.number is not None:
                self.trail.append((now - self._began, self.guidance.number))

    @property
    def is_full(self) -> bool:
        """Whether no more can be kept of this run."""
        return len(self.samples) >= MOST_KEPT

    def _stale(self) -> Guidance:
        """What to show when the number is no longer of now: nobody steers by it."""
        if self.is_full:
            word, why = "recording full", "No more can be kept in one recording. Stop, keep it, then start anew."
        elif self.source.over:
            word, why = "ended", f"Samples from {self.source.title} have ended."
        else:
            follows = ", ".join(self.guide.quantities).replace("_", " ")
            word, why = "no fresh samples", self.source.trouble or f"Nothing comes that this guide follows: {follows}."
        return attrs.evolve(self.guidance, word=word, on_target=False, urgent=False, lines=(why, *self.guidance.lines))

    def stop(self) -> None:
        self.running, self.age = False, None
        self.source.stop()
        if self.recorder is not None:
            self.recorder.end()

    def _silent(self, failure: Exception) -> None:
        """Nothing more comes. What came so far can be kept."""
        self.source.stop()
        self.fault = f"No more samples from {self.source.title}: {failure}"
        self.guidance = Guidance(number=None, unit="", word="no samples")

    def _failed(self, failure: Exception) -> None:
        """A plugin's mistake must not stop the recording of what came in."""
        self.fault = f"The guide {self.guide.title} failed: {type(failure).__name__}: {failure}. Tell its author."
        self.guidance = Guidance(number=None, unit="", word="no guidance")
