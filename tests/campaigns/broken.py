"""Programs broken on purpose: a campaign that calls one of them sound cannot fail, and proves nothing."""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from garboard.disk.entries import Entry


def without_a_flush() -> None:
    """Nothing asks the disk to hold what was written."""
    os.fsync = lambda fd: None


def deaf_to_the_disk() -> None:
    """A write that is refused passes for written."""
    real = os.write

    def write(descriptor: int, data: bytes) -> int:
        with suppress(OSError):
            real(descriptor, data)
        return len(data)

    os.write = write  # type: ignore[assignment]  # a narrower parameter


def saved_before_written() -> None:
    """An entry is called saved and is in no file; of five one."""
    from garboard.disk.hullfile import HullFolder

    real = HullFolder.save

    def save(self: HullFolder, entry: Entry) -> str:
        return entry.id if int(entry.id[:2], 16) % 5 == 0 else real(self, entry)

    HullFolder.save = save  # type: ignore[method-assign]


def gone_by_half() -> None:
    """A job has left its number as soon as one of the two halves says so."""
    from garboard.history.boat import Boat

    Boat.jobs = property(lambda boat: (*boat.state.jobs, *boat.moved_in))  # type: ignore[assignment, method-assign]


BROKEN: dict[str, Callable[[], None]] = {
    "flush": without_a_flush,
    "write": deaf_to_the_disk,
    "saved": saved_before_written,
    "half": gone_by_half,
}
