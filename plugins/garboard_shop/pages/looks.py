"""When somebody last looked at a boat, and what came since. The browser keeps it: a shop stores nothing of who reads.

A look is many pages one after another: only what lies `SAME_LOOK` back counts as the last one.
"""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256

import attrs
from starlette.responses import Response

from garboard.disk.entries import Entry
from garboard.history.authority import ON_THE_PAGE
from garboard.history.registers import register_of
from garboard_shop.pages.summaries import BoatSummary, register_in_words
from garboard_shop.store import Store

COOKIE = "__Host-garboard-boats"
MOST_BOATS = 40
"""Of which a browser remembers when; some 1.2 kB."""
SAME_LOOK = 30 * 60 * 1000
"""Two visits so near are one look [ms]."""
LONGEST_BACK = 60 * 24 * 60 * 60 * 1000
"""What came earlier than this before now is not looked for [ms]."""
SECONDS_KEPT = 180 * 24 * 60 * 60
MOST_NAMES = 12


@attrs.frozen
class Changed:
    """What one person entered for a boat since the last look.

    names : of the values, each once
    more  : how many of them are not named
    """

    by: str
    entries: int
    names: tuple[str, ...]
    more: int


def last_look(cookie: str, hull: str, now: int) -> int:
    """When this browser last looked at a boat, this look left out [ms since 1970-01-01 UTC]; 0 for never."""
    before, last = _read(cookie).get(_short(hull), (0, 0))
    return last if now - last > SAME_LOOK else before


def note(page: Response, cookie: str, hull: str, now: int) -> None:
    """Let the browser keep that it looked now."""
    looks = _read(cookie)
    before = last_look(cookie, hull, now)
    looks.pop(_short(hull), None)
    kept = {_short(hull): (before, now), **looks}
    times = ((name, first // 1000, last // 1000) for name, (first, last) in [*kept.items()][:MOST_BOATS])
    text = ".".join(f"{name}-{first:x}-{last:x}" for name, first, last in times)
    page.set_cookie(COOKIE, text, max_age=SECONDS_KEPT, path="/", secure=True, httponly=True, samesite="strict")


def _short(hull: str) -> str:
    return sha256(hull.encode()).hexdigest()[:10]


def _read(cookie: str) -> dict[str, tuple[int, int]]:
    """What a browser sent; whatever else it may hold, nothing."""
    found: dict[str, tuple[int, int]] = {}
    for one in cookie[:4096].split("."):
        name, _, times = one.partition("-")
        first, _, last = times.partition("-")
        if name.isalnum() and len(name) == 10 and len(first) < 12 and len(last) < 12:
            try:
                found[name] = int(first, 16) * 1000, int(last, 16) * 1000
            except ValueError:
                continue
    return found


def changed_since(store: Store, summary: BoatSummary, since: int, now: int, who: str) -> tuple[Changed, ...]:
    """What reached the shop of a boat since a look, by whom; what the person decided on the page themself left out."""
    hulls = summary.boat.hulls
    came: dict[str, Entry] = {}
    for delivery in store.deliveries(max(since + 1, now - LONGEST_BACK), now):
        for hull in hulls & delivery.ids.keys():
            for name in delivery.ids[hull]:
                entry = summary.entries.get(name)
                if entry is not None and not (delivery.tablet == ON_THE_PAGE and entry.by == who):
                    came[name] = entry
    return tuple(_changed(by, of_one, summary) for by, of_one in sorted(_by_writer(came).items()))


def _by_writer(came: Mapping[str, Entry]) -> dict[str, list[Entry]]:
    found: dict[str, list[Entry]] = {}
    for entry in came.values():
        found.setdefault(entry.by, []).append(entry)
    return found


def _changed(by: str, entries: list[Entry], summary: BoatSummary) -> Changed:
    keys = dict.fromkeys(register_of(entry) for entry in entries)
    views = {job.id: job.view for job in summary.jobs}
    shown = [register_in_words(key, summary.host, views.get(key.job)) for key in list(keys)[:MOST_NAMES]]
    return Changed(by, len(entries), tuple(dict.fromkeys(shown)), len(keys) - min(len(keys), MOST_NAMES))
