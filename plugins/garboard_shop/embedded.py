"""The shop kept in a folder: hull files as on a tablet, and a register beside them. Backed up by copying it."""

from __future__ import annotations

import json
import logging
import threading
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4
from zlib import crc32

import attrs
from tinydb import where

from garboard.disk import storage
from garboard.disk.attachments import NAME_OF_NOTHING
from garboard.disk.clock import wall_milliseconds
from garboard.disk.documents import Document, DocumentDamaged, Kind, numbered
from garboard.disk.entries import SHOP_RECORD, view
from garboard.disk.formats import Format
from garboard.disk.hullfile import HULLS_FOLDER, CheckedEntries, HullFolder, PutResult
from garboard.disk.journal import key_in_name
from garboard.disk.json_text import read_json
from garboard.disk.partial_upload import FOLDER as ARRIVING
from garboard.disk.partial_upload import Arriving
from garboard.disk.shop_document import is_paired
from garboard.disk.storage import FolderInUse, NotSaved, WriterLock
from garboard.faults import in_number
from garboard.history.authority import keep_managers, managers_of
from garboard.history.halves import TOGETHER_FOLDER
from garboard.history.replay import replay
from garboard.history.setting_entries import holding_entries
from garboard.job_files.convert import structure
from garboard.shop_link import pairing, shop_plugins
from garboard_shop import brake, store
from garboard_shop.store import (
    CONTACT_KEPT_EVERY,
    MOST_DEVICES,
    Asker,
    Change,
    Count,
    Delivery,
    Holding,
    KeptRow,
    MustWait,
    Pairing,
    ShopPlugin,
    Tablet,
    WebUser,
)
from garboard_shop.together import Together

log = logging.getLogger("garboard.shop")

SHOP_FOLDER = pairing.SHOP_FOLDER
DELIVERIES_FOLDER = "deliveries"
REGISTER_FILE = "register.json"
ROWS_FILE = "boats.jsonl"
"""The shop's memory, a row a line; of one boat the last counts."""
_LINES_TO_SPARE = 1000
"""So many lines of boats that have a newer one are left before the file is written anew."""

_LONGEST_WAIT_FOR_REGISTER = 10.0
_DAY = 24 * 60 * 60 * 1000


class EmbeddedStore:
    """A folder of hull files with all a shop server needs. One server at a time.

    folder   : made when it is not there
    of_today : whether of many hull files those are not read again that another program proved today
    errors   : storage.FolderInUse, naming the holder
    """

    def __init__(self, folder: Path, *, of_today: bool = False) -> None:
        self.hulls = HullFolder(folder, of_today=of_today)
        try:
            self.register = FileRegister(folder)
        except BaseException:
            self.hulls.close()
            raise
        self.attachments = FolderAttachments(self.hulls)
        self._deliveries = folder / SHOP_FOLDER / DELIVERIES_FOLDER
        self._rows = folder / SHOP_FOLDER / ROWS_FILE
        self._guard = threading.Lock()
        self._deciding = threading.Lock()  # one server at a time has the folder
        self._kinds: dict[str, tuple[int, Counter[str]]] = {}
        self._together = Together(self, _FolderNotes(folder / SHOP_FOLDER / TOGETHER_FOLDER))

    def digests(self) -> dict[str, Holding]:
        self._together.finish_if_any()
        return self.hulls.holdings()

    def maybe_held(self, hulls: Iterable[str]) -> frozenset[str]:
        return frozenset(hulls)  # asking for the ids of one not there costs nothing

    def ids(self, hull: str) -> frozenset[str]:
        return self.hulls.ids(hull)

    def get(self, hull: str, ids: Iterable[str]) -> CheckedEntries:
        return self.hulls.get(hull, ids)

    def put_if_absent(
        self, offered: Mapping[str, CheckedEntries], tablet: str, at: int, clock_offset: int
    ) -> PutResult:
        with self._guard:
            new = {hull: tuple(sorted(entries.keys() - self.hulls.ids(hull))) for hull, entries in offered.items()}
            self._note(Delivery(at, tablet, clock_offset, {hull: ids for hull, ids in new.items() if ids}))
            with self.hulls.batch():
                puts = [self.hulls.put_if_absent(hull, entries) for hull, entries in offered.items()]
        return PutResult(
            tuple(name for put in puts for name in put.added), tuple(no for put in puts for no in put.refused)
        )

    def put_together(self, offered: Mapping[str, CheckedEntries], by: str, at: int) -> PutResult:
        if len(offered) < 2:
            return self.put_if_absent(offered, by, at, 0)
        return self._together.put(offered, Delivery(at, by, 0))

    @contextmanager
    def deciding(self) -> Iterator[None]:
        with self._deciding:
            self._together.finish_if_any()
            yield

    def kinds(self, hull: str) -> Counter[str]:
        with self._guard:
            held = self.hulls.get(hull)
            counted, kinds = self._kinds.get(hull, (0, Counter[str]()))
            kinds.update(_kind_of(raw) for raw in list(held.values())[counted:])
            self._kinds[hull] = len(held), kinds
            return kinds

    def unread(self, hulls: Iterable[str]) -> int:
        return self.hulls.unread_of(hulls)

    def not_whole(self) -> dict[str, str]:
        lacking = self.hulls.unread()
        found = {
            hull: f"{in_number(count, 'entry', 'entries')} not readable, not back" for hull, count in lacking.items()
        }
        for path, why in self.hulls.not_read():
            found.setdefault(key_in_name(Path(path).name) or Path(path).name, why)
        return found

    def deliveries(self, first: int, last: int) -> Iterator[Delivery]:
        days = _file_of(first), _file_of(last)
        for path in sorted(self._deliveries.glob("*.jsonl")):
            in_days = days[0] <= path.name <= days[1]
            for line in path.read_text("utf-8", errors="replace").splitlines() if in_days else ():
                delivery = _delivery(line)
                if delivery and first <= delivery.at <= last:
                    yield delivery

    def rows(self) -> dict[str, KeptRow]:
        found: dict[str, KeptRow] = {}
        lines = damaged = 0
        for line in _lines_of(self._rows):
            lines += 1
            try:
                plain: Any = read_json(line)
                hull, digest, row = (plain[key] for key in ("hull", "digest", "row"))
                is_whole = plain.get("check") in (None, _check_of(hull, digest, row))  # earlier programs wrote none
            except (ValueError, TypeError, KeyError):  # such as one that a power cut left half
                hull = digest = row = None
                is_whole = False
            if is_whole and isinstance(hull, str) and isinstance(digest, str) and isinstance(row, str):
                found[hull] = KeptRow(digest, row)
            else:
                damaged += bool(line)
        if damaged:
            log.warning("%s: %d damaged lines; the rows of their boats are made anew", self._rows, damaged)
        if lines > 2 * len(found) + _LINES_TO_SPARE:
            storage.write_whole(self._rows, [_lines_of_rows(found)])
        return found

    def put_rows(self, rows: Mapping[str, KeptRow]) -> None:
        storage.make_folder_of(self._rows)
        lines = _lines_of_rows(rows)
        storage.append_saved(self._rows, lines if _ends_a_line(self._rows) else b"\n" + lines)

    def close(self) -> None:
        self.hulls.close()

    def _note(self, delivery: Delivery) -> None:
        """Write down who brings entries before they are kept: a crash between leaves a note, never an orphan."""
        if not delivery.ids:
            return
        path = self._deliveries / _file_of(delivery.at)
        storage.make_folder_of(path)
        line = json.dumps(attrs.asdict(delivery), separators=(",", ":")).encode() + b"\n"
        storage.append_saved(path, line if _ends_a_line(path) else b"\n" + line)


class _FolderNotes:
    """What belongs together and is not kept yet: a file each, with nothing else in its folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def add(self, text: str) -> str:
        path = self._folder / f"{time.time_ns():020d}-{uuid4().hex[:8]}.json"
        storage.make_folder_of(path)
        try:
            storage.write_whole(path, [text.encode()])
        except NotSaved:
            self.drop(path.name)  # what stands there all the same was not noted: nobody was told so
            raise
        return path.name

    def noted(self) -> dict[str, str]:
        found: dict[str, str] = {}
        storage.remove_unfinished(self._folder)  # of a server that was killed while it noted: nobody was told of it
        for path in sorted(self._folder.glob("[0-9]*.json")):
            with suppress(OSError):  # another thread has just ended it; `garboard repair` names one that stays
                found[path.name] = path.read_text("utf-8", errors="replace")
        return found

    def drop(self, name: str) -> None:
        with suppress(OSError):  # one that stays is kept once more, which adds nothing
            (self._folder / name).unlink(missing_ok=True)


class FolderAttachments:
    """A folder's attachments, and those on their way into it."""

    def __init__(self, hulls: HullFolder) -> None:
        self._finished = hulls.attachments
        self._arriving = Arriving(hulls.folder / ARRIVING, hulls.attachments)

    def sizes(self) -> dict[str, int]:
        """What is held. An empty file is not, unless its name says so: a power cut leaves such ones."""
        sizes = {name: self._finished.size(name) for name in self._finished.names()}
        return {name: size for name, size in sizes.items() if size or name == NAME_OF_NOTHING}

    def held(self, name: str) -> int:
        finished = self._finished.size(name) if name in self._finished else 0
        return finished or self._arriving.held(name)

    def read(self, name: str, start: int, most: int) -> bytes:
        if start == 0:
            self._finished.prove(name)  # a damaged one is set aside and can come again
        return self._finished.read(name, start, most)

    def add(self, name: str, start: int, piece: bytes, total: int) -> int:
        return self._arriving.add(name, start, piece, total)


@attrs.frozen
class _Listed:
    """What stands in the register, table by table."""

    tablets: tuple[Tablet, ...] = ()
    pairings: tuple[Pairing, ...] = ()
    users: tuple[WebUser, ...] = ()
    plugins: tuple[ShopPlugin, ...] = ()
    askers: tuple[Asker, ...] = ()
    changes: tuple[Change, ...] = ()


_TABLES = tuple(attrs.fields_dict(_Listed))


def _as_tables(plain: dict[str, Any]) -> dict[str, Any]:
    """Version 2 keeps the file's name: the program that wrote version 1 refuses it instead of writing over it."""
    return {**plain, **{name: numbered(plain[name]) for name in _TABLES if name in plain}}


REGISTER = Kind(
    Format("garboard shop register", (_as_tables,)),
    cure="Put the copy from your backup in its place. Without one, rename the file: then pair every tablet again.",
    private=True,
)


class FileRegister:
    """The register in one document, written once for each change. A second program's changes are seen at once.

    reading : write nothing, in a copy on a protected card or in a folder that is no shop's
    """

    def __init__(self, folder: Path, *, reading: bool = False) -> None:
        self.folder = folder / SHOP_FOLDER
        self._path = self.folder / REGISTER_FILE
        self._guard = threading.RLock()
        self._is_alone = False
        self._listed = _Listed()
        self._seen: tuple[int, int, int] = (0, 0, 0)
        self._contacts: dict[str, tuple[int, int]] = {}
        if reading:
            return
        held = () if self.folder.is_dir() else _settings_that_hold(folder)
        storage.make_folder(self.folder)
        self.folder.chmod(0o700)
        self._keep_in_force(held)
        with suppress(DocumentDamaged), self.alone():  # whoever asks for somebody in it is told
            self._keep_derived()  # a program before this one kept none

    def tablets(self) -> tuple[Tablet, ...]:
        now = wall_milliseconds()
        return tuple(self._with_contact(tablet, now) for tablet in self._look().tablets)

    def tablet_of(self, token_hash: str) -> Tablet | None:
        return next((tablet for tablet in self._look().tablets if tablet.token_hash == token_hash), None)

    def add_tablet(self, tablet: Tablet) -> None:
        with self._changing() as register:
            if not register.table("tablets").contains(where("token_hash") == tablet.token_hash):
                register.table("tablets").insert(attrs.asdict(tablet))
                _note(register, store.tablet_paired(tablet))

    def remove_tablet(self, tablet: str, by: str, at: int) -> bool:
        with self._changing() as register:
            found = self._taking_part(tablet)
            if found is not None:
                _change_tablet(register, found, removed_at=at, removed_by=by)
                _note(register, store.tablet_removed(found, by, at))
            return found is not None

    def change_role(self, tablet: str, role: str, by: str, at: int) -> bool:
        with self._changing() as register:
            found = self._taking_part(tablet)
            if found is not None and found.role != role:
                _change_tablet(register, found, role=role)
                _note(register, store.role_changed(found, role, by, at))
            return found is not None

    def note_device(self, tablet: str, device: str, at: int) -> None:
        with self._changing() as register:
            found = self._taking_part(tablet)
            if found is not None and device not in found.writes_as and len(found.writes_as) < MOST_DEVICES:
                _change_tablet(register, found, writes_as=(*found.writes_as, device))
                _note(register, store.device_stated(found, device, at))

    def note_contact(self, tablet: str, at: int, clock_offset: int) -> None:
        with self._guard:
            self._contacts[tablet] = at, clock_offset
            known = next((one for one in self._look().tablets if one.id == tablet), None)
            if known is None or abs(at - known.last_contact) < CONTACT_KEPT_EVERY:
                return
        with suppress(NotSaved), self._changing() as register:  # a full disk must not keep a tablet from reading
            for one in (self._with_contact(tablet, at) for tablet in self._look().tablets):
                _change_tablet(register, one, last_contact=one.last_contact, clock_offset=one.clock_offset)

    def open_pairing(self, pairing: Pairing, by: str, at: int) -> None:
        with self._changing() as register:
            register.table("pairings").remove(where("until") <= pairing.until - _DAY)
            register.table("pairings").insert(attrs.asdict(pairing))
            _note(register, store.code_opened(pairing, by, at))

    def use_pairing(self, secret_hash: str, token_hash: str, now: int, address: str) -> Pairing | None:
        _, fitting, still_open = self._pairing_now(secret_hash, token_hash, now, address)
        if fitting is None and not still_open:
            return None  # nothing is counted, so a stranger who goes on asking keeps nobody from the register
        with self._changing() as register:
            asker, fitting, still_open = self._pairing_now(secret_hash, token_hash, now, address)
            if fitting is not None:
                _change_pairing(register, fitting, used_by=token_hash)
            elif still_open:
                for one in still_open:
                    _change_pairing(register, one, tries=one.tries - 1)
                register.table("askers").remove((where("address") == address) | (where("until") <= now))
                register.table("askers").insert(attrs.asdict(asker.wrong_again(now)))
            return fitting

    def _pairing_now(
        self, secret_hash: str, token_hash: str, now: int, address: str
    ) -> tuple[Asker, Pairing | None, list[Pairing]]:
        """Who asks, the code that fits, and every code still open, as the register stands now.

        errors : MustWait
        """
        listed = self._look()
        asker = next((one for one in listed.askers if one.address == address), Asker(address, 0, 0))
        if not asker.may_ask(now):
            raise MustWait(asker.until)
        fitting = next((one for one in listed.pairings if one.fits(secret_hash, token_hash, now)), None)
        return asker, fitting, [one for one in listed.pairings if one.is_open_at(now)]

    def pairings(self) -> tuple[Pairing, ...]:
        return self._look().pairings

    def askers(self) -> tuple[Asker, ...]:
        return self._look().askers

    def count_try(self, counts: Sequence[Count], now: int) -> int:
        if wait := brake.wait_before(self.askers(), counts, now):  # who goes on asking keeps nobody from the register
            return wait
        with self._changing() as register:
            kept = self.askers()
            wait = brake.wait_before(kept, counts, now)
            if not wait:
                table = register.table("askers")
                table.truncate()
                rows = [*brake.still_counting(kept, now), *brake.rows_for(counts, now)]
                table.insert_multiple(map(attrs.asdict, rows))
            return wait

    def forget(self, askers: Sequence[Asker]) -> None:
        if not askers:
            return
        with self._changing() as register:
            register.table("askers").remove(where("address").one_of([one.address for one in askers]))

    def users(self) -> tuple[WebUser, ...]:
        return self._look().users

    def put_user(self, user: WebUser, by: str, at: int, instead_of: WebUser | None = None) -> bool:
        with self._changing() as register:
            before = next((one for one in self._look().users if one.name == user.name), None)
            if instead_of not in (None, before):
                return False
            register.table("users").upsert(attrs.asdict(user), where("name") == user.name)
            _note(register, *store.person_changed(before, user, by, at))
            return True

    def plugins(self) -> tuple[ShopPlugin, ...]:
        return tuple(sorted(self._look().plugins, key=lambda one: one.name))

    def put_plugin(self, plugin: ShopPlugin, seen: Sequence[ShopPlugin] | None = None) -> bool:
        with self._changing() as register:
            if seen is not None and tuple(seen) != tuple(one for one in self.plugins() if one.name == plugin.name):
                return False
            register.table("plugins").upsert(attrs.asdict(plugin), where("name") == plugin.name)
            _note(register, store.plugin_decided(plugin))
            return True

    def _keep_derived(self) -> None:
        """Keep who may decide and which plugins may run where a program that only reads the folder finds them: it
        judges the same. With the register locked, or the older of two programs' lists could be kept last.
        """
        keep_managers(self.folder.parent, store.managers_devices(self))
        approved = tuple(
            shop_plugins.ApprovedPlugin(one.name, one.sha256, one.approved_by, one.approved_at)
            for one in self.plugins()
            if not one.is_withdrawn
        )
        place = self.folder.parent
        if not is_paired(place) and approved != tuple(sorted(shop_plugins.kept(place), key=lambda one: one.name)):
            shop_plugins.keep(place, approved)

    def changes(self) -> tuple[Change, ...]:
        return self._look().changes

    def note_changes(self, changes: Iterable[Change]) -> None:
        with self._changing() as register:
            noted = set(self._look().changes)
            _note(register, *(one for one in changes if one not in noted))

    def _keep_in_force(self, settings: Sequence[str]) -> None:
        """What was set before the folder was a shop's, when nobody said who may, goes on holding: by these ids alone.

        Whatever else the machine that wrote them writes is believed no more than before.
        """
        if not settings:
            return
        before = store.before_the_shop(settings, wall_milliseconds())
        with self._changing() as register:
            register.table("tablets").insert(attrs.asdict(before))
            _note(register, store.settings_kept(before, len(settings)))

    def _taking_part(self, tablet: str) -> Tablet | None:
        return next((one for one in self._look().tablets if one.id == tablet and not one.is_removed), None)

    def _with_contact(self, tablet: Tablet, now: int) -> Tablet:
        return tablet.with_contact(*self._contacts.get(tablet.id, (0, 0)), now)

    def _look(self) -> _Listed:
        """The register as it stands on the disk now.

        errors : DocumentDamaged; NewerFormat
        """
        with self._guard:
            try:
                found = self._path.stat()
            except FileNotFoundError:
                if any(self._seen):  # nobody is to be told that it is not paired
                    raise storage.FolderGone(self._path) from None
                return self._listed
            seen = found.st_mtime_ns, found.st_ino, found.st_size
            if seen != self._seen:
                register = Document(self._path, REGISTER)
                with register.file.reading():
                    plain: Any = {name: register.rows(name) for name in _TABLES}
                    self._listed = structure(plain, _Listed, str(self._path))
                self._seen = seen
            return self._listed

    @contextmanager
    def _changing(self) -> Iterator[Document]:
        """Change the register as one step, in one write, whatever other threads and programs do."""
        register = Document(self._path, REGISTER)
        with self.alone():
            with register.file.one_write():
                yield register
            self._keep_derived()

    @contextmanager
    def alone(self) -> Iterator[None]:
        """While no other thread or program changes the register. What is changed in the block locks it no second
        time."""
        with self._guard:
            if self._is_alone:
                yield
                return
            lock = self._locked()
            self._is_alone = True
            try:
                yield
            finally:
                self._is_alone = False
                lock.release()

    def _locked(self) -> WriterLock:
        give_up = time.monotonic() + _LONGEST_WAIT_FOR_REGISTER
        while True:
            try:
                return WriterLock(self.folder)
            except FolderInUse:
                if time.monotonic() > give_up:
                    raise
                time.sleep(0.01)


def _settings_that_hold(folder: Path) -> tuple[str, ...]:
    """Ids of the entries by which a folder's settings hold now, the shop's own first. Files not readable have none."""
    if not (folder / HULLS_FOLDER).is_dir():
        return ()
    managers = managers_of(folder)
    with HullFolder(folder, read_only=True) as hulls:
        keys = sorted(hulls.readable(), key=lambda key: (key != SHOP_RECORD, key))
        return tuple(name for key in keys for name in holding_entries(replay(key, hulls.entries(key)), managers))


def _change_tablet(register: Document, tablet: Tablet, **fields: object) -> None:
    register.table("tablets").update(fields, where("id") == tablet.id)


def _change_pairing(register: Document, pairing: Pairing, **fields: object) -> None:
    register.table("pairings").update(fields, where("secret_hash") == pairing.secret_hash)


def _note(register: Document, *changes: Change) -> None:
    if changes:
        register.table("changes").insert_multiple(map(attrs.asdict, changes))


def _kind_of(raw: bytes) -> str:
    return store.counted_as(view("", raw).kind)


def _ends_a_line(path: Path) -> bool:
    """Whether the last line is whole; a power cut may have left a piece of one."""
    if not path.exists():
        return True
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 1))
        return file.read(1) in (b"", b"\n")


def _lines_of(path: Path) -> list[str]:
    return path.read_text("utf-8", errors="replace").splitlines() if path.exists() else []


def _lines_of_rows(rows: Mapping[str, KeptRow]) -> bytes:
    plain = (
        {"hull": hull, "digest": one.digest, "row": one.text, "check": _check_of(hull, one.digest, one.text)}
        for hull, one in rows.items()
    )
    return b"".join(json.dumps(one, separators=(",", ":")).encode() + b"\n" for one in plain)


def _check_of(*texts: str) -> str:
    """Of a line with one digit otherwise the board would tell another number."""
    return f"{crc32(json.dumps(texts).encode()):08x}"


def _file_of(at: int) -> str:
    return f"{datetime.fromtimestamp(at / 1000, UTC):%Y-%m-%d}.jsonl"


def _delivery(line: str) -> Delivery | None:
    """A line of the deliveries; None for one cut off by a power cut, or damaged."""
    try:
        plain = read_json(line)
        at, tablet, offset, ids = (plain[key] for key in ("at", "tablet", "clock_offset", "ids"))
        whole = {hull: tuple(names) for hull, names in ids.items() if all(isinstance(name, str) for name in names)}
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
    fits = type(at) is int and type(offset) is int and isinstance(tablet, str) and len(whole) == len(ids)
    return Delivery(at, tablet, offset, whole) if fits else None
