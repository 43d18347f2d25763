"""Entries in PostgreSQL: what is held of each hull, and putting in what is absent.

Whoever puts entries into a hull holds that hull's row until they are committed, hulls in the order of their numbers:
two who put the same entries wait for each other and never both for the other [1].

[1] PostgreSQL 15 documentation, 13.3.4 deadlocks.
[2] PostgreSQL 15 documentation, COPY.
[3] PostgreSQL 15 documentation, 9.27.12 transaction ID and snapshot information functions.
"""

from __future__ import annotations

import json
import threading
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import suppress

import psycopg
from psycopg.types.json import Jsonb

from garboard.entries import hull_key_of
from garboard.faults import Fault, InputError
from garboard.hullfile import CheckedEntries, Put
from garboard_shop.postgres.database import Database
from garboard_shop.store import Delivery, Holding

DELIVERIES_AT_ONCE = 500
_THE_FIRST = "0"


class Digests:
    """What is held of each hull of one database; asked again, only what may have changed since is read.

    A hull's row carries the transaction that last put entries into it. Whatever was still under way when last looked
    has a number from the snapshot's lower end on [3], so hulls from there on are read again. Entries are never taken
    away, so a digest holds as long as their number does.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._guard = threading.Lock()
        self._held: dict[str, Holding] = {}
        self._next = _THE_FIRST
        self._tables = ""

    def now(self) -> dict[str, Holding]:
        """As the database holds it now."""
        with self._guard, self._database.reading() as connection:
            tables, following, rows = self._changes(connection)
            if tables != self._tables:
                self._held, self._next = {}, _THE_FIRST
                self._tables, following, rows = self._changes(connection)
            self._held.update((hull, Holding(digest, of)) for hull, digest, of, entries in rows if of == entries)
            if changed := [hull for hull, _, of, entries in rows if of != entries]:
                self._held.update(_new_digests(connection, self._database.yard, changed))
            self._next = following
            return dict(self._held)

    def _changes(self, connection: psycopg.Connection) -> tuple[str, str, list[tuple[str, str, int, int]]]:
        """Which tables these are (a restored database has others), where to go on next time, and the rows."""
        rows = connection.execute(
            "select concat(pg_postmaster_start_time(), pg_relation_filenode('garboard.hull')),"
            " pg_snapshot_xmin(pg_current_snapshot())::text, hull, digest, digest_of, entries"
            " from (values (1)) as always left join garboard.hull on yard = %s and changed >= %s::xid8 and entries > 0",
            (self._database.yard, self._next),
        ).fetchall()
        return rows[0][0], rows[0][1], [(hull, *more) for _, _, hull, *more in rows if hull is not None]


def _new_digests(connection: psycopg.Connection, yard: int, changed: list[str]) -> dict[str, Holding]:
    rows = connection.execute(
        "select hull, encode(sha256(convert_to(string_agg(encode(id, 'hex'), '' order by id), 'UTF8')), 'hex'),"
        " count(*)"
        " from garboard.entry where yard = %s and hull = any(%s) group by hull",
        (yard, changed),
    ).fetchall()
    hulls, found, counts = zip(*rows, strict=True)
    with suppress(psycopg.Error), connection.transaction():  # a database that takes no changes can still be read
        connection.execute("set local synchronous_commit = off")  # what is lost is worked out again
        connection.execute(
            "with free as (select hull from garboard.hull where yard = %s and hull = any(%s)"
            "  order by hull for no key update skip locked),"
            " found as (select * from unnest(%s::text[], %s::text[], %s::bigint[]) as f (hull, digest, entries))"
            " update garboard.hull as kept set digest = found.digest, digest_of = found.entries"
            " from free join found using (hull)"
            " where kept.yard = %s and kept.hull = found.hull and kept.digest_of < found.entries",
            (yard, list(hulls), list(hulls), list(found), list(counts), yard),
        )
    return {hull: Holding(digest, count) for hull, digest, count in rows}


def put_if_absent(database: Database, offered: Mapping[str, CheckedEntries], note: Delivery) -> Put:
    """Keep entries that are absent, and who delivered them; committed when this returns.

    offered : by hull key
    note    : who delivers them and when; its ids are filled in
    errors  : storage.NotSaved, StoreAway
    """
    with database.reading() as connection:
        wanted, refused = _fitting(_absent(connection, database.yard, offered))
    if not wanted:
        return Put((), refused)
    with database.saving() as connection:
        kinds = _hold_hulls(connection, database.yard, list(wanted))
        new = _absent(connection, database.yard, wanted)  # another may have put some before we held the hulls
        if new:
            _put(connection, database.yard, new, kinds, note)
    return Put(tuple(name for entries in new.values() for name in entries), refused)


def _put(
    connection: psycopg.Connection,
    yard: int,
    new: Mapping[str, CheckedEntries],
    kinds: Mapping[str, Counter[str]],
    note: Delivery,
) -> None:
    """Write entries of hulls that are held: none of them can be there already, so they are copied in [2]."""
    for hull, entries in new.items():
        kinds[hull].update(str(json.loads(raw)["kind"]) for raw in entries.values())
    with connection.cursor().copy("copy garboard.entry (yard, hull, id, body) from stdin") as copying:
        for hull, entries in new.items():
            for name, raw in sorted(entries.items()):
                copying.write_row((yard, hull, bytes.fromhex(name), raw.decode()))
    with connection.pipeline():
        connection.cursor().executemany(
            "update garboard.hull set entries = %s, kinds = %s, changed = pg_current_xact_id()"
            " where yard = %s and hull = %s",
            [(kinds[hull].total(), json.dumps(kinds[hull]), yard, hull) for hull in new],
        )
        connection.execute(
            "insert into garboard.delivery (yard, at, tablet, clock_offset, ids) values (%s, %s, %s, %s, %s)",
            (yard, note.at, note.tablet, note.clock_offset, Jsonb({hull: sorted(new[hull]) for hull in new})),
        )


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


def _absent(
    connection: psycopg.Connection, yard: int, offered: Mapping[str, CheckedEntries]
) -> dict[str, CheckedEntries]:
    """Those of the entries that are not held, hulls in order."""
    hulls = [hull for hull in sorted(offered) if offered[hull]]
    with connection.pipeline():
        answers = [
            connection.execute(
                "select encode(id, 'hex') from garboard.entry where yard = %s and hull = %s and id = any(%s)",
                (yard, hull, list(map(bytes.fromhex, offered[hull]))),
            )
            for hull in hulls
        ]
        held = [{name for (name,) in answer.fetchall()} for answer in answers]
    return {
        hull: CheckedEntries((name, raw) for name, raw in offered[hull].items() if name not in there)
        for hull, there in zip(hulls, held, strict=True)
        if offered[hull].keys() - there
    }


def _hold_hulls(connection: psycopg.Connection, yard: int, hulls: list[str]) -> dict[str, Counter[str]]:
    """Hold hulls, given in order, until the transaction ends; how many entries of each kind they hold."""
    connection.execute(
        "insert into garboard.hull (yard, hull) select %s, unnest(%s::text[]) on conflict do nothing", (yard, hulls)
    )
    rows = connection.execute(
        "select hull, kinds from garboard.hull where yard = %s and hull = any(%s) order by hull for no key update",
        (yard, hulls),
    ).fetchall()
    return {hull: Counter(json.loads(kinds)) for hull, kinds in rows}


def _why_not(hull: str, name: str, raw: bytes) -> InputError | None:
    """Why an entry cannot be kept under a hull."""
    try:
        key = hull_key_of(raw)
    except InputError as reason:
        return reason
    return None if key == hull else InputError(f"entry {name}", [Fault("hull", f"hull {hull}", key)])


def deliveries(database: Database, first: int, last: int) -> Iterator[Delivery]:
    after = first, 0
    while True:
        with database.reading() as connection:
            rows = connection.execute(
                "select at, number, tablet, clock_offset, ids from garboard.delivery"
                " where yard = %s and (at, number) > (%s, %s) and at <= %s order by at, number limit %s",
                (database.yard, *after, last, DELIVERIES_AT_ONCE),
            ).fetchall()
        for at, number, tablet, clock_offset, ids in rows:
            yield Delivery(at, tablet, clock_offset, {hull: tuple(names) for hull, names in ids.items()})
            after = at, number
        if len(rows) < DELIVERIES_AT_ONCE:
            return
