"""Entries of several hulls that are one decision: two numbers are one boat, a job moved, several settled at once.

What is decided is noted whole before anything of it is kept. What then cuts the keeping off, a full disk, a kill or a
database that is away, leaves the note, and the store keeps the rest from it: before the next decision, and when it is
next asked what it holds. Entries have ids, so what is there already is not kept twice.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from typing import Protocol

import attrs

from garboard.disk.entries import entry_id
from garboard.disk.hullfile import CheckedEntries, PutResult
from garboard.disk.storage import NewerFormat, NotSaved
from garboard.faults import in_words
from garboard_shop.store import Delivery, KeptToFinish, Store, StoreAway

log = logging.getLogger("garboard.shop")

Offered = Mapping[str, CheckedEntries]


class Notes(Protocol):
    """Where a store notes what belongs together, outside of the hulls."""

    def add(self, text: str) -> str:
        """Note something; on the disk when this returns. The name it is noted under. Raises storage.NotSaved."""

    def noted(self) -> Mapping[str, str]:
        """What is noted, by name, in order."""

    def drop(self, name: str) -> None:
        """Forget a note; one that is gone already changes nothing. Raises storage.NotSaved."""


class Together:
    """What is kept together in a store.

    notes : of that store
    """

    def __init__(self, store: Store, notes: Notes) -> None:
        self._store, self._notes = store, notes
        self._is_waiting = True  # a server that was killed may have left something
        self._told: set[str] = set()

    def put(self, offered: Offered, by: Delivery) -> PutResult:
        """Keep entries of several hulls.

        by     : who delivers them and when; its ids are filled in
        errors : storage.NotSaved when nothing is kept; KeptToFinish when the rest follows by itself; StoreAway
        """
        try:
            name = self._notes.add(_as_text(offered, by))
        except StoreAway:
            self._is_waiting = True  # it may be noted all the same
            raise
        try:
            result = self._put(offered, by)
        except (NotSaved, NewerFormat, StoreAway, OSError) as failure:
            if not isinstance(failure, StoreAway) and self._holds_none_of(offered):
                self._notes.drop(name)
                if isinstance(failure, OSError):
                    raise NotSaved(in_words(failure)) from failure
                raise
            self._is_waiting = True
            log.warning("a decision is noted and not kept everywhere yet: %s", in_words(failure))
            raise KeptToFinish(in_words(failure)) from failure
        try:
            self._notes.drop(name)
        except (NotSaved, StoreAway):  # it is kept; a note too many is no harm
            self._is_waiting = True
        return result

    def finish(self) -> None:
        """Keep what is noted and not kept yet. What the store refuses waits, and holds up nothing else.

        errors : StoreAway
        """
        left = 0
        for name, text in self._notes.noted().items():
            try:
                offered, by = _from_text(text)
                for entry, reason in self._put(offered, by).refused:
                    log.error("a decision's entry %s is refused: %s", entry, in_words(reason))
                self._notes.drop(name)
            except (NotSaved, NewerFormat, OSError, ValueError, KeyError, TypeError, AttributeError) as failure:
                left += 1
                if name not in self._told:
                    self._told.add(name)
                    log.warning("a decision noted as %s waits: %s", name, failure)
        self._is_waiting = bool(left)

    def finish_if_any(self) -> None:
        """The same where something is known to wait: costs nothing otherwise."""
        if self._is_waiting:
            self.finish()

    def _put(self, offered: Offered, by: Delivery) -> PutResult:
        return self._store.put_if_absent(offered, by.tablet, by.at, by.clock_offset)

    def _holds_none_of(self, offered: Offered) -> bool:
        try:
            return not any(self._store.ids(hull) & entries.keys() for hull, entries in offered.items())
        except (NewerFormat, StoreAway, OSError):
            return False


def _as_text(offered: Offered, by: Delivery) -> str:
    entries = {hull: [raw.decode() for raw in of_hull.values()] for hull, of_hull in offered.items()}
    return json.dumps({**attrs.asdict(attrs.evolve(by, ids={})), "entries": entries})


def _from_text(text: str) -> tuple[dict[str, CheckedEntries], Delivery]:
    plain = json.loads(text)
    lines = {hull: [line.encode() for line in of_hull] for hull, of_hull in plain["entries"].items()}
    offered = {hull: CheckedEntries((entry_id(raw), raw) for raw in of_hull) for hull, of_hull in lines.items()}
    return offered, Delivery(int(plain["at"]), str(plain["tablet"]), int(plain["clock_offset"]))
