"""The PostgreSQL database of a shop: where it is, its connections, what is asked of it and what a change promises.

[1] PostgreSQL 15 documentation, 30.4 asynchronous commit.
[2] PostgreSQL 15 documentation, appendix A: error codes.
"""

from __future__ import annotations

import hashlib
import re
import threading
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from typing import Any

import attrs
import psycopg
from psycopg import sql
from psycopg.adapt import PyFormat
from psycopg.conninfo import conninfo_to_dict
from psycopg_pool import ConnectionPool, PoolTimeout

from garboard.disk.storage import NotSaved
from garboard.faults import Fault, InputError
from garboard_shop.postgres.schema import VERSION, Part, make_ready
from garboard_shop.postgres.verbs import EDITION
from garboard_shop.store import StoreAway

MOST_CONNECTIONS = 10
"""To one database from one shop server; further requests wait their turn."""
SECONDS_TO_WAIT = 5
"""For a connection. A database that is away is tried again by the next request; whoever asked is told to come back."""
LONGEST_STATEMENT = 60
"""[s]"""
NOTICED = {"keepalives_idle": 20, "keepalives_interval": 5, "keepalives_count": 3, "tcp_user_timeout": 30_000}
"""A server that vanished without a word is noticed within half a minute."""
DECIDING, TAKING_PART = "garboard_shop.deciding", "garboard_shop.taking_part"
"""What one person at a time does, over all servers of a shop."""
_OUT_OF_REACH = ("08", "57P", "57014", "53300")
"""States [2]: a connection broke, the server stops or starts, a statement took too long, no connection to spare."""
_PART_OUT_OF_REACH = re.compile(r"PL/Proxy function .*(?:\] PQ|timeout)|REMOTE \(null\)")
"""What PL/Proxy says of a part that does not answer; it has no state of its own for that."""


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


def address_of(url: str) -> Address:
    """The database a setting names.

    url    : "postgresql://user@host/database"; "?yard=7" picks one of the yards that share it, 1 when none is named
    errors : InputError

    >>> address_of("postgresql://shop@host/boats?yard=7").place
    'host/boats'
    """
    start, _, query = url.strip().partition("?")
    options = query.split("&") if query else []
    yards = [option.removeprefix("yard=") for option in options if option.startswith("yard=")] or ["1"]
    others = "&".join(option for option in options if not option.startswith("yard="))
    conninfo = f"{start}?{others}" if others else start
    faults = [Fault("yard", "a whole number, such as ?yard=7", yard) for yard in yards if not yard.isdecimal()]
    if re.search(r"\s", start):
        faults.append(Fault("address", "one; `garboard shop-spread` spreads a shop over several", "several"))
    try:
        conninfo_to_dict(conninfo)
    except psycopg.ProgrammingError:
        expected = "postgresql://user@host/database, after it ?OPTION=VALUE of PostgreSQL's own options"
        named = ", ".join(option.partition("=")[0] for option in others.split("&") if option)  # values may be secret
        faults.append(Fault("address", expected, f"options {named}" if named else "an address of another form"))
    if faults or not start.startswith(("postgresql://", "postgres://")):
        raise InputError("--store", faults or [Fault("address", "postgresql://user@host/database", url.split(":")[0])])
    return Address(conninfo, int(yards[0]), place_in_words(conninfo))


def place_in_words(conninfo: str) -> str:
    """What a database is called in messages; no password stands in it."""
    parts = conninfo_to_dict(conninfo)
    return f"{parts.get('host') or 'this machine'}/{parts.get('dbname') or parts.get('user') or ''}"


class Database:
    """A shop's database: connections shared by the threads of a shop server.

    errors : InputError when it, or a part behind it, cannot be reached or is no place for a shop
    """

    def __init__(self, address: Address) -> None:
        self.yard = address.yard
        self.place = address.place
        with connected(address) as connection, naming(address.place):
            self._servers = make_ready(connection, address.place).servers
            refuse_unfit_parts(connection, address.place, self._servers)
        self._turns = {what: threading.Lock() for what in (DECIDING, TAKING_PART)}
        self._pool: ConnectionPool = ConnectionPool(
            address.conninfo,
            kwargs={**_unless_given(address.conninfo), "autocommit": True, "client_encoding": "UTF8"},
            min_size=0,  # a shop where nobody works holds no connection
            max_size=MOST_CONNECTIONS,
            timeout=SECONDS_TO_WAIT,
            reconnect_timeout=SECONDS_TO_WAIT,
            configure=_set_up,
            check=ConnectionPool.check_connection,
            open=True,
        )

    def shards_of(self, hulls: Iterable[str]) -> int:
        """Over how many databases some hulls lie: what is put into one is put in one transaction."""
        return len({place_of(hull) & (self._servers - 1) for hull in hulls})

    def ask(self, verb: str, *values: object) -> list[tuple[Any, ...]]:
        """What a function of `verbs` tells. Raises StoreAway."""
        with self.reading() as connection:
            return _call(connection, verb, values)

    def save(self, verb: str, *values: object) -> list[tuple[Any, ...]]:
        """What a function of `verbs` that changes something tells; it is on the disk. Raises StoreAway, NotSaved."""
        try:
            return self.ask(verb, *values)
        except psycopg.Error as failure:
            raise self._not_saved(failure) from failure

    @contextmanager
    def reading(self) -> Iterator[psycopg.Connection]:
        """A connection on which every statement stands alone. Raises StoreAway."""
        with self._or_away(), self._pool.connection() as connection:
            yield connection

    @contextmanager
    def saving(self) -> Iterator[psycopg.Connection]:
        """A connection whose changes are kept together, on the disk when the block ends. Raises StoreAway, NotSaved."""
        try:
            with self.reading() as connection, connection.transaction():
                yield connection
        except psycopg.Error as failure:
            raise self._not_saved(failure) from failure

    @contextmanager
    def alone(self, what: str) -> Iterator[None]:
        """While no other thread, and no other server of the shop, does the same. Raises StoreAway.

        One thread of a server asks the database at a time: those that wait hold no connection another needs.
        """
        with self._turns[what], self.reading() as connection, connection.transaction():
            connection.execute("select pg_advisory_xact_lock(hashtext(%s), %s)", (what, self.yard))
            yield

    def _not_saved(self, failure: psycopg.Error) -> NotSaved:
        return NotSaved(f"{self.place} did not keep it: {_first_line(failure)}")

    @contextmanager
    def _or_away(self) -> Iterator[None]:
        try:
            yield
        except (psycopg.OperationalError, psycopg.InternalError, PoolTimeout) as failure:
            state = getattr(failure, "sqlstate", None)
            if state is None or state.startswith(_OUT_OF_REACH) or _PART_OUT_OF_REACH.search(str(failure)):
                raise StoreAway(f"{self.place} does not answer: {_first_line(failure)}") from failure
            raise

    def close(self) -> None:
        self._pool.close()


def _unless_given(conninfo: str) -> dict[str, int]:
    return {name: value for name, value in NOTICED.items() if name not in conninfo_to_dict(conninfo)}


def _first_line(failure: Exception) -> str:
    return str(failure).strip().partition("\n")[0]


def _set_up(connection: psycopg.Connection) -> None:
    """A commit is answered once it is on the disk [1], whatever the server's setting; no statement takes for ever."""
    connection.execute(
        "select set_config('synchronous_commit', 'on', false)"
        " where current_setting('synchronous_commit') in ('off', 'local', 'remote_write')"
    )
    connection.execute(
        "select set_config('statement_timeout', %s, false) where current_setting('statement_timeout') = '0'",
        (f"{LONGEST_STATEMENT}s",),
    )


@contextmanager
def connected(address: Address) -> Iterator[psycopg.Connection]:
    """A connection of its own to a database that is made ready. Raises InputError as `naming` does."""
    with naming(address.place):
        connection = psycopg.connect(address.conninfo, autocommit=True, connect_timeout=SECONDS_TO_WAIT)
    with closing(connection):
        yield connection


@contextmanager
def naming(place: str) -> Iterator[None]:
    """What a database refuses becomes an InputError naming it, never its password."""
    try:
        yield
    except psycopg.Error as failure:
        expected = "one that answers, and where this user may make tables"
        raise InputError(place, [Fault("database", expected, str(failure).strip())]) from None


def refuse_unfit_parts(connection: psycopg.Connection, place: str, servers: int) -> None:
    """Ask each part of a shop, through the database in front of them or of the whole shop itself, what it is."""
    faults = []
    for number in range(servers):
        expected = Part(number, servers)
        ((version, functions, *numbers, fsync),) = _call(connection, "part", (number,))
        found = Part(*numbers)
        if found != expected:
            faults.append(Fault(str(expected), "that one in its place", str(found)))
        if (version, functions) != (VERSION, EDITION):
            wanted = "tables and functions of this version of garboard; run `garboard shop-spread` again"
            faults.append(Fault(str(expected), wanted, f"those of another, tables of version {version}"))
        if fsync != "on":
            faults.append(Fault(str(expected), "fsync on, because saved entries must be on the disk", fsync))
    if faults:
        raise InputError(place, faults)


def _call(connection: psycopg.Connection, verb: str, values: tuple[object, ...]) -> list[tuple[Any, ...]]:
    places = sql.SQL(", ").join(  # a list as text would have every quote in it escaped one by one
        sql.Placeholder(format=PyFormat.BINARY if isinstance(value, list) else PyFormat.AUTO) for value in values
    )
    asked = sql.SQL("select * from garboard.{}({})").format(sql.Identifier(verb), places)
    return connection.execute(asked, values, binary=True).fetchall()


def place_of(key: str) -> int:
    """Where a hull or an attachment lies: its lowest bits are the number of the part.

    >>> place_of("ABC00001A526") == place_of("ABC00002A526")
    False
    """
    return int.from_bytes(hashlib.sha256(key.encode()).digest()[:4], signed=True)
