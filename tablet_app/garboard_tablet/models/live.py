"""A live guide at work: samples in, what to show out, and everything recorded on the way."""

from __future__ import annotations

import contextlib
import json
from collections import deque
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import attrs

from garboard.disk import storage
from garboard.disk.json_text import read_json
from garboard.disk.storage import NotSaved
from garboard.faults import InputError, in_words
from garboard.job_view import JobView
from garboard.samples import UNIT_OF_QUANTITY, Sample
from garboard.steps import Guidance, LiveGuide
from garboard_tablet.language import phrase
from garboard_tablet.models.armed import Phase, Turn, Watch
from garboard_tablet.models.one_source import OneSource, choices_of
from garboard_tablet.models.sources import SampleSource

STALE_AFTER = 3.0
"""A number that has stood still for want of samples for so long is shown as old [s]."""
LEAD_IN = 5.0
"""So much of what came before a run was seen belongs to it [s]."""
NOT_ON_DISK = "The disk takes no more. The run goes on in memory; make room before you stop."
MOST_KEPT = 300_000
"""Samples of one run: three quarters of an hour of what an instrument network usually says."""


class Recorder:
    """Keeps a run on the disk while it lasts: a dead battery loses at most the last seconds of it, and a program that
    the system ends, as it does when memory is short, nothing.

    path    : a heading, then one line of JSON a sample; removed once the run is decided on
    refusal : why the disk does not take what waits; nothing of it is lost, and the run goes on
    """

    EVERY = 2.0
    SELDOM = 60.0

    def __init__(self, path: Path) -> None:
        self.path = path
        self.refusal = ""
        self._waiting: list[str] = []
        self._last = 0.0
        self._pause = self.EVERY
        self._is_flushed = True

    def begin(self, now: float, heading: str = "") -> None:
        """Begin a run. Nothing that lies under its name is written over: the caller chooses one that is free."""
        self.refusal, self._last, self._pause, self._is_flushed = "", now, self.EVERY, True
        self._waiting = [heading] if heading else []

    def take(self, samples: Sequence[Sample], now: float) -> None:
        """Take samples; the system has them at once, the disk every two seconds. A disk that refuses is tried again,
        ever more seldom."""
        self._waiting.extend(map(sample_line, samples))
        if now - self._last >= self._pause:
            self._last = now
            self.end()
            # What waits grows while the disk refuses: trying it all every two seconds would hold up the guide.
            self._pause = min(2 * self._pause, self.SELDOM) if self.refusal else self.EVERY
        elif not self.refusal:
            self._put(flushed=False)

    def end(self) -> None:
        """Put on the disk what waits. The file stays until `remove`."""
        self._put(flushed=True)

    def _put(self, *, flushed: bool) -> None:
        if not self._waiting and (self._is_flushed or not flushed):
            return
        try:
            storage.append_saved(self.path, "".join(self._waiting).encode(), flushed=flushed)
        except NotSaved as failure:
            self.refusal = in_words(failure)
        else:
            self.refusal, self._waiting, self._is_flushed = "", [], flushed

    def remove(self) -> None:
        """The recording is kept elsewhere, or not wanted."""
        self._waiting, self._is_flushed = [], True
        remove_recorded(self.path)


def remove_recorded(path: Path) -> None:
    """Remove a recorded run from the disk. One that cannot be removed is only asked about again."""
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def heading_line(source: str, origin: str, subject: Sequence[str]) -> str:
    """The first line of a recorded run: where its samples came from, and for which field."""
    return json.dumps({"source": source, "origin": origin, "subject": list(subject)}) + "\n"


def sample_line(sample: Sample) -> str:
    """One sample of a recorded run."""
    return json.dumps(list(sample)) + "\n"


def read_recorded(text: str) -> tuple[dict[str, object], list[Sample]]:
    """What a run left on the disk: its heading, empty in older files, and its samples.

    A last line cut short is left out, and so is one that the disk damaged.
    """
    heading: dict[str, object] = {}
    samples = []
    for line in text.splitlines():
        with contextlib.suppress(ValueError):
            plain = read_json(line)
            if isinstance(plain, dict):
                heading = plain
            elif sample := _sample(plain):
                samples.append(sample)
    return heading, samples


_BEYOND_ALL = 1e12
"""No time and no value of an instrument is as large; no NaN is smaller."""


def _sample(plain: object) -> Sample | None:
    """What `sample_line` wrote; None for anything else."""
    if not isinstance(plain, list) or len(plain) != len(Sample._fields):
        return None
    time, quantity, value, *names = plain
    is_measured = all(type(number) in (int, float) and abs(number) < _BEYOND_ALL for number in (time, value))
    is_named = quantity in UNIT_OF_QUANTITY if isinstance(quantity, str) else False
    is_whole = is_measured and is_named and all(isinstance(name, str) for name in names)
    return Sample(time, quantity, value, *names) if is_whole else None


@attrs.define
class LiveRun:
    """One run of a live guide.

    subject : of the field it is recorded for
    fault : what the guide's plugin failed with, or ""
    age   : how long ago the last sample came that the guide follows [s]; None while they come, and between runs
    watch : begins and ends runs by what is seen; None for one that a person begins
    lead_in : what came in the moments before a run is seen: it belongs to it
    """

    guide: LiveGuide[Any]
    view: JobView
    source: SampleSource
    recorder: Recorder | None = None
    subject: tuple[str, ...] = ()
    running: bool = False
    samples: list[Sample] = attrs.field(factory=list)
    guidance: Guidance = attrs.field(factory=lambda: Guidance(number=None, unit="", word="press start"))
    fault: str = ""
    age: float | None = None
    watch: Watch | None = None
    lead_in: deque[Sample] = attrs.field(factory=deque)
    _state: Any = None
    _one_source: OneSource = attrs.field(factory=OneSource)
    _fresh_at: float = 0.0
    _is_marked: bool = False

    def start(self, now: float) -> None:
        """Begin a run; what an earlier one recorded is dropped."""
        self.watch = None
        self._begin(now)
        self._record(now)

    def arm(self, now: float) -> None:
        """Wait for a run: it begins when it is seen, and ends by itself."""
        self.watch = Watch()
        self._begin(now)

    def _begin(self, now: float) -> None:
        self.running, self.fault = True, ""
        self._fresh_at = now
        try:
            self.source.start(now)
        except (InputError, OSError) as failure:
            self._silent(failure)
        self.rearm()

    def rearm(self) -> None:
        """Have the guide begin anew; the source goes on."""
        self.samples, self.age = [], None
        self.lead_in.clear()
        try:
            self._one_source = OneSource(choices_of(self.view.vessel))
            self._state = self.guide.begin(self.view)
            self.guidance = self.guide.show(self._state)
        except Exception as failure:
            self._failed(failure)

    def _record(self, now: float) -> None:
        self._is_marked = False
        if self.recorder is not None:
            self.recorder.begin(now, heading_line(self.source.title, self.source.origin, self.subject))

    def tick(self, now: float) -> Turn:
        """Take in what came since the last tick. Returns whether a run was begun or ended by what was seen."""
        if not self.running:
            return Turn.NOTHING
        try:
            fresh = self.source.read(now)
        except (InputError, OSError) as failure:
            self._silent(failure)
            return Turn.NOTHING
        self._keep(fresh, now)
        try:
            for sample in fresh:
                if sample.quantity in self.guide.quantities and self._one_source.takes(sample):
                    self._state = self.guide.take(self._state, sample)
                    self._fresh_at = now
            self.guidance = self.guide.show(self._state)
        except Exception as failure:
            self._failed(failure)
            return Turn.NOTHING
        silent = now - self._fresh_at
        if self.source.over or silent > STALE_AFTER or self.is_full:
            self.age = silent
            self.guidance = self._stale()
        else:
            self.age = None
        if self.watch is None:
            return Turn.NOTHING
        turn = self.watch.see(now, None if self.age is not None else self.guidance)
        if turn is Turn.BEGUN:
            self._record(now)
            before, self.lead_in = self.lead_in, deque()
            self._keep(tuple(before), now)
        return turn

    def _keep(self, fresh: Sequence[Sample], now: float) -> None:
        if self.watch is not None and self.watch.phase is Phase.WAITING:
            self.lead_in.extend(fresh)
            while self.lead_in and self.lead_in[-1].time - self.lead_in[0].time > LEAD_IN:
                self.lead_in.popleft()
            return
        fresh = fresh[: MOST_KEPT - len(self.samples)]
        self.samples.extend(fresh)
        if self.recorder is not None and self._is_to_be_kept():
            self.recorder.take(fresh, now)

    def _is_to_be_kept(self) -> bool:
        """Whether the disk keeps what comes. A network may say what it is after its first values, and only while it is
        heard: then nothing of the run is kept, nor what came before.
        """
        if self.recorder is not None and not self._is_marked and self.source.is_simulated:
            self._is_marked = True
            self.recorder.remove()
        return self.recorder is not None and not self._is_marked

    @property
    def must_be_read(self) -> str:
        """What a person has to know even while steering; "" as a rule."""
        full = [NOT_ON_DISK] if self.not_on_disk else []
        stale = [*self.guidance.lines][:1] if self.age is not None else []
        return "\n".join([*full, *([self.fault] if self.fault else stale)])

    @property
    def not_on_disk(self) -> str:
        """Why the disk does not take what is recorded, or ""; `samples` has it all."""
        return self.recorder.refusal if self.recorder else ""

    @property
    def is_full(self) -> bool:
        """Whether no more can be kept of this run."""
        return len(self.samples) >= MOST_KEPT

    def _stale(self) -> Guidance:
        """What to show when the number is no longer of now: nobody steers by it."""
        if self.is_full:
            word, why = "recording full", "This recording is full. Stop and keep it, then start a new one."
        elif self.source.over:
            word, why = "ended", phrase("Samples from {title} have ended.", title=self.source.title)
        else:
            follows = ", ".join(self.guide.quantities).replace("_", " ")
            word, why = (
                "no fresh samples",
                self.source.trouble or phrase("This guide receives none of its values: {follows}.", follows=follows),
            )
        return attrs.evolve(self.guidance, word=word, on_target=False, urgent=False, lines=(why, *self.guidance.lines))

    def stop(self) -> None:
        self.running, self.age = False, None
        self.source.stop()
        if self.recorder is not None and self._is_to_be_kept():
            self.recorder.end()

    def _silent(self, failure: Exception) -> None:
        """Nothing more comes. What came so far can be kept."""
        self.source.stop()
        self.age = self.age or 0.0  # what is shown is of now no longer
        self.fault = phrase("No more samples from {title}: {reason}", title=self.source.title, reason=in_words(failure))
        self.guidance = Guidance(number=None, unit="", word="no samples")

    def _failed(self, failure: Exception) -> None:
        """A plugin's mistake must not stop the recording of what came in."""
        self.fault = phrase(
            "The guide {title} failed: {reason}. Tell its author.", title=self.guide.title, reason=in_words(failure)
        )
        self.guidance = Guidance(number=None, unit="", word="no guidance")
