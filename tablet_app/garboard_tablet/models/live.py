"""A live guide at work: samples in, what to show out, and everything recorded on the way."""

from __future__ import annotations

from collections import deque
from typing import Any

import attrs

from garboard.job_view import JobView
from garboard.samples import Sample
from garboard.steps import Guidance, LiveGuide
from garboard_tablet.models.sources import SampleSource

TRAIL = 300
"""Points of the strip chart: half a minute at ten a second."""


@attrs.define
class LiveRun:
    """One run of a live guide.

    trail : (time since the start [s], number shown), oldest first
    fault : what the guide's plugin failed with, or ""
    """

    guide: LiveGuide[Any]
    view: JobView
    source: SampleSource
    running: bool = False
    samples: list[Sample] = attrs.field(factory=list)
    trail: deque[tuple[float, float]] = attrs.field(factory=lambda: deque(maxlen=TRAIL))
    guidance: Guidance = attrs.field(factory=lambda: Guidance(number=None, unit="", word="press start"))
    fault: str = ""
    _state: Any = None
    _began: float = 0.0

    def start(self, now: float) -> None:
        """Begin a run; what an earlier one recorded is dropped."""
        self.samples, self.fault = [], ""
        self.trail.clear()
        self._began, self.running = now, True
        self.source.start(now)
        try:
            self._state = self.guide.begin(self.view)
            self.guidance = self.guide.show(self._state)
        except Exception as failure:
            self._failed(failure)

    def tick(self, now: float) -> None:
        """Take in what came since the last tick."""
        if not self.running:
            return
        fresh = self.source.read(now)
        self.samples.extend(fresh)
        try:
            for sample in fresh:
                if sample.quantity in self.guide.quantities:
                    self._state = self.guide.take(self._state, sample)
            self.guidance = self.guide.show(self._state)
        except Exception as failure:
            self._failed(failure)
            return
        if self.guidance.number is not None:
            self.trail.append((now - self._began, self.guidance.number))

    def stop(self) -> None:
        self.running = False
        self.source.stop()

    def _failed(self, failure: Exception) -> None:
        """A plugin's mistake must not stop the recording of what came in."""
        self.fault = f"The guide {self.guide.title} failed: {type(failure).__name__}: {failure}. Tell its author."
        self.guidance = Guidance(number=None, unit="", word="no guidance")
