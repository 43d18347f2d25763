"""A boat that many tests of the pages look at is judged once: the invented day's stand behind nearly every page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import attrs
import pytest

from garboard.hosting.host import PluginHost
from garboard_shop.embedded import EmbeddedStore
from garboard_shop.pages import consequences, index, summaries
from garboard_shop.pages.consequences import Judged
from garboard_shop.pages.index import Card
from garboard_shop.pages.summaries import BoatSummary, JobSummary
from garboard_shop.store import Store, managers_devices

MOST_KEPT = 6
"""The first ones stay to the end: what is let go after a file of tests was set aside (`gc.freeze`) would stay, too."""


@contextmanager
def boats_judged_once(plugins: PluginHost) -> Iterator[None]:
    """By all a summary is made of: the entries of each hull number, the managers' tablets, the files, the plugins.

    Only with these plugins, and only as long as they judge as they do in the program.
    """
    kept: dict[tuple[Any, ...], BoatSummary] = {}
    make, assess = summaries.make_summary, PluginHost.assess

    def make_once(store: Store, host: PluginHost, hull: str) -> BoatSummary:
        if host is not plugins or not isinstance(store, EmbeddedStore) or PluginHost.assess is not assess:
            return make(store, host, hull)
        key = (hull, managers_devices(store.register), store.ids(hull), _files_of(store))
        found = kept.get(key)
        if found is not None and all(store.ids(number) == ids for number, ids in found.held.items()):
            return attrs.evolve(found)  # another one, as each judging makes another
        made = make(store, host, hull)
        if not made.is_passing and len(kept) < MOST_KEPT:
            kept[key] = made
        return made

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(summaries, "make_summary", make_once)
        patch.setattr(consequences, "judge", _judge_once(plugins))
        patch.setattr(index, "card_of", _card_once())
        yield


def _card_once() -> Callable[[str, Iterable[bytes]], Card]:
    """What the search knows of a boat, by its entries alone."""
    kept: dict[tuple[str, tuple[bytes, ...]], Card] = {}
    card_of = index.card_of

    def card_once(hull: str, entries: Iterable[bytes]) -> Card:
        key = (hull, tuple(entries))
        found = kept.get(key)
        if found is None:
            found = card_of(hull, key[1])
            if len(kept) < MOST_KEPT:
                kept[key] = found
        return found

    return card_once


def _judge_once(plugins: PluginHost) -> Callable[[Store, PluginHost, BoatSummary, JobSummary], Judged]:
    """What each open value of a job would give. The day sheet has a job judged once for each."""
    kept: dict[tuple[Any, ...], Judged] = {}
    judge, assess = consequences.judge, PluginHost.assess

    def judge_once(store: Store, host: PluginHost, summary: BoatSummary, job: JobSummary) -> Judged:
        if host is not plugins or not isinstance(store, EmbeddedStore) or PluginHost.assess is not assess:
            return judge(store, host, summary, job)
        if summary.is_passing or any(store.ids(number) != ids for number, ids in summary.held.items()):
            return judge(store, host, summary, job)
        held = frozenset(summary.held.items())
        devices = managers_devices(store.register)
        key = (summary.key, job.id, held, devices, _files_of(store), consequences.MOST_JUDGED)
        if key not in kept:
            judged = judge(store, host, summary, job)
            if len(kept) >= MOST_KEPT:
                return judged
            kept[key] = judged
        return kept[key]

    return judge_once


def _files_of(store: EmbeddedStore) -> frozenset[tuple[str, int, int]]:
    """The attached files that are here, damaged since or not."""
    folder = store.hulls.attachments.folder
    found = [(path.name, path.stat()) for path in folder.iterdir()] if folder.is_dir() else []
    return frozenset((name, stat.st_size, stat.st_mtime_ns) for name, stat in found)
