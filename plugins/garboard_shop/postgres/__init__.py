"""The shop kept in PostgreSQL: several shop servers may work on one database, and several databases hold one shop.

Each hull lies whole on one database, the one its number falls to. The register lies on the first. A call that changes
something returns after the commit. Loaded only when a shop names such a store.
"""

from __future__ import annotations

import heapq
import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from operator import attrgetter

from garboard import hull_number
from garboard.faults import InputError
from garboard.hullfile import CheckedEntries, Put
from garboard_shop.postgres import hulls
from garboard_shop.postgres.attachments import PostgresAttachments
from garboard_shop.postgres.database import Database, addresses, home_of
from garboard_shop.postgres.register import PostgresRegister
from garboard_shop.store import Delivery, Holding

_ID = re.compile(r"[0-9a-f]{32}")


class PostgresStore:
    """A shop in one PostgreSQL database, or spread over several by hull number.

    url    : see `addresses`
    errors : InputError naming the database and what is wrong with it
    """

    def __init__(self, url: str) -> None:
        where = addresses(url)
        self._databases: list[Database] = []
        try:
            for number, address in enumerate(where):
                self._databases.append(Database(address, number, len(where)))
        except InputError:
            self.close()
            raise
        self.register = PostgresRegister(self._databases[0])
        self._digests = [hulls.Digests(database) for database in self._databases]
        self.attachments = PostgresAttachments(self._databases)

    def digests(self) -> dict[str, Holding]:
        held, *further = (digests.now() for digests in self._digests)
        for more in further:
            held.update(more)
        return held

    def ids(self, hull: str) -> frozenset[str]:
        key = hull_number.key(hull)
        database = home_of(key, self._databases)
        with database.reading() as connection:
            row = connection.execute(
                "select string_agg(id, ''::bytea) from garboard.entry where yard = %s and hull = %s",
                (database.yard, key),
                binary=True,
            ).fetchone()
        together = row[0].hex() if row and row[0] else ""
        return frozenset(together[place : place + 32] for place in range(0, len(together), 32))

    def get(self, hull: str, ids: Iterable[str]) -> CheckedEntries:
        key = hull_number.key(hull)
        asked = [name for name in ids if _ID.fullmatch(name)]
        if not asked:
            return CheckedEntries()
        database = home_of(key, self._databases)
        with database.reading() as connection:
            rows = connection.execute(
                "select encode(id, 'hex'), body from garboard.entry where yard = %s and hull = %s and id = any(%s)",
                (database.yard, key, list(map(bytes.fromhex, asked))),
            ).fetchall()
        held = {name: body.encode() for name, body in rows}
        return CheckedEntries((name, held[name]) for name in asked if name in held)

    def put_if_absent(self, offered: Mapping[str, CheckedEntries], tablet: str, at: int, clock_offset: int) -> Put:
        shares: dict[Database, dict[str, CheckedEntries]] = {}
        for hull in sorted(offered):
            shares.setdefault(home_of(hull, self._databases), {})[hull] = offered[hull]
        note = Delivery(at, tablet, clock_offset)
        puts = [hulls.put_if_absent(database, share, note) for database, share in shares.items()]
        return Put(tuple(name for put in puts for name in put.added), tuple(no for put in puts for no in put.refused))

    def kinds(self, hull: str) -> Counter[str]:
        key = hull_number.key(hull)
        database = home_of(key, self._databases)
        with database.reading() as connection:
            row = connection.execute(
                "select kinds from garboard.hull where yard = %s and hull = %s", (database.yard, key)
            ).fetchone()
        return Counter(json.loads(row[0])) if row else Counter()

    def deliveries(self, first: int, last: int) -> Iterator[Delivery]:
        return heapq.merge(
            *(hulls.deliveries(database, first, last) for database in self._databases), key=attrgetter("at")
        )

    def close(self) -> None:
        for database in self._databases:
            database.close()
