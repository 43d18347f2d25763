"""Keeps the list of vessels true. Files are read beside the drawing thread, which takes finished lines alone."""

from __future__ import annotations

import logging
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from garboard.disk.storage import NotSaved
from garboard_tablet.models.vessels import Differences, LineMade, VesselList, differences

if TYPE_CHECKING:
    from garboard_tablet.models.background import Background
    from garboard_tablet.models.files_amiss import FileAmiss


log = logging.getLogger("garboard.tablet")

READING_A_BOAT = "reading a boat for the list"
SHOWN_EACH = 16
"""After so many lines the page is drawn anew, besides after the first and the last: it takes longer than a line."""


class VesselWatch:
    """Looks through the list after a merge, and when the app starts. What it knows belongs to the drawing thread.

    changed : called when lines were put right, and when files were found to lack something
    """

    def __init__(self, vessels: VesselList, background: Background, changed: Callable[[], object]) -> None:
        self._vessels, self._background, self._changed = vessels, background, changed
        self._at_work: object = None
        """Stands for the one line that is being made; None where none is."""
        self._taken = 0

    def look(self) -> None:
        """See which lines are no longer true. The worker gets a copy; only the drawing thread changes the list."""
        tablet, lines = self._vessels.tablet, self._vessels.snapshot()

        def work() -> Differences:
            found = differences(tablet.files, lines, tablet.plugin_set)
            if found.changed:
                tablet.get_ready()
            return found

        self._background.run(
            "looking through the vessels", work, lambda found: self._read_anew(self._vessels.take(found))
        )

    def abandon(self) -> None:
        """Wait no more for the line that is being made, and begin it anew: what holds it up is passed over."""
        if self._at_work is not None:
            self._make_next()

    def _read_anew(self, stale: tuple[str, ...]) -> None:
        self._vessels.to_read |= dict.fromkeys(stale)
        if not self._vessels.to_read:
            self._looked_through()
            self._look_at_files()
        elif self._at_work is None:
            self._taken = 0
            self._make_next()

    def _make_next(self) -> None:
        """Have one line made at a time: a frame takes one at most, and the other worker stays free."""
        from garboard_tablet.models.line_maker import maker_of

        self._at_work = None  # also where the next cannot be begun
        if not self._vessels.to_read:
            self._all_read()
            return
        hull = next(iter(self._vessels.to_read))
        make, this = maker_of(self._vessels, hull), object()
        self._at_work = this
        self._background.run(READING_A_BOAT, make, partial(self._take, this, hull), partial(self._failed, this, hull))

    def _take(self, this: object, hull: str, made: LineMade | None) -> None:
        """Take a line. One whose files changed meanwhile is made again, after the others that wait."""
        if this is not self._at_work or made is None:
            return  # abandoned, or the app is being closed
        if self._vessels.take_made(hull, made):
            self._taken += 1
            if self._vessels.to_read and self._taken % SHOWN_EACH == 1:
                self._changed()
        else:
            del self._vessels.to_read[hull]
            self._vessels.to_read[hull] = None
        self._go_on()

    def _failed(self, this: object, hull: str, failure: Exception) -> None:
        """A boat that cannot be read keeps no other from being read; its line is tried anew at the next look."""
        if this is self._at_work:
            self._vessels.to_read.pop(hull, None)
            self._go_on()
        self._background.tell(READING_A_BOAT, failure)

    def _go_on(self) -> None:
        if self._background.threads:
            self._make_next()
        else:  # the next would be made within this frame
            self._background.later(self._make_next)

    def _all_read(self) -> None:
        self.keep()
        self._vessels.is_looked_through = True
        self._changed()
        self._look_at_files()

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
