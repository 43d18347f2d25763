"""A backup: every hull file of a folder with its recordings and photos, in one zip, and the way back.

The zip lists each file with its hash and is read back before anybody calls it saved. It may come back by way of a
stick or a stranger, so nothing in it is trusted: names, sizes and hashes are checked before anything is merged, and
what is merged goes the way of every merge. Settings, pairing and drafts are not in it: they belong to one tablet.

What cannot be read when it is made is left out, named with the reason, and the rest is taken.

The form, version 1: `garboard-backup.json`, with `format`, `version`, `at`, `files` (each name with its SHA-256) and,
since it was first made, `left_out` (each name with the reason); `hulls/<name>.hull` and `attachments/<SHA-256>` as in
the folder.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import stat
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from enum import StrEnum
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from types import MappingProxyType
from typing import IO

import attrs

from garboard.disk import storage
from garboard.disk.entries import SHOP_RECORD, file_in_words
from garboard.disk.formats import Format
from garboard.disk.hullfile import ATTACHMENTS_FOLDER, HULLS_FOLDER, HullFolder
from garboard.disk.journal import file_name
from garboard.faults import GarboardError, in_number, in_words, refusal
from garboard.history.merge import MergeReport, merge
from garboard.records import JsonValue

BACKUP = Format("garboard backup")
LIST = "garboard-backup.json"
SCRATCH = f"{storage.UNFINISHED}backup-"
"""How the name of the folder begins in which a backup is laid out on its way back."""
MOST_FILES = 200_000
MOST_GROWTH = 100
"""So many times its own size a backup may hold; text of hull files is some ten times as long as packed."""
SMALL = 1 << 20
"""A backup of a few bytes may grow more than that, up to here [bytes]."""
LARGEST_FILE = 1 << 30
LARGEST_LIST = 64 << 20
"""Of one file, and of the list [bytes]."""
MOST_LEFT_OUT = 1000
LONGEST_REASON = 300
"""So much is read of what a backup says of itself: it is shown to a person."""
_CHUNK = 1 << 20
_NAME = re.compile(rf"{HULLS_FOLDER}/[A-Z0-9]+-[0-9a-f]{{16}}\.hull|{ATTACHMENTS_FOLDER}/[0-9a-f]{{64}}")
_ENCRYPTED = 1
_PACKINGS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DAY = (1980, 1, 1, 0, 0, 0)
"""The time of every file in it: when it was made stands in the list."""


class NoBackup(StrEnum):
    """Why a file is not taken back."""

    OTHER = "no backup"
    NEWER = "newer"
    DAMAGED = "damaged"
    STRANGE = "holds what no backup holds"
    HUGE = "too large"
    NO_ROOM = "no room"


_SAID: Mapping[NoBackup, str] = {
    NoBackup.OTHER: "This is no backup of Garboard. Choose a file whose name begins with garboard and ends in .zip.",
    NoBackup.NEWER: "A newer version of Garboard made this backup. Update this program.",
    NoBackup.DAMAGED: "The backup is damaged. Copy it again, or take another one.",
    NoBackup.STRANGE: "The file holds what no backup holds. Do not use it, and ask who gave it to you.",
    NoBackup.HUGE: "The file says it holds more than a backup can. Do not use it, and ask who gave it to you.",
    NoBackup.NO_ROOM: "There is not enough free space to take the backup back. Free some space, then try again.",
}


class BackupRefused(GarboardError):
    """A file is not taken back. Nothing of it was kept."""

    def __init__(self, why: NoBackup, what: str = "") -> None:
        super().__init__(f"{_SAID[why]}{f' ({what})' if what else ''}")
        self.why = why


@attrs.frozen(kw_only=True)
class Backup:
    """What a backup holds.

    at    : when it was made
    files : each name with its SHA-256
    size  : of all of it, laid out [bytes]
    left_out : each name that is not in it, or not as it should be, with the reason; empty where it is whole
    """

    at: str
    files: Mapping[str, str]
    size: int
    left_out: Mapping[str, str] = MappingProxyType({})

    @property
    def hulls(self) -> int:
        """How many boats' hull files are in it."""
        return sum(map(_is_boat, self.files))

    @property
    def hulls_left_out(self) -> int:
        """How many boats' hull files are not in it."""
        return sum(_is_boat(name) for name in self.left_out if name not in self.files)

    @property
    def hull_files(self) -> frozenset[str]:
        """Names of the hull files in it."""
        return frozenset(Path(name).name for name in self.files if name.startswith(f"{HULLS_FOLDER}/"))

    @property
    def left_out_in_words(self) -> tuple[str, ...]:
        """What is not in it, boats first, each with the reason."""
        names = sorted(self.left_out, key=lambda name: (not name.startswith(HULLS_FOLDER), name))
        return tuple(f"{_in_words(name)}: {self.left_out[name]}" for name in names)


def _is_boat(name: str) -> bool:
    return name.startswith(f"{HULLS_FOLDER}/") and name != f"{HULLS_FOLDER}/{file_name(SHOP_RECORD)}"


def _in_words(name: str) -> str:
    """What a person calls a file of a backup."""
    folder, _, own = name.partition("/")
    if folder == ATTACHMENTS_FOLDER:
        return f"photo or recording {own[:12]}"
    return file_in_words(own.partition("-")[0] if _is_boat(name) else SHOP_RECORD)


def write_backup(folder: HullFolder, path: Path, at: str) -> Backup:
    """Write a backup of a folder, and read it back. Work in the folder may go on meanwhile, and other backups.

    at      : the time, to stand in it
    returns : what is in it; what could not be read is named in `left_out`
    errors  : NotSaved, also where it does not read back as it was written; the file is as before then
    """
    try:
        storage.make_folder(path.parent)
        storage.remove_unfinished(path.parent)  # what a dead battery left of an earlier one
        with storage.whole_file(path) as (new, file):
            _fill(folder, file, at)
            file.flush()
            storage.flush(file.fileno())
            return read_backup(new)
    except OSError as failure:
        raise storage.not_saved(path, failure) from failure
    except BackupRefused as refused:
        raise storage.NotSaved(f"{path.name} does not read back as it was written: {in_words(refused)}") from refused


def _fill(folder: HullFolder, file: IO[bytes], at: str) -> None:
    """Hull files first: what they name is there already, and what comes meanwhile is in the next backup."""
    files: dict[str, JsonValue] = {}
    left_out: dict[str, JsonValue] = {f"{HULLS_FOLDER}/{name}": why for name, why in _known_to_lack(folder)}
    with zipfile.ZipFile(file, "w") as pack:
        for own, content in folder.contents():
            name = f"{HULLS_FOLDER}/{own}"
            if isinstance(content, OSError):
                left_out[name] = refusal(content)
            elif len(content) > LARGEST_FILE:
                left_out[name] = _TOO_LARGE
            else:
                files[name] = hashlib.sha256(content).hexdigest()
                pack.writestr(_info(name, zipfile.ZIP_DEFLATED), content)
        for own in sorted(folder.attachments.names()):
            name = f"{ATTACHMENTS_FOLDER}/{own}"
            digest, why = _put_attachment(folder, pack, own)
            files |= {name: digest} if digest else {}
            left_out |= {name: why} if why else {}
        left_out |= {f"{ATTACHMENTS_FOLDER}/{path.name}": why for path, why in folder.attachments.odd.items()}
        plain: dict[str, JsonValue] = {**BACKUP.heading, "at": at, "files": files}
        plain |= {"left_out": left_out} if left_out else {}
        pack.writestr(_info(LIST, zipfile.ZIP_DEFLATED), json.dumps(plain, indent=1))


def _known_to_lack(folder: HullFolder) -> Iterator[tuple[str, str]]:
    """Hull files that are gone, or lack what they held: each with what is known of it. Reads them all."""
    folder.readable()
    for key, lacking in folder.unread().items():
        yield file_name(key), f"{in_number(lacking, 'entry', 'entries')} not readable, not back"
    for damage in folder.gone():
        yield damage.file.name, "it is gone from here: merge with the shop, or with a copy"


def _info(name: str, packing: int) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _DAY)
    info.compress_type = packing
    info.external_attr = 0o600 << 16
    return info


_TOO_LARGE = f"larger than {LARGEST_FILE >> 20} MB: copy it by hand"
_DAMAGED = "damaged on this machine: merge with the shop to fetch it again"


def _put_attachment(folder: HullFolder, pack: zipfile.ZipFile, name: str) -> tuple[str, str]:
    """Photos are packed already. A damaged one is backed up as it is, and one whose disk fails as far as it is read.

    returns : the hash of what was put in, "" where nothing was; and what is wrong with it
    """
    attachments = folder.attachments
    try:
        if attachments.size(name) > LARGEST_FILE:
            return "", _TOO_LARGE
        piece = attachments.read(name, 0, _CHUNK)
    except (KeyError, OSError) as failure:
        return "", _why_not(failure)
    digest, start, why = hashlib.sha256(), 0, ""
    info = _info(f"{ATTACHMENTS_FOLDER}/{name}", zipfile.ZIP_STORED)
    with pack.open(info, "w", force_zip64=True) as target:
        while piece:
            start += len(piece)
            digest.update(piece)
            target.write(piece)
            try:
                piece = attachments.read(name, start, _CHUNK)
            except (KeyError, OSError) as failure:
                piece, why = b"", _why_not(failure)
    found = digest.hexdigest()
    return found, why or ("" if found == name else _DAMAGED)


def _why_not(failure: KeyError | OSError) -> str:
    """A damaged one may be set aside meanwhile."""
    return refusal(failure) if isinstance(failure, OSError) else _DAMAGED


def is_zip(path: Path) -> bool:
    """Whether a file is packed as a backup is, by how it begins; nothing else of it is looked at."""
    try:
        with path.open("rb") as file:
            return file.read(4) == b"PK\x03\x04"
    except OSError:
        return False


def read_backup(path: Path) -> Backup:
    """Read a backup through: every name, size and hash. Nothing is laid out.

    errors : BackupRefused; OSError
    """
    with _opened(path) as pack:
        found = _listed(pack, path.stat().st_size)
        for name, digest in found.files.items():
            if _digest_of(pack, name) != digest:
                raise BackupRefused(NoBackup.DAMAGED, name)
    return found


def list_of(path: Path) -> Backup:
    """What a backup says it holds. Names and sizes are checked; no hash is, nothing is unpacked but the list.

    errors : BackupRefused; OSError
    """
    with _opened(path) as pack:
        return _listed(pack, path.stat().st_size)


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(path) as pack:
            yield pack
    except (zipfile.BadZipFile, NotImplementedError, EOFError, ValueError, zlib.error) as failure:
        raise BackupRefused(NoBackup.DAMAGED if is_zip(path) else NoBackup.OTHER) from failure
    except RuntimeError as failure:  # of zipfile, where a part needs a password
        raise BackupRefused(NoBackup.STRANGE) from failure


def _listed(pack: zipfile.ZipFile, packed: int) -> Backup:
    """What a backup says it holds, checked against what is in it before any of it is unpacked."""
    infos = pack.infolist()
    names = [info.filename for info in infos]
    if LIST not in names:
        raise BackupRefused(NoBackup.OTHER)
    if len(names) > MOST_FILES:
        raise BackupRefused(NoBackup.HUGE)
    if len(set(names)) != len(names):
        raise BackupRefused(NoBackup.STRANGE, "a name stands in it twice")
    for info in infos:
        _refuse_strange(info)
    size = sum(info.file_size for info in infos)
    if size > max(SMALL, MOST_GROWTH * packed):
        raise BackupRefused(NoBackup.HUGE)
    found = _read_list(pack, size)
    if found.files.keys() != {*names} - {LIST}:
        raise BackupRefused(NoBackup.DAMAGED, "it does not hold what its list names")
    return found


def _refuse_strange(info: zipfile.ZipInfo) -> None:
    """A backup holds plain files of a few names. What leads out of the folder has none of these names."""
    kind = stat.S_IFMT(info.external_attr >> 16)
    is_plain = kind in (0, stat.S_IFREG) and not info.is_dir()
    is_open = not info.flag_bits & _ENCRYPTED and info.compress_type in _PACKINGS
    if not (is_plain and is_open and (info.filename == LIST or _NAME.fullmatch(info.filename))):
        raise BackupRefused(NoBackup.STRANGE, repr(info.filename[:80]))
    if info.file_size > (LARGEST_LIST if info.filename == LIST else LARGEST_FILE):
        raise BackupRefused(NoBackup.HUGE, info.filename)


def _read_list(pack: zipfile.ZipFile, size: int) -> Backup:
    """What the list says: when it was made, each name with its hash, and what is not in it."""
    try:
        plain = json.loads(pack.read(LIST))
    except (ValueError, RecursionError):
        raise BackupRefused(NoBackup.DAMAGED, LIST) from None
    if not isinstance(plain, dict) or not BACKUP.names(plain):
        raise BackupRefused(NoBackup.OTHER)
    if BACKUP.fault(plain) is not None:
        version = plain.get("version")
        raise BackupRefused(NoBackup.NEWER if type(version) is int and version > 0 else NoBackup.DAMAGED)
    at, files = plain.get("at"), plain.get("files")
    if not isinstance(at, str) or not isinstance(files, dict):
        raise BackupRefused(NoBackup.DAMAGED, LIST)
    digests = {name: str(digest) for name, digest in files.items()}
    return Backup(at=at, files=digests, size=size, left_out=_read_left_out(plain.get("left_out")))


def _read_left_out(plain: object) -> dict[str, str]:
    """What is no name of a hull file or an attachment is passed over: nothing of it is read, it is only said."""
    named = plain.items() if isinstance(plain, dict) else ()
    found = ((name, why) for name, why in named if _NAME.fullmatch(name) and isinstance(why, str))
    return {name: " ".join(why.split())[:LONGEST_REASON] for name, why in islice(found, MOST_LEFT_OUT)}


def _digest_of(pack: zipfile.ZipFile, name: str) -> str:
    digest = hashlib.sha256()
    with pack.open(name) as file:
        while piece := file.read(_CHUNK):
            digest.update(piece)
    return digest.hexdigest()


def take_back(path: Path, target: HullFolder) -> MergeReport:
    """Merge a backup into a folder, as any other folder is merged. Taken back twice, it changes nothing.

    errors : BackupRefused, with nothing changed; NotSaved; OSError
    """
    found = read_backup(path)
    _remove_leftovers(target.folder)
    if shutil.disk_usage(target.folder).free < 2 * found.size:  # laid out, and then copied
        raise BackupRefused(NoBackup.NO_ROOM)
    with TemporaryDirectory(prefix=SCRATCH, dir=target.folder) as scratch:
        place = Path(scratch)
        _lay_out(path, found, place)
        with HullFolder(place, read_only=True) as source:
            return merge([source], target)


def _remove_leftovers(folder: Path) -> None:
    """What a power cut left of an earlier one."""
    for leftover in folder.glob(f"{SCRATCH}*"):
        shutil.rmtree(leftover, ignore_errors=True)


def _lay_out(path: Path, found: Backup, place: Path) -> None:
    (place / HULLS_FOLDER).mkdir()
    (place / ATTACHMENTS_FOLDER).mkdir()
    with _opened(path) as pack:
        for name, digest in found.files.items():
            copied = hashlib.sha256()
            with pack.open(name) as source, (place / name).open("xb") as file:
                while piece := source.read(_CHUNK):
                    copied.update(piece)
                    file.write(piece)
            if copied.hexdigest() != digest:  # it changed since it was read through
                raise BackupRefused(NoBackup.DAMAGED, name)
