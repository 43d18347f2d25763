"""Keeps the list of vessels true: looked through beside the drawing thread, put right on it."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import TYPE_CHECKING

from garboard.disk.storage import NotSaved
from garboard_tablet.models.session import Route
from garboard_tablet.models.vessels import VesselList, differences

if TYPE_CHECKING:
    from garboard_tablet.models.background import Background
    from garboard_tablet.models.files_amiss import FileAmiss


log = logging.getLogger("garboard.tablet")


class VesselWatch:
    """Looks through the list after a merge, and when the app starts.

    changed : called when lines were put right, and when files were found to lack something
    judge   : has a job judged in the background; then `judge_next` is called
    """

    def __init__(
        self,
        vessels: VesselList,
        background: Background,
        changed: Callable[[], object],
        judge: Callable[[Route], object] = str,
    ) -> None:
        self._vessels, self._background, self._changed, self._judge = vessels, background, changed, judge

    def look(self) -> None:
        """See which lines are no longer true. The worker gets a copy; only the drawing thread changes the list."""
        tablet, lines = self._vessels.tablet, self._vessels.snapshot()
        self._background.run(
            "looking through the vessels",
            lambda: differences(tablet.files, lines, tablet.plugin_set),
            lambda found: self._put_right(list(self._vessels.take(found))),
        )

    def _put_right(self, stale: list[str]) -> None:
        """Put one line right at a time, so that a finger never waits."""
        if not stale:
            self._looked_through()
            self._look_at_files()
            return
        self._vessels.refresh(stale.pop())
        if stale:
            self._background.later(lambda: self._put_right(stale))
            return
        self.keep()
        self._vessels.is_looked_through = True
        self._changed()
        self._look_at_files()
        self.judge_next()

    def judge_next(self) -> None:
        """Have one more job judged of which checks failed by other plugins: one at a time, each takes a second."""
        hull, job = next(iter(self._vessels.to_judge), ("", ""))
        if hull:
            self._judge(Route(page="job", hull=hull, job=job))

    def _look_at_files(self) -> None:
        """See of which boats' files something is missing; after the lines, as reading the files finds damage."""
        from garboard_tablet.models.files_amiss import files_amiss

        files = self._vessels.tablet.files
        self._background.run("looking at the boats' files", lambda: files_amiss(files), self._take_amiss)

    def _take_amiss(self, found: tuple[FileAmiss, ...]) -> None:
        tablet = self._vessels.tablet
        if found != tablet.amiss:
            tablet.amiss = found
            self._changed()

    def _looked_through(self) -> None:
        """Nothing was to be put right: the page changes only where it said that the boats are being read."""
        if not self._vessels.is_looked_through:
            self._vessels.is_looked_through = True
            self._changed()

    def keep(self) -> None:
        """Keep the list for the next start. It can be made anew from the entries, so a full disk interrupts nobody."""
        try:
            self._vessels.keep()
        except NotSaved as failure:
            log.warning("the list of vessels was not kept", exc_info=failure)
