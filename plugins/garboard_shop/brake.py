"""The brake on wrong passwords: a row for each try that counts, kept with the shop, until it counts no more.

So it holds over a restart, and for all servers that share a shop. Only what the brake lets through is written.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable, Sequence

from garboard_shop.store import Asker, Count

_SIGN_IN = "sign-in"
"""Such a row names no network address: the wrong pairing guesses in the same table do."""


def count(what: Sequence[str], most: int, within: int) -> Count:
    """What a try counts with, by its parts. No name and no address can be read in what is kept."""
    return Count(hashlib.sha256("\n".join(what).encode("utf-8", "surrogatepass")).hexdigest()[:32], most, within)


def wait_before(kept: Iterable[Asker], counts: Sequence[Count], now: int) -> int:
    """How long the next try has to wait [ms]; 0 to go on.

    What ends much too late was counted by a clock that ran ahead and was put right since.
    """
    rows = [*kept]
    waits = [0]
    for one in counts:
        ends = sorted(row.until for row in _rows_of(rows, one) if now < row.until <= now + 2 * one.within)
        if len(ends) >= one.most:
            waits.append(min(ends[-one.most] - now, one.within))
    return max(waits)


def rows_for(counts: Iterable[Count], now: int) -> list[Asker]:
    """What to keep of one try."""
    return [Asker(f"{_SIGN_IN} {one.what} {secrets.token_hex(8)}", 1, now + one.within) for one in counts]


def still_counting(kept: Iterable[Asker], now: int) -> list[Asker]:
    """Without the rows that count no more."""
    return [row for row in kept if row.until > now]


def after_the_right_one(kept: Iterable[Asker], counts: Sequence[Count]) -> list[Asker]:
    """What counts no more once a try was right: all that were its own, and one of each it shares with others."""
    rows = [*kept]
    own, *shared = counts
    latest = [max(found, key=lambda row: row.until) for one in shared if (found := _rows_of(rows, one))]
    return [*_rows_of(rows, own), *latest]


def _rows_of(rows: Iterable[Asker], one: Count) -> list[Asker]:
    return [row for row in rows if row.address.startswith(f"{_SIGN_IN} {one.what} ")]


class InMemory:
    """Tries kept by this program alone: what a full disk does not take."""

    def __init__(self) -> None:
        self._kept: list[Asker] = []

    def askers(self) -> tuple[Asker, ...]:
        return tuple(self._kept)

    def count_try(self, counts: Sequence[Count], now: int) -> int:
        wait = wait_before(self._kept, counts, now)
        if not wait:
            self._kept = [*still_counting(self._kept, now), *rows_for(counts, now)]
        return wait

    def forget(self, askers: Sequence[Asker]) -> None:
        self._kept = [row for row in self._kept if row not in askers]
