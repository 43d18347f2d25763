"""The live guide: one number to steer by, and nothing else to look at."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from kivy.clock import Clock
from kivy.uix.widget import Widget

from garboard.disk.storage import NotSaved
from garboard.findings import Verdict
from garboard.recordings.where import PORT, Where, read_where
from garboard.report.palette import URGENT_MARK
from garboard.samples import SIMULATED, Sample
from garboard.steps import Guidance
from garboard_tablet.models.live import LiveRun, Recorder
from garboard_tablet.models.runs import PendingRun, free_path, kept_in_step, left_behind, recording_asks
from garboard_tablet.models.session import Route
from garboard_tablet.models.sources import recordings_in, why_not
from garboard_tablet.pages.recordings import unsaved_card
from garboard_tablet.ui import sound
from garboard_tablet.ui.drawing import Gauge, StripChart
from garboard_tablet.ui.shell import NOT_SAVED, Maker, Page, column_of
from garboard_tablet.ui.theme import GAP, dp, theme
from garboard_tablet.ui.widgets import Card, MarkShape, Press, RowPress, Txt, heading, state_mark, verdict_marks, words

log = logging.getLogger("garboard.tablet")

TICK = 0.1
URGENT_AGAIN = 1.5
"""What is urgent is sounded again after this [s], until it is done."""
NOT_ON_DISK = "The disk takes no more. The run goes on in memory; make room before you stop."
_CHOOSE = "Choose where the samples come from."
_WHAT_THERE_IS = "The boat's own network, a recording, or the simulated boat to see how this guide works."


if TYPE_CHECKING:
    from garboard_tablet.ui.context import Context


class LivePage(Page):
    """Guides a step done while steering, and keeps what was recorded."""

    keeps_what_it_knows = must_not_be_left = True

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        guide = self.live.guide_of(route)
        self.title = guide.title if guide else "Guide"
        self.run: LiveRun | None = None
        self.recorder = Recorder(self._free_path())
        self._has_guide = guide is not None
        source = self.live.source_for(guide) if guide is not None else None
        if guide is not None and source is not None:
            is_kept = not source.is_simulated and recording_asks(self.tablet, route)
            recorder = self.recorder if is_kept else None
            self.run = LiveRun(guide, self.tablet.view(route.hull, route.job), source, recorder, route.subject)
        self._ticking = None
        self._sounded = 0.0
        self._view: LiveView | None = None

    @property
    def under(self) -> str:
        return f"Samples from: {self.run.source.title if self.run else 'not chosen yet'}" if self._has_guide else ""

    @property
    def saved(self) -> str:
        if self.run is not None and self.run.not_on_disk:
            return NOT_SAVED
        if self.run is not None and self.run.running and self.run.recorder is not None:
            return f"Saved every {Recorder.EVERY:.0f} s"  # the last samples are not on the disk yet
        return super().saved

    def body(self) -> Widget:
        if not self._has_guide:
            return column_of([words("No plugin on this tablet has this guide.")])
        unsaved = self._unsaved
        if unsaved is not None:
            return column_of([partial(unsaved_card, unsaved)], most=1)
        if self.run is None:
            return column_of([heading(_CHOOSE), words(_WHAT_THERE_IS, "quiet")])
        self._view = LiveView()
        self._view.show(self.run)
        return self._view

    @property
    def _unsaved(self) -> PendingRun | None:
        """The step's run that only stands in memory, where none is running now."""
        running = self.run is not None and self.run.running
        return None if running else next((run for run in self.live.unsaved.values() if run.is_of(self.route)), None)

    def _free_path(self) -> Path:
        return free_path(self.tablet.folder, self.route, self.live.unsaved)

    def actions(self) -> Sequence[Press]:
        if not self._has_guide:
            return ()
        if self._unsaved is not None:
            decide = partial(self.way.go, self.route.to("run", self._unsaved.path.name, *self.route.subject))
            return (Press("Save it again, or throw it away", decide, "main", name="decide"),)
        kept = self._recordings()
        choose = partial(self.way.go, self.route.to("source", *self.route.subject))
        if self.run is None:
            return (*kept, Press("Samples from …", choose, "main", name="source"))
        cue = "Sound is on" if self.tablet.settings.cue else "Sound is off"
        cue_press = Press(cue, self._cue, name="cue")
        if self.run.running:
            return (cue_press, Press("Stop", self._stop, "main", 32, name="stop"))
        source = Press("Samples from …", choose, name="source")
        start = Press("Start", self._start, "main", 32, name="start")
        return (cue_press, source, *kept, start)

    def _recordings(self) -> tuple[Press, ...]:
        """The way to the step's recordings, and to those nobody has decided on."""
        waiting = len(left_behind(self.tablet.folder, self.route, self.live.unsaved))
        kept = kept_in_step(self.tablet, self.route)
        if not waiting and not kept:
            return ()
        word = f"Decide on {waiting} run{'s' if waiting > 1 else ''}" if waiting else f"Recordings: {kept}"
        return (Press(word, partial(self.way.go, self.route.to("recordings")), name="recordings"),)

    def _cue(self) -> None:
        import attrs

        try:
            self.tablet.change_settings(attrs.evolve(self.tablet.settings, cue=not self.tablet.settings.cue))
        except NotSaved:
            if self.run is None or not self.run.running:
                raise
            log.warning("the choice of sound was not saved; it holds until the app is closed", exc_info=True)
        self.screen.redraw()

    def _start(self) -> None:
        if self.run is not None:
            self.recorder.path = self._free_path()
            self.run.start(self.live.time())
            self._ticking = Clock.schedule_interval(self._tick, TICK)
            self.screen.redraw()

    def _tick(self, _dt: float) -> None:
        if self.run is None or self._view is None:
            return
        before, refused = self.run.guidance, self.run.not_on_disk
        self.run.tick(self.live.time())
        self._view.show(self.run)
        if refused != self.run.not_on_disk:
            self.screen.say_saved()
        now, guidance = self.live.time(), self.run.guidance
        again = guidance.urgent and now - self._sounded >= URGENT_AGAIN
        if self.tablet.settings.cue and (again or _news(before, guidance)):
            self._sounded = now
            sound.play(guidance)

    def _stop(self) -> None:
        if self.run is None:
            return
        self._halt()
        path = self.recorder.path
        if path in left_behind(self.tablet.folder, self.route, self.live.unsaved):
            self.way.instead(self.route.to("run", path.name, *self.route.subject))
        else:  # nothing was measured
            self.screen.redraw()

    def _halt(self) -> None:
        if self._ticking is not None:
            self._ticking.cancel()
            self._ticking = None
        if self.run is None or not self.run.running:
            return
        self.run.stop()
        if self.run.recorder is None:
            return
        if not _is_worth_asking(self.run.samples):
            self.recorder.remove()
        elif self.recorder.refusal:
            self.live.unsaved[self.recorder.path.name] = PendingRun(
                path=self.recorder.path,
                origin=self.run.source.origin,
                source=self.run.source.title,
                subject=self.route.subject,
                in_memory=tuple(self.run.samples),
                refusal=self.recorder.refusal,
            )

    def leave(self) -> None:
        self._halt()


def _is_worth_asking(samples: Sequence[Sample]) -> bool:
    """Whether a run holds anything measured: nothing else is ever kept."""
    return bool(samples) and not any(sample.source.startswith(SIMULATED) for sample in samples)


class SourcePage(Page):
    """Where the samples of live guides come from, until the app is closed."""

    title = "Samples from"

    def __init__(self, context: Context, route: Route) -> None:
        super().__init__(context, route)
        self._refused = ""

    def body(self) -> Widget:
        return column_of(self._rows())

    def _rows(self) -> list[Maker]:
        folder = self.context.files_come_from
        recordings = recordings_in(folder)
        if self.live.replayed is not None and self.live.replayed not in recordings:
            recordings.insert(0, self.live.replayed)
        rows: list[Maker] = []
        if self._refused:
            rows.append(lambda: Card(Txt(self._refused), mark=verdict_marks[Verdict.FAIL], word="cannot be played"))
        rows += [partial(self._network_row, read_where(text)) for text in self._networks()]
        rows.append(
            lambda: RowPress(
                "Another port or address", lambda: self.way.go(self.route.to("where")), name="source another"
            )
        )
        rows.append(partial(self._row, None, "Simulated boat", "To see how a guide works. Nothing is kept."))
        rows += [partial(self._row, path, path.name, f"A recording, {_size(path)}.") for path in recordings]
        if not recordings:
            rows.append(
                words(f"Recordings in the folder {folder.parent.name}/{folder.name} are also listed here.", "quiet")
            )
        return rows

    def _row(self, path: Path | None, title: str, small: str) -> RowPress:
        chosen = self.live.simulated if path is None else path == self.live.replayed
        return _row(title, small, chosen, partial(self._choose, path), f"source {title}")

    def _networks(self) -> Sequence[str]:
        now = [str(self.live.network.where)] if self.live.network else []
        return tuple(dict.fromkeys((*now, *self.tablet.settings.network, str(PORT))))

    def _network_row(self, where: Where) -> RowPress:
        title = f"Connect to {where}" if where.host else f"Listen on UDP port {where.port}"
        small = "The boat's network, NMEA 0183 over wifi. This tablet only listens."
        chosen = self.live.network is not None and self.live.network.where == where
        return _row(title, small, chosen, partial(self._listen, where), f"source {where}")

    def _listen(self, where: Where) -> None:
        self.live.listen(where)
        self.way.instead(self.route.to("network"))

    def _choose(self, path: Path | None) -> None:
        guide = self.live.guide_of(self.route)
        self._refused = why_not(path, guide.quantities) if path is not None and guide is not None else ""
        if self._refused:
            self.screen.redraw_as_it_is()
        else:
            self.live.replay(path)
            self.way.back()


def _row(title: str, small: str, chosen: bool, do: Callable[[], object], name: str) -> RowPress:
    mark, word = (state_mark("under way"), "chosen") if chosen else (state_mark("to do"), "press to choose")
    return RowPress(title, do, small=small, mark=mark, word=word, name=name)


def _size(path: Path) -> str:
    return f"{path.stat().st_size:,} bytes" if path.exists() else "no longer there"


def _news(before: Guidance, after: Guidance) -> bool:
    return before.word != after.word or before.done != after.done


class LiveView(Widget):
    """Word, gauge, strip chart and small print; nothing is made anew while it runs."""

    def __init__(self) -> None:
        super().__init__(size_hint=(None, None), size=(1, 1))
        self._gauge, self._strip = Gauge(), StripChart()
        self._word = Txt("", 56, bold=True)
        self._lines = Txt("", 26)
        self._shape: MarkShape | None = None
        self._mark_is = ""
        for child in (self._word, self._gauge, self._strip, self._lines):
            self.add_widget(child)
        self.bind(size=self._place, pos=self._place)

    def show(self, run: LiveRun) -> None:
        guidance = run.guidance
        live = run.running and run.age is None
        self._gauge.show(guidance, live=live, age=run.age)
        self._strip.show(run.trail, guidance, live=live)
        verdict = Verdict.PASS if guidance.on_target or guidance.done else Verdict.ADVISE
        if not live or run.fault:
            verdict = Verdict.NOT_ENOUGH_DATA
        words_now = guidance.word or ("enough" if guidance.done else "")
        full = [NOT_ON_DISK] if run.not_on_disk else []
        lines = "\n".join([*full, run.fault] if run.fault else [*full, *guidance.lines][:3])
        if run.source.is_simulated:  # stands where a verdict would: nobody may take it for one
            verdict, words_now = Verdict.NOT_ENOUGH_DATA, f"SIMULATED: {words_now}"
            lines = lines if run.running else "Nothing of this run is kept."
        mark = URGENT_MARK if guidance.urgent and live else verdict_marks[verdict]
        if (words_now, lines, mark.word) != (self._word.text, self._lines.text, self._mark_is):
            self._word.text, self._lines.text = words_now, lines
            self._mark_is = mark.word
            if self._shape is not None:
                self.remove_widget(self._shape)
            self._shape = MarkShape(mark, 60, "ground")
            self._word.color = theme.colour(mark.colour)
            self.add_widget(self._shape)
            self._place()

    def _place(self, *_: object) -> None:
        if self.width <= 1 or self.height <= 1:
            return
        gap = dp(GAP)
        left = self.x + (self._shape.width + dp(16) if self._shape else 0)
        self._word.font_size = dp(56 if self.height > dp(480) else 44)
        high = max(dp(66), self._word.fit(self.right - left))
        self._word.pos = (left, self.top - high / 2 - self._word.height / 2)
        if self._shape:
            self._shape.pos = (self.x, self.top - high / 2 - self._shape.height / 2)
        small = self._lines.fit(self.width) if self._lines.text else 0.0
        self._lines.pos = self.pos
        room = self.height - high - small - 3 * gap
        strip = room * 0.36
        self._strip.pos, self._strip.size = (self.x, self.y + small + gap), (self.width, strip)
        self._gauge.pos = (self.x, self.y + small + strip + 2 * gap)
        self._gauge.size = (self.width, room - strip)
