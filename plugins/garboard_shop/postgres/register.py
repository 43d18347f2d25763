"""The register of a shop in PostgreSQL."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from contextlib import suppress
from typing import TypeVar

import attrs
import psycopg
from psycopg import sql
from psycopg.rows import class_row

from garboard.storage import NotSaved
from garboard_shop.postgres.database import Database
from garboard_shop.store import Pairing, ShopPlugin, Tablet, WebUser

CONTACT_KEPT_EVERY = 60_000
"""A contact is written when the last one written is so much older [ms]."""

_DAY = 24 * 60 * 60 * 1000
_ALL = sql.SQL("")

Record = TypeVar("Record", Tablet, Pairing, WebUser, ShopPlugin)


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
            _put_row(connection, self._database.yard, tablet, sql.SQL(" on conflict (yard, token_hash) do nothing"))

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

    def plugins(self) -> tuple[ShopPlugin, ...]:
        return self._all(ShopPlugin)

    def put_plugin(self, plugin: ShopPlugin) -> None:
        with self._database.saving() as connection:
            connection.execute(
                "delete from garboard.shop_plugin where yard = %s and name = %s", (self._database.yard, plugin.name)
            )
            _put_row(connection, self._database.yard, plugin)

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
    ShopPlugin: ("shop_plugin", "name"),
}
"""The table of each sort of record, with a column for each of its fields; and the order they are told in."""


def _rows(
    connection: psycopg.Connection, record: type[Record], yard: int, such: sql.SQL = _ALL, *values: str
) -> tuple[Record, ...]:
    """The records of a yard."""
    table, order = _TABLES[record]
    asked = sql.SQL("select {columns} from garboard.{table} where yard = %s {such} order by " + order).format(
        columns=_columns(record), table=sql.Identifier(table), such=such
    )
    return tuple(connection.cursor(row_factory=class_row(record)).execute(asked, (yard, *values)).fetchall())


def _put_row(
    connection: psycopg.Connection,
    yard: int,
    record: Tablet | Pairing | WebUser | ShopPlugin,
    unless: sql.SQL = sql.SQL(""),  # noqa: B008  # a constant; psycopg's SQL never changes
) -> None:
    fields = attrs.asdict(record)
    connection.execute(
        sql.SQL("insert into garboard.{table} (yard, {columns}) values (%s, {places}){unless}").format(
            unless=unless,
            table=sql.Identifier(_TABLES[type(record)][0]),
            columns=_columns(type(record)),
            places=sql.SQL(", ").join([sql.Placeholder()] * len(fields)),
        ),
        (yard, *fields.values()),
    )


def _columns(record: type) -> sql.Composed:
    return sql.SQL(", ").join(map(sql.Identifier, attrs.fields_dict(record)))
