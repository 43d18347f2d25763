"""The shop kept in a folder: hull files as on a tablet, and a register beside them. Backed up by copying it."""

from __future__ import annotations

import json
import threading
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

import attrs

from garboard.disk import storage
from garboard.disk.hullfile import CheckedEntries, HullFolder, PutResult
from garboard.disk.partial_upload import FOLDER as ARRIVING
from garboard.disk.partial_upload import Arriving
from garboard.disk.storage import FolderInUse, NotSaved, WriterLock
from garboard.job_files.convert import structure
from garboard.records import JsonValue
from garboard.shop_link import pairing
from garboard_shop import store
from garboard_shop.store import (
    MOST_DEVICES,
    Asker,
    Change,
    Delivery,
    Holding,
    MustWait,
    Pairing,
    ShopPlugin,
    Tablet,
    WebUser,
)

SHOP_FOLDER = pairing.SHOP_FOLDER
DELIVERIES_FOLDER = "deliveries"
REGISTER_FILE = "register.json"
CONTACT_KEPT_EVERY = 60_000
"""A contact is written to the disk when the last one written is so much older [ms]."""

_LONGEST_WAIT_FOR_REGISTER = 10.0
_DAY = 24 * 60 * 60 * 1000


class EmbeddedStore:
    """A folder of hull files with all a shop server needs. One server at a time.

    folder : made when it is not there
    errors : storage.FolderInUse, naming the holder
    """

    def __init__(self, folder: Path) -> None:
        self.hulls = HullFolder(folder)
        self.register = FileRegister(folder)
        self.attachments = FolderAttachments(self.hulls)
        self._deliveries = folder / SHOP_FOLDER / DELIVERIES_FOLDER
        self._guard = threading.Lock()
        self._kinds: dict[str, tuple[int, Counter[str]]] = {}

    def digests(self) -> dict[str, Holding]:
        return {hull: Holding(digest, self.hulls.count(hull)) for hull, digest in self.hulls.digests().items()}

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

    def kinds(self, hull: str) -> Counter[str]:
        with self._guard:
            held = self.hulls.get(hull)
            counted, kinds = self._kinds.get(hull, (0, Counter[str]()))
            kinds.update(_kind_of(raw) for raw in list(held.values())[counted:])
            self._kinds[hull] = len(held), kinds
            return kinds

    def deliveries(self, first: int, last: int) -> Iterator[Delivery]:
        days = _file_of(first), _file_of(last)
        for path in sorted(self._deliveries.glob("*.jsonl")):
            for line in path.read_text().splitlines() if days[0] <= path.name <= days[1] else ():
                delivery = _delivery(line)
                if delivery and first <= delivery.at <= last:
                    yield delivery

    def close(self) -> None:
        self.hulls.close()

    def _note(self, delivery: Delivery) -> None:
        """Write down who brings entries before they are kept: a crash between leaves a note, never an orphan."""
        if not delivery.ids:
            return
        storage.make_folder(self._deliveries)
        path = self._deliveries / _file_of(delivery.at)
        line = json.dumps(attrs.asdict(delivery), separators=(",", ":")).encode() + b"\n"
        storage.append_saved(path, line if _ends_a_line(path) else b"\n" + line)


class FolderAttachments:
    """A folder's attachments, and those on their way into it."""

    def __init__(self, hulls: HullFolder) -> None:
        self._finished = hulls.attachments
        self._arriving = Arriving(hulls.folder / ARRIVING, hulls.attachments)

    def sizes(self) -> dict[str, int]:
        return {name: self._finished.size(name) for name in self._finished.names()}

    def held(self, name: str) -> int:
        return self._finished.size(name) if name in self._finished else self._arriving.held(name)

    def read(self, name: str, start: int, most: int) -> bytes:
        if start == 0:
            self._finished.prove(name)  # a damaged one is set aside and can come again
        return self._finished.read(name, start, most)

    def add(self, name: str, start: int, piece: bytes, total: int) -> int:
        return self._arriving.add(name, start, piece, total)


@attrs.frozen
class _Listed:
    """What stands in the register's file."""

    tablets: tuple[Tablet, ...] = ()
    pairings: tuple[Pairing, ...] = ()
    users: tuple[WebUser, ...] = ()
    plugins: tuple[ShopPlugin, ...] = ()
    askers: tuple[Asker, ...] = ()
    changes: tuple[Change, ...] = ()

    def noting(self, *changes: Change) -> _Listed:
        return attrs.evolve(self, changes=(*self.changes, *changes))

    def with_tablet(self, tablet: Tablet) -> tuple[Tablet, ...]:
        return tuple(tablet if one.id == tablet.id else one for one in self.tablets)


class FileRegister:
    """The register in one small file, written whole at each change. A second program's changes are seen at once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / SHOP_FOLDER
        self._path = self.folder / REGISTER_FILE
        self._guard = threading.RLock()
        self._listed = _Listed()
        self._seen: tuple[int, int, int] = (0, 0, 0)
        self._contacts: dict[str, tuple[int, int]] = {}
        storage.make_folder(self.folder)
        self.folder.chmod(0o700)

    def tablets(self) -> tuple[Tablet, ...]:
        return tuple(self._with_contact(tablet) for tablet in self._look().tablets)

    def tablet_of(self, token_hash: str) -> Tablet | None:
        return next((tablet for tablet in self._look().tablets if tablet.token_hash == token_hash), None)

    def add_tablet(self, tablet: Tablet) -> None:
        with self._changing() as listed:
            if all(one.token_hash != tablet.token_hash for one in listed.tablets):
                self._write(attrs.evolve(listed.noting(store.tablet_paired(tablet)), tablets=(*listed.tablets, tablet)))

    def remove_tablet(self, tablet: str, by: str, at: int) -> bool:
        with self._changing() as listed:
            found = _taking_part(listed, tablet)
            if found is not None:
                gone = attrs.evolve(found, removed_at=at, removed_by=by)
                self._write(
                    attrs.evolve(listed.noting(store.tablet_removed(found, by, at)), tablets=listed.with_tablet(gone))
                )
            return found is not None

    def change_role(self, tablet: str, role: str, by: str, at: int) -> bool:
        with self._changing() as listed:
            found = _taking_part(listed, tablet)
            if found is not None and found.role != role:
                after = listed.with_tablet(attrs.evolve(found, role=role))
                self._write(attrs.evolve(listed.noting(store.role_changed(found, role, by, at)), tablets=after))
            return found is not None

    def note_device(self, tablet: str, device: str, at: int) -> None:
        with self._changing() as listed:
            found = _taking_part(listed, tablet)
            if found is not None and device not in found.writes_as and len(found.writes_as) < MOST_DEVICES:
                after = listed.with_tablet(attrs.evolve(found, writes_as=(*found.writes_as, device)))
                self._write(attrs.evolve(listed.noting(store.device_stated(found, device, at)), tablets=after))

    def note_contact(self, tablet: str, at: int, clock_offset: int) -> None:
        with self._guard:
            self._contacts[tablet] = at, clock_offset
            known = next((one for one in self._look().tablets if one.id == tablet), None)
            if known is None or at - known.last_contact < CONTACT_KEPT_EVERY:
                return
        with suppress(NotSaved), self._changing() as listed:  # a full disk must not keep a tablet from reading
            self._write(attrs.evolve(listed, tablets=tuple(map(self._with_contact, listed.tablets))))

    def open_pairing(self, pairing: Pairing, by: str, at: int) -> None:
        began = pairing.until - _DAY
        with self._changing() as listed:
            kept = (*(one for one in listed.pairings if one.until > began), pairing)
            self._write(attrs.evolve(listed.noting(store.code_opened(pairing, by, at)), pairings=kept))

    def use_pairing(self, secret_hash: str, token_hash: str, now: int, address: str) -> Pairing | None:
        with self._changing() as listed:
            asker = next((one for one in listed.askers if one.address == address), Asker(address, 0, 0))
            if not asker.may_ask(now):
                raise MustWait(asker.until)
            fitting = next((one for one in listed.pairings if one.fits(secret_hash, token_hash, now)), None)
            if fitting is not None:
                used = attrs.evolve(fitting, used_by=token_hash)
                after = tuple(used if one is fitting else one for one in listed.pairings)
                self._write(attrs.evolve(listed, pairings=after))
            elif any(one.is_open_at(now) for one in listed.pairings):
                after = tuple(
                    attrs.evolve(one, tries=one.tries - 1) if one.is_open_at(now) else one for one in listed.pairings
                )
                others = (one for one in listed.askers if one.address != address and now < one.until)
                self._write(attrs.evolve(listed, pairings=after, askers=(*others, asker.wrong_again(now))))
            return fitting

    def pairings(self) -> tuple[Pairing, ...]:
        return self._look().pairings

    def users(self) -> tuple[WebUser, ...]:
        return self._look().users

    def put_user(self, user: WebUser, by: str, at: int) -> None:
        with self._changing() as listed:
            before = next((one for one in listed.users if one.name == user.name), None)
            others = (one for one in listed.users if one.name != user.name)
            self._write(attrs.evolve(listed.noting(*store.person_changed(before, user, by, at)), users=(*others, user)))

    def plugins(self) -> tuple[ShopPlugin, ...]:
        return self._look().plugins

    def put_plugin(self, plugin: ShopPlugin) -> None:
        with self._changing() as listed:
            others = (one for one in listed.plugins if one.name != plugin.name)
            after = tuple(sorted((*others, plugin), key=lambda one: one.name))
            self._write(attrs.evolve(listed.noting(store.plugin_decided(plugin)), plugins=after))

    def changes(self) -> tuple[Change, ...]:
        return self._look().changes

    def note_changes(self, changes: Iterable[Change]) -> None:
        with self._changing() as listed:
            noted = set(listed.changes)
            self._write(listed.noting(*(one for one in changes if one not in noted)))

    def _with_contact(self, tablet: Tablet) -> Tablet:
        at, offset = self._contacts.get(tablet.id, (0, 0))
        return attrs.evolve(tablet, last_contact=at, clock_offset=offset) if at > tablet.last_contact else tablet

    def _look(self) -> _Listed:
        """The register as it stands on the disk now."""
        with self._guard:
            try:
                found = self._path.stat()
            except FileNotFoundError:
                return self._listed
            seen = found.st_mtime_ns, found.st_ino, found.st_size
            if seen != self._seen:
                plain = json.loads(self._path.read_bytes())
                self._listed = structure(_known(plain), _Listed, str(self._path))
                self._seen = seen
            return self._listed

    @contextmanager
    def _changing(self) -> Iterator[_Listed]:
        """Change the register as one step, whatever other threads and programs do."""
        with self._guard:
            lock = self._locked()
            try:
                yield self._look()
            finally:
                lock.release()

    def _write(self, after: _Listed) -> None:
        if after == self._listed:
            return
        plain: dict[str, JsonValue] = {"format": "garboard shop register", "version": 1, **attrs.asdict(after)}
        storage.write_whole(self._path, [json.dumps(plain, indent=1).encode()])
        self._path.chmod(0o600)
        self._look()

    def _locked(self) -> WriterLock:
        give_up = time.monotonic() + _LONGEST_WAIT_FOR_REGISTER
        while True:
            try:
                return WriterLock(self.folder)
            except FolderInUse:
                if time.monotonic() > give_up:
                    raise
                time.sleep(0.01)


def _taking_part(listed: _Listed, tablet: str) -> Tablet | None:
    return next((one for one in listed.tablets if one.id == tablet and not one.is_removed), None)


def _kind_of(raw: bytes) -> str:
    return str(json.loads(raw)["kind"])


def _ends_a_line(path: Path) -> bool:
    """Whether the last line is whole; a power cut may have left a piece of one."""
    if not path.exists():
        return True
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 1))
        return file.read(1) in (b"", b"\n")


def _known(plain: dict[str, JsonValue]) -> dict[str, JsonValue]:
    return {key: plain[key] for key in attrs.fields_dict(_Listed) if key in plain}


def _file_of(at: int) -> str:
    return f"{datetime.fromtimestamp(at / 1000, UTC):%Y-%m-%d}.jsonl"


def _delivery(line: str) -> Delivery | None:
    """A line of the deliveries; None for one cut off by a power cut."""
    try:
        plain = json.loads(line)
        ids = {hull: tuple(names) for hull, names in plain["ids"].items()}
        return Delivery(plain["at"], plain["tablet"], plain["clock_offset"], ids)
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
