"""The live guide: one number to steer by, and nothing else to look at."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from kivy.uix.widget import Widget

from garboard.faults import in_number
from garboard.findings import Verdict, rounded
from garboard.recordings.where import PORT, Where, read_where
from garboard_tablet.language import phrase
from garboard_tablet.models.armed import Turn
from garboard_tablet.models.heard import choose_anew, chosen_among, follow, rivals, unheard
from garboard_tablet.models.keys import ENTER
from garboard_tablet.models.live import LiveRun, Recorder
from garboard_tablet.models.runs import PendingRun, free_path, kept_in_step, left_behind, recording_asks
from garboard_tablet.models.session import Route
from garboard_tablet.models.sources import recordings_in, why_not
from garboard_tablet.models.under_way import UnderWay
from garboard_tablet.models.vessels import propellers_in_words, whose
from garboard_tablet.pages.recordings import unsaved_card
from garboard_tablet.ui.helm import HelmView
from garboard_tablet.ui.shell import NOT_SAVED, Maker, Page, column_of
from garboard_tablet.ui.widgets import (
    Card,
    Press,
    RowPress,
    Txt,
    caution_card,
    heading,
    state_mark,
    verdict_marks,
    warning_card,
    words,
)

_ANOTHER = "Another run is under way. End it first."
_CHOOSE = "Choose where the samples come from."
_ARM = (
    "Arm, then touch nothing: the run is recorded once it is seen, and kept aside when the throttle drops. STOP, or "
    "Enter on a remote, ends it."
)
_NO_VOICE = "This tablet cannot speak. Sound, when it is on, tells what has changed."
_WHAT_THERE_IS = "The boat's own network, a recording, or the simulated boat to see how this guide works."


if TYPE_CHECKING:
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
        self._has_guide = guide is not None
        self._view: HelmView | None = None
        self._refused = ""
        under_way = self.live.under_way
        if under_way is not None and under_way.route == route:
            self.run, self.recorder = under_way.run, under_way.recorder
            return
        self.recorder = Recorder(self._free_path())
        source = self.live.source_for(guide) if guide is not None else None
        if guide is not None and source is not None:
            is_kept = not source.is_simulated and recording_asks(self.tablet, route)
            recorder = self.recorder if is_kept else None
            self.run = LiveRun(guide, self.tablet.view(route.hull, route.job), source, recorder, route.subject)

    @property
    def under(self) -> str:
        return (
            phrase("Samples from: {title}", title=self.run.source.title if self.run else "not chosen yet")
            if self._has_guide
            else ""
        )

    @property
    def saved(self) -> str:
        if self.run is not None and self.run.not_on_disk:
            return NOT_SAVED
        if self.run is not None and self.run.running and self.run.recorder is not None:
            return phrase(
                "Saved every {seconds} s", seconds=rounded(Recorder.EVERY)
            )  # the last samples are not on the disk yet
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
            self._view.show(self.run, self._said, self.context.guest.in_brief)
            return self._view
        if self.live.under_way is not None:
            return column_of([heading(_ANOTHER), words(whose(self.tablet, self.live.under_way.route), "quiet")])
        return column_of(self._at_rest(self.run))

    def _at_rest(self, run: LiveRun) -> list[Maker]:
        """What to know before the run: cautions first, then where its numbers come from."""
        step = self.tablet.step(self.route.step)
        makers: list[Maker] = [partial(caution_card, one) for one in (step.cautions if step else ())]
        network = self.live.network
        makers += [partial(warning_card, text) for text in self.context.guest.warnings]
        makers.append(words(phrase("Samples from: {title}", title=run.source.title)))
        if run.source.is_simulated:
            makers.append(words("SIMULATED. Nothing of this run is kept.", "quiet"))
        elif network is not None:
            makers.append(
                words(network.trouble() or phrase("The network is {word}.", word=network.state().word), "quiet")
            )
        makers += [words(text) for text in unheard(run.guide.quantities, run.view.vessel, network)]
        contested = rivals(run.guide.quantities, run.view.vessel, network)
        for what, sources in contested.items():
            name = what.replace("_", " ")
            makers.append(
                words(
                    phrase(
                        "Several instruments send {name}. The first one heard is followed until you choose.", name=name
                    )
                )
            )
            for one in sources:
                believe = partial(self._follow, what, one, contested)
                makers.append(
                    partial(
                        Press,
                        phrase("{name} from {one}", name=name.capitalize(), one=one),
                        believe,
                        name=f"follow {one}",
                    )
                )
        for quantity, chosen in chosen_among(run.guide.quantities, run.view.vessel, network).items():
            name = phrase(
                "{quantity} is taken from {chosen}: choose again",
                quantity=quantity.replace("_", " ").capitalize(),
                chosen=" and ".join(chosen),
            )
            makers.append(partial(Press, name, partial(self._choose_anew, quantity), name=f"choose again {quantity}"))
        if fitted := propellers_in_words(run.view.vessel):
            makers.append(words(phrase("Propeller: {fitted}", fitted=fitted)))
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

    @property
    def _said(self) -> str:
        return self.live.under_way.said if self.live.under_way is not None else ""

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
        if self.live.under_way is not None:
            to_it = partial(self.way.instead, self.live.under_way.route)
            return (*kept, Press("To the run", to_it, "main", name="to the other run"))
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
        if waiting:
            word = phrase("Decide on {runs}", runs=in_number(waiting, "run"))
        else:
            word = phrase("Recordings: {kept}", kept=kept)
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
            self._run(self.run).begin(self.live.time())
            self.screen.redraw()

    def _arm(self) -> None:
        """Wait for the run: from now on nothing has to be touched."""
        if self.run is not None:
            self._run(self.run).arm(self.live.time())
            self.screen.redraw()

    def _run(self, run: LiveRun) -> UnderWay:
        """A run is under way from now on, whichever page is shown."""
        self.recorder.path = self._free_path()
        under_way = UnderWay(
            tablet=self.tablet, live=self.live, route=self.route, run=run, recorder=self.recorder,
            free_path=self._free_path,
        )  # fmt: skip
        self.live.begin_run(under_way)
        self.context.run_clock.begin()
        return under_way

    def _tick(self, dt: float) -> None:
        self.context.run_clock.tick(dt)

    def show_run(self, turn: Turn) -> None:
        """Show how the run stands now."""
        if self.run is None or self._view is None or not self.run.running:
            return
        self._view.show(self.run, self._said, self.context.guest.in_brief)
        if self._refused != self.run.not_on_disk or turn is not Turn.NOTHING:
            self._refused = self.run.not_on_disk
            self.screen.say_saved()

    def refill(self) -> None:
        """Something has to be said before it hurts; while a run is steered, the next tick says it."""
        if self.run is None or not self.run.running:
            self.screen.redraw_as_it_is()

    def keyed(self, key: str) -> bool:
        """A remote with one key ends the run, as STOP does."""
        if key != ENTER or self.run is None or not self.run.running:
            return False
        self._stop()
        return True

    def _stop(self) -> None:
        if self.run is None:
            return
        has_kept = self._halt()
        path = self.recorder.path
        waiting = left_behind(self.tablet.folder, self.route, self.live.unsaved)
        if has_kept and len(waiting) > 1:  # several runs wait: the list says which is which
            self.way.instead(self.route.to("recordings"))
        elif path in waiting or has_kept:
            here = path if path in waiting else waiting[-1]
            self.way.instead(self.route.to("run", here.name, *self.route.subject))
        else:  # nothing was measured
            self.screen.redraw()

    def _halt(self) -> bool:
        """End this page's run. Returns whether anything of it was put aside."""
        under_way = self.live.under_way
        if under_way is None or under_way.run is not self.run:
            return False
        self.live.end_run()
        self.context.run_clock.end()
        return under_way.aside > 0


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
        rows += [
            partial(self._row, path, path.name, phrase("A recording, {size}.", size=_size(path))) for path in recordings
        ]
        if not recordings:
            rows.append(
                words(
                    phrase(
                        "Recordings in the folder {folder}/{inbox} are also listed here.",
                        folder=folder.parent.name,
                        inbox=folder.name,
                    ),
                    "quiet",
                )
            )
        return rows

    def _row(self, path: Path | None, title: str, small: str) -> RowPress:
        chosen = self.live.simulated if path is None else path == self.live.replayed
        return _row(title, small, chosen, partial(self._choose, path), f"source {title}")

    def _networks(self) -> Sequence[str]:
        now = [str(self.live.network.where)] if self.live.network else []
        return tuple(dict.fromkeys((*now, *self.tablet.settings.network, str(PORT))))

    def _network_row(self, where: Where) -> RowPress:
        title = (
            phrase("Connect to {where}", where=where)
            if where.host
            else phrase("Listen on UDP port {port}", port=where.port)
        )
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
    return phrase("{size:,} bytes", size=path.stat().st_size) if path.exists() else "no longer there"
