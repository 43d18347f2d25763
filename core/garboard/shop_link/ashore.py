"""Coming ashore by itself: a thread that tries whenever the shop may be near, and tells a screen how it goes.

The thread never holds up work on the folder; it may be ended at any moment, and the next time goes on.
"""

from __future__ import annotations

import logging
import random
import threading
from collections.abc import Callable

import attrs

from garboard.disk.clock import wall_milliseconds
from garboard.disk.documents import DocumentDamaged
from garboard.disk.hullfile import HullFolder
from garboard.disk.storage import NotSaved
from garboard.faults import GarboardError, in_words
from garboard.shop_link import pairing
from garboard.shop_link.discovery import look_for
from garboard.shop_link.pairing import PairedShop
from garboard.shop_link.shop_line import NotPaired, NotTheShop, ShopAway, ShopRefused
from garboard.shop_link.sync import Progress, SyncReport, bring_ashore

log = logging.getLogger("garboard.ashore")

RESTING, UNDER_WAY, ASHORE, AWAY, REFUSED = "resting", "under way", "ashore", "away", "refused"


@attrs.frozen(kw_only=True)
class State:
    """How coming ashore stands.

    word    : resting (nothing tried yet), under way, ashore (it went through), away (the shop did not answer; it is
              tried again), refused (a person must look: the reason says why)
    doing   : "entries" or "attachments" while under way, with how much of it is done
    report  : of the last time it went through
    at      : when that was [ms since 1970-01-01 UTC]
    reason  : why it is away or refused
    """

    word: str = RESTING
    doing: str = ""
    done: int = 0
    of: int = 0
    report: SyncReport | None = None
    at: int = 0
    reason: str = ""


def bring_ashore_where_it_is(
    folder: HullFolder,
    shop: PairedShop,
    progress: Progress = lambda _what, _done, _of: None,
    *,
    prove: bool = False,
) -> SyncReport:
    """Bring ashore at the address kept or, when nothing answers there, at the one the shop announces; that is kept,
    and the role the shop gives this tablet.

    errors : as `sync.bring_ashore`
    """
    try:
        report = bring_ashore(folder, shop, progress, prove=prove)
    except ShopAway:
        found = look_for(shop)
        if found is None or (found.host, found.port) == (shop.host, shop.port):
            raise
        shop = found
        report = bring_ashore(folder, shop, progress, prove=prove)
    pairing.keep_told(folder.folder, attrs.evolve(shop, role=report.role or shop.role))
    return report


class ComingAshore:
    """Brings a folder ashore from a thread of its own, again and again.

    folder       : opened for writing; closed by whoever opened it, after `stop`
    told         : called from the thread at each change; hand it on to the drawing thread
    every        : how long after it went through it is tried again [s]
    first_wait   : after the shop was away, doubled each time [s]
    longest_wait : [s]
    """

    def __init__(
        self,
        folder: HullFolder,
        told: Callable[[State], None] = lambda _state: None,
        *,
        every: float = 300.0,
        first_wait: float = 2.0,
        longest_wait: float = 120.0,
    ) -> None:
        self.state = State()
        self._folder = folder
        self._told = told
        self._every = every
        self._first_wait = self._wait = first_wait
        self._longest_wait = longest_wait
        self._wanted = threading.Event()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="coming ashore", daemon=True)

    def start(self) -> None:
        """Begin; the first try is at once."""
        self._thread.start()

    def now(self) -> None:
        """Try at once: someone asked, the wifi is back, or a shop was paired."""
        self._wait = self._first_wait
        self._wanted.set()

    def stop(self, patience: float = 30.0) -> bool:
        """End after the request under way. Whether it ended in time [s]."""
        self._stopping.set()
        self._wanted.set()
        self._thread.join(patience)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while not self._stopping.is_set():
            self._wanted.clear()
            pause = self._try()
            if not self._stopping.is_set():
                self._wanted.wait(pause)

    def _try(self) -> float | None:
        """One try; how long to rest after it [s], None until someone asks."""
        try:
            shop = pairing.kept(self._folder.folder)
            if shop is None:
                self._stand(RESTING, "no shop is paired")
                return None
            self._stand(UNDER_WAY)
            report = bring_ashore_where_it_is(self._folder, shop, self._progress)
        except _Stopped:
            self._stand(RESTING)
            return None
        except ShopAway as reason:
            self._stand(AWAY, in_words(reason))
            pause = self._wait * random.uniform(0.75, 1.25)  # so that twenty tablets do not come back in step
            self._wait = min(self._wait * 2, self._longest_wait)
            return pause
        except (ShopRefused, NotSaved) as reason:  # a full disk, on either side
            self._stand(REFUSED, in_words(reason))
            return self._every
        except (NotTheShop, NotPaired, DocumentDamaged) as reason:
            self._stand(REFUSED, in_words(reason))
            return None
        except Exception as failure:  # the thread has nobody above it: what is not told here is told nowhere
            log.exception("coming ashore failed")
            self._stand(REFUSED, f"the program failed at this: {in_words(failure)}")
            return None
        self._wait = self._first_wait
        self._tell(State(word=ASHORE, report=report, at=wall_milliseconds()))
        return self._every

    def _progress(self, doing: str, done: int, of: int) -> None:
        if self._stopping.is_set():
            raise _Stopped
        self._tell(attrs.evolve(self.state, doing=doing, done=done, of=of))

    def _stand(self, word: str, reason: str = "") -> None:
        self._tell(attrs.evolve(self.state, word=word, reason=reason, doing="", done=0, of=0))

    def _tell(self, state: State) -> None:
        self.state = state
        self._told(state)


class _Stopped(GarboardError):
    """The thread is to end."""
