"""The shop kept in PostgreSQL: several shop servers may work on one database, and it may stand in front of several.

Where it stands in front of several (`shards`), each hull lies whole on one of them, and the register in front. A call
that changes something returns after the commit. Loaded only when a shop names such a store.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from garboard import hull_number
from garboard.disk.hullfile import CheckedEntries, PutResult
from garboard_shop.postgres import hulls
from garboard_shop.postgres.attachments import PostgresAttachments
from garboard_shop.postgres.database import DECIDING, Database, address_of, place_of
from garboard_shop.postgres.register import PostgresRegister
from garboard_shop.store import Delivery, Holding, KeptRow
from garboard_shop.together import Together

_ID = re.compile(r"[0-9a-f]{32}")


class PostgresStore:
    """A shop in PostgreSQL.

    url    : see `address_of`
    errors : InputError naming the database and what is wrong with it
    """

    def __init__(self, url: str) -> None:
        self._database = Database(address_of(url))
        self._digests = hulls.Digests(self._database)
        self._together = Together(self, hulls.Notes(self._database))
        self.register = PostgresRegister(self._database)
        self.attachments = PostgresAttachments(self._database)

    def digests(self) -> dict[str, Holding]:
        self._together.finish_if_any()
        return self._digests.now()

    def maybe_held(self, hulls: Iterable[str]) -> frozenset[str]:
        held = self.digests()  # one query, which tells only what changed since the last
        return frozenset(hull for hull in hulls if not hull or hull_number.key(hull) in held)

    def ids(self, hull: str) -> frozenset[str]:
        ((run_together,),) = self._of_hull("ids", hull)
        together = (run_together or b"").hex()
        return frozenset(together[place : place + 32] for place in range(0, len(together), 32))

    def get(self, hull: str, ids: Iterable[str]) -> CheckedEntries:
        asked = [name for name in ids if _ID.fullmatch(name)]
        if not asked:
            return CheckedEntries()
        held = {name: body.encode() for name, body in self._of_hull("entries", hull, list(map(bytes.fromhex, asked)))}
        return CheckedEntries((name, held[name]) for name in asked if name in held)

    def put_if_absent(
        self, offered: Mapping[str, CheckedEntries], tablet: str, at: int, clock_offset: int
    ) -> PutResult:
        return hulls.put_if_absent(self._database, offered, Delivery(at, tablet, clock_offset))

    def put_together(self, offered: Mapping[str, CheckedEntries], by: str, at: int) -> PutResult:
        if self._database.shards_of(offered) < 2:
            return self.put_if_absent(offered, by, at, 0)  # in one transaction
        return self._together.put(offered, Delivery(at, by, 0))

    @contextmanager
    def deciding(self) -> Iterator[None]:
        with self._database.alone(DECIDING):
            self._together.finish()  # what another server of the shop left too
            yield

    def kinds(self, hull: str) -> Counter[str]:
        return Counter({json.loads(kind): entries for kind, entries in self._of_hull("kinds", hull)})

    def unread(self, hulls: Iterable[str]) -> int:
        return 0  # a database answers with every row, or not at all

    def not_whole(self) -> dict[str, str]:
        return {}

    def deliveries(self, first: int, last: int) -> Iterator[Delivery]:
        return hulls.deliveries(self._database, first, last)

    def rows(self) -> dict[str, KeptRow]:
        with self._database.reading() as connection:
            asked = "select hull, digest, content from garboard.boat_row where yard = %s"
            found = connection.execute(asked, (self._database.yard,)).fetchall()
        return {hull: KeptRow(digest, content) for hull, digest, content in found}

    def put_rows(self, rows: Mapping[str, KeptRow]) -> None:
        put = (
            "insert into garboard.boat_row values (%s, %s, %s, %s)"
            " on conflict (yard, hull) do update set digest = excluded.digest, content = excluded.content"
        )
        lines = [(self._database.yard, hull, one.digest, one.text) for hull, one in sorted(rows.items())]
        with self._database.saving() as connection:
            connection.cursor().executemany(put, lines)

    def close(self) -> None:
        self._database.close()

    def _of_hull(self, verb: str, hull: str, *more: object) -> list[tuple[Any, ...]]:
        key = hull_number.key(hull)
        return self._database.ask(verb, place_of(key), self._database.yard, key, *more)
