"""Whether a handover book is what it says: its file, the entries since, and its figures computed anew, each apart."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable, Sequence
from enum import StrEnum

import attrs

from garboard.disk.entries import SHOP_RECORD, Entry
from garboard.disk.hullfile import HullFolder
from garboard.history.authority import managers_of
from garboard.history.boat import Boat, open_entries, open_hull, recordings_of
from garboard.history.exchange import not_here_whole
from garboard.history.proof import Issued, covered, hash_of, issued_books, root_of
from garboard.history.registers import name_of, register_of
from garboard.hosting.host import PluginHost
from garboard.steps import Assessed


class FileState(StrEnum):
    """What is known of a file's bytes."""

    ISSUED = "issued"
    ANOTHER = "another file"
    NEVER = "never issued here"


class EntriesState(StrEnum):
    """How the entries now stand to those of the book."""

    SAME = "same root"
    ADDED = "entries added"
    CHANGED = "entries missing or changed"
    MOVED = "entries under another number"
    NOT_STATED = "the book states none"
    FALSE = "the book's list does not make its root"


@attrs.frozen
class FileChecked:
    """A file's bytes.

    issued : the entry about this file; for another file the last that was issued with the root it states
    """

    state: FileState
    sha256: str
    size: int
    issued: Issued | None = None


@attrs.frozen
class EntriesChecked:
    """The entries of the boat, against those of the book.

    stated  : root in the book
    now     : root over the entries there are
    count   : how many the book covers
    added   : what they are about, those not in the book
    missing : how many of the book's are not here, or not as they were
    moved   : how many of the book's stand under another hull number now, as a job was moved on
    """

    state: EntriesState
    stated: str
    now: str
    count: int
    added: tuple[str, ...]
    added_count: int
    missing: int
    moved: int = 0


def file_checked(
    boat: Boat, book: bytes, root: str, elsewhere: Callable[[str], Iterable[Issued]] = lambda _sha256: ()
) -> FileChecked:
    """What is known of a file's bytes.

    root      : the root it states, "" for none
    elsewhere : gives books of the boat that stands where a file of some hash was issued: its job may have been moved
    """
    sha256 = hashlib.sha256(book).hexdigest()
    books = issued_books(boat)
    if not any(one.sha256 == sha256 for one in books):
        books = (*books, *elsewhere(sha256))
    same = next((one for one in books if one.sha256 == sha256), None)
    if same is not None:
        return FileChecked(FileState.ISSUED, sha256, len(book), same)
    alike = [one for one in books if root and one.root == root]
    return FileChecked(FileState.ANOTHER if alike else FileState.NEVER, sha256, len(book), alike[-1] if alike else None)


def entries_checked(
    boat: Boat, root: str, hashes: Sequence[str], elsewhere: Callable[[], Collection[str]] = frozenset
) -> EntriesChecked:
    """The entries of a boat against a root and the hashes it is over.

    elsewhere : gives the hashes of all entries there are, of other boats too; asked where the boat lacks some
    """
    here = covered(boat)
    listed = {*hashes}
    added = sorted((one for name, one in here.items() if name not in listed), key=lambda one: (one.clock, one.id))
    names = tuple(dict.fromkeys(name_of(register_of(one)) for one in added))
    lacking = listed - here.keys()
    moved = lacking.intersection(elsewhere()) if lacking else set[str]()
    missing = len(lacking - moved)
    now = root_of(here)
    if not root:
        state = EntriesState.NOT_STATED
    elif root_of(listed) != root:
        state = EntriesState.FALSE
    elif root == now:
        state = EntriesState.SAME
    elif missing:
        state = EntriesState.CHANGED
    else:
        state = EntriesState.MOVED if moved else EntriesState.ADDED
    return EntriesChecked(state, root, now, len(listed), names, len(added), missing, len(moved))


def hashes_in(hulls: HullFolder) -> frozenset[str]:
    """The hashes of all entries in a folder, as far as it can be read."""
    return frozenset(hash_of(entry) for key in hulls.readable() for entry in hulls.entries(key))


def judged_anew(
    hulls: HullFolder, hull: str, job: str, hashes: Sequence[str], host: PluginHost
) -> tuple[Assessed, ...]:
    """The findings of a job from the entries of a book alone, by the program and the plugins of today.

    hashes : of the entries; what came since plays no part. The shop's settings are those of today.
    """
    kept = {*hashes}

    def entries_of(key: str) -> Sequence[Entry]:
        entries = hulls.entries(key)
        return entries if key == SHOP_RECORD else [one for one in entries if hash_of(one) in kept]

    boat = open_entries(entries_of, hull, managers_of(hulls.folder))
    return host.assess(boat.view(job, recordings_of(hulls)))


def files_lacking(hulls: HullFolder, boat: Boat) -> tuple[str, ...]:
    """Recordings and photos that entries of a boat name, and that are not here whole: what each is called."""
    lacking = not_here_whole(hulls, covered(boat).values())
    return tuple(called or name[:12] for name, called in lacking.items())


def boat_of_book(hulls: HullFolder, sha256: str) -> str:
    """The hull key under which a file of that hash was issued; "" for none."""
    wanted = sha256.encode()
    for key in hulls.readable():
        if key != SHOP_RECORD and any(wanted in entry.raw for entry in hulls.entries(key)):
            return key
    return ""


def books_beside(hulls: HullFolder, sha256: str) -> tuple[Issued, ...]:
    """The books of the boat under whose number a file of that hash was issued."""
    key = boat_of_book(hulls, sha256)
    return issued_books(open_hull(hulls, key)) if key else ()


def boat_named(hulls: HullFolder, hull: str) -> Boat | None:
    """The boat of a hull number; None where nothing is known of it."""
    boat = open_hull(hulls, hull)
    return boat if len(boat.state) else None
