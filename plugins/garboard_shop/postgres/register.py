"""The register of a shop in PostgreSQL."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager, suppress
from typing import TypeVar

import attrs
import psycopg
from psycopg import sql
from psycopg.rows import class_row

from garboard.disk.clock import wall_milliseconds
from garboard.disk.storage import NotSaved
from garboard_shop import brake, store
from garboard_shop.postgres.database import TAKING_PART, Database
from garboard_shop.store import (
    CONTACT_KEPT_EVERY,
    MOST_DEVICES,
    Asker,
    Change,
    Count,
    MustWait,
    Pairing,
    ShopPlugin,
    Tablet,
    WebUser,
)

_DAY = 24 * 60 * 60 * 1000
_ALL = sql.SQL("")

Record = TypeVar("Record", Tablet, Pairing, WebUser, ShopPlugin, Asker, Change)


class PostgresRegister:
    """The register in the first database. What another shop server changes is seen at once."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._guard = threading.Lock()
        self._contacts: dict[str, tuple[int, int]] = {}
        self._contacts_kept: dict[str, int] = {}

    def alone(self) -> AbstractContextManager[None]:
        return self._database.alone(TAKING_PART)

    def tablets(self) -> tuple[Tablet, ...]:
        return tuple(self._with_contact(tablet) for tablet in self._all(Tablet))

    def tablet_of(self, token_hash: str) -> Tablet | None:
        with self._database.reading() as connection:
            found = _rows(connection, Tablet, self._database.yard, sql.SQL("and token_hash = %s"), token_hash)
        return found[0] if found else None

    def add_tablet(self, tablet: Tablet) -> None:
        with self._database.saving() as connection:
            added = _put_row(
                connection, self._database.yard, tablet, sql.SQL(" on conflict (yard, token_hash) do nothing")
            )
            if added:
                self._note(connection, store.tablet_paired(tablet))

    def remove_tablet(self, tablet: str, by: str, at: int) -> bool:
        with self._database.saving() as connection:
            found = self._taking_part(connection, tablet)
            if found is not None:
                connection.execute(
                    "update garboard.tablet set removed_at = %s, removed_by = %s where yard = %s and id = %s",
                    (at, by, self._database.yard, tablet),
                )
                self._note(connection, store.tablet_removed(found, by, at))
            return found is not None

    def change_role(self, tablet: str, role: str, by: str, at: int) -> bool:
        with self._database.saving() as connection:
            found = self._taking_part(connection, tablet)
            if found is not None and found.role != role:
                connection.execute(
                    "update garboard.tablet set role = %s where yard = %s and id = %s",
                    (role, self._database.yard, tablet),
                )
                self._note(connection, store.role_changed(found, role, by, at))
            return found is not None

    def note_device(self, tablet: str, device: str, at: int) -> None:
        with self._database.saving() as connection:
            found = self._taking_part(connection, tablet)
            if found is not None and device not in found.writes_as and len(found.writes_as) < MOST_DEVICES:
                connection.execute(
                    "update garboard.tablet set writes_as = array_append(writes_as, %s) where yard = %s and id = %s",
                    (device, self._database.yard, tablet),
                )
                self._note(connection, store.device_stated(found, device, at))

    def note_contact(self, tablet: str, at: int, clock_offset: int) -> None:
        with self._guard:
            self._contacts[tablet] = at, clock_offset
            if abs(at - self._contacts_kept.get(tablet, -CONTACT_KEPT_EVERY)) < CONTACT_KEPT_EVERY:
                return
            self._contacts_kept[tablet] = at
        # a full disk must not keep a tablet from reading
        with suppress(NotSaved), self._database.saving() as connection:
            connection.execute(
                "update garboard.tablet set last_contact = %s, clock_offset = %s"
                " where yard = %s and id = %s and (last_contact < %s or last_contact > %s)",
                (at, clock_offset, self._database.yard, tablet, at, at + CONTACT_KEPT_EVERY),
            )

    def open_pairing(self, pairing: Pairing, by: str, at: int) -> None:
        with self._database.saving() as connection:
            connection.execute(
                "delete from garboard.pairing where yard = %s and until <= %s",
                (self._database.yard, pairing.until - _DAY),
            )
            _put_row(connection, self._database.yard, pairing)
            self._note(connection, store.code_opened(pairing, by, at))

    def use_pairing(self, secret_hash: str, token_hash: str, now: int, address: str) -> Pairing | None:
        yard = self._database.yard
        with self._database.saving() as connection:
            connection.execute("select pg_advisory_xact_lock(hashtext('garboard.shop_link.pairing'), %s)", (yard,))
            askers = _rows(connection, Asker, yard, sql.SQL("and address = %s"), address)
            asker = askers[0] if askers else Asker(address, 0, 0)
            if not asker.may_ask(now):
                raise MustWait(asker.until)
            pairings = _rows(connection, Pairing, yard)
            fitting = next((one for one in pairings if one.fits(secret_hash, token_hash, now)), None)
            if fitting is not None:
                connection.execute(
                    "update garboard.pairing set used_by = %s where yard = %s and secret_hash = %s",
                    (token_hash, yard, secret_hash),
                )
            elif any(one.is_open_at(now) for one in pairings):
                connection.execute(
                    "update garboard.pairing set tries = tries - 1"
                    " where yard = %s and used_by = '' and until > %s and tries > 0",
                    (yard, now),
                )
                connection.execute(
                    "delete from garboard.asker where yard = %s and (until <= %s or address = %s)", (yard, now, address)
                )
                _put_row(connection, yard, asker.wrong_again(now))
            return fitting

    def pairings(self) -> tuple[Pairing, ...]:
        return self._all(Pairing)

    def askers(self) -> tuple[Asker, ...]:
        return self._all(Asker)

    def count_try(self, counts: Sequence[Count], now: int) -> int:
        yard = self._database.yard
        with self._database.saving() as connection:
            connection.execute("select pg_advisory_xact_lock(hashtext('garboard_shop.brake'), %s)", (yard,))
            wait = brake.wait_before(_rows(connection, Asker, yard), counts, now)
            if not wait:
                connection.execute("delete from garboard.asker where yard = %s and until <= %s", (yard, now))
                for row in brake.rows_for(counts, now):
                    _put_row(connection, yard, row)
            return wait

    def forget(self, askers: Sequence[Asker]) -> None:
        if not askers:
            return
        with self._database.saving() as connection:
            connection.execute(
                "delete from garboard.asker where yard = %s and address = any(%s)",
                (self._database.yard, [one.address for one in askers]),
            )

    def users(self) -> tuple[WebUser, ...]:
        return self._all(WebUser)

    def put_user(self, user: WebUser, by: str, at: int, instead_of: WebUser | None = None) -> bool:
        with self._database.saving() as connection:
            before = _rows(
                connection, WebUser, self._database.yard, sql.SQL("and name = %s"), user.name, to_change=True
            )
            if instead_of not in (None, *before):
                return False
            connection.execute(
                "delete from garboard.web_user where yard = %s and name = %s", (self._database.yard, user.name)
            )
            _put_row(connection, self._database.yard, user)
            self._note(connection, *store.person_changed(before[0] if before else None, user, by, at))
            return True

    def plugins(self) -> tuple[ShopPlugin, ...]:
        return self._all(ShopPlugin)

    def put_plugin(self, plugin: ShopPlugin, seen: Sequence[ShopPlugin] | None = None) -> bool:
        yard = self._database.yard
        with self._database.saving() as connection:  # a name nobody decided about yet has no row to hold
            connection.execute("select pg_advisory_xact_lock(hashtext('garboard_shop.plugins'), %s)", (yard,))
            stands = _rows(connection, ShopPlugin, yard, sql.SQL("and name = %s"), plugin.name)
            if seen is not None and tuple(seen) != stands:
                return False
            connection.execute("delete from garboard.shop_plugin where yard = %s and name = %s", (yard, plugin.name))
            _put_row(connection, yard, plugin)
            self._note(connection, store.plugin_decided(plugin))
            return True

    def changes(self) -> tuple[Change, ...]:
        return self._all(Change)

    def note_changes(self, changes: Iterable[Change]) -> None:
        with self._database.saving() as connection:
            noted = set(_rows(connection, Change, self._database.yard))
            self._note(connection, *(one for one in changes if one not in noted))

    def _note(self, connection: psycopg.Connection, *changes: Change) -> None:
        for change in changes:
            _put_row(connection, self._database.yard, change)

    def _taking_part(self, connection: psycopg.Connection, tablet: str) -> Tablet | None:
        """A tablet that is not removed, held until the change is made."""
        such = sql.SQL("and id = %s and removed_at = 0")
        found = _rows(connection, Tablet, self._database.yard, such, tablet, to_change=True)
        return found[0] if found else None

    def _all(self, record: type[Record]) -> tuple[Record, ...]:
        with self._database.reading() as connection:
            return _rows(connection, record, self._database.yard)

    def _with_contact(self, tablet: Tablet) -> Tablet:
        return tablet.with_contact(*self._contacts.get(tablet.id, (0, 0)), wall_milliseconds())


_TABLES: Mapping[type, tuple[str, str]] = {
    Tablet: ("tablet", "paired_at, id"),
    Pairing: ("pairing", "until, secret_hash"),
    WebUser: ("web_user", "name"),
    ShopPlugin: ("shop_plugin", "name"),
    Asker: ("asker", "address"),
    Change: ("change", "number"),
}
"""The table of each sort of record, with a column for each of its fields; and the order they are told in."""


def _rows(
    connection: psycopg.Connection,
    record: type[Record],
    yard: int,
    such: sql.SQL = _ALL,
    *values: str,
    to_change: bool = False,
) -> tuple[Record, ...]:
    """The records of a yard; nobody else changes them until the transaction ends when they are read to change them."""
    table, order = _TABLES[record]
    asked = sql.SQL("select {columns} from garboard.{table} where yard = %s {such} order by {order}{lock}").format(
        columns=_columns(record),
        table=sql.Identifier(table),
        such=such,
        order=sql.SQL(order),
        lock=sql.SQL(" for update" if to_change else ""),
    )
    return tuple(connection.cursor(row_factory=class_row(record)).execute(asked, (yard, *values)).fetchall())


def _put_row(
    connection: psycopg.Connection,
    yard: int,
    record: Tablet | Pairing | WebUser | ShopPlugin | Asker | Change,
    unless: sql.SQL = sql.SQL(""),  # noqa: B008  # a constant; psycopg's SQL never changes
) -> bool:
    """Whether it was put: false when it is there already and `unless` allows for that."""
    values = (list(value) if isinstance(value, tuple) else value for value in attrs.asdict(record).values())
    put = connection.execute(
        sql.SQL("insert into garboard.{table} (yard, {columns}) values (%s, {places}){unless}").format(
            unless=unless,
            table=sql.Identifier(_TABLES[type(record)][0]),
            columns=_columns(type(record)),
            places=sql.SQL(", ").join([sql.Placeholder()] * len(attrs.fields_dict(type(record)))),
        ),
        (yard, *values),
    )
    return put.rowcount == 1


def _columns(record: type) -> sql.Composed:
    return sql.SQL(", ").join(map(sql.Identifier, attrs.fields_dict(record)))
