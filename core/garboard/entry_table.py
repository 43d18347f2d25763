"""A hull's file as a TinyDB table, for queries: what is in it stays as it is."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, Any, NoReturn

from tinydb import TinyDB
from tinydb.storages import Storage
from tinydb.table import Table

from garboard.entries import Entry, canonical_bytes, read_entry

if TYPE_CHECKING:
    from garboard.hullfile import Put
    from garboard.journal import Journal

TABLE = "entries"


class EntriesAreKept(TypeError):
    """Something tried to change or remove an entry."""


class JournalStorage(Storage):
    """Lets TinyDB read a hull's file.

    journal : the file
    put     : how entries are put in; the one way to write
    """

    def __init__(self, journal: Journal, put: Callable[[list[Entry]], Put]) -> None:
        self.put = put
        self._journal = journal
        self._documents: dict[str, dict[str, Any]] = {}

    def read(self) -> dict[str, dict[str, Any]]:
        entries = self._journal.entries
        if self._documents.keys() != entries.keys():
            self._documents = {
                name: self._documents[name] if name in self._documents else json.loads(raw)
                for name, raw in entries.items()
            }
        return {TABLE: dict(self._documents)}

    def write(self, data: dict[str, dict[str, Any]]) -> NoReturn:
        _refuse("write a whole table")


class InsertOnlyTable(Table):
    """A table of entries: what is in it stays as it is. Document ids are entry ids."""

    document_id_class = str  # type: ignore[assignment]  # TinyDB says int, and uses whatever class stands here

    def insert(self, document: Mapping[str, Any]) -> str:  # type: ignore[override]  # text ids, as above
        """Put one entry in, given as its fields. Saved when this returns.

        errors : InputError when it is no entry of this hull
        """
        return self.insert_multiple([document])[0]

    def insert_multiple(self, documents: Iterable[Mapping[str, Any]]) -> list[str]:  # type: ignore[override]
        """Put entries in. Saved when this returns. An entry that is here already is not put in again."""
        if not isinstance(self._storage, JournalStorage):
            raise TypeError("a table of entries reads a hull's file and nothing else")
        entries = [read_entry(canonical_bytes(dict(document))) for document in documents]
        for _, reason in self._storage.put(entries).refused:
            raise reason
        return [entry.id for entry in entries]

    def update(self, *_arguments: object, **_named: object) -> NoReturn:
        _refuse("update")

    def update_multiple(self, *_arguments: object, **_named: object) -> NoReturn:
        _refuse("update")

    def upsert(self, *_arguments: object, **_named: object) -> NoReturn:
        _refuse("upsert")

    def remove(self, *_arguments: object, **_named: object) -> NoReturn:
        _refuse("remove")

    def truncate(self) -> NoReturn:
        _refuse("truncate")


class EntryDatabase(TinyDB):
    """TinyDB over one hull's file."""

    table_class = InsertOnlyTable
    default_table_name = TABLE

    def drop_tables(self) -> NoReturn:
        _refuse("drop tables")

    def drop_table(self, name: str) -> NoReturn:
        _refuse(f"drop table {name}")


def _refuse(what: str) -> NoReturn:
    raise EntriesAreKept(
        f"cannot {what}: entries are never changed or removed, so that every tablet's merge gives the same result. "
        "Put in an entry that replaces the one that is wrong"
    )
