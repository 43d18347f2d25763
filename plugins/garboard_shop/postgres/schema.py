"""The tables of a shop kept in PostgreSQL, and how a database is made ready for them."""

from __future__ import annotations

import attrs
import psycopg

from garboard.faults import Fault, InputError
from garboard_shop.postgres.verbs import EDITION, functions

PARTITIONS = 16
OLDEST_SERVER = 130000
"""Version 13, as the server itself writes it."""

_ONE_AT_A_TIME = 0x676172626F617264
"""The lock under which a database is made ready: two servers started at once make the tables once."""

_FIRST = """
create table garboard.entry (
    yard int not null,
    hull text collate "C" not null,
    id bytea not null,
    body text not null,
    primary key (yard, hull, id)
) partition by hash (yard, hull);

create table garboard.hull (
    yard int not null,
    hull text collate "C" not null,
    entries bigint not null default 0,
    kinds text not null default '{}',
    digest text not null default '',
    digest_of bigint not null default 0,
    primary key (yard, hull)
) with (fillfactor = 70);

create table garboard.delivery (
    yard int not null,
    at bigint not null,
    number bigint generated always as identity,
    tablet text not null,
    clock_offset bigint not null,
    ids jsonb not null,
    primary key (yard, at, number)
);

create table garboard.attachment (
    number bigint generated always as identity primary key,
    yard int not null,
    name text collate "C" not null,
    held bigint not null default 0,
    is_finished boolean not null default false,
    unique (yard, name)
);

create table garboard.piece (
    attachment bigint not null references garboard.attachment on delete cascade,
    start bigint not null,
    content bytea not null,
    primary key (attachment, start)
);
alter table garboard.piece alter content set storage external;

create table garboard.tablet (
    yard int not null,
    id text not null,
    name text not null,
    role text not null,
    token_hash text not null,
    paired_at bigint not null,
    last_contact bigint not null,
    clock_offset bigint not null,
    removed_at bigint not null,
    removed_by text not null,
    primary key (yard, id),
    unique (yard, token_hash)
);

create table garboard.pairing (
    yard int not null,
    secret_hash text not null,
    role text not null,
    until bigint not null,
    tries int not null,
    used_by text not null,
    primary key (yard, secret_hash)
);

create table garboard.web_user (
    yard int not null,
    name text not null,
    role text not null,
    password_hash text not null,
    removed_at bigint not null,
    primary key (yard, name)
);
"""

_SHOP_PLUGINS = """
create table garboard.shop_plugin (
    yard int not null,
    name text collate "C" not null,
    sha256 text not null,
    approved_by text not null,
    approved_at bigint not null,
    withdrawn_at bigint not null,
    withdrawn_by text not null,
    primary key (yard, name)
);
"""

_WHEN_A_HULL_CHANGED = """
alter table garboard.hull add column changed xid8 not null default pg_current_xact_id();
create index on garboard.hull (yard, changed);
"""

_WHO_CHANGED_WHAT = """
create table garboard.change (
    yard int not null,
    number bigint generated always as identity,
    at bigint not null,
    who text not null,
    what text not null,
    about text not null,
    primary key (yard, number)
);

create table garboard.asker (
    yard int not null,
    address text not null,
    wrong int not null,
    until bigint not null,
    primary key (yard, address)
);

alter table garboard.tablet add column writes_as text[] not null default '{}';
"""

_ONE_FUNCTION_A_VERB = r"""
create table garboard.kind (
    yard int not null,
    hull text collate "C" not null,
    kind text collate "C" not null,
    entries bigint not null,
    primary key (yard, hull, kind)
);
insert into garboard.kind
    select yard, hull, counted[1], counted[2]::bigint
    from garboard.hull, regexp_matches(kinds, '("(?:[^"\\]|\\.)*"): ([0-9]+)', 'g') as counted;
alter table garboard.hull drop column kinds;
alter table garboard.about add column functions text not null default '';
"""

_ONE_ROW_A_BOAT = """
create table garboard.boat_row (
    yard int not null,
    hull text collate "C" not null,
    digest text not null,
    content text not null,
    primary key (yard, hull)
);
"""

_WHAT_IS_UNFINISHED = """
alter table garboard.attachment add column touched bigint not null default 0;
create index on garboard.attachment (yard) where not is_finished;
"""

_WHAT_BELONGS_TOGETHER = """
create table garboard.together (
    yard int not null,
    number bigint generated always as identity,
    unit text not null,
    primary key (yard, number)
);
"""

_CHANGES: tuple[str, ...] = (
    _FIRST
    + "\n".join(
        f"create table garboard.entry_{number} partition of garboard.entry"
        f" for values with (modulus {PARTITIONS}, remainder {number});"
        for number in range(PARTITIONS)
    ),
    _SHOP_PLUGINS,
    _WHEN_A_HULL_CHANGED,
    _WHO_CHANGED_WHAT,
    _ONE_FUNCTION_A_VERB,
    _ONE_ROW_A_BOAT,
    _WHAT_IS_UNFINISHED,
    _WHAT_BELONGS_TOGETHER,
)
"""What made each version of the tables out of the one before. Only ever appended to."""

VERSION = len(_CHANGES)


FRONT = -1
"""Which part a database is that stands in front of the parts."""


@attrs.frozen
class Part:
    """Which part of a shop a database is.

    server  : its number from 0, or FRONT
    servers : how many parts there are, a power of two; 1 when the whole shop lies in this database
    """

    server: int
    servers: int

    def __str__(self) -> str:
        if self == WHOLE:
            return "a whole shop"
        of = f"the {self.servers} shards of a shop"
        return f"the front database of {of}" if self.server == FRONT else f"number {self.server + 1} of {of}"


WHOLE = Part(0, 1)


def make_ready(connection: psycopg.Connection, place: str, wanted: Part | None = None) -> Part:
    """Make the tables and the functions over them, or bring them up to this version.

    connection : with autocommit on
    place      : what the database is called in messages
    wanted     : which part it must be, or become when it is new; None for one that a shop server is to work on
    returns    : which part it is
    errors     : InputError when the database is no place for a shop, was made by a newer version, or is another part
    """
    _refuse_unfit(connection, place)
    with connection.transaction():
        connection.execute("select pg_advisory_xact_lock(%s)", (_ONE_AT_A_TIME,))
        part = part_of(connection)
        refuse_another(part, place, wanted)
        if part is None:
            part = wanted or WHOLE
            connection.execute("create schema if not exists garboard")
            connection.execute("create table garboard.about (version int, server int, servers int)")
            connection.execute("insert into garboard.about values (0, %s, %s)", (part.server, part.servers))
        ((version,),) = connection.execute("select version from garboard.about").fetchall()
        if version > VERSION:
            expected = f"tables of version {VERSION} or older; install the version of garboard that made them"
            raise InputError(place, [Fault("tables", expected, f"version {version}")])
        try:
            for change in _CHANGES[version:]:
                connection.execute(change)
            _make_functions(connection, part.server == FRONT)
            if version < VERSION:
                connection.execute("update garboard.about set version = %s", (VERSION,))
        except psycopg.errors.InsufficientPrivilege:
            if not version:
                raise
            cure = "run `garboard shop-spread`" if part.server == FRONT else "start the shop server as who made them"
            expected = f"tables and functions of this version of garboard; {cure} once, then start it as before"
            raise InputError(place, [Fault("tables", expected, "older ones, which this user may not change")]) from None
    return part


def part_of(connection: psycopg.Connection) -> Part | None:
    """Which part of a shop a database is; None when it holds no tables of one."""
    if connection.execute("select to_regclass('garboard.about')").fetchone() == (None,):
        return None
    return Part(*connection.execute("select server, servers from garboard.about").fetchone() or ())


def refuse_another(found: Part | None, place: str, wanted: Part | None) -> None:
    """Raise InputError unless a database is the part it must be, or none yet; see `make_ready`."""
    if found is None or found == wanted:
        return
    if wanted is not None:
        raise InputError(place, [Fault("database", f"an empty one, or {wanted}", str(found))])
    if found.server != FRONT and found != WHOLE:
        raise InputError(place, [Fault("database", "a whole shop, or the front database of its shards", str(found))])


def _make_functions(connection: psycopg.Connection, is_front: bool) -> None:
    made = connection.execute("select functions from garboard.about").fetchone()
    if made == (EDITION,):
        return
    for (name,) in connection.execute(
        "select oid::regprocedure::text from pg_proc where pronamespace = 'garboard'::regnamespace"
    ).fetchall():
        connection.execute(f"drop function {name}")
    connection.execute(functions(is_front))
    connection.execute("update garboard.about set functions = %s", (EDITION,))


def _refuse_unfit(connection: psycopg.Connection, place: str) -> None:
    encoding, fsync = connection.execute(
        "select current_setting('server_encoding'), current_setting('fsync')"
    ).fetchone() or ("", "")
    faults = []
    if connection.info.server_version < OLDEST_SERVER:
        faults.append(Fault("server", "PostgreSQL 13 or newer", f"{connection.info.server_version / 10000:.0f}"))
    if encoding != "UTF8":
        faults.append(Fault("encoding", "a database with encoding UTF8, so that entries stay unchanged", encoding))
    if fsync != "on":
        faults.append(Fault("fsync", "on, because saved entries must be on the disk", fsync))
    if faults:
        raise InputError(place, faults)
