"""Everything of the shop as one file of tables: made in the background, one at a time, then downloaded."""

from __future__ import annotations

import logging
import threading
from collections.abc import Collection, Iterable, Iterator
from functools import partial
from pathlib import Path

import attrs

from garboard.disk.entries import SHOP_RECORD
from garboard.disk.scratch import ScratchFolder
from garboard.disk.storage import NewerFormat, NotSaved, write_out
from garboard.faults import GarboardError, InputError, in_words
from garboard.hosting.host import PluginHost
from garboard.report.data_files import Rows, write_tables
from garboard.report.data_tables import Collector, JobToExport
from garboard_shop.pages.summaries import BoatSummary, is_held, make_summary
from garboard_shop.store import Store, StoreAway

PAUSE = 0.01
"""Between two boats, so that the pages come first [s]."""
NAME = "tables"

log = logging.getLogger("garboard.shop")


@attrs.frozen(kw_only=True)
class Made:
    """A file of tables, or how far it is.

    ending  : ".zip" or ".duckdb"
    done, of : hull numbers read so far, and all of them
    file    : where it stands; None while it is made, and where it failed
    at      : when it was begun [ms since 1970-01-01 UTC]
    failure : why it was not made
    left_out : what is not in it, or not whole, each with why
    with_owners : whether the boats' owners are named in it
    """

    ending: str
    at: int
    of: int
    done: int = 0
    file: Path | None = None
    failure: str = ""
    left_out: tuple[tuple[str, str], ...] = ()
    with_owners: bool = False

    @property
    def is_making(self) -> bool:
        return self.file is None and not self.failure

    @property
    def is_gone(self) -> bool:
        """Whether it was made, and its file was cleared away since: it stands among temporary files."""
        return self.file is not None and not self.file.is_file()


class TablesMaker:
    """Makes the file, and keeps the last one until another is made."""

    def __init__(self, store: Store, host: PluginHost) -> None:
        self._store, self._host = store, host
        self._guard = threading.Lock()
        self._made: Made | None = None
        self._folder: ScratchFolder | None = None
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()

    @property
    def made(self) -> Made | None:
        """The last one asked for; None where nobody asked yet."""
        return self._made

    def begin(self, ending: str, now: int, *, with_owners: bool = False) -> bool:
        """Begin to make one, unless one is being made; whether it was begun.

        with_owners : whether the boats' owners are named in it
        """
        with self._guard:
            if self._made is not None and self._made.is_making:
                return False
            hulls = sorted(hull for hull in self._store.digests() if hull != SHOP_RECORD)
            self._made = Made(ending=ending, at=now, of=len(hulls), with_owners=with_owners)
            self._thread = threading.Thread(target=self._run, args=(hulls,), name="garboard-tables", daemon=True)
            self._thread.start()
            return True

    def stop(self) -> None:
        """Stop making, and remove what was made."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(10)
        if self._folder is not None:
            self._folder.cleanup()

    def _run(self, hulls: list[str]) -> None:
        folder, made = None, self._now()
        try:
            folder = ScratchFolder("made")
            left_out: list[tuple[str, str]] = []
            file = Path(folder.name) / f"{NAME}{made.ending}"
            write_tables(self._rows(hulls, left_out), file, write_out)
        except Exception as failure:  # the thread has nobody above it, and the page says it
            if folder is not None:
                folder.cleanup()
            log.exception("the tables could not be made")
            is_told = isinstance(failure, OSError | GarboardError | StoreAway)
            self._made = attrs.evolve(self._now(), failure=in_words(failure) if is_told else "see the server's log")
            return
        before, self._folder = self._folder, folder
        self._made = attrs.evolve(self._now(), file=file, left_out=tuple(left_out))
        if before is not None:
            before.cleanup()

    def _now(self) -> Made:
        if self._made is None:
            raise AssertionError("nothing is made before it was begun")
        return self._made

    def _rows(self, hulls: Iterable[str], left_out: list[tuple[str, str]]) -> Rows:
        collector = Collector(self._host, with_owners=self._now().with_owners)
        seen: set[str] = set()
        begun_with = self._store.attachments.sizes().keys()
        for hull in hulls:
            if self._stop.wait(PAUSE):
                raise NotSaved("the server was stopped while they were made")
            if hull not in seen:
                summary = self._summary(hull, left_out)
                if summary is not None:
                    seen |= summary.boat.state.hull_keys
                    is_here = partial(self._is_here, begun_with, summary)
                    for job in jobs_to_export(summary):
                        yield from collector.rows_of(job)
                        lacking = collector.files_not_here(job, is_here)
                        left_out.extend(one for one in lacking if one not in left_out)
            self._made = attrs.evolve(self._now(), done=self._now().done + 1)
        left_out.extend(self._store.not_whole().items())
        yield from collector.last_rows(left_out)

    def _is_here(self, begun_with: Collection[str], summary: BoatSummary, name: str) -> bool:
        """Whether a file is here whole: it was when the tables were begun, or it came since."""
        return name not in summary.lacking and (name in begun_with or is_held(self._store.attachments, name))

    def _summary(self, hull: str, left_out: list[tuple[str, str]]) -> BoatSummary | None:
        """A boat, judged; nothing kept ready for the pages makes room for it."""
        try:
            summary = make_summary(self._store, self._host, hull)
        except (NewerFormat, InputError) as failure:
            left_out.append((hull, in_words(failure)))
            return None
        if summary.is_passing:
            why = "a recording of it found no room" if summary.no_room else "others asked for it so long"
            left_out.append((hull, f"a check of it was not run: {why}"))
        return summary


def jobs_to_export(summary: BoatSummary) -> Iterator[JobToExport]:
    """The jobs of a boat, as the tables take them."""
    for job in summary.jobs:
        yield JobToExport.of(summary.boat, job.view, job.judged)
