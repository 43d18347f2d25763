"""Entries in PostgreSQL: what is held of each hull, putting in what is absent, and who brought it."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator, Mapping

from psycopg.types.json import Jsonb

from garboard.disk.entries import file_in_words, hull_key_of
from garboard.disk.hullfile import CheckedEntries, PutResult
from garboard.faults import Fault, InputError
from garboard_shop.postgres.database import Database, place_of
from garboard_shop.store import Delivery, Holding, counted_as

DELIVERIES_AT_ONCE = 500


class Digests:
    """What is held of each hull; asked again, each part tells only what may have changed since."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._guard = threading.Lock()
        self._held: dict[str, dict[str, Holding]] = {}
        self._marks: dict[str, dict[str, str]] = {}

    def now(self) -> dict[str, Holding]:
        """As the database holds it now."""
        with self._guard:
            rows = self._database.ask("digests", self._database.yard, Jsonb(self._marks))
            for number, tables, following, hull, digest, entries in rows:
                part = str(number)
                if self._marks.get(part, {}).get("tables") != tables:  # a database put back from a copy has others
                    self._held[part] = {}
                self._marks[part] = {"tables": tables, "following": following}
                if hull is not None:
                    self._held[part][hull] = Holding(digest, entries)
            together: dict[str, Holding] = {}
            for held in self._held.values():
                together.update(held)
            return together


class Notes:
    """What belongs together and is not kept yet, in the database in front of the shards."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, text: str) -> str:
        with self._database.saving() as connection:
            noted = "insert into garboard.together (yard, unit) values (%s, %s) returning number"
            ((number,),) = connection.execute(noted, (self._database.yard, text)).fetchall()
        return str(number)

    def noted(self) -> dict[str, str]:
        asked = "select number, unit from garboard.together where yard = %s order by number"
        with self._database.reading() as connection:
            return {str(number): unit for number, unit in connection.execute(asked, (self._database.yard,))}

    def drop(self, name: str) -> None:
        with self._database.saving() as connection:
            forget = "delete from garboard.together where yard = %s and number = %s"
            connection.execute(forget, (self._database.yard, int(name)))


def put_if_absent(database: Database, offered: Mapping[str, CheckedEntries], note: Delivery) -> PutResult:
    """Keep entries that are absent, and who delivered them; committed when this returns.

    offered : by hull key
    note    : who delivers them and when; its ids are filled in
    errors  : storage.NotSaved, StoreAway
    """
    wanted, refused = _fitting(offered)
    if not wanted:
        return PutResult((), refused)
    hulls = sorted(wanted)
    added = database.save(
        "put",
        *(database.yard, note.tablet, note.at, note.clock_offset),
        list(map(place_of, hulls)),
        hulls,
        [bytes.fromhex("".join(wanted[hull])) for hull in hulls],
        [b"\n".join(wanted[hull].values()).decode() for hull in hulls],
        ["\n".join(map(_kind_of, wanted[hull].values())) for hull in hulls],
    )
    return PutResult(tuple(name for (name,) in added), refused)


def _kind_of(raw: bytes) -> str:
    """As JSON writes it: one line, whatever characters it has."""
    return json.dumps(counted_as(json.loads(raw)["kind"]))


def _fitting(
    offered: Mapping[str, CheckedEntries],
) -> tuple[dict[str, CheckedEntries], tuple[tuple[str, InputError], ...]]:
    """Entries that are canonical and of their hull; and the others with the reason."""
    refused = {
        name: reason
        for hull, entries in offered.items()
        for name, raw in entries.items()
        if (reason := _why_not(hull, name, raw))
    }
    fitting = {
        hull: CheckedEntries((name, raw) for name, raw in entries.items() if name not in refused)
        for hull, entries in offered.items()
    }
    return {hull: entries for hull, entries in fitting.items() if entries}, tuple(refused.items())


def _why_not(hull: str, name: str, raw: bytes) -> InputError | None:
    """Why an entry cannot be kept under a hull."""
    try:
        key = hull_key_of(raw)
    except InputError as reason:
        return reason
    return None if key == hull else InputError(f"entry {name}", [Fault("hull", file_in_words(hull), key)])


def deliveries(database: Database, first: int, last: int) -> Iterator[Delivery]:
    """In order of time. Each part tells its next ones, as many as a page may hold: those of the page are among them."""
    after = first, -1, 0
    while True:
        rows = sorted(database.ask("deliveries", database.yard, *after, last, DELIVERIES_AT_ONCE), key=_in_order)
        page = rows[:DELIVERIES_AT_ONCE]
        for at, _, _, tablet, clock_offset, ids in page:
            yield Delivery(at, tablet, clock_offset, {hull: tuple(names) for hull, names in ids.items()})
        if len(page) < DELIVERIES_AT_ONCE:
            return
        after = _in_order(page[-1])


def _in_order(delivery: tuple[int, ...]) -> tuple[int, int, int]:
    at, part, number, *_ = delivery
    return at, part, number
