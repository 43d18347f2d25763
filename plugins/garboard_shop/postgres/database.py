"""One PostgreSQL database of a shop: where it is, its connections, and what a change there promises.

[1] PostgreSQL 15 documentation, 30.4 asynchronous commit.
[2] PostgreSQL 15 documentation, appendix A: error codes.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import attrs
import psycopg
from psycopg.conninfo import conninfo_to_dict
from psycopg_pool import ConnectionPool, PoolTimeout

from garboard.faults import Fault, InputError
from garboard.storage import NotSaved
from garboard_shop.postgres.schema import make_ready
from garboard_shop.store import StoreAway

MOST_CONNECTIONS = 10
"""To one database from one shop server; further requests wait their turn."""
SECONDS_TO_WAIT = 5
"""For a connection. A database that is away is tried again by the next request; whoever asked is told to come back."""
LONGEST_STATEMENT = 60
"""[s]"""
_NOTICED = {"keepalives_idle": 20, "keepalives_interval": 5, "keepalives_count": 3, "tcp_user_timeout": 30_000}
"""A server that vanished without a word is noticed within half a minute."""
_OUT_OF_REACH = ("08", "57P", "57014", "53300")
"""States [2]: a connection broke, the server stops or starts, a statement took too long, no connection to spare."""

_NEXT_ADDRESS = re.compile(r"[\s,]+(?=postgres(?:ql)?://)")


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
            raise NotSaved(f"{self.place} did not keep it: {_first_line(failure)}") from failure

    @contextmanager
    def _or_away(self) -> Iterator[None]:
        try:
            yield
        except (psycopg.OperationalError, PoolTimeout) as failure:
            state = getattr(failure, "sqlstate", None)
            if state is None or state.startswith(_OUT_OF_REACH):
                raise StoreAway(f"{self.place} does not answer: {_first_line(failure)}") from failure
            raise

    def close(self) -> None:
        self._pool.close()


def _unless_given(conninfo: str) -> dict[str, int]:
    return {name: value for name, value in _NOTICED.items() if name not in conninfo_to_dict(conninfo)}


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


def home_of(key: str, databases: Sequence[Database]) -> Database:
    """The database a hull or an attachment lies on. It must never fall to another: databases know their number."""
    return databases[int.from_bytes(hashlib.sha256(key.encode()).digest()[:8]) % len(databases)]
