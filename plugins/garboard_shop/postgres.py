"""The shop kept in PostgreSQL: several shop servers may work on one database, and several databases hold one shop.

Each hull lies whole on one server, the one its number falls to. Whoever puts entries into a hull holds that hull's
row until they are committed, hulls in the order of their numbers, so that two who put the same ones wait and never
block each other. A call that changes something returns after the commit.

[1] PostgreSQL 15 documentation: 5.11 table partitioning, 13.3 explicit locking, 30.4 asynchronous commit.
"""

from __future__ import annotations

import hashlib
import heapq
import json
import re
import threading
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from operator import attrgetter
from typing import TypeVar

import attrs
import psycopg
from psycopg import sql
from psycopg.conninfo import conninfo_to_dict
from psycopg.rows import class_row
from psycopg.types.json import Jsonb
from psycopg_pool import ConnectionPool, PoolTimeout

from garboard import hull_number
from garboard.arriving import OutOfPlace
from garboard.attachments import AttachmentDamaged
from garboard.entries import hull_key_of
from garboard.faults import Fault, InputError
from garboard.hullfile import CheckedEntries, Put
from garboard.storage import NotSaved
from garboard_shop.postgres_schema import make_ready
from garboard_shop.store import Delivery, Holding, Pairing, Tablet, WebUser

MOST_CONNECTIONS = 10
"""To one database from one shop server; further requests wait their turn."""
SECONDS_TO_WAIT = 10
DELIVERIES_AT_ONCE = 500
CONTACT_KEPT_EVERY = 60_000
"""A contact is written when the last one written is so much older [ms]."""

_DAY = 24 * 60 * 60 * 1000
_ID = re.compile(r"[0-9a-f]{32}")
_NAME = re.compile(r"[0-9a-f]{64}")
_NEXT_ADDRESS = re.compile(r"[\s,]+(?=postgres(?:ql)?://)")

Record = TypeVar("Record", Tablet, Pairing, WebUser)


@attrs.frozen
class Address:
    """Where one database is.

    conninfo : as PostgreSQL's own library reads it
    yard     : which of the yards in it
    place    : what it is called in messages; no password stands in it
    """

    conninfo: str = attrs.field(repr=False)
    yard: int
    place: str


def addresses(url: str) -> tuple[Address, ...]:
    """The databases a setting names, in order.

    url    : "postgresql://user@host/database", several with a space or comma between; "?yard=7" picks one of the
             yards that share a database, 1 when none is named
    errors : InputError

    >>> [(one.place, one.yard) for one in addresses("postgresql://a/shop?yard=7 postgresql://b/shop?yard=7")]
    [('a/shop', 7), ('b/shop', 7)]
    """
    found = tuple(map(_address, _NEXT_ADDRESS.split(url.strip())))
    if len({one.yard for one in found}) > 1:
        raise InputError("--store", [Fault("yard", "one yard", ", ".join(str(one.yard) for one in found))])
    return found


def _address(url: str) -> Address:
    start, _, query = url.partition("?")
    options = query.split("&") if query else []
    yards = [option.removeprefix("yard=") for option in options if option.startswith("yard=")] or ["1"]
    others = "&".join(option for option in options if not option.startswith("yard="))
    conninfo = f"{start}?{others}" if others else start
    faults = [Fault("yard", "a whole number, such as ?yard=7", yard) for yard in yards if not yard.isdecimal()]
    try:
        parts = conninfo_to_dict(conninfo)
    except psycopg.ProgrammingError as wrong:
        parts = {}
        faults.append(Fault("address", "postgresql://user@host/database", str(wrong).strip()))
    if faults or not url.startswith(("postgresql://", "postgres://")):
        raise InputError("--store", faults or [Fault("address", "postgresql://user@host/database", url.split(":")[0])])
    place = f"{parts.get('host') or 'this machine'}/{parts.get('dbname') or parts.get('user') or ''}"
    return Address(conninfo, int(yards[0]), place)


class Database:
    """One database: connections shared by the threads of a shop server.

    server, servers : which of the servers of the shop this is, and how many there are
    errors          : InputError when it cannot be reached or is no place for a shop
    """

    def __init__(self, address: Address, server: int, servers: int) -> None:
        self.yard = address.yard
        self.place = address.place
        try:
            with psycopg.connect(address.conninfo, autocommit=True, connect_timeout=SECONDS_TO_WAIT) as connection:
                make_ready(connection, address.place, server, servers)
        except psycopg.Error as failure:
            reason = str(failure).strip()
            expected = "one that answers, and where this user may make tables"
            raise InputError(address.place, [Fault("database", expected, reason)]) from None
        self._pool: psycopg.ConnectionPool = ConnectionPool(
            address.conninfo,
            kwargs={"autocommit": True, "client_encoding": "UTF8"},
            min_size=1,
            max_size=MOST_CONNECTIONS,
            timeout=SECONDS_TO_WAIT,
            configure=_answer_after_the_disk,
            check=ConnectionPool.check_connection,
            open=True,
        )

    @contextmanager
    def reading(self) -> Iterator[psycopg.Connection]:
        """A connection on which every statement stands alone."""
        with self._pool.connection() as connection:
            yield connection

    @contextmanager
    def saving(self) -> Iterator[psycopg.Connection]:
        """A connection whose changes are kept together, on the disk when the block ends. Raises NotSaved."""
        try:
            with self._pool.connection() as connection, connection.transaction():
                yield connection
        except (psycopg.Error, PoolTimeout) as failure:
            raise NotSaved(f"{self.place} did not keep it: {str(failure).strip().splitlines()[0]}") from failure

    def close(self) -> None:
        self._pool.close()


def _answer_after_the_disk(connection: psycopg.Connection) -> None:
    """A commit is answered once it is on the disk [1], whatever the server's setting."""
    connection.execute(
        "select set_config('synchronous_commit', 'on', false)"
        " where current_setting('synchronous_commit') in ('off', 'local', 'remote_write')"
    )


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
        self.attachments = PostgresAttachments(self._databases)

    def digests(self) -> dict[str, Holding]:
        return {hull: held for database in self._databases for hull, held in _digests(database).items()}

    def ids(self, hull: str) -> frozenset[str]:
        key = hull_number.key(hull)
        database = _home_of(key, self._databases)
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
        database = _home_of(key, self._databases)
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
            shares.setdefault(_home_of(hull, self._databases), {})[hull] = offered[hull]
        note = Delivery(at, tablet, clock_offset)
        puts = [_put(database, share, note) for database, share in shares.items()]
        return Put(tuple(name for put in puts for name in put.added), tuple(no for put in puts for no in put.refused))

    def kinds(self, hull: str) -> Counter[str]:
        key = hull_number.key(hull)
        database = _home_of(key, self._databases)
        with database.reading() as connection:
            row = connection.execute(
                "select kinds from garboard.hull where yard = %s and hull = %s", (database.yard, key)
            ).fetchone()
        return Counter(json.loads(row[0])) if row else Counter()

    def deliveries(self, first: int, last: int) -> Iterator[Delivery]:
        return heapq.merge(*(_deliveries(database, first, last) for database in self._databases), key=attrgetter("at"))

    def close(self) -> None:
        for database in self._databases:
            database.close()


def _home_of(key: str, databases: list[Database]) -> Database:
    """The database a hull or an attachment lies on. It must never fall to another: databases know their number."""
    return databases[int.from_bytes(hashlib.sha256(key.encode()).digest()[:8]) % len(databases)]


def _digests(database: Database) -> dict[str, Holding]:
    """What is held of each hull. Entries are never taken away, so a digest holds as long as their number does."""
    with database.reading() as connection:
        rows = connection.execute(
            "select hull, digest, digest_of, entries from garboard.hull where yard = %s and entries > 0",
            (database.yard,),
        ).fetchall()
        held = {hull: Holding(digest, of) for hull, digest, of, _ in rows}
        if changed := [hull for hull, _, of, entries in rows if of != entries]:
            held.update(_new_digests(connection, database.yard, changed))
    return held


def _new_digests(connection: psycopg.Connection, yard: int, changed: list[str]) -> dict[str, Holding]:
    rows = connection.execute(
        "select hull, encode(sha256(convert_to(string_agg(encode(id, 'hex'), '' order by id), 'UTF8')), 'hex'), count(*)"
        " from garboard.entry where yard = %s and hull = any(%s) group by hull",
        (yard, changed),
    ).fetchall()
    hulls, found, counts = zip(*rows, strict=True)
    with suppress(psycopg.Error):  # a database that takes no changes can still be read
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


def _put(database: Database, offered: Mapping[str, CheckedEntries], note: Delivery) -> Put:
    refused: list[tuple[str, InputError]] = []
    with database.reading() as connection:
        wanted = _absent(connection, database.yard, offered)
    for hull, entries in wanted.items():
        for name, raw in list(entries.items()):
            if reason := _why_not(hull, name, raw):
                refused.append((name, reason))
                del entries[name]
    wanted = {hull: entries for hull, entries in wanted.items() if entries}
    if not wanted:
        return Put((), tuple(refused))
    with database.saving() as connection:
        kinds = _hold_hulls(connection, database.yard, list(wanted))
        new = _absent(connection, database.yard, wanted)
        rows = [
            (database.yard, hull, bytes.fromhex(name), raw.decode())
            for hull, entries in new.items()
            for name, raw in sorted(entries.items())
        ]
        if rows:
            for hull, entries in new.items():
                kinds[hull].update(str(json.loads(raw)["kind"]) for raw in entries.values())
            ids = {hull: sorted(entries) for hull, entries in new.items()}
            with connection.pipeline():
                connection.cursor().executemany(
                    "insert into garboard.entry (yard, hull, id, body) values (%s, %s, %s, %s)", rows
                )
                connection.cursor().executemany(
                    "update garboard.hull set entries = %s, kinds = %s where yard = %s and hull = %s",
                    [(kinds[hull].total(), json.dumps(kinds[hull]), database.yard, hull) for hull in new],
                )
                connection.execute(
                    "insert into garboard.delivery (yard, at, tablet, clock_offset, ids) values (%s, %s, %s, %s, %s)",
                    (database.yard, note.at, note.tablet, note.clock_offset, Jsonb(ids)),
                )
    return Put(tuple(name for entries in new.values() for name in entries), tuple(refused))


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


def _deliveries(database: Database, first: int, last: int) -> Iterator[Delivery]:
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


class PostgresAttachments:
    """Attachments in pieces, each on the database its name falls to."""

    def __init__(self, databases: list[Database]) -> None:
        self._databases = databases

    def sizes(self) -> dict[str, int]:
        sizes: dict[str, int] = {}
        for database in self._databases:
            with database.reading() as connection:
                sizes.update(
                    connection.execute(
                        "select name, held from garboard.attachment where yard = %s and is_finished", (database.yard,)
                    ).fetchall()
                )
        return {name: size for name, size in sizes.items() if _NAME.fullmatch(name)}

    def held(self, name: str) -> int:
        database = self._home(name)
        with database.reading() as connection:
            row = connection.execute(
                "select held from garboard.attachment where yard = %s and name = %s", (database.yard, name)
            ).fetchone()
        return row[0] if row else 0

    def read(self, name: str, start: int, most: int) -> bytes:
        database = self._home(name)
        with database.reading() as connection:
            number = _finished(connection, database.yard, name)
            if start == 0 and not _is_what_its_name_says(connection, number, name):
                _set_aside(connection, number, name)
                raise AttachmentDamaged(f"attachment {name} was damaged in the database; merge to fetch it again")
            pieces = connection.execute(
                "select start, content from garboard.piece where attachment = %s and start < %s"
                " and start + length(content) > %s order by start",
                (number, start + most, start),
                binary=True,
            ).fetchall()
        together = b"".join(content for _, content in pieces)
        return together[start - pieces[0][0] :][:most] if pieces else b""

    def add(self, name: str, start: int, piece: bytes, total: int) -> int:
        database = self._home(name)
        with database.saving() as connection:
            connection.execute(
                "insert into garboard.attachment (yard, name) values (%s, %s) on conflict do nothing",
                (database.yard, name),
            )
            number, held, is_finished = connection.execute(
                "select number, held, is_finished from garboard.attachment where yard = %s and name = %s for update",
                (database.yard, name),
            ).fetchone() or (0, 0, False)
            if is_finished:
                return int(held)
            if start != held or start + len(piece) > total:
                raise OutOfPlace(held)
            if piece:
                connection.execute(
                    "insert into garboard.piece (attachment, start, content) values (%s, %s, %s)",
                    (number, start, piece),
                )
            held += len(piece)
            is_sound = held < total or _is_what_its_name_says(connection, number, name)
            if is_sound:
                connection.execute(
                    "update garboard.attachment set held = %s, is_finished = %s where number = %s",
                    (held, held == total, number),
                )
            else:
                connection.execute("delete from garboard.attachment where number = %s", (number,))
        if not is_sound:
            raise AttachmentDamaged(f"attachment {name}: what came is not what its name says; send it again")
        return int(held)

    def _home(self, name: str) -> Database:
        if not _NAME.fullmatch(name):
            raise KeyError(f"{name!r} names no attachment: expected 64 hexadecimal characters")
        return _home_of(name, self._databases)


def _finished(connection: psycopg.Connection, yard: int, name: str) -> int:
    row = connection.execute(
        "select number from garboard.attachment where yard = %s and name = %s and is_finished", (yard, name)
    ).fetchone()
    if row is None:
        raise KeyError(f"attachment {name} is not on this machine")
    return int(row[0])


def _is_what_its_name_says(connection: psycopg.Connection, number: int, name: str) -> bool:
    digest = hashlib.sha256()
    after = -1
    while row := connection.execute(
        "select start, content from garboard.piece where attachment = %s and start > %s order by start limit 1",
        (number, after),
        binary=True,
    ).fetchone():
        after, content = row
        digest.update(content)
    return digest.hexdigest() == name


def _set_aside(connection: psycopg.Connection, number: int, name: str) -> None:
    """Keep a damaged attachment as found under another name, so that a sound one can come."""
    connection.execute(
        "update garboard.attachment set name = %s where number = %s", (f"{name}.damaged-{number}", number)
    )


class PostgresRegister:
    """The register in the first database. What another shop server changes is seen at once."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._guard = threading.Lock()
        self._contacts: dict[str, tuple[int, int]] = {}
        self._contacts_kept: dict[str, int] = {}

    def tablets(self) -> tuple[Tablet, ...]:
        return tuple(self._with_contact(tablet) for tablet in self._all(Tablet))

    def tablet_of(self, token_hash: str) -> Tablet | None:
        with self._database.reading() as connection:
            found = _rows(connection, Tablet, self._database.yard, sql.SQL("and token_hash = %s"), token_hash)
        return found[0] if found else None

    def add_tablet(self, tablet: Tablet) -> None:
        with self._database.saving() as connection:
            _put_row(connection, self._database.yard, tablet)

    def remove_tablet(self, tablet: str, by: str, at: int) -> bool:
        with self._database.saving() as connection:
            removed = connection.execute(
                "update garboard.tablet set removed_at = %s, removed_by = %s"
                " where yard = %s and id = %s and removed_at = 0",
                (at, by, self._database.yard, tablet),
            )
            return removed.rowcount == 1

    def note_contact(self, tablet: str, at: int, clock_offset: int) -> None:
        with self._guard:
            self._contacts[tablet] = at, clock_offset
            if at - self._contacts_kept.get(tablet, -CONTACT_KEPT_EVERY) < CONTACT_KEPT_EVERY:
                return
            self._contacts_kept[tablet] = at
        # a full disk must not keep a tablet from reading
        with suppress(NotSaved), self._database.saving() as connection:
            connection.execute(
                "update garboard.tablet set last_contact = %s, clock_offset = %s"
                " where yard = %s and id = %s and last_contact < %s",
                (at, clock_offset, self._database.yard, tablet, at),
            )

    def open_pairing(self, pairing: Pairing) -> None:
        with self._database.saving() as connection:
            connection.execute(
                "delete from garboard.pairing where yard = %s and until <= %s",
                (self._database.yard, pairing.until - _DAY),
            )
            _put_row(connection, self._database.yard, pairing)

    def use_pairing(self, secret_hash: str, token_hash: str, now: int) -> Pairing | None:
        with self._database.saving() as connection:
            connection.execute("select pg_advisory_xact_lock(hashtext('garboard.pairing'), %s)", (self._database.yard,))
            pairings = _rows(connection, Pairing, self._database.yard)
            fitting = next(
                (
                    one
                    for one in pairings
                    if one.secret_hash == secret_hash and one.works_at(now) and one.used_by in ("", token_hash)
                ),
                None,
            )
            if fitting is None:
                connection.execute(
                    "update garboard.pairing set tries = greatest(0, tries - 1) where yard = %s and used_by = ''",
                    (self._database.yard,),
                )
            else:
                connection.execute(
                    "update garboard.pairing set used_by = %s where yard = %s and secret_hash = %s",
                    (token_hash, self._database.yard, secret_hash),
                )
            return fitting

    def pairings(self) -> tuple[Pairing, ...]:
        return self._all(Pairing)

    def users(self) -> tuple[WebUser, ...]:
        return self._all(WebUser)

    def put_user(self, user: WebUser) -> None:
        with self._database.saving() as connection:
            connection.execute(
                "delete from garboard.web_user where yard = %s and name = %s", (self._database.yard, user.name)
            )
            _put_row(connection, self._database.yard, user)

    def _all(self, record: type[Record]) -> tuple[Record, ...]:
        with self._database.reading() as connection:
            return _rows(connection, record, self._database.yard)

    def _with_contact(self, tablet: Tablet) -> Tablet:
        at, offset = self._contacts.get(tablet.id, (0, 0))
        return attrs.evolve(tablet, last_contact=at, clock_offset=offset) if at > tablet.last_contact else tablet


_TABLES: Mapping[type, tuple[str, str]] = {
    Tablet: ("tablet", "paired_at, id"),
    Pairing: ("pairing", "until, secret_hash"),
    WebUser: ("web_user", "name"),
}
"""The table of each sort of record, with a column for each of its fields; and the order they are told in."""


def _rows(
    connection: psycopg.Connection, record: type[Record], yard: int, such: sql.SQL = sql.SQL(""), *values: str
) -> tuple[Record, ...]:
    """The records of a yard."""
    table, order = _TABLES[record]
    asked = sql.SQL("select {columns} from garboard.{table} where yard = %s {such} order by " + order).format(
        columns=_columns(record), table=sql.Identifier(table), such=such
    )
    return tuple(connection.cursor(row_factory=class_row(record)).execute(asked, (yard, *values)).fetchall())


def _put_row(connection: psycopg.Connection, yard: int, record: Tablet | Pairing | WebUser) -> None:
    fields = attrs.asdict(record)
    connection.execute(
        sql.SQL("insert into garboard.{table} (yard, {columns}) values (%s, {places})").format(
            table=sql.Identifier(_TABLES[type(record)][0]),
            columns=_columns(type(record)),
            places=sql.SQL(", ").join([sql.Placeholder()] * len(fields)),
        ),
        (yard, *fields.values()),
    )


def _columns(record: type) -> sql.Composed:
    return sql.SQL(", ").join(map(sql.Identifier, attrs.fields_dict(record)))
