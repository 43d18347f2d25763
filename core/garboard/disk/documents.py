"""What the program keeps that is no history: session, settings, pairing, vessel list, a shop's register.

Each is a TinyDB with a durable storage. A file of its own for each owner and each rate of writing, so that one that
is damaged or grows costs no other. A file is one JSON object: "format", "version", and the tables as TinyDB has them.
Rows and keys this version does not know are kept. Nothing is written over a file that cannot be read.
"""

from __future__ import annotations

import json
import logging
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import attrs
from tinydb import TinyDB
from tinydb.storages import Storage
from tinydb.table import Document as NumberedRow
from tinydb.table import Table

from garboard.disk import storage
from garboard.disk.formats import Format
from garboard.disk.json_text import read_json
from garboard.faults import GarboardError, InputError, refuse_endless

log = logging.getLogger("garboard.documents")

FOLDER = "documents"

Rows = dict[str, dict[str, Any]]
Result = TypeVar("Result")

_WRITING = threading.RLock()
"""One change at a time in this program: TinyDB reads a file, changes it and writes it."""


class DocumentDamaged(GarboardError):
    """A document cannot be read. It is left as it is, and nothing else depends on it."""

    def __init__(self, path: Path, reason: str, cure: str) -> None:
        super().__init__(f"{path} cannot be read: {reason}. Nothing else is lost. {cure}")
        self.path = path


@attrs.frozen
class Kind:
    """What a document is.

    form   : with its chain of changes
    cure   : what a person does when it is damaged, a sentence
    private: only who runs the program may read it, also where an older one was open to all
    former : names of the files beside the documents' folder that were version 1, each a key of it
    """

    form: Format
    cure: str
    private: bool = False
    former: tuple[str, ...] = ()


class DurableStorage(Storage):
    """TinyDB's storage in a file that after any power cut is either as before or whole.

    errors : NotSaved; DocumentDamaged and NewerFormat on reading, which TinyDB does before it writes
    """

    def __init__(self, path: Path, kind: Kind) -> None:
        self.path, self.kind = path, kind
        self._held: Rows | None = None
        self._is_changed = False

    def read(self) -> Rows | None:
        """The tables; None where there is no file yet."""
        if self._held is not None:
            return self._held
        plain = self._object(self.path)
        if plain is None:
            former = {name: self._json(self.path.parent.parent / name) for name in self.kind.former}
            plain = {name: value for name, value in former.items() if value is not None}
            if not plain:
                return None
            plain = {**plain, **self.kind.form.heading, "version": 1}
        return {name: rows for name, rows in self._current(plain).items() if name not in self.kind.form.heading}

    def write(self, data: Mapping[str, Mapping[str, Any]]) -> None:
        """Keep the tables: on the disk when this returns, or, within `one_write`, when that ends."""
        if self._held is not None:
            self._is_changed = True
            self._held = dict(data)  # type: ignore[arg-type]  # TinyDB gives back what it read
            return
        storage.make_folder_of(self.path)
        storage.remove_unfinished(self.path.parent, of=self.path.name)
        text = json.dumps({**self.kind.form.heading, **data}, ensure_ascii=False, separators=(",", ":"))
        storage.write_whole(self.path, [text.encode()], private=self.kind.private)

    @contextmanager
    def one_write(self) -> Iterator[None]:
        """Changes of several tables become one write, or, when an error ends them, none."""
        with _WRITING:
            if self._held is not None:
                yield
                return
            self._held, self._is_changed = self.read() or {}, False
            try:
                yield
                after = self._held
            finally:
                self._held = None
            if self._is_changed:
                self.write(after)

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Data of another shape than its owner makes is damage.

        errors : DocumentDamaged
        """
        try:
            yield
        except InputError as failure:
            raise self._damaged("; ".join(map(str, failure.faults))) from failure
        except (ValueError, KeyError, TypeError, AttributeError) as failure:
            raise self._damaged(f"{type(failure).__name__}: {failure}") from failure

    def _damaged(self, reason: str) -> DocumentDamaged:
        return DocumentDamaged(self.path, reason, self.kind.cure)

    def _current(self, plain: dict[str, Any]) -> dict[str, Any]:
        form, version = self.kind.form, plain.get("version")
        if form.names(plain) and type(version) is int:
            form.refuse_newer(version, str(self.path))
        with self.reading():
            return form.current(plain, self.path.name)

    def _object(self, path: Path) -> dict[str, Any] | None:
        found = self._json(path)
        if found is not None and not isinstance(found, dict):
            raise self._damaged("it holds no object")
        return found

    def _json(self, path: Path) -> Any:
        try:
            return read_json(_bytes_of(path))
        except FileNotFoundError:
            return None
        except (OSError, ValueError) as failure:
            raise DocumentDamaged(path, str(failure), self.kind.cure) from failure


def _bytes_of(path: Path) -> bytes:
    """What a file holds. A card that failed once is asked again: to begin anew would forget who works here."""
    refuse_endless(path, "a file of this folder")
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise
    except OSError:
        return path.read_bytes()


class _Table(Table):
    default_query_cache_capacity = 0  # another program may have changed the file


class Document(TinyDB):
    """One document, opened. It holds no file open; each reading is what stands on the disk now."""

    table_class = _Table

    def __init__(self, path: Path, kind: Kind) -> None:
        self.file = DurableStorage(path, kind)
        super().__init__(storage=lambda: self.file)

    def row(self, table: str) -> Mapping[str, Any] | None:
        """The one row of a table that has only one."""
        with self.file.reading():
            return self.table(table).get(doc_id=1)

    def put_row(self, table: str, fields: Mapping[str, Any]) -> None:
        """Change fields of the one row; the others stay."""
        with self.file.one_write(), self.file.reading():
            self.table(table).upsert(NumberedRow(dict(fields), doc_id=1))

    def rows(self, table: str) -> list[Mapping[str, Any]]:
        with self.file.reading():
            return list(self.table(table).all())

    def put_rows(self, table: str, key: str, rows: Iterable[Mapping[str, Any]]) -> None:
        """Make these the rows of a table. One whose key was there before keeps the fields not given."""
        with self.file.one_write(), self.file.reading():
            before = {row[key]: row for row in self.table(table).all()}
            self.table(table).truncate()
            self.table(table).insert_multiple({**before.get(row[key], {}), **row} for row in rows)

    def begin_anew(self) -> None:
        """Keep the file as found under another name, and begin an empty one."""
        if self.file.path.exists():
            storage.set_aside(self.file.path)
        self.file.write({})

    def read_or_begin_anew(self, read: Callable[[], Result], damaged: list[DocumentDamaged]) -> Result:
        """What `read` takes out of this document; when it is damaged that is noted, and it begins anew.

        errors : NewerFormat; NotSaved
        """
        try:
            with self.file.reading():
                return read()
        except DocumentDamaged as failure:
            log.warning("a document is damaged", exc_info=failure)
            damaged.append(failure)
            self.begin_anew()
            return read()


_ANYONES_CURE = "Start the program that keeps it, which says what to do; or bring the file back from a copy."


def refuse_unreadable(path: Path, kind: Kind | None = None) -> None:
    """Read a document through. Without its kind it is only told whether it is one.

    errors : DocumentDamaged; NewerFormat
    """
    if kind is not None:
        DurableStorage(path, kind).read()
        return
    try:
        found = read_json(_bytes_of(path))
    except (OSError, ValueError) as failure:
        raise DocumentDamaged(path, str(failure), _ANYONES_CURE) from failure
    if not isinstance(found, dict):
        raise DocumentDamaged(path, "it holds no object", _ANYONES_CURE)


def one_row(table: str, former: str) -> Callable[[dict[str, Any]], dict[str, Any]]:
    """The change from a former file, one object, to the one row of a table."""
    return lambda plain: {table: {"1": plain[former]}} if former in plain else {}


def numbered(rows: Iterable[Mapping[str, Any]]) -> dict[str, Mapping[str, Any]]:
    """Rows as TinyDB numbers them in a file."""
    return {str(number): row for number, row in enumerate(rows, 1)}
