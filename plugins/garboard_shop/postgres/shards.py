"""Sharding a shop over several PostgreSQL servers: through PL/Proxy [1], one front database queries the shards.

[1] PL/Proxy 2.10: config.md, in Debian's package postgresql-15-plproxy.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import ExitStack

import attrs
import psycopg
from psycopg import sql
from psycopg.conninfo import conninfo_to_dict, make_conninfo

from garboard.faults import Fault, InputError
from garboard_shop.postgres.database import (
    NOTICED,
    Address,
    address_of,
    connected,
    naming,
    place_in_words,
    refuse_unfit_parts,
)
from garboard_shop.postgres.schema import FRONT, Part, make_ready, part_of, refuse_another
from garboard_shop.postgres.verbs import CLUSTER

EXTENSION = "plproxy"

_CLUSTER = sql.Identifier(CLUSTER)
_MAY_WORK = sql.SQL(
    "grant usage on foreign server {server} to {worker}; grant usage on schema garboard to {worker};"
    " grant select, insert, update, delete on all tables in schema garboard to {worker};"
    " revoke insert, update, delete on garboard.about from {worker}"
)
_PARTS_KEPT = (
    "select option_name, option_value from pg_foreign_server, pg_options_to_table(srvoptions) where srvname = %s"
)
_USER_KEPT = (
    "select option_name, option_value from pg_user_mappings, pg_options_to_table(umoptions)"
    " where srvname = %s and usename = current_user"
)


@attrs.frozen
class Shards:
    """A shop spread over several databases.

    front : what the one that shop servers name is called in messages
    parts : what the others are called, in order
    """

    front: str
    parts: tuple[str, ...]


def shard_shop(store: str, over: Sequence[str], worker: str = "") -> Shards:
    """Make a database the one in front of several parts, and the parts ready; or bring all of them up to this version.

    store  : address of the one in front, as `--store` names it
    over   : addresses of the parts in order, which this machine and the server in front both understand; none for
             those it stands in front of already
    worker : who shop servers ask the one in front as, who needs no rights on that server; "" for those of before, or
             the user of `store`
    errors : InputError; nothing that a shop holds was changed
    """
    front = address_of(store)
    with ExitStack() as stack:
        asking = stack.enter_context(connected(front))
        with naming(front.place):
            _refuse_without_plproxy(asking, front.place)
            parts = [_part_address(url) for url in over] or _kept(asking, front.place)
            count = len(parts)
            if count < 2 or count & (count - 1):
                raise InputError("--over", [Fault("shards", "2, 4, 8 or another power of two", str(count))])
            refuse_another(part_of(asking), front.place, Part(FRONT, count))
        behind = [(part, stack.enter_context(connected(part))) for part in parts]
        for number, (part, connection) in enumerate(behind):
            refuse_another(part_of(connection), part.place, Part(number, count))
        user = _one_user(behind)
        for number, (part, connection) in enumerate(behind):
            with naming(part.place):
                make_ready(connection, part.place, Part(number, count))
        with naming(front.place), asking.transaction():
            workers = {worker} if worker else _workers(asking)
            _join(asking, parts, user, workers | {asking.info.user})
            make_ready(asking, front.place, Part(FRONT, count))
            for name in workers:
                asking.execute(_MAY_WORK.format(server=_CLUSTER, worker=sql.Identifier(name)))
            refuse_unfit_parts(asking, front.place, count)
    return Shards(front.place, tuple(part.place for part in parts))


def _part_address(url: str) -> Address:
    address = address_of(url)
    if address.yard != 1:
        raise InputError("--over", [Fault(address.place, "no yard; --store names one", f"yard={address.yard}")])
    return address


def _refuse_without_plproxy(connection: psycopg.Connection, place: str) -> None:
    available = connection.execute("select from pg_available_extensions where name = %s", (EXTENSION,)).fetchone()
    if available is None:
        package = f"postgresql-{connection.info.server_version // 10000}-plproxy"
        expected = f"installed on that server: Debian's package {package}"
        raise InputError(place, [Fault("PL/Proxy", expected, "not there")])
    if connection.execute("select rolsuper from pg_roles where rolname = current_user").fetchone() != (True,):
        expected = "a superuser of that server, to set it up; --user names the user that shop servers connect as"
        raise InputError(place, [Fault("user", expected, connection.info.user)])


def _one_user(behind: Sequence[tuple[Address, psycopg.Connection]]) -> dict[str, str]:
    """The user all parts are asked as, and the password if the addresses name one."""
    users = {
        (connection.info.user, str(conninfo_to_dict(part.conninfo).get("password") or ""))
        for part, connection in behind
    }
    if len(users) > 1:
        raise InputError("--over", [Fault("user", "the same user and password for all shards", "several")])
    user, password = users.pop()
    return {"user": user, "password": password} if password else {"user": user}


def _join(
    connection: psycopg.Connection, parts: Sequence[Address], user: dict[str, str], askers: Iterable[str]
) -> None:
    """Tell PL/Proxy of the parts. Only those who ask see the password; PL/Proxy tells it in no message."""
    options = {f"p{number}": _without_user(part.conninfo) for number, part in enumerate(parts)}
    connection.execute("create extension if not exists plproxy")
    connection.execute(sql.SQL("drop server if exists {} cascade").format(_CLUSTER))
    connection.execute(
        sql.SQL("create server {} foreign data wrapper plproxy options ({})").format(_CLUSTER, _listed(options))
    )
    for name in askers:
        connection.execute(
            sql.SQL("create user mapping for {} server {} options ({})").format(
                sql.Identifier(name), _CLUSTER, _listed(user)
            )
        )


def _without_user(conninfo: str) -> str:
    named = {name: str(value) for name, value in {**NOTICED, **conninfo_to_dict(conninfo)}.items()}
    return make_conninfo("", **{name: value for name, value in named.items() if name not in ("user", "password")})


def _listed(options: dict[str, str]) -> sql.Composed:
    return sql.SQL(", ").join(
        sql.SQL("{} {}").format(sql.Identifier(name), sql.Literal(value)) for name, value in options.items()
    )


def _workers(connection: psycopg.Connection) -> set[str]:
    """Who else asks the parts through a database."""
    asked = "select usename from pg_user_mappings where srvname = %s and usename <> current_user"
    return {name for (name,) in connection.execute(asked, (CLUSTER,)).fetchall()}


def _kept(connection: psycopg.Connection, place: str) -> list[Address]:
    """The parts a database stands in front of."""
    options, user = (
        dict[str, str](connection.execute(asked, (CLUSTER,)).fetchall()) for asked in (_PARTS_KEPT, _USER_KEPT)
    )
    numbers = range(sum(name[1:].isdecimal() for name in options))
    if not numbers:
        raise InputError("--over", [Fault("shards", f"the addresses of the shards of {place}", "none")])
    return [
        Address(conninfo, 1, place_in_words(conninfo))
        for conninfo in (make_conninfo(options[f"p{number}"], **user) for number in numbers)
    ]
