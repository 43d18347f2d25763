"""Reviews of runs, each worked out once beside the drawing thread."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # loaded when the first run is looked at
    from garboard.history.runs import KeptRun
    from garboard.samples import Recording
    from garboard.steps import LiveGuide
    from garboard_tablet.models.asks import Ask
    from garboard_tablet.models.background import Background
    from garboard_tablet.models.heading_sources import HeadingSource
    from garboard_tablet.models.runs import PendingRun, Review
    from garboard_tablet.models.session import Route
    from garboard_tablet.models.tablet import Tablet


class RunReviews:
    """A review is a `Review`, or in words why there is none; None as long as the run is being looked at.

    changed : called on the drawing thread when a review is there that was not
    """

    def __init__(self, tablet: Tablet, background: Background, changed: Callable[[], object]) -> None:
        self._tablet, self._background, self._changed = tablet, background, changed
        self._found: dict[tuple[object, ...], Review | str] = {}
        self._headings: dict[str, tuple[HeadingSource, ...]] = {}
        self._at_work: set[tuple[object, ...]] = set()

    def headings_in(self, file: str) -> tuple[HeadingSource, ...]:
        """The names under which heading comes in a kept recording; none as long as it is being looked at."""
        key: tuple[object, ...] = ("headings", file)
        if file not in self._headings and key not in self._at_work:
            self._at_work.add(key)
            tablet = self._tablet

            def work() -> tuple[HeadingSource, ...]:
                from garboard.findings import NotEnoughData
                from garboard_tablet.models.heading_sources import in_recording

                try:
                    return in_recording(tablet.load_recording(file))
                except NotEnoughData:
                    return ()

            def keep(found: tuple[HeadingSource, ...]) -> None:
                self._headings[file] = found
                self._at_work.discard(key)
                if self._background.threads and found:
                    self._changed()

            self._background.run("looking at a recording", work, keep)
        return self._headings.get(file, ())

    def of_kept(self, route: Route, ask: Ask, run: KeptRun, guide: LiveGuide[Any] | None) -> Review | str | None:
        """Of a run that was kept."""
        tablet = self._tablet
        return self._of(route, ask, run.file, guide, lambda: tablet.load_recording(run.file), run.counts)

    def of_pending(self, route: Route, ask: Ask, run: PendingRun, guide: LiveGuide[Any] | None) -> Review | str | None:
        """Of a run nobody has decided on."""
        return self._of(route, ask, f"{run.path} {_size(run.path)}", guide, run.recording)

    def _of(
        self,
        route: Route,
        ask: Ask,
        run: str,
        guide: LiveGuide[Any] | None,
        load: Callable[[], Recording],
        counts: bool = False,
    ) -> Review | str | None:
        key = (route.hull, route.job, ask.place, run, self._tablet.size(route.hull, route.job))
        if key not in self._found and key not in self._at_work:
            self._at_work.add(key)
            view, host = self._tablet.view(route.hull, route.job), self._tablet.host

            def work() -> Review | str:
                from garboard.faults import InputError, in_words
                from garboard.findings import NotEnoughData
                from garboard_tablet.models.runs import review

                try:
                    return review(host, view, ask.place[0], guide, ask.place, load(), counts)
                except (NotEnoughData, InputError, OSError) as failure:
                    return in_words(failure)

            self._background.run("looking at a recording", work, lambda found: self._keep(key, found))
        return self._found.get(key)

    def _keep(self, key: tuple[object, ...], found: Review | str) -> None:
        self._found[key] = found
        self._at_work.discard(key)
        if self._background.threads:  # else whoever asked has it at once
            self._changed()


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:  # decided on meanwhile
        return 0
