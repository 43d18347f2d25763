"""Attachments in PostgreSQL, in the pieces they came in."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence

import psycopg

from garboard.arriving import OutOfPlace
from garboard.attachments import AttachmentDamaged
from garboard_shop.postgres.database import Database, home_of

_NAME = re.compile(r"[0-9a-f]{64}")


class PostgresAttachments:
    """Attachments in pieces, each on the database its name falls to."""

    def __init__(self, databases: Sequence[Database]) -> None:
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
        return home_of(name, self._databases)


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
