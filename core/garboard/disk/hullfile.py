"""The folder of hull files: every entry the tablet or the shop holds, by hull.

Entries are put in and never changed: an append-only file a hull is what lies on the disk (journal.py).
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import stat
import threading
import time
from collections.abc import Callable, Collection, Container, Iterable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import NamedTuple, Self
from zlib import crc32

import attrs

from garboard import hull_number
from garboard.disk import storage
from garboard.disk.attachments import Attachments
from garboard.disk.bulk import makes_many
from garboard.disk.entries import (
    SHOP_RECORD,
    Entry,
    Parts,
    entry_id,
    file_in_words,
    hull_key_and_parts,
    parts_of_lines,
    stray_of,
    view,
)
from garboard.disk.folder_names import FolderNames
from garboard.disk.journal import (
    EMPTIED,
    SUFFIX,
    Beginning,
    Journal,
    file_name,
    key_in_name,
    key_of_file,
    left_in,
    missing_of,
    names_any,
    read,
)
from garboard.disk.known_ids import BEGINNING, KnownIds, lines_of
from garboard.disk.proofs import Proofs, Taken, seconds_now
from garboard.disk.sizes import FileSizes, Noted, changed, check_of
from garboard.disk.storage import SET_ASIDE, Damage, FolderInUse, Loss, NewerFormat, NotReadable, NotSaved, WriterLock
from garboard.faults import Fault, InputError, in_number, in_words, refusal
from garboard.hull_number import KnownElsewhere, KnownNumbers

_NAME = re.compile(r"[A-Z0-9]+-[0-9a-f]{16}\.hull")
"""How a hull file is called; a copy, or what another system keeps beside it, is not."""

HULLS_FOLDER = storage.HULLS_FOLDER
ATTACHMENTS_FOLDER = "attachments"
MOST_UNFLUSHED = 200
"""Hull files held open by a batch before it flushes: a program may open about a thousand files."""

MOST_FLUSHED_AT_ONCE = 16
_READ = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NOFOLLOW", 0)
MOST_LISTED = 250
"""So many names are listed in less time than it takes to note them."""
MOST_IN_MEMORY = 2000
"""Of so many hull files each is held in memory once it was read, and put back where it is taken from the disk."""


class CheckedEntries(dict[str, bytes]):
    """Entries by id, where each id was computed from the bytes on this machine.

    block : their lines in a hull file, in their order, where they were read from one; see JournalScan
    """

    block: bytes = b""


@attrs.frozen
class PutResult:
    """What became of entries put into a hull.

    added   : ids that were not here before
    refused : for each entry that cannot be kept, its id and the reason; it is still where it came from
    strays  : bytes that are no entry, each by the id it came under: the entry that carries it here, and the reason
    """

    added: tuple[str, ...] = ()
    refused: tuple[tuple[str, InputError], ...] = ()
    strays: Mapping[str, tuple[Entry, InputError]] = attrs.field(factory=dict)


@attrs.frozen
class Offer:
    """A hull's entries as one folder offers them to another.

    ids     : of every entry here; one that stands in its file several times may be several times among them
    unknown : the entries the other does not hold
    content : what stands in the hull's file, where that was read for it and all of it is sound
    """

    ids: Collection[str]
    unknown: CheckedEntries
    content: bytes = b""


class Holding(NamedTuple):
    """What is held of a hull: SHA-256 over its sorted ids run together, in hexadecimal; and how many entries."""

    digest: str
    entries: int


def digest_of(ids: Iterable[str]) -> str:
    """Equal on two machines exactly when they hold the same entries: SHA-256 over the sorted ids."""
    return _digest_of_sorted(sorted(ids))


def _digest_of_sorted(ids: list[str]) -> str:
    return hashlib.sha256("".join(ids).encode()).hexdigest()


class HullFile:
    """One hull's entries. Made by HullFolder."""

    def __init__(self, journal: Journal, put: Callable[[str, list[Entry]], PutResult]) -> None:
        self.journal = journal
        self._put = put
        self._digest = ""
        self._sorted: list[str] = []
        """The ids, sorted but for the last: a few more are soon put in their places."""
        self._views: dict[str, Entry] = {}
        self.unnoted: list[str] | None = None
        """Ids saved since all were noted as those of this file; None while nobody noted all."""

        self.name = journal.path.name

    @property
    def key(self) -> str:
        return self.journal.key

    def ids_to_note(self) -> Iterable[str]:
        """Those of its ids that are not noted yet as those of this file."""
        return self.journal.entries if self.unnoted is None else self.unnoted

    @makes_many
    def entries(self) -> tuple[Entry, ...]:
        """Views of the entries, in the order they came in. Each is parsed once."""
        views, stored = self._views, self.journal.entries
        views.update([(name, view(name, raw)) for name, raw in stored.items() if name not in views])
        return tuple([views[name] for name in stored])

    def digest(self) -> str:
        """The digest of the entries held, also of those that the journal found in the file beside what we put there."""
        if len(self._sorted) != len(self.journal.entries):
            self._sorted, self._digest = [*self.journal.entries], ""
        if not self._digest:
            self._sorted.sort()
            self._digest = _digest_of_sorted(self._sorted)
        return self._digest

    def append(self, new: Mapping[str, bytes], block: bytes = b"") -> None:
        """Write entries; saved once flushed. See `Journal.append`."""
        count = len(self.journal.entries)
        self.journal.append(new, block)
        self._take_in(new, count)

    def append_at_once(self, new: Mapping[str, bytes]) -> bool:
        """The same, as the journal's."""
        count = len(self.journal.entries)
        if not self.journal.append_at_once(new):
            return False
        self._take_in(new, count)
        return True

    def _take_in(self, new: Mapping[str, bytes], count: int) -> None:
        """Take in what was written.

        count : how many entries there were before
        """
        came = len(self.journal.entries) - count
        if came:
            self._digest = ""
            if came == len(new) and len(self._sorted) == count:
                self._sorted += new
            else:
                self._sorted = []
            if self.unnoted is not None and came == len(new):
                self.unnoted += new
            else:  # another file was put in our place, with entries of its own
                self.unnoted = None

    def take_back(self) -> None:
        """What was appended and not flushed is not saved."""
        self.journal.take_back()
        self.forget_views()
        self.unnoted = None

    def forget_views(self) -> None:
        """Let the digest be made anew."""
        self._digest, self._sorted = "", []


class HullFolder:
    """All hulls of one tablet, or of the shop. One program at a time may write in it.

    folder    : made when it is not there, unless read_only
    read_only : neither locks nor repairs, so that a folder in use, or on a protected card, can be read
    of_today  : whether of many hull files those are not read again that another program proved today (proofs.py)
    proving   : whether it is noted what was proved of many hull files, though nothing else is written
    errors    : FolderInUse, naming the holder; NotWritable; FileNotFoundError when there is nothing to read
    """

    def __init__(self, folder: Path, *, read_only: bool = False, of_today: bool = False, proving: bool = False) -> None:
        self.folder = folder
        self.taken = Taken()
        """What the last answer of `holdings` did not read, but took as it was proved."""
        self.left_alone: dict[Path, str] = {}
        """Hull files that could not be read so far, each with the reason: a newer version's, or the disk refuses.

        One that can be read later is taken out.
        """
        self._hulls_folder = folder / HULLS_FOLDER
        self._hulls_prefix = f"{self._hulls_folder}{os.sep}"
        self._writing = not read_only
        self._open: dict[str, HullFile] = {}
        self._key_of_name: dict[str, str] = {}
        self._damage: list[Damage] = []
        self._misplaced: dict[Path, dict[str, bytes]] = {}
        """Entries found in files that are not of their names, by the file: they are to be put where they belong."""
        self._held_only: set[str] = set()
        """Of a folder that is only read, keys of hulls with entries out of such files: they are held in memory."""
        self._guard = threading.RLock()
        self._batches = 0
        self._unflushed: dict[str, HullFile] = {}
        self._digest_unnoted: HullFile | None = None
        """The file last saved to, of which a check of its bytes is noted so far: a digest takes the longer to make the
        longer the file is.
        """
        self._held_open: list[HullFile] = []
        self._names_unflushed: list[HullFile] = []
        self._kept: list[str] = []
        """What was kept of damaged hull files beside them when the folder had the marks below."""
        self._kept_under = b""
        self._locks: dict[Path, WriterLock] = {}
        self._sizes = FileSizes(folder, writing=self._writing)
        self._names = FolderNames(folder, self._hulls_folder)
        self._proofs = Proofs(folder, noting=self._writing or proving, alone=self._writing, of_today=of_today)
        self._known = KnownIds(folder, writing=self._writing)
        if read_only and not self._hulls_folder.is_dir():
            raise FileNotFoundError(f"{folder} holds no hull files: expected a folder named {HULLS_FOLDER} in it")
        try:
            if self._writing:
                storage.make_folder(self._hulls_folder)
                self._lock(folder)
                self._lock(self._hulls_folder.resolve().parent)
                if not self._names.are_as_noted(self._sizes.mark):
                    storage.remove_unfinished(self._hulls_folder)
                storage.flush_folder(self._hulls_folder)
            self.attachments = Attachments(
                folder / ATTACHMENTS_FOLDER, writing=self._writing, before_writing=self._keep_place
            )
        except BaseException as error:
            self._release()
            if isinstance(error, OSError) and error.errno in storage.NOT_ALLOWED:
                raise storage.NotWritable(folder, error) from error
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give up the folder. Entries put in were saved when they were put in."""
        with self._guard:
            self._note_late_digest()
            for hull in self._open.values():
                hull.journal.close()
            if self._writing:
                self._note_names()
                self._proofs.write()
            self._open.clear()
            self._release()

    def _lock(self, folder: Path) -> None:
        """Keep others from writing in a folder: this one, or the one a link in it leads to."""
        place = folder.resolve()
        if place not in self._locks:
            self._locks[place] = WriterLock(folder)

    def _keep_place(self) -> None:
        """Write in no folder but the one that was opened: it may have been moved away, or put back from a copy.

        errors : FolderGone; NotSaved where another program writes in what stands there now
        """
        for place, lock in [*self._locks.items()]:
            if lock.is_in_place:
                continue
            try:
                if not (place / HULLS_FOLDER).is_dir():
                    raise storage.FolderGone(place)
                self._locks[place] = WriterLock(lock.path.parent)
            except FolderInUse as error:
                if lock.names_us:
                    continue
                raise NotSaved(f"not saved: {error}") from error
            except OSError as error:
                raise storage.not_saved(place, error) from error
            lock.release()
            self._digest_unnoted = None  # the notes that stand there now may be of less
            self._sizes.close()
            self._known.close()

    def _release(self) -> None:
        while self._locks:
            self._locks.popitem()[1].release()
        self._sizes.close()
        self._known.close()

    def boats(self) -> tuple[str, ...]:
        """Keys of the boats here, sorted: every hull file but the shop's own record."""
        return tuple(key for key in self.hulls() if key != SHOP_RECORD)

    def hulls(self) -> tuple[str, ...]:
        """Keys of the hulls here, sorted. Files that cannot be read are set aside or left alone, and reported."""
        with self._guard:
            return tuple(self._keys_of(self._hull_files()))

    def _keys_of(self, names: Iterable[str]) -> list[str]:
        """The hulls that files belong to, and those whose first entries wait to be flushed, sorted.

        names : sorted
        """
        opened: dict[str, int] = {}
        keys = {key for key, hull in self._unflushed.items() if hull.journal.entries}
        for name, noted in self._sizes.of_each(names):
            if name not in self._key_of_name:
                found = self._found(name)
                if found and noted.changed == changed(found) and (key := key_in_name(name)):
                    self._key_of_name[name] = key
                elif self._key_of(name) and found and stat.S_ISREG(found.st_mode):
                    opened[name] = changed(found)
            keys.add(self._key_of_name.get(name, ""))
        self._sizes.note_found(opened)
        keys |= self._put_in_their_places() | self._held_only
        return sorted(keys - {""})

    def known_numbers(self, others: Iterable[str]) -> KnownNumbers:
        """The numbers of the boats here, and some others, to look for look-alikes in."""
        with self._guard:
            if not self._names.has_all_numbers():
                numbers = self._taken_in()
                if len(numbers) <= MOST_LISTED:
                    return KnownNumbers(sorted({*numbers, *others}))
            return KnownElsewhere(
                self._names.may_have,
                self._names.may_have_beside,
                lambda key: os.path.lexists(self._hulls_prefix + file_name(key)),
                lambda: KnownNumbers(sorted({*self._numbers(), *others})),
                others,
            )

    def _taken_in(self) -> list[str]:
        """The numbers here, many of which are found in a filter from now on."""
        marks, numbers = self._sealed(), self._numbers()
        if len(numbers) > MOST_LISTED:
            self._names.take_in(numbers, marks)
        return numbers

    def _sealed(self) -> bytes:
        """The folder's marks, by which any change from now on will be known; b"" where there are few files, or none."""
        return self._names.seal() if self._writing and self._sizes.mark else b""

    def _note_names(self) -> None:
        """Note the names here where there are many, so that the next program need not list them."""
        if self._names.are_as_noted(self._sizes.mark):
            with contextlib.suppress(OSError, NewerFormat):
                if not self._names.has_all_numbers():
                    self._taken_in()
                self._names.note()

    def _numbers(self) -> list[str]:
        """Keys of the hulls here as the names of their files tell, which are not looked into: to be told as
        look-alikes. Of a boat whose number is too long to stand in a name the file is read.
        """
        return [key for name in self._hull_files() if (key := key_in_name(name) or self._key_of(name))]

    def _hull_files(self) -> list[str]:
        """Names of what lies here as a hull file, sorted."""
        try:
            with os.scandir(self._hulls_folder) as files:
                names = [
                    name
                    for file in files
                    if (name := file.name).endswith(SUFFIX) and not name.startswith(storage.UNFINISHED)
                ]
        except FileNotFoundError as error:
            if not self._writing:  # it was there when it was opened
                raise NotReadable(self._hulls_folder, error) from error
            return []
        names.sort()
        return names if "".join(names).isascii() else [name for name in names if self._can_be_told(name)]

    def _can_be_told(self, name: str) -> bool:
        """Whether a name is text. A file of another is left alone: neither a note nor a page can take its name."""
        told = os.fsencode(name).decode(errors="backslashreplace")
        if told != name:
            self.left_alone[self._hulls_folder / told] = "its name is not UTF-8. Look at what it is, then rename it"
        return told == name

    def _found(self, name: str) -> os.stat_result | None:
        """What the system says of what lies here under a name; None where it does not: opening it says why."""
        try:
            return os.lstat(self._hulls_prefix + name)
        except OSError:
            return None

    def contents(self) -> Iterator[tuple[str, bytes | OSError]]:
        """The hull files here as they stand on the disk, by name. Work may go on between one and the next.

        yields : of each what stands in it; why not, where it cannot be read, or nothing is left of it
        errors : NotSaved as of `digests`
        """
        with self._guard:
            if self._writing:
                self._put_back()
            names = [name for name in self._hull_files() if _NAME.fullmatch(name)]
        for name in names:
            path = self._hulls_folder / name
            with self._guard:  # nobody appends meanwhile
                self._flush()
                content = _content_of(path)
                if isinstance(content, OSError):
                    self._proofs.forget(name)
            yield name, content

    def readable(self) -> tuple[str, ...]:
        """Keys of the hulls here whose files can be read, sorted; the others are in `left_alone`. Reads them all."""
        return tuple(self.digests())

    def hull(self, hull: str) -> HullFile:
        """The entries of one hull; none when it is new.

        hull   : its number, typed in any way
        errors : NewerFormat when its file was written by a newer version; FolderClosed, as of `read_once`
        """
        key = hull_number.key(hull)
        with self._guard:
            if key not in self._open:
                self._refuse_closed()
                path = self._hulls_folder / file_name(key)
                if self._writing and self._sizes.least(path.name) and not _is_there(path):
                    self._note_gone(path)
                try:
                    if not (self._writing or _is_there(path)) and self._was_here(path.name):
                        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(path))
                    journal = Journal(
                        self._place_of(path), key, writing=self._writing, least=self._sizes.least(path.name)
                    )
                except NewerFormat as error:
                    self._leave_alone(path, error)
                    raise
                except OSError as error:
                    self._leave_alone(path, error)
                    raise NotReadable(path, error) from error
                journal.changing = self._names.changing
                self.left_alone.pop(path, None)
                held, had = self._sizes.digest(path.name), self._sizes.count(path.name)
                journal.damage = [attrs.evolve(damage, held=held, had=had) for damage in journal.damage]
                if self._writing:
                    self._notice_lacking(path, journal)
                    journal.damage = [self._keep_told(damage, path, journal) for damage in journal.damage]
                self._open[key] = HullFile(journal, self.put_if_absent)
                self._notice_another(path, self._open[key])
                self._note_what_is_as_noted(path.name, self._open[key])
            return self._open[key]

    def _was_here(self, name: str) -> bool:
        """Whether a hull file that is not here was when the folder was listed, or may have been: all of it is gone."""
        return name in self._key_of_name or not self._hulls_folder.is_dir()

    def _note_what_is_as_noted(self, name: str, hull: HullFile) -> None:
        """Note the ids of a sound file that an older version wrote, or that was put back; or its digest."""
        count, is_sound = len(hull.journal.entries), not hull.journal.damage
        if not (self._writing and count and is_sound):
            return
        if (check := self._sizes.check(name)) and check == check_of(hull.journal.crc()):
            self._sizes.note_digest(name, hull.digest())
        if self._sizes.digest(name) == hull.digest():
            if self._sizes.known(name) == count:
                hull.unnoted = []
            else:
                self._note_ids({name: hull})

    def _note_ids(self, hulls: Mapping[str, HullFile]) -> None:
        """Note which entries stand in hull files, once they are flushed."""
        is_noted = self._known.note({name: hull.ids_to_note() for name, hull in hulls.items()})
        for hull in hulls.values():
            hull.unnoted = [] if is_noted else None
        if is_noted:
            self._sizes.note_known({name: len(hull.journal.entries) for name, hull in hulls.items()})

    def _holds_all_of(self, note: str, ids: Iterable[str]) -> bool:
        """Whether some ids are those of all entries that a file ever held, where it is known which those were.

        note : name of the file, or what its note stands under since it was kept as damaged, or gone
        """
        count = self._sizes.count(note)
        if not count or self._sizes.known(note) != count:
            return False
        known = self._known.of(note.partition(SET_ASIDE)[0])
        return len(known) >= count and known <= {name[:BEGINNING] for name in ids}

    def _notice_another(self, path: Path, hull: HullFile) -> None:
        """Where a file of the same name was copied over ours, what ours held is told as gone, and the new one noted."""
        size = hull.journal.size_flushed
        if not size or hull.journal.damage or self._begins_as_noted(path, size, hull.journal.entries):
            return
        if not self._holds_all_of(path.name, hull.journal.entries):
            self._sizes.note_gone(path.name)
        self._sizes.note({path.name: size}, {path.name: hull.digest()}, {path.name: len(hull.journal.entries)})

    def _notice_lacking(self, path: Path, journal: Journal) -> None:
        """Where all of a damaged file could be read and it lacks what it held, another was copied over it: what it held
        is told as gone, before its note is one of what is left. Of a file cut short its length tells.
        """
        count = self._sizes.count(path.name)
        if not journal.damage or path.is_symlink() or not count or self._sizes.known(path.name) != count:
            return
        for damage in journal.damage:
            kept = _content_of(damage.set_aside) if damage.set_aside and not damage.cut else OSError()
            if isinstance(kept, OSError) or read(kept).bad:
                return
        known = self._known.of(path.name)  # more of them are also those of a file that was here before, and is told
        if len(known) == count and not known <= {name[:BEGINNING] for name in journal.entries}:
            self._sizes.note_gone(path.name)

    def _begins_as_noted(self, path: Path, size: int, ids: Iterable[str]) -> bool:
        """Whether a file holds just what it held when its length was noted, up to that length; it only ever grows.

        size, ids : of the file as it is now; all of it can be read
        """
        held, least = self._sizes.digest(path.name), self._sizes.least(path.name)
        if path.is_symlink():  # where a link leads to, other folders may write
            return True
        if not held:  # the program that saved the last of it was killed before it noted a digest
            check = self._sizes.check(path.name)
            return not check or check == check_of(crc32(path.read_bytes()[:least]))
        if size > least:
            ids = read(path.read_bytes()[:least]).ids
        return digest_of(ids) == held

    def _keep_told(self, damage: Damage, path: Path, journal: Journal) -> Damage:
        """Keep a file that is shorter than it was beside the one in use: the next save makes its length the known one.

        Where it cannot be kept, on a full disk, its note stays, and the next to open the folder tries again.
        """
        kept = damage.set_aside
        if damage.cut and kept is None:
            try:
                kept = storage.keep_beside(journal.path.read_bytes(), path)
            except (NotSaved, OSError):
                return damage
        if kept:
            self._note_cut(attrs.evolve(damage, set_aside=kept), known=self._sizes.known(path.name))
            self._sizes.note({path.name: journal.size_flushed})
        return attrs.evolve(damage, set_aside=kept)

    def _note_cut(self, damage: Damage, known: int = 0) -> None:
        """Note how long a damaged file once was, and what it held, beside the name it is kept under.

        known : how many entries it held when the ids of all were noted here
        """
        if damage.set_aside and damage.cut:
            kept = damage.set_aside.name
            held = {kept: damage.held} if damage.held else {}
            had = {kept: damage.had} if damage.had else {}
            self._sizes.note_known({kept: known} if known else {})
            self._sizes.note({kept: damage.size + damage.cut}, held, had)

    def _place_of(self, path: Path) -> Path:
        """Where a hull file lies: where a link in its place leads to, once nobody else writes there.

        errors : FolderInUse
        """
        if not path.is_symlink():
            return path
        place = path.resolve()
        if self._writing and place.parent.name == HULLS_FOLDER:
            self._lock(place.parent.parent)
        return place

    def _entries_of(self, hull: str) -> Mapping[str, bytes]:
        """Bytes by id of the entries held of a hull. To ask for one that nobody has leaves nothing behind."""
        key = hull_number.key(hull)
        if key not in self._open:
            try:
                os.lstat(self._hulls_folder / file_name(key))
            except FileNotFoundError:
                if self._writing or not self._was_here(file_name(key)):
                    return MappingProxyType({})
            except OSError:
                pass  # it is there, and the disk refuses: opening it says what
        return self.hull(key).journal.entries

    def entries(self, hull: str) -> tuple[Entry, ...]:
        """Views of a hull's entries, in the order they came in."""
        with self._guard:
            return self.hull(hull).entries()

    def digests(self) -> dict[str, str]:
        """For each hull, a digest of the ids held: equal digests mean equal entries.

        errors : as `holdings`
        """
        return {key: held.digest for key, held in self.holdings().items()}

    def holdings(self) -> dict[str, Holding]:
        """What is held of each hull, by its key, sorted.

        Every file is read and every entry in it proved, once a day as long as it stays as it is. Of many files those
        that are just as they were noted are not kept in memory.

        errors : NotSaved when what is held in memory is not on the disk any more, and cannot be put there
        """
        with self._guard:
            if self._writing:
                self._put_back()
            names, held = self._hull_files(), dict[str, Holding]()
            self.taken = Taken()
            if are_many := len(names) > MOST_IN_MEMORY:
                names = self._without_proved(names, held)
            for key in self._keys_of(names):
                is_at_work = key in self._open
                if found := self._holding(key):
                    held[key] = found
                if are_many and not (self._writing or is_at_work):
                    self._let_go(key)
            in_order = sorted(held)
            return held if in_order == [*held] else {key: held[key] for key in in_order}

    def _let_go(self, key: str) -> None:
        """Hold a hull no longer that was read to tell what it holds, but for damage, of which there is more to tell."""
        if key in self._open and not self._open[key].journal.damage:
            del self._open[key]

    def _without_proved(self, names: Collection[str], held: dict[str, Holding]) -> list[str]:
        """Prove files that nobody works with, that are sound, and hold just what was noted when they were flushed.

        names   : sorted
        held    : takes in what each of them holds, by its hull's key
        returns : names of the others. Of each there is more to say: its journal is opened
        """
        others: list[str] = []
        asked: dict[str, os.stat_result] = {}  # of the one name that is on its way
        proof_of, taken, made_at = self._proofs.looked_up(seconds_now()), 0, set[str]()

        def not_proved() -> Iterator[str]:
            nonlocal taken
            for name in names:
                key, found = self._key_of_name.get(name) or key_in_name(name), self._found(name)
                if found is None or key in self._open:
                    others.append(name)
                elif key and (proved := proof_of(name, found)):
                    digest, entries, made = proved
                    held[key] = Holding(digest, entries)
                    taken += 1
                    made_at.add(made)
                elif stat.S_ISREG(found.st_mode):
                    asked[name] = found
                    yield name
                else:
                    others.append(name)

        for name, noted in self._sizes.of_each(not_proved()):
            found, now = asked.pop(name), time.time_ns()
            is_noted = noted.digest and noted.size == found.st_size
            if (
                is_noted
                and (noted.known == noted.entries or not self._writing)
                and (key := self._proved_now(name, noted))
            ):
                self._key_of_name[name] = key
                held[key] = Holding(noted.digest, noted.entries)
                self._proofs.add(name, found, held[key], now)
            else:
                others.append(name)
        self._proofs.write()
        if made_at:
            self.taken = Taken(taken, int(min(made_at)))
        for path in [*self.left_alone]:
            if path.name in names and path.name not in others:  # it can be read by now
                self.left_alone.pop(path)
        return sorted(others)

    def _proved_now(self, name: str, noted: Noted) -> str:
        """Whose file it is, where every entry, read now, proves itself and all are just those noted; else ""."""
        try:
            data = _bytes_of(self._hulls_prefix + name, noted.size)
            scan = read(data)
        except (NewerFormat, OSError):
            return ""
        is_as_noted = len(data) == noted.size and (digest_of(scan.entries), len(scan.entries)) == noted[1:3]
        return scan.key if scan.is_sound and is_as_noted and file_name(scan.key) == name else ""

    def _put_back(self) -> None:
        """Write again what is held in memory and was taken from the disk behind our back: with an older copy, say."""
        self._keep_place()
        for key, hull in self._open.items():
            if key in self._unflushed or not hull.journal.entries:
                continue
            found = self._found(hull.journal.path.name)
            is_as_left = found and found.st_size == hull.journal.size_flushed and hull.journal.is_as_left(found)
            if not (is_as_left and hull.journal.time_tells):
                if is_as_left:
                    hull.journal.doubt()
                try:
                    hull.append({})
                except (NewerFormat, OSError) as error:
                    raise NotSaved(f"{hull.journal.path} not saved: {in_words(error)}") from error
                if hull.journal.needs_flush:
                    self._unflushed[key] = hull
        if not self._batches:
            self._flush()

    def ids(self, hull: str) -> frozenset[str]:
        """Ids of the entries held of a hull."""
        with self._guard:
            return frozenset(self._entries_of(hull))

    def held(self, hull: str) -> Mapping[str, bytes]:
        """The entries held of a hull as they are at any time: to look up, not to keep."""
        with self._guard:
            return self._entries_of(hull)

    def look_at(self, hull: str) -> frozenset[str]:
        """Read a hull's file as `ids` does, and hold it in memory no longer than before: there are many."""
        with self._guard:
            held = [*self._open]
            ids = self.ids(hull)
            self.hold_only(held)
            return ids

    def read_once(self, hull: str) -> tuple[Entry, ...]:
        """Read a hull's entries as `entries` does, and hold them in memory no longer than before: there are many.

        errors : FolderClosed; a thread that is still at work must not open files anew
        """
        with self._guard:
            self._refuse_closed()
            held = [*self._open]
            entries = self.entries(hull)
            self.hold_only(held)
            return entries

    def _refuse_closed(self) -> None:
        if self._writing and not self._locks:
            raise storage.FolderClosed(f"{self.folder} is closed")

    def hold_only(self, hulls: Collection[str]) -> None:
        """Hold no other hulls in memory: each is read anew when it is asked for.

        One that waits for its flush is held on, and one that was found damaged, of which there is more to tell.

        hulls : their keys
        """
        with self._guard:
            self._note_late_digest()
            for key, hull in [*self._open.items()]:
                is_at_work = key in self._unflushed or hull in self._held_open
                if key not in hulls and not (is_at_work or hull.journal.damage):
                    del self._open[key]

    def count(self, hull: str) -> int:
        """How many entries are held of a hull."""
        with self._guard:
            return len(self._entries_of(hull))

    def get(self, hull: str, ids: Iterable[str] | None = None) -> CheckedEntries:
        """Entries of a hull by id; all of them when no ids are given. Ids not here are left out."""
        with self._guard:
            held = self._entries_of(hull)
            if ids is None:
                return CheckedEntries(held)
            return CheckedEntries((name, held[name]) for name in ids if name in held)

    def offer(self, hull: str, known: Mapping[str, bytes], beginning: Beginning | None = None) -> Offer:
        """What this folder has of a hull for someone else. Faster than `get`: what is known is compared, not proved.

        known     : the entries that the other side holds
        beginning : of these another file of the hull
        """
        key = hull_number.key(hull)
        with self._guard:
            path = self._hulls_folder / file_name(key)
            if not self._writing and key not in self._open and path.exists():
                try:
                    data = path.read_bytes()
                except OSError as error:
                    self._leave_alone(path, error)
                    raise
                reading = read(data, known, beginning)
                ids = reading.ids  # nearly sorted, as a digest needs them
                is_whole = len(data) >= self._sizes.least(path.name) and bool(ids)
                is_ours = reading.is_sound and is_whole and reading.key == key
                if is_ours and (self._begins_as_noted(path, len(data), ids) or self._holds_all_of(path.name, ids)):
                    unknown = CheckedEntries(reading.entries)
                    unknown.block = reading.block
                    return Offer(ids, unknown, data)
            held = self.hull(hull).journal.entries
            unknown = CheckedEntries((name, raw) for name, raw in held.items() if name not in known)
            return Offer([*held], unknown)

    def save(self, entry: Entry) -> str:
        """Keep one entry; saved when this returns.

        returns : its id
        errors  : NotSaved
        """
        with self._guard:
            self._keep_place()
            file = self._open.get(entry.hull_key)
            if (
                file
                and entry.is_checked
                and entry.id not in file.journal.entries
                and self._saved_at_once(file, {entry.id: entry.raw})
            ):
                return entry.id  # nearly always
            for _, reason in self._put(entry.hull, [entry], None)[1]:
                raise reason
            return _id_of(entry)

    def put_if_absent(
        self,
        hull: str,
        entries: CheckedEntries | Iterable[Entry | bytes],
        seen: list[Parts | None] | None = None,
    ) -> PutResult:
        """Keep entries of one hull that are not here yet; saved when this returns, or when the batch around it ends.

        hull    : its number, typed in any way
        entries : the entries, or their bytes as they came
        seen    : takes in what was seen of each that was added when it was checked, in their order
        returns : what was added; bytes that are no entry, which are carried by one; and what was refused with the
                  reason: entries of another hull, and what is too large
        errors  : NotSaved; none of them was kept
        """
        new, refused, strays = self._put(hull, entries, seen)
        return PutResult(tuple(new), tuple(refused), strays)

    def _put(
        self, hull: str, entries: CheckedEntries | Iterable[Entry | bytes], seen: list[Parts | None] | None
    ) -> _NewEntries:
        with self._guard:
            self._keep_place()
            opened = self._open.get(hull_number.key(hull))
            file = opened or self.hull(hull)
            put = _new_entries(file, entries, seen)
            new = put[0]
            if opened and self._saved_at_once(file, new):
                return put
            block = entries.block if isinstance(entries, CheckedEntries) and [*new] == [*entries] else b""
            file.append(new, block)
            self._unflushed[file.key] = file
            if not self._batches or len(self._unflushed) > MOST_UNFLUSHED:
                self._flush()
            return put

    def would_put(
        self,
        hull: str,
        entries: CheckedEntries | Iterable[Entry | bytes],
        seen: list[Parts | None] | None = None,
    ) -> PutResult:
        """What `put_if_absent` would add and refuse; nothing is written."""
        with self._guard:
            new, refused, strays = _new_entries(self.hull(hull), entries, seen)
            return PutResult(tuple(new), tuple(refused), strays)

    @contextlib.contextmanager
    def batch(self) -> Iterator[None]:
        """Put many entries and flush each file once. They are saved when the batch has ended without NotSaved.

        Other threads wait until it has ended: fetch from a network first, then put.
        """
        with self._guard:
            self._batches += 1
            try:
                yield
            finally:
                self._batches -= 1
                if not self._batches:
                    self._flush()

    def not_read(self) -> tuple[tuple[str, str], ...]:
        """What lies here and could not be read so far, each with the reason: hull files, oddities among attachments."""
        with self._guard:
            found = {**self.left_alone, **self.attachments.odd}
            if not self._hulls_folder.is_dir():
                found[self.folder] = storage.NOT_THERE_ANY_MORE.removeprefix("is ")
            return tuple(sorted((str(path), why) for path, why in found.items()))

    def damage_found(self) -> tuple[Damage, ...]:
        """Every damage found since the folder was opened."""
        with self._guard:
            found = [damage for hull in self._open.values() for damage in hull.journal.damage]
            if self._held_only:  # a file that is passed over is opened as its boat's too, and was told of
                told = {damage.file for damage in self._damage}
                found = [damage for damage in found if damage.file not in told]
            return (*self._damage, *found, *self.attachments.damage)

    def damage(self) -> tuple[Damage, ...]:
        """Every damage found since the folder was opened, and the files found cut off before that, while they are kept.

        Nobody knows what was cut off. Only where a hull holds just what it did is all of it back, without a person.
        """
        return self._told(None)

    def _told(self, names: Collection[str] | None) -> tuple[Damage, ...]:
        """The same of some hull files, of which the folder is not listed as long as they are there.

        names : of the files; None for all
        """
        with self._guard:
            found = [damage for damage in self.damage_found() if names is None or damage.file.name in names]
            told = {damage.set_aside for damage in found}
            cut = (damage for damage in self._cut_before(names) if damage.set_aside not in told)
            return (*found, *cut, *self.gone(names))

    def gone(self, names: Collection[str] | None = None) -> tuple[Damage, ...]:
        """Hull files that once were here and are not, or came back as something else than they were, as far as read.

        A boat's file is never removed by this program. One that a person removed is told until it is forgotten.

        names : of the files asked for; None for all
        """
        with self._guard, contextlib.suppress(OSError):  # a folder that cannot be listed says so itself
            noted = self._sizes.gone()
            asked = noted if names is None else {name: noted[name] for name in names if name in noted}
            before = [(name, note) for name, notes in asked.items() for note in notes]
            lacking = [(name, note) for name, note in before if self._is_still_lacking(name, note)]
            lacking += [(name, name) for name in self._gone_now(names)]
            return tuple(self._gone_as(name, note) for name, note in sorted(lacking))
        return ()

    def _gone_now(self, names: Collection[str] | None) -> list[str]:
        """Names of hull files that were flushed once and are not here, of those asked for."""
        if names is not None:
            asked = {name for name in names if self._sizes.least(name) and not _is_there(self._hulls_folder / name)}
            return [name for name in self._gone_now(None) if name in asked] if asked else []
        if self._names.are_as_noted(self._sizes.mark):
            return [name for name in self._sizes.hulls_of_late() if not _is_there(self._hulls_folder / name)]
        marks = self._sealed()
        gone = self._sizes.hulls_not_among(self._names_here())
        self._names.listed(b"" if gone else marks, self._sizes.mark)
        return gone

    def forget_gone(self, hull: str) -> bool:
        """Tell nobody any more of a hull file that was removed on purpose; False where none is told of.

        hull : its number, or the name of its file
        """
        name = hull if _NAME.fullmatch(hull) else file_name(hull_number.key(hull))
        with self._guard:
            if _is_there(self._hulls_folder / name):  # another copied over it is noticed where it is read
                self._digest(self._key_of(name))
            told = {damage.file.name: damage.file for damage in self.gone()}
            if name in told:
                self._sizes.forget(name, is_back=_is_there(told[name]))
                self._forget_ids(name)
            return name in told

    def _forget_ids(self, name: str) -> None:
        """What a file held that was removed on purpose is missed no more; what stands in it now is noted anew."""
        self._known.forget(name)
        self._sizes.note_known({name: 0})
        for hull in self._open.values():
            if hull.journal.path.name == name:
                hull.unnoted = None
                self._note_ids({name: hull})

    def _note_gone(self, path: Path) -> None:
        """Remember that a file is gone before another is begun in its place; one that was set aside is not gone."""
        with contextlib.suppress(OSError):
            if path.name not in self._names_here():
                self._sizes.note_gone(path.name)

    def _gone_as(self, name: str, noted: str) -> Damage:
        size, path = self._sizes.least(noted), self._hulls_folder / name
        is_back = _is_there(path)
        number = name.partition("-")[0]  # as much of it as a file's name holds
        count = self._sizes.count(noted)
        how_much = in_number(count, "entry", "entries") if count else in_number(size, "byte")
        state = (
            f"it was gone, and what came back is not just what it held, {how_much}"
            if is_back
            else f"the file is gone. It held {how_much} when it was last saved"
        )
        which = number if file_name(number) == name else name
        reason = (
            f"{state}. Merge with the shop, or with a copy. If it was removed on purpose: "
            f"garboard repair {self.folder} --forget {which}"
        )
        held, had = self._sizes.digest(noted), self._sizes.count(noted)
        return Damage(path, None, 0, 1, reason, size, 0, held, had, is_gone=True)

    def _is_still_lacking(self, name: str, kept: str) -> bool:
        """Whether a file that was gone is not back; once its hull held again just what it had held, it is."""
        if not self._sizes.least(kept):
            return False
        is_here = _is_there(self._hulls_folder / name)
        if not (is_here and self._is_all_back(kept, self._sizes.digest(kept))):
            return True
        self._sizes.note({kept: 0})
        return False

    def _is_all_back(self, note: str, held: str) -> bool:
        """Whether a hull holds all that a file of it held: just that, or more and it is known which entries those were.

        note, held : what the file is noted under, and the digest of what it held; "" where nobody noted it
        """
        key = self._key_of(note.partition(SET_ASIDE)[0])
        digest = self._digest(key)
        return bool(digest) and (digest == held or self._holds_all_of(note, self.ids(key)))

    def _names_here(self) -> set[str]:
        """Names of what lies here, and of what a link here leads to: they are not gone.

        A copy kept as damaged says nothing of that, however long: what was mended after it may be gone.
        """
        found: set[str] = set()
        with os.scandir(self._hulls_folder) as files:
            for file in files:
                found.add(file.name)
                if file.is_symlink():
                    found.add(Path(file.path).resolve().name)
        return found

    def _cut_before(self, names: Collection[str] | None) -> Iterator[Damage]:
        of_kept = self._sizes.of_kept()
        for name in [name for name in of_kept if names is None or name.partition(SET_ASIDE)[0] in names]:
            kept = self._hulls_folder / name
            with contextlib.suppress(NewerFormat, OSError):  # removed by a person, or kept by a newer version
                data = storage.content_of(kept)
                if cut := self._cut_of(kept, data):
                    reason = (
                        f"the file was found {in_number(cut, 'byte')} shorter than it was saved; merge to "
                        f"bring back the rest, "
                    )
                    reason += "then remove what is kept"
                    file = self._hulls_folder / name.partition(SET_ASIDE)[0]
                    kept_entries, held, had = len(read(data).entries), self._sizes.digest(name), self._sizes.count(name)
                    yield Damage(file, kept, kept_entries, 1, reason, cut, len(data), held, had)

    def _cut_of(self, kept: Path, data: bytes) -> int:
        """How many bytes a kept file lacks that are not back; 0 once its hull held again just what it had held."""
        cut = max(0, self._sizes.least(kept.name) - len(data))
        if not (cut and self._is_all_back(kept.name, self._sizes.digest(kept.name))):
            return cut
        self._sizes.note({kept.name: len(data)})  # entries to come would hide that all came back
        return 0

    def losses(self, here: Collection[str], digests: Container[str] = ()) -> tuple[Loss, ...]:
        """What hull files found damaged here held once, and nobody holds who has the entries of some ids.

        here    : ids of the entries at hand
        digests : of the hulls at hand: one that holds just what a file held when it was last saved lacks nothing of it
        """
        with self._guard:
            return tuple(filter(None, (self._loss_of(damage, here, digests) for damage in self.damage())))

    def _loss_of(self, damage: Damage, here: Collection[str], digests: Container[str]) -> Loss | None:
        if (damage.held and damage.held in digests) or self._holds_all_of(self._note_of(damage), here):
            return None
        if damage.is_gone:
            return Loss(damage.file, 0, 0, gone=damage.cut)
        if damage.file.suffix != SUFFIX:
            return None
        try:
            data = storage.content_of(damage.set_aside or damage.file)
            reading = read(data)
            entries = missing_of(data, here) if data else 0
        except (NewerFormat, OSError):  # `left_alone` names it
            return None
        is_back = self._writing and self._is_as_long_as_it_was(damage)
        cut = 0 if is_back else damage.cut
        tail = _tail(damage.had, data)
        are_all_known = left_in(data) >= damage.had and any(names_any(piece, here) for piece in reading.bad)
        is_nothing_left = not (is_back or reading.entries or are_all_known) and bool(_NAME.fullmatch(damage.file.name))
        return Loss(damage.file, entries, cut, tail) if entries or (cut and tail != 0) or is_nothing_left else None

    def _note_of(self, damage: Damage) -> str:
        """What is noted of a file as it was before a damage."""
        if damage.set_aside:
            return damage.set_aside.name
        for note in self._sizes.gone().get(damage.file.name, []) if damage.is_gone else []:
            if (self._sizes.least(note), self._sizes.digest(note)) == (damage.cut, damage.held):
                return note
        return damage.file.name

    def _is_as_long_as_it_was(self, damage: Damage) -> bool:
        """Whether a file has got back what it lacked, as far as its length tells: nobody knows what was cut off."""
        size = damage.file.stat().st_size if damage.file.exists() else 0
        return size > 0 and size >= damage.size + damage.cut

    def set_aside(self, here: Container[str] | None = None) -> tuple[Loss, ...]:
        """Hull files kept as damaged of which something is still not here, as far as anybody can know. Reads them all.

        A file cut off at a line end is whole in itself: how long it once was, its note tells.

        here : ids of all entries here, from who has read them; None has them read
        """
        with self._guard:
            if here is None:
                here = {name for key in self.readable() for name in self.ids(key)}
            found: list[Loss] = []
            for path in sorted(self._kept_beside()):
                with contextlib.suppress(NewerFormat, OSError):  # kept by a newer version, which tells it itself
                    data = storage.content_of(path)
                    cut = self._cut_of(path, data)
                    if loss := self._still_lost(path, data, cut, self._sizes.count(path.name), here):
                        found.append(loss)
            return tuple(found)

    def take_in_kept(self) -> int:
        """Put entries that can be read in files kept as damaged, and are not here, where they belong: the program may
        have been killed, or the disk full, before it did; how many came.
        """
        with self._guard:
            here = {name for key in self.readable() for name in self.ids(key)}
            for path in self._kept_beside():
                with contextlib.suppress(NewerFormat, OSError):
                    entries = read(storage.content_of(path)).entries
                    if lacking := {name: raw for name, raw in entries.items() if name not in here}:
                        self._misplaced[path] = lacking
            hulls = self._put_in_their_places()
            return len({name for key in hulls for name in self.ids(key)} - here)

    def _still_lost(self, path: Path, data: bytes, cut: int, had: int, here: Container[str]) -> Loss | None:
        """What a damaged hull file held and is not here: all, where nothing in it can be read and no file stands."""
        entries = missing_of(data, here) if data else 0
        name = path.name.partition(SET_ASIDE)[0]
        is_all_gone = bool(_NAME.fullmatch(name)) and not (self._hulls_folder / name).exists()
        tail = _tail(had, data)
        return (
            Loss(path, entries, cut, tail)
            if entries or (cut and tail != 0) or (is_all_gone and not read(data).entries)
            else None
        )

    def keep_beside(self, damage: Damage) -> Path | None:
        """Keep another folder's damaged hull file as it is, beside our own, where something of it is not here.

        returns : where it is kept, once however often it comes; None where all of it is here, or it is gone, or none
        errors  : NotSaved; OSError and NewerFormat when it cannot be read
        """
        with self._guard:
            path = damage.file
            if path.suffix != SUFFIX or damage.is_gone:
                return None
            data = storage.content_of(damage.set_aside or path)
            here = {name for key in self.readable() for name in self.ids(key)}
            if not self._still_lost(path, data, damage.cut, damage.had, here):
                return None
            kept = storage.keep_beside(data, self._hulls_folder / path.name)
            self._note_cut(attrs.evolve(damage, set_aside=kept))
            return kept

    def damage_of(self, keys: Iterable[str]) -> tuple[Damage, ...]:
        """The damage found so far in hull files.

        keys : of the hulls
        """
        return self._told({file_name(key) for key in keys})

    def unread_of(self, keys: Iterable[str]) -> int:
        """How many entries of some hulls could not be read, now or when their files were mended, and are not back.

        keys : of the hulls
        """
        with self._guard:
            return sum(self._unread_of(key, self.damage_of([key]), self._kept_beside(file_name(key))) for key in keys)

    def unread(self) -> dict[str, int]:
        """How many entries could not be read and are not back, by the key of each hull that lacks some."""
        with self._guard:
            damage, kept = dict[str, list[Damage]](), dict[str, list[Path]]()
            for one in self.damage():
                damage.setdefault(one.file.name, []).append(one)
            for path in self._kept_beside():
                kept.setdefault(path.name.partition(SET_ASIDE)[0], []).append(path)
            keys = sorted({key for name in damage | kept if name.endswith(SUFFIX) and (key := key_in_name(name))})
            of_each = {key: (damage.get(file_name(key), ()), kept.get(file_name(key), ())) for key in keys}
            return {key: lacking for key, of_it in of_each.items() if (lacking := self._unread_of(key, *of_it))}

    def _kept_beside(self, name: str = "") -> list[Path]:
        """What is kept of damaged hull files beside them, of one or of all; listed again once a name may have come."""
        marks = self._names.marks_that_tell()
        if not marks or marks != self._kept_under:
            with os.scandir(self._hulls_folder) as files:
                self._kept = [file.name for file in files if f"{SUFFIX}{SET_ASIDE}" in file.name]
            self._kept_under = marks
        beginning = f"{name}{SET_ASIDE}" if name else ""
        return [self._hulls_folder / kept for kept in self._kept if kept.startswith(beginning)]

    def _unread_of(self, key: str, told: Iterable[Damage], kept: Iterable[Path]) -> int:
        """How many entries of a hull could not be read and are not back.

        told : the damage of its file
        kept : what is kept of it beside it
        """
        here: frozenset[str] = frozenset()
        with contextlib.suppress(NewerFormat, OSError):  # not read at all: `left_alone` names it
            here = self.ids(key)
        damaged = [damage for damage in told if damage.cut or not damage.set_aside]
        now = sum(max(damage.lost, _not_back(damage, len(here))) for damage in damaged)
        before = 0
        for path in kept:
            with contextlib.suppress(NewerFormat, OSError):
                before += missing_of(storage.content_of(path), here, cut_off=False)
        return max(now, before)  # of a mended file that it is shorter than it was is told as well: it lacks the same

    def _saved_at_once(self, file: HullFile, new: Mapping[str, bytes]) -> bool:
        """Save entries, which are new, after a look at the folder; False where the file must be looked into first, or
        more is to be flushed with it.
        """
        if self._batches or self._unflushed or not file.append_at_once(new):
            return False
        self._flush_at_once(file)
        return True

    def _flush_at_once(self, file: HullFile) -> None:
        """Have the disk hold what was put into one file just now, after a look at the folder and at the file.

        While the disk writes, what is to be noted is made ready. It is noted once the disk holds the file: after a
        power cut a note may say too little, never too much. Its digest is noted later, and a check of its bytes now.
        """
        journal, name = file.journal, file.name
        if self._digest_unnoted is not file:
            self._note_late_digest()
        noted = journal.to_note()
        ids, lines = lines_of(name, file.ids_to_note()), self._sizes.grown(name, noted)
        try:
            journal.flush_at_once()
        except NotSaved:
            file.take_back()
            raise
        if lines and noted.digest and self._known.write(ids):  # no digest is late where the ids are not noted
            self._sizes.note_grown(name, noted, lines)
            file.unnoted = []
            self._digest_unnoted = file
        else:
            self._note_saved({name: file})
        if self._held_open[-1:] != [file]:
            self._close_all_but_last([file])

    def _flush(self) -> None:
        """Have the disk hold all that was put in, and note it."""
        if not self._unflushed:
            return
        flushed, self._unflushed = [*self._unflushed.values()], {}
        try:
            self._keep_place()
        except NotSaved:
            for hull in flushed:
                hull.take_back()
            raise
        problems = [problem for problem in _at_once(self._flush_one, flushed) if problem]
        self._close_all_but_last(flushed)
        if self._names_unflushed:
            try:
                storage.flush_folder(self._hulls_folder)
            except OSError as error:
                problems.append(str(storage.not_saved(self._hulls_folder, error)))
                for hull in self._names_unflushed:
                    hull.journal.take_out()
                    hull.forget_views()
            self._names_unflushed = []
        self._note_saved({hull.name: hull for hull in flushed if hull.journal.size_flushed})
        if problems:
            raise NotSaved("\n".join(problems))

    def _note_saved(self, hulls: Mapping[str, HullFile]) -> None:
        """Note what stands in files that were flushed.

        hulls : by the files' names
        """
        is_noted = self._known.note({name: hull.ids_to_note() for name, hull in hulls.items()})
        if self._digest_unnoted not in hulls.values():
            self._note_late_digest()
        self._digest_unnoted = None
        self._sizes.note_saved(
            {
                name: Noted(
                    hull.journal.size_flushed,
                    hull.digest(),
                    len(hull.journal.entries),
                    len(hull.journal.entries) if is_noted else self._sizes.known(name),
                    hull.journal.changed,
                )
                for name, hull in hulls.items()
            }
        )
        for hull in hulls.values():
            hull.unnoted = [] if is_noted else None

    def _note_late_digest(self) -> None:
        """Note the digest of the file last saved to, where it still holds what is noted of it."""
        hull, self._digest_unnoted = self._digest_unnoted, None
        if hull is None:
            return
        is_as_noted = hull.journal.size_flushed == self._sizes.least(hull.name)
        if is_as_noted and len(hull.journal.entries) == self._sizes.count(hull.name):
            self._sizes.note_digest(hull.name, hull.digest())

    def _flush_one(self, hull: HullFile) -> str:
        """Why the hull's entries are not saved; "" when they are."""
        try:
            if hull.journal.flush():
                self._names_unflushed.append(hull)
        except NotSaved as error:
            hull.take_back()
            return str(error)
        return ""

    def _close_all_but_last(self, flushed: list[HullFile]) -> None:
        """Keep only the file last written open: a program may hold about a thousand, a shop has more hulls."""
        *done, last = [*self._held_open, *flushed]
        for hull in done:
            if hull is not last:
                hull.journal.close()
        self._held_open = [last]

    def _digest(self, key: str) -> str:
        """A hull's digest; "" when its file cannot be read, or nothing is left in it."""
        held = self._holding(key)
        return held.digest if held else ""

    def _holding(self, key: str) -> Holding | None:
        """What is held of a hull; None when its file cannot be read, or nothing is left in it."""
        if not key:
            return None
        try:
            hull = self.hull(key)
        except (NewerFormat, OSError):
            return None
        return Holding(hull.digest(), len(hull.journal.entries)) if hull.journal.entries else None

    def _leave_alone(self, path: Path, error: NewerFormat | OSError) -> None:
        self._proofs.forget(path.name)
        self.left_alone[path] = refusal(error) if isinstance(error, OSError) else str(error)

    def _key_of(self, name: str) -> str:
        """The hull a file belongs to; "" for one left alone or set aside."""
        if name not in self._key_of_name:
            path = self._hulls_folder / name
            try:
                key = key_of_file(path)
            except (NewerFormat, OSError) as error:
                self._leave_alone(path, error)
                return ""
            if not key:
                self._take_out_of_use(path)
                return ""
            self.left_alone.pop(path, None)
            self._key_of_name[name] = key
        return self._key_of_name[name]

    def _take_out_of_use(self, path: Path) -> None:
        """Keep beside what stands under a hull file's name and is none of it, and tell what the file held before."""
        if path in {damage.file for damage in self._damage}:
            return
        content, least = path.read_bytes(), self._sizes.least(path.name)
        entries = read(content).entries
        is_replaced = bool(content) and (len(content) >= least or bool(entries))
        kept = storage.set_aside(path) if self._writing else None
        done = "was taken out of use" if self._writing else "is passed over"
        reason = f"this is no hull file, or not one of this name; it {done}" if content else EMPTIED
        if is_replaced:  # what is kept is another hull's, or so long that its length would not tell
            self._damage.append(Damage(path, kept, 0, 0, reason, 0, len(content)))
            self._note_replaced(path)
            if entries:
                self._misplaced[path] = entries
        else:
            cut, held, had = least - len(content), self._sizes.digest(path.name), self._sizes.count(path.name)
            self._damage.append(Damage(path, kept, 0, int(not content), reason, max(0, cut), len(content), held, had))
            self._note_cut(self._damage[-1], known=self._sizes.known(path.name))
            if kept:
                self._sizes.note({path.name: 0})  # the file it is kept as tells of it
        if kept:  # noted before it goes: for a program after one that is killed between it is never gone untold
            path.unlink()
            storage.flush_folder(path.parent)

    def _put_in_their_places(self) -> set[str]:
        """Put entries out of files that are not of their names into the hull files of the boats they belong to: each
        names its boat, and proves itself. In a folder that is only read they are held beside the others.

        returns : keys of the hulls they belong to. What the disk refuses stays in the file that is kept
        """
        found: set[str] = set()
        while self._misplaced:
            path, entries = self._misplaced.popitem()
            of_hulls: dict[str, CheckedEntries] = {}
            for name, raw in entries.items():
                with contextlib.suppress(InputError):
                    of_hulls.setdefault(hull_key_and_parts(raw)[0], CheckedEntries())[name] = raw
            kept = 0
            for key, those in of_hulls.items():
                with contextlib.suppress(NotSaved, NewerFormat, OSError):
                    if self._writing:
                        self._put(key, those, None)
                    else:
                        self.hull(key).journal.entries.update(those)
                        self._held_only.add(key)
                    kept += len(those)
                    found.add(key)
            self._damage = [
                attrs.evolve(one, recovered=kept) if one.file == path and not one.is_gone else one
                for one in self._damage
            ]
        return found

    def _note_replaced(self, path: Path) -> None:
        """What a file held is gone where something else stood in its place."""
        if self._writing:
            self._sizes.note_gone(path.name)
        elif self._sizes.least(path.name):
            self._damage.append(self._gone_as(path.name, path.name))


def _content_of(path: Path) -> bytes | OSError:
    """What stands in a hull file, or where a link in its place leads to."""
    try:
        if what := storage.what_else(path.resolve()):  # a pipe never ends
            raise OSError(errno.EINVAL, f"{what}, where a hull file should stand", str(path))
        if content := path.read_bytes():
            return content
        raise OSError(errno.EINVAL, EMPTIED, str(path))
    except OSError as error:
        return error


def _bytes_of(path: str, size: int) -> bytes:
    """What stands in a file that is so long: a hundred thousand are read, so without what pathlib does besides."""
    descriptor = os.open(path, _READ)
    try:
        return os.read(descriptor, size + 1)
    finally:
        os.close(descriptor)


def _tail(had: int, data: bytes) -> int | None:
    """How many entries stood in what was cut off a file; None where nobody noted how many it had."""
    return max(0, had - left_in(data)) if had else None


def _not_back(damage: Damage, here: int) -> int:
    """How many entries of a damaged file are lacking at least; 0 where nobody noted how many it had.

    here : how many its hull holds now
    """
    return max(0, damage.had - here)


def _is_there(path: Path) -> bool:
    """Whether anything stands there, a link to nowhere too; so where the disk does not say."""
    try:
        path.lstat()
    except FileNotFoundError:
        return False
    except OSError:
        return True
    return True


def _at_once(work: Callable[[HullFile], str], hulls: list[HullFile]) -> list[str]:
    """A disk asked for many flushes at once answers them together; one after another each waits its turn."""
    if len(hulls) == 1:
        return [work(hulls[0])]
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(min(len(hulls), MOST_FLUSHED_AT_ONCE)) as pool:
        return list(pool.map(work, hulls))


_NewEntries = tuple[dict[str, bytes], list[tuple[str, InputError]], dict[str, tuple[Entry, InputError]]]
"""What is to be added, what is refused, and strays; see `PutResult`."""


def _new_entries(
    file: HullFile, entries: CheckedEntries | Iterable[Entry | bytes], seen: list[Parts | None] | None = None
) -> _NewEntries:
    held, ours = file.journal.entries, file.journal.key
    new: dict[str, bytes] = {}
    seen = [] if seen is None else seen
    if isinstance(entries, CheckedEntries) and entries.block and held.keys().isdisjoint(entries):
        found = parts_of_lines(entries.block, ours)
        if len(found) == len(entries):  # nearly always: all in one search
            seen += found
            return {**entries}, [], {}
    refused: list[tuple[str, InputError]] = []
    strays: dict[str, tuple[Entry, InputError]] = {}
    for name, raw in _by_id(entries):
        if name in held or name in new:
            continue
        try:
            key, parts = hull_key_and_parts(raw)
        except InputError as error:
            carrying = stray_of(ours, raw)
            if carrying is None:
                refused.append((name, error))
                continue
            strays[name] = carrying, error
            if carrying.id not in held:
                new[carrying.id] = carrying.raw
                seen.append(None)
            continue
        if key != ours:
            refused.append((name, InputError(f"entry {name}", [Fault("hull", file_in_words(ours), key)])))
            continue
        new[name] = raw
        seen.append(parts)
    return new, refused, strays


def _by_id(entries: CheckedEntries | Iterable[Entry | bytes]) -> Iterable[tuple[str, bytes]]:
    if isinstance(entries, CheckedEntries):
        return entries.items()
    return [(_id_of(one), one.raw) if isinstance(one, Entry) else (entry_id(one), one) for one in entries]


def _id_of(entry: Entry) -> str:
    """By its bytes: a copy altered by a program may say another, under which it would be damage when it is read."""
    return entry.id if entry.is_checked else entry_id(entry.raw)
