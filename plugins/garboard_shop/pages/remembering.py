"""Keeps the row of every boat up to date, beside the server's work; see `memory`."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable

from garboard.disk.clock import wall_milliseconds
from garboard.disk.entries import SHOP_RECORD, view
from garboard.disk.hullfile import CheckedEntries
from garboard.disk.storage import NewerFormat, NotSaved
from garboard.faults import InputError
from garboard.history.authority import ON_THE_PAGE
from garboard.history.boats_alike import REGISTER, kinds_entry, kinds_in
from garboard.history.replay import replay
from garboard_shop.memory import Memory, as_text, kinds_of, of_text, row_of
from garboard_shop.pages.authors import author_after
from garboard_shop.pages.summaries import BoatSummary
from garboard_shop.store import KeptRow, Store, StoreAway

PAUSE = 0.2
"""Between two boats whose rows are made again, so that the pages come first [s]."""
A_WEEK = 7 * 24 * 60 * 60 * 1000
"""What boats kept changes slowly, and every telling stays in the shop's record [ms]."""
NEXT_LOOK = 60.0
"""After all of them [s]."""

log = logging.getLogger("garboard.shop")


class Remembering:
    """The rows of a shop, read from where they are kept, and made anew where a boat changed.

    summary : assesses a boat
    """

    def __init__(self, store: Store, summary: Callable[[str], BoatSummary | None]) -> None:
        self._store, self._summary = store, summary
        self._guard = threading.Lock()
        self._memory: Memory | None = None
        self._digests: dict[str, str] = {}
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def memory(self) -> Memory:
        """All rows; read at the first use."""
        with self._guard:
            if self._memory is None:
                kept = self._store.rows()
                read = {hull: (one.digest, of_text(one.text)) for hull, one in kept.items()}
                self._digests = {hull: digest for hull, (digest, row) in read.items() if row is not None}
                self._memory = Memory(row for _, row in read.values() if row is not None)
            return self._memory

    @property
    def at_hand(self) -> Memory | None:
        """All rows; None while a server that was just started still reads them: no page waits for that."""
        return None if self._memory is None and self._thread is not None else self.memory

    def start(self) -> None:
        """Begin to make rows again, in a thread of its own."""
        self._thread = threading.Thread(target=self._run, name="garboard-memory", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Stop making rows."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(10)

    def bring_up_to_date(self, hulls: Iterable[str] | None = None, pause: float = 0.0) -> int:
        """Make the rows of boats that changed since theirs was made, of all of them or of some; how many were made."""
        memory, made = self.memory, 0
        now = self._standing()
        for hull in sorted(now if hulls is None else set(hulls) & now.keys()):
            if self._stop.is_set():
                break
            if self._digests.get(hull) not in now[hull]:
                made += self._make(memory, hull, now[hull])
                self._stop.wait(pause)
        return made

    def behind(self) -> int:
        """How many boats changed since their row was made, or have none yet."""
        return sum(self._digests.get(hull) not in standing for hull, standing in self._standing().items())

    def _standing(self) -> dict[str, tuple[str, str]]:
        """What a boat's row rests on: its entries; and, where recordings lacked, how many files were here then."""
        files = len(self._store.attachments.sizes())
        digests = {hull: one.digest for hull, one in self._store.digests().items() if hull != SHOP_RECORD}
        return {hull: (digest, f"{digest}, lacking of {files}") for hull, digest in digests.items()}

    def _make(self, memory: Memory, hull: str, standing: tuple[str, str]) -> bool:
        """The row of one boat. One that cannot be read has none, and keeps no other from its own."""
        try:
            summary = self._summary(hull)
            row = row_of(summary) if summary is not None and not summary.is_passing else None
        except StoreAway:
            raise
        except (NewerFormat, InputError):
            return False
        except Exception:  # a mistake of the program over one boat
            log.exception("the row of a boat could not be made; the others' are")
            return False
        if row is None or summary is None:
            return False
        digest = standing[bool(summary.lacking)]
        gone = {number: KeptRow("", "") for number in summary.boat.state.hull_keys - {row.hull} if number in memory}
        self._store.put_rows({**gone, row.hull: KeptRow(digest, as_text(row))})
        self._digests[hull] = digest
        memory.take(row, gone)
        return True

    def tell_tablets(self, now: int) -> bool:
        """Write what boats of each kind kept into the shop's record, once a week at most; whether it was written.

        now : the shop's wall time since 1970-01-01 UTC [ms]
        """
        kinds = kinds_of(self.memory.rows())
        entries = self._store.get(SHOP_RECORD, self._store.ids(SHOP_RECORD)).items()
        shop = replay(SHOP_RECORD, [view(name, raw) for name, raw in entries])
        told = max((one.clock.milliseconds for one in shop.current(REGISTER)), default=0)
        if 0 <= now - told < A_WEEK or kinds_in(shop) == kinds or not kinds:
            return False
        entry = kinds_entry(author_after(shop, "the shop's memory"), shop, kinds)
        offered = {SHOP_RECORD: CheckedEntries([(entry.id, entry.raw)])}
        return bool(self._store.put_if_absent(offered, ON_THE_PAGE, now, 0).added)

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self.bring_up_to_date(pause=PAUSE)
                self.tell_tablets(wall_milliseconds())
            except (StoreAway, NotSaved):
                log.warning("the shop's memory is not up to date; it is tried again", exc_info=True)
            except Exception:  # the thread has nobody above it, and the rows are made again at the next look
                log.exception("making rows of the shop's memory failed; it is tried again")
            self._stop.wait(NEXT_LOOK)
