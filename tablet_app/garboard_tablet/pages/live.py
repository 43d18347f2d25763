"""The live guide: one number to steer by, and nothing else to look at."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from kivy.clock import Clock
from kivy.uix.widget import Widget

from garboard.findings import Verdict
from garboard.recordings.where import PORT, Where, read_where
from garboard.samples import SIMULATED, Sample
from garboard.steps import Guidance
from garboard_tablet.models.armed import Phase, Turn
from garboard_tablet.models.heard import choose_anew, chosen_among, follow, rivals, unheard
from garboard_tablet.models.keys import ENTER
from garboard_tablet.models.live import LiveRun, Recorder
from garboard_tablet.models.runs import PendingRun, free_path, kept_in_step, left_behind, recording_asks
from garboard_tablet.models.session import Route
from garboard_tablet.models.sources import recordings_in, why_not
from garboard_tablet.models.speech import Spokesman
from garboard_tablet.models.vessels import propellers_in_words
from garboard_tablet.pages.recordings import unsaved_card
from garboard_tablet.ui import sound
from garboard_tablet.ui.helm import HelmView
from garboard_tablet.ui.shell import NOT_SAVED, Maker, Page, column_of
from garboard_tablet.ui.theme import SMALL
from garboard_tablet.ui.widgets import Card, Press, RowPress, Txt, heading, state_mark, verdict_marks, words

log = logging.getLogger("garboard.tablet")

TICK = 0.1
URGENT_AGAIN = 1.5
"""What is urgent is sounded again after this [s], until it is done."""
SAID_FOR = 4.0
"""What has happened to a run stands in the word's place for so long [s]."""
_CHOOSE = "Choose where the samples come from."
_ARM = (
    "Arm, then touch nothing: the run is recorded once it is seen, and kept aside when the throttle drops. STOP, or "
    "Enter on a remote, ends it."
)
_NO_VOICE = "This tablet cannot speak. Sound, when it is on, tells what has changed."
_WHAT_THERE_IS = "The boat's own network, a recording, or the simulated boat to see how this guide works."


if TYPE_CHECKING:
    from garboard.steps import Caution
    from garboard_tablet.ui.context import Context


class LivePage(Page):
    """Guides a step done while steering, and keeps what was recorded."""

    keeps_what_it_knows = must_not_be_left = True

    @property
    def has_back(self) -> bool:
        """Nothing but STOP is pressed while it runs."""
        return self.run is None or not self.run.running

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
        self._sounded = self._said_until = 0.0
        self._said, self._aside = "", 0
        self._spokesman = Spokesman()
        self._view: HelmView | None = None

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
        if self.run.running:
            self._view = HelmView(self._stop)
            self._view.show(self.run, self._said)
            return self._view
        return column_of(self._at_rest(self.run))

    def _at_rest(self, run: LiveRun) -> list[Maker]:
        """What to know before the run: cautions first, then where its numbers come from."""
        step = self.tablet.step(self.route.step)
        makers: list[Maker] = [partial(_caution, one) for one in (step.cautions if step else ())]
        network = self.live.network
        makers.append(words(f"Samples from: {run.source.title}"))
        if run.source.is_simulated:
            makers.append(words("SIMULATED. Nothing of this run is kept.", "quiet"))
        elif network is not None:
            makers.append(words(network.trouble() or f"The network is {network.state().word}.", "quiet"))
        makers += [words(text) for text in unheard(run.guide.quantities, run.view.vessel, network)]
        contested = rivals(run.guide.quantities, run.view.vessel, network)
        for what, sources in contested.items():
            name = what.replace("_", " ")
            makers.append(words(f"Several instruments send {name}. The first one heard is followed until you choose."))
            for one in sources:
                believe = partial(self._follow, what, one, contested)
                makers.append(partial(Press, f"{name.capitalize()} from {one}", believe, name=f"follow {one}"))
        for quantity, chosen in chosen_among(run.guide.quantities, run.view.vessel, network).items():
            name = f"{quantity.replace('_', ' ').capitalize()} is taken from {' and '.join(chosen)}: choose again"
            makers.append(partial(Press, name, partial(self._choose_anew, quantity), name=f"choose again {quantity}"))
        if fitted := propellers_in_words(run.view.vessel):
            makers.append(words(f"Propeller: {fitted}"))
        makers.append(words(_ARM, "quiet"))
        if run.fault:
            makers.append(words(run.fault))
        return [*makers, *self._heard_aloud()]

    def _heard_aloud(self) -> list[Maker]:
        """Whether the guide sounds and speaks, and what changes it: in the rail there is no room for that."""
        cue = "Sound is on" if self.tablet.settings.cue else "Sound is off"
        makers: list[Maker] = [partial(Press, cue, self._cue, name="cue")]
        if not self.live.speaker.can_speak:
            return [*makers, words(_NO_VOICE, "quiet")]
        voice = "Voice is on" if self.tablet.settings.voice else "Voice is off"
        return [*makers, partial(Press, voice, self._voice, name="voice")]

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
        if self.run.running:
            return ()
        source = Press("Samples from …", choose, name="source")
        start = Press("Start now", self._start, name="start")
        arm = Press("Arm", self._arm, "main", 32, name="arm")
        return (source, *kept, start, arm)

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

        self.tablet.change_settings(attrs.evolve(self.tablet.settings, cue=not self.tablet.settings.cue))
        self.screen.redraw()

    def _follow(self, what: str, source: str, contested: Mapping[str, Sequence[str]]) -> None:
        """Believe one of several instruments on this vessel from now on."""
        follow(self.tablet, self.route.hull, what, source, contested)
        self.screen.show()

    def _choose_anew(self, quantity: str) -> None:
        """Believe none more than another: all that are heard are offered again."""
        choose_anew(self.tablet, self.route.hull, quantity)
        self.screen.show()

    def _voice(self) -> None:
        """Turn the voice on or off; turned on it says so, which tries it."""
        import attrs

        on = not self.tablet.settings.voice
        self.tablet.change_settings(attrs.evolve(self.tablet.settings, voice=on))
        if on:
            self.live.speaker.say("voice on")
        self.screen.redraw()

    def _start(self) -> None:
        if self.run is not None:
            self._run(self.run.start)

    def _arm(self) -> None:
        """Wait for the run: from now on nothing has to be touched."""
        if self.run is not None:
            self._run(self.run.arm)
            self._speak(self.live.time(), "armed")

    def _run(self, begin: Callable[[float], object]) -> None:
        self.recorder.path = self._free_path()
        self._aside, self._said, self._spokesman = 0, "", Spokesman()
        begin(self.live.time())
        self._ticking = Clock.schedule_interval(self._tick, TICK)
        self.screen.redraw()

    def _tick(self, _dt: float) -> None:
        if self.run is None or self._view is None or not self.run.running:
            return
        before, refused, was_old = self.run.guidance, self.run.not_on_disk, self.run.age is not None
        now = self.live.time()
        turn = self.run.tick(now)
        if turn is Turn.ENDED:
            self._put_aside()
            self.recorder.path = self._free_path()
            self.run.rearm()
        if turn is not Turn.NOTHING:
            self._said, self._said_until = turn.value, now + SAID_FOR
        elif now >= self._said_until:
            self._said = ""
        self._view.show(self.run, self._said)
        if refused != self.run.not_on_disk or turn is not Turn.NOTHING:
            self.screen.say_saved()
        guidance, is_old = self.run.guidance, self.run.age is not None
        self._speak(now, self._said or guidance.word, urgent=guidance.urgent and not is_old)
        again = guidance.urgent and now - self._sounded >= URGENT_AGAIN
        if self.tablet.settings.cue and is_old and not was_old:
            sound.play_lost()
        elif self.tablet.settings.cue and (again or _news(before, guidance)):
            self._sounded = now
            sound.play(guidance)

    def _speak(self, now: float, word: str, *, urgent: bool = False) -> None:
        if self.tablet.settings.voice and (spoken := self._spokesman.word(now, word, urgent=urgent)):
            self.live.speaker.say(spoken)

    def keyed(self, key: str) -> bool:
        """A remote with one key ends the run, as STOP does."""
        if key != ENTER or self.run is None or not self.run.running:
            return False
        self._stop()
        return True

    def _stop(self) -> None:
        if self.run is None:
            return
        self._halt()
        path = self.recorder.path
        waiting = left_behind(self.tablet.folder, self.route, self.live.unsaved)
        if self._aside and len(waiting) > 1:  # several runs wait: the list says which is which
            self.way.instead(self.route.to("recordings"))
        elif path in waiting or self._aside:
            here = path if path in waiting else waiting[-1]
            self.way.instead(self.route.to("run", here.name, *self.route.subject))
        else:  # nothing was measured
            self.screen.redraw()

    def _halt(self) -> None:
        if self._ticking is not None:
            self._ticking.cancel()
            self._ticking = None
        if self.run is None or not self.run.running:
            return
        self.run.stop()
        if self.run.watch is None or self.run.watch.phase is Phase.RECORDING:
            self._put_aside()

    def _put_aside(self) -> None:
        """Keep what was recorded until somebody decides on it; what nobody measured is not kept."""
        if self.run is None or self.run.recorder is None:
            return
        if not _is_worth_asking(self.run.samples):
            self.recorder.remove()
            return
        self.recorder.end()
        self._aside += 1
        if self.recorder.refusal:
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


def _caution(caution: Caution) -> Card:
    basis = Txt(str(caution.basis), SMALL, "quiet")
    return Card(Txt(caution.text), basis, mark=verdict_marks[Verdict.ADVISE], word="caution")


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
        small = "The boat's network. This tablet only listens."
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
