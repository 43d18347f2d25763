"""What proves a handover book: one hash over the entries of its boat, and entries that say which books were issued.

The root is SHA-256 [1] over a heading of its own, then the SHA-256 of each entry's bytes, sorted. The heading keeps a
root from being taken for another hash; hashes of one length leave one way to read what was hashed. Whoever has the
entries works the root out again; whoever changes, leaves out or adds one gets another.

It covers every entry of the boat: of all its hull numbers, of jobs moved to it, of other jobs and other kinds, also
those this program does not know. It leaves out what says that a book was issued: a book cannot state a root that its
own issue changes. The shop's settings stand in a record of their own and are not of the boat.

[1] FIPS 180-4.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence

import attrs

from garboard.disk.entries import ISSUED, Entry
from garboard.history.authoring import Author
from garboard.history.boat import Boat, entries_in
from garboard.history.registers import RegisterKey, name_of, register_of
from garboard.history.values import member
from garboard.records import SIGN_AT_HAND_OVER, JsonValue

HEADING = b"garboard root 1\n"
_SHORT = 4
"""Of a hash, as an issued book's entry lists it [bytes]: enough to name what came since. The root proves."""
_MOST_LISTED = 8000
"""An entry holds 64 kB."""


@attrs.frozen
class Issued:
    """A book that was issued, as the entry about it says.

    sha256  : of the file
    root    : over the entries it was made of
    until   : day of the last of them
    entries : how many there were
    signed  : roles whose signature stood
    """

    entry: Entry
    sha256: str
    root: str
    until: str
    entries: int
    signed: tuple[str, ...]
    _listed: frozenset[bytes]

    @property
    def is_draft(self) -> bool:
        """Whether it was issued before both had signed."""
        return _is_draft(self.signed)

    def added(self, covered: Mapping[str, Entry]) -> tuple[Entry, ...] | None:
        """Entries it was not made of; None where there were too many to list."""
        if len(self._listed) < min(self.entries, 1):
            return None
        return tuple(entry for hashed, entry in covered.items() if bytes.fromhex(hashed)[:_SHORT] not in self._listed)


@attrs.frozen
class Revision:
    """One state of the boat that a book was issued of.

    date    : day of the last entry in it
    entries : how many are in it
    names   : of what came since the revision before, as `name_of` names registers; None where that is not known
    signed  : roles whose signature stood
    """

    number: int
    date: str
    root: str
    entries: int
    names: tuple[str, ...] | None
    signed: tuple[str, ...]

    @property
    def is_draft(self) -> bool:
        """Whether it is the state of a draft; only the last one can be."""
        return _is_draft(self.signed)


def _is_draft(signed: Iterable[str]) -> bool:
    return not set(SIGN_AT_HAND_OVER) <= set(signed)


@attrs.frozen
class Proof:
    """What a book says of the entries it is made of.

    hashes    : SHA-256 of each entry's bytes, sorted
    revisions : those that were issued before, the oldest first and no drafts among them, then this one
    """

    root: str
    hashes: tuple[str, ...]
    revisions: tuple[Revision, ...]

    @property
    def short(self) -> str:
        """Enough of the root to compare two sheets of paper."""
        return in_groups(self.root[:12])

    @property
    def revision(self) -> Revision:
        return self.revisions[-1]


def in_groups(digits: str) -> str:
    """Digits as people compare them.

    >>> in_groups("3fa291c0")
    '3fa2 91c0'
    """
    return " ".join(digits[start : start + 4] for start in range(0, len(digits), 4))


def hash_of(entry: Entry) -> str:
    """SHA-256 of an entry's bytes."""
    return hashlib.sha256(entry.raw).hexdigest()


def root_of(hashes: Iterable[str]) -> str:
    """The root over entries' hashes, in any order and however often each comes.

    >>> root_of([])[:12], root_of(["ab" * 32, "01" * 32]) == root_of(["01" * 32, "ab" * 32])
    ('d4811054fca9', True)
    """
    return hashlib.sha256(HEADING + b"".join(bytes.fromhex(one) for one in sorted(set(hashes)))).hexdigest()


def covered(boat: Boat) -> dict[str, Entry]:
    """The entries of a boat that a root covers, each by its hash."""
    return {hash_of(entry): entry for entry in _of_the_boat(boat) if register_of(entry).kind != ISSUED}


def _of_the_boat(boat: Boat) -> Iterator[Entry]:
    """All of its own, then of a hull from which jobs were moved here: these jobs, and what it knew of the vessel."""
    yield from entries_in(boat.state)
    for home in {id(state): state for state in boat.moved_in.values()}.values():
        jobs = {job for job, state in boat.moved_in.items() if state is home}
        yield from (entry for entry in entries_in(home) if home.register_of(entry).job in jobs)
    for key, home in boat.fields().items():
        if home is not boat.state:
            yield from home.register(key).entries.values()


def proof_of(boat: Boat, job: str) -> Proof:
    """What a book of a job says of its boat's entries."""
    found = covered(boat)
    now = root_of(found)
    signed = tuple(sorted({one.role for one in boat.view(job).sign_offs if not one.stale and one.at}))
    last = max(found.values(), key=lambda entry: (entry.clock, entry.id), default=None)
    before = [one for one in _once_a_root(issued_books(boat, job)) if one.root != now and not one.is_draft]
    return Proof(now, tuple(sorted(found)), (*_revisions(before, found, now, last.at[:10] if last else "", signed),))


def _revisions(
    before: Sequence[Issued], found: Mapping[str, Entry], root: str, until: str, signed: tuple[str, ...]
) -> Iterator[Revision]:
    waiting: tuple[Entry, ...] | None = (*found.values(),)  # not yet in any revision
    for number, one in enumerate(before, start=1):
        later = one.added(found)
        came = None if waiting is None or later is None else _names(set(waiting) - set(later))
        yield Revision(number, one.until, one.root, one.entries, came, one.signed)
        waiting = later
    came = None if waiting is None else _names(waiting)
    yield Revision(len(before) + 1, until, root, len(found), came, signed)


def _names(entries: Iterable[Entry]) -> tuple[str, ...]:
    ordered = sorted(entries, key=lambda entry: (entry.clock, entry.id))
    return tuple(dict.fromkeys(name_of(register_of(entry)) for entry in ordered))


def _once_a_root(books: Iterable[Issued]) -> list[Issued]:
    return [*{one.root: one for one in reversed([*books])}.values()][::-1]


def issued_books(boat: Boat, job: str = "") -> tuple[Issued, ...]:
    """The books that were issued of a boat, or of one of its jobs, in the order they were; none taken back."""
    states = {id(state): state for state in (boat.state, *boat.moved_in.values())}.values()
    jobs = {job, boat.joined(job), *boat.state_of(job).parts(job)}
    keys = [
        (state, key)
        for state in states
        for key in state.registers
        if key.kind == ISSUED and len(key.subject) == 2 and (not job or key.subject[0] in jobs)
    ]
    entries = {entry.id: entry for state, key in keys for entry in state.current(key)}
    return tuple(map(_read, sorted(entries.values(), key=lambda entry: (entry.clock, entry.id))))


def _read(entry: Entry) -> Issued:
    count = member(entry.value, "entries")
    roles = member(entry.value, "signed")
    return Issued(
        entry,
        entry.subject[1],
        str(member(entry.value, "root")),
        str(member(entry.value, "until")),
        count if type(count) is int else 0,
        tuple(map(str, roles)) if isinstance(roles, list) else (),
        frozenset(_unlisted(member(entry.value, "covers"))),
    )


def _unlisted(text: JsonValue) -> Iterator[bytes]:
    try:
        listed = base64.b64decode(text, validate=True) if isinstance(text, str) else b""
    except ValueError:
        listed = b""
    return (listed[start : start + _SHORT] for start in range(0, len(listed), _SHORT))


def issue(author: Author, boat: Boat, job: str, book: bytes, proof: Proof) -> Entry | None:
    """The entry that says a book was issued; None where one says so of the same file already.

    It belongs to no job, so that no signature misses it, also where an older program reads it. It stands under the
    number the job was opened under: so that the job has its books wherever it is moved.
    """
    sha256 = hashlib.sha256(book).hexdigest()
    if any(one.sha256 == sha256 for one in issued_books(boat, job)):
        return None
    short = b"".join(bytes.fromhex(one)[:_SHORT] for one in proof.hashes) if len(proof.hashes) <= _MOST_LISTED else b""
    value: dict[str, JsonValue] = {
        "root": proof.root,
        "size": len(book),
        "entries": len(proof.hashes),
        "until": proof.revision.date,
        "signed": [*proof.revision.signed],
        "plugins": dict(author.plugins),
        "covers": base64.b64encode(short).decode(),
    }
    key = RegisterKey(ISSUED, "", (job, sha256))
    home = boat.state_of(job)
    return author.write(home, key.kind, key.subject, value, replaces=(), hull=home.hull_number_of(job))
