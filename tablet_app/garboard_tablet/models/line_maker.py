"""Makes a boat's line of the list beside the drawing thread: reads its files, replays them, and judges."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from functools import partial
from typing import TYPE_CHECKING

import attrs

from garboard.disk.storage import FolderClosed
from garboard.verdict import Verdict
from garboard_tablet.models.tablet import Tablet
from garboard_tablet.models.vessels import LineMade, VesselList, as_it_is, stamp_of, vessel_line

if TYPE_CHECKING:
    from garboard.disk.entries import Entry
    from garboard.history.boat import Boat


@attrs.define
class OneBoat(Tablet):
    """Reads one boat of a tablet for another thread, and is thrown away after. It never writes.

    What changes in it is its own: the tablet's boats and clock are the drawing thread's. Both share the folder, which
    any thread may ask, and the plugins.

    read : how each file was just before it was read; see `as_it_is`
    """

    read: dict[str, str] = attrs.field(factory=dict)
    _entries: dict[str, Sequence[Entry]] = attrs.field(factory=dict)

    def boat(self, hull: str) -> Boat:
        from garboard.history.boat import open_hull

        if hull not in self._boats:
            self._boats[hull] = open_hull(self.files, hull, self._entries_of)
        return self._boats[hull]

    def _entries_of(self, hull: str) -> Sequence[Entry]:
        if hull not in self._entries:
            self.read[hull] = as_it_is(self.files, hull)  # first: what comes meanwhile makes the line untrue
            self._entries[hull] = self.files.read_once(hull)
        return self._entries[hull]


def maker_of(vessels: VesselList, hull: str) -> Callable[[], LineMade | None]:
    """What makes a hull's line, on any thread. Call this on the drawing thread: plugins are loaded there, once."""
    tablet, known = vessels.tablet, vessels.known(hull)
    reader = OneBoat(
        tablet.folder,
        tablet.files,
        tablet.settings,
        tablet.session,
        tablet.make_plugins,
        host=tablet.host,
        plugin_set=tablet.plugin_set,
    )
    to_judge = tuple(known.failing) if known else ()
    return partial(make_line, reader, known.hull if known else hull, to_judge)


def make_line(reader: OneBoat, hull: str, to_judge: Collection[str] = ()) -> LineMade | None:
    """Make a boat's line; None where the app was closed meanwhile.

    to_judge : jobs of which checks failed: what came meanwhile, or other plugins, may have put that right
    """
    try:
        line = vessel_line(reader, hull)
        jobs = reader.boat(line.hull).jobs
        judged = {job: _fails(reader, line.hull, job) for job in to_judge if job in jobs}
    except FolderClosed:
        return None
    stamps = (reader.read.setdefault(key, as_it_is(reader.files, key)) for key in line.files)
    return LineMade(attrs.evolve(line, stamp=stamp_of(stamps)), jobs, judged, reader.read)


def _fails(reader: OneBoat, hull: str, job: str) -> int:
    return sum(one.finding.verdict is Verdict.FAIL for one in reader.assess(hull, job))
