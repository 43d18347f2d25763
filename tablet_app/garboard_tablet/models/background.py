"""Work beside the drawing thread: it gets what it needs handed in, and gives its result back on the drawing thread."""

from __future__ import annotations

import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any, Protocol

from garboard.disk.storage import FolderClosed

log = logging.getLogger("garboard.tablet")


class Later(Protocol):
    """Has work done on the drawing thread, so many seconds from now. Any thread may call it."""

    def __call__(self, work: Callable[[], object], after: float = 0.0, /) -> object: ...


class Background:
    """Two workers: one for findings, one left for a book or a list.

    later   : hands work to the drawing thread
    tell    : called on the drawing thread with what was being done and the failure, where nobody else shows it
    threads : False does everything at once where it is asked for, and lets failures pass
    """

    def __init__(self, later: Later, tell: Callable[[str, Exception], None], *, threads: bool = True) -> None:
        self.later, self.tell, self.threads = later, tell, threads
        self._workers = ThreadPoolExecutor(2, "in the background")
        self._stopped = False

    def run(
        self,
        what: str,
        work: Callable[[], Any],
        done: Callable[[Any], None],
        failed: Callable[[Exception], None] | None = None,
    ) -> None:
        """Have work done; then `done` with its result on the drawing thread.

        what   : what is being done, in words, for the log and for the page that shows a failure
        failed : called with a failure on the drawing thread, and shows it; `tell` unless given
        """
        if self._stopped:
            return  # the app is being closed: nobody waits for the result
        if not self.threads:
            done(work())
        else:
            self._workers.submit(self._work, what, work, done, failed or partial(self.tell, what))

    def _work(
        self, what: str, work: Callable[[], Any], done: Callable[[Any], None], failed: Callable[[Exception], None]
    ) -> None:
        try:
            result = work()
        except FolderClosed:
            log.info("given up, as the app is being closed: %s", what)
        except BaseException as failure:  # whatever it is: who asked must not wait for an answer that never comes
            log.exception("work in the background failed: %s", what)
            told = failure if isinstance(failure, Exception) else RuntimeError(f"it ended by {type(failure).__name__}")
            self.later(partial(failed, told))
        else:
            self.later(partial(done, result))

    def renew(self) -> None:
        """Work with other workers from now on: one of these does not come back from a plugin."""
        former, self._workers = self._workers, ThreadPoolExecutor(2, "in the background")
        former.shutdown(wait=False)  # what waits there is done by the other of the two

    def stop(self) -> None:
        """No more work. What is under way ends by itself."""
        self._stopped = True
        self._workers.shutdown(wait=False, cancel_futures=True)
