"""A run under way, whichever page is shown: it goes on until somebody ends it, or the app is closed."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import attrs

from garboard.samples import SIMULATED
from garboard_tablet.models.armed import Phase, Turn
from garboard_tablet.models.runs import PendingRun
from garboard_tablet.models.speech import Spokesman

if TYPE_CHECKING:
    from collections.abc import Sequence

    from garboard.samples import Sample
    from garboard_tablet.models.live import LiveRun, Recorder
    from garboard_tablet.models.session import Route
    from garboard_tablet.models.speech import Speaker
    from garboard_tablet.models.tablet import Tablet

log = logging.getLogger("garboard.tablet")

SAID_FOR = 4.0
"""What has happened to a run stands in the word's place for so long [s]."""
ALONE = 0.25
"""A run is looked after so often while the app is out of sight [s]."""


def is_worth_asking(samples: Sequence[Sample]) -> bool:
    """Whether a run holds anything measured: nothing else is ever kept."""
    return bool(samples) and not any(sample.source.startswith(SIMULATED) for sample in samples)


class Live(Protocol):
    """What a run needs of whoever holds it: see `LiveSource`."""

    unsaved: dict[str, PendingRun]
    time: Callable[[], float]
    under_way: UnderWay | None

    @property
    def speaker(self) -> Speaker:
        """Who speaks."""


@attrs.define(eq=False, kw_only=True)
class UnderWay:
    """A run that was begun or armed, and is not yet ended.

    route     : of the guide's page
    free_path : gives a name for the next recorded run
    aside     : how many runs were put aside since it was armed
    said      : stands in the word's place for a while ("kept aside, now the other way")
    """

    tablet: Tablet
    live: Live
    route: Route
    run: LiveRun
    recorder: Recorder
    free_path: Callable[[], Path]
    aside: int = 0
    said: str = ""
    _said_until: float = 0.0
    _recording_since: float = 0.0
    _spokesman: Spokesman = attrs.field(factory=Spokesman)

    def begin(self, now: float) -> None:
        """Record from now on."""
        self._recording_since = now
        self.run.start(now)

    def arm(self, now: float) -> None:
        """Wait for the run: from now on nothing has to be touched."""
        self.run.arm(now)
        self._speak(now, "armed")

    def tick(self, now: float) -> Turn:
        """Take in what came since the last tick."""
        turn = self.run.tick(now)
        if turn is Turn.BEGUN:
            self._recording_since = now
        if turn is Turn.ENDED:
            self._put_aside()
            self.recorder.path = self.free_path()
            self.run.rearm()
        if turn is not Turn.NOTHING:
            self.said, self._said_until = turn.value, now + SAID_FOR
        elif now >= self._said_until:
            self.said = ""
        guidance = self.run.guidance
        self._speak(now, self.said or guidance.word, urgent=guidance.urgent and self.run.age is None)
        return turn

    def end(self) -> None:
        """No more is recorded. What was measured is put aside until somebody decides on it."""
        if self.run.running:
            self.run.stop()
            if self.run.watch is None or self.run.watch.phase is Phase.RECORDING:
                self._put_aside()

    def words(self, now: float) -> str:
        """How it stands, for the upper right of every page."""
        if self.run.age is not None:  # also when armed: nothing that is not heard begins a run
            return "Full" if self.run.is_full else "No samples"
        if self.run.not_on_disk:
            return "NOT saved"
        if self.run.watch is not None and self.run.watch.phase is Phase.WAITING:
            return "Armed"
        minutes, seconds = divmod(int(max(0.0, now - self._recording_since)), 60)
        return f"{'Simulated' if self.run.source.is_simulated else 'Recording'} {minutes}:{seconds:02}"

    def _speak(self, now: float, word: str, *, urgent: bool = False) -> None:
        if self.tablet.settings.voice and (spoken := self._spokesman.word(now, word, urgent=urgent)):
            self.live.speaker.say(spoken)

    def _put_aside(self) -> None:
        if self.run.recorder is None:
            return
        if not is_worth_asking(self.run.samples):
            self.recorder.remove()
            return
        self.recorder.end()
        self.aside += 1
        if self.recorder.refusal:
            self.live.unsaved[self.recorder.path.name] = PendingRun(
                path=self.recorder.path,
                origin=self.run.source.origin,
                source=self.run.source.title,
                subject=self.route.subject,
                in_memory=tuple(self.run.samples),
                refusal=self.recorder.refusal,
            )


class Alone:
    """Looks after a run while the app is out of sight: a tablet's system stops the drawing thread then."""

    def __init__(self, live: Live) -> None:
        self._live = live
        self._seen_again = threading.Event()
        self._thread: threading.Thread | None = None

    def begin(self) -> None:
        """The drawing thread does nothing from now on."""
        if self._thread is None and self._live.under_way is not None:
            self._seen_again.clear()
            self._thread = threading.Thread(target=self._tick, name="run out of sight", daemon=True)
            self._thread.start()

    def end(self) -> None:
        """The drawing thread is back. Returns once nobody else touches the run."""
        if self._thread is not None:
            self._seen_again.set()
            self._thread.join()
            self._thread = None

    def _tick(self) -> None:
        under_way = self._live.under_way
        while under_way is not None and not self._seen_again.wait(ALONE):
            try:
                under_way.tick(self._live.time())
            except Exception:  # a guide's own mistake, say: what comes next is recorded all the same
                log.exception("a tick of the run out of sight failed")
