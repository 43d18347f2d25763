"""Where live guides get their samples, as the person chose. The choice holds until the app is closed."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs

if TYPE_CHECKING:
    from garboard.hosting.host import PluginHost
    from garboard.job_view import JobView
    from garboard.recordings.boat_network import BoatNetwork
    from garboard.recordings.where import Where
    from garboard.steps import LiveGuide
    from garboard_tablet.models.runs import PendingRun
    from garboard_tablet.models.session import Route
    from garboard_tablet.models.sources import SampleSource
    from garboard_tablet.models.speech import Speaker
    from garboard_tablet.models.tablet import Tablet
    from garboard_tablet.models.under_way import UnderWay


def minded_guide(guide: LiveGuide[Any], host: PluginHost) -> LiveGuide[Any]:
    """A guide whose plugin is minded, where it is a shop's own: what it raises, and what takes too long."""
    from garboard.hosting.host import BUILT_IN
    from garboard.hosting.own_copy import own_view
    from garboard.hosting.plugin_code import plugin_code

    plugin = host.owner_of("register_live_guides", guide.key)
    if plugin in BUILT_IN:
        return guide

    def minded(function: Callable[..., Any]) -> Callable[..., Any]:
        def run(*given: Any) -> Any:
            with host.minding(plugin, guide.key), plugin_code():
                return function(*given)

        return run

    def begin(view: JobView) -> Any:
        return guide.begin(own_view(view))

    return attrs.evolve(guide, begin=minded(begin), take=minded(guide.take), show=minded(guide.show))


class LiveSource:
    """One of the boat's network, a recording, and the simulated boat; none of them until somebody has chosen.

    simulated : whether the simulated boat is chosen; a demo begins with it
    time      : the clock of a run [s]
    unsaved   : runs the disk would not take, by the name of their file; here, so that they outlive their page
    under_way : the run that was begun or armed and not yet ended; one at a time
    changed   : called when listening or a run begins or ends
    """

    def __init__(self, tablet: Tablet, *, simulated: bool = False) -> None:
        self._tablet = tablet
        self.simulated = simulated
        self.replayed: Path | None = None
        self.network: BoatNetwork | None = None
        self.time: Callable[[], float] = time.monotonic
        self._speaker: Speaker | None = None
        self.unsaved: dict[str, PendingRun] = {}
        self.under_way: UnderWay | None = None
        self.changed: Callable[[], object] = lambda: None

    def begin_run(self, under_way: UnderWay) -> None:
        """A run is under way from now on, in the place of any other."""
        self.end_run()
        self.under_way = under_way
        self.changed()

    def end_run(self) -> None:
        """End the run under way, if there is one. What it measured is put aside."""
        if self.under_way is not None:
            under_way, self.under_way = self.under_way, None
            under_way.end()
            self.changed()

    @property
    def speaker(self) -> Speaker:
        """Who speaks on this tablet; looked for when it is first asked for."""
        from garboard_tablet.models import speech

        if self._speaker is None:
            self._speaker = speech.Speaker(speech.find_voice())
        return self._speaker

    def guide_of(self, route: Route) -> LiveGuide[Any] | None:
        step = self._tablet.step(route.step)
        guide = self._tablet.host.live_guides.get(step.guide) if step and step.guide else None
        return guide and minded_guide(guide, self._tablet.host)

    def replay(self, recording: Path | None) -> None:
        """Feed live guides from a recording from now on; None for the simulated boat. A run under way ends."""
        self.end_run()
        self.replayed, self.simulated = recording, recording is None
        self.stop()

    def listen(self, where: Where) -> None:
        """Feed live guides from the boat's network from now on. A run of another source ends."""
        from garboard.recordings.boat_network import BoatNetwork

        if self.network is None or self.network.where != where:
            self.end_run()
        self.replayed, self.simulated = None, False
        if self.network is None or self.network.where != where:
            self.stop()
            self.network = BoatNetwork(where)
            self.network.start()
            self.changed()

    def stop(self) -> None:
        """Listen no more."""
        if self.network is not None:
            self.network.stop()
            self.network = None
            self.changed()

    def forget(self, recorded: Path) -> None:
        """A recorded run is kept elsewhere, or not wanted."""
        from garboard_tablet.models.live import remove_recorded

        self.unsaved.pop(recorded.name, None)
        remove_recorded(recorded)

    def save_again(self, name: str) -> None:
        """Put a run on the disk that only stands in memory; decided on is it later.

        errors : NotSaved; it stands in memory as before, with the reason
        """
        from garboard.disk.storage import NotSaved
        from garboard.faults import in_words
        from garboard_tablet.models.runs import write_run

        try:
            write_run(self.unsaved[name])
        except NotSaved as failure:
            self.unsaved[name] = attrs.evolve(self.unsaved[name], refusal=in_words(failure))
            raise
        del self.unsaved[name]

    def close(self) -> None:
        """End a run, listen no more, and try once more to save what only stands in memory."""
        from garboard.disk.storage import NotSaved

        self.end_run()
        self.stop()
        if self._speaker is not None:
            self._speaker.close()
        for name in tuple(self.unsaved):
            with contextlib.suppress(NotSaved):  # the page said so, and nobody is there to be told again
                self.save_again(name)

    def source_for(self, guide: LiveGuide[Any]) -> SampleSource | None:
        """Where a guide's samples come from; None until somebody has chosen."""
        from garboard_tablet.models.sources import Heard, RecordingFile, Replay, simulated_for

        if self.network is not None:
            return Heard(self.network)
        if self.replayed is not None:
            file = RecordingFile(self.replayed)
            return Replay(self.replayed.name, file, is_simulated=file.is_simulated)
        return simulated_for(guide.quantities, start=time.time()) if self.simulated else None
